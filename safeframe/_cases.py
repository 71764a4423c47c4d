"""Cases: vectors and fixtures in one record, with files in JSON and JSON Lines.

A file holds the cases of one profile from one source. ``published`` files hold only what
someone else printed, ``derived`` ones what was computed here, ``generated`` ones fixtures made
from a map.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

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
KINDS = ("published", "derived", "generated")
SUBJECTS = (
    "frame",
    "step",
    "block crc",
    "crc",
    "parameter record",
    "structure signature",
    "spdu ids",
)
"""What a case is about: a frame alone or in a sequence, a CRC of a frame or alone, a number."""
VERDICTS = ("accept", "repeat", "reject", "unknown", "undetected")
"""What a receiver says; ``repeat`` is no new frame, ``undetected`` a faulty frame that the check
cannot catch. A step is judged after the steps before it."""

Scalar = int | str | bool
_UNKNOWN = "the key is unknown"


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


class _CaseReader:
    """Takes JSON values apart and collects what is wrong with them."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.problems: list[Problem] = []

    def fail(self, key: str, message: str, line: int = 0, remedy: str = "") -> None:
        """Add a problem at a key path."""
        self.problems.append(
            Problem(path=self.path, line=line, key=key, message=message, remedy=remedy)
        )

    def take(
        self, row: object, kinds: Mapping[str, tuple[type, bool]], where: str, line: int
    ) -> dict[str, Any]:
        """Return the known keys of an object; wrong types, unknown and missing keys are problems.

        ``kinds`` maps keys to their type and whether they must be there.
        """
        if not isinstance(row, dict):
            self.fail(where, "the value must be an object", line)
            return {}
        prefix = f"{where}." if where else ""
        for key, value in row.items():
            if key not in kinds:
                from difflib import get_close_matches  # deferred: only a wrong key needs it.

                near = get_close_matches(key, kinds, 1)
                self.fail(prefix + key, _UNKNOWN, line, f"did you mean {near[0]}?" if near else "")
            elif not isinstance(value, kinds[key][0]):
                word = {"str": "a text", "list": "an array", "dict": "an object"}
                self.fail(prefix + key, f"the value must be {word[kinds[key][0].__name__]}", line)
        for key, (_, needed) in kinds.items():
            if needed and key not in row:
                self.fail(where, f"the key {key} is missing", line)
        return row

    def case(self, row: object, where: str, line: int) -> Case | None:
        """Return one case, or None after adding a problem."""
        before = len(self.problems)
        values = self.take(row, _CASE, where, line)
        if len(self.problems) > before:
            return None
        values = dict(values)
        try:
            values["octets"] = bytes.fromhex(values.get("octets", ""))
        except ValueError:
            self.fail(f"{where}.octets", "the value must be hexadecimal octets", line)
            return None
        result = values.get("result", [])
        if not all(isinstance(item, int) and not isinstance(item, bool) for item in result):
            self.fail(f"{where}.result", "the value must be an array of integers", line)
            return None
        values["result"] = tuple(result)
        for key, value in values.get("inputs", {}).items():
            if not isinstance(value, Scalar):
                self.fail(f"{where}.inputs.{key}", "the value must be a number or a text", line)
                return None
        try:
            return Case(**values)
        except UsageError as error:
            self.fail(where, str(error), line)
            return None


_CASE = {
    "id": (str, True),
    "subject": (str, True),
    "inputs": (dict, False),
    "octets": (str, False),
    "result": (list, False),
    "verdict": (str, False),
    "check": (str, False),
    "fault": (str, False),
    "note": (str, False),
}
_ORIGIN = {
    "document": (str, True),
    "edition": (str, False),
    "clause": (str, False),
    "confidence": (str, False),
}
_HEAD = {
    "format": (str, True),
    "kind": (str, True),
    "profile": (str, True),
    "title": (str, True),
    "source": (dict, True),
}


def _parse(text: str, path: str, line: int = 0) -> Any:
    """Return the value of a JSON text; ``line`` is where it stands, 0 for a whole file."""
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        at, message = line or error.lineno, error.msg
    except RecursionError:
        at, message = line, "nested too deeply"
    except ValueError:  # an integer of thousands of digits
        at, message = line, "a number with too many digits"
    raise InputError(Problem(path=path, line=at, message=f"JSON: {message}"))


def _rows(text: str, path: str) -> tuple[dict[str, Any], list[tuple[int, Any]]]:
    """Return the head and the cases with their lines (0 in a plain JSON file)."""
    lines = text.rstrip("\n").split("\n")
    if len(lines) > 1 and lines[0][:1] + lines[0][-1:] == "{}":  # JSON Lines: one on each line.
        rows = [(line, _parse(part, path, line)) for line, part in enumerate(lines, 1)]
        return rows[0][1], rows[1:]
    whole = _parse(text, path)
    if not isinstance(whole, dict):
        raise InputError(Problem(path=path, message="the file must hold an object"))
    found = whole.pop("cases", [])
    if not isinstance(found, list):
        raise InputError(Problem(path=path, key="cases", message="the value must be an array"))
    return whole, [(0, row) for row in found]


def loads(text: str, *, path: str = "<text>") -> CaseFile:
    """Read cases from JSON or JSON Lines; raises InputError with every problem in the text."""
    head, rows = _rows(text, path)
    reader = _CaseReader(path)
    found = reader.take(head, _HEAD, "", 0)
    source = found.get("source", {})
    origin = reader.take(source, _ORIGIN, "source", 0) if isinstance(source, dict) else {}
    if found.get("format", FORMAT) != FORMAT:
        reader.fail("format", f"the value must be {FORMAT}, not {found['format']!r}")
    cases = [reader.case(row, f"cases[{at}]", line) for at, (line, row) in enumerate(rows)]
    if reader.problems:
        raise InputError(*reader.problems)
    try:
        return CaseFile(
            kind=found["kind"],
            profile=found["profile"],
            title=found["title"],
            origin=Origin(**origin),
            cases=tuple(case for case in cases if case is not None),
        )
    except UsageError as error:
        raise InputError(Problem(path=path, message=str(error))) from None


def load(path: str | Path) -> CaseFile:
    """Read a file of cases; raises InputError when it cannot be read."""
    try:
        text = Path(path).read_bytes().decode()
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise InputError(Problem(path=str(path), message=f"cannot be read: {reason}")) from None
    except UnicodeDecodeError as error:
        message = f"the file must be UTF-8, not octet {error.object[error.start]:#04x}"
        raise InputError(Problem(path=str(path), message=message)) from None
    return loads(text, path=str(path))


def save(file: CaseFile, path: str | Path) -> None:
    """Write a file of cases: JSON Lines where the name ends in ``.jsonl``, JSON otherwise."""
    target = Path(path)
    target.write_text(dumps(file, lines=target.suffix == ".jsonl"), encoding="utf-8", newline="\n")
