"""Text patches of map files: the model changes as asked, every other byte stays."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import Place
from safeframe._errors import InputError, UsageError
from safeframe._mapfile import dumps, loads
from safeframe._mapfile.patch import Patch
from safeframe._mapfile.write import plain_data, toml_key, toml_value
from safeframe._model import End, Map, Reserved, Signal
from safeframe._source import apply_edits
from tests.strategies import ends, reserved, signals

TOP = 'format = "safeframe-map/1"\nconnection = { name = "SC1-LX", profile = "plain" }\n'
END = 'end = { name = "SC1", peer = "LX" }\n'
NEW = Signal(name="release_2", at=Place(0, 1))
ROW = '{ at = "0.1", name = "release_2" }'


def as_tables(end: End) -> str:
    """Write an End in the style of table headers."""
    data = plain_data(end, path="x")
    lines = [f"format = {toml_value(data.pop('format'))}"]
    for name, value in data.items():
        for row in value if isinstance(value, list) else [value]:
            lines += ["", f"[[{name}]]" if isinstance(value, list) else f"[{name}]"]
            lines += [
                f"{toml_key(key)} = {toml_value(inner)}  # {key}" for key, inner in row.items()
            ]
    return "\n".join(lines) + "\n"


STYLES = st.sampled_from((dumps, as_tables))
LINE_ENDS = st.sampled_from(("\n", "\r\n"))
DIRECTIONS = st.sampled_from(("sends", "receives"))


def changed(end: End, direction: str, entries: list[Signal | Reserved]) -> End:
    if direction == "sends":
        return dataclasses.replace(end, sends=Map(entries=tuple(entries)))
    return dataclasses.replace(end, receives=Map(entries=tuple(entries)))


@st.composite
def texts(draw: st.DrawFn) -> tuple[End, str, str]:
    """Draw an End, its text in any style, and a direction."""
    end = draw(ends())
    text = draw(STYLES)(end)
    if draw(st.booleans()):
        text = text.removesuffix("\n")
    return end, text.replace("\n", draw(LINE_ENDS)), draw(DIRECTIONS)


class TestInsert:
    """A row is added where it is asked for."""

    @given(texts(), signals() | reserved(), st.data())
    def test_the_new_model_has_the_row_and_removing_it_restores_every_byte(
        self, drawn: tuple[End, str, str], entry: Signal | Reserved, data: st.DataObject
    ) -> None:
        """MUST: insert then load gives the expected model; remove gives the old text."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        number = data.draw(st.integers(0, len(entries)))
        after = apply_edits(text, Patch(text).insert(direction, number, entry))
        assert loads(after) == changed(
            end, direction, [*entries[:number], entry, *entries[number:]]
        )
        if entries:
            assert apply_edits(after, Patch(after).remove(direction, number)) == text


class TestRemove:
    @given(texts(), st.data())
    def test_the_new_model_lacks_the_row(
        self, drawn: tuple[End, str, str], data: st.DataObject
    ) -> None:
        """MUST: remove then load gives the model without that entry."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            with pytest.raises(UsageError, match="must be below 0, not 0"):
                Patch(text).remove(direction, 0)
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        after = apply_edits(text, Patch(text).remove(direction, number))
        del entries[number]
        assert loads(after) == changed(end, direction, entries)


class TestKeys:
    @given(texts(), st.data())
    def test_a_key_is_set(self, drawn: tuple[End, str, str], data: st.DataObject) -> None:
        """MUST: setting a key changes that field only."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        for key, plain, value in (("at", "7.1", Place(7, 1)), ("note", "so", "so")):
            if getattr(entries[number], "order", "little") == "big":
                continue
            after = apply_edits(text, Patch(text).set_key(direction, number, key, plain))
            wanted = [*entries]
            wanted[number] = dataclasses.replace(entries[number], **{key: value})
            assert loads(after) == changed(end, direction, wanted)


A = '{ at = "0.0", name = "a" }'
B = '{ at = "0.2", name = "b" }'
INSERTS = {
    # One row on each line, with a comma after the last: the new row is one more line.
    f"sends = [ # rows\n  # first\n  {A}, # about a\n  # next\n\t{B},\n]\n": (
        f"sends = [ # rows\n  {ROW},\n  # first\n  {A}, # about a\n  # next\n\t{B},\n]\n",
        f"sends = [ # rows\n  # first\n  {A}, # about a\n\t{ROW},\n  # next\n\t{B},\n]\n",
        f"sends = [ # rows\n  # first\n  {A}, # about a\n  # next\n\t{B},\n\t{ROW},\n]\n",
    ),
    # No comma after the last row: it gets one, the new last row has none.
    f"sends = [\n  {A},\n  {B} # about b\n]\n": (
        f"sends = [\n  {ROW},\n  {A},\n  {B} # about b\n]\n",
        f"sends = [\n  {A},\n  {ROW},\n  {B} # about b\n]\n",
        f"sends = [\n  {A},\n  {B}, # about b\n  {ROW}\n]\n",
    ),
    # All on one line: the new row goes on that line.
    f"sends = [ {A}, {B} ] # rows": (
        f"sends = [ {ROW}, {A}, {B} ] # rows",
        f"sends = [ {A}, {ROW}, {B} ] # rows",
        f"sends = [ {A}, {B}, {ROW} ] # rows",
    ),
    # Commas at the start of the lines.
    f"sends = [\n    {A}\n  , {B}\n]\n": (
        f"sends = [\n    {ROW},\n    {A}\n  , {B}\n]\n",
        f"sends = [\n    {A}\n  , {ROW}, {B}\n]\n",
        f"sends = [\n    {A}\n  , {B},\n  {ROW}\n]\n",
    ),
    # Tables: a comment above a table stays with it.
    "# a\n[[sends]]\nat='0.0'\nname='a'\n\n# b\n[[sends]] # b\nat='0.2' # c\nname='b'": (
        "\n[[sends]]\nat = \"0.1\"\nname = \"release_2\"\n# a\n[[sends]]\nat='0.0'\nname='a'\n\n"
        "# b\n[[sends]] # b\nat='0.2' # c\nname='b'",
        "# a\n[[sends]]\nat='0.0'\nname='a'\n\n[[sends]]\nat = \"0.1\"\nname = \"release_2\"\n\n"
        "# b\n[[sends]] # b\nat='0.2' # c\nname='b'",
        "# a\n[[sends]]\nat='0.0'\nname='a'\n\n# b\n[[sends]] # b\nat='0.2' # c\nname='b'\n\n"
        '[[sends]]\nat = "0.1"\nname = "release_2"',
    ),
}


class TestExactText:
    """What is not asked for stays as it was, to the byte."""

    @pytest.mark.parametrize("line_end", ["\n", "\r\n"])
    @pytest.mark.parametrize(
        ("before", "number", "after"),
        [
            (before, number, after)
            for before, afters in INSERTS.items()
            for number, after in enumerate(afters)
        ],
    )
    def test_insert_and_remove(self, before: str, number: int, after: str, line_end: str) -> None:
        before, after = ((TOP + END + text).replace("\n", line_end) for text in (before, after))
        assert apply_edits(before, Patch(before).insert("sends", number, NEW)) == after
        assert apply_edits(after, Patch(after).remove("sends", number)) == before

    @pytest.mark.parametrize(
        ("before", "after"),
        [
            ("sends = []\n", f"sends = [\n  {ROW},\n]\n"),
            ("sends = [ # none yet\n]\n", f"sends = [ # none yet\n  {ROW},\n]\n"),
            ("", f"sends = [\n  {ROW},\n]\n"),
            (
                "[parameters]\nx = 1\n",
                '[parameters]\nx = 1\n\n[[sends]]\nat = "0.1"\nname = "release_2"\n',
            ),
        ],
    )
    def test_first_entry(self, before: str, after: str) -> None:
        before, after = TOP + END + before, TOP + END + after
        assert apply_edits(before, Patch(before).insert("sends", 0, NEW)) == after

    def test_first_entry_after_a_text_without_a_last_line_end(self) -> None:
        text = (TOP + END).removesuffix("\n")
        after = apply_edits(text, Patch(text).insert("sends", 0, NEW))
        assert after == f"{TOP}{END}sends = [\n  {ROW},\n]"

    @pytest.mark.parametrize(
        ("before", "number", "after"),
        [
            (f"sends = [ {A} ]", 0, "sends = [  ]"),
            (f"sends = [ {A}, ]", 0, "sends = [  ]"),
            (f"sends = [ {A}, {B}, ]", 1, f"sends = [ {A}, ]"),
            (f"sends = [ {A}, # a\n  {B} ]", 1, f"sends = [ {A} # a\n ]"),
            (f"sends = [\n  {A}, # a\n  {B}\n]", 1, f"sends = [\n  {A} # a\n]"),
            (f"sends = [\n  # a\n  {A}, # a\n  {B}\n]", 0, f"sends = [\n  # a\n  {B}\n]"),
            ("[[sends]]\nat='0.0'\nname='a'\n[sends.codes]\n[end]\n", 0, "[end]\n"),
        ],
    )
    def test_remove(self, before: str, number: int, after: str) -> None:
        end = END if "[end]" not in before else ""
        tail = 'name = "SC1"\npeer = "LX"\n' if not end else ""
        before = before.replace("[sends.codes]", "width=1\ntype='code'\n[sends.codes]")
        before, after = TOP + end + before + tail, TOP + end + after + tail
        assert apply_edits(before, Patch(before).remove("sends", number)) == after

    def test_remove_the_last_table_of_a_text_without_a_last_line_end(self) -> None:
        text = f"{TOP}{END}[[sends]]\nat='0.0'\nreserved=8"
        assert apply_edits(text, Patch(text).remove("sends", 0)) == (TOP + END).removesuffix("\n")

    @pytest.mark.parametrize(
        ("row", "key", "value", "after"),
        [
            (
                '{ at="0.0",reserved = 6,  note="x" }',
                "reserved",
                5,
                '{ at="0.0",reserved = 5,  note="x" }',
            ),
            ('{ at="0.0",reserved = 6 }', "value", 1, '{ at="0.0",reserved = 6, value = 1 }'),
            (
                '{ note = "n", at = "0.0", reserved = 6 }',
                "zone",
                1,
                '{ note = "n", at = "0.0", reserved = 6, zone = 1 }',
            ),
            ('{ at = "0.0", name = "a" }', "width", 8, '{ at = "0.0", name = "a", width = 8 }'),
            (
                '{ note = "n", name = "a", at = "0.0" }',
                "width",
                8,
                '{ note = "n", name = "a", at = "0.0", width = 8 }',
            ),
            ("{ name = 'a' , at = '0.0' }", "at", "1.1", "{ name = 'a' , at = '1.1' }"),
        ],
    )
    def test_set_key(self, row: str, key: str, value: object, after: str) -> None:
        text = f"{TOP}{END}sends = [ {row} ] # end\n"
        patch = Patch(text)
        edits = patch.set_key("sends", 0, key, value)
        assert apply_edits(text, edits) == f"{TOP}{END}sends = [ {after} ] # end\n"

    def test_keys_of_a_table(self) -> None:
        table = "[[sends]] # a\n# place\nat = '0.0' # b\n\nname = 'a'"
        text = TOP + END + table
        patch = Patch(text)
        bound = apply_edits(text, patch.set_key("sends", 0, "bind", "x"))
        assert bound == f'{text}\nbind = "x"'
        wider = apply_edits(text, patch.set_key("sends", 0, "at", "0.3"))
        assert wider == text.replace("'0.0'", "'0.3'")
        after = apply_edits(f"{text}\n", Patch(f"{text}\n").set_key("sends", 0, "width", 1))
        assert after == f"{text}\nwidth = 1\n"

    def test_several_edits_of_one_entry_apply_together(self) -> None:
        text = f'{TOP}{END}sends = [\n  {{ at = "0.1", reserved = 7 }}, # spare\n]\n'
        patch = Patch(text)
        edits = [
            *patch.insert("sends", 0, NEW),
            *patch.set_key("sends", 0, "at", "0.2"),
            *patch.set_key("sends", 0, "reserved", 6),
        ]
        assert apply_edits(text, edits) == (
            f'{TOP}{END}sends = [\n  {ROW},\n  {{ at = "0.2", reserved = 6 }}, # spare\n]\n'
        )


class TestRefusals:
    TEXT = (
        TOP + END + "[[sends]]\nat = '0.0'\nname = 'a'\nwidth = 1\ntype = 'code'\n"
        "codes.0 = 'x'\ncodes.1 = 'y'\n[[sends]]\nat = '0.1'\nname = 'b'\nwidth = 1\n"
        "type = 'code'\n[[receives]]\nat = '0.0'\nreserved = 8\n[sends.codes]\n0 = 'x'\n"
    )

    @pytest.mark.parametrize(
        ("call", "message"),
        [
            (
                lambda patch: patch.insert("sends", 3, NEW),
                "the number of a new entry must be 0..2, not 3",
            ),
            (
                lambda patch: patch.insert("sends", -1, NEW),
                "the number of a new entry must be 0..2, not -1",
            ),
            (
                lambda patch: patch.remove("sends", 2),
                "the number of an entry of sends must be below 2, not 2",
            ),
            (
                lambda patch: patch.remove("sends", -1),
                "the number of an entry of sends must be below 2, not -1",
            ),
            (
                lambda patch: patch.remove("sends", 1),
                "sends[1] must stand in one piece to be patched",
            ),
            (
                lambda patch: patch.set_key("sends", 0, "codes", {}),
                "the key codes must have its value in one piece to be patched",
            ),
        ],
    )
    def test_refusal(self, call: Callable[[Patch], object], message: str) -> None:
        with pytest.raises(UsageError) as caught:
            call(Patch(self.TEXT))
        assert str(caught.value) == message

    def test_a_text_that_is_no_map(self) -> None:
        with pytest.raises(InputError, match=r"^lx\.toml:1: the text must be valid TOML"):
            Patch("x", path="lx.toml")

    def test_dotted_codes_do_not_hide_the_other_keys(self) -> None:
        edits = Patch(self.TEXT).set_key("sends", 0, "bind", "x")
        after = apply_edits(self.TEXT, edits)
        assert after == self.TEXT.replace("'code'\ncodes", "'code'\nbind = \"x\"\ncodes")
