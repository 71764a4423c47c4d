"""How a recording shows the messages of EN 50325-5: by identifier, plain and inverted in turn."""

from __future__ import annotations

from ..link import Link
from ..recording import Follower, Happening, RecordingTraits, Step
from ._session import REPLACED

_HEAD = 3


class SrdoFollower(Follower):
    """Tells what a receiver puts up with: a message too many, one too few, one too long."""

    def recurs(self, octets: bytes) -> bool:
        """Return True: nothing is counted, so unchanged data are sent with the same octets."""
        return True

    def pass_over(self, side: int, octets: bytes, text: str) -> Step | None:
        """Tell of an inverted message that stands alone."""
        return Step((Happening("incomplete", text, True),), None, heard=False)

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Wait for the inverted message, or use the data of the pair: as many as are mapped."""
        happenings = [Happening("incomplete", text, True)] if text == REPLACED else []
        size, mapped = octets[2], int(self.link.settings["mapped_octets"])
        if size > mapped:
            told = f"{size} data octets, {mapped} are mapped: the others are passed over"
            happenings.append(Happening("longer", told, True))
        data = self.link.data_of(octets)
        if data is None:
            return Step(tuple(happenings), None, heard=False)
        return Step(tuple(happenings), data=data[:mapped])


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look at the identifier: a message is one of the pair, or of another data object."""
    first = link.settings["identifier_1"]
    found = int.from_bytes(octets[:2], "big")
    return [0] if len(octets) >= _HEAD and found in (first, first + 1) else []


RECORDING = RecordingTraits(
    follower=SrdoFollower,
    search=_search,
    whole=True,
    parts=True,
    silence="sct",
    fails_safe=False,
)
