"""The note that an edit leaves beside each of its files until it is done.

A note is data: it may come with a checkout, from anybody. It names the two files by plain names
and holds digests of what the edit left beside them, never a text that could be written; it
concerns the file it lies beside and nothing else. Marks of the files left tell them from others
that a checkout brings along.
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any, NamedTuple

from .._errors import UsageError
from .whole import Mark, Step, beside, see, write_new

FORMAT = "safeframe-edit-note/2"
_WORD = "edit"
_WHAT = (
    "an edit of these two files is under way or was broken off; "
    "safeframe edit recover FILE FILE shows it, and finishes or undoes it if asked to"
)
_MAX_OCTETS = 1 << 16
_SHOWN_OCTETS = 300
_DIGEST = re.compile("[0-9a-f]{64}")


class NotedFile(NamedTuple):
    """One file of an edit: its plain name, its digests, and the marks of both copies beside it."""

    name: str
    old: str
    new: str
    kept: Mark
    made: Mark


class RecoveryNote(NamedTuple):
    """Both files of an edit, and which of them the note lies beside."""

    beside: int
    files: tuple[NotedFile, NotedFile]


def note_of(target: Path) -> Path:
    """Return where the note of a file lies."""
    return beside(target, _WORD)


def write(target: Path, note: RecoveryNote, *, step: Step) -> None:
    """Put the note of a file there, whole or not at all."""
    document = {
        "format": FORMAT,
        "what": _WHAT,
        "beside": note.beside,
        "files": [entry._asdict() for entry in note.files],
    }
    made = beside(target, "note")
    octets = (json.dumps(document, indent=1) + "\n").encode()
    write_new(made, octets, None, step=step, what="note")
    step("put the note there")
    made.replace(note_of(target))


def read(target: Path, shown: str) -> RecoveryNote | None:
    """Return the note of a file, None without one; raises UsageError for one that is not ours."""
    path = note_of(target)
    if not os.path.lexists(path):
        return None
    try:
        seen = see(path)
    except (OSError, UsageError):
        raise foreign(path, shown, "it is no regular file", b"") from None
    if len(seen.octets) > _MAX_OCTETS:
        raise foreign(path, shown, f"it has more than {_MAX_OCTETS} octets", seen.octets)
    try:
        note = _note(json.loads(seen.octets))
    except (ValueError, TypeError, KeyError, RecursionError):
        raise foreign(path, shown, f"it is not of the format {FORMAT}", seen.octets) from None
    if note.files[note.beside].name != target.name:
        reason = "it names other files than the one it lies beside"
        raise foreign(path, shown, reason, seen.octets)
    return note


def foreign(path: Path, shown: str, reason: str, octets: bytes) -> UsageError:
    """Return the error for a note that is shown and not followed."""
    text = octets[:_SHOWN_OCTETS].decode("utf-8", "backslashreplace")
    more = " ..." if len(octets) > _SHOWN_OCTETS else ""
    reads = f"; it reads: {text!r}{more}" if octets else ""
    return UsageError(
        f"the note {path.name} beside {shown} is nothing that an edit left here: {reason}. "
        f"Nothing is done because of it; look at the map, then remove the note{reads}"
    )


def _note(document: Any) -> RecoveryNote:
    files = document["files"]
    if document["format"] != FORMAT or document["beside"] not in (0, 1) or len(files) != 2:
        raise ValueError
    if set(document) != {"format", "what", "beside", "files"}:
        raise ValueError
    return RecoveryNote(document["beside"], (_entry(files[0]), _entry(files[1])))


def _entry(row: Any) -> NotedFile:
    if set(row) != set(NotedFile._fields):
        raise ValueError
    name, old, new = row["name"], row["old"], row["new"]
    if not all(_DIGEST.fullmatch(each) for each in (old, new)):
        raise ValueError
    if name in ("", ".", "..") or any(c in name for c in "/\\\0"):
        raise ValueError
    return NotedFile(name, old, new, _mark(row["kept"]), _mark(row["made"]))


def _mark(numbers: Any) -> Mark:
    inode, mtime_ns = numbers
    if type(inode) is not int or type(mtime_ns) is not int:
        raise ValueError
    return Mark(inode, mtime_ns)
