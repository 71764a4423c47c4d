"""How a recording shows the events of FSCP 2/1: frames carry nothing to search for.

Bit 7 of the mode octet says whether the producer runs; a consumer of idle data uses none.
"""

from __future__ import annotations

from ..aspects import Follower, Link, RecordingTraits, Step

__all__ = ["RECORDING"]

_IN_USE, _IDLE, _NOTHING = Step(), Step(use="idle"), Step(use=None)


class Fscp2Follower(Follower):
    """Whether the producer runs or is idle."""

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._producer = link.senders.index("producer")

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Look at the mode octet of data frames."""
        if side != self._producer:
            return _NOTHING
        mode = octets[len(self.link.data_of(octets) or b"")]
        return _IN_USE if mode & 0x80 else _IDLE


RECORDING = RecordingTraits(follower=Fscp2Follower)
