"""How a recording shows the frames of FSCP 13/1."""

from __future__ import annotations

from .._aspects import Link, RecordingTraits, passes, places_of
from ._frame import RECIPE

__all__ = ["RECORDING"]


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the address of the sender and the length of its data, then judge both CRCs."""
    size, address = link.sizes[side], int(link.senders[side])
    known = {**link.settings, "address": address}
    length = link.sent(side).size_octets
    return [
        start
        for start in places_of(octets, bytes((address & 255,)))
        if start + size <= len(octets)
        and octets[start + 1] & 3 == address >> 8
        and octets[start + 2] == length
        and passes(RECIPE, octets[start : start + size], known)
    ]


RECORDING = RecordingTraits(search=_search)
