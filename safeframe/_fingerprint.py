"""Fingerprints of maps: SHA-256 over canonical JSON. They tell equal from different, no more.

The wire fingerprint covers what both ends must share, told from producer to consumer, so that
both ends of a clean connection have the same. The end fingerprint covers the rest of what one
end says. Both together cover every field of the model; comments, layout and the order of rows
are in neither. docs/fingerprints.md describes the canonical JSON and recomputes it. A
fingerprint is no signature: nobody needs a secret to make one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import pairwise
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from ._bits import Place
from ._canonical import edition, former, parameters, remarks, reserve
from ._model import Connection, ConnectionTable, End, Map, Signal
from ._source import Location

if TYPE_CHECKING:
    from .protocols import Profile

Profiles = Mapping[str, "Profile"]

# The fields of level wire, value and name that both ends hold. Not read from diff.levels, whose
# package costs a check 10 ms at start-up; a test compares both tables.
SHARED = {
    "Signal": (
        *("name", "at", "width", "type", "order", "safe", "one_means", "edge", "unit", "scale"),
        *("codes", "valid_by"),
    ),
    "Reserved": ("at", "width", "value"),
    "ConnectionTable": (
        *("name", "profile", "edition", "id", "watchdog_ms", "exchange_ms"),
        *("permitted_reaction_ms", "legal_octets", "network"),
    ),
    "End": ("name", "peer"),
}
"""The fields in the wire fingerprint; every other field, a new one too, is in that of the end.

Of the parameters of an end, those that both ends must hold alike are in the wire fingerprint.
"""

_SHOWN = 16
"""Hexadecimal digits shown where a whole fingerprint does not fit."""


def canonical(value: Any) -> str:
    """Return plain data as canonical JSON: keys sorted, no blanks, ASCII, no not-a-number."""
    return str(_encoder()(value))


@cache
def _encoder() -> Callable[[Any], str]:
    import json  # deferred: costs start-up time, and not every run of `check` ends clean.

    return json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False).encode


def digest(octets: bytes) -> str:
    """Return the SHA-256 of octets, such as those of a file, as 64 hexadecimal digits."""
    import hashlib  # deferred, as above.

    return hashlib.sha256(octets).hexdigest()


def plain(value: Any) -> Any:
    """Return a value of the library as plain data for JSON; where it stands in a file is left out.

    Places become texts, tuples arrays, octets hexadecimal, dataclasses and named tuples objects.
    """
    kind = type(value)
    return value if kind in _PLAIN else _maker(kind)(value)  # type: ignore[arg-type]  # Hashable.


_PLAIN = frozenset({str, int, float, bool, type(None)})
"""Types of most values, which are plain already."""


@cache
def _maker(kind: type) -> Callable[[Any], Any]:
    """Return what makes values of a type plain; found once for each type."""
    if issubclass(kind, str | int | float):
        return lambda value: value
    if kind is Place:
        return str
    if kind is bytes:
        return bytes.hex
    if dataclasses.is_dataclass(kind):
        names = tuple(field.name for field in dataclasses.fields(kind))
        return lambda value: {
            name: inner if type(inner) in _PLAIN else plain(inner)
            for name in names
            if type(inner := getattr(value, name)) is not Location
        }
    if issubclass(kind, tuple) and hasattr(kind, "_asdict"):
        return lambda value: {name: plain(inner) for name, inner in value._asdict().items()}
    if issubclass(kind, dict):
        return lambda value: {name: plain(inner) for name, inner in value.items()}
    return lambda value: [plain(inner) for inner in value]


def wire_fingerprint(end: End, *, own_profiles: Profiles | None = None) -> str:
    """Return the SHA-256 over what this end believes both ends share, 64 hexadecimal digits.

    ``own_profiles`` are the user's profiles by name: a profile says which parameters are shared.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> safeframe.wire_fingerprint(first) == safeframe.wire_fingerprint(second)
    False
    """
    return digest(canonical(wire_document(end, own_profiles)).encode("ascii"))


def end_fingerprint(end: End, *, own_profiles: Profiles | None = None) -> str:
    """Return the SHA-256 over what this end alone says, 64 hexadecimal digits.

    >>> end = safeframe.load("sc1.toml")
    >>> len(safeframe.end_fingerprint(end))
    64
    """
    return digest(canonical(end_document(end, own_profiles)).encode("ascii"))


def wire_document(end: End, own_profiles: Profiles | None = None) -> dict[str, Any]:
    """Return what ``wire_fingerprint`` is computed over, as plain data."""
    directions = [
        _direction(end.name, end.peer, end.sends),
        _direction(end.peer, end.name, end.receives),
    ]
    if end.name == end.peer:  # Then the names settle no order.
        directions.sort(key=canonical)
    table = _fields(end.connection_table, shared=True)
    rows = [row for direction in directions for row in direction["signals"]]
    read = [
        text for row in rows for text in (row["one_means"], *(name for _, name in row["codes"]))
    ]
    return {
        "format": edition(
            [table["edition"], table["network"], *(row["unit"] for row in rows)], read
        ),
        "covers": "wire",
        "connection": table,
        "parameters": _parameters(end, own_profiles, shared=True),
        "directions": sorted(directions, key=itemgetter("producer")),
    }


def end_document(end: End, own_profiles: Profiles | None = None) -> dict[str, Any]:
    """Return what ``end_fingerprint`` is computed over, as plain data."""
    own = _fields(end, shared=False)
    for name in ("relations", "allowances"):
        own[name].sort(key=canonical)
    sends, receives = _own_rows(end.sends), _own_rows(end.receives)
    bound = [row["bind"] for rows in (sends, receives) for row in rows["signals"]]
    return {
        "format": edition([own["role"]], bound),
        "covers": "end",
        "connection": {
            "name": end.connection_table.name,
            **_fields(end.connection_table, shared=False),
        },
        "end": {
            "name": end.name,
            **own,
            "parameters": _parameters(end, own_profiles, shared=False),
        },
        "sends": sends,
        "receives": receives,
    }


def wire_facts(
    connection: Connection, own_profiles: Profiles | None = None
) -> tuple[tuple[str, str], ...]:
    """Return (label, text) lines that show the wire fingerprint of a connection, short."""
    first, second = (
        wire_fingerprint(end, own_profiles=own_profiles)[:_SHOWN] for end in connection.ends
    )
    label = f"{connection.name} wire fingerprint"
    if first == second:
        return ((label, first),)
    one, two = connection.ends
    return ((label, f"{first} at {one.name}, {second} at {two.name} (diff shows why)"),)


def _parameters(end: End, own_profiles: Profiles | None, *, shared: bool) -> dict[str, Any]:
    return {
        found.name: list(found.form)
        for found in parameters(end, own_profiles)
        if found.shared is shared
    }


def _direction(producer: str, consumer: str, map_: Map) -> dict[str, Any]:
    return {
        "producer": producer,
        "consumer": consumer,
        "signals": _rows(map_.signals, lambda signal: _fields(signal, shared=True)),
        "reserved": plain(reserve(map_)),
    }


def _own_rows(map_: Map) -> dict[str, Any]:
    return {
        "signals": _rows(map_.signals, _own_signal),
        "reserved": [
            {"at": str(Place.at(start)), "width": end - start, "note": note}
            for start, end, note in remarks(map_)
        ],
    }


def _own_signal(signal: Signal) -> dict[str, Any]:
    return {"at": str(signal.at), "name": signal.name, **_fields(signal, shared=False)}


def _rows(
    signals: Iterable[Signal], row: Callable[[Signal], dict[str, Any]]
) -> list[dict[str, Any]]:
    """Return one row for each signal in place order; those of one place by their text."""
    rows = [(signal.start, row(signal)) for signal in signals]
    rows.sort(key=itemgetter(0))
    if any(one == two for (one, _), (two, _) in pairwise(rows)):
        rows.sort(key=lambda placed: (placed[0], canonical(placed[1])))
    return [placed for _, placed in rows]


def _fields(value: Signal | ConnectionTable | End, *, shared: bool) -> dict[str, Any]:
    """Return the forms of the fields that both ends share, or of all others."""
    found = _forms(type(value), shared)  # type: ignore[arg-type]  # Classes are hashable.
    return {name: one if type(one := make(value)) in _PLAIN else plain(one) for name, make in found}


@cache
def _forms(
    kind: type[Signal | ConnectionTable | End], shared: bool
) -> tuple[tuple[str, Callable[[Any], Any]], ...]:
    """Return these fields and what makes their forms, without what is told by itself."""
    return tuple(
        (field.name, former(kind, field.name))
        for field in dataclasses.fields(kind)
        if field.compare
        and field.name not in ("connection_table", "sends", "receives", "parameters")
        and (field.name in SHARED[kind.__name__]) is shared
    )
