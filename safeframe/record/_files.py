"""Records as JSON files, and the JSON Schema that describes them."""

from __future__ import annotations

import json
import os
from collections.abc import Callable

from .._document.jsontext import read
from .._document.kinds import show
from .._document.locate import Path
from .._document.output import Kind, claim, write
from .._document.reader import read_text
from .._document.replace import Replacement, replace_all
from ._codec import kind_of, schema
from ._editions import FIRST, FORMAT, modern, written
from ._parts import RESULTS, BitRow, Computed, Record

__all__ = ["FORMAT", "create", "dumps", "load", "loads", "schema_text", "update"]

MAX_FILE_OCTETS = 1 << 26
"""Largest record that is read: that of the largest pair of maps, with room to spare."""


_KIND = Kind("record", (b"{",), b'"format": "safeframe-record/', fresh=True)


def create(path: str | os.PathLike[str], record: Record) -> None:
    """Write a record as a new file, whole or not at all; raises UsageError where one exists."""
    name = os.fspath(path)
    (made,) = claim([("the record", name, _KIND)], {}, force=False).values()
    write(made, dumps(record).encode())


def update(path: str | os.PathLike[str], change: Callable[[Record], Record]) -> Record:
    """Read a record, change it and write it back, whole or not at all; return it.

    Of two writers at once one is refused, and what the other one entered stays: raises UsageError
    then, with nothing written. A link is followed and stays one; owner and rights are kept.
    """
    name = os.fspath(path)
    text = read_text(name, what="record", limit=MAX_FILE_OCTETS)
    made = change(loads(text, path=name))
    replace_all(Replacement(path=name, old=text, new=dumps(made)))
    return made


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
