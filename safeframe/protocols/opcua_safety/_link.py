"""What the maps of a connection say about frames of OPC UA Safety."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._errors import UsageError
from ..._model import Connection
from ..link import LinkTraits, agreed, parameter, roles
from ._ids import spdu_ids, structure_signature

# Type ids of OPC UA built-in types (OPC 10000-6 table 1), by type and width in bits of a signal.
TYPE_IDS = {
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
_SHARED = (
    "base_id",
    "consumer_id",
    "provider_id",
    "provider_level",
    "structure_identifier",
    "structure_signature",
)
"""What both ends must hold alike, where both state it."""
_SENDERS = roles("provider", "consumer")


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    words = _SENDERS(connection)
    provider, consumer = (connection.ends[words.index(role)] for role in ("provider", "consumer"))
    for name in _SHARED:
        stated = [(end, dict(end.parameters).get(name)) for end in connection.ends]
        agreed(name, [(end, value) for end, value in stated if value is not None])
    signature = dict(provider.parameters).get("structure_signature")
    if signature is None:
        types = [TYPE_IDS.get((each.type, each.width)) for each in provider.sends.signals]
        if None in types:
            raise UsageError(
                "structure_signature must be stated, because a signal has no OPC UA type"
            )
        known = [number for number in types if number is not None]
        identifier = str(parameter(provider, "structure_identifier"))
        signature = structure_signature(identifier, known)
    ids = spdu_ids(
        base_id=str(parameter(provider, "base_id")),
        level=parameter(provider, "provider_level"),
        signature=int(signature),
        provider_id=parameter(provider, "provider_id"),
    )
    return {"consumer_id": parameter(consumer, "consumer_id"), "spdu_ids": ids}


LINK = LinkTraits(
    senders=_SENDERS,
    settings=_settings,
    values=lambda carries, data, time_us: {"data": data} if carries else {},
    data_of=lambda octets: octets[:-25] if len(octets) > 9 else None,
    first="consumer",
    silent={"consumer": 9},
)
