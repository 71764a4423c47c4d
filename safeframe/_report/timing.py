"""Watchdog and reaction time of a connection, for people and as JSON for programs."""

from __future__ import annotations

from .._timing import Timing
from .document import CAUTION, Block, Document, Paragraph, Table, picked

FORMAT = "safeframe-timing/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def document(given: Timing) -> Document:
    """Return the times of a connection, each figure with its inputs and source."""
    edition = f", edition {given.edition}" if given.edition else ""
    reaction = given.reaction
    shorter = "shorter " if given.shortest_ms not in (None, given.watchdog_ms) else ""
    words = "at least" if reaction.missing else "at most"
    rows = (
        ("watchdog", _time(given.watchdog_ms), _stating(given)),
        ("exchange", _time(given.exchange_ms), ""),
        ("a frame may be late by", _time(given.spare_ms), f"{shorter}watchdog - exchange"),
        (f"reaction time {words}", _time(reaction.known_ms), reaction.formula),
        ("permitted", _time(given.permitted_ms), ""),
        (
            "margin",
            "not known" if given.is_open else _time(given.margin_ms),
            "permitted - reaction time",
        ),
    )
    late = given.margin_ms is not None and given.margin_ms < 0
    looks = (*("",) * (len(rows) - 1), "error" if late else "")
    blocks: tuple[Block, ...] = (
        Table(rows, ("what", "time", "formula"), looks=looks),
        Paragraph(f"{reaction.source}; {reaction.why}", label="source"),
    )
    if reaction.missing:
        blocks += (Paragraph(", ".join(reaction.missing), label="not stated"),)
    if given.is_open:
        text = "whether the reaction time is within the permitted one"
        blocks += (Paragraph(text, label="not judged"),)
    return Document(f"{given.connection} ({given.profile}{edition})", blocks)


def json_text(given: Timing) -> str:
    """Return the times of a connection as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    reaction = given.reaction
    document = {
        "format": FORMAT,
        **picked(given, "connection profile edition watchdog_ms watchdog_of exchange_ms spare_ms"),
        "reaction": {
            "known_ms": reaction.known_ms,
            "inputs": [picked(entry, "name factor time_ms") for entry in reaction.inputs],
            "missing": list(reaction.missing),
            "source": reaction.source,
        },
        "permitted_ms": given.permitted_ms,
        "margin_ms": given.margin_ms,
        "caution": CAUTION,
    }
    return json.dumps(document, indent=2) + "\n"


def _stating(given: Timing) -> str:
    """Return the end that alone states the watchdog, in words."""
    return given.watchdog_of and f"{given.watchdog_of} alone states one"


def _time(time_ms: int | None) -> str:
    return "not stated" if time_ms is None else f"{time_ms} ms"
