"""The relations of one end over time."""

from __future__ import annotations

import copy

from .._model import End, Relation
from .._words import milliseconds
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


class Watch:
    """The relations of one end over time: feed it the values as they come.

    A violation is told when it begins, not again while it lasts. What held when the watch began
    counts as having held for long, and what cannot be known is not judged: ``untimed`` are the
    relations of which a time was not, as the values that begin or end it came without one.
    """

    def __init__(self, end: End) -> None:
        self._end = end
        self._rules = rules_of(end)
        self._state: dict[str, Number] = {}
        # By position: nothing keeps two relations from having one name.
        self._broken: set[int] = set()
        self._orders = [_Order() for _ in self._rules]

    @property
    def untimed(self) -> tuple[Relation, ...]:
        """The relations of which no time could be told at least once, in the order of the end."""
        orders = zip(self._rules, self._orders, strict=True)
        return tuple(rule.relation for rule, order in orders if order.is_untimed)

    def __copy__(self) -> Watch:
        """Return a watch that goes on from here on its own."""
        made = object.__new__(Watch)
        made._end, made._rules = self._end, self._rules
        made._state, made._broken = dict(self._state), set(self._broken)
        made._orders = [copy.copy(order) for order in self._orders]
        return made

    def feed(
        self, time_ms: float | None, *, sends: Values | None = None, receives: Values | None = None
    ) -> tuple[Violation, ...]:
        """Take the values of one frame, or of both directions, at a time that never goes back.

        It counts to the microsecond: the difference of two floats is no exact time. None is a time
        that nobody knows: the order is judged all the same, no time is. Raises UsageError for a
        name that is no signal of the direction.
        """
        time_us = None if time_ms is None else round(time_ms * 1000)
        self._state |= state_of(self._end, sends, receives)
        found: list[Violation] = []
        for number, rule in enumerate(self._rules):
            if rule.relation.follows:
                if why := self._orders[number].look(rule, self._state, time_us):
                    found.append(violation_of(rule, self._state, why))
                continue
            broken = rule.breaks(self._state)
            if broken and number not in self._broken:
                found.append(violation_of(rule, self._state))
            (self._broken.add if broken else self._broken.discard)(number)
        return tuple(found)


class _Order:
    """One relation about order as it goes on; each of its violations is one moment."""

    __slots__ = ("_is_due", "_is_lost", "_since", "_then", "_when", "is_untimed")

    def __init__(self) -> None:
        self._when: bool | None = None
        self._then: bool | None = None
        self._since: int | None = None
        self._is_due = False
        # ``follows`` began, and nobody knows when.
        self._is_lost = False
        self.is_untimed = False

    def look(self, rule: CheckedRelation, state: dict[str, Number], time_us: int | None) -> str:
        """Return why the relation is broken at this moment, or an empty text."""
        relation = rule.relation
        when, then = holds(rule.when, state), holds(rule.then, state)
        begins = when is True and self._when is False
        began = then is True and self._then is False
        if began:
            # Only here is it known since when it holds.
            self._since, self._is_due = time_us, relation.within_ms is not None
            self._is_lost = time_us is None
        since, is_lost = self._since, self._is_lost
        self._when, self._then = when, then
        if then is not True:
            self._since, self._is_lost = None, False
        # What held until now is judged before this moment counts: ``follows`` may end, and
        # ``when`` begin, only after the time has run out.
        passed = None if since is None or time_us is None else time_us - since
        if began:
            passed = 0  # One moment, whatever its time.
        is_late = (
            self._is_due
            and passed is not None
            and relation.within_ms is not None
            and passed > relation.within_ms * 1000
        )
        is_over = when is not False or then is not True
        if passed is None and (is_lost or since is not None):
            is_early = begins and then is True and relation.after_ms > 0
            # After a beginning without a time nobody can say what comes within it.
            self.is_untimed |= is_early or (self._is_due and (is_lost or is_over))
        if is_late or is_over:
            # It is told once for each beginning of ``follows``. A ``when`` that came may end and
            # come again at any time; one that is not known may have come.
            self._is_due = False
        if begins and then is False:
            return "it came first"
        if passed is None:
            return ""
        if is_late:
            return f"it {'came' if begins else 'has not come'} after {milliseconds(passed)}"
        if begins and then is True and passed < relation.after_ms * 1000:
            return f"it came after {milliseconds(passed)}"
        return ""
