"""A recording that somebody still writes: a file that grows, read as it grows."""

from __future__ import annotations

import io
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import cast

from .._document.reader import open_stream
from .._errors import InputError, Problem
from ..capture import Trouble

_POLL_S = 0.01
"""How often the file is asked for more, in seconds; by choice."""
_KEPT_OCTETS = 256
"""So many octets must stand before what is new as they were read; by choice."""


class GrowingFile(io.RawIOBase):
    """A file of which the end is not the end: reading waits for more.

    It ends where the file became shorter, was written anew or another one took its place (``ended``
    says so), or where nothing came for ``idle_s`` seconds. Raises InputError where there is no such
    file.
    """

    def __init__(
        self,
        path: str,
        *,
        idle_s: float | None = None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._path = Path(path)
        self._idle_s, self._clock, self._sleep = idle_s, clock, sleep
        self.ended = ""
        self._kept = b""
        if self._path.is_fifo():
            message = "only a file can be followed while it grows"
            raise InputError(
                Problem(path=path, message=message, remedy="leave --follow out: a pipe waits")
            )
        self._file = cast(io.BufferedReader, open_stream(path, what="recording")).detach()

    def readable(self) -> bool:
        """Return True: this is for reading."""
        return True

    def close(self) -> None:
        """Close the file, where there was one to open: Python closes what was never made too."""
        if not self.closed and hasattr(self, "_file"):
            self._file.close()
        super().close()

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill the buffer with what there is, after waiting until there is some; 0 at the end."""
        since = self._clock()
        while not (size := self._file.readinto(buffer)) and not self.ended:
            # What was written before the end was noticed is read once more.
            self.ended = self._why_ended()
            if self.ended:
                continue
            if self._idle_s is not None and self._clock() - since >= self._idle_s:
                break
            self._sleep(_POLL_S)
        if size and not self._goes_on(self._file.tell() - size):
            self.ended = "the file was written anew while it was followed"
            return 0
        self._kept = (self._kept + bytes(buffer[: size or 0]))[-_KEPT_OCTETS:]
        return size or 0

    def _goes_on(self, at: int) -> bool:
        """Tell whether there still stands before a place what was read there."""
        end = self._file.tell()
        self._file.seek(at - len(self._kept))
        found = self._file.read(len(self._kept))
        self._file.seek(end)
        return found == self._kept

    def end(self) -> Iterator[Trouble]:
        """Yield why the file ended, where something ended it."""
        if self.ended:
            yield Trouble(0, 0, "file", self.ended)

    def _why_ended(self) -> str:
        here = os.fstat(self._file.fileno())
        if here.st_size < self._file.tell():
            return "the file became shorter while it was followed"
        try:
            there = self._path.stat()
        except OSError:
            return "the file was removed while it was followed"
        if (here.st_dev, here.st_ino) != (there.st_dev, there.st_ino):
            return "another file took the place of this one while it was followed"
        return ""
