"""Time to read a large ESI file, beside the standard library's parser building a tree of it.

Run: python tests/bench/bench_importing.py. The file has 3 MB and 85,000 elements: 76 devices with a
container of FSCP 12/1 in each direction and a dictionary. One device is imported, both directions.
Medians of nine runs, one after the other in turn, in one process.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from xml.etree import ElementTree as Tree

import safeframe
from safeframe import importing

_RUNS = 9
_DEMO = Path(safeframe.__file__).parent / "_demo" / "device-files" / "esi.xml"


def device(number: int) -> str:
    """Return a device with about 1,120 elements."""
    objects = "".join(
        f"<Object><Index>#x{0x2000 + place:x}</Index><Name>Object {place}</Name><Type>UDINT</Type>"
        "<BitSize>32</BitSize><Info><DefaultData>00000000</DefaultData></Info></Object>\n"
        for place in range(145)
    )
    text = _DEMO.read_text("utf-8")
    found = text[text.index("<Device ") : text.index("</Device>") + len("</Device>")]
    found = found.replace('RevisionNo="1"', f'RevisionNo="{number}"')
    return found.replace("</Objects>", f"{objects}</Objects>")


def file() -> bytes:
    """Return the whole file."""
    text = _DEMO.read_text("utf-8")
    start, end = text.index("<Device "), text.index("</Device>") + len("</Device>")
    return (text[:start] + "\n".join(map(device, range(1, 77))) + text[end:]).encode()


def read(octets: bytes) -> importing.Imported:
    """Import both directions of one device."""
    return importing.imported(
        importing.find_format("esi"),
        importing.DeviceFile("lx.xml", octets),
        ("device:0x1:40/rx:0x1601", "device:0x1:40/tx:0x1a01"),
        importing.Identity(connection="SC1-LX", end="LX", peer="SC1", role="slave"),
        importing.Decisions(viewpoint="device"),
    )


def seconds(act: Callable[[], object]) -> float:
    """Return the time of one run."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def main() -> None:
    octets = file()
    elements = sum(1 for _ in Tree.fromstring(octets).iter())
    rows = [
        (seconds(lambda: Tree.fromstring(octets)), seconds(lambda: read(octets)))
        for _ in range(_RUNS)
    ]
    bare, whole = (median(column) for column in zip(*rows, strict=True))
    sys.stdout.write(
        f"{len(octets)} octets, {elements} elements: tree {1000 * bare:.0f} ms, import "
        f"{1000 * whole:.0f} ms, {whole / bare:.2f} times\n"
    )


if __name__ == "__main__":
    main()
