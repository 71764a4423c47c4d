"""Records as JSON files, and the JSON Schema that describes them."""

from __future__ import annotations

import json
import os

from .._document.jsontext import read
from .._document.kinds import show
from .._document.locate import Path
from .._document.reader import read_text
from ._codec import kind_of, schema
from ._editions import FIRST, FORMAT, modern, written
from ._parts import RESULTS, BitRow, Computed, Record

__all__ = ["FORMAT", "dumps", "load", "loads", "schema_text"]

MAX_FILE_OCTETS = 1 << 26
"""Largest record that is read: that of the largest pair of maps, with room to spare."""


def load(path: str | os.PathLike[str]) -> Record:
    """Read a record; raises InputError with every problem in it."""
    name = os.fspath(path)
    return loads(read_text(name, what="record", limit=MAX_FILE_OCTETS), path=name)


def loads(text: str, *, path: str = "<text>") -> Record:
    """Read a record from its JSON text; raises InputError with every problem in it.

    A record of the first edition is read too; ``verify`` says that it is one.
    """
    data, tables = read(text, path=path)
    old = type(data) is dict and data.get("format") == FIRST
    tables.head(data, FIRST if old else FORMAT, "a record", data)
    made = tables.value(kind_of(Record), modern(data), ())
    tables.problems.refuse()
    record: Record = made
    rows: list[tuple[Path, Computed | BitRow]] = [(("computed",), record.computed)]
    rows += [(("computed", "bits", number), row) for number, row in enumerate(record.computed.bits)]
    for key, row in rows:
        for name in ("before", "after"):
            if len(getattr(row, name)) != 2:
                count = len(getattr(row, name))
                tables.add((*key, name), f"{name} must hold both ends, not {count}")
    for number, trial in enumerate(record.people.trials):
        if trial.result not in RESULTS:
            tables.add(
                ("people", "trials", number, "result"),
                f"result must be empty or one of {', '.join(RESULTS[1:])}, "
                f"not {show(trial.result)}",
            )
    tables.problems.refuse()
    return record


def dumps(record: Record) -> str:
    """Return a record as JSON, indented for people, ending in a line feed; ASCII only."""
    return json.dumps(written(record), indent=1) + "\n"


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
