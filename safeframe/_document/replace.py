"""Replace files together, both or none, so that whatever happens on the way loses nothing.

The order of things, under the locks of both files: copies of the old texts and the new texts
beside their files; a note beside each file with their digests; one replacement after the other,
each only if the file still is what was read; copies and notes go last. All of it is flushed to
the disk before the next step. What fails on the way is rolled back. A process that is killed
leaves the notes, and ``recover`` shows the state and finishes or undoes the edit.
"""

from __future__ import annotations

import os
import shlex
import stat
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple, NoReturn

from .._errors import UsageError, WriteError
from . import note as notes
from . import platform
from .lock import hold
from .note import NotedFile, RecoveryNote, note_of
from .pending import refuse_pending
from .whole import Mark, SeenFile, Step, beside, digest, no_step, put, see, target_of, write_new


class Replacement(NamedTuple):
    """A file, the text that it must still hold, and the text that it gets."""

    path: str
    old: str
    new: str


class File(NamedTuple):
    """A file that gets replaced: as it is shown, where it is, what it was and what it gets."""

    shown: str
    target: Path
    seen: SeenFile
    old: bytes
    new: bytes

    @property
    def kept(self) -> Path:
        """The copy of the old text."""
        return beside(self.target, "old")

    @property
    def made(self) -> Path:
        """The new text before it is put in place."""
        return beside(self.target, "new")


def replace_all(*items: Replacement, step: Step = no_step) -> None:
    """Replace the texts of one file or of two, all or none; a link is followed and stays a link.

    Raises UsageError, with nothing changed, when a file is no longer what was read, is written by
    another process, cannot be written, has several names (hard links), or when an earlier edit was
    broken off. Raises WriteError when the system fails: the message says which file is in which
    state. KeyboardInterrupt goes through, after everything was rolled back, with the same words.
    """
    targets = [(one.path, target_of(one.path)) for one in items]
    if len({target for _, target in targets}) < len(targets):
        raise UsageError(f"two files must be replaced, not {items[0].path} twice")
    files: list[File] = []
    try:
        with hold(targets):
            refuse_pending([one.path for one in items], locked=True)
            files += [_file(one, target) for one, (_, target) in zip(items, targets, strict=True)]
            changing = [file for file in files if file.new != file.old]
            try:
                _carry_out(files, changing, step)
            except BaseException as error:
                _roll_back(files, changing, error)
            step("done")
    except KeyboardInterrupt as error:
        if error.args or not files:
            raise
        raise KeyboardInterrupt(_told(files)) from None


def _file(one: Replacement, target: Path) -> File:
    _refuse_unfit(one.path, target)
    seen = see(target)
    if seen.octets != one.old.encode():
        raise UsageError(
            f"{one.path} must be as it was read, not changed since by another program, whose "
            "version stays (run it again)"
        )
    return File(one.path, target, seen, one.old.encode(), one.new.encode())


def _refuse_unfit(shown: str, target: Path) -> None:
    status = target.stat()
    if not stat.S_ISREG(status.st_mode):
        raise UsageError(f"{shown} must be a regular file")
    if status.st_nlink > 1:
        raise UsageError(
            f"{shown} must have one name only, not {status.st_nlink} (hard links): "
            "the others would keep the old text"
        )
    # The administrator may write everything, but a file that is marked read-only is meant to be.
    if not stat.S_IMODE(status.st_mode) & 0o222 or not os.access(target, os.W_OK):
        raise UsageError(f"{shown} must be writable, not read-only")


def _carry_out(files: Sequence[File], changing: Sequence[File], step: Step) -> None:
    marks: list[tuple[Mark, Mark]] = []
    several = len(changing) > 1
    for file in changing:
        like = file.target, file.seen
        kept = Mark(0, 0)
        if several:
            kept = write_new(file.kept, file.old, like, step=step, what="copy of the old text")
        made = write_new(file.made, file.new, like, step=step, what="new text")
        marks.append((kept, made))
    if several:
        entries = [
            NotedFile(file.target.name, digest(file.old), digest(file.new), *both)
            for file, both in zip(changing, marks, strict=True)
        ]
        for number, file in enumerate(changing):
            notes.write(file.target, RecoveryNote(number, (entries[0], entries[1])), step=step)
    for file in files:
        # A file that stays as it is was part of the question too.
        if file not in changing and not see(file.target).same(file.seen):
            raise UsageError(f"{file.shown} was changed by another program (run it again)")
    for file in changing:
        put(file.made, file.target, file.seen, shown=file.shown, step=step)
    for file in changing:
        if state_of(file.target, digest(file.old), digest(file.new)) != "new":
            raise WriteError(f"{file.shown} was changed by another program at the same time")
    step("clean up")
    clean_up([file.target for file in changing], step)


def clean_up(targets: Sequence[Path], step: Step) -> None:
    """Remove copies and notes of an edit that is done or undone, the notes last."""
    for target in targets:
        for word in ("old", "new", "note"):
            beside(target, word).unlink(missing_ok=True)
    step("remove the notes")
    for target in targets:
        note_of(target).unlink(missing_ok=True)
        platform.SYSTEM.flush_folder(target.parent)


def state_of(target: Path, old: str, new: str) -> str:
    """Return whether a file is ``old``, ``new``, ``other`` or ``missing``."""
    try:
        found = digest(see(target).octets)
    except FileNotFoundError:
        return "missing"
    except (OSError, UsageError):
        return "other"
    # A file that only belongs to the question is old and new at once: nothing was done to it.
    return {new: "new", old: "old"}.get(found, "other")


def _roll_back(files: Sequence[File], changing: Sequence[File], error: BaseException) -> NoReturn:
    """Put the old texts back where the new ones are in place; raises with the state of each file.

    Asks the disk what is in place: an interrupt may come between a step and its note of it.
    """
    states = [state_of(file.target, digest(file.old), digest(file.new)) for file in changing]
    if all(state == "new" for state in states) and changing:
        with suppress(OSError):
            clean_up([file.target for file in changing], no_step)
        raise _with_words(error, "the edit was complete: " + _told(files))
    try:
        for file, state in zip(changing, states, strict=True):
            if state == "new":
                again = beside(file.target, "note")
                write_new(again, file.old, (file.target, file.seen), step=no_step, what="old text")
                put(again, file.target, see(file.target), shown=file.shown, step=no_step)
        clean_up([file.target for file in changing], no_step)
    except (OSError, UsageError) as second:
        raise _with_words(
            error,
            f"{_told(files)}; undoing it failed as well ({_reason(second)}); the way on: "
            f"safeframe edit recover {shlex.join(file.shown for file in files)}",
        ) from error
    raise _with_words(error, _told(files))


def _told(files: Sequence[File]) -> str:
    """Return in words which file is in which state."""
    states = [state_of(file.target, digest(file.old), digest(file.new)) for file in files]
    if all(state == "old" for state in states):
        return "nothing was changed" if len(files) == 1 else "both files are as they were"
    words = {
        "old": "is as it was",
        "new": "holds the edit",
        "other": "holds the version of another program",
        "missing": "is missing",
    }
    return ", ".join(
        f"{file.shown} {words[state]}" for file, state in zip(files, states, strict=True)
    )


def _reason(error: BaseException) -> str:
    if isinstance(error, OSError):
        return f"{Path(str(error.filename or 'disk')).name}: {error.strerror or error}"
    return str(error)


def _with_words(error: BaseException, words: str) -> BaseException:
    """Return the error to raise: of the same kind, with the state of the files in its words."""
    if isinstance(error, UsageError):
        return UsageError(f"{error}; {words}")
    if isinstance(error, OSError):
        return WriteError(f"not written ({_reason(error)}): {words}")
    if isinstance(error, WriteError):
        return WriteError(f"{error}: {words}")
    return type(error)(words) if isinstance(error, KeyboardInterrupt) else error
