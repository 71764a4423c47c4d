"""JSON text: strictly what the standard calls JSON, and the line of whatever stands in it."""

from __future__ import annotations

import json

import pytest

from safeframe._document import jsontext
from safeframe._document.jsontext import lines, parse, read
from safeframe._errors import InputError

TEXT = '{"a": {"b": [1,\n {"c": 2}]},\n"d": [],\n"\\u0065": 3}\n'


def refusal(text: str, *, line: int = 0) -> str:
    with pytest.raises(InputError) as caught:
        parse(text, path="x.json", line=line)
    (problem,) = caught.value.problems
    return str(problem)


def test_what_is_json() -> None:
    assert parse("\ufeff" + TEXT, path="x.json") == {"a": {"b": [1, {"c": 2}]}, "d": [], "e": 3}
    assert parse("[0.5, -1e3]", path="x.json") == [0.5, -1000.0]
    data, tables = read(TEXT, path="x.json")
    assert data["d"] == []
    tables.add(("a", "b", 1), "wrong")
    with pytest.raises(InputError) as caught:
        tables.problems.refuse()
    assert [problem.line for problem in caught.value.problems] == [2]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"a" 1}', "x.json:1: the text must be valid JSON at column 6: Expecting ':' delimiter"),
        (
            '{"x": {"a": 1},\n"b": [{"a": 1},\n{"a": 1,\n"a": 2}]}',
            "x.json:4: the text must be valid JSON: the key 'a' must stand once in its object",
        ),
        (
            '{"a": 1,\n"\\u0061": 2}',
            "x.json:2: the text must be valid JSON: the key 'a' must stand once in its object",
        ),
        (
            '{"x": {"a": 1,\n"a": 2},\n"b\\x": 3}',
            "x.json:2: the text must be valid JSON: the key 'a' must stand once in its object",
        ),
        (
            '{"": 1, "b": 2, "": 3}',
            "x.json:1: the text must be valid JSON: the key '' must stand once in its object",
        ),
        (
            f'{{"{"k" * 41}": 1, "{"k" * 41}": 2}}',
            f"x.json:1: the text must be valid JSON: the key '{'k' * 40}'... must stand once in "
            "its object",
        ),
        ("[1,\nNaN]", "x.json:2: the text must be valid JSON: a number must be finite, not NaN"),
        (
            '["-Infinity",\n-Infinity]',
            "x.json:2: the text must be valid JSON: a number must be finite, not -Infinity",
        ),
        ("[\n1e999]", "x.json:2: the text must be valid JSON: a number must be finite, not 1e999"),
        (
            f"[1{'0' * 400}.0]",
            f"x.json:1: the text must be valid JSON: a number must be finite, not 1{'0' * 39}...",
        ),
        (
            f"[\n\n{'1' * 1301}]",
            "x.json:3: the text must be valid JSON: an integer must have at most 1300 digits, not "
            "1301",
        ),
        ("[\n" * 100_000, "x.json:65: arrays and objects must not be nested as deeply as here"),
    ],
)
def test_what_is_none(text: str, told: str) -> None:
    assert refusal(text) == told


def test_a_line_of_a_file_of_lines() -> None:
    assert refusal("[NaN]", line=7).startswith("x.json:7: ")
    assert refusal("[", line=7).startswith("x.json:7: ")
    assert refusal("[" * 100_000, line=7).startswith("x.json:7: ")


def test_too_many_values(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jsontext, "MAX_VALUES", 3)
    assert parse('["a,b,c,d"]', path="x.json") == ["a,b,c,d"]
    assert parse("[1,2,3]", path="x.json") == [1, 2, 3]
    assert refusal("[1,2,3,4]") == "x.json: a JSON text must hold at most 3 values, not more"


def test_no_line_where_the_depth_is_that_of_the_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    def loads(*_given: object, **_named: object) -> None:
        raise RecursionError

    monkeypatch.setattr(json, "loads", loads)
    assert refusal("[[1]]") == "x.json: arrays and objects must not be nested as deeply as here"


def test_lines_of_the_deepest_part_that_is_there() -> None:
    found = lines(TEXT, [("a", "b", 1, "c"), ("d",), ("e",), ("a", "x"), ("d", 0), ("z",), ()])
    assert found == [2, 3, 4, 1, 3, 0, 0]


@pytest.mark.parametrize("text", ["]", "{1: 2}", "1, 2", ""])
def test_no_line_behind_what_is_no_json(text: str) -> None:
    assert lines(text, [("a",), (0,)]) == [0, 0]
