"""Signals as fields of the data of a side, and numbers as the words that stand in them."""

from __future__ import annotations

from dataclasses import dataclass

from .._codec import on_wire, to_raw
from .._model import Map, Signal
from ..relations._rules import Number


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


def field_of(side: int, map_: Map, signal: Signal) -> PlacedField:
    """Return the place of a signal in the data of a side, with the bit that it is valid by."""
    validity = named(map_).get(signal.valid_by)
    return PlacedField(
        side=side,
        start=signal.start,
        mask=(1 << signal.width) - 1,
        valid=0 if validity is None else 1 << validity.start,
    )


def named(map_: Map) -> dict[str, Signal]:
    """Return the signals by name, of several with one name the first, as they are decoded."""
    first: dict[str, Signal] = {}
    for each in map_.signals:
        first.setdefault(each.name, each)
    return first


def word_of(signal: Signal, number: Number) -> int:
    """Return the bits of a number as they stand on the wire; UsageError where it does not fit."""
    return on_wire(signal, to_raw(signal, number))
