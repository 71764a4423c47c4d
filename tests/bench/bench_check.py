"""Check of generated connections against tomllib alone for the same files, in one run.

Run: python tests/bench/bench_check.py [CONNECTIONS]. Prints medians of processor time and their
ratio (goal: at most 3), for a tenth of the connections too: the time must grow linearly.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

from safeframe import _demo as demo

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 3
# Without garbage collection, as the command runs: the better case for tomllib.
PARSE = """
import gc, os, sys, tomllib
gc.disable()
for entry in os.scandir(sys.argv[1]):
    with open(entry.path, "rb") as file:
        tomllib.load(file)
gc.freeze()
"""


def write(folder: Path, count: int) -> None:
    """Write ``count`` copies of the demo connection, each with its own names, id and address."""
    site = demo.after()
    for number in range(count):
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            text = (
                site[name]
                .replace("SC1-LX", f"SC1-LX{number}")
                .replace('"LX"', f'"LX{number}"')
                .replace("id = 0x0107", f"id = {number + 1:#06x}")
                .replace("address = 7", f"address = {number + 1}")
                .replace('"Lift.', f'"Lift{number}.')
            )
            (folder / f"{number:05}-{name}").write_text(text, encoding="utf-8")


def parse(folder: Path) -> None:
    """Read every file with tomllib and nothing else, in a process of its own."""
    subprocess.run([sys.executable, "-c", PARSE, str(folder)], check=True)


def check(folder: Path) -> None:
    """Run the command on the folder, as a process of its own; it must find nothing."""
    subprocess.run(
        [sys.executable, "-m", "safeframe", "check", str(folder)],
        check=True,
        stdout=subprocess.DEVNULL,
        cwd=ROOT,
    )


def seconds(work: Callable[[], None]) -> float:
    """Return the processor time of the child processes of one call: other load counts little."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(count: int) -> None:
    """Measure both on the whole set and on a tenth of it."""
    for number in (count // 10, count):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            write(folder, number)
            alone, whole = [], []
            for _ in range(ROUNDS):
                alone.append(seconds(partial(parse, folder)))
                whole.append(seconds(partial(check, folder)))
        base, full = statistics.median(alone), statistics.median(whole)
        print(
            f"{number:6} connections: tomllib {base:6.2f} s, check {full:6.2f} s, "
            f"ratio {full / base:.2f}, {1e3 * full / number:.3f} ms per connection"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
