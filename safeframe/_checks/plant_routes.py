"""The routes of a plant, judged: followed over its connections, timed, and held to the rules."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from .._findings import Finding, NotJudged
from .._model import Plant
from ..protocols import Profile
from . import handovers, routed_ends, routed_meanings, routes  # noqa: F401
from .registry import ROUTE_CHECKS, Finder, Judged, RoutesSeen, count, find_profile, listed_of


def judge_routes(
    seen: RoutesSeen, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[list[Finding], list[NotJudged]]:
    """Return what is found on routes, and what stays open."""
    found: list[Finding] = []
    open_: list[NotJudged] = []
    for rule, run in ROUTE_CHECKS:
        finder = Finder(rule, "", [], own_profiles)
        told_: list[Finding] = []
        for one in run(seen, finder):
            if isinstance(one, NotJudged):
                open_.append(one)
            else:
                told_.append(one)
        found += listed_of(told_, finder)
    return found, open_


def routed(plant_: Plant, *, own_profiles: Mapping[str, Profile] | None = None) -> Judged:
    """Return what is found on the routes of a plant, what was followed and what stays open."""
    from .._following import Site, follow, rings, route_time  # deferred: the rules need not.

    site = Site(plant_)
    profile_of = partial(find_profile, own_profiles=own_profiles)
    rows = []
    for route in plant_.routes:
        followed = follow(site, route)
        rows.append((followed, route_time(followed, plant_, profile_of)))
    seen = RoutesSeen(site, tuple(rows), rings([followed for followed, _ in rows]))
    found, open_ = judge_routes(seen, own_profiles=own_profiles)
    facts = []
    for followed, time in rows:
        words = "at least" if time.missing else "at most"
        permitted = "" if time.permitted_ms is None else f" of {time.permitted_ms} ms permitted"
        whole, all_ = len(followed.whole), len(followed.stretches)
        way = count(all_, "connection") if whole == all_ else f"broken, {whole} of {all_} followed"
        facts.append(
            (
                "route",
                f"{followed.route.name}: {way}, {words} {time.known_ms} ms{permitted}",
            )
        )
    return Judged(tuple(found), tuple(facts), tuple(open_))
