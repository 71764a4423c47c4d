"""What catches each communication error in frames of FSCP 13/1."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ..._engine import frames
from ..aspects import FaultTraits, UnseenPattern
from ..link import Link
from ._frame import RECIPE

# "order": a consecutive time that is not newer.
_CAUGHT_BY = ("crc_1", "order", "order", "watchdog", "watchdog", "address", "order", "domain")
_DATA_AT = 4


def _neighbour(link: Link, side: int, error: str) -> Link:
    """Return the connection in another domain, or another sender in the same domain."""
    if error != "insertion":
        domain = link.settings["domain"] % 1023 + 1
        return replace(link, settings={**link.settings, "domain": domain})
    taken = {int(word) for word in link.senders}
    free = str(next(number for number in range(1, 1024) if number not in taken))
    first, second = link.senders
    return replace(link, senders=(first, free) if side else (free, second))


def _unseen(link: Link) -> Iterator[UnseenPattern]:
    """Yield the slim service frame in which two inverted bits stay unseen.

    Polynomial 0x5935 has order 257 (computed): two bits 257 apart cancel. That needs 33 octets
    under one CRC. Here 34 data octets follow a header of 4, which is left alone.
    """
    side = link.order[0]
    sender, receiver = int(link.senders[side]), int(link.senders[1 - side])
    known = {**link.settings, "address": receiver, "target": sender}
    word = bytearray(frames.build(RECIPE, id=58, data=bytes(range(34)), **known))
    for bit in (0, 257):
        word[_DATA_AT + bit // 8] ^= 0x80 >> bit % 8
    yield UnseenPattern(
        label="undetected-two-bits",
        title="two bits that the 16-bit CRC of slim service frames cannot see",
        change="2 bits that are 257 apart inverted, in the first subframe of a slim service frame",
        side=side,
        octets=bytes(word),
    )


FAULTS = FaultTraits(
    caught_by=lambda link, data_octets: _CAUGHT_BY,
    neighbour=_neighbour,
    measures={
        "address": "the address of the sender in the frame",
        "domain": "the domain number in the frame",
    },
    data_at=_DATA_AT,
    timed=True,
    unseen=_unseen,
)
