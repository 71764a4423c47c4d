"""Check the bound of OPC 10000-15 clause 9.3 for every length of safety data.

The clause says that the conditional residual error probability stays at or below 4.0e-10 for 1 to
1500 octets of safety data and every bit error probability up to 0.5. For each length this takes
the exact weights of the whole response (octets + 25) and the largest P_ud(p) / (1 - (1-p)^n) found
on a grid of p, and writes one JSON line to the results file; a second call goes on where the first
one stopped.

    python tests/bench/full_opcua.py results.jsonl --processes 2             # about an hour
    python tests/bench/full_opcua.py results.jsonl --processes 2 --ladder    # about ten minutes
    python tests/bench/full_opcua.py results.jsonl --step 100                # a sample

With --ladder only some lengths get exact weights; in between, two facts bound the probability:
patterns of the shorter code are patterns of the longer one, so A_k grows with the length n; and
each dual word only gains weight, so the sum of (1-2p)^i over them falls. With n1 < n < n2:

    P_ud(n, p) <= P_ud(n2, p) (1-p)^(n-n2)
    P_ud(n, p) <= P_ud(n1, p) + (1-p)^n1 - (1-p)^n
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from safeframe.residual import Weights, curve, peak
from safeframe.residual import _spectrum as spectrum
from safeframe.residual import _windows as windows

GENERATOR = 0x1F4ACFB13
BOUND = 4.0e-10
LONGEST = 1500
TOGETHER = 20
"""Lengths walked in one pass over the sequences."""
RATIO = 0.0235
"""Largest gap of the ladder as a share of the length: the bounds meet at about 0.0236."""

Row = dict[str, Any]


def bits_of(octets: int) -> int:
    return 8 * (octets + 25)


def chunks_of(wanted: list[int]) -> list[list[int]]:
    """Return the lengths in chunks, spread over all of them if the run is interrupted."""
    chunks = [wanted[begin : begin + TOGETHER] for begin in range(0, len(wanted), TOGETHER)]
    spread = sorted(range(len(chunks)), key=lambda number: f"{number:012b}"[::-1])
    return [chunks[number] for number in spread]


def exact(octets: Iterable[int], processes: int) -> dict[int, Weights]:
    """Return the exact weights for some lengths of data."""
    way = windows.plan(GENERATOR)
    assert way is not None
    chosen = list(octets)
    found = {}
    walked = windows.histograms(way, [bits_of(size) for size in chosen], processes=processes)
    for size, counts in zip(chosen, walked, strict=True):
        bits = bits_of(size)
        rest = spectrum.remainder(way, bits)
        dual = tuple(a + b for a, b in zip(counts, rest, strict=True))
        low = tuple(spectrum.from_dual(dual, 32, spectrum.LOW_ORDERS))
        found[size] = Weights(bits=bits, check_bits=32, rank=32, counts=low, dual=dual)
    return found


def exact_row(octets: int, given: Weights) -> Row:
    top = peak(given, condition=True)
    return {
        "octets": octets,
        "bits": given.bits,
        "distance": given.distance,
        "patterns": str(given.counts[given.distance or 0]),
        "at": float(top.p),
        "largest": float(top.value),
    }


def ladder() -> list[int]:
    """Return lengths whose gaps are short enough for the bounds in between."""
    rungs = [1]
    while rungs[-1] < LONGEST:
        step = max(1, int(RATIO * bits_of(rungs[-1]) / 8))
        rungs.append(min(LONGEST, rungs[-1] + step))
    return rungs


def between(low: Weights, high: Weights, sizes: Iterable[int]) -> list[Row]:
    """Return the bound for each length between two exact ones, as rows."""
    shorter, longer = curve(low, -5, 400), curve(high, -5, 400)
    points = [(10**log, 10**a, 10**b) for (log, a), (_, b) in zip(shorter, longer, strict=True)]
    rows = []
    for octets in sizes:
        bits = bits_of(octets)
        worst, at = 0.0, 0.0
        for p, below, above in points:
            from_longer = above * (1 - p) ** (bits - high.bits)
            from_shorter = below + (1 - p) ** low.bits - (1 - p) ** bits
            value = min(from_longer, from_shorter) / (1 - (1 - p) ** bits)
            if value > worst:
                worst, at = value, p
        rows.append({"octets": octets, "bits": bits, "at": at, "at_most": worst})
    return rows


def run_ladder(processes: int) -> Iterable[list[Row]]:
    rungs = ladder()
    last: tuple[int, Weights] | None = None
    for begin in range(0, len(rungs), TOGETHER):
        found = exact(rungs[begin : begin + TOGETHER], processes)
        rows = []
        for octets, given in found.items():
            if last is not None:
                rows += between(last[1], given, range(last[0] + 1, octets))
            rows.append(exact_row(octets, given))
            last = (octets, given)
        yield rows


def run_all(wanted: list[int], processes: int) -> Iterable[list[Row]]:
    for chunk in chunks_of(wanted):
        yield [exact_row(size, given) for size, given in exact(chunk, processes).items()]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("results", type=Path)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--step", type=int, default=1)
    parser.add_argument("--ladder", action="store_true")
    args = parser.parse_args()
    done: dict[int, Row] = {}
    if args.results.exists():
        for line in args.results.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            if "largest" in row or row["octets"] not in done:
                done[row["octets"]] = row
    have = {size for size, row in done.items() if "largest" in row}
    wanted = sorted({*range(1, LONGEST + 1, args.step), LONGEST} - have)
    total = len(ladder()) if args.ladder else len(wanted)
    work = run_ladder(args.processes) if args.ladder else run_all(wanted, args.processes)
    started = time.monotonic()
    seen = 0
    for rows in work:
        seen += sum("largest" in row for row in rows)
        with args.results.open("a", encoding="utf-8") as stream:
            stream.writelines(json.dumps(row) + "\n" for row in rows)
        done |= {
            row["octets"]: row for row in rows if "largest" in row or row["octets"] not in done
        }
        spent = time.monotonic() - started
        sys.stderr.write(f"{seen} of {total} after {spent:.0f} s of {spent / seen * total:.0f} s\n")
    return tell(done)


def tell(done: dict[int, Row]) -> int:
    sure = [row for row in done.values() if "largest" in row]
    bounded = [row for row in done.values() if "largest" not in row]
    worst = max(sure, key=lambda row: row["largest"])
    sys.stdout.write(
        f"{len(sure)} lengths exactly: largest conditional probability {worst['largest']:.10e} "
        f"at p = {worst['at']:.4g} with {worst['octets']} octets\n"
    )
    if bounded:
        top = max(bounded, key=lambda row: row["at_most"])
        sys.stdout.write(
            f"{len(bounded)} lengths between them: at most {top['at_most']:.4e} "
            f"at p = {top['at']:.4g} with {top['octets']} octets\n"
        )
    values = {size: row["largest" if "largest" in row else "at_most"] for size, row in done.items()}
    above = [size for size, value in values.items() if value > BOUND]
    sys.stdout.write(f"bound {BOUND:.1e}: above it {above or 'none'} of {len(done)} lengths\n")
    return 1 if above else 0


if __name__ == "__main__":
    sys.exit(main())
