"""What the maps of a connection say about frames of FSCP 3/1."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._model import Connection
from ..link import LinkTraits, roles, shared_parameter


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    return {"parameter_crc": shared_parameter(connection, "parameter_crc")}


def _values(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    return {"data": data, "status": 0}


def _data_of(octets: bytes) -> bytes | None:
    return octets[:-4]


LINK = LinkTraits(
    senders=roles("host", "device"),
    settings=_settings,
    values=_values,
    data_of=_data_of,
    first="host",
)
