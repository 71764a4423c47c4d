"""Cases: vectors and fixtures in one record, with files in JSON and JSON Lines.

A file holds the cases of one profile from one source. ``published`` files hold only what
someone else printed, ``recorded`` ones what somebody else's program sent or took, ``derived`` ones
what was computed here, ``generated`` ones fixtures made from a map.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

from ._document.jsontext import parse, read
from ._document.kinds import TEXT, Kind, RefusalError, array, choice, integer, show
from ._document.output import OutputKind, claim, write
from ._document.paths import Path
from ._document.problems import Problems
from ._document.reader import read_text
from ._document.tables import Key, Tables, nested
from ._errors import InputError, Problem, UsageError

__all__ = [
    "FORMAT",
    "KINDS",
    "SUBJECTS",
    "VERDICTS",
    "Case",
    "CaseFile",
    "Origin",
    "dumps",
    "load",
    "loads",
    "save",
]

FORMAT = "safeframe-cases/1"
_KIND = OutputKind("file of cases", (b"{",), f'"format": "{FORMAT}"'.encode())
KINDS = ("published", "recorded", "derived", "generated")
SUBJECTS = (
    "frame",
    "step",
    "block crc",
    "crc",
    "parameter record",
    "structure signature",
    "spdu ids",
    "parameter check",
    "configuration checksum",
)
"""What a case is about: a frame alone or in a sequence, a CRC of a frame or alone, a number."""
VERDICTS = ("accept", "repeat", "reject", "unknown", "undetected")
"""What a receiver says; ``repeat`` is no new frame, ``undetected`` a faulty frame that the check
cannot catch. A step is judged after the steps before it."""

Scalar = int | str | bool
_MAX_OCTETS = 1 << 26
"""Largest file of cases that is read: some hundred thousand frames."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where the answers of a file come from; ``clause`` says where in the document."""

    document: str
    edition: str = ""
    clause: str = ""
    confidence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One answer: inputs by name, the octets, what a receiver says.

    ``inputs`` are numbers, words, and octets as hexadecimal text. ``octets`` are the frame, or
    what a CRC covers. ``result`` are the numbers that come out, ``verdict`` what the receiver
    says about the octets, ``check`` the check that says so, ``fault`` the class of fault that was
    put in.
    """

    id: str
    subject: str
    inputs: Mapping[str, Scalar] = field(default_factory=dict)
    octets: bytes = b""
    result: tuple[int, ...] = ()
    verdict: str = ""
    check: str = ""
    fault: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.subject not in SUBJECTS:
            raise UsageError(f"subject must be one of {', '.join(SUBJECTS)}, not {self.subject!r}")
        if self.verdict and self.verdict not in VERDICTS:
            raise UsageError(f"verdict must be one of {', '.join(VERDICTS)}, not {self.verdict!r}")


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseFile:
    """Cases of one profile from one origin."""

    kind: str
    profile: str
    title: str
    origin: Origin
    cases: tuple[Case, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(f"kind must be one of {', '.join(KINDS)}, not {self.kind!r}")
        seen: set[str] = set()
        for case in self.cases:
            if case.id in seen:
                raise UsageError(f"case ids must be unique, not twice {case.id!r}")
            seen.add(case.id)


def _head(file: CaseFile) -> dict[str, Any]:
    origin = file.origin
    source = {
        "document": origin.document,
        "edition": origin.edition,
        "clause": origin.clause,
        "confidence": origin.confidence,
    }
    return {
        "format": FORMAT,
        "kind": file.kind,
        "profile": file.profile,
        "title": file.title,
        "source": {key: text for key, text in source.items() if text or key == "document"},
    }


def _case(case: Case) -> dict[str, Any]:
    """Return a case as JSON values, without what is empty."""
    whole: dict[str, Any] = {
        "id": case.id,
        "subject": case.subject,
        "inputs": dict(case.inputs),
        "octets": case.octets.hex(),
        "result": list(case.result),
        "verdict": case.verdict,
        "check": case.check,
        "fault": case.fault,
        "note": case.note,
    }
    return {key: value for key, value in whole.items() if value or key in ("id", "subject")}


def dumps(file: CaseFile, *, lines: bool = False) -> str:
    """Return a file as JSON text, or as JSON Lines: the head, then one case for each line."""
    if lines:
        rows = [_head(file), *(_case(case) for case in file.cases)]
        return "".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)
    whole = {**_head(file), "cases": [_case(case) for case in file.cases]}
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def _read_octets(value: Any) -> bytes:
    try:
        return bytes.fromhex(TEXT.read(value))
    except ValueError:
        raise RefusalError("hexadecimal octets", value) from None


def _read_scalar(value: Any) -> Scalar:
    if not isinstance(value, Scalar):
        raise RefusalError("an integer, a text, true or false", value)
    return value


def _inputs(tables: Tables, value: Any, path: Path) -> Mapping[str, Scalar]:
    if type(value) is not dict:
        tables.refuse(path, RefusalError(tables.table, value))
        return {}
    return {name: tables.value(_SCALAR, one, (*path, name)) for name, one in value.items()}


_OCTETS = Kind(text="hexadecimal octets", read=_read_octets, schema={"type": "string"})
_SCALAR = Kind(text="number or text", read=_read_scalar, schema={})
_CASE = nested(
    Case,
    {
        "id": Key(kind=TEXT, required=True),
        "subject": Key(kind=choice(*SUBJECTS), required=True),
        "inputs": Key(kind=Kind(text="inputs", read=dict, schema={}, inside=_inputs)),
        "octets": Key(kind=_OCTETS),
        "result": Key(kind=array(integer(None))),
        "verdict": Key(kind=choice("", *VERDICTS)),
        "check": Key(kind=TEXT),
        "fault": Key(kind=TEXT),
        "note": Key(kind=TEXT),
    },
    "a case",
)
_ORIGIN = nested(
    Origin,
    {
        "document": Key(kind=TEXT, required=True),
        "edition": Key(kind=TEXT),
        "clause": Key(kind=TEXT),
        "confidence": Key(kind=TEXT),
    },
    "a source",
)
_HEAD = {
    "kind": Key(kind=choice(*KINDS), required=True),
    "profile": Key(kind=TEXT, required=True),
    "title": Key(kind=TEXT, required=True),
    "source": Key(kind=_ORIGIN, required=True),
    "cases": Key(kind=array(_CASE)),
}


def _lines(text: str, path: str) -> tuple[Any, Tables] | None:
    """Return head and cases of JSON Lines as the data of one file; None for plain JSON."""
    rows = text.removeprefix("\ufeff").rstrip("\n").split("\n")
    first = rows[0].rstrip("\r")
    if len(rows) < 2 or first[:1] + first[-1:] != "{}":
        return None
    head, *cases = (parse(row, path=path, line=line) for line, row in enumerate(rows, 1))
    if "cases" in head:
        message = "the head of JSON Lines must go without cases: they stand on lines of their own"
        raise InputError(Problem(path=path, line=1, key="cases", message=message))

    def line_of(key: Path) -> int:
        return 1 if key[0] != "cases" or len(key) == 1 else int(key[1]) + 2

    return {**head, "cases": cases}, Tables(Problems(path), line_of, table="an object")


def loads(text: str, *, path: str = "<text>") -> CaseFile:
    """Read cases from JSON or JSON Lines; raises InputError with every problem in the text."""
    data, tables = _lines(text, path) or read(text, path=path)
    tables.head(data, FORMAT, "a file of cases", _HEAD)
    known = {name: data[name] for name in _HEAD if name in data}
    found = tables.take(known, _HEAD, (), "a file of cases")
    tables.problems.refuse()
    assert found is not None
    seen: set[str] = set()
    for number, case in enumerate(found.get("cases", ())):
        if case.id in seen:
            tables.add(("cases", number, "id"), f"id must stand once, not {show(case.id)} again")
        seen.add(case.id)
    tables.problems.refuse()
    return CaseFile(origin=found.pop("source"), **found)


def load(path: str | os.PathLike[str]) -> CaseFile:
    """Read a file of cases; raises InputError when it cannot be read."""
    name = os.fspath(path)
    return loads(read_text(name, what="file of cases", limit=_MAX_OCTETS), path=name)


def save(file: CaseFile, path: str | os.PathLike[str]) -> None:
    """Write a file of cases: JSON Lines where the name ends in ``.jsonl``, JSON otherwise.

    The file is written whole or not at all, and takes the place of a file of cases only. Raises
    UsageError where something else is there or came there meanwhile, or where the cases could not
    be read back, WriteError where the system fails.
    """
    name = os.fspath(path)
    text = dumps(file, lines=FilePath(name).suffix == ".jsonl")
    try:
        loads(text)
    except InputError as error:
        problem = error.problems[0]
        raise UsageError(f"{problem.key}: {problem.message}") from None
    (made,) = claim([("a file of cases", name, _KIND)], {}, force=False).values()
    write(made, text.encode("utf-8", "backslashreplace"))
