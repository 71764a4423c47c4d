"""Records as JSON files, and the JSON Schema that describes them."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from .._document.jsontext import read
from .._document.kinds import show
from .._document.output import OutputKind, claim, write
from .._document.paths import Path
from .._document.reader import read_text
from .._document.replace import Replacement, replace_all
from .._document.tables import Tables
from .._errors import InputError, UsageError
from .._fingerprint import plain
from ._codec import kind_of, schema
from ._editions import FIRST, FORMAT, FirstRecord, carried_over, modern
from ._entries import RESULTS, TrialAct, data_of
from ._parts import BitRow, Computed, Record

__all__ = ["FORMAT", "create", "dumps", "load", "loads", "schema_text", "update"]

MAX_FILE_OCTETS = 1 << 26
"""Largest record that is read: that of the largest pair of maps, with room to spare."""


_KIND = OutputKind("record", (b"{",), b'"format": "safeframe-record/', fresh=True)


def create(path: str | os.PathLike[str], record: Record) -> None:
    """Write a record as a new file, whole or not at all; raises UsageError where one exists."""
    name = os.fspath(path)
    text = _readable(record)
    (made,) = claim([("the record", name, _KIND)], {}, force=False).values()
    write(made, text.encode())


def update(path: str | os.PathLike[str], change: Callable[[Record], Record]) -> Record:
    """Read a record, change it and write it back, whole or not at all; return it.

    Of two writers at once one is refused, and what the other one entered stays: raises UsageError
    then, with nothing written, and where the record could not be read back. A link is followed and
    stays one; owner and rights are kept.
    """
    name = os.fspath(path)
    text = read_text(name, what="record", limit=MAX_FILE_OCTETS)
    given = loads(text, path=name)
    made = change(given)
    if made.history[: len(given.history)] != given.history:
        raise UsageError(f"{name} must keep every entry that it holds: entries are only added")
    replace_all(Replacement(path=name, old=text, new=_readable(made)))
    return made


def _readable(record: Record) -> str:
    """Return the text of a record; UsageError where nobody could read it back."""
    text = dumps(record)
    if len(text) > MAX_FILE_OCTETS:
        raise UsageError(f"a record must be at most {MAX_FILE_OCTETS} octets, not {len(text)}")
    try:
        loads(text)
    except InputError as error:
        problem = error.problems[0]
        raise UsageError(f"{problem.key}: {problem.message}") from None
    return text


def load(path: str | os.PathLike[str]) -> Record:
    """Read a record; raises InputError with every problem in it."""
    name = os.fspath(path)
    return loads(read_text(name, what="record", limit=MAX_FILE_OCTETS), path=name)


def loads(text: str, *, path: str = "<text>") -> Record:
    """Read a record from its JSON text; raises InputError with every problem in it.

    A record of the first edition is read too, and what people had entered becomes the beginning
    of its history; ``verify`` says so.
    """
    data, tables = read(text, path=path)
    old = type(data) is dict and data.get("format") == FIRST
    tables.head(data, FIRST if old else FORMAT, "a record", data)
    if old:
        first: FirstRecord = _value(tables, FirstRecord, modern(data))
        _once(tables, "read_backs", "end", [row.end for row in first.people.read_backs])
        _once(tables, "trials", "id", [row.id for row in first.people.trials])
        results: list[tuple[Path, str]] = [
            (("people", "trials", number, "result"), row.result)
            for number, row in enumerate(first.people.trials)
        ]
        record = carried_over(first)
    else:
        record = _value(tables, Record, data)
        results = [
            (("history", number, "result"), entry.act.result)
            for number, entry in enumerate(record.history)
            if isinstance(entry.act, TrialAct)
        ]
    for key, result in results:
        if result not in RESULTS:
            words = ", ".join(RESULTS[1:])
            tables.add(key, f"result must be empty or one of {words}, not {show(result)}")
    _two_ends(tables, record.computed)
    tables.problems.refuse()
    return record


def _value(tables: Tables, kind: type, data: object) -> Any:
    made = tables.value(kind_of(kind), data, ())
    tables.problems.refuse()
    return made


def _two_ends(tables: Tables, computed: Computed) -> None:
    rows: list[tuple[Path, Computed | BitRow]] = [(("computed",), computed)]
    rows += [(("computed", "bits", number), row) for number, row in enumerate(computed.bits)]
    for key, row in rows:
        for name in ("before", "after"):
            if len(getattr(row, name)) != 2:
                count = len(getattr(row, name))
                tables.add((*key, name), f"{name} must hold both ends, not {count}")


def _once(tables: Tables, rows: str, key: str, names: Sequence[str]) -> None:
    """Refuse what the first edition holds twice: nothing there says which of both is later."""
    seen: set[str] = set()
    for number, name in enumerate(names):
        if name in seen:
            tables.add(("people", rows, number, key), f"{key} must stand once, not {name} again")
        seen.add(name)


def dumps(record: Record) -> str:
    """Return a record as JSON, indented for people, ending in a line feed; ASCII only."""
    data = plain(replace(record, history=()))
    data["history"] = [data_of(entry) for entry in record.history]
    return json.dumps(data, indent=1) + "\n"


def schema_text() -> str:
    """Return the JSON Schema (2020-12) of a record as the text of the file that is shipped."""
    described = schema(Record)
    described["properties"]["format"] = {"const": FORMAT}
    for kind in described["properties"]["history"]["items"]["oneOf"]:
        if "result" in kind["properties"]:
            kind["properties"]["result"] = {"enum": list(RESULTS)}
    return (
        json.dumps(
            {
                "$schema": "https://json-schema.org/draft/2020-12/schema",
                "title": FORMAT,
                "description": "The sign-off record of one change: what is computed, and every "
                "entry that people made, each with the seal of the one before.",
                **described,
            },
            indent=2,
        )
        + "\n"
    )
