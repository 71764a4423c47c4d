"""Watchdog and reaction time of a connection, with every input shown.

A formula has a source or is marked as common practice. Times are whole milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ._model import Connection
from .protocols import Profile, load, names, room

__all__ = ["Figure", "Input", "Timing", "timing"]

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
    far as the connection is concerned, loss of communication included.
    """

    connection: str
    profile: str
    edition: str
    watchdog_ms: int | None
    exchange_ms: int | None
    permitted_ms: int | None
    reaction: Figure

    @property
    def spare_ms(self) -> int | None:
        """How much later than the longest exchange a frame may come; None: not known."""
        if self.watchdog_ms is None or self.exchange_ms is None:
            return None
        return self.watchdog_ms - self.exchange_ms

    @property
    def margin_ms(self) -> int | None:
        """What the permitted reaction time leaves, at most while an input is missing."""
        return None if self.permitted_ms is None else self.permitted_ms - self.reaction.known_ms


def timing(
    connection: Connection, profile: Profile | None = None, *, cycle_ms: int | None = None
) -> Timing:
    """Return the times of a connection; ``cycle_ms`` is the cycle time of the consumer.

    Without an edition in the map the first one that the profile's facts hold for is taken.
    """
    connection_table = connection.first.connection_table
    edition = connection_table.edition or (
        profile.editions[0] if profile and profile.editions else ""
    )
    stated = [end.connection_table for end in connection.ends]
    watchdog = _worst(max, *(each.watchdog_ms for each in stated))
    exchange = _worst(max, *(each.exchange_ms for each in stated))
    is_known = connection_table.profile in names()
    if profile is None and is_known:
        profile = load(connection_table.profile)
    own = room(connection_table.profile).times if is_known else None
    stated_shares = profile.reactions if profile else ()
    share = next((each for each in stated_shares if each.edition == edition), None)
    if own is not None:
        said = own(connection)
        watchdog, exchange = said.watchdog_ms, said.exchange_ms
        reaction = Figure(
            inputs=tuple(
                Input(name=term.name, time_ms=term.time_ms, factor=term.factor)
                for term in said.terms
            ),
            why=said.why,
            source=said.source,
        )
    elif share is not None:
        reaction = Figure(
            inputs=(
                Input(name="watchdog", time_ms=watchdog, factor=share.watchdogs),
                Input(
                    name="cycle time of the consumer",
                    time_ms=cycle_ms,
                    factor=share.consumer_cycles,
                ),
            ),
            why=share.why,
            source=share.stated_in,
        )
    else:
        reaction = Figure(
            inputs=(
                Input(name="watchdog", time_ms=watchdog),
                Input(name="exchange", time_ms=exchange),
            ),
            why="an event just after its frame left waits for the next one; if that is lost, the "
            "watchdog ends",
            source=COMMON_PRACTICE,
        )
    return Timing(
        connection=connection.name,
        profile=connection_table.profile,
        edition=edition,
        watchdog_ms=watchdog,
        exchange_ms=exchange,
        permitted_ms=_worst(min, *(each.permitted_reaction_ms for each in stated)),
        reaction=reaction,
    )


def _worst(pick: Callable[[list[int]], int], *times: int | None) -> int | None:
    known = [time for time in times if time is not None]
    return pick(known) if known else None
