"""The gate of a generated plant against tomllib and json alone for the same files, in one run.

Run: python -m tests.bench.bench_verify [CONNECTIONS] [--records | --changed]. Prints medians of
processor time and their ratio (goal: at most 3, with two processes at most 1.7 in wall time), for
a tenth of the connections too, and the largest memory of the command: time must grow linearly,
memory by the result rows alone. With ``--changed`` each record is about an added signal.
"""

from __future__ import annotations

import dataclasses
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from safeframe import Connection, Map, Reserved, Signal, load, record
from tests.bench.bench_check import write

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 3
PARSE = """
import gc, json, os, sys, tomllib
gc.disable()
for folder, _, names in os.walk(sys.argv[1]):
    for name in names:
        with open(os.path.join(folder, name), "rb") as file:
            (tomllib if name.endswith(".toml") else json).load(file)
"""
RUN = """
import atexit, resource, runpy, sys
def tell():
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, file=sys.stderr)
if __name__ == "__main__":
    atexit.register(tell)
    runpy.run_module("safeframe", run_name="__main__", alter_sys=True)
"""


def _earlier(connection: Connection) -> Connection:
    """Return a connection as it was before both ends got the last signal of one direction."""
    first, second = connection.ends
    name = first.sends.signals[-1].name
    return Connection(
        first=dataclasses.replace(first, sends=_without(first.sends, name)),
        second=dataclasses.replace(second, receives=_without(second.receives, name)),
    )


def _without(map_: Map, name: str) -> Map:
    entries = [
        Reserved(at=entry.at, width=entry.width)
        if isinstance(entry, Signal) and entry.name == name
        else entry
        for entry in map_.entries
    ]
    return Map(entries=tuple(entries))


def plant(folder: Path, count: int, *, records: bool, changed: bool = False) -> None:
    """Write a plant file for ``count`` connections, with a record of each that is in order.

    ``changed`` has every record be about a signal added at both ends, with each step passed.
    """
    write(folder, count)
    rows = []
    for number in range(count):
        names = [f"{number:05}-{name}" for name in ("sc1-lx.toml", "lx-sc1.toml")]
        more = ""
        if records:
            (folder / "records").mkdir(exist_ok=True)
            first, second = (load(folder / name) for name in names)
            connection = Connection(first=first, second=second)
            before = _earlier(connection) if changed else connection
            made = record.new(before, connection, reason="r", asked_by="A", hazards=("none",))
            for step in made.steps:
                made = record.done(made, step, who="B", when="d", result="passed")
            for end in made.ends:
                made = record.fill(
                    made,
                    end,
                    who="B",
                    when="d",
                    serial=f"{number}-{end}",
                    checksum="1",
                    expected="1",
                )
            for who in ("C", "D"):
                made = record.sign(made, who=who, role="r", when="d")
            record.create(folder / "records" / f"{number}.json", made)
            more = f', record = "records/{number}.json"'
        rows.append(f'  {{ ends = ["{names[0]}", "{names[1]}"]{more} }},\n')
    text = f'format = "safeframe-plant/1"\nname = "bench"\nconnections = [\n{"".join(rows)}]\n'
    (folder / "plant.toml").write_text(text, encoding="utf-8")


def parse(folder: Path) -> int:
    """Read every file with tomllib or json and nothing else, in a process of its own."""
    subprocess.run([sys.executable, "-c", PARSE, str(folder)], check=True)
    return 0


def verify(folder: Path, jobs: int, compiled: Path) -> int:
    """Run the gate as a process of its own; return its largest memory in MiB.

    The package is compiled into a folder, as an installed one is: each process would do it anew
    where the environment has nothing written beside the sources.
    """
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(compiled)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    words = ["verify", str(folder / "plant.toml"), "--format", "json", "--jobs", str(jobs)]
    run = subprocess.run(
        [sys.executable, "-c", RUN, *words],
        check=False,  # Without records it says 1.
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=environment,
    )
    return int(run.stderr.split()[-1])


def measured(work: Callable[[], int]) -> tuple[float, float, int]:
    """Return processor time of the children, wall time, and what the work returns."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    found = work()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, time.perf_counter() - start, found


def main(count: int, *, records: bool, changed: bool) -> None:
    """Measure on the whole set and on a tenth of it."""
    for number in (count // 10, count):
        with tempfile.TemporaryDirectory() as name:
            folder, compiled = Path(name, "plant"), Path(name, "compiled")
            folder.mkdir()
            plant(folder, number, records=records or changed, changed=changed)
            works = {
                "parse": partial(parse, folder),
                "one": partial(verify, folder, 1, compiled),
                "two": partial(verify, folder, 2, compiled),
            }
            rows = {key: [measured(work) for _ in range(ROUNDS)] for key, work in works.items()}
        spent = {key: statistics.median(row[0] for row in found) for key, found in rows.items()}
        wall = {key: statistics.median(row[1] for row in found) for key, found in rows.items()}
        print(
            f"{number:6} connections: parsers {spent['parse']:6.2f} s, "
            f"verify {spent['one']:6.2f} s, "
            f"ratio {spent['one'] / spent['parse']:.2f}, "
            f"{1e3 * spent['one'] / number:.2f} ms per connection; two processes, wall "
            f"{wall['two'] / wall['parse']:.2f}; {rows['one'][0][2]} MiB"
        )


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    main(
        numbers[0] if numbers else 5000,
        records="--records" in sys.argv,
        changed="--changed" in sys.argv,
    )
