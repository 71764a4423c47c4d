"""Differences, edits and mixed-version tables for a human at a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .._diff import (
    LEVELS,
    Change,
    ChangeClass,
    EditComparison,
    EditDifference,
    Ground,
    MixedRow,
    MixedState,
    MixedTable,
)
from .._findings import Report
from .text import CAUTION, PLAIN, Look, clean, table

__all__ = ["changes", "check_words", "classes", "edits", "mixes"]

_PAINT = {"wire": "error", "value": "warning", "name": "note", "text": "strong"}
_VERDICT_PAINT = {
    "no frame": "error",
    "wrong signal": "error",
    "other meaning": "error",
    "undeclared": "error",
    "constant": "warning",
    "nobody reads it": "warning",
    "other name": "note",
    "same": "good",
}

# How a change of each kind is told: between two versions, between two ends.
_WORDS = {
    "added": ("added: {after}", "only {right} has it: {after}"),
    "removed": ("removed, it was {before}", "only {left} has it: {before}"),
    "moved": ("moved from {before} to {after}", "at {before} in {left}, at {after} in {right}"),
    "renamed": ("renamed, it was {before}", "called {before} at {left}"),
}
_OTHER_WORDS = (
    "{field} changed from {before} to {after}",
    "{field} is {before} at {left}, {after} at {right}",
)
# The same for the bits that a signal took, and for those that it left.
_TAKEN = {
    "gap": "takes {bits} of the gap at {at}: reserve {old} -> {new} bits",
    "signal": "takes {bits} of {name} at {at}",
    "undeclared": "takes {bits} at {at} that were not declared",
    "beyond": "takes {bits} at {at}, beyond the old data",
}
_LEFT = {
    "gap": "gives {bits} back to the gap at {at}: reserve {old} -> {new} bits",
    "signal": "leaves {bits} at {at} to {name}",
    "undeclared": "leaves {bits} at {at} undeclared",
    "beyond": "{bits} at {at} are no longer in the data",
}
_ELSEWHERE = {
    "gap": "{end} has the gap at {at} there",
    "signal": "{end} has {name} there",
    "undeclared": "{end} declares nothing at {at}",
    "beyond": "the data of {end} end before {at}",
}


def changes(
    title: str,
    given: Sequence[Change],
    *,
    classes: ChangeClass | None = None,
    look: Look = PLAIN,
) -> str:
    """Return the changes between two map files, the class of an edit, a caution."""
    lines: list[str] = []
    for change in given:
        lines += [*_change(change, look), ""]
    if classes is not None:
        lines += [*_classes(classes, look), ""]
    if given:
        lines.append(look.paint(_PAINT[given[0].level], f"{clean(title)}: {_count(given)}"))
    else:
        lines.append(look.paint("good", f"{clean(title)}: no difference"))
    return _page(lines)


def edits(
    title: str,
    given: EditComparison,
    classes: ChangeClass,
    mixed: Iterable[MixedState],
    *,
    report: Report,
    again: Sequence[str],
    look: Look = PLAIN,
    all_rows: bool = False,
) -> str:
    """Return whether both ends were edited alike, what kind of edit it was and what mixes do.

    ``report`` is that of the check of the new pair, ``again`` the arguments that repeat it.
    """
    lines = _verdict(title, given, look)
    if words := check_words(report, again):
        # In one line whatever its length: it ends in a command to copy.
        lines.append(look.paint(report.worst(), f"  {clean(words)}"))
    for difference in given.differences:
        lines += ["", *_difference(difference, look)]
    lines += ["", *_classes(classes, look)]
    for mix in mixed:
        lines += ["", *_mix(mix, look, all_rows)]
    for end, own in zip(given.ends, given.edits, strict=True):
        lines += ["", look.paint("strong", f"Edit of {clean(end)}: {_count(own)}")]
        for change in own:
            lines += _change(change, look, indent="  ")
    return _page([*lines, ""])


def check_words(report: Report, again: Sequence[str]) -> str:
    """Return how many errors and warnings the check of the new pair finds, empty for none."""
    found = [finding for finding in report.findings if finding.severity in ("error", "warning")]
    if not found:
        return ""
    counts = [
        f"{count} {severity}{'s'[: count != 1]}"
        for severity in ("error", "warning")
        if (count := sum(finding.severity == severity for finding in found))
    ]
    rules = ", ".join(dict.fromkeys(finding.rule for finding in found))
    run = f"run safeframe check {' '.join(again)}"
    return f"check finds {', '.join(counts)} in the new pair: {rules} ({run})"


def classes(given: ChangeClass, *, look: Look = PLAIN) -> str:
    """Return the class of a change alone, with its reasons."""
    return "\n".join(_classes(given, look)) + "\n"


def mixes(mixed: Iterable[MixedState], *, look: Look = PLAIN, all_rows: bool = False) -> str:
    """Return the mixed-version tables alone."""
    return "\n\n".join("\n".join(_mix(mix, look, all_rows)) for mix in mixed) + "\n"


def _page(lines: Iterable[str]) -> str:
    return "\n".join([*lines, CAUTION]) + "\n"


def _count(given: Sequence[Change]) -> str:
    if not given:
        return "no difference"
    counts = [
        f"{count} {level}"
        for level in LEVELS
        if (count := sum(change.level == level for change in given))
    ]
    return f"{len(given)} difference{'s'[: len(given) != 1]} ({', '.join(counts)})"


def _change(change: Change, look: Look, *, indent: str = "") -> list[str]:
    between_ends = change.sides != ("before", "after")
    words = _WORDS.get(change.kind, _OTHER_WORDS)[between_ends]
    left, right = change.sides
    told = words.format(
        field=_field(change), before=change.before, after=change.after, left=left, right=right
    )
    place = next((str(place) for place in reversed(change.places) if place), "")
    head = f"{look.paint(_PAINT[change.level], change.level)}: "
    subject = look.paint("strong", clean(change.subject))
    shown = "" if change.kind in ("added", "removed", "moved", "reserve") else place
    lines = [f"{indent}{head}{subject}{f' at {shown}' if shown else ''}  [{clean(change.section)}]"]
    lines += look.wrap(told, first=f"{indent}    ", rest=f"{indent}      ")
    for ground in change.taken:
        text = _ELSEWHERE if between_ends else _TAKEN
        lines += look.wrap(
            _ground(text, ground, left), first=f"{indent}    ", rest=indent + " " * 6
        )
    for ground in change.left:
        text = _ELSEWHERE if between_ends else _LEFT
        lines += look.wrap(
            _ground(text, ground, right), first=f"{indent}    ", rest=indent + " " * 6
        )
    wheres = [str(where) for where in (change.before_where, change.after_where) if where]
    return [*lines, f"{indent}    {clean(' -> '.join(dict.fromkeys(wheres)))}"]


def _field(change: Change) -> str:
    if change.kind == "allowance":
        return f"allowance for {change.field or 'the whole map'}"
    return change.field or {"size": "it", "reserve": "it"}.get(change.kind, change.kind)


def _ground(words: dict[str, str], ground: Ground, end: str) -> str:
    old, new = ground.reserve
    bits = f"{ground.bits} bit{'s'[: ground.bits != 1]}"
    return words[ground.kind].format(
        bits=bits, at=ground.at, name=ground.name, old=old, new=new, end=end
    )


def _verdict(title: str, given: EditComparison, look: Look) -> list[str]:
    first, second = map(clean, given.ends)
    name = clean(title)
    if given.verdict == "different":
        count = len(given.differences)
        text = f"{first} and {second} were not edited identically"
        text += f", {count} difference{'s'[: count != 1]}"
    elif given.verdict == "identical":
        text = f"{first} and {second} were edited identically"
    else:
        text = "nothing changed that both ends share"
    if given.outcome == "ends differ":
        text += ", but the ends differ"
    paint = "error" if given.outcome in ("different", "ends differ") else "good"
    lines = [look.paint(paint, f"{name}: {text}")]
    states = (("before the edits", given.disagreed), ("after the edits", given.disagree))
    for when, found in states:
        points = f"{len(found)} point{'s'[: len(found) != 1]}"
        says = f"the ends differ in {points}" if found else "the ends agree"
        lines.append(f"  {when:16} {says}")
    return lines


def _difference(difference: EditDifference, look: Look) -> list[str]:
    head = f"{look.paint(_PAINT[difference.level], difference.level)}: "
    subject = look.paint("strong", clean(difference.subject))
    rows = [(step.end, step.did, str(step.where)) for step in difference.steps]
    return [f"{head}{subject}  [{clean(difference.section)}]", *table(rows, indent="    ")]


def _classes(given: ChangeClass, look: Look) -> list[str]:
    if not given.reasons:
        return [look.paint("strong", "Change class: none, nothing that both ends share changed")]
    rows = [
        (reason.name, reason.subject, reason.why, f"at {' and '.join(reason.ends)}")
        for reason in given.reasons
    ]
    head = f"Change class: {', '.join(given.names)}"
    return [look.paint("strong", head), *table(rows, indent="  ")]


def _mix(mix: MixedState, look: Look, all_rows: bool) -> list[str]:
    updated, outdated = clean(mix.updated), clean(mix.outdated)
    lines = [look.paint("strong", f"While only {updated} is updated and {outdated} is still old")]
    for field, text in mix.disagreeing:
        lines += look.wrap(f"{field}: {text}", first="  ", rest="    ")
    for one in mix.tables:
        lines += _table(one, look, all_rows)
    return lines


def _table(given: MixedTable, look: Look, all_rows: bool) -> list[str]:
    sent, expected = given.sent_octets, given.expected_octets
    head = f"  {clean(given.direction)}: {sent} octet{'s'[: sent != 1]} sent, {expected} expected"
    if not given.accepted:
        text = f"{head}: the frame is not accepted, so no connection"
        if given.refused:
            text += f" (not the same: {', '.join(given.refused)})"
        wrapped = look.wrap(text.strip(), first="  ", rest="    ")
        head = "\n".join(look.paint("error", line) for line in wrapped)
    rows = given.rows if all_rows else given.affected if given.accepted else ()
    lines = [head]
    if rows:
        cells = [_cells(row) for row in rows]
        reads = f"{given.consumer} reads"
        header, *body = table([("place", reads, "comes from", "verdict"), *cells], indent="    ")
        lines.append(header)
        for row, line in zip(rows, body, strict=True):
            lines.append(look.paint(_VERDICT_PAINT[row.verdict], line))
            if row.consequence:
                lines += look.wrap(row.consequence, first=" " * 11, rest=" " * 13)
    rest = len(given.rows) - len(rows)
    if rest and given.accepted:
        others = "other " if rows else ""
        lines.append(
            f"    {rest} {others}signal{'s'[: rest != 1]} arrive{'s'[: rest == 1]} unchanged"
        )
    elif rest:
        lines.append(f"    every signal of {clean(given.consumer)} falls back to its safe value")
    return lines


def _cells(row: MixedRow) -> tuple[str, str, str, str]:
    if not row.gets:
        return str(row.at), f"({row.signal})", "sent, not read", row.verdict
    return str(row.at), row.signal, " + ".join(map(str, row.gets)), row.verdict
