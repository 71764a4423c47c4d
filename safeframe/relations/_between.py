"""Whether the relations of the two ends say the same of the same signals."""

from __future__ import annotations

from collections.abc import Iterator

from .._model import Conditions, Connection, End, Relation
from ._rules import find_signals


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
