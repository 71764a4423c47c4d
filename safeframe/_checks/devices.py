"""Rules about the devices of a plant: their records, read-backs and serial numbers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from .._canonical import person
from .._findings import Finding, Spot
from .._model import Connection, End, Installed
from .._words import MOST_LISTED, listed
from .registry import Finder, plant_rule


def _devices(connections: Iterable[Connection]) -> Iterator[tuple[Connection, End, Installed]]:
    """Yield every device that a plant file lists, with its connection and end."""
    for connection in connections:
        for end, device in zip(connection.ends, connection.installed, strict=False):
            yield connection, end, device


def _sharing(connections: tuple[Connection, ...]) -> dict[str, list[Connection]]:
    """Return the connections that name each record."""
    users: dict[str, list[Connection]] = defaultdict(list)
    for connection in connections:
        if connection.record:
            users[connection.record].append(connection)
    return users


def _recorded(connections: tuple[Connection, ...], find: Finder) -> Iterator[Connection]:
    """Yield the connections that are judged by the record they name.

    That a record of another connection does not fit is told by ``record-shared``. Where sharing
    it is allowed, or none of those that share it fits, nothing else would tell.
    """
    for sharing in _sharing(connections).values():
        fitting = [one for one in sharing if not _other_maps(one, find)]
        is_told = bool(fitting) and len(sharing) > 1 and not any(map(_allows_sharing, sharing))
        yield from fitting if is_told else sharing


def _allows_sharing(connection: Connection) -> bool:
    return any(one.rule == "record-shared" for end in connection.ends for one in end.allowances)


def _other_maps(connection: Connection, find: Finder) -> list[End]:
    """Return the ends whose maps are not those of the record that the connection names."""
    return [
        end
        for end, device in zip(connection.ends, connection.installed, strict=False)
        if (device.wire, device.own) != find.prints(end) or device.imported != end.imported
    ]


def _spot(connection: Connection, end: str) -> Spot:
    return Spot(end=end, where=connection.entry)


def _spots(connections: Iterable[Connection]) -> list[Spot]:
    """Return the entries of connections in the plant file, as spots of both ends."""
    return [_spot(connection, end.name) for connection in connections for end in connection.ends]


def _of(connection: Connection) -> str:
    return f"{connection.name} ({connection.first.name} and {connection.second.name})"


@plant_rule(
    name="record-missing",
    severity="warning",
    title="A connection of the plant names no sign-off record",
    why="Nobody can say which maps were signed and loaded, or whether they ever were.",
    remedy="make a record with `safeframe record new` and name it in the plant file",
)
def record_missing(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find connections of a plant file without a record."""
    for connection in connections:
        if connection.installed and not connection.record:
            yield find(
                f"{_of(connection)} names no record",
                _spots([connection]),
                culprits=[("", connection.name)],
            )


@plant_rule(
    name="record-shared",
    severity="error",
    title="Two connections of the plant name one record",
    why="A series machine has one record for each instance: what was read back from one "
    "device says nothing about its sister.",
    remedy="make a record for each connection",
)
def record_shared(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find records that several connections name."""
    for path, sharing in _sharing(connections).items():
        if len(sharing) > 1:
            names = listed([_of(connection) for connection in sharing])
            yield find(
                f"the record {path} is named by {names}",
                _spots(sharing[:MOST_LISTED]),
                culprits=[("", _of(connection)) for connection in sharing],
                beyond=_spots(sharing[MOST_LISTED:]),
            )


@plant_rule(
    name="record-outdated",
    severity="error",
    title="A record is about other maps than the plant has now",
    why="A map was edited after the record was signed, or the record belongs to another "
    "connection: what runs in the devices is not what the map says.",
    remedy="load what the map says, test it, and make a new record",
)
def record_outdated(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find maps that are not those of their record, by their fingerprints and by their origin."""
    for connection in _recorded(connections, find):
        if other := _other_maps(connection, find):
            names = " and ".join(end.name for end in other)
            yield find(
                f"the record {connection.record} of {_of(connection)} is about another map of "
                f"{names}",
                [
                    *(Spot(end=end.name, where=end.where) for end in other),
                    *_spots([connection]),
                ],
                culprits=[("", connection.name)],
            )


def _read_back(
    connections: tuple[Connection, ...], find: Finder, state: str, text: str
) -> Iterator[Finding]:
    for connection, end, device in _devices(_recorded(connections, find)):
        # A record of another connection says nothing about this end: that is its finding.
        if device.wire and device.read_back == state:
            yield find(
                text.format(record=connection.record, end=end.name, connection=connection.name),
                [_spot(connection, end.name)],
                culprits=[("", connection.name)],
            )


@plant_rule(
    name="read-back-missing",
    severity="error",
    title="Nobody read back what the device runs",
    why="A download that was forgotten at one end shows nowhere else: lengths and checksums "
    "of the frames stay right.",
    remedy="read the checksum from the device and enter it with `safeframe record fill`",
)
def read_back_missing(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find devices whose record holds no checksum."""
    text = "the record {record} of {connection} holds no read-back of {end}"
    yield from _read_back(connections, find, "missing", text)


@plant_rule(
    name="read-back-differs",
    severity="error",
    title="The device runs something else than what was expected",
    why="The download went to another device, was left out, or was overwritten since.",
    remedy="load the project again, read the checksum back, and repeat the tests",
)
def read_back_differs(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find devices whose checksum is not the expected one."""
    text = "by the record {record} of {connection}, {end} shows another checksum than expected"
    yield from _read_back(connections, find, "differs", text)


@plant_rule(
    name="serial-differs",
    severity="error",
    title="The record is about another device than the plant has now",
    why="A device that was exchanged has not been read back: it may run an older project.",
    remedy="read back the device that is there now and make a record for it",
)
def serial_differs(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find devices whose serial number differs between plant file and record."""
    for connection, end, device in _devices(_recorded(connections, find)):
        one, two = device.serial, device.recorded_serial
        if one and two and one != two:
            yield find(
                f"{end.name} has the serial number {one} in the plant file and {two} in the record "
                f"{connection.record}",
                [_spot(connection, end.name)],
                culprits=[("", connection.name)],
            )


@plant_rule(
    name="serial-reused",
    severity="error",
    title="Two ends of the plant have one serial number",
    why="An entry was copied for the sister device: one of the two was never read back.",
    remedy="read the serial number from both devices",
)
def serial_reused(connections: tuple[Connection, ...], find: Finder) -> Iterator[Finding]:
    """Find serial numbers that the plant file or the records give to several ends.

    One number typed in two ways is one number, and a dash is none.
    """
    users: dict[str, dict[str, list[Spot]]] = defaultdict(lambda: defaultdict(list))
    typed: dict[str, dict[str, None]] = defaultdict(dict)
    for connection, end, device in _devices(connections):
        for serial in filter(person, (device.serial, device.recorded_serial)):
            users[person(serial)][end.name].append(_spot(connection, end.name))
            typed[person(serial)].setdefault(serial)
    for number, ends in users.items():
        if len(ends) > 1:
            yield find(
                f"the serial number {' or '.join(typed[number])} is that of {' and '.join(ends)}",
                [spots[0] for spots in ends.values()],
                beyond=[spot for spots in ends.values() for spot in spots[1:]],
            )
