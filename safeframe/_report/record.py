"""The record of a change as a document: request, bits, tests, findings, approvals, validity."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from ..record import LIMITS, Assessment, Record, Signature
from . import recordcomputed as computed_part
from . import recordpeople as people_part
from .assessment import status
from .document import CAUTION, Block, Document, Items, Paragraph, Section, StyledText, Table, strong

PAPERS = {"a4": "A4", "letter": "letter"}
"""Paper by its option word, with the name that CSS gives it."""

_FIXTURES = "Generated safety data are for benches and simulators only, never for a live machine."
_NO_DIGIT = re.compile(r"[^0-9a-f]")
_ROOM = 6
"""Parts of up to so many rows stay on one printed page; larger ones would leave gaps."""


def document(
    record: Record, assessment: Assessment, signatures: Sequence[Signature] = ()
) -> Document:
    """Return a record as a document; ``signatures`` are the signature files found beside it."""
    computed = record.computed
    parts = (
        ("Request", people_part.request(record)),
        ("Before the change", computed_part.fingerprints(record, before=True)),
        ("Bits before and after", computed_part.bits(record)),
        ("What kind of change", computed_part.change(record)),
        ("After the change", computed_part.fingerprints(record, before=False)),
        ("Read-back from the devices", people_part.read_backs(record)),
        ("Tests", people_part.tests(record)),
        ("Findings and what was allowed", computed_part.findings(record)),
        ("Approvals", people_part.approvals(record, signatures)),
        ("History", people_part.history(record)),
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
