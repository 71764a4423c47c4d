"""Reading profile files strictly: every problem of a file at once, with its line or key path."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Iterable
from typing import Any

from .._errors import InputError, Problem, UsageError
from ..crc import CATALOGUE, Algorithm
from ._facts import (
    CONFIDENCES,
    CrcUse,
    FrameKind,
    ParameterRule,
    PartRow,
    Profile,
    SizeRange,
    Sizes,
    Source,
)

__all__ = ["FORMAT", "load_file", "loads", "nearest"]

FORMAT = "safeframe-profile/1"

_PARAMETER_TYPES = ("int", "text", "guid", "bool")
_MEMBER_TYPES = ("bool", "uint", "int", "float", "code")
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)")
_HEADER = re.compile(r"\s*\[\[?\s*([A-Za-z0-9_-]+)\s*\]\]?")

Kind = Callable[["_FactsReader", Any, str], Any]
"""Converts one TOML value or adds a problem; what it returns after a problem is never used."""
Fields = dict[str, tuple[Kind, bool]]
"""Known keys of a table with their kind and whether they must be there."""


class _FactsReader:
    """Collects the problems of one file; the lines serve to say where they are."""

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.problems: list[Problem] = []

    def fail(self, key: str, message: str, remedy: str = "") -> None:
        """Add a problem at a key path."""
        self.problems.append(
            Problem(path=self.path, line=self._line(key), key=key, message=message, remedy=remedy)
        )

    def _line(self, key: str) -> int:
        """Return the line of the first or second step of a key path, 0 when there is none.

        Only ``[table]``, ``[[table]]`` and ``key =`` lines are looked at: inside inline tables
        the line is that of the outermost key, and the key path says the rest.
        """
        steps = key.split(".")
        name, _, index = steps[0].partition("[")
        wanted = name, int(index[:-1] or 0) if index else 0
        second = steps[1].partition("[")[0] if len(steps) > 1 else ""
        table, count, best = "", 0, 0
        seen: dict[str, int] = {}
        for number, line in enumerate(self.lines, 1):
            if header := _HEADER.match(line):
                table = header[1]
                count = seen[table] = seen.get(table, -1) + 1
                best = number if (table, count) == wanted else best
                continue
            left = line.partition("=")[0].strip().strip('"')
            if (not table and left == name) or (second == left and (table, count) == wanted):
                best = number
        return best

    def table(self, value: object, key: str, fields: Fields) -> dict[str, Any]:
        """Return the converted values of one table; unknown and missing keys are problems."""
        if not isinstance(value, dict):
            self.fail(key, f"the value must be a table, not {_show(value)}")
            return {}
        prefix = f"{key}." if key else ""
        for name in value:
            if name not in fields:
                near = nearest(name, fields)
                text = f"did you mean {near[0]}?" if near else f"known: {', '.join(fields)}"
                self.fail(prefix + name, "the key is unknown", text)
        for name, (_, required) in fields.items():
            if required and name not in value:
                self.fail(key, f"the key {name} is missing")
        return {
            name: fields[name][0](self, item, prefix + name)
            for name, item in value.items()
            if name in fields
        }


def _show(value: object) -> str:
    text = "true" if value is True else "false" if value is False else repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def _text(reader: _FactsReader, value: Any, key: str) -> Any:
    if not isinstance(value, str):
        reader.fail(key, f"the value must be a text, not {_show(value)}")
    return value


def _flag(reader: _FactsReader, value: Any, key: str) -> Any:
    if not isinstance(value, bool):
        reader.fail(key, f"the value must be true or false, not {_show(value)}")
    return value


def _integer(least: int | None = None) -> Kind:
    def convert(reader: _FactsReader, value: Any, key: str) -> Any:
        if isinstance(value, bool) or not isinstance(value, int):
            reader.fail(key, f"the value must be an integer, not {_show(value)}")
        elif least is not None and value < least:
            reader.fail(key, f"the value must be at least {least}, not {value}")
        return value

    return convert


def _one_of(*words: str) -> Kind:
    def convert(reader: _FactsReader, value: Any, key: str) -> Any:
        if value not in words:
            reader.fail(key, f"the value must be one of {', '.join(words)}, not {_show(value)}")
        return value

    return convert


def _unset(reader: _FactsReader, value: Any, key: str) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | str):
        reader.fail(key, f"the value must be an integer or a text, not {_show(value)}")
    return value


def _array(kind: Kind) -> Kind:
    def convert(reader: _FactsReader, value: Any, key: str) -> Any:
        if not isinstance(value, list):
            reader.fail(key, f"the value must be an array, not {_show(value)}")
            return ()
        return tuple(kind(reader, item, f"{key}[{i}]") for i, item in enumerate(value))

    return convert


def _range(reader: _FactsReader, value: Any, key: str) -> Any:
    pair = _array(_integer(0))(reader, value, key)
    if len(pair) != 2 or not all(isinstance(item, int) for item in pair) or pair[0] > pair[1]:
        reader.fail(key, f"the value must be [first, last] in rising order, not {_show(value)}")
    return pair


def _record(make: Callable[..., Any], fields: Fields) -> Kind:
    def convert(reader: _FactsReader, value: Any, key: str) -> Any:
        before = len(reader.problems)
        found = reader.table(value, key, fields)
        if len(reader.problems) > before:
            return None
        try:
            return make(**found)
        except UsageError as error:
            reader.fail(key, str(error))
            return None

    return convert


def _member(type: str, width: int) -> tuple[str, int]:  # noqa: A002 - the key of the file.
    return type, width


def _size_range(first: int, step: int = 1, last: int | None = None, label: str = "") -> SizeRange:
    if last is not None and (last < first or (last - first) % step):
        raise UsageError(f"last must be first plus a multiple of step, not {last}")
    return SizeRange(first=first, last=last, step=step, label=label)


_INLINE_ALGORITHM = _record(
    Algorithm,
    {
        "name": (_text, True),
        "width": (_integer(8), True),
        "poly": (_integer(1), True),
        "init": (_integer(0), False),
        "refin": (_flag, False),
        "refout": (_flag, False),
        "xorout": (_integer(0), False),
        "check": (_integer(0), False),
        "residue": (_integer(0), False),
        "source": (_text, False),
    },
)


def _algorithm(reader: _FactsReader, value: Any, key: str) -> Any:
    if isinstance(value, dict):
        return _INLINE_ALGORITHM(reader, value, key)
    if not isinstance(value, str) or value not in CATALOGUE:
        near = nearest(str(value), CATALOGUE)
        reader.fail(
            key,
            f"the value must be a catalogue name or a table, not {_show(value)}",
            f"did you mean {near[0]}?" if near else "`safeframe crc --list` shows the names",
        )
        return None
    return CATALOGUE[value]


_PARTS = _array(
    _record(
        PartRow,
        {
            "name": (_text, True),
            "octets": (_text, True),
            "meaning": (_text, True),
            "source": (_text, False),
        },
    )
)

_FIELDS: Fields = {
    "format": (_one_of(FORMAT), True),
    "name": (_text, True),
    "title": (_text, True),
    "summary": (_text, False),
    "editions": (_array(_text), False),
    "roles": (_array(_text), False),
    "block_octets": (_integer(1), False),
    "id_range": (_range, False),
    "address_range": (_range, False),
    "watchdog_range_ms": (_range, False),
    "fail_safe": (_one_of("zero"), False),
    "one_way": (_flag, False),
    "data_role": (_text, False),
    "notes": (_array(_text), False),
    "not_offered": (_array(_text), False),
    "recipe": (_flag, False),
    "sizes": (
        _array(
            _record(
                _size_range,
                {
                    "first": (_integer(0), True),
                    "last": (_integer(0), False),
                    "step": (_integer(1), False),
                    "label": (_text, False),
                },
            )
        ),
        False,
    ),
    "member_types": (
        _array(
            _record(
                _member, {"type": (_one_of(*_MEMBER_TYPES), True), "width": (_integer(1), True)}
            )
        ),
        False,
    ),
    "parameters": (
        _array(
            _record(
                ParameterRule,
                {
                    "name": (_text, True),
                    "type": (_one_of(*_PARAMETER_TYPES), True),
                    "minimum": (_integer(), False),
                    "maximum": (_integer(), False),
                    "choices": (_array(_integer()), False),
                    "unset": (_unset, False),
                    "unit": (_text, False),
                    "roles": (_array(_text), False),
                    "shared": (_flag, False),
                    "required": (_flag, False),
                    "note": (_text, False),
                    "source": (_text, False),
                },
            )
        ),
        False,
    ),
    "frames": (
        _array(
            _record(
                FrameKind,
                {
                    "name": (_text, True),
                    "title": (_text, True),
                    "size": (_text, True),
                    "when": (_text, False),
                    "repeat": (_array(_text), False),
                    "parts": (_PARTS, True),
                },
            )
        ),
        False,
    ),
    "crcs": (
        _array(
            _record(
                CrcUse,
                {
                    "name": (_text, True),
                    "algorithm": (_algorithm, True),
                    "covers": (_array(_text), True),
                    "carried": (_text, True),
                    "note": (_text, False),
                    "source": (_text, False),
                },
            )
        ),
        False,
    ),
    "sources": (
        _array(
            _record(
                Source,
                {
                    "tag": (_text, True),
                    "text": (_text, True),
                    "confidence": (_one_of(*CONFIDENCES), True),
                },
            )
        ),
        False,
    ),
}


def _cross_check(reader: _FactsReader, found: dict[str, Any], sizes: Sizes) -> None:
    """Add problems about values that contradict each other."""
    if pair := sizes.overlapping():
        reader.fail(
            "sizes", f"the ranges must rise and not overlap, not {pair[0]} before {pair[1]}"
        )
    tags = {source.tag for source in found.get("sources", ())}
    for table in ("parameters", "crcs"):
        for index, entry in enumerate(found.get(table, ())):
            for tag in entry.source.split():
                if tag not in tags:
                    reader.fail(
                        f"{table}[{index}].source", f"the tag {tag} must be one of [[sources]]"
                    )


def loads(text: str, *, path: str = "<text>") -> Profile:
    """Read a profile from TOML text; raises InputError with every problem in it."""
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        at = _AT_LINE.search(str(error))
        message = _AT_LINE.sub("", str(error)).strip()
        line = int(at[1]) if at else text.count("\n") + 1
        if not isinstance(error, tomllib.TOMLDecodeError):
            message, line = "nested too deeply, or a number with too many digits", 0
        raise InputError(Problem(path=path, line=line, message=f"TOML: {message}")) from None
    reader = _FactsReader(path, text)
    found = reader.table(data, "", _FIELDS)
    if not reader.problems:
        sizes = Sizes(ranges=found.pop("sizes", ()))
        _cross_check(reader, found, sizes)
    if reader.problems:
        raise InputError(*sorted(reader.problems, key=lambda problem: problem.line))
    del found["format"]
    return Profile(sizes=sizes, **found)


def load_file(path: str | os.PathLike[str]) -> Profile:
    """Read a user's own profile file; raises InputError when it cannot be read."""
    name = os.fspath(path)
    try:
        with open(name, "rb") as file:
            text = file.read().decode()
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise InputError(Problem(path=name, message=f"cannot be read: {reason}")) from None
    except UnicodeDecodeError as error:
        message = f"the file must be UTF-8, not octet {error.object[error.start]:#04x}"
        raise InputError(Problem(path=name, message=message)) from None
    return loads(text, path=name)


def nearest(name: str, known: Iterable[str]) -> list[str]:
    """Return the known name that looks most like a misspelt one, or nothing."""
    from difflib import get_close_matches  # deferred: only a misspelt name needs it.

    return get_close_matches(name, known, 1)
