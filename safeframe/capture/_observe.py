"""Being told what a recording shows while it is examined: only what changes, never each frame."""

from __future__ import annotations

from collections.abc import Callable

from ._decode import Both
from ._packets import Packet
from ._report import Event, Interval, Note, SideReport


class Observer:
    """Told of changes in the order in which they are found; here, nothing comes of them.

    Frames that change nothing are not told, so that a long recording costs nothing more. ``side``
    is the number of the end that sends.
    """

    def joins(self, progress: Callable[[], tuple[SideReport, SideReport]]) -> None:
        """Take, before everything else, what returns the counts of both sides so far."""

    def begins(self, time_us: int) -> None:
        """Take the time of the first packet."""

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Take data that the receiver uses and that differ from those in use before."""

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Take the fail-safe values that the receiver of this side uses from a time on.

        Of a signal whose safe value does not fit its map the number is None.
        """

    def silence(self, silence: Interval) -> None:
        """Take a time without a new frame of a side that was longer than the watchdog."""

    def event(self, event: Event) -> None:
        """Take an event of the protocol, or a change in whether data are used."""

    def note(self, kind: str, note: Note) -> None:
        """Take what is noted of one packet: a rejected frame, a relation that is broken."""
