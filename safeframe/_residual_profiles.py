"""Which bits of a profile's frame an error can be missed in, as codes for ``residual``.

A scope says which errors are looked at. Bits that the receiver compares with a known value, and
octets that are never sent, are left out: an error there is detected by other means or impossible.
The exponents follow from the order in which a CRC reads the octets: the last octet it reads has
x^r .. x^(r+7), r its width, and its own bits have x^0 .. x^(r-1).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from ._errors import UsageError
from .protocols import Profile
from .residual import CheckPart, Code, contiguous, powers, stacked

__all__ = ["SCOPES", "Scope", "code", "generators", "scope", "sizes"]

_UNBOUNDED_OCTETS = 32
"""Largest size of a list where a profile states none; larger ones can be asked for."""

Generators = dict[str, int]
"""Generator polynomials by the name of their algorithm without the profile, such as crc16."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """One way to look at a profile's frame: which errors count, which are left out, and why.

    ``source`` names the tags of the profile's sources for the CRC rule behind it.
    """

    name: str
    title: str
    left_out: str
    build: Callable[[Generators, int], Code]
    source: str
    largest: int | None = None
    bound: tuple[Fraction, str] | None = None


def scope(profile: Profile, name: str | None = None) -> Scope:
    """Return a scope of the profile by name, or its first one."""
    offered = SCOPES.get(profile.name, ())
    if not offered:
        raise UsageError(
            f"the profile must be one of {', '.join(SCOPES)} for residual figures, "
            f"not {profile.name}: it has no frame whose checksum is known"
        )
    if name is None:
        return offered[0]
    for candidate in offered:
        if candidate.name == name:
            return candidate
    names = ", ".join(candidate.name for candidate in offered)
    raise UsageError(f"the scope must be one of {names} for {profile.name}, not {name!r}")


def code(profile: Profile, octets: int, chosen: Scope) -> Code:
    """Return the code of a frame of the profile that carries ``octets`` octets of safety data."""
    if not profile.sizes.is_legal(octets):
        near = ", ".join(map(str, profile.sizes.next_legal(octets)))
        raise UsageError(
            f"safety data of {profile.name} must have {profile.sizes.describe()}, "
            f"not {octets}" + (f" (next legal: {near})" if near else "")
        )
    if chosen.largest is not None and octets > chosen.largest:
        raise UsageError(
            f"the scope {chosen.name} must be asked for up to {chosen.largest} octets, "
            f"not {octets}: {chosen.left_out}"
        )
    return chosen.build(generators(profile), octets)


def generators(profile: Profile) -> Generators:
    """Return the generator polynomials of a profile, with their top bits, by short name."""
    return {
        use.algorithm.name.partition("/")[2]: 1 << use.algorithm.width | use.algorithm.poly
        for use in profile.crcs
    }


def sizes(profile: Profile, chosen: Scope, most: int | None = None) -> tuple[int, ...]:
    """Return the legal sizes of safety data in octets, at most ``most`` spread from end to end."""
    found: list[int] = []
    for run in profile.sizes.ranges:
        last = _UNBOUNDED_OCTETS if run.last is None else run.last
        found += range(run.first, last + 1, run.step)
    legal = [octets for octets in found if chosen.largest is None or octets <= chosen.largest]
    if most is None or len(legal) <= most:
        return tuple(legal)
    # Equal ratios: short frames differ more from each other than long ones.
    ratio = len(legal) ** (1 / (most - 1))
    picked = {min(len(legal), max(1, round(ratio**step))) for step in range(most)}
    return tuple(legal[position - 1] for position in sorted(picked))


def _fscp_12_1(generators: Generators, octets: int) -> Code:
    """FSCP 12/1: each CRC reads ..., command, block index (not in block 0), block, 24 zero bits."""
    poly, check = generators["crc16"], range(16)
    block = 16 if octets > 1 else 8
    own = powers(poly, (*check, *range(40, 40 + block)))
    first = powers(poly, range(40 + block, 48 + block))
    parts = [CheckPart(width=16, own=own, shared=first)]
    if octets > 2:
        later = powers(poly, range(72, 80))
        parts.append(CheckPart(width=16, own=own, shared=later, times=octets // 2 - 1))
    return Code(parts=tuple(parts), shared_bits=8)


def _fscp_13_1_copies(generators: Generators, octets: int) -> Code:
    """FSCP 13/1: both subframes carry the data; the CRCs read them last, with one polynomial."""
    poly = generators["crc8" if octets <= 8 else "crc16"]
    width = poly.bit_length() - 1
    bits = 8 * octets + width
    part = CheckPart(width=width, own=powers(poly, range(bits)), copies=2, run=poly)
    return Code(parts=(part,))


def _fscp_13_1_subframe(generators: Generators, octets: int) -> Code:
    """FSCP 13/1: the longer subframe alone, 5 octets and the data under one CRC."""
    poly = generators["crc8" if octets <= 8 else "crc16"]
    return contiguous(poly, 8 * (octets + 5) + poly.bit_length() - 1)


def _mode_above(first: int) -> range:
    """Return the exponents of bits 7..5 of the mode octet; the CRC reads 0 for the others."""
    return range(first + 5, first + 8)


def _fscp_2_1_data(generators: Generators, octets: int) -> Code:
    """FSCP 2/1, base format: data once under S1 and S2, or twice under two S3."""
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


def _fscp_2_1_frame(generators: Generators, octets: int) -> Code:
    """FSCP 2/1, base format: as before, and bits 4..0 of the mode and the stamp under S1."""
    data = _fscp_2_1_data(generators, octets)
    stamp = powers(generators["s1"], range(8 + 16 + 5))
    part = CheckPart(width=8, own=stamp, shared=(0,) * data.shared_bits, run=generators["s1"])
    return Code(parts=(*data.parts, part), shared_bits=data.shared_bits)


def _fscp_2_1_extended(generators: Generators, octets: int) -> Code:
    """FSCP 2/1, extended format, short: mode, data, stamp under S5."""
    s5 = generators["s5"]
    stamp_and_data = 24 + 16 + 8 * octets
    own = powers(s5, (*range(stamp_and_data), *_mode_above(stamp_and_data)))
    return Code(parts=(CheckPart(width=24, own=own),))


def _fscp_3_1(generators: Generators, octets: int) -> Code:
    """FSCP 3/1: status, data, then 4 octets that are not sent (number and a zero octet)."""
    own = powers(generators["crc2-24"], (*range(24), *range(56, 64 + 8 * octets)))
    return Code(parts=(CheckPart(width=24, own=own),))


def _opcua_data(generators: Generators, octets: int) -> Code:
    """OPC UA Safety: the CRC reads flags and data last, so their code is contiguous."""
    return contiguous(generators["crc32"], 8 * (octets + 5))


def _opcua_whole(generators: Generators, octets: int) -> Code:
    """OPC UA Safety: the whole response."""
    return contiguous(generators["crc32"], 8 * (octets + 25))


_OPCUA_BOUND = (Fraction(4, 10**10), "OPC 10000-15 release 1.05.04, clause 9.3")
"""For 1 to 1500 octets of data and every bit error probability up to 0.5."""

SCOPES: dict[str, tuple[Scope, ...]] = {
    "fscp-12-1": (
        Scope(
            name="frame",
            title="errors in command, data and all CRCs of a frame together",
            left_out="the connection id is compared with a known value; sequence number, peer CRC "
            "and the appended zeros are not sent",
            build=_fscp_12_1,
            source="A B",
        ),
    ),
    "fscp-13-1": (
        Scope(
            name="copies",
            title="errors in both copies of the data and in both CRCs",
            left_out="address, id, length and target are compared; errors in the consecutive time "
            "are not in this figure, see the scope subframe",
            build=_fscp_13_1_copies,
            source="K W",
        ),
        Scope(
            name="subframe",
            title="errors in one subframe, its CRC alone (5 octets and the data)",
            left_out="that the two copies are compared",
            build=_fscp_13_1_subframe,
            source="K W",
        ),
    ),
    "fscp-2-1": (
        Scope(
            name="data",
            title="base format: errors in data, mode bits 7..5 and the CRCs over them",
            left_out="the time stamp with its own CRC, see the scope frame; that mode bits 4..2 "
            "repeat bits 7..5; the identity is not sent",
            build=_fscp_2_1_data,
            source="W E",
        ),
        Scope(
            name="frame",
            title="base format: errors in any octet of the frame",
            left_out="that mode bits 4..2 repeat bits 7..5; the identity is not sent",
            build=_fscp_2_1_frame,
            source="W E",
        ),
        Scope(
            name="extended",
            title="extended format, short: errors in data, time stamp, mode bits 7..5 and CRC",
            left_out="longer data have a 16-bit and a 24-bit CRC at once, whose joint weights are "
            "not computed; identity and rollover count are not sent, mode bits 4..0 have no CRC",
            build=_fscp_2_1_extended,
            source="W E",
            largest=2,
        ),
    ),
    "fscp-3-1": (
        Scope(
            name="frame",
            title="errors in data, status or control octet and CRC",
            left_out="consecutive number and parameter CRC are not sent",
            build=_fscp_3_1,
            source="Q",
        ),
    ),
    "opcua-safety": (
        Scope(
            name="data",
            title="errors in data, flags and CRC",
            left_out="the 20 octets of ids and monitoring number are compared with known values",
            build=_opcua_data,
            source="P15 Y",
            bound=_OPCUA_BOUND,
        ),
        Scope(
            name="whole",
            title="errors anywhere in the response, the CRC alone",
            left_out="that the consumer compares ids and monitoring number",
            build=_opcua_whole,
            source="P15 Y",
            bound=_OPCUA_BOUND,
        ),
    ),
}
"""Scopes by profile; the first one is what is asked for if nothing else is said."""
