"""The relations of one end over time."""

from __future__ import annotations

from .._model import End
from ._rules import (
    CheckedRelation,
    Number,
    Values,
    Violation,
    holds,
    rules_of,
    state_of,
    violation_of,
)

__all__ = ["Watch"]


class Watch:
    """The relations of one end over time: feed it the values as they come.

    A violation is told when it begins, not again while it lasts. What held when the watch began
    counts as having held for long.
    """

    def __init__(self, end: End) -> None:
        self._rules = rules_of(end)
        self._state: dict[str, Number] = {}
        self._broken: set[str] = set()
        self._since: dict[str, float | None] = {}
        self._seen_false: set[str] = set()
        self._when: dict[str, bool | None] = {}

    def feed(
        self, time_ms: float, *, sends: Values | None = None, receives: Values | None = None
    ) -> tuple[Violation, ...]:
        """Take the values of one frame, or of both directions, at a time that never goes back."""
        self._state |= state_of(sends, receives)
        found: list[Violation] = []
        for rule in self._rules:
            name = rule.relation.name
            if rule.relation.follows:
                why = self._order(rule, time_ms)
                broken = bool(why)
            else:
                why, broken = "", rule.breaks(self._state)
            if broken and name not in self._broken:
                found.append(violation_of(rule, self._state, why))
            (self._broken.add if broken else self._broken.discard)(name)
        return tuple(found)

    def _order(self, rule: CheckedRelation, time_ms: float) -> str:
        """Return why a follows relation is broken now, or an empty text."""
        relation = rule.relation
        when, then = holds(rule.when, self._state), holds(rule.then, self._state)
        before = self._when.get(relation.name)
        self._when[relation.name] = when
        if then:
            # None: it held from the first frame on, nobody knows since when.
            start = time_ms if relation.name in self._seen_false else None
            self._since.setdefault(relation.name, start)
        elif then is False:
            self._seen_false.add(relation.name)
            self._since.pop(relation.name, None)
        if when and before is False and then is False:
            return "it came first"
        since = self._since.get(relation.name)
        if since is None:
            return ""
        passed = time_ms - since
        if when and before is False and passed < relation.after_ms:
            return f"it came after {passed:g} ms"
        if when is False and relation.within_ms is not None and passed > relation.within_ms:
            return f"it has not come after {passed:g} ms"
        return ""
