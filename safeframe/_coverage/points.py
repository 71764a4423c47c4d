"""What can be exercised of a connection: points that follow from both maps and the protocol.

The points do not hang on the order of the maps or of their rows, so that results of several runs
can be put together. What cannot be asked for is told with its reason and never counts as seen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from .._bits import Place
from .._codec import encode, number_text, on_wire, to_raw, value_of
from .._errors import UsageError
from .._link import Link
from .._model import Map, Signal
from .._words import listed, way
from ..protocols import room
from ..protocols.recording import RecordingTraits
from ..relations._rules import CheckedRelation, Number, fits, rules_of
from ..relations._states import StateSpace, state_spaces

__all__ = [
    "KINDS",
    "CoveragePlan",
    "CoveragePoint",
    "OrderPlan",
    "PlacedField",
    "SignalPlan",
    "SpacePlan",
    "plan_of",
]

KINDS = (
    "non-safe value",
    "alone",
    "code point",
    "bit",
    "transition",
    "state",
    "order",
    "fault",
)
"""The kinds of points, in the order in which they are told."""

_ALIKE = ("at", "width", "type", "order", "safe", "codes", "edge", "valid_by")
"""Attributes of a signal from which its points follow; where both ends agree they count once."""
_ID_ERRORS = ("insertion", "addressing")
"""Communication errors that an id in the frame shows, where the protocol has one."""


class CoveragePoint(NamedTuple):
    """One thing to exercise: its kind, a direction or an end, a signal or so, what of it."""

    kind: str
    scope: str
    subject: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedField:
    """Where a signal stands in the data of a side, read as one number, octet 0 lowest.

    ``valid`` is the bit that must be 1 for the value to hold, 0 where there is none.
    """

    side: int
    start: int
    mask: int
    valid: int

    @property
    def bits(self) -> int:
        """All bits that the value hangs on."""
        return self.mask << self.start | self.valid


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalPlan:
    """The points of one signal, by number; None where it has no such point.

    Values are as they stand on the wire. ``safe`` are the words that mean the safe value,
    ``codes`` the points of the named values, None where values are not named one by one. Bit n at
    0 is the point ``bits`` + 2 n, at 1 the one after it.
    """

    place: PlacedField
    safe: frozenset[int]
    rest: int | None
    codes: Mapping[int, int] | None
    non_safe: int | None
    alone: int | None
    leaves: int | None
    returns: int | None
    bits: int | None


class SpaceColumn(NamedTuple):
    """A signal of a state space: the numbers that words mean, and the one for all others."""

    place: PlacedField
    numbers: Mapping[int, Number]
    other: Number | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacePlan:
    """The points of the states of one group of signals that relations tie together."""

    columns: tuple[SpaceColumn, ...]
    points: Mapping[tuple[Number, ...], int]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPlan:
    """The point of one relation about order: conditions are words that fields must have."""

    point: int
    when: tuple[tuple[PlacedField, frozenset[int]], ...]
    then: tuple[tuple[PlacedField, frozenset[int]], ...]
    after_us: int
    within_us: int | None


@dataclass(slots=True, kw_only=True)
class CoveragePlan:
    """All points of a connection, and what finds each; ``not_judged`` is what has no point.

    ``faults`` are points by side and key: ``rejected CHECK``, ``id``, ``silence``, ``fail-safe``,
    ``again``; ``checks`` are those of each side by which a wrong id is rejected.
    """

    link: Link
    points: list[CoveragePoint] = field(default_factory=list)
    not_judged: list[str] = field(default_factory=list)
    signals: list[SignalPlan] = field(default_factory=list)
    spaces: list[SpacePlan] = field(default_factory=list)
    orders: list[OrderPlan] = field(default_factory=list)
    faults: dict[tuple[int, str], int] = field(default_factory=dict)
    checks: tuple[set[str], set[str]] = field(default_factory=lambda: (set(), set()))
    restart: int | None = None
    restarts: tuple[str, ...] = ()

    def add(self, kind: str, scope: str, subject: str, what: str) -> int:
        """Add a point and return its number."""
        self.points.append(CoveragePoint(kind, scope, subject, what))
        return len(self.points) - 1


def plan_of(link: Link) -> CoveragePlan:
    """Return the points of a connection."""
    plan = CoveragePlan(link=link)
    sides = sorted((side for side in (0, 1) if link.carries[side]), key=lambda at: link.names[at])
    for side in sides:
        _direction(plan, side)
    known: set[object] = set()
    for end in sorted((0, 1), key=lambda at: link.names[at]):
        _relations(plan, end, known)
    for side in sides:
        _faults(plan, side)
    _restart(plan)
    return plan


def _scope(link: Link, side: int) -> str:
    return way(link.names[side], link.names[1 - side])


def _named(map_: Map) -> dict[str, Signal]:
    """Return the signals by name, of several with one name the first, as they are decoded."""
    first: dict[str, Signal] = {}
    for each in map_.signals:
        first.setdefault(each.name, each)
    return first


def _in_place_order(map_: Map) -> list[Signal]:
    return sorted(_named(map_).values(), key=lambda each: (each.start, each.name))


def _word(signal: Signal, number: Number) -> int:
    """Return the bits of a number as they stand on the wire; UsageError where it does not fit."""
    return on_wire(signal, to_raw(signal, number))


def _field(side: int, map_: Map, signal: Signal) -> PlacedField:
    validity = _named(map_).get(signal.valid_by)
    return PlacedField(
        side=side,
        start=signal.start,
        mask=(1 << signal.width) - 1,
        valid=0 if validity is None else 1 << validity.start,
    )


def _direction(plan: CoveragePlan, side: int) -> None:
    """Add the points of every signal as its producer means it, and as the consumer if unlike."""
    link = plan.link
    sent, received = link.sent(side), link.received(side)
    partners, rules = _named(sent), _rules(link, side)
    for map_, reader in ((sent, side), (received, 1 - side)):
        try:
            safe = int.from_bytes(encode(map_, {}), "little")
        except UsageError as error:
            safe = None
            told = f"{_scope(link, side)}: no signal alone by the map of {link.names[reader]}"
            plan.not_judged.append(f"{told}: {error}")
        for signal in _in_place_order(map_):
            partner = partners.get(signal.name) if reader != side else None
            if partner is None or any(
                getattr(signal, name) != getattr(partner, name) for name in _ALIKE
            ):
                _PlannedSignal(plan, side, reader, signal, rules).add(
                    _field(side, map_, signal), safe
                )


class _RelatedEnd(NamedTuple):
    """What an end says of one direction: its signals by name, and the relations that name each."""

    signals: dict[str, Signal]
    rules: dict[str, list[CheckedRelation]]
    key: str


def _rules(link: Link, side: int) -> tuple[_RelatedEnd, ...]:
    """Return what both ends say of the direction in which a side sends."""
    found = []
    for at, end in enumerate(link.connection.ends):
        direction = "sends" if at == side else "receives"
        rules: dict[str, list[CheckedRelation]] = {}
        for rule in rules_of(end):
            for key in rule.keys:
                rules.setdefault(key, []).append(rule)
        found.append(_RelatedEnd(_named(getattr(end, direction)), rules, f"{direction}."))
    return tuple(found)


class _PlannedSignal:
    """One signal on its way into the plan."""

    def __init__(
        self,
        plan: CoveragePlan,
        side: int,
        reader: int,
        signal: Signal,
        readers: tuple[_RelatedEnd, ...],
    ) -> None:
        names = plan.link.names
        self.plan, self.signal, self.readers = plan, signal, readers
        self.scope = _scope(plan.link, side)
        self.subject = signal.name
        if reader != side:
            self.subject += f" as {names[reader]} reads it"

    def add(self, place: PlacedField, rest: int | None) -> None:
        """Add the points of the signal; ``rest`` are the data in which all signals are safe."""
        signal = self.signal
        safe: frozenset[int] | None
        try:
            safe = frozenset({_word(signal, signal.safe)})
        except UsageError as error:
            self._leave_out("non-safe value", str(error))
            safe = None
        if safe is not None and signal.type == "float" and signal.safe == 0:
            safe = frozenset({_word(signal, 0.0), _word(signal, -0.0)})
        codes = self._codes() if signal.codes else None
        others = safe is not None
        if safe is not None and codes is not None and not codes.keys() - safe:
            self._leave_out("non-safe value", "no value besides the safe one has a name")
            others = False
        non_safe = self._point("non-safe value", "") if others else None
        alone = self._alone() if others and rest is not None else None
        leaves, returns = self._transitions() if others else (None, None)
        self.plan.signals.append(
            SignalPlan(
                place=place,
                safe=safe or frozenset(),
                rest=rest,
                codes=codes,
                non_safe=non_safe,
                alone=alone,
                leaves=leaves,
                returns=returns,
                bits=self._bits(),
            )
        )

    def _point(self, kind: str, what: str) -> int:
        return self.plan.add(kind, self.scope, self.subject, what)

    def _leave_out(self, what: str, why: str) -> None:
        self.plan.not_judged.append(f"{self.scope} {self.subject}, {what}: {why}")

    def _codes(self) -> dict[int, int]:
        found: dict[int, int] = {}
        for number, _ in self.signal.codes:
            try:
                word = _word(self.signal, number)
            except UsageError as error:
                self._leave_out(f"code point {number}", str(error))
                continue
            found[word] = self._point("code point", number_text(self.signal, number))
        return found

    def _transitions(self) -> tuple[int, int]:
        signal = self.signal
        if signal.type != "bool":
            return (
                self._point("transition", "leaves its safe value"),
                self._point("transition", "returns to its safe value"),
            )
        edges = {0: ("rising", "0 -> 1"), 1: ("falling", "1 -> 0")}
        points = []
        for before in (int(signal.safe), 1 - int(signal.safe)):
            name, text = edges[before]
            acts = signal.edge in (name, "both")
            points.append(self._point("transition", f"{text}, the acting edge" if acts else text))
        return points[0], points[1]

    def _bits(self) -> int | None:
        """Add both values of each bit of a number; a bool has its value and its transitions."""
        signal = self.signal
        if signal.type == "bool" or signal.codes:
            return None
        first = len(self.plan.points)
        for bit in range(signal.width):
            for value in (0, 1):
                self._point("bit", f"{Place.at(signal.start + bit)} at {value}")
        return first

    def _alone(self) -> int | None:
        """Add the point of being alone, unless relations forbid every state of that kind."""
        forbidden: set[str] = set()
        for number in self._candidates():
            broken = set(self._broken(number))
            if not broken:
                return self._point("alone", "")
            forbidden |= broken
        rules = listed(sorted(forbidden))
        self._leave_out("alone at its non-safe value", f"forbidden by {rules}")
        return None

    def _candidates(self) -> Iterator[Number]:
        """Yield the non-safe numbers that relations tell apart."""
        signal = self.signal
        if signal.codes:
            for number, _ in signal.codes:
                if number != signal.safe and fits(signal, number):
                    yield number
            return
        if signal.width == 1:
            yield value_of(signal, 1 - to_raw(signal, signal.safe))
            return
        named: set[Number] = {signal.safe}
        for reader in self.readers:
            key = reader.key + signal.name
            for rule in reader.rules.get(key, ()):
                named |= rule.when.get(key, frozenset()) | rule.then.get(key, frozenset())
        # Few numbers are named, so one that is not is near; a narrow signal may have none.
        near = (sign * at for at in range(len(named) + 1) for sign in (1, -1))
        yield from (number for number in near if number not in named and fits(signal, number))
        yield from sorted(number for number in named - {signal.safe} if fits(signal, number))

    def _broken(self, number: Number) -> Iterator[str]:
        """Yield the relations that this number breaks while everything else is safe."""
        for reader in self.readers:
            key = reader.key + self.signal.name
            changed: dict[str, Number] = {reader.key + self.signal.valid_by: 1, key: number}
            for rule in reader.rules.get(key, ()):
                # What the other direction carries is not known, and breaks nothing.
                state = {
                    each: changed.get(each, signal.safe)
                    for each in rule.keys
                    if (signal := reader.signals.get(each.removeprefix(reader.key))) is not None
                    and each.startswith(reader.key)
                }
                if rule.breaks(state):
                    yield rule.relation.name


def _places(plan: CoveragePlan, end: int) -> dict[str, tuple[PlacedField, Signal]]:
    """Return the signals of both directions of an end by the keys of relations."""
    found = {}
    for direction, side in (("sends", end), ("receives", 1 - end)):
        map_: Map = getattr(plan.link.connection.ends[end], direction)
        for name, signal in _named(map_).items():
            found[f"{direction}.{name}"] = _field(side, map_, signal), signal
    return found


def _relations(plan: CoveragePlan, number: int, known: set[object]) -> None:
    """Add the states and the orders of the relations of an end, unless the other end has them."""
    end, places = plan.link.connection.ends[number], _places(plan, number)
    for space in sorted(state_spaces(end), key=lambda each: sorted(each.keys)):
        _space(plan, end.name, space, [places[key] for key in space.keys], known)
    for rule in sorted(rules_of(end), key=lambda each: each.relation.name):
        if rule.relation.follows:
            _order(plan, end.name, rule, places, known)


def _column(
    place: PlacedField, signal: Signal, domain: tuple[Number, ...], other: Number | None
) -> SpaceColumn:
    words = {
        _word(signal, number): number
        for number in domain
        if number != other and fits(signal, number)
    }
    return SpaceColumn(place, words, other)


def _space(
    plan: CoveragePlan,
    end: str,
    space: StateSpace,
    places: list[tuple[PlacedField, Signal]],
    known: set[object],
) -> None:
    """Add the states of a group of signals, in the order of their places on the wire."""
    names = plan.link.names
    order = sorted(
        range(len(places)),
        key=lambda at: (names[places[at][0].side], places[at][0].start, space.keys[at]),
    )
    labels = [space.labels[at] for at in order]
    if space.legal is None:
        told = f"{end}, states of {listed(labels)}"
        plan.not_judged.append(f"{told}: {space.size} are too many to look at each")
        return
    domains = [space.domains[at] for at in order]
    others = [space.others[at] for at in order]
    columns = tuple(_column(*places[at], space.domains[at], space.others[at]) for at in order)
    # A code that does not fit its signal is a finding of the map; no data can show it.
    possible = (
        all(fits(signal, number) for (_, signal), number in zip(places, row, strict=True))
        for row in space.legal
    )
    rows = sorted(
        (
            tuple(row[at] for at in order)
            for row, can_be in zip(space.legal, possible, strict=True)
            if can_be
        ),
        key=lambda row: [domain.index(each) for domain, each in zip(domains, row, strict=True)],
    )
    form = tuple((each.place, tuple(sorted(each.numbers))) for each in columns), tuple(rows)
    if form in known:
        return
    known.add(form)
    points = {}
    for row in rows:
        cells = (
            "other" if number == other else str(number)
            for number, other in zip(row, others, strict=True)
        )
        points[row] = plan.add("state", end, ", ".join(labels), ", ".join(cells))
    plan.spaces.append(SpacePlan(columns=columns, points=points))


def _order(
    plan: CoveragePlan,
    end: str,
    rule: CheckedRelation,
    places: Mapping[str, tuple[PlacedField, Signal]],
    known: set[object],
) -> None:
    relation = rule.relation
    when, then = (
        tuple(
            (places[key][0], frozenset(_word(places[key][1], number) for number in numbers))
            for key, numbers in sorted(conditions.items())
        )
        for conditions in (rule.when, rule.then)
    )
    form = (frozenset(when), frozenset(then), relation.after_ms, relation.within_ms)
    if form in known:
        return
    known.add(form)
    plan.orders.append(
        OrderPlan(
            point=plan.add("order", end, relation.name, str(relation)),
            when=when,
            then=then,
            after_us=1000 * relation.after_ms,
            within_us=None if relation.within_ms is None else 1000 * relation.within_ms,
        )
    )


def _faults(plan: CoveragePlan, side: int) -> None:
    """Add what shows communication errors in the frames of a side, as its protocol names it."""
    link, scope = plan.link, _scope(plan.link, side)

    def add(key: str, what: str) -> None:
        plan.faults[side, key] = plan.add("fault", scope, "frames", what)

    try:
        caught = list(dict.fromkeys(_caught(link, side)))
    except UsageError as error:
        plan.not_judged.append(f"{scope}, fault classes: {error}")
        caught = []
    # Changed data come first; where an id is changed, its check is still that of a wrong id.
    corruption = [check for error, check in caught if error == "corruption"][:1]
    plan.checks[side].update(
        check for error, check in caught if error in _ID_ERRORS and check not in corruption
    )
    for check in dict.fromkeys(check for _, check in caught):
        if check != "watchdog" and check not in plan.checks[side]:
            add(f"rejected {check}", f"rejected: {check}")
    if plan.checks[side]:
        add("id", f"wrong id ({', '.join(sorted(plan.checks[side]))})")
    if link.watchdog_us is None:
        plan.not_judged.append(f"{scope}, silence: no watchdog is stated")
    else:
        add("silence", "silence longer than the watchdog")
    traits = room(link.profile).recording or RecordingTraits()
    if traits.fails_safe:
        add("fail-safe", "data not used after data in use")
    if traits.fails_safe or link.watchdog_us is not None:
        add("again", "data in use again after that or after silence")


def _caught(link: Link, side: int) -> Iterator[tuple[str, str]]:
    """Yield each communication error with a check that catches it."""
    from ..fixtures import ERRORS, faults  # deferred: they build frames.

    traits = room(link.profile).faults
    if traits is None:
        raise UsageError(f"no check of {link.profile} is named for them")
    if traits.runs is None:
        yield from zip(ERRORS, traits.caught_by(link, link.sent(side).size_octets), strict=True)
        return
    for made in faults(link, 0):
        for step in made.steps:
            if step.side == side and step.verdict == "reject":
                yield made.fault, step.check


def _restart(plan: CoveragePlan) -> None:
    plan.restarts = (room(plan.link.profile).recording or RecordingTraits()).restarts
    if plan.restarts:
        name = plan.link.connection.name
        plan.restart = plan.add("fault", name, "connection", "begins anew while it runs")
    else:
        plan.not_judged.append(f"restart: recordings of {plan.link.profile} do not show one")
