"""Fingerprints of map files, for people and as JSON for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from .document import Document, Facts, Section, StyledText, picked

FORMAT = "safeframe-fingerprints/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


class FingerprintRow(NamedTuple):
    """The fingerprints of one map file, 64 hexadecimal digits each."""

    path: str
    end: str
    connection: str
    wire: str
    own: str
    file: str


def document(rows: Sequence[FingerprintRow]) -> Document:
    """Return the fingerprints file by file, and whether the files share the one of the wire."""
    same = len({row.wire for row in rows}) < 2
    sections = tuple(
        Section(
            f"{row.path}: {row.end} of {row.connection}",
            (
                Facts(
                    (
                        ("wire", StyledText(row.wire, "code")),
                        ("end", StyledText(row.own, "code")),
                        ("file", StyledText(row.file, "code")),
                    )
                ),
            ),
        )
        for row in rows
    )
    told = "The files share their wire fingerprint" if same else "The wire fingerprints differ"
    verdict = StyledText(told, "good" if same else "error")
    return Document("Fingerprints", sections, verdict if len(rows) > 1 else "", footer=())


def json_text(rows: Sequence[FingerprintRow]) -> str:
    """Return the fingerprints as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    files = [picked(row, "path end connection wire own file") for row in rows]
    return json.dumps({"format": FORMAT, "files": files}, indent=2) + "\n"
