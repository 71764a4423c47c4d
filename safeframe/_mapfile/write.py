"""Write an End as the canonical text of a map file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from math import copysign
from typing import Any

from .._document.paths import is_bare
from .._document.problems import Problems
from .._document.tables import Key
from .._model import End, Reserved, Signal
from .assemble import assemble
from .keys import ALLOW, CONNECTION, END, FORMAT, IMPORTED, RELATION, RESERVED, SIGNAL, TABLES
from .kinds import CONDITIONS

_ESCAPED = re.compile(r'["\\\x00-\x1f\x7f-\x9f\u2028\u2029]')
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def plain_data(end: End, *, path: str, known: bool = False) -> dict[str, Any]:
    """Return an End as the plain data of its file: the keys that are not at their default.

    Raises InputError for what no map file can say, such as a safe value that is no number; of an
    End that is ``known`` to be from a file nothing is asked.
    """
    data: dict[str, Any] = {
        "format": FORMAT,
        "connection": _stated(end.connection_table, CONNECTION),
        "end": _stated(end, END),
        "imported": _stated(end.imported, IMPORTED) if end.imported else {},
        "sends": [plain_entry(entry) for entry in end.sends.entries],
        "receives": [plain_entry(entry) for entry in end.receives.entries],
        "relations": [_stated(relation, RELATION) for relation in end.relations],
        "parameters": dict(sorted(end.parameters)),
        "allow": [_stated(allowance, ALLOW) for allowance in end.allowances],
    }
    data = {name: value for name, value in data.items() if value not in ({}, [])}
    if not known:
        assemble(data, problems=Problems(path), line_of=lambda _: 0)
    return data


def plain_entry(entry: Signal | Reserved) -> dict[str, Any]:
    """Return an entry as the plain data of its row."""
    if isinstance(entry, Reserved):
        row = _stated(entry, {key: RESERVED[key] for key in ("at", "value", "note")})
        return {"at": row.pop("at"), "reserved": entry.width, **row}
    row = _stated(entry, SIGNAL)
    if entry.type in ("float", "code"):
        row["width"] = entry.width
    if entry.type == ("bool" if entry.width == 1 else "uint"):
        row.pop("type", None)
    else:
        row["type"] = entry.type
    return {key: row[key] for key in SIGNAL if key in row}


def _stated(value: Any, keys: Mapping[str, Key]) -> dict[str, Any]:
    """Return the attributes that differ from their default, in the order of the keys."""
    row: dict[str, Any] = {}
    for name, key in keys.items():
        stated = getattr(value, name)
        if stated == key.default and not _is_negative_zero(stated):
            continue
        if name == "at":
            stated = str(stated)
        elif name == "codes":
            stated = {str(code): text for code, text in stated}
        elif key.kind is CONDITIONS:
            stated = {
                name: numbers[0] if len(numbers) == 1 else list(numbers) for name, numbers in stated
            }
        elif isinstance(stated, tuple):
            stated = list(stated)
        row[name] = stated
    return row


def _is_negative_zero(value: object) -> bool:
    return type(value) is float and value == 0 and copysign(1, value) < 0


def write_toml(end: End, *, path: str, known: bool = False) -> str:
    """Return the canonical TOML text of an End: one row per entry, a stable order of keys."""
    data = plain_data(end, path=path, known=known)
    lines: list[str] = []
    for name, value in data.items():
        if name in TABLES and isinstance(value, list):
            lines.append(f"{name} = [")
            lines += [f"  {toml_value(row)}," for row in value]
            lines.append("]")
        else:
            lines.append(f"{name} = {toml_value(value)}")
    return "\n".join(lines) + "\n"


def toml_value(value: Any) -> str:
    """Return a plain value as TOML on one line."""
    if type(value) is str:  # Most are.
        return '"' + _ESCAPED.sub(_escape, value) + '"'
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value)
        case list():
            return "[" + ", ".join(map(toml_value, value)) + "]"
        case _:
            return f"{{ {toml_pairs(value.items())} }}"


def toml_pairs(pairs: Iterable[tuple[str, Any]]) -> str:
    """Return the inside of an inline table; a connection id is written in hexadecimal."""
    return ", ".join(
        f"{toml_key(key)} = "
        + (
            f"0x{value:04X}"
            if key == "id" and type(value) is int and value >= 0
            else toml_value(value)
        )
        for key, value in pairs
    )


@lru_cache(maxsize=256)  # A few names stand in every row.
def toml_key(key: str) -> str:
    """Return a key as TOML, in quotes where it is not bare."""
    return key if is_bare(key) else toml_value(key)


def _escape(match: re.Match[str]) -> str:
    character = match[0]
    return _SHORT.get(character) or f"\\u{ord(character):04X}"
