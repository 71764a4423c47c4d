"""Values of dataclasses out of plain JSON data, strictly; and the JSON Schema of such a value.

Knows texts, integers, truth values, None, tuples of one kind, and dataclasses of these: the types
themselves are the table. ``fingerprint.plain`` is the way back.
"""

from __future__ import annotations

import dataclasses
import types
from functools import cache
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from .._errors import Problem

__all__ = ["Reader", "schema"]

Value = TypeVar("Value")

_WORDS = {str: "a text", int: "an integer", bool: "true or false"}
_SCHEMA: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    bool: {"type": "boolean"},
    types.NoneType: {"type": "null"},
}


class Reader:
    """Reads values and collects the problems of one file."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.problems: list[Problem] = []

    def fail(self, key: str, message: str) -> None:
        """Keep one problem."""
        self.problems.append(Problem(path=self.path, key=key, message=message))

    def read(self, kind: Any, data: Any, key: str) -> Any:
        """Return the value of a kind, or keep a problem and return None."""
        if _is_record(kind):
            return self._record(kind, data, key)
        origin, inner = get_origin(kind), get_args(kind)
        if origin is tuple:
            if type(data) is not list:
                return self.fail(key, f"the value must be an array, not {_show(data)}")
            return tuple(
                self.read(inner[0], item, f"{key}[{number}]") for number, item in enumerate(data)
            )
        if origin is types.UnionType:  # Only ``X | None`` is used.
            return None if data is None else self.read(inner[0], data, key)
        if type(data) is not kind:
            return self.fail(key, f"the value must be {_WORDS[kind]}, not {_show(data)}")
        return data

    def _record(self, kind: Any, data: Any, key: str) -> Any:
        if type(data) is not dict:
            return self.fail(key, f"the value must be an object, not {_show(data)}")
        kinds = _kinds(kind)
        prefix = f"{key}." if key else ""
        for name in sorted(data.keys() - kinds.keys()):
            self.fail(f"{prefix}{name}", f"a key must be one of {', '.join(kinds)}")
        before = len(self.problems)
        values = {}
        for name, inner in kinds.items():
            if name in data:
                values[name] = self.read(inner, data[name], f"{prefix}{name}")
            else:
                self.fail(f"{prefix}{name}", "the key must be there")
        return kind(**values) if len(self.problems) == before else None


def _is_record(kind: Any) -> bool:
    return dataclasses.is_dataclass(kind)


@cache
def _kinds(kind: Any) -> dict[str, Any]:
    """Return the kind of every field of a dataclass."""
    hints = get_type_hints(kind)
    return {field.name: hints[field.name] for field in dataclasses.fields(kind)}


def schema(kind: Any) -> dict[str, Any]:
    """Return the JSON Schema of a kind; dataclasses are described in place."""
    if _is_record(kind):
        kinds = _kinds(kind)
        return {
            "type": "object",
            "properties": {name: schema(inner) for name, inner in kinds.items()},
            "required": list(kinds),
            "additionalProperties": False,
        }
    if get_origin(kind) is tuple:
        return {"type": "array", "items": schema(get_args(kind)[0])}
    if get_origin(kind) is types.UnionType:
        return {"anyOf": [schema(inner) for inner in get_args(kind)]}
    return dict(_SCHEMA[kind])


def _show(data: Any) -> str:
    text = repr(data)
    return text if len(text) <= 40 else f"{text[:37]}..."
