"""How a recording shows the events of FSCP 2/1: frames carry nothing to search for.

Bit 7 of the mode octet says whether the producer runs; a consumer of idle data uses none. Bits to
which the sources give no meaning are told where they are set.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..link import Link
from ..recording import Follower, Happening, RecordingTraits, Step

_RUN = 0x80
_UNNAMED_MODE, _UNNAMED_ACK = 0x60, 0x74


class Fscp2Follower(Follower):
    """Whether the producer runs or is idle; bits without a meaning."""

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._producer = link.senders.index("producer")
        self._unnamed = [0, 0]

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Look at the mode octet of data frames, at the acknowledge octet of the others."""
        if side != self._producer:
            return Step(self._told(side, octets[0] & _UNNAMED_ACK), None)
        mode = octets[len(self.link.data_of(octets) or b"")]
        return Step(self._told(side, mode & _UNNAMED_MODE), "" if mode & _RUN else "idle")

    def _told(self, side: int, unnamed: int) -> tuple[Happening, ...]:
        rising, self._unnamed[side] = unnamed & ~self._unnamed[side], unnamed
        if not rising:
            return ()
        octet = "mode" if side == self._producer else "acknowledge"
        what = f"bits without a meaning in the sources are set in the {octet} octet: {unnamed:#04x}"
        return (Happening("reserved bits", what, True),)


def _sizes(link: Link, side: int) -> Sequence[int]:
    """Return the expected length of a producer's frame, then all others."""
    if not link.carries[side]:
        return ()
    expected = link.sizes[side]
    return (expected, *(size for size in (7, 8, *range(14, 509, 2)) if size != expected))


RECORDING = RecordingTraits(follower=Fscp2Follower, sizes=_sizes)
