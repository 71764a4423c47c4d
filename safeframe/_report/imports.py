"""What an import found: the listing, the report with its sums, the comparison, the problems."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from .._errors import InputError, Problem
from .._model import End, Provenance, Signal
from .._words import count
from ..importing import Candidate, Comparison, DeviceFile, Imported, ImportProblem, Selected
from . import findings
from .document import CAUTION, Block, Document, Items, Paragraph, Section, StyledText, Table, picked
from .jsonout import finding_data
from .text import clean

FORMAT = "safeframe-import/1"
LIST_FORMAT = "safeframe-selections/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


def listing(source: DeviceFile, found: Sequence[Candidate]) -> Document:
    """Return what can be selected, one line each."""
    rows, notes = [], []
    for one in found:
        title, bits, note = one.look()
        size = "" if bits is None else count(bits, "bit")
        rows.append((one.path, f"line {one.line}", one.side, size))
        notes.append(f"{title}: {note}" if title else note)
    head = ("selection", "line", "side", "size")
    title = f"{source.name}: {count(len(found), 'selection')}"
    table = Table(tuple(rows), head, notes=tuple(notes), note_head="what it is", bare=True)
    blocks = (table,) if rows else ()
    return Document(title, blocks, footer=())


def listing_data(source: DeviceFile, found: Sequence[Candidate]) -> str:
    """Return what can be selected as JSON."""
    rows = []
    for one in found:
        title, bits, note = one.look()
        rows.append(
            {
                **picked(one, "path line side"),
                "bits": bits,
                "title": title,
                "note": note,
            }
        )
    return _json({"format": LIST_FORMAT, "source": _source(source), "selections": rows})


def report(given: Imported, *, written: str = "") -> Document:
    """Return the sums, what was carried over and what is lost."""
    origin = _origin(given)
    path = given.end.where.path
    sums = tuple(
        Section(f"{path}:{one.layout.line}  {one.path}, {one.direction}", (Paragraph(one.sum),))
        for one in given.selected
    )
    lost = "not in the file, to be added or confirmed by you:"
    below = _notes(given)
    verdict = (
        "The other end must come from what the controller has: two ends that are both read from "
        f"{origin.file} agree by construction, which proves nothing."
    )
    if written:
        below += (Paragraph(written, label="written"),)
    blocks = (*sums, Section(lost, (Items(tuple(given.lost)),)))
    return Document(f"Import of {origin.file}", blocks, verdict=verdict, below=below)


def comparison(map_: End, given: Imported, found: Comparison) -> Document:
    """Return the differences between a map and a device file, or that there are none."""
    origin = _origin(given)
    number = len(found.findings)
    what = f"{map_.where.path} against {given.end.where.path}"
    if number:
        verdict = StyledText(f"{what}: {count(number, 'difference')}", "error")
    else:
        held = [key for key in given.held if key != "mirrors"]
        words = ", ".join(("place", "width", "type", "order", "name", *held))
        verdict = StyledText(f"{what}: agree in {words}", "good")
    taken = ", ".join(one.path for one in given.selected)
    compared = Paragraph(f"{taken} (SHA-256 {origin.sha256[:16]}...)", label="compared")
    rest = tuple(Paragraph(text, label="not compared") for text in found.not_compared)
    told = findings.document(found.report).blocks
    below = (compared, *rest, *_notes(given))
    return Document(f"Comparison of {what}", told, verdict=verdict, below=below)


def _notes(given: Imported) -> tuple[Block, ...]:
    """Return what a reader should look at in the device file."""
    notes = [*given.notes, *(_left_out(one) for one in given.selected if one.layout.dropped)]
    return (Items(tuple(notes), label="note"),) if notes else ()


def _left_out(one: Selected) -> str:
    """Return which fields of the safety protocol a map leaves out, each with its line."""
    fields = (f"{gone.name} ({gone.width} bits, line {gone.line})" for gone in one.layout.dropped)
    return f"{one.path}: left out, since the protocol makes them: {', '.join(fields)}"


def header(given: Imported) -> str:
    """Return the comment lines at the head of an imported map; the same input, the same octets."""
    origin = _origin(given)
    lines = [
        f"Imported from {origin.file}, SHA-256 {origin.sha256}",
        *(f"selected: {one.path}: {one.sum}" for one in given.selected),
        "not in the file, to be added or confirmed:",
        *(f"  {text}" for text in given.lost),
        "The other end must come from what the controller has, not from the same file.",
    ]
    return "".join(f"# {clean(line)}\n" for line in lines)


def document(
    source: DeviceFile | None,
    given: Imported | None = None,
    *,
    found: Comparison | None = None,
    error: InputError | None = None,
    written: str = "",
) -> str:
    """Return one JSON document: what was read, sums, problems, differences, what was written."""
    origin = given.end.imported if given else None
    return _json(
        {
            "format": FORMAT,
            "source": _source(source),
            "selected": [
                {"path": one.path, "line": one.layout.line, "direction": one.direction}
                for one in (given.selected if given else ())
            ],
            "options": list(origin.options) if origin else [],
            "sum": [one.sum for one in (given.selected if given else ())],
            "entries": _entries(given.end) if given else [],
            "dropped": [
                picked(gone, "name what width line")
                for one in (given.selected if given else ())
                for gone in one.layout.dropped
            ],
            "lost": list(given.lost) if given else [],
            "notes": list(given.notes) if given else [],
            "problems": [_problem(problem) for problem in (error.problems if error else ())],
            "differences": [finding_data(f) for f in found.findings] if found else [],
            "not_compared": list(found.not_compared) if found else [],
            "written": written,
            "caution": CAUTION,
        }
    )


def _origin(given: Imported) -> Provenance:
    assert given.end.imported is not None
    return given.end.imported


def _source(source: DeviceFile | None) -> dict[str, Any] | None:
    if source is None:
        return None
    return {"name": source.name, "octets": len(source.octets), "sha256": source.sha256}


def _entries(end: End) -> list[dict[str, Any]]:
    return [
        {
            "direction": direction,
            "at": str(entry.at),
            "width": entry.width,
            "name": entry.name if isinstance(entry, Signal) else "",
            "type": entry.type if isinstance(entry, Signal) else "reserved",
            "line": entry.where.line,
        }
        for direction in ("sends", "receives")
        for entry in getattr(end, direction).entries
    ]


def _problem(problem: Problem) -> dict[str, Any]:
    return {
        "rule": problem.rule if isinstance(problem, ImportProblem) else "unreadable",
        "path": problem.path,
        "line": problem.line,
        "element": problem.key,
        "message": problem.message,
        "remedy": problem.remedy,
    }


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=True) + "\n"
