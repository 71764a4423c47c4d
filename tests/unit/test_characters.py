"""Names that look the same are never two names: nothing invisible stands in one."""

from __future__ import annotations

import sys

import pytest

import safeframe
from safeframe import _demo as demo
from safeframe._document.characters import escaped, is_visible
from safeframe._errors import InputError
from safeframe._report.text import clean

INVISIBLE = (
    *("\u3164", "\ufe0f", "\u034f", "\u2800", "\u180b", "\U000e0100", "\u00ad", "\u200b", "\ufeff"),
    *("\u115f", "\uffa0", "\u17b4", "\u2065", "\U0001d159", "\U00016fe4", "\u061c", "\u2066"),
    "\U000e0041",
)


@pytest.mark.parametrize("character", INVISIBLE, ids=ascii)
def test_no_name_holds_what_nobody_sees(character: str) -> None:
    name = f"fault_ack{character}"
    assert not is_visible(name)
    assert escaped(name) == clean(name) == f"fault_ack{ascii(character)[1:-1]}"
    text = demo.after()["sc1-lx.toml"].replace('"fault_ack"', f'"{name}"')
    with pytest.raises(InputError, match="must be one line of printable text, not"):
        safeframe.loads(text)


@pytest.mark.parametrize(
    "text", ["größe 1", "速度", "обороты", "ταχύτητα", "मोड", "🛗 up", "", "a b"]
)
def test_what_is_seen_stays(text: str) -> None:
    assert is_visible(text)
    assert escaped(text) == text


def test_the_class_is_that_of_unicode() -> None:
    """MUST: everything that Unicode calls ignorable by default is refused, and nothing unknown."""
    regex = pytest.importorskip("regex")
    every = "".join(map(chr, range(sys.maxunicode + 1)))
    ignorable = set(regex.findall(r"\p{Default_Ignorable_Code_Point}", every))
    hidden = ignorable | {"\u2800", "\U0001d159", "\U00016fe4"}
    seen = {c for c in every if c.isprintable()}
    assert {c for c in seen if is_visible(c)} == seen - hidden
