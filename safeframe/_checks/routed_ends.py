"""The rule about what the ends of a route make of a signal together, each being right alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from .._canonical import form
from .._findings import Finding, NotJudged, Spot
from .._model import Signal
from . import along
from .handing_on import Open, declared, on_routes
from .registry import Finder, RoutesSeen, route_rule
from .routed_meanings import (
    codes_differ,
    edges_differ,
    ones_differ,
    route_safe_value_differs,
    translation_unfounded,
    undone,
    unfounded,
)

if TYPE_CHECKING:
    from .._following import FollowedRoute, Handover, Site

Way = Sequence["Handover"]

_VALUE = ("type", "width", "scale", "unit")
"""What a number means, apart from its name."""


class _Part(NamedTuple):
    """One thing that is compared over several ends.

    ``keys`` are the fields that must be equal at both ends of a connection in between, ``told``
    says whether an end by itself is told already, ``compare`` holds the first end of some against
    all later ones, ``states`` and ``shifts`` tell whether a signal has this part at all and an end
    changes it. ``subject`` is what stays open where the way is cut in two.
    """

    subject: str
    keys: tuple[str, ...]
    told: Callable[[Handover, Site], bool]
    compare: Callable[[Way], Iterator[along.Compared]]
    states: Callable[[Signal], bool]
    shifts: Callable[[Handover], bool]


def _value_told(handover: Handover) -> bool:
    """Tell whether a finding at this end says that the number becomes another one."""
    arriving, leaving = handover.arriving, handover.leaving
    for key in _VALUE:
        before, after = form(arriving, key), form(leaving, key)
        silent = key == "unit" and not (before and after)
        if before != after and not silent and not declared(handover, key):
            return True
    if any(key in _VALUE for key, _ in undone(handover)):
        return True
    if any(isinstance(one, str) for one in codes_differ(handover)):
        return True
    inverted = handover.step.inverts and bool(unfounded(handover))
    return inverted or any(translation_unfounded(handover))


def _code_told(handover: Handover, site: Site) -> bool:
    return _value_told(handover)


def _one_told(handover: Handover, site: Site) -> bool:
    told = any(isinstance(one, str) for one in ones_differ(handover))
    return told or _value_told(handover) or any(key == "one_means" for key, _ in undone(handover))


def _edge_told(handover: Handover, site: Site) -> bool:
    told = any(edges_differ(handover)) or any(key == "edge" for key, _ in undone(handover))
    return told or _value_told(handover)


def _unit_told(handover: Handover, site: Site) -> bool:
    before, after = (form(one, "unit") for one in (handover.arriving, handover.leaving))
    differs = bool(before and after) and before != after and not declared(handover, "unit")
    return differs or any(key == "unit" for key, _ in undone(handover))


def _safe_told(handover: Handover, site: Site) -> bool:
    told = any(isinstance(one, str) for one in route_safe_value_differs(handover, site))
    return told or _one_told(handover, site)


def _shifts(*keys: str) -> Callable[[Handover], bool]:
    """Return what tells whether an end hands on one of some fields as another one."""

    def shifts(handover: Handover) -> bool:
        if handover.step.codes or handover.step.inverts:
            return True
        arriving, leaving = handover.arriving, handover.leaving
        return any(form(arriving, key) != form(leaving, key) for key in keys)

    return shifts


def _substitutes(handover: Handover) -> bool:
    return handover.step.on_loss is not None or declared(handover, "unit")


_PARTS = (
    _Part(
        "code points",
        (*_VALUE, "order", "codes"),
        _code_told,
        along.codes,
        along.named,
        _shifts(*_VALUE, "codes"),
    ),
    _Part(
        "meaning of 1",
        (*_VALUE, "order", "one_means"),
        _one_told,
        along.ones,
        lambda signal: bool(form(signal, "one_means")),
        _shifts(*_VALUE, "one_means"),
    ),
    _Part(
        "acting edge",
        (*_VALUE, "order", "edge"),
        _edge_told,
        along.edges,
        lambda signal: bool(signal.edge),
        _shifts("edge"),
    ),
    _Part(
        "unit",
        ("unit",),
        _unit_told,
        along.units,
        lambda signal: bool(form(signal, "unit")),
        _shifts("unit"),
    ),
    _Part(
        "safe value",
        (*_VALUE, "order", "safe"),
        _safe_told,
        along.safe_values,
        lambda signal: True,
        _substitutes,
    ),
)


class _Span(NamedTuple):
    """The ends of a way from ``start`` to ``end``, counted along it, both included."""

    start: int
    end: int

    def holds(self, other: _Span) -> bool:
        return self.start <= other.start and other.end <= self.end

    def meets(self, other: _Span) -> bool:
        return self.start <= other.end and other.start <= self.end


class _Judged(NamedTuple):
    """What one part of a way shows: spans that contradict, that stay open, that were compared."""

    wrong: dict[_Span, str]
    open: dict[_Span, Open]
    compared: list[_Span]


def _judge(part: _Part, way: Way, site: Site) -> _Judged:
    """Compare all ends of a way between which no finding tells of a difference already."""
    told = [part.told(handover, site) for handover in way]
    parted = [_differs(part, one, two) for one, two in pairwise(way)]
    found = _Judged({}, {}, [])
    for start, bad in enumerate(told):
        end = start
        while not bad and end + 1 < len(way) and not told[end + 1] and not parted[end]:
            end += 1
        if end == start:
            continue
        for last, message in part.compare(way[start : end + 1]):
            span = _Span(start, start + last)
            found.compared.append(span)
            if isinstance(message, Open):
                found.open[span] = message
            elif message:
                found.wrong[span] = message
    changing = [at for at, one in enumerate(way) if told[at] or part.shifts(one)]
    span = _Span(changing[0], changing[-1]) if changing else _Span(0, 0)
    stated = part.states(way[span.start].arriving) and part.states(way[span.end].leaving)
    cut = any(told[span.start : span.end + 1]) or any(parted[span.start : span.end])
    onward = any(part.shifts(one) for one in way[span.start + 1 : span.end + 1])
    if onward and stated and cut:
        found.open[span] = Open(part.subject, "what is found in between comes first")
    return found


def _differs(part: _Part, before: Handover, after: Handover) -> bool:
    """Tell whether both ends of the connection in between say different things: a finding there."""
    sent, received = before.leaving, after.arriving
    return any(form(sent, key) != form(received, key) for key in part.keys)


def _ways(followed: FollowedRoute) -> Iterator[list[Handover]]:
    """Yield the ends of a route in the runs in which it could be followed without a break."""
    run: list[Handover] = []
    for handover in followed.handovers():
        if run and run[-1].after is not handover.before:
            yield run
            run = []
        run.append(handover)
    if run:
        yield run


class _Contradiction(NamedTuple):
    """One contradiction: its ends on every route that shows it, and the symptoms beside it."""

    ways: list[list[Handover]]
    details: dict[str, None]


@route_rule(
    name="route-ends-differ",
    severity="error",
    title="Several gateways together make another value or meaning of a signal",
    why="Each gateway agrees with the maps before and behind it, and so does every connection; "
    "what the source means still arrives as something else.",
    remedy="find out which gateway is wrong: mend what the route declares there, or the map "
    "between",
)
def route_ends_differ(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
    """Compare any two ends of a route between which no end and no connection is told already.

    The shortest contradictory part of a way is told; what contradicts around the same end goes
    with it, because one end that is wrong shows in every part that it belongs to.
    """
    wrong: dict[tuple[tuple[tuple[int, int], ...], str], _Contradiction] = {}
    for followed, _ in seen.routes:
        for way in _ways(followed):
            for part in _PARTS:
                judged = _judge(part, way, seen.site)
                for span, message, details in _causes(judged.wrong):
                    inside = way[span.start : span.end + 1]
                    hops = tuple((id(one.arriving), id(one.leaving)) for one in inside)
                    told = wrong.setdefault((hops, message), _Contradiction([], {}))
                    told.ways.append(inside)
                    told.details.update(dict.fromkeys(details))
                for open_ in _left(part, way, judged):
                    yield NotJudged(
                        connection="",
                        rule="route-ends-differ",
                        reason=open_.reason,
                        subject=open_.subject,
                        route=followed.route.name,
                    )
    for (_, message), told in wrong.items():
        names = [way[0].route.name for way in told.ways]
        yield find(
            f"{on_routes(names)}: {message}",
            _spots(told.ways[0]),
            details=told.details,
            culprits=[("", name) for name in sorted(set(names))],
        )


def _causes(wrong: dict[_Span, str]) -> Iterator[tuple[_Span, str, list[str]]]:
    """Yield the shortest contradictory spans, each with those that only share an end with it."""
    shortest = [one for one in wrong if not any(one != two and one.holds(two) for two in wrong)]
    told: dict[_Span, list[str]] = {}
    for span in sorted(shortest, key=lambda one: (one.end - one.start, one.start)):
        near = next((one for one in told if one.meets(span)), None)
        if near is None:
            told[span] = []
        else:
            told[near].append(wrong[span])
    for span, details in told.items():
        yield span, wrong[span], details


def _left(part: _Part, way: Way, judged: _Judged) -> Iterator[Open]:
    """Yield what stays open of one part of a way, in words that name the ends."""
    for span, open_ in judged.open.items():
        if not any(span != other and span.holds(other) for other in judged.open):
            ends = f"from {way[span.start].step.end} to {way[span.end].step.end}"
            yield Open(f"{open_.subject} {ends}", open_.reason)
    if part.compare is not along.codes:
        return
    for at, handover in enumerate(way):
        arriving, leaving = handover.arriving, handover.leaving
        bare = [one for one in (arriving, leaving) if one.type != "code"]
        if len(bare) != 1 or any(one.start <= at <= one.end for one in judged.compared):
            continue
        if declared(handover, "type"):
            (other,) = bare
            yield Open(
                f"code points at {handover.step.end}",
                f"{other.name} is of type {other.type}: no map names its numbers",
            )


def _spots(way: Way) -> list[Spot]:
    first, last = way[0], way[-1]
    steps = [handover.step.where for handover in way]
    return [
        Spot(first.step.end, first.arriving.where, first.arriving.at, first.arriving.name),
        Spot(last.step.end, last.leaving.where, last.leaving.at, last.leaving.name),
        *(Spot("", where) for where in {str(where): where for where in steps}.values()),
    ]
