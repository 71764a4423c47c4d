"""Turn findings with a mechanical remedy into edits; which end is right is for people to say.

Every proposal takes the sender's map as right, has been tried out, and makes a finding go away
without causing another one, except that a new signal still has to be bound.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from .._bits import Place
from .._checks.trial import improves
from .._errors import InputError, UsageError
from .._findings import Finding
from .._model import Connection, Direction, Map, Signal
from .._pairing import alike
from ..protocols import Profile
from ._apply import Edit, MapText, edit
from ._operations import Declare, Insert, Move, Operation, Remove, Rename, Resize


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """An edit that removes a finding; ``unbound`` are the ends where it leaves a binding open."""

    finding: Finding
    operation: Operation
    edit: Edit
    unbound: tuple[str, ...]


def propose(
    connection: Connection,
    sources: tuple[MapText, MapText],
    findings: Sequence[Finding],
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> tuple[Proposal, ...]:
    """Return an edit for each of the findings about a connection that an edit can remove.

    ``sources`` are the files of the first and of the second end.
    """
    directions = {direction.name: direction for direction in connection.directions()}
    found: list[Proposal] = []
    for finding in findings:
        direction = directions.get(finding.direction)
        make = _REMEDIES.get(finding.rule)
        operation = make(finding, direction) if make and direction else None
        if operation is None:
            continue
        try:
            done = edit(*sources, operation, own_profiles=own_profiles)
        except (UsageError, InputError):
            continue  # Not possible as the maps are: the finding stays with its own remedy.
        if not done.changed:
            continue  # Both files are so already: the finding is not about them.
        # A signal that comes in at an end still has to be bound there, which the proposal says.
        open_ = [caused for caused in done.caused if caused.rule == "unbound-signal"]
        left = [one for one in done.report.findings if one not in open_]
        if len(open_) == len(done.caused) and improves(finding, findings, left):
            unbound = dict.fromkeys(spot.end for caused in open_ for spot in caused.spots)
            found.append(
                Proposal(finding=finding, operation=operation, edit=done, unbound=tuple(unbound))
            )
    return tuple(found)


def _named(map_: Map, name: str) -> Signal | None:
    return next((signal for signal in map_.signals if signal.name == name), None)


def _complete(finding: Finding, direction: Direction) -> Operation | None:
    name = finding.spots[0].signal
    signal = _named(direction.sent, name) or _named(direction.received, name)
    if signal is None:
        return None
    return Insert(name=name, width=signal.width, at=signal.at, sender=direction.producer.name)


def _move(finding: Finding, direction: Direction) -> Operation | None:
    signal = _named(direction.sent, finding.spots[0].signal)
    if signal is None:
        return None
    return Move(name=signal.name, at=signal.at, sender=direction.producer.name)


def _resize(finding: Finding, direction: Direction) -> Operation | None:
    signal = _named(direction.sent, finding.spots[0].signal)
    if signal is None:
        return None
    return Resize(name=signal.name, width=signal.width, sender=direction.producer.name)


def _rename(finding: Finding, direction: Direction) -> Operation | None:
    producer, consumer = finding.spots
    if finding.rule == "renamed-signal" and alike(producer.signal, consumer.signal):
        return None  # East and west: nobody but people can say which of the two it is.
    return Rename(name=consumer.signal, to=producer.signal, sender=direction.producer.name)


def _remove(finding: Finding, direction: Direction) -> Operation:
    return Remove(name=finding.spots[0].signal, sender=direction.producer.name)


def _declare(finding: Finding, direction: Direction) -> Operation | None:
    spot = finding.spots[0]
    map_ = direction.sent if spot.end == direction.producer.name else direction.received
    # The finding points to the entry after the hole.
    if spot.place is None:
        return None
    end = spot.place.index
    start = max((entry.end for entry in map_.entries if entry.start < end), default=0)
    return Declare(at=Place.at(start), width=end - start, sender=direction.producer.name)


_REMEDIES: Mapping[str, Callable[[Finding, Direction], Operation | None]] = {
    "one-sided-signal": _complete,
    "moved-signal": _move,
    "width-differs": _resize,
    "near-miss-name": _rename,
    "renamed-signal": _rename,
    "padding-as-signal": _remove,
    "hole": _declare,
}
