"""The reaction time of a whole route: the shares of its connections and of the programs between.

The shares are added as if the worst happened in every one of them at once: common practice, and
an upper bound. A program between two connections takes two cycles at most, because what arrives
just after its inputs were read waits for the next cycle and leaves at its end: common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from .._model import Connection, Plant
from .._timing import Input, Timing, timing
from ..protocols import Profile
from .follow import FollowedRoute

_CYCLES = 2


class RouteTime(NamedTuple):
    """The times of a route; ``programs`` are the shares of the ends on the way, in order.

    ``whole`` tells that every stretch of the way was followed: the others are not in the sum.
    """

    stretches: tuple[Timing, ...]
    programs: tuple[Input, ...]
    permitted_ms: int | None
    whole: bool = True

    @property
    def known_ms(self) -> int:
        """The sum of what is stated: the bound itself, or less than it."""
        connections = sum(one.reaction.known_ms for one in self.stretches)
        return connections + sum(one.factor * (one.time_ms or 0) for one in self.programs)

    @property
    def missing(self) -> tuple[str, ...]:
        """What nobody stated."""
        found = [
            f"{name} of {one.connection}" for one in self.stretches for name in one.reaction.missing
        ]
        found += [one.name for one in self.programs if one.time_ms is None]
        return tuple(dict.fromkeys(found))

    @property
    def formula(self) -> str:
        """The sum with its shares."""
        shares = [f"{one.connection} ({one.reaction.known_ms} ms)" for one in self.stretches]
        return " + ".join([*shares, *map(str, self.programs)])

    @property
    def margin_ms(self) -> int | None:
        """What the permitted time leaves; below 0 it is that at most while something is missing.

        None: no time is permitted, or what is missing decides whether anything is left.
        """
        if self.permitted_ms is None or self.is_open:
            return None
        return self.permitted_ms - self.known_ms

    @property
    def is_open(self) -> bool:
        """Whether what nobody stated decides if the permitted time is kept."""
        return (
            self.permitted_ms is not None
            and (bool(self.missing) or not self.whole)
            and self.known_ms <= self.permitted_ms
        )


def route_time(
    followed: FollowedRoute, plant: Plant, profile_of: Callable[[Connection], Profile | None]
) -> RouteTime:
    """Return the times of a route as far as it could be followed."""
    cycles = dict(plant.cycles)
    return RouteTime(
        stretches=tuple(
            timing(
                one.lane.connection,
                profile_of(one.lane.connection),
                cycle_ms=cycles.get(one.lane.direction.consumer.name),
            )
            for one in followed.whole
        ),
        programs=tuple(
            Input(name=f"cycle time of {step.end}", time_ms=cycles.get(step.end), factor=_CYCLES)
            for step in followed.route.steps
        ),
        permitted_ms=followed.route.permitted_reaction_ms,
        whole=len(followed.whole) == len(followed.stretches),
    )
