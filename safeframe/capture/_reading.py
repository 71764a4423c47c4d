"""Opening a recording: what kind of file it is shows in its first octets."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from typing import BinaryIO, cast

from .._errors import UsageError
from ._can import read_can_log
from ._layers import ALL, Wanted
from ._lines import read_hex, read_json
from ._packets import Packet, Skipped, Trouble
from ._pcap import MAGICS, read_pcap

_MAGIC_OCTETS = 6
_GZIP, _XZ, _BZIP = b"\x1f\x8b", b"\xfd7zXZ\x00", b"BZh"
_REFUSED = {
    b"\x28\xb5\x2f\xfd": ("zstd", "zstd -d"),
    b"\x04\x22\x4d\x18": ("lz4", "lz4 -d"),
    b"PK\x03\x04": ("zip", "unzip"),
}


def read_recording(stream: BinaryIO, wanted: Wanted = ALL) -> Iterator[Packet | Trouble | Skipped]:
    """Yield the packets of a recording in order, in constant memory.

    pcap and pcapng are known by their first octets, JSON Lines by a brace, logs of CAN messages by
    a parenthesis; anything else is read as hexadecimal lines. Each may be compressed with gzip, xz
    or bzip2. Raises UsageError for other compressed files.
    """
    first = _taken(stream)
    if first.startswith((_GZIP, _XZ, _BZIP)):
        return _unpacked(io.BufferedReader(_Joined(first, stream)), first, wanted)
    for magic, (name, command) in _REFUSED.items():
        if first.startswith(magic):
            raise UsageError(f"a recording packed with {name} is not read: unpack it ({command})")
    return _plain(first, stream, wanted)


def _taken(stream: BinaryIO) -> bytes:
    """Return the first octets of a stream, fewer only at its end."""
    first = b""
    while len(first) < _MAGIC_OCTETS and (more := stream.read(_MAGIC_OCTETS - len(first))):
        first += more
    return first


def _plain(first: bytes, stream: BinaryIO, wanted: Wanted) -> Iterator[Packet | Trouble | Skipped]:
    if first[:4] in MAGICS:
        return read_pcap(stream, wanted, first=first)
    joined = io.BufferedReader(_Joined(first, stream))
    begin = first.removeprefix(b"\xef\xbb\xbf").lstrip()[:1]
    if begin == b"{":
        return read_json(joined)
    if begin == b"(":
        return read_can_log(joined)
    return read_hex(joined)


def _unpacked(
    packed: io.BufferedReader, first: bytes, wanted: Wanted
) -> Iterator[Packet | Trouble | Skipped]:
    """Yield the packets of a compressed recording; places are those of the unpacked file."""
    import bz2  # deferred, all three: few recordings are compressed.
    import gzip
    import lzma

    number = 0
    try:
        # The caller has opened the recording and closes it.
        opened = gzip.open if first.startswith(_GZIP) else bz2.open
        if first.startswith(_XZ):
            opened = lzma.open  # type: ignore[assignment]
        stream = cast(BinaryIO, opened(packed, "rb"))
        for found in _plain(_taken(stream), stream, wanted):
            if isinstance(found, Packet):
                number = found.number
            yield found
    except (EOFError, OSError, lzma.LZMAError, zlib.error) as error:
        yield Trouble(number + 1, 0, "file", f"cannot be unpacked further: {error}")


class _Joined(io.RawIOBase):
    """A stream that begins with octets already taken from it."""

    def __init__(self, first: bytes, stream: BinaryIO) -> None:
        self._first = first
        self._stream = stream
        self._more = getattr(stream, "read1", stream.read)

    def readable(self) -> bool:
        """Return True: this is for reading."""
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill the buffer with what comes next; 0 at the end."""
        octets = self._first[: len(buffer)] or self._more(len(buffer))
        self._first = self._first[len(buffer) :]
        buffer[: len(octets)] = octets
        return len(octets)
