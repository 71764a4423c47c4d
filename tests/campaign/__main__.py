"""Run ``python -m tests.campaign --pairs 30000 --seed 1``; figures and examples of complaints.

The figures so far go to standard error after every thousand pairs.
"""

from __future__ import annotations

import argparse
import sys

from .mutate import MUTATORS
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
    lines.append(f"mended one by one: {tally.mended}; a question is left: {tally.asked}")
    for (number, kind), count in sorted(tally.complaints.items()):
        lines.append(f"{number} mistakes: {count} x {kind}")
    return "\n".join(lines)


def _whole(tally: Tally, most: int) -> str:
    """Return the figures, how often each kind of mistake was made, and examples of complaints."""
    lines = [_figures(tally), f"{len(tally.kinds)} of {len(MUTATORS)} kinds of mistakes:"]
    lines += [f"{tally.kinds[kind]:8} {kind}" for kind in MUTATORS]
    for kind, examples in sorted(tally.examples.items()):
        lines += [f"  {kind}: seed {seed}: {words}" for seed, words in examples[:most]]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=3)
    args = parser.parse_args()

    def watch(tally: Tally) -> None:
        if sum(tally.pairs.values()) % 1000 == 0:
            sys.stderr.write(f"{_whole(tally, args.examples)}\n\n")

    print(_whole(campaign(args.pairs, args.seed, watch=watch), args.examples))


if __name__ == "__main__":
    main()
