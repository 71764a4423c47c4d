"""Reports for programs: JSON in the versioned format of ``schemas/report.schema.json``."""

from __future__ import annotations

import json
from typing import Any

from .._errors import InputError, Problem
from .._findings import SEVERITIES, Counterexample, Finding, Report, Spot, Waived
from .document import CAUTION, picked

FORMAT = "safeframe-report/2"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def report(given: Report) -> str:
    """Return a report as one JSON document, keys in a fixed order, ending in a line feed."""
    return _document(given, ())


def problems(error: InputError) -> str:
    """Return a document for input that could not be read: no verdict, only the problems."""
    return _document(Report(), error.problems)


def _document(given: Report, unread: tuple[Problem, ...]) -> str:
    document = {
        "format": FORMAT,
        "connections": list(given.connections),
        "worst": given.worst(),
        "counts": {
            severity: sum(finding.severity == severity for finding in given.findings)
            for severity in SEVERITIES
        },
        "findings": [finding_data(finding) for finding in given.findings],
        "allowed": [waived_data(waived) for waived in given.waived],
        "known": [finding_data(finding) for finding in given.known],
        "not_judged": [
            picked(entry, "connection route rule reason subject") for entry in given.not_judged
        ],
        "not_looked_at": list(given.not_looked_at),
        "facts": [{"label": label, "text": text} for label, text in given.facts],
        "problems": [problem_data(problem) for problem in unread],
        "caution": CAUTION,
    }
    # ASCII only: no terminal or log is handed a control or escape character from a map.
    return json.dumps(document, indent=2, ensure_ascii=True) + "\n"


def finding_data(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain data."""
    return {
        **picked(
            finding, "rule severity connection direction producer consumer cause message remedy"
        ),
        "spots": [_spot(spot) for spot in finding.spots],
        "details": list(finding.details),
        "witness": None if finding.counterexample is None else _witness(finding.counterexample),
    }


def _spot(spot: Spot) -> dict[str, Any]:
    return {
        "end": spot.end,
        **picked(spot.where, "path line key"),
        "place": None if spot.place is None else str(spot.place),
        "signal": spot.signal,
    }


def _witness(counterexample: Counterexample) -> dict[str, Any]:
    return {
        "octets": counterexample.octets.hex(),
        "before": None if counterexample.before is None else counterexample.before.hex(),
        "rows": [
            {"signal": signal, "producer": producer, "consumer": consumer}
            for signal, producer, consumer in counterexample.rows
        ],
    }


def waived_data(waived: Waived) -> dict[str, Any]:
    """Return an allowed finding as plain data."""
    return {
        "finding": finding_data(waived.finding),
        "reason": waived.reason,
        "path": waived.where.path,
        "line": waived.where.line,
    }


def problem_data(problem: Problem) -> dict[str, Any]:
    """Return a problem of input as plain data."""
    return picked(problem, "path line key message remedy")
