"""The points of relations: the states that they allow, and the orders that they ask for."""

from __future__ import annotations

from collections.abc import Mapping

from .._model import Map, Signal
from .._words import listed
from ..relations._rules import CheckedRelation, Number, fits, rules_of
from ..relations._states import StateSpace, state_spaces
from .fields import PlacedField, field_of, named, word_of
from .plan import CoveragePlan, OrderPlan, SpaceColumn, SpacePlan


def _places(plan: CoveragePlan, end: int) -> dict[str, tuple[PlacedField, Signal]]:
    """Return the signals of both directions of an end by the keys of relations."""
    found = {}
    for direction, side in (("sends", end), ("receives", 1 - end)):
        map_: Map = getattr(plan.link.connection.ends[end], direction)
        for name, signal in named(map_).items():
            found[f"{direction}.{name}"] = field_of(side, map_, signal), signal
    return found


def add_relations(plan: CoveragePlan, number: int, known: set[object]) -> None:
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
        word_of(signal, number): number
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
            (places[key][0], frozenset(word_of(places[key][1], number) for number in numbers))
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
