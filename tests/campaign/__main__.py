"""Run ``python -m tests.campaign --pairs 30000 --seed 1``; figures and examples of complaints."""

from __future__ import annotations

import argparse

from .run import campaign


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=3)
    args = parser.parse_args()
    tally = campaign(args.pairs, args.seed)
    print("mistakes  pairs  findings")
    for number in sorted(tally.pairs):
        print(f"{number:8} {tally.pairs[number]:6} {tally.findings[number]:9}")
    print(f"one mistake, its one right finding alone: {tally.right_alone} of {tally.pairs[1]}")
    print(f"remedies carried out: {tally.remedies}")
    for (number, kind), count in sorted(tally.complaints.items()):
        print(f"{number} mistakes: {count} x {kind}")
    for kind, examples in sorted(tally.examples.items()):
        for seed, words in examples[: args.examples]:
            print(f"  {kind}: seed {seed}: {words}")


if __name__ == "__main__":
    main()
