"""FSCP 3/1 start-up: the first frame of each end, with the number at its beginning.

The first frame of the public recording is one of the device: number 0, bit 6 of the status octet
("consecutive number reset"), no other bit. The host's is made by the same rule with the bit of its
own octet that has this name (bit 2); none was recorded. What else happens before (the parameters
are handed over, fail-safe values are ordered or not) no source describes.
"""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from ..aspects import OpeningFrame
from ..link import Link
from ._frame import RESET_BITS


def _opening(link: Link, random: Random) -> Iterator[OpeningFrame]:
    """Yield the first frame of the host and of the device."""
    for side in link.order:
        yield OpeningFrame(side, {"status": RESET_BITS[link.senders[side]]}, safe=True)


START_UP = _opening
