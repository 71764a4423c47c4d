"""Text patches that edits need: rows copied as they are, keys renamed, notation kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._document.paths import Path
from safeframe._errors import UsageError
from safeframe._mapfile import loads
from safeframe._mapfile.patch import Patch
from safeframe._model import End
from safeframe._source import apply_edits

from .test_mapfile_patch import END, TOP, A, B, changed, texts


class TestCopy:
    @given(texts(), st.data())
    def test_a_copy_and_no_other_change(
        self, drawn: tuple[End, str, str], data: st.DataObject
    ) -> None:
        """MUST: the copy says what its original says; removing it restores every byte."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        to = data.draw(st.integers(0, len(entries)))
        after = apply_edits(text, Patch(text).copy(direction, number, to))
        copied = [*entries[:to], entries[number], *entries[to:]]
        assert loads(after) == changed(end, direction, copied)
        assert apply_edits(after, Patch(after).remove(direction, to)) == text

    @pytest.mark.parametrize(
        ("before", "number", "to", "after"),
        [
            (f"[\n  {A}, # a\n  {B} # b\n]", 0, 2, f"[\n  {A}, # a\n  {B}, # b\n  {A} # a\n]"),
            (f"[\n  {A}, # a\n  {B} # b\n]", 1, 0, f"[\n  {B}, # b\n  {A}, # a\n  {B} # b\n]"),
            (f"[ {A}, {B} ] # row", 1, 0, f"[ {B}, {A}, {B} ] # row"),
            # A comment ends its line: where the copy goes into one, it gets a line of its own.
            (
                f"[\n  {A}, # a\n  {B},  {B},\n]",
                0,
                2,
                f"[\n  {A}, # a\n  {B},\n  {A}, # a\n  {B},\n]",
            ),
            (f"[\n  {A}, # a\n  {B} ]", 0, 2, f"[\n  {A}, # a\n  {B},\n  {A} # a\n  ]"),
        ],
    )
    def test_the_comment_of_the_line_comes_along(
        self, before: str, number: int, to: int, after: str
    ) -> None:
        text = f"{TOP}{END}sends = {before}\n"
        edits = Patch(text).copy("sends", number, to)
        assert apply_edits(text, edits) == f"{TOP}{END}sends = {after}\n"

    @pytest.mark.parametrize("line_end", ["\n", "\r\n"])
    def test_a_table_with_its_comments(self, line_end: str) -> None:
        table = "[[sends]] # a\nat = '0.0'\n# name\nname = 'a'\n"
        text = (TOP + END + table).replace("\n", line_end)
        after = apply_edits(text, Patch(text).copy("sends", 0, 1))
        assert after == text + f"\n{table}".replace("\n", line_end)


RELATION = '{ name = "a", when = { WHEN }, requires = { y = 1 }, reason = "r" }'


class TestRenameKey:
    @pytest.mark.parametrize(
        ("when", "path", "after"),
        [
            ("old = 1", ("old",), "new = 1"),
            ('x=1,  "old"  = [0, 1]', ("old",), "x=1,  new  = [0, 1]"),
            ("'sends.old'=1", ("sends.old",), "new=1"),
            ("sends . old = 1", ("sends", "old"), "sends . new = 1"),
        ],
    )
    def test_only_the_key_changes(self, when: str, path: Path, after: str) -> None:
        text = f"{TOP}{END}relations = [ {RELATION.replace('WHEN', when)} ]\n"
        edits = Patch(text).rename_key(("relations", 0, "when", *path), "new")
        assert apply_edits(text, edits) == text.replace(when, after)

    def test_a_name_that_needs_quotes(self) -> None:
        text = f"{TOP}{END}relations = [ {RELATION.replace('WHEN', 'old = 1')} ]\n"
        edits = Patch(text).rename_key(("relations", 0, "when", "old"), "sends.x")
        assert '{ "sends.x" = 1 }' in apply_edits(text, edits)

    @pytest.mark.parametrize("path", [("zzz",), ("sends",)])
    def test_refusal(self, path: Path) -> None:
        text = f"{TOP}{END}relations = [ {RELATION.replace('WHEN', 'sends.old = 1')} ]\n"
        with pytest.raises(UsageError) as caught:
            Patch(text).rename_key(("relations", 0, "when", *path), "new")
        assert str(caught.value) == (
            f"relations[0].when.{path[0]} must stand in one piece to be renamed"
        )


class TestNotation:
    """A value is written as the value that it replaces was."""

    @pytest.mark.parametrize(
        ("literal", "key", "value", "after"),
        [
            ("0x06", "reserved", 5, "0x05"),
            ("0x1f", "reserved", 30, "0x1e"),
            ("0x1F", "reserved", 30, "0x1E"),
            ("0x9", "reserved", 10, "0xA"),
            ("0b110", "reserved", 5, "0b101"),
            ("0o7", "reserved", 8, "0o10"),
            ("6", "reserved", 5, "5"),
            ("1_0", "reserved", 9, "9"),
            ("'n'", "note", "new", "'new'"),
            ("'n'", "note", "it's", '"it\'s"'),
            ("'n'", "note", "a\tb", '"a\\tb"'),
            ("'''n'''", "note", "new", '"new"'),
            ('"n"', "note", "new", '"new"'),
        ],
    )
    def test_set_key(self, literal: str, key: str, value: object, after: str) -> None:
        row = "at = '0.0', reserved = 6" if key == "note" else "at = '0.0'"
        text = f"{TOP}{END}sends = [ {{ {row}, {key} = {literal} }} ] # {literal}\n"
        edits = Patch(text).set_key("sends", 0, key, value)
        assert apply_edits(text, edits) == text.replace(
            f"{key} = {literal} }}", f"{key} = {after} }}"
        )
