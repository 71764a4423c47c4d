"""FSCP 2/1: data frames, short and long, base and extended format; time coordination.

The identity of the sender starts every CRC and is never on the wire; the rollover count of the
extended format neither. Sources of every rule: the profile's page.
"""

from __future__ import annotations

import struct
from functools import cache

from ..._engine.parts import Feeds, Sum, crc_check, expected, hex_of, invert, lacking, le, missing
from ..._engine.recipe import Check, Cover, FrameLayout, Outcome, Recipe, Seen, Value, Values
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE, compute

__all__ = ["RECIPE", "ack_octet", "mode_octet"]

_S1, _S2 = CATALOGUE["fscp-2-1/s1"], CATALOGUE["fscp-2-1/s2"]
_S3, _S5 = CATALOGUE["fscp-2-1/s3"], CATALOGUE["fscp-2-1/s5"]
_IDENTITY = ("vendor_id", "device_serial", "connection_serial")
_IDENTITY_OCTETS = struct.Struct("<HIH")


def mode_octet(*, run: bool = True, ping_count: int = 0) -> int:
    """Return a mode octet with its redundant bits; ``ping_count`` is 0..3."""
    if not 0 <= ping_count <= 3:
        raise UsageError(f"ping_count must be 0..3, not {ping_count}")
    return (0x84 if run else 0x14) | ping_count


def ack_octet(*, ping_count: int, response: bool = True) -> int:
    """Return an acknowledge octet with even parity; ``ping_count`` is 0..3."""
    if not 0 <= ping_count <= 3:
        raise UsageError(f"ping_count must be 0..3, not {ping_count}")
    low = response << 3 | ping_count
    return low | (low.bit_count() & 1) << 7


def _second_ack(ack: int) -> int:
    return (~ack & 0x55) | (ack & 0xAA)


_N = -1  # stands for the size of the data in the table below.
_PARTS: dict[str, tuple[tuple[str, int], ...]] = {
    "base-short": (
        ("data", _N),
        ("mode", 1),
        ("crc_s1", 1),
        ("crc_s2", 1),
        ("time_stamp", 2),
        ("crc_stamp", 1),
    ),
    "base-long": (
        ("data", _N),
        ("mode", 1),
        ("crc_s3", 2),
        ("complement", _N),
        ("crc_complement", 2),
        ("time_stamp", 2),
        ("crc_stamp", 1),
    ),
    "extended-short": (
        ("data", _N),
        ("mode", 1),
        ("crc_s5_low", 2),
        ("time_stamp", 2),
        ("crc_s5_high", 1),
    ),
    "extended-long": (
        ("data", _N),
        ("mode", 1),
        ("crc_s3", 2),
        ("complement", _N),
        ("crc_s5_low", 2),
        ("time_stamp", 2),
        ("crc_s5_high", 1),
    ),
    "base-time": (("ack", 1), ("consumer_time", 2), ("ack_2", 1), ("crc_s3", 2)),
    "extended-time": (("ack", 1), ("consumer_time", 2), ("crc_s5", 3)),
}
_DATA_OCTETS = {"short": range(1, 3), "long": range(3, 251), "time": range(1)}


@cache
def _shape(data_octets: int, kind: str) -> FrameLayout:
    length = kind.partition("-")[2]
    legal = _DATA_OCTETS[length]
    if data_octets not in legal:
        rule = f"{legal[0]}..{legal[-1]}"
        raise UsageError(f"data must be {rule} octets in a {length} frame, not {data_octets}")
    sizes = ((name, data_octets if size == _N else size) for name, size in _PARTS[kind])
    return FrameLayout(kind, data_octets, tuple(sizes))


def _find(octets: bytes, known: Values) -> FrameLayout:
    format_ = known.get("format")
    if format_ is None:
        raise UsageError("judging these frames needs the value format: base or extended")
    size = len(octets)
    if size == 6:
        return _shape(0, f"{format_}-time")
    if size in (7, 8):
        return _shape(size - 6, f"{format_}-short")
    if not 14 <= size <= 508 or size % 2:
        raise FrameError(
            f"the length must be 6, 7, 8 or 14, 16 ... 508 octets, not {size}", check="length"
        )
    return _shape((size - 8) // 2, f"{format_}-long")


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    if where.kind.endswith("time"):
        return {
            "format": known["format"],
            "ack": octets[0],
            "consumer_time": octets[1] | octets[2] << 8,
        }
    size = where.data_octets
    return {
        "format": known["format"],
        "data": octets[:size],
        "mode": octets[size],
        "time_stamp": octets[-3] | octets[-2] << 8,
    }


def _identity(known: Values) -> bytes:
    """Return the identity of the sender, or no octets where it is not known."""
    try:
        return _IDENTITY_OCTETS.pack(
            known["vendor_id"], known["device_serial"], known["connection_serial"]
        )
    except KeyError:
        return b""


def _start(known: Values, *, rollover: bool = False) -> tuple[Feeds, str]:
    """Return the runs that enter a CRC before the frame's own octets, and what is not known."""
    identity = _identity(known)
    feeds: Feeds = (("identity of the sender", identity),)
    if not rollover:
        return feeds, "" if identity else lacking(known, *_IDENTITY)
    count = known.get("rollover")
    feeds += (("rollover count", b"" if count is None else le(count)),)
    return feeds, lacking(known, *_IDENTITY, "rollover")


def _high(mode: int) -> Feeds:
    return (("mode AND 0xE0", bytes((mode & 0xE0,))),)


def _high_inverted(mode: int) -> Feeds:
    return (("NOT mode AND 0xE0", bytes((~mode & 0xE0,))),)


def _low(mode: int) -> Feeds:
    return (("mode AND 0x1F", bytes((mode & 0x1F,))),)


def _part(seen: Seen, *names: str) -> int:
    """Return the number carried by parts, the low octet first."""
    return int.from_bytes(b"".join(seen.parts[name] for name in names), "little")


def _sum_s1(seen: Seen) -> Sum:
    start, unknown = _start(seen.known)
    feeds = (*start, *_high(seen.values["mode"]), ("data", seen.values["data"]))
    return Sum(algorithm=_S1, feeds=feeds, carried=_part(seen, "crc_s1"), unknown=unknown)


def _sum_s2(seen: Seen) -> Sum:
    _, unknown = _start(seen.known)
    inverted = invert(seen.values["data"])
    return Sum(
        algorithm=_S2,
        init=compute(_S1, _identity(seen.known)),
        feeds=(*_high_inverted(seen.values["mode"]), ("data inverted", inverted)),
        carried=_part(seen, "crc_s2"),
        unknown=unknown,
    )


def _sum_stamp(seen: Seen) -> Sum:
    start, unknown = _start(seen.known)
    stamp = ("time stamp", le(seen.values["time_stamp"]))
    feeds = (*start, *_low(seen.values["mode"]), stamp)
    return Sum(algorithm=_S1, feeds=feeds, carried=_part(seen, "crc_stamp"), unknown=unknown)


def _sum_s3(seen: Seen) -> Sum:
    start, unknown = _start(seen.known, rollover=seen.layout.kind == "extended-long")
    feeds = (*start, *_high(seen.values["mode"]), ("data", seen.values["data"]))
    return Sum(algorithm=_S3, feeds=feeds, carried=_part(seen, "crc_s3"), unknown=unknown)


def _sum_complement(seen: Seen) -> Sum:
    start, unknown = _start(seen.known)
    complement = ("complement", seen.parts["complement"])
    feeds = (*start, *_high_inverted(seen.values["mode"]), complement)
    carried = _part(seen, "crc_complement")
    return Sum(algorithm=_S3, feeds=feeds, carried=carried, unknown=unknown)


def _sum_s5(seen: Seen) -> Sum:
    start, unknown = _start(seen.known, rollover=True)
    mode = seen.values["mode"]
    if seen.layout.kind == "extended-short":
        middle = (*_high(mode), ("data", seen.values["data"]))
    else:
        middle = (*_low(mode), ("complement", seen.parts["complement"]))
    feeds = (*start, *middle, ("time stamp", le(seen.values["time_stamp"])))
    carried = _part(seen, "crc_s5_low", "crc_s5_high")
    return Sum(algorithm=_S5, feeds=feeds, carried=carried, unknown=unknown)


def _sum_time(seen: Seen) -> Sum:
    start, unknown = _start(seen.known)
    base = seen.layout.kind == "base-time"
    return Sum(
        algorithm=_S3 if base else _S5,
        feeds=(
            *start,
            ("ack", seen.octets[:1]),
            ("consumer time", seen.octets[1:3]),
        ),
        carried=_part(seen, "crc_s3" if base else "crc_s5"),
        unknown=unknown,
    )


_SUMS = {
    "base-short": {"crc_s1": _sum_s1, "crc_s2": _sum_s2, "crc_stamp": _sum_stamp},
    "base-long": {"crc_s3": _sum_s3, "crc_complement": _sum_complement, "crc_stamp": _sum_stamp},
    "extended-short": {"crc_s5": _sum_s5},
    "extended-long": {"crc_s3": _sum_s3, "crc_s5": _sum_s5},
    "base-time": {"crc_s3": _sum_time},
    "extended-time": {"crc_s5": _sum_time},
}
"""The CRCs of each kind of frame, in the order in which they are checked."""


def _write(values: Values) -> bytes:
    missing(values, "format", *_IDENTITY)
    format_ = values["format"]
    if "consumer_time" in values:
        if "data" in values:
            raise UsageError("a frame must carry data or consumer_time, not both")
        missing(values, "ack")
        kind = f"{format_}-time"
        ack = values["ack"]
        front = {"ack": bytes((ack,)), "consumer_time": le(values["consumer_time"])}
        filled = {"ack_2": bytes((_second_ack(ack),))}
    else:
        missing(values, "data", "time_stamp")
        kind = f"{format_}-{'short' if len(values['data']) <= 2 else 'long'}"
        front = {"data": values["data"], "mode": bytes((values["mode"],))}
        filled = {"complement": invert(values["data"]), "time_stamp": le(values["time_stamp"])}
    where = _shape(len(values.get("data", b"")), kind)
    found = front | filled
    blank = b"".join(found.get(name, bytes(size)) for name, size in where.sizes)
    seen = Seen(blank, where, values, values)
    for name, fed in _SUMS[kind].items():
        total = fed(seen)
        if total.unknown:
            missing(values, "rollover")
        octets = total.computed().to_bytes(total.algorithm.octets, "little")
        if name == "crc_s5" and kind != "extended-time":
            found |= {"crc_s5_low": octets[:2], "crc_s5_high": octets[2:]}
        else:
            found[name] = octets
    return b"".join(found[name] for name, _ in where.sizes)


def _check_mode(seen: Seen) -> Outcome:
    mode = seen.values["mode"]
    for bit, other, inverse in ((4, 7, 1), (3, 6, 0), (2, 5, 1)):
        if mode >> bit & 1 != (mode >> other & 1) ^ inverse:
            word = "the inverse" if inverse else "a copy"
            return f"bit {bit} of mode {hex_of(mode, 1)} must be {word} of bit {other}"
    return None


def _check_complement(seen: Seen) -> Outcome:
    same = invert(seen.parts["complement"]) == seen.values["data"]
    return None if same else "the second copy is not the inverted first one"


def _check_ack(seen: Seen) -> Outcome:
    ack = seen.values["ack"]
    if ack.bit_count() & 1:
        return f"ack {hex_of(ack, 1)} must have even parity"
    if seen.layout.kind == "base-time" and seen.octets[3] != _second_ack(ack):
        wanted = hex_of(_second_ack(ack), 1)
        return f"ack_2 is {hex_of(seen.octets[3], 1)}, expected {wanted}"
    return None


_TITLES = {
    "crc_s1": "CRC-S1 of mode and data",
    "crc_s2": "CRC-S2 of inverted mode and data",
    "crc_s3": "CRC-S3",
    "crc_complement": "CRC-S3 of inverted mode and complement",
    "crc_s5": "CRC-S5",
    "crc_stamp": "CRC-S1 of mode and time stamp",
}
_MODE = Check(name="mode_bits", title="redundant bits of the mode octet", run=_check_mode)
_ACK = Check(name="ack", title="parity and second copy of the acknowledge", run=_check_ack)
_COMPLEMENT = Check(
    name="complement", title="the second copy of the data is inverted", run=_check_complement
)


def _checks(kind: str) -> tuple[Check, ...]:
    sums = tuple(crc_check(name, _TITLES[name], fed) for name, fed in _SUMS[kind].items())
    if kind.endswith("time"):
        return (_ACK, *sums, expected("consumer_time", required=False))
    copy = (_COMPLEMENT,) if kind.endswith("long") else ()
    last = expected("mode", octets=1, required=False), expected("time_stamp", required=False)
    return (_MODE, *sums, *copy, *last)


def _covers(seen: Seen) -> tuple[Cover, ...]:
    return tuple(fed(seen).cover(name) for name, fed in _SUMS[seen.layout.kind].items())


def _mean(name: str, octets: bytes) -> str:
    if name == "mode":
        return f"{'run' if octets[0] & 0x80 else 'idle'}, ping count {octets[0] & 3}"
    if name == "ack":
        kind = "ping response" if octets[0] & 8 else "no ping response"
        return f"{kind}, ping count {octets[0] & 3}"
    texts = {
        "data": "data",
        "complement": "data inverted",
        "ack_2": "ack, every second bit inverted",
    }
    if name in ("time_stamp", "consumer_time"):
        return f"{name.replace('_', ' ')} {int.from_bytes(octets, 'little')}"
    return texts.get(name) or hex_of(int.from_bytes(octets, "little"), len(octets))


RECIPE = Recipe(
    name="fscp-2-1",
    kinds=tuple(_SUMS),
    values=(
        Value(
            name="format",
            meaning="format of the connection",
            carried=False,
            words=("base", "extended"),
        ),
        Value(name="data", meaning="safety data, 1..250 octets", octets=-1),
        Value(
            name="mode",
            meaning="mode octet with its redundant bits: 0x84 run, 0x14 idle, plus ping count",
            default=mode_octet(),
            most=255,
        ),
        Value(name="time_stamp", meaning="time of the sender", most=65535),
        Value(name="ack", meaning="acknowledge octet of a time-coordination frame", most=255),
        Value(
            name="consumer_time",
            meaning="time of the consumer; makes the frame a time-coordination frame",
            most=65535,
        ),
        Value(
            name="rollover",
            meaning="rollover count of the time stamp, extended format only",
            carried=False,
            most=65535,
        ),
        Value(name="vendor_id", meaning="identity of the sender", carried=False, most=65535),
        Value(
            name="device_serial",
            meaning="identity of the sender",
            carried=False,
            most=(1 << 32) - 1,
        ),
        Value(
            name="connection_serial", meaning="identity of the sender", carried=False, most=65535
        ),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={kind: _checks(kind) for kind in _SUMS},
    covers=_covers,
    mean=_mean,
    shape=_shape,
    order="length, mode or acknowledge, CRCs, complement; the order is ours, no source gives one",
)
