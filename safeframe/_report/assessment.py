"""What a record is worth, for a human at a terminal, and as JSON for programs."""

from __future__ import annotations

from ..record import Assessment
from .text import CAUTION, PLAIN, Look, clean

__all__ = ["FORMAT", "json_text", "summary", "text"]

FORMAT = "safeframe-standing/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def text(connection: str, given: Assessment, *, look: Look = PLAIN) -> str:
    """Return the verdict about a record, every fault and everything that is still open."""
    name = clean(connection)
    if given.releasable:
        head = look.paint("good", f"{name}: the record fits the maps, is complete and signed")
    else:
        head = look.paint("error", f"{name}: not releasable, {_counts(given)}")
    lines = [head]
    for word, points in (("fault", given.faults), ("open", given.missing)):
        for point in points:
            lines += look.wrap(point, first=f"  {word}: ", rest="    ")
    for note in given.notes:
        lines += look.wrap(note, first="  note: ", rest="    ")
    return "\n".join([*lines, CAUTION]) + "\n"


def summary(path: str, given: Assessment) -> str:
    """Return one line about a record that was just written."""
    state = "complete and signed" if given.releasable else f"not releasable, {_counts(given)}"
    return f"{clean(path)}: {state}\n"


def json_text(connection: str, given: Assessment) -> str:
    """Return the verdict about a record as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    document = {
        "format": FORMAT,
        "connection": connection,
        "releasable": given.releasable,
        "faults": list(given.faults),
        "open": list(given.missing),
        "notes": list(given.notes),
        "caution": CAUTION,
    }
    return json.dumps(document, indent=2) + "\n"


def _counts(given: Assessment) -> str:
    faults, missing = len(given.faults), len(given.missing)
    return f"{faults} fault{'s'[: faults != 1]}, {missing} open"
