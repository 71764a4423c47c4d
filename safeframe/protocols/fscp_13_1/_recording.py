"""How a recording shows the frames and the events of FSCP 13/1.

Bit 0 of the id says whether the connection is valid; while it is not, a receiver takes no data.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..._engine.stream import Session
from .._aspects import Follower, Link, RecordingTraits, Step, passes, places_of
from ._frame import IDS, RECIPE

__all__ = ["RECORDING"]

_IN_USE, _INVALID = Step(), Step(use="connection not valid")
_NOTHING = Step(use=None)


class Fscp13Follower(Follower):
    """Whether each end calls the connection valid."""

    def steady(self, side: int, octets: bytes) -> bool:
        """Tell whether these are data of a valid connection."""
        return len(octets) > 1 and octets[1] >> 2 in (49, 51, 53)

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Look at the id: data of a valid connection, of one that is not, or a service."""
        identity = octets[1] >> 2
        if identity not in range(48, 54):
            return _NOTHING
        return _IN_USE if identity & 1 else _INVALID


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


def _lengths(link: Link, side: int, octets: bytes) -> Sequence[int]:
    """Take the length that the frame itself states, where both CRCs agree to it."""
    if len(octets) < 11 or octets[2] > 254 or octets[1] >> 2 not in IDS:
        return ()
    size = RECIPE.shape(octets[2], "data").size_octets
    known = {**link.settings, "address": int(link.senders[side])}
    if size == link.sizes[side] or not passes(RECIPE, octets[:size], known):
        return ()
    return (size,)


def _foreign(link: Link, side: int, octets: bytes, history: Session) -> bool:
    """Tell whether a frame is right in itself, with another address or domain."""
    manager = {name: value for name, value in link.settings.items() if name == "manager_id"}
    return passes(RECIPE, octets, {"manager_id": bytes(6)} | manager) and not passes(
        RECIPE, octets, {**link.settings, "address": int(link.senders[side])}
    )


RECORDING = RecordingTraits(
    follower=Fscp13Follower, search=_search, lengths=_lengths, foreign=_foreign
)
