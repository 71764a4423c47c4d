"""Exact weights of a whole code: ours, a numpy popcount and a C loop, in one run.

Run: python tests/bench/bench_residual.py [--long]. Prints medians of wall time for all dual words
of r check bits over n bits. The yardsticks: the usual Gray-code loop over dual words in C (gcc -O2
-mpopcnt; nothing compiled ships) and the same split in two tables in numpy with bitwise_count. With
--long also r = 32, which takes a minute or two. Goals: r = 16 in 20 ms, r = 24 in 3 s (0.1 s with
numpy), r = 32 in 30 s with numpy on two cores.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from safeframe.residual import (
    Effort,
    contiguous,
    powers,
    weights,
)
from safeframe.residual import (
    _slices as slices,
)
from safeframe.residual import (
    _windows as windows,
)

GENERATORS = {16: 0x139B7, 24: 0x15D6DCB, 32: 0x1F4ACFB13}
LENGTHS = {16: (32, 104, 400), 24: (48, 104, 400), 32: (64, 208, 400)}

C_SOURCE = r"""
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
int main(int argc, char **argv) {
    int r = atoi(argv[1]), n = argc - 2, words = (n + 63) / 64;
    uint64_t row[32][8] = {{0}}, word[8] = {0};
    static uint64_t counts[513];
    for (int j = 0; j < n; j++) {
        uint64_t column = strtoull(argv[2 + j], 0, 16);
        for (int i = 0; i < r; i++) row[i][j / 64] |= (column >> i & 1) << (j % 64);
    }
    counts[0] = 1;
    for (uint64_t u = 1; u < 1ull << r; u++) {
        int bit = __builtin_ctzll(u), weight = 0;
        for (int w = 0; w < words; w++) {
            word[w] ^= row[bit][w];
            weight += __builtin_popcountll(word[w]);
        }
        counts[weight]++;
    }
    for (int i = 0; i <= n; i++) printf("%llu ", (unsigned long long)counts[i]);
    return 0;
}
"""


def compiled(folder: Path) -> Path | None:
    """Compile the C loop; None without a compiler."""
    source, program = folder / "loop.c", folder / "loop"
    source.write_text(C_SOURCE, encoding="ascii")
    try:
        subprocess.run(["gcc", "-O2", "-mpopcnt", "-o", str(program), str(source)], check=True)
    except (OSError, subprocess.CalledProcessError):
        return None
    return program


def in_c(program: Path, width: int, bits: int) -> list[int]:
    columns = [f"{column:x}" for column in powers(GENERATORS[width], range(bits))]
    done = subprocess.run(
        [str(program), str(width), *columns], capture_output=True, text=True, check=True
    )
    return [int(count) for count in done.stdout.split()]


def in_numpy(width: int, bits: int) -> list[int]:
    """Count with a table of the low half of the rows, XORed with each word of the high half."""
    words = -(-bits // 64)
    rows = np.zeros((width, words), np.uint64)
    for index, column in enumerate(powers(GENERATORS[width], range(bits))):
        for bit in range(width):
            rows[bit, index // 64] |= np.uint64((column >> bit & 1) << index % 64)
    split = min(width, 14)
    table = np.zeros((1 << split, words), np.uint64)
    for bit in range(split):
        table[1 << bit : 2 << bit] = table[: 1 << bit] ^ rows[bit]
    planes = np.ascontiguousarray(table.T)
    counts = np.zeros(bits + 1, np.int64)
    high = np.zeros(words, np.uint64)
    for step in range(1 << (width - split)):
        if step:
            high ^= rows[split + (step & -step).bit_length() - 1]
        weight = np.bitwise_count(planes[0] ^ high[0]).astype(np.uint16)
        for word in range(1, words):
            weight += np.bitwise_count(planes[word] ^ high[word])
        counts += np.bincount(weight, minlength=bits + 1)
    return [int(count) for count in counts]


def timed(work: Callable[[], object], rounds: int) -> float:
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def shown(seconds: float | None) -> str:
    if seconds is None:
        return f"{'-':>10}"
    return f"{seconds * 1000:8.1f}ms" if seconds < 1 else f"{seconds:9.2f}s"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true", help="also r = 32")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        program = compiled(Path(folder))
        print(f"{'r':>3}{'n':>6}{'plain ints':>12}{'with numpy':>12}{'2 proc.':>11}", end="")
        print(f"{'numpy loop':>12}{'C loop':>11}{'ours / C':>10}")
        for width in (16, 24, 32) if args.long else (16, 24):
            for bits in LENGTHS[width]:
                row(width, bits, program)
    return 0


def row(width: int, bits: int, program: Path | None) -> None:
    """Measure one code; every way must count the same."""
    code = contiguous(GENERATORS[width], bits)
    rounds = {16: 15, 24: 5, 32: 1}[width]
    rows = slices.reduced(code.parts[0].own, width)
    dual = tuple(weights(code).dual) or tuple(slices.histogram(rows, bits))
    way = windows.plan(GENERATORS[width])
    assert way is not None
    plain = timed(lambda: slices.histogram(rows, bits), rounds) if width < 32 else None
    windowed = timed(lambda: windows.histograms(way, [bits]), rounds)
    two = timed(lambda: weights(code, Effort(processes=2)), rounds) if width == 32 else None
    loop = timed(lambda: in_numpy(width, bits), rounds)
    c_loop = None
    if program is not None:
        found: list[list[int]] = []
        c_loop = timed(lambda: found.append(in_c(program, width, bits)), rounds)
        assert tuple(found[0]) == dual
    if width < 32:
        assert tuple(in_numpy(width, bits)) == dual
    ours = min(value for value in (plain, windowed, two) if value is not None)
    ratio = f"{ours / c_loop:9.2f}x" if c_loop else f"{'-':>10}"
    print(
        f"{width:3}{bits:6}  {shown(plain)}  {shown(windowed)} {shown(two)}  "
        f"{shown(loop)} {shown(c_loop)}{ratio}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
