"""Recordings in pcap and pcapng files: packets with their times, whatever the interfaces.

Both formats are read here, because a tap of two ports needs every interface with its own clock
and link type, merged by time. Lengths are checked before memory is asked for them. Sources: the
draft specifications of both formats; another library reads the same packets in the tests.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from heapq import heappop, heappush
from typing import BinaryIO, NamedTuple

from ._can import FRAME
from ._layers import ALL, LINKS, Layers, Wanted
from ._packets import Packet, Skipped, Trouble

PCAPNG = bytes.fromhex("0a0d0d0a")
_NANO = frozenset(bytes.fromhex(text) for text in ("4d3cb2a1", "a1b23c4d"))
_MODIFIED = frozenset(bytes.fromhex(text) for text in ("34cdb2a1", "a1b2cd34"))
_MICRO = frozenset(bytes.fromhex(text) for text in ("d4c3b2a1", "a1b2c3d4"))
MAGICS = _MICRO | _NANO | _MODIFIED | {PCAPNG}
"""First octets of pcap (both octet orders; microseconds, nanoseconds, modified) and pcapng."""

MAX_BLOCK_OCTETS = 1 << 22
"""Longest packet or block that is read: more than any link sends in a packet, by choice."""
_CHUNK = 1 << 16
_WINDOW = 4096
"""Packets that are kept to merge interfaces by time; by choice."""
_MODIFIED_OCTETS = 8
"""What a record of a modified pcap file holds besides: interface, protocol, packet type."""

_INTERFACE, _OLD_PACKET, _SIMPLE, _ENHANCED = 1, 2, 3, 6
_OPTION_RESOLUTION, _OPTION_OFFSET = 9, 14
_MAX_INTERFACES = 4096


class _StopError(Exception):
    """The file cannot be read any further."""


class _Source:
    """A stream read in large pieces, as far as it has come; knows its place in the file."""

    def __init__(self, stream: BinaryIO, first: bytes) -> None:
        # A pipe gives what it has: waiting for a full piece would hold packets back.
        self._read = getattr(stream, "read1", stream.read)
        self._buffer = first
        self._at = 0
        self.offset = 0

    def take(self, size: int, *, may_end: bool = False) -> bytes:
        """Return ``size`` octets; none at the end of the file where it may end here."""
        if not 0 <= size <= MAX_BLOCK_OCTETS:
            raise _StopError(f"a length of {size} octets makes no sense")
        end = self._at + size
        if end > len(self._buffer):
            end = self._fill(size, may_end=may_end)
        octets = self._buffer[self._at : end]
        self._at = end
        self.offset += len(octets)
        return octets

    def _fill(self, size: int, *, may_end: bool) -> int:
        pieces = [self._buffer[self._at :]]
        have = len(pieces[0])
        while have < size and (piece := self._read(_CHUNK)):
            pieces.append(piece)
            have += len(piece)
        self._buffer, self._at = b"".join(pieces), 0
        if have < size and (have or not may_end):
            raise _StopError(f"the file ends {size - have} octets too early")
        return min(size, have)


def read_pcap(
    stream: BinaryIO, wanted: Wanted = ALL, *, first: bytes = b""
) -> Iterator[Packet | Trouble | Skipped]:
    """Read a pcap or pcapng file packet by packet; ``first`` are octets already taken from it.

    The payload of a UDP packet is its data, that of another Ethernet packet what follows the
    EtherType. Packets that are not wanted come without octets. Packets of several interfaces
    come in the order of their times, as far as a few thousand packets tell.
    """
    source, layers = _Source(stream, first), Layers(wanted)
    reader = _blocks if first[:4] == PCAPNG else _records
    yield from reader(source, layers)
    yield from layers.skipped()


def _records(source: _Source, layers: Layers) -> Iterator[Packet | Trouble]:
    """Yield the packets of a pcap file."""
    number, is_head = 0, True
    start = source.offset
    try:
        head = source.take(24)
        order = "<" if head[:1] in b"\xd4\x4d\x34" else ">"
        link = struct.unpack_from(order + "I", head, 20)[0] & 0xFFFF
        divisor = 1000 if head[:4] in _NANO else 1
        more = _MODIFIED_OCTETS if head[:4] in _MODIFIED else 0
        payload = layers.of_link(link)
        if payload is None:
            start = source.offset
            raise _StopError(f"the link type must be {LINKS}, not {link}")
        is_head = False
        unpack = struct.Struct(order + "IIII").unpack
        take = source.take
        while True:
            start = source.offset
            record = take(16, may_end=True)
            if not record:
                return
            seconds, fraction, size, _ = unpack(record)
            if more:
                take(more)
            octets = take(size)
            number += 1
            time_us = 1_000_000 * seconds + fraction // divisor
            data, station, channel = payload(octets)
            yield Packet(number, start, time_us, data, "", station, channel)
    except _StopError as stop:
        # A file that is torn within a packet names the packet that is torn.
        yield Trouble(number + (not is_head), start, "file", str(stop))


class _Interface(NamedTuple):
    """One interface of a section: link type, and time as (stamp * factor) // divisor + offset."""

    link: int
    factor: int = 1
    divisor: int = 1
    offset_us: int = 0


def _interface(body: bytes, order: str) -> _Interface:
    link = struct.unpack_from(order + "H", body)[0]
    factor, divisor, offset_us, at = 1, 1, 0, 8
    while at + 4 <= len(body):
        code, size = struct.unpack_from(order + "HH", body, at)
        value = body[at + 4 : at + 4 + size]
        if code == _OPTION_RESOLUTION and len(value) == 1:
            power = value[0] & 0x7F
            units = 1 << power if value[0] & 0x80 else 10**power
            factor, divisor = 1_000_000, units
        elif code == _OPTION_OFFSET and len(value) == 8:
            offset_us = 1_000_000 * struct.unpack(order + "q", value)[0]
        at += 4 + (size + 3 & ~3)
        if not code:
            break
    return _Interface(link, factor, divisor, offset_us)


class _Merge:
    """Packets of several interfaces in the order of their times; each keeps its own order."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, Packet]] = []
        self._latest: dict[int, int] = {}

    def add(self, interface: int, packet: Packet) -> Iterator[Packet]:
        """Take a packet; yield those that no later one can come before, as far as is kept."""
        # Time running backwards within an interface stays in the file's order, to be told.
        time_us = max(packet.time_us or 0, self._latest.get(interface, 0))
        self._latest[interface] = time_us
        heappush(self._heap, (time_us, packet.number, packet))
        if len(self._heap) > _WINDOW:
            yield heappop(self._heap)[2]

    def rest(self) -> Iterator[Packet]:
        """Yield what is left."""
        while self._heap:
            yield heappop(self._heap)[2]


def _blocks(source: _Source, layers: Layers) -> Iterator[Packet | Trouble]:
    """Yield the packets of a pcapng file, section after section."""
    section = _Section(layers)
    merge = _Merge()
    start = 0
    try:
        while True:
            start = source.offset
            kind, body = _block(source, section)
            if kind is None:
                break
            if isinstance(body, str):
                section.number += kind == _ENHANCED
                yield Trouble(section.number, start, "packet", body)
                continue
            for interface, found in section.take(kind, body, start):
                if isinstance(found, Trouble) or len(section.interfaces) == 1:
                    yield from merge.rest()
                    yield found
                else:
                    yield from merge.add(interface, found)
    except _StopError as stop:
        yield from merge.rest()
        yield Trouble(section.number + bool(section.interfaces), start, "file", str(stop))
        return
    yield from merge.rest()


def _block(source: _Source, section: _Section) -> tuple[int | None, bytes | str]:
    """Return kind and body of the next block; a text says what is wrong with it."""
    head = source.take(8, may_end=True)
    if not head:
        return None, b""
    if head[:4] == PCAPNG:
        magic = source.take(4)
        section.begin(magic)
        size = struct.unpack(section.order + "I", head[4:])[0]
        _sane(size - 16)
        body = magic + source.take(size - 16)
        source.take(4)
        return int.from_bytes(PCAPNG, "big"), body
    kind, size = struct.unpack(section.order + "II", head)
    _sane(size - 12)
    padded = size + 3 & ~3
    body = source.take(padded - 12)
    if struct.unpack(section.order + "I", source.take(4))[0] != size:
        return kind, "malformed: the two lengths of a block differ"
    return kind, body


def _sane(size: int) -> None:
    if not 0 <= size <= MAX_BLOCK_OCTETS:
        raise _StopError(f"a length of {size} octets makes no sense")


class _Section:
    """The section that is being read: octet order and interfaces."""

    def __init__(self, layers: Layers) -> None:
        self._layers = layers
        self.order = "<"
        self.interfaces: list[_Interface] = []
        self.number = 0

    def begin(self, magic: bytes) -> None:
        """Begin a section anew."""
        if magic not in (b"\x4d\x3c\x2b\x1a", b"\x1a\x2b\x3c\x4d"):
            raise _StopError("the octet order of a section cannot be told")
        self.order = "<" if magic[:1] == b"\x4d" else ">"
        self.interfaces = []

    def take(self, kind: int, body: bytes, start: int) -> Iterator[tuple[int, Packet | Trouble]]:
        """Yield the packet of a block, if it has one, with its interface."""
        if kind == _INTERFACE and len(body) >= 8 and len(self.interfaces) < _MAX_INTERFACES:
            self.interfaces.append(_interface(body, self.order))
        elif kind == _ENHANCED:
            yield self._stamped(body, start, "IIIII")
        elif kind == _OLD_PACKET:
            yield self._stamped(body, start, "HHIIII")
        elif kind == _SIMPLE:
            self.number += 1
            if len(body) < 4 or not self.interfaces:
                yield 0, Trouble(self.number, start, "packet", "malformed: no interface")
                return
            size = struct.unpack_from(self.order + "I", body)[0]
            yield 0, self._packet(0, body[4 : 4 + size], None, start)

    def _stamped(self, body: bytes, start: int, form: str) -> tuple[int, Packet | Trouble]:
        self.number += 1
        head = struct.calcsize(self.order + form)
        if len(body) < head:
            return 0, Trouble(self.number, start, "packet", "malformed: the block is too short")
        fields = struct.unpack_from(self.order + form, body)
        interface, (high, low, size, _) = fields[0], fields[-4:]
        if interface >= len(self.interfaces):
            text = f"malformed: interface {interface} is not declared"
            return 0, Trouble(self.number, start, "packet", text)
        if head + size > len(body):
            text = f"malformed: {size} octets in a block with room for {len(body) - head}"
            return interface, Trouble(self.number, start, "packet", text)
        _, factor, divisor, offset_us = self.interfaces[interface]
        time_us = (high << 32 | low) * factor // divisor + offset_us
        octets = body[head : head + size]
        return interface, self._packet(interface, octets, time_us, start)

    def _packet(
        self, interface: int, octets: bytes, time_us: int | None, start: int
    ) -> Packet | Trouble:
        link = self.interfaces[interface].link
        payload = self._layers.of_link(link)
        if payload is None:
            self._layers.skip(f"packets of link type {link}, which is not read")
            return Packet(self.number, start, time_us, b"")
        data, station, channel = payload(octets)
        if station == FRAME and interface:
            station = f"{FRAME}:{interface}"  # Another bus, where the same ids are other messages.
        return Packet(self.number, start, time_us, data, "", station, channel)
