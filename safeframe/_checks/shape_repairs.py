"""Repairs of the shape of one map: other sizes, signals elsewhere, reserve declared or cleared."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import islice

from .._bits import MAX_OCTETS, Place
from .._errors import UsageError
from .._model import Map, Reserved, Signal
from .._value import replace
from ..protocols import Profile
from .phrases import which
from .registry import Repair, View, count, doubled
from .remedies import Change, Remedy, map_changed, reserve_changes, settled, together
from .shape import larger_sizes

_MOST_DISENTANGLED = 100
"""Overlaps of one map for which edits are worked out: more findings of a rule are not listed."""


def resizings(view: View, profile: Profile, sides: list[int]) -> Iterator[Remedy]:
    """Yield what gives all of some ends the same legal size in the same words."""
    ways: dict[str, list[Change]] = {}
    for index in sides:
        end, map_ = view.sides[index]
        for text, entries in _sizings(map_, profile, end.connection_table.legal_octets):
            change = map_changed(end.name, sends=not index, entries=entries)
            ways.setdefault(text, []).append(change)
    for text, changes in ways.items():
        if len(changes) == len(sides):
            yield Remedy(text, together(changes))


def _sizings(
    map_: Map, profile: Profile, legal_octets: tuple[int, ...]
) -> Iterator[tuple[str, tuple[Signal | Reserved, ...]]]:
    """Yield how the reserve at the end could give a legal size: shorter, then longer."""
    last = max(map_.entries, key=lambda entry: entry.end, default=None)
    run = last if isinstance(last, Reserved) else None
    if run is not None:
        for octets in range(map_.size_bits >> 3, run.start >> 3, -1):
            if profile.sizes.is_legal(octets, legal_octets):
                width = 8 * octets - run.start
                yield (
                    f"reserve {count(width, 'bit')} instead of {run.width} at {run.at} "
                    f"({count(octets, 'octet')})",
                    settled(map_, map_.signals, 8 * octets),
                )
                break
    for octets in larger_sizes(map_, profile, legal_octets)[:1]:
        more = 8 * octets - map_.size_bits
        yield (
            f"reserve {count(more, 'bit')} more ({count(octets, 'octet')})",
            settled(map_, map_.signals, 8 * octets),
        )


class Disentangling:
    """What may end the overlaps of one map; what all of them need is looked for once."""

    def __init__(self, map_: Map, other: Map) -> None:
        self._map, self._doubled = map_, doubled(map_)
        self._starts = {signal.name: signal.start for signal in other.signals}
        self._runs = map_.reserved
        self._settled: Repair | None = None
        self._done = 0

    def of(self, before: Signal | Reserved, entry: Signal | Reserved) -> Iterator[Repair]:
        """Yield what may end one overlap: less reserve, a signal elsewhere, or none."""
        if isinstance(before, Reserved) or isinstance(entry, Reserved):
            if self._settled is None:
                entries = settled(self._map, self._map.signals, self._map.size_bits)
                self._settled = reserve_changes(self._map, entries), partial(tuple, entries)
            yield self._settled
            return
        self._done += 1
        if self._done > _MOST_DISENTANGLED:
            return
        for signal in (entry, before):
            name = which(signal, self._doubled)
            places = [self._starts.get(signal.name, before.end)]
            room = (run.start for run in self._runs if run.width >= signal.width)
            places += list(islice(room, 1))
            for start in dict.fromkeys(places):
                if start != signal.start and start + signal.width <= 8 * MAX_OCTETS:
                    text = f"move {name} to {Place.at(start)}"
                    yield from moves(text, self._map, signal, start)
            if signal.name not in self._starts:
                yield from moves(f"remove {name}", self._map, signal, None)


def moves(text: str, map_: Map, signal: Signal, start: int | None) -> Iterator[Repair]:
    """Yield a repair with what becomes of the reserve in words: nothing is left to guess."""
    try:
        entries = moved(map_, signal, start)
    except UsageError:
        return  # A signal cannot stand there, by its order.
    changes = reserve_changes(map_, entries)
    yield f"{text} ({changes})" if changes else text, partial(tuple, entries)


def moved(map_: Map, stray: Signal, start: int | None) -> tuple[Signal | Reserved, ...]:
    """Return the entries of a map with a signal elsewhere, or without it."""
    signals = [signal for signal in map_.signals if signal is not stray]
    if start is not None:
        signals.append(replace(stray, at=Place.at(start)))
    return settled(map_, signals, map_.size_bits)


def declared(map_: Map, start: int, width: int) -> tuple[Signal | Reserved, ...]:
    """Return the entries of a map with a run of bits declared as reserved."""
    return (*map_.entries, Reserved(at=Place.at(start), width=width))


def zeroed(map_: Map, run: Reserved) -> list[Signal | Reserved]:
    """Return the entries of a map with a reserved run sent as 0."""
    return [replace(run, value=0) if entry is run else entry for entry in map_.entries]


def free_blocks(map_: Map, signal: Signal, block_bits: int) -> list[int]:
    """Return the first start of a block at which the reserve holds a signal, if there is one."""
    for run in map_.reserved:
        start = -(-run.start // block_bits) * block_bits
        if start + signal.width <= run.end:
            return [start]
    return []
