"""The figures of one code, ready for a report."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from .._errors import UsageError
from ._probability import Peak, approximation, conditional, peak, undetected
from ._spectrum import Weights


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbabilityRow:
    """Probabilities at one bit error probability p, all exact.

    ``ratio`` is P_ud over its usual approximation (None where that is 0).
    """

    p: Fraction
    undetected: Fraction
    conditional: Fraction
    approximation: Fraction
    ratio: Fraction | None

    @property
    def off(self) -> Fraction:
        """By which factor the approximation is too small or too large; 1 where it is exact."""
        ratio = self.ratio or Fraction(1)
        return max(ratio, 1 / ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What the figures are about: the inputs a reader needs to judge them.

    ``source`` says who states the CRC rule behind the code. ``bound`` is a bound of the
    conditional probability that a source states, with that source.
    """

    title: str
    errors: str
    left_out: str
    checks: str
    source: str
    bound: tuple[Fraction, str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Weights, probabilities at some p, and the largest values found over 0 < p <= 1/2.

    ``excess`` is the largest P_ud over 2^-r, r the number of check bits.
    """

    weights: Weights
    rows: tuple[ProbabilityRow, ...]
    peak: Peak
    peak_conditional: Peak
    excess: Fraction

    @property
    def farthest(self) -> ProbabilityRow:
        """The row where the approximation is off by the largest factor."""
        return max(self.rows, key=lambda row: row.off)

    @property
    def lowest(self) -> tuple[tuple[int, int], ...]:
        """The lowest weights with their number of undetected patterns, up to five."""
        held = [(k, count) for k, count in enumerate(self.weights.counts) if k and count]
        return tuple(held[:5])


def figures(given: Weights, probabilities: Iterable[Fraction]) -> Figures:
    """Return the figures of a code at bit error probabilities between 0 and 1/2."""
    rows = []
    for p in probabilities:
        if not 0 < p <= Fraction(1, 2):
            raise UsageError(
                f"a bit error probability must be above 0 and at most 0.5, not {float(p)}"
            )
        exact, rule = undetected(given, p), approximation(given, p)
        rows.append(
            ProbabilityRow(
                p=p,
                undetected=exact,
                conditional=conditional(given, p),
                approximation=rule,
                ratio=exact / rule if rule else None,
            )
        )
    top = peak(given)
    return Figures(
        weights=given,
        rows=tuple(rows),
        peak=top,
        peak_conditional=peak(given, condition=True),
        excess=top.value * (1 << given.check_bits),
    )


def rate_per_hour(probability: Fraction, messages_per_hour: Fraction, sinks: int) -> Fraction:
    """Return the residual error rate R v m per hour, as it is generally described.

    R is the residual error probability of one safety message, v the safety messages per hour, m
    the number of information sinks of one safety function. This formula is from memory: no
    readable public copy of the standard was found, so check it against the edition you work to.
    """
    if messages_per_hour <= 0 or sinks < 1:
        raise UsageError(
            "messages per hour must be above 0 and sinks at least 1, "
            f"not {str(float(messages_per_hour)).removesuffix('.0')} and {sinks}"
        )
    return probability * messages_per_hour * sinks
