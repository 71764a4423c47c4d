"""Recordings in pcap and pcapng files, through the library dpkt (extra ``capture``).

The library reads the formats and takes packets apart. The file is handed to it through a guard
that refuses absurd lengths before memory is asked for them, and that knows where in the file
the reader stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, BinaryIO, NamedTuple

from .._errors import UsageError
from ._packets import Packet, Trouble

__all__ = ["ALL", "MAGICS", "MAX_BLOCK_OCTETS", "PCAPNG", "Wanted", "read_pcap"]

PCAPNG = bytes.fromhex("0a0d0d0a")
MAGICS = frozenset(
    bytes.fromhex(text)
    for text in ("d4c3b2a1", "a1b2c3d4", "4d3cb2a1", "a1b23c4d", "34cdb2a1", "a1b2cd34")
) | {PCAPNG}
"""First octets of pcap (both octet orders; microseconds, nanoseconds, modified) and pcapng."""

MAX_BLOCK_OCTETS = 1 << 22
"""Longest read the library is allowed: more than any link sends in a packet, by choice."""

_ETHERNET, _COOKED = 1, 113
_RAW = frozenset((12, 14, 101, 228, 229))
_USER = range(147, 163)
_LINKS = "Ethernet, Linux cooked, raw IP or user-defined"
_IP_TYPES = frozenset((0x0800, 0x86DD))
_INTERFACE = frozenset((b"\x01\x00\x00\x00", b"\x00\x00\x00\x01"))
_MAX_SOURCES = 4096
"""Addresses whose text is remembered; a file with more of them is a scan, not a machine."""


class Wanted(NamedTuple):
    """Which payloads are of interest: all, one EtherType, or one UDP port."""

    ethertype: int | None = None
    udp_port: int | None = None


ALL = Wanted()
"""Every payload is of interest."""


class _StopError(Exception):
    """The file cannot be read any further."""


class _Guard:
    """A binary stream for the library: it counts octets and refuses lengths that make no sense.

    Reads alternate between heads and bodies of packets or blocks after ``opening`` reads. In a
    pcapng file a second section is refused, and an interface unlike the first: the library would
    read every packet with the link type and the clock of the first interface.
    """

    def __init__(self, stream: BinaryIO, opening: int, first: bytes) -> None:
        self._stream = stream
        self._reads = -opening
        self._first = first
        self._blocks = opening == 2
        self._head = b""
        self._interface = b""
        self.offset = 0
        self.start = 0

    def read(self, size: int) -> bytes:
        """Return ``size`` octets, or none at the end of the file."""
        if not 0 <= size <= MAX_BLOCK_OCTETS:
            raise _StopError(f"a length of {size} octets makes no sense")
        is_head = self._reads >= 0 and self._reads % 2 == 0
        if is_head:
            self.start = self.offset
        octets, self._first = self._first[:size], self._first[size:]
        octets += self._stream.read(size - len(octets))
        if len(octets) < size and (octets or not is_head):
            raise _StopError(f"the file ends {size - len(octets)} octets too early")
        self.offset += len(octets)
        if self._blocks and self._reads >= 0:
            self._see(is_head, octets)
        self._reads += 1
        return octets

    def _see(self, is_head: bool, octets: bytes) -> None:
        if is_head:
            self._head = octets[:4]
            if self._head == PCAPNG:
                raise _StopError("a second section begins: split the file")
        elif self._head in _INTERFACE:
            if self._interface not in (b"", octets):
                raise _StopError(
                    "an interface unlike the first begins: split the file by interface"
                )
            self._interface = octets


def read_pcap(
    stream: BinaryIO, wanted: Wanted = ALL, *, first: bytes = b""
) -> Iterator[Packet | Trouble]:
    """Read a pcap or pcapng file packet by packet; ``first`` are octets already taken from it.

    The payload of a UDP packet is its data, that of another Ethernet packet what follows the
    EtherType. Packets that are not wanted come without octets. Raises UsageError where the
    library is not installed.
    """
    try:
        from dpkt import pcap, pcapng
    except ImportError:
        raise UsageError("captures need a library: install the extra safeframe[capture]") from None
    is_blocks = first[:4] == PCAPNG
    guard = _Guard(stream, 2 if is_blocks else 1, first)
    number = 0
    try:
        reader: Any = pcapng.Reader(guard) if is_blocks else pcap.Reader(guard)
        link = _Link(reader.datalink(), wanted)
    except Exception as error:  # whatever the library trips over in octets of any kind.
        yield Trouble(0, guard.offset, "file", _reason(error))
        return
    packets = iter(reader)
    while True:
        try:
            found = next(packets, None)
        except _StopError as stop:
            yield Trouble(number + 1, guard.start, "file", str(stop))
            return
        except Exception as error:  # as above; the block has been read, so go on behind it.
            number += 1
            yield Trouble(number, guard.start, "packet", _reason(error))
            packets = iter(reader)
            continue
        if found is None:
            return
        number += 1
        seconds, octets = found
        payload, source = link.payload(octets)
        yield Packet(number, guard.start, round(float(seconds) * 1e6), payload, "", source)


def _reason(error: Exception) -> str:
    if isinstance(error, _StopError):
        return str(error)
    return f"malformed: {type(error).__name__} {error}".strip()


class _Link:
    """Takes the link layer off packets."""

    def __init__(self, kind: int, wanted: Wanted) -> None:
        from dpkt import ethernet, ip, ip6, sll, udp

        self._udp = udp.UDP
        self._ip: Any = ip.IP, ip6.IP6
        self._wanted = wanted
        self._texts: dict[bytes, str] = {}
        if kind == _ETHERNET:
            self._parse: Any = ethernet.Ethernet
        elif kind == _COOKED:
            self._parse = sll.SLL
        elif kind in _RAW:
            self._parse = lambda octets: self._ip[octets[0] >> 4 == 6](octets)
        elif kind in _USER:
            self._parse = None
        else:
            raise _StopError(f"the link type must be {_LINKS}, not {kind}")

    def payload(self, octets: bytes) -> tuple[bytes, str]:
        """Return what the carrier transports and the text of the sender's address."""
        if self._parse is None:
            return octets, ""
        try:
            return self._unwrapped(self._parse(octets))
        except Exception:  # a packet that is not what it says holds no frame.
            return b"", ""

    def _unwrapped(self, packet: Any) -> tuple[bytes, str]:
        ethertype, port = self._wanted
        inner = packet if isinstance(packet, self._ip) else packet.data
        if isinstance(inner, self._ip):
            datagram = inner.data
            if ethertype is not None or not isinstance(datagram, self._udp):
                return b"", ""
            if port not in (None, datagram.sport, datagram.dport):
                return b"", ""
            return bytes(datagram.data), self._text(inner.src)
        if port is not None:
            return b"", ""
        tags = getattr(packet, "vlan_tags", None)
        kind = tags[-1].type if tags else getattr(packet, "type", 0)
        kind = getattr(packet, "ethtype", kind)
        if ethertype not in (None, kind):
            return b"", ""
        station = getattr(packet, "src", None) or packet.hdr[: packet.hlen]
        return bytes(inner), self._text(station)

    def _text(self, address: bytes) -> str:
        text = self._texts.get(address)
        if text is None:
            if len(self._texts) >= _MAX_SOURCES:
                self._texts.clear()
            text = self._texts[address] = _address_text(address)
        return text


def _address_text(address: bytes) -> str:
    """Return a station address as ``02:00:00:00:00:01``, an IP address as ``10.0.0.1``."""
    if len(address) in (4, 16):
        import ipaddress  # deferred: captures of Ethernet frames never need it.

        return str(ipaddress.ip_address(address))
    return address.hex(":")
