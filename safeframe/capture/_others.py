"""Other readings of data that contradict the maps: known mistakes, one edit away, other maps.

Each is the producer's map changed in one way. Counted is in how many of the frames that were kept
the data contradict it nowhere, against the map as it is. Numbers, never a verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial

from .._bits import Place, mirror_in_octets, mirror_in_words, swap_octets
from .._model import Map, Reserved, Signal
from ._odd import explains
from ._report import OtherReading

_MOST = 5
"""Readings that are told; the best explain most."""
_MOST_EDITS = 2000
"""One-edit neighbours that are tried; by choice, a few seconds at most."""


def other_readings(
    side: int, map_: Map, other: Map, sample: Mapping[bytes, int], also: Mapping[str, Map]
) -> tuple[OtherReading, ...]:
    """Return the readings that explain more frames than the map as it is, the best first.

    ``other`` is what the same end's map says about the opposite direction, ``sample`` data with
    the number of their frames, ``also`` maps by title.
    """
    frames = sum(sample.values())
    plain = _explained(map_, sample)
    found: dict[str, int] = {}
    for title, candidate in _candidates(map_, other, also):
        count = _explained(candidate, sample)
        if count > plain:
            found.setdefault(title, count)
    ranked = sorted(found.items(), key=lambda item: -item[1])[:_MOST]
    return tuple(
        OtherReading(side=side, title=title, explained=count, as_mapped=plain, frames=frames)
        for title, count in ranked
    )


def _explained(map_: Map, sample: Mapping[bytes, int]) -> int:
    return sum(count for data, count in sample.items() if explains(map_, data))


def _candidates(map_: Map, other: Map, also: Mapping[str, Map]) -> Iterator[tuple[str, Map]]:
    yield from also.items()
    if other.size_octets == map_.size_octets:
        yield "the map of the opposite direction", other
    for title, place in _orders(map_.size_octets):
        moved = _placed(map_, place)
        if moved is not None:
            yield title, moved
    yield from _shifted(map_)
    yield from _edits(map_)


_Place = Callable[[int, int], int | None]


def _orders(size_octets: int) -> Iterator[tuple[str, _Place]]:
    """Yield other orders of octets and bits; a word never reaches beyond the data."""
    yield "bits of each octet numbered from the other side", mirror_in_octets
    yield "halves of each octet exchanged", _swap_halves
    for word in sorted({2, 4, 8, size_octets}):
        if 1 < word <= size_octets and size_octets % word == 0:
            swap, mirror = (
                partial(each, word_octets=word) for each in (swap_octets, mirror_in_words)
            )
            yield f"octets of each word of {word} exchanged", swap
            yield f"bits of each word of {word} octets numbered from the other side", mirror


def _swap_halves(index: int, width: int) -> int | None:
    if not (index | width) & 7:
        return index
    return index ^ 4 if (index & 3) + width <= 4 else None


def _bit_by_bit(entry: Signal | Reserved) -> Iterator[Signal | Reserved]:
    """Yield a signal as it is, reserved bits one by one: they need not stay together."""
    if isinstance(entry, Signal):
        yield entry
        return
    for bit in range(entry.width):
        place = Place.at(entry.start + bit)
        yield replace(entry, at=place, width=1, value=entry.value >> bit & 1)


def _placed(map_: Map, place: _Place) -> Map | None:
    """Return a map with every entry elsewhere, or None where one has no such place."""
    entries = []
    for entry in (part for each in map_.entries for part in _bit_by_bit(each)):
        start = place(entry.start, entry.width)
        if start is None or start < 0:
            return None
        entries.append(_at(entry, start))
    return Map(entries=tuple(sorted(entries, key=lambda each: each.start)))


def _at(entry: Signal | Reserved, start: int) -> Signal | Reserved:
    """Return an entry at another place; there a value need not fill whole octets."""
    if isinstance(entry, Signal):
        return replace(entry, at=Place.at(start), order="little")
    return replace(entry, at=Place.at(start))


def _shifted(map_: Map) -> Iterator[tuple[str, Map]]:
    """Yield maps with a bit more in front of one signal, taken from the next reserved run."""
    for number, entry in enumerate(map_.entries):
        rest = map_.entries[number:]
        run = next((each for each in rest if isinstance(each, Reserved)), None)
        if run is None or run is entry or isinstance(entry, Reserved):
            continue
        between = rest[: rest.index(run)]
        moved = [_at(each, each.start + 1) for each in between]
        smaller = (
            [replace(run, at=Place.at(run.start + 1), width=run.width - 1)] if run.width > 1 else []
        )
        gap = Reserved(at=entry.at, width=1)
        behind = rest[rest.index(run) + 1 :]
        entries = (*map_.entries[:number], gap, *moved, *smaller, *behind)
        yield f"{entry.name} and what follows one bit later", Map(entries=entries)


def _edits(map_: Map) -> Iterator[tuple[str, Map]]:
    """Yield maps in which one reserved bit is a signal, or one signal stands in a reserved bit."""
    tried = 0
    spare = [
        index
        for entry in map_.entries
        if isinstance(entry, Reserved)
        for index in range(entry.start, entry.end)
    ]
    bits = [each for each in map_.signals if each.width == 1]
    for index in spare:
        place = Place.at(index)
        added = Signal(name=f"a signal at {place}", at=place)
        yield f"a signal of one bit at {place}, reserved in the maps", _taken(map_, added)
        for signal in bits:
            tried += 1
            if tried > _MOST_EDITS:
                return
            moved = _taken(map_, replace(signal, at=place), without=signal)
            yield f"{signal.name} at {place} instead of {signal.at}", moved


def _taken(map_: Map, signal: Signal, without: Signal | None = None) -> Map:
    """Return a map with a signal of one bit in a reserved run; what it leaves is reserved."""
    entries: list[Signal | Reserved] = []
    for entry in map_.entries:
        if entry is without:
            entries.append(Reserved(at=entry.at, width=entry.width))
        elif isinstance(entry, Reserved) and entry.start <= signal.start < entry.end:
            before, after = signal.start - entry.start, entry.end - signal.end
            if before:
                mask = (1 << before) - 1
                entries.append(replace(entry, width=before, value=entry.value & mask))
            entries.append(signal)
            if after:
                place, value = Place.at(signal.end), entry.value >> before + 1
                entries.append(replace(entry, at=place, width=after, value=value))
        else:
            entries.append(entry)
    return Map(entries=tuple(entries))
