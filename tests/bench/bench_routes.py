"""Routes of a plant: time to follow and judge them against the check of the connections alone.

Run: python tests/bench/bench_routes.py [CONNECTIONS]. As many routes as connections, in three
shapes: a line (each connection on two routes), a hub (one controller hands all of them on) and a
fan (one signal goes on to all). Prints medians of processor time, for a tenth of the connections
too: the time must grow linearly.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial

from safeframe import _checks as checks
from safeframe._checks.plant_routes import routed
from safeframe._model import Plant
from safeframe._plant import file as plantfile
from safeframe._tracing import trace

ROUNDS = 3
Row = tuple[str, str, str]
"""Name, variable of the producer, variable of the consumer."""


def map_text(name: str, end: str, peer: str, sends: list[str], receives: list[str]) -> str:
    """Return a map file."""
    bits = []
    for rows in (sends, receives):
        lines = [f'  {{ at = "0.{at}", {row} }},\n' for at, row in enumerate(rows)]
        left = 8 - len(rows)
        bits.append("".join(lines) + f'  {{ at = "0.{len(rows)}", reserved = {left} }},\n')
    return (
        'format = "safeframe-map/1"\n'
        f'connection = {{ name = "{name}", profile = "plain", watchdog_ms = 100, '
        "exchange_ms = 10 }\n"
        f'end = {{ name = "{end}", peer = "{peer}" }}\n'
        f"sends = [\n{bits[0]}]\nreceives = [\n{bits[1]}]\n"
    )


def link(name: str, first: str, second: str, rows: list[Row]) -> tuple[str, str]:
    """Return the map files of both ends of a connection whose first end sends."""
    word = 'name = "{}", one_means = "granted", bind = "{}"'
    return (
        map_text(name, first, second, [word.format(one, sent) for one, sent, _ in rows], []),
        map_text(name, second, first, [], [word.format(one, got) for one, _, got in rows]),
    )


def line(count: int) -> tuple[list[tuple[str, str]], list[str]]:
    """Return maps and routes: each end hands what it gets on to the next one."""
    maps = [
        link(f"C{n}", f"E{n}", f"E{n + 1}", [("x", "X", f"W{n}"), ("y", f"W{n - 1}", "Y")])
        for n in range(count)
    ]
    routes = [
        f'{{ from = "E{n}.x", through = [{{ end = "E{n + 1}" }}], to = "E{n + 2}.y" }}'
        for n in range(count - 1)
    ]
    return maps, routes


def hub(count: int) -> tuple[list[tuple[str, str]], list[str]]:
    """Return maps and routes: one controller gets half of the signals and sends the other half."""
    maps = [link(f"I{n}", f"A{n}", "SC1", [("x", "X", f"W{n}")]) for n in range(count // 2)]
    maps += [
        link(f"O{n}", "SC1", f"B{n}", [("y", f"W{n}", "Y"), ("z", f"W{n}", "Z")])
        for n in range(count // 2)
    ]
    routes = [
        f'{{ from = "A{n}.x", through = [{{ end = "SC1" }}], to = "B{n}.{name}" }}'
        for n in range(count // 2)
        for name in "yz"
    ]
    return maps, routes


def fan(count: int) -> tuple[list[tuple[str, str]], list[str]]:
    """Return maps and routes: one signal goes on to every other end."""
    maps = [link("IN", "A", "SC1", [("x", "X", "W")])]
    maps += [link(f"O{n}", "SC1", f"B{n}", [("y", "W", "Y")]) for n in range(count)]
    routes = [
        f'{{ from = "A.x", through = [{{ end = "SC1" }}], to = "B{n}.y" }}' for n in range(count)
    ]
    return maps, routes


def read(maps: list[tuple[str, str]], routes: list[str]) -> Plant:
    """Return the plant of these maps and routes, read from texts."""
    files = {
        f"{n}{side}": text
        for n, both in enumerate(maps)
        for side, text in zip("ab", both, strict=True)
    }
    rows = "".join(f'  {{ ends = ["{n}a", "{n}b"] }},\n' for n in range(len(maps)))
    ways = "".join(f"  {route},\n" for route in routes)
    text = (
        f'format = "safeframe-plant/1"\nname = "hall"\nconnections = [\n{rows}]\n'
        f"routes = [\n{ways}]\n"
    )
    return plantfile.loads(text, path="plant.toml", read=files.__getitem__)


def seconds(work: Callable[[], object]) -> float:
    """Return the median processor time of a call."""
    found = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return statistics.median(found)


def main(count: int) -> None:
    """Measure every shape on the whole set and on a tenth of it."""
    gc.disable()  # As the command runs.
    for shape in (line, hub, fan):
        for number in (count // 10, count):
            maps, routes = shape(number)
            plant = read(maps, routes)
            alone = seconds(partial(checks.check_all, plant.connections))
            report = routed(plant)
            assert not report.findings, report.findings[0]
            ways = seconds(partial(routed, plant))
            name = "C1.x" if shape is line else "A1.x" if shape is hub else "B1.y"
            traced = seconds(partial(trace, plant, name))
            print(
                f"{shape.__name__:5} {len(maps):6} connections, {len(routes):6} routes: "
                f"check {alone:6.2f} s, routes {ways:6.2f} s ({1e6 * ways / len(routes):5.0f} us "
                f"each), trace {traced:6.2f} s"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
