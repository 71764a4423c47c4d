"""Small maps for the tests of comparisons: the lift with one brake, and ways to edit it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from safeframe._bits import Place
from safeframe._model import Connection, ConnectionTable, End, Map, Reserved, Signal
from safeframe._source import Location

TERMS = ConnectionTable(
    name="SC1-LX",
    profile="fscp-12-1",
    edition="2010",
    id=0x0107,
    watchdog_ms=100,
    exchange_ms=12,
)


def sig(name: str, at: str, line: int = 0, **fields: Any) -> Signal:
    """Return a signal; ``line`` makes its location tell."""
    return Signal(name=name, at=Place.parse(at), where=Location(path="map", line=line), **fields)


def gap(at: str, width: int, **fields: Any) -> Reserved:
    """Return a reserved run."""
    return Reserved(at=Place.parse(at), width=width, **fields)


def map_of(*entries: Signal | Reserved) -> Map:
    """Return a map of these entries."""
    return Map(entries=entries, where=Location(path="map", key="sends"))


def end_of(sends: Map, receives: Map = Map(), **fields: Any) -> End:  # noqa: B008
    """Return the end SC1 unless the fields say otherwise."""
    given: dict[str, Any] = {"name": "SC1", "peer": "LX", "connection_table": TERMS, **fields}
    return End(sends=sends, receives=receives, **given)


def pair_of(sent: Map, received: Map, back: Map = Map()) -> Connection:  # noqa: B008
    """Return a connection whose first direction has these two maps."""
    return Connection(
        first=end_of(sent, back), second=end_of(back, received, name="LX", peer="SC1")
    )


def with_entry(map_: Map, number: int, **fields: Any) -> Map:
    """Return a map with some fields of one entry replaced."""
    entries = list(map_.entries)
    entries[number] = replace(entries[number], **fields)
    return replace(map_, entries=tuple(entries))


ONE_BRAKE = map_of(
    sig("permit", "0.0", 1, one_means="torque permitted"),
    sig("brake1", "0.1", 2, one_means="brake 1 released"),
    sig("ack", "0.2", 3, edge="rising"),
    gap("0.3", 5),
    sig(
        "level",
        "1.0",
        5,
        width=2,
        type="code",
        codes=((0, "stop"), (1, "creep"), (2, "half"), (3, "full")),
    ),
    gap("1.2", 6),
)
TWO_BRAKES = map_of(
    *ONE_BRAKE.entries[:5],
    sig("brake2", "1.2", 6, one_means="brake 2 released"),
    gap("1.3", 5),
)
