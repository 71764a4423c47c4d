"""What the ends read from each other while only one of them is updated."""

from __future__ import annotations

from dataclasses import dataclass

from .._bits import Place
from .._model import Connection, End, Map
from .._words import way
from .arrival import Arrivals, ArrivingBits
from .changes import show
from .levels import FIELDS

__all__ = ["VERDICTS", "Mix", "MixedRow", "MixedTable", "mixed_versions"]

VERDICTS = (
    "no frame",
    "wrong signal",
    "other meaning",
    "undeclared",
    "constant",
    "nobody reads it",
    "other name",
    "same",
)
"""From worst to mildest; ``no frame`` applies to all rows of a table or to none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedRow:
    """One signal of the consumer, or one of the producer that nobody reads.

    ``verdict`` is one of VERDICTS; ``gets`` are the producer's bits, lowest first, empty where
    nobody reads; ``consequence`` is empty where everything stays the same.
    """

    at: Place
    width: int
    signal: str
    gets: tuple[ArrivingBits, ...]
    verdict: str
    consequence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedTable:
    """One direction between an updated and an outdated end; rows in place order."""

    producer: str
    consumer: str
    sent_octets: int
    expected_octets: int
    rows: tuple[MixedRow, ...]

    @property
    def direction(self) -> str:
        """The direction as people write it, ``SC1 -> LX``."""
        return way(self.producer, self.consumer)

    @property
    def accepted(self) -> bool:
        """Whether the data have the length that the consumer expects."""
        return self.sent_octets == self.expected_octets

    @property
    def affected(self) -> tuple[MixedRow, ...]:
        """The rows that do not arrive as they should."""
        return tuple(row for row in self.rows if row.verdict != "same")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mix:
    """Both directions while ``updated`` has its new map and ``outdated`` still has its old one.

    ``disagreeing`` are the connection terms that the two then hold differently, (field, text) each;
    whether the connection comes up with them is a matter of the profile.
    """

    updated: str
    outdated: str
    disagreeing: tuple[tuple[str, str], ...]
    tables: tuple[MixedTable, MixedTable]


def mixed_versions(before: Connection, after: Connection) -> tuple[Mix, Mix]:
    """Return both mixes of old and new ends, the one with the first end updated first.

    In each direction that is once the new producer with the old consumer and once the old
    producer with the new consumer.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> [mix.updated for mix in safeframe.mixed_versions(connection, connection)]
    ['SC1', 'LX']
    """
    return (
        _mix(after.first, before.second, updated=after.first),
        _mix(before.first, after.second, updated=after.second),
    )


def _mix(first: End, second: End, *, updated: End) -> Mix:
    outdated = second if updated is first else first
    disagreeing = tuple(
        (field, f"{show(field, one)} at {first.name}, {show(field, two)} at {second.name}")
        for field, rule in FIELDS["ConnectionTable"].items()
        if rule.level in ("wire", "value")
        and (one := getattr(first.connection_table, field))
        != (two := getattr(second.connection_table, field))
    )
    there, back = (
        _table(direction.producer.name, direction.consumer.name, direction.sent, direction.received)
        for direction in Connection(first=first, second=second).directions()
    )
    return Mix(
        updated=updated.name,
        outdated=outdated.name,
        disagreeing=disagreeing,
        tables=(there, back),
    )


def _table(producer: str, consumer: str, sent: Map, received: Map) -> MixedTable:
    arrivals = Arrivals(producer, consumer, sent, received)
    accepted = sent.size_octets == received.size_octets
    rows: list[MixedRow] = []
    for signal in received.signals:
        pieces = arrivals.pieces(signal)
        verdict, consequence = (
            arrivals.judge(signal, pieces)
            if accepted
            else ("no frame", f"falls back to its safe value {signal.safe}")
        )
        rows.append(
            MixedRow(
                at=signal.at,
                width=signal.width,
                signal=signal.name,
                gets=pieces,
                verdict=verdict,
                consequence=consequence,
            )
        )
    rows += (
        MixedRow(
            at=signal.at,
            width=signal.width,
            signal=signal.name,
            gets=(),
            verdict="nobody reads it" if accepted else "no frame",
            consequence=text,
        )
        for signal, text in arrivals.unread()
    )
    rows.sort(key=lambda row: (row.at, row.width))
    return MixedTable(
        producer=producer,
        consumer=consumer,
        sent_octets=sent.size_octets,
        expected_octets=received.size_octets,
        rows=tuple(rows),
    )
