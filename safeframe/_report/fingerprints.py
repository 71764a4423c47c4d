"""Fingerprints of map files for a human at a terminal, and as JSON for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from .text import clean, table

__all__ = ["FORMAT", "FingerprintRow", "json_text", "text"]

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


def text(rows: Sequence[FingerprintRow]) -> str:
    """Return the fingerprints file by file."""
    lines: list[str] = []
    for row in rows:
        lines.append(f"{clean(row.path)}: {clean(row.end)} of {clean(row.connection)}")
        lines += table((("wire", row.wire), ("end", row.own), ("file", row.file)), indent="  ")
    return "\n".join(lines) + "\n"


def json_text(rows: Sequence[FingerprintRow]) -> str:
    """Return the fingerprints as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    files = [
        {
            "path": row.path,
            "end": row.end,
            "connection": row.connection,
            "wire": row.wire,
            "own": row.own,
            "file": row.file,
        }
        for row in rows
    ]
    return json.dumps({"format": FORMAT, "files": files}, indent=2) + "\n"
