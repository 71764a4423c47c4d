"""A recording examined to its last octet, so that its digest tells what was examined."""

from __future__ import annotations

import hashlib
import io
from typing import Any, BinaryIO, NamedTuple

from .._link import Link, Places
from ._examine import examine
from ._layers import Wanted
from ._observe import Observer
from ._reading import read_recording
from ._report import Examination

CHUNK_OCTETS = 1 << 20
"""How much is read at once."""


class WholeRecording(NamedTuple):
    """What a recording shows, and which one it was; no digest of all where it was interrupted."""

    found: Examination
    sha256: str
    size_octets: int


def examine_whole(
    stream: BinaryIO,
    link: Link,
    places: Places,
    wanted: Wanted,
    *,
    fresh: bool,
    observer: Observer,
) -> WholeRecording:
    """Examine a recording for an observer; the digest is over what was not understood, too."""
    source = DigestedStream(stream)
    whole = io.BufferedReader(source, CHUNK_OCTETS)
    found = examine(
        read_recording(whole, wanted),
        link,
        at=places.at,
        sources=places.sources,
        fresh=fresh,
        observers=[observer],
    )
    while not found.stopped and whole.read(CHUNK_OCTETS):
        pass
    return WholeRecording(found, source.digest.hexdigest(), source.size_octets)


class DigestedStream(io.RawIOBase):
    """A stream that keeps the SHA-256 and the size of what was read from it."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.digest = hashlib.sha256()
        self.size_octets = 0

    def readable(self) -> bool:
        """Return True: this is for reading."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill the buffer with what comes next."""
        octets = self._stream.read(len(buffer))
        buffer[: len(octets)] = octets
        self.digest.update(octets)
        self.size_octets += len(octets)
        return len(octets)
