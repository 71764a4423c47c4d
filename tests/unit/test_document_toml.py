"""TOML text: what is refused before and after tomllib has looked at it."""

from __future__ import annotations

import tomllib

import pytest

from safeframe._document import toml
from safeframe._document.anytoml import parse
from safeframe._errors import InputError


def refusal(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse(text, path="x.toml")
    (problem,) = caught.value.problems
    return str(problem)


def test_many_points_that_part_no_name() -> None:
    text = f'a = "{"b." * 100}"  # {"c." * 100}\n'
    assert parse("\ufeff" + text, path="x.toml") == {"a": "b." * 100}
    assert parse(f"[t]\n{text}", path="x.toml") == {"t": {"a": "b." * 100}}


def test_a_mark_of_the_order_of_octets_is_no_part_of_a_text() -> None:
    for text in ("\ufeffa = 1", "\ufeff'a' = 1"):
        assert toml.parse(text, path="x.toml") == parse(text, path="x.toml") == {"a": 1}


def test_many_points_that_do() -> None:
    message = "a dotted name must have at most 64 parts, not more"
    assert refusal(f"a = 1\n{'b.' * 64}c = 2\n") == f"x.toml:2: {message}"
    assert parse(f"{'b.' * 63}c = 2\n", path="x.toml")


def test_as_deep_as_nobody_nests() -> None:
    message = "arrays and tables must not be nested as deeply as here"
    assert refusal("a = [" + "\n[" * 100_000) == f"x.toml:33: {message}"


def test_no_line_where_the_depth_is_that_of_the_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    def loads(_text: str) -> None:
        raise RecursionError

    monkeypatch.setattr(tomllib, "loads", loads)
    message = "arrays and tables must not be nested as deeply as here"
    assert refusal("a = [\n[1]]\n") == f"x.toml: {message}"
