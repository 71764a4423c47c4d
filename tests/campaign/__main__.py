"""Run ``python -m tests.campaign --pairs 30000 --seed 1``; figures and examples of complaints.

The figures so far go to standard error after every thousand pairs.
"""

from __future__ import annotations

import argparse
import sys

from .run import Tally, campaign


def _figures(tally: Tally) -> str:
    lines = ["mistakes  pairs  findings"]
    lines += [
        f"{number:8} {tally.pairs[number]:6} {tally.findings[number]:9}"
        for number in sorted(tally.pairs)
    ]
    lines.append(
        f"one mistake, its one right finding alone: {tally.right_alone} of {tally.pairs[1]}"
    )
    lines.append(f"remedies carried out: {tally.remedies}")
    for (number, kind), count in sorted(tally.complaints.items()):
        lines.append(f"{number} mistakes: {count} x {kind}")
    return "\n".join(lines)


def _watch(tally: Tally) -> None:
    if sum(tally.pairs.values()) % 1000 == 0:
        sys.stderr.write(f"{_figures(tally)}\n\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=3)
    args = parser.parse_args()
    tally = campaign(args.pairs, args.seed, watch=_watch)
    print(_figures(tally))
    for kind, examples in sorted(tally.examples.items()):
        for seed, words in examples[: args.examples]:
            print(f"  {kind}: seed {seed}: {words}")


if __name__ == "__main__":
    main()
