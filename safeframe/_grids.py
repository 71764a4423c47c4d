"""What a bit grid shows: octets as rows, runs of bits, what differs between two maps."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from ._bits import Place
from ._model import Direction, Map, Reserved, Signal
from ._pairing import Pair, match
from ._words import count

MARKS = ("moved", "width differs", "octet order differs", "name differs", "only here")
"""How a signal can differ from the other end; the first that fits is shown."""

_MOST_NAMES = 8
"""Owners of one bit that are named; nobody reads more."""

_Marks = Mapping[int, tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class GridCell:
    """A run of bits of one octet that belong together, least significant bit first.

    ``kind`` is signal, reserved, undeclared or twice. ``mark`` is a word of MARKS or empty,
    ``elsewhere`` what the other end has instead, for instance ``LX 0.2``. ``part`` is which part
    of a value of several octets the cell holds, for instance ``high octet``; ``joined`` tells that
    the cell goes on in the octet below.
    """

    first: Place
    width: int
    kind: str
    label: str = ""
    mark: str = ""
    elsewhere: str = ""
    part: str = ""
    joined: bool = False

    @property
    def last(self) -> Place:
        """The most significant bit."""
        return Place(self.first.octet, self.first.bit + self.width - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class BitGrid:
    """One map as cells, octet 0 first."""

    title: str
    octets: int
    cells: tuple[GridCell, ...]

    @property
    def marked(self) -> tuple[GridCell, ...]:
        """The cells that differ from the other end."""
        return tuple(cell for cell in self.cells if cell.mark)


def grid(title: str, data: Map) -> BitGrid:
    """Return the grid of one map."""
    return _grid(title, data, {})


def compare(direction: Direction) -> tuple[BitGrid, BitGrid]:
    """Return what the producer sends and what the consumer expects, with the differences marked."""
    producer, consumer = direction.producer.name, direction.consumer.name
    titles = (f"{producer} sends", f"{consumer} receives")
    return compare_maps(titles, (producer, consumer), direction.sent, direction.received)


def compare_maps(
    titles: tuple[str, str], names: tuple[str, str], one: Map, two: Map
) -> tuple[BitGrid, BitGrid]:
    """Return the grids of two maps of one direction; ``names`` say where the other place is."""
    matching = match(one, two)
    left = {id(signal): ("only here", "") for signal in matching.left_only}
    right = {id(signal): ("only here", "") for signal in matching.right_only}
    for pair in matching.pairs:
        mark = _mark(pair)
        if mark:
            left[id(pair.left)] = mark, _elsewhere(mark, names[1], pair.right)
            right[id(pair.right)] = mark, _elsewhere(mark, names[0], pair.left)
    return _grid(titles[0], one, left), _grid(titles[1], two, right)


def _mark(pair: Pair) -> str:
    differs = (
        pair.left.start != pair.right.start,
        pair.left.width != pair.right.width,
        pair.left.order != pair.right.order and pair.left.width > 8,
        pair.left.name != pair.right.name,
    )
    return next((mark for mark, true in zip(MARKS, differs, strict=False) if true), "")


def _elsewhere(mark: str, end: str, signal: Signal) -> str:
    values = {
        "moved": str(signal.at),
        "width differs": count(signal.width, "bit"),
        "octet order differs": f"{signal.order}-endian",
        "name differs": signal.name,
    }
    return f"{end} {values[mark]}"


def _grid(title: str, data: Map, marks: _Marks) -> BitGrid:
    octets = data.size_octets
    cells = tuple(cell for run in _runs(data, marks) for cell in _cells(run))
    return BitGrid(title=title, octets=octets, cells=cells)


class _BitRun(NamedTuple):
    """Bits with the same owners: the first ones of them, their names, and what marks them."""

    start: int
    end: int
    kind: str
    label: str
    owner: Signal | Reserved | None
    mark: tuple[str, str]


def _runs(data: Map, marks: _Marks) -> Iterator[_BitRun]:
    """Yield the runs of a map in place order, undeclared ones and those of several owners too.

    Of several owners the first one that is marked counts. Only the borders of entries are looked
    at: rows may have 524,288 bits, and thousands of them may lie on top of each other.
    """
    borders: dict[int, list[tuple[bool, int]]] = {0: [], 8 * data.size_octets: []}
    for number, entry in enumerate(data.entries):
        borders.setdefault(entry.start, []).append((True, number))
        borders.setdefault(entry.end, []).append((False, number))
    inside: list[int] = []
    marked: list[int] = []
    for start, end in pairwise(sorted(borders)):
        for begins, number in borders[start]:
            for numbers in (inside, marked):
                if numbers is marked and id(data.entries[number]) not in marks:
                    continue
                if begins:
                    insort(numbers, number)
                else:
                    del numbers[bisect_left(numbers, number)]
        owners = [data.entries[number] for number in inside[:_MOST_NAMES]]
        names = [one.name if isinstance(one, Signal) else "reserved" for one in owners]
        if len(inside) > _MOST_NAMES:
            names.append(f"{len(inside) - _MOST_NAMES} more")
        kind = "undeclared"
        if owners:
            kind = "signal" if isinstance(owners[0], Signal) else "reserved"
            kind = "twice" if len(inside) > 1 else kind
        mark = marks[id(data.entries[marked[0]])] if marked else ("", "")
        label = " + ".join(names) or "undeclared"
        yield _BitRun(start, end, kind, label, owners[0] if owners else None, mark)


def _cells(run: _BitRun) -> Iterator[GridCell]:
    """Yield the cells of a run, none of them over the end of an octet."""
    for start in (run.start, *range((run.start | 7) + 1, run.end, 8)):
        first, width = Place.at(start), min((start | 7) + 1, run.end) - start
        signal = run.owner if run.kind == "signal" else None
        yield GridCell(
            first=first,
            width=width,
            kind=run.kind,
            label=run.label,
            mark=run.mark[0],
            elsewhere=run.mark[1],
            part=_part(signal, first, width) if signal else "",
            joined=signal is not None and width == 8 and signal.end >= 8 * first.octet + 16,
        )


def _part(signal: Signal | Reserved, first: Place, width: int) -> str:
    """Return which part of a value that fills more than one octet a cell holds."""
    start = 8 * first.octet + first.bit
    if not isinstance(signal, Signal) or (signal.start >> 3) == ((signal.end - 1) >> 3):
        return ""
    low = start - signal.start
    if signal.order == "big":  # Fills whole octets, the most significant one first.
        low = signal.width - 8 - low
    high = low + width - 1
    size = "octet" if width == 8 else count(width, "bit")
    if high == signal.width - 1:
        return f"high {size}"
    if not low:
        return f"low {size}"
    return f"bits {high}-{low}" if width > 1 else f"bit {low}"
