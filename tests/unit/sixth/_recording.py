"""How a recording shows the frames of LIFT 6."""

from __future__ import annotations

from safeframe.protocols.link import Link
from safeframe.protocols.recording import Follower, RecordingTraits, Step, passes

from ._frame import RECIPE

__all__ = ["RECORDING"]


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    size, station = link.sizes[side], link.settings["stations"][link.senders[side] == "cabin"]
    return [
        start
        for start in range(len(octets) - size + 1)
        if passes(RECIPE, octets[start : start + size], {"station": station})
    ]


class _LiftFollower(Follower):
    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Use the data of every accepted frame: the protocol has no events."""
        return Step()


RECORDING = RecordingTraits(follower=_LiftFollower, search=_search)
