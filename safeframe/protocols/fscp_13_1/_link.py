"""What the maps of a connection say about frames of FSCP 13/1."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._errors import UsageError
from ..._model import Connection
from ..link import LinkTraits, shared_parameter


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    settings: dict[str, Any] = {"domain": shared_parameter(connection, "domain")}
    if any("manager_id" in dict(end.parameters) for end in connection.ends):
        settings["manager_id"] = bytes.fromhex(str(shared_parameter(connection, "manager_id")))
    return settings


def _addresses(connection: Connection) -> tuple[str, str]:
    for end in connection.ends:
        if end.address is None:
            raise UsageError(f"{end.name} must state its address for frames to be built")
    return str(connection.first.address), str(connection.second.address)


def _values(carries: bool, data: bytes, time_us: int) -> dict[str, Any]:
    return {"data": data}


def _data_of(octets: bytes) -> bytes | None:
    size = octets[2]
    # Ids 48..53 carry process data; the others are services.
    return octets[4 : 4 + size] if octets[1] >> 2 in range(48, 54) else None


LINK = LinkTraits(senders=_addresses, settings=_settings, values=_values, data_of=_data_of)
