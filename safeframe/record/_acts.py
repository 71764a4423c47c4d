"""What people do with a record; each act returns a new record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from .._errors import UsageError
from .._model import Connection
from ..protocols import Profile
from ._assess import assess, digest_of, seal
from ._compute import compute
from ._editions import FORMAT
from ._parts import RESULTS, Approval, People, ReadBack, Record, Request, Trial

__all__ = ["done", "fill", "new", "sign"]


def new(
    before: Connection,
    after: Connection,
    *,
    reason: str = "",
    asked_by: str = "",
    hazards: tuple[str, ...] = (),
    own_profiles: Mapping[str, Profile] | None = None,
) -> Record:
    """Return a record with everything computed and a place for all that people must enter."""
    computed = compute(before, after, own_profiles=own_profiles)
    return Record(
        format=FORMAT,
        computed=computed,
        computed_sha256=digest_of(computed),
        people=People(
            request=Request(reason=reason, asked_by=asked_by, hazards=hazards),
            read_backs=tuple(_read_back(state.end) for state in computed.after),
            trials=tuple(_trial(step.id) for step in computed.checklist),
            approvals=(),
        ),
    )


def _read_back(end: str) -> ReadBack:
    return ReadBack(end=end, who="", when="", serial="", checksum="", expected="")


def _trial(name: str) -> Trial:
    return Trial(id=name, result="", who="", when="", remark="")


def fill(record: Record, end: str, **entries: str) -> Record:
    """Return the record with the read-back of an end completed by the entries that are given.

    Raises UsageError for an unknown end.
    """
    rows = record.people.read_backs
    if end not in [row.end for row in rows]:
        names = " or ".join(row.end for row in rows)
        raise UsageError(f"the read-back must be of {names}, not of {end}")
    return _with(
        record,
        read_backs=tuple(replace(row, **entries) if row.end == end else row for row in rows),
    )


def done(
    record: Record, step: str, *, who: str, when: str, result: str, remark: str = ""
) -> Record:
    """Return the record with the result of a step; UsageError for an unknown step or result."""
    rows = record.people.trials
    if step not in [row.id for row in rows]:
        from difflib import get_close_matches  # deferred: needed for a slip only.

        near = get_close_matches(step, [row.id for row in rows], n=1)
        hint = f" (did you mean {near[0]}?)" if near else ""
        raise UsageError(f"a step must be one of the checklist, not {step}{hint}")
    if result not in RESULTS:
        raise UsageError(f"the result must be one of {', '.join(RESULTS[1:])}, not {result}")
    entry = Trial(id=step, result=result, who=who, when=when, remark=remark)
    return _with(record, trials=tuple(entry if row.id == step else row for row in rows))


def sign(record: Record, *, who: str, role: str, when: str) -> Record:
    """Return the record with one more approval, over everything but the approvals.

    Raises UsageError while anything else is wrong or open: a signature under an unfinished record
    would be void after the next entry.
    """
    unsigned = _with(record, approvals=())
    now = assess(unsigned)
    open_points = [*now.faults, *(text for text in now.missing if not text.startswith("approvals"))]
    if open_points:
        more = f" (and {len(open_points) - 1} more)" if len(open_points) > 1 else ""
        raise UsageError(
            f"a record must be complete before it is signed, not: {open_points[0]}{more}"
        )
    entry = Approval(who=who, role=role, when=when, signs=seal(unsigned))
    signed = _with(record, approvals=(*record.people.approvals, entry))
    faults = assess(signed).faults
    if faults:
        raise UsageError(f"an approval must be by another person, not: {faults[0]}")
    return signed


def _with(record: Record, **parts: object) -> Record:
    return replace(record, people=replace(record.people, **parts))  # type: ignore[arg-type]
