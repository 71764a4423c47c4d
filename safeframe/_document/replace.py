"""Replace two files together, so that a process killed at any moment loses nothing.

The order of things: a note beside the first file that holds both texts of both files; the new
texts in temporary files; one rename after the other; the note goes last. All of it is flushed to
the disk before the next step. Between the two renames the files are of two versions, and the note
says so: ``recover`` finishes the edit or undoes it. A note that is not complete was broken off
before any file was touched.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from .._errors import UsageError

__all__ = ["FORMAT", "Replacement", "Step", "pending", "recover", "refuse_pending", "replace_both"]

FORMAT = "safeframe-edit-note/1"

Step = Callable[[str], None]
"""Called with a name before each step; a test may end the process in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """A file, the text that it must still hold, and the text that it gets."""

    path: str
    old: str
    new: str


def _no_step(_name: str) -> None:
    """Do nothing between two steps."""


def replace_both(first: Replacement, second: Replacement, *, step: Step = _no_step) -> None:
    """Replace the texts of two files, both or none; a link is followed and stays a link.

    Raises UsageError, with nothing changed, when an earlier edit was broken off, when a file is
    no longer what was read, cannot be written, or has several names (hard links). Raises OSError
    when the disk fails; after that ``recover`` has to decide.
    """
    items = [(one, Path(one.path).resolve()) for one in (first, second)]
    refuse_pending([one.path for one, _ in items])
    if items[0][1] == items[1][1]:
        raise UsageError(f"two files must be replaced, not {items[0][0].path} twice")
    for one, target in items:
        _refuse_unfit(one, target)
    note = _note_of(items[0][1])
    _write(note, _note_text(note, items), step, "note", 0o600)
    changing = [(one, target) for one, target in items if one.new != one.old]
    for one, target in changing:
        _write(_temporary(target), one.new, step, "temporary file", _mode(target))
    for _, target in changing:
        step("rename")
        _replace(_temporary(target), target)
    step("remove the note")
    _remove(note)
    step("done")


def pending(paths: Sequence[str]) -> Path | None:
    """Return the note that a broken-off edit left beside one of the files, None without one."""
    notes = (_note_of(Path(path).resolve()) for path in paths)
    return next((note for note in notes if note.exists()), None)


def refuse_pending(paths: Sequence[str]) -> None:
    """Raise UsageError when an earlier edit of one of the files was broken off."""
    note = pending(paths)
    if note is not None:
        raise UsageError(
            f"an earlier edit of {' and '.join(paths)} was broken off ({note.name} is there); "
            f"run first: safeframe edit recover {' '.join(paths)}"
        )


def recover(paths: Sequence[str], *, undo: bool = False, step: Step = _no_step) -> str:
    """Finish a broken-off edit, or undo it; return in words what both files are now.

    An edit of which nothing was replaced is undone, any other is finished unless ``undo``. Raises
    UsageError when there is no note, or when a file is neither the old nor the new one.
    """
    note = pending(paths)
    if note is None:
        raise UsageError(f"there must be a broken-off edit to recover, not none of {paths[0]}")
    items = _read_note(note)
    if items is None:
        for path in paths:
            _temporary(Path(path).resolve()).unlink(missing_ok=True)
        step("remove the note")
        _remove(note)
        return "undone: the edit had not begun, both files are as they were"
    states = [_state(note, one, target) for one, target in items]
    finish = "new" in states and not undo
    wanted = "new" if finish else "old"
    for (one, target), state in zip(items, states, strict=True):
        temporary = _temporary(target)
        if state not in (wanted, "both"):
            _write(temporary, one.new if finish else one.old, step, "temporary file", _mode(target))
            step("rename")
            _replace(temporary, target)
        temporary.unlink(missing_ok=True)
    step("remove the note")
    _remove(note)
    step("done")
    if finish:
        return "finished: both files hold the edit"
    return "undone: both files are as they were before the edit"


def _refuse_unfit(one: Replacement, target: Path) -> None:
    status = target.stat()
    if status.st_nlink > 1:
        raise UsageError(
            f"{one.path} must have one name only, not {status.st_nlink} (hard links): "
            "the others would keep the old text"
        )
    if not os.access(target, os.W_OK):
        raise UsageError(f"{one.path} must be writable")
    if target.read_bytes() != one.old.encode():
        raise UsageError(f"{one.path} must be as it was read, not changed since (run it again)")


def _mode(target: Path) -> int:
    return stat.S_IMODE(target.stat().st_mode)


def _note_of(target: Path) -> Path:
    return target.with_name(f".{target.name}.safeframe-edit")


def _temporary(target: Path) -> Path:
    return target.with_name(f".{target.name}.safeframe-new")


def _note_text(note: Path, items: Sequence[tuple[Replacement, Path]]) -> str:
    document = {
        "format": FORMAT,
        "what": "an edit of these files is under way or was broken off; "
        "safeframe edit recover FILE FILE finishes or undoes it",
        "files": [
            {
                "path": os.path.relpath(target, note.parent),
                "old": one.old,
                "new": one.new,
            }
            for one, target in items
        ],
    }
    return json.dumps(document, indent=1) + "\n"


def _read_note(note: Path) -> list[tuple[Replacement, Path]] | None:
    """Return what a note says, None where it was not written to its end."""
    octets = note.read_bytes()
    if not octets.endswith(b"\n}\n"):  # Only the last line of a note starts with a brace.
        return None
    try:
        document = json.loads(octets)
    except ValueError:
        document = {}
    if document.get("format") != FORMAT:
        raise UsageError(f"the note {note.name} must be of the format {FORMAT}, not another")
    return [
        (
            Replacement(path=entry["path"], old=entry["old"], new=entry["new"]),
            (note.parent / entry["path"]).resolve(),
        )
        for entry in document["files"]
    ]


def _state(note: Path, one: Replacement, target: Path) -> str:
    """Return whether a file is old, new, or both where the edit leaves it alone."""
    octets = target.read_bytes() if target.exists() else None
    known = {one.new.encode(): "new", one.old.encode(): "old"}
    state = known.get(octets) if octets is not None else None
    if state is None:
        raise UsageError(
            f"{one.path} must be as before or after the edit, not changed otherwise since; "
            f"{note.name} holds both texts: compare by hand, then remove it"
        )
    return "both" if one.old == one.new else state


def _write(path: Path, text: str, step: Step, what: str, mode: int) -> None:
    """Write a new file and flush it and its folder to the disk."""
    step(f"create the {what}")
    if what != "note":
        path.unlink(missing_ok=True)
    try:
        # Exclusive: of two edits at the same time one must lose, before it has changed anything.
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o600)
    except FileExistsError:
        raise UsageError(f"another edit is under way: {path.name} is there") from None
    with os.fdopen(descriptor, "wb") as file:
        octets = text.encode()
        step(f"write half of the {what}")
        file.write(octets[: len(octets) // 2])
        file.flush()
        step(f"write the rest of the {what}")
        file.write(octets[len(octets) // 2 :])
        file.flush()
        step(f"flush the {what}")
        os.fsync(file.fileno())
    path.chmod(mode)
    step(f"flush the folder of the {what}")
    _flush_folder(path.parent)


_BINARY = getattr(os, "O_BINARY", 0)


def _replace(temporary: Path, target: Path) -> None:
    temporary.replace(target)
    _flush_folder(target.parent)


def _remove(note: Path) -> None:
    note.unlink()
    _flush_folder(note.parent)


def _flush_folder(folder: Path) -> None:
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except PermissionError:
        return  # Some systems open no folders; there the order of the steps has to do.
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
