"""Read and write a map as CSV: one header, one row per entry, and rows for all the rest.

The column ``direction`` says what a row is. Rows of ``sends`` and ``receives`` use the columns
of their keys; the other rows put a name, a value and sometimes a type into the same columns.
The reader makes the plain data that a TOML map has, so both formats share every rule.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from .._document.kinds import show
from .._document.paths import Path
from .._document.problems import Problems, nearest
from .._document.tables import Key
from .._model import End
from .assemble import assemble
from .keys import CONNECTION, END, IMPORTED, RELATION, RESERVED, SIGNAL, TEXTS
from .kinds import CONDITIONS
from .write import plain_data

COLUMNS = ("direction", *dict.fromkeys(("at", "name", "reserved", "value", *SIGNAL)))
"""The columns of every map, in the order in which they are written; any order is read."""

RELATION_COLUMNS = tuple(name for name in RELATION if name not in ("name", "reason"))
"""Further columns of a map with relations; the reason of one stands in the column note."""

_REQUIRED = ("direction", "at", "name", "value")
_PAIRS: Mapping[str, Mapping[str, Key]] = {
    "connection": CONNECTION,
    "end": END,
    "imported": IMPORTED,
}
_ENTRY_KEYS = SIGNAL | RESERVED
_USED: Mapping[str, tuple[str, ...]] = {
    "format": ("value",),
    "connection": ("name", "value"),
    "end": ("name", "value"),
    "imported": ("name", "value"),
    "sends": tuple(_ENTRY_KEYS),
    "receives": tuple(_ENTRY_KEYS),
    "relation": ("name", "note", *RELATION_COLUMNS),
    "parameter": ("name", "type", "value"),
    "allow": ("name", "value", "note"),
}
"""What a row can be, and the columns it may fill."""

_INTEGER = re.compile(r"-?(?:0|[1-9][0-9]{0,308})|0x[0-9A-Fa-f]{1,256}")
_FLOAT = re.compile(r"-?[0-9]{1,400}(?:\.[0-9]{1,400})?(?:[eE][+-]?[0-9]{1,4})?")
_PIECE = re.compile(r"((?:[^;\\]|\\[;\\])+)(?:;|$)")
_TO_ESCAPE = re.compile(r"[;\\]")
_ESCAPED = re.compile(r"\\([;\\])")


def read_csv(text: str, *, path: str) -> End:
    """Build the End that a CSV text describes; raises InputError with every problem in it."""
    return _Sheet(path).end(text.removeprefix("\ufeff").replace("\r\n", "\n"))


def pieces(text: str) -> Iterator[str]:
    """Yield what stands between semicolons; an empty piece where there is no way to read on."""
    position = 0
    while position < len(text):
        piece = _PIECE.match(text, position)
        yield piece[1] if piece else ""
        position = piece.end() if piece else len(text)


def _integer(text: str) -> Any:
    return int(text, 0) if _INTEGER.fullmatch(text) else text


def _number(text: str) -> Any:
    whole = _integer(text)
    return float(whole) if whole is text and _FLOAT.fullmatch(text) else whole


_CELLS: Mapping[str, Callable[[str], Any]] = {
    "integer": _integer,
    "number": _number,
    "array": lambda text: [_integer(size) for size in text.split()],
}
"""How a cell becomes a plain value, by the type that the schema gives to its key."""

_PARAMETERS: Mapping[str, tuple[Callable[[str], Any], type]] = {
    "text": (str, str),
    "int": (_integer, int),
    "float": (lambda text: float(text) if _FLOAT.fullmatch(text) else text, float),
    "bool": (lambda text: {"true": True, "false": False}.get(text, text), bool),
}


class _Sheet:
    """One pass over the rows of one text, collecting plain data, lines and problems."""

    def __init__(self, path: str) -> None:
        self.problems = Problems(path)
        self.data: dict[str, Any] = {}
        self.lines: dict[Path, int] = {}
        self.line = 0

    def end(self, text: str) -> End:
        """Build the End or raise InputError."""
        rows = self.rows(text)
        columns = self.header(next(rows, []))
        for cells in rows:
            # Some programs leave out the empty cells at the end of a row.
            if len(cells) > len(columns):
                self.add("", f"a row must have at most {len(columns)} fields, not {len(cells)}")
                continue
            self.row({name: cell for name, cell in zip(columns, cells, strict=False) if cell})
        # What a row with a problem would have stated is not missing.
        return assemble(
            self.data, problems=self.problems, line_of=self.line_of, whole=not self.problems
        )

    def rows(self, text: str) -> Iterator[list[str]]:
        """Yield the rows that are not empty, keeping the line of each one's first character."""
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        while True:
            self.line = reader.line_num + 1
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                self.add(
                    "", f"the row must be valid CSV: {error}", "a quote inside quotes is doubled"
                )
                return
            if any(cells):
                yield cells

    def header(self, columns: list[str]) -> list[str]:
        """Check the header; a wrong one makes every row meaningless."""
        for name in dict.fromkeys(columns):
            if name not in (*COLUMNS, *RELATION_COLUMNS):
                remedy = nearest(name, (*COLUMNS, *RELATION_COLUMNS))
                if ";" in name or "\t" in name:
                    remedy = "separate the columns by commas"
                self.add("", f"a column must be a known one, not {show(name)}", remedy)
            elif columns.count(name) > 1:
                self.add("", f"a column must stand once, not twice: {name}")
        for name in _REQUIRED:
            if name not in columns:
                self.add("", f"the header must have a column {name}")
        self.problems.refuse()
        return columns

    def row(self, cells: dict[str, str]) -> None:
        """Put one row into the plain data."""
        kind = cells.pop("direction", "")
        used = _USED.get(kind)
        if used is None:
            self.add("direction", f"direction must be one of {', '.join(_USED)}, not {show(kind)}")
            return
        excess = [name for name in cells if name not in used]
        for name in excess:
            self.add(name, f"{name} must be empty in a row of {kind}, not {show(cells[name])}")
        if not excess:
            self.fill(kind, cells)

    def fill(self, kind: str, cells: dict[str, str]) -> None:
        """Put the cells of one row where a TOML map would have them."""
        name, value = cells.get("name", ""), cells.get("value", "")
        match kind:
            case "format":
                self.put((kind,), value)
            case "connection" | "end" | "imported":
                key = _PAIRS[kind].get(name)
                self.put((kind, name), self.plain(key, value) if key else value)
            case "parameter":
                self.parameter(name, cells.get("type", "text"), value)
            case "relation":
                before = len(self.problems)
                row = {
                    key: self.plain(RELATION[key], text)
                    for key, text in cells.items()
                    if key != "note"
                }
                if "note" in cells:
                    row["reason"] = cells["note"]
                if len(self.problems) == before:
                    self.append("relations", row)
            case "allow":
                row = {"rule": value, "signal": name, "reason": cells.get("note", "")}
                self.append(kind, {key: text for key, text in row.items() if text})
            case _:
                before = len(self.problems)
                entry = {key: self.plain(_ENTRY_KEYS[key], text) for key, text in cells.items()}
                if len(self.problems) == before:
                    self.append(kind, entry)

    def plain(self, key: Key, text: str) -> Any:
        """Return a cell as the plain value of its key; what is none stays text."""
        if key.kind is CONDITIONS:
            return self.conditions(text)
        if key.kind is TEXTS:
            return [_ESCAPED.sub(r"\1", piece) for piece in pieces(text)]
        kind = key.kind.schema.get("type", "string")
        if kind == "object":
            return self.codes(text)
        return _CELLS.get(kind, str)(text)

    def codes(self, text: str) -> dict[str, str]:
        """Read ``0=off;1=on``; a semicolon or backslash in a name follows a backslash."""
        codes: dict[str, str] = {}
        for piece in pieces(text):
            code, equals, name = piece.partition("=")
            code = code.strip()
            if not equals:
                self.add("codes", f"codes must be written as 0=off;1=on, not {show(text)}")
                break
            if code in codes:
                self.add("codes", f"codes must state each code once, not {show(code)} twice")
            codes[code] = _ESCAPED.sub(r"\1", name)
        return codes

    def conditions(self, text: str) -> dict[str, Any]:
        """Read ``permit_torque=1;speed_level=0 1``, escaped as codes are."""
        conditions: dict[str, Any] = {}
        for piece in pieces(text):
            name, equals, numbers = piece.rpartition("=")
            name = _ESCAPED.sub(r"\1", name)
            if not equals or not numbers.strip():
                shown = show(text)
                self.add("", f"conditions must be written as lamp=1;level=0 2, not {shown}")
                break
            if name in conditions:
                self.add("", f"conditions must state each signal once, not {show(name)} twice")
            conditions[name] = [_integer(number) for number in numbers.split()]
        return conditions

    def parameter(self, name: str, kind: str, text: str) -> None:
        """Put one parameter into the plain data."""
        if kind not in _PARAMETERS:
            known = ", ".join(_PARAMETERS)
            self.add("type", f"the type of a parameter must be one of {known}, not {show(kind)}")
            return
        convert, wanted = _PARAMETERS[kind]
        value = convert(text)
        if type(value) is not wanted:
            self.add("value", f"value must be of type {kind}, not {show(text)}")
        self.put(("parameters", name), value)

    def put(self, path: tuple[str, ...], value: Any) -> None:
        """Keep one value that may stand once only."""
        *tables, name = path
        table = self.data
        for key in tables:
            table = table.setdefault(key, {})
            self.lines.setdefault((key,), self.line)
        if name in table:
            self.add("", f"a row must stand once, not again after line {self.lines[path]}")
            return
        table[name] = value
        self.lines[path] = self.line

    def append(self, name: str, row: dict[str, Any]) -> None:
        """Keep one row of a list."""
        rows = self.data.setdefault(name, [])
        self.lines.setdefault((name,), self.line)
        self.lines[name, len(rows)] = self.line
        rows.append(row)

    def line_of(self, path: Path) -> int:
        """Return the line of the deepest part of ``path`` that has one."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return 0

    def add(self, column: str, message: str, remedy: str = "") -> None:
        """Keep one problem of the current row; its key is the column."""
        self.problems.add(self.line, (column,) if column else (), message, remedy)


def write_csv(end: End, *, path: str) -> str:
    """Return the canonical CSV text of an End."""
    data = plain_data(end, path=path)
    rows: list[dict[str, str]] = [{"direction": "format", "value": data["format"]}]
    for table in _PAIRS:
        rows += [
            {"direction": table, "name": key, "value": _pair_text(_PAIRS[table][key], value)}
            for key, value in data.get(table, {}).items()
        ]
    for name, value in data.get("parameters", {}).items():
        kind = next(kind for kind, (_, wanted) in _PARAMETERS.items() if type(value) is wanted)
        rows.append(
            {"direction": "parameter", "name": name, "type": kind, "value": cell_text(value)}
        )
    for direction in ("sends", "receives"):
        rows += [
            {"direction": direction} | {key: cell_text(value) for key, value in row.items()}
            for row in data.get(direction, ())
        ]
    for row in data.get("relations", ()):
        cells = {key: cell_text(value) for key, value in row.items() if key != "reason"}
        rows.append({"direction": "relation", **cells, "note": row["reason"]})
    rows += [
        {
            "direction": "allow",
            "name": row.get("signal", ""),
            "value": row["rule"],
            "note": row["reason"],
        }
        for row in data.get("allow", ())
    ]
    out = io.StringIO(newline="")
    columns = COLUMNS + (RELATION_COLUMNS if end.relations else ())
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _pair_text(key: Key, value: Any) -> str:
    """Return a value of a table as a cell; texts are set apart by semicolons."""
    return ";".join(map(escaped, value)) if key.kind is TEXTS else cell_text(value)


def cell_text(value: Any) -> str:
    """Return a plain value as the text of a cell."""
    match value:
        case bool():
            return "true" if value else "false"
        case list():
            return " ".join(map(str, value))
        case dict():
            return ";".join(f"{escaped(key)}={escaped(part)}" for key, part in value.items())
        case _:
            return str(value)


def conditions_of(cell: str) -> Iterator[tuple[str, int, int]]:
    """Yield name, start and end offset of the name of every condition in a cell."""
    for piece in _PIECE.finditer(cell):
        name = piece[1].rpartition("=")[0]
        yield _ESCAPED.sub(r"\1", name), piece.start(), piece.start() + len(name)


def escaped(value: Any) -> str:
    """Return a key or value of a table as text without a bare semicolon or backslash."""
    return _TO_ESCAPE.sub(r"\\\g<0>", cell_text(value))
