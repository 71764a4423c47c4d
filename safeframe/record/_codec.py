"""Values of dataclasses out of plain JSON data, strictly; and the JSON Schema of such a value.

Knows texts, integers, truth values, None, tuples of one kind, and dataclasses of these: the types
themselves are the table. ``fingerprint.plain`` is the way back.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping
from functools import cache
from typing import Any, get_args, get_origin, get_type_hints

from .._document.kinds import FLAG, TEXT, Kind, array, integer
from .._document.locate import Path
from .._document.tables import Key, Tables, nested

__all__ = ["kind_of", "schema"]

_KINDS = {str: TEXT, int: integer(None), bool: FLAG}


@cache
def kind_of(given: Any) -> Kind:
    """Return the kind of the values of a type."""
    if dataclasses.is_dataclass(given):
        hints = get_type_hints(given)
        keys = {
            field.name: Key(kind=kind_of(hints[field.name]), required=True)
            for field in dataclasses.fields(given)
        }
        described = {
            "type": "object",
            "properties": {name: key.kind.schema for name, key in keys.items()},
            "required": list(keys),
            "additionalProperties": False,
        }
        assert isinstance(given, type)
        return nested(given, keys, "this object")._replace(schema=described)
    if get_origin(given) is tuple:
        return array(kind_of(get_args(given)[0]))
    if get_origin(given) is types.UnionType:  # Only ``X | None`` is used.
        return _optional(kind_of(get_args(given)[0]))
    return _KINDS[given]


def _optional(kind: Kind) -> Kind:
    def inside(tables: Tables, value: Any, path: Path) -> Any:
        return None if value is None else tables.value(kind, value, path)

    described = {"anyOf": [kind.schema, {"type": "null"}]}
    return Kind(text=kind.text, read=kind.read, schema=described, inside=inside)


def schema(given: Any) -> dict[str, Any]:
    """Return the JSON Schema of a type; dataclasses are described in place."""
    described: dict[str, Any] = _copy(kind_of(given).schema)
    return described


def _copy(described: Any) -> Any:
    """Return a description that may be changed, without what several places share."""
    if isinstance(described, Mapping):
        return {name: _copy(inner) for name, inner in described.items()}
    return [_copy(inner) for inner in described] if isinstance(described, list) else described
