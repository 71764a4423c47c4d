"""Change single rows and keys of a TOML map as text edits; every other byte survives.

A map may hold its entries as rows (``sends = [ { … }, ]``) or as tables (``[[sends]]``); each
direction is patched in the style it is written in. All edits of one Patch refer to the same
text, so those of several calls can be applied together when they touch different places.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from .._document.locate import KEY_PART, Index, Span
from .._document.paths import Path, key_path
from .._errors import UsageError
from .._model import End, Reserved, Signal
from .._source import TextEdit
from .assemble import read_toml
from .keys import RESERVED, SIGNAL
from .write import plain_entry, toml_key, toml_value

_REST_OF_LINE = re.compile(r"[ \t]*(?:#[^\n]*)?(?:\r?\n|\Z)")
_COMMA = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+(,)")
_BASES = {"0x": "x", "0o": "o", "0b": "b"}
_ORDER = tuple(dict.fromkeys(("at", "name", "reserved", *SIGNAL, *RESERVED)))


class Patch:
    """Edits to the entries of one TOML map, given as its text; ``end`` is what it says now.

    The constructor raises InputError for a text that is no map.
    ``direction`` is sends or receives, ``number`` counts the entries from 0. Every method
    raises UsageError for an entry or key that is not there, or that is written in a way that
    no small edit can change (dotted keys, tables in several pieces).
    """

    def __init__(self, text: str, *, path: str = "<text>") -> None:
        self.end: End = read_toml(text, path=path)
        self.text = text
        self.index: Index = Index(text)
        self.line_end = "\r\n" if "\r\n" in text else "\n"

    def insert(self, direction: str, number: int, entry: Signal | Reserved) -> tuple[TextEdit, ...]:
        """Add an entry so that it gets ``number``; the entries from there on move up by one."""
        count = self.count(direction)
        if not 0 <= number <= count:
            raise UsageError(f"the number of a new entry must be 0..{count}, not {number}")
        row = plain_entry(entry)
        if self._in_rows(direction):
            return self._insert_row(direction, number, toml_value(row))
        lines = [f"{toml_key(key)} = {toml_value(value)}" for key, value in row.items()]
        if count or any(statement.header for statement in self.index.statements):
            block = self.line_end.join([f"[[{direction}]]", *lines])
            return self._insert_table(direction, number, block)
        array = self.line_end.join([f"{direction} = [", f"  {toml_value(row)},", "]"])
        return (self._new_line(len(self.text), array),)

    def copy(self, direction: str, number: int, to: int) -> tuple[TextEdit, ...]:
        """Add a copy of an entry, with the comment on its line, so that it gets number ``to``."""
        entry = self._entry(direction, number)
        if not self._in_rows(direction):
            start, end = self._block((direction, number))
            block = self.text[self._line_start(start) : end].removesuffix("\n").removesuffix("\r")
            return self._insert_table(direction, to, block)
        row, tail = self.text[entry.start : entry.end], ""
        rest = _REST_OF_LINE.match(self.text, self._comma(entry) or entry.end)
        if rest is not None and not self.text[self._line_start(entry.start) : entry.start].strip():
            tail = rest[0].rstrip("\r\n")
        return self._insert_row(direction, to, row, tail)

    def remove(self, direction: str, number: int) -> tuple[TextEdit, ...]:
        """Remove an entry; the entries after it move down by one."""
        self._entry(direction, number)
        if self._in_rows(direction):
            return self._remove_row(direction, number)
        start, end = self._block((direction, number))
        start = self._line_start(start)
        # The blank line above a table was there to set it apart. Below the last table of a
        # text without a last line end, the line end before the blank line goes as well.
        above = self._before_line_end(start)
        if not self.text.endswith("\n", 0, end):
            start, above = above, self._before_line_end(above)
            if self.text.endswith("\n", 0, start):
                start = above
        elif self.text.endswith("\n", 0, above):
            start = above
        return (TextEdit(start=start, end=end, text=""),)

    def set_key(self, direction: str, number: int, key: str, value: Any) -> tuple[TextEdit, ...]:
        """Give a key of an entry a plain value (as in the file), adding the key if need be."""
        self._entry(direction, number)
        path: Path = (direction, number, key)
        span = self.index.span(path)
        if span is not None:
            self._refuse_without_value(path, span)
            literal = _like(self.text[span.value : span.end], value)
            return (TextEdit(start=span.value, end=span.end, text=literal),)
        pair = f"{toml_key(key)} = {toml_value(value)}"
        ahead = _ORDER[: _ORDER.index(key)] if key in _ORDER else _ORDER
        found = [self.index.span((direction, number, name)) for name in ahead]
        # There is one: every entry has its place, written in one piece.
        before = max(one.end for one in found if one and one.value < one.end)
        if self._in_rows(direction):
            return (TextEdit(start=before, end=before, text=f", {pair}"),)
        return (self._new_line(before, pair),)

    def set_keys(
        self, direction: str, number: int, values: Mapping[str, Any]
    ) -> tuple[TextEdit, ...]:
        """Give keys of an entry plain values."""
        return tuple(
            edit
            for key, value in values.items()
            for edit in self.set_key(direction, number, key, value)
        )

    def rename_key(self, path: Path, name: str) -> tuple[TextEdit, ...]:
        """Give the key at a path, such as ``("relations", 0, "when", "old")``, another name."""
        span = self.index.span(path)
        if span is None or span.value == span.end:
            raise UsageError(f"{key_path(path)} must stand in one piece to be renamed")
        parts = KEY_PART.finditer(self.text, span.start, span.value)
        *_, last = (part for part in parts)
        return (TextEdit(start=last.start(), end=last.end(), text=toml_key(name)),)

    def has(self, path: Path) -> bool:
        """Tell whether the text states exactly ``path``."""
        return self.index.span(path) is not None

    def count(self, direction: str) -> int:
        """Return the number of entries of a direction."""
        return len(self.index.children((direction,)))

    def _entry(self, direction: str, number: int) -> Span:
        span = self.index.span((direction, number)) if number >= 0 else None
        if span is None:
            raise UsageError(
                f"the number of an entry of {direction} must be below "
                f"{self.count(direction)}, not {number}"
            )
        return span

    def _in_rows(self, direction: str) -> bool:
        """Tell whether the direction is written as one array of inline tables."""
        span = self.index.span((direction,))
        return span is not None and span.value < span.end

    @staticmethod
    def _refuse_without_value(path: Path, span: Span) -> None:
        if span.value == span.end:
            raise UsageError(f"the key {path[-1]} must have its value in one piece to be patched")

    # Rows: elements of an array, mostly one on each line.

    def _insert_row(
        self, direction: str, number: int, row: str, tail: str = ""
    ) -> tuple[TextEdit, ...]:
        array = self.index.span((direction,))
        assert array is not None
        rows = [span for _, span in self.index.children((direction,))]
        comma = True
        if number:
            previous = rows[number - 1]
            found = self._comma(previous)
            comma, after = found is not None, found or previous.end
        else:
            after = array.value + 1
        rest = _REST_OF_LINE.match(self.text, after)
        if rest is not None:
            indent = self._indent(rows[min(number, len(rows) - 1)]) if rows else "  "
            line = f"{indent}{row}{',' if comma else ''}{tail}{self.line_end}"
            edits = [TextEdit(start=rest.end(), end=rest.end(), text=line)]
            if not comma:
                edits.insert(0, TextEdit(start=after, end=after, text=","))
            return tuple(edits)
        if not rows:
            line = f"{self.line_end}  {row},{self.line_end}"
            return (TextEdit(start=after, end=after, text=line),)
        if tail.strip():
            # A comment ends its line: the row gets one of its own, what followed goes on below.
            line = self.line_end + self._indent(rows[min(number, len(rows) - 1)])
            end = after + len(self.text[after:]) - len(self.text[after:].lstrip(" \t"))
            text = f"{line}{row},{tail}{line}" if comma else f",{line}{row}{tail}{line}"
            return (TextEdit(start=after, end=end, text=text),)
        return (TextEdit(start=after, end=after, text=f" {row}," if comma else f", {row}"),)

    def _remove_row(self, direction: str, number: int) -> tuple[TextEdit, ...]:
        rows = [span for _, span in self.index.children((direction,))]
        row = rows[number]
        comma = self._comma(row)
        edits: list[TextEdit] = []
        before = self._comma(rows[number - 1]) if number else None
        if comma is None and before is not None:
            edits.append(TextEdit(start=before - 1, end=before, text=""))
        end = comma or row.end
        start = self._line_start(row.start)
        rest = _REST_OF_LINE.match(self.text, end)
        if rest is not None and not self.text[start : row.start].strip(" \t"):
            end = rest.end()
        else:
            start = len(self.text[: row.start].rstrip(" \t")) if len(rows) > 1 else row.start
        return (*edits, TextEdit(start=start, end=end, text=""))

    def _comma(self, row: Span) -> int | None:
        """Return the offset after the comma that follows a row, or None."""
        found = _COMMA.match(self.text, row.end)
        return found.end() if found else None

    def _indent(self, row: Span) -> str:
        """Return the white space before a row that begins its line, else two spaces."""
        before = self.text[self._line_start(row.start) : row.start]
        return "  " if before.strip(" \t") else before

    # Tables: a header line and one line for each key.

    def _insert_table(self, direction: str, number: int, block: str) -> tuple[TextEdit, ...]:
        if number:
            _, after = self._block((direction, number - 1))
        else:
            # A new first table goes after what stands before the old first one, so that a
            # comment above the old one stays with it.
            after = len(self.text)
            ends = [0]
            for statement in self.index.statements:
                if statement.path[:2] == (direction, 0):
                    after = ends[-1]
                    break
                ends.append(self._line_after(statement.span.end))
        return (self._new_line(after, self.line_end + block),)

    def _block(self, path: Path) -> tuple[int, int]:
        """Return start and end offset of a table with its keys and sub-tables."""
        statements = self.index.statements
        numbers = [
            number for number, statement in enumerate(statements) if statement.path[:2] == path
        ]
        if numbers[-1] - numbers[0] != len(numbers) - 1:
            raise UsageError(f"{path[0]}[{path[1]}] must stand in one piece to be patched")
        first, last = statements[numbers[0]], statements[numbers[-1]]
        return first.span.start, self._line_after(last.span.end)

    def _new_line(self, position: int, line: str) -> TextEdit:
        """Return the edit that adds a line after the line of ``position``."""
        start = position
        if not self.text.endswith("\n", 0, position):
            start = self._line_after(position)
        ended = self.text.endswith("\n", 0, start)
        text = line + self.line_end if ended else self.line_end + line
        return TextEdit(start=start, end=start, text=text)

    def _line_start(self, position: int) -> int:
        return self.text.rfind("\n", 0, position) + 1

    def _line_after(self, position: int) -> int:
        """Return the offset after the line end that follows ``position``."""
        return self.text.find("\n", position) + 1 or len(self.text)

    def _before_line_end(self, start: int) -> int:
        """Return the offset before the line end that ends at ``start``."""
        return start - (2 if self.text.endswith("\r\n", 0, start) else 1)


def _like(literal: str, value: Any) -> str:
    """Return a plain value as TOML in the notation of the literal that it replaces."""
    plain = toml_value(value)
    if literal[:1] == "'" and literal[:3] != "'''" and plain == f'"{value}"' and "'" not in value:
        return f"'{value}'"
    form = _BASES.get(literal[:2])
    if type(value) is int and form is not None:
        digits = f"{value:0{len(literal) - 2}{form}}"
        return literal[:2] + (digits if literal[2:].islower() else digits.upper())
    return plain
