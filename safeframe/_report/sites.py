"""What became of the connections of a site: a line for each, and what changed in them."""

from __future__ import annotations

import os
import shlex
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

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
from .findings import FEW, counts, not_judged

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
_COUNTED = {
    "only one end": "with one end only",
    "only one end edited": "edited at one end only",
}
"""How a change is counted, where its own words would not do behind a number."""

_HEAD = ("connection", "change", "level", "octets", "wire fingerprint")
_OWN = "own fingerprints"
_MOST_NAMES = 56
"""Characters of two file names that still fit a line with the command."""

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
    labels = _labels(given)
    if rows:
        blocks.append(_table(rows, labels, fail_on, own=page))
    if hidden:
        words = f"{count(len(quiet), 'connection')} unchanged (--all lists them)"
        blocks.append(Paragraph(words))
    told = [row for row in given.rows if not plain_row(row, fail_on)]
    details: list[tuple[str, tuple[Block, ...]]] = []
    for number, row in enumerate(told):
        pictures = draw(row) if draw is not None and number < FEW else ()
        inside = _details(row, labels[id(row)], everything, pictures, where)
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
        below=tuple(_open(given, labels, fail_on)),
    )


def brief(given: SiteComparison, *, fail_on: str = "text") -> Document:
    """Return what fits the comment of a review: the gravest first, and how much is left out."""
    told = [row for row in given.rows if not plain_row(row, fail_on)]
    told.sort(key=lambda row: (not row.fails(fail_on), CHANGES.index(row.change)))
    blocks: list[Block] = []
    labels = _labels(given)
    if told:
        blocks.append(_table(told[:_MOST_ROWS], labels, fail_on, own=False, cut=True))
    points = [point for row in told for point in _points(row, labels[id(row)])]
    if points:
        blocks.append(Section("What changed", (Items(tuple(points[:_MOST_POINTS])),)))
    left = [
        f"{labels[id(row)]}: {line}"
        for row in told
        if row.report is not None
        for line in not_judged(row.report)
    ]
    if left:
        blocks.append(Section("What the check leaves open", (_items(left, cut=True),)))
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
        below=tuple(_open(given, labels, fail_on)),
    )


def plain_row(row: ConnectionChange, fail_on: str) -> bool:
    """Return whether there is nothing to say about a connection."""
    return row.change == "unchanged" and not row.moved and not row.fails(fail_on)


def _labels(given: SiteComparison) -> dict[int, str]:
    """Return what to call each row: its name, with the folder where several have one name."""
    names = Counter(row.name for row in given.rows)
    return {
        id(row): row.name if names[row.name] == 1 else f"{row.name} ({', '.join(_folders(row))})"
        for row in given.rows
    }


def _folders(row: ConnectionChange) -> list[str]:
    paths = [end.paths[1] or end.paths[0] or "" for end in row.ends]
    return list(dict.fromkeys(path.rpartition("/")[0] or "." for path in paths))


def _open(given: SiteComparison, labels: Mapping[int, str], fail_on: str) -> Iterator[Paragraph]:
    """Yield which connections make the exit code other than 0."""
    names = [_cut(labels[id(row)]) for row in given.rows if row.fails(fail_on)]
    if names:
        more = f" and {len(names) - FEW} more" if len(names) > FEW else ""
        yield Paragraph(f"open: {', '.join(names[:FEW])}{more}")
    if given.untracked:
        yield Paragraph(f"open: {count(len(given.untracked), 'file')} not added to git")
    if given.findings:
        yield Paragraph(f"check finds {counts(given.findings)} of all connections together")


def _verdict(given: SiteComparison, fail_on: str, *, cut: bool = False) -> StyledText:
    found = [f"{number} {_COUNTED.get(change, change)}" for change, number in given.counts]
    if given.problems:
        found.append(f"{count(len(given.problems), 'problem')} of input")
    states = [_cut(state) if cut else state for state in (given.before, given.after)]
    text = f"{' -> '.join(states)}: {', '.join(found) or 'no map in either state'}"
    return StyledText(text, "error" if given.fails(fail_on) else "good")


def _table(
    rows: Sequence[ConnectionChange],
    labels: Mapping[int, str],
    fail_on: str,
    *,
    own: bool,
    cut: bool = False,
) -> Table:
    short = _cut if cut else str
    cells = [tuple(map(short, (labels[id(row)], *_cells(row, own=own)))) for row in rows]
    looks = ["error" if row.fails(fail_on) else _LOOKS[row.change] for row in rows]
    notes = ["; ".join(map(short, _notes(row, own=not own))) for row in rows]
    return Table(
        tuple(cells),
        (*_HEAD, *([_OWN] if own else [])),
        looks=tuple(looks),
        notes=tuple(notes) if any(notes) else (),
        note_head="more",
    )


def _cells(row: ConnectionChange, *, own: bool) -> tuple[str, ...]:
    sizes = [_joined([end.octets[side] for end in row.ends], "+") for side in (0, 1)]
    cells = (row.change, row.level or "-", _way(*sizes), _wire(row.ends))
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
    findings = row.report.findings if row.report is not None else ()
    found = [one for one in findings if one.severity in ("error", "warning")]
    if found:
        yield f"check finds {counts(found, ('error', 'warning'))}"
    yield from (f"{old} is now {new}" for old, new in row.moved)
    if own and any(end.own[0] and end.own[1] and end.own[0] != end.own[1] for end in row.ends):
        yield f"own {', '.join(_own(row.ends))}"


def _details(
    row: ConnectionChange,
    label: str,
    everything: bool,
    pictures: Sequence[Grids],
    where: Where,
) -> tuple[str, tuple[Block, ...]] | None:
    """Return a title and what changed in a connection, None where the line tells everything."""
    again = _again([end.files[1] for end in row.ends if end.files[1]])
    if row.comparison is not None and row.report is not None and row.level:
        told = changes.edits(
            label,
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
    checked = changes.checked(row.report, again) if row.report is not None else []
    left = changes.left_open(row.report) if row.report is not None else ()
    found = row.changes or row.disagree
    points = [changes.points(found, where)] if found else []
    if not checked and not points and not (row.change == "new" and left):
        return None
    tail = ", but the ends differ" if row.disagree else ""
    return f"{label}: {row.change}{tail}", (*checked, *left, *points)


def _again(files: Sequence[str]) -> list[str]:
    """Return what to check: the files, or the folder of them where the line would be too long."""
    folders = {os.path.dirname(path) or "." for path in files}  # noqa: PTH120
    if len(shlex.join(files)) > _MOST_NAMES and len(folders) == 1:
        return [folders.pop()]
    return list(files)


def _points(row: ConnectionChange, label: str) -> Iterator[str]:
    """Yield each change of a connection in one line, after what the two edits do not share."""
    if row.comparison is None:
        for change in row.changes or row.disagree:
            yield _cut(f"{label}: {changes.sentence(change)}")
        return
    for difference in row.comparison.differences:
        yield _cut(f"{label}: {difference.level}: {difference.message}")
    for end, edit in zip(row.comparison.ends, row.comparison.edits, strict=True):
        for change in edit:
            yield _cut(f"{label}, {end}: {changes.sentence(change)}")


def _rest(given: SiteComparison, *, cut: bool = False) -> Iterator[Block]:
    """Yield what was found of the whole site, what could not be read, what was not looked at."""
    if given.findings:
        found = [f"{one.severity}: {one.rule}: {one.message}" for one in given.findings]
        yield Section("Of all connections together", (_items(found, cut),))
    if given.problems:
        yield Section("Could not be read", (_items(list(map(str, given.problems)), cut),))
    if given.untracked:
        words = f"not added to git, so the next commit lacks: {_few(given.untracked, cut=cut)}"
        yield Paragraph(StyledText(words, "error"))
    if given.plants:
        yield Paragraph(
            f"not judged: what changed in {_few(given.plants, cut=cut)} besides which maps are "
            "connected (records, demands, serial numbers, routes)"
        )
    if given.others:
        words = f"not judged, since they are no maps: {_few(given.others, cut=cut)}"
        yield Paragraph(words)


def _few(paths: Sequence[str], *, cut: bool) -> str:
    few = [_cut(path) if cut else path for path in paths[:FEW]]
    return ", ".join(few) + (f" and {len(paths) - FEW} more" if len(paths) > FEW else "")


def _items(found: list[str], cut: bool) -> Items:
    if not cut:
        return Items(tuple(found))
    shown = [_cut(one) for one in found[:FEW]]
    if len(found) > FEW:
        shown.append(f"and {len(found) - FEW} more")
    return Items(tuple(shown))


def _cut(text: str) -> str:
    return text if len(text) <= _MOST_CHARACTERS else f"{text[:_MOST_CHARACTERS]}..."
