"""FSCP 2/1: data frames, short and long, base and extended format; time coordination.

The identity of the sender starts every CRC and is never on the wire; the rollover count of the
extended format neither. Sources of every rule: the profile's page.
"""

from __future__ import annotations

from functools import cache

from ..._engine.parts import expected, hex_of, invert, le, missing
from ..._engine.recipe import Check, FrameLayout, Outcome, Recipe, Seen, Value, Values
from ..._errors import FrameError, UsageError
from ._sums import (
    ACK_RUN,
    COMPLEMENT_RUN,
    CONSUMER_TIME_RUN,
    CRCS,
    DATA_RUN,
    IDENTITY,
    INVERTED_RUN,
    MODE_RUNS,
    STAMP_RUN,
    covers,
    crc_check,
    engines,
    known_runs,
    sums_of,
)


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


def _write(values: Values) -> bytes:
    missing(values, "format", *IDENTITY)
    format_ = values["format"]
    if "consumer_time" in values:
        if "data" in values:
            raise UsageError("a frame must carry data or consumer_time, not both")
        missing(values, "ack")
        kind, size, ack = f"{format_}-time", 0, values["ack"]
        carried = {ACK_RUN: bytes((ack,)), CONSUMER_TIME_RUN: le(values["consumer_time"])}
        found = {
            "ack": carried[ACK_RUN],
            "consumer_time": carried[CONSUMER_TIME_RUN],
            "ack_2": bytes((_second_ack(ack),)),
        }
    else:
        missing(values, "data", "time_stamp")
        data, mode = values["data"], values["mode"]
        size, inverted, stamp = len(data), invert(data), le(values["time_stamp"])
        kind = f"{format_}-{'short' if size <= 2 else 'long'}"
        carried = {
            DATA_RUN: data,
            INVERTED_RUN: inverted,
            COMPLEMENT_RUN: inverted,
            STAMP_RUN: stamp,
        }
        carried |= MODE_RUNS[mode]
        found = {
            "data": data,
            "mode": bytes((mode,)),
            "complement": inverted,
            "time_stamp": stamp,
        }
    where = _shape(size, kind)
    runs = known_runs(values) | carried
    if format_ == "extended" and size:
        missing(values, "rollover")
    for crc, engine in zip(CRCS[kind], engines(kind), strict=True):
        octets = engine(runs).to_bytes(crc.algorithm.octets, "little")
        if len(crc.parts) == 2:
            found[crc.parts[0]], found[crc.parts[1]] = octets[:2], octets[2:]
        else:
            found[crc.parts[0]] = octets
    return b"".join([found[name] for name in where.slices])


def _mode_fault(mode: int) -> Outcome:
    for bit, other, inverse in ((4, 7, 1), (3, 6, 0), (2, 5, 1)):
        if mode >> bit & 1 != (mode >> other & 1) ^ inverse:
            word = "the inverse" if inverse else "a copy"
            return f"bit {bit} of mode {hex_of(mode, 1)} must be {word} of bit {other}"
    return None


_MODE_FAULTS = tuple(map(_mode_fault, range(256)))


def _check_mode(seen: Seen) -> Outcome:
    return _MODE_FAULTS[seen.values["mode"]]


def _check_complement(seen: Seen) -> Outcome:
    runs = sums_of(seen).runs
    same = runs[COMPLEMENT_RUN] == runs[INVERTED_RUN]
    return None if same else "the second copy is not the inverted first one"


def _check_ack(seen: Seen) -> Outcome:
    ack = seen.values["ack"]
    if ack.bit_count() & 1:
        return f"ack {hex_of(ack, 1)} must have even parity"
    if seen.layout.kind == "base-time" and seen.octets[3] != _second_ack(ack):
        wanted = hex_of(_second_ack(ack), 1)
        return f"ack_2 is {hex_of(seen.octets[3], 1)}, expected {wanted}"
    return None


_MODE = Check(name="mode_bits", title="redundant bits of the mode octet", run=_check_mode)
_ACK = Check(name="ack", title="parity and second copy of the acknowledge", run=_check_ack)
_COMPLEMENT = Check(
    name="complement", title="the second copy of the data is inverted", run=_check_complement
)


def _checks(kind: str) -> tuple[Check, ...]:
    sums = tuple(crc_check(place, crc) for place, crc in enumerate(CRCS[kind]))
    if kind.endswith("time"):
        return (_ACK, *sums, expected("consumer_time", required=False))
    copy = (_COMPLEMENT,) if kind.endswith("long") else ()
    last = expected("mode", octets=1, required=False), expected("time_stamp", required=False)
    return (_MODE, *sums, *copy, *last)


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
    kinds=tuple(CRCS),
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
    checks={kind: _checks(kind) for kind in CRCS},
    covers=covers,
    mean=_mean,
    shape=_shape,
    order="length, mode or acknowledge, CRCs, complement; the order is ours, no source gives one",
)
