"""Find where each statement of a TOML text stands.

tomllib gives values but no lines. This scanner works on a text that tomllib has accepted, so
it need not judge anything: it only has to know where strings, comments, brackets and keys
begin and end. Statements and the elements of the arrays at top level are found eagerly, what
lies deeper only when somebody asks for it (mostly to explain an error).
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Callable, Iterator

from .._value import NamedTuple
from .paths import Path

_STRING = (
    r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']++|'{1,2}(?!'))*+'{3,5}"
    r'|"(?:[^"\\\n]++|\\.)*+"'
    r"|'[^'\n]*+'"
)
_BLANK = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_FLAT = re.compile(rf"[\[{{](?:[^\[\]{{}}\"'#]++|{_STRING}|#[^\n]*+)*+[\]}}]")
_TOKEN = re.compile(rf"[\[\]{{}}]|{_STRING}|#[^\n]*+")
_SCALAR = re.compile(rf"{_STRING}|[^,\]}}#\r\n]++")
_BARE_KEY = r"[A-Za-z0-9_-]+"
KEY_PART = re.compile(rf"({_BARE_KEY})|{_STRING}")
_DOT = re.compile(r"[ \t]*+\.[ \t]*+")
_EQUALS = re.compile(r"[ \t]*+=[ \t]*+")
_HEADER = re.compile(r"(\[\[?)[ \t]*+")
_HEADER_END = re.compile(r"[ \t]*+\]\]?")
_SPACES = re.compile(r"[ \t]*+")


class Span(NamedTuple):
    """Character offsets: ``start`` of the key (or of the element), ``value`` to ``end``."""

    start: int
    value: int
    end: int


class Statement(NamedTuple):
    """A statement at top level: a key with its value, or a table header (``header``)."""

    path: Path
    span: Span
    header: bool


def lazy_lines(text: str) -> Callable[[Path], int]:
    """Return ``Index(text).line``, with the index made when the first line is asked for."""
    made: list[Index] = []

    def line(path: Path) -> int:
        if not made:
            made.append(Index(text))
        return made[0].line(path)

    return line


def _unquoted(key: str) -> str:
    import tomllib  # deferred: most keys are bare.

    return next(iter(tomllib.loads(f"{key}=0")))


class Index:
    """The places of all statements of one TOML text that tomllib has accepted."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.statements: list[Statement] = []
        self._spans: dict[Path, Span] = {}
        self._expanded: set[Path] = set()
        self._newlines = [match.start() for match in re.finditer("\n", text)]
        self._scan()

    def line(self, path: Path) -> int:
        """Return the line (from 1) of the deepest part of ``path`` that is in the text."""
        span = self.find(path)
        return self.line_at(span.start) if span else 0

    def line_at(self, offset: int) -> int:
        """Return the line (from 1) of a character offset."""
        return bisect_left(self._newlines, offset) + 1

    def find(self, path: Path) -> Span | None:
        """Return the span of the deepest part of ``path`` that is in the text."""
        found = self._spans.get(path)
        if found is not None:
            return found
        for length in range(1, len(path) + 1):
            prefix = path[:length]
            if prefix not in self._spans and length > 1:
                self.expand(path[: length - 1])
            if prefix not in self._spans:
                break
            found = self._spans[prefix]
        return found

    def span(self, path: Path) -> Span | None:
        """Return the span of exactly ``path``, or None when the text has no such statement."""
        self.find(path)
        return self._spans.get(path)

    def children(self, path: Path) -> list[tuple[Path, Span]]:
        """Return what stands inside the value at ``path``, in text order."""
        self.expand(path)
        return [
            (inner, span)
            for inner, span in self._spans.items()
            if inner[: len(path)] == path and len(inner) == len(path) + 1
        ]

    def expand(self, path: Path) -> None:
        """Locate what stands inside the inline value at ``path``."""
        span = self._spans.get(path)
        if span is None or path in self._expanded:
            return
        self._expanded.add(path)
        match self.text[span.value : span.value + 1]:
            case "[":
                self._array(path, span.value)
            case "{":
                for parts, inner in self.pairs(span.value):
                    self._record((*path, *parts), inner, len(path) + 1)

    def _record(self, path: Path, span: Span, shortest: int = 1) -> None:
        """Keep a span, also for the tables that a dotted key names on the way."""
        for length in range(shortest, len(path)):
            self._spans.setdefault(path[:length], Span(span.start, span.end, span.end))
        self._spans[path] = span

    def _scan(self) -> None:
        text, length = self.text, len(self.text)
        position = self._blank(1 if text.startswith("\ufeff") else 0)
        table: Path = ()
        counts: dict[Path, int] = {}
        while position < length:
            start = position
            if text[position] == "[":
                double = text.startswith("[[", position)
                opened = _HEADER.match(text, position)
                assert opened is not None
                keys, position = self._key(opened.end())
                closed = _HEADER_END.match(text, position)
                assert closed is not None
                position = closed.end()
                table = self._table(keys, counts, double=double)
                span = Span(start, position, position)
                self._record(table, span)
                self.statements.append(Statement(table, span, True))
            else:
                keys, position = self._key(position)
                value = self._after(_EQUALS, position)
                path = (*table, *keys)
                if text[value] == "[":
                    position = self._array(path, value)
                else:
                    position = self._value_end(value)
                span = Span(start, value, position)
                self._record(path, span, len(table) + 1)
                self.statements.append(Statement(path, span, False))
            position = self._blank(position)

    @staticmethod
    def _table(keys: tuple[str, ...], counts: dict[Path, int], *, double: bool) -> Path:
        """Return the path of a table header, counting the tables of each array."""
        path: Path = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            if double and number == len(keys) - 1:
                counts[path] = counts.get(path, 0) + 1
            if path in counts:
                path = (*path, counts[path] - 1)
        return path

    def _after(self, pattern: re.Pattern[str], position: int) -> int:
        match = pattern.match(self.text, position)
        assert match is not None, "the text must be TOML that tomllib has accepted"
        return match.end()

    def _blank(self, position: int) -> int:
        return self._after(_BLANK, position)

    def _key(self, position: int) -> tuple[tuple[str, ...], int]:
        """Read a key, dotted or not; return its parts and the offset after it."""
        parts: list[str] = []
        while True:
            match = KEY_PART.match(self.text, position)
            assert match is not None, "the text must be TOML that tomllib has accepted"
            parts.append(match[1] or _unquoted(match[0]))
            dot = _DOT.match(self.text, match.end())
            if dot is None:
                return tuple(parts), match.end()
            position = dot.end()

    def _value_end(self, position: int) -> int:
        """Return the offset after the value that begins at ``position``."""
        if self.text[position] not in "[{":
            scalar = _SCALAR.match(self.text, position)
            assert scalar is not None
            return position + len(scalar[0].rstrip(" \t"))
        flat = _FLAT.match(self.text, position)
        if flat is not None:
            return flat.end()
        depth = 0
        for token in _TOKEN.finditer(self.text, position):
            if token[0] in "[{":
                depth += 1
            elif token[0] in "]}":
                depth -= 1
                if depth == 0:
                    return token.end()
        raise AssertionError("the text must be TOML that tomllib has accepted")

    def _array(self, path: Path, position: int) -> int:
        """Keep the span of every element of the array at ``position``; return where it ends."""
        self._expanded.add(path)
        number = 0
        position = self._blank(position + 1)
        while self.text[position] != "]":
            end = self._value_end(position)
            self._spans[*path, number] = Span(position, position, end)
            number += 1
            position = self._blank(end)
            if self.text[position] == ",":
                position = self._blank(position + 1)
        return position + 1

    def pairs(self, position: int) -> Iterator[tuple[tuple[str, ...], Span]]:
        """Yield keys and span of every pair of the inline table that opens at ``position``."""
        position = self._after(_SPACES, position + 1)
        while self.text[position] != "}":
            keys, after = self._key(position)
            value = self._after(_EQUALS, after)
            end = self._value_end(value)
            yield keys, Span(position, value, end)
            position = self._after(_SPACES, end)
            if self.text[position] == ",":
                position = self._after(_SPACES, position + 1)
