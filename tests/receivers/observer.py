"""The rules that all protocols share: repeats, lost history, time, which data are in use."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

Told = list[tuple[str, bool]]
"""Events of one frame: kind, and whether it says that something is wrong."""


class Model(Protocol):
    """One pair of receivers; ``judge`` changes nothing when it says rejected or foreign."""

    carries: tuple[bool, bool]

    def judge(self, side: int, octets: bytes) -> str: ...
    def begins(self, octets: bytes) -> bool: ...
    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]: ...
    def data(self, octets: bytes) -> bytes: ...


class Event(NamedTuple):
    time_us: int
    side: int
    kind: str
    wrong: bool


class Observer:
    """Judges a recording frame by frame and remembers what a report must say."""

    def __init__(
        self,
        make: Callable[[bool], Model],
        sizes: tuple[int, int],
        watchdog_us: int | None,
        *,
        fresh: bool,
    ) -> None:
        self.make, self.sizes, self.watchdog_us = make, sizes, watchdog_us
        self.model = make(fresh)
        self.last: list[bytes | None] = [None, None]
        self.heard_us: list[int | None] = [None, None]
        self.failures = [0, 0]
        self.row = 0
        self.using: list[str | None] = [None, None]
        self.events: list[Event] = []
        self.ones, self.zeros = [0, 0], [0, 0]
        self.with_data, self.in_use = [0, 0], [0, 0]

    def frame(self, time_us: int, side: int, octets: bytes) -> str:
        recurs: Callable[[bytes], bool] = getattr(self.model, "recurs", lambda octets: False)
        if octets == self.last[side] and not recurs(octets):
            return "repeat"
        found = self.model.judge(side, octets)
        if found == "rejected":
            if not (self.failures[side] or self.row):
                self.failures[side] = self.row = 1
                return found
            joined = self.make(False)
            if joined.judge(side, octets) in ("rejected", "foreign"):
                self.failures[side] += 1
                self.row += 1
                return found
            self.model, self.last = joined, [None, None]
            self.failures, self.row, found = [0, 0], 0, "unknown"
        if found in ("foreign", "repeat"):
            return found
        self.last[side] = octets
        if found == "ignored":
            return found
        if found == "accepted":
            self.failures[side] = self.row = 0
        before, self.heard_us[side] = self.heard_us[side], time_us
        late = (
            before is not None
            and self.watchdog_us is not None
            and time_us - before > self.watchdog_us
            and not self.model.begins(octets)
        )
        told, use, ends = self.model.follow(side, octets)
        if found == "unknown":
            return "rejected" if late else found
        self.events += [Event(time_us, side, kind, wrong) for kind, wrong in told]
        if ends:
            self.using = [None, None]
        if late:
            return "rejected"
        if use is not None:
            self._use(time_us, side, octets, use)
        return found

    def finish(self) -> None:
        """Say what only the end of a recording shows: here nothing."""

    def _use(self, time_us: int, side: int, octets: bytes, use: str) -> None:
        self.with_data[side] += 1
        was, self.using[side] = self.using[side], use
        if use != was:
            kind = "fail-safe" if use else "in use"
            self.events.append(Event(time_us, side, kind, bool(use) and was == ""))
        if use:
            return
        data = self.model.data(octets)
        if len(data) == self.sizes[side]:
            self.in_use[side] += 1
            word = int.from_bytes(data, "little")
            self.ones[side] |= word
            self.zeros[side] |= ~word & (1 << 8 * len(data)) - 1


def number_for(crc: Callable[[int], int], width: int, wanted: int) -> int | None:
    """Return the number of ``width`` bits with this CRC: both halves of the bits, one table."""
    base, half = crc(0), width // 2
    columns = [crc(1 << bit) ^ base for bit in range(width)]

    def sums(part: list[int]) -> list[int]:
        found = [0]
        for column in part:
            found += [value ^ column for value in found]
        return found

    low = {value: number for number, value in reversed(list(enumerate(sums(columns[:half]))))}
    for number, value in enumerate(sums(columns[half:])):
        rest = wanted ^ base ^ value
        if rest in low:
            return number << half | low[rest]
    return None
