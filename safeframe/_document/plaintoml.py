"""TOML as maps and facts are written: one statement or one row a line, read at the speed of ``re``.

``tomllib`` looks at every character in Python, and costs milliseconds to import. Most files use
few of TOML's many spellings: bare keys, strings without escapes, plain numbers, one row a line.
Exactly these are read here; of a text with a single line that is anything else nothing is said,
and ``tomllib`` reads all of it. What is read here is what ``tomllib`` would have read (a property
test compares them).
"""

from __future__ import annotations

import re

from .._value import NamedTuple
from .paths import is_bare

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from .paths import Path

# Every choice below is settled by its first character, and nothing is tried twice: possessive.
# Blanks and keys have bounds, so that a search that fails everywhere takes no square of the length.
_BLANK = r"[ \t]{0,64}+"
_KEY = r"[A-Za-z0-9_-]{1,64}+"
_STRING = r'"[^"\\]*+"'
_SCALAR = rf"{_STRING}|[0-9A-Za-z.+-]{{1,64}}+"
_FLAT = rf'(?>[^"#{{}}\[\]]++|{_STRING})*+'
_ARRAY = rf'\[(?>[^"#{{}}\[\]]++|{_STRING}|\{{{_FLAT}\}})*+\]'
_NESTED = rf"\{{{_FLAT}\}}|{_ARRAY}"
_ROW = rf'\{{(?>[^"#{{}}]++|{_STRING}|\{{{_FLAT}\}})*+\}}'
_LINE = re.compile(
    rf"{_BLANK}(?>(?>({_KEY}){_BLANK}={_BLANK})?+"
    rf"(?>({_SCALAR}|{_ROW}|{_ARRAY}|\[\[{_KEY}\]\]){_BLANK}(,?+)|([\[\]])))?+"
    rf"{_BLANK}(?>#.*+)?+"
)
"""A line: a key, a value (or the name of a table) and whether a comma follows; or a bracket."""
_PAIR = re.compile(rf"({_BLANK}({_KEY}){_BLANK}={_BLANK}({_SCALAR}|{_NESTED}){_BLANK}[,}}])")
_ITEM = re.compile(rf"({_BLANK}({_SCALAR}|\{{{_FLAT}\}}){_BLANK}[,\]])")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
"""What no TOML may hold but a line end: looked for once, so that no pattern has to leave it out."""
_NUMBER = re.compile(r"0x([0-9A-Fa-f]{1,16}+)|-?+(?>0|[1-9][0-9]{0,17}+)(\.[0-9]{1,17}+)?+")


class Plain(NamedTuple):
    """The data of a text, and the line (from 1) of each statement, table and element."""

    data: dict[str, Any]
    lines: dict[Path, int]

    def line(self, path: Path) -> int:
        """Return the line of the deepest part of ``path`` that is in the text, else 0.

        What stands inside a statement or an element stands on its line.
        """
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 0)


class _OtherError(Exception):
    """The text is for tomllib."""


def read(text: str) -> Plain | None:
    """Return the plain data of a TOML text with their lines, None for one spelled otherwise."""
    try:
        return _read(text)
    except _OtherError:
        return None


def _read(text: str) -> Plain:
    data: dict[str, Any] = {}
    lines: dict[Path, int] = {}
    table = data  # Where statements go, and the way there.
    way: Path = ()
    array: list[Any] | None = None  # The array that is open, and the way to it.
    begun: Path = ()
    divided = True  # Whether one more element may follow.
    groups: set[str] = set()
    text = text.replace("\r\n", "\n")
    if _CONTROL.search(text):
        raise _OtherError
    for number, line in enumerate(text.split("\n"), start=1):
        found = _LINE.fullmatch(line)
        if found is None:
            raise _OtherError
        key, value, comma, bracket = found.groups()
        if array is not None:
            if value is not None and key is None and divided:
                lines[(*begun, len(array))] = number
                array.append(_value(value))
                divided = bool(comma)
            elif bracket == "]" and key is None:
                array = None
            elif value or bracket:
                raise _OtherError
        elif key is not None:
            if key in table or comma or bracket == "]":
                raise _OtherError
            begun, divided = (*way, key), True
            lines[begun] = number
            if bracket:
                table[key] = array = []
            else:
                table[key] = _value(value)
        elif value is not None and not comma:
            table, way = _opened(data, groups, value)
            lines.setdefault(way[:1], number)
            lines[way] = number
        elif value or bracket:
            raise _OtherError
    if array is not None:
        raise _OtherError
    return Plain(data, lines)


def _opened(data: dict[str, Any], groups: set[str], header: str) -> tuple[dict[str, Any], Path]:
    """Return the new table that a header opens, and the way to it."""
    table: dict[str, Any] = {}
    each = header.startswith("[[")
    name = header[2:-2] if each else header[1:-1]
    if header[0] != "[" or not is_bare(name) or (name in data and not (each and name in groups)):
        raise _OtherError
    if not each:
        data[name] = table
        return table, (name,)
    groups.add(name)
    rows = data.setdefault(name, [])
    rows.append(table)
    return table, (name, len(rows) - 1)


def _value(text: str) -> Any:
    first = text[0]
    if first == '"':
        return text[1:-1]
    if first == "{":
        return _pairs(text)
    if first == "[":
        return _items(text)
    if text in ("true", "false"):
        return text == "true"
    return _number(text)


def _pairs(row: str) -> dict[str, Any]:
    pairs = _PAIR.findall(row, 1)
    table = {
        key: value[1:-1] if value[0] == '"' else _value(value)  # Most are texts.
        for _, key, value in pairs
    }
    # Nothing may be left between the pairs, and a key that stands twice is for tomllib to tell.
    if len(table) != len(pairs) or sum([len(pair[0]) for pair in pairs]) != len(row) - 1:
        raise _OtherError
    return table


def _items(array: str) -> list[Any]:
    items = _ITEM.findall(array, 1)
    if sum([len(item[0]) for item in items]) != len(array) - 1 and array[1:-1].strip(" \t"):
        raise _OtherError
    return [_value(item[1]) for item in items]


def _number(text: str) -> int | float:
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise _OtherError
    if found[1]:
        return int(found[1], 16)
    return float(text) if found[2] else int(text)
