"""TOML as map files are written: one statement or one row a line, read at the speed of ``re``.

``tomllib`` looks at every character in Python. Most maps use few of TOML's many spellings: bare
keys, strings without escapes, plain numbers, one row a line. Exactly these are read here; of a
text with a single line that is anything else nothing is said, and ``tomllib`` reads all of it.
What is read here is what ``tomllib`` would have read (a property test compares them).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from .._value import NamedTuple

if TYPE_CHECKING:
    from .locate import Path

__all__ = ["Plain", "read"]

# Every choice below is settled by its first character, and nothing is tried twice: possessive.
_BLANK = r"[ \t]*+"
_KEY = r"[A-Za-z0-9_-]++"
_INNER = (
    r'(?>"[^"\\\x00-\x08\x0a-\x1f\x7f]*+"'
    r"|0x[0-9A-Fa-f]{1,16}+"
    r"|-?+(?>0|[1-9][0-9]{0,17}+)(?>\.[0-9]{1,17}+)?+"
    r"|true|false)"
)
_AND = rf"{_BLANK},{_BLANK}"


def _table(value: str) -> str:
    pair = rf"{_KEY}{_BLANK}={_BLANK}{value}"
    return rf"\{{{_BLANK}{pair}(?>{_AND}{pair})*+{_BLANK}\}}"


_ARRAY = rf"\[{_BLANK}(?>{_INNER}(?>{_AND}{_INNER})*+{_BLANK})?+\]"
_VALUE = rf"(?>{_INNER}|{_table(_INNER)}|{_ARRAY})"
_ROW = _table(_VALUE)
_LINE = re.compile(
    rf"{_BLANK}(?>({_KEY}){_BLANK}={_BLANK}(?>({_ROW}|{_VALUE})|(\[))|({_ROW}){_BLANK}(,?+)|(\]))?+"
    rf"{_BLANK}(?>#[^\x00-\x08\x0a-\x1f\x7f]*+)?+"
)
_PAIR = re.compile(rf"({_KEY}){_BLANK}={_BLANK}({_VALUE})")
_ITEM = re.compile(_INNER)


class Plain(NamedTuple):
    """The data of a text, and the line (from 1) of each statement and of each row."""

    data: dict[str, Any]
    lines: dict[Path, int]

    def line(self, path: Path) -> int:
        """Return the line of the deepest part of ``path`` that is in the text, else 0.

        What stands inside a statement or a row stands on its line.
        """
        return self.lines.get(path[:2]) or self.lines.get(path[:1], 0)


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
    rows: list[dict[str, Any]] | None = None
    name, divided = "", True
    for number, line in enumerate(text.split("\n"), start=1):
        found = _LINE.fullmatch(line)
        if found is None:
            raise _OtherError
        key, value, opened, row, comma, closed = found.groups()
        if row is not None:
            if rows is None or not divided:
                raise _OtherError
            lines[name, len(rows)] = number
            rows.append(_pairs(row))
            divided = bool(comma)
        elif key is not None:
            if rows is not None or key in data:
                raise _OtherError
            lines[key,] = number
            if opened:
                data[key] = rows = []
                name, divided = key, True
            else:
                data[key] = _value(value)
        elif closed:
            if rows is None:
                raise _OtherError
            rows = None
    if rows is not None:
        raise _OtherError
    return Plain(data, lines)


def _pairs(row: str) -> dict[str, Any]:
    pairs = _PAIR.findall(row)
    table = {
        key: value[1:-1] if value[0] == '"' else _value(value)  # Most are texts.
        for key, value in pairs
    }
    if len(table) != len(pairs):
        raise _OtherError  # A key that stands twice: tomllib says where.
    return table


def _value(text: str) -> Any:
    match text[0]:
        case '"':
            return text[1:-1]
        case "{":
            return _pairs(text)
        case "[":
            return [_value(item) for item in _ITEM.findall(text)]
        case "t" | "f":
            return text == "true"
    if text.startswith("0x"):
        return int(text, 16)
    return float(text) if "." in text else int(text)
