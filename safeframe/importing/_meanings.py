"""What the columns of a sheet mean: the header that says so, and the cells of a row by meaning."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ._columns import Columns
from ._grid import Cell, Row, column_of, letters
from ._refusals import Refusals, shown


class MappedRow(NamedTuple):
    """One row, with the column of every meaning, and where its problems go."""

    row: Row
    places: Mapping[str, int]
    refusals: Refusals

    @property
    def number(self) -> int:
        """The number of the row as a spreadsheet shows it."""
        return self.row.number

    def cell(self, name: str) -> Cell:
        """Return the cell of a meaning, empty where no column has it."""
        if name not in self.places:
            return Cell("", f"row {self.number}")
        return self.row.at(self.places[name])

    def refuse(self, rule: str, cell: Cell, message: str, remedy: str = "") -> None:
        """Keep a problem of a cell."""
        self.refusals.add(rule, self.number, message, remedy, f"cell {cell.address}")


def meanings(
    rows: Sequence[Row], columns: Columns, refusals: Refusals
) -> tuple[int, dict[str, int]]:
    """Return the index of the first row of data, and the column of every meaning."""
    named = {name: text for name, text in columns.columns if not _is_letters(text)}
    places = {name: column_of(text[1:]) for name, text in columns.columns if _is_letters(text)}
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
