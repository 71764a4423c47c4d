"""Watchdog and reaction time of a connection, with every input shown.

A formula has a source or is marked as common practice. Times are whole milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ._model import Connection
from .protocols import Profile, load, names, room

COMMON_PRACTICE = "common practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One term of a sum: ``factor`` times a time, which is None where nobody stated it."""

    name: str
    time_ms: int | None
    factor: int = 1

    def __str__(self) -> str:
        time = "not stated" if self.time_ms is None else f"{self.time_ms} ms"
        return (
            f"{self.factor} x {self.name} ({time})" if self.factor > 1 else f"{self.name} ({time})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A bound as a sum of inputs, and who says so; ``source`` may be ``common practice``."""

    inputs: tuple[Input, ...]
    why: str
    source: str

    @property
    def known_ms(self) -> int:
        """The sum of the inputs that are stated: the bound itself, or less than it."""
        return sum(entry.factor * (entry.time_ms or 0) for entry in self.inputs)

    @property
    def missing(self) -> tuple[str, ...]:
        """The names of the inputs that nobody stated."""
        return tuple(entry.name for entry in self.inputs if entry.time_ms is None)

    @property
    def formula(self) -> str:
        """The sum with its inputs."""
        return " + ".join(map(str, self.inputs))


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """The times of one connection; where the ends differ, the worse statement counts.

    ``reaction`` bounds the time from an event at the producer to the reaction of the consumer as
    far as the connection is concerned, loss of communication included. ``shortest_ms`` is the
    watchdog that ends first, ``watchdog_of`` the end that alone states one (empty: both or none).
    ``counts_cycle`` tells whether a formula asks for the cycle time of the consumer.
    """

    connection: str
    profile: str
    edition: str
    watchdog_ms: int | None
    exchange_ms: int | None
    permitted_ms: int | None
    reaction: Figure
    shortest_ms: int | None = None
    watchdog_of: str = ""
    counts_cycle: bool = False

    @property
    def spare_ms(self) -> int | None:
        """How much later than the longest exchange a frame may come; None: not known.

        The end with the shorter watchdog stops first.
        """
        if self.shortest_ms is None or not self.exchange_ms:
            return None  # With 0 no frame comes: as little is known as without a statement.
        return self.shortest_ms - self.exchange_ms

    @property
    def margin_ms(self) -> int | None:
        """What the permitted reaction time leaves, at most while an input is missing.

        None: no time is permitted, or what is missing decides whether anything is left.
        """
        if self.permitted_ms is None or self.is_open:
            return None
        return self.permitted_ms - self.reaction.known_ms

    @property
    def is_open(self) -> bool:
        """Whether what nobody stated decides if the permitted reaction time is kept."""
        return (
            self.permitted_ms is not None
            and bool(self.reaction.missing)
            and self.reaction.known_ms <= self.permitted_ms
        )


def timing(
    connection: Connection, profile: Profile | None = None, *, cycle_ms: int | None = None
) -> Timing:
    """Return the times of a connection; ``cycle_ms`` is the cycle time of the consumer.

    Without an edition in the map the first one that the profile's facts hold for is taken. Where
    the ends state two profiles or editions, the larger time counts.
    """
    stated = [end.connection_table for end in connection.ends]
    watchdog = _worst(max, *(each.watchdog_ms for each in stated))
    waits = _waits(connection)
    ends_first = [one.watchdog_ms for one in stated]
    if any(one.time_ms is None for one in waits):
        ends_first = []  # Of an end that waits for a time nobody states nothing is known.
    in_own_words: list[int | None] = []
    exchange = _worst(max, *(each.exchange_ms for each in stated))
    # Sorted, so that the order of the ends changes nothing.
    profiles = sorted({each.profile for each in stated})
    editions: set[str] = set()
    figures: list[Figure] = []
    counts_cycle = False
    for name, given in sorted({(each.profile, each.edition) for each in stated}):
        facts = profile if profile is not None and len(profiles) == 1 else None
        if facts is None and name in names():
            facts = load(name)
        edition = given or (facts.editions[0] if facts and facts.editions else "")
        editions.add(edition)
        if name in names() and (own := room(name).times) is not None:
            ends = connection.first, connection.second
            both = (own(Connection(first=one, second=two)) for one, two in (ends, ends[::-1]))
            for said in both:
                watchdog = _worst(max, watchdog, said.watchdog_ms)
                in_own_words.append(said.watchdog_ms)
                exchange = _worst(max, exchange, said.exchange_ms)
                figures.append(
                    Figure(
                        inputs=tuple(_bounding(*term) for term in said.terms),
                        why=said.why,
                        source=said.source,
                    )
                )
        elif facts is not None and facts.reactions:
            figures.append(_share(facts, edition, waits, cycle_ms))
            shares = [share for share in facts.reactions if share.edition == edition]
            counts_cycle |= any(share.consumer_cycles for share in shares)
        else:
            figures.append(
                Figure(
                    inputs=(waits[0], _bounding("exchange", exchange), *waits[1:]),
                    why="an event just after its frame left waits for the next one; if that is "
                    "lost, the watchdog ends",
                    source=COMMON_PRACTICE,
                )
            )
            if facts is None:  # It may permit more than is usual.
                unknown = Input(name=f"share by the formula of {name}", time_ms=None)
                why = f"no profile is called {name}: its formula is not known"
                figures.append(Figure(inputs=(unknown,), why=why, source="no source at hand"))
    return Timing(
        connection=connection.name,
        profile=" and ".join(profiles),
        edition=" and ".join(sorted(editions - {""})),
        watchdog_ms=watchdog,
        exchange_ms=exchange,
        permitted_ms=_worst(min, *(each.permitted_reaction_ms for each in stated)),
        reaction=_largest(figures),
        shortest_ms=_worst(min, *(in_own_words or ends_first)),
        watchdog_of=_alone(connection),
        counts_cycle=counts_cycle,
    )


def _alone(connection: Connection) -> str:
    """Return the end that alone states a watchdog, if there is one such."""
    stating = [end.name for end in connection.ends if end.connection_table.watchdog_ms is not None]
    return stating[0] if len(stating) == 1 else ""


def _waits(connection: Connection) -> tuple[Input, ...]:
    """Return the watchdog by which data are waited for, then those that nobody knows.

    Each end that reads data waits by its own: what one end states says nothing of the other.
    """
    ends = connection.ends
    waiting = [end for end in ends if end.receives.entries] or list(ends)
    if any(end.connection_table.watchdog_ms == 0 for end in waiting):
        return (_bounding("watchdog", 0),)
    longest = _worst(max, *(end.connection_table.watchdog_ms for end in ends))
    alone = _alone(connection)
    if not alone:
        return (Input(name="watchdog", time_ms=longest),)
    waiting.sort(key=lambda end: end.name != alone)
    return tuple(
        Input(name=f"watchdog of {end.name}", time_ms=end.connection_table.watchdog_ms)
        for end in waiting
    )


def _bounding(name: str, time_ms: int | None, factor: int = 1) -> Input:
    """Return a time of a sum; one of 0 ends at once, or never, so that nothing is bounded by it."""
    if time_ms == 0:
        return Input(name=f"{name} above 0 ms", time_ms=None, factor=factor)
    return Input(name=name, time_ms=time_ms, factor=factor)


def _share(facts: Profile, edition: str, waits: tuple[Input, ...], cycle_ms: int | None) -> Figure:
    """Return the figure of an edition; one of which no formula is known bounds nothing."""
    share = next((each for each in facts.reactions if each.edition == edition), None)
    # Of which no time is counted, or nobody knows which are, nothing is bounded.
    which = f"edition {edition}" if edition else "an edition, of which none is stated"
    unknown = (Input(name=f"share by the formula of {which}", time_ms=None),)
    if share is None:
        known = ", ".join(sorted(each.edition for each in facts.reactions))
        return Figure(
            inputs=unknown,
            why=f"a formula is known of edition {known} alone, and another one may permit more",
            source="no source at hand",
        )
    first, *others = (replace(one, factor=share.watchdogs) for one in waits)
    cycle_ms = cycle_ms or None  # In 0 ms no program runs.
    cycle = Input(name="cycle time of the consumer", time_ms=cycle_ms, factor=share.consumer_cycles)
    counted = tuple(one for one in (first, cycle, *others) if one.factor)
    return Figure(inputs=counted or unknown, why=share.why, source=share.stated_in)


def _largest(figures: list[Figure]) -> Figure:
    """Return the largest figure; what any other one does not know may make it larger."""
    most = max(figures, key=lambda each: (each.known_ms, each.formula))
    names_ = {entry.name for entry in most.inputs}
    open_ = {
        entry.name: entry
        for each in figures
        for entry in each.inputs
        if entry.time_ms is None and entry.name not in names_
    }
    return replace(most, inputs=(*most.inputs, *(open_[name] for name in sorted(open_))))


def _worst(pick: Callable[[list[int]], int], *times: int | None) -> int | None:
    known = [time for time in times if time is not None]
    return pick(known) if known else None
