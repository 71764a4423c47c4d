"""Rules about the way of a signal over several connections: where it breaks, loops, takes long."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING

from .._findings import Finding, NotJudged, Spot
from .._words import listed
from .registry import Finder, RoutesSeen, route_rule

if TYPE_CHECKING:
    from .._following import FollowedRoute


@route_rule(
    name="route-broken",
    severity="error",
    title="A route names an end, a signal or a connection that is not there, or not one only",
    why="Nobody knows whether what the source sends reaches the target: what lies behind the "
    "break is not judged.",
    remedy="name ends, signals and connections in the route as the maps do, or mend the map "
    "that lost the signal",
)
def route_broken(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
    """Find the places where a route cannot be followed; the same place is told once."""
    from .._following import unrouted  # deferred, as below: only plants have routes.

    broken: dict[tuple[str, tuple[tuple[str, int], ...]], list[FollowedRoute]] = defaultdict(list)
    culprits = {}
    for followed, _ in seen.routes:
        for found in followed.breaks:
            key = found.message, tuple((end, id(signal)) for end, signal in found.culprits)
            broken[key].append(followed)
            culprits[key] = found.culprits
    for key, routes in broken.items():
        yield find(
            f"{_on(routes)}: {key[0]}",
            [
                *(Spot(end, signal.where, signal.at, signal.name) for end, signal in culprits[key]),
                *(Spot("", followed.route.where) for followed in routes[:1]),
            ],
            culprits=_culprits(routes),
        )
    passed = unrouted(seen.site, [followed for followed, _ in seen.routes])
    if passed:
        variables = ", ".join(f"{number} at {end}" for end, number in list(passed.items())[:6])
        more = f" and at {len(passed) - 6} more ends" if len(passed) > 6 else ""
        yield NotJudged(
            connection="",
            rule="route-broken",
            reason=f"no route names them: {variables}{more}",
            subject="signals that one connection delivers and another takes from the same variable",
        )


def _on(routes: Iterable[FollowedRoute]) -> str:
    """Return "on the route ..." for one or for several."""
    names = sorted(followed.route.name for followed in routes)
    return f"on the route{'s'[: len(names) != 1]} {listed(names)}"


def _culprits(routes: Iterable[FollowedRoute]) -> list[tuple[str, str]]:
    return [("", name) for name in sorted({followed.route.name for followed in routes})]


@route_rule(
    name="route-loop",
    severity="error",
    title="A signal comes back to where it was",
    why="A signal that feeds itself keeps its value whatever its source does: a permission "
    "once given stays given.",
    remedy="take the end out of the route that it passes twice, or break the circle with a "
    "variable of its own",
)
def route_loop(seen: RoutesSeen, find: Finder) -> Iterator[Finding]:
    """Find routes that pass an end twice, and routes that together lead round in a circle."""
    for followed, _ in seen.routes:
        twice = followed.twice
        if twice:
            yield find(
                f"{_on([followed])}: it passes {listed(twice)} twice",
                [Spot("", followed.route.where)],
                culprits=_culprits([followed]),
            )
    asked = {id(followed) for followed, _ in seen.routes}
    for ring in seen.rings:
        if asked.isdisjoint(map(id, ring.routes)):
            continue
        around = ", ".join(f"{end} {bind}" for end, bind in ring.nodes[:6])
        more = f" and {len(ring.nodes) - 6} more" if len(ring.nodes) > 6 else ""
        yield find(
            f"{_on(ring.routes)}: together they lead back to where they begin, over {around}{more}",
            [Spot("", followed.route.where) for followed in ring.routes[:6]],
            culprits=[*_culprits(ring.routes), *ring.nodes],
        )


@route_rule(
    name="route-too-slow",
    severity="error",
    title="A route takes longer than the safety function permits",
    why="Each connection may be quick enough by itself; the machine moves on for the sum of "
    "all of them and of the programs between.",
    remedy="set shorter watchdogs or cycle times, or calculate the safety function anew",
    source="the sum and two cycles for a program: common practice; the share of a connection: "
    "`safeframe timing` shows formula and source",
)
def route_too_slow(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
    """Find routes whose shares add up to more than is permitted, as far as they are stated."""
    for followed, time in seen.routes:
        if len(followed.whole) < len(followed.stretches):
            continue  # Broken: that is a finding, and no sum would be one of the whole way.
        open_ = partial(NotJudged, "", "route-too-slow", subject="reaction time")
        at_least = "at least " if time.missing else ""
        if time.margin_ms is not None and time.margin_ms < 0:
            yield find(
                f"{_on([followed])}: the reaction time is {at_least}{time.known_ms} ms = "
                f"{time.formula}, {-time.margin_ms} ms more than the permitted "
                f"{time.permitted_ms} ms",
                [Spot("", followed.route.where)],
                culprits=_culprits([followed]),
            )
        elif time.permitted_ms is None:
            reason = "the route states no permitted_reaction_ms"
            yield open_(reason=reason, route=followed.route.name)
        elif time.missing:
            reason = f"not stated: {', '.join(time.missing)}"
            yield open_(reason=reason, route=followed.route.name)
