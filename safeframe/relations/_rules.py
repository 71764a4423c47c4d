"""Which signals a relation names, what is wrong with its conditions, what breaks it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from .._codec import Reading, to_raw, value_of
from .._errors import UsageError
from .._model import Conditions, Connection, End, Relation, Signal
from .._words import guess

_MOST_HINTS = 20
"""Names that match no signal for which near ones are looked for: it takes long among thousands."""

Number = int | float
Values = Mapping[str, Reading | int | float]
"""Signals of one direction by name, as read from data or as plain numbers before scaling."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A condition that cannot be judged: ``name`` as the relation writes it, and why."""

    relation: Relation
    name: str
    message: str
    remedy: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """A relation that does not hold, with the values that break it as text."""

    relation: Relation
    message: str


def find_signals(end: End, name: str) -> tuple[tuple[str, Signal], ...]:
    """Return (direction, signal) of every signal that ``name`` can mean at this end."""
    return _index(end).get(name, ())


_Found = tuple[tuple[str, Signal], ...]
_indexed: list[tuple[End, dict[str, _Found]]] = []


def _index(end: End) -> dict[str, _Found]:
    """Return what every name can mean at an end; that of the end asked about last is kept."""
    for known, index in _indexed:
        if known is end:
            return index
    signals: dict[str, tuple[str, Signal]] = {}
    for direction in ("sends", "receives"):
        for signal in getattr(end, direction).signals:
            signals.setdefault(f"{direction}.{signal.name}", (direction, signal))
    made: dict[str, dict[str, tuple[str, Signal]]] = {}
    for key, found in signals.items():
        for name in (found[1].name, key):
            made.setdefault(name, {})[key] = found
    index = {name: tuple(found.values()) for name, found in made.items()}
    _indexed[:] = [(end, index), *_indexed[:1]]
    return index


def faults(end: End) -> tuple[Fault, ...]:
    """Return every condition that names no signal, two signals, or an impossible number."""
    found: list[Fault] = []
    for relation in end.relations:
        found += _faults(end, relation, hints=len(found) < _MOST_HINTS)
    return tuple(found)


def _faults(end: End, relation: Relation, *, hints: bool = False) -> Iterator[Fault]:
    for name, numbers in relation.when + relation.then:
        found = find_signals(end, name)
        if len(found) > 1:
            ways = " or ".join(f"{direction}.{signal.name}" for direction, signal in found)
            message = f"{name} is more than one signal of {end.name}"
            yield Fault(relation=relation, name=name, message=message, remedy=f"write {ways}")
            continue
        if not found:
            message = f"{name} is no signal of {end.name}"
            remedy = _nearest(end, name) if hints else ""
            yield Fault(relation=relation, name=name, message=message, remedy=remedy)
            continue
        _, signal = found[0]
        for number in numbers:
            try:
                carried = value_of(signal, to_raw(signal, number))
            except UsageError as error:
                yield Fault(relation=relation, name=name, message=str(error))
                continue
            if carried != number:
                message = f"{signal.name} of {signal.width} bits cannot be {number}, only {carried}"
                yield Fault(relation=relation, name=name, message=message)
            if signal.codes and number not in dict(signal.codes):
                message = f"{signal.name} has no code point {number}"
                yield Fault(relation=relation, name=name, message=message)


def _nearest(end: End, name: str) -> str:
    known = [signal.name for map_ in (end.sends, end.receives) for signal in map_.signals]
    near = guess(name.rpartition(".")[2], known)
    return f"did you mean {near}?" if near else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedRelation:
    """A relation without faults: its conditions by keys such as ``sends.permit_torque``."""

    relation: Relation
    when: dict[str, frozenset[Number]]
    then: dict[str, frozenset[Number]]

    @property
    def keys(self) -> set[str]:
        """Every signal that it names."""
        return self.when.keys() | self.then.keys()

    def breaks(self, state: Mapping[str, Number]) -> bool:
        """Tell whether a state is forbidden; one whose outcome is not yet known is not."""
        if self.relation.follows or holds(self.when, state) is not True:
            return False
        return holds(self.then, state) is (self.relation.kind == "excludes")


def holds(conditions: Mapping[str, frozenset[Number]], state: Mapping[str, Number]) -> bool | None:
    """Tell whether all conditions hold, None where that hangs on a signal not in the state."""
    known = True
    for key, numbers in conditions.items():
        number = state.get(key)
        if number is None:
            known = False
        elif number not in numbers:
            return False
    return True if known else None


def rules_of(end: End) -> tuple[CheckedRelation, ...]:
    """Return the relations of an end that have no faults, ready to be judged."""
    return tuple(
        CheckedRelation(
            relation=relation,
            when=_by_key(end, relation.when),
            then=_by_key(end, relation.then),
        )
        for relation in end.relations
        if not any(_faults(end, relation))
    )


def _by_key(end: End, conditions: Conditions) -> dict[str, frozenset[Number]]:
    found: dict[str, frozenset[Number]] = {}
    for name, numbers in conditions:
        ((direction, signal),) = find_signals(end, name)
        key = f"{direction}.{signal.name}"
        # A signal may be named in two ways; then both must hold.
        found[key] = found.get(key, frozenset(numbers)) & frozenset(numbers)
    return found


def violations(
    end: End, *, sends: Values | None = None, receives: Values | None = None
) -> tuple[Violation, ...]:
    """Return the requires and excludes relations that these values break.

    A relation that hangs on a signal whose value is not given is not judged, nor is one with
    faults. ``decode`` gives the values of one direction. Raises UsageError for a name that is no
    signal of the direction: nothing would be judged by it.
    """
    state = state_of(end, sends, receives)
    return tuple(violation_of(rule, state) for rule in rules_of(end) if rule.breaks(state))


def state_of(end: End, sends: Values | None, receives: Values | None) -> dict[str, Number]:
    """Return the numbers of both directions by keys such as ``sends.permit_torque``."""
    state: dict[str, Number] = {}
    index = _index(end)
    for direction, values in (("sends", sends), ("receives", receives)):
        for name, value in (values or {}).items():
            key = f"{direction}.{name}"
            if key not in index:
                remedy = _nearest(end, name)
                raise UsageError(
                    f"a value must be of a signal that {end.name} {direction}, not of {name!r}"
                    + (f" ({remedy})" if remedy else "")
                )
            if not isinstance(value, Reading):
                state[key] = value
            elif value.raw is not None:
                state[key] = value_of(value.signal, value.raw)
    return state


def violation_of(rule: CheckedRelation, state: Mapping[str, Number], why: str = "") -> Violation:
    """Return the violation of a rule by a state; ``why`` replaces the list of its values."""
    values = ", ".join(
        f"{key.partition('.')[2]} is {state[key]}" for key in sorted(rule.keys) if key in state
    )
    relation = rule.relation
    return Violation(relation=relation, message=f"{relation.name}: {relation}, but {why or values}")


def fits(signal: Signal, number: Number) -> bool:
    """Tell whether a signal can carry a number."""
    try:
        to_raw(signal, number)
    except UsageError:
        return False
    return True


def unequal(connection: Connection) -> Iterator[tuple[Relation, Relation]]:
    """Yield the relations of one name, as each end has it, that do not say the same."""
    first, second = connection.ends
    others = {relation.name: relation for relation in second.relations}
    for relation in first.relations:
        other = others.get(relation.name)
        if other is not None and _meaning(first, relation, 0) != _meaning(second, other, 1):
            yield relation, other


def _meaning(end: End, relation: Relation, second: int) -> tuple[object, ...]:
    """Return what a relation says, its signals seen from the first end."""

    def seen(conditions: Conditions) -> frozenset[object]:
        named: set[object] = set()
        for name, numbers in conditions:
            found = find_signals(end, name)
            # A condition that names no signal, or two, is another rule's.
            keys = frozenset(
                ((direction == "receives") ^ bool(second), signal.name)
                for direction, signal in found
            )
            named.add((keys or name, numbers))
        return frozenset(named)

    return (
        relation.kind,
        seen(relation.when),
        seen(relation.then),
        relation.after_ms,
        relation.within_ms,
    )
