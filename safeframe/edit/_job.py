"""How each operation changes the pages of both ends."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from .._bits import Place, run_text
from .._diff import FIELDS
from .._errors import UsageError
from .._model import Connection, Direction, Map, Reserved, Signal
from .._words import guess
from ._free import FreeBits
from ._operations import Bind, Declare, Insert, Move, Operation, Remove, Rename, Resize
from ._sheet import MapSheet

_SHARED = tuple(
    name
    for name, rule in FIELDS["Signal"].items()
    if rule.shared and name not in ("name", "at", "width")
)
"""Fields that a new signal takes from the other end where that has it already."""


def carry_out(operation: Operation, before: Connection, pages: tuple[MapSheet, MapSheet]) -> None:
    """Change the pages of a connection; UsageError, with numbers, where that is not possible."""
    job = _Job(before, pages)
    match operation:
        case Insert():
            _insert(job, operation)
        case Remove():
            _remove(job, operation)
        case Rename():
            _rename(job, operation)
        case Resize():
            _resize(job, operation)
        case Move():
            _move(job, operation)
        case Bind():
            _bind(job, operation)
        case _:
            _declare(job, operation)


class _Job:
    """Both pages and the connection they describe; every operation works on one direction."""

    def __init__(self, before: Connection, pages: tuple[MapSheet, MapSheet]) -> None:
        self.before = before
        self.pages = pages

    def sides(self, direction: Direction) -> tuple[tuple[MapSheet, str], tuple[MapSheet, str]]:
        """Return each page with the word that its end has for a direction, in page order."""
        if direction.producer is self.before.first:
            return (self.pages[0], "sends"), (self.pages[1], "receives")
        return (self.pages[0], "receives"), (self.pages[1], "sends")

    def named(self, name: str, sender: str) -> Direction:
        """Return the direction that has a signal at one end at least."""
        found = [
            direction
            for direction in self.directions(sender)
            if any(signal.name == name for map_ in _maps(direction) for signal in map_.signals)
        ]
        if len(found) > 1:
            raise UsageError(
                f"{name} must be told by who sends it, {self._names(' or ')}: "
                "both directions have it"
            )
        if not found:
            known = [
                signal.name
                for direction in self.directions(sender)
                for map_ in _maps(direction)
                for signal in map_.signals
            ]
            near = guess(name, known)
            hint = f" (did you mean {near}?)" if near else ""
            raise UsageError(f"{name} must be a signal of {self.before.name}{hint}")
        self.once(name, found[0])
        return found[0]

    @staticmethod
    def once(name: str, direction: Direction) -> None:
        """Refuse a name that an end gives to several signals: nothing says which one is meant."""
        ends = (direction.producer, direction.consumer)
        for end, map_ in zip(ends, _maps(direction), strict=True):
            places = [str(signal.at) for signal in map_.signals if signal.name == name]
            if len(places) > 1:
                where = " and ".join(places)
                raise UsageError(
                    f"{name} must be one signal of {end.name}, not those at {where}; "
                    "give each a name of its own in the file"
                )

    def directions(self, sender: str) -> list[Direction]:
        """Return both directions, or the one of a sender."""
        both = list(self.before.directions())
        if not sender:
            return both
        self.ends((sender,))
        return [direction for direction in both if direction.producer.name == sender]

    def sent_by(self, sender: str) -> Direction:
        """Return the direction of a sender that must be stated."""
        if not sender:
            raise UsageError(
                f"the sender must be stated with a place, {self._names(' or ')}, not left out"
            )
        return self.directions(sender)[0]

    def ends(self, names: Iterable[str]) -> None:
        """Refuse names that no end has."""
        for name in names:
            if name not in (end.name for end in self.before.ends):
                raise UsageError(f"an end must be {self._names(' or ')}, not {name}")

    def start(self, operation: Insert | Move, direction: Direction, width: int) -> int:
        """Return the index of the first bit of a place."""
        if operation.at is not None:
            return operation.at.index
        anchor = operation.after or operation.before
        self.once(anchor, direction)
        found = {
            end.name: signal
            for end, map_ in zip(
                (direction.producer, direction.consumer), _maps(direction), strict=True
            )
            for signal in map_.signals
            if signal.name == anchor
        }
        if not found:
            raise UsageError(f"{anchor} must be a signal of {direction.name}")
        edges = {
            name: signal.end if operation.after else signal.start for name, signal in found.items()
        }
        if len(set(edges.values())) > 1:
            word = "end" if operation.after else "start"
            places = " and ".join(f"at {Place.at(edge)} at {name}" for name, edge in edges.items())
            raise UsageError(f"{anchor} must {word} at one place at both ends, not {places}")
        edge = next(iter(edges.values()))
        return edge if operation.after else edge - width

    def _names(self, joint: str) -> str:
        return joint.join(end.name for end in self.before.ends)


def _maps(direction: Direction) -> tuple[Map, Map]:
    return direction.sent, direction.received


def _insert(job: _Job, operation: Insert) -> None:
    job.ends(operation.binds)
    anchor = operation.after or operation.before
    direction = job.named(anchor, operation.sender) if anchor else job.sent_by(operation.sender)
    start = job.start(operation, direction, operation.width)
    job.once(operation.name, direction)
    sides = job.sides(direction)
    there = [found[1] for page, word in sides if (found := page.find(word, operation.name))]
    if len(there) == 2:
        raise UsageError(
            f"{operation.name} must be new at one end at least, not there at both: "
            f"{there[0].at} and {there[1].at}"
        )
    for signal in there:
        if (signal.start, signal.width) != (start, operation.width):
            raise UsageError(
                f"{operation.name} must be where it is already, {_extent(signal)}, "
                f"not {run_text(max(start, 0), max(start, 0) + operation.width)}"
            )
    FreeBits(direction, operation.name).demand(
        start, start + operation.width, upwards=not operation.before
    )
    fields = {name: getattr(signal, name) for signal in there for name in _SHARED}
    fields = {"type": "bool" if operation.width == 1 else "uint", **fields, **operation.fields}
    signal = Signal(name=operation.name, at=Place.at(start), width=operation.width, **fields)
    for page, word in sides:
        if page.find(word, operation.name):
            continue
        page.insert(word, replace(signal, bind=operation.binds.get(page.end.name, "")))
        page.take(word, signal.start, signal.end)
    _bind_all(job, direction, operation.name, operation.binds)


def _extent(signal: Signal) -> str:
    return run_text(signal.start, signal.end)


def _remove(job: _Job, operation: Remove) -> None:
    direction = job.named(operation.name, operation.sender)
    for page, word in job.sides(direction):
        found = page.find(word, operation.name)
        if found:
            # The reserve first: an array of rows never gets empty on the way.
            page.give(word, found[1].start, found[1].end)
            page.remove(word, operation.name)


def _rename(job: _Job, operation: Rename) -> None:
    direction = job.named(operation.name, operation.sender)
    if operation.name == operation.to:
        raise UsageError(f"the new name must be another one, not {operation.to}")
    for page, word in job.sides(direction):
        old, new = page.find(word, operation.name), page.find(word, operation.to)
        if old and new:
            raise UsageError(
                f"the new name must be free at {page.end.name}, not that of the signal at "
                f"{new[1].at}"
            )
        if old:
            page.rename(word, operation.name, operation.to)


def _resize(job: _Job, operation: Resize) -> None:
    direction = job.named(operation.name, operation.sender)
    for page, word in job.sides(direction):
        found = page.find(word, operation.name)
        if not found:
            continue
        signal = found[1]
        end = signal.start + operation.width
        if end > signal.end:
            FreeBits(direction, operation.name).demand(signal.end, end)
            page.take(word, signal.end, end)
        elif end < signal.end:
            page.give(word, end, signal.end)
        values: dict[str, object] = {"width": operation.width}
        if operation.type:
            values["type"] = operation.type
        elif signal.type == "bool" and page.states(word, operation.name, "type"):
            values["type"] = "uint"
        page.set_keys(word, operation.name, values)


def _move(job: _Job, operation: Move) -> None:
    anchor = operation.after or operation.before
    if anchor == operation.name:
        raise UsageError(f"a signal must move next to another one, not next to {anchor}")
    direction = job.named(operation.name, operation.sender)
    for page, word in job.sides(direction):
        found = page.find(word, operation.name)
        if not found:
            continue
        signal = found[1]
        start = job.start(operation, direction, signal.width)
        if start == signal.start:
            continue
        end = start + signal.width
        FreeBits(direction, operation.name).demand(start, end, upwards=not operation.before)
        page.give(word, signal.start, signal.end)
        page.take(word, start, end)
        page.set_keys(word, operation.name, {"at": str(Place.at(start))})
        page.sort(word, operation.name)


def _bind(job: _Job, operation: Bind) -> None:
    job.ends(operation.binds)
    direction = job.named(operation.name, operation.sender)
    _bind_all(job, direction, operation.name, operation.binds)


def _bind_all(job: _Job, direction: Direction, name: str, binds: Mapping[str, str]) -> None:
    for page, word in job.sides(direction):
        variable = binds.get(page.end.name)
        if variable is None:
            continue
        found = page.find(word, name)
        if not found:
            raise UsageError(f"{name} must exist at {page.end.name} to be bound there")
        if found[1].bind != variable:
            page.set_keys(word, name, {"bind": variable})


def _declare(job: _Job, operation: Declare) -> None:
    direction = job.sent_by(operation.sender)
    run = Reserved(at=operation.at, width=operation.width)
    for page, word in job.sides(direction):
        entries = page.entries(word)
        inside = [entry for entry in entries if entry.start < run.end and run.start < entry.end]
        name, where = page.end.name, run_text(run.start, run.end)
        size = max((entry.end for entry in entries), default=0)
        if run.end > size:
            raise UsageError(
                f"bits to declare must lie within the {size} bits of {name}, not {where}"
            )
        if not inside:
            page.insert(word, run)
        elif not all(isinstance(entry, Reserved) for entry in inside) or run.width != sum(
            min(entry.end, run.end) - max(entry.start, run.start) for entry in inside
        ):
            names = ", ".join(
                entry.name if isinstance(entry, Signal) else f"the reserve at {entry.at}"
                for entry in inside
            )
            raise UsageError(f"bits to declare must be undeclared at {name}, not {where}: {names}")
