"""Looking on: how late a line is, and how many frames a second lines and the table keep up with.

Run: python tests/bench/bench_watch.py [FRAMES]. Every frame of SC1 changes a bit. Latency is the
time from the writing of a frame into the pipe to the reading of its line, at 1,000 frames a second;
both ends of the pipe are on one machine, so their waiting is part of it.
"""

from __future__ import annotations

import io
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output

from safeframe import _demo, _mapfile, capture
from safeframe._link import Link, link_of
from safeframe._model import Connection
from safeframe._watch.board import Board
from safeframe._watch.lines import Lines
from safeframe._watch.screen import show
from safeframe._watch.stream import Gate
from safeframe.fixtures._sequences import RunningLink

MAPS = ("sc1-lx.toml", "lx-sc1.toml")
PERIOD_S = 0.001
LATENCY_FRAMES = 5000


def demo(folder: Path) -> Link:
    """Write the maps of the demo and return their link."""
    site = _demo.after()
    for name in MAPS:
        (folder / name).write_text(site[name], encoding="utf-8")
    first, second = (_mapfile.load(str(folder / name)) for name in MAPS)
    return link_of(Connection(first=first, second=second))


def recording(link: Link, frames: int) -> list[bytes]:
    """Return lines of a recording in which every frame of SC1 changes brake2_release."""
    run = RunningLink(link, 1)
    rows = [(bytes([1, 4 * (at % 2)]), b"\0\0") for at in range(frames // 2)]
    return [
        f"@{step.time_us} {link.names[step.side]}: {step.octets.hex()}\n".encode()
        for step in run.ticks(rows)
    ]


def latency(folder: Path, lines: list[bytes]) -> list[float]:
    """Return the seconds between each frame that changes something and its line."""
    process = subprocess.Popen(
        [sys.executable, "-m", "safeframe", "watch", "--fresh", "-", *MAPS],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=folder,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    written: list[float] = []
    read: list[float] = []

    process.stdin.write(lines[0])
    process.stdin.flush()
    process.stdout.readline()  # The program has started.

    def listen() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if b"brake2_release" in line and b"->" in line and b"SC1 -> LX" in line:
                read.append(time.perf_counter())  # noqa: PERF401  (the time of each line)

    listener = threading.Thread(target=listen)
    listener.start()
    begin = time.perf_counter()
    for at, line in enumerate(lines[1:]):
        pause = begin + at * PERIOD_S - time.perf_counter()
        if pause > 0:
            time.sleep(pause)
        if b"SC1" in line:
            written.append(time.perf_counter())
        process.stdin.write(line)
        process.stdin.flush()
    process.stdin.close()
    listener.join()
    process.wait()
    # The last line of each is that of the same frame; the start-up has frames without a change.
    count = min(len(written), len(read)) - 10
    return [late - early for early, late in zip(written[-count:], read[-count:], strict=True)]


def lines_rate(link: Link, octets: bytes) -> float:
    """Return the frames a second of ``--lines``."""
    board = Lines(link, lambda text: None)
    begin = time.perf_counter()
    packets = capture.read_recording(io.BytesIO(octets))
    found = capture.examine(packets, link, fresh=True, observers=[board])
    return found.frames / (time.perf_counter() - begin)


def table_rate(link: Link, octets: bytes) -> float:
    """Return the frames a second while the table is drawn ten times a second."""
    board, gate = Board(link), Gate()
    terminal = Vt100_Output(io.StringIO(), lambda: Size(rows=24, columns=80), term="xterm")

    def examine() -> capture.Examination:
        packets = gate.packets(capture.read_recording(io.BytesIO(octets)))
        return capture.examine(packets, link, fresh=True, observers=[board])

    with create_pipe_input() as keys:
        begin = time.perf_counter()
        found = show(board, gate, examine, lambda: None, given=keys, output=terminal)
        return found.frames / (time.perf_counter() - begin)


def main() -> None:
    """Measure and print."""
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        link = demo(folder)
        octets = b"".join(recording(link, frames))
        print(f"lines: {lines_rate(link, octets):,.0f} frames a second")
        print(f"table: {table_rate(link, octets):,.0f} frames a second")
        late = latency(folder, recording(link, LATENCY_FRAMES))
        median, largest = statistics.median(late) * 1000, max(late) * 1000
        print(f"latency at 1,000 frames a second: median {median:.2f} ms, largest {largest:.1f} ms")


if __name__ == "__main__":
    main()
