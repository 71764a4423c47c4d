"""Where the bits of a row stand: place, range and width as the sheet counts them."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection

from ._columns import Columns
from ._grid import Cell
from ._meanings import MappedRow
from ._numbers import MOST_BITS
from ._refusals import shown
from ._rowtypes import NEEDS_WIDTH, type_width
from ._units import ADDRESSES, BITS, NUMBERS, OCTETS, WIDER

_PLACE = re.compile(r"(?:([^\W\d_]+)\.?\s*)?([0-9]{1,5})\s*([.,:/])\s*([0-9])")
_WORD_PLACE = re.compile(
    r"([^\W\d_]+)\.?\s*([0-9]{1,5})\s*[,;.:/]?\s*([^\W\d_]+)\.?\s*([0-9]{1,5})"
)
_RANGE = re.compile(r"\s*(?:-|–|—|\.\.\.?|…|\bto\b|\bbis\b)\s*")
_NUMBER = re.compile(r"(?:([^\W\d_]+)\.?\s*)?([0-9]{1,6})")
_WIDTH = re.compile(r"([0-9]{1,6})(?:\s*bits?)?", re.IGNORECASE)


def _counts(row: MappedRow, cell: Cell, word: str | None, words: Collection[str]) -> bool:
    """Tell whether the word before a number, if any, is one of those; keeps the problem.

    A word that is passed over may mean another unit, and so another place.
    """
    if word is None or word.casefold() in words:
        return True
    if word.casefold() in WIDER:
        row.refuse(
            "bad-cell",
            cell,
            f"a place must be counted in octets and bits, not in words: {shown(cell.text)}",
            "which octet of a word comes first is not told by its number: write octets",
        )
    else:
        row.refuse(
            "bad-cell",
            cell,
            f"the word before a number must be one for what is counted there, not {shown(word)}",
            "Byte and Bit are read; any other word may count another unit: take it out",
        )
    return False


def _octet_and_bit_of(row: MappedRow, cell: Cell, text: str) -> tuple[int, ...]:
    """Return octet and bit as their words say; nothing for a text that is no place.

    A word that counts something else is a problem, which is kept.
    """
    dotted = _PLACE.fullmatch(text)
    if dotted is not None:
        before = OCTETS | ADDRESSES.keys() | (BITS if dotted[3] == "." else frozenset())
        return (int(dotted[2]), int(dotted[4])) if _counts(row, cell, dotted[1], before) else ()
    worded = _WORD_PLACE.fullmatch(text)
    if worded is None:
        return ()
    if worded[1].casefold() in BITS and worded[3].casefold() not in BITS:
        found = int(worded[4]), int(worded[2])
        return found if _counts(row, cell, worded[3], OCTETS) else ()
    if _counts(row, cell, worded[1], OCTETS) and _counts(row, cell, worded[3], BITS):
        return int(worded[2]), int(worded[4])
    return ()


class RowPlaces:
    """Reads the places of the rows one by one.

    An empty octet repeats the one above it; ``repeated`` takes the addresses of such cells.
    """

    def __init__(self, columns: Columns, repeated: list[str]) -> None:
        self._columns = columns
        self._octet: Cell | None = None
        self._repeated = repeated
        self._areas: dict[str, tuple[str, str]] = {}

    def forget(self) -> None:
        """Let no octet be repeated from the rows before."""
        self._octet = None

    def read(self, row: MappedRow, direction: str) -> tuple[int, int] | None:
        """Return index and width of a row, or keep the problem."""
        notation = self._columns.notation[0]
        reader: Callable[[MappedRow], tuple[int, int] | None] = {
            "octet": self._octet_and_bit,
            "place": self._place,
            "number": self._running,
        }[notation]
        ends = reader(row)
        if ends is None:
            return None
        if notation == "place":
            self._one_area(row, direction)
        return self._extent(row, *ends)

    def _octet_and_bit(self, row: MappedRow) -> tuple[int, int] | None:
        """Return first and last bit, counted as the sheet does, of two columns."""
        octet, bit = row.cell("octet"), row.cell("bit")
        if octet.text:
            self._octet = octet
        elif self._octet is not None:
            self._repeated.append(octet.address)
        if self._octet is None:
            row.refuse("bad-cell", octet, "the first row must state its octet, not leave it out")
            return None
        number = _NUMBER.fullmatch(self._octet.text)
        if number is None:
            text = f"an octet must be a number, not {shown(repr(self._octet.text))}"
            row.refuse("bad-cell", self._octet, text)
            return None
        if not _counts(row, self._octet, number[1], OCTETS):
            return None
        numbers = self._numbers(row, bit, "a bit", BITS)
        if numbers is None:
            return None
        first, last = (self._index(row, bit, int(number[2]), one) for one in numbers)
        return None if first is None or last is None else (first, last)

    def _numbers(
        self, row: MappedRow, cell: Cell, what: str, words: Collection[str]
    ) -> tuple[int, int] | None:
        """Return the number of a cell twice, or both of a range; ``words`` may stand before it."""
        parts = [_NUMBER.fullmatch(part) for part in _RANGE.split(cell.text)]
        if len(parts) > 2 or not all(parts):
            row.refuse(
                "bad-cell",
                cell,
                f"{what} must be a number or a range such as 0-3, not {shown(repr(cell.text))}",
            )
            return None
        known = [part for part in parts if part is not None]
        if not all(_counts(row, cell, part[1], words) for part in known):
            return None
        return int(known[0][2]), int(known[-1][2])

    def _index(self, row: MappedRow, cell: Cell, octet: int, bit: int) -> int | None:
        """Return the index of a bit by octet and bit as the sheet numbers them."""
        octet, place = octet - self._columns.first_octet, bit - self._columns.first_bit
        if not 0 <= place <= 7 or octet < 0:
            low = self._columns.first_bit
            row.refuse(
                "bad-cell",
                cell,
                f"a bit must be {low}..{low + 7} in an octet from {self._columns.first_octet} on, "
                f"not {bit} in {octet + self._columns.first_octet}",
                "first_octet and first_bit of the mapping say how the sheet counts",
            )
            return None
        return 8 * octet + (place if self._columns.bit_zero == "least" else 7 - place)

    def _place(self, row: MappedRow) -> tuple[int, int] | None:
        """Return first and last bit of one column with octet and bit."""
        cell, last = row.cell("place"), row.cell("last")
        ends = [cell, last] if last.text else [cell]
        texts = [(one, text) for one in ends for text in _RANGE.split(one.text)]
        found = []
        for one, text in texts:
            if one.number and text.isascii() and text.isdigit():
                text += ".0"  # A sheet keeps 1.0 as the number 1.
            before = len(row.refusals)
            place = _octet_and_bit_of(row, one, text) if len(texts) <= 2 else ()
            if not place and len(row.refusals) == before:
                row.refuse(
                    "bad-cell",
                    one,
                    "a place must be octet and bit such as 0.1 or Byte 0 Bit 1, not "
                    f"{shown(repr(one.text))}",
                )
            if not place:
                return None
            found.append(self._index(row, one, *place))
        first, end = found[0], found[-1]
        return None if first is None or end is None else (first, end)

    def _one_area(self, row: MappedRow, direction: str) -> None:
        """Keep a problem of an address in another area than the others of its direction."""
        for cell in (row.cell("place"), row.cell("last")):
            for text in _RANGE.split(cell.text):
                found = _PLACE.fullmatch(text)
                area = ADDRESSES.get((found[1] or "").casefold()) if found else None
                if area is None:
                    continue
                known, address = self._areas.setdefault(direction, (area, cell.address))
                if known != area:
                    row.refuse(
                        "bad-cell",
                        cell,
                        f"the addresses of one direction must all be {known}, as in {address}, "
                        f"not {area}: {shown(cell.text)}",
                        "a column for the direction, or --range, tells the lists apart",
                    )

    def _running(self, row: MappedRow) -> tuple[int, int] | None:
        """Return first and last bit of a column with running numbers."""
        cell, last = row.cell("number"), row.cell("last")
        text = f"{cell.text}-{last.text}" if last.text else cell.text
        numbers = self._numbers(row, cell._replace(text=text), "a bit number", BITS | NUMBERS)
        if numbers is None:
            return None
        found = []
        for number in numbers:
            index = number - self._columns.first_bit
            if index < 0:
                text = f"a bit number must be at least {self._columns.first_bit}, not {number}"
                row.refuse("bad-cell", cell, text)
                return None
            found.append(index if self._columns.bit_zero == "least" else index ^ 7)
        return found[0], found[-1]

    def _extent(self, row: MappedRow, first: int, last: int) -> tuple[int, int] | None:
        """Return index and width, after comparing the range with the stated width."""
        cell = row.cell("width")
        low, high = min(first, last), max(first, last)
        width = high - low + 1
        if first >> 3 != last >> 3 and self._columns.bit_zero == "most":
            low, high = min(first >> 3, last >> 3) * 8, max(first >> 3, last >> 3) * 8 + 7
            width = high - low + 1
            if {first, last} != {low + 7, high - 7}:
                row.refuse(
                    "not-expressible",
                    row.cell(self._columns.notation[0]),
                    "a range over several octets, counted from the most significant bit, must fill "
                    "them whole",
                    "a map cannot hold another one: split it into rows",
                )
                return None
        if cell.text or type_width(row):
            stated = self._stated_width(row, cell)
            if stated is None:
                return None
            if stated != width and (first != last or self._is_range(row)):
                row.refuse(
                    "type-length",
                    cell,
                    f"the width must be the {width} bit{'s'[: width != 1]} of the range, not "
                    f"{stated}",
                )
                return None
            if first == last and self._columns.bit_zero == "most" and stated > 1:
                return self._from_most(row, first, stated)
            width = stated
        elif first == last and row.cell("type").text in NEEDS_WIDTH and not self._is_range(row):
            kind = row.cell("type")
            row.refuse(
                "bad-length",
                kind,
                f"the width of {shown(kind.text)} must be stated: its name tells none, and one bit "
                "as its place is where it begins",
                "a column for the width, or a range such as 0-7; of a value of one bit 3-3",
            )
            return None
        if low + width > MOST_BITS:
            row.refuse("too-big", cell, f"the data must have at most {MOST_BITS} bits, not more")
            return None
        return low, width

    def _is_range(self, row: MappedRow) -> bool:
        """Tell whether the place of a row has both ends, be they the same."""
        cell = row.cell(
            "bit" if self._columns.notation[0] == "octet" else self._columns.notation[0]
        )
        return bool(row.cell("last").text) or len(_RANGE.split(cell.text)) == 2

    def _from_most(self, row: MappedRow, first: int, width: int) -> tuple[int, int] | None:
        """Return index and width of a value whose most significant bit is stated."""
        if width <= (first & 7) + 1:
            return first - width + 1, width
        if first & 7 == 7 and width % 8 == 0:
            return first - 7, width
        row.refuse(
            "not-expressible",
            row.cell(self._columns.notation[0]),
            f"{width} bits from a bit that is counted from the most significant side must stay in "
            "one octet or fill octets",
            "a map cannot hold another one: split it into rows",
        )
        return None

    def _stated_width(self, row: MappedRow, cell: Cell) -> int | None:
        """Return the width of the column or of the type, or keep the problem."""
        of_type = type_width(row)
        if not cell.text:
            return of_type
        found = _WIDTH.fullmatch(cell.text)
        width = int(found[1]) if found else 0
        if not 1 <= width <= MOST_BITS:
            row.refuse(
                "bad-length",
                cell,
                f"a width must be 1..{MOST_BITS} bits, not {shown(repr(cell.text))}",
            )
            return None
        if of_type is not None and of_type != width:
            kind = row.cell("type")
            row.refuse(
                "type-length",
                cell,
                f"the width must be the {of_type} bits of {shown(kind.text)}, not {width}",
            )
            return None
        return width
