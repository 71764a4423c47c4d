"""Every key a map file knows: one table from which reader, writer, schema and tests work."""

from __future__ import annotations

from .._bits import MAX_OCTETS
from .._document.kinds import LINE, NAME, NOTE, array, choice, integer
from .._document.tables import Key
from .._model import EDGES, ORDERS, TYPES
from .kinds import CODES, CONDITIONS, DECIMAL, NUMBER, OCTETS, PLACE, RAW, SHA256

FORMAT = "safeframe-map/1"
"""The value of the key ``format``: the name and edition of this file format."""

TABLES = (
    *("connection", "end", "imported", "sends", "receives", "relations", "parameters", "allow"),
)
"""The tables of a map file, in the order in which they are written."""

PARAMETERS = "parameters"
TEXTS = array(NAME)
_WIDTH = integer(1, 8 * MAX_OCTETS)
_MILLISECONDS = integer(0, (1 << 32) - 1)
_NUMBER = integer(0, (1 << 64) - 1)


CONNECTION: dict[str, Key] = {
    "name": Key(kind=NAME, required=True, meaning="name of the connection, the same at both ends"),
    "profile": Key(kind=NAME, required=True, meaning="safety profile, for instance `fscp-12-1`"),
    "edition": Key(kind=LINE, meaning="edition of the profile"),
    "id": Key(kind=_NUMBER, default=None, meaning="connection id"),
    "watchdog_ms": Key(
        kind=_MILLISECONDS, default=None, meaning="time after which silence is an error, ms"
    ),
    "exchange_ms": Key(
        kind=_MILLISECONDS, default=None, meaning="longest time for one frame each way, ms"
    ),
    "permitted_reaction_ms": Key(
        kind=_MILLISECONDS,
        default=None,
        meaning="reaction time that the safety function leaves to the connection, ms",
    ),
    "legal_octets": Key(
        kind=OCTETS, default=(), meaning="legal data sizes where the profile leaves them open"
    ),
    "network": Key(kind=LINE, meaning="domain in which ids and addresses are unique"),
}
END: dict[str, Key] = {
    "name": Key(kind=NAME, required=True, meaning="name of this end"),
    "peer": Key(kind=NAME, required=True, meaning="name of the other end"),
    "role": Key(kind=LINE, meaning="a word of the profile, for instance `master`"),
    "address": Key(kind=_NUMBER, default=None, meaning="safety address of this end"),
    "note": Key(kind=NOTE, meaning="a remark"),
}
IMPORTED: dict[str, Key] = {
    "format": Key(kind=NAME, required=True, meaning="format of the file, for instance `esi`"),
    "file": Key(kind=NAME, required=True, meaning="name of the file, without its folder"),
    "sha256": Key(kind=SHA256, required=True, meaning="SHA-256 of the octets of the file"),
    "select": Key(kind=TEXTS, default=(), meaning="what was taken from the file"),
    "options": Key(kind=TEXTS, default=(), meaning="what was decided on the command line"),
    "version": Key(kind=LINE, meaning="version of this program that read the file"),
}
SIGNAL: dict[str, Key] = {
    "at": Key(kind=PLACE, required=True, meaning="place of the least significant bit"),
    "name": Key(kind=NAME, required=True, meaning="name of the signal, the same at both ends"),
    "width": Key(kind=_WIDTH, default=1, meaning="width in bits"),
    "type": Key(kind=choice(*TYPES), default="bool", meaning="how the bits are understood"),
    "order": Key(kind=choice(*ORDERS), default="little", meaning="octet order of a wide value"),
    "safe": Key(kind=NUMBER, default=0, meaning="raw value on loss of communication"),
    "one_means": Key(kind=LINE, meaning="what a 1 stands for"),
    "edge": Key(kind=choice(*EDGES[1:]), meaning="acting edge of an acknowledge bit"),
    "unit": Key(kind=LINE, meaning="unit of the scaled value"),
    "scale": Key(kind=DECIMAL, default="1", meaning="factor from the raw value to `unit`"),
    "codes": Key(kind=CODES, default=(), meaning="names of the values of type `code`"),
    "valid_by": Key(kind=LINE, meaning="signal that says whether this value holds"),
    "mirrors": Key(kind=LINE, meaning="signal of the opposite direction repeated here"),
    "bind": Key(kind=LINE, meaning="program variable at this end"),
    "note": Key(kind=NOTE, meaning="a remark"),
}
RESERVED: dict[str, Key] = {
    "at": Key(kind=PLACE, required=True, meaning="place of the first bit"),
    "reserved": Key(kind=_WIDTH, required=True, meaning="number of unused bits"),
    "value": Key(kind=RAW, default=0, meaning="what the producer puts there"),
    "note": Key(kind=NOTE, meaning="a remark"),
}
RELATION: dict[str, Key] = {
    "name": Key(kind=NAME, required=True, meaning="name of the relation, once only"),
    "when": Key(kind=CONDITIONS, required=True, default=(), meaning="conditions that start it"),
    "requires": Key(kind=CONDITIONS, default=(), meaning="what must hold as long as `when` does"),
    "excludes": Key(kind=CONDITIONS, default=(), meaning="what must not hold while `when` does"),
    "follows": Key(kind=CONDITIONS, default=(), meaning="what must hold before `when` begins"),
    "after_ms": Key(
        kind=_MILLISECONDS, default=0, meaning="shortest time from `follows` to `when`, ms"
    ),
    "within_ms": Key(
        kind=_MILLISECONDS, default=None, meaning="longest time from `follows` to `when`, ms"
    ),
    "reason": Key(kind=NAME, required=True, meaning="why; shown in the record"),
}
ALLOW: dict[str, Key] = {
    "rule": Key(kind=NAME, required=True, meaning="name of the rule whose finding is accepted"),
    "signal": Key(
        kind=LINE,
        meaning="the signal concerned, `sends.x` or `receives.x` where it is both; empty means the "
        "whole map",
    ),
    "reason": Key(kind=NAME, required=True, meaning="why it is accepted; shown in the record"),
}
