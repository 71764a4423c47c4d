"""Slow and independent ways to count undetected patterns, to judge the fast ones by."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations
from math import comb


def by_syndrome(columns: Sequence[int], copies: Sequence[int] | None = None) -> list[int]:
    """Return all A_k by following how many patterns lead to each syndrome, bit by bit.

    ``copies`` gives the weight of each bit (1 where nothing is said). No dual, no identity.
    """
    weights = list(copies or [1] * len(columns))
    room = sum(weights) + 1
    states = {0: [1] + [0] * (room - 1)}
    for column, weight in zip(columns, weights, strict=True):
        following = {key: list(counts) for key, counts in states.items()}
        for key, counts in states.items():
            target = following.setdefault(key ^ column, [0] * room)
            for k in range(room - weight):
                target[k + weight] += counts[k]
        states = following
    return states[0]


def by_trial(columns: Sequence[int], highest: int) -> list[int]:
    """Return A_0 .. A_highest by trying every pattern."""
    found = []
    for weight in range(highest + 1):
        count = 0
        for chosen in combinations(columns, weight):
            total = 0
            for column in chosen:
                total ^= column
            count += total == 0
        found.append(count)
    return found


def by_pairs(columns: Sequence[int]) -> int:
    """Return A_4 of a code without words of weight 2 or less, from equal sums of two columns."""
    sums = Counter(a ^ b for a, b in combinations(columns, 2))
    # Each word of weight 4 falls into two pairs in three ways.
    return sum(comb(count, 2) for count in sums.values()) // 3


def by_triples(columns: Sequence[int]) -> int:
    """Return A_6 of a code without words of weight 4 or less, from equal sums of three columns."""
    sums = Counter(a ^ b ^ c for a, b, c in combinations(columns, 3))
    # Each word of weight 6 falls into two triples in ten ways.
    return sum(comb(count, 2) for count in sums.values()) // 10


def by_register(generator: int, bits: int) -> list[int]:
    """Return all B_i of a contiguous code by stepping a shift register from every state."""
    degree = generator.bit_length() - 1
    taps = generator ^ 1 << degree
    seen = bytearray(1 << degree)
    counts = [0] * (bits + 1)
    for start in range(1 << degree):
        if seen[start]:
            continue
        orbit = list(_orbit(start, taps, degree))
        for state in orbit:
            seen[state] = 1
        ring = [state & 1 for state in orbit]
        period = len(ring)
        weight = sum(ring[step % period] for step in range(bits))
        for step in range(period):
            counts[weight] += 1
            weight += ring[(step + bits) % period] - ring[step]
    return counts


def _orbit(start: int, taps: int, degree: int) -> Iterator[int]:
    state = start
    while True:
        yield state
        state = state >> 1 | ((state & taps).bit_count() & 1) << (degree - 1)
        if state == start:
            return


def krawtchouk(bits: int, k: int, i: int) -> int:
    """Return K_k(i) by its definition, the coefficient of y^k in (1 - y)^i (1 + y)^(bits - i)."""
    return sum((-1) ** j * comb(i, j) * comb(bits - i, k - j) for j in range(k + 1))


def macwilliams(dual: Sequence[int], rank: int) -> list[int]:
    """Return all A_k from all B_i by the definition of the identity."""
    bits = len(dual) - 1
    return [
        sum(count * krawtchouk(bits, k, i) for i, count in enumerate(dual)) >> rank
        for k in range(bits + 1)
    ]
