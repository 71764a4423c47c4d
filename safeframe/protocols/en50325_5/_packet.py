"""How messages of EN 50325-5 travel: as CAN messages, in the packets of SocketCAN.

Identifier and flags in four octets, high octet first, length, three octets 0, data; from the public
header ``linux/can.h`` and the public list of link types, as an independent dissector reads them.
"""

from __future__ import annotations

from ..aspects import PacketPayload

LINK_TYPE = 227


def _message(side: int, number: int, octets: bytes) -> PacketPayload:
    head = bytes(2) + octets[:3] + bytes(3)
    return PacketPayload(0, head + octets[3:], LINK_TYPE)


PACKET = _message
