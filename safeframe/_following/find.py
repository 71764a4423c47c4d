"""Find the signal that somebody names, over all connections of a site."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from .._errors import UsageError
from .._words import MOST_LISTED, guess
from .follow import FollowedRoute
from .site import Lane, Site, Stretch


def exact_name(stretch: Stretch) -> str:
    """Return ``CONNECTION.PRODUCER.SIGNAL``, which leads to this stretch again."""
    signal = stretch.sent or stretch.received
    assert signal is not None
    lane = stretch.lane
    return f"{lane.connection.name}.{lane.direction.producer.name}.{signal.name}"


def find_stretches(site: Site, name: str) -> list[Stretch]:
    """Return every stretch that a name may mean, in an order that no file decides.

    A name is ``SIGNAL``, ``END.SIGNAL``, ``CONNECTION.SIGNAL`` or ``CONNECTION.PRODUCER.SIGNAL``.
    Raises UsageError, with the nearest name, where it means none.
    """
    parts = name.split(".")
    cuts = [(".".join(parts[:at]), ".".join(parts[at:])) for at in range(1, len(parts))]
    found: dict[tuple[str, str, str, int, int, int], Stretch] = {}
    for lane in site.lanes:
        scopes = _scopes(lane)
        wanted = {name, *(signal for scope, signal in cuts if scope in scopes)}
        for signal in wanted:
            for sent in site.named(lane.direction.sent, signal):
                stretch = site.stretch(lane, sent, sent=True)
                found[stretch.key] = stretch
            for received in site.named(lane.direction.received, signal):
                stretch = site.stretch(lane, received, sent=False)
                found[stretch.key] = stretch
    if not found:
        raise UsageError(_unknown(site, name, cuts))
    return [found[key] for key in sorted(found)]


def _scopes(lane: Lane) -> set[str]:
    producer, consumer = lane.direction
    exact = {f"{name}.{producer.name}" for name in lane.names}
    return {producer.name, consumer.name, *lane.names, *exact}


def _unknown(site: Site, name: str, cuts: Sequence[tuple[str, str]]) -> str:
    known = {
        signal.name
        for lane in site.lanes
        for map_ in (lane.direction.sent, lane.direction.received)
        for signal in map_.signals
    }
    near = ""
    for word in (name, *(signal for _, signal in cuts)):
        near = near or guess(word, sorted(known))
    hint = f" (did you mean {near}?)" if near else ""
    return f"the name must be a signal of the plant, not {name!r}{hint}"


def routes_of(
    name: str, stretches: Sequence[Stretch], routes: Sequence[FollowedRoute]
) -> list[FollowedRoute]:
    """Return the routes that one signal goes along, none where no route names it.

    A route that breaks at the signal names it all the same.
    Raises UsageError where the stretches belong to different ways, so that the name is not exact.
    """
    by_key: dict[tuple[object, ...], set[int]] = {}
    for number, followed in enumerate(routes):
        for key in (*(one.key for one in followed.whole), *followed.lost):
            by_key.setdefault(key, set()).add(number)
    on = [
        {number for key in _keys(stretch) for number in by_key.get(key, ())}
        for stretch in stretches
    ]
    widest = max(on, key=len)
    # One way may carry the name on each of its stretches; then they are all the same signal.
    if len(stretches) > 1 and not all(each and each <= widest for each in on):
        names = _exact_names(stretches)
        shown = " or ".join(names[:MOST_LISTED])
        more = f" or one of {len(names) - MOST_LISTED} more" if len(names) > MOST_LISTED else ""
        raise UsageError(f"the name must mean one signal, not {name!r}: {shown}{more}")
    return [routes[number] for number in sorted(widest)]


def _exact_names(stretches: Sequence[Stretch]) -> list[str]:
    """Return the exact name of each stretch, with its files where another one has the same."""
    names = [exact_name(stretch) for stretch in stretches]
    often = Counter(names)
    paths = (sorted(end.where.path for end in one.lane.connection.ends) for one in stretches)
    return [
        f"{name} (in {' and '.join(files)})" if often[name] > 1 else name
        for name, files in zip(names, paths, strict=True)
    ]


def _keys(stretch: Stretch) -> list[tuple[object, ...]]:
    """Return by what a route may know a stretch: as it was followed, or by name at either end."""
    here, there = (end.name for end in stretch.lane.direction)
    found: list[tuple[object, ...]] = [stretch.key]
    names = ("", *stretch.lane.names)
    if stretch.sent is not None:
        sent = stretch.sent.name
        found += [(here, other, sent, True, name) for other in (there, "") for name in names]
    if stretch.received is not None:
        received = stretch.received.name
        found += [(other, there, received, False, name) for other in (here, "") for name in names]
    return found
