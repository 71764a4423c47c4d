"""The way of one signal through a site from end to end, as values.

Declared routes are followed and judged. Where none is declared, the single connection is shown,
and what shares a variable with it is a candidate, never a route.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from . import _checks as checks
from ._checks.plant_routes import judge_routes
from ._checks.registry import RoutesSeen
from ._findings import SEVERITIES, Finding, NotJudged, Report, Waived
from ._following import (
    FollowedRoute,
    PossibleWay,
    RouteTime,
    Site,
    Stretch,
    candidates,
    exact_name,
    find_stretches,
    follow,
    rings,
    route_time,
    routes_of,
)
from ._model import Connection, Plant
from ._timing import Timing, timing
from .protocols import Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedRoute:
    """A declared route: what is found on it and at its connections, and what stays open.

    ``waived`` is what the maps of its connections allow.
    """

    followed: FollowedRoute
    time: RouteTime
    findings: tuple[Finding, ...] = ()
    waived: tuple[Waived, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether it could be followed from end to end."""
        return not self.followed.breaks


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedSignal:
    """A signal that no route names: its one connection, what is found, allowed or open there."""

    stretch: Stretch
    time: Timing
    findings: tuple[Finding, ...] = ()
    waived: tuple[Waived, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()

    @property
    def name(self) -> str:
        """Connection, producer and signal."""
        return exact_name(self.stretch)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What is known of the way of one signal; either ``routes`` or ``signal``.

    ``candidates`` are stretches that share a variable with the first or the last one shown.
    """

    plant: str
    asked: str
    routes: tuple[TracedRoute, ...] = ()
    signal: TracedSignal | None = None
    candidates: tuple[PossibleWay, ...] = ()

    @property
    def ways(self) -> tuple[TracedRoute | TracedSignal, ...]:
        """All that is shown: the routes, or the signal that no route names."""
        return self.routes if self.signal is None else (self.signal,)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, each once."""
        return tuple(dict.fromkeys(one for way in self.ways for one in way.findings))


def trace(plant: Plant, name: str, *, own_profiles: Mapping[str, Profile] | None = None) -> Trace:
    """Follow the signal that a name means; UsageError where it means none or several.

    ``own_profiles`` are the user's profiles by name.
    """
    site = Site(plant)
    every = [follow(site, route) for route in plant.routes]
    stretches = find_stretches(site, name)
    routes = sorted(routes_of(name, stretches, every), key=lambda one: one.route.name)
    profile_of = partial(checks.find_profile, own_profiles=own_profiles)
    if not routes:
        (stretch,) = stretches
        connection = stretch.lane.connection
        consumer = stretch.lane.direction.consumer.name
        report = _at([connection], own_profiles)
        signal = TracedSignal(
            stretch=stretch,
            time=timing(
                connection, profile_of(connection), cycle_ms=dict(plant.cycles).get(consumer)
            ),
            findings=report.findings,
            waived=report.waived,
            not_judged=report.not_judged,
        )
        return Trace(
            plant=plant.name, asked=name, signal=signal, candidates=candidates(site, stretch)
        )
    traced = []
    circles = rings(every)
    for followed in routes:
        time = route_time(followed, plant, profile_of)
        seen = RoutesSeen(site, ((followed, time),), circles)
        found, open_ = judge_routes(seen, own_profiles=own_profiles)
        report = _at([stretch.lane.connection for stretch in followed.whole], own_profiles)
        found.sort(key=lambda one: SEVERITIES.index(one.severity))
        traced.append(
            TracedRoute(
                followed=followed,
                time=time,
                findings=(*found, *report.findings),
                waived=report.waived,
                not_judged=(*(one for one in open_ if one.route), *report.not_judged),
            )
        )
    return Trace(
        plant=plant.name, asked=name, routes=tuple(traced), candidates=_beyond(site, routes)
    )


def _at(connections: Iterable[Connection], own_profiles: Mapping[str, Profile] | None) -> Report:
    """Return what a check says of the connections themselves, not of the whole plant."""
    distinct = {id(one): one for one in connections}.values()
    report = checks.check_all(distinct, own_profiles=own_profiles)
    return replace(
        report,
        findings=tuple(one for one in report.findings if one.connection),
        waived=tuple(one for one in report.waived if one.finding.connection),
        not_judged=tuple(one for one in report.not_judged if one.subject),
    )


def _beyond(site: Site, routes: Iterable[FollowedRoute]) -> tuple[PossibleWay, ...]:
    """Return what shares a variable with the first or the last stretch and is on no route shown."""
    shown = {one.key for followed in routes for one in followed.whole}
    found: dict[tuple[object, ...], PossibleWay] = {}
    for followed in routes:
        for stretch, onward in ((followed.stretches[0], False), (followed.stretches[-1], True)):
            for one in candidates(site, stretch) if stretch is not None else ():
                if one.onward is onward and one.stretch.key not in shown:
                    found[one.onward, one.stretch.key] = one
    return tuple(found[key] for key in sorted(found))
