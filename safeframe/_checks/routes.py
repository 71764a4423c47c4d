"""Rules about the way of a signal over several connections: where it breaks, loops, takes long."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from .._canonical import variable
from .._findings import Finding, NotJudged, Rule, Spot
from .._words import listed
from .registry import Finder, RoutesSeen, route_rule

if TYPE_CHECKING:
    from .._following import FollowedRoute

__all__: list[str] = []

_Node = tuple[str, str]
"""An end and one of its variables, in canonical form."""


@route_rule(
    Rule(
        name="route-broken",
        severity="error",
        scope="plant",
        title="A route names an end, a signal or a connection that is not there, or not one only",
        why="Nobody knows whether what the source sends reaches the target: what lies behind the "
        "break is not judged.",
        remedy="name ends, signals and connections in the route as the maps do, or mend the map "
        "that lost the signal",
    )
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
        )
    passed = unrouted(seen.site, [*(followed for followed, _ in seen.routes), *seen.beside])
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


@route_rule(
    Rule(
        name="route-loop",
        severity="error",
        scope="plant",
        title="A signal comes back to where it was",
        why="A signal that feeds itself keeps its value whatever its source does: a permission "
        "once given stays given.",
        remedy="take the end out of the route that it passes twice, or break the circle with a "
        "variable of its own",
    )
)
def route_loop(seen: RoutesSeen, find: Finder) -> Iterator[Finding]:
    """Find routes that pass an end twice, and routes that together lead round in a circle."""
    straight = [followed for followed in seen.beside if not _twice(followed)]
    asked = {id(followed) for followed, _ in seen.routes}
    for followed, _ in seen.routes:
        twice = _twice(followed)
        if twice:
            yield find(
                f"{_on([followed])}: it passes {listed(twice)} twice",
                [Spot("", followed.route.where)],
            )
        else:
            straight.append(followed)
    edges, made_by = _edges(straight)
    for ring in _rings(edges):
        inside = set(ring)
        routes = {
            id(followed): followed
            for node in ring
            for other in edges[node]
            if other in inside
            for followed in made_by[node, other]
        }
        if not asked & routes.keys():
            continue
        around = ", ".join(f"{end} {bind}" for end, bind in sorted(ring)[:6])
        more = f" and {len(ring) - 6} more" if len(ring) > 6 else ""
        ordered = sorted(routes.values(), key=lambda followed: followed.route.name)
        yield find(
            f"{_on(ordered)}: together they lead back to where they begin, over {around}{more}",
            [Spot("", followed.route.where) for followed in ordered[:6]],
        )


def _twice(followed: FollowedRoute) -> list[str]:
    return sorted({end for end in followed.ends if followed.ends.count(end) > 1})


def _edges(
    routes: Sequence[FollowedRoute],
) -> tuple[dict[_Node, list[_Node]], dict[tuple[_Node, _Node], list[FollowedRoute]]]:
    """Return from which variable of which end each route leads to which, and whose lead it is."""
    edges: dict[_Node, list[_Node]] = defaultdict(list)
    made_by: dict[tuple[_Node, _Node], list[FollowedRoute]] = defaultdict(list)

    def lead(followed: FollowedRoute, here: _Node, there: _Node) -> None:
        if here[1] and there[1] and here != there:
            if there not in edges[here]:
                edges[here].append(there)
            made_by[here, there].append(followed)

    for followed in routes:
        for one in followed.whole:
            assert one.sent is not None
            assert one.received is not None
            producer, consumer = one.lane.direction
            lead(
                followed,
                (producer.name, variable(one.sent.bind)),
                (consumer.name, variable(one.received.bind)),
            )
        for handover in followed.handovers():
            end = handover.step.end
            lead(
                followed,
                (end, variable(handover.arriving.bind)),
                (end, variable(handover.leaving.bind)),
            )
    return edges, made_by


def _rings(edges: dict[_Node, list[_Node]]) -> list[list[_Node]]:
    """Return the groups of nodes of which each leads to every other one (Tarjan, no recursion)."""
    order: dict[_Node, int] = {}
    lowest: dict[_Node, int] = {}
    waiting: list[_Node] = []
    inside: set[_Node] = set()
    rings: list[list[_Node]] = []
    for start in sorted(edges):
        if start in order:
            continue
        work = [(start, iter(edges.get(start, ())))]
        order[start] = lowest[start] = len(order)
        waiting.append(start)
        inside.add(start)
        while work:
            node, onward = work[-1]
            for other in onward:
                if other not in order:
                    order[other] = lowest[other] = len(order)
                    waiting.append(other)
                    inside.add(other)
                    work.append((other, iter(edges.get(other, ()))))
                    break
                if other in inside:
                    lowest[node] = min(lowest[node], order[other])
            else:
                work.pop()
                if work:
                    lowest[work[-1][0]] = min(lowest[work[-1][0]], lowest[node])
                if lowest[node] == order[node]:
                    at = waiting.index(node)
                    ring = waiting[at:]
                    del waiting[at:]
                    inside.difference_update(ring)
                    if len(ring) > 1:
                        rings.append(ring)
    return rings


@route_rule(
    Rule(
        name="route-too-slow",
        severity="error",
        scope="plant",
        title="A route takes longer than the safety function permits",
        why="Each connection may be quick enough by itself; the machine moves on for the sum of "
        "all of them and of the programs between.",
        remedy="set shorter watchdogs or cycle times, or calculate the safety function anew",
        source="the sum and two cycles for a program: common practice; the share of a connection: "
        "`safeframe timing` shows formula and source",
    )
)
def route_too_slow(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
    """Find routes whose shares add up to more than is permitted, as far as they are stated."""
    for followed, time in seen.routes:
        if len(followed.whole) < len(followed.stretches):
            continue  # Broken: that is a finding, and no sum would be one of the whole way.
        name = followed.route.name
        at_least = "at least " if time.missing else ""
        if time.margin_ms is not None and time.margin_ms < 0:
            yield find(
                f"{_on([followed])}: the reaction time is {at_least}{time.known_ms} ms = "
                f"{time.formula}, {-time.margin_ms} ms more than the permitted "
                f"{time.permitted_ms} ms",
                [Spot("", followed.route.where)],
            )
        elif time.permitted_ms is None:
            yield NotJudged(
                connection="",
                rule="route-too-slow",
                route=name,
                reason="the route states no permitted_reaction_ms",
                subject="reaction time",
            )
        elif time.missing:
            yield NotJudged(
                connection="",
                rule="route-too-slow",
                route=name,
                reason=f"not stated: {', '.join(time.missing)}",
                subject="reaction time",
            )
