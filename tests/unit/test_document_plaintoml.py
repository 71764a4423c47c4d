"""TOML as our files are written: read without tomllib, and just as tomllib reads it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import safeframe
from safeframe import _demo as demo
from safeframe._document import plaintoml
from safeframe._document.locate import Index
from safeframe._document.paths import Path as Way

ROOM = Path(safeframe.__file__).parent
KEYS = ("a", "b-1", "C_2", "0", "true")
SCALARS = (
    *('"text"', '""', '"a # { [ = ], } b"', '"a\tb"', '"ä\u2028"', "0", "-0", "7", "-12", "0x0A"),
    *("0xff", "1.5", "-0.0", "true", "false", "123456789012345678"),
)
OTHERS = (
    *('"a\\nb"', "'a'", '"""a"""', "1e3", "1_000", "01", "+1", "0b1", "inf", "2024-01-01", "0x"),
    *("1.", ".5", "-0x1", '"a', "tru", "{}", "[1, 2,]", "[[1]]", "{ a.b = 1 }", "1 2", '"\x01"'),
    *('"\x7f"', '"a\r"', '{ "a" = 1 }', "{ a = 1, }", "{ a = { b = { c = 1 } } }", "9" * 5000),
    *("{ a 1 }", "{ = 1 }", "{ a = 1 b = 2 }", "{ a = 1,, b = 2 }", "[1 2]", "[, 1]", "[1,, 2]"),
    *("{ a = [1,] }", "{ a = [[1]] }", "{ a = 1, a = 2 }", "[{ a = 1, a = 2 }]", "[{}]", "nan"),
    *("x" * 65, "{ " + "k" * 65 + " = 1 }", "{" + " " * 65 + "a = 1 }", "0x" + "f" * 17, "1.5e3"),
)


HEADERS = ("[{}]", "[[{}]]", "[[{}]]", "[ {} ]", "[{}.x]", '["{}"]', "[[{}] ]", "[{}", "{}]")


def blanks() -> st.SearchStrategy[str]:
    return st.sampled_from(("", " ", "\t", "  "))


@st.composite
def tables(draw: st.DrawFn, values: st.SearchStrategy[str]) -> str:
    pairs = draw(st.lists(st.tuples(st.sampled_from(KEYS), blanks(), values), min_size=1))
    inside = f"{draw(blanks())},{draw(blanks())}".join(
        f"{key}{blank}={blank}{value}" for key, blank, value in pairs
    )
    return f"{{{draw(blanks())}{inside}{draw(blanks())}}}"


def scalars() -> st.SearchStrategy[str]:
    return st.sampled_from(SCALARS)


def arrays() -> st.SearchStrategy[str]:
    items = st.one_of(scalars(), tables(scalars()))
    return st.lists(items, max_size=3).map(lambda items: f"[{', '.join(items)}]")


def values() -> st.SearchStrategy[str]:
    inner = st.one_of(scalars(), tables(scalars()), arrays())
    return st.one_of(inner, tables(inner), st.sampled_from(OTHERS))


@st.composite
def statements(draw: st.DrawFn) -> str:
    tail = draw(st.sampled_from(("", " # why", "#", "\t", "\r")))
    if draw(st.integers(0, 3)) == 0:
        return draw(st.sampled_from(HEADERS)).format(draw(st.sampled_from(KEYS))) + tail
    key = draw(st.sampled_from((*KEYS, *KEYS, "a.b", '"a"', "", "#")))
    if draw(st.booleans()):
        return f"{key} = {draw(values())}{tail}"
    rows = draw(st.lists(st.one_of(tables(values()), scalars(), st.sampled_from(("", "# note")))))
    ends = st.sampled_from((",", ",", ",", "", " , # why"))
    inside = "".join(f"  {row}{draw(ends)}\n" for row in rows)
    return f"{key} = [{tail}\n{inside}{draw(st.sampled_from((']', ']', '], 1', '')))}"


@st.composite
def texts(draw: st.DrawFn) -> str:
    text = "\n".join(draw(st.lists(statements(), max_size=6)))
    if draw(st.booleans()) and text:  # One character more, another, or less.
        at = draw(st.integers(0, len(text) - 1))
        put = draw(st.sampled_from(("", *'"{}[],=# \n\r\t\x00\x0b\x7f.-0x1a\\')))
        text = text[:at] + put + text[at + draw(st.integers(0, 1)) :]
    return text


def paths(data: dict[str, Any]) -> Iterator[Way]:
    """Yield the way to every value, and to some beside them."""
    todo: list[tuple[Way, Any]] = [((), data)]
    while todo:
        path, value = todo.pop()
        yield path
        yield (*path, "none")
        yield (*path, 99)
        if isinstance(value, dict | list):
            inner = value.items() if isinstance(value, dict) else enumerate(value)
            todo += [((*path, key), one) for key, one in inner]


class TestWhatIsReadIsWhatTomllibReads:
    """A text that is read here MUST be TOML, with the data and the lines of a whole reader."""

    @given(text=texts())
    @example(text="a = 1\na = 2")
    @example(text="a = [\n  { b = 1 }\n  { b = 1 },\n]")
    @example(text="a = [\n  { b = 1 },\n")
    @example(text="a = [\n  { b = 1, b = 2 },\n]")
    @example(text="a = [\n b = 1\n]")
    @example(text="{ a = 1 },")
    @example(text="]")
    @example(text="[a]\nb = 1\n[[c]]\nb = [\n 1,\n { d = 2 }\n]\n[[c]]\n[e]")
    @example(text="[a]\n[a]")
    @example(text="[[a]]\n[a]")
    @example(text="a = []\n[[a]]")
    @example(text="[a]\n[[a]]")
    @example(text="a = [\n[b]\n]")
    @example(text="a = 1\r\n# b\r\nc = [\r\n 1,\r\n]")
    def test_same(self, text: str) -> None:
        found = plaintoml.read(text)
        if found is not None:
            # As texts: 1, 1.0 and true are equal, and so are 0.0 and -0.0.
            assert repr(found.data) == repr(tomllib.loads(text))
            index = Index(text)
            for path in paths(found.data):
                assert found.line(path) == index.line(path)


@pytest.mark.parametrize("value", SCALARS)
@pytest.mark.parametrize(
    "place", ["x = {}", "x = {{ a = {}, b = 1 }}", "x = [{}]", "x = [ # why\n {{ a = {} }}, # b\n]"]
)
def test_what_maps_are_written_with_is_read(place: str, value: str) -> None:
    text = place.format(value)
    found = plaintoml.read(text)
    assert found is not None
    assert repr(found.data) == repr(tomllib.loads(text))


@pytest.mark.parametrize("value", OTHERS)
def test_what_is_spelled_in_another_way_is_not(value: str) -> None:
    assert plaintoml.read(f"x = {value}\n") is None
    assert plaintoml.read(f"x = [\n  {{ a = {value} }},\n]\n") is None


@pytest.mark.parametrize(
    "text",
    [
        "a = 1\na = 2",
        "a = [\n  { b = 1 }\n  { b = 1 },\n]",
        "a = [\n  { b = 1 },\n",
        "a = [\n  { b = 1, b = 2 },\n]",
        "a = [\nb = 1\n]",
        "{ a = 1 },",
        "]",
        "a.b = 1",
        "[a.b]",
        "[a]\n[a]",
        "[[a]]\n[a]",
        "[a]\n[[a]]",
        "a = []\n[[a]]",
        "a = [\n[b]\n]",
        "a = [\n[[b]]\n]",
    ],
)
def test_a_text_with_one_line_of_another_kind_is_not(text: str) -> None:
    assert plaintoml.read(text) is None


def test_what_comes_with_the_package_is() -> None:
    texts = {name: text for name, text in demo.after().items() if name.endswith(".toml")}
    texts |= {str(path): path.read_text("utf-8") for path in ROOM.glob("protocols/*/facts.toml")}
    for name, text in texts.items():
        found = plaintoml.read(text)
        assert found is not None, name
        assert repr(found.data) == repr(tomllib.loads(text)), name
    assert len(texts) > 10


def test_a_spoilt_text_takes_time_as_its_length_does() -> None:
    for text in (
        *("a = " + "{ b = " * 100_000, "a = [" + "1, " * 200_000, 'a = "' + "x" * 10**6),
        *("a = {" + "k" * 10**6 + "}", "a = {" + " " * 10**6 + "}", "a = [" + "1" * 10**6 + "]"),
        *("a = {" + 'k = "' * 200_000 + "}", "a = {" + "k = { " * 200_000 + "}"),
        "a = {" + 64 * "k" + ' = "' + "x" * 10**6 + '" k}',
    ):
        assert plaintoml.read(text) is None
