"""Rows of a sheet become maps: one row a signal or a reserved run, every message with its cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from .._document.kinds import RefusalError
from .._mapfile.keys import RESERVED, SIGNAL
from ._columns import ATTRIBUTES, Columns
from ._decisions import Decisions
from ._grid import Cell, Row, letters
from ._numbers import MOST_BITS
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown

__all__ = ["layouts"]

_PLACE = re.compile(r"(?:[^\W\d_]{1,20}\.?\s*)?([0-9]{1,5})\s*[.,:/]\s*([0-9])")
_WORD_PLACE = re.compile(r"[^\W\d_]+\.?\s*([0-9]{1,5})\s*[,;.:/]?\s*[^\W\d_]+\.?\s*([0-9])")
_RANGE = re.compile(r"\s*(?:-|–|—|\.\.\.?|…|\bto\b|\bbis\b)\s*")
_NUMBER = re.compile(r"(?:[^\W\d_]+\.?\s*)?([0-9]{1,6})")
_WIDTH = re.compile(r"([0-9]{1,6})(?:\s*bits?)?", re.IGNORECASE)
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
_PIECE = re.compile(r"((?:[^;\\]|\\[;\\])+)(?:;|$)")
_ESCAPED = re.compile(r"\\([;\\])")


def layouts(
    rows: Sequence[Row], columns: Columns, decisions: Decisions, refusals: Refusals
) -> list[tuple[str, PlacedTypes]]:
    """Return what the rows of a sheet say, one layout for each direction; keeps the problems."""
    start, places = _header(rows, columns, refusals)
    sheet = _TableSheet(columns, places, decisions, refusals)
    for row in rows[start:]:
        sheet.row(row)
    refusals.refuse()
    found: list[tuple[str, PlacedTypes]] = []
    for direction in ("sends", "receives"):
        parts = sheet.parts[direction]
        if parts:
            layout = PlacedTypes(
                path=direction,
                line=parts[0].line,
                title=direction,
                total_bits=max(part.end for part in parts),
                parts=tuple(parts),
                joined=False,
                notes=tuple(sheet.notes()) if not found else (),
            )
            found.append((direction, layout))
    if not found:
        refusals.stop("not-found", 0, "the sheet must hold rows of signals, not none")
    return found


def _header(
    rows: Sequence[Row], columns: Columns, refusals: Refusals
) -> tuple[int, dict[str, int]]:
    """Return the index of the first row of data, and the column of every meaning."""
    named = {name: text for name, text in columns.columns if not _is_letters(text)}
    places = {name: _number(text) for name, text in columns.columns if _is_letters(text)}
    if not named:
        return 0, places
    wanted = {_folded(text) for text in named.values()}
    found = [
        index
        for index, row in enumerate(rows)
        if wanted <= {_folded(cell.text) for cell in row.cells}
    ]
    if not found:
        best = max(
            rows,
            key=lambda row: len(wanted & {_folded(cell.text) for cell in row.cells}),
            default=Row(0, ()),
        )
        missing = wanted - {_folded(cell.text) for cell in best.cells}
        near = [cell.text for cell in best.cells if cell.text]
        refusals.stop(
            "columns-not-found",
            best.number,
            f"a row must be the header with all mapped columns, not without "
            f"{', '.join(sorted(map(shown, missing)))}",
            f"the nearest row holds: {', '.join(map(shown, near)) or 'nothing'}",
        )
    if len(found) > 1:
        lines = ", ".join(str(rows[index].number) for index in found)
        refusals.stop(
            "ambiguous-selection",
            rows[found[0]].number,
            f"one row must be the header, not the rows {lines}",
            "--range, from the header to the last row, tells them apart",
        )
    header = rows[found[0]]
    for name, text in named.items():
        matching = [
            place for place, cell in enumerate(header.cells) if _folded(cell.text) == _folded(text)
        ]
        if len(matching) > 1:
            addresses = ", ".join(header.cells[place].address for place in matching)
            refusals.stop(
                "ambiguous-selection",
                header.number,
                f"a column must have a header of its own, not {shown(text)} in {addresses}",
                f'name it by its letters: {name} = "={letters(matching[0])}"',
            )
        places[name] = matching[0]
    return found[0] + 1, places


def _folded(text: str) -> str:
    return " ".join(text.split())


def _is_letters(text: str) -> bool:
    return re.fullmatch(r"=[A-Z]{1,2}", text) is not None


def _number(text: str) -> int:
    value = 0
    for letter in text[1:]:
        value = 26 * value + ord(letter) - ord("A") + 1
    return value - 1


class _TableSheet:
    """Reads the rows one by one."""

    def __init__(
        self,
        columns: Columns,
        places: Mapping[str, int],
        decisions: Decisions,
        refusals: Refusals,
    ) -> None:
        self.columns, self.places = columns, places
        self.decisions, self.refusals = decisions, refusals
        self.parts: dict[str, list[Part]] = {"sends": [], "receives": []}
        self.octet: Cell | None = None
        self.last = ""
        self.repeated: list[str] = []
        self.formulas: list[str] = []
        self.unseen: dict[str, list[str]] = {}

    def notes(self) -> Iterable[str]:
        """Yield what a reader should look at."""
        if self.repeated:
            yield f"taken from the cell above, as in merged cells: {_few(self.repeated)}"
        if self.formulas:
            yield f"the stored value of a formula is used in {_few(self.formulas)}"
        for why, addresses in sorted(self.unseen.items()):
            yield f"{why} in the sheet, but read: {_few(addresses)}"

    def cell(self, row: Row, name: str) -> Cell:
        """Return the cell of a meaning, empty where no column has it."""
        if name not in self.places:
            return Cell("", f"row {row.number}")
        return row.at(self.places[name])

    def refuse(self, rule: str, row: Row, cell: Cell, message: str, remedy: str = "") -> None:
        """Keep a problem of a cell."""
        self.refusals.add(rule, row.number, message, remedy, f"cell {cell.address}")

    def row(self, row: Row) -> None:
        """Read one row; an empty one is passed over, any other is read or is a problem."""
        used = [self.cell(row, name) for name in self.places]
        if not any(cell.text for cell in used):
            if not row.empty:
                cell = next(cell for cell in row.cells if cell.text)
                self.refuse(
                    "bad-line",
                    row,
                    cell,
                    f"a row must hold a place and a name, not only {shown(cell.text)}",
                    "--range leaves out what is no row of the list",
                )
            return
        self.formulas += [cell.address for cell in used if cell.formula]
        for cell in used:
            if cell.unseen and cell.text:
                self.unseen.setdefault(cell.unseen, []).append(cell.address)
        before = len(self.refusals)
        direction = self.direction(row)
        bits = self.bits(row)
        if bits is None or len(self.refusals) > before:
            return
        part = self.part(row, *bits)
        if part is not None and len(self.refusals) == before:
            self.parts[direction].append(part)

    def direction(self, row: Row) -> str:
        """Return sends or receives."""
        if "direction" not in self.places:
            return self.decisions.direction
        cell = self.cell(row, "direction")
        if not cell.text and self.last:
            self.repeated.append(cell.address)
            return self.last
        for direction in ("sends", "receives"):
            if cell.text in getattr(self.columns, direction):
                if direction != self.last:
                    self.octet = None  # An empty octet repeats one of its own direction only.
                self.last = direction
                return direction
        words = ", ".join((*self.columns.sends, *self.columns.receives))
        self.refuse(
            "bad-cell",
            row,
            cell,
            f"the direction must be one of {shown(words)}, not {shown(repr(cell.text))}",
            "state other words as sends and receives of the mapping",
        )
        return "sends"

    def bits(self, row: Row) -> tuple[int, int] | None:
        """Return index and width of a row, or keep the problem."""
        notation = self.columns.notation[0]
        reader: Callable[[Row], tuple[int, int] | None] = {
            "octet": self.octet_and_bit,
            "place": self.place,
            "number": self.running,
        }[notation]
        ends = reader(row)
        if ends is None:
            return None
        return self.extent(row, *ends)

    def octet_and_bit(self, row: Row) -> tuple[int, int] | None:
        """Return first and last bit, counted as the sheet does, of two columns."""
        octet, bit = self.cell(row, "octet"), self.cell(row, "bit")
        if octet.text:
            self.octet = octet
        elif self.octet is not None:
            self.repeated.append(octet.address)
        if self.octet is None:
            self.refuse(
                "bad-cell", row, octet, "the first row must state its octet, not leave it out"
            )
            return None
        number = _NUMBER.fullmatch(self.octet.text)
        if number is None:
            text = f"an octet must be a number, not {shown(repr(self.octet.text))}"
            self.refuse("bad-cell", row, self.octet, text)
            return None
        numbers = self.numbers(row, bit, "a bit")
        if numbers is None:
            return None
        first, last = (self.index(row, bit, int(number[1]), one) for one in numbers)
        return None if first is None or last is None else (first, last)

    def numbers(self, row: Row, cell: Cell, what: str) -> tuple[int, int] | None:
        """Return the number of a cell twice, or both of a range."""
        parts = [_NUMBER.fullmatch(part) for part in _RANGE.split(cell.text)]
        if len(parts) > 2 or not all(parts):
            self.refuse(
                "bad-cell",
                row,
                cell,
                f"{what} must be a number or a range such as 0-3, not {shown(repr(cell.text))}",
            )
            return None
        found = [int(part[1]) for part in parts if part is not None]
        return found[0], found[-1]

    def index(self, row: Row, cell: Cell, octet: int, bit: int) -> int | None:
        """Return the index of a bit by octet and bit as the sheet numbers them."""
        octet, place = octet - self.columns.first_octet, bit - self.columns.first_bit
        if not 0 <= place <= 7 or octet < 0:
            low = self.columns.first_bit
            self.refuse(
                "bad-cell",
                row,
                cell,
                f"a bit must be {low}..{low + 7} in an octet from {self.columns.first_octet} on, "
                f"not {bit} in {octet + self.columns.first_octet}",
                "first_octet and first_bit of the mapping say how the sheet counts",
            )
            return None
        return 8 * octet + (place if self.columns.bit_zero == "least" else 7 - place)

    def place(self, row: Row) -> tuple[int, int] | None:
        """Return first and last bit of one column with octet and bit."""
        cell, last = self.cell(row, "place"), self.cell(row, "last")
        texts = _RANGE.split(cell.text) if not last.text else [cell.text, last.text]
        found = []
        for text in texts:
            if cell.number and text.isascii() and text.isdigit():
                text += ".0"  # A sheet keeps 1.0 as the number 1.
            place = _PLACE.fullmatch(text) or _WORD_PLACE.fullmatch(text)
            if place is None or len(texts) > 2:
                self.refuse(
                    "bad-cell",
                    row,
                    cell,
                    "a place must be octet and bit such as 0.1 or Byte 0 Bit 1, not "
                    f"{shown(repr(cell.text))}",
                )
                return None
            found.append(self.index(row, cell, int(place[1]), int(place[2])))
        first, end = found[0], found[-1]
        return None if first is None or end is None else (first, end)

    def running(self, row: Row) -> tuple[int, int] | None:
        """Return first and last bit of a column with running numbers."""
        cell, last = self.cell(row, "number"), self.cell(row, "last")
        text = f"{cell.text}-{last.text}" if last.text else cell.text
        numbers = self.numbers(row, cell._replace(text=text), "a bit number")
        if numbers is None:
            return None
        found = []
        for number in numbers:
            index = number - self.columns.first_bit
            if index < 0:
                text = f"a bit number must be at least {self.columns.first_bit}, not {number}"
                self.refuse("bad-cell", row, cell, text)
                return None
            found.append(index if self.columns.bit_zero == "least" else index ^ 7)
        return found[0], found[-1]

    def extent(self, row: Row, first: int, last: int) -> tuple[int, int] | None:
        """Return index and width, after comparing the range with the stated width."""
        cell = self.cell(row, "width")
        low, high = min(first, last), max(first, last)
        width = high - low + 1
        if first >> 3 != last >> 3 and self.columns.bit_zero == "most":
            low, high = min(first >> 3, last >> 3) * 8, max(first >> 3, last >> 3) * 8 + 7
            width = high - low + 1
            if {first, last} != {low + 7, high - 7}:
                self.refuse(
                    "not-expressible",
                    row,
                    self.cell(row, self.columns.notation[0]),
                    "a range over several octets, counted from the most significant bit, must fill "
                    "them whole",
                    "a map cannot hold another one: split it into rows",
                )
                return None
        if cell.text or self.type_width(row):
            stated = self.stated_width(row, cell)
            if stated is None:
                return None
            if first != last and stated != width:
                self.refuse(
                    "type-length",
                    row,
                    cell,
                    f"the width must be the {width} bits of the range, not {stated}",
                )
                return None
            if first == last and self.columns.bit_zero == "most" and stated > 1:
                return self.from_most(row, first, stated)
            width = stated
        if low + width > MOST_BITS:
            self.refuse(
                "too-big", row, cell, f"the data must have at most {MOST_BITS} bits, not more"
            )
            return None
        return low, width

    def from_most(self, row: Row, first: int, width: int) -> tuple[int, int] | None:
        """Return index and width of a value whose most significant bit is stated."""
        if width <= (first & 7) + 1:
            return first - width + 1, width
        if first & 7 == 7 and width % 8 == 0:
            return first - 7, width
        self.refuse(
            "not-expressible",
            row,
            self.cell(row, self.columns.notation[0]),
            f"{width} bits from a bit that is counted from the most significant side must stay in "
            "one octet or fill octets",
            "a map cannot hold another one: split it into rows",
        )
        return None

    def type_width(self, row: Row) -> int | None:
        """Return the width that the type of a row has, None where its name tells none."""
        word = self.cell(row, "type").text
        return None if word in _OWN_TYPES or word.upper() not in _TYPES else _TYPES[word.upper()][0]

    def stated_width(self, row: Row, cell: Cell) -> int | None:
        """Return the width of the column or of the type, or keep the problem."""
        of_type = self.type_width(row)
        if not cell.text:
            return of_type
        found = _WIDTH.fullmatch(cell.text)
        width = int(found[1]) if found else 0
        if not 1 <= width <= MOST_BITS:
            self.refuse(
                "bad-length",
                row,
                cell,
                f"a width must be 1..{MOST_BITS} bits, not {shown(repr(cell.text))}",
            )
            return None
        if of_type is not None and of_type != width:
            kind = self.cell(row, "type")
            self.refuse(
                "type-length",
                row,
                cell,
                f"the width must be the {of_type} bits of {shown(kind.text)}, not {width}",
            )
            return None
        return width

    def part(self, row: Row, start: int, width: int) -> Part | None:
        """Return the signal or the reserved run of a row."""
        cell = self.cell(row, "name")
        name: str | None = cell.text
        if name in self.columns.reserve:
            name = None
        element = f"cell {cell.address}"
        part = Part(start=start, width=width, name=name, line=row.number, element=element)
        if name is None:
            return replace(
                part, extra=self.extra(row, {"value": RESERVED["value"], "note": RESERVED["note"]})
            )
        kind = self.kind(row, width)
        if kind is None:
            return None
        order = self.order(row, start, width)
        extra = self.extra(row, {name: SIGNAL[name] for name in ATTRIBUTES if name not in _PLACED})
        codes = dict(extra).get("codes", ())
        extra = tuple((name, value) for name, value in extra if name not in ("codes", "bind"))
        bind = self.cell(row, "bind").text
        return replace(part, type=kind, order=order, codes=codes, bind=bind, extra=extra)

    def kind(self, row: Row, width: int) -> str | None:
        """Return the type of a map, or keep the problem."""
        cell = self.cell(row, "type")
        word = cell.text.upper().removeprefix("SAFE")
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
            self.refuse("unknown-type", row, cell, text)
            return None
        return kind

    def order(self, row: Row, start: int, width: int) -> str:
        """Return the octet order of a value wider than an octet, or keep the problem."""
        cell = self.cell(row, "order")
        order = cell.text or self.columns.octet_order or self.decisions.order
        if width <= 8 and not cell.text:
            return "little"
        if order not in ("little", "big"):
            self.refuse(
                "ambiguous-order",
                row,
                cell,
                f"the octet order of {width} bits must be little or big, not "
                f"{shown(order) or 'left out'}",
                "--order little or --order big, or a column of its own",
            )
        elif order == "big" and (width % 8 or start % 8):
            self.refuse(
                "not-expressible",
                row,
                cell,
                f"a value with its high octet first must fill whole octets, not {width} bits at "
                f"bit {start % 8}",
                "a map cannot hold it: split it into rows",
            )
        else:
            return order
        return "little"

    def extra(self, row: Row, keys: Mapping[str, Any]) -> tuple[tuple[str, Any], ...]:
        """Return the further keys of a row as their kinds read them, or keep the problems."""
        found = []
        for name, key in keys.items():
            cell = self.cell(row, name)
            if not cell.text:
                continue
            try:
                found.append((name, key.kind.read(self.plain(name, cell.text))))
            except RefusalError as refusal:
                self.refuse("bad-cell", row, cell, f"{name} must be {refusal}")
        return tuple(found)

    def plain(self, name: str, text: str) -> Any:
        """Return a cell as the plain value of its key; what is none stays text."""
        if name == "codes":
            return _codes(text)
        if name in ("safe", "value", "scale") and _DECIMAL.fullmatch(text):
            other = "," if self.columns.decimal == "." else "."
            if other in text:
                return f"{text} with decimal sign {self.columns.decimal}"
            text = text.replace(",", ".")
            if name == "scale":
                return text
            return float(text) if set(text) & set(".eE") else int(text)
        return text


def _few(addresses: Sequence[str]) -> str:
    shown_ones = ", ".join(addresses[:_FEW])
    more = len(addresses) - _FEW
    return f"{shown_ones} and {more} more" if more > 0 else shown_ones


_FEW = 8
_PLACED = ("name", "type", "order", "bind")


def _codes(text: str) -> Any:
    """Return ``0=off;1=on`` as a table; a semicolon or backslash in a name follows a backslash."""
    found: dict[str, str] = {}
    for piece in _PIECE.finditer(text):
        code, equals, name = piece[1].partition("=")
        if not equals or code.strip() in found:
            return text
        found[code.strip()] = _ESCAPED.sub(r"\1", name)
    return found or text
