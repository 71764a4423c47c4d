"""In which bits of a frame of FSCP 12/1 an error can be missed.

Bits that the receiver compares with a known value, and octets that are never sent, are left out.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from ...residual import CheckPart, Code, powers
from ..aspects import FrameScope, Generators


def _frame(generators: Generators, octets: int) -> Code:
    """Each CRC reads ..., command, block index (not in block 0), block, 24 zero bits."""
    poly, check = generators["crc16"], range(16)
    block = 16 if octets > 1 else 8
    own = powers(poly, (*check, *range(40, 40 + block)))
    first = powers(poly, range(40 + block, 48 + block))
    parts = [CheckPart(width=16, own=own, shared=first)]
    if octets > 2:
        later = powers(poly, range(72, 80))
        parts.append(CheckPart(width=16, own=own, shared=later, times=octets // 2 - 1))
    return Code(parts=tuple(parts), shared_bits=8)


SCOPES = (
    FrameScope(
        name="frame",
        title="errors in command, data and all CRCs of a frame together",
        left_out="the connection id is compared with a known value; sequence number, peer CRC "
        "and the appended zeros are not sent",
        build=_frame,
        source="A B",
    ),
)
