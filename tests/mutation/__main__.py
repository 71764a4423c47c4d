"""``python -m tests.mutation``: the score of the tests over the core, and what survives."""

from __future__ import annotations

import argparse
import compileall
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

import hypothesis  # noqa: F401  Loaded once here, not in every trial.
import numpy as np  # noqa: F401

from tests.mutation.faults import Fault, faults
from tests.mutation.trial import Reached, survives

ROOT = Path(__file__).resolve().parents[2]
CORE = (
    *("_pairing/*.py", "_codec.py", "_canonical.py", "_fingerprint.py", "_engine/*.py"),
    *(f"protocols/{name}.py" for name in ("*/_*", "aspects", "link", "recording", "times")),
    *(f"capture/_{name}.py" for name in ("examine", "clock", "related", "timelines", "told")),
    *("capture/_unjudged.py", "capture/_judge.py"),
    *("_document/replace.py", "_document/whole.py", "_document/lock.py"),
)
"""Modules whose answers everything else repeats."""
CORE_FILE = "safeframe/_codec.py"
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
_APART = ("attacks", "fuzz", "growth", "residual", "importing", "builds", "single_file", "campaign")
"""Tests that are not run with faults: long ones, and those of what lies outside the core."""


def core() -> list[str]:
    """Return the modules, each with its path from the root."""
    found = {path for glob in CORE for path in (ROOT / "safeframe").glob(glob)}
    return sorted(str(path.relative_to(ROOT)) for path in found)


def equivalent() -> set[tuple[str, str, str]]:
    """Return the faults that change no answer, as (module, text, text in its place)."""
    rows = [
        row.split(" | ") for row in EQUIVALENT.read_text("utf-8").splitlines() if row[:1] != "#"
    ]
    return {(row[0], row[1], row[2]) for row in rows if len(row) == 4}


def note_lines(path: str) -> None:
    """Run the tests, and note in a file which lines each of them reaches."""
    tests = [
        str(one)
        for one in sorted((ROOT / "tests" / "unit").glob("test_*.py"))
        if not any(word in one.name for word in _APART)
    ]
    with tempfile.TemporaryDirectory() as folder:
        settings = Path(folder, "rc")
        settings.write_text(f"[run]\nsource = safeframe\ndata_file = {Path(path).absolute()}\n")
        words = ["--cov=safeframe", f"--cov-config={settings}", "--cov-context=test"]
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *words]
        command += ["-p", "tests.mutation.traced"]
        subprocess.run([*command, "--cov-report=", *tests], cwd=ROOT, check=True)


def chosen(args: argparse.Namespace, reached: Reached) -> list[tuple[str, Fault]]:
    """Return the faults to try: a seeded sample, in the order of modules and places."""
    known = equivalent()
    rows = [
        (path, fault)
        for path in core()
        if args.only in path
        for fault in faults((ROOT / path).read_bytes())
        if (path, " ".join(fault.old.split()), " ".join(fault.new.split())) not in known
        and reached.of(path, fault)
        and (not args.at or fault.line in args.at)
    ]
    return sorted(Random(args.seed).sample(rows, min(args.sample, len(rows))))


def parser() -> argparse.ArgumentParser:
    """Return the parser of the command line."""
    made = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    made.add_argument("--lines", metavar="FILE", help="run tests, note what each one reaches")
    made.add_argument("--data", metavar="FILE", default=".coverage.lines", help="what was noted")
    made.add_argument("--sample", type=int, default=300, help="faults to try (default: 300)")
    made.add_argument("--seed", type=int, default=0, help="start of the random numbers")
    made.add_argument("--only", default="", help="only modules whose path holds this")
    made.add_argument("--at", type=int, nargs="*", help="only faults that begin at these lines")
    made.add_argument("--seconds", type=float, default=180, help="time for one fault")
    return made


def main() -> None:
    args = parser().parse_args()
    if args.lines:
        note_lines(args.lines)
        return
    reached = Reached.load(args.data, ROOT, core())
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "tree")
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__"))
        compileall.compile_dir(copy, quiet=2)
        os.environ["SAFEFRAME_CACHE"] = str(Path(folder, "cache"))
        _try(args, reached, copy)


def _try(args: argparse.Namespace, reached: Reached, copy: Path) -> None:
    seen: Counter[str] = Counter()
    rows = chosen(args, reached)
    # What fails without any fault would be counted as noticing every one.
    tests = sorted({test for path, fault in rows for test in reached.of(path, fault)})
    word = survives(copy, CORE_FILE, Fault(1, 0, 0, "", ""), tests, 3600)
    if word != "survived":
        raise SystemExit(f"the {len(tests)} tests must pass without a fault: {word}")
    started = time.monotonic()
    for path, fault in rows:
        tests = reached.of(path, fault)
        word = survives(copy, path, fault, tests, args.seconds)
        seen[word] += 1
        if word != "killed":
            print(f"{word} {len(tests)} tests: {path}:{fault}", flush=True)
    tried = sum(seen.values())
    # A test that never ends notices a fault, but on a busy machine any test may seem to be one:
    # what is late is told and not counted.
    noticed = seen["killed"]
    share = 100 * noticed / tried if tried else 0.0
    took = time.monotonic() - started
    print(f"{tried} faults in {took:.0f} s, {noticed} noticed ({share:.1f} %): {dict(seen)}")


if __name__ == "__main__":
    main()
