"""How long it takes to judge and decode a long recording, and how much memory that needs.

Run: ``python tests/bench/bench_capture.py [FRAMES]``. A recording of FSCP 12/1 with two data octets
each way is written to a temporary folder, then read three times: by the capture library alone,
judged and decoded with both maps from pcap, and the same from hexadecimal lines. Each reading runs
in a process of its own, so that its peak memory (VmHWM of Linux) is its own. Ratios are of
processor time, start-up included, which a busy machine changes less than the time on the clock.
"""

from __future__ import annotations

import io
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from safeframe import capture, fixtures
from safeframe._link import Link, link_of
from safeframe.protocols.fscp_12_1 import batch as batch_12_1
from tests.unit.links import demo_connection

ROUNDS = 3


def connection() -> Link:
    return link_of(demo_connection())


def write(folder: Path, frames: int, every: int = 10) -> None:
    """Write a legal exchange: values change in every tenth frame of a side, unless told."""
    from dpkt import pcap

    random = np.random.default_rng(1)
    half = frames // 2
    data = [
        np.repeat(random.integers(0, 256, (half // every + 1, 2), dtype=np.uint8), every, axis=0)[
            :half
        ]
        for _ in range(2)
    ]
    for octets in data:
        octets[:, 1] &= 7
    first, second, _ = batch_12_1.build(data[0], data[1], 0x0107)
    stations = b"\x02\x00\x00\x00\x00\x01", b"\x02\x00\x00\x00\x00\x02"
    with (folder / "long.pcap").open("wb") as packed, (folder / "long.hex").open("w") as lines:
        make: Any = pcap.Writer
        writer = make(packed)
        for number in range(half):
            for side, rows in enumerate((first, second)):
                octets = rows[number].tobytes()
                time_us = 12_000 * number + 6_000 * side
                packet = stations[1 - side] + stations[side] + b"\x88\xb5" + octets
                writer.writepkt(packet.ljust(60, b"\x00"), time_us / 1e6)
                lines.write(f"@{time_us} {('SC1', 'LX')[side]}: {octets.hex()}\n")


def library(folder: Path) -> int:
    from dpkt import pcap

    with (folder / "long.pcap").open("rb") as stream:
        make: Any = pcap.Reader
        return sum(1 for _ in make(stream))


def judged(path: Path) -> int:
    with path.open("rb") as stream:
        found = capture.examine(
            capture.read_recording(stream),
            connection(),
            sources={0: "02:00:00:00:00:01"} if path.suffix == ".pcap" else {},
            at={0: 0, 1: 0} if path.suffix == ".pcap" else {},
            fresh=True,
        )
    assert found.is_clean, found.notes
    return found.frames


WAYS: dict[str, Callable[[Path], int]] = {
    "library alone, pcap": library,
    "judged and decoded, pcap": lambda folder: judged(folder / "long.pcap"),
    "judged and decoded, hex": lambda folder: judged(folder / "long.hex"),
}


def one(name: str, folder: str) -> None:
    start = time.perf_counter()
    count = WAYS[name](Path(folder))
    spent, work = time.perf_counter() - start, time.process_time()
    # Not ru_maxrss: that of a child process begins with what its parent held.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    print(count, spent, work, peak)


def made() -> None:
    link = connection()
    start = time.perf_counter()
    steps = sum(len(each.steps) for each in fixtures.make(link, "states", seed=1, count=5000))
    spent = time.perf_counter() - start
    print(f"fixtures: {steps / spent:.0f} frames a second ({steps} legal states)")
    sets = fixtures.make(link, "faults", seed=1)
    start = time.perf_counter()
    for seed in range(20):
        fixtures.make(link, "faults", seed=seed)
    spent = (time.perf_counter() - start) / 20
    print(f"fixtures: 8 faulty sequences of {len(sets[0].steps)} frames in {1000 * spent:.1f} ms")
    buffer = io.BytesIO(fixtures.write(sets, link, "pcapng", title="bench"))
    assert buffer.getvalue()


def main() -> None:
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    made()
    with tempfile.TemporaryDirectory() as name:
        for size in (frames // 10, frames):
            write(Path(name), size)
            base = 0.0
            for way in WAYS:
                rows = []
                for _ in range(ROUNDS):
                    done = subprocess.run(
                        [sys.executable, __file__, "--one", way, name],
                        capture_output=True,
                        text=True,
                        check=True,
                    )
                    rows.append([float(word) for word in done.stdout.split()])
                count, spent, work, peak = (
                    statistics.median(column) for column in zip(*rows, strict=True)
                )
                base = base or work
                print(
                    f"{count:9.0f} frames, {way:26}: {spent:6.2f} s, processor {work:6.2f} s, "
                    f"ratio {work / base:4.1f}, peak {peak / 1024:3.0f} MiB",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(sys.argv[2], sys.argv[3])
    else:
        main()
