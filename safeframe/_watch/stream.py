"""The packets of a running examination: gated for whoever looks on, ended by what was awaited."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterable, Iterator
from queue import Empty, Queue
from threading import Lock, Thread
from typing import BinaryIO

from ..capture import Packet, Passed, Skipped, Trouble

_CHUNK = 1 << 16
_CHUNKS_AHEAD = 16
_ASK_S = 0.05
"""How often a reader that waits asks whether it was stopped, in seconds."""

_YIELD_S = 0.0005

Found = Packet | Trouble | Skipped | Passed


class Gate:
    """Lets one thread look at what another one examines, between two packets.

    ``packets`` passes packets on while it holds the gate; it lets go of it while it waits for the
    next one. ``with gate:`` holds the gate for a look. After ``stop`` no packet comes any more.
    ``latest_us`` is the time of the packet that came last.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._lock = Lock()
        self._looking = 0
        self._clock = clock
        self._stopped = False
        self._came_s = clock()
        self.latest_us: int | None = None

    @property
    def quiet_s(self) -> float:
        """Seconds since the last packet, by the clock of the desk."""
        return self._clock() - self._came_s

    def __enter__(self) -> None:
        self._looking += 1
        self._lock.acquire()

    def __exit__(self, *_: object) -> None:
        self._lock.release()
        self._looking -= 1

    def stop(self) -> None:
        """Let no packet come any more; one that is waited for is the last."""
        self._stopped = True

    def packets(self, found: Iterable[Found]) -> Iterator[Found]:
        """Yield what is found, with the gate held by whoever takes it."""
        source = iter(found)
        self._lock.acquire()
        try:
            while True:
                self._lock.release()
                try:
                    each = next(source, None)
                    if self._looking:
                        # A lock is not given to who waits longest: step aside.
                        time.sleep(_YIELD_S)
                finally:
                    self._lock.acquire()
                if each is None or self._stopped:
                    return
                self._came_s = self._clock()
                if isinstance(each, Packet) and each.time_us is not None:
                    self.latest_us = each.time_us
                yield each
        finally:
            self._lock.release()


def ended_by(
    found: Iterable[Found], is_seen: Callable[[], bool], timeout_us: int | None
) -> Iterator[Found]:
    """Yield what is found until something was seen, or until the recording's time is over.

    ``timeout_us`` counts from the first packet with a time; that it has passed is yielded.
    """
    end_us: int | None = None
    for each in found:
        if timeout_us is not None and isinstance(each, Packet) and each.time_us is not None:
            if end_us is None:
                end_us = each.time_us + timeout_us
            elif each.time_us > end_us:
                yield Passed(end_us)
                return
        yield each
        if is_seen():
            return


class StoppableStream(io.RawIOBase):
    """A stream whose reader can be stopped while it waits, on every system: it then ends.

    A thread reads ahead; it may wait in vain for as long as the process lives.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._chunks: Queue[bytes | BaseException] = Queue(_CHUNKS_AHEAD)
        self._rest = b""
        self._stopped = False
        # A buffered stream is locked while it waits, and the interpreter cannot end then.
        self._more = getattr(stream, "raw", stream).read
        Thread(target=self._read_ahead, daemon=True).start()

    def readable(self) -> bool:
        """Return True: this is for reading."""
        return True

    def stop(self) -> None:
        """Let the stream end here."""
        self._stopped = True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill the buffer with what has come; 0 at the end, and where it was stopped."""
        while not self._rest and not self._stopped:
            try:
                found = self._chunks.get(timeout=_ASK_S)
            except Empty:
                continue
            if isinstance(found, BaseException):
                raise found
            if not found:
                self._stopped = True
            self._rest = found
        octets, self._rest = self._rest[: len(buffer)], self._rest[len(buffer) :]
        buffer[: len(octets)] = octets
        return len(octets)

    def _read_ahead(self) -> None:
        try:
            while octets := self._more(_CHUNK):
                self._chunks.put(octets)
        except Exception as error:
            self._chunks.put(error)
        self._chunks.put(b"")
