"""How a recording shows the frames of FSCP 12/1."""

from __future__ import annotations

from .._aspects import Link, RecordingTraits, places_of
from ._frame import COMMANDS, related

__all__ = ["RECORDING"]


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the connection id at the end of a frame with a known command and joined blocks."""
    size = link.sizes[side]
    identity = link.settings["connection_id"].to_bytes(2, "little")
    found = []
    for end in places_of(octets, identity):
        start = end + 2 - size
        if start < 0 or octets[start] not in COMMANDS:
            continue
        if size < 11 or related(octets[start : start + size]) is None:
            found.append(start)
    return found


RECORDING = RecordingTraits(search=_search, names_sender=False)
