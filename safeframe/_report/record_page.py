"""The record of a change as titled parts of texts and tables: HTML and Markdown share it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from .._checklist import GROUPS
from ..record import APPROVALS, Assessment, BitOwner, BitRow, MixTable, Record
from .text import CAUTION

__all__ = ["OPEN", "Block", "RecordPage", "RecordSection", "Table", "Text", "page"]

OPEN = "open"
"""Shown in every place that a person has still to fill in."""

_FIXTURES = "Generated safety data are for benches and simulators only, never for a live machine."


class Text(NamedTuple):
    """A paragraph; ``code`` is a fingerprint that follows it."""

    text: str
    code: str = ""
    strong: bool = False


class Table(NamedTuple):
    """A table; ``marked`` rows are what the change is about, ``kinds`` the look of each column.

    A kind is ``text``, ``code`` (a fingerprint, octets, a place), ``entry`` (filled in by people)
    or ``pen`` (room on paper). ``widths`` are per cent, none leaves them to the reader's program.
    """

    caption: str
    head: tuple[str, ...]
    kinds: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    marked: tuple[bool, ...] = ()
    widths: tuple[int, ...] = ()


Block = Text | Table


class RecordSection(NamedTuple):
    """One numbered part of the record."""

    title: str
    blocks: tuple[Block, ...]


class RecordPage(NamedTuple):
    """The whole record; ``status`` is one line, ``points`` what is wrong."""

    title: str
    status: str
    good: bool
    points: tuple[str, ...]
    parts: tuple[RecordSection, ...]
    footer: tuple[str, ...]
    short: str


def page(record: Record, assessment: Assessment, seal: str) -> RecordPage:
    """Return the page of a record; ``seal`` is what an approval of it signs."""
    computed = record.computed
    return RecordPage(
        title=f"Record of a change: {computed.connection}",
        status=_status(assessment),
        good=assessment.releasable,
        points=assessment.faults,
        parts=(
            RecordSection("Request", tuple(_request(record))),
            RecordSection("Before the change", tuple(_fingerprints(record, before=True))),
            RecordSection("Bits before and after", tuple(_bits(record))),
            RecordSection("What kind of change", tuple(_change(record))),
            RecordSection("After the change", tuple(_fingerprints(record, before=False))),
            RecordSection("Read-back from the devices", tuple(_read_backs(record))),
            RecordSection("Tests", tuple(_tests(record))),
            RecordSection("Findings and what was allowed", tuple(_findings(record))),
            RecordSection("Approvals", tuple(_approvals(record, seal))),
            RecordSection("Validity", tuple(_validity(record))),
        ),
        footer=(CAUTION, _FIXTURES),
        short=record.computed_sha256[:16],
    )


def _status(assessment: Assessment) -> str:
    faults, missing = len(assessment.faults), len(assessment.missing)
    counts = [_count(faults, "fault")] * bool(faults)
    counts += [f"{_count(missing, 'point')} open"] * bool(missing)
    if counts:
        return f"NOT RELEASABLE: {', '.join(counts)}"
    return "COMPLETE AND SIGNED: compare with the map files before use (safeframe record verify)"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'s'[: number != 1]}"


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
    yield Text(
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
    if not before:
        times = computed.times
        yield Text(
            f"Reaction time {times.reaction} ({times.source}); permitted: {times.permitted}."
        )


def _bits(record: Record) -> Iterator[Block]:
    names = dict.fromkeys(row.direction for row in record.computed.bits)
    for direction in names:
        rows = [row for row in record.computed.bits if row.direction == direction]
        producer, _, consumer = direction.partition(" -> ")
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
            marked=tuple(row.changed for row in rows),
        )


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
    yield Text(
        f"Class of the change: {', '.join(names) or 'nothing that both ends share changed'}. "
        f"Both ends edited alike: {_VERDICTS.get(computed.verdict, computed.verdict)}.",
        strong=True,
    )
    for text in computed.differences:
        yield Text(text)
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
        yield Text(
            f"While only {mix.updated} is updated and {mix.outdated} is still old:", strong=True
        )
        for text in mix.disagreeing:
            yield Text(text)
        for table in mix.tables:
            yield from _mixed(table)


_VERDICTS = {
    "identical": "yes",
    "different": "NO",
    "nothing changed": "yes, nothing shared was edited",
}


def _mixed(table: MixTable) -> Iterator[Block]:
    head = f"{table.direction}: {table.sent_octets} octets sent, {table.expected_octets} expected"
    rows = [row for row in table.rows if row.verdict != "same"]
    rest = len(table.rows) - len(rows)
    if rows:
        yield Table(
            caption=f"{head}; {_count(rest, 'other signal')} unchanged",
            head=("place", "signal", "comes from", "verdict", "consequence"),
            kinds=("code", "text", "text", "text", "text"),
            rows=tuple(
                (row.place, row.signal, row.gets or "not read", row.verdict, row.consequence)
                for row in rows
            ),
            marked=(True,) * len(rows),
        )
    else:
        yield Text(f"{head}; every signal arrives unchanged.")


def _read_backs(record: Record) -> Iterator[Block]:
    yield Text(
        "Checksum: what the device itself shows after the download. Expected: what the engineering "
        "tool shows for the loaded project."
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
        yield Text("Nothing changed that would have to be tried.")
        return
    yield Text(
        "A required step (*) must pass: a bit that was never driven to its non-safe value has "
        "proved nothing. An all-zero test proves nothing either, for zero arrives everywhere."
    )
    trials = {trial.id: trial for trial in record.people.trials}
    for group, title in GROUPS.items():
        rows = []
        for step in steps:
            if step.group != group:
                continue
            trial = trials.get(step.id)
            result = " ".join(filter(None, (trial.result, trial.remark))) if trial else ""
            by = ", ".join(filter(None, (trial.who, trial.when))) if trial else ""
            name = f"{step.id} *" if step.required else step.id
            rows.append((name, step.action, step.data, step.expect, result or OPEN, by or OPEN))
        if rows:
            yield Table(
                caption=title,
                head=("step", "do", "data", "expect", "result", "who, when"),
                kinds=("code", "text", "code", "text", "entry", "entry"),
                rows=tuple(rows),
                widths=(16, 28, 8, 28, 9, 11),
            )


def _findings(record: Record) -> Iterator[Block]:
    found = record.computed.findings
    if not found:
        yield Text("The maps after the change have no finding, and nothing had to be allowed.")
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
        marked=tuple(not entry.allowed for entry in found),
    )


def _approvals(record: Record, seal: str) -> Iterator[Block]:
    approvals = record.people.approvals
    blank = ((OPEN, OPEN, OPEN, "", ""),) * max(APPROVALS - len(approvals), 0)
    yield Text(
        "Each approval is by another person and covers all parts above. It signs:", code=seal
    )
    yield Table(
        caption="Approvals",
        head=("who", "role", "when", "signs", "signature on paper"),
        kinds=("entry", "entry", "entry", "code", "pen"),
        rows=(
            *((a.who, a.role, a.when, a.signs[:16], "") for a in approvals),
            *blank,
        ),
        widths=(20, 20, 15, 20, 25),
    )


def _validity(record: Record) -> Iterator[Block]:
    yield Text(
        "This record is about the maps whose fingerprints stand in parts 2 and 5 and about no "
        "others. It is void after any later edit of either map, of its computed part, or of an "
        "entry that was signed. The computed part has the fingerprint:",
        code=record.computed_sha256,
        strong=True,
    )
    yield Text(
        "A fingerprint tells equal from different. It is no signature and shows neither who made "
        "an entry nor that it is true."
    )
