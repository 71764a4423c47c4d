"""Check the bound of OPC 10000-15 clause 9.3 for every length of safety data, exactly.

The clause says that the conditional residual error probability stays at or below 4.0e-10 for 1 to
1500 octets of safety data and every bit error probability up to 0.5. For each length this computes
the exact weights of the whole response (octets + 25) and the largest P_ud(p) / (1 - (1-p)^n) found,
and writes one JSON line to the results file; a second call goes on where the first one stopped.

    python tests/bench/full_opcua.py results.jsonl --processes 2
    python tests/bench/full_opcua.py results.jsonl --step 100     # a sample
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

from safeframe.residual import probability, spectrum, windows

GENERATOR = 0x1F4ACFB13
BOUND = 4.0e-10
TOGETHER = 20
"""Lengths walked in one pass over the sequences."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("results", type=Path)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--step", type=int, default=1)
    args = parser.parse_args()
    done = {}
    if args.results.exists():
        lines = args.results.read_text(encoding="utf-8").splitlines()
        done = {row["octets"]: row for row in map(json.loads, lines)}
    wanted = sorted({*range(1, 1501, args.step), 1500} - set(done))
    way = windows.plan(GENERATOR)
    assert way is not None
    started = time.monotonic()
    chunks = [wanted[begin : begin + TOGETHER] for begin in range(0, len(wanted), TOGETHER)]
    # In an order that spreads what an interrupted run has seen over all lengths.
    spread = sorted(range(len(chunks)), key=lambda number: f"{number:012b}"[::-1])
    for number, chunk in enumerate((chunks[index] for index in spread), start=1):
        lengths = [8 * (octets + 25) for octets in chunk]
        found = windows.histograms(way, lengths, processes=args.processes)
        rows = []
        for octets, bits, walked in zip(chunk, lengths, found, strict=True):
            rest = spectrum.remainder(way, bits)
            dual = tuple(a + b for a, b in zip(walked, rest, strict=True))
            counts = tuple(spectrum.from_dual(dual, 32, spectrum.LOW_ORDERS))
            given = spectrum.Weights(bits=bits, check_bits=32, rank=32, counts=counts, dual=dual)
            top = probability.peak(given, condition=True)
            rows.append(
                {
                    "octets": octets,
                    "bits": bits,
                    "distance": given.distance,
                    "patterns": str(counts[given.distance or 0]),
                    "at": float(top.p),
                    "largest": float(top.value),
                }
            )
        done |= {row["octets"]: row for row in rows}
        with args.results.open("a", encoding="utf-8") as stream:
            stream.writelines(json.dumps(row) + "\n" for row in rows)
        spent = time.monotonic() - started
        share = number / len(chunks)
        sys.stderr.write(f"{share:6.1%} after {spent:.0f} s, of {spent / share:.0f} s\n")
    worst = max(done.values(), key=lambda row: row["largest"])
    above = [row["octets"] for row in done.values() if row["largest"] > BOUND]
    sys.stdout.write(
        f"{len(done)} lengths, largest conditional probability {worst['largest']:.10e} "
        f"at p = {worst['at']:.4g} with {worst['octets']} octets; bound {BOUND:.1e}, "
        f"above it: {above or 'none'}\n"
    )
    return 1 if above else 0


if __name__ == "__main__":
    sys.exit(main())
