"""Differences, edits, the class of a change, and what mixed versions do."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Sequence

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
from .._source import Location
from .._words import count
from .document import (
    Block,
    CodeBlock,
    Document,
    Facts,
    Grids,
    Paragraph,
    Point,
    Points,
    Section,
    StyledText,
    Table,
)
from .findings import counts, not_judged

_LOOKS = {"wire": "error", "value": "warning", "name": "note", "text": "strong"}
_VERDICT_LOOKS = {
    "no frame": "error",
    "not judged": "warning",
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
    "gap": "takes {bits} of the gap at {at}: reserve {old} -> {new}",
    "signal": "takes {bits} of {name} at {at}",
    "undeclared": "takes {bits} at {at} that were not declared",
    "beyond": "takes {bits} at {at}, beyond the old data",
}
_LEFT = {
    "gap": "gives {bits} back to the gap at {at}: reserve {old} -> {new}",
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
_HEAD = ("level", "what", "where", "difference", "file")

Where = Callable[[Location], str]


def changes(
    title: str,
    given: Sequence[Change],
    *,
    classes: ChangeClass | None = None,
    pictures: Sequence[Grids] = (),
    where: Where = str,
) -> Document:
    """Return the changes between two map files, the class of an edit, a caution."""
    blocks: list[Block] = [points(given, where)] if given else []
    if classes is not None:
        blocks.append(_classes(classes))
    said = _count(given)
    return Document(
        f"Differences of {title}",
        (*blocks, *_drawn(pictures)),
        verdict=StyledText(f"{title}: {said}", _LOOKS[given[0].level] if given else "good"),
    )


def edits(
    title: str,
    given: EditComparison,
    classes: ChangeClass,
    mixed: Iterable[MixedState],
    *,
    report: Report,
    again: Sequence[str],
    all_rows: bool = False,
    pictures: Sequence[Grids] = (),
    where: Where = str,
) -> Document:
    """Return whether both ends were edited alike, what kind of edit it was and what mixes do.

    ``report`` is that of the check of the new pair, ``again`` the arguments that repeat it.
    """
    blocks: list[Block] = [_states(given), *checked(report, again), *left_open(report)]
    if given.differences:
        found = tuple(_difference(one, where) for one in given.differences)
        blocks.append(Section("Where the edits differ", (Points(found, _HEAD[:4]),)))
    blocks.append(_classes(classes))
    blocks += (_mix(mix, all_rows) for mix in mixed)
    for end, own in zip(given.ends, given.edits, strict=True):
        inside = (points(own, where),) if own else ()
        blocks.append(Section(f"Edit of {end}: {_count(own)}", inside, kind="long"))
    return Document(_verdict(title, given), (*blocks, *_drawn(pictures)))


def classes(given: ChangeClass) -> Section:
    """Return the class of a change with its reasons."""
    return _classes(given)


def mixes(mixed: Iterable[MixedState], *, all_rows: bool = False) -> tuple[Section, ...]:
    """Return the mixed-version tables."""
    return tuple(_mix(mix, all_rows) for mix in mixed)


def _drawn(pictures: Sequence[Grids]) -> tuple[Section, ...]:
    return tuple(Section(f"{one.name}, bit by bit", (one,), kind="long") for one in pictures)


def checked(report: Report, again: Sequence[str]) -> list[Block]:
    """Return how many errors and warnings the check of the new pair finds, if any."""
    told = ("error", "warning")
    found = [finding for finding in report.findings if finding.severity in told]
    if not found:
        return []
    rules = ", ".join(dict.fromkeys(finding.rule for finding in found))
    words = f"check finds {counts(found, told)} in the new pair: {rules}; to see them, run"
    command = f"  safeframe check {shlex.join(again)}"
    return [Paragraph(StyledText(words, report.worst())), CodeBlock((command,))]


def left_open(report: Report) -> tuple[Paragraph, ...]:
    """Return what the check of the new pair does not judge."""
    return tuple(Paragraph(f"check: {line}") for line in not_judged(report))


def _count(given: Sequence[Change]) -> str:
    if not given:
        return "no difference"
    found = [
        f"{number} {level}"
        for level in LEVELS
        if (number := sum(change.level == level for change in given))
    ]
    return f"{count(len(given), 'difference')} ({', '.join(found)})"


def points(given: Sequence[Change], where: Where = str) -> Points:
    """Return changes one by one."""
    return Points(tuple(_change(change, where) for change in given), _HEAD)


def _change(change: Change, where: Where) -> Point:
    between_ends = change.sides != ("before", "after")
    words = _WORDS.get(change.kind, _OTHER_WORDS)[between_ends]
    left, right = change.sides
    told = words.format(
        field=_field(change), before=change.before, after=change.after, left=left, right=right
    )
    place = next((str(place) for place in reversed(change.places) if place), "")
    shown = "" if change.kind in ("added", "removed", "moved", "reserve") else place
    taken = _ELSEWHERE if between_ends else _TAKEN
    gone = _ELSEWHERE if between_ends else _LEFT
    wheres = [where(one) for one in (change.before_where, change.after_where) if one]
    return Point(
        level=StyledText(change.level, _LOOKS[change.level]),
        subject=f"{change.subject} at {shown}" if shown else change.subject,
        scope=change.section,
        lines=(
            told,
            *(_ground(taken, ground, left) for ground in change.taken),
            *(_ground(gone, ground, right) for ground in change.left),
        ),
        source=" -> ".join(dict.fromkeys(wheres)),
    )


def sentence(change: Change) -> str:
    """Return a change in one line, without where it stands."""
    point = _change(change, str)
    return f"{change.level}: {point.subject} [{point.scope}]: {'; '.join(point.lines)}"


def _field(change: Change) -> str:
    if change.kind == "allowance":
        return f"allowance for {change.field or 'the whole map'}"
    return change.field or {"size": "it", "reserve": "it"}.get(change.kind, change.kind)


def _ground(words: dict[str, str], ground: Ground, end: str) -> str:
    old, new = ground.reserve
    return words[ground.kind].format(
        bits=count(ground.bits, "bit"),
        at=ground.at,
        name=ground.name,
        old=old,
        new=count(new, "bit"),
        end=end,
    )


def _verdict(title: str, given: EditComparison) -> StyledText:
    first, second = given.ends
    if given.verdict == "different":
        text = f"{first} and {second} were not edited identically"
        text += f", {count(len(given.differences), 'difference')}"
    elif given.verdict == "identical":
        text = f"{first} and {second} were edited identically"
    else:
        text = "nothing changed that both ends share"
    if given.outcome == "ends differ":
        text += ", but the ends differ"
    bad = given.outcome in ("different", "ends differ")
    return StyledText(f"{title}: {text}", "error" if bad else "good")


def _states(given: EditComparison) -> Facts:
    states = (("before the edits", given.disagreed), ("after the edits", given.disagree))
    return Facts(
        tuple(
            (
                when,
                f"the ends differ in {count(len(found), 'point')}" if found else "the ends agree",
            )
            for when, found in states
        )
    )


def _difference(given: EditDifference, where: Where) -> Point:
    return Point(
        level=StyledText(given.level, _LOOKS[given.level]),
        subject=given.subject,
        scope=given.section,
        lines=tuple(f"{step.end}: {step.did}  {where(step.where)}" for step in given.steps),
    )


def _classes(given: ChangeClass) -> Section:
    if not given.reasons:
        return Section("Change class: none, nothing that both ends share changed")
    rows = tuple(
        (reason.name, reason.subject, reason.why, f"at {' and '.join(reason.ends)}")
        for reason in given.reasons
    )
    head = ("class", "what", "why", "ends")
    title = f"Change class: {', '.join(given.names)}"
    return Section(title, (Table(rows, head, bare=True),), kind="long")


def _mix(mix: MixedState, all_rows: bool) -> Section:
    blocks: list[Block] = []
    if mix.disagreeing:
        blocks.append(Facts(mix.disagreeing))
    for one in mix.tables:
        blocks += _mixed(one, all_rows)
    title = f"While only {mix.updated} is updated and {mix.outdated} is still old"
    return Section(title, tuple(blocks), kind="long")


def _mixed(given: MixedTable, all_rows: bool) -> list[Block]:
    sent = count(given.sent_octets, "octet")
    head = f"{given.direction}: {sent} sent, {given.expected_octets} expected"
    rest = f"every signal of {given.consumer} falls back to its safe value"
    if not given.accepted:
        refused = f"{head}: the frame is not accepted, so no connection"
        if given.refused:
            refused += f" (not the same: {', '.join(given.refused)})"
        blocks: list[Block] = [Paragraph(StyledText(refused, "error"))]
    elif given.not_judged:
        open_ = f"{head}: not judged whether any frame is taken ({', '.join(given.not_judged)})"
        blocks = [Paragraph(StyledText(open_, "warning"))]
    else:
        blocks = [Paragraph(head)]
    affected = [row for row in given.affected if row.verdict != "not judged"]
    rows = given.rows if all_rows else affected if given.accepted else ()
    if rows:
        blocks.append(_affected(given, rows))
    number = len(given.rows) - len(rows)
    if number and given.accepted:
        arrive = f"arrive{'s' * (number == 1)} unchanged"
        if given.not_judged:
            arrive = f"{'is' if number == 1 else 'are'} not judged"
        rest = f"{count(number, 'other signal' if rows else 'signal')} {arrive}"
    if number:
        blocks.append(Paragraph(f"  {rest}"))
    return blocks


def _affected(given: MixedTable, rows: Sequence[MixedRow]) -> Table:
    return Table(
        tuple(map(_cells, rows)),
        ("place", f"{given.consumer} reads", "comes from", "verdict"),
        looks=tuple(_VERDICT_LOOKS[row.verdict] for row in rows),
        notes=tuple(row.consequence for row in rows),
        note_head="consequence",
    )


def _cells(row: MixedRow) -> tuple[str, str, str, str]:
    if not row.gets:
        return str(row.at), f"({row.signal})", "sent, not read", row.verdict
    return str(row.at), row.signal, " + ".join(map(str, row.gets)), row.verdict
