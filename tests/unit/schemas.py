"""Documents for programs against the JSON Schemas that the package ships."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator

from safeframe._cli import schema

__all__ = ["fits", "validate"]


@cache
def _validator(name: str) -> Draft202012Validator:
    form = json.loads(schema.text_of(name))
    Draft202012Validator.check_schema(form)
    return Draft202012Validator(form)


def fits(name: str, document: Any) -> None:
    """Check a document against the schema of that name."""
    _validator(name).validate(document)


def validate(name: str, document: Any) -> None:
    """Check a document against a schema that knows every key of it."""
    fits(name, document)
    form: Any = _validator(name).schema
    assert set(document) == set(form["required"]) == set(form["properties"])
