"""How frames of FSCP 2/1 travel: in UDP port 2222, as an independent dissector judges them."""

from __future__ import annotations

import struct

from ..aspects import PacketPayload

UDP_PORT = 2222
CONNECTION_IDS = (0x11110001, 0x22220002)
"""Ids of the two directions in the items of UDP packets."""

_HOSTS = (b"\x0a\x00\x00\x01", b"\x0a\x00\x00\x02")


def _checksum(octets: bytes) -> int:
    """Return the ones' complement sum of RFC 1071 over an even number of octets."""
    total: int = sum(struct.unpack(f">{len(octets) // 2}H", octets))
    for _ in range(2):  # the sum of ten words folds into one in two steps at most.
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def _datagram(side: int, number: int, frame: bytes) -> PacketPayload:
    """Return a UDP packet with an address item and a data item; its UDP checksum is left out."""
    address = struct.pack("<HHII", 0x8002, 8, CONNECTION_IDS[side], number)
    data = struct.pack("<HH", 0x00B1, len(frame)) + frame
    items = struct.pack("<H", 2) + address + data
    udp = struct.pack(">HHHH", UDP_PORT, UDP_PORT, 8 + len(items), 0) + items
    addresses = _HOSTS[side] + _HOSTS[1 - side]
    head = struct.pack(">BBHHHBB", 0x45, 0, 20 + len(udp), number & 0xFFFF, 0, 64, 17)
    total = _checksum(head + bytes(2) + addresses)
    return PacketPayload(0x0800, head + struct.pack(">H", total) + addresses + udp)


PACKET = _datagram
