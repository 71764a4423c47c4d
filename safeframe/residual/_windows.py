"""Weights of all dual words of a long contiguous code, with numpy: time hardly grows with length.

The dual words of a CRC over n contiguous bits are all windows of n bits of the sequences that obey
the recurrence of its generator. Along a sequence the weight changes only by the bit that enters
and the bit that leaves, so one pass over all sequences gives the weight of every window. The
sequences come from the factors of the generator g: with g = f h, f irreducible and no factor of
h, each state is an element of one orbit of f combined with any state of h.

Eight windows that start in one octet are counted at once: their weights are neighbours, so the
lowest weight and one of 128 shapes (how many windows have each weight above it) say it all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from .._workers import Progress, shared_out
from . import _fields as fields

WORD_BITS = 32
"""A sequence is kept in words of this many bits, so a generator has at most this degree."""
_MOST_ORBITS = 64
"""More and shorter orbits would spend the time on their ends."""
_WORTH_PROCESSES_S = 1.0
"""Below this a second process costs more than it saves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to walk all sequences of ``generator`` once.

    ``orbit`` is the irreducible factor with orbits of ``period`` states, ``starts`` hold one
    state of each, ``rest`` is the other factor. ``mirrored`` says that the sequence of all ones
    is among them: complementary windows are walked once.
    """

    generator: int
    orbit: int
    period: int
    starts: tuple[int, ...]
    rest: int
    mirrored: bool


def available() -> bool:
    """Return whether numpy is installed, in a version that counts bits in arrays (2 or later)."""
    try:
        from numpy import bitwise_count  # noqa: F401 - deferred: optional, and slow to import.
    except ImportError:
        return False
    return True


def cost_s(degree: int) -> float:
    """Return about how many seconds one process needs, numpy's import included."""
    return 0.1 + 1.5e-9 * 2.0**degree


@lru_cache(maxsize=8)
def plan(generator: int) -> Plan | None:
    """Return the plan for a generator, or None where this method does not fit it."""
    if not 8 < generator.bit_length() <= WORD_BITS + 1:
        return None
    single = [factor for factor, exponent in fields.factors(generator) if exponent == 1]
    if not single or single[-1].bit_length() < 9:
        return None
    orbit = single[-1]
    rest, _ = fields.quotient(generator, orbit)
    period, starts = fields.irreducible_orbits(orbit)
    if rest.bit_length() > 22 or len(starts) > _MOST_ORBITS:
        return None
    return Plan(
        generator=generator,
        orbit=orbit,
        period=period,
        starts=tuple(_sequence(orbit, start) for start in starts),
        rest=rest,
        mirrored=generator.bit_count() % 2 == 0,
    )


def histograms(
    way: Plan, lengths: Sequence[int], *, processes: int = 1, progress: Progress | None = None
) -> list[list[int]]:
    """Return for each length how many dual words have weight 0, 1 ... length.

    Counts all states that lie on orbits of the factor ``orbit``; the few with none of it (words
    of the code of ``rest`` alone) are not among them. Lengths are in bits and exceed the degree.
    """
    from ._walker import Walker, pieces  # deferred: numpy is optional and slow to import.

    work_pieces = pieces(way)
    if cost_s(way.generator.bit_length() - 1) < _WORTH_PROCESSES_S:
        processes = 1
    totals: list[list[int]] = [[0] * (length + 1) for length in lengths]
    with shared_out(processes, Walker, (way, tuple(lengths))) as work:
        for number, found in enumerate(work(work_pieces), start=1):
            for total, (lowest, counts) in zip(totals, found, strict=True):
                for offset, count in enumerate(counts):
                    total[lowest + offset] += count
            if progress is not None:
                progress(number / len(work_pieces))
    if way.mirrored:
        totals = [[a + b for a, b in zip(t, reversed(t), strict=True)] for t in totals]
    return totals


def _sequence(irreducible: int, element: int) -> int:
    """Return the word of the sequence <element x^j>, <a> the constant term of a."""
    word = 0
    for bit in range(WORD_BITS):
        word |= (element & 1) << bit
        element = fields.times(element, 2, irreducible)
    return word
