"""Every key a map file knows: one table from which reader, writer, schema and tests work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .._bits import MAX_OCTETS
from .._model import EDGES, ORDERS, TYPES
from .kinds import (
    CODES,
    CONDITIONS,
    DECIMAL,
    LINE,
    NAME,
    NOTE,
    NUMBER,
    OCTETS,
    PLACE,
    RAW,
    Kind,
    choice,
    integer,
)

__all__ = [
    "ALLOW",
    "CONNECTION",
    "END",
    "FORMAT",
    "PARAMETERS",
    "RELATION",
    "RESERVED",
    "SIGNAL",
    "TABLES",
    "MapKey",
]

FORMAT = "safeframe-map/1"
"""The value of the key ``format``: the name and edition of this file format."""

TABLES = ("connection", "end", "sends", "receives", "relations", "parameters", "allow")
"""The tables of a map file, in the order in which they are written."""

PARAMETERS = "parameters"
_WIDTH = integer(1, 8 * MAX_OCTETS)
_MILLISECONDS = integer(0, (1 << 32) - 1)
_NUMBER = integer(0, (1 << 64) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class MapKey:
    """One key: its kind, whether it must be there, its default, and what it means."""

    kind: Kind
    meaning: str
    required: bool = False
    default: Any = ""


CONNECTION: dict[str, MapKey] = {
    "name": MapKey(
        kind=NAME, required=True, meaning="name of the connection, the same at both ends"
    ),
    "profile": MapKey(kind=NAME, required=True, meaning="safety profile, for instance `fscp-12-1`"),
    "edition": MapKey(kind=LINE, meaning="edition of the profile"),
    "id": MapKey(kind=_NUMBER, default=None, meaning="connection id"),
    "watchdog_ms": MapKey(
        kind=_MILLISECONDS, default=None, meaning="time after which silence is an error, ms"
    ),
    "exchange_ms": MapKey(
        kind=_MILLISECONDS, default=None, meaning="longest time for one frame each way, ms"
    ),
    "permitted_reaction_ms": MapKey(
        kind=_MILLISECONDS,
        default=None,
        meaning="reaction time that the safety function leaves to the connection, ms",
    ),
    "legal_octets": MapKey(
        kind=OCTETS, default=(), meaning="legal data sizes where the profile leaves them open"
    ),
    "network": MapKey(kind=LINE, meaning="domain in which ids and addresses are unique"),
}
END: dict[str, MapKey] = {
    "name": MapKey(kind=NAME, required=True, meaning="name of this end"),
    "peer": MapKey(kind=NAME, required=True, meaning="name of the other end"),
    "role": MapKey(kind=LINE, meaning="a word of the profile, for instance `master`"),
    "address": MapKey(kind=_NUMBER, default=None, meaning="safety address of this end"),
    "note": MapKey(kind=NOTE, meaning="a remark"),
}
SIGNAL: dict[str, MapKey] = {
    "at": MapKey(kind=PLACE, required=True, meaning="place of the least significant bit"),
    "name": MapKey(kind=NAME, required=True, meaning="name of the signal, the same at both ends"),
    "width": MapKey(kind=_WIDTH, default=1, meaning="width in bits"),
    "type": MapKey(kind=choice(*TYPES), default="bool", meaning="how the bits are understood"),
    "order": MapKey(kind=choice(*ORDERS), default="little", meaning="octet order of a wide value"),
    "safe": MapKey(kind=NUMBER, default=0, meaning="raw value on loss of communication"),
    "one_means": MapKey(kind=LINE, meaning="what a 1 stands for"),
    "edge": MapKey(kind=choice(*EDGES[1:]), meaning="acting edge of an acknowledge bit"),
    "unit": MapKey(kind=LINE, meaning="unit of the scaled value"),
    "scale": MapKey(kind=DECIMAL, default="1", meaning="factor from the raw value to `unit`"),
    "codes": MapKey(kind=CODES, default=(), meaning="names of the values of type `code`"),
    "valid_by": MapKey(kind=LINE, meaning="signal that says whether this value holds"),
    "mirrors": MapKey(kind=LINE, meaning="signal of the opposite direction repeated here"),
    "bind": MapKey(kind=LINE, meaning="program variable at this end"),
    "note": MapKey(kind=NOTE, meaning="a remark"),
}
RESERVED: dict[str, MapKey] = {
    "at": MapKey(kind=PLACE, required=True, meaning="place of the first bit"),
    "reserved": MapKey(kind=_WIDTH, required=True, meaning="number of unused bits"),
    "value": MapKey(kind=RAW, default=0, meaning="what the producer puts there"),
    "note": MapKey(kind=NOTE, meaning="a remark"),
}
RELATION: dict[str, MapKey] = {
    "name": MapKey(kind=NAME, required=True, meaning="name of the relation, once only"),
    "when": MapKey(kind=CONDITIONS, required=True, default=(), meaning="conditions that start it"),
    "requires": MapKey(
        kind=CONDITIONS, default=(), meaning="what must hold as long as `when` does"
    ),
    "excludes": MapKey(kind=CONDITIONS, default=(), meaning="what must not hold while `when` does"),
    "follows": MapKey(kind=CONDITIONS, default=(), meaning="what must hold before `when` begins"),
    "after_ms": MapKey(
        kind=_MILLISECONDS, default=0, meaning="shortest time from `follows` to `when`, ms"
    ),
    "within_ms": MapKey(
        kind=_MILLISECONDS, default=None, meaning="longest time from `follows` to `when`, ms"
    ),
    "reason": MapKey(kind=NAME, required=True, meaning="why; shown in the record"),
}
ALLOW: dict[str, MapKey] = {
    "rule": MapKey(kind=NAME, required=True, meaning="name of the rule whose finding is accepted"),
    "signal": MapKey(kind=LINE, meaning="the signal concerned; empty means the whole map"),
    "reason": MapKey(kind=NAME, required=True, meaning="why it is accepted; shown in the record"),
}
