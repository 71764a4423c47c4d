"""Object access of FSCP 13/1: payloads of service frames, whole transfers, the parameter check.

Source: two versions of a public open stack, one of them compiled and run; the dissector names the
bits of the command. Abort codes are those seen in the run.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from ..._errors import UsageError
from ...crc import CATALOGUE, compute

WRITE, PRELOAD, ABORT, SEGMENTED, TOGGLE, START, LAST = 1, 2, 4, 8, 16, 32, 64
"""Bits of the command octet."""
ABORTS = {
    0x05040001: "unknown command",
    0x05040002: "segment size",
    0x06010002: "not writable",
    0x06020000: "no such object",
    0x06040041: "cannot be mapped",
    0x06070010: "length does not fit",
    0x06090031: "value too high",
    0x08000022: "not in this state",
}
"""Abort codes seen in the run of the open stack."""
_SHORT_HEAD, _FIRST_HEAD, _MOST = 4, 8, 254


class Access(NamedTuple):
    """One payload of a service frame, taken apart.

    ``object`` is (index, sub-index), None in segments that carry data only. ``length`` is the
    length of the whole object in a first segment (0: not known in advance), ``abort`` the abort
    code; ``data`` what is left.
    """

    command: int
    object: tuple[int, int] | None = None
    data: bytes = b""
    length: int | None = None
    abort: int | None = None

    @property
    def toggle(self) -> int:
        """The toggle bit, 0 or 1."""
        return self.command >> 4 & 1

    @property
    def step(self) -> str:
        """The step of the transfer in words, empty for a command that is none."""
        kind = self.command & ~TOGGLE
        if kind == ABORT:
            return "abort"
        way = "download" if kind & WRITE else "upload"
        step = _STEPS.get(kind & ~WRITE)
        if step is None or (self.command & TOGGLE and step in ("short form", "first segment")):
            return ""
        return f"{way}, {step}"


_STEPS = {
    START: "short form",
    START | SEGMENTED: "first segment",
    SEGMENTED: "middle segment",
    SEGMENTED | LAST: "last segment",
}


def _has_object(command: int, *, asks: bool) -> bool:
    """Tell whether index and sub-index follow the command.

    They do not in segments in the direction that carries data, nor in what answers a segment of a
    download.
    """
    if command & (START | ABORT) or not command & SEGMENTED:
        return True
    return asks and not command & WRITE


def unpack(payload: bytes, *, asks: bool) -> Access:
    """Take the payload of a request (``asks``) or of a response apart.

    Raises UsageError for one that is shorter than its command says.
    """
    if not payload:
        raise UsageError("a service must carry a command octet")
    command = payload[0]
    if not _has_object(command, asks=asks):
        return Access(command, None, payload[1:])
    _need(payload, _SHORT_HEAD, "index and sub-index")
    named = int.from_bytes(payload[1:3], "little"), payload[3]
    rest = payload[4:]
    if command & ~TOGGLE == ABORT:
        _need(payload, _FIRST_HEAD, "an abort code")
        return Access(command, named, rest[4:], None, int.from_bytes(rest[:4], "little"))
    if command & START and command & SEGMENTED and len(payload) > _SHORT_HEAD:
        _need(payload, _FIRST_HEAD, "the length of the object")
        return Access(command, named, rest[4:], int.from_bytes(rest[:4], "little"))
    return Access(command, named, rest)


def _need(payload: bytes, least: int, what: str) -> None:
    if len(payload) < least:
        raise UsageError(
            f"a service with command 0x{payload[0]:02X} must carry {what}: at least {least} "
            f"octets, not {len(payload)}"
        )


def pack(found: Access) -> bytes:
    """Return the payload that ``unpack`` takes apart."""
    out = bytes((found.command,))
    if found.object is not None:
        index, sub_index = found.object
        if not 0 <= index <= 0xFFFF or not 0 <= sub_index <= 0xFF:
            raise UsageError(
                f"index and sub-index must be 0..65535 and 0..255, not {index} and {sub_index}"
            )
        out += index.to_bytes(2, "little") + bytes((sub_index,))
    for number in (found.length, found.abort):
        if number is not None:
            out += number.to_bytes(4, "little")
    return out + found.data


def explain(payload: bytes, *, asks: bool) -> str:
    """Return what the payload of a service frame says, in words."""
    try:
        found = unpack(payload, asks=asks)
    except UsageError as error:
        return str(error)
    words = [found.step or f"unknown command 0x{found.command:02X}"]
    if found.object is not None:
        words.append(f"object 0x{found.object[0]:04X}.{found.object[1]}")
    if found.toggle:
        words.append("toggle 1")
    if found.length is not None:
        words.append(f"length {found.length}" if found.length else "length not known in advance")
    if found.abort is not None:
        words.append(f"code 0x{found.abort:08X} ({ABORTS.get(found.abort, 'not seen in the run')})")
    if found.data:
        words.append(f"data {found.data.hex(' ')}")
    return ", ".join(words)


class Turn(NamedTuple):
    """One request of a transfer and its response, as payloads."""

    request: bytes
    response: bytes


def _limit(segment_octets: int) -> None:
    if not _FIRST_HEAD <= segment_octets <= _MOST:
        raise UsageError(f"segment_octets must be {_FIRST_HEAD}..{_MOST}, not {segment_octets}")


def _segments(data: bytes, segment_octets: int) -> Iterator[tuple[int, bytes]]:
    """Yield command and data of each segment after the first one; the toggle bit alternates."""
    room, toggle = segment_octets - 1, TOGGLE
    for at in range(0, len(data), room):
        last = LAST if at + room >= len(data) else 0
        yield SEGMENTED | toggle | last, data[at : at + room]
        toggle ^= TOGGLE


def download(
    index: int, sub_index: int, data: bytes, *, segment_octets: int = _MOST
) -> Iterator[Turn]:
    """Yield the turns that write an object: the short form where it fits, else segments.

    ``segment_octets`` is the longest payload, 8..254 octets. Raises UsageError for values out of
    range.
    """
    _limit(segment_octets)
    named = index, sub_index
    if _SHORT_HEAD + len(data) <= segment_octets:
        done = pack(Access(START | WRITE, named))
        yield Turn(pack(Access(START | WRITE, named, data)), done)
        return
    begin = START | SEGMENTED | WRITE
    room = segment_octets - _FIRST_HEAD
    first = pack(Access(begin, named, data[:room], len(data)))
    yield Turn(first, pack(Access(begin, named)))
    for command, part in _segments(data[room:], segment_octets):
        yield Turn(pack(Access(command | WRITE, None, part)), bytes((command | WRITE,)))


def upload(
    index: int, sub_index: int, data: bytes, *, segment_octets: int = _MOST
) -> Iterator[Turn]:
    """Yield the turns that read an object whose value is ``data``; see ``download``."""
    _limit(segment_octets)
    named = index, sub_index
    asked = pack(Access(START, named))
    if _SHORT_HEAD + len(data) <= segment_octets:
        yield Turn(asked, pack(Access(START, named, data)))
        return
    room = segment_octets - _FIRST_HEAD
    yield Turn(asked, pack(Access(START | SEGMENTED, named, data[:room], len(data))))
    toggle = TOGGLE
    for command, part in _segments(data[room:], segment_octets):
        # Whether the segment is the last one only its answer says.
        yield Turn(pack(Access(SEGMENTED | toggle, named)), pack(Access(command, None, part)))
        toggle ^= TOGGLE


def parameter_check(values: Iterable[tuple[int, int, bytes]]) -> int:
    """Return the 32-bit check value of a parameter set.

    ``values`` are (index, sub-index, octets) in any order; the octets are low octet first. Which
    objects belong to the set is a property of the device, not of the protocol.
    """
    octets = b"".join(value for _, _, value in sorted(values))
    return compute(CATALOGUE["fscp-13-1/crc32-parameters"], octets)
