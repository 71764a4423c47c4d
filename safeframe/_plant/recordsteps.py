"""What a record lacks, as points of its connection: each with the step to take and its command."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from .. import record
from .._words import count, listed, way
from ..record import Assessment, ChecklistStep, Record, RecordPoint
from ..record._signature import no_signature
from .gaterow import KEEPER, GatePoint

_TESTER = "who tests"
_APPROVERS = "two people who approve"


def no_record(maps: Sequence[str]) -> GatePoint:
    """Return that there is no record; ``maps`` are the paths of both maps."""
    return GatePoint(
        "record",
        "the plant file names no record",
        False,
        "make a record of the last change and name it in the plant file",
        person=KEEPER,
        command=_command("record new BEFORE BEFORE", *maps, more="-o RECORD.json"),
    )


def void(fits: Sequence[str], maps: Sequence[str]) -> GatePoint:
    """Return in what the maps differ from those of the record."""
    return GatePoint(
        "record",
        " ".join(fits[:1]) + " " + "; ".join(fits[1:]),
        True,
        "load what the maps say, and make, test and sign a record of the change",
        person=KEEPER,
        command=_command("record new BEFORE BEFORE", *maps, more="-o RECORD.json"),
    )


def lacking(path: str, made: Record, own: Sequence[RecordPoint]) -> Iterator[GatePoint]:
    """Yield what a record by itself lacks, the steps at one end of the checklist together."""
    tests: dict[str, list[RecordPoint]] = {}
    steps = {step.id: step for step in made.computed.checklist}
    for point in own:
        if point.aspect == "tests":
            tests.setdefault(_end_of(steps[point.subject], made.ends), []).append(point)
        elif point.aspect == "read back":
            words = "--who NAME --when DATE --serial TEXT --checksum TEXT --expected TEXT"
            yield _point(
                point,
                "read back serial number and checksum",
                machine=point.subject,
                command=_command("record fill", path, "--end", point.subject, more=words),
            )
        elif point.aspect == "request":
            words = "--who NAME --when DATE --reason TEXT --asked-by NAME --hazard TEXT"
            yield _point(
                point,
                f"complete the {point.text}",
                person=point.subject or "who asked for the change",
                command=_command("record request", path, more=words),
            )
        elif point.aspect == "approvals":
            yield _approval(path, point, made)
        else:
            yield _point(point, "mend the record, or make a new one", person=KEEPER)
    for end, points in tests.items():
        yield _tests(path, end, points)


def _point(
    point: RecordPoint, step: str, machine: str = "", person: str = "", command: str = ""
) -> GatePoint:
    return GatePoint(point.aspect, point.text, point.fault, step, machine, person, command)


def _tests(path: str, end: str, points: Sequence[RecordPoint]) -> GatePoint:
    """Put the steps at one end together: they are tried in one go."""
    names = [point.subject for point in points]
    failed = [point.text for point in points if point.fault]
    text = f"{count(len(names), 'step')} open"
    if failed:
        text = "; ".join(failed) + (f"; {text}" if len(names) > len(failed) else "")
    return GatePoint(
        "tests",
        text if failed else f"{text}: {listed(names)}",
        bool(failed),
        f"try {count(len(names), 'step')} of the checklist: {', '.join(names)}",
        machine=end,
        person="" if end else _TESTER,
        command=_command("record done", path, *names, more="--who NAME --when DATE"),
    )


def _approval(path: str, point: RecordPoint, made: Record) -> GatePoint:
    names = [row.who for row in made.people.approvals]
    person = _APPROVERS
    if point.subject:
        person = point.subject
    elif names:
        person = f"who approves, other than {' and '.join(names)}"
    words = "--who NAME --role TEXT --when DATE"
    step, command = "approve", _command("record sign", path, more=words)
    if point.subject:
        step = "withdraw the approval with its reason, then approve anew"
        words = "--who NAME --when DATE --reason TEXT"
        command = _command("record withdraw", path, "--approval", point.subject, more=words)
    return _point(point, step, person=person, command=command)


def unsigned(path: str, signers: str, before: Assessment, after: Assessment) -> Iterator[GatePoint]:
    """Yield what the signature files add; ``signers`` is the file that they are judged by."""
    for text in after.faults[len(before.faults) :]:
        step = "remove the file or have it made anew by an allowed signer"
        yield GatePoint("signatures", text, True, step, person=KEEPER)
    for name in after.unsigned:
        why = "" if signers else "; --signers names no file to judge by"
        yield GatePoint(
            "signatures",
            f"{no_signature(name)}{why}",
            False,
            "sign the record with a key"
            if signers
            else "sign the record with a key, and verify with --signers FILE",
            person=name,
            command=f"{_command('record seal', path)} | "
            f"ssh-keygen -Y sign -f KEY -n {record.NAMESPACE} > "
            f"{shlex.quote(f'{path}.NAME.sig')}",
        )


def unseen(path: str, maps: Sequence[str], made: Record | None) -> Iterator[GatePoint]:
    """Yield that steps which a recording can show have none, or that nothing could hold one."""
    if made is None:
        text = "evidence is asked for, and there is no record that could hold any"
    elif left := record.steps_without_evidence(made):
        text = f"{count(len(left), 'step')} that no recording shows: {listed(left)}"
    else:
        return
    yield GatePoint(
        "evidence",
        text,
        False,
        "record the tests and add the recordings to the record",
        person=_TESTER,
        command=_command("record evidence", path, "RECORDING", *maps) if path else "",
    )


def _command(name: str, *words: str, more: str = "") -> str:
    """Return a command line; paths and names are quoted where they must be, ``more`` is not."""
    return f"safeframe {name} {shlex.join(words)} {more}".rstrip()


def _end_of(step: ChecklistStep, ends: Sequence[str]) -> str:
    """Return at which end a step of the checklist is tried, empty for one at both.

    Its name alone would not tell: one end may be called LX and the other one LX.B.
    """
    for end, other in (ends, ends[::-1]):
        if step.direction == way(end, other):
            return end
    # A rule between signals of one end has no direction.
    own = (end for end in ends if step.id.startswith(f"{end}."))
    return next((end for end in own if step.action.startswith(f"{end}: ")), "")
