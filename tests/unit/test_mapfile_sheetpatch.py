"""Text patches of CSV maps: the model changes as asked, every other byte stays."""

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
from safeframe._mapfile.sheetpatch import SheetPatch
from safeframe._model import End, Reserved, Signal
from safeframe._source import apply_edits
from tests.strategies import ends, reserved, signals

from .test_mapfile_patch import DIRECTIONS, LINE_ENDS, changed

SHEET = """\
note,direction,at,name,value,reserved,bind
,format,,,safeframe-map/1,,
,connection,,name,SC1-LX,,
,connection,,profile,plain,,
,end,,name,SC1,,
,end,,peer,LX,,
"a ""b"",
c",sends,0.0,"go",,, Lift.Go
,,,,,,
,sends,0.1,,,"7",
"""


@st.composite
def sheets(draw: st.DrawFn) -> tuple[End, str, str]:
    """Draw an End, its CSV text and a direction."""
    end = draw(ends())
    text = dumps(end, format="csv")
    if draw(st.booleans()):
        text = text.removesuffix("\n")
    if draw(st.booleans()):
        text = "\ufeff" + text
    return end, text.replace("\n", draw(LINE_ENDS)), draw(DIRECTIONS)


class TestProperties:
    """A patch changes what it says and nothing else."""

    @given(sheets(), signals() | reserved(), st.data())
    def test_an_inserted_row_is_in_the_model_and_removing_it_restores_every_byte(
        self, drawn: tuple[End, str, str], entry: Signal | Reserved, data: st.DataObject
    ) -> None:
        """MUST: insert then load gives the expected model; remove gives the old text."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        number = data.draw(st.integers(0, len(entries)))
        after = apply_edits(text, SheetPatch(text).insert(direction, number, entry))
        expected = changed(end, direction, [*entries[:number], entry, *entries[number:]])
        assert loads(after, format="csv") == expected
        assert apply_edits(after, SheetPatch(after).remove(direction, number)) == text

    @given(sheets(), st.data())
    def test_a_removed_row_and_a_set_cell(
        self, drawn: tuple[End, str, str], data: st.DataObject
    ) -> None:
        """MUST: remove and set_key then load give the expected models."""
        end, text, direction = drawn
        entries = list(getattr(end, direction).entries)
        if not entries:
            return
        number = data.draw(st.integers(0, len(entries) - 1))
        noted = apply_edits(text, SheetPatch(text).set_key(direction, number, "note", 'a "b",\nc'))
        less = apply_edits(text, SheetPatch(text).remove(direction, number))
        entries[number] = dataclasses.replace(entries[number], note='a "b",\nc')
        assert loads(noted, format="csv") == changed(end, direction, entries)
        del entries[number]
        assert loads(less, format="csv") == changed(end, direction, entries)


class TestExactText:
    NEW = Signal(name="release_2", at=Place(0, 1), bind='Lift."2"')
    ROW = ',sends,0.1,release_2,,,"Lift.""2"""\n'

    def test_insert_between_rows_of_several_lines(self) -> None:
        edits = SheetPatch(SHEET).insert("sends", 1, self.NEW)
        assert apply_edits(SHEET, edits) == SHEET.replace(
            ",,,,,,\n,sends", f",,,,,,\n{self.ROW},sends"
        )
        edits = SheetPatch(SHEET).insert("receives", 0, self.NEW)
        assert apply_edits(SHEET, edits) == SHEET + self.ROW.replace("sends", "receives")

    def test_set_keys_of_one_row_together(self) -> None:
        patch = SheetPatch(SHEET)
        edits = [
            *patch.set_key("sends", 1, "at", "0.2"),
            *patch.set_key("sends", 1, "reserved", 6),
            *patch.insert("sends", 1, self.NEW),
        ]
        assert apply_edits(SHEET, edits) == SHEET.replace(
            ',sends,0.1,,,"7",', f'{self.ROW},sends,0.2,,,"6",'
        )

    @pytest.mark.parametrize(
        ("call", "message"),
        [
            (
                lambda patch: patch.insert("sends", 3, TestExactText.NEW),
                "the number of a new entry must be 0..2, not 3",
            ),
            (
                lambda patch: patch.insert(
                    "sends", 0, Signal(name="x", at=Place(0, 0), width=2, type="uint")
                ),
                "the header must have a column width to state it",
            ),
            (
                lambda patch: patch.remove("sends", 2),
                "the number of an entry of sends must be below 2, not 2",
            ),
            (
                lambda patch: patch.set_key("sends", -1, "at", "0.0"),
                "the number of an entry of sends must be below 2, not -1",
            ),
        ],
    )
    def test_refusal(self, call: Callable[[SheetPatch], object], message: str) -> None:
        with pytest.raises(UsageError) as caught:
            call(SheetPatch(SHEET))
        assert str(caught.value) == message

    def test_a_text_that_is_no_map(self) -> None:
        with pytest.raises(InputError, match=r"^lx\.csv:1: a column must be a known one"):
            SheetPatch("x", path="lx.csv")


class TestCopy:
    @given(sheets(), st.data())
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
        after = apply_edits(text, SheetPatch(text).copy(direction, number, to))
        copied = [*entries[:to], entries[number], *entries[to:]]
        assert loads(after, format="csv") == changed(end, direction, copied)
        assert apply_edits(after, SheetPatch(after).remove(direction, to)) == text


RELATIONS = """\
direction,name,value,at,note,when,requires
format,,safeframe-map/1,,,,
connection,name,SC1-LX,,,,
connection,profile,plain,,,,
end,name,SC1,,,,
end,peer,LX,,,,
sends,go,,0.0,,,
allow,go,hole,,r,,
relation,a,,,r,go=1;sends.go=0 1,"x=1;go=1"
relation,b,,,r,"a""b=1;go=1;c""=0",stop=1
"""


class TestRenameKey:
    @pytest.mark.parametrize(
        ("number", "column", "old", "new", "before", "after"),
        [
            (0, "when", "go", "run", "go=1;sends.go", "run=1;sends.go"),
            (0, "when", "sends.go", "sends.run", "sends.go=0 1", "sends.run=0 1"),
            (0, "requires", "go", 'a"b', "x=1;go=1", 'x=1;a""b=1'),
            (1, "when", "go", "run", "go=1;c", "run=1;c"),
            (1, "when", 'c"', "c", 'c""=0', "c=0"),
            (1, "requires", "stop", "a,b;c", "stop=1", '"a,b\\;c=1"'),
        ],
    )
    def test_only_the_name_changes(
        self, number: int, column: str, old: str, new: str, before: str, after: str
    ) -> None:
        patch = SheetPatch(RELATIONS)
        path = ("relations", number, column, old)
        assert patch.has(path)
        edits = patch.rename_key(path, new)
        assert apply_edits(RELATIONS, edits) == RELATIONS.replace(before, after)

    @pytest.mark.parametrize("path", [("when", "zzz"), ("follows", "go"), ("when", "sends", "go")])
    def test_refusal(self, path: tuple[str, ...]) -> None:
        patch = SheetPatch(RELATIONS)
        assert not patch.has(("relations", 0, *path))
        with pytest.raises(UsageError, match="must stand in one piece to be renamed"):
            patch.rename_key(("relations", 0, *path), "new")

    def test_what_a_sheet_states(self) -> None:
        patch = SheetPatch(RELATIONS)
        assert patch.has(("sends", 0, "name"))
        assert not patch.has(("sends", 0, "note"))
        assert not patch.has(("sends", 0, "width"))

    def test_the_signal_of_an_allowance(self) -> None:
        edits = SheetPatch(RELATIONS).set_key("allow", 0, "signal", "run")
        assert apply_edits(RELATIONS, edits) == RELATIONS.replace("allow,go", "allow,run")


class TestShortRows:
    """A row that leaves out the empty cells at its end is edited like any other."""

    TEXT = "\n".join(line.rstrip(",") for line in SHEET.split("\n"))

    def test_several_keys_behind_the_end(self) -> None:
        text = self.TEXT.replace("bind\n", "bind,order,unit\n").replace(",,, Lift.Go", "")
        patch = SheetPatch(text)
        assert patch.end == loads(text, format="csv")
        assert not patch.has(("sends", 0, "bind"))
        values = {"unit": "mm", "bind": "a,b", "at": "0.2"}
        after = apply_edits(text, patch.set_keys("sends", 0, values))
        assert after == text.replace('0.0,"go"', '0.2,"go",,,"a,b",,mm')

    def test_a_missing_cell_states_nothing(self) -> None:
        text = self.TEXT.replace(",,, Lift.Go", "")
        assert not SheetPatch(text).has(("sends", 0, "bind"))

    def test_keys_of_a_toml_map(self) -> None:
        text = 'format = "safeframe-map/1"\n' + (
            'connection = { name = "SC1-LX", profile = "plain" }\n'
            'end = { name = "SC1", peer = "LX" }\nsends = [ { at = "0.0", name = "a" } ]\n'
        )
        edits = Patch(text).set_keys("sends", 0, {"name": "b", "at": "0.1"})
        assert apply_edits(text, edits) == text.replace('"a"', '"b"').replace("0.0", "0.1")
