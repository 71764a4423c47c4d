"""A site as one who follows a signal needs it: who sends what to whom, and into which variable."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from .._canonical import variable
from .._model import Connection, Direction, Map, Plant, Signal
from .._pairing import match


class Lane(NamedTuple):
    """One direction of a connection; ``number`` tells that from others of its name and ends."""

    connection: Connection
    direction: Direction
    number: int

    @property
    def names(self) -> set[str]:
        """The names of the connection: one, unless its ends disagree."""
        return {end.connection_table.name for end in self.connection.ends}


class Stretch(NamedTuple):
    """One signal over one connection, as its producer and as its consumer see it.

    One of both is None where the other end has no such signal.
    """

    lane: Lane
    sent: Signal | None
    received: Signal | None

    @property
    def key(self) -> tuple[str, str, str, int, int, int]:
        """What tells it from every other one of the site; also an order that no file decides."""
        producer, consumer = self.lane.direction
        sent, received = (one.start if one else -1 for one in (self.sent, self.received))
        name, number = self.lane.connection.name, self.lane.number
        return name, producer.name, consumer.name, number, sent, received


class Site:
    """The connections of a plant, each pair of maps once, with what is looked up in them."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.lanes: list[Lane] = []
        self.between: dict[tuple[str, str], list[Lane]] = defaultdict(list)
        self.ends: set[str] = set()
        self._of_end: dict[tuple[str, bool], list[Lane]] = defaultdict(list)
        self._by_name: dict[int, dict[str, list[Signal]]] = {}
        self._pairs: dict[tuple[int, int], dict[int, Signal]] = {}
        self._delivered: dict[tuple[str, str], list[Stretch]] | None = None
        self._passed_on: list[tuple[str, str]] | None = None
        self._taken: dict[tuple[str, str], list[Stretch]] | None = None
        # One pair may be listed twice. Two pairs may have one name and ends of the same names.
        distinct = {
            frozenset((end.where.path, end) for end in one.ends): one for one in plant.connections
        }
        for number, connection in enumerate(sorted(distinct.values(), key=_order)):
            self.ends.update(end.name for end in connection.ends)
            if connection.first.name == connection.second.name:
                continue  # One file given twice: nothing can be followed over it.
            for direction in connection.directions():
                lane = Lane(connection, direction, number)
                self.lanes.append(lane)
                self.between[direction.producer.name, direction.consumer.name].append(lane)
                self._of_end[direction.producer.name, True].append(lane)
                self._of_end[direction.consumer.name, False].append(lane)

    def lanes_of(self, end: str, *, sends: bool) -> list[Lane]:
        """Return the lanes in which an end sends, or those in which it receives."""
        return self._of_end.get((end, sends), [])

    def named(self, map_: Map, name: str) -> list[Signal]:
        """Return the signals of a map that have a name."""
        found = self._by_name.get(id(map_))
        if found is None:
            found = self._by_name[id(map_)] = {}
            for signal in map_.signals:
                found.setdefault(signal.name, []).append(signal)
        return found.get(name, [])

    def stretch(self, lane: Lane, signal: Signal, *, sent: bool) -> Stretch:
        """Return the stretch of a signal of the producer (``sent``) or of the consumer."""
        direction = lane.direction
        mine, theirs = direction.sent, direction.received
        if not sent:
            mine, theirs = theirs, mine
        others = self.named(theirs, signal.name)
        if len(others) == 1 and len(self.named(mine, signal.name)) == 1:
            other: Signal | None = others[0]
        else:
            other = self._partners(lane).get(id(signal))
        return Stretch(lane, signal, other) if sent else Stretch(lane, other, signal)

    def _partners(self, lane: Lane) -> dict[int, Signal]:
        """Return, by identity, the signal of the other end for every paired signal of a lane."""
        key = id(lane.direction.sent), id(lane.direction.received)
        if key not in self._pairs:
            found = self._pairs[key] = {}
            for pair in match(lane.direction.sent, lane.direction.received).pairs:
                found[id(pair.left)], found[id(pair.right)] = pair.right, pair.left
        return self._pairs[key]

    def delivered(self, end: str, name: str) -> list[Stretch]:
        """Return what all connections deliver into a variable of an end."""
        return self._all_delivered().get((end, variable(name)), [])

    def taken(self, end: str, name: str) -> list[Stretch]:
        """Return what all connections take from a variable of an end."""
        return self._all_taken().get((end, variable(name)), [])

    def passed_on(self) -> list[tuple[str, str]]:
        """Return the variables, by end, that one connection fills and another one empties."""
        if self._passed_on is not None:
            return self._passed_on
        filled, emptied = self._all_delivered(), self._all_taken()
        self._passed_on = sorted(
            key
            for key in filled.keys() & emptied.keys()
            # What comes back in the same connection is an echo.
            if len({id(one.lane.connection) for one in (*filled[key], *emptied[key])}) > 1
        )
        return self._passed_on

    def _all_delivered(self) -> dict[tuple[str, str], list[Stretch]]:
        if self._delivered is None:
            self._delivered = self._by_variable(sent=False)
        return self._delivered

    def _all_taken(self) -> dict[tuple[str, str], list[Stretch]]:
        if self._taken is None:
            self._taken = self._by_variable(sent=True)
        return self._taken

    def _by_variable(self, *, sent: bool) -> dict[tuple[str, str], list[Stretch]]:
        found: dict[tuple[str, str], list[Stretch]] = {}
        for lane in self.lanes:
            direction = lane.direction
            end = direction.producer if sent else direction.consumer
            for signal in (end.sends if sent else end.receives).signals:
                if signal.bind:
                    # Only the own half: the other one is looked up where it is asked for.
                    half = Stretch(lane, signal, None) if sent else Stretch(lane, None, signal)
                    found.setdefault((end.name, variable(signal.bind)), []).append(half)
        return found

    def whole(self, half: Stretch) -> Stretch:
        """Return a stretch of which one half is known with the other one."""
        if half.sent is not None:
            return self.stretch(half.lane, half.sent, sent=True)
        assert half.received is not None
        return self.stretch(half.lane, half.received, sent=False)


def _order(connection: Connection) -> tuple[str, ...]:
    names = sorted(end.name for end in connection.ends)
    tables = [end.connection_table for end in connection.ends]
    numbers = sorted(f"{table.network} {table.id}" for table in tables)
    paths = sorted(end.where.path for end in connection.ends)
    return connection.name, *names, *numbers, *paths, connection.first.name
