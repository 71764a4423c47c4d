"""What the maps of a connection say about frames of FSCP 2/1."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._errors import UsageError
from ..._model import Connection, End
from ..link import LinkTraits, parameter
from ._frame import ack_octet

STAMP_US = 128
"""Unit of the time stamps, from memory."""


def _producer(connection: Connection) -> int:
    """Return the side that sends safety data."""
    found = [side for side, end in enumerate(connection.ends) if end.sends.entries]
    if len(found) != 1:
        raise UsageError(
            f"safety data of {connection.name} must go one way for frames to be built: "
            "a connection with data both ways is two connections"
        )
    return found[0]


def _identity(end: End) -> tuple[int, int, int]:
    vendor, device, connection = (
        parameter(end, name) for name in ("vendor_id", "device_serial", "connection_serial")
    )
    return vendor, device, connection


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    side = _producer(connection)
    ends = connection.ends
    found = {"producer": _identity(ends[side]), "consumer": _identity(ends[1 - side])}
    if "format" not in given:
        raise UsageError("format must be base or extended: frames of FSCP 2/1 need it")
    return found


def _senders(connection: Connection) -> tuple[str, str]:
    return ("producer", "consumer") if _producer(connection) == 0 else ("consumer", "producer")


def _values(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    stamp = time_us // STAMP_US % 65536
    if carries:
        return {"data": data, "time_stamp": stamp}
    return {"ack": ack_octet(ping_count=0), "consumer_time": stamp}


def _data_of(octets: bytes) -> bytes | None:
    size = len(octets)
    if size == 6:
        return None
    return octets[: size - 6] if size < 9 else octets[: (size - 8) // 2]


def _kind(data_octets: int, settings: Mapping[str, Any]) -> str:
    return f"{settings.get('format', 'base')}-{'short' if data_octets <= 2 else 'long'}"


LINK = LinkTraits(
    senders=_senders,
    settings=_settings,
    values=_values,
    data_of=_data_of,
    first="producer",
    silent={"consumer": 6},
    kind=_kind,
    # Computed: less than half of the 65 536 values of a stamp of 16 bits (W E of the facts) counts
    # as newer (common practice), 32 767 units, of which one is lost by rounding. The unit is from
    # memory.
    stamped_us=STAMP_US * 32766,
    stamped_by=f"32766 units of {STAMP_US} us, computed: less than half of the 16 bits of a stamp "
    "is newer (common practice), one unit is lost by rounding; the unit is from memory",
)
