"""Pack and unpack of a 32-bit map: ours, hand-written shifts, bitstring, construct, in one run.

Run: python tests/bench/bench_bits.py. Prints medians in microseconds for one pack plus one
unpack, and the ratio to the shifts (goal: at most 1.5).
"""

from __future__ import annotations

import statistics
import timeit
from collections.abc import Callable

import bitstring
import construct

from safeframe._bits import Layout, Place
from safeframe._codec import MapCodec
from safeframe._model import Map, Signal

FIELDS = (
    *((bit, 1) for bit in range(8)),
    (8, 2),
    (10, 1),
    (11, 5),
    (16, 12),
    (28, 1),
    (29, 3),
)
VALUES = [1, 0, 1, 0, 1, 0, 1, 1, 2, 1, 9, 0xABC, 1, 5]
ROUNDS, CALLS = 15, 20_000


def ours() -> Callable[[], list[int]]:
    """Pack and unpack with the layout of safeframe."""
    layout = Layout(4, FIELDS)
    pack, unpack = layout.pack, layout.unpack
    return lambda: unpack(pack(VALUES))


def codec() -> Callable[[], list[int]]:
    """Encode and decode by name with a map of the same fields, as every command does."""
    codec = MapCodec(
        Map(
            entries=tuple(
                Signal(name=f"f{number}", at=Place.at(index), width=width, type="uint")
                for number, (index, width) in enumerate(FIELDS)
            )
        )
    )
    named = {f"f{number}": value for number, value in enumerate(VALUES)}
    return lambda: list(codec.numbers(codec.encode(named)))  # type: ignore[arg-type]


def shifts() -> Callable[[], list[int]]:
    """Pack and unpack with shifts written out by hand, values checked as Layout checks them."""

    def work() -> list[int]:
        a, b, c, d, e, f, g, h, i, j, k, m, n, o = VALUES
        if (a | b | c | d | e | f | g | h | j | n) >> 1 or i >> 2 or k >> 5 or m >> 12 or o >> 3:
            raise ValueError("a value must fit its field")
        word = (
            a
            | b << 1
            | c << 2
            | d << 3
            | e << 4
            | f << 5
            | g << 6
            | h << 7
            | i << 8
            | j << 10
            | k << 11
            | m << 16
            | n << 28
            | o << 29
        )
        data = word.to_bytes(4, "little")
        if len(data) != 4:
            raise ValueError("data must be 4 octets")
        word = int.from_bytes(data, "little")
        return [
            word & 1,
            word >> 1 & 1,
            word >> 2 & 1,
            word >> 3 & 1,
            word >> 4 & 1,
            word >> 5 & 1,
            word >> 6 & 1,
            word >> 7 & 1,
            word >> 8 & 3,
            word >> 10 & 1,
            word >> 11 & 31,
            word >> 16 & 0xFFF,
            word >> 28 & 1,
            word >> 29 & 7,
        ]

    return work


def with_bitstring() -> Callable[[], list[int]]:
    """Pack and unpack the same fields as one most-significant-first format."""
    dtypes = [f"u{width}" for _, width in reversed(FIELDS)]
    pack = ",".join(dtypes)
    values = VALUES[::-1]

    def work() -> list[int]:
        bits = bitstring.pack(pack, *values)
        return list(reversed(bits.unpack(dtypes)))  # type: ignore[arg-type]

    return work


def with_construct() -> Callable[[], list[int]]:
    """Pack and unpack the same fields as a bit struct, most significant bit first."""
    parts = [
        f"f{len(FIELDS) - 1 - number}" / construct.BitsInteger(width)
        for number, (_, width) in enumerate(reversed(FIELDS))
    ]
    struct = construct.BitStruct(*parts)
    named = {f"f{number}": value for number, value in enumerate(VALUES)}

    def work() -> list[int]:
        found = struct.parse(struct.build(named))
        return [found[f"f{number}"] for number in range(len(FIELDS))]

    return work


def main() -> None:
    """Interleave the candidates, so that a busy machine slows all of them alike."""
    candidates = {
        "hand-written shifts": shifts(),
        "safeframe Layout": ours(),
        "safeframe MapCodec": codec(),
        "bitstring": with_bitstring(),
        "construct": with_construct(),
    }
    for name, work in candidates.items():
        if work() != VALUES:
            raise SystemExit(f"{name} gives {work()}")
    slow = {"bitstring": 100, "construct": 100}
    times: dict[str, list[float]] = {name: [] for name in candidates}
    for _ in range(ROUNDS):
        for name, work in candidates.items():
            calls = CALLS // slow.get(name, 1)
            times[name].append(timeit.timeit(work, number=calls) / calls * 1e6)
    base = statistics.median(times["hand-written shifts"])
    for name, values in times.items():
        median = statistics.median(values)
        print(f"{name:22} {median:8.2f} us  {median / base:7.2f} x")


if __name__ == "__main__":
    main()
