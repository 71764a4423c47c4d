"""What a bit grid shows: octets as rows, runs of bits, what differs between two maps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ._bits import Place
from ._model import Direction, Map, Reserved, Signal
from ._pairing import Pair, match
from ._words import count

__all__ = ["MARKS", "GridCell", "BitGrid", "compare", "compare_maps", "grid"]

MARKS = ("moved", "width differs", "octet order differs", "name differs", "only here")
"""How a signal can differ from the other end; the first that fits is shown."""

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
    owners: list[list[Signal | Reserved]] = [[] for _ in range(8 * octets)]
    for entry in data.entries:
        for index in range(entry.start, entry.end):
            owners[index].append(entry)
    cells = tuple(cell for octet in range(octets) for cell in _row(octet, owners, marks))
    return BitGrid(title=title, octets=octets, cells=cells)


def _row(octet: int, owners: list[list[Signal | Reserved]], marks: _Marks) -> Iterator[GridCell]:
    start = 8 * octet
    for index in range(start + 1, 8 * octet + 9):
        if index == 8 * octet + 8 or list(map(id, owners[index])) != list(map(id, owners[start])):
            yield _cell(Place.at(start), index - start, owners[start], marks)
            start = index


def _cell(first: Place, width: int, owners: list[Signal | Reserved], marks: _Marks) -> GridCell:
    names = [entry.name if isinstance(entry, Signal) else "reserved" for entry in owners]
    if len(owners) == 1:
        kind = "signal" if isinstance(owners[0], Signal) else "reserved"
    else:
        kind = "twice" if owners else "undeclared"
    # Of several owners the first one that differs is told.
    found = [marks[id(entry)] for entry in owners if id(entry) in marks]
    mark, elsewhere = found[0] if found else ("", "")
    return GridCell(
        first=first,
        width=width,
        kind=kind,
        label=" + ".join(names) or "undeclared",
        mark=mark,
        elsewhere=elsewhere,
        part=_part(owners[0], first, width) if kind == "signal" else "",
        joined=kind == "signal" and width == 8 and owners[0].end >= 8 * first.octet + 16,
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
