"""What became of the connections of a site: a line for each, and what changed in them."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator, Sequence

from .._history import CHANGES, ConnectionChange, EndState, SiteComparison
from .._source import Location
from .._words import count
from . import changes
from .document import (
    Block,
    Document,
    Fold,
    Grids,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
    plain,
)
from .findings import FEW, counts

__all__ = ["brief", "document", "plain_row"]

_SHOWN = 8
"""Hexadecimal digits of a fingerprint in a row; JSON has all of them."""

_LOOKS = {
    "not judged": "error",
    "only one end": "error",
    "edited differently": "error",
    "only one end edited": "error",
    "removed": "warning",
    "new": "warning",
    "edited identically": "good",
    "own parts edited": "note",
    "unchanged": "",
}
_HEAD = ("connection", "change", "level", "octets", "wire fingerprint")
_OWN = "own fingerprints"
_MOST_ROWS = 40
_MOST_POINTS = 60
_MOST_CHARACTERS = 160
"""A comment has room for so much, by choice; what is left out is counted."""

Where = Callable[[Location], str]
Draw = Callable[[ConnectionChange], Sequence[Grids]]


def document(
    given: SiteComparison,
    *,
    fail_on: str = "text",
    everything: bool = False,
    draw: Draw | None = None,
    where: Where = str,
) -> Document:
    """Return a line for each connection, the details of those that changed, what was not judged.

    ``everything`` lists many unchanged connections one by one and the signals that arrive
    unchanged; ``draw`` makes a page of it, with the pictures that it returns.
    """
    page = draw is not None
    blocks: list[Block] = []
    quiet = [row for row in given.rows if plain_row(row, fail_on)]
    hidden = len(quiet) > FEW and not everything and not page
    rows = [row for row in given.rows if not (hidden and plain_row(row, fail_on))]
    if rows:
        blocks.append(_table(rows, fail_on, own=page))
    if hidden:
        words = f"{count(len(quiet), 'connection')} unchanged (--all lists them)"
        blocks.append(Paragraph(words))
    told = [row for row in given.rows if not plain_row(row, fail_on)]
    details: list[tuple[str, tuple[Block, ...]]] = []
    for number, row in enumerate(told):
        pictures = draw(row) if draw is not None and number < FEW else ()
        inside = _details(row, everything, pictures, where)
        if inside is not None:
            details.append(inside)
    if page and details:
        folds = tuple(Fold(title, inside) for title, inside in details)
        blocks.append(Section("What changed", folds, kind="long"))
    elif details:
        blocks += (Section(title, inside, kind="long") for title, inside in details)
    blocks += _rest(given)
    return Document(
        f"Changes from {given.before} to {given.after}",
        tuple(blocks),
        verdict=_verdict(given, fail_on),
    )


def brief(given: SiteComparison, *, fail_on: str = "text") -> Document:
    """Return what fits the comment of a review: the gravest first, and how much is left out."""
    told = [row for row in given.rows if not plain_row(row, fail_on)]
    told.sort(key=lambda row: (not row.fails(fail_on), CHANGES.index(row.change)))
    blocks: list[Block] = []
    if told:
        blocks.append(_table(told[:_MOST_ROWS], fail_on, own=False, cut=True))
    points = [point for row in told for point in _points(row)]
    if points:
        blocks.append(Section("What changed", (Items(tuple(points[:_MOST_POINTS])),)))
    missing = max(len(told) - _MOST_ROWS, 0), max(len(points) - _MOST_POINTS, 0)
    blocks += _rest(given, cut=True)
    if any(missing):
        words = (
            f"left out here: {count(missing[0], 'connection')} and "
            f"{count(missing[1], 'change')}; the same command with --format text or html shows them"
        )
        blocks.append(Paragraph(StyledText(words, "strong")))
    return Document(
        _cut(f"Changes from {given.before} to {given.after}"),
        tuple(blocks),
        verdict=_verdict(given, fail_on, cut=True),
    )


def plain_row(row: ConnectionChange, fail_on: str) -> bool:
    """Return whether there is nothing to say about a connection."""
    return row.change == "unchanged" and not row.moved and not row.fails(fail_on)


def _verdict(given: SiteComparison, fail_on: str, *, cut: bool = False) -> StyledText:
    found = [f"{number} {change}" for change, number in given.counts]
    if given.problems:
        found.append(f"{count(len(given.problems), 'problem')} of input")
    states = [_cut(state) if cut else state for state in (given.before, given.after)]
    text = f"{' -> '.join(states)}: {', '.join(found) or 'no map in either state'}"
    bad = given.fails(fail_on) or not given.rows
    return StyledText(text, "error" if bad else "good")


def _table(
    rows: Sequence[ConnectionChange], fail_on: str, *, own: bool, cut: bool = False
) -> Table:
    short = _cut if cut else str
    cells = [tuple(map(short, _cells(row, own=own))) for row in rows]
    looks = ["error" if row.fails(fail_on) else _LOOKS[row.change] for row in rows]
    notes = [short("; ".join(_notes(row, own=not own))) for row in rows]
    return Table(
        tuple(cells),
        (*_HEAD, *([_OWN] if own else [])),
        looks=tuple(looks),
        notes=tuple(notes) if any(notes) else (),
        note_head="more",
    )


def _cells(row: ConnectionChange, *, own: bool) -> tuple[str, ...]:
    sizes = [_joined([end.octets[side] for end in row.ends], "+") for side in (0, 1)]
    cells = (row.name, row.change, row.level or "-", _way(*sizes), _wire(row.ends))
    return (*cells, ", ".join(_own(row.ends))) if own else cells


def _way(old: str, new: str) -> str:
    """Return what was and what is, once where it is the same or one of both is not there."""
    return f"{old} -> {new}" if old and new and old != new else new or old


def _joined(parts: Sequence[int | None], sign: str) -> str:
    return sign.join(str(part) for part in parts if part is not None)


def _wire(ends: Sequence[EndState]) -> str:
    """Return the wire fingerprints, one where both ends have the same."""
    sides = [
        "/".join(dict.fromkeys(wire[:_SHOWN] for end in ends if (wire := end.wire[side])))
        for side in (0, 1)
    ]
    return _way(*sides)


def _own(ends: Sequence[EndState]) -> list[str]:
    return [f"{end.name} {_way(*((print_ or '')[:_SHOWN] for print_ in end.own))}" for end in ends]


def _notes(row: ConnectionChange, *, own: bool) -> Iterator[str]:
    """Yield what else is to be told about a connection."""
    yield from row.notes
    if row.was:
        yield f"renamed, it was {row.was}"
    for end in row.ends:
        if end.was:
            yield f"end {end.name} was {end.was}"
    if row.classes.names:
        yield ", ".join(row.classes.names)
    if row.disagree:
        yield f"the ends differ in {count(len(row.disagree), 'point')}"
    if row.report is not None and row.report.findings:
        found = [one for one in row.report.findings if one.severity in ("error", "warning")]
        if found:
            yield f"check finds {counts(found, ('error', 'warning'))}"
    yield from (f"{old} is now {new}" for old, new in row.moved)
    if own and any(end.own[0] and end.own[1] and end.own[0] != end.own[1] for end in row.ends):
        yield f"own {', '.join(_own(row.ends))}"


def _details(
    row: ConnectionChange, everything: bool, pictures: Sequence[Grids], where: Where
) -> tuple[str, tuple[Block, ...]] | None:
    """Return a title and what changed in a connection, None where the line tells everything."""
    again = [shlex.quote(end.files[1]) for end in row.ends if end.files[1]]
    if row.comparison is not None and row.report is not None:
        told = changes.edits(
            row.name,
            row.comparison,
            row.classes,
            row.mixed,
            report=row.report,
            again=again,
            all_rows=everything,
            pictures=pictures,
            where=where,
        )
        return plain(told.title), told.blocks
    found = row.changes or row.disagree
    if not found and not (row.report is not None and row.report.findings):
        return None
    checked = changes.checked(row.report, again) if row.report is not None else []
    points = [changes.points(found, where)] if found else []
    return f"{row.name}: {row.change}", (*checked, *points)


def _points(row: ConnectionChange) -> Iterator[str]:
    """Yield each change of a connection in one line; of two edits alike, those of the first end."""
    if row.comparison is None:
        for change in row.changes or row.disagree:
            yield _cut(f"{row.name}: {changes.sentence(change)}")
        return
    for difference in row.comparison.differences:
        yield _cut(f"{row.name}: {difference.level}: {difference.message}")
    if row.comparison.differences:
        return
    own = row.change == "own parts edited"
    for end, edit in zip(row.comparison.ends, row.comparison.edits, strict=True):
        for change in edit:
            yield _cut(f"{row.name}, {end}: {changes.sentence(change)}")
        if edit and not own:
            return


def _rest(given: SiteComparison, *, cut: bool = False) -> Iterator[Block]:
    """Yield what was found of the whole site, what could not be read, what was not looked at."""
    short = _cut if cut else str
    if given.findings:
        found = [f"{one.severity}: {one.rule}: {one.message}" for one in given.findings]
        yield Section("Of all connections together", (_items(found, cut),))
    if given.problems:
        yield Section("Could not be read", (_items(list(map(str, given.problems)), cut),))
    if given.others:
        few = [short(path) for path in given.others[:FEW]]
        more = f" and {len(given.others) - FEW} more" if len(given.others) > FEW else ""
        words = f"not judged, since they are no maps: {', '.join(few)}{more}"
        yield Paragraph(words)


def _items(found: list[str], cut: bool) -> Items:
    if not cut:
        return Items(tuple(found))
    shown = [_cut(one) for one in found[:FEW]]
    if len(found) > FEW:
        shown.append(f"and {len(found) - FEW} more")
    return Items(tuple(shown))


def _cut(text: str) -> str:
    return text if len(text) <= _MOST_CHARACTERS else f"{text[:_MOST_CHARACTERS]}..."
