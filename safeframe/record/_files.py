"""Records as JSON files, and the JSON Schema that describes them."""

from __future__ import annotations

import json
import os
from typing import Any

from .._errors import InputError, Problem
from .._fingerprint import plain
from .._mapfile import read_text
from ._codec import Reader, schema
from ._parts import RESULTS, Record

__all__ = ["FORMAT", "dumps", "load", "loads", "schema_text"]

FORMAT = "safeframe-record/1"

MAX_FILE_OCTETS = 1 << 26
"""Largest record that is read: that of the largest pair of maps, with room to spare."""


def load(path: str | os.PathLike[str]) -> Record:
    """Read a record; raises InputError with every problem in it."""
    name = os.fspath(path)
    return loads(read_text(name, what="record", limit=MAX_FILE_OCTETS), path=name)


def loads(text: str, *, path: str = "<text>") -> Record:
    """Read a record from its JSON text; raises InputError with every problem in it."""
    try:
        data = json.loads(text, object_pairs_hook=_unique)
    except (ValueError, RecursionError) as error:
        message = f"the text must be valid JSON: {error}"
        raise InputError(Problem(path=path, message=message)) from None
    reader = Reader(path)
    if type(data) is dict and data.get("format") != FORMAT:
        reader.fail("format", f'the value must be "{FORMAT}", not {data.get("format")!r}')
    record = reader.read(Record, data, "")
    if record is not None:
        rows = [
            (f"computed.bits[{number}]", row) for number, row in enumerate(record.computed.bits)
        ]
        for key, row in (("computed", record.computed), *rows):
            for name in ("before", "after"):
                count = len(getattr(row, name))
                if count != 2:
                    reader.fail(f"{key}.{name}", f"the value must hold both ends, not {count}")
        for number, trial in enumerate(record.people.trials):
            if trial.result not in RESULTS:
                reader.fail(
                    f"people.trials[{number}].result",
                    f"the value must be empty, passed, failed or not applicable, "
                    f"not {trial.result!r}",
                )
    if reader.problems:
        raise InputError(*reader.problems)
    found: Record = record
    return found


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse what json takes without a word: one key twice, of which the last one counts."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice!r} must stand once in its object")
    return found


def dumps(record: Record) -> str:
    """Return a record as JSON, indented for people, ending in a line feed; ASCII only."""
    return json.dumps(plain(record), indent=1) + "\n"


def schema_text() -> str:
    """Return the JSON Schema (2020-12) of a record as the text of the file that is shipped."""
    described = schema(Record)
    described["properties"]["format"] = {"const": FORMAT}
    people = described["properties"]["people"]["properties"]
    people["trials"]["items"]["properties"]["result"] = {"enum": list(RESULTS)}
    return (
        json.dumps(
            {
                "$schema": "https://json-schema.org/draft/2020-12/schema",
                "title": FORMAT,
                "description": "The sign-off record of one change: what is computed, what people "
                "enter. Fill in only what stands under people.",
                **described,
            },
            indent=2,
        )
        + "\n"
    )
