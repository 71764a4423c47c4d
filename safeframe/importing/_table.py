"""Rows of a sheet become maps: one row a signal or a reserved run, every message with its cell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from ._columns import ATTRIBUTES, Columns
from ._decisions import Decisions
from ._grid import Row, letters
from ._meanings import MappedRow, meanings
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown
from ._rowplaces import RowPlaces
from ._rowtypes import part_of

_OF_SIGNALS = tuple(name for name in ATTRIBUTES if name not in ("name", "type", "order", "note"))
_FEW = 8
"""Addresses that are shown of many; by choice."""


def layouts(
    rows: Sequence[Row], columns: Columns, decisions: Decisions, refusals: Refusals
) -> list[tuple[str, PlacedTypes]]:
    """Return what the rows of a sheet say, one layout for each direction; keeps the problems."""
    start, places = meanings(rows, columns, refusals)
    sheet = _TableSheet(columns, places, decisions, refusals)
    *above, head = rows[:start] or [Row(0, ())]
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
                notes=tuple(sheet.notes(above, head)) if not found else (),
            )
            found.append((direction, layout))
    if not found:
        refusals.stop("not-found", 0, "the sheet must hold rows of signals, not none")
    return found


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
        self.order = columns.octet_order or decisions.order
        self.parts: dict[str, list[Part]] = {"sends": [], "receives": []}
        self.last = ""
        self.repeated: list[str] = []
        self.bits = RowPlaces(columns, self.repeated)
        self.formulas: list[str] = []
        self.unseen: dict[str, list[str]] = {}
        self.passed: list[str] = []
        self.left: set[int] = set()

    def notes(self, above: Sequence[Row], head: Row) -> Iterable[str]:
        """Yield what a reader should look at; ``head`` names the columns, ``above`` it rows stand.

        A title or a legend: it may say how bits are counted.
        """
        titles = [str(row.number) for row in above if not row.empty]
        if titles:
            yield f"not read, above the header: rows {few(titles)}"
        if self.left:
            names = [f"{letters(at)} {shown(head.at(at).text)}".strip() for at in sorted(self.left)]
            yield f"columns that are not read, since none of the mapping: {few(names)}"
        if self.repeated:
            yield f"taken from the cell above, as in merged cells: {few(self.repeated)}"
        if self.formulas:
            yield f"the stored value of a formula is used in {few(self.formulas)}"
        if self.passed:
            yield f"not read, since a map has no such key for reserve: {few(self.passed)}"
        for why, addresses in sorted(self.unseen.items()):
            yield f"{why} in the sheet, but read: {few(addresses)}"

    def row(self, found: Row) -> None:
        """Read one row; an empty one is passed over, any other is read or is a problem."""
        row = MappedRow(found, self.places, self.refusals)
        used = [row.cell(name) for name in self.places]
        if not any(cell.text for cell in used):
            if not found.empty:
                cell = next(cell for cell in found.cells if cell.text)
                row.refuse(
                    "bad-line",
                    cell,
                    f"a row must hold a place and a name, not only {shown(cell.text)}",
                    "--range leaves out what is no row of the list",
                )
            return
        self.formulas += [cell.address for cell in used if cell.formula]
        for cell in used:
            if cell.unseen and cell.text:
                self.unseen.setdefault(cell.unseen, []).append(cell.address)
        mapped = self.places.values()
        self.left |= {at for at, cell in enumerate(found.cells) if cell.text and at not in mapped}
        before = len(self.refusals)
        direction = self.direction(row)
        bits = self.bits.read(row, direction)
        if bits is None or len(self.refusals) > before:
            return
        part = part_of(row, bits, self.columns, self.order)
        if part is not None and len(self.refusals) == before:
            if part.name is None:
                cells = (row.cell(name) for name in _OF_SIGNALS if name in self.places)
                self.passed += [cell.address for cell in cells if cell.text]
            self.parts[direction].append(part)

    def direction(self, row: MappedRow) -> str:
        """Return sends or receives."""
        if "direction" not in self.places:
            return self.decisions.direction
        cell = row.cell("direction")
        if not cell.text and self.last:
            self.repeated.append(cell.address)
            return self.last
        for direction in ("sends", "receives"):
            if cell.text in getattr(self.columns, direction):
                if direction != self.last:
                    self.bits.forget()  # An empty octet repeats one of its own direction only.
                self.last = direction
                return direction
        words = ", ".join((*self.columns.sends, *self.columns.receives))
        row.refuse(
            "bad-cell",
            cell,
            f"the direction must be one of {shown(words)}, not {shown(repr(cell.text))}",
            "state other words as sends and receives of the mapping",
        )
        return "sends"


def few(addresses: Sequence[str]) -> str:
    """Return addresses as text, of many only the first."""
    shown_ones = ", ".join(addresses[:_FEW])
    more = len(addresses) - _FEW
    return f"{shown_ones} and {more} more" if more > 0 else shown_ones
