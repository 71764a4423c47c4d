"""Findings that are known already: told from new ones by what they are about, not by where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Any, NamedTuple

from ._errors import InputError, Problem
from ._findings import Finding, Report

__all__ = ["FORMAT", "BaselineKey", "apply", "dumps", "identity", "key_of", "load", "loads"]

FORMAT = "safeframe-baseline/1"
_MAX_OCTETS = 16 << 20
_REMEDY = "write it anew with safeframe check --write-baseline"


class BaselineKey(NamedTuple):
    """What a finding is about; no line and no place, so that it survives other edits.

    ``about`` lists the culprits as ``END signal`` in sorted order, the end alone where no signal
    is named.
    """

    rule: str
    connection: str
    direction: str
    about: tuple[str, ...]


def key_of(finding: Finding) -> BaselineKey:
    """Return what a finding is about."""
    about = {f"{spot.end} {spot.signal}".rstrip() for spot in finding.spots}
    return BaselineKey(finding.rule, finding.connection, finding.direction, tuple(sorted(about)))


def identity(finding: Finding) -> str:
    """Return a SHA-256 of what a finding is about, 64 hexadecimal digits."""
    import hashlib  # deferred: only some outputs need it.
    import json

    return hashlib.sha256(json.dumps(key_of(finding)).encode("ascii")).hexdigest()


def dumps(findings: Iterable[Finding]) -> str:
    """Return the text of a baseline file that knows these findings."""
    import json

    counts = Counter(map(key_of, findings))
    rows = [{**key._asdict(), "count": counts[key]} for key in sorted(counts)]
    return json.dumps({"format": FORMAT, "findings": rows}, indent=2) + "\n"


def load(path: str) -> Counter[BaselineKey]:
    """Read a baseline file; raises InputError when it is none."""
    try:
        with open(path, encoding="utf-8") as file:
            text = file.read(_MAX_OCTETS)
    except OSError as error:
        raise _unreadable(path, f"must be readable: {error.strerror}") from None
    except UnicodeDecodeError:
        raise _unreadable(path, "must be UTF-8 text") from None
    return loads(text, path=path)


def loads(text: str, *, path: str = "<text>") -> Counter[BaselineKey]:
    """Return how often each finding is known; raises InputError when the text is no baseline."""
    import json

    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        raise _unreadable(path, "must be JSON") from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise _unreadable(path, f"must have the format {FORMAT}")
    rows = document.get("findings")
    if not isinstance(rows, list):
        raise _unreadable(path, "must hold a list of findings")
    known: Counter[BaselineKey] = Counter()
    for number, row in enumerate(rows):
        key, count = _row(row, path, number)
        known[key] += count
    return known


def _row(row: Any, path: str, number: int) -> tuple[BaselineKey, int]:
    if isinstance(row, dict):
        rule, connection, direction = (row.get(name) for name in BaselineKey._fields[:3])
        about, count = row.get("about"), row.get("count", 1)
        if (
            isinstance(about, list)
            and all(isinstance(text, str) for text in (rule, connection, direction, *about))
            and type(count) is int
            and count > 0
        ):
            return BaselineKey(str(rule), str(connection), str(direction), tuple(about)), count
    message = f"must hold {', '.join(BaselineKey._fields)} and a count of at least 1"
    raise _unreadable(path, message, f"findings[{number}]")


def _unreadable(path: str, message: str, key: str = "") -> InputError:
    problem = Problem(path=path, key=key, message=f"the baseline {message}", remedy=_REMEDY)
    return InputError(problem)


def apply(report: Report, known: Counter[BaselineKey]) -> tuple[Report, int]:
    """Move the known findings of a report to ``known``; return how many are no longer found."""
    left = known.copy()
    new: list[Finding] = []
    old: list[Finding] = []
    for finding in report.findings:
        key = key_of(finding)
        if left[key] > 0:
            left[key] -= 1
            old.append(finding)
        else:
            new.append(finding)
    return replace(report, findings=tuple(new), known=tuple(old)), left.total()
