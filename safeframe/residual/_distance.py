"""Hamming distance of a CRC over the length of the data it covers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from . import _cache as cache
from ._code import contiguous
from ._spectrum import Effort, Weights


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Data lengths ``first`` .. ``last`` in bits with one Hamming distance (None: above 16).

    ``patterns`` are the undetected patterns of that weight at the last length.
    """

    distance: int | None
    first: int
    last: int
    patterns: int


def bands(
    generator: int, data_bits: int, effort: Effort | None = None, *, directory: Path | None = None
) -> tuple[Band, ...]:
    """Return the bands of one CRC for 1 .. ``data_bits`` bits of data, shortest first.

    The distance never grows with the length, so bisection finds where it falls; every length it
    looks at has its exact weights computed.
    """
    effort = effort or Effort()
    width = generator.bit_length() - 1
    quiet = replace(effort, progress=None)
    known: dict[int, Weights] = {}

    def distance(data: int) -> int | None:
        if data not in known:
            known[data], _ = cache.recall(
                contiguous(generator, data + width), quiet, directory=directory
            )
        return known[data].distance

    borders = _borders(distance, 1, data_bits, effort.progress)
    starts = [1, *(border + 1 for border in borders)]
    return tuple(
        Band(
            distance=distance(last),
            first=first,
            last=last,
            patterns=known[last].counts[distance(last) or 0],
        )
        for first, last in zip(starts, [*borders, data_bits], strict=True)
    )


def _borders(
    distance: Callable[[int], int | None],
    first: int,
    last: int,
    progress: Callable[[float], None] | None,
) -> list[int]:
    """Return the last length of each band but the longest one."""
    found = []
    open_ranges = [(first, last)]
    while open_ranges:
        low, high = open_ranges.pop()
        if progress is not None:
            progress((low - 1) / last)
        if distance(low) == distance(high):
            continue
        if high == low + 1:
            found.append(low)
            continue
        middle = (low + high) // 2
        open_ranges += [(middle, high), (low, middle)]
    return found
