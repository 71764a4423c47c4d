"""Several maps of one direction laid over each other, cut at every border of an entry."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from .._canonical import reserve_words
from .._model import Map, Reserved, Signal

Entry = Signal | Reserved

_OWNERS = 2
"""Owners kept per bit and map: one is right, a second one proves an overlap, more add nothing but
a kind that is not among them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Bits ``start`` .. ``end - 1``, and per map the entries there (none: nobody declared them)."""

    start: int
    end: int
    owners: tuple[tuple[Entry, ...], ...]
    reserves: tuple[tuple[int, int] | None, ...]
    """Per map what all its reserved runs put into these bits, and which of them they state both as
    0 and as 1; None where nothing is reserved."""

    @property
    def width(self) -> int:
        """Number of bits."""
        return self.end - self.start

    def signal(self, which: int) -> Signal | None:
        """Return the first signal of map ``which`` on these bits."""
        return next((entry for entry in self.owners[which] if isinstance(entry, Signal)), None)

    def reserved(self, which: int) -> Reserved | None:
        """Return the first reserved run of map ``which`` on these bits."""
        return next((entry for entry in self.owners[which] if isinstance(entry, Reserved)), None)

    def reserved_value(self, which: int) -> int | None:
        """Return what map ``which`` puts into these reserved bits, None where they are not."""
        state = self.reserves[which]
        return None if state is None else state[0]


def carried(run: Reserved, start: int, end: int) -> int:
    """Return what a reserved run carries in the bits ``start`` .. ``end - 1``, a part of it."""
    return run.value >> (start - run.start) & ((1 << (end - start)) - 1)


def state_text(value: int, doubt: int) -> str:
    """Return what reserved bits carry, and which of them are stated twice, as the end of a text."""
    if doubt:
        return f", overlapping: 0x{doubt:X} is stated as 0 and as 1"
    return f", carrying 0x{value:X}" if value else ""


class Overlay:
    """All segments of some maps in place order, found by one sweep over their borders."""

    def __init__(self, *maps: Map) -> None:
        self.data_ends = tuple(8 * map_.size_octets for map_ in maps)
        """Index after the last bit of the data, per map."""
        self.segments = tuple(_sweep(maps))
        self._starts = [segment.start for segment in self.segments]
        self._ends = [segment.end for segment in self.segments]

    def within(self, start: int, end: int) -> tuple[Segment, ...]:
        """Return the segments of a run whose borders are borders of an entry."""
        return self.segments[bisect_left(self._starts, start) : bisect_right(self._ends, end)]


def _sweep(maps: tuple[Map, ...]) -> Iterator[Segment]:
    events: list[tuple[int, bool, int, int]] = []
    for which, map_ in enumerate(maps):
        for number, entry in enumerate(map_.entries):
            events += ((entry.start, True, which, number), (entry.end, False, which, number))
        # The end of the data is a border too: what lies behind it is not merely undeclared.
        events.append((8 * map_.size_octets, False, which, -1))
    events.sort()
    # All entries, then those of each kind: two signals that overlap must not hide a reserve.
    active: list[tuple[dict[int, Entry], ...]] = [({}, {}, {}) for _ in maps]
    words = [reserve_words(map_) for map_ in maps]
    position = 0
    for index, begins, which, number in events:
        if index > position:
            owners = tuple(_kept(*entries) for entries in active)
            reserves = tuple(_reserve(*both, position, index) for both in words)
            yield Segment(start=position, end=index, owners=owners, reserves=reserves)
            position = index
        if number < 0:
            continue
        entry = maps[which].entries[number]
        for entries in (active[which][0], active[which][1 + isinstance(entry, Reserved)]):
            if begins:
                entries[number] = entry
            else:
                del entries[number]


def _kept(
    entries: dict[int, Entry], signals: dict[int, Entry], reserves: dict[int, Entry]
) -> tuple[Entry, ...]:
    """Return the first owners, and the first one of each kind."""
    first = list(islice(entries, _OWNERS))
    first += (number for kind in (signals, reserves) for number in islice(kind, 1))
    return tuple(entries[number] for number in dict.fromkeys(first))


def _reserve(zeros: int, ones: int, start: int, end: int) -> tuple[int, int] | None:
    mask = (1 << (end - start)) - 1
    zero, one = zeros >> start & mask, ones >> start & mask
    return (one, zero & one) if zero | one else None
