"""The plan of what can be exercised: its points, and by which data each of them is found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from .._link import Link
from .._words import way
from ..relations._rules import Number
from .fields import PlacedField

KINDS = (
    "non-safe value",
    "alone",
    "code point",
    "bit",
    "transition",
    "state",
    "order",
    "fault",
)
"""The kinds of points, in the order in which they are told."""


class CoveragePoint(NamedTuple):
    """One thing to exercise: its kind, a direction or an end, a signal or so, what of it."""

    kind: str
    scope: str
    subject: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalPlan:
    """The points of one signal, by number; None where it has no such point.

    Values are as they stand on the wire. ``safe`` are the words that mean the safe value,
    ``codes`` the points of the named values, None where values are not named one by one. Bit n at
    0 is the point ``bits`` + 2 n, at 1 the one after it.
    """

    place: PlacedField
    safe: frozenset[int]
    rest: int | None
    codes: Mapping[int, int] | None
    non_safe: int | None
    alone: int | None
    leaves: int | None
    returns: int | None
    bits: int | None


class SpaceColumn(NamedTuple):
    """A signal of a state space: the numbers that words mean, and the one for all others."""

    place: PlacedField
    numbers: Mapping[int, Number]
    other: Number | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacePlan:
    """The points of the states of one group of signals that relations tie together."""

    columns: tuple[SpaceColumn, ...]
    points: Mapping[tuple[Number, ...], int]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPlan:
    """The point of one relation about order: conditions are words that fields must have."""

    point: int
    when: tuple[tuple[PlacedField, frozenset[int]], ...]
    then: tuple[tuple[PlacedField, frozenset[int]], ...]
    after_us: int
    within_us: int | None


@dataclass(slots=True, kw_only=True)
class CoveragePlan:
    """All points of a connection, and what finds each; ``not_judged`` is what has no point.

    ``faults`` are points by side and key: ``rejected CHECK``, ``id``, ``silence``, ``fail-safe``,
    ``again``; ``checks`` are those of each side by which a wrong id is rejected.
    """

    link: Link
    points: list[CoveragePoint] = field(default_factory=list)
    not_judged: list[str] = field(default_factory=list)
    signals: list[SignalPlan] = field(default_factory=list)
    spaces: list[SpacePlan] = field(default_factory=list)
    orders: list[OrderPlan] = field(default_factory=list)
    faults: dict[tuple[int, str], int] = field(default_factory=dict)
    checks: tuple[set[str], set[str]] = field(default_factory=lambda: (set(), set()))
    restart: int | None = None
    restarts: tuple[str, ...] = ()

    def add(self, kind: str, scope: str, subject: str, what: str) -> int:
        """Add a point and return its number."""
        self.points.append(CoveragePoint(kind, scope, subject, what))
        return len(self.points) - 1

    def scope(self, side: int) -> str:
        """Return the direction in which a side sends, in words."""
        return way(self.link.names[side], self.link.names[1 - side])
