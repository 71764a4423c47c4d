"""Opening a recording: what kind of file it is shows in its first octets."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import BinaryIO

from ._lines import read_hex, read_json
from ._packets import Packet, Trouble
from ._pcap import ALL, MAGICS, Wanted, read_pcap

__all__ = ["read_recording"]

_MAGIC_OCTETS = 4


def read_recording(stream: BinaryIO, wanted: Wanted = ALL) -> Iterator[Packet | Trouble]:
    """Yield the packets of a recording in order, in constant memory.

    pcap and pcapng are known by their first octets, JSON Lines by a brace; anything else is read as
    hexadecimal lines.
    """
    first = stream.read(_MAGIC_OCTETS)
    if first in MAGICS:
        return read_pcap(stream, wanted, first=first)
    joined = io.BufferedReader(_Joined(first, stream))
    if first.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{":
        return read_json(joined)
    return read_hex(joined)


class _Joined(io.RawIOBase):
    """A stream that begins with octets already taken from it."""

    def __init__(self, first: bytes, stream: BinaryIO) -> None:
        self._first = first
        self._stream = stream

    def readable(self) -> bool:
        """Return True: this is for reading."""
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill the buffer with what comes next; 0 at the end."""
        octets = self._first or self._stream.read(len(buffer))
        self._first = b""
        buffer[: len(octets)] = octets
        return len(octets)
