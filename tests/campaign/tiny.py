"""The tiny model of the campaign: rows of two maps, and the text of their files."""

from __future__ import annotations

import copy
import json
from dataclasses import dataclass, field
from typing import Any

WORD = {0: "sends", 1: "receives"}


@dataclass
class Row:
    """One row of a map: a signal, or a reserved run where ``name`` is empty. Bits are counted."""

    start: int
    width: int
    name: str = ""
    type: str = "bool"
    order: str = "little"
    safe: int = 0
    one_means: str = ""
    edge: str = ""
    unit: str = ""
    scale: str = "1"
    codes: dict[int, str] = field(default_factory=dict)
    valid_by: str = ""
    bind: str = ""

    @property
    def end(self) -> int:
        return self.start + self.width


Rows = list[Row]


def copied(rows: Rows) -> Rows:
    """Return rows that can be edited apart; their code tables are replaced, never edited."""
    return [copy.copy(row) for row in rows]


@dataclass
class Side:
    """One end: its tables as they are written, and its two maps."""

    name: str
    peer: str
    table: dict[str, Any]
    end: dict[str, Any]
    sends: Rows
    receives: Rows
    parameters: dict[str, Any] = field(default_factory=dict)

    def copy(self) -> Side:
        return Side(
            self.name,
            self.peer,
            dict(self.table),
            dict(self.end),
            copied(self.sends),
            copied(self.receives),
            dict(self.parameters),
        )


@dataclass
class Pair:
    """Two ends; direction 0 goes from the first to the second one.

    ``focus`` is the direction and octet in which further mistakes are made, where that is wanted.
    """

    ends: tuple[Side, Side]
    focus: tuple[int, int] | None = None

    def rows(self, direction: int, side: int) -> Rows:
        """Return the map of a side (0 the producer, 1 the consumer) in a direction."""
        end = self.ends[direction ^ side]
        return end.receives if side else end.sends

    def set_rows(self, direction: int, side: int, rows: Rows) -> None:
        setattr(self.ends[direction ^ side], WORD[side], rows)

    def copy(self) -> Pair:
        first, second = self.ends
        return Pair((first.copy(), second.copy()), self.focus)


def signals(rows: Rows) -> Rows:
    return [row for row in rows if row.name]


def size(rows: Rows) -> int:
    return max((row.end for row in rows), default=0)


def place(bit: int) -> str:
    return f"{bit >> 3}.{bit & 7}"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


_DEFAULT = Row(start=0, width=1)


def _row(row: Row) -> str:
    keys: dict[str, Any] = {"at": place(row.start)}
    if not row.name:
        keys["reserved"] = row.width
        return _value(keys | ({"value": row.safe} if row.safe else {}))
    keys["name"] = row.name
    if row.width != 1 or row.type == "code":
        keys["width"] = row.width
    if row.type != ("bool" if row.width == 1 else "uint"):
        keys["type"] = row.type
    for key in ("order", "safe", "one_means", "edge", "unit", "scale", "valid_by", "bind"):
        if getattr(row, key) != getattr(_DEFAULT, key):
            keys[key] = getattr(row, key)
    if row.codes:
        keys["codes"] = row.codes
    return _value(keys)


def text(side: Side) -> str:
    """Return the map file of an end."""
    lines = ['format = "safeframe-map/1"']
    lines.append(f"connection = {_value(side.table)}")
    lines.append(f"end = {_value({'name': side.name, 'peer': side.peer} | side.end)}")
    if side.parameters:
        lines.append(f"parameters = {_value(side.parameters)}")
    for word, rows in (("sends", side.sends), ("receives", side.receives)):
        lines += [f"{word} = [", *(f"  {_row(row)}," for row in rows), "]"]
    return "\n".join(lines) + "\n"


_COLUMNS = (
    *("direction", "at", "name", "reserved", "value", "width", "type", "order", "safe"),
    *("one_means", "edge", "unit", "scale", "codes", "valid_by", "bind"),
)


def sheet(side: Side) -> str:
    """Return the map of an end as a sheet; rows end where their last cell is filled."""
    lines = [",".join(_COLUMNS), _line({"direction": "format", "value": "safeframe-map/1"})]
    for table, values in (
        ("connection", side.table),
        ("end", {"name": side.name, "peer": side.peer} | side.end),
        ("parameter", side.parameters),
    ):
        for key, value in values.items():
            shown = " ".join(map(str, value)) if isinstance(value, list) else str(value)
            kind = {int: "int", bool: "bool"}.get(type(value), "")
            cells = {"direction": table, "name": key, "value": shown}
            lines.append(_line(cells | ({"type": kind} if table == "parameter" else {})))
    for word, rows in (("sends", side.sends), ("receives", side.receives)):
        lines += [_line({"direction": word} | _cells(row)) for row in rows]
    return "\r\n".join(lines) + "\r\n"


def _cells(row: Row) -> dict[str, str]:
    if not row.name:
        value = {"value": str(row.safe)} if row.safe else {}
        return {"at": place(row.start), "reserved": str(row.width)} | value
    cells = {"at": place(row.start), "name": row.name}
    for key in ("width", "type", "order", "safe", "one_means", "edge", "unit", "scale"):
        cells[key] = str(getattr(row, key))
    cells["codes"] = ";".join(f"{value}={name}" for value, name in row.codes.items())
    return cells | {"valid_by": row.valid_by, "bind": row.bind}


def _line(cells: dict[str, str]) -> str:
    texts = [cells.get(column, "") for column in _COLUMNS]
    quoted = [f'"{text}"' if set(text) & set(",\t ") else text for text in texts]
    return ",".join(quoted).rstrip(",")
