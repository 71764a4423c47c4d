"""Reports in the Static Analysis Results Interchange Format, SARIF 2.1.0 (an OASIS standard).

Severities carry over one to one; an allowed finding is a suppressed result with its reason, and
a known one has the baseline state ``unchanged``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from .. import __version__
from .. import _checks as checks
from .._baseline import identity
from .._errors import InputError, Problem
from .._findings import Finding, Report, Spot
from .._source import Location
from .document import picked
from .paths import file_of, uri
from .text import clean

_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)
_KEY = "safeframeFinding/v1"
_RULE_INDEX = {rule.name: number for number, rule in enumerate(checks.RULES)}


def report(given: Report) -> str:
    """Return a report as one SARIF log, keys in a fixed order, ending in a line feed."""
    # A state of the baseline is stated for every result or for none (SARIF 2.1.0, 3.27.24).
    compared = bool(given.known)
    results = [_result(finding, "new" if compared else "") for finding in given.findings]
    results += [_result(finding, "unchanged") for finding in given.known]
    for waived in given.waived:
        suppression = {
            "kind": "inSource",
            "status": "accepted",
            "justification": clean(waived.reason),
        }
        results.append(
            {
                **_result(waived.finding, "unchanged" if compared else ""),
                "suppressions": [{**suppression, **_place(waived.where)}],
            }
        )
    return _log(results, {"executionSuccessful": True})


def problems(error: InputError) -> str:
    """Return a log for input that could not be read: no result, only notifications."""
    notes = [_notification(problem) for problem in error.problems]
    return _log([], {"executionSuccessful": False, "toolExecutionNotifications": notes})


def _log(results: list[dict[str, Any]], invocation: dict[str, Any]) -> str:
    rules = [
        {
            "id": rule.name,
            "shortDescription": {"text": f"{rule.title}."},
            "fullDescription": {"text": rule.why},
            "help": {"text": f"{rule.why} Remedy: {rule.remedy}. Source: {rule.source}."},
            "defaultConfiguration": {"level": rule.severity},
            "properties": {"scope": rule.scope},
        }
        for rule in checks.RULES
    ]
    driver = {"name": "safeframe", "semanticVersion": __version__, "rules": rules}
    run = {
        "tool": {"driver": driver},
        "invocations": [invocation],
        "columnKind": "unicodeCodePoints",
        "results": results,
    }
    log = {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}
    return json.dumps(log, indent=2, ensure_ascii=True) + "\n"


def _result(finding: Finding, state: str) -> dict[str, Any]:
    result: dict[str, Any] = {
        "ruleId": finding.rule,
        "ruleIndex": _RULE_INDEX[finding.rule],
        "level": finding.severity,
        "message": {"text": clean(f"{finding.message}. Remedy: {finding.remedy}.")},
        "locations": [_location(spot) for spot in finding.spots[:1]],
        "partialFingerprints": {_KEY: identity(finding)},
        "properties": picked(finding, "connection direction producer consumer cause"),
    }
    others = [
        {"id": number, **_location(spot), "message": {"text": clean(_words(spot))}}
        for number, spot in enumerate(finding.spots[1:], start=1)
    ]
    if others:
        result["relatedLocations"] = others
    if state:
        result["baselineState"] = state
    return result


def _words(spot: Spot) -> str:
    place = "" if spot.place is None else str(spot.place)
    return " ".join(filter(None, (spot.end, place, spot.signal)))


def _location(spot: Spot) -> dict[str, Any]:
    names = [name for name in (spot.end, spot.signal) if name]
    logical = {"name": names[-1] if names else "", "fullyQualifiedName": ".".join(names)}
    return {**_physical(spot.where), **({"logicalLocations": [logical]} if names else {})}


def _physical(where: Location) -> dict[str, Any]:
    path = file_of(where)
    if not path:
        return {}
    physical: dict[str, Any] = {"artifactLocation": {"uri": uri(path)}}
    if where.line:
        physical["region"] = {"startLine": where.line}
    return {"physicalLocation": physical}


def _place(where: Location) -> dict[str, Any]:
    physical = _physical(where)
    return {"location": physical} if physical else {}


def _notification(problem: Problem) -> dict[str, Any]:
    where: Iterable[dict[str, Any]] = filter(
        None, [_physical(Location(path=problem.path, line=problem.line))]
    )
    return {"level": "error", "message": {"text": clean(str(problem))}, "locations": list(where)}
