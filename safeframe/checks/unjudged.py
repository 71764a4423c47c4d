"""Which rules could not judge a connection, because the maps leave out what they need."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ..model import Connection
from ..profiles import Profile

__all__ = ["unjudged"]

_Lacks = Callable[[Connection, Profile | None], bool]


def _no_profile(connection: Connection, profile: Profile | None) -> bool:
    return profile is None


def _nowhere(field: str) -> _Lacks:
    def lacks(connection: Connection, profile: Profile | None) -> bool:
        return all(getattr(end.terms, field) is None for end in connection.ends)

    return lacks


def _no_address(connection: Connection, profile: Profile | None) -> bool:
    return all(end.address is None for end in connection.ends)


def _no_relation(connection: Connection, profile: Profile | None) -> bool:
    return not any(end.relations for end in connection.ends)


_PROFILE = (_no_profile, "the profile is not known")
_NEEDS: tuple[tuple[str, _Lacks, str], ...] = (
    ("address-range", *_PROFILE),
    ("illegal-size", *_PROFILE),
    ("member-type", *_PROFILE),
    ("nonzero-safe-value", *_PROFILE),
    ("one-way", *_PROFILE),
    ("parameter-invalid", *_PROFILE),
    ("value-across-blocks", *_PROFILE),
    ("address-range", _no_address, "no end states an address"),
    ("watchdog-differs", _nowhere("watchdog_ms"), "no end states watchdog_ms"),
    ("watchdog-too-short", _nowhere("watchdog_ms"), "no end states watchdog_ms"),
    (
        "watchdog-too-long",
        _nowhere("permitted_reaction_ms"),
        "no end states permitted_reaction_ms",
    ),
    ("relation-contradicts", _no_relation, "no end states a relation"),
    ("relation-unknown-signal", _no_relation, "no end states a relation"),
    ("relations-differ", _no_relation, "no end states a relation"),
)
"""Rule, what it lacks, how that reads."""


def unjudged(connection: Connection, profile: Profile | None) -> Mapping[str, str]:
    """Return the rules that had nothing to judge, with the first reason for each."""
    found: dict[str, str] = {}
    for rule, lacks, reason in _NEEDS:
        if rule not in found and lacks(connection, profile):
            found[rule] = reason
    return found
