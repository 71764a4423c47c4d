"""What a record is worth, for people and as JSON for programs."""

from __future__ import annotations

from .._words import count
from ..record import Assessment
from .document import CAUTION, Document, Items, StyledText, picked
from .text import clean

FORMAT = "safeframe-standing/2"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def status(given: Assessment) -> str:
    """Return in a few words what a record is worth."""
    if given.complete_and_signed:
        return "complete and signed"
    counts = [count(len(given.faults), "fault")] * bool(given.faults)
    counts += [f"{count(len(given.missing), 'point')} open"] * bool(given.missing)
    return f"not complete and signed: {', '.join(counts)}"


def document(connection: str, given: Assessment) -> Document:
    """Return the verdict about a record, every fault and everything that is still open."""
    good = given.complete_and_signed
    words = "the record fits the maps, is complete and signed" if good else status(given)
    blocks = (
        Items(given.faults, label="fault"),
        Items(given.missing, label="open"),
        Items(given.notes, label="note"),
    )
    title = StyledText(f"{connection}: {words}", "good" if good else "error")
    return Document(title, tuple(block for block in blocks if block.items))


def summary(path: str, given: Assessment) -> str:
    """Return one line about a record that was just written."""
    return f"{clean(path)}: {status(given)}\n"


def json_text(connection: str, given: Assessment) -> str:
    """Return the verdict about a record as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    document = {
        "format": FORMAT,
        "connection": connection,
        "complete_and_signed": given.complete_and_signed,
        "faults": list(given.faults),
        "open": list(given.missing),
        "notes": list(given.notes),
        "signatures": [
            {
                "file": row.path,
                **picked(row, "accepted by key entries"),
                "allowed_signers": row.signers,
                "why_not": row.words,
            }
            for row in given.signatures
        ],
        "caution": CAUTION,
    }
    return json.dumps(document, indent=2) + "\n"
