"""The smallest data that producer and consumer read with different meanings."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from functools import cached_property
from heapq import heappop, heappush
from itertools import islice

from .._codec import Reading, read_signal
from .._findings import Counterexample
from .._model import Direction, Map, Reserved, Signal

SignalPair = tuple[Signal | None, Signal | None]
"""A signal as the producer has it and as the consumer has it; None where an end has none."""


_MOST_OCTETS = 1 << 25
"""Octets of data that are read in search of one witness. Every bit of the longest data of a listed
protocol is tried; the limit is for absurd maps, in which half a million bits could be tried."""
_WIDEST, _OUTER = 1024, 16
"""Of a value of more bits only so many at either end are tried."""


class _IndexedMap:
    """A map with its signals by name and its runs of bits by owner, made once per witness."""

    def __init__(self, map_: Map) -> None:
        self.map = map_
        self.by_name: dict[str, Signal] = {}
        self.constant = 0
        for entry in map_.entries:
            if isinstance(entry, Signal):
                self.by_name.setdefault(entry.name, entry)
            else:
                self.constant |= entry.value << entry.start

    def read(self, signal: Signal, data: bytes) -> Reading:
        return read_signal(signal, data, self.by_name.get(signal.valid_by))

    @cached_property
    def owned(self) -> tuple[list[int], list[Signal | Reserved | None]]:
        """Where runs of bits with one owner start, and their owners; None owns a hole."""
        return _owned(self.map.entries)

    def owner(self, index: int) -> Signal | Reserved | None:
        """Return the first entry of the file that claims a bit."""
        starts, owners = self.owned
        at = bisect_right(starts, index)
        return owners[at - 1] if at else None

    def owners_of(self, start: int, end: int) -> list[Signal | Reserved | None]:
        """Return the owners of a run of bits in the order of their places."""
        starts, owners = self.owned
        return owners[max(bisect_right(starts, start) - 1, 0) : bisect_left(starts, end)]


def _owned(
    entries: Sequence[Signal | Reserved],
) -> tuple[list[int], list[Signal | Reserved | None]]:
    begins: dict[int, list[int]] = {entry.end: [] for entry in entries}
    for number, entry in enumerate(entries):
        begins.setdefault(entry.start, []).append(number)
    claims: list[int] = []
    owners: list[Signal | Reserved | None] = []
    for start in sorted(begins):
        for number in begins[start]:
            heappush(claims, number)
        while claims and entries[claims[0]].end <= start:
            heappop(claims)
        owners.append(entries[claims[0]] if claims else None)
    return sorted(begins), owners


def counterexample(direction: Direction, rows: Sequence[SignalPair]) -> Counterexample | None:
    """Return the data with the fewest ones (then the lowest places) that ``rows`` read differently.

    All zeros come first only where a safe value differs, else last: 0 mm and 0 cm differ on
    paper, 1 mm and 1 cm in the shaft. Only bits of the producer's signals are set: a producer
    sends its reserved bits as declared and nothing in undeclared bits. None where no single
    value of a signal shows a difference.
    """
    sent, received = _IndexedMap(direction.sent), _IndexedMap(direction.received)
    for data in _candidates(sent, rows):
        found = _disagreements(sent, received, rows, data)
        if found:
            return Counterexample(octets=data, rows=found)
    for sender, reader in rows:
        if sender is not None and reader is not None and sender.edge != reader.edge:
            return _edge_witness(direction, sender, reader)
    return None


def _candidates(sent: _IndexedMap, rows: Sequence[SignalPair]) -> Iterator[bytes]:
    """Yield data from the smallest on: no bit, one bit, then whole values of short signals."""
    size, rest = sent.map.size_octets, sent.constant
    nothing = rest.to_bytes(size, "little")
    if any(left and right and left.safe != right.safe for left, right in rows):
        yield nothing
    sources = _sources(sent, rows)
    limit = max(1, _MOST_OCTETS // (size + 8 * len(rows)))
    for index in islice(_bits(sources), limit):
        yield (rest | 1 << index).to_bytes(size, "little")
    values = {
        raw << signal.start
        for signal in sources
        if 1 < signal.width <= 8
        for raw in range(1 << signal.width)
        if raw.bit_count() > 1
    }
    for word in sorted(values, key=lambda value: (value.bit_count(), value)):
        yield (rest | word).to_bytes(size, "little")
    yield nothing


def _bits(signals: Sequence[Signal]) -> Iterator[int]:
    """Yield the bits of some signals once, in rising order."""
    runs: list[tuple[int, int]] = []
    for signal in signals:
        if signal.width > _WIDEST:
            runs.append((signal.start, signal.start + _OUTER))
            runs.append((signal.end - _OUTER, signal.end))
        else:
            runs.append((signal.start, signal.end))
    done = 0
    for start, end in sorted(runs):
        yield from range(max(start, done), end)
        done = max(done, end)


def _sources(sent: _IndexedMap, rows: Sequence[SignalPair]) -> list[Signal]:
    """Return the producer's signals whose bits the rows touch at either end."""
    wanted: dict[int, Signal] = {}
    for sender, reader in rows:
        if sender is not None:
            wanted[id(sender)] = sender
        for entry in sent.owners_of(reader.start, reader.end) if reader is not None else ():
            if isinstance(entry, Signal):
                wanted[id(entry)] = entry
    return list(wanted.values())


def _disagreements(
    sent: _IndexedMap, received: _IndexedMap, rows: Sequence[SignalPair], data: bytes
) -> tuple[tuple[str, str, str], ...]:
    found = []
    for sender, reader in rows:
        left = _sent_text(sender, reader, sent, data)
        right = "not read" if reader is None else _text(received.read(reader, data), sender)
        if reader is None and sender is not None and not sent.read(sender, data).raw:
            continue
        if left != right:
            found.append((_row_name(sender, reader), left, right))
    return tuple(found)


def _sent_text(sender: Signal | None, reader: Signal | None, sent: _IndexedMap, data: bytes) -> str:
    if sender is not None:
        return _text(sent.read(sender, data), reader)
    assert reader is not None, "a row names at least one signal"
    entry = sent.owner(reader.start)
    if isinstance(entry, Signal):
        return f"part of {entry.name} = {sent.read(entry, data).text}"
    if isinstance(entry, Reserved):
        return "reserved"
    return "nothing declared" if reader.start < sent.map.size_bits else "beyond the end of the data"


def _text(reading: Reading, other: Signal | None) -> str:
    if other is None or other.safe == reading.signal.safe:
        return reading.text
    return f"{reading.text}, {'the' if reading.is_safe else 'not the'} safe value"


def _row_name(sender: Signal | None, reader: Signal | None) -> str:
    if sender is None or reader is None or sender.name == reader.name:
        return (sender or reader).name  # type: ignore[union-attr]
    return f"{sender.name} / {reader.name}"


def _edge_witness(direction: Direction, sender: Signal, reader: Signal) -> Counterexample:
    """Return the change of an acknowledge bit on which the two ends act differently."""
    zero = bytes(direction.sent.size_octets)
    one = bytearray(zero)
    one[sender.at.octet] |= 1 << sender.at.bit
    rising = _edge_text(sender, "rising"), _edge_text(reader, "rising")
    falling = _edge_text(sender, "falling"), _edge_text(reader, "falling")
    name = _row_name(sender, reader)
    if rising[0] != rising[1]:
        return Counterexample(before=zero, octets=bytes(one), rows=((name, *rising),))
    return Counterexample(before=bytes(one), octets=zero, rows=((name, *falling),))


def _edge_text(signal: Signal, edge: str) -> str:
    change = "0 to 1" if edge == "rising" else "1 to 0"
    if not signal.edge:
        return f"{change}: read as a level"
    return f"{change}: {'acts' if signal.edge in (edge, 'both') else 'no action'}"
