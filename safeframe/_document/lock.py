"""Locks of files that are about to be replaced: of two writers one is refused at once.

A lock is held by the living process and goes with it, however it ends: a lock file that is left
over after a kill locks nothing. The files are locked in one order, whatever the order they are
given in, so that of two writers of the same files exactly one goes on.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from .._errors import UsageError
from . import platform
from .whole import beside

_WORD = "lock"
_MOST_DIGITS = 20


@contextmanager
def hold(targets: Iterable[tuple[str, Path]]) -> Iterator[None]:
    """Hold the locks of files, given as (name to show, file); raises UsageError if one is taken."""
    ordered = {os.path.normcase(target): (shown, target) for shown, target in targets}
    with ExitStack() as stack:
        with _undisturbed():
            for key in sorted(ordered):
                stack.enter_context(_held(*ordered[key]))
        yield


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Let an interrupt wait for steps that take no time: in their midst nobody knows of the file.

    Interrupts come to the main thread alone, and only there can they be told to wait.
    """
    import signal  # deferred, as what is next: nothing else of a start needs them.
    import threading

    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or before is None:
        yield
        return
    came: list[int] = []
    signal.signal(signal.SIGINT, lambda number, _: came.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        for number in came[:1]:
            signal.raise_signal(number)


def holder(target: Path) -> int | None:
    """Return the process that is writing a file now, 0 if it is unknown, None without one."""
    path = beside(target, _WORD)
    if not path.exists():
        return None
    try:
        descriptor = platform.SYSTEM.open_lock(path)
    except OSError:
        return None
    try:
        return None if platform.SYSTEM.lock(descriptor) else _number(descriptor)
    finally:
        os.close(descriptor)


def busy(shown: str, number: int) -> str:
    """Return words about the living process that writes a file; its number is 0 if unknown."""
    return f"{shown} is being written by {f'process {number}' if number else 'another process'}"


@contextmanager
def _held(shown: str, target: Path) -> Iterator[None]:
    path = beside(target, _WORD)
    descriptor = _take(path, shown)
    try:
        os.ftruncate(descriptor, 0)
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.write(descriptor, f"{os.getpid()}\n".encode())
        yield
    finally:
        with _undisturbed():
            platform.SYSTEM.drop_lock(path, descriptor)


def _take(path: Path, shown: str) -> int:
    """Return the open and locked lock file."""
    while True:
        try:
            descriptor = platform.SYSTEM.open_lock(path)
        except OSError as error:
            raise UsageError(
                f"{shown} cannot be locked ({path.name}: {error.strerror}), so it is not written"
            ) from None
        try:
            status = os.fstat(descriptor)
            if not stat.S_ISREG(status.st_mode) or status.st_nlink > 1:
                raise UsageError(
                    f"{path.name} must be a lock file, not something else; remove it and run again"
                )
            if not _lock(descriptor, shown):
                raise UsageError(f"{busy(shown, _number(descriptor))}; wait for it, then run again")
            if _still_there(path, status):
                return descriptor
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)  # Its holder has removed it meanwhile: take the new one.


def _lock(descriptor: int, shown: str) -> bool:
    try:
        return platform.SYSTEM.lock(descriptor)
    except OSError as error:
        raise UsageError(
            f"{shown} cannot be locked on this file system ({error.strerror}), so it is not written"
        ) from None


def _still_there(path: Path, status: os.stat_result) -> bool:
    try:
        found = path.stat(follow_symlinks=False)
    except FileNotFoundError:
        return False
    return (found.st_dev, found.st_ino) == (status.st_dev, status.st_ino)


def _number(descriptor: int) -> int:
    os.lseek(descriptor, 0, os.SEEK_SET)
    text = os.read(descriptor, _MOST_DIGITS).strip()
    return int(text) if text.isdigit() else 0
