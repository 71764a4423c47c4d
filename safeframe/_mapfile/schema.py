"""The JSON Schema of the TOML map file, for editors, made from the table of keys."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from .._document.tables import Key
from .._model import RELATION_KINDS
from .keys import ALLOW, CONNECTION, END, FORMAT, IMPORTED, RELATION, RESERVED, SIGNAL
from .kinds import FLOAT_LIMITS

_WHEN_CODE = {"required": ["type"], "properties": {"type": {"const": "code"}}}
_WHEN_FLOAT = {"required": ["type"], "properties": {"type": {"const": "float"}}}
_WHEN_BOOL = {"required": ["type"], "properties": {"type": {"const": "bool"}}}


def schema() -> dict[str, Any]:
    """Return the schema (JSON Schema 2020-12) of the data that a TOML map holds."""
    entries = {"type": "array", "items": {"$ref": "#/$defs/entry"}}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        "description": "One end of a safety connection: what it sends and what it receives.",
        "type": "object",
        "properties": {
            "format": {"const": FORMAT, "description": "name and edition of the file format"},
            "connection": _table(CONNECTION),
            "end": _table(END),
            "imported": {
                **_table(IMPORTED),
                "description": "the device file that the map was imported from",
            },
            "sends": {**entries, "description": "entries of the data this end sends"},
            "receives": {**entries, "description": "entries of the data this end receives"},
            "relations": {
                "type": "array",
                "description": "rules between signals of this end",
                "items": {
                    **_table(RELATION),
                    "oneOf": [{"required": [kind]} for kind in RELATION_KINDS],
                    "dependentSchemas": {
                        name: {"required": ["follows"]} for name in ("after_ms", "within_ms")
                    },
                },
            },
            "parameters": {
                "type": "object",
                "description": "further values of the profile",
                "additionalProperties": {"type": ["string", "number", "boolean"]},
            },
            "allow": {
                "type": "array",
                "description": "findings that are accepted, with the reason",
                "items": _table(ALLOW),
            },
        },
        "required": ["format", "connection", "end"],
        "additionalProperties": False,
        "$defs": {
            "entry": {
                "if": {"required": ["reserved"]},
                "then": {"$ref": "#/$defs/reserved"},
                "else": {"$ref": "#/$defs/signal"},
            },
            "reserved": _table(RESERVED),
            "signal": {
                **_table(SIGNAL),
                "dependentSchemas": {"codes": _WHEN_CODE},
                "allOf": [
                    {"if": _WHEN_CODE, "then": {"required": ["width"]}},
                    {"if": _WHEN_BOOL, "then": {"properties": {"width": {"const": 1}}}},
                    {
                        "if": _WHEN_FLOAT,
                        "then": {
                            "required": ["width"],
                            "properties": {"width": {"enum": list(FLOAT_LIMITS)}},
                        },
                        "else": {"properties": {"safe": {"type": "integer"}}},
                    },
                ],
            },
        },
    }


def schema_text() -> str:
    """Return the schema as the text of the file that the package ships."""
    return json.dumps(schema(), indent=2) + "\n"


def _table(keys: Mapping[str, Key]) -> dict[str, Any]:
    properties = {}
    for name, key in keys.items():
        described = {**key.kind.schema, "description": key.meaning.replace("`", "")}
        if not key.required and key.default not in ("", None, ()):
            described["default"] = key.default
        properties[name] = described
    return {
        "type": "object",
        "properties": properties,
        "required": [name for name, key in keys.items() if key.required],
        "additionalProperties": False,
    }
