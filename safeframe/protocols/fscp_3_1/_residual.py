"""In which bits of a frame of FSCP 3/1 an error can be missed.

Bits that the receiver compares with a known value, and octets that are never sent, are left out.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from ...residual import CheckPart, Code, powers
from ..aspects import FrameScope, Generators


def _frame(generators: Generators, octets: int) -> Code:
    """Status, data, then 4 octets that are not sent (number and a zero octet)."""
    own = powers(generators["crc2-24"], (*range(24), *range(56, 64 + 8 * octets)))
    return Code(parts=(CheckPart(width=24, own=own),))


SCOPES = (
    FrameScope(
        name="frame",
        title="errors in data, status or control octet and CRC",
        left_out="consecutive number and parameter CRC are not sent",
        build=_frame,
        source="Q",
    ),
)
