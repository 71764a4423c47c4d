"""The time of a recording: when it begins and ends, and packets that have no time."""

from __future__ import annotations

from collections.abc import Callable

from ._packets import Packet
from ._timelines import Timelines
from ._told import Told, note_of


class Clock:
    """Follows the times of the packets; one that goes back is told, and does not count.

    ``expire`` is called at the first time that is not before the one it returned last.
    """

    def __init__(self, told: Told, timelines: Timelines, expire: Callable[[int], int]) -> None:
        self._told = told
        self._timelines = timelines
        self._expire = expire
        self._due_us = 0
        self.start_us: int | None = None
        self.end_us: int | None = None
        self.untimed = 0

    def see(self, packet: Packet) -> None:
        """Take the time of the next packet."""
        time_us = packet.time_us
        if time_us is None:
            self.untimed += 1
            return
        if self.end_us is None:
            self.start_us = self.end_us = time_us
            self._timelines.begin(time_us)
            for each in self._told.observers:
                each.begins(time_us)
        elif time_us >= self.end_us:
            self.end_us = time_us
            if time_us >= self._due_us:
                self._due_us = self._expire(time_us)
        else:
            note = note_of(packet, None, "the time is before that of an earlier packet")
            self._told.note("time", note)
