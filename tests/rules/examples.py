"""The example maps of every rule, and the pages made from them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
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


def examples() -> dict[str, Example]:
    data = tomllib.loads((FOLDER / "examples.toml").read_text(encoding="utf-8"))
    found = {}
    for name, entry in sorted(data["rule"].items()):
        start = entry.get("good", {})
        good = {
            end: patched(data["base"][end].lstrip("\n"), start.get(end, []))
            for end in ("sc1", "lx")
        }
        bad = {end: patched(good[end], entry.get(end, [])) for end in ("sc1", "lx")}
        if "sister" in entry:
            good |= {f"{end}-2": sister(text, 264) for end, text in good.items()}
            bad |= {f"{end}-2": sister(good[end], entry["sister"]) for end in ("sc1", "lx")}
        example = Example(
            good={f"good-{end}.toml": text for end, text in good.items()},
            bad={f"bad-{end}.toml": text for end, text in bad.items()},
        )
        if "plant" in entry:
            example = plant(example, data["base"]["plant"].lstrip("\n"), entry)
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
        for number in ("", "-2"):
            ends = [
                mapfile.loads(example.good[f"good-{end}{number}.toml"]) for end in ("sc1", "lx")
            ]
            made = signed_off(Connection(first=ends[0], second=ends[1]), number or "-1")
            for end, entries in entry.get("record", {}).items():
                if word == "bad" and end in [row.end for row in made.people.read_backs]:
                    made = record.fill(made, end, **entries)
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
        made = record.fill(
            made, end.name, who="A. Berg", serial=serial, checksum="4F2A", expected="4F2A"
        )
    return made


def sister(text: str, number: int) -> str:
    return (
        text.replace("LX", "LX2").replace("id = 263", f"id = {number}").replace("= 12 }", "= 13 }")
    )


def report(files: dict[str, str]) -> Report:
    listed = [name for name in files if name.endswith("plant.toml")]
    if listed:
        site = plantfile.loads(files[listed[0]], path=listed[0], read=files.__getitem__)
        return checks.check_all(site.connections)
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
    parts = [
        f"# {rule.name}",
        f"*{rule.severity}* · looks at: {rule.scope}",
        f"{rule.title}.",
        f"**Why it matters.** {rule.why}",
        f"**What to do.** {rule.remedy[0].upper()}{rule.remedy[1:]}.",
        f"**Source.** {rule.source[0].upper()}{rule.source[1:]}.",
        f"Accepted on purpose? State it in the map of the end that is named, with the reason: "
        f'`allow = [{{ rule = "{rule.name}", signal = "...", reason = "..." }}]`. With `signal` it '
        "covers findings about that signal alone, without it every finding of this rule at that "
        "end.",
        "## What is found",
    ]
    parts += [
        f"> {finding.message}\n>\n> Remedy: {finding.remedy}"
        for finding in report(example.bad).findings
        if finding.rule == rule.name
    ]
    parts.append("## Good maps")
    parts += shown(example.good)
    parts.append("## Bad maps")
    parts += shown(example.bad)
    if example.record:
        parts.append(f"In the record, {example.record}.")
    parts.append("This page is generated by `python -m tests.rules`; the maps are run as tests.")
    return "\n\n".join(parts) + "\n"


def shown(files: dict[str, str]) -> list[str]:
    """Return the files as blocks; records are too long for a page and are made from the maps."""
    return [
        f"`{name}`\n\n```toml{'' if name.endswith('plant.toml') else ' map'}\n{text}```"
        for name, text in files.items()
        if name.endswith(".toml")
    ]


def index(rules: tuple[Rule, ...]) -> str:
    lines = [
        "# Rules",
        "",
        "One rule, one cause. The name reads well after *allow*; each page shows why the rule "
        "matters, what to do, a good and a bad pair of maps. Severities: **error** (wrong on the "
        "wire, or forbidden), **warning** (doubtful).",
        "",
        "| rule | severity | looks at | finds |",
        "|---|---|---|---|",
    ]
    lines += [
        f"| [{rule.name}](rules/{rule.name}.md) | {rule.severity} | {rule.scope} | {rule.title} |"
        for rule in rules
    ]
    lines += ["", "This page is generated by `python -m tests.rules`."]
    return "\n".join(lines) + "\n"


def pages() -> dict[Path, str]:
    found = examples()
    made = {
        DOCS / "rules" / f"{rule.name}.md": page(rule, found[rule.name]) for rule in checks.RULES
    }
    return {DOCS / "rules.md": index(checks.RULES), **made}
