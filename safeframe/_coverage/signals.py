"""The points of signals: values, bits, codes and transitions, as each end understands them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from .._bits import Place
from .._codec import encode, number_text, to_raw, value_of
from .._errors import UsageError
from .._link import Link
from .._model import Map, Signal
from .._words import listed
from ..relations._rules import CheckedRelation, Number, fits, rules_of
from .fields import PlacedField, field_of, named, word_of
from .plan import CoveragePlan, SignalPlan

_ALIKE = ("at", "width", "type", "order", "safe", "codes", "edge", "valid_by")
"""Attributes of a signal from which its points follow; where both ends agree they count once."""


def _in_place_order(map_: Map) -> list[Signal]:
    return sorted(named(map_).values(), key=lambda each: (each.start, each.name))


def add_signals(plan: CoveragePlan, side: int) -> None:
    """Add the points of every signal as its producer means it, and as the consumer if unlike."""
    link = plan.link
    sent, received = link.sent(side), link.received(side)
    partners, rules = named(sent), _rules(link, side)
    for map_, reader in ((sent, side), (received, 1 - side)):
        try:
            safe = int.from_bytes(encode(map_, {}), "little")
        except UsageError as error:
            safe = None
            told = f"{plan.scope(side)}: no signal alone by the map of {link.names[reader]}"
            plan.not_judged.append(f"{told}: {error}")
        for signal in _in_place_order(map_):
            partner = partners.get(signal.name) if reader != side else None
            if partner is None or any(
                getattr(signal, name) != getattr(partner, name) for name in _ALIKE
            ):
                _PlannedSignal(plan, side, reader, signal, rules).add(
                    field_of(side, map_, signal), safe
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
        found.append(_RelatedEnd(named(getattr(end, direction)), rules, f"{direction}."))
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
        self.scope = plan.scope(side)
        self.subject = signal.name
        if reader != side:
            self.subject += f" as {names[reader]} reads it"

    def add(self, place: PlacedField, rest: int | None) -> None:
        """Add the points of the signal; ``rest`` are the data in which all signals are safe."""
        signal = self.signal
        safe: frozenset[int] | None
        try:
            safe = frozenset({word_of(signal, signal.safe)})
        except UsageError as error:
            self._leave_out("non-safe value", str(error))
            safe = None
        if safe is not None and signal.type == "float" and signal.safe == 0:
            safe = frozenset({word_of(signal, 0.0), word_of(signal, -0.0)})
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
                word = word_of(self.signal, number)
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
