"""The reference of the map file states every key as the reader knows it; its maps load."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest

from safeframe._document.tables import Key
from safeframe._errors import InputError
from safeframe._mapfile import dumps, loads
from safeframe._mapfile.csvmap import COLUMNS, RELATION_COLUMNS
from safeframe._mapfile.keys import ALLOW, CONNECTION, END, IMPORTED, RELATION, RESERVED, SIGNAL

PAGE = (Path(__file__).parents[2] / "docs" / "map-file.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```([a-z ]+)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


def blocks(kind: str) -> list[str]:
    found = [text for name, text in BLOCKS if name == kind]
    assert found, f"the page has no block of kind {kind}"
    return found


def described(name: str, key: Key) -> str:
    """Return the row of the page that describes a key."""
    default = "required" if key.required else f"`{key.default}`" if key.default else "—"
    if key.default == 0 and key.default is not False and not key.required:
        default = "`0`"
    return f"| `{name}` | {key.kind.text} | {default} | {key.meaning} |"


@pytest.mark.parametrize("keys", [CONNECTION, END, IMPORTED, SIGNAL, RESERVED, RELATION, ALLOW])
def test_every_key_is_described(keys: Mapping[str, Key]) -> None:
    for name, key in keys.items():
        assert described(name, key) in PAGE


def test_every_column_is_described() -> None:
    for column in (*COLUMNS, *RELATION_COLUMNS):
        assert f"`{column}`" in PAGE


def test_maps_load_and_are_the_same_in_both_formats() -> None:
    ends = [loads(text) for text in blocks("toml map")]
    sheets = [loads(text, format="csv") for text in blocks("csv map")]
    assert sheets == ends[: len(sheets)]
    assert dumps(ends[0]) == blocks("toml map")[0]


def test_fragments_are_toml() -> None:
    for text in blocks("toml"):
        tomllib.loads(text)


def test_the_errors_of_the_page_are_what_the_reader_says() -> None:
    (wrong,) = (text for text in blocks("toml") if "widht" in text)
    (printed,) = blocks("text")
    with pytest.raises(InputError) as caught:
        loads(wrong, path="sc1.toml")
    assert str(caught.value) + "\n" == printed
