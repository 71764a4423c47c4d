"""Frames for each second: built and verified, against the same layout in construct alone.

Run ``python tests/bench/bench_frame.py``. Medians, all rows of a profile measured in turns.
construct only cuts and joins the octets: it computes no CRC and judges nothing.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from safeframe import crc, frame

LOOPS = 3_000
REPETITIONS = 9
SENDER: dict[str, Any] = {"vendor_id": 1, "device_serial": 2, "connection_serial": 3}
CASES: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    (
        "fscp-12-1",
        {"data": bytes(4), "command": 0x36},
        {"connection_id": 7, "peer_crc0": 9, "sequence": 3},
    ),
    (
        "fscp-13-1",
        {"data": bytes(8), "address": 1, "consecutive_time": 5},
        {"domain": 3, "manager_id": bytes(6)},
    ),
    ("fscp-2-1", {"data": bytes(4), "time_stamp": 5}, {"format": "base", **SENDER}),
    ("fscp-3-1", {"data": bytes(4), "status": 0x20}, {"number": 5, "parameter_crc": 0x22FF}),
    (
        "opcua-safety",
        {"data": bytes(8), "flags": 0},
        {
            "spdu_id_1": 1,
            "spdu_id_2": 2,
            "spdu_id_3": 3,
            "consumer_id": 4,
            "monitoring_number": 256,
        },
    ),
]


def rates(rows: dict[str, Callable[[], Any]]) -> dict[str, float]:
    """Return the calls for each second of every row, all rows measured in turns."""
    times: dict[str, list[float]] = {name: [] for name in rows}
    for _ in range(REPETITIONS):
        for name, call in rows.items():
            start = time.perf_counter()
            for _ in range(LOOPS):
                call()
            times[name].append(time.perf_counter() - start)
    return {name: LOOPS / statistics.median(found) for name, found in times.items()}


def main() -> None:
    """Print one table for each profile."""
    print(crc.engine())
    for profile, values, known in CASES:
        octets = frame.build(profile, **values, **known)
        kind = frame.inspect(profile, octets, **known).kind
        where = frame.layout(profile, len(values["data"]), kind)
        parts = where.cut(octets)
        struct = where.struct
        rows: dict[str, Callable[[], Any]] = {
            "build": partial(frame.build, profile, **values, **known),
            "construct build": partial(struct.build, parts),
            "verify": partial(frame.verify, profile, octets, **known),
            "parse": partial(frame.parse, profile, octets, **known),
            "construct parse": partial(struct.parse, octets),
            "inspect": partial(frame.inspect, profile, octets, **known),
        }
        found = rates(rows)
        print(f"{profile}, {len(octets)} octets; ratio to construct doing the same way")
        for name, rate in found.items():
            base = found["construct build" if "build" in name else "construct parse"]
            print(f"  {name:16} {rate / 1000:8.1f} k/s  x {rate / base:5.2f}")


if __name__ == "__main__":
    main()
