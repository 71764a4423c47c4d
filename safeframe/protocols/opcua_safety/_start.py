"""OPC UA Safety start-up: zeros in both directions, then the first request and its answer.

A request of zeros is answered by zeros, and receivers pass over both (RQ5.6). The first monitoring
number is one that was kept, or drawn by chance (RQ9.2), from 0x100 on (P15 table 33).
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from ..aspects import OpeningFrame
from ..link import Link
from ._frame import FIRST_NUMBER

_ZEROS = "all octets are 0: a receiver passes over such a frame"


def _opening(link: Link, random: Random) -> Iterator[OpeningFrame]:
    """Yield a frame of zeros of each side, then a request and the answer to it."""
    for side in link.order:
        yield OpeningFrame(side, octets=bytes(link.sizes[side]), text=_ZEROS)
    drawn = FIRST_NUMBER + int(random.random() * ((1 << 32) - FIRST_NUMBER))
    yield OpeningFrame(link.order[0], {"monitoring_number": link.settings.get("start", drawn)})
    yield OpeningFrame(link.order[1], safe=True)


START_UP = _opening
