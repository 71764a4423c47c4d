"""What a row says of its signal: type, octet order, and the further keys of a map."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from .._document.kinds import RefusalError
from .._mapfile.csvmap import pieces
from .._mapfile.keys import RESERVED, SIGNAL
from ._columns import ATTRIBUTES, Columns
from ._meanings import MappedRow
from ._placing import Part
from ._refusals import shown

_DECIMAL = re.compile(r"-?[0-9]{1,309}(?:[.,][0-9]{1,309})?(?:[eE][+-]?[0-9]{1,3})?")
_TYPES: Mapping[str, tuple[int, str]] = {
    "BOOL": (1, "bool"),
    "BIT": (1, "bool"),
    **dict.fromkeys(("USINT", "BYTE", "UINT8", "UNSIGNED8"), (8, "uint")),
    **dict.fromkeys(("UINT16", "WORD", "UNSIGNED16"), (16, "uint")),
    **dict.fromkeys(("UDINT", "DWORD", "UINT32", "UNSIGNED32"), (32, "uint")),
    **dict.fromkeys(("ULINT", "LWORD", "UINT64", "UNSIGNED64"), (64, "uint")),
    **dict.fromkeys(("SINT", "INT8", "INTEGER8"), (8, "int")),
    **dict.fromkeys(("INT16", "INTEGER16"), (16, "int")),
    **dict.fromkeys(("DINT", "INT32", "INTEGER32"), (32, "int")),
    **dict.fromkeys(("LINT", "INT64", "INTEGER64"), (64, "int")),
    **dict.fromkeys(("REAL", "FLOAT32"), (32, "float")),
    **dict.fromkeys(("LREAL", "FLOAT64"), (64, "float")),
}
"""Types of fixed width by name. UINT and INT are 16 bits where a width of 16 stands beside them."""
_OWN_TYPES = ("bool", "uint", "int", "float", "code")
NEEDS_WIDTH = frozenset(("uint", "int", "float", "code"))
"""Types of a map that may have many widths: none of them is one bit unless somebody says so."""
_PLACED = ("name", "type", "order", "bind")
_ESCAPED = re.compile(r"\\([;\\])")


def type_width(row: MappedRow) -> int | None:
    """Return the width that the type of a row has, None where its name tells none."""
    text = row.cell("type").text
    word = _type_word(text)
    return None if text in _OWN_TYPES or word not in _TYPES else _TYPES[word][0]


def _type_word(text: str) -> str:
    """Return a type as the table has it: SAFEBYTE is a BYTE, in width and in kind."""
    return text.upper().removeprefix("SAFE")


def part_of(row: MappedRow, bits: tuple[int, int], columns: Columns, order: str) -> Part | None:
    """Return the signal or the reserved run of a row, or keep the problem.

    ``bits`` are index and width, ``order`` is the octet order where the row states none.
    """
    start, width = bits
    cell = row.cell("name")
    name: str | None = cell.text
    if name in columns.reserve:
        name = None
    element = f"cell {cell.address}"
    part = Part(start=start, width=width, name=name, line=row.number, element=element)
    if name is None:
        keys = {"value": RESERVED["value"], "note": RESERVED["note"]}
        extra = _extra(row, keys, columns.decimal)
        value = dict(extra).get("value", 0)
        if not 0 <= value < 1 << width:
            cell = row.cell("value")
            row.refuse("bad-cell", cell, f"value must fit {width} reserved bits, not {value}")
            return None
        return replace(part, extra=extra)
    kind = _kind(row, width)
    if kind is None:
        return None
    order = _order(row, order, start, width)
    keys = {name: SIGNAL[name] for name in ATTRIBUTES if name not in _PLACED}
    extra = _extra(row, keys, columns.decimal)
    codes = dict(extra).get("codes", ())
    extra = tuple((name, value) for name, value in extra if name not in ("codes", "bind"))
    bind = row.cell("bind").text
    return replace(part, type=kind, order=order, codes=codes, bind=bind, extra=extra)


def _kind(row: MappedRow, width: int) -> str | None:
    """Return the type of a map, or keep the problem."""
    cell = row.cell("type")
    word = _type_word(cell.text)
    if not cell.text:
        return "bool" if width == 1 else "uint"
    if cell.text in _OWN_TYPES:
        kind = cell.text
    elif word in ("INT", "UINT") and width == 16:
        kind = word.lower()
    elif word in _TYPES:
        kind = _TYPES[word][1]
    else:
        kind = ""
    fits = {"bool": width == 1, "float": width in (16, 32, 64)}.get(kind, bool(kind))
    if not fits:
        known = ", ".join((*_OWN_TYPES, *_TYPES))
        text = f"a type must fit {width} bits and be one of {known}, not {shown(cell.text)}"
        row.refuse("unknown-type", cell, text)
        return None
    return kind


def _order(row: MappedRow, usual: str, start: int, width: int) -> str:
    """Return the octet order of a value wider than an octet, or keep the problem."""
    cell = row.cell("order")
    order = cell.text or usual
    if width <= 8 and not cell.text:
        return "little"
    if order not in ("little", "big"):
        row.refuse(
            "ambiguous-order",
            cell,
            f"the octet order of {width} bits must be little or big, not "
            f"{shown(order) or 'left out'}",
            "--order little or --order big, or a column of its own",
        )
    elif order == "big" and (width % 8 or start % 8):
        row.refuse(
            "not-expressible",
            cell,
            f"a value with its high octet first must fill whole octets, not {width} bits at "
            f"bit {start % 8}",
            "a map cannot hold it: split it into rows",
        )
    else:
        return order
    return "little"


def _extra(row: MappedRow, keys: Mapping[str, Any], decimal: str) -> tuple[tuple[str, Any], ...]:
    """Return the further keys of a row as their kinds read them, or keep the problems."""
    found = []
    for name, key in keys.items():
        cell = row.cell(name)
        if not cell.text:
            continue
        try:
            found.append((name, key.kind.read(_plain(name, cell.text, decimal))))
        except RefusalError as refusal:
            row.refuse("bad-cell", cell, f"{name} must be {refusal}")
    return tuple(found)


def _plain(name: str, text: str, decimal: str) -> Any:
    """Return a cell as the plain value of its key; what is none stays text."""
    if name == "codes":
        return _codes(text)
    if name in ("safe", "value", "scale") and _DECIMAL.fullmatch(text):
        other = "," if decimal == "." else "."
        if other in text:
            return f"{text} with decimal sign {decimal}"
        text = text.replace(",", ".")
        if name == "scale":
            return text
        return float(text) if set(text) & set(".eE") else int(text)
    return text


def _codes(text: str) -> Any:
    """Return ``0=off;1=on`` as a table; a semicolon or backslash in a name follows a backslash."""
    found: dict[str, str] = {}
    for piece in pieces(text):
        code, equals, name = piece.partition("=")
        if not equals or code.strip() in found:
            return text
        found[code.strip()] = _ESCAPED.sub(r"\1", name)
    return found or text
