"""Differences for programs: JSON in the versioned format of ``schemas/diff.schema.json``."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from math import isfinite
from typing import Any

from .._bits import Place
from .._diff import (
    ArrivingBits,
    Change,
    ChangeClass,
    EditComparison,
    EditDifference,
    Ground,
    MixedRow,
    MixedState,
    MixedTable,
)
from .._errors import InputError
from .._findings import Report
from .._history import ConnectionChange, EndState, SiteComparison
from .._model import Signal
from .._source import Location
from .document import CAUTION, picked
from .jsonout import problem_data

FORMAT = "safeframe-diff/2"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def changes(
    mode: str,
    ends: Sequence[str],
    given: Sequence[Change],
    *,
    classes: ChangeClass | None = None,
) -> str:
    """Return the changes between two map files; ``mode`` is ``versions`` or ``ends``."""
    return _document(
        mode,
        ends,
        "different" if given else "same",
        changes=[_change(change) for change in given],
        classes=None if classes is None else _classes(classes),
    )


def edits(
    given: EditComparison, classes: ChangeClass, mixed: Iterable[MixedState], report: Report
) -> str:
    """Return the comparison of both edits, their class and the mixed-version tables.

    ``report`` is that of the check of the new pair.
    """
    return _document(
        "edits",
        given.ends,
        given.outcome,
        **_edits(given),
        check_after=_check(report),
        classes=_classes(classes),
        mixes=[_mix(mix) for mix in mixed],
    )


def _edits(given: EditComparison) -> dict[str, Any]:
    return {
        "differences": [_difference(difference) for difference in given.differences],
        "edits": [
            {"end": end, "changes": [_change(change) for change in own]}
            for end, own in zip(given.ends, given.edits, strict=True)
        ],
        "disagreed_before": [_change(change) for change in given.disagreed],
        "disagree_after": [_change(change) for change in given.disagree],
    }


def sites(given: SiteComparison, *, fail_on: str) -> Iterator[str]:
    """Yield what became of every connection of a site, piece by piece.

    ``settled`` is judged by ``fail_on``. All rows at once would need much more room than what
    they are made of.
    """
    site = {
        "before": given.before,
        "after": given.after,
        "counts": dict(given.counts),
        "connections": [_ROWS] if given.rows else [],
        "findings": [picked(one, "severity rule message") for one in given.findings],
        **picked(given, "others plants untracked"),
    }
    verdict = "open" if given.fails(fail_on) else "settled"
    unread = [problem_data(problem) for problem in given.problems]
    whole = _document("sites", (), verdict, problems=unread, site=site)
    # What a map says cannot look like this: it would stand between quotes that are escaped.
    head, mark, tail = whole.partition(f"\n{_INDENT}{json.dumps(_ROWS)}\n")
    yield head
    for number, row in enumerate(given.rows):
        text = json.dumps(_connection(row, fail_on), indent=2, ensure_ascii=True)
        yield ("," if number else "") + f"\n{text}".replace("\n", f"\n{_INDENT}")
    yield f"\n{tail}" if mark else ""


_ROWS = "the connections come here"
_INDENT = 6 * " "


def _connection(row: ConnectionChange, fail_on: str) -> dict[str, Any]:
    empty: dict[str, Any] = {"differences": [], "edits": [], "disagreed_before": []}
    disagree = [_change(change) for change in row.disagree]
    return {
        "connection": row.name,
        "change": row.change,
        "settled": not row.fails(fail_on),
        **picked(row, "was level notes"),
        "ends": [_end(end) for end in row.ends],
        "classes": _classes(row.classes),
        "check_after": None if row.report is None else _check(row.report),
        "changes": [_change(change) for change in row.changes],
        **(
            {**empty, "disagree_after": disagree}
            if row.comparison is None
            else _edits(row.comparison)
        ),
        "mixes": [_mix(mix) for mix in row.mixed],
    }


def problems(error: InputError) -> str:
    """Return a document for input that could not be read: no verdict, only the problems."""
    return _document("unreadable", (), "", problems=[problem_data(one) for one in error.problems])


def _document(mode: str, ends: Sequence[str], verdict: str, **parts: Any) -> str:
    document = {
        "format": FORMAT,
        "mode": mode,
        "ends": list(ends),
        "verdict": verdict,
        "changes": [],
        "differences": [],
        "edits": [],
        "disagreed_before": [],
        "disagree_after": [],
        "check_after": None,
        "classes": None,
        "mixes": [],
        "problems": [],
        "site": None,
        **parts,
        "caution": CAUTION,
    }
    # ASCII only: no terminal or log is handed a control or escape character from a map.
    return json.dumps(document, indent=2, ensure_ascii=True) + "\n"


def _end(end: EndState) -> dict[str, Any]:
    sides = {name: list(getattr(end, name)) for name in ("files", "paths", "octets", "wire", "own")}
    return {"end": end.name, "was": end.was, **sides}


def _check(report: Report) -> dict[str, Any]:
    found = [finding for finding in report.findings if finding.severity in ("error", "warning")]
    return {
        "errors": sum(finding.severity == "error" for finding in found),
        "warnings": sum(finding.severity == "warning" for finding in found),
        "rules": list(dict.fromkeys(finding.rule for finding in found)),
        "not_judged": [
            picked(one, "rule reason subject") for one in report.not_judged if one.subject
        ],
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        **picked(change, "level kind section subject field sides"),
        "before": _side(change, 0),
        "after": _side(change, 1),
        "places": [None if place is None else str(place) for place in change.places],
        "where": [_where(where) for where in (change.before_where, change.after_where)],
        "taken": [_ground(ground) for ground in change.taken],
        "left": [_ground(ground) for ground in change.left],
    }


def _side(change: Change, side: int) -> dict[str, Any]:
    value = change.values[side]
    if isinstance(value, Signal):
        value = {
            "place": str(value.at),
            "type": value.type,
            "width_bits": value.width,
            "safe": _plain(value.safe),
        }
    return {
        "value": _plain(value),
        "unit": change.unit if value is not None else "",
        "text": (change.before, change.after)[side],
    }


def _plain(value: Any) -> Any:
    """Return a value for JSON: numbers stay numbers, unless they are none or infinite."""
    if isinstance(value, float) and not isfinite(value):
        return str(value)
    if isinstance(value, tuple) and not isinstance(value, Place):
        return [_plain(part) for part in value]
    return str(value) if isinstance(value, Place) else value


def _where(where: Location | None) -> dict[str, Any] | None:
    return None if where is None else picked(where, "path line key")


def _ground(ground: Ground) -> dict[str, Any]:
    return {
        "kind": ground.kind,
        "place": str(ground.at),
        **picked(ground, "bits name value reserve"),
    }


def _difference(difference: EditDifference) -> dict[str, Any]:
    return {
        **picked(difference, "level section subject field message"),
        "steps": [
            {"end": step.end, "did": step.did, "where": _where(step.where)}
            for step in difference.steps
        ],
    }


def _classes(given: ChangeClass) -> dict[str, Any]:
    return {
        "names": list(given.names),
        "reasons": [
            {
                "class": reason.name,
                **picked(reason, "subject why ends"),
            }
            for reason in given.reasons
        ],
    }


def _mix(mix: MixedState) -> dict[str, Any]:
    return {
        "updated": mix.updated,
        "outdated": mix.outdated,
        "disagreeing": [{"field": field, "text": text} for field, text in mix.disagreeing],
        "tables": [_table(table) for table in mix.tables],
    }


def _table(table: MixedTable) -> dict[str, Any]:
    return {
        **picked(
            table,
            "direction producer consumer sent_octets expected_octets accepted refused not_judged",
        ),
        "rows": [_row(row) for row in table.rows],
    }


def _row(row: MixedRow) -> dict[str, Any]:
    return {
        "place": str(row.at),
        **picked(row, "width signal verdict consequence"),
        "gets": [_piece(piece) for piece in row.gets],
    }


def _piece(piece: ArrivingBits) -> dict[str, Any]:
    return {
        "kind": piece.kind,
        "place": str(piece.at),
        **picked(piece, "width name low whole value"),
        "text": str(piece),
    }
