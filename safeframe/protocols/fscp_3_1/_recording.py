"""How a recording shows the events of FSCP 3/1: frames carry nothing to search for.

The bits of the status octet (device) and of the control octet (host) have two sources for their
names; what a receiver does under each is not in them. Data count as used only where no bit speaks
against it: fail-safe values active or ordered, a CRC error or the watchdog reported by the device.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..link import Link
from ..recording import Follower, Happening, RecordingTraits, Step
from ._frame import RESET_BITS

_CRC_ERROR, _WATCHDOG, _ACTIVE = 0x04, 0x08, 0x10
_AGAINST = {
    _CRC_ERROR: "CRC error",
    _WATCHDOG: "watchdog expired",
    _ACTIVE: "fail-safe values active",
}
_STATUS = (
    (0x02, "device fault", "the device reports a fault"),
    (_CRC_ERROR, "CRC error", "the device reports a CRC error"),
    (_WATCHDOG, "watchdog", "the device reports that its watchdog has expired"),
    (0x80, "reserved bits", "the reserved bit 7 of the status octet is set"),
)
_ENABLE = 0x01


def _against(status: int) -> str:
    return ", ".join(text for bit, text in _AGAINST.items() if status & bit)


class Fscp3Follower(Follower):
    """Status and control octets of both ends."""

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._host = link.senders.index("host")
        self._octets = [0, 0]
        self._heard = [False, False]

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Compare the status or control octet with the one before."""
        status, before = octets[-4], self._octets[side]
        rising, reset = status & ~before, RESET_BITS[self.link.senders[side]]
        found = [Happening("same number", text.partition(": ")[2])] if text else []
        if rising & reset:
            found.append(Happening("number reset", "the number begins again", self._heard[side]))
        if side != self._host:
            found += [Happening(kind, what, True) for bit, kind, what in _STATUS if rising & bit]
        elif rising & _ENABLE:
            found.append(Happening("parameters", "the host enables device parameters"))
        self._octets[side], self._heard[side] = status, True
        return Step(tuple(found), self._use(side, status))

    def _use(self, side: int, status: int) -> str:
        if side != self._host:
            return _against(status)
        if status & _ACTIVE:
            return "fail-safe values ordered"
        device = _against(self._octets[1 - side])
        return f"the device reports: {device}" if device else ""


def _sizes(link: Link, side: int) -> Sequence[int]:
    """Return the expected length, then all others."""
    expected = link.sizes[side]
    return (expected, *(size for size in range(4, 17) if size != expected))


RECORDING = RecordingTraits(follower=Fscp3Follower, sizes=_sizes, restarts=("number reset",))
