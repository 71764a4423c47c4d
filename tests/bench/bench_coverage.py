"""What evidence and coverage cost above the plain examination of a long recording.

Run: ``python tests/bench/bench_coverage.py [FRAMES]``. A recording of FSCP 12/1 with two data
octets each way is examined plainly, with coverage, and with coverage and the evidence for every
step of the demo's checklist, digest included, in turn, each in a process of its own. Ratios are of
processor time with start-up, the peak of memory is VmHWM of Linux. Values change in every tenth
frame of a side, then in every one.
"""

from __future__ import annotations

import io
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from safeframe import capture, record
from safeframe._coverage.exercised import Exercised
from safeframe._coverage.points import plan_of
from safeframe._demo import after, before
from safeframe._link import link_of
from safeframe._mapfile import loads
from safeframe._model import Connection
from safeframe.capture._whole import CHUNK_OCTETS, DigestedStream
from safeframe.record._sights import Sights

ROUNDS = 3
WAYS = ("plain", "coverage", "coverage and evidence")


def connections() -> list[Connection]:
    """Return the connection of the demo before and after its change."""
    return [
        Connection(first=loads(site["sc1-lx.toml"]), second=loads(site["lx-sc1.toml"]))
        for site in (before(), after())
    ]


def one(way: str, path: Path) -> None:
    """Examine the recording in one way and print what that took."""
    old, new = connections()
    link = link_of(new)
    observers: list[capture.Observer] = []
    if way != WAYS[0]:
        observers.append(Exercised(plan_of(link)))
    if way == WAYS[2]:
        steps = record.new(old, new, reason="bench").computed.checklist
        observers.append(Sights(link, steps, 1_000_000))
    with path.open("rb") as stream:
        source = io.BufferedReader(DigestedStream(stream), CHUNK_OCTETS) if observers else stream
        found = capture.examine(
            capture.read_recording(source),
            link,
            sources={0: "02:00:00:00:00:01"},
            at={0: 0, 1: 0},
            fresh=True,
            observers=observers,
        )
    assert found.is_clean, found.notes
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    print(found.frames, time.process_time(), peak)


def main() -> None:
    """Print ratios for both kinds of recordings."""
    from tests.bench.bench_capture import write

    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as name:
        for every in (10, 1):
            write(Path(name), frames, every)
            rows: dict[str, list[list[float]]] = {way: [] for way in WAYS}
            for _ in range(ROUNDS):
                for way in WAYS:
                    done = subprocess.run(
                        [sys.executable, __file__, "--one", way, str(Path(name, "long.pcap"))],
                        capture_output=True,
                        text=True,
                        check=True,
                    )
                    rows[way].append([float(word) for word in done.stdout.split()])
            base = statistics.median(work for _, work, _ in rows[WAYS[0]])
            for way in WAYS:
                count, work, peak = map(statistics.median, zip(*rows[way], strict=True))
                print(
                    f"{count:.0f} frames, a change in every {every}, {way}: processor "
                    f"{work:.2f} s, ratio {work / base:.2f}, peak {peak / 1024:.0f} MiB",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(sys.argv[2], Path(sys.argv[3]))
    else:
        main()
