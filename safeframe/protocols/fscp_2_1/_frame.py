"""FSCP 2/1: data frames, short and long, base and extended format; time coordination.

The identity of the sender starts every CRC and is never on the wire; the rollover count of the
extended format neither. Sources of every rule: the profile's page.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import cache
from typing import NamedTuple

from ..._engine.parts import expected, hex_of, invert, lacking, le, missing, unequal
from ..._engine.recipe import (
    Check,
    Cover,
    FrameLayout,
    Outcome,
    Recipe,
    Seen,
    Unknown,
    Value,
    Values,
)
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE, Algorithm, compute, function

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


_OWN = "identity of the sender"
_COUNT = "rollover count"
_HIGH, _HIGH_INVERTED, _LOW = "mode AND 0xE0", "NOT mode AND 0xE0", "mode AND 0x1F"
_DATA, _INVERTED, _COMPLEMENT_RUN = "data", "data inverted", "complement"
_STAMP, _ACK_RUN, _CONSUMER_TIME = "time stamp", "ack", "consumer time"


class _Crc(NamedTuple):
    """One CRC of a kind of frame: what enters it in which order, and the parts that carry it.

    ``after`` is another algorithm whose CRC of the identity is the start register.
    """

    name: str
    title: str
    algorithm: Algorithm
    runs: tuple[str, ...]
    parts: tuple[str, ...]
    after: Algorithm | None = None


_CRC_STAMP = _Crc(
    "crc_stamp", "CRC-S1 of mode and time stamp", _S1, (_OWN, _LOW, _STAMP), ("crc_stamp",)
)
_S5_PARTS = ("crc_s5_low", "crc_s5_high")
_CRCS = {
    "base-short": (
        _Crc("crc_s1", "CRC-S1 of mode and data", _S1, (_OWN, _HIGH, _DATA), ("crc_s1",)),
        _Crc(
            "crc_s2",
            "CRC-S2 of inverted mode and data",
            _S2,
            (_HIGH_INVERTED, _INVERTED),
            ("crc_s2",),
            after=_S1,
        ),
        _CRC_STAMP,
    ),
    "base-long": (
        _Crc("crc_s3", "CRC-S3", _S3, (_OWN, _HIGH, _DATA), ("crc_s3",)),
        _Crc(
            "crc_complement",
            "CRC-S3 of inverted mode and complement",
            _S3,
            (_OWN, _HIGH_INVERTED, _COMPLEMENT_RUN),
            ("crc_complement",),
        ),
        _CRC_STAMP,
    ),
    "extended-short": (
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, _COUNT, _HIGH, _DATA, _STAMP), _S5_PARTS),
    ),
    "extended-long": (
        _Crc("crc_s3", "CRC-S3", _S3, (_OWN, _COUNT, _HIGH, _DATA), ("crc_s3",)),
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, _COUNT, _LOW, _COMPLEMENT_RUN, _STAMP), _S5_PARTS),
    ),
    "base-time": (_Crc("crc_s3", "CRC-S3", _S3, (_OWN, _ACK_RUN, _CONSUMER_TIME), ("crc_s3",)),),
    "extended-time": (
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, _ACK_RUN, _CONSUMER_TIME), ("crc_s5",)),
    ),
}
"""The CRCs of each kind of frame, in the order of their checks; the count enters all or none."""
_MASKS = {_HIGH: (0xE0, 0), _HIGH_INVERTED: (0xE0, 0xE0), _LOW: (0x1F, 0)}
_MODE_RUNS = tuple(
    {name: bytes((mode & keep ^ flip,)) for name, (keep, flip) in _MASKS.items()}
    for mode in range(256)
)


def _known_runs(known: Values) -> dict[str, bytes]:
    """Return the runs that no frame carries; an empty run stands for what is not known."""
    try:
        own = _IDENTITY_OCTETS.pack(
            known["vendor_id"], known["device_serial"], known["connection_serial"]
        )
    except KeyError:
        own = b""
    count = known.get("rollover")
    return {_OWN: own, _COUNT: b"" if count is None else le(count)}


@cache
def _engines(kind: str) -> tuple[Callable[[dict[str, bytes]], int], ...]:
    """Return what computes each CRC of a kind of frame from its runs."""

    def engine(crc: _Crc) -> Callable[[dict[str, bytes]], int]:
        names, run = crc.runs, function(crc.algorithm)
        if crc.after is None:
            return lambda runs: run(b"".join([runs[name] for name in names]))
        # Neither reflected nor XORed at its end, so the start register is what the engine takes.
        before = function(crc.after)
        return lambda runs: run(b"".join([runs[name] for name in names]), before(runs[_OWN]))

    return tuple(map(engine, _CRCS[kind]))


@cache
def _cuts(where: FrameLayout) -> tuple[tuple[slice, slice], ...]:
    """Return where each CRC of a frame is carried, in one part or two."""
    nothing = slice(0, 0)
    found = []
    for crc in _CRCS[where.kind]:
        first, second = (*(where.slices[part] for part in crc.parts), nothing)[:2]
        found.append((first, second))
    return tuple(found)


class _Sums(NamedTuple):
    """The CRCs of a frame: what enters them, as carried, computed, what is not known for each."""

    runs: dict[str, bytes]
    carried: list[int]
    computed: list[int]
    unknown: tuple[str, ...]


def _sums(seen: Seen) -> _Sums:
    """Return the CRCs of a frame, computed once for all checks."""
    if seen.scratch is None:
        octets, where = seen.octets, seen.layout
        kind, size = where.kind, where.data_octets
        runs = _known_runs(seen.known)
        if size:
            data = octets[:size]
            runs.update(_MODE_RUNS[octets[size]])
            runs[_DATA], runs[_INVERTED] = data, invert(data)
            runs[_COMPLEMENT_RUN] = octets[size + 3 : 2 * size + 3]
            runs[_STAMP] = octets[-3:-1]
        else:
            runs[_ACK_RUN], runs[_CONSUMER_TIME] = octets[:1], octets[1:3]
        found = int.from_bytes
        seen.scratch = _Sums(
            runs,
            [found(octets[one] + octets[two], "little") for one, two in _cuts(where)],
            [engine(runs) for engine in _engines(kind)],
            _unknown(kind, runs, seen.known),
        )
    sums: _Sums = seen.scratch
    return sums


def _unknown(kind: str, runs: dict[str, bytes], known: Values) -> tuple[str, ...]:
    """Return for each CRC which values are not known that enter it, as text; empty: all are."""
    crcs = _CRCS[kind]
    if runs[_OWN] and (runs[_COUNT] or _COUNT not in crcs[0].runs):
        return ("",) * len(crcs)
    counted = ("rollover",) if _COUNT in crcs[0].runs else ()
    return (lacking(known, *_IDENTITY, *counted),) * len(crcs)


def _crc_check(place: int, crc: _Crc) -> Check:
    def run(seen: Seen) -> Outcome:
        sums = _sums(seen)
        if sums.unknown[place]:
            return Unknown(sums.unknown[place])
        carried, computed = sums.carried[place], sums.computed[place]
        if carried == computed:
            return None
        return unequal(crc.name, carried, computed, crc.algorithm.octets)

    return Check(name=crc.name, title=crc.title, run=run)


def _write(values: Values) -> bytes:
    missing(values, "format", *_IDENTITY)
    format_ = values["format"]
    if "consumer_time" in values:
        if "data" in values:
            raise UsageError("a frame must carry data or consumer_time, not both")
        missing(values, "ack")
        kind, size, ack = f"{format_}-time", 0, values["ack"]
        carried = {_ACK_RUN: bytes((ack,)), _CONSUMER_TIME: le(values["consumer_time"])}
        found = {
            "ack": carried[_ACK_RUN],
            "consumer_time": carried[_CONSUMER_TIME],
            "ack_2": bytes((_second_ack(ack),)),
        }
    else:
        missing(values, "data", "time_stamp")
        data, mode = values["data"], values["mode"]
        size, inverted, stamp = len(data), invert(data), le(values["time_stamp"])
        kind = f"{format_}-{'short' if size <= 2 else 'long'}"
        carried = {_DATA: data, _INVERTED: inverted, _COMPLEMENT_RUN: inverted, _STAMP: stamp}
        carried |= _MODE_RUNS[mode]
        found = {
            "data": data,
            "mode": bytes((mode,)),
            "complement": inverted,
            "time_stamp": stamp,
        }
    where = _shape(size, kind)
    runs = _known_runs(values) | carried
    if format_ == "extended" and size:
        missing(values, "rollover")
    for crc, engine in zip(_CRCS[kind], _engines(kind), strict=True):
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
    runs = _sums(seen).runs
    same = runs[_COMPLEMENT_RUN] == runs[_INVERTED]
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
    sums = tuple(_crc_check(place, crc) for place, crc in enumerate(_CRCS[kind]))
    if kind.endswith("time"):
        return (_ACK, *sums, expected("consumer_time", required=False))
    copy = (_COMPLEMENT,) if kind.endswith("long") else ()
    last = expected("mode", octets=1, required=False), expected("time_stamp", required=False)
    return (_MODE, *sums, *copy, *last)


def _covers(seen: Seen) -> tuple[Cover, ...]:
    runs, carried, computed, unknown = _sums(seen)
    return tuple(
        Cover(
            name=crc.name,
            algorithm=crc.algorithm,
            init=0 if crc.after is None else compute(crc.after, runs[_OWN]),
            feeds=tuple((name, runs[name]) for name in crc.runs),
            carried=carried[place],
            computed=None if unknown[place] else computed[place],
            unknown=unknown[place],
        )
        for place, crc in enumerate(_CRCS[seen.layout.kind])
    )


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
    kinds=tuple(_CRCS),
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
    checks={kind: _checks(kind) for kind in _CRCS},
    covers=_covers,
    mean=_mean,
    shape=_shape,
    order="length, mode or acknowledge, CRCs, complement; the order is ours, no source gives one",
)
