"""What the rules about a signal that is handed on share: how they are registered, what they say."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from math import nan
from typing import TYPE_CHECKING, NamedTuple

from .._codec import safe_number, to_raw, value_of
from .._errors import UsageError
from .._findings import Finding, NotJudged, Rule, Spot
from .._model import Signal
from .._words import listed
from .registry import ROUTE_CHECKS, Finder, RouteCheck, RoutesSeen, registering

if TYPE_CHECKING:
    from .._following import Handover, Site


class Open(NamedTuple):
    """What cannot be judged at an end, and why."""

    subject: str
    reason: str


Judge = Callable[["Handover", "Site"], Iterator[str | Open]]

MEANT = "or declare in the route that it is meant"

_EXACT_DIGITS = 80
"""Most digits of a number that a message states exactly: every one of 128 bits with a usual scale
has less."""

_NEAR_DIGITS = 28
"""Digits of a number that a message only states about."""


def _handover_check(judge: Judge, rule: Rule) -> RouteCheck:
    """Return the check that asks at every end of a route; one wrong thing is one finding."""

    def check(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
        wrong: dict[tuple[int, int, str], list[Handover]] = {}
        for followed, _ in seen.routes:
            for handover in followed.handovers():
                for told in judge(handover, seen.site):
                    if isinstance(told, Open):
                        yield NotJudged(
                            connection="",
                            rule=rule.name,
                            reason=told.reason,
                            subject=f"{told.subject} at {handover.step.end}",
                            route=followed.route.name,
                        )
                    else:
                        key = id(handover.arriving), id(handover.leaving), told
                        wrong.setdefault(key, []).append(handover)
        for (_, _, message), handovers in wrong.items():
            yield find(
                f"{on_routes(one.route.name for one in handovers)}: {message}",
                _spots(handovers[0]),
                culprits=[("", name) for name in sorted({h.route.name for h in handovers})],
            )

    return check


handover_rule = registering(ROUTE_CHECKS, _handover_check, "plant")
"""Registers what judges one end of a route; it yields what is wrong and what stays open."""


def on_routes(routes: Iterable[str]) -> str:
    """Return "on the route ..." for the names of one or of several."""
    names = sorted(set(routes))
    return f"on the route{'s'[: len(names) != 1]} {listed(names)}"


def _spots(handover: Handover) -> list[Spot]:
    signals = handover.arriving, handover.leaving
    return [
        *(Spot(handover.step.end, one.where, one.at, one.name) for one in signals),
        Spot("", handover.step.where),
    ]


def declared(handover: Handover, key: str) -> bool:
    return any(name == key for name, _, _ in handover.step.converts)


def both(handover: Handover, what: str, before: object, after: object) -> str:
    """Return that something is one thing as the signal arrives and another as it leaves."""
    arriving, leaving = handover.arriving, handover.leaving
    return (
        f"{handover.step.end} receives {arriving.name} ({arriving.at}) with {what} {before} and "
        f"sends {leaving.name} ({leaving.at}) with {what} {after}"
    )


def exact_number(value: int | float | str) -> Fraction | float:
    """Return an exact number; one that is not finite stays as it is, a text may be none."""
    try:
        return Fraction(value)
    except (OverflowError, ValueError):
        return nan if isinstance(value, str) else float(value)


def as_carried(signal: Signal, value: Fraction | float) -> Fraction | float:
    """Return a number as a signal carries it: a float holds what is next to it in its width."""
    if signal.type != "float":
        return value
    try:
        return exact_number(value_of(signal, to_raw(signal, float(value))))
    except (OverflowError, UsageError):
        return value  # One that does not fit is a finding of the map.


def safe_text(signal: Signal) -> str:
    """Return the safe value of a signal as stated, and as it is carried where that differs."""
    carried = safe_number(signal)
    same = carried == signal.safe or carried != carried
    return str(signal.safe) if same else f"{signal.safe} ({carried} in {signal.width} bits)"


def decimal_text(value: Fraction) -> str:
    """Return a number as people write it, or "about" and what is near to it."""
    from decimal import Context, Decimal, Inexact  # deferred: for messages only.

    if value.numerator.bit_length() > 128:
        return f"about 2^{value.numerator.bit_length() - value.denominator.bit_length()}"
    parts = Decimal(value.numerator), Decimal(value.denominator)
    exact = Context(prec=_EXACT_DIGITS, traps=[])
    number = exact.divide(*parts)
    if not exact.flags[Inexact]:
        return f"{number.normalize(exact):f}"
    return f"about {Context(prec=_NEAR_DIGITS).divide(*parts).normalize():f}"
