"""JSON text as plain data, strictly (RFC 8259), and the lines of what stands in it.

json takes more than the standard: one key twice, numbers that are none, infinite ones. And it
says no lines once it has read a text. Both are told from the text itself, which is looked at
again only where there is something to tell.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import zip_longest
from typing import Any, NamedTuple, NoReturn

from .._errors import InputError, Problem
from .paths import Path
from .problems import Problems
from .tables import Tables

MAX_VALUES = 2_000_000
"""So many values a text may hold: the memory for them stays below 300 MB, whatever they are."""

_STRING = re.compile(r'"(?:[^"\\]++|\\.)*+"', re.DOTALL)

_MAX_DIGITS = 1300
_MAX_DEPTH = 64
_TOKEN = re.compile(r'("(?:[^"\\]++|\\.)*+")|([\[{])|([\]}])|([:,])|[^\s\[\]{},:"]++|"', re.DOTALL)


class _RefusedError(ValueError):
    """What json would take; ``sign`` is the token at fault, empty for a key that stands twice."""

    def __init__(self, message: str, sign: str = "") -> None:
        super().__init__(message)
        self.sign = sign


def read(text: str, *, path: str) -> tuple[Any, Tables]:
    """Return the plain data of a JSON text and what collects its problems, with their lines."""
    data = parse(text, path=path)
    return data, Tables(Problems(path, partial(lines, text)), table="an object")


def parse(text: str, *, path: str, line: int = 0) -> Any:
    """Return the plain data of a JSON text; raises InputError where it is none.

    ``line`` is where a text of one line stands in its file.
    """
    bare = text.removeprefix("\ufeff")
    if _signs(bare) > MAX_VALUES and _signs(_STRING.sub("", bare)) > MAX_VALUES:
        _refuse(path, 0, f"a JSON text must hold at most {MAX_VALUES} values, not more")
    try:
        return json.loads(
            bare,
            object_pairs_hook=unique,
            parse_constant=_constant,
            parse_float=_float,
            parse_int=_integer,
        )
    except json.JSONDecodeError as error:
        column = f" at column {error.colno}"
        _refuse(path, line or error.lineno, f"the text must be valid JSON{column}: {error.msg}")
    except _RefusedError as error:
        at = line or _line_of_refusal(bare, error.sign)
        _refuse(path, at, f"the text must be valid JSON: {error}")
    except RecursionError:
        message = "arrays and objects must not be nested as deeply as here"
        _refuse(path, line or _deep_line(bare), message)


def _signs(text: str) -> int:
    """Return how many signs there are of which every value but the first follows one."""
    return sum(map(text.count, ",[{"))


def _refuse(path: str, line: int, message: str) -> NoReturn:
    raise InputError(Problem(path=path, line=line, message=message)) from None


def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object whose keys stand once each; ValueError names one that does not."""
    found = dict(pairs)
    if len(found) < len(pairs):
        # The keys of a dict stand in the order of their first pairs.
        both = zip_longest(found, [name for name, _ in pairs])
        name = next(name for first, name in both if first != name)
        shown = f"{name[:40]!r}" + ("..." if len(name) > 40 else "")
        raise _RefusedError(f"the key {shown} must stand once in its object")
    return found


def _constant(name: str) -> NoReturn:
    raise _RefusedError(f"a number must be finite, not {name}", name)


def _float(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        shown = text if len(text) <= 40 else f"{text[:40]}..."
        raise _RefusedError(f"a number must be finite, not {shown}", text)
    return number


def _integer(text: str) -> int:
    if len(text) > _MAX_DIGITS:
        raise _RefusedError(
            f"an integer must have at most {_MAX_DIGITS} digits, not {len(text)}", text
        )
    return int(text)


class _Step(NamedTuple):
    """A value in a text: how many containers are around it, its key or number, where it begins."""

    depth: int
    step: str | int
    offset: int


def _steps(text: str) -> Iterator[_Step]:
    """Yield the values of a text in order, up to the first place where it is no JSON."""
    keys: list[str | None] = []  # Of each open container the key that is next, None in an array.
    numbers: list[int] = []
    after_key = False
    key_at = 0
    for token in _TOKEN.finditer(text):
        string, opened, closed, sign = token.groups()
        if closed:
            if not keys:
                return
            keys.pop()
            numbers.pop()
            continue
        if sign:
            after_key = sign == ":"
            if sign == "," and numbers:
                numbers[-1] += 1
            continue
        if keys and keys[-1] is not None and not after_key:
            if not string:
                return
            # A key: what it is of follows behind a colon.
            try:
                keys[-1] = json.loads(string, strict=False) if "\\" in string else string[1:-1]
            except json.JSONDecodeError:
                return
            key_at = token.start()
            continue
        if keys:
            key = keys[-1]
            yield _Step(
                len(keys),
                numbers[-1] if key is None else key,
                token.start() if key is None else key_at,
            )
        after_key = False
        if opened:
            keys.append("" if opened == "{" else None)
            numbers.append(0)


def _line_of_refusal(text: str, sign: str) -> int:
    """Return the line of the first token ``sign``, or of the first key that stands twice."""
    if sign:
        tokens = _TOKEN.finditer(text)
        at = next((token.start() for token in tokens if token[0] == sign), 0)
        return text.count("\n", 0, at) + 1
    seen: list[set[str | int]] = []
    again: list[int] = []
    for depth, step, offset in _steps(text):
        # What is deeper belongs to a value before this one.
        del seen[depth:]
        seen += (set() for _ in range(depth - len(seen)))
        if step in seen[-1]:
            again.append(offset)
        seen[-1].add(step)
    return text.count("\n", 0, again[0]) + 1


def _deep_line(text: str) -> int:
    """Return the first line in which brackets are open as nobody nests them."""
    depth = 0
    for token in _TOKEN.finditer(text):
        depth += bool(token[2]) - bool(token[3])
        if depth > _MAX_DEPTH:
            return text.count("\n", 0, token.start()) + 1
    return 0


class _Node:
    """A step that somebody asks for, with the steps below it."""

    __slots__ = ("inner", "offset")

    def __init__(self) -> None:
        self.inner: dict[str | int, _Node] = {}
        self.offset: int | None = None


def lines(text: str, paths: Sequence[Path]) -> list[int]:
    """Return for each key path the line (from 1) of its deepest part that is in the text.

    All are found in one pass; 0 where nothing of a path is there.
    """
    bare = text.removeprefix("\ufeff")
    root = _Node()
    for path in paths:
        node = root
        for step in path:
            node = node.inner.setdefault(step, _Node())
    around: list[_Node | None] = [root]
    for depth, step, offset in _steps(bare):
        del around[depth:]
        above = around[-1]
        found = above.inner.get(step) if above is not None else None
        if found is not None:
            found.offset = offset
        around.append(found)
    return [_line(bare, root, path) for path in paths]


def _line(text: str, node: _Node, path: Path) -> int:
    offset: int | None = None
    for step in path:
        node = node.inner[step]
        if node.offset is None:
            break
        offset = node.offset
    return 0 if offset is None else text.count("\n", 0, offset) + 1
