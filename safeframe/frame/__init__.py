"""Frames of the safety profiles by name: build, parse, inspect, verify, sessions.

``verify`` raises FrameError for the first check that does not pass, in the fixed order of the
profile's recipe; ``inspect`` runs all of them and never raises for wrong octets.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .._engine import frames
from .._engine.recipe import (
    Check,
    Cover,
    FrameLayout,
    FramePart,
    Inspection,
    Parsed,
    Recipe,
    Seen,
    Value,
    Verdict,
)
from .._engine.stream import Judgement, Session, start
from .._errors import UsageError
from ..protocols import room
from ._bridges import bits_of, construct_of

__all__ = [
    "Check",
    "Cover",
    "FrameLayout",
    "FramePart",
    "Inspection",
    "Judgement",
    "Parsed",
    "Recipe",
    "Seen",
    "Session",
    "Value",
    "Verdict",
    "bits_of",
    "build",
    "construct_of",
    "from_text",
    "inspect",
    "layout",
    "parse",
    "recipe",
    "session",
    "values",
    "verify",
]


def recipe(profile: str) -> Recipe:
    """Return the frame recipe of a profile; raises UsageError where there is none."""
    found = room(profile).recipe
    if found is None:
        raise UsageError(f"the profile {profile} has no frames")
    return found


def values(profile: str) -> tuple[Value, ...]:
    """Return the values that frames of a profile are built from and judged by."""
    return recipe(profile).values


def from_text(profile: str, texts: Mapping[str, int | str]) -> dict[str, Any]:
    """Return values for ``build`` and ``verify`` from text: numbers, hexadecimal octets, words.

    Numbers may be written with 0x. Raises UsageError for an unknown name or a text that is no
    such value.
    """
    return frames.from_text(recipe(profile), texts)


def layout(profile: str, data_octets: int, kind: str = "") -> FrameLayout:
    """Return the named octet ranges of a kind of frame (empty: the first kind)."""
    return frames.layout(recipe(profile), data_octets, kind)


def build(profile: str, **given: Any) -> bytes:
    """Return the octets of a frame for values by name (see ``values``).

    Values that are not given take their default; UsageError names one that has none, that is
    unknown or out of its range.
    """
    return frames.build(recipe(profile), **given)


def parse(profile: str, octets: bytes, **known: Any) -> Parsed:
    """Take a frame apart without judging it; raises FrameError for an illegal length."""
    return frames.parse(recipe(profile), octets, **known)


def verify(profile: str, octets: bytes, **known: Any) -> Parsed:
    """Judge a received frame by what the receiver knows; return it when every check passes.

    Raises FrameError for the first check that fails or cannot be judged; ``check`` of the
    exception names it.
    """
    return frames.verify(recipe(profile), octets, **known)


def inspect(profile: str, octets: bytes, **known: Any) -> Inspection:
    """Explain a frame: every part, every CRC with the octets it covers, every verdict.

    Raises UsageError for a wrong call only, never for wrong octets.
    """
    return frames.inspect(recipe(profile), octets, **known)


def session(profile: str, **settings: Any) -> Session:
    """Return a session of a profile; ``fresh=False`` joins a stream in the middle.

    The settings are the keyword parameters of the session class in the profile's room. Raises
    UsageError for a profile without sessions, and for unknown or missing settings.
    """
    recipe(profile)
    make = room(profile).session
    if make is None:
        raise UsageError(f"the profile {profile} has no sessions")
    return start(make, **settings)
