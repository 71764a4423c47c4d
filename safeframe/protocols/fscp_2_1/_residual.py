"""In which bits of a frame of FSCP 2/1 an error can be missed.

Bits that the receiver compares with a known value, and octets that are never sent, are left out.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from ...residual import CheckPart, Code, powers, stacked
from ..aspects import FrameScope, Generators


def _mode_above(first: int) -> range:
    """Return the exponents of bits 7..5 of the mode octet; the CRC reads 0 for the others."""
    return range(first + 5, first + 8)


def _data(generators: Generators, octets: int) -> Code:
    """Return the base format: data once under S1 and S2, or twice under two S3."""
    if octets <= 2:
        covered = (*range(8, 8 + 8 * octets), *_mode_above(8 + 8 * octets))
        s1, s2 = generators["s1"], generators["s2"]
        both = stacked((8, powers(s1, covered)), (8, powers(s2, covered)))
        checks = tuple(1 << bit for bit in range(16))
        return Code(parts=(CheckPart(width=16, own=(*both, *checks)),))
    s3 = generators["s3"]
    twice = 16 + 8 * octets
    part = CheckPart(
        width=16,
        own=powers(s3, range(twice)),
        shared=powers(s3, _mode_above(twice)),
        copies=2,
        run=s3,
    )
    return Code(parts=(part,), shared_bits=3)


def _frame(generators: Generators, octets: int) -> Code:
    """Return the base format: as before, and bits 4..0 of the mode and the stamp under S1."""
    data = _data(generators, octets)
    stamp = powers(generators["s1"], range(8 + 16 + 5))
    part = CheckPart(width=8, own=stamp, shared=(0,) * data.shared_bits, run=generators["s1"])
    return Code(parts=(*data.parts, part), shared_bits=data.shared_bits)


def _extended(generators: Generators, octets: int) -> Code:
    """Return the extended format, short: mode, data, stamp under S5."""
    s5 = generators["s5"]
    stamp_and_data = 24 + 16 + 8 * octets
    own = powers(s5, (*range(stamp_and_data), *_mode_above(stamp_and_data)))
    return Code(parts=(CheckPart(width=24, own=own),))


SCOPES = (
    FrameScope(
        name="data",
        title="base format: errors in data, mode bits 7..5 and the CRCs over them",
        left_out="the time stamp with its own CRC, see the scope frame; that mode bits 4..2 "
        "repeat bits 7..5; the identity is not sent",
        build=_data,
        source="W E",
    ),
    FrameScope(
        name="frame",
        title="base format: errors in any octet of the frame",
        left_out="that mode bits 4..2 repeat bits 7..5; the identity is not sent",
        build=_frame,
        source="W E",
    ),
    FrameScope(
        name="extended",
        title="extended format, short: errors in data, time stamp, mode bits 7..5 and CRC",
        left_out="longer data have a 16-bit and a 24-bit CRC at once, whose joint weights are "
        "not computed; identity and rollover count are not sent, mode bits 4..0 have no CRC",
        build=_extended,
        source="W E",
        largest=2,
    ),
)
