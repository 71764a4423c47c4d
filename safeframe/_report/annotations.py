"""Reports as annotations of changed lines, in two syntaxes that hosted CI systems document.

``workflow_commands`` are lines ``::error file=...,line=...::message`` in the log of a step;
``code_quality`` is a JSON array of issues with a fingerprint each. Escapes and limits are those
of the public descriptions, from memory: 10 annotations of one severity are shown for one step,
and a ``%``, a line end and, in a property, ``:`` and ``,`` are escaped as in URLs.
"""

from __future__ import annotations

import json
from collections import Counter

from .._baseline import identity
from .._errors import InputError, Problem
from .._findings import SEVERITIES, Finding, Report, Spot
from .._source import Location
from .._words import count
from .document import CAUTION
from .paths import file_of
from .text import clean

_MOST = 10
"""Annotations of one severity that one step may show; more are dropped without a word."""
_LONGEST_TITLE, _LONGEST_MESSAGE = 255, 65535
_COMMANDS = {"error": "error", "warning": "warning", "note": "notice"}
_LEVELS = {"error": "critical", "warning": "major", "note": "info"}


def workflow_commands(given: Report) -> str:
    """Return a line for each finding, at most 10 of a severity, and the verdict as plain text."""
    lines: list[str] = []
    for severity in SEVERITIES:
        found = [finding for finding in given.findings if finding.severity == severity]
        shown = found if len(found) <= _MOST else found[: _MOST - 1]
        lines += [_command(severity, finding) for finding in shown]
        rest = len(found) - len(shown)
        if rest:
            lines.append(_more(severity, rest))
    names = ", ".join(map(clean, given.connections))
    verdict = "no new finding" if given.known else "no open finding"
    if given.findings:
        verdict = f"{count(len(given.findings), 'finding')} to mend"
    return "\n".join([*lines, f"safeframe: {names}: {verdict}", CAUTION]) + "\n"


def _more(severity: str, rest: int) -> str:
    text = f"{rest} more; safeframe check without this format lists them"
    return f"::{_COMMANDS[severity]} title=safeframe::{text}"


def workflow_problems(error: InputError) -> str:
    """Return a line for each problem of an input that could not be read."""
    shown = error.problems if len(error.problems) <= _MOST else error.problems[: _MOST - 1]
    lines = [
        _line("error", _where(problem), "input cannot be read", str(problem)) for problem in shown
    ]
    rest = len(error.problems) - len(shown)
    if rest:
        lines.append(_more("error", rest))
    return "\n".join(lines) + "\n"


def code_quality(given: Report) -> str:
    """Return the findings as a JSON array; fingerprints do not depend on lines."""
    seen: Counter[str] = Counter()
    rows = []
    for finding in given.findings:
        key = identity(finding)
        seen[key] += 1
        # Readers keep one issue of each fingerprint, so a second one about the same is numbered.
        key += f"-{seen[key]}" if seen[key] > 1 else ""
        rows.append(_issue(finding.rule, finding.severity, _message(finding), key, _first(finding)))
    return json.dumps(rows, indent=2, ensure_ascii=True) + "\n"


def code_quality_problems(error: InputError) -> str:
    """Return the problems of an input that could not be read as a JSON array."""
    rows = []
    for problem in error.problems:
        key = f"unreadable {problem.path} {problem.key} {problem.message}"
        rows.append(_issue("input", "error", str(problem), key, _where(problem)))
    return json.dumps(rows, indent=2, ensure_ascii=True) + "\n"


def _issue(
    name: str, severity: str, message: str, fingerprint: str, where: Location
) -> dict[str, object]:
    return {
        "description": clean(message),
        "check_name": name,
        "fingerprint": fingerprint,
        "severity": _LEVELS[severity],
        "location": {
            "path": file_of(where) or where.path,
            "lines": {"begin": max(where.line, 1)},
        },
    }


def _command(severity: str, finding: Finding) -> str:
    return _line(_COMMANDS[severity], _first(finding), finding.rule, _message(finding))


def _line(command: str, where: Location, title: str, message: str) -> str:
    path = file_of(where)
    properties = [f"file={_property(path)}"] if path else []
    if path and where.line:
        properties.append(f"line={where.line}")
    properties.append(f"title={_property(f'safeframe: {title}'[:_LONGEST_TITLE])}")
    return f"::{command} {','.join(properties)}::{_data(clean(message)[:_LONGEST_MESSAGE])}"


def _message(finding: Finding) -> str:
    others = "; ".join(map(_words, finding.spots[1:]))
    also = f" See also {others}." if others else ""
    return f"{finding.message}.{also} Remedy: {finding.remedy}."


def _words(spot: Spot) -> str:
    place = "" if spot.place is None else str(spot.place)
    path = file_of(spot.where) or spot.where.path
    where = f"{path}:{spot.where.line}" if spot.where.line else path
    return " ".join(filter(None, (where, spot.end, place, spot.signal)))


def _first(finding: Finding) -> Location:
    return finding.spots[0].where if finding.spots else Location(path="<none>")


def _where(problem: Problem) -> Location:
    return Location(path=problem.path, line=problem.line)


def _data(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(clean(text)).replace(":", "%3A").replace(",", "%2C")
