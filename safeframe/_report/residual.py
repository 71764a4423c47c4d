"""Residual error figures, for people and as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction
from typing import Any

from .._words import count
from ..residual import Band, Figures, Subject
from .document import CAUTION, Block, Document, Facts, Items, Paragraph, Section, Table, picked

FORMAT = "safeframe-residual/1"

_FORMULAS = (
    "P_ud(p) = sum over k >= d of A_k p^k (1-p)^(n-k), for bits that flip independently with "
    "probability p: mathematics; A from the code itself, or from its dual by the MacWilliams "
    "identity (1963).",
    "conditional = P_ud(p) / (1 - (1-p)^n): our reading of the conditional residual error "
    "probability of OPC 10000-15 clause 9.3, whose text gives no formula.",
    "rule = 2^-r times the probability of at least d flipped bits: general practice, from memory.",
)
_RATE = (
    "rate = P_ud(p) v m per hour, v safety messages per hour, m information sinks: as generally "
    "described, from memory; check it against the edition of IEC 61784-3 you work to. It assumes "
    "that the receiver goes on after each detected error; where it shuts down, the conditional "
    "probability times the rate of such shut-downs is the meaningful figure."
)
_NO_SIL = (
    "No SIL and no PFH follow from these figures: they are about the checksum alone, and the other "
    "measures of the profile, the medium and the application are not in them."
)


def scientific(value: Fraction, digits: int = 5) -> str:
    """Return a fraction with so many significant digits, for instance ``1.5259e-5``."""
    if not value:
        return "0"
    context = Context(prec=digits)
    quotient = context.divide(Decimal(value.numerator), Decimal(value.denominator))
    return f"{quotient:.{digits - 1}e}"


def _short(value: Fraction) -> str:
    """Return a bit error probability with the digits it has, at most five."""
    # Below that a double holds fewer digits, and at last none.
    return scientific(value) if 0 < value < _LEAST else f"{float(value):.5g}"


_LEAST = Fraction(1, 10**300)


def report(
    subject: Subject,
    figures: Figures,
    rates: Sequence[Fraction] = (),
    *,
    rate_inputs: str = "",
) -> Document:
    """Return the figures with their inputs, their formulas and what they do not say."""
    given = figures.weights
    sizes = f"n = {given.bits} transmitted bits, r = {count(given.check_bits, 'check bit')}"
    facts = (
        ("errors in", subject.errors),
        ("left out", subject.left_out),
        ("checks", subject.checks),
        ("CRC rule", subject.source),
        ("length", sizes),
        ("weights", given.method),
        *(("rate inputs", rate_inputs) for _ in rates[:1]),
    )
    head, rows = _rows(figures, rates)
    blocks: tuple[Block, ...] = (
        Facts(facts),
        _distance(figures),
        Section("Probability of an undetected error", (Table(rows, head),)),
        _largest(subject, figures),
        Section("The rule against the exact weights", (Paragraph(_rule(figures)),)),
        Section("Formulas", (Items((*_FORMULAS, *(_RATE for _ in rates[:1]))),)),
    )
    return Document(subject.title, blocks, footer=(_NO_SIL, CAUTION))


def _distance(figures: Figures) -> Section:
    if not figures.lowest:
        return Section("Hamming distance: none, no error of these bits stays undetected")
    (distance, number), *others = figures.lowest
    patterns = count(number, "undetected pattern")
    more = ", ".join(f"{k}: {times}" for k, times in others)
    return Section(
        f"Hamming distance {distance}: {patterns} of {count(distance, 'bit')}",
        (Paragraph(f"patterns of more bits: {more} ..."),) if others else (),
    )


def _rows(
    figures: Figures, rates: Sequence[Fraction]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    head = ("p", "P_ud(p)", "conditional", "rule", "P_ud / rule")
    rows = []
    for index, row in enumerate(figures.rows):
        ratio = "-" if row.ratio is None else scientific(row.ratio, 3)
        cells = (
            _short(row.p),
            scientific(row.undetected),
            scientific(row.conditional),
            scientific(row.approximation),
            ratio,
        )
        rows.append(cells + ((scientific(rates[index], 3),) if rates else ()))
    return head + (("rate per hour",) if rates else ()), tuple(rows)


def _largest(subject: Subject, figures: Figures) -> Section:
    found = (("P_ud for p up to 0.5", figures.peak), ("conditional", figures.peak_conditional))
    rows = tuple(
        (name, scientific(peak.value), _short(peak.p), str(peak.points)) for name, peak in found
    )
    blocks: list[Block] = [Table(rows, ("largest found", "value", "at p =", "values of p"))]
    if subject.bound is not None:
        bound, source = subject.bound
        word = "within" if _is_within(bound, figures) else "ABOVE"
        blocks.append(Paragraph(f"{word} the bound {scientific(bound, 2)} that {source} states"))
    return Section("", tuple(blocks))


def _is_within(bound: Fraction, figures: Figures) -> bool:
    return figures.peak_conditional.value <= bound


def _bound(subject: Subject, figures: Figures) -> dict[str, Any] | None:
    if subject.bound is None:
        return None
    bound, source = subject.bound
    return {"value": str(bound), "source": source, "within": _is_within(bound, figures)}


def _rule(figures: Figures) -> str:
    """Return why the rule with 2^-r is no bound, with this code's own ratios."""
    given, worst = figures.weights, figures.farthest
    side = "small" if (worst.ratio or 0) > 1 else "large"
    verdict = (
        "so it is no bound here"
        if any((row.ratio or 0) > 1 for row in figures.rows) or figures.excess > 1
        else "which nothing warrants: it takes all weights for equally likely to be missed"
    )
    return (
        f"the largest P_ud found is {scientific(figures.excess, 4)} times 2^-{given.check_bits}, "
        f"and at p = {_short(worst.p)} the rule is too {side} by the factor "
        f"{scientific(worst.off, 3)}, {verdict}."
    )


def report_json(
    subject: Subject,
    figures: Figures,
    rates: Sequence[Fraction] = (),
    *,
    rate_inputs: str = "",
    notes: Sequence[str] = (),
) -> str:
    """Return the same as one JSON document; counts are decimal strings, as they exceed 2^53."""
    given = figures.weights
    rows = []
    for index, row in enumerate(figures.rows):
        cells = {
            "p": str(row.p),
            "undetected": scientific(row.undetected, 15),
            "conditional": scientific(row.conditional, 15),
            "rule": scientific(row.approximation, 15),
            "undetected_over_rule": None if row.ratio is None else scientific(row.ratio, 15),
        }
        rows.append(cells | ({"rate_per_hour": scientific(rates[index], 15)} if rates else {}))
    document = {
        "format": FORMAT,
        "subject": {
            **picked(subject, "title errors left_out checks source"),
            "rate_inputs": rate_inputs,
        },
        **picked(given, "bits check_bits rank distance"),
        "weights": {str(k): str(count) for k, count in enumerate(given.counts) if k and count},
        "weights_complete": given.complete,
        "method": given.method,
        "probabilities": rows,
        "largest": _peak(figures, conditional=False),
        "largest_conditional": _peak(figures, conditional=True),
        "largest_over_two_to_minus_r": scientific(figures.excess, 15),
        "bound": _bound(subject, figures),
        "formulas": [*_FORMULAS, *(_RATE for _ in rates[:1])],
        "notes": list(notes),
        "caution": f"{_NO_SIL} {CAUTION}",
    }
    return json.dumps(document, indent=2) + "\n"


def _peak(figures: Figures, *, conditional: bool) -> dict[str, Any]:
    top = figures.peak_conditional if conditional else figures.peak
    return {"p": str(top.p), "value": scientific(top.value, 15), "values_of_p": top.points}


def sizes(title: str, rows: Sequence[tuple[int, Figures]], shown: str, left_out: str) -> Document:
    """Return a table of Hamming distance and probabilities over the size of the safety data.

    ``shown`` says how many of the legal sizes these are.
    """
    head = ("octets", "bits n", "r", "distance", "patterns", "P_ud(0.01)", "largest", "at p")
    table = Table(tuple(_size(*row) for row in rows), head)
    facts = Facts((("shown", shown), ("left out", left_out)))
    return Document(title, (table, facts), footer=(_NO_SIL, CAUTION))


def _size(octets: int, figures: Figures) -> tuple[str, ...]:
    given = figures.weights
    distance = given.distance
    return (
        str(octets),
        str(given.bits),
        str(given.check_bits),
        "-" if distance is None else str(distance),
        "-" if distance is None else str(given.counts[distance]),
        scientific(figures.rows[0].undetected),
        scientific(figures.peak.value),
        _short(figures.peak.p),
    )


def sizes_json(title: str, rows: Sequence[tuple[int, Figures]], shown: str, left_out: str) -> str:
    """Return the same as one JSON document."""
    document = {
        "format": FORMAT,
        "title": title,
        "shown": shown,
        "left_out": left_out,
        "sizes": [
            {
                "octets": octets,
                **picked(figures.weights, "bits check_bits distance"),
                "patterns": str(figures.lowest[0][1]) if figures.lowest else "0",
                "undetected_at_0.01": scientific(figures.rows[0].undetected, 15),
                "largest": _peak(figures, conditional=False),
            }
            for octets, figures in rows
        ],
        "caution": f"{_NO_SIL} {CAUTION}",
    }
    return json.dumps(document, indent=2) + "\n"


def bands(title: str, rows: Sequence[Band]) -> Document:
    """Return a table of Hamming distance over the number of data bits."""
    head = ("data bits", "distance", "undetected patterns of that weight at the longest")
    return Document(title, (Table(tuple(map(_band, rows)), head),), footer=(_NO_SIL, CAUTION))


def _band(band: Band) -> tuple[str, str, str]:
    lengths = f"{band.first}..{band.last}" if band.first < band.last else str(band.last)
    if band.distance is None:
        return lengths, "above 16", "-"
    return lengths, str(band.distance), str(band.patterns)


def bands_json(title: str, rows: Sequence[Band]) -> str:
    """Return the same as one JSON document."""
    document = {
        "format": FORMAT,
        "title": title,
        "bands": [
            {
                "distance": band.distance,
                "first_data_bits": band.first,
                "last_data_bits": band.last,
                "patterns_at_last": str(band.patterns),
            }
            for band in rows
        ],
        "caution": f"{_NO_SIL} {CAUTION}",
    }
    return json.dumps(document, indent=2) + "\n"
