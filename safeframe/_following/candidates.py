"""Where a signal may come from and go to although no route says so: equal variables at an end."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from .._canonical import variable
from .follow import FollowedRoute
from .site import Site, Stretch


class PossibleWay(NamedTuple):
    """A stretch that begins or ends in the variable ``bind`` of ``end``, nothing more.

    ``onward`` tells that it would follow, otherwise it would come before.
    """

    end: str
    bind: str
    onward: bool
    stretch: Stretch


def candidates(site: Site, stretch: Stretch) -> tuple[PossibleWay, ...]:
    """Return the stretches that share a variable with one, in an order that no file decides."""
    producer, consumer = stretch.lane.direction
    found = []
    if stretch.sent is not None and stretch.sent.bind:
        found += [
            PossibleWay(producer.name, stretch.sent.bind, False, site.whole(one))
            for one in site.delivered(producer.name, stretch.sent.bind)
        ]
    if stretch.received is not None and stretch.received.bind:
        found += [
            PossibleWay(consumer.name, stretch.received.bind, True, site.whole(one))
            for one in site.taken(consumer.name, stretch.received.bind)
        ]
    here = stretch.lane.connection
    return tuple(
        sorted(
            # What comes back in the same connection is an echo.
            (one for one in found if one.stretch.lane.connection is not here),
            key=lambda one: (one.onward, one.stretch.key),
        )
    )


def unrouted(site: Site, routes: Iterable[FollowedRoute]) -> dict[str, int]:
    """Return how many variables each end fills from one connection and empties into another.

    Those that a route names are left out. The ends are in name order.
    """
    named = {
        (handover.step.end, variable(bind))
        for followed in routes
        for handover in followed.handovers()
        for bind in (handover.arriving.bind, handover.leaving.bind)
    }
    found: dict[str, int] = {}
    for end, bind in site.passed_on():
        if (end, bind) not in named:
            found[end] = found.get(end, 0) + 1
    return dict(sorted(found.items()))
