"""What can be done about a finding: an operation on values, and the words for it.

A remedy is told only after it has been carried out on the values of the connection and made the
finding go away without another one: see ``safeframe._checks.trial``.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence

from .._bits import Place
from .._model import Connection, End, Map, Reserved, Signal
from .._pairing import Cause
from .._value import NamedTuple, replace
from .._words import count

Entry = Signal | Reserved
Change = Callable[[Connection], Connection]
"""An operation on values: the connection before, the connection after."""


class Remedy(NamedTuple):
    """Something to do, in words and as an operation."""

    text: str
    change: Change


def end_changed(name: str, change: Callable[[End], End]) -> Change:
    """Return the operation that changes the end of a name."""

    def changed(connection: Connection) -> Connection:
        first, second = (change(end) if end.name == name else end for end in connection.ends)
        return replace(connection, first=first, second=second)

    return changed


def map_changed(name: str, *, sends: bool, entries: Iterable[Entry]) -> Change:
    """Return the operation that gives the end of a name other entries in one direction."""
    made = Map(entries=tuple(sorted(entries, key=lambda entry: entry.start)))
    return end_changed(
        name, lambda end: replace(end, sends=made) if sends else replace(end, receives=made)
    )


def together(changes: Sequence[Change]) -> Change:
    """Return the operation that carries out several ones."""

    def all_of_them(connection: Connection) -> Connection:
        for change in changes:
            connection = change(connection)
        return connection

    return all_of_them


def settled(map_: Map, signals: Sequence[Signal], size_bits: int) -> tuple[Entry, ...]:
    """Return signals with the reserve that is left of a map around them, up to a size.

    Bits that a signal left join the reserve beside them; what nobody declared stays undeclared.
    """
    declared = [(entry.start, min(entry.end, size_bits)) for entry in map_.entries]
    declared.append((map_.size_bits, size_bits))
    free = _without(_union(declared), _union((signal.start, signal.end) for signal in signals))
    ends = {run.end for run in map_.reserved}
    cuts = ends & {run.start for run in map_.reserved}
    old = {(run.start, run.end): run for run in map_.reserved}
    made: list[Entry] = list(signals)
    for start, end in _cut(free, cuts):
        run = old.get((start, end))
        made.append(run or Reserved(at=Place.at(start), width=end - start))
    return tuple(sorted(made, key=lambda entry: entry.start))


def _union(runs: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return runs (start, end) in rising order, those that touch made one."""
    made: list[tuple[int, int]] = []
    for start, end in sorted(run for run in runs if run[0] < run[1]):
        if made and start <= made[-1][1]:
            made[-1] = made[-1][0], max(end, made[-1][1])
        else:
            made.append((start, end))
    return made


def _without(
    runs: Iterable[tuple[int, int]], taken: Sequence[tuple[int, int]]
) -> Iterator[tuple[int, int]]:
    """Yield what is left of runs without others; both are in rising order and do not touch."""
    at = 0
    for start, end in runs:
        while at < len(taken) and taken[at][0] < end:
            if start < taken[at][0]:
                yield start, taken[at][0]
            start = max(start, taken[at][1])
            if start >= end:
                break  # It may reach into the next run.
            at += 1
        if start < end:
            yield start, end


def _cut(runs: Iterable[tuple[int, int]], cuts: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Yield runs, cut at some places."""
    places = sorted(cuts)
    for start, end in runs:
        inside = places[bisect_right(places, start) : bisect_left(places, end)]
        yield from zip([start, *inside], [*inside, end], strict=True)


def reserve_changes(before: Map, after: Sequence[Entry]) -> str:
    """Return how the reserved runs of a map change, in words, empty where they do not."""
    new = [entry for entry in after if isinstance(entry, Reserved)]
    kept = {(run.start, run.end) for run in new} & {(run.start, run.end) for run in before.reserved}
    old = []
    once = set(kept)
    for run in before.reserved:
        if (run.start, run.end) in once:
            once.remove((run.start, run.end))
        else:
            old.append(run)
    parts = []
    for run in new:
        if (run.start, run.end) in kept:
            continue
        part = f"{count(run.width, 'bit')} at {run.at}"
        was = next((one for one in old if one.start < run.end and run.start < one.end), None)
        if was is not None:
            old.remove(was)
            part += f" instead of {was.width}"
            part += f" at {was.at}" if was.at != run.at else ""
        parts.append(part)
    words = [f"reserve {', '.join(parts)}"] if parts else []
    words += (
        f"drop the second reserve at {run.at}"
        if any(run.at == one.at for one in new)
        else f"drop the reserve at {run.at}"
        for run in old
    )
    return ", ".join(words)


def adopted(here: Map, there: Map, cause: Cause, *, left: bool) -> tuple[Entry, ...]:
    """Return the entries of one map brought into line with the other as far as a cause goes.

    ``left`` tells that ``here`` is the map of the producer. Displaced signals take their places of
    ``there``, a resized one its width too; what ``there`` alone has comes in, what ``here`` alone
    has goes.
    Raises UsageError where a signal cannot stand there.
    """
    targets: dict[int, Signal] = {}
    for number, pair in enumerate(cause.pairs):
        own, other = (pair.left, pair.right) if left else (pair.right, pair.left)
        target = replace(own, at=other.at)
        if cause.kind == "width" and not number:
            kind = other.type if "bool" in (own.type, other.type) else own.type
            target = replace(own, at=other.at, width=other.width, type=kind)
        targets[id(own)] = target
    gone = {id(signal) for signal in (cause.left if left else cause.right)}
    signals = [targets.get(id(signal), signal) for signal in here.signals if id(signal) not in gone]
    signals += (
        replace(signal, bind=f"(to be bound) {signal.name}", mirrors="")
        for signal in (cause.right if left else cause.left)
    )
    return settled(here, signals, there.size_bits)
