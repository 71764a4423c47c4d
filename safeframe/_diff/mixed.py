"""What the ends read from each other while only one of them is updated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from .._bits import Place
from .._canonical import alike, shared_parameters
from .._model import Connection, Direction, End, Map, Signal
from .._words import way
from ..protocols import Profile
from .arrival import Arrivals, ArrivingBits
from .changes import show
from .levels import FIELDS
from .maps import same_shared
from .order import in_order_of

__all__ = ["VERDICTS", "MixedState", "MixedRow", "MixedTable", "mixed_versions"]

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
    """One direction between an updated and an outdated end; rows in place order.

    ``refused`` names the terms for which the consumer takes no frame of the producer at all; the
    sizes are not among them.
    """

    producer: str
    consumer: str
    sent_octets: int
    expected_octets: int
    rows: tuple[MixedRow, ...]
    refused: tuple[str, ...] = ()

    @property
    def direction(self) -> str:
        """The direction as people write it, ``SC1 -> LX``."""
        return way(self.producer, self.consumer)

    @property
    def accepted(self) -> bool:
        """Whether the data have the length that the consumer expects, and nothing is refused."""
        return self.sent_octets == self.expected_octets and not self.refused

    @property
    def affected(self) -> tuple[MixedRow, ...]:
        """The rows that do not arrive as they should."""
        return tuple(row for row in self.rows if row.verdict != "same")


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedState:
    """Both directions while ``updated`` has its new map and ``outdated`` still has its old one.

    ``terms`` are the connection terms that the two then hold differently, (field, text) each;
    whether the connection comes up with them is a matter of the profile.
    """

    updated: str
    outdated: str
    disagreeing: tuple[tuple[str, str], ...]
    tables: tuple[MixedTable, MixedTable]


def mixed_versions(
    before: Connection, after: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[MixedState, MixedState]:
    """Return both mixes of old and new ends, the one with the first end updated first.

    In each direction that is once the new producer with the old consumer and once the old
    producer with the new consumer. Ends that hold two profiles, two connection ids or two values
    of a parameter that the profile marks "same at both ends" take no frame of each other; one that
    is stated at one end only counts as two. The ends are paired as by ``compare_edits``.
    ``own_profiles`` are the user's profiles by name.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> [mix.updated for mix in safeframe.mixed_versions(connection, connection)]
    ['SC1', 'LX']
    """
    after = in_order_of(before, after)
    return (
        _mix(after.first, before.second, after.first, own_profiles),
        _mix(before.first, after.second, after.second, own_profiles),
    )


def _mix(
    first: End, second: End, updated: End, own_profiles: Mapping[str, Profile] | None
) -> MixedState:
    outdated = second if updated is first else first
    terms = [*_terms(first, second), *_parameters(first, second, own_profiles)]
    refused = tuple(field for field, _, stops in terms if stops)
    there, back = (
        _table(direction, refused)
        for direction in Connection(first=first, second=second).directions()
    )
    return MixedState(
        updated=updated.name,
        outdated=outdated.name,
        disagreeing=tuple((field, text) for field, text, _ in terms),
        tables=(there, back),
    )


_STOP = ("profile", "id")
"""Terms of the connection of which two values mean that no frame is taken."""


def _terms(first: End, second: End) -> Iterator[tuple[str, str, bool]]:
    """Yield the connection terms that both hold differently, and whether they stop every frame."""
    one, two = first.connection_table, second.connection_table
    for field, rule in FIELDS["ConnectionTable"].items():
        if rule.level in ("wire", "value") and not alike(one, two, field):
            left, right = (show(field, getattr(table, field)) for table in (one, two))
            yield field, _apart(first, second, left, right), field in _STOP


def _parameters(
    first: End, second: End, own_profiles: Mapping[str, Profile] | None
) -> Iterator[tuple[str, str, bool]]:
    ours, theirs = (shared_parameters(end, own_profiles) for end in (first, second))
    for name in sorted(ours.keys() | theirs.keys()):
        one, two = ours.get(name), theirs.get(name)
        if one is None or two is None or one.form != two.form:
            left, right = (show("parameters", found and found.value) for found in (one, two))
            stops = any(found is not None and found.sealed for found in (one, two))
            yield f"parameter {name}", _apart(first, second, left, right), stops


def _apart(first: End, second: End, left: str, right: str) -> str:
    return f"{left} at {first.name}, {right} at {second.name}"


def _table(direction: Direction, refused: tuple[str, ...]) -> MixedTable:
    producer, consumer = direction.producer.name, direction.consumer.name
    sent, received = direction.sent, direction.received
    if not refused and same_shared(sent, received) and not _overlapping(sent):
        return MixedTable(
            producer=producer,
            consumer=consumer,
            sent_octets=sent.size_octets,
            expected_octets=received.size_octets,
            rows=tuple(sorted(map(_same, received.signals), key=_place)),
        )
    arrivals = Arrivals(producer, consumer, sent, received)
    accepted = sent.size_octets == received.size_octets and not refused
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
    rows.sort(key=_place)
    return MixedTable(
        producer=producer,
        consumer=consumer,
        sent_octets=sent.size_octets,
        expected_octets=received.size_octets,
        rows=tuple(rows),
        refused=refused,
    )


def _place(row: MixedRow) -> tuple[Place, int]:
    return row.at, row.width


def _overlapping(map_: Map) -> bool:
    """Tell whether two entries of a map claim one bit."""
    runs = sorted((entry.start, entry.end) for entry in map_.entries)
    return any(one[1] > two[0] for one, two in pairwise(runs))


def _same(signal: Signal) -> MixedRow:
    """Return the row of a signal that the producer has with the very same words."""
    at, width, name = signal.at, signal.width, signal.name
    return MixedRow(
        at=at,
        width=width,
        signal=name,
        gets=(ArrivingBits(kind="signal", at=at, width=width, name=name, whole=True),),
        verdict="same",
        consequence="",
    )
