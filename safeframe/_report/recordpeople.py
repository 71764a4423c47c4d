"""What people enter into a record, as blocks: request, read-backs, results, approvals, history."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from .._checklist import GROUPS
from ..record import (
    APPROVALS,
    ApprovalAct,
    CarriedOver,
    EvidenceAct,
    ReadBack,
    ReadBackAct,
    Record,
    RequestAct,
    Signature,
    TrialAct,
    WithdrawalAct,
    covered,
    evidence_head,
    evidence_text,
    seal,
)
from . import sightline
from .document import Block, Items, Paragraph, StyledText, Table, strong

_OPEN = "open"
"""Shown in every place that a person has still to fill in."""

_SHORT = 16
"""Digits of a seal that are shown where the whole one has no room."""
_HISTORY = 10
"""Number of the part that holds every entry, in the order of ``record.document``."""


def request(record: Record) -> Iterator[Block]:
    """Yield why the change was asked for."""
    asked = record.people.request
    hazards = "; ".join(asked.hazards)
    yield Table(
        caption="Why the change was asked for",
        head=("what", "entry"),
        kinds=("text", "entry"),
        rows=(
            ("reason", asked.reason or _OPEN),
            ("asked for by", asked.asked_by or _OPEN),
            ("hazards possibly affected", hazards or _OPEN),
        ),
        widths=(26, 74),
    )


def read_backs(record: Record) -> Iterator[Block]:
    """Yield what the devices show after the download."""
    yield Paragraph(
        "Checksum: what the device itself shows after the download. Expected: what the engineering "
        f"tool shows for the loaded project. Earlier read-backs stand in part {_HISTORY}."
    )
    yield Table(
        caption="Read-back of each end",
        head=("end", "device serial", "checksum", "expected", "matches", "who", "when"),
        kinds=("text", *("entry",) * 6),
        rows=tuple(
            (
                entry.end,
                entry.serial or _OPEN,
                entry.checksum or _OPEN,
                entry.expected or _OPEN,
                _matches(entry),
                entry.who or _OPEN,
                entry.when or _OPEN,
            )
            for entry in record.people.read_backs
        ),
    )


def _matches(entry: ReadBack) -> str:
    if not entry.both_stated:
        return _OPEN
    return "yes" if entry.matches else "NO"


def tests(record: Record) -> Iterator[Block]:
    """Yield every step of the checklist with its latest result."""
    steps = record.computed.checklist
    if not steps:
        yield Paragraph("Nothing changed that would have to be tried.")
        return
    yield Paragraph(
        "A required step (*) must pass: a bit that was never driven to its non-safe value has "
        "proved nothing. An all-zero test proves nothing either, for zero arrives everywhere."
    )
    trials = {trial.id: trial for trial in record.people.trials}
    tries = Counter(entry.act.step for entry in record.history if isinstance(entry.act, TrialAct))
    seen = [entry.act for entry in record.history if isinstance(entry.act, EvidenceAct)]
    if seen:
        yield Paragraph(
            "What recordings show stands beside the steps. It is no result: seen on the wire is "
            "not seen at the machine, and a person decides whether a step passed."
        )
        yield Items(tuple(evidence_head(act) for act in seen))
    for group, title in GROUPS.items():
        rows, pictures, notes = [], [], []
        for step in steps:
            if step.group != group:
                continue
            trial = trials[step.id]
            result = " ".join(filter(None, (trial.result, trial.remark)))
            if tries[step.id] > 1:
                result += f" (the latest of {tries[step.id]} results, see part {_HISTORY})"
            by = ", ".join(filter(None, (trial.who, trial.when)))
            name = f"{step.id} *" if step.required else step.id
            rows.append(
                (name, step.action, step.data, step.expect, result or _OPEN, by or _OPEN),
            )
            notes.append(evidence_text(seen, step.id))
            pictures.append(sightline.drawing(seen, step.id))
        if rows:
            yield Table(
                caption=title,
                head=("step", "do", "data", "expect", "result", "who, when"),
                kinds=("code", "text", "code", "text", "entry", "entry"),
                rows=tuple(rows),
                notes=tuple(notes) if seen else (),
                note_head="seen on the wire" if seen else "",
                pictures=tuple(pictures) if seen else (),
                widths=(16, 28, 8, 28, 9, 11),
            )


def approvals(record: Record, signatures: Sequence[Signature]) -> Iterator[Block]:
    """Yield who approved, and what the signature files say."""
    given = record.people.approvals
    blank = ((_OPEN, _OPEN, _OPEN, "", ""),) * max(APPROVALS - len(given), 0)
    yield Paragraph(
        (
            "Each approval is by another person. Its seal is over its own name, role and date and "
            f"over every entry before it, part {_HISTORY}. The last seal of this record is: ",
            StyledText(seal(record), "code"),
        )
    )
    yield Table(
        caption="Approvals",
        head=("who", "role", "when", "seal", "signature on paper"),
        kinds=("entry", "entry", "entry", "code", "pen"),
        rows=(
            *((a.who, a.role, a.when, a.signs[:_SHORT], "") for a in given),
            *blank,
        ),
        widths=(20, 20, 15, 20, 25),
    )
    if not any(row.accepted for row in signatures):
        words = "none of the signature files was accepted" if signatures else "no signature file"
        yield Paragraph(strong(f"Not cryptographically signed: {words}."))
    if signatures:
        yield Items(tuple(_signature(row, len(record.history)) for row in signatures))


def _signature(row: Signature, total: int) -> str:
    signers = f"; allowed signers: {row.signers}" if row.signers else ""
    if not row.accepted:
        return f"Signature file {row.path}: {row.words}{signers}"
    return (
        f"Signature file {row.path}: accepted by ssh-keygen for {row.by} ({row.key}), over "
        f"{covered(row.entries, total)}{signers}"
    )


def history(record: Record) -> Iterator[Block]:
    """Yield every entry in its order."""
    yield Paragraph(
        "Every entry in the order in which it was made. None is ever changed or taken out: what "
        "was corrected, repeated or withdrawn stays above what came after it."
    )
    yield Table(
        caption="Entries",
        head=("no.", "entry", "who", "when", "seal"),
        kinds=("text", "text", "text", "text", "code"),
        rows=tuple(
            (
                str(number),
                _entry(entry.act),
                getattr(entry.act, "who", "") or "-",
                getattr(entry.act, "when", "") or "-",
                entry.seal[:_SHORT],
            )
            for number, entry in enumerate(record.history, start=1)
        ),
        widths=(5, 50, 14, 11, 20),
    )


def _entry(
    act: RequestAct
    | ReadBackAct
    | TrialAct
    | ApprovalAct
    | WithdrawalAct
    | CarriedOver
    | EvidenceAct,
) -> str:
    """Return everything that an entry says but who and when."""
    match act:
        case RequestAct():
            hazards = None if act.hazards is None else "; ".join(act.hazards)
            values = {"reason": act.reason, "asked for by": act.asked_by, "hazards": hazards}
            return f"request: {_values(values)}"
        case ReadBackAct():
            values = {name: getattr(act, name) for name in ("serial", "checksum", "expected")}
            return f"read-back of {act.end}: {_values(values)}{_after(act.remark)}"
        case TrialAct():
            return f"{act.step}: {act.result or 'no result'}{_after(act.remark)}"
        case ApprovalAct():
            return f"approval as {act.role}"
        case WithdrawalAct():
            return f"withdrawal of the approval in entry {act.entry}: {act.reason}"
        case EvidenceAct():
            return evidence_head(act)
    return f"carried over from {act.edition}, SHA-256 of what stood there {act.sha256}"


def _values(values: Mapping[str, str | None]) -> str:
    """Return what was stated; an empty text takes a value back."""
    stated = [f"{name} {text or 'taken back'}" for name, text in values.items() if text is not None]
    return ", ".join(stated)


def _after(remark: str) -> str:
    return f" ({remark})" if remark else ""
