"""What the maps of a connection say about frames of FSCP 12/1."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._errors import UsageError
from ..._model import Connection, End
from ..link import LinkTraits, agreed, roles
from ._frame import FAIL_SAFE_DATA, PROCESS_DATA, unblocked


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    stated = [(end, end.connection_table.id) for end in connection.ends if end.connection_table.id]
    found = agreed("connection id", stated)
    if found is None:
        raise UsageError(f"{connection.name} must state a connection id for frames to be built")
    return {"connection_id": found}


def _data_of(octets: bytes) -> bytes | None:
    return unblocked(octets) if octets[0] in (PROCESS_DATA, FAIL_SAFE_DATA) else None


def _stated(end: End) -> dict[str, Any]:
    number = end.connection_table.id
    return {} if number is None else {"connection_id": number}


LINK = LinkTraits(
    senders=roles("master", "slave"),
    settings=_settings,
    values=lambda carries, data, time_us: {"data": data},
    data_of=_data_of,
    first="master",
    stated=_stated,
)
