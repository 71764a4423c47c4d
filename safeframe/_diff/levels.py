"""How much a difference matters: one level for every field of the model."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from .._errors import UsageError

LEVELS = ("wire", "value", "name", "text")
"""From worst to mildest: wire is what the frame or the other end sees, value is what a number
means or when it counts, name is what things are called, text is what one end keeps to itself."""


def any_at_or_above(levels: Iterable[str], threshold: str) -> bool:
    """Return whether any level is at or above ``threshold``; UsageError where that is no level."""
    if threshold not in LEVELS:
        raise UsageError(f"a level must be one of {', '.join(LEVELS)}, not {threshold!r}")
    return any(LEVELS.index(level) <= LEVELS.index(threshold) for level in levels)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldRule:
    """How a field is compared; ``shared`` tells that both ends must hold the same value."""

    level: str
    kind: str = "attribute"
    shared: bool = True


_WIRE = FieldRule(level="wire")
_VALUE = FieldRule(level="value")
_NAME = FieldRule(level="name")
_OWN_TEXT = FieldRule(level="text", shared=False)

# The order of the fields is the order of the changes of one signal in every output.
FIELDS: Mapping[str, Mapping[str, FieldRule]] = {
    "Signal": {
        "at": FieldRule(level="wire", kind="moved"),
        "width": FieldRule(level="wire", kind="resized"),
        "type": _WIRE,
        "order": _WIRE,
        "safe": _VALUE,
        "one_means": _VALUE,
        "edge": _VALUE,
        "unit": _VALUE,
        "scale": _VALUE,
        "codes": _VALUE,
        "valid_by": _VALUE,
        "name": FieldRule(level="name", kind="renamed"),
        # What this end believes about its own program: nothing of it reaches the other end.
        "mirrors": _OWN_TEXT,
        "bind": _OWN_TEXT,
        "note": _OWN_TEXT,
    },
    "Reserved": {
        "at": FieldRule(level="wire", kind="reserve"),
        "width": FieldRule(level="wire", kind="reserve"),
        "value": FieldRule(level="wire", kind="reserve"),
        "note": _OWN_TEXT,
    },
    "ConnectionTable": {
        "profile": _WIRE,
        "edition": _WIRE,
        "id": _WIRE,
        # Not seen on the wire itself, but a claim about which frames may be there.
        "legal_octets": _WIRE,
        "watchdog_ms": _VALUE,
        "exchange_ms": _VALUE,
        "permitted_reaction_ms": _VALUE,
        "name": _NAME,
        "network": _NAME,
    },
    "End": {
        "role": FieldRule(level="wire", shared=False),
        "address": FieldRule(level="wire", shared=False),
        # A free parameter may seed a CRC or name a device: without its profile, assume the worst.
        "parameters": FieldRule(level="wire", kind="parameter", shared=False),
        # Which states are legal is said to people and tests: nothing of it is on the wire.
        "relations": FieldRule(level="text", kind="relation", shared=False),
        "name": _NAME,
        "peer": _NAME,
        "allowances": FieldRule(level="text", kind="allowance", shared=False),
        "note": _OWN_TEXT,
    },
    "Relation": {
        name: FieldRule(level="text", kind="relation", shared=False)
        for name in (
            "name",
            "when",
            "requires",
            "excludes",
            "follows",
            "after_ms",
            "within_ms",
            "reason",
        )
    },
    "Allowance": {
        "rule": FieldRule(level="text", kind="allowance", shared=False),
        "signal": FieldRule(level="text", kind="allowance", shared=False),
        "reason": FieldRule(level="text", kind="allowance", shared=False),
    },
}

PARTS: Mapping[str, tuple[str, ...]] = {
    "Signal": ("where",),
    "Reserved": ("where",),
    "Map": ("entries", "where"),
    "End": ("connection_table", "imported", "sends", "receives", "where", "lines"),
    "Relation": ("where",),
    "Allowance": ("where",),
}
"""Fields without a level: their parts are compared, or they only say where a statement stands."""
