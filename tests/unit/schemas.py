"""Documents for programs against the JSON Schemas that the package ships."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema

import safeframe

SCHEMAS = Path(safeframe.__file__).parent / "schemas"


def validate(name: str, document: Any) -> None:
    """Check a document against a schema that knows every key of it."""
    schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema)
    assert set(document) == set(schema["required"]) == set(schema["properties"])
