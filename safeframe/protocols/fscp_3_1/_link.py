"""What the maps of a connection say about frames of FSCP 3/1."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._model import Connection
from ..link import LinkTraits, roles, shared_parameter


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    return {"parameter_crc": shared_parameter(connection, "parameter_crc")}


LINK = LinkTraits(
    senders=roles("host", "device"),
    settings=_settings,
    values=lambda carries, data, time_us: {"data": data, "status": 0},
    data_of=lambda octets: octets[:-4],
    first="host",
)
