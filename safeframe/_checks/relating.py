"""Rules about the relations that the ends state between their signals."""

from __future__ import annotations

from collections.abc import Iterator

from .._errors import UsageError
from .._findings import Finding, Spot
from .._model import End, Relation
from .registry import Context, Finder, rule

# The module relations is imported where it is needed: most maps state none.


def _spot(end: End, relation: Relation) -> Spot:
    return Spot(end=end.name, where=relation.where)


def _culprits(*relations: Relation) -> list[tuple[str, str]]:
    """Return what a finding about relations is about: a spot names the end only."""
    return [("", f"relations.{relation.name}") for relation in relations]


def _named(relations: tuple[Relation, ...]) -> str:
    return ", ".join(f"{relation.name!r}" for relation in relations)


@rule(
    name="relation-unknown-signal",
    severity="error",
    scope="end",
    title="A relation names a signal or value that does not exist",
    why="A rule about a signal that was renamed or removed is never broken: nobody watches "
    "what it was written for.",
    remedy="name a signal of this end and a value that it can have",
)
def relation_unknown_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find conditions that no signal, several signals, or no value of the signal fits."""
    for end in context.connection.ends:
        if not end.relations:
            continue
        from ..relations import faults

        for fault in faults(end):
            yield find(
                f"the relation {fault.relation.name!r} cannot be judged: {fault.message}",
                [_spot(end, fault.relation)],
                culprits=_culprits(fault.relation),
                remedy=fault.remedy,
            )


@rule(
    name="relation-contradicts",
    severity="error",
    scope="end",
    title="The relations forbid what must be possible",
    why="A release that can never come is noticed at commissioning; then somebody drops the "
    "relation that was right.",
    remedy="correct one of the relations",
)
def relation_contradicts(context: Context, find: Finder) -> Iterator[Finding]:
    """Find relations that leave no legal state, or keep a signal from a value they name."""
    merged: dict[tuple[str, str], list[tuple[End, Relation]]] = {}
    for end in context.connection.ends:
        if not end.relations:
            continue
        from ..relations import contradictions

        try:
            found = contradictions(end)
        except UsageError as error:
            text = f"whether the relations contradict each other is not known: {error}"
            culprits = [(end, relation) for relation in end.relations]
            merged.setdefault((text, "state fewer relations between the same signals"), culprits)
            continue
        for entry in found:
            noun = "relation" if len(entry.relations) == 1 else "relations"
            text = f"by the {noun} {_named(entry.relations)}, {'; '.join(entry.facts)}"
            culprits = merged.setdefault((text, ""), [])
            culprits += ((end, relation) for relation in entry.relations)
    for (text, remedy), stated in merged.items():
        yield find(
            text,
            [_spot(end, relation) for end, relation in stated],
            remedy=remedy,
            culprits=_culprits(*(relation for _, relation in stated)),
        )


@rule(
    name="safe-state-forbidden",
    severity="warning",
    scope="end",
    title="A relation forbids the state of all safe values",
    why="Every connection starts in that state and falls back to it on loss of communication: "
    "the relation is broken there whatever the programs do.",
    remedy="state the order with follows, or allow it with the reason why it does not matter",
)
def safe_state_forbidden(context: Context, find: Finder) -> Iterator[Finding]:
    """Find requires and excludes relations that the safe values break."""
    for end in context.connection.ends:
        if not end.relations:
            continue
        from .._codec import safe_number
        from ..relations import violations

        sends, receives = (
            {signal.name: safe_number(signal) for signal in map_.signals}
            for map_ in (end.sends, end.receives)
        )
        for violation in violations(end, sends=sends, receives=receives):
            yield find(
                f"with every signal at its safe value, {end.name} breaks the relation "
                f"{violation.message}",
                [_spot(end, violation.relation)],
                culprits=_culprits(violation.relation),
            )


@rule(
    name="relations-differ",
    severity="error",
    scope="connection",
    title="The two ends state one relation differently",
    why="Each end is programmed and tested by its own statement; one of them lets a state "
    "pass that the other forbids.",
    remedy="state the relation alike at both ends, or under two names",
)
def relations_differ(context: Context, find: Finder) -> Iterator[Finding]:
    """Find relations of one name that do not say the same of the same signals."""
    first, second = context.connection.ends
    if not (first.relations and second.relations):
        return
    from ..relations._rules import unequal

    for relation, other in unequal(context.connection):
        yield find(
            f"the relation {relation.name!r} is [{relation}] at {first.name} and [{other}] at "
            f"{second.name}",
            [_spot(first, relation), _spot(second, other)],
            culprits=_culprits(relation),
        )
