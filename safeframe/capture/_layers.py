"""Taking the link layer, IP and UDP off packets, and counting what nobody looked into.

Field layouts: IEEE 802.3 and 802.1Q, RFC 791, RFC 8200, RFC 768; Linux cooked captures, raw IP and
loopback as in the public list of link types.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from ._can import FRAME, message
from ._packets import Skipped

LINKS = "Ethernet, Linux cooked, raw IP, loopback, CAN or user-defined"

_ETHERNET, _COOKED, _COOKED_2 = 1, 113, 276
_LOOPBACK = frozenset((0, 108))
_CAN = 227
_CAN_TYPES = range(0x0C, 0x10)
"""Protocol numbers of CAN messages in a cooked capture."""
_RAW = frozenset((12, 14, 101, 228, 229))
_USER = range(147, 163)
_TAGS = frozenset((0x8100, 0x88A8, 0x9100))
_IPV4, _IPV6 = 0x0800, 0x86DD
_TCP, _UDP, _FRAGMENT = 6, 17, 44
_EXTENSIONS = frozenset((0, 43, 60))
"""Hop-by-hop options, routing, destination options: 8 octets times (length + 1)."""
_LEAST_TYPE = 0x600
"""Smaller numbers in the place of the EtherType are lengths."""
_MAX_SOURCES = 4096
"""Addresses whose text is remembered; a file with more of them is a scan, not a machine."""
_FRAGMENTS = "IP fragments, which are not put together"
_SEGMENTS = "TCP segments, in which no frames are looked for"
_SHORT = "packets that end before what their headers announce"

Payload = tuple[bytes, str, int | tuple[int, int]]
"""What the carrier transports, the station that sent it, the channel (EtherType or UDP ports)."""
_NOTHING: Payload = (b"", "", 0)


class Wanted(NamedTuple):
    """Which payloads are of interest: all, one EtherType, or one UDP port."""

    ethertype: int | None = None
    udp_port: int | None = None


ALL = Wanted()
"""Every payload is of interest."""


class Layers:
    """Takes packets apart; what is cut short or not what it says holds no frame, and is counted."""

    def __init__(self, wanted: Wanted) -> None:
        self._ethertype, self._port = wanted
        self._texts: dict[bytes, str] = {}
        self._skipped: dict[str, int] = {}

    def of_link(self, kind: int) -> Callable[[bytes], Payload] | None:
        """Return what takes a packet of a link type apart, None for a type that is not read."""
        if kind in _RAW:
            return self._ip
        if kind in _LOOPBACK:
            return lambda octets: self._ip(octets[4:])
        if kind in _USER:
            return self._user
        return {
            _ETHERNET: self._ethernet,
            _COOKED: self._cooked,
            _COOKED_2: self._cooked_2,
            _CAN: self._can,
        }.get(kind)

    def skipped(self) -> Iterator[Skipped]:
        """Yield what was not looked into."""
        for text, count in self._skipped.items():
            yield Skipped(text, count)

    def _user(self, octets: bytes) -> Payload:
        return (octets, "", 0) if octets else self._short()

    def _short(self) -> Payload:
        self.skip(_SHORT)
        return _NOTHING

    def _ethernet(self, octets: bytes) -> Payload:
        at = 12
        kind = int.from_bytes(octets[12:14], "big")
        while kind in _TAGS:
            at += 4
            kind = int.from_bytes(octets[at : at + 2], "big")
        return self._typed(kind, octets[at + 2 :], octets[6:12])

    def _cooked(self, octets: bytes) -> Payload:
        size = int.from_bytes(octets[4:6], "big")
        kind = int.from_bytes(octets[14:16], "big")
        return self._typed(kind, octets[16:], octets[6 : 6 + min(size, 8)])

    def _cooked_2(self, octets: bytes) -> Payload:
        kind = int.from_bytes(octets[:2], "big")
        size = min(octets[11], 8) if len(octets) >= 20 else 0
        return self._typed(kind, octets[20:], octets[12 : 12 + size])

    def _typed(self, kind: int, payload: bytes, station: bytes) -> Payload:
        if not payload:
            return self._short()
        if kind in (_IPV4, _IPV6):
            return self._ip(payload)
        if self._port is not None or kind < _LEAST_TYPE or self._ethertype not in (None, kind):
            if kind in _CAN_TYPES:
                self.skip("CAN messages in a cooked capture, which are not read")
            return _NOTHING
        text = self._texts.get(station)
        return payload, self._text(station) if text is None else text, kind

    def _can(self, octets: bytes) -> Payload:
        if self._port is not None or self._ethertype is not None:
            return _NOTHING
        found = message(octets)
        if isinstance(found, str):
            self.skip(found)
            return _NOTHING
        return found, FRAME, int.from_bytes(found[:2], "big")

    def _ip(self, octets: bytes) -> Payload:
        if self._ethertype is not None:
            return _NOTHING
        if len(octets) < 20:
            return self._short()
        version = octets[0] >> 4
        if version == 4:
            head, size = 4 * (octets[0] & 15), int.from_bytes(octets[2:4], "big")
            is_part = bool(octets[6] & 0x3F or octets[7])
            protocol, station = octets[9], octets[12:16]
            # A size of 0 is left by cards that cut large packets themselves.
            inner = octets[head : size or None]
        elif version == 6:
            protocol, inner, is_part = _behind_extensions(octets)
            station = octets[8:24]
        else:
            return _NOTHING
        if is_part:
            self.skip(_FRAGMENTS)
            return _NOTHING
        if protocol == _TCP and self._port is None:
            self.skip(_SEGMENTS)
        if protocol != _UDP:
            return _NOTHING
        if len(inner) < 8:
            return self._short()
        ports = int.from_bytes(inner[:2], "big"), int.from_bytes(inner[2:4], "big")
        if self._port is not None and self._port not in ports:
            return _NOTHING
        size = int.from_bytes(inner[4:6], "big")
        if len(inner) == 8 < size:
            return self._short()
        return inner[8 : max(size, 8)], self._text(station), ports

    def skip(self, text: str) -> None:
        """Count a packet that nobody looks into."""
        self._skipped[text] = self._skipped.get(text, 0) + 1

    def _text(self, address: bytes) -> str:
        text = self._texts.get(address)
        if text is None:
            if len(self._texts) >= _MAX_SOURCES:
                self._texts.clear()
            text = self._texts[address] = _address_text(address)
        return text


def _behind_extensions(octets: bytes) -> tuple[int, bytes, bool]:
    """Return the protocol and what it carries behind the headers of IPv6; whether it is a part."""
    following, size = octets[6], int.from_bytes(octets[4:6], "big")
    inner = octets[40 : 40 + size]
    while following in _EXTENSIONS and len(inner) >= 8:
        following, inner = inner[0], inner[8 * (inner[1] + 1) :]
    return following, inner, following == _FRAGMENT


def _address_text(address: bytes) -> str:
    """Return a station address as ``02:00:00:00:00:01``, an IP address as ``10.0.0.1``."""
    if len(address) in (4, 16):
        import ipaddress  # deferred: captures of Ethernet frames never need it.

        return str(ipaddress.ip_address(address))
    return address.hex(":")
