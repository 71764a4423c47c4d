"""Watchdog and reaction time for a human at a terminal, and as JSON for programs."""

from __future__ import annotations

from .._timing import Timing
from .text import CAUTION, PLAIN, Look, clean, table

__all__ = ["FORMAT", "json_text", "timing"]

FORMAT = "safeframe-timing/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def timing(given: Timing, *, look: Look = PLAIN) -> str:
    """Return the times of a connection as a table, each figure with its inputs and source."""
    edition = f", edition {given.edition}" if given.edition else ""
    reaction = given.reaction
    words = "at least" if reaction.missing else "at most"
    rows = [
        ("watchdog", _time(given.watchdog_ms), ""),
        ("exchange", _time(given.exchange_ms), ""),
        ("a frame may be late by", _time(given.spare_ms), "watchdog - exchange"),
        (f"reaction time {words}", _time(reaction.known_ms), reaction.formula),
        ("permitted", _time(given.permitted_ms), ""),
        ("margin", _time(given.margin_ms), "permitted - reaction time"),
    ]
    title = f"{given.connection} ({given.profile}{edition})"
    lines = [look.paint("strong", clean(title)), *table(rows, indent="  ")]
    lines += look.wrap(f"source: {reaction.source}; {reaction.why}", first="  ", rest="    ")
    if reaction.missing:
        lines += look.wrap(f"not stated: {', '.join(reaction.missing)}", first="  ", rest="    ")
    return "\n".join([*lines, CAUTION]) + "\n"


def json_text(given: Timing) -> str:
    """Return the times of a connection as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    reaction = given.reaction
    document = {
        "format": FORMAT,
        "connection": given.connection,
        "profile": given.profile,
        "edition": given.edition,
        "watchdog_ms": given.watchdog_ms,
        "exchange_ms": given.exchange_ms,
        "spare_ms": given.spare_ms,
        "reaction": {
            "known_ms": reaction.known_ms,
            "inputs": [
                {"name": entry.name, "factor": entry.factor, "time_ms": entry.time_ms}
                for entry in reaction.inputs
            ],
            "missing": list(reaction.missing),
            "source": reaction.source,
        },
        "permitted_ms": given.permitted_ms,
        "margin_ms": given.margin_ms,
        "caution": CAUTION,
    }
    return json.dumps(document, indent=2) + "\n"


def _time(time_ms: int | None) -> str:
    return "not stated" if time_ms is None else f"{time_ms} ms"
