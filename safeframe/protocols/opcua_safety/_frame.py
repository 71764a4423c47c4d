"""OPC UA Safety, release 1.05: request and response in their logical order.

The CRC is computed over the logical order, last octet first; how a transport places the fields
is not described here. Sources of every rule: the profile's page.
"""

from __future__ import annotations

import struct
from functools import cache

from ..._engine.parts import expected, hex_of, missing, unequal
from ..._engine.recipe import Check, Cover, FrameLayout, Outcome, Recipe, Seen, Value, Values
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE
from ._ids import backward_crc, spdu_ids, structure_signature

__all__ = [
    "FIRST_NUMBER",
    "RECIPE",
    "backward_crc",
    "next_number",
    "spdu_ids",
    "structure_signature",
]

FIRST_NUMBER = 0x100
"""Smallest monitoring number; 0..0xFF are reserved (table 33)."""

_TRAILER = struct.Struct("<B5I")
_REQUEST = struct.Struct("<IIB")
_TRAILER_NAMES = (
    "flags",
    "spdu_id_1",
    "spdu_id_2",
    "spdu_id_3",
    "consumer_id",
    "monitoring_number",
)
_REQUEST_NAMES = ("consumer_id", "monitoring_number", "flags")
_IDS = ("spdu_id_1", "spdu_id_2", "spdu_id_3")
_CRC_OCTETS = 4
_FLAGS = {
    "request": (
        "communication error",
        "operator acknowledge requested",
        "fail-safe values activated",
    ),
    "response": ("operator acknowledge", "activate fail-safe values", "test mode"),
}


def next_number(number: int) -> int:
    """Return the next monitoring number: after 0xFFFFFFFF comes 0x100."""
    return number + 1 if number < 0xFFFFFFFF else FIRST_NUMBER


@cache
def _shape(data_octets: int, kind: str = "response") -> FrameLayout:
    if kind == "request":
        return FrameLayout(kind, 0, (("consumer_id", 4), ("monitoring_number", 4), ("flags", 1)))
    if not 1 <= data_octets <= 1500:
        raise UsageError(f"data must be 1..1500 octets, not {data_octets}")
    words = ((name, 4) for name in _TRAILER_NAMES[1:])
    return FrameLayout(kind, data_octets, (("data", data_octets), ("flags", 1), *words, ("crc", 4)))


def _find(octets: bytes, known: Values) -> FrameLayout:
    size = len(octets)
    if size == _REQUEST.size:
        return _shape(0, "request")
    if not 26 <= size <= 1525:
        raise FrameError(
            f"the length must be 9 (request) or 26..1525 octets (response), not {size}",
            check="length",
        )
    return _shape(size - 25)


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    if where.kind == "request":
        return dict(zip(_REQUEST_NAMES, _REQUEST.unpack(octets), strict=True))
    trailer = _TRAILER.unpack_from(octets, where.data_octets)
    return {"data": octets[: where.data_octets], **dict(zip(_TRAILER_NAMES, trailer, strict=True))}


def _write(values: Values) -> bytes:
    missing(values, "consumer_id", "monitoring_number")
    if "data" not in values:
        if given := [name for name in _IDS if name in values]:
            raise UsageError(f"a request must carry no {given[0]}; a response needs data")
        return _REQUEST.pack(*(values[name] for name in _REQUEST_NAMES))
    missing(values, *_IDS)
    data: bytes = values["data"]
    _shape(len(data))
    covered = data + _TRAILER.pack(*(values[name] for name in _TRAILER_NAMES))
    return covered + backward_crc(covered).to_bytes(_CRC_OCTETS, "little")


def _check_all_zero(seen: Seen) -> Outcome:
    return None if any(seen.octets) else "all octets are 0: such a frame is ignored"


def _check_number(seen: Seen) -> Outcome:
    number = seen.values["monitoring_number"]
    if number >= FIRST_NUMBER:
        return None
    return f"monitoring_number must be 256 or more, not {number}"


def _check_crc(seen: Seen) -> Outcome:
    carried = int.from_bytes(seen.octets[-_CRC_OCTETS:], "little")
    computed = backward_crc(seen.octets[:-_CRC_OCTETS])
    return None if carried == computed else unequal("crc", carried, computed, _CRC_OCTETS)


def _check_flags(seen: Seen) -> Outcome:
    wanted = seen.known.get("flags")
    carried = seen.values["flags"]
    if wanted is None or carried == wanted:
        return None
    return f"flags are {hex_of(carried, 1)}, expected {hex_of(wanted, 1)}"


def _covers(seen: Seen) -> tuple[Cover, ...]:
    if seen.layout.kind == "request":
        return ()
    names = [name for name, _ in seen.layout.sizes if name != "crc"]
    parts = seen.parts
    return (
        Cover(
            name="crc",
            algorithm=CATALOGUE["opcua-safety/crc32"],
            init=1,
            feeds=tuple((f"{name}, last octet first", parts[name][::-1]) for name in names[::-1]),
            carried=int.from_bytes(parts["crc"], "little"),
            computed=backward_crc(seen.octets[:-_CRC_OCTETS]),
        ),
    )


def _mean(name: str, octets: bytes) -> str:
    if name == "data":
        return "members of the structure"
    return hex_of(int.from_bytes(octets, "little"), len(octets))


_NUMBER = Check(
    name="monitoring_range", title="a monitoring number outside 0..255", run=_check_number
)
_ZERO = Check(name="all_zero", title="not an all-zero frame", run=_check_all_zero)
_FLAGS_CHECK = Check(
    name="flags", title="flags as expected, where stated", run=_check_flags, compares="flags"
)

RECIPE = Recipe(
    name="opcua-safety",
    kinds=("response", "request"),
    values=(
        Value(name="data", meaning="packed members, 1..1500 octets; none in a request", octets=-1),
        Value(name="flags", meaning="flags octet; reserved bits 3..7 are 0", default=0, most=7),
        *(Value(name=name, meaning="see spdu_ids", most=(1 << 32) - 1) for name in _IDS),
        Value(name="consumer_id", meaning="SafetyConsumerID", most=(1 << 32) - 1),
        Value(
            name="monitoring_number",
            meaning="of the request, repeated in the response; 256 or more",
            least=FIRST_NUMBER,
            most=(1 << 32) - 1,
        ),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={
        "response": (
            _ZERO,
            Check(name="crc", title="the CRC over all octets before it", run=_check_crc),
            *(expected(name, octets=4) for name in (*_IDS, "consumer_id", "monitoring_number")),
            _NUMBER,
            _FLAGS_CHECK,
        ),
        "request": (
            _ZERO,
            _NUMBER,
            expected("consumer_id", octets=4, required=False),
            expected("monitoring_number", octets=4, required=False),
            _FLAGS_CHECK,
        ),
    },
    covers=_covers,
    mean=_mean,
    shape=_shape,
    identity=frozenset((*_IDS, "consumer_id")),
    order="not all zero, CRC, ids, consumer id, monitoring number as in release 1.05; a request "
    "carries no CRC and the provider performs no safety check",
)
