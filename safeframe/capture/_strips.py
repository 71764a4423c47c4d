"""Timelines of any length in constant memory: the lowest, highest and last number per bin.

All strips share one grid of bins. When time leaves the grid, bins are merged in pairs and become
twice as wide, so a strip never has more than ``BINS`` of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

BINS = 512
_START_WIDTH_US = 1000

Number = int | float


class Bin(NamedTuple):
    """What a signal did within one bin."""

    low: Number
    high: Number
    last: Number


class StripBook:
    """Strips for a number of signals; times are in microseconds and rise.

    ``window`` is the first and the last microsecond that is kept, counted from the first time; the
    last one may be None. What comes before only tells with which number a strip begins.
    """

    def __init__(self, count: int, window: tuple[int, int | None] = (0, None)) -> None:
        self.since_us, self._until_us = window
        self.width_us = _START_WIDTH_US
        if self._until_us is not None:
            self.width_us = max(self._until_us - self.since_us, 0) // BINS + 1
        self.start_us: int | None = None
        self.used = 0
        self.changes = [0] * count
        self._strips: list[list[Bin | None]] = [[] for _ in range(count)]
        self._begun: list[Number | None] = [None] * count
        self._last: list[Number | None] = [None] * count

    def set(self, time_us: int, numbers: Sequence[Number | None], first: int = 0) -> None:
        """Take the numbers of signals from index ``first`` on; None leaves no trace."""
        if self.start_us is None:
            self.start_us = time_us
        passed = time_us - self.start_us
        if passed < self.since_us:
            for index, number in enumerate(numbers, first):
                if number is not None:
                    self._begun[index] = self._last[index] = number
            return
        if self._until_us is not None and passed > self._until_us:
            return
        at = self.reach(time_us)
        last = self._last
        for index, number in enumerate(numbers, first):
            before = last[index]
            if number is None or number == before:
                continue
            if before is not None:
                self.changes[index] += 1
            last[index] = number
            strip = self._strips[index]
            if len(strip) <= at:
                strip += [None] * (at + 1 - len(strip))
            found = strip[at]
            if found is None:
                # The number the bin begins with counts, except before anything was known.
                begun = number if before is None else before
                found = Bin(begun, begun, begun)
            strip[at] = Bin(min(found.low, number), max(found.high, number), number)

    def reach(self, time_us: int) -> int:
        """Return the bin of a time, after widening the bins where that is needed."""
        passed = 0 if self.start_us is None else time_us - self.start_us
        if self._until_us is not None:
            passed = min(passed, self._until_us)
        at = max(passed - self.since_us, 0) // self.width_us
        while at >= BINS:
            self._strips = [_halved(strip) for strip in self._strips]
            self.width_us *= 2
            at >>= 1
            self.used = (self.used + 1) >> 1
        self.used = max(self.used, at + 1)
        return at

    def strip(self, index: int) -> tuple[Bin | None, ...]:
        """Return the bins of a signal up to the last time seen; None before it was known."""
        begun = self._begun[index]
        quiet = None if begun is None else Bin(begun, begun, begun)
        strip = self._strips[index]
        if not strip:
            return (quiet,) * self.used
        filled: list[Bin | None] = []
        for found in strip:
            if found is not None:
                quiet = Bin(found.last, found.last, found.last)
            filled.append(found or quiet)
        filled += [quiet] * (self.used - len(strip))
        return tuple(filled)


def _halved(strip: list[Bin | None]) -> list[Bin | None]:
    halved: list[Bin | None] = []
    for at in range(0, len(strip), 2):
        left = strip[at]
        right = strip[at + 1] if at + 1 < len(strip) else None
        if left is None or right is None:
            halved.append(left or right)
        else:
            halved.append(Bin(min(left.low, right.low), max(left.high, right.high), right.last))
    return halved
