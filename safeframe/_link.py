"""Both ends of a connection as senders of frames: settings, sender words, what a frame carries.

The map files give everything a session of the profile needs; what they leave out can be passed
by name. Sides are 0 for the first end of the connection and 1 for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from . import frame
from ._errors import UsageError
from ._model import Connection, End, Map
from .frame import _fscp_2_1 as fscp_2_1
from .frame import _fscp_12_1 as fscp_12_1
from .frame import _opcua as opcua

if TYPE_CHECKING:
    from .frame._stream import Session

__all__ = ["DEFAULT_TICK_US", "Link", "link_of"]

DEFAULT_TICK_US = 10_000
"""Time between two frames of one sender where no map states an exchange time; by choice."""

STAMP_US = 128
"""Unit of the time stamps of FSCP 2/1, from memory."""

# Type ids of OPC UA built-in types (OPC 10000-6 table 1), by type and width in bits of a signal.
_TYPE_IDS = {
    ("bool", 1): 1,
    ("int", 8): 2,
    ("uint", 8): 3,
    ("code", 8): 3,
    ("int", 16): 4,
    ("uint", 16): 5,
    ("code", 16): 5,
    ("int", 32): 6,
    ("uint", 32): 7,
    ("code", 32): 7,
    ("int", 64): 8,
    ("uint", 64): 9,
    ("code", 64): 9,
    ("float", 32): 10,
    ("float", 64): 11,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A connection together with what its profile needs to build and judge frames.

    ``settings`` are those of ``frame.session``, ``senders`` the words a session knows the two
    ends by, ``order`` the sides in the order in which they send, ``sizes`` the octets of a frame
    of each side by the producer's map, ``carries`` whether a side sends safety data.
    """

    connection: Connection
    profile: str
    settings: Mapping[str, Any]
    senders: tuple[str, str]
    order: tuple[int, int]
    sizes: tuple[int, int]
    carries: tuple[bool, bool]

    @property
    def names(self) -> tuple[str, str]:
        """The names of the two ends."""
        return self.connection.first.name, self.connection.second.name

    @property
    def tick_us(self) -> int:
        """Microseconds between two frames of one sender."""
        stated = [
            end.connection_table.exchange_ms
            for end in self.connection.ends
            if end.connection_table.exchange_ms
        ]
        return 1000 * stated[0] if stated else DEFAULT_TICK_US

    @property
    def watchdog_us(self) -> int | None:
        """The shortest watchdog either end states, in microseconds, or None."""
        stated = [
            end.connection_table.watchdog_ms
            for end in self.connection.ends
            if end.connection_table.watchdog_ms
        ]
        return 1000 * min(stated) if stated else None

    def sent(self, side: int) -> Map:
        """Return the map by which a side fills its safety data."""
        return self.connection.ends[side].sends

    def received(self, side: int) -> Map:
        """Return the map by which the other end reads what a side sends."""
        return self.connection.ends[1 - side].receives

    def session(self, *, fresh: bool = True) -> Session:
        """Return a session for both senders; ``fresh=False`` joins in the middle."""
        return frame.session(self.profile, **self.settings, fresh=fresh)

    def produce(self, session: Session, side: int, data: bytes, time_us: int) -> bytes:
        """Return the next frame of a side; a side without safety data ignores ``data``."""
        values = _PROFILES[self.profile].values(self.carries[side], data, time_us)
        return session.produce(self.senders[side], **values)

    def data_of(self, octets: bytes) -> bytes | None:
        """Return the safety data that an accepted frame hands to its receiver, or None.

        None stands for a frame that carries none, for instance one of the start-up.
        """
        return _PROFILES[self.profile].data_of(octets)


class _Profile(NamedTuple):
    """What one profile does: settings and senders of a connection, values and data of a frame."""

    settings: Callable[[Connection], dict[str, Any]]
    senders: Callable[[Connection], tuple[str, str]]
    first: str
    values: Callable[[bool, bytes, int], dict[str, Any]]
    data_of: Callable[[bytes], bytes | None]


def _parameter(end: End, name: str) -> Any:
    value = dict(end.parameters).get(name)
    if value is None:
        raise UsageError(f"{end.name} must state the parameter {name} for frames to be built")
    return value


def _shared(connection: Connection, name: str) -> Any:
    """Return a parameter that either end states."""
    for end in connection.ends:
        value = dict(end.parameters).get(name)
        if value is not None:
            return value
    return _parameter(connection.first, name)


def _roles(*words: str) -> Callable[[Connection], tuple[str, str]]:
    def senders(connection: Connection) -> tuple[str, str]:
        found = connection.first.role, connection.second.role
        if sorted(found) != sorted(words):
            raise UsageError(
                f"the roles must be {' and '.join(words)} for frames to be built, "
                f"not {found[0]!r} and {found[1]!r}"
            )
        return found

    return senders


def _id_12(connection: Connection) -> dict[str, Any]:
    stated = [end.connection_table.id for end in connection.ends if end.connection_table.id]
    if not stated:
        raise UsageError(f"{connection.name} must state a connection id for frames to be built")
    return {"connection_id": stated[0]}


def _data_only(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    return {"data": data}


def _data_12(octets: bytes) -> bytes | None:
    command = octets[0]
    if command not in (fscp_12_1.PROCESS_DATA, fscp_12_1.FAIL_SAFE_DATA):
        return None
    if len(octets) == 6:
        data = octets[1:2]
    else:
        data = b"".join([octets[at : at + 2] for at in range(1, len(octets) - 2, 4)])
    # The receiver of fail-safe data takes zeros, whatever the frame holds.
    return data if command == fscp_12_1.PROCESS_DATA else bytes(len(data))


def _domain_13(connection: Connection) -> dict[str, Any]:
    manager = [dict(end.parameters).get("manager_id") for end in connection.ends]
    stated = [str(text) for text in manager if text is not None]
    settings: dict[str, Any] = {"domain": _shared(connection, "domain")}
    return settings | ({"manager_id": bytes.fromhex(stated[0])} if stated else {})


def _addresses(connection: Connection) -> tuple[str, str]:
    for end in connection.ends:
        if end.address is None:
            raise UsageError(f"{end.name} must state its address for frames to be built")
    return str(connection.first.address), str(connection.second.address)


def _data_13(octets: bytes) -> bytes | None:
    size = octets[2]
    # Ids 48..53 carry process data; the others are services.
    return octets[4 : 4 + size] if octets[1] >> 2 in range(48, 54) else None


def _producer_2(connection: Connection) -> int:
    """Return the side that sends safety data."""
    found = [side for side, end in enumerate(connection.ends) if end.sends.entries]
    if len(found) != 1:
        raise UsageError(
            f"safety data of {connection.name} must go one way for frames to be built: "
            "a connection with data both ways is two connections"
        )
    return found[0]


def _identity_2(end: End) -> tuple[int, int, int]:
    vendor, device, connection = (
        _parameter(end, name) for name in ("vendor_id", "device_serial", "connection_serial")
    )
    return vendor, device, connection


def _identities_2(connection: Connection) -> dict[str, Any]:
    side = _producer_2(connection)
    ends = connection.ends
    return {"producer": _identity_2(ends[side]), "consumer": _identity_2(ends[1 - side])}


def _senders_2(connection: Connection) -> tuple[str, str]:
    return ("producer", "consumer") if _producer_2(connection) == 0 else ("consumer", "producer")


def _values_2(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    stamp = time_us // STAMP_US % 65536
    if carries:
        return {"data": data, "time_stamp": stamp}
    return {"ack": fscp_2_1.ack_octet(ping_count=0), "consumer_time": stamp}


def _data_2(octets: bytes) -> bytes | None:
    size = len(octets)
    if size == 6:
        return None
    return octets[: size - 6] if size < 9 else octets[: (size - 8) // 2]


def _parameter_3(connection: Connection) -> dict[str, Any]:
    return {"parameter_crc": _shared(connection, "parameter_crc")}


def _values_3(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    return {"data": data, "status": 0}


def _data_3(octets: bytes) -> bytes | None:
    return octets[:-4]


def _ids_ua(connection: Connection) -> dict[str, Any]:
    roles = _roles("provider", "consumer")(connection)
    provider, consumer = (connection.ends[roles.index(role)] for role in ("provider", "consumer"))
    signature = dict(provider.parameters).get("structure_signature")
    if signature is None:
        types = [_TYPE_IDS.get((each.type, each.width)) for each in provider.sends.signals]
        if None in types:
            raise UsageError(
                "structure_signature must be stated, because a signal has no OPC UA type"
            )
        known = [number for number in types if number is not None]
        identifier = str(_parameter(provider, "structure_identifier"))
        signature = opcua.structure_signature(identifier, known)
    ids = opcua.spdu_ids(
        base_id=str(_parameter(provider, "base_id")),
        level=_parameter(provider, "provider_level"),
        signature=int(signature),
        provider_id=_parameter(provider, "provider_id"),
    )
    return {"consumer_id": _parameter(consumer, "consumer_id"), "spdu_ids": ids}


def _values_ua(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    return {"data": data} if carries else {}


def _data_ua(octets: bytes) -> bytes | None:
    return octets[:-25] if len(octets) > 9 else None


_PROFILES = {
    "fscp-12-1": _Profile(_id_12, _roles("master", "slave"), "master", _data_only, _data_12),
    "fscp-13-1": _Profile(_domain_13, _addresses, "", _data_only, _data_13),
    "fscp-2-1": _Profile(_identities_2, _senders_2, "producer", _values_2, _data_2),
    "fscp-3-1": _Profile(_parameter_3, _roles("host", "device"), "host", _values_3, _data_3),
    "opcua-safety": _Profile(
        _ids_ua, _roles("provider", "consumer"), "consumer", _values_ua, _data_ua
    ),
}
_SILENT = {("fscp-2-1", "consumer"): 6, ("opcua-safety", "consumer"): 9}
"""Octets of the frames of a side that never carries safety data."""


def link_of(connection: Connection, **settings: Any) -> Link:
    """Return the exchange of a connection; ``settings`` add to those its maps give.

    Raises UsageError where the profile has no frames, or where the maps lack what frames need.
    """
    profile = connection.first.connection_table.profile
    if profile not in _PROFILES:
        frame.recipe(profile)
    rules = _PROFILES[profile]
    senders = rules.senders(connection)
    carries = [(profile, word) not in _SILENT for word in senders]
    sizes = [
        _SILENT.get((profile, word)) or _frame_size(profile, end, settings)
        for word, end in zip(senders, connection.ends, strict=True)
    ]
    merged = rules.settings(connection) | settings
    if profile == "fscp-2-1" and "format" not in merged:
        raise UsageError("format must be base or extended: frames of FSCP 2/1 need it")
    first = senders.index(rules.first) if rules.first else 0
    made = Link(
        connection=connection,
        profile=profile,
        settings=merged,
        senders=senders,
        order=(first, 1 - first),
        sizes=(sizes[0], sizes[1]),
        carries=(carries[0], carries[1]),
    )
    made.session()
    return made


def _frame_size(profile: str, end: End, settings: Mapping[str, Any]) -> int:
    size = end.sends.size_octets
    kind = ""
    if profile == "fscp-2-1":
        kind = f"{settings.get('format', 'base')}-{'short' if size <= 2 else 'long'}"
    try:
        return frame.layout(profile, size, kind).size_octets
    except UsageError as error:
        raise UsageError(f"{end.name} sends {size} octets, but {error}") from None
