"""What people do with a record; each act returns a new record with an entry more, none less."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import replace

from .._canonical import person
from .._errors import UsageError
from .._model import Connection
from .._words import guess
from ..protocols import Profile
from ._assess import points
from ._compute import compute
from ._editions import FORMAT, digest_of
from ._entries import (
    RESULTS,
    Act,
    ApprovalAct,
    ReadBackAct,
    RequestAct,
    TrialAct,
    WithdrawalAct,
    appended,
)
from ._parts import Record
from ._people import VALUES, approvals, says, state_number


def new(
    before: Connection,
    after: Connection,
    *,
    reason: str = "",
    asked_by: str = "",
    hazards: tuple[str, ...] = (),
    own_profiles: Mapping[str, Profile] | None = None,
) -> Record:
    """Return a record with everything computed and the request as its first entry."""
    computed = compute(before, after, own_profiles=own_profiles)
    bare = Record(format=FORMAT, computed=computed, computed_sha256=digest_of(computed), history=())
    if not (reason or asked_by or hazards):
        return bare
    asked = RequestAct(
        reason=reason or None,
        asked_by=asked_by or None,
        hazards=hazards or None,
        who="",
        when="",
    )
    return _with(bare, asked)


def request(
    record: Record,
    *,
    who: str = "",
    when: str = "",
    reason: str | None = None,
    asked_by: str | None = None,
    hazards: tuple[str, ...] | None = None,
) -> Record:
    """Return the record with the request completed or corrected; what is None stays."""
    if reason is None and asked_by is None and hazards is None:
        raise UsageError("a request must state a reason, who asked or a hazard, not none of them")
    act = RequestAct(reason=reason, asked_by=asked_by, hazards=hazards, who=who, when=when)
    return _with(record, act)


def fill(
    record: Record,
    end: str,
    *,
    who: str = "",
    when: str = "",
    serial: str | None = None,
    checksum: str | None = None,
    expected: str | None = None,
    remark: str = "",
) -> Record:
    """Return the record with one more read-back of an end; what is None was not read this time.

    ``who`` read these values at ``when``, those of earlier entries keep their readers. An empty
    text takes a value back. Raises UsageError for an unknown end or without any value.
    """
    if end not in record.ends:
        raise UsageError(f"the read-back must be of {' or '.join(record.ends)}, not of {end}")
    values = {"serial": serial, "checksum": checksum, "expected": expected}
    if all(value is None for value in values.values()):
        raise UsageError(f"a read-back must state one of {', '.join(VALUES)}, not none of them")
    return _with(record, ReadBackAct(end=end, who=who, when=when, remark=remark, **values))


def done(
    record: Record, step: str, *, who: str, when: str, result: str, remark: str = ""
) -> Record:
    """Return the record with a result of a step; UsageError for an unknown step or result.

    An earlier result of the step stays in the history.
    """
    if step not in record.steps:
        near = guess(step, record.steps)
        hint = f" (did you mean {near}?)" if near else ""
        raise UsageError(f"a step must be one of the checklist, not {step}{hint}")
    if not result or result not in RESULTS:
        words = ", ".join(RESULTS[1:])
        raise UsageError(f"the result must be one of {words}, not {result or 'empty'}")
    return _with(record, TrialAct(step=step, result=result, who=who, when=when, remark=remark))


def sign(record: Record, *, who: str, role: str, when: str) -> Record:
    """Return the record with one more approval, over its own words and everything before it.

    Raises UsageError while anything else is wrong or open: a signature under an unfinished record
    would be void after the next entry.
    """
    _stated("an approval", who=who, role=role, when=when)
    last = state_number(record.history)
    for number, act in approvals(record.history).items():
        if number < last:
            raise UsageError(
                f"the approval of {act.who} (entry {number}) must be withdrawn first: entries were "
                "made after it (safeframe record withdraw RECORD --approval "
                f"{shlex.quote(act.who)} ...)"
            )
        if person(act.who) == person(who):
            raise UsageError(
                f"an approval must be by another person, not by {who} again (entry {number} is by "
                f"{act.who}; it can be withdrawn)"
            )
    # Whoever has approved so far is no reason to wait for the next one.
    open_points = [
        point.text for point in points(record) if point.fault or point.aspect != "approvals"
    ]
    if open_points:
        more = f" (and {len(open_points) - 1} more)" if len(open_points) > 1 else ""
        raise UsageError(
            f"a record must be complete before it is signed, not: {open_points[0]}{more}"
        )
    return _with(record, ApprovalAct(who=who, role=role, when=when))


def withdraw(record: Record, approval: str, *, who: str, when: str, reason: str) -> Record:
    """Return the record with the approval by the person ``approval`` withdrawn; it stays readable.

    ``who`` withdraws it. Raises UsageError where that person has no approval to withdraw.
    """
    _stated("a withdrawal", who=who, when=when, reason=reason)
    standing = approvals(record.history)
    found = [number for number, act in standing.items() if person(act.who) == person(approval)]
    if not found:
        names = " or ".join(act.who for act in standing.values()) or "nobody: there is no approval"
        raise UsageError(f"the approval to withdraw must be that of {names}, not of {approval}")
    act = WithdrawalAct(entry=found[-1], reason=reason, who=who, when=when)
    return _with(record, act)


def _stated(what: str, **entries: str) -> None:
    """Raise UsageError where an entry states nothing that can be read."""
    for name, text in entries.items():
        if not says(text):
            raise UsageError(f"{what} must state {name}, not {text!r}")


def _with(record: Record, act: Act) -> Record:
    return replace(record, history=appended(record.history, record.computed_sha256, [act]))
