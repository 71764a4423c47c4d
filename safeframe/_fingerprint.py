"""Fingerprints of maps: SHA-256 over canonical JSON. They tell equal from different, no more.

The wire fingerprint covers what both ends must share, told from producer to consumer, so that
both ends of a clean connection have the same. The end fingerprint covers the rest of what one
end says. Both together cover every field of the model; comments, layout and the order of rows
are in neither. docs/fingerprints.md describes the canonical JSON and recomputes it. A
fingerprint is no signature: nobody needs a secret to make one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from functools import cache
from itertools import pairwise
from operator import itemgetter
from typing import Any, TypeVar

from ._bits import Place
from ._model import Connection, ConnectionTable, End, Map, Reserved, Signal
from ._source import Location

__all__ = [
    "END_FORMAT",
    "SHARED",
    "WIRE_FORMAT",
    "canonical",
    "digest",
    "end_document",
    "end_fingerprint",
    "plain",
    "wire_document",
    "wire_facts",
    "wire_fingerprint",
]

Entry = TypeVar("Entry", Signal, Reserved)

WIRE_FORMAT = "safeframe-wire/1"
END_FORMAT = "safeframe-end/1"

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
"""The fields in the wire fingerprint; every other field, a new one too, is in that of the end."""

_SHOWN = 16
"""Hexadecimal digits shown where a whole fingerprint does not fit."""


def canonical(value: Any) -> str:
    """Return plain data as canonical JSON: keys sorted, no blanks, ASCII, no not-a-number."""
    import json  # deferred: costs start-up time, and not every run of `check` ends clean.

    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def digest(octets: bytes) -> str:
    """Return the SHA-256 of octets, such as those of a file, as 64 hexadecimal digits."""
    import hashlib  # deferred, as above.

    return hashlib.sha256(octets).hexdigest()


def plain(value: Any) -> Any:
    """Return a value of the library as plain data for JSON; where it stands in a file is left out.

    Places become texts, tuples arrays, octets hexadecimal, dataclasses and named tuples objects.
    """
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, Place):
        return str(value)
    if isinstance(value, bytes):
        return value.hex()
    if dataclasses.is_dataclass(value):
        return {
            field.name: plain(inner)
            for field in dataclasses.fields(value)
            if not isinstance(inner := getattr(value, field.name), Location)
        }
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {name: plain(inner) for name, inner in value._asdict().items()}
    if isinstance(value, dict):
        return {name: plain(inner) for name, inner in value.items()}
    return [plain(inner) for inner in value]


def wire_fingerprint(end: End) -> str:
    """Return the SHA-256 over what this end believes both ends share, 64 hexadecimal digits.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> safeframe.wire_fingerprint(first) == safeframe.wire_fingerprint(second)
    False
    """
    return digest(canonical(wire_document(end)).encode("ascii"))


def end_fingerprint(end: End) -> str:
    """Return the SHA-256 over what this end alone says, 64 hexadecimal digits.

    >>> end = safeframe.load("sc1.toml")
    >>> len(safeframe.end_fingerprint(end))
    64
    """
    return digest(canonical(end_document(end)).encode("ascii"))


def wire_document(end: End) -> dict[str, Any]:
    """Return what ``wire_fingerprint`` is computed over, as plain data."""
    directions = [
        _direction(end.name, end.peer, end.sends),
        _direction(end.peer, end.name, end.receives),
    ]
    return {
        "format": WIRE_FORMAT,
        "connection": _fields(end.connection_table, shared=True),
        "directions": sorted(directions, key=lambda row: (row["producer"], canonical(row))),
    }


def end_document(end: End) -> dict[str, Any]:
    """Return what ``end_fingerprint`` is computed over, as plain data."""
    own = _fields(end, shared=False)
    for name in ("relations", "allowances"):
        own[name].sort(key=canonical)
    return {
        "format": END_FORMAT,
        "connection": {
            "name": end.connection_table.name,
            **_fields(end.connection_table, shared=False),
        },
        "end": {"name": end.name, **own},
        "sends": _own_rows(end.sends),
        "receives": _own_rows(end.receives),
    }


def wire_facts(connection: Connection) -> tuple[tuple[str, str], ...]:
    """Return (label, text) lines that show the wire fingerprint of a connection, short."""
    first, second = (wire_fingerprint(end)[:_SHOWN] for end in connection.ends)
    label = f"{connection.name} wire fingerprint"
    if first == second:
        return ((label, first),)
    one, two = connection.ends
    return ((label, f"{first} at {one.name}, {second} at {two.name} (diff shows why)"),)


def _direction(producer: str, consumer: str, map_: Map) -> dict[str, Any]:
    # Bit by bit, because one run of 5 bits and runs of 2 and 3 bits are the same on the wire.
    reserved = [
        [index, run.value >> (index - run.start) & 1]
        for run in map_.reserved
        for index in range(run.start, run.end)
    ]
    return {
        "producer": producer,
        "consumer": consumer,
        "signals": _rows(map_.signals, _shared_row),
        "reserved": sorted(reserved),
    }


def _shared_row(signal: Signal) -> dict[str, Any]:
    row = _fields(signal, shared=True)
    if signal.type == "float":
        # 0, 0.0 and -0.0 are one safe value to the model, so they must be one here.
        row["safe"] = float(signal.safe) + 0.0
    return row


def _own_rows(map_: Map) -> dict[str, Any]:
    return {
        "signals": _rows(map_.signals, _own_signal),
        "reserved": _rows(map_.reserved, _own_run),
    }


def _own_signal(signal: Signal) -> dict[str, Any]:
    return {"at": str(signal.at), "name": signal.name, **_fields(signal, shared=False)}


def _own_run(run: Reserved) -> dict[str, Any]:
    return {"at": str(run.at), "width": run.width, **_fields(run, shared=False)}


def _rows(entries: Iterable[Entry], row: Callable[[Entry], dict[str, Any]]) -> list[dict[str, Any]]:
    """Return one row for each entry in place order; those of one place by their text."""
    rows = [(entry.start, row(entry)) for entry in entries]
    rows.sort(key=itemgetter(0))
    if any(one == two for (one, _), (two, _) in pairwise(rows)):
        rows.sort(key=lambda placed: (placed[0], canonical(placed[1])))
    return [placed for _, placed in rows]


def _fields(value: Signal | Reserved | ConnectionTable | End, *, shared: bool) -> dict[str, Any]:
    """Return the fields that both ends share, or all others."""
    names = _names(type(value), shared)  # type: ignore[arg-type]  # Classes are hashable.
    return {name: plain(getattr(value, name)) for name in names}


@cache
def _names(kind: type[Signal | Reserved | ConnectionTable | End], shared: bool) -> tuple[str, ...]:
    """Return the names of these fields, without the parts that are told by themselves."""
    return tuple(
        field.name
        for field in dataclasses.fields(kind)
        if field.compare
        and field.name not in ("connection_table", "sends", "receives")
        and (field.name in SHARED[kind.__name__]) is shared
    )
