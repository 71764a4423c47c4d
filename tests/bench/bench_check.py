"""Check of generated connections against tomllib alone for the same files, in one run.

Run: python tests/bench/bench_check.py [CONNECTIONS]. Prints medians and the ratio (goal: at most
3), and the time per connection for a tenth of them, to show that the time grows linearly.
"""

from __future__ import annotations

import contextlib
import io
import statistics
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from functools import partial
from pathlib import Path

from safeframe import demo
from safeframe.cli import main as command

ROUNDS = 3


def write(folder: Path, count: int) -> list[Path]:
    """Write ``count`` copies of the demo connection, each with its own names, id and address."""
    site = demo.after()
    paths = []
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
            path = folder / f"{number:05}-{name}"
            path.write_text(text, encoding="utf-8")
            paths.append(path)
    return paths


def parse(paths: list[Path]) -> None:
    """Read every file with tomllib and nothing else."""
    for path in paths:
        with open(path, "rb") as file:
            tomllib.load(file)


def check(folder: Path) -> None:
    """Run the command on the folder; it must find nothing."""
    with contextlib.redirect_stdout(io.StringIO()) as output:
        code = command(["check", str(folder)])
    if code != 0:
        sys.exit(output.getvalue()[:2000])


def seconds(work: Callable[[], None]) -> float:
    """Return the wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main(count: int) -> None:
    """Measure both on the whole set and on a tenth of it."""
    for number in (count // 10, count):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            paths = write(folder, number)
            alone, whole = [], []
            for _ in range(ROUNDS):
                alone.append(seconds(partial(parse, paths)))
                whole.append(seconds(partial(check, folder)))
        base, full = statistics.median(alone), statistics.median(whole)
        print(
            f"{number:6} connections: tomllib {base:6.2f} s, check {full:6.2f} s, "
            f"ratio {full / base:.2f}, {1e3 * full / number:.3f} ms per connection"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
