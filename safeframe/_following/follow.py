"""Follow a route of the plant file from stretch to stretch, or say where it breaks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from .._canonical import variable
from .._model import Signal
from .._routes import Route, RouteStep
from .._words import guess
from .site import Lane, Site, Stretch


class Break(NamedTuple):
    """Where a route cannot be followed: ``culprits`` are end and signal that tell so."""

    message: str
    culprits: tuple[tuple[str, Signal], ...] = ()


class Handover(NamedTuple):
    """One end that takes a signal from the stretch ``before`` and hands it on ``after``."""

    route: Route
    step: RouteStep
    before: Stretch
    after: Stretch

    @property
    def arriving(self) -> Signal:
        """The signal as this end receives it."""
        assert self.before.received is not None
        return self.before.received

    @property
    def leaving(self) -> Signal:
        """The signal as this end sends it."""
        assert self.after.sent is not None
        return self.after.sent


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedRoute:
    """A route with its stretches, None where it breaks, and why.

    ``lost`` is what it names where it breaks: producer, consumer (the other end is empty where
    the plant has no such end), signal, whether that is the name at the producer, and the
    connection (empty where it states none of these two ends).
    """

    route: Route
    ends: tuple[str, ...]
    stretches: tuple[Stretch | None, ...]
    breaks: tuple[Break, ...] = ()
    lost: tuple[tuple[str, str, str, bool, str], ...] = ()

    @property
    def whole(self) -> tuple[Stretch, ...]:
        """The stretches that could be followed."""
        return tuple(one for one in self.stretches if one is not None)

    @property
    def twice(self) -> list[str]:
        """The ends that it passes more than once."""
        return sorted(end for end, times in Counter(self.ends).items() if times > 1)

    def handovers(self) -> Iterator[Handover]:
        """Yield every end on the way whose stretches before and after are known."""
        rows = zip(self.route.steps, self.stretches, self.stretches[1:], strict=False)
        for step, before, after in rows:
            if before is not None and after is not None:
                yield Handover(self.route, step, before, after)


class _Asked(NamedTuple):
    """A signal that is looked for: by its name at one end, or by the variable of the producer."""

    sent: bool
    name: str = ""
    bind: str = ""


def follow(site: Site, route: Route) -> FollowedRoute:
    """Follow a route; every stretch is looked for by itself, so that all breaks are told."""
    breaks: list[Break] = []
    source, target = (
        _stop(site, stop, breaks, sends=sends)
        for stop, sends in ((route.source, True), (route.target, False))
    )
    ends = (source[0], *(step.end for step in route.steps), target[0])
    breaks += [
        Break(f"no end of the plant is called {end}{_nearest(end, site.ends)}")
        for end in dict.fromkeys(ends)
        if end and end not in site.ends
    ]
    names = route.connections or ("",) * (len(ends) - 1)
    stretches: list[Stretch | None] = []
    lost: list[tuple[str, str, str, bool, str]] = []
    for number, ((here, there), name) in enumerate(zip(pairwise(ends), names, strict=True)):
        asked = _Asked(True, source[1])
        if number:
            step = route.steps[number - 1]
            last = number == len(ends) - 2
            asked = _asked(step, stretches[-1], target[1] if last else "")
        if not {here, there} <= site.ends:
            met = (here, "") if asked.sent else ("", there)
            lost.append((*met, asked.name, asked.sent, ""))
            stretches.append(None)
            continue
        found = _stretch(site, here, there, name, asked)
        if isinstance(found, Stretch) and number == len(ends) - 2:
            found = _ending(found, route.steps[-1], target[1])
        if isinstance(found, Break):
            breaks.append(found)
            known = any(name in lane.names for lane in site.between.get((here, there), []))
            lost.append((here, there, asked.name, asked.sent, name if known else ""))
        stretches.append(found if isinstance(found, Stretch) else None)
    return FollowedRoute(
        route=route,
        ends=ends,
        stretches=tuple(stretches),
        breaks=tuple(dict.fromkeys(breaks)),
        lost=tuple(lost),
    )


def _stop(
    site: Site, stop: tuple[str, ...], breaks: list[Break], *, sends: bool
) -> tuple[str, str]:
    """Return end and signal of one stop; a text is cut at the dot behind the name of an end.

    Both are empty where several cuts fit.
    """
    if len(stop) == 2:
        return stop[0], stop[1]
    (text,) = stop
    parts = text.split(".")
    cuts = [(".".join(parts[:at]), ".".join(parts[at:])) for at in range(1, len(parts))]
    known = [cut for cut in cuts if cut[0] in site.ends]
    found = known or cuts
    if len(known) > 1:  # Seldom, so the signals are looked for only then.
        found = [cut for cut in known if _has(site, *cut, sends=sends)] or known
    if known and len(found) > 1:
        told = " or ".join(f"{signal} of {end}" for end, signal in found)
        breaks.append(Break(f'{text} may be {told}: write it as ["END", "SIGNAL"]'))
        return "", ""
    return found[0]


def _has(site: Site, end: str, signal: str, *, sends: bool) -> bool:
    return any(
        site.named(lane.direction.sent if sends else lane.direction.received, signal)
        for lane in site.lanes_of(end, sends=sends)
    )


def _asked(step: RouteStep, before: Stretch | None, target: str) -> _Asked:
    """Return how the signal that leaves a step is found: by name, by target, by variable."""
    if step.signal:
        return _Asked(True, step.signal)
    if target:
        return _Asked(False, target)
    bind = step.taken_from
    if not bind and before is not None and before.received is not None:
        bind = before.received.bind
    return _Asked(True, bind=bind)


def _stretch(site: Site, here: str, there: str, name: str, asked: _Asked) -> Stretch | Break:
    """Return the one stretch from an end to the next that is asked for."""
    joined = site.between.get((here, there), [])
    if not joined:
        return Break(f"no connection joins {here} and {there}")
    lanes = [lane for lane in joined if not name or name in lane.names]
    if not lanes:
        known = sorted({one for lane in joined for one in lane.names})
        return Break(
            f"no connection of {here} and {there} is called {name}; there is {' and '.join(known)}"
        )
    if not asked.name and not asked.bind:
        return Break(
            f"nothing says which signal {here} sends on to {there}: state bind or signal of {here}"
        )
    found = [(lane, signal) for lane in lanes for signal in _signals(site, lane, asked)]
    if not found:
        return _missing(site, lanes, asked)
    if len(found) > 1:
        return _several(found, asked)
    ((lane, signal),) = found
    stretch = site.stretch(lane, signal, sent=asked.sent)
    if stretch.sent is None or stretch.received is None:
        return _one_sided(stretch)
    return stretch


def _signals(site: Site, lane: Lane, asked: _Asked) -> Sequence[Signal]:
    map_ = lane.direction.sent if asked.sent else lane.direction.received
    if asked.name:
        return site.named(map_, asked.name)
    wanted = variable(asked.bind)
    return [signal for signal in map_.signals if variable(signal.bind) == wanted]


def _missing(site: Site, lanes: Sequence[Lane], asked: _Asked) -> Break:
    """Say that no signal is what was asked for, or that it goes the other way."""
    producer, consumer = (end.name for end in lanes[0].direction)
    of = " and ".join(lane.connection.name for lane in lanes)
    if not asked.name:
        return Break(f"{producer} sends nothing from {asked.bind} to {consumer} ({of})")
    end, does, other, peer = (
        (producer, "sends", "receives", consumer)
        if asked.sent
        else (consumer, "receives", "sends", producer)
    )
    toward, away = ("to", "from") if asked.sent else ("from", "to")
    for lane in lanes:
        mine = lane.direction.producer.receives if asked.sent else lane.direction.consumer.sends
        for signal in site.named(mine, asked.name):
            return Break(
                f"{end} {other} {asked.name} {away} {peer} and does not "
                f"{does.removesuffix('s')} it ({of})",
                ((end, signal),),
            )
    known = {
        signal.name
        for lane in lanes
        for signal in (lane.direction.sent if asked.sent else lane.direction.received).signals
    }
    near = _nearest(asked.name, known)
    return Break(f"{end} {does} no {asked.name} {toward} {peer} ({of}){near}")


def _several(found: Sequence[tuple[Lane, Signal]], asked: _Asked) -> Break:
    """Say that several signals are what was asked for."""
    lanes = list(dict.fromkeys(id(lane) for lane, _ in found))
    direction = found[0][0].direction
    end = (direction.producer if asked.sent else direction.consumer).name
    culprits = tuple((end, signal) for _, signal in found)
    does = "sends" if asked.sent else "receives"
    what = asked.name or f"something from {asked.bind}"
    if len(lanes) == 1:
        kind = "name" if asked.name else "variable"
        return Break(
            f"{end} {does} {len(found)} signals of the {kind} {asked.name or asked.bind} in "
            f"{found[0][0].connection.name}: the route does not say which",
            culprits,
        )
    names = " and ".join(dict.fromkeys(lane.connection.name for lane, _ in found))
    return Break(f"{end} {does} {what} in {names}: connections must say which", culprits)


def _one_sided(stretch: Stretch) -> Break:
    direction = stretch.lane.direction
    name = stretch.lane.connection.name
    if stretch.sent is not None:
        end, signal = direction.producer.name, stretch.sent
        does, other = "sends", f"{direction.consumer.name} expects no such signal"
    else:
        assert stretch.received is not None
        end, signal = direction.consumer.name, stretch.received
        does, other = "expects", f"{direction.producer.name} sends no such signal"
    return Break(f"{end} {does} {signal.name} ({signal.at}) in {name}, {other}", ((end, signal),))


def _ending(stretch: Stretch, step: RouteStep, target: str) -> Stretch | Break:
    """Return the last stretch, unless it leads to another signal than the target."""
    sent, received = stretch.sent, stretch.received
    assert sent is not None
    assert received is not None
    if received.name == target:
        return stretch
    here, there = (end.name for end in stretch.lane.direction)
    return Break(
        f"{step.signal}, which {here} sends, is {received.name} at {there}, not {target}",
        ((here, sent), (there, received)),
    )


def _nearest(word: str, known: Iterable[str]) -> str:
    found = guess(word, sorted(known))
    return f"; the nearest is {found}" if found else ""
