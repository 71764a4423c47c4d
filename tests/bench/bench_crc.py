"""CRC speed: one call, a batch, a chained stream; every ratio from one run.

Run ``python tests/bench/bench_crc.py``. Each figure is the median of several repetitions, taken in
turns so that all rows see the same machine.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import anycrc
import crcmod
import numpy as np

from safeframe import crc
from safeframe.crc import batch
from safeframe.protocols.fscp_12_1 import batch as batch_12_1

COUNT = 1_000_000
SIZE = 11
ALGORITHM = crc.CATALOGUE["fscp-12-1/crc16"]


def medians(rows: dict[str, Callable[[], Any]], repetitions: int) -> dict[str, float]:
    """Return the median time of every row in seconds, all rows measured in turns."""
    times: dict[str, list[float]] = {name: [] for name in rows}
    for _ in range(repetitions):
        for name, run in rows.items():
            start = time.perf_counter()
            run()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(found) for name, found in times.items()}


def show(title: str, found: dict[str, float], count: int, base: str) -> None:
    """Print one table: million per second and the ratio to the row ``base``."""
    print(title)
    for name, seconds in found.items():
        print(f"  {name:34} {count / seconds / 1e6:9.2f} M/s  x {found[base] / seconds:6.2f}")


def per_call() -> None:
    """One CRC of 11 octets for each call."""
    frame = bytes(range(SIZE))
    loops = 100_000
    plain = crcmod.mkCrcFun(1 << 16 | ALGORITHM.poly, initCrc=0, rev=False)
    other = anycrc.CRC(16, ALGORITHM.poly, 0, False, False, 0)
    bound = crc.function(ALGORITHM)

    def repeat(call: Callable[[], Any]) -> Callable[[], None]:
        def run() -> None:
            for _ in range(loops):
                call()

        return run

    rows = {
        "crcmod alone": repeat(lambda: plain(frame)),
        "anycrc": repeat(lambda: other.calc(frame)),
        "crc.function(a)(data)": repeat(lambda: bound(frame)),
        "crc.compute(a, data)": repeat(lambda: crc.compute(ALGORITHM, frame)),
    }
    show(f"one call, {SIZE} octets", medians(rows, 7), loops, "crcmod alone")


def batches() -> None:
    """One million frames of 11 octets."""
    frames = np.random.default_rng(1).integers(0, 256, (COUNT, SIZE), dtype=np.uint8)
    octets = frames.tobytes()
    rows_of = [octets[at : at + SIZE] for at in range(0, len(octets), SIZE)]
    plain = crcmod.mkCrcFun(1 << 16 | ALGORITHM.poly, initCrc=0, rev=False)
    expected = [plain(row) for row in rows_of]
    assert batch.crcs(ALGORITHM, frames).tolist() == expected
    rows = {
        "crcmod, list comprehension": lambda: [plain(row) for row in rows_of],
        "batch.crcs": lambda: batch.crcs(ALGORITHM, frames),
        "memory copy of the frames": frames.copy,
    }
    found = medians(rows, 5)
    show(f"batch, {COUNT} frames of {SIZE} octets", found, COUNT, "crcmod, list comprehension")
    share = found["memory copy of the frames"] / found["batch.crcs"]
    print(f"  batch.crcs reaches {100 * share:.0f} % of the copy rate")


def chained() -> None:
    """One million frames, each CRC fed with the one before."""
    draw = np.random.default_rng(2)
    frames = draw.integers(0, 256, (COUNT, SIZE), dtype=np.uint8)
    octets = frames.tobytes()
    rows_of = [octets[at : at + SIZE] for at in range(0, len(octets), SIZE)]
    blocks = draw.integers(0, 256, (COUNT, 2), dtype=np.uint8)
    commands = np.full(COUNT, 0x36, dtype=np.uint8)
    plain = crcmod.mkCrcFun(1 << 16 | ALGORITHM.poly, initCrc=0, rev=False)

    def loop() -> None:
        last = 0
        for row in rows_of:
            last = plain(row, last)

    rows = {
        "crcmod loop (no number, no rule)": loop,
        "batch_12_1.chain (change rule)": lambda: batch_12_1.chain(blocks, commands, 7),
    }
    show(f"chained, {COUNT} frames", medians(rows, 5), COUNT, "crcmod loop (no number, no rule)")


if __name__ == "__main__":
    print(crc.engine())
    per_call()
    batches()
    chained()
