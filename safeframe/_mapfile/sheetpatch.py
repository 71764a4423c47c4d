"""Change single rows and cells of a CSV map as text edits; every other byte survives."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from .._document.locate import Span
from .._document.paths import Path, key_path
from .._errors import UsageError
from .._model import End, Reserved, Signal
from .._source import TextEdit
from .csvmap import cell_text, conditions_of, escaped, read_csv
from .write import plain_entry

_CELL = re.compile(r'"(?:[^"]|"")*+"|[^,\r\n]*+')
_LINE_END = re.compile(r"\r\n|\n|\r|\Z")
_TO_QUOTE = re.compile(r'[,"\r\n]')
_KINDS = {"sends": "sends", "receives": "receives", "allow": "allow", "relation": "relations"}
_COLUMNS = {("allow", "signal"): "name", ("allow", "rule"): "value", ("allow", "reason"): "note"}


class SheetPatch:
    """Edits to the entries of one CSV map, given as its text; ``end`` is what it says now.

    The same calls as those of Patch, which does this for TOML. The constructor raises
    InputError for a text that is no map, the methods UsageError for an entry or a column that
    is not there.
    """

    def __init__(self, text: str, *, path: str = "<text>") -> None:
        self.end: End = read_csv(text, path=path)
        self.text = text
        self.line_end = "\r\n" if "\r\n" in text else "\n"
        self._rows: dict[str, list[list[Span]]] = {name: [] for name in _KINDS.values()}
        self._columns: list[str] = []
        position = 1 if text.startswith("\ufeff") else 0
        while position < len(text):
            cells, position = self._scan(position)
            values = [self._value(cell) for cell in cells]
            if not any(values):
                continue
            if not self._columns:
                self._columns = values
                self._kind = values.index("direction")
            elif values[self._kind] in _KINDS:
                self._rows[_KINDS[values[self._kind]]].append(cells)

    def insert(self, direction: str, number: int, entry: Signal | Reserved) -> tuple[TextEdit, ...]:
        """Add an entry so that it gets ``number``; the entries from there on move up by one."""
        cells = {"direction": direction} | {
            key: cell_text(value) for key, value in plain_entry(entry).items()
        }
        for column in cells:
            self._column(column)
        row = ",".join(_quoted(cells.get(column, "")) for column in self._columns)
        return self._add(direction, number, row)

    def copy(self, direction: str, number: int, to: int) -> tuple[TextEdit, ...]:
        """Add a copy of an entry so that it gets number ``to``."""
        row = self._entry(direction, number)
        return self._add(direction, to, self.text[row[0].start : row[-1].end])

    def _add(self, direction: str, number: int, row: str) -> tuple[TextEdit, ...]:
        rows = self._rows[direction]
        if not 0 <= number <= len(rows):
            raise UsageError(f"the number of a new entry must be 0..{len(rows)}, not {number}")
        if number < len(rows):
            start = rows[number][0].start
        else:
            start = self._after(rows[-1]) if rows else len(self.text)
        ended = self.text[start - 1] in "\r\n"
        text = row + self.line_end if ended else self.line_end + row
        return (TextEdit(start=start, end=start, text=text),)

    def remove(self, direction: str, number: int) -> tuple[TextEdit, ...]:
        """Remove an entry; the entries after it move down by one."""
        row = self._entry(direction, number)
        start, end = row[0].start, self._after(row)
        if end == row[-1].end:
            # At the end of a text without a last line end, the one before the row goes.
            start -= 2 if self.text.endswith("\r\n", 0, start) else 1
        return (TextEdit(start=start, end=end, text=""),)

    def set_key(self, direction: str, number: int, key: str, value: Any) -> tuple[TextEdit, ...]:
        """Give a key of an entry a plain value (as in a TOML map)."""
        return self.set_keys(direction, number, {key: value})

    def set_keys(
        self, direction: str, number: int, values: Mapping[str, Any]
    ) -> tuple[TextEdit, ...]:
        """Give keys of an entry plain values; a row that is too short for them is completed."""
        row = self._entry(direction, number)
        edits: list[TextEdit] = []
        behind: dict[int, str] = {}
        for key, value in values.items():
            column = self._column(_COLUMNS.get((direction, key), key))
            if column < len(row):
                cell = row[column]
                text = _quoted(cell_text(value), always=self._is_quoted(cell))
                edits.append(TextEdit(start=cell.start, end=cell.end, text=text))
            else:
                behind[column] = _quoted(cell_text(value))
        if behind:
            cells = [behind.get(column, "") for column in range(len(row), max(behind) + 1)]
            end = row[-1].end
            edits.append(TextEdit(start=end, end=end, text="," + ",".join(cells)))
        return tuple(edits)

    def has(self, path: Path) -> bool:
        """Tell whether the sheet states exactly ``path``; a condition by its name in one piece."""
        direction, number, key, *inner = path
        assert isinstance(direction, str)
        assert isinstance(number, int)
        if key not in self._columns:
            return False
        row = self._entry(direction, number)
        text = self._value(self._cell(row, self._columns.index(str(key))))
        return inner in ([], *([name] for name, _, _ in conditions_of(text))) and bool(text)

    def rename_key(self, path: Path, name: str) -> tuple[TextEdit, ...]:
        """Give the condition at a path, such as ``("relations", 0, "when", "old")``, a new name."""
        if not self.has(path):
            raise UsageError(f"{key_path(path)} must stand in one piece to be renamed")
        _, number, column, old = path
        assert isinstance(number, int)
        cell = self._entry("relations", number)[self._columns.index(str(column))]
        text, new, quoted = self._value(cell), escaped(name), self._is_quoted(cell)
        ((start, end),) = [span for found, *span in conditions_of(text) if found == old]
        if not quoted and _TO_QUOTE.search(new):
            whole = _quoted(text[:start] + new + text[end:])
            return (TextEdit(start=cell.start, end=cell.end, text=whole),)
        if quoted:
            # Each quote inside quotes takes two characters, and the first one opens the cell.
            start, end = (1 + at + text.count('"', 0, at) for at in (start, end))
            new = new.replace('"', '""')
        return (TextEdit(start=cell.start + start, end=cell.start + end, text=new),)

    def _scan(self, position: int) -> tuple[list[Span], int]:
        """Return the cells of the row at ``position`` and the offset after its line end."""
        cells: list[Span] = []
        while True:
            match = _CELL.match(self.text, position)
            assert match is not None, "the pattern of a cell matches the empty text"
            cells.append(Span(match.start(), match.start(), match.end()))
            position = match.end()
            if self.text[position : position + 1] != ",":
                return cells, self._after(cells)
            position += 1

    @staticmethod
    def _cell(row: list[Span], column: int) -> Span:
        """Return a cell of a row, an empty one at its end where the row leaves it out."""
        end = row[-1].end
        return row[column] if column < len(row) else Span(end, end, end)

    def _value(self, cell: Span) -> str:
        text = self.text[cell.start : cell.end]
        return text[1:-1].replace('""', '"') if text.startswith('"') else text

    def _is_quoted(self, cell: Span) -> bool:
        return self.text.startswith('"', cell.start, cell.end)

    def _after(self, row: list[Span]) -> int:
        """Return the offset after the line end of a row."""
        match = _LINE_END.match(self.text, row[-1].end)
        assert match is not None, "a row that the reader has accepted ends its line"
        return match.end()

    def _entry(self, direction: str, number: int) -> list[Span]:
        rows = self._rows[direction]
        if not 0 <= number < len(rows):
            raise UsageError(
                f"the number of an entry of {direction} must be below {len(rows)}, not {number}"
            )
        return rows[number]

    def _column(self, name: str) -> int:
        if name not in self._columns:
            raise UsageError(f"the header must have a column {name} to state it")
        return self._columns.index(name)


def _quoted(cell: str, *, always: bool = False) -> str:
    """Return a cell in quotes if it needs them (RFC 4180, section 2)."""
    if not always and not _TO_QUOTE.search(cell):
        return cell
    return '"' + cell.replace('"', '""') + '"'
