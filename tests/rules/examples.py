"""The example maps of every rule, and the pages made from them."""

from __future__ import annotations

import difflib
import textwrap
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe import record
from safeframe._findings import Report, Rule
from safeframe._model import Connection
from safeframe._plant import file as plantfile

FOLDER = Path(__file__).parent
DOCS = FOLDER.parents[1] / "docs"


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """The files of one rule: name -> text, one pair after the other."""

    good: dict[str, str]
    bad: dict[str, str]
    record: str = ""


def patched(text: str, patches: list[list[str]]) -> str:
    for old, new in patches:
        assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
        text = text.replace(old, new)
    return text


@cache
def examples() -> dict[str, Example]:
    data = tomllib.loads((FOLDER / "examples.toml").read_text(encoding="utf-8"))
    found = {}
    for name, entry in sorted(data["rule"].items()):
        start = entry.get("good", {})
        routes = data["base"]["routes"] if entry.get("routes") else {}
        good = {
            end: patched(
                data["base"][end].lstrip("\n"), [*routes.get(end, []), *start.get(end, [])]
            )
            for end in ("sc1", "lx")
        }
        bad = {end: patched(good[end], entry.get(end, [])) for end in ("sc1", "lx")}
        if "sister" in entry:
            good |= {f"{end}-2": sister(text, 264) for end, text in good.items()}
            bad |= {f"{end}-2": sister(good[end], entry["sister"]) for end in ("sc1", "lx")}
        if routes:
            for maps in (good, bad):  # Each instance has variables of its own.
                maps["sc1-2"] = maps["sc1-2"].replace('"Lift.', '"Lift2.')
        if "third" in entry:  # A connection behind the sister, and a route over all three.
            files = third(good, entry["third"])
            good, bad = good | files, bad | files
        example = Example(
            good={f"good-{end}.toml": text for end, text in good.items()},
            bad={f"bad-{end}.toml": text for end, text in bad.items()},
        )
        if "plant" in entry:
            text = data["base"]["plant"].lstrip("\n") + routes.get("plant", "").lstrip("\n")
            text = patched(text, start.get("plant", []))
            example = plant(example, text, entry)
        found[name] = example
    return found


def plant(example: Example, text: str, entry: dict[str, Any]) -> Example:
    """Return an example with a plant file: a record of the good maps for each connection."""
    bad_text = patched(text, entry["plant"])
    files = {}
    for word, maps, listed in (("good", example.good, text), ("bad", example.bad, bad_text)):
        files[word] = maps | {
            f"{word}-plant.toml": listed.replace('"sc1', f'"{word}-sc1').replace(
                '"lx', f'"{word}-lx'
            )
        }
        # A route is judged by maps that are signed; what was signed may be wrong.
        signed = word if entry.get("routes") else "good"
        for number in ("", "-2", "-3")[: 3 if "third" in entry else 2]:
            ends = [
                mapfile.loads(getattr(example, signed)[f"{signed}-{end}{number}.toml"])
                for end in ("sc1", "lx")
            ]
            made = signed_off(Connection(first=ends[0], second=ends[1]), number or "-1")
            for end, entries in entry.get("record", {}).items():
                if word == "bad" and end in [row.end for row in made.people.read_backs]:
                    # A new serial number voids the checksum, which is not what the page is about.
                    again = {"checksum": "4F2A"} if "serial" in entries else {}
                    made = record.fill(made, end, who="A. Berg", **(again | entries))
            files[word][f"{word}-lx{number}.json"] = record.dumps(made)
    edits = [
        f"the {key} of {end} is `{value}`" if value else f"the {key} of {end} is empty"
        for end, entries in entry.get("record", {}).items()
        for key, value in entries.items()
    ]
    return Example(good=files["good"], bad=files["bad"], record=", ".join(edits))


def signed_off(connection: Connection, number: str) -> record.Record:
    made = record.new(connection, connection)
    for end in connection.ends:
        serial = "SC1-1" if end.name == "SC1" else f"LX{number}"
        if number == "-3":
            serial = "LX-2" if end.name == "LX2" else "LX-3"
        made = record.fill(
            made, end.name, who="A. Berg", serial=serial, checksum="4F2A", expected="4F2A"
        )
    return made


def sister(text: str, number: int) -> str:
    return (
        text.replace("LX", "LX2").replace("id = 263", f"id = {number}").replace("= 12 }", "= 13 }")
    )


def third(maps: dict[str, str], patches: list[list[str]]) -> dict[str, str]:
    """Return the maps of a connection that LX2 has with LX3, as SC1 has one with LX."""
    found = {}
    for end in ("sc1", "lx"):
        text = maps[end].replace("SC1-LX", "LX2-LX3").replace("SC1", "LX2").replace('"LX"', '"LX3"')
        text = text.replace("id = 263", "id = 265").replace("address = 12", "address = 14")
        text = text.replace("address = 1 ", "address = 13 ").replace('"Lift.', '"Third.')
        found[f"{end}-3"] = patched(text, patches)
    return found


def report(files: dict[str, str]) -> Report:
    listed = [name for name in files if name.endswith("plant.toml")]
    if listed:
        site = plantfile.loads(files[listed[0]], path=listed[0], read=files.__getitem__)
        return checks.check_site(site.connections, (site,))
    ends = [mapfile.loads(text, path=name) for name, text in files.items()]
    pairs = zip(ends[::2], ends[1::2], strict=True)
    return checks.check_all(Connection(first=first, second=second) for first, second in pairs)


def expected(files: dict[str, str]) -> set[tuple[str, str, int]]:
    """Return (rule, file, line) of every `# expect:` comment."""
    return {
        (line.partition("# expect: ")[2].strip(), name, number)
        for name, text in files.items()
        for number, line in enumerate(text.splitlines(), start=1)
        if "# expect: " in line
    }


def page(rule: Rule, example: Example) -> str:
    """Return the page of a rule: the difference, the finding, why, remedy, source."""
    found = [one for one in report(example.bad).findings if one.rule == rule.name]
    parts = [
        f"# {rule.name}",
        f"*{rule.severity}* · looks at: {rule.scope} · {rule.title}.",
        f"```diff\n{difference(example)}```",
    ]
    if example.record:
        parts.append(f"In the record, {example.record}.")
    parts += [
        f"```text\n{wrapped(finding.message)}\n{wrapped('remedy: ' + finding.remedy)}\n```"
        if finding.remedy
        else f"```text\n{wrapped(finding.message)}\n```"
        for finding in found
    ]
    parts += [
        f"**Why it matters.** {rule.why}",
        f"**What to do.** {rule.remedy[0].upper()}{rule.remedy[1:]}.",
        f"**Source.** {rule.source[0].upper()}{rule.source[1:]}.",
    ]
    if any(one.unlisted is None for one in found):
        return "\n\n".join(parts) + "\n"  # It stands for what nobody looked for.
    parts += [
        f'[Accepted on purpose?](../rules.md#allowances) `{{ rule = "{rule.name}", '
        # A finding about the plant names several signals at an end, or none.
        + ("" if rule.scope == "plant" else 'signal = "...", ')
        + 'reason = "..." }`',
    ]
    return "\n\n".join(parts) + "\n"


def wrapped(text: str) -> str:
    text = text.replace("bad-", "")  # the names of the example files
    return textwrap.fill(
        text, 78, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )


def difference(example: Example) -> str:
    """Return the lines that are wrong and the ones that are right, file by file.

    Where the good maps have no line of their own to show (a line too many, a line that is
    missing), one side of the difference is empty.
    """
    lines: list[str] = []
    for bad_name, bad in example.bad.items():
        if not bad_name.endswith(".toml"):
            continue  # a record: the page says in words what is edited in it.
        name = bad_name.removeprefix("bad-")
        good = example.good[f"good-{name}"]
        new = [line.partition(" # expect: ")[0] for line in bad.splitlines()]
        changes = [
            line
            for line in difflib.unified_diff(good.splitlines(), new, n=0, lineterm="")
            if not line.startswith(("---", "+++", "@@"))
        ]
        if name == "plant.toml":
            changes = same_names(changes)
        if changes:
            lines += [f"  {name}", *changes]
    return "\n".join(lines) + "\n"


def same_names(changes: list[str]) -> list[str]:
    """Drop the lines of a plant file that differ in the names of the example files only."""
    plain = [(line[0], line[1:].replace("good-", "").replace("bad-", "")) for line in changes]
    gone = {text for sign, text in plain if sign == "-"} & {
        text for sign, text in plain if sign == "+"
    }
    return [sign + text for sign, text in plain if text not in gone]


def index(rules: tuple[Rule, ...]) -> str:
    lines = [
        "# Rules",
        "",
        "One rule, one cause. The name reads well after *allow*; each page shows why the rule "
        "matters and what to do, with a right map and what is wrong in it as a difference: `-` the "
        "right line, `+` the wrong one. Severities: **error** (wrong on the wire, or forbidden), "
        "**warning** (doubtful).",
        "",
        "| rule | severity | looks at | finds |",
        "|---|---|---|---|",
    ]
    lines += [
        f"| [{rule.name}](rules/{rule.name}.md) | {rule.severity} | {rule.scope} | {rule.title} |"
        for rule in rules
    ]
    lines += [
        "",
        "## Allowances",
        "",
        "What is accepted on purpose is stated in the map of the end that is named, with the "
        'reason: `allow = [{ rule = "...", signal = "...", reason = "..." }]`. With `signal` '
        "it covers findings about that signal alone, without it every finding of this rule at "
        "that end. A signal whose name the end both sends and receives is named `sends.x` or "
        "`receives.x`, as in [relations](relations.md): `x` alone covers neither. An allowance "
        "that covers nothing is a finding itself; of a rule that had nothing to look at, as those "
        "about a plant have where only maps are given, it is told as not judged. A finding that "
        "keeps others from being looked for, such as [wrong-file](rules/wrong-file.md), cannot be "
        "allowed.",
        "",
        "An allowance covers by name, and knows nothing of the time when it was written: it goes "
        "on where the signal moves, means something else, or another one gets its name. Whoever "
        "edits a signal reads its allowances anew. `safeframe edit` tells what is allowed of a "
        "signal that it brings like what nobody allows; [a record](record.md) lists, with the "
        "reason, what was allowed in the maps that were signed.",
        "",
        "This page and the page of every rule are generated by `python -m tests.rules`; the maps "
        "they come from, `tests/rules/examples.toml`, are run as tests.",
    ]
    return "\n".join(lines) + "\n"


def pages() -> dict[Path, str]:
    found = examples()
    made = {
        DOCS / "rules" / f"{rule.name}.md": page(rule, found[rule.name]) for rule in checks.RULES
    }
    return {DOCS / "rules.md": index(checks.RULES), **made}
