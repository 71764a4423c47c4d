"""Streams of which the digest is known once they have been read."""

from __future__ import annotations

import hashlib
import io
from typing import Any, BinaryIO

__all__ = ["CHUNK_OCTETS", "DigestedStream"]

CHUNK_OCTETS = 1 << 20
"""How much is read at once."""


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
