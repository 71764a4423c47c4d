"""What two maps say about frames of LIFT 6."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from safeframe._model import Connection
from safeframe.protocols.link import LinkTraits, roles

__all__ = ["LINK"]


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    ends = sorted(connection.ends, key=lambda end: end.role != "shaft")
    return {"stations": tuple(end.address for end in ends)}


LINK = LinkTraits(
    senders=roles("shaft", "cabin"),
    settings=_settings,
    values=lambda carries, data, time_us: {"data": data},
    data_of=lambda octets: octets[2:-2],
    first="shaft",
)
