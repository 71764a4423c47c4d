"""Build, parse, inspect and verify frames by a recipe; no protocol is known here.

``verify`` raises FrameError for the first check that does not pass, in the fixed order of the
recipe; ``inspect`` runs all of them and never raises for wrong octets.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from .._errors import FrameError, UsageError
from .parts import check_given, parse_value, same_as_given
from .recipe import (
    Check,
    Explained,
    FrameLayout,
    FramePart,
    Inspection,
    Parsed,
    Recipe,
    Seen,
    Unknown,
    Verdict,
)

_LENGTH = "length", "a legal length"
_FITS = Verdict(check=_LENGTH[0], title=_LENGTH[1], result="passed")


def from_text(recipe: Recipe, texts: Mapping[str, int | str]) -> dict[str, Any]:
    """Return values for ``build`` and ``verify`` from text: numbers, hexadecimal octets, words.

    Numbers may be written with 0x. Raises UsageError for an unknown name or a text that is no
    such value.
    """
    found: dict[str, Any] = {}
    for name, text in texts.items():
        rule = recipe.rules.get(name)
        found[name] = text if rule is None else parse_value(rule, text)
    check_given(recipe, found)
    return found


def layout(recipe: Recipe, data_octets: int, kind: str = "") -> FrameLayout:
    """Return the named octet ranges of a kind of frame (empty: the first kind)."""
    if kind and kind not in recipe.kinds:
        raise UsageError(f"kind must be one of {', '.join(recipe.kinds)}, not {kind!r}")
    return recipe.shape(data_octets, kind or recipe.kinds[0])


def build(recipe: Recipe, /, **given: Any) -> bytes:
    """Return the octets of a frame for values by name, with the defaults filled in.

    UsageError names a value that is missing, unknown or out of its range.
    """
    check_given(recipe, given)
    return recipe.write(recipe.defaults | given)


def stated(given: dict[str, Any]) -> dict[str, Any]:
    """Return the values among the parameters of a function: all but the octets of the frame.

    None stands for not given.
    """
    return {name: value for name, value in given.items() if value is not None and name != "octets"}


def fits(recipe: Recipe, octets: bytes, /, **known: Any) -> bool:
    """Return whether octets have a length and a shape of this profile; nothing else is judged."""
    try:
        recipe.find(octets, known)
    except FrameError:
        return False
    return True


def parse(recipe: Recipe, octets: bytes, /, **known: Any) -> Parsed:
    """Take a frame apart without judging it; raises FrameError for an illegal length."""
    check_given(recipe, known)
    where = recipe.find(octets, known)
    return Parsed(
        profile=recipe.name,
        kind=where.kind,
        octets=octets,
        values=recipe.read(octets, where, known),
    )


def verify(recipe: Recipe, octets: bytes, /, **known: Any) -> Parsed:
    """Judge a received frame by what the receiver knows; return it when every check passes.

    A carried value among the known ones must be the one the frame carries. Raises FrameError for
    the first check that fails or cannot be judged; ``check`` of the exception names it.
    """
    check_given(recipe, known)
    where = recipe.find(octets, known)
    carried = recipe.read(octets, where, known)
    seen = Seen(octets, where, carried, known)
    for check in (*recipe.checks[where.kind], *_given_besides(recipe, seen)):
        outcome = check.run(seen)
        if outcome is not None:
            raise FrameError(f"{check.name}: {_phrase(outcome)}", check=check.name)
    return Parsed(profile=recipe.name, kind=where.kind, octets=octets, values=carried)


def _given_besides(recipe: Recipe, seen: Seen) -> tuple[Check, ...]:
    """Return a check for each value the receiver names that no check of the recipe compares.

    They come last: what a frame carries must be what its receiver says it should carry.
    """
    besides = recipe.besides[seen.layout.kind]
    if besides.isdisjoint(seen.known):
        return ()
    return tuple(same_as_given(recipe.rules[name]) for name in seen.known if name in besides)


def _phrase(outcome: str) -> str:
    return f"cannot be judged, because {outcome}" if isinstance(outcome, Unknown) else outcome


def inspect(recipe: Recipe, octets: bytes, /, **known: Any) -> Inspection:
    """Explain a frame: every part, every CRC with the octets it covers, every verdict.

    Raises UsageError for a wrong call only, never for wrong octets.
    """
    check_given(recipe, known)
    try:
        where = recipe.find(octets, known)
    except FrameError as error:
        return _shapeless(recipe, octets, str(error))
    seen = Seen(octets, where, recipe.read(octets, where, known), known)
    verdicts = [_FITS]
    for check in (*recipe.checks[where.kind], *_given_besides(recipe, seen)):
        outcome = check.run(seen)
        if outcome is None:
            verdicts.append(check.passed)
            continue
        result = "unknown" if isinstance(outcome, Unknown) else "failed"
        verdict = Verdict(check=check.name, title=check.title, result=result, text=_phrase(outcome))
        verdicts.append(verdict)
    return Inspection(
        profile=recipe.name,
        kind=where.kind,
        octets=octets,
        verdicts=tuple(verdicts),
        values=seen.values,
        _explain=partial(_explained, recipe, seen),
    )


def _explained(recipe: Recipe, seen: Seen) -> Explained:
    """Return every part of a frame with what it means, and every CRC."""
    parts = tuple(
        FramePart(
            name=name,
            offset=cut.start,
            octets=seen.octets[cut],
            meaning=recipe.explain(name, seen) or recipe.mean(name, seen.octets[cut]),
        )
        for name, cut in seen.layout.slices.items()
    )
    return parts, recipe.covers(seen)


def _shapeless(recipe: Recipe, octets: bytes, reason: str) -> Inspection:
    """Return the inspection of octets that fit no layout of the profile."""
    part = FramePart(name="octets", offset=0, octets=octets, meaning="no part can be named")
    parts = (part,) if octets else ()
    return Inspection(
        profile=recipe.name,
        kind="",
        octets=octets,
        verdicts=(
            Verdict(check=_LENGTH[0], title=_LENGTH[1], result="failed", text=reason),
            *(
                Verdict(check=check.name, title=check.title, result="not reached")
                for check in recipe.checks[recipe.kinds[0]]
            ),
        ),
        values={},
        _explain=lambda: (parts, ()),
    )
