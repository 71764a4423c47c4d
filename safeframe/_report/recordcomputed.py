"""The computed part of a record as blocks: fingerprints, bits, the change, findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .._errors import InputError
from .._words import count, way
from ..record import BitOwner, BitRow, MixTable, Record, RecordedFinding, baseline
from ..record._compute import stated
from ..record._editions import origin_of
from .document import Block, Paragraph, Table, strong

_VERDICTS = {
    "identical": "yes",
    "different": "NO",
    "nothing changed": "yes, nothing shared was edited",
}


def fingerprints(record: Record, *, before: bool) -> Iterator[Block]:
    """Yield what tells the maps of one state from others, and where they came from."""
    computed = record.computed
    states = computed.before if before else computed.after
    profile, edition = _followed(record) if before else (computed.profile, computed.edition)
    said = (("profile", profile), ("edition", edition))
    what = "".join(f", {word} {text}" for word, text in said if text)
    yield Paragraph(
        f"Connection {computed.connection}{what}. Computed from the "
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
    origins = [(state.end, origin) for state in states if (origin := origin_of(state))]
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


def _followed(record: Record) -> tuple[str, str]:
    """Return profile and edition before the change; nothing of maps that are none any more."""
    try:
        earlier = baseline(record)
    except InputError:
        return "", ""
    return stated(earlier, "profile"), stated(earlier, "edition")


def bits(record: Record) -> Iterator[Block]:
    """Yield what every bit was and is."""
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


def change(record: Record) -> Iterator[Block]:
    """Yield the class of the change, every difference, and what happens while one end is old."""
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
    elif rest:
        yield Paragraph(f"{head}; every signal arrives unchanged.")
    else:
        # Only a row can say that a frame is taken: a refusal that has none must not look like that.
        yield Paragraph(f"{head}; no signal in this direction.")


def findings(record: Record) -> Iterator[Block]:
    """Yield what the rules say about the maps after the change."""
    found = record.computed.findings
    if not found:
        yield Paragraph("The maps after the change have no finding, and nothing had to be allowed.")
    else:
        yield _found(found)
    yield Paragraph(
        "What no rule could judge, because maps or profile leave it open, stands in no record: "
        "safeframe record verify names it."
    )


def _found(found: Sequence[RecordedFinding]) -> Table:
    return Table(
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
