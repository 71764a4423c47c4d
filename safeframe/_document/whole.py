"""One file put in the place of another, whole, and only if nobody has changed it meanwhile."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from .._errors import UsageError
from . import platform

Step = Callable[[str], None]
"""Called with a name before each step; a test may end the process in it."""

_LONGEST_NAME = 240


def no_step(_name: str) -> None:
    """Do nothing between two steps."""


class ChangedError(UsageError):
    """A file that another program has changed; its version stays."""


class Mark(NamedTuple):
    """What tells a file from another one of the same content, and survives a restart."""

    inode: int
    mtime_ns: int


class SeenFile(NamedTuple):
    """A file as it was at one moment: which one it is, its rights, and what it holds."""

    status: os.stat_result
    octets: bytes

    def same(self, other: SeenFile) -> bool:
        """Return whether nothing has touched the file between two looks."""
        return _identity(self.status) == _identity(other.status) and self.octets == other.octets

    @property
    def mark(self) -> Mark:
        """The mark of the file."""
        return Mark(self.status.st_ino, self.status.st_mtime_ns)


def _identity(status: os.stat_result) -> tuple[int, ...]:
    return (status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns)


def digest(octets: bytes) -> str:
    """Return the SHA-256 of octets, 64 hexadecimal digits."""
    return hashlib.sha256(octets).hexdigest()


def target_of(path: str) -> Path:
    """Return the file that a path leads to: links are followed and stay links.

    Links in a circle lead nowhere; then it is one of them, which cannot be read or written.
    """
    return platform.SYSTEM.path(Path(os.path.realpath(path)))


def beside(target: Path, word: str) -> Path:
    """Return a hidden file of ours beside another one, ``.NAME.safeframe-WORD``."""
    name = target.name
    if len(os.fsencode(name)) + len(word) > _LONGEST_NAME - 12:
        name = digest(os.fsencode(name))[:32]
    return target.with_name(f".{name}.safeframe-{word}")


def see(path: Path) -> SeenFile:
    """Look at a regular file; raises OSError, or UsageError for anything else, links included."""
    first = path.lstat()
    if not stat.S_ISREG(first.st_mode):
        raise UsageError(f"{path.name} must be a regular file")
    with path.open("rb") as file:
        status = os.fstat(file.fileno())
        if (status.st_dev, status.st_ino) != (first.st_dev, first.st_ino):
            raise ChangedError(_told(path.name))
        return SeenFile(status, file.read())


def write_new(
    path: Path, octets: bytes, like: tuple[Path, SeenFile] | None, *, step: Step, what: str
) -> Mark:
    """Write a file that must not exist and flush it and its folder to the disk.

    ``like`` is the file whose owner and rights it gets; without one it is for its owner alone.
    """
    step(f"create the {what}")
    path.unlink(missing_ok=True)  # Left over: whoever holds the lock is the only one to write it.
    descriptor = platform.SYSTEM.open_new(path)
    try:
        with os.fdopen(descriptor, "wb") as file:
            step(f"write half of the {what}")
            file.write(octets[: len(octets) // 2])
            file.flush()
            step(f"write the rest of the {what}")
            file.write(octets[len(octets) // 2 :])
            file.flush()
            if like is not None:
                platform.SYSTEM.keep_rights(file.fileno(), like[0], like[1].status)
            step(f"flush the {what}")
            os.fsync(file.fileno())
            status = os.fstat(file.fileno())
        step(f"flush the folder of the {what}")
        platform.SYSTEM.flush_folder(path.parent)
    except BaseException:  # An interrupt as well: nothing half-written stays behind.
        path.unlink(missing_ok=True)
        raise
    return Mark(status.st_ino, status.st_mtime_ns)


def put(made: Path, target: Path, expected: SeenFile, *, shown: str, step: Step) -> None:
    """Put a file of ours in the place of another one, if that still is what it was.

    Where the system exchanges two files in one instant, what was replaced is looked at afterwards
    and put back if it was not the expected one: no other writer can slip between. Elsewhere the
    look comes right before the replacement. Raises ChangedError, with the other version in place.
    """
    mine = digest(made.read_bytes())
    step("compare")
    _refuse_changed(target, expected, shown)
    step("rename")
    if platform.SYSTEM.swap(made, target):
        try:
            step("look at what was replaced")
        finally:  # An interrupt does not spare the look: what another program wrote must come back.
            _put_back_unless(expected, made, target, mine, shown)
        made.unlink()
    else:
        platform.SYSTEM.replace(made, target)
    platform.SYSTEM.flush_folder(target.parent)


def _put_back_unless(expected: SeenFile, made: Path, target: Path, mine: str, shown: str) -> None:
    """Put back what was replaced unless it is what was expected; then raise ChangedError."""
    if _unchanged(made, expected):
        return
    platform.SYSTEM.swap(made, target)
    if digest(made.read_bytes()) != mine:
        # The other program has written once more in between: its latest version counts.
        platform.SYSTEM.swap(made, target)
    raise ChangedError(_told(shown))


def _unchanged(path: Path, expected: SeenFile) -> bool:
    try:
        return see(path).same(expected)
    except (OSError, UsageError):
        return False


def _refuse_changed(target: Path, expected: SeenFile, shown: str) -> None:
    if not _unchanged(target, expected):
        raise ChangedError(_told(shown))


def _told(shown: str) -> str:
    return (
        f"{shown} must be as it was read, not changed since by another program, whose version "
        "stays (run it again)"
    )
