"""Identifiers and signatures of OPC UA Safety that both ends must hold in common.

Source: OPC 10000-15 release 1.05, 7.2.3; type ids from OPC 10000-6 table 1.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from ..._errors import UsageError
from ...crc import CATALOGUE, compute

_ALGORITHM = CATALOGUE["opcua-safety/crc32"]

LEVEL_IDS = {1: 0x11912881, 2: 0x647C4654, 3: 0xDEAA9DEE, 4: 0xAB47F33B}
"""Word of each provider level, table 37; pairwise Hamming distances 21 or 22 (computed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpcuaMember:
    """One built-in type a member may have: its id and its octets when packed."""

    name: str
    type_id: int
    octets: int


MEMBERS = {
    name: OpcuaMember(name=name, type_id=type_id, octets=octets)
    for name, type_id, octets in (
        ("Boolean", 1, 1),
        ("SByte", 2, 1),
        ("Byte", 3, 1),
        ("Int16", 4, 2),
        ("UInt16", 5, 2),
        ("Int32", 6, 4),
        ("UInt32", 7, 4),
        ("Int64", 8, 8),
        ("UInt64", 9, 8),
        ("Float", 10, 4),
        ("Double", 11, 8),
        ("DateTime", 13, 8),
        ("Guid", 14, 16),
    )
}
"""Members of fixed length by type name; String and ByteString have none and are refused."""


def member_types(text: str) -> tuple[OpcuaMember, ...]:
    """Return the members named in a list such as ``Int16, Boolean, Float``."""
    found = []
    for name in (part.strip() for part in text.split(",")):
        if name not in MEMBERS:
            raise UsageError(f"a member type must be one of {', '.join(MEMBERS)}, not {name!r}")
        found.append(MEMBERS[name])
    return tuple(found)


def backward_crc(octets: bytes) -> int:
    """Return the CRC over the octets, last one first; a result of 0 becomes 1 (RQ7.22-7.24)."""
    return compute(_ALGORITHM, octets[::-1]) or 1


def structure_signature(identifier: str, type_ids: Iterable[int], *, version: int = 1) -> int:
    """Return the signature of a structure from its identifier and its member type ids in order.

    Names of members do not enter. ``version`` is 1 up to release 2.0 (RQ7.21).
    """
    members = b"".join(struct.pack("<HH", type_id, 0) for type_id in type_ids)
    return backward_crc(identifier.encode() + struct.pack("<H", version) + members)


def spdu_ids(
    *, base_id: str | UUID, level: int, signature: int, provider_id: int
) -> tuple[int, int, int]:
    """Return the three SPDU_ID words of a provider (RQ7.16, table 36).

    ``base_id`` is the identifier in its usual text form; its octets in the binary encoding of
    OPC UA are read as four words, low octet first. ``level`` is 1..4.
    """
    if level not in LEVEL_IDS:
        raise UsageError(f"level must be 1..4, not {level}")
    try:
        guid = base_id if isinstance(base_id, UUID) else UUID(base_id)
    except ValueError:
        raise UsageError(f"base_id must be a GUID, not {base_id!r}") from None
    first, second, third, fourth = struct.unpack("<4I", guid.bytes_le)
    return first ^ LEVEL_IDS[level], second ^ signature, third ^ fourth ^ provider_id
