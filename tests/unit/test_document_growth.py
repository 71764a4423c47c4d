"""The work for a file in which everything is wrong grows with its size, not with its square."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from types import FrameType

import pytest

from safeframe import _baseline, protocols, record
from safeframe import _mapfile as mapfile
from safeframe import cases as case_files
from safeframe._errors import InputError
from safeframe._plant import file as plantfile

MAP = 'format = "safeframe-map/1"\n'
PLANT = 'format = "safeframe-plant/1"\nname = "x"\n'
PROFILE = 'format = "safeframe-profile/1"\n'
SHEET = "direction,at,name,value\nformat,,,safeframe-map/1\n"


def rows(head: str, row: str, tail: str = "") -> Callable[[int], str]:
    return lambda count: head + "".join(row.replace("#", str(at)) for at in range(count)) + tail


def cases(count: int) -> str:
    return json.dumps({"format": "safeframe-cases/1", "cases": [{"x": 1}] * count}, indent=0)


def known(count: int) -> str:
    return json.dumps({"format": "safeframe-baseline/1", "findings": [{"x": 1}] * count}, indent=0)


def signed(count: int) -> str:
    return json.dumps(
        {"format": "safeframe-record/1", "people": {"x#": 1}}
        | {f"k{at}": [] for at in range(count)}
    )


def sheet(text: str) -> object:
    return mapfile.loads(text, format="csv")


BAD: dict[str, tuple[Callable[[str], object], Callable[[int], str]]] = {
    "unknown keys of a profile": (protocols.loads, rows(PROFILE, "watchdg_# = 1\n")),
    "sizes of a profile": (protocols.loads, rows(f"{PROFILE}sizes = [\n", "{ frist = # },\n", "]")),
    "unknown keys of a map": (mapfile.loads, rows(MAP, "x# = 1\n")),
    "entries of a map": (mapfile.loads, rows(f"{MAP}sends = [\n", "{ at = 1, naem = # },\n", "]")),
    "tables of a map": (mapfile.loads, rows(MAP, "[[sends]]\nnaem = #\n")),
    "dotted keys of a map": (mapfile.loads, rows(MAP, "a#.b.c.d = 1\n")),
    "rows of a sheet": (sheet, rows(SHEET, "sends,#,,\n")),
    "too long rows of a sheet": (sheet, rows(SHEET, "sends,#,,,,\n")),
    "connections of a plant": (
        plantfile.loads,
        rows(f"{PLANT}connections = [\n", "{ edns = # },\n", "]"),
    ),
    "cases": (case_files.loads, cases),
    "lines of cases": (
        case_files.loads,
        rows('{"format": "safeframe-cases/1"}\n', '{"id": "a", "subject": #}\n'),
    ),
    "known findings": (_baseline.loads, known),
    "a record": (record.loads, signed),
}


def calls(load: Callable[[str], object], text: str) -> int:
    """Return how many functions, those of C included, a refusal takes."""
    count = 0

    def counted(_frame: FrameType, event: str, _of: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(counted)
    try:
        with pytest.raises(InputError) as caught:
            load(text)
    finally:
        sys.setprofile(before)
    assert str(caught.value.problems[-1].message).endswith("more problems")
    return count


@pytest.mark.parametrize("name", BAD)
def test_twice_the_size_takes_at_most_twice_the_work(name: str) -> None:
    load, text = BAD[name]
    calls(load, text(200))  # What is made once is made.
    assert calls(load, text(1600)) <= 2.1 * calls(load, text(800))
