"""The record of a change as a document: request, bits, tests, findings, approvals, validity."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from .._checklist import GROUPS
from .._errors import InputError
from .._mapfile import loads
from .._model import Provenance
from .._words import count, way
from ..record import (
    APPROVALS,
    LIMITS,
    ApprovalAct,
    Assessment,
    BitOwner,
    BitRow,
    CarriedOver,
    EvidenceAct,
    MixTable,
    ReadBackAct,
    Record,
    RequestAct,
    Signature,
    State,
    TrialAct,
    WithdrawalAct,
    covered,
    evidence_head,
    evidence_text,
    seal,
)
from . import sightline
from .assessment import status
from .document import CAUTION, Block, Document, Items, Paragraph, Section, StyledText, Table, strong

__all__ = ["OPEN", "PAPERS", "document", "sheet"]


OPEN = "open"
"""Shown in every place that a person has still to fill in."""

PAPERS = {"a4": "A4", "letter": "letter"}
"""Paper by its option word, with the name that CSS gives it."""

_FIXTURES = "Generated safety data are for benches and simulators only, never for a live machine."
_NO_DIGIT = re.compile(r"[^0-9a-f]")
_SHORT = 16
"""Digits of a seal that are shown where the whole one has no room."""
_HISTORY = 10
"""Number of the part that holds every entry."""
_ROOM = 6
"""Parts of up to so many rows stay on one printed page; larger ones would leave gaps."""


def document(
    record: Record, assessment: Assessment, signatures: Sequence[Signature] = ()
) -> Document:
    """Return a record as a document; ``signatures`` are the signature files found beside it."""
    computed = record.computed
    parts = (
        ("Request", _request(record)),
        ("Before the change", _fingerprints(record, before=True)),
        ("Bits before and after", _bits(record)),
        ("What kind of change", _change(record)),
        ("After the change", _fingerprints(record, before=False)),
        ("Read-back from the devices", _read_backs(record)),
        ("Tests", _tests(record)),
        ("Findings and what was allowed", _findings(record)),
        ("Approvals", _approvals(record, signatures)),
        ("History", _history(record)),
        ("Validity", _validity(record, assessment)),
    )
    good = assessment.complete_and_signed
    more = ": compare with the map files before use (safeframe record verify)" if good else ""
    return Document(
        f"Record of a change: {computed.connection}",
        tuple(
            _part(f"{number}. {title}", tuple(blocks))
            for number, (title, blocks) in enumerate(parts, start=1)
        ),
        verdict=StyledText(f"{status(assessment).upper()}{more}", "good" if good else "error"),
        below=(Items(assessment.faults),) if assessment.faults else (),
        footer=(CAUTION, _FIXTURES),
    )


def sheet(record: Record, *, paper: str = "a4") -> str:
    """Return the style that a printed record adds: paper, fingerprint and page number."""
    # Inside a style sheet nothing is escaped: only what a fingerprint consists of gets there.
    foot = f"computed part {_NO_DIGIT.sub('', record.computed_sha256[:16])}"
    return (
        f"@page {{ size: {PAPERS[paper]}; margin: 15mm 15mm 18mm;\n"
        f'  @bottom-left {{ content: "{foot}"; font: 7.5pt sans-serif }}\n'
        '  @bottom-right { content: "page " counter(page) " of " counter(pages);'
        " font: 7.5pt sans-serif } }\n"
    )


def _part(title: str, blocks: tuple[Block, ...]) -> Section:
    rows = sum(len(block.rows) for block in blocks if isinstance(block, Table))
    return Section(title, blocks, kind="short" if rows <= _ROOM else "long")


def _request(record: Record) -> Iterator[Block]:
    request = record.people.request
    hazards = "; ".join(request.hazards)
    yield Table(
        caption="Why the change was asked for",
        head=("what", "entry"),
        kinds=("text", "entry"),
        rows=(
            ("reason", request.reason or OPEN),
            ("asked for by", request.asked_by or OPEN),
            ("hazards possibly affected", hazards or OPEN),
        ),
        widths=(26, 74),
    )


def _fingerprints(record: Record, *, before: bool) -> Iterator[Block]:
    computed = record.computed
    states = computed.before if before else computed.after
    edition = f", edition {computed.edition}" if computed.edition else ""
    yield Paragraph(
        f"Connection {computed.connection}, profile {computed.profile}{edition}. Computed from the "
        "map files, never typed: SHA-256 over what both ends share (wire) and over what one end "
        "alone says (end)."
    )
    yield Table(
        caption=f"Fingerprints {'before' if before else 'after'} the change",
        head=("end", "covers", "fingerprint"),
        kinds=("text", "text", "code"),
        rows=tuple(
            (state.end, word, value)
            for state in states
            for word, value in (("wire", state.wire), ("end", state.own))
        ),
    )
    origins = [(state.end, origin) for state in states if (origin := _origin(state))]
    if origins:
        yield Table(
            caption="Device files that maps were imported from",
            head=("end", "file", "selected", "SHA-256"),
            kinds=("text", "text", "text", "code"),
            rows=tuple(
                (end, f"{origin.file} ({origin.format})", ", ".join(origin.select), origin.sha256)
                for end, origin in origins
            ),
        )
    if not before:
        times = computed.times
        yield Paragraph(
            f"Reaction time {times.reaction} ({times.source}); permitted: {times.permitted}."
        )


def _origin(state: State) -> Provenance | None:
    """Return where the map inside a record came from; nothing of one that is no map any more."""
    try:
        return loads(state.map).imported
    except InputError:
        return None


def _bits(record: Record) -> Iterator[Block]:
    names = dict.fromkeys(row.direction for row in record.computed.bits)
    for direction in names:
        rows = [row for row in record.computed.bits if row.direction == direction]
        producer, consumer = _ends(record, direction)
        yield Table(
            caption=f"Safety data {direction}; a place is octet.bit; where the ends differ, "
            f"{producer} / {consumer}",
            head=(
                "place",
                "before",
                "after",
                f"bound at {producer}",
                f"bound at {consumer}",
                "change",
            ),
            kinds=("code", "text", "text", "text", "text", "text"),
            rows=tuple(
                (
                    row.place,
                    _before(row),
                    _what(row.after),
                    *(cell.bind or "-" for cell in row.after),
                    "changed" if row.changed else "",
                )
                for row in rows
            ),
            looks=tuple("strong" if row.changed else "" for row in rows),
        )


def _ends(record: Record, direction: str) -> tuple[str, str]:
    """Return the producer and the consumer of a direction of the record."""
    first, second = (state.end for state in record.computed.after)
    return (first, second) if direction == way(first, second) else (second, first)


def _before(row: BitRow) -> str:
    if not row.changed:
        return "as after"
    binds = [cell.bind for cell in row.before if cell.bind]
    return f"{_what(row.before)} ({', '.join(binds)})" if binds else _what(row.before)


def _what(cells: Sequence[BitOwner]) -> str:
    names = dict.fromkeys(cell.what for cell in cells)
    return " / ".join(names)


def _change(record: Record) -> Iterator[Block]:
    computed = record.computed
    names = dict.fromkeys(reason.name for reason in computed.classes)
    words = (
        f"Class of the change: {', '.join(names) or 'nothing that both ends share changed'}. "
        f"Both ends edited alike: {_VERDICTS.get(computed.verdict, computed.verdict)}."
    )
    yield Paragraph(strong(words))
    for text in computed.differences:
        yield Paragraph(text)
    if computed.classes:
        yield Table(
            caption="Why it belongs to this class",
            head=("class", "subject", "why", "ends"),
            kinds=("text", "text", "text", "text"),
            rows=tuple(
                (reason.name, reason.subject, reason.why, ", ".join(reason.ends))
                for reason in computed.classes
            ),
        )
    if computed.edits:
        yield Table(
            caption="Every difference, end by end",
            head=("end", "level", "where", "subject", "what", "before", "after"),
            kinds=("text",) * 7,
            rows=tuple(
                (
                    edit.end,
                    edit.level,
                    edit.section,
                    edit.subject,
                    edit.field,
                    edit.before or "-",
                    edit.after or "-",
                )
                for edit in computed.edits
            ),
        )
    for mix in computed.mixed:
        state = f"While only {mix.updated} is updated and {mix.outdated} is still old:"
        yield Paragraph(strong(state))
        for text in mix.disagreeing:
            yield Paragraph(text)
        for table in mix.tables:
            yield from _mixed(table)


_VERDICTS = {
    "identical": "yes",
    "different": "NO",
    "nothing changed": "yes, nothing shared was edited",
}


def _mixed(table: MixTable) -> Iterator[Block]:
    sent = count(table.sent_octets, "octet")
    head = f"{table.direction}: {sent} sent, {table.expected_octets} expected"
    rows = [row for row in table.rows if row.verdict != "same"]
    rest = len(table.rows) - len(rows)
    if rows:
        yield Table(
            caption=f"{head}; {count(rest, 'other signal')} unchanged",
            head=("place", "signal", "comes from", "verdict", "consequence"),
            kinds=("code", "text", "text", "text", "text"),
            rows=tuple(
                (row.place, row.signal, row.gets or "not read", row.verdict, row.consequence)
                for row in rows
            ),
        )
    else:
        yield Paragraph(f"{head}; every signal arrives unchanged.")


def _read_backs(record: Record) -> Iterator[Block]:
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
                entry.serial or OPEN,
                entry.checksum or OPEN,
                entry.expected or OPEN,
                _matches(entry.checksum, entry.expected, matches=entry.matches),
                entry.who or OPEN,
                entry.when or OPEN,
            )
            for entry in record.people.read_backs
        ),
    )


def _matches(checksum: str, expected: str, *, matches: bool) -> str:
    if not checksum or not expected:
        return OPEN
    return "yes" if matches else "NO"


def _tests(record: Record) -> Iterator[Block]:
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
                (name, step.action, step.data, step.expect, result or OPEN, by or OPEN),
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


def _findings(record: Record) -> Iterator[Block]:
    found = record.computed.findings
    if not found:
        yield Paragraph("The maps after the change have no finding, and nothing had to be allowed.")
        return
    yield Table(
        caption="Findings about the maps after the change",
        head=("rule", "severity", "finding", "where", "allowed because"),
        kinds=("text",) * 5,
        rows=tuple(
            (
                entry.rule,
                entry.severity,
                entry.message,
                "; ".join(entry.culprits),
                entry.allowed or "NOT ALLOWED",
            )
            for entry in found
        ),
        looks=tuple("" if entry.allowed else "strong" for entry in found),
    )


def _approvals(record: Record, signatures: Sequence[Signature]) -> Iterator[Block]:
    approvals = record.people.approvals
    blank = ((OPEN, OPEN, OPEN, "", ""),) * max(APPROVALS - len(approvals), 0)
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
            *((a.who, a.role, a.when, a.signs[:_SHORT], "") for a in approvals),
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


def _history(record: Record) -> Iterator[Block]:
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


def _validity(record: Record, assessment: Assessment) -> Iterator[Block]:
    yield Paragraph(
        (
            strong(
                "This record is about the maps whose fingerprints stand in parts 2 and 5 and about "
                "no others. It is void after any later edit of either map or of its computed part; "
                "an approval is void after any later entry but other approvals. The computed part "
                "has the fingerprint:"
            ),
            " ",
            StyledText(record.computed_sha256, "code"),
        )
    )
    yield Paragraph(f"{LIMITS[0].upper()}{LIMITS[1:]}.")
    yield Paragraph(
        "A fingerprint or a seal tells equal from different. It is no signature and shows neither "
        "who made an entry nor that it is true."
    )
    for note in assessment.notes:
        yield Paragraph(f"Note: {note}.")
