"""The CRCs of FSCP 2/1 frames: what enters each in which order, computed once for all checks."""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import cache
from typing import NamedTuple

from ..._engine.parts import invert, lacking, le, unequal
from ..._engine.recipe import Check, Cover, FrameLayout, Outcome, Seen, Unknown, Values
from ...crc import CATALOGUE, Algorithm, compute, function

_S1, _S2 = CATALOGUE["fscp-2-1/s1"], CATALOGUE["fscp-2-1/s2"]
_S3, _S5 = CATALOGUE["fscp-2-1/s3"], CATALOGUE["fscp-2-1/s5"]
IDENTITY = ("vendor_id", "device_serial", "connection_serial")
_IDENTITY_OCTETS = struct.Struct("<HIH")
_OWN = "identity of the sender"
_COUNT = "rollover count"
_HIGH, _HIGH_INVERTED, _LOW = "mode AND 0xE0", "NOT mode AND 0xE0", "mode AND 0x1F"
DATA_RUN, INVERTED_RUN, COMPLEMENT_RUN = "data", "data inverted", "complement"
STAMP_RUN, ACK_RUN, CONSUMER_TIME_RUN = "time stamp", "ack", "consumer time"


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
    "crc_stamp", "CRC-S1 of mode and time stamp", _S1, (_OWN, _LOW, STAMP_RUN), ("crc_stamp",)
)
_S5_PARTS = ("crc_s5_low", "crc_s5_high")
CRCS = {
    "base-short": (
        _Crc("crc_s1", "CRC-S1 of mode and data", _S1, (_OWN, _HIGH, DATA_RUN), ("crc_s1",)),
        _Crc(
            "crc_s2",
            "CRC-S2 of inverted mode and data",
            _S2,
            (_HIGH_INVERTED, INVERTED_RUN),
            ("crc_s2",),
            after=_S1,
        ),
        _CRC_STAMP,
    ),
    "base-long": (
        _Crc("crc_s3", "CRC-S3", _S3, (_OWN, _HIGH, DATA_RUN), ("crc_s3",)),
        _Crc(
            "crc_complement",
            "CRC-S3 of inverted mode and complement",
            _S3,
            (_OWN, _HIGH_INVERTED, COMPLEMENT_RUN),
            ("crc_complement",),
        ),
        _CRC_STAMP,
    ),
    "extended-short": (
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, _COUNT, _HIGH, DATA_RUN, STAMP_RUN), _S5_PARTS),
    ),
    "extended-long": (
        _Crc("crc_s3", "CRC-S3", _S3, (_OWN, _COUNT, _HIGH, DATA_RUN), ("crc_s3",)),
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, _COUNT, _LOW, COMPLEMENT_RUN, STAMP_RUN), _S5_PARTS),
    ),
    "base-time": (_Crc("crc_s3", "CRC-S3", _S3, (_OWN, ACK_RUN, CONSUMER_TIME_RUN), ("crc_s3",)),),
    "extended-time": (
        _Crc("crc_s5", "CRC-S5", _S5, (_OWN, ACK_RUN, CONSUMER_TIME_RUN), ("crc_s5",)),
    ),
}
"""The CRCs of each kind of frame, in the order of their checks; the count enters all or none."""
_MASKS = {_HIGH: (0xE0, 0), _HIGH_INVERTED: (0xE0, 0xE0), _LOW: (0x1F, 0)}
MODE_RUNS = tuple(
    {name: bytes((mode & keep ^ flip,)) for name, (keep, flip) in _MASKS.items()}
    for mode in range(256)
)


def known_runs(known: Values) -> dict[str, bytes]:
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
def engines(kind: str) -> tuple[Callable[[dict[str, bytes]], int], ...]:
    """Return what computes each CRC of a kind of frame from its runs."""

    def engine(crc: _Crc) -> Callable[[dict[str, bytes]], int]:
        names, run = crc.runs, function(crc.algorithm)
        if crc.after is None:
            return lambda runs: run(b"".join([runs[name] for name in names]))
        # Neither reflected nor XORed at its end, so the start register is what the engine takes.
        before = function(crc.after)
        return lambda runs: run(b"".join([runs[name] for name in names]), before(runs[_OWN]))

    return tuple(map(engine, CRCS[kind]))


@cache
def _cuts(where: FrameLayout) -> tuple[tuple[slice, slice], ...]:
    """Return where each CRC of a frame is carried, in one part or two."""
    nothing = slice(0, 0)
    found = []
    for crc in CRCS[where.kind]:
        first, second = (*(where.slices[part] for part in crc.parts), nothing)[:2]
        found.append((first, second))
    return tuple(found)


class _Sums(NamedTuple):
    """The CRCs of a frame: what enters them, as carried, computed, what is not known for each."""

    runs: dict[str, bytes]
    carried: list[int]
    computed: list[int]
    unknown: tuple[str, ...]


def sums_of(seen: Seen) -> _Sums:
    """Return the CRCs of a frame, computed once for all checks."""
    if seen.scratch is None:
        octets, where = seen.octets, seen.layout
        kind, size = where.kind, where.data_octets
        runs = known_runs(seen.known)
        if size:
            data = octets[:size]
            runs.update(MODE_RUNS[octets[size]])
            runs[DATA_RUN], runs[INVERTED_RUN] = data, invert(data)
            runs[COMPLEMENT_RUN] = octets[size + 3 : 2 * size + 3]
            runs[STAMP_RUN] = octets[-3:-1]
        else:
            runs[ACK_RUN], runs[CONSUMER_TIME_RUN] = octets[:1], octets[1:3]
        found = int.from_bytes
        seen.scratch = _Sums(
            runs,
            [found(octets[one] + octets[two], "little") for one, two in _cuts(where)],
            [engine(runs) for engine in engines(kind)],
            _unknown(kind, runs, seen.known),
        )
    sums: _Sums = seen.scratch
    return sums


def _unknown(kind: str, runs: dict[str, bytes], known: Values) -> tuple[str, ...]:
    """Return for each CRC which values are not known that enter it, as text; empty: all are."""
    crcs = CRCS[kind]
    if runs[_OWN] and (runs[_COUNT] or _COUNT not in crcs[0].runs):
        return ("",) * len(crcs)
    counted = ("rollover",) if _COUNT in crcs[0].runs else ()
    return (lacking(known, *IDENTITY, *counted),) * len(crcs)


def crc_check(place: int, crc: _Crc) -> Check:
    def run(seen: Seen) -> Outcome:
        sums = sums_of(seen)
        if sums.unknown[place]:
            return Unknown(sums.unknown[place])
        carried, computed = sums.carried[place], sums.computed[place]
        if carried == computed:
            return None
        return unequal(crc.name, carried, computed, crc.algorithm.octets)

    return Check(name=crc.name, title=crc.title, run=run)


def covers(seen: Seen) -> tuple[Cover, ...]:
    runs, carried, computed, unknown = sums_of(seen)
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
        for place, crc in enumerate(CRCS[seen.layout.kind])
    )
