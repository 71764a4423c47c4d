"""What the ends read from each other while only one of them is updated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from .._bits import Place
from .._canonical import alike, find_profile, parameters, shared_parameters
from .._model import Connection, Direction, End, Map, Scalar, Signal
from .._words import way
from ..protocols import Profile
from .arrival import Arrivals, ArrivingBits
from .changes import show
from .levels import FIELDS
from .maps import same_shared
from .order import in_order_of

VERDICTS = (
    "no frame",
    "not judged",
    "wrong signal",
    "other meaning",
    "undeclared",
    "constant",
    "nobody reads it",
    "other name",
    "same",
)
"""From worst to mildest; ``no frame`` applies to all rows of a table or to none.

``not judged`` takes the place of ``same`` and all else where no map says whether a frame is taken.
"""


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
    sizes are not among them. ``not_judged`` names what may go into frames or be expected in them,
    where no facts and no map say whether the other end takes them.
    """

    producer: str
    consumer: str
    sent_octets: int
    expected_octets: int
    rows: tuple[MixedRow, ...]
    refused: tuple[str, ...] = ()
    not_judged: tuple[str, ...] = ()

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
    whether the connection comes up with them is a matter of the profile. ``untold`` are those that
    changed at the updated end alone, which no map of the other end can show that it was told.
    """

    updated: str
    outdated: str
    disagreeing: tuple[tuple[str, str], ...]
    tables: tuple[MixedTable, MixedTable]
    untold: tuple[str, ...] = ()


def mixed_versions(
    before: Connection, after: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> tuple[MixedState, MixedState]:
    """Return both mixes of old and new ends, the one with the first end updated first.

    In each direction that is once the new producer with the old consumer and once the old
    producer with the new consumer. Ends that hold two profiles, two connection ids or two values
    of a parameter that the profile marks "same at both ends" take no frame of each other; one that
    is stated at one end only counts as two. Where an address or another parameter of the updated
    end changed, no frame is told to arrive: the maps do not say what the other end knows of it. Nor
    is one where the ends hold two watchdogs and the profile has it enter the CRC of every frame.
    The ends are paired as by ``compare_edits``.
    ``own_profiles`` are the user's profiles by name.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> [mix.updated for mix in safeframe.mixed_versions(connection, connection)]
    ['SC1', 'LX']
    """
    after = in_order_of(before, after)
    return (
        _mix((before.first, after.first), before.second, True, own_profiles),
        _mix((before.second, after.second), before.first, False, own_profiles),
    )


def _mix(
    versions: tuple[End, End],
    outdated: End,
    is_first: bool,
    own_profiles: Mapping[str, Profile] | None,
) -> MixedState:
    updated = versions[1]
    first, second = (updated, outdated) if is_first else (outdated, updated)
    terms = [
        *_terms(first, second, own_profiles),
        *_parameters(first, second, own_profiles),
    ]
    refused = tuple(field for field, _, effect in terms if effect == "refused")
    own = list(_own(*versions, own_profiles))
    untold = tuple(field for field, _ in own)
    not_judged = (*(field for field, _, effect in terms if effect == "not judged"), *untold)
    there, back = (
        _table(direction, refused, not_judged)
        for direction in Connection(first=first, second=second).directions()
    )
    told = [(field, f"{text}: {outdated.name} must know the new one") for field, text in own]
    return MixedState(
        updated=updated.name,
        outdated=outdated.name,
        disagreeing=(*((field, text) for field, text, _ in terms), *told),
        tables=(there, back),
        untold=untold,
    )


def _own(
    before: End, after: End, own_profiles: Mapping[str, Profile] | None
) -> Iterator[tuple[str, str]]:
    """Yield what an end alone states and has changed, be it in its frames or not.

    The facts tell what both ends must hold alike. Of the rest they do not tell what goes into a
    frame, so all of it may: an address, an identity that starts the CRCs.
    """

    def changed(field: str, old: Scalar | None, new: Scalar | None) -> tuple[str, str]:
        kind = "address" if field == "address" else "parameters"
        return field, f"{show(kind, new)} at {after.name}, before {show(kind, old)}"

    for field in ("address", "role"):
        if not alike(before, after, field):
            yield changed(field, getattr(before, field), getattr(after, field))
    old, new = (
        {found.name: found for found in parameters(end, own_profiles) if not found.shared}
        for end in (before, after)
    )
    for name in sorted(old.keys() | new.keys()):
        one, two = old.get(name), new.get(name)
        if one is None or two is None or one.form != two.form:
            yield changed(f"parameter {name}", one and one.value, two and two.value)


_STOP = ("profile", "id")
"""Terms of the connection of which two values mean that no frame is taken."""
_EFFECTS = {**dict.fromkeys(_STOP, "refused"), "edition": "not judged"}
"""What two values of a term mean: no facts tell whether frames of two editions are taken."""
_SEALING = {**_EFFECTS, "watchdog_ms": "not judged"}
"""The same for a protocol whose watchdog enters the CRC of every frame."""


def _terms(
    first: End, second: End, own_profiles: Mapping[str, Profile] | None
) -> Iterator[tuple[str, str, str]]:
    """Yield the connection terms that both hold differently, and what they mean for every frame.

    A watchdog that enters the CRC of every frame shows in a parameter, too. Where that one is the
    same at both ends, one of the two is wrong, and no map says which frames there are.
    """
    one, two = first.connection_table, second.connection_table
    facts = find_profile(one.profile, own_profiles)
    is_own = facts is (own_profiles or {}).get(one.profile)  # Both are none of an unknown profile.
    if is_own and (facts is None or "watchdog_sealed" in facts.left_out):
        effects, sealing = _SEALING, "no facts tell whether it enters the CRC of a frame"
    else:
        assert facts is not None, "own or listed"
        effects = _SEALING if facts.watchdog_sealed else _EFFECTS
        sealing = "it enters the CRC of every frame"
    for field, rule in FIELDS["ConnectionTable"].items():
        if rule.level in ("wire", "value") and not alike(one, two, field):
            left, right = (show(field, getattr(table, field)) for table in (one, two))
            text = _apart(first, second, left, right)
            if effects is _SEALING and field == "watchdog_ms":
                text += f"; {sealing}"
            yield field, text, effects.get(field, "")


def _parameters(
    first: End, second: End, own_profiles: Mapping[str, Profile] | None
) -> Iterator[tuple[str, str, str]]:
    ours, theirs = (shared_parameters(end, own_profiles) for end in (first, second))
    for name in sorted(ours.keys() | theirs.keys()):
        one, two = ours.get(name), theirs.get(name)
        if one is None or two is None or one.form != two.form:
            left, right = (show("parameters", found and found.value) for found in (one, two))
            stops = any(found is not None and found.sealed for found in (one, two))
            effect = "refused" if stops else "not judged"
            yield f"parameter {name}", _apart(first, second, left, right), effect


def _apart(first: End, second: End, left: str, right: str) -> str:
    return f"{left} at {first.name}, {right} at {second.name}"


def _table(
    direction: Direction, refused: tuple[str, ...], not_judged: tuple[str, ...]
) -> MixedTable:
    sent, received = direction.sent, direction.received
    told = refused or not_judged or not same_shared(sent, received) or _overlapping(sent)
    rows = _rows(direction, refused, not_judged) if told else map(_same, received.signals)
    return MixedTable(
        producer=direction.producer.name,
        consumer=direction.consumer.name,
        sent_octets=sent.size_octets,
        expected_octets=received.size_octets,
        rows=tuple(sorted(rows, key=lambda row: (row.at, row.width))),
        refused=refused,
        not_judged=not_judged,
    )


def _rows(
    direction: Direction, refused: tuple[str, ...], not_judged: tuple[str, ...]
) -> Iterator[MixedRow]:
    """Yield what becomes of each signal where the maps are not plainly the same."""
    sent, received = direction.sent, direction.received
    arrivals = Arrivals(direction.producer.name, direction.consumer.name, sent, received)
    accepted = sent.size_octets == received.size_octets and not refused
    for signal in received.signals:
        pieces = arrivals.pieces(signal)
        verdict, consequence = (
            arrivals.judge(signal, pieces)
            if accepted
            else ("no frame", f"falls back to its safe value {signal.safe}")
        )
        if accepted and not_judged and verdict not in _WORSE:
            verdict, consequence = "not judged", f"safe value {signal.safe} if no frame is taken"
        yield _row(signal, pieces, verdict, consequence)
    for signal, text in arrivals.unread():
        yield _row(signal, (), "nobody reads it" if accepted else "no frame", text)


def _row(
    signal: Signal, gets: tuple[ArrivingBits, ...], verdict: str, consequence: str = ""
) -> MixedRow:
    return MixedRow(
        at=signal.at,
        width=signal.width,
        signal=signal.name,
        gets=gets,
        verdict=verdict,
        consequence=consequence,
    )


_WORSE = frozenset(VERDICTS[2:5])
"""Verdicts that stay as they are: what would be misread is told, be a frame taken or not."""


def _overlapping(map_: Map) -> bool:
    """Tell whether two entries of a map claim one bit."""
    runs = sorted((entry.start, entry.end) for entry in map_.entries)
    return any(one[1] > two[0] for one, two in pairwise(runs))


def _same(signal: Signal) -> MixedRow:
    """Return the row of a signal that the producer has with the very same words."""
    bits = ArrivingBits(
        kind="signal", at=signal.at, width=signal.width, name=signal.name, whole=True
    )
    return _row(signal, (bits,), "same")
