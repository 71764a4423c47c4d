"""A million spoilt recordings: no reader may raise, hang, or ask for absurd memory.

Run: ``python tests/bench/fuzz_readers.py [INPUTS]``. Good recordings of every format are spoilt
(octets changed, removed, doubled, lengths made absurd, files cut and joined), read, and examined.
Everything that comes out must be a packet, a trouble or a finding; an exception ends the run and
prints the input.
"""

from __future__ import annotations

import io
import multiprocessing
import resource
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from safeframe import capture, fixtures
from safeframe.capture import Packet, Skipped, Trouble
from tests.unit.links import CASES, make

_PROCESSES = 2
_CASES = [CASES[1], CASES[2], CASES[3], CASES[10]]


def seeds() -> list[tuple[int, bytes]]:
    """Return (case, recording) pairs of every format, small enough to be spoilt quickly."""
    found = []
    for number, case in enumerate(_CASES):
        link = make(*case)
        sets = fixtures.make(link, "states", seed=number, count=2)
        steps = tuple(sets[0].steps[-4:])
        small = [fixtures.FrameSet(label="s", title="t", steps=steps)]
        forms = [
            fixtures.write(small, link, form, title="t") for form in ("hex", "jsonl", "pcapng")
        ]
        found += [(number, octets) for octets in (*forms, _as_pcap(forms[-1]))]
    return found


def _as_pcap(block: bytes) -> bytes:
    from dpkt import pcap, pcapng

    out = io.BytesIO()
    writer = pcap.Writer(out)
    for seconds, packet in pcapng.Reader(io.BytesIO(block)):
        writer.writepkt(packet, seconds)
    return out.getvalue()


def spoilt(octets: bytes, random: Random) -> bytes:
    """Return a recording with one to four faults."""
    spoil = bytearray(octets)
    for _ in range(random.randrange(1, 5)):
        size = len(spoil)
        at = random.randrange(size) if size else 0
        kind = random.randrange(7)
        if kind == 0 and size:
            spoil[at] ^= 1 << random.randrange(8)
        elif kind == 1:
            del spoil[at : at + random.randrange(1, 20)]
        elif kind == 2:
            spoil[at:at] = random.randbytes(random.randrange(1, 12))
        elif kind == 3:
            spoil[at : at + 4] = random.choice(
                (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\xff\xff\xff\x7f", b"\0\0\x40\0")
            )
        elif kind == 4:
            del spoil[at:]
        elif kind == 5:
            spoil += spoil[at : at + 200]
        elif size:
            spoil[at] = random.randrange(256)
    return bytes(spoil)


def work(job: tuple[int, int]) -> Counter[str]:
    """Read and examine a number of spoilt recordings."""
    seed, count = job
    random = Random(seed)
    links = [make(*case) for case in _CASES]
    recordings = seeds()
    seen: Counter[str] = Counter()
    for number in range(count):
        case, octets = recordings[random.randrange(len(recordings))]
        octets = spoilt(octets, random)
        try:
            rows = list(capture.read_recording(io.BytesIO(octets)))
            for row in rows:
                assert isinstance(row, Packet | Trouble | Skipped)
                seen[getattr(row, "kind", "packet read")] += 1
            if number % 8 == 0:
                found = capture.examine(rows, links[case])
                seen["examined, clean" if found.is_clean else "examined, not clean"] += 1
        except BaseException:
            print(f"seed {seed}, input {number}: {octets.hex()}", flush=True)
            raise
    return seen


def main() -> None:
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    part = 10_000
    jobs = [(number, min(part, total - part * number)) for number in range(-(-total // part))]
    start = time.perf_counter()
    seen: Counter[str] = Counter()
    with multiprocessing.Pool(_PROCESSES) as pool:
        for found in pool.imap_unordered(work, jobs):
            seen += found
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    spent = time.perf_counter() - start
    print(f"{total} inputs in {spent:.0f} s, peak {peak / 1024:.0f} MiB a process, no exception")
    for kind, count in sorted(seen.items()):
        print(f"{count:10}  {kind}")


if __name__ == "__main__":
    main()
