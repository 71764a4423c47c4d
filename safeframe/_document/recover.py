"""What became of an edit that was broken off, and its end: finished or undone, if asked to.

Nothing is written because a note says so. ``recover`` shows the state of both files and what
finishing and undoing would change; only with a word of the caller it writes, and then only a
copy that the edit itself left here, known by its digest and by its mark.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from .._errors import UsageError
from . import note as notes
from .lock import hold
from .note import NotedFile, note_of
from .replace import clean_up, state_of
from .whole import Step, beside, digest, no_step, put, see, target_of, write_new

How = Literal["", "finish", "undo"]

_WORDS = {"old": "as before the edit", "new": "as after the edit", "missing": "not there"}


class Side(NamedTuple):
    """One file: its state (``old``, ``new``), what it holds, and what both ends would make of it.

    A text is None where it is not left here unaltered.
    """

    path: str
    state: str
    holds: str
    old: str | None
    new: str | None


class Recovery(NamedTuple):
    """What became of the edit: ``not begun``, ``finished``, ``undone``, or ``open``."""

    verdict: str
    sides: tuple[Side, ...] = ()


class _Known(NamedTuple):
    """A file with its row of the note."""

    shown: str
    target: Path
    entry: NotedFile

    @property
    def state(self) -> str:
        return state_of(self.target, self.entry.old, self.entry.new)


def recover(paths: Sequence[str], *, how: How = "", step: Step = no_step) -> Recovery:
    """Say what became of a broken-off edit of two files; finish or undo it if ``how`` says so.

    Where no file was replaced, or all were, what the edit left is removed without being asked.
    Raises UsageError when no note is there, when the edit is still running, when a note is
    nothing that an edit left here, and when a file is neither the old nor the new one.
    """
    targets = [(path, target_of(path)) for path in paths]
    with hold(targets):
        files = _files(targets)
        states = [file.state for file in files]
        _refuse_others(files, states)
        if len(set(states)) == 1 and (states[0] == "old" or how != "undo"):
            clean_up([file.target for file in files], step)
            return Recovery("not begun" if states[0] == "old" else "finished")
        if not how:
            sides = zip(files, states, strict=True)
            return Recovery("open", tuple(_side(file, state) for file, state in sides))
        wanted = "new" if how == "finish" else "old"
        if states == ["new", "new"] and not all(
            beside(one.target, "old").exists() for one in files
        ):
            raise UsageError(
                "both files hold the edit, and the old texts are removed already: it cannot be "
                "undone any more; without --undo, what is left of it is removed"
            )
        texts = [
            (file, _octets(file, wanted))
            for file, state in zip(files, states, strict=True)
            if state != wanted
        ]
        for file, octets in texts:
            _put(file, octets, step)
        clean_up([file.target for file in files], step)
        step("done")
        return Recovery("finished" if how == "finish" else "undone")


def _files(targets: Sequence[tuple[str, Path]]) -> list[_Known]:
    """Return both files with their rows, in the order given."""
    found = [notes.read(target, shown) for shown, target in targets]
    if not any(found):
        raise UsageError(f"there must be a broken-off edit to recover, not none of {targets[0][0]}")
    notes_, places = [note for note in found if note], [note.beside for note in found if note]
    rows = notes_[0].files
    # A missing note belongs to the file that the other note does not lie beside.
    order = places if len(places) == 2 else [places[0], 1 - places[0]]
    if found[0] is None:
        order.reverse()
    fits = {note.files for note in notes_} == {rows} and sorted(order) == [0, 1]
    if not fits or [rows[number].name for number in order] != [one.name for _, one in targets]:
        raise UsageError(
            f"the broken-off edit must be one of both files named, not of {rows[0].name} and "
            f"{rows[1].name}; name these two"
        )
    return [
        _Known(shown, target, rows[number])
        for (shown, target), number in zip(targets, order, strict=True)
    ]


def _refuse_others(files: Sequence[_Known], states: Sequence[str]) -> None:
    if set(states) <= {"old", "new"}:
        return
    told = [
        f"{file.shown} is {_WORDS.get(state, 'neither as before nor as after the edit')}"
        for file, state in zip(files, states, strict=True)
    ]
    names = [beside(file.target, word).name for file in files for word in ("old", "new")]
    left = " and ".join(note_of(file.target).name for file in files)
    raise UsageError(
        f"{'; '.join(told)}: nothing is touched. What the edit left lies in {', '.join(names)}; "
        f"compare by hand, then remove {left}"
    )


def _side(file: _Known, state: str) -> Side:
    texts = {word: _text(file, word) for word in ("old", "new")}
    holds = see(file.target).octets.decode(errors="backslashreplace")
    return Side(file.shown, state, holds, **{**texts, state: holds})


def _text(file: _Known, wanted: str) -> str | None:
    try:
        return _octets(file, wanted).decode(errors="backslashreplace")
    except UsageError:
        return None


def _octets(file: _Known, wanted: str) -> bytes:
    """Return a text that the edit itself left beside a file; raises UsageError for another one."""
    path = beside(file.target, wanted)
    sums = {"old": file.entry.old, "new": file.entry.new}
    marks = {"old": file.entry.kept, "new": file.entry.made}
    try:
        seen = see(path)
    except (OSError, UsageError):
        raise _not_ours(file, path, "it cannot be read as a regular file") from None
    if digest(seen.octets) != sums[wanted]:
        raise _not_ours(file, path, "it does not hold what the note says")
    if seen.status.st_nlink > 1 or seen.mark != marks[wanted]:
        raise _not_ours(file, path, "it is a copy that came from elsewhere")
    return seen.octets


def _not_ours(file: _Known, path: Path, reason: str) -> UsageError:
    return UsageError(
        f"{path.name} beside {file.shown} is nothing that an edit left here: {reason}. Nothing is "
        f"touched; look at both maps, then remove it and {note_of(file.target).name}"
    )


def _put(file: _Known, octets: bytes, step: Step) -> None:
    seen = see(file.target)
    made = beside(file.target, "note")
    write_new(made, octets, (file.target, seen), step=step, what="text")
    put(made, file.target, seen, shown=file.shown, step=step)
