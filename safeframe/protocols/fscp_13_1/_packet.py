"""How frames of FSCP 13/1 travel: in EtherType 0x88AB, as an independent dissector judges them."""

from __future__ import annotations

import struct

from ..aspects import PacketPayload

ETHERTYPE_POLLED = 0x88AB


def _polled(side: int, number: int, octets: bytes) -> PacketPayload:
    """Return a poll response of node 1 or 2 that holds four octets 0 and the frame."""
    content = bytes(4) + octets
    head = bytes((0x04, 0xFF, 0x20 + side, 0xFD, 0x00, 0x01, 0x10, 0x00))
    return PacketPayload(ETHERTYPE_POLLED, head + struct.pack("<H", len(content)) + content)


PACKET = _polled
