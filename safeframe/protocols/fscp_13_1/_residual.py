"""In which bits of a frame of FSCP 13/1 an error can be missed.

Bits that the receiver compares with a known value, and octets that are never sent, are left out.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from ...residual import CheckPart, Code, contiguous, powers
from ..aspects import FrameScope, Generators


def _copies(generators: Generators, octets: int) -> Code:
    """Both subframes carry the data; the CRCs read them last, with one polynomial."""
    poly = generators["crc8" if octets <= 8 else "crc16"]
    width = poly.bit_length() - 1
    bits = 8 * octets + width
    part = CheckPart(width=width, own=powers(poly, range(bits)), copies=2, run=poly)
    return Code(parts=(part,))


def _subframe(generators: Generators, octets: int) -> Code:
    """Return the longer subframe alone, 5 octets and the data under one CRC."""
    poly = generators["crc8" if octets <= 8 else "crc16"]
    return contiguous(poly, 8 * (octets + 5) + poly.bit_length() - 1)


SCOPES = (
    FrameScope(
        name="copies",
        title="errors in both copies of the data and in both CRCs",
        left_out="address, id, length and target are compared; errors in the consecutive time "
        "are not in this figure, see the scope subframe",
        build=_copies,
        source="K W",
    ),
    FrameScope(
        name="subframe",
        title="errors in one subframe, its CRC alone (5 octets and the data)",
        left_out="that the two copies are compared",
        build=_subframe,
        source="K W",
    ),
)
