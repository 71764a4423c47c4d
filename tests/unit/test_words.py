"""Numbers with their nouns, directions and ranges as every text writes them."""

from __future__ import annotations

import shlex
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._findings import Finding
from safeframe._words import command_lines, count, milliseconds, ranges, seconds, way


@pytest.mark.parametrize(
    ("number", "shown"), [(0, "0 octets"), (1, "1 octet"), (2, "2 octets"), (-1, "-1 octets")]
)
def test_a_number_agrees_with_its_noun(number: int, shown: str) -> None:
    assert count(number, "octet") == shown


def test_an_irregular_plural_is_given() -> None:
    assert [count(number, "entry", "entries") for number in (1, 2)] == ["1 entry", "2 entries"]


@given(st.integers(0, 1 << 50))
def test_a_time_is_shown_to_the_microsecond(time_us: int) -> None:
    """No digit of a time MUST be lost, however long it is."""
    for show, unit_us in ((milliseconds, 1000), (seconds, 1_000_000)):
        number = show(time_us).rpartition(" ")[0]
        assert Fraction(number) * unit_us == time_us
        assert not number.endswith((".", ".0"))


@given(st.lists(st.text("ab -'\"\\\\<|$", max_size=12), max_size=9), st.integers(10, 80))
def test_a_command_in_lines_is_the_same_command(words: list[str], columns: int) -> None:
    """A shell MUST read the words that were given, each line but the last behind a backslash."""
    whole = shlex.join(["safeframe", *words])
    lines = command_lines(whole, columns)
    assert all(line.endswith(" \\") for line in lines[:-1])
    assert shlex.split("\n".join(lines).replace(" \\\n    ", " ")) == shlex.split(whole)
    for line in lines:
        assert len(line) <= columns or len(shlex.split(line.removesuffix("\\"))) <= 2


def test_a_direction_names_both_ends() -> None:
    assert way("SC1", "LX") == "SC1 -> LX"
    assert way("A -> B", "LX") == '"A -> B" -> LX'
    assert way("A", "->") == 'A -> "->"'


def test_a_finding_without_a_direction_has_none() -> None:
    plain = Finding(rule="r", severity="note", message="m", remedy="r", spots=())
    assert plain.direction == ""
    both = replace(plain, producer="A -> B", consumer="C")
    assert both.direction == '"A -> B" -> C'


class TestRanges:
    """Runs hold exactly the numbers given, and two runs never touch."""

    @given(st.sets(st.integers(0, 60)))
    def test_runs(self, numbers: set[int]) -> None:
        runs = ranges(sorted(numbers))
        assert [number for run in runs for number in run] == sorted(numbers)
        assert all(one.stop < two.start for one, two in pairwise(runs))
