"""``diff`` of two states of a site against reading the maps of both with ``load``, in one run.

Run: python tests/bench/bench_diff.py [CONNECTIONS]. Prints medians of processor time and their
ratio for pairs that are unchanged (goal: at most 1.5), as two folders and as a revision of git, for
a tenth of the connections too: the time must grow linearly. Last all pairs are edited.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.bench_check import ROOT, ROUNDS, seconds, write

# Without garbage collection, as the command runs.
READ = """
import gc, sys
gc.disable()
from pathlib import Path
from safeframe import load
for folder in sys.argv[1:]:
    kept = [load(path) for path in sorted(Path(folder).glob("*.toml"))]
gc.freeze()
"""


def run(*words: str, code: int = 0) -> None:
    """Run the interpreter as a process of its own."""
    done = subprocess.run(
        [sys.executable, *words], stdout=subprocess.DEVNULL, cwd=ROOT, check=False
    )
    assert done.returncode == code, done.returncode


def git(folder: Path, *words: str) -> None:
    """Run git."""
    who = ("-c", "user.name=A. Berg", "-c", "user.email=a.berg@lift.invalid")
    subprocess.run(["git", "-C", str(folder), *who, *words], check=True)


def main(count: int) -> None:
    """Measure on the whole set and on a tenth of it."""
    for number in (count // 10, count):
        with tempfile.TemporaryDirectory() as name:
            before, after = Path(name, "before"), Path(name, "after")
            for folder in (before, after):
                folder.mkdir()
                write(folder, number)
            git(after, "init", "-q")
            git(after, "add", ".")
            git(after, "commit", "-q", "-m", "maps")
            command = ("-m", "safeframe", "diff")
            works = {
                "two folders": partial(run, *command, str(before), str(after)),
                "since HEAD": partial(run, *command, "--since", "HEAD", str(after)),
            }
            reading = partial(run, "-c", READ, str(before), str(after))
            base = statistics.median(seconds(reading) for _ in range(ROUNDS))
            for label, work in works.items():
                report(label, number, base, work)
            for path in after.iterdir():
                if path.suffix == ".toml":
                    text = path.read_text(encoding="utf-8")
                    text = text.replace("watchdog_ms = 100", "watchdog_ms = 110")
                    path.write_text(text, encoding="utf-8")
            report("all edited", number, base, works["two folders"])


def report(label: str, number: int, base: float, work: partial[None]) -> None:
    """Print one row."""
    full = statistics.median(seconds(work) for _ in range(ROUNDS))
    print(
        f"{number:6} connections, {label:11}: read twice {base:6.2f} s, diff {full:6.2f} s, "
        f"ratio {full / base:.2f}, {1e3 * full / number:.3f} ms per connection"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
