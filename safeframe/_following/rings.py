"""Circles that routes make together: from a variable over connections back to the same variable."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

from .._canonical import variable
from .follow import FollowedRoute

_Node = tuple[str, str]
"""An end and one of its variables, in canonical form."""


class Ring(NamedTuple):
    """Variables of which each leads to every other one, in name order, and the routes that do."""

    nodes: tuple[_Node, ...]
    routes: tuple[FollowedRoute, ...]


def rings(routes: Sequence[FollowedRoute]) -> tuple[Ring, ...]:
    """Return the circles of routes none of which passes an end twice by itself."""
    edges, made_by = _edges([followed for followed in routes if not followed.twice])
    found = []
    for group in _groups(edges):
        inside = set(group)
        leading = {
            id(followed): followed
            for node in group
            for other in edges[node]
            if other in inside
            for followed in made_by[node, other]
        }
        ordered = sorted(leading.values(), key=lambda followed: followed.route.name)
        found.append(Ring(tuple(sorted(group)), tuple(ordered)))
    return tuple(found)


def _edges(
    routes: Sequence[FollowedRoute],
) -> tuple[dict[_Node, dict[_Node, None]], dict[tuple[_Node, _Node], list[FollowedRoute]]]:
    """Return from which variable of which end each route leads to which, and whose lead it is."""
    edges: dict[_Node, dict[_Node, None]] = defaultdict(dict)
    made_by: dict[tuple[_Node, _Node], list[FollowedRoute]] = defaultdict(list)

    def lead(followed: FollowedRoute, here: _Node, there: _Node) -> None:
        if here[1] and there[1] and here != there:
            edges[here][there] = None
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


def _groups(edges: dict[_Node, dict[_Node, None]]) -> list[list[_Node]]:
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
                    ring = [waiting.pop()]
                    while ring[-1] != node:
                        ring.append(waiting.pop())
                    inside.difference_update(ring)
                    if len(ring) > 1:
                        rings.append(ring)
    return rings
