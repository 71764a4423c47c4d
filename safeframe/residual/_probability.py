"""Probability that errors stay undetected, from exact weights.

All of it is for a binary symmetric channel: each transmitted bit flips with probability p,
independently of the others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from fractions import Fraction
from itertools import pairwise
from math import comb

from .._errors import UsageError
from ._spectrum import Weights

_DIGITS = 60
"""Working digits of the search for a maximum: the sum over the dual is a difference."""
_LINEAR_POINTS = 200
_RISING_POINTS = 160


def undetected(given: Weights, p: Fraction) -> Fraction:
    """Return P_ud(p), the probability of an undetected error, exactly.

    P_ud(p) = sum over k > 0 of A_k p^k (1-p)^(n-k)
            = 2^-rank sum over i of B_i (1-2p)^i - (1-p)^n.
    """
    _refuse_other_than_probability(p)
    a, b, bits = p.numerator, p.denominator, given.bits
    if given.complete:
        total, power = 0, 1
        for count in given.counts:
            total = total * (b - a) + count * power
            power *= a
        total -= (b - a) ** bits
        return Fraction(total, b**bits)
    total, power = 0, 1
    for count in given.dual:
        total = total * b + count * power
        power *= b - 2 * a
    total -= (1 << given.rank) * (b - a) ** bits
    return Fraction(total, b**bits << given.rank)


def conditional(given: Weights, p: Fraction) -> Fraction:
    """Return P_ud(p) / (1 - (1-p)^n): the share of disturbed frames that pass as undisturbed.

    Without errors no frame is disturbed: p must be above 0.
    """
    if p == 0:
        raise UsageError("a bit error probability must be above 0 for disturbed frames, not 0")
    a, b, bits = p.numerator, p.denominator, given.bits
    return undetected(given, p) / (1 - Fraction((b - a) ** bits, b**bits))


def approximation(given: Weights, p: Fraction) -> Fraction:
    """Return 2^-r times the probability of at least d flipped bits, d the Hamming distance.

    This is the usual rule of thumb; it is no bound in either direction.
    """
    _refuse_other_than_probability(p)
    a, b, bits = p.numerator, p.denominator, given.bits
    distance = given.distance or len(given.counts)
    few = sum(comb(bits, k) * a**k * (b - a) ** (bits - k) for k in range(distance))
    return (1 - Fraction(few, b**bits)) / (1 << given.check_bits)


def _refuse_other_than_probability(p: Fraction) -> None:
    if not 0 <= p <= 1:
        raise UsageError(f"a bit error probability must be 0..1, not {p}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """The largest value found over 0 < p <= 1/2: where, and exactly how much.

    ``points`` is the number of p that were looked at; a maximum between them is not excluded.
    """

    p: Fraction
    value: Fraction
    points: int


def peak(given: Weights, *, condition: bool = False) -> Peak:
    """Return the maximum of P_ud, or of the conditional probability, over 0 < p <= 1/2.

    A grid (linear and logarithmic) finds the region, halving steps refine it. Values that agree
    in 15 digits count as equal, and the largest p of them is reported: a plateau at 2^-r is
    reported at p = 1/2. The value is exact at a p of four digits.
    """
    with localcontext(Context(prec=_DIGITS)):
        value = _decimal_form(given, condition=condition)
        lowest = Decimal(1) / (50 * given.bits)
        ratio = (Decimal("0.5") / lowest) ** (Decimal(1) / _RISING_POINTS)
        grid = sorted(
            {Decimal(step) / (2 * _LINEAR_POINTS) for step in range(1, _LINEAR_POINTS + 1)}
            | {lowest * ratio**step for step in range(_RISING_POINTS)}
        )
        seen = {p: value(p) for p in grid}
        best = max(grid, key=lambda p: (_rounded(seen[p]), p))
        if best < grid[-1]:
            index = grid.index(best)
            step = max(grid[index + 1] - best, best - grid[max(index - 1, 0)])
            while step > best / 10000:
                step /= 2
                near = [p for p in (best - step, best + step) if p > 0]
                seen |= {p: value(p) for p in near}
                best = max((best, *near), key=lambda p: (_rounded(seen[p]), p))
    p = Fraction(f"{best:.3e}")
    exact = conditional(given, p) if condition else undetected(given, p)
    return Peak(p=p, value=exact, points=len(seen))


def curve(given: Weights, lowest: int, points: int) -> tuple[tuple[float, float], ...]:
    """Return (log10 p, log10 P_ud) from p = 10^``lowest`` to 1/2, for a plot.

    Good to the digits of a float for lengths and p in use; a probability of 0 is left out.
    """
    if points < 2 or lowest >= 0:
        raise UsageError(
            "a curve must begin below 10^0 and have at least 2 points, "
            f"not 10^{lowest} and {points}"
        )
    with localcontext(Context(prec=_DIGITS)):
        value = _decimal_form(given, condition=False)
        begin, end = Decimal(lowest), Decimal("0.5").log10()
        logs = [begin + (end - begin) * step / (points - 1) for step in range(points)]
        found = [(log, value(min(10**log, Decimal("0.5")))) for log in logs]
        return tuple((float(log), float(p_ud.log10())) for log, p_ud in found if p_ud > 0)


def _rounded(value: Decimal) -> Decimal:
    return Context(prec=15).plus(value)


def _decimal_form(given: Weights, *, condition: bool) -> Callable[[Decimal], Decimal]:
    """Return P_ud as a function of a decimal p, good to about 50 digits after the point."""
    bits = given.bits
    counts = given.counts[1:] if given.complete else given.dual
    held = [k for k, count in enumerate(counts) if count] or [0]
    whole = Decimal(1 << given.rank)
    places = held if given.complete else held[1:]  # Half of the counts of many a code are zero.
    rows = [(Decimal(counts[k]), k - before) for before, k in pairwise([0, *places])][::-1]
    gaps = {gap for _, gap in rows}

    def horner(x: Decimal) -> Decimal:
        powers = {gap: x**gap for gap in gaps}
        total = Decimal(0)
        for count, gap in rows:
            total = (total + count) * powers[gap]
        return total

    def value(p: Decimal) -> Decimal:
        intact = (1 - p) ** bits
        if given.complete:
            missed = intact * p / (1 - p) * horner(p / (1 - p))
        else:
            # Weight 0 stands alone, far below the others.
            missed = (counts[0] + horner(1 - 2 * p)) / whole - intact
        return missed / (1 - intact) if condition else missed

    return value
