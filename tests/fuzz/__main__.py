"""``python -m tests.fuzz READER --runs 1000000``: run long, report executions and coverage."""

from __future__ import annotations

import argparse
import sys

from tests.fuzz.loop import run
from tests.fuzz.readers import READERS


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("reader", choices=[*READERS, "all"], help="what reads the spoilt inputs")
    parser.add_argument("--runs", type=int, default=1_000_000, help="inputs (default: 1000000)")
    parser.add_argument("--seed", type=int, default=0, help="start of the random numbers")
    args = parser.parse_args()
    for name in READERS if args.reader == "all" else [args.reader]:
        reader = READERS[name]
        found = run(reader.read, reader.seeds(), args.runs, args.seed)
        sys.stdout.write(
            f"{name}: {found.runs} inputs in {found.seconds:.0f} s, {found.refused} refused, "
            f"{found.lines} lines reached, {found.lines - found.first_lines} of them new, "
            f"{len(found.kept)} inputs kept\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
