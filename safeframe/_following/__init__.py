"""Signals followed over the connections of a site: stretches, routes, candidates, times."""

from .candidates import PossibleWay, candidates, unrouted
from .find import exact_name, find_stretches, routes_of
from .follow import Break, FollowedRoute, Handover, follow
from .rings import Ring, rings
from .site import Lane, Site, Stretch
from .times import RouteTime, route_time

__all__ = [
    "Break",
    "PossibleWay",
    "FollowedRoute",
    "Handover",
    "Lane",
    "Ring",
    "RouteTime",
    "Site",
    "Stretch",
    "candidates",
    "exact_name",
    "find_stretches",
    "follow",
    "rings",
    "route_time",
    "routes_of",
    "unrouted",
]
