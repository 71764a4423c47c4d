"""CAN messages in recordings: SocketCAN packets, and the log lines of the usual Linux programs.

A message is handed on as two octets of identifier, high octet first, one octet of length, and its
data. Only data messages with an identifier of 11 bits are; what else a CAN bus carries is counted
and named. Sources: flags and sizes from the public header ``linux/can.h``; order of the packet's
octets from the public list of link types, and the log format, both from memory; an independent
dissector reads the same in the tests.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

from ._lines import lines_of
from ._packets import Packet, Skipped, Trouble

FRAME = "can"
"""What stands for the station where a recording names no interface."""

_EXTENDED, _REMOTE, _ERROR = 0x80000000, 0x40000000, 0x20000000
_STANDARD = 0x7FF
_HEAD, _MOST = 8, 8
_RAW_LENGTHS = range(9, 16)
"""Length codes that also stand for 8 octets: Linux keeps them beside the length."""

ERRORS = "error frames of the CAN bus"
REMOTE = "remote frames of the CAN bus, which carry no data"
LONG = "CAN messages of another format than the classical one (FD, XL)"
EXTENDED = "CAN messages with an identifier of 29 bits"
MALFORMED = "malformed CAN messages"

_LOG = re.compile(
    r"\((\d{1,12})\.(\d{1,9})\)\s+(\S{1,64})\s+([0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})#(\S*)(?:\s+[RT])?",
    re.ASCII,
)
_DATA = re.compile(r"((?:[0-9A-Fa-f]{2}\.?){0,8})(?:_([9A-Fa-f]))?", re.ASCII)
_REMOTE_DATA = re.compile(r"R(?:[0-8](?:_[9A-Fa-f])?)?", re.ASCII)


def _plain(identifier: int, data: bytes) -> bytes | str:
    """Return a message, or the kind of what is none of ours; the flags stand in the identifier."""
    if identifier & _ERROR:
        return ERRORS
    if identifier & _REMOTE:
        return REMOTE
    if identifier & _EXTENDED:
        return EXTENDED
    if identifier > _STANDARD:
        return MALFORMED
    return identifier.to_bytes(2, "big") + bytes((len(data),)) + data


def message(octets: bytes) -> bytes | str:
    """Return the message of a SocketCAN packet; a text says what else it is.

    Four octets of identifier and flags, high octet first, length, flags of the FD format, a
    reserved octet, the raw length code of a message of 8 octets, then the data.
    """
    if len(octets) < _HEAD:
        return MALFORMED
    identifier, size, raw = int.from_bytes(octets[:4], "big"), octets[4], octets[7]
    if identifier & _ERROR:
        return ERRORS
    if size > _MOST or octets[5]:
        return LONG
    if octets[6] or (raw and not (size == _MOST and raw in _RAW_LENGTHS)):
        return MALFORMED
    if len(octets) < _HEAD + size and not identifier & _REMOTE:
        return MALFORMED
    return _plain(identifier, octets[_HEAD : _HEAD + size])


class _Line(NamedTuple):
    time_us: int
    source: str
    held: bytes | str


def _line(text: str) -> _Line | None:
    """Return what a line of a log holds; None where it is none."""
    found = _LOG.fullmatch(text)
    if found is None:
        return None
    seconds, fraction, source, digits, rest = found.groups()
    identifier = int(digits, 16)
    # Eight digits stand for 29 bits; an error frame has its own flag among them.
    if len(digits) == 8 and not identifier & _ERROR:
        identifier |= _EXTENDED
    time_us = 1_000_000 * int(seconds) + int(fraction.ljust(6, "0")[:6])
    held: bytes | str
    if rest.startswith(("#", "P")):
        held = LONG
    elif _REMOTE_DATA.fullmatch(rest):
        held = _plain(identifier | _REMOTE, b"")
    elif data := _DATA.fullmatch(rest):
        octets = bytes.fromhex(data[1].replace(".", ""))
        if data[2] and len(octets) != _MOST:
            return None
        held = _plain(identifier, octets)
    else:
        return None
    return _Line(time_us, source.lower(), held)


def read_can_log(stream: BinaryIO) -> Iterator[Packet | Trouble | Skipped]:
    """Read lines ``(SECONDS.FRACTION) INTERFACE ID#DATA``, as the usual Linux programs log them.

    The interface is the station; empty lines are skipped.
    """
    skipped: dict[str, int] = {}
    for number, line in lines_of(stream):
        if isinstance(line, Trouble):
            yield line
            continue
        text = line.strip()
        if not text:
            continue
        found = _line(text)
        if found is None:
            wanted = "a line must be (SECONDS.FRACTION) INTERFACE ID#DATA"
            yield Trouble(number, number, "line", f"{wanted}, not {text[:40]!r}")
            continue
        held = found.held
        if isinstance(held, str):
            skipped[held] = skipped.get(held, 0) + 1
            yield Packet(number, number, found.time_us, b"")
            continue
        channel = int.from_bytes(held[:2], "big")
        yield Packet(number, number, found.time_us, held, "", found.source, channel)
    for text, count in skipped.items():
        yield Skipped(text, count)
