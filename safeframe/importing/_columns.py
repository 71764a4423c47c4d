"""Which column of a sheet means what: the user's mapping, in a file or on the command line.

Nothing is guessed: how octets and bits are numbered must be stated. ``proposal`` writes a first
guess as text for the user to confirm; it is never applied by itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from .._document.kinds import LINE, NAME, array, choice, integer
from .._document.problems import Problems
from .._document.reader import read_text
from .._document.tables import Key, Tables
from .._document.toml import located
from .._errors import InputError, Problem
from ._grid import SEPARATORS, Row, letters
from ._units import BITS, NUMBERS, OCTETS, WIDER

FORMAT = "safeframe-columns/1"
"""The value of the key ``format``: the name and edition of this file format."""

PLACES = ("octet", "bit", "place", "number", "last", "width")
ATTRIBUTES = (
    *("name", "type", "order", "safe", "one_means", "edge", "unit", "scale", "codes", "valid_by"),
    *("mirrors", "bind", "note"),
)
_MEANINGS: Mapping[str, str] = {
    "octet": "number of the octet; an empty cell repeats the one above",
    "bit": "number of the bit in its octet, or a range such as 0-3",
    "place": "octet and bit in one column: 0.1, 0,1, Byte 0 Bit 1, or a range",
    "number": "running number of the bit, or a range",
    "last": "last bit of a range, written as in place or number",
    "width": "width in bits",
    "direction": "sends or receives, or the words stated for them; an empty cell repeats",
    "value": "what the producer puts into a reserved run",
    **{name: f"the key {name} of a signal" for name in ATTRIBUTES},
}
COLUMNS: dict[str, Key] = {
    name: Key(kind=NAME, meaning=meaning, required=name == "name")
    for name, meaning in _MEANINGS.items()
}
"""What a column can mean; the value is the text of its header, or =C for the column C."""

STATEMENTS: dict[str, Key] = {
    "bit_zero": Key(
        kind=choice("least", "most"), required=True, meaning="the bit from which bits are counted"
    ),
    "first_octet": Key(kind=integer(0, 1), required=True, meaning="number of the first octet"),
    "first_bit": Key(kind=integer(0, 1), required=True, meaning="number of the first bit"),
    "octet_order": Key(kind=choice("little", "big"), meaning="octet order of wide values"),
    "decimal": Key(kind=choice(",", "."), default=".", meaning="decimal sign of numbers"),
    "separator": Key(kind=choice(*SEPARATORS), meaning="what stands between cells of a CSV file"),
    "sheet": Key(kind=LINE, meaning="sheet of a workbook"),
    "range": Key(kind=LINE, meaning="cells that are read, such as A3:H40"),
    "reserve": Key(kind=array(NAME), default=(), meaning="names that mean unused bits"),
    "sends": Key(kind=array(NAME), default=("sends",), meaning="words of sent data"),
    "receives": Key(kind=array(NAME), default=("receives",), meaning="words of received data"),
}
"""What is stated besides the columns."""
_NOTATIONS = (("octet", "bit"), ("place",), ("number",))


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """A mapping of columns: ``columns`` are (meaning, header text or =letters) pairs."""

    columns: tuple[tuple[str, str], ...]
    bit_zero: str
    first_octet: int
    first_bit: int
    octet_order: str = ""
    decimal: str = "."
    separator: str = ""
    sheet: str = ""
    range: str = ""
    reserve: tuple[str, ...] = ()
    sends: tuple[str, ...] = ("sends",)
    receives: tuple[str, ...] = ("receives",)

    @property
    def names(self) -> tuple[str, ...]:
        """The meanings that have a column."""
        return tuple(name for name, _ in self.columns)

    @property
    def text(self) -> str:
        """The mapping as one line, as ``--columns`` takes it."""
        words = [f"{name}={text}" for name, text in self.columns]
        for name, key in STATEMENTS.items():
            value = getattr(self, name)
            if value != key.default or key.required:
                shown = "|".join(value) if isinstance(value, tuple) else str(value)
                words.append(f"{name}={shown}")
        return ";".join(words)

    @property
    def notation(self) -> tuple[str, ...]:
        """The columns that hold the places."""
        return next(words for words in _NOTATIONS if words[0] in self.names)


def load(text: str) -> Columns:
    """Read a mapping: the name of a .toml file, or ``octet=Byte;bit=Bit;name=Signal;...`` itself.

    Raises InputError with every problem in it.
    """
    if text.lower().endswith(".toml"):
        content = read_text(text, what="mapping file")
        data, line_of = located(content, path=text)
        return _read(data, Tables(Problems(text), line_of))
    return _read(_inline(text), Tables(Problems("--columns")))


def _inline(text: str) -> dict[str, Any]:
    """Return the plain data of a mapping on the command line."""
    data: dict[str, Any] = {"format": FORMAT, "columns": {}}
    seen: set[str] = set()
    for piece in filter(None, (part.strip() for part in text.split(";"))):
        name, equals, value = (part.strip() for part in piece.partition("="))
        if not equals or not value:
            raise InputError(
                Problem(
                    path="--columns",
                    message=f"a mapping must be meaning=column, not {piece[:60]!r}",
                    remedy="octet=Byte;bit=Bit;name=Signal;bit_zero=least;first_octet=0;first_bit=0",
                )
            )
        if name in seen:
            message = f"a mapping must state {name[:60]} once, not twice"
            raise InputError(Problem(path="--columns", message=message))
        seen.add(name)
        if name in ("first_octet", "first_bit") and value.isascii() and value.isdigit():
            data[name] = int(value)
        elif name in ("reserve", "sends", "receives"):
            data[name] = value.split("|")
        elif name in STATEMENTS:
            data[name] = value
        else:
            data["columns"][name] = value
    return data


def _read(data: dict[str, Any], tables: Tables) -> Columns:
    tables.head(data, FORMAT, "a mapping file", (*STATEMENTS, "columns"))
    stated = tables.take(
        {name: data[name] for name in STATEMENTS if name in data}, STATEMENTS, (), "a mapping"
    )
    columns = tables.take(data.get("columns"), COLUMNS, ("columns",), "a table of columns")
    if columns is not None:
        found = [words for words in _NOTATIONS if words[0] in columns]
        if len(found) != 1:
            tables.add(
                ("columns",),
                "the places must stand in octet and bit, in place, or in number, not in "
                f"{' and '.join(words[0] for words in found) or 'none of them'}",
            )
        elif found == [("octet", "bit")] and "bit" not in columns:
            tables.missing(("columns",), "bit")
        elif found == [("octet", "bit")] and "last" in columns:
            tables.add(
                ("columns", "last"),
                "the last bit of a range must stand with place or number, not with octet and bit",
                remedy="write the range into the column of the bit, such as 0-3",
            )
        for name in ("octet", "place", "number"):
            if str(columns.get(name, "")).casefold() in WIDER:
                tables.add(
                    ("columns", name),
                    f"a column of octets and bits must not count words: {columns[name]}",
                    remedy="write octets into the sheet; where it holds octets under this header, "
                    f'name the column by its letters, such as {name} = "=A"',
                )
        width = str(columns.get("width", ""))
        if width.casefold() in OCTETS | WIDER:
            tables.add(
                ("columns", "width"),
                f"a column of widths must count bits, not {width}",
                remedy="write bits into the sheet; where it holds bits under this header, name the "
                'column by its letters, such as width = "=A"',
            )
        places = [str(columns[name]) for name in PLACES if name in columns]
        if len(set(places)) < len(places):
            tables.add(("columns",), "columns of places must be different ones, not the same twice")
    words = {"sends": ("sends",), "receives": ("receives",), **(stated or {})}
    for word in sorted({*words["sends"]} & {*words["receives"]}):
        tables.add(("receives",), f"a word must mean sends or receives, not both: {word}")
    tables.problems.refuse()
    assert stated is not None
    assert columns is not None
    return Columns(columns=tuple(columns.items()), **stated)


_WORDS: Mapping[str, str] = {
    "octet": " ".join(OCTETS),
    "bit": " ".join(BITS),
    "place": "place address adresse offset position platz lage adres indirizzo アドレス 地址",
    "number": " ".join(NUMBERS),
    "width": "width length bits länge breite longueur taille longitud lunghezza rozmiar 長さ 长度",
    "name": "name signal bezeichnung signalname nom désignation nombre señal nome segnale nazwa "
    "tag symbol variable 名称 信号 имя",
    "type": "type typ datatype datentyp tipo 型 类型 тип",
    "direction": "direction richtung sens dirección direzione kierunek 方向",
    "unit": "unit einheit unité unidad unità jednostka 単位 单位",
    "note": "note remark comment bemerkung kommentar remarque commentaire nota uwaga 備考",
    "bind": "bind binding variable tag",
    "one_means": "meaning bedeutung signification significado significato",
    "scale": "scale factor faktor skalierung facteur échelle factor escala",
    "safe": "safe default ersatzwert",
}


def proposal(rows: Iterable[Row]) -> str:
    """Return a mapping as text to confirm, from the words of the row that has most of them."""
    best: dict[str, str] = {}
    for row in rows:
        found: dict[str, str] = {}
        for column, cell in enumerate(row.cells):
            words = set(re.findall(r"\w+", cell.text.casefold()))
            for meaning, known in _WORDS.items():
                if meaning not in found and words & set(known.split()):
                    found[meaning] = cell.text if _once(row, cell.text) else f"={letters(column)}"
                    break
        if len(found) > len(best):
            best = found
    lines = [
        "# A proposal from the words of the header: look at every line before you use it.",
        f'format = "{FORMAT}"',
        'bit_zero = "?"     # least or most: the bit from which bits are counted',
        'first_octet = "?"  # 0 or 1',
        'first_bit = "?"    # 0 or 1',
        "[columns]",
        *(f"{meaning} = {_quoted(text)}" for meaning, text in best.items()),
    ]
    return "\n".join(lines) + "\n"


def _once(row: Row, text: str) -> bool:
    return sum(cell.text == text for cell in row.cells) == 1


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
