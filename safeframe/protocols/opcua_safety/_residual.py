"""In which bits of a frame of OPC UA Safety an error can be missed.

Bits that the receiver compares with a known value, and octets that are never sent, are left out.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from fractions import Fraction

from ...residual import Code, contiguous
from ..aspects import FrameScope, Generators


def _data(generators: Generators, octets: int) -> Code:
    """Return flags and data, which the CRC reads last: their code is contiguous."""
    return contiguous(generators["crc32"], 8 * (octets + 5))


_BOUND = (Fraction(4, 10**10), "OPC 10000-15 release 1.05.04, clause 9.3")
"""For 1 to 1500 octets of data and every bit error probability up to 0.5."""

SCOPES = (
    FrameScope(
        name="data",
        title="errors in data, flags and CRC",
        left_out="the 20 octets of ids and monitoring number are compared with known values",
        build=_data,
        source="P15 Y",
        bound=_BOUND,
    ),
    FrameScope(
        name="whole",
        title="errors anywhere in the response, the CRC alone",
        left_out="that the consumer compares ids and monitoring number",
        build=lambda generators, octets: contiguous(generators["crc32"], 8 * (octets + 25)),
        source="P15 Y",
        bound=_BOUND,
    ),
)
