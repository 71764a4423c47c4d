"""Every statement of a TOML text is found exactly where it stands."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._document.locate import Index
from safeframe._document.paths import Path, key_path

NASTY = r'''# [[sends]] in a comment
title = """
[[sends]]
at = "0.0"  # no comment, text
"quoted\" """
"odd # key" = 'a # b' # [c]
'single.key'.dotted . "deep" = 1979-05-27 07:32:00   # a blank inside a value
empty = ""
quotes = """""a""\"""""
literal = ~~~ [[x]] ''~~~
sends = [ # first [
  { at = "0.0", codes = { 0 = "}", 1 = ']' } }, # second ]
  # { at = "9.9" }
  { a.b = [1, [2, 3,
      4 # five ]
    ], ], "c d" = true }
  ,
  { },
]
flags = [true,false]
nested = [[1, 2], [[3]],
]
[end] # here
name = "x"
[ table . "sub.table" ]
x = {y = {z = """}"""}}
[[rows]]
a = 1
[rows.inner]
b = 2
[[rows.more]]
c = 3
[[rows.more]]
c = 4
[[ rows ]]
a = 5
[[rows.more]]
c = 6'''.replace("~~~", "'''")


def leaves(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield path and value of everything that is no table."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
        return
    if isinstance(value, list):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*path, number))
    if path and not (isinstance(value, list) and any(isinstance(x, dict) for x in value)):
        yield path, value


def assert_all_found(text: str) -> None:
    index = Index(text)
    data = tomllib.loads(text.removeprefix("\ufeff"))
    for path, value in leaves(data):
        span = index.span(path)
        assert span is not None, path
        stated = text[span.value : span.end]
        assert tomllib.loads(f"x = {stated}")["x"] == value
        key = path[-1]
        if isinstance(key, str):
            before = text[span.start : span.value]
            parts = tomllib.loads(f"{before} 0")
            while isinstance(parts, dict) and key not in parts:
                (parts,) = parts.values()
            assert key in parts
        assert index.line(path) == text.count("\n", 0, span.start) + 1


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_nasty_text(line_end: str, mark: str) -> None:
    assert_all_found(mark + NASTY.replace("\n", line_end))


def test_lines_of_nasty_text() -> None:
    index = Index(NASTY)
    lines = {
        ("title",): 2,
        ("odd # key",): 6,
        ("single.key", "dotted", "deep"): 7,
        ("sends",): 11,
        ("sends", 0): 12,
        ("sends", 0, "codes", "1"): 12,
        ("sends", 1): 14,
        ("sends", 1, "a"): 14,
        ("sends", 1, "a", "b", 1, 2): 15,
        ("sends", 1, "c d"): 16,
        ("sends", 2): 18,
        ("end",): 23,
        ("end", "name"): 24,
        ("table", "sub.table", "x", "y", "z"): 26,
        ("rows",): 27,
        ("rows", 0, "inner", "b"): 30,
        ("rows", 0, "more", 1): 33,
        ("rows", 1): 35,
        ("rows", 1, "more", 0, "c"): 38,
    }
    for path, line in lines.items():
        assert index.line(path) == line, path


def test_a_path_that_is_not_there_has_the_line_of_its_deepest_part() -> None:
    index = Index(NASTY)
    assert index.line(("sends", 1, "width")) == 14
    assert index.line(("sends", 7)) == 11
    assert index.line(("flags", 0, "deeper")) == 20
    assert index.line(("nowhere", 3)) == 0
    assert index.span(("sends", 1, "width")) is None


def test_a_key_path_shows_what_is_not_bare_in_quotes() -> None:
    assert key_path(("sends", 3, "codes", "0x1")) == "sends[3].codes.0x1"
    assert key_path(("parameters", "a b\x1b")) == "parameters.'a b\\x1b'"
    assert key_path(()) == ""


BLANKS = st.sampled_from(("", " ", "\t", "  "))
BREAKS = st.sampled_from(("", " ", "\n", " # [{\"'\n", "\n\n  "))
STRINGS = st.text(st.sampled_from("ab\"'\\#[]{}=,.\n é"), max_size=8)


SCALARS = st.sampled_from(
    ("1", "0x1F", "1_000", "1e3", "true", "inf", "07:32:00", "1979-05-27 07:32:00Z")
)
HEADERS = st.sampled_from(("[t%d]", "[ t%d . 'x.y' ]", "[[rows]]", "[[ rows ]]"))


@st.composite
def toml_strings(draw: st.DrawFn, value: str) -> str:
    styles = [json.dumps(value)]
    if "'" not in value and "\n" not in value:
        styles.append(f"'{value}'")
    if "'''" not in value and not value.endswith("'"):
        styles.append(f"'''\n{value}'''")
    escaped = value.replace("\\", "\\\\").replace('"""', '""\\"')
    if not escaped.endswith('"'):
        styles.append(f'"""\n{escaped}"""')
    return draw(st.sampled_from(styles))


@st.composite
def toml_keys(draw: st.DrawFn, number: int) -> str:
    bare = f"k{number}"
    quoted = draw(st.text(st.sampled_from("a \"'#[]=.é"), max_size=4)) + str(number)
    return draw(st.sampled_from([bare, json.dumps(quoted), f"'{bare} #'"]))


@st.composite
def toml_values(draw: st.DrawFn, depth: int = 0) -> str:
    """Draw the text of any value, written in any legal way."""
    kind = draw(st.sampled_from(("string", "string", "scalar", "array", "table")))
    if kind == "string" or depth > 3:
        return draw(toml_strings(draw(STRINGS)))
    if kind == "scalar":
        return draw(SCALARS)
    count = draw(st.integers(0, 3))
    inner = [draw(toml_values(depth + 1)) for _ in range(count)]
    if kind == "array":
        text = ",".join(draw(BREAKS) + value + draw(BREAKS) for value in inner)
        tail = "," + draw(BREAKS) if count and draw(st.booleans()) else ""
        return f"[{text or draw(BREAKS)}{tail}]"
    pairs = []
    for number, value in enumerate(inner):
        key = draw(toml_keys(number))
        if draw(st.booleans()):
            key += draw(BLANKS) + "." + draw(BLANKS) + "sub"
        pairs.append(f"{draw(BLANKS)}{key}{draw(BLANKS)}={draw(BLANKS)}{value}{draw(BLANKS)}")
    return "{" + ",".join(pairs) + "}"


@st.composite
def toml_texts(draw: st.DrawFn) -> str:
    lines: list[str] = []
    for number in range(draw(st.integers(0, 5))):
        if draw(st.integers(0, 2)) == 0:
            name = draw(HEADERS).replace("%d", str(number))
            lines.append(name + draw(st.sampled_from(("", " # [x]"))))
            if "rows" in name and draw(st.booleans()):
                lines.append(f"[rows.inner{number}]")
        key = draw(toml_keys(10 + number))
        line = f"{draw(BLANKS)}{key}{draw(BLANKS)}={draw(BLANKS)}{draw(toml_values())}"
        lines.append(line + draw(BLANKS) + draw(st.sampled_from(("", "# ]}", "#"))))
        lines += draw(st.sampled_from(([], ["# [[rows]]"], ["", ""])))
    return "\n".join(lines)


class TestEveryLeaf:
    """Whatever tomllib reads has a place whose text reads as the same value."""

    @given(toml_texts(), st.sampled_from(("\n", "\r\n")))
    def test_every_leaf_of_the_data_is_found(self, text: str, line_end: str) -> None:
        """MUST: every leaf key path has a span, on the line of its key, that holds its value."""
        text = text.replace("\n", line_end)
        assert_all_found(text)


def test_a_text_that_tomllib_refuses_is_an_error_of_the_caller() -> None:
    with pytest.raises(AssertionError, match="must be TOML that tomllib has accepted"):
        Index("x = {a = [1")


def test_long_names_are_written_as_short_ones() -> None:
    long = "x" * 70
    assert key_path((long, 3)) == f"{long}[3]"
    assert key_path(("sends", long)) == f"sends.{long}"
    assert key_path((0, "a b")) == "[0].'a b'"
    assert key_path(("sends", 3)) == "sends[3]"
