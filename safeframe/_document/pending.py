"""Whether an edit was broken off beside a file: asked by all who read maps, so it costs nothing."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence

from .._errors import UsageError

_LONG = 40
"""Characters from which the name of a note may be shortened."""


def pending(path: str) -> bool:
    """Return whether a note lies beside a file; two calls to the system."""
    try:
        # No pathlib here: importing it costs more than a check of two files may.
        path = os.path.realpath(path) if os.path.islink(path) else path  # noqa: PTH114
        folder, name = os.path.split(path)
        if len(name) > _LONG:
            from .note import note_of  # deferred: only there a long name is looked at.
            from .whole import target_of

            return os.path.lexists(note_of(target_of(path)))
        return os.path.lexists(os.path.join(folder, f".{name}.safeframe-edit"))  # noqa: PTH118
    except (OSError, ValueError):
        return False


def notice(paths: Iterable[str]) -> str:
    """Return what to tell about the files read: an edit is running or was broken off, or nothing.

    One sentence for all of them, in the order given.
    """
    found = [path for path in dict.fromkeys(paths) if pending(path)]
    if not found:
        return ""
    names = " and ".join(found)
    running = _running(found)
    if running:
        return f"{running}: what is read may be of two versions"
    return (
        f"the note of an edit that was broken off lies beside {names}: what is read may be of two "
        "versions; safeframe edit recover, with the maps of both ends, shows the state"
    )


def _running(paths: Iterable[str]) -> str:
    """Return words about the living process that writes one of the files, empty without one."""
    from .lock import busy, holder  # deferred: there is hardly ever a note.
    from .whole import target_of

    for path in paths:
        number = holder(target_of(path))
        if number is not None:
            return busy(path, number)
    return ""


def refuse_pending(paths: Sequence[str], *, locked: bool = False) -> None:
    """Raise UsageError when an earlier edit of one of the files was broken off, or is running.

    ``locked`` says that the caller holds the locks of the files, so that none can be running.
    """
    if not any(map(pending, paths)):
        return
    running = "" if locked else _running(paths)
    if running:
        raise UsageError(f"{running}; wait for it, then run again")
    import shlex  # deferred: there is hardly ever a note.

    raise UsageError(
        f"an earlier edit of {' and '.join(paths)} was broken off, as a note beside them says; "
        f"look at it first: safeframe edit recover {shlex.join(paths)}"
    )
