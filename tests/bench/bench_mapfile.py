"""Time to load a map of 40 rows, beside the TOML parser alone, and what the steps cost.

Run: python tests/bench/bench_mapfile.py. All variants take turns in one run; medians.
"""

from __future__ import annotations

import statistics
import sys
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from safeframe._document.locate import Index
from safeframe._mapfile import dumps, loads
from safeframe._mapfile.patch import Patch

ROUNDS = 400
ROWS = 40


def typical_map() -> str:
    """Return a map of 40 rows: bits with binding and meaning, a code, a number, reserved runs."""
    lines = [
        'format = "safeframe-map/1"',
        'connection = { name = "SC1-LX", profile = "fscp-12-1", id = 0x0107, watchdog_ms = 100 }',
        'end = { name = "SC1", peer = "LX", role = "master", address = 1 }',
        "sends = [",
    ]
    for number in range(ROWS):
        at = f"{number // 2}.{number % 2 * 4}"
        if number % 10 == 9:
            lines.append(f'  {{ at = "{at}", reserved = 4 }},')
        elif number % 10 == 4:
            lines.append(
                f'  {{ at = "{at}", name = "level_{number}", width = 2, type = "code", '
                'codes = { 0 = "standstill", 1 = "creep", 2 = "half", 3 = "full" }, '
                f'bind = "Lift.Level{number}" }},'
            )
        else:
            lines.append(
                f'  {{ at = "{at}", name = "permit_{number}", bind = "Lift.Permit{number}", '
                f'one_means = "motion {number} is permitted" }},  # hall 3'
            )
    return "\n".join([*lines, "]", ""])


def medians_ms(calls: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Return the median time of every call in milliseconds; the calls take turns."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(ROUNDS):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(taken) * 1e3 for name, taken in times.items()}


def main() -> None:
    """Print the table."""
    text = typical_map()
    end = loads(text)
    sheet = dumps(end, format="csv")
    calls: dict[str, Callable[[], object]] = {
        "tomllib alone": lambda: tomllib.loads(text),
        "locating alone": lambda: Index(text),
        "load TOML": lambda: loads(text),
        "load CSV": lambda: loads(sheet, format="csv"),
        "write TOML": lambda: dumps(end),
        "write CSV": lambda: dumps(end, format="csv"),
        "patch one key": lambda: Patch(text).set_key("sends", 9, "reserved", 3),
    }
    medians = medians_ms(calls)
    base = medians["tomllib alone"]
    print(f"{ROWS} rows, {len(text)} characters, {ROUNDS} rounds, Python {sys.version.split()[0]}")
    for name, median in medians.items():
        print(f"{name:16} {median:7.3f} ms  {median / base:5.2f} x tomllib")


if __name__ == "__main__":
    main()
