"""Frames of the safety profiles: build, parse, inspect, verify.

``verify`` raises FrameError for the first check that does not pass, in the fixed order of
``checks(profile)``; ``inspect`` runs all of them and never raises for wrong octets.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, Any

from .. import protocols as profiles
from .._errors import FrameError, UsageError
from ._common import check_given, complete, parse_value
from ._recipe import (
    Check,
    Cover,
    FrameLayout,
    FramePart,
    Inspection,
    Parsed,
    Recipe,
    Seen,
    Unknown,
    Value,
    Verdict,
)

if TYPE_CHECKING:
    from ._stream import Session

__all__ = [
    "Check",
    "Cover",
    "Inspection",
    "FrameLayout",
    "Parsed",
    "FramePart",
    "Recipe",
    "Value",
    "Verdict",
    "build",
    "from_text",
    "inspect",
    "layout",
    "parse",
    "recipe",
    "session",
    "values",
    "verify",
]

_MODULES = {
    "fscp-12-1": "_fscp_12_1",
    "fscp-13-1": "_fscp_13_1",
    "fscp-2-1": "_fscp_2_1",
    "fscp-3-1": "_fscp_3_1",
    "opcua-safety": "_opcua",
}
_LENGTH = "length", "a legal length"


@cache
def recipe(profile: str) -> Recipe:
    """Return the frame recipe of a profile; raises UsageError where there is none."""
    if profile not in _MODULES:
        if profile not in profiles.names():
            profiles.load(profile)
        raise UsageError(f"the profile {profile} has no frames")
    found: Recipe = import_module(f".{_MODULES[profile]}", __name__).RECIPE
    return found


@cache
def _rules(profile: str) -> dict[str, Value]:
    return {rule.name: rule for rule in recipe(profile).values}


def values(profile: str) -> tuple[Value, ...]:
    """Return the values that frames of a profile are built from and judged by."""
    return recipe(profile).values


def from_text(profile: str, texts: Mapping[str, int | str]) -> dict[str, Any]:
    """Return values for ``build`` and ``verify`` from text: numbers, hexadecimal octets, words.

    Numbers may be written with 0x. Raises UsageError for an unknown name or a text that is no
    such value.
    """
    rules, found = _rules(profile), {}
    for name, text in texts.items():
        rule = rules.get(name)
        found[name] = text if rule is None else parse_value(rule, text)
    check_given(rules, profile, found)
    return found


def layout(profile: str, data_octets: int, kind: str = "") -> FrameLayout:
    """Return the named octet ranges of a kind of frame (empty: the first kind)."""
    found = recipe(profile)
    if kind and kind not in found.kinds:
        raise UsageError(f"kind must be one of {', '.join(found.kinds)}, not {kind!r}")
    return found.shape(data_octets, kind or found.kinds[0])


def build(profile: str, **given: Any) -> bytes:
    """Return the octets of a frame for values by name (see ``values``).

    Values that are not given take their default; UsageError names one that has none, that is
    unknown or out of its range.
    """
    found = recipe(profile)
    check_given(_rules(profile), profile, given)
    return found.write(complete(found, given))


def parse(profile: str, octets: bytes, **known: Any) -> Parsed:
    """Take a frame apart without judging it; raises FrameError for an illegal length."""
    found = recipe(profile)
    check_given(_rules(profile), profile, known)
    where = found.find(octets, known)
    return Parsed(
        profile=profile,
        kind=where.kind,
        octets=octets,
        values=found.read(octets, where, known),
    )


def verify(profile: str, octets: bytes, **known: Any) -> Parsed:
    """Judge a received frame by what the receiver knows; return it when every check passes.

    Raises FrameError for the first check that fails or cannot be judged; ``check`` of the
    exception names it.
    """
    found = recipe(profile)
    check_given(_rules(profile), profile, known)
    where = found.find(octets, known)
    carried = found.read(octets, where, known)
    seen = Seen(octets, where, carried, known)
    for check in found.checks[where.kind]:
        outcome = check.run(seen)
        if outcome is not None:
            raise FrameError(f"{check.name}: {_phrase(outcome)}", check=check.name)
    return Parsed(profile=profile, kind=where.kind, octets=octets, values=carried)


def session(profile: str, **settings: Any) -> Session:
    """Return a session that produces or judges a stream; see ``sessions.session``."""
    from ._sessions import session as make  # deferred: single frames need no session.

    return make(profile, **settings)


def _phrase(outcome: str) -> str:
    return f"cannot be judged, because {outcome}" if isinstance(outcome, Unknown) else outcome


def inspect(profile: str, octets: bytes, **known: Any) -> Inspection:
    """Explain a frame: every part, every CRC with the octets it covers, every verdict.

    Raises UsageError for a wrong call only, never for wrong octets.
    """
    found = recipe(profile)
    check_given(_rules(profile), profile, known)
    try:
        where = found.find(octets, known)
    except FrameError as error:
        return _shapeless(found, octets, str(error))
    seen = Seen(octets, where, found.read(octets, where, known), known)
    verdicts = [Verdict(check=_LENGTH[0], title=_LENGTH[1], result="passed")]
    for check in found.checks[where.kind]:
        outcome = check.run(seen)
        result = "failed"
        if outcome is None:
            result = "passed"
        elif isinstance(outcome, Unknown):
            result = "unknown"
        text = "" if outcome is None else _phrase(outcome)
        verdicts.append(Verdict(check=check.name, title=check.title, result=result, text=text))
    parts = tuple(
        FramePart(
            name=name, offset=cut.start, octets=octets[cut], meaning=found.mean(name, octets[cut])
        )
        for name, cut in where.slices.items()
    )
    return Inspection(
        profile=profile,
        kind=where.kind,
        octets=octets,
        parts=parts,
        verdicts=tuple(verdicts),
        covers=found.covers(seen),
        values=seen.values,
    )


def _shapeless(found: Recipe, octets: bytes, reason: str) -> Inspection:
    """Return the inspection of octets that fit no layout of the profile."""
    part = FramePart(name="octets", offset=0, octets=octets, meaning="no part can be named")
    return Inspection(
        profile=found.name,
        kind="",
        octets=octets,
        parts=(part,) if octets else (),
        verdicts=(
            Verdict(check=_LENGTH[0], title=_LENGTH[1], result="failed", text=reason),
            *(
                Verdict(check=check.name, title=check.title, result="not reached")
                for check in found.checks[found.kinds[0]]
            ),
        ),
        covers=(),
        values={},
    )
