"""Cold start of ``safeframe check`` on the demo pair against ``python -c pass``, in one run.

Run: python tests/bench/bench_start.py. Prints medians in ms and their ratio (goal: at most 5).
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
AFTER = ROOT / "safeframe" / "_demo" / "after"
ROUNDS = 25
COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "python -c 'import argparse, tomllib, dataclasses'": [
        "-c",
        "import argparse, tomllib, dataclasses",
    ],
    "safeframe check (demo pair)": [
        "-c",
        "import sys; from safeframe.__main__ import run; sys.exit(run())",  # as pip's script does.
        "check",
        str(AFTER / "sc1-lx.toml"),
        str(AFTER / "lx-sc1.toml"),
    ],
}


def once(arguments: list[str]) -> float:
    """Return the wall time of one fresh interpreter in ms."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return 1000 * (time.perf_counter() - start)


def main() -> None:
    """Interleave the commands, so that a busy machine slows all of them alike."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(ROUNDS + 1):
        for name, arguments in COMMANDS.items():
            times[name].append(once(arguments))
    base = statistics.median(times["python -c pass"][1:])
    for name, values in times.items():
        median = statistics.median(values[1:])  # the first round warms the file cache.
        print(f"{name:52} {median:7.1f} ms  {median / base:5.2f} x")


if __name__ == "__main__":
    main()
