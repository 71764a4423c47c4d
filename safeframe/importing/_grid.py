"""The cells of a sheet, each with its address: CSV here, workbooks in ``_workbook``."""

from __future__ import annotations

import csv
import io
from typing import NamedTuple

from ._encoding import text_of
from ._refusals import Refusals, shown
from ._source import DeviceFile

MOST_ROWS, MOST_COLUMNS = 20_000, 256
"""Rows and columns that are read: far above any bit list, by choice."""
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
"""What may stand between the cells of a CSV file, by the word for it."""


class Cell(NamedTuple):
    """One cell: text, address such as ``C7``, whether a formula or a number is behind it.

    ``unseen`` says why somebody who looks at the sheet does not take the cell for valid.
    """

    text: str
    address: str
    formula: bool = False
    number: bool = False
    unseen: str = ""


class Row(NamedTuple):
    """One row of a sheet: its number as a spreadsheet shows it, its cells from column A on."""

    number: int
    cells: tuple[Cell, ...]

    @property
    def empty(self) -> bool:
        """Whether no cell holds anything."""
        return not any(cell.text for cell in self.cells)

    def at(self, column: int) -> Cell:
        """Return a cell by the number of its column; an empty one beyond the last."""
        if column < len(self.cells):
            return self.cells[column]
        return Cell("", f"{letters(column)}{self.number}")


def plain_text(text: str) -> str:
    """Return a text without blanks at its ends, on one line."""
    return text.strip() if text.isprintable() else " ".join(text.split())


def letters(column: int) -> str:
    """Return the letters of a column: 0 is A, 26 is AA."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def column_of(letters: str) -> int:
    """Return the number of a column by its letters: A is 0, AA is 26."""
    value = 0
    for letter in letters:
        value = 26 * value + ord(letter) - ord("A") + 1
    return value - 1


def csv_rows(source: DeviceFile, separator: str, encoding: str, refusals: Refusals) -> list[Row]:
    """Return the rows of a CSV text; the number of a row is its line in the file."""
    text = text_of(source.octets, encoding, refusals)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[Row] = []
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return rows
        except csv.Error as error:
            refusals.stop(
                "bad-line",
                line,
                f"the row must be valid CSV: {shown(error)}",
                "a quote inside quotes is doubled",
            )
        if len(rows) >= MOST_ROWS or len(cells) > MOST_COLUMNS:
            refusals.stop(
                "too-big",
                line,
                f"a sheet must have at most {MOST_ROWS} rows of {MOST_COLUMNS} cells, not more",
            )
        rows.append(
            Row(
                line,
                tuple(
                    Cell(plain_text(cell), f"{letters(column)}{line}")
                    for column, cell in enumerate(cells)
                ),
            )
        )
