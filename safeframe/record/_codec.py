"""Values of dataclasses out of plain JSON data, strictly; and the JSON Schema of such a value.

Knows texts, integers, truth values, None, tuples of one kind, and dataclasses of these: the types
themselves are the table. ``fingerprint.plain`` is the way back. Entries of people are told apart
by their word for the kind; ``_entries.data_of`` is their way back.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Mapping
from functools import cache
from typing import Any, get_args, get_origin, get_type_hints

from .._document.kinds import FLAG, TEXT, Kind, RefusalError, array, integer, show
from .._document.paths import Path
from .._document.tables import Key, Tables, nested
from ._entries import KINDS, HistoryEntry

_KINDS = {str: TEXT, int: integer(None), bool: FLAG}


@cache
def kind_of(given: Any) -> Kind:
    """Return the kind of the values of a type."""
    if given is HistoryEntry:
        described = {"oneOf": [_described(_entry_keys(word)) for word in KINDS]}
        return Kind(text="entry", read=lambda value: value, schema=described, inside=_entry)
    if dataclasses.is_dataclass(given):
        assert isinstance(given, type)
        keys = _keys(given)
        return nested(given, keys, "this object")._replace(schema=_described(keys))
    if get_origin(given) is tuple:
        return array(kind_of(get_args(given)[0]))
    if get_origin(given) is types.UnionType:  # Only ``X | None`` is used.
        return _optional(kind_of(get_args(given)[0]))
    return _KINDS[given]


def _keys(given: Any) -> dict[str, Key]:
    hints = get_type_hints(given)
    return {
        field.name: Key(kind=kind_of(hints[field.name]), required=True)
        for field in dataclasses.fields(given)
    }


def _described(keys: Mapping[str, Key]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: key.kind.schema for name, key in keys.items()},
        "required": list(keys),
        "additionalProperties": False,
    }


@cache
def _entry_keys(word: str) -> dict[str, Key]:
    """Return the keys of an entry of the kind with this word."""
    kind = Kind(text=word, read=TEXT.read, schema={"const": word})
    text = Key(kind=TEXT, required=True)
    return {
        "kind": Key(kind=kind, required=True),
        **_keys(KINDS[word]),
        "previous": text,
        "seal": text,
    }


def _entry(tables: Tables, value: Any, path: Path) -> Any:
    if type(value) is not dict:
        tables.refuse(path, RefusalError(tables.table, value))
        return None
    word = value.get("kind")
    if type(word) is not str or word not in KINDS:
        if "kind" in value:
            names = ", ".join(KINDS)
            tables.add((*path, "kind"), f"kind must be one of {names}, not {show(word)}")
        else:
            tables.missing(path, "kind")
        return None
    values = tables.take(value, _entry_keys(word), path, "this entry")
    if values is None:
        return None
    seals = {name: values.pop(name) for name in ("previous", "seal")}
    del values["kind"]
    return HistoryEntry(act=KINDS[word](**values), **seals)


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
