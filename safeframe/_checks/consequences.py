"""What follows from a cause hangs below it: a row at a wrong place leaves a hole, for instance.

A finding follows from another one where a remedy of that one, tried on the values, makes both go
away. Only flaws of the kinds that a mistake of the other kind brings along count, so that two
mistakes stay two findings.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from .._findings import SEVERITIES, Finding
from .._value import replace


class Tried(NamedTuple):
    """A remedy that proved good: its words, and what the rules found once it was done."""

    text: str
    after: Sequence[Finding]


_OF_PLACES = frozenset({"hole", "overlap", "place-order", "value-across-blocks"})
_FOLLOWS: Mapping[str, frozenset[str]] = {
    **dict.fromkeys(
        (
            *("moved-signal", "shifted-signals", "swapped-signals", "rotated-signals"),
            *("rearranged-signals", "octet-order", "bit-numbering", "nibble-order"),
            *("bit-per-octet", "reserve-differs", "width-differs"),
        ),
        _OF_PLACES,
    ),
    "overlap": frozenset({"one-sided-signal", "hole"}),
    "duplicate-name": frozenset({"one-sided-signal"}),
    "one-sided-signal": frozenset({"hole", "place-order"}),
    "validity-differs": frozenset({"value-without-validity"}),
    "type-differs": frozenset({"codes-differ", "missing-code-points", "value-without-validity"}),
    "codes-differ": frozenset({"missing-code-points"}),
    "safe-value-differs": frozenset({"nonzero-safe-value"}),
    "watchdog-differs": frozenset({"watchdog-too-short"}),
    "connection-id-differs": frozenset({"connection-id-missing"}),
    "role-conflict": frozenset({"parameter-invalid"}),
}
"""Rules, and those whose findings a mistake of that kind brings along; what explains most first."""
_OF_NO_SIGNAL = frozenset(
    {"hole", "watchdog-too-short", "connection-id-missing", "parameter-invalid"}
)


def hung_below(
    found: Sequence[Finding], good: Mapping[int, Sequence[Tried]], kept: Collection[str] = ()
) -> list[Finding]:
    """Return findings with their remedies told, and what follows from one hung below it.

    ``good`` are the remedies of each finding by its identity. Findings of the ``kept`` rules stand
    for themselves: an end allows some of them, and an allowance must not hide anything else.
    """
    below: dict[int, tuple[Finding, ...]] = {}
    texts: dict[int, list[str]] = {}
    hung: set[int] = set()
    for cause in sorted(found, key=_rank):
        ways = good.get(id(cause), ())
        if id(cause) in hung or not ways:
            continue
        free = [
            one
            for one in found
            if id(one) not in hung
            and id(one) not in below
            and not {cause.rule, one.rule} & set(kept)
            and _may_follow(one, cause)
        ]
        gone = [[one for one in free if not _left(one, way.after)] for way in ways]
        most = max(gone, key=len)
        followed = {id(one) for one in most}
        hung |= followed
        below[id(cause)] = tuple(most)
        texts[id(cause)] = [
            way.text
            for way, ones in zip(ways, gone, strict=True)
            if followed <= {id(one) for one in ones}
        ]
    return [
        _with(one, texts.get(id(one), ()), below.get(id(one), ()))
        for one in found
        if id(one) not in hung
    ]


_RANKS = {rule: rank for rank, rule in enumerate(_FOLLOWS)}


def _rank(finding: Finding) -> int:
    """Return how early a finding is taken for a cause: what explains most comes first."""
    return _RANKS.get(finding.rule, len(_RANKS))


def _may_follow(one: Finding, cause: Finding) -> bool:
    """Tell whether a finding is of a kind that the cause brings along, and about its signals."""
    if (
        one.rule not in _FOLLOWS.get(cause.rule, ())
        or one.direction != cause.direction
        or SEVERITIES.index(one.severity) < SEVERITIES.index(cause.severity)
    ):
        return False
    return one.rule in _OF_NO_SIGNAL or bool(_signals(one) & _signals(cause))


def _signals(finding: Finding) -> set[str]:
    named = {name for line in finding.details for name in line.partition(": ")[0].split(" / ")}
    return named | {spot.signal for spot in finding.spots if spot.signal}


def _left(one: Finding, after: Sequence[Finding]) -> bool:
    """Tell whether something of a finding is left: its rule still finds something at its ends."""
    ends = _ends(one)
    return any(
        other.rule == one.rule and other.direction == one.direction and ends & _ends(other)
        for other in after
    )


def _ends(finding: Finding) -> set[str]:
    return {spot.end for spot in finding.spots}


def _with(finding: Finding, texts: Sequence[str], below: Sequence[Finding]) -> Finding:
    if not texts:
        return finding
    details = tuple(_line(one) for one in below)
    return replace(finding, remedy=", or ".join(texts), details=(*finding.details, *details))


def _line(one: Finding) -> str:
    if one.rule == "one-sided-signal":
        return f"{one.rule}: {one.message}"  # It names both ends itself.
    ends = dict.fromkeys(spot.end for spot in one.spots)
    return f"{one.rule} at {' and '.join(ends)}: {one.message}"
