"""Which states the relations of an end leave: contradictions and truth tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice, product
from math import prod

from .._codec import safe_number
from .._errors import UsageError
from .._model import End, Relation, Signal
from ._rules import CheckedRelation, Number, find_signals, fits, rules_of

MAX_ROWS = 4096
"""Most rows of one truth table; nobody reads that many."""

_MAX_STEPS = 200_000
"""Most steps of one search for a legal state: some tenths of a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """The fewest relations found that together make ``facts`` so, such as "x can never be 1"."""

    relations: tuple[Relation, ...]
    facts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StateRow:
    """One state; ``broken`` names the relations that forbid it, ``is_safe`` all safe values."""

    values: tuple[str, ...]
    broken: tuple[str, ...]
    is_safe: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthTable:
    """Every state of signals that relations tie together, in counting order.

    Of a signal with many values only those that a relation names appear, and one other; of a code
    its code points, its safe value, and one other where it can carry one: no program means that
    one, but it may stand on the wire. ``orders`` are the relations about the order of states, which
    no single state breaks.
    """

    columns: tuple[str, ...]
    rows: tuple[StateRow, ...]
    relations: tuple[Relation, ...]
    orders: tuple[Relation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StateSpace:
    """Signals that relations tie together, and their states that no relation forbids.

    ``keys`` are signals such as ``sends.permit_torque``, ``domains`` the numbers of each that are
    told apart, ``others`` of each the one that stands for all numbers not named (None: there is
    none, or it is no code point, which no program means). ``legal`` are the states as numbers by
    key, None where there are too many states to look at each; ``size`` is how many there are.
    """

    keys: tuple[str, ...]
    labels: tuple[str, ...]
    domains: tuple[tuple[Number, ...], ...]
    others: tuple[Number | None, ...]
    size: int
    legal: tuple[tuple[Number, ...], ...] | None


class _Group:
    """Relations that hang together through their signals, and the numbers worth telling apart."""

    def __init__(
        self, end: End, rules: Sequence[CheckedRelation], signals: Mapping[str, tuple[int, Signal]]
    ) -> None:
        self.rules = tuple(rules)
        self.static = tuple(rule for rule in rules if not rule.relation.follows)
        self.domains: dict[str, tuple[Number, ...]] = {}
        self.labels: dict[str, str] = {}
        self.safe: dict[str, Number] = {}
        self.others: set[tuple[str, Number]] = set()
        self.unnamed: set[tuple[str, Number]] = set()
        self.strays: dict[str, tuple[Number, ...]] = {}
        named = {key for rule in rules for key in rule.keys}
        for key in sorted(named, key=lambda key: signals[key][0]):
            signal = signals[key][1]
            plain = len(find_signals(end, signal.name)) == 1
            self.labels[key] = signal.name if plain else key
            self.safe[key] = safe_number(signal)
            self.domains[key] = self._domain(key, signal)

    def _domain(self, key: str, signal: Signal) -> tuple[Number, ...]:
        if signal.codes:
            return self._code_points(key, signal)
        named = {
            number
            for rule in self.rules
            for conditions in (rule.when, rule.then)
            for number in conditions.get(key, ())
        }
        if signal.width == 1 and signal.type != "int":
            return (0, 1)
        # The safe value stands for all that no relation names: so its state is found in the table.
        # A NaN cannot, as it equals nothing.
        safe = self.safe[key]
        first = (safe,) if safe == safe else ()
        other = _other_than(named, signal, first)
        self.others |= {(key, number) for number in other}
        return (*sorted(named), *other)

    def _code_points(self, key: str, signal: Signal) -> tuple[Number, ...]:
        """Return the code points and the safe value; a signal holds that before any program runs.

        What has no code point otherwise is no state that a program can mean, so it makes nothing
        possible; a table shows it, as a receiver may see it.
        """
        safe = {signal.safe} if fits(signal, signal.safe) else set()
        points = {number for number, _ in signal.codes}
        self.unnamed |= {(key, number) for number in safe - points}
        self.strays[key] = _other_than(points | safe, signal)
        self.others |= {(key, number) for number in self.strays[key]}
        return tuple(sorted(points | safe))

    def shown(self) -> list[tuple[Number, ...]]:
        """Return the numbers of each signal that a truth table shows."""
        return [(*numbers, *self.strays.get(key, ())) for key, numbers in self.domains.items()]

    def text(self, key: str, number: Number) -> str:
        """Return a number as the cell of a truth table."""
        return "other" if (key, number) in self.others else str(number)

    def legal(
        self, rules: Sequence[CheckedRelation], fixed: Mapping[str, frozenset[Number]]
    ) -> dict[str, Number] | None:
        """Return a state that no rule forbids, each fixed signal among its numbers, or None."""
        keys = list(self.domains)
        choices = [
            [number for number in self.domains[key] if key not in fixed or number in fixed[key]]
            for key in keys
        ]
        depth_of = {key: depth for depth, key in enumerate(keys)}
        due: list[list[CheckedRelation]] = [[] for _ in keys]
        for rule in rules:
            due[max(depth_of[key] for key in rule.keys)].append(rule)
        state: dict[str, Number] = {}
        tries = [iter(choices[0])]
        steps = 0
        while tries:
            depth = len(tries) - 1
            steps += 1
            if steps > _MAX_STEPS:
                raise UsageError(
                    f"relations between {len(keys)} signals must be decided within "
                    f"{_MAX_STEPS} steps, not more (simplify them)"
                )
            number = next(tries[-1], None)
            if number is None:
                tries.pop()
                state.pop(keys[depth], None)
                continue
            state[keys[depth]] = number
            if any(rule.breaks(state) for rule in due[depth]):
                continue
            if depth + 1 == len(keys):
                return state
            tries.append(iter(choices[depth + 1]))
        return None

    def core(self, fixed: Mapping[str, frozenset[Number]]) -> tuple[Relation, ...]:
        """Return rules of which none can be spared to make ``fixed`` impossible."""
        # Whole blocks go first: what can be spared one by one in this order can be spared at once.
        needed: list[CheckedRelation] = []
        waiting = [list(self.static)]
        while waiting:
            block = waiting.pop()
            later = [rule for rest in reversed(waiting) for rule in rest]
            if self.legal([*needed, *later], fixed) is None:
                continue
            half = len(block) // 2
            if half:
                waiting += [block[half:], block[:half]]
            else:
                needed += block
        return tuple(rule.relation for rule in needed)

    def goals(self) -> Iterator[tuple[str, list[dict[str, frozenset[Number]]], list[Relation]]]:
        """Yield what must be possible: what it is called if not, ways to it, whose goal it is."""
        for key, numbers in self.domains.items():
            for number in numbers:
                if (key, number) not in self.others | self.unnamed:
                    label = f"{self.labels[key]} can never be {number}"
                    yield label, [{key: frozenset((number,))}], []
        for rule in self.rules:
            if rule.relation.follows:
                both = {
                    key: rule.when.get(key, rule.then.get(key, frozenset()))
                    & rule.then.get(key, rule.when.get(key, frozenset()))
                    for key in rule.keys
                }
                text = f"{rule.relation.name} can never begin"
                yield text, [both], [rule.relation]
                if rule.relation.after_ms:  # For so long it holds alone.
                    alone = [
                        rule.then | {key: rule.then.get(key, frozenset(self.domains[key])) - when}
                        for key, when in rule.when.items()
                    ]
                    yield text, alone, [rule.relation]


def _other_than(
    named: set[Number], signal: Signal, first: tuple[Number, ...] = ()
) -> tuple[Number, ...]:
    """Return one number besides those named that a signal can carry, or none."""
    count = len(named)
    tried = chain(first, range(count + 1), range(-1, -count - 2, -1))
    fitting = (number for number in tried if number not in named and fits(signal, number))
    return tuple(islice(fitting, 1))


class _Heap:
    """Relations that hang together through signals, as they are found: the last one's number."""

    __slots__ = ("keys", "rank", "rules")

    def __init__(self) -> None:
        self.rank = 0
        self.keys: set[str] = set()
        self.rules: list[CheckedRelation] = []


def _groups(end: End) -> list[_Group]:
    heaps: list[_Heap] = []
    heap_of: dict[str, _Heap] = {}
    for rank, rule in enumerate(rules_of(end)):
        named = rule.keys
        met = {id(heap): heap for key in named if (heap := heap_of.get(key)) is not None}
        if not met:
            heaps.append(_Heap())
            met = {id(heaps[-1]): heaps[-1]}
        joined = max(met.values(), key=lambda heap: len(heap.keys))
        if len(met) > 1:
            ordered = sorted(met.values(), key=lambda heap: heap.rank)
            joined.rules = [rule for heap in ordered for rule in heap.rules]
        for heap in met.values():
            if heap is not joined:
                named |= heap.keys
                heap.rules = []
        joined.rank = rank
        joined.rules.append(rule)
        joined.keys |= named
        heap_of.update(dict.fromkeys(named, joined))
    heaps.sort(key=lambda heap: heap.rank)
    signals: dict[str, tuple[int, Signal]] = {}
    for direction in ("sends", "receives"):
        for signal in getattr(end, direction).signals:
            signals.setdefault(f"{direction}.{signal.name}", (len(signals), signal))
    return [_Group(end, heap.rules, signals) for heap in heaps if heap.rules]


def contradictions(end: End) -> tuple[Contradiction, ...]:
    """Return what the relations of an end make impossible, one entry per set of culprits.

    Impossible may be every state, a value of a signal that a relation names, or the beginning of
    a state that must follow another. Raises UsageError where relations are too many to decide.
    """
    found: list[Contradiction] = []
    for group in _groups(end):
        if group.legal(group.static, {}) is None:
            fact = "no state is legal"
            found.append(Contradiction(relations=group.core({}), facts=(fact,)))
            continue
        facts: dict[tuple[str, ...], tuple[tuple[Relation, ...], list[str]]] = {}
        for text, ways, own in group.goals():
            if all(group.legal(group.static, fixed) is None for fixed in ways):
                named = [*(one for fixed in ways for one in group.core(fixed)), *own]
                culprits = tuple({id(relation): relation for relation in named}.values())
                key = tuple(relation.name for relation in culprits)
                texts = facts.setdefault(key, (culprits, []))[1]
                texts += [text] * (text not in texts)
        found += (
            Contradiction(relations=culprits, facts=tuple(texts))
            for culprits, texts in facts.values()
        )
    return tuple(found)


def truth_tables(end: End) -> tuple[TruthTable, ...]:
    """Return one table for each group of relations that share signals.

    Relations with faults are left out. Raises UsageError above MAX_ROWS rows.
    """
    return tuple(map(_table, _groups(end)))


def _table(group: _Group) -> TruthTable:
    keys = list(group.domains)
    shown = group.shown()
    count = prod(map(len, shown))
    if count > MAX_ROWS:
        raise UsageError(
            f"a truth table must have at most {MAX_ROWS} rows, not {count} "
            f"({len(keys)} signals hang together through "
            f"{', '.join(rule.relation.name for rule in group.rules)})"
        )
    rows: list[StateRow] = []
    for numbers in product(*shown):
        state = dict(zip(keys, numbers, strict=True))
        rows.append(
            StateRow(
                values=tuple(group.text(key, number) for key, number in state.items()),
                broken=tuple(rule.relation.name for rule in group.static if rule.breaks(state)),
                is_safe=state == group.safe,
            )
        )
    return TruthTable(
        columns=tuple(group.labels[key] for key in keys),
        rows=tuple(rows),
        relations=tuple(rule.relation for rule in group.static),
        orders=tuple(rule.relation for rule in group.rules if rule.relation.follows),
    )


def state_spaces(end: End) -> tuple[StateSpace, ...]:
    """Return one space for each group of relations that share signals, too large ones included.

    Relations with faults are left out.
    """
    return tuple(map(_space, _groups(end)))


def _space(group: _Group) -> StateSpace:
    keys, domains = tuple(group.domains), tuple(group.domains.values())
    size = prod(map(len, domains))
    legal = None
    if size <= MAX_ROWS:
        legal = tuple(
            numbers
            for numbers in product(*domains)
            if not any(rule.breaks(dict(zip(keys, numbers, strict=True))) for rule in group.static)
        )
    return StateSpace(
        keys=keys,
        labels=tuple(group.labels[key] for key in keys),
        domains=domains,
        others=tuple(
            next((number for number in group.domains[key] if (key, number) in group.others), None)
            for key in keys
        ),
        size=size,
        legal=legal,
    )
