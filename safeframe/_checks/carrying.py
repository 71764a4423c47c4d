"""What several ends together make of a value, as far as the maps and the route say so."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from .._canonical import form
from .._model import Signal
from .handing_on import as_carried, declared, exact_number

if TYPE_CHECKING:
    from .._following import Handover


class Carried(NamedTuple):
    """A value on its way: the raw number, None where nothing says which one it has become.

    While the unit is another one than it was, the raw number is unknown, too; ``quantity`` is
    what was measured in ``unit`` then, and it is known again where that unit comes back.
    """

    raw: Fraction | None
    quantity: Fraction | None = None
    unit: str = ""


UNKNOWN = Carried(None)


def carrier(handover: Handover) -> Callable[[Carried], Carried]:
    """Return what gives what leaves an end for a value that arrives there."""
    step, arriving, leaving = handover.step, handover.arriving, handover.leaving
    if step.codes or step.inverts:
        table = dict(step.codes) if step.codes else {0: 1, 1: 0}
        return lambda value: _translated(value, table)
    before, after = exact_number(arriving.scale), exact_number(leaving.scale)
    if not isinstance(before, Fraction) or not isinstance(after, Fraction) or not after:
        return lambda value: UNKNOWN
    units = form(arriving, "unit"), form(leaving, "unit")
    changes = declared(handover, "unit") and units[0] != units[1]

    def carried(value: Carried) -> Carried:
        if value == UNKNOWN:
            return UNKNOWN
        if not changes:
            return value if value.raw is None else _held(leaving, value.raw * before / after)
        quantity, unit = value.quantity, value.unit
        if value.raw is not None:
            quantity, unit = value.raw * before, units[0]
        assert quantity is not None
        if units[1] != unit:
            return Carried(None, quantity, unit)
        return _held(leaving, quantity / after)

    return carried


def _translated(value: Carried, table: dict[int, int]) -> Carried:
    to = None if value.raw is None else table.get(value.raw)  # type: ignore[call-overload]
    return UNKNOWN if to is None else Carried(Fraction(to))


def _held(signal: Signal, raw: Fraction) -> Carried:
    """Return a number as a signal carries it; what happens to one that does not fit is unknown."""
    if signal.type == "float":
        return Carried(Fraction(as_carried(signal, raw)))
    low, high = 0, 1 << signal.width
    if signal.type == "int":
        low, high = -(high >> 1), high >> 1
    return Carried(raw) if raw.denominator == 1 and low <= raw < high else UNKNOWN
