"""Sheets that say one thing twice, or show another one than they hold."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

import safeframe
from safeframe._cli import main
from tests.unit.importing_files import Sheet

PLACES = "place=Place;name=Name;bit_zero=least;first_octet=0;first_bit=0"
CODES = f"{PLACES};codes=Codes;type=Type;width=Width"
SENDS = ("--direction", "sends")
ROWS: list[list[Any]] = [["Place", "Name"], ["0.0", "a"], ["0.1", "b"], ["0.2-0.7", "c"]]


@pytest.fixture
def sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Sheet:
    return Sheet(tmp_path, capsys)


def book(hidden: bool = False, form: str = "General", value: Any = "0.1") -> bytes:
    """Return a workbook with one sheet of ROWS, A3 in a form and with a value of its own."""
    made = openpyxl.Workbook()
    active = made.active
    assert active is not None
    for row in ROWS:
        active.append(row)
    active["A3"].value, active["A3"].number_format = value, form
    if hidden:
        active.sheet_state = "hidden"
        made.create_sheet("other")
        made.active = 1
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def changed(old: str, new: str) -> bytes:
    """Return the workbook with a text of its sheet in the place of another one."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book())) as given, zipfile.ZipFile(out, "w") as archive:
        for info in given.infolist():
            text = given.read(info).decode()
            if info.filename == "xl/worksheets/sheet1.xml":
                assert old in text
                text = text.replace(old, new, 1)
            archive.writestr(info.filename, text)
    return out.getvalue()


INLINE = '<c r="{}" t="inlineStr"><is><t>zz</t></is></c>'


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('<c r="B3"', f'{INLINE.format("B3")}<c r="B3"', ":3: a cell must stand once, in its row"),
        ('<c r="B3"', f'{INLINE.format("C3")}<c r="B3"', "behind those before it: B3"),
        ('<c r="B3"', '<c r="B4"', "behind those before it: B4 [bad-workbook]"),
        (
            '<row r="3">',
            f'<row r="2">{INLINE.format("B2")}</row><row r="3">',
            ":2: a row must stand once, behind those above it, not after row 2 [bad-workbook]",
        ),
    ],
)
def test_a_cell_that_stands_twice(old: str, new: str, message: str, sheet: Sheet) -> None:
    code, _, err = sheet.run(changed(old, new), PLACES, *SENDS, name="t.xlsx")
    assert code == 2
    assert message in err


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (book(hidden=True), "hidden in the sheet, but read: A2, B2, A3, B3, A4, B4"),
        (changed('<row r="3">', '<row r="3" ht="0">'), "hidden in the sheet, but read: A3, B3"),
        (
            changed("<sheetData>", '<cols><col min="1" max="1" width="0"/></cols><sheetData>'),
            "hidden in the sheet, but read: A2, A3, A4",
        ),
        *(
            (book(form=form, value=value), "shown in another form in the sheet, but read: A3")
            for form, value in (
                ("0", 0.1),
                ("0.0%", 0.1),
                ('"9.9"', 0.1),
                (";;;", "0.1"),
                ('General;;;"0.2"', "0.1"),
            )
        ),
    ],
)
def test_what_nobody_sees_as_it_is_read(content: bytes, told: str, sheet: Sheet) -> None:
    code, _, err = sheet.run(content, PLACES, *SENDS, "--sheet", "Sheet", name="t.xlsx")
    assert code == 0, err
    assert told in " ".join(err.split())


@pytest.mark.parametrize(
    ("form", "value"),
    [("0.0", 0.1), ("0.00", 0.1), ("@", "0.1"), ("General", 0.1), ("@", 0.1)],
)
def test_a_number_that_is_shown_by_its_digits(form: str, value: Any, sheet: Sheet) -> None:
    code, _, err = sheet.run(book(form=form, value=value), PLACES, *SENDS, name="t.xlsx")
    assert code == 0, err
    assert "shown in another form" not in err


@pytest.mark.parametrize("codes", [r"0=a\1=x;2=b", "0=a;;1=b", ";0=a", "0=a;\\"])
def test_no_part_of_a_list_of_codes_is_passed_over(codes: str, sheet: Sheet) -> None:
    rows = f"Place,Name,Codes,Width,Type\n0.0,a,{codes},2,code\n0.2-0.7,c,,6,uint\n"
    code, _, err = sheet.run(rows, CODES, *SENDS)
    assert code == 2
    assert ":2: cell C2: codes must be a table such as" in err


class TestAddresses:
    """The addresses of one direction are all those of inputs, of outputs or of markers."""

    @pytest.mark.parametrize("other", ["Q0.1", "A0.1", "qx0.1", "M0.1", "0.1-Q0.1"])
    def test_two_areas(self, other: str, sheet: Sheet) -> None:
        rows = f"Place,Name\nI0.0,a\n{other},b\n0.2-0.7,c\n"
        code, _, err = sheet.run(rows, PLACES, *SENDS)
        assert code == 2
        assert (
            ":3: cell A3: the addresses of one direction must all be inputs, as in A2, not" in err
        )

    def test_a_last_bit(self, sheet: Sheet) -> None:
        rows = "Place,Name,Last\nI0.0,a,Q0.3\n0.4,c,0.7\n"
        code, _, err = sheet.run(rows, f"{PLACES};last=Last", *SENDS)
        assert code == 2
        assert ":2: cell C2: the addresses of one direction must all be inputs, as in A2" in err

    def test_one_area_for_each_direction(self, sheet: Sheet) -> None:
        rows = "Way,Place,Name\nsends,Q0.0-Q0.6,a\nsends,A0.7,b\nreceives,I0.0-E0.7,c\n"
        end = sheet.end(rows, f"{PLACES};direction=Way")
        assert [one.name for one in end.sends.signals] == ["a", "b"]


def test_a_comparison_says_what_nobody_sees_as_it_is_read(sheet: Sheet, tmp_path: Path) -> None:
    code, out, _ = sheet.run(book(), PLACES, *SENDS, name="t.xlsx")
    (tmp_path / "map.toml").write_text(out)
    hidden = changed('<row r="3">', '<row r="3" hidden="1">')
    code, out, _ = sheet.run(
        hidden, PLACES, *SENDS, "--compare", str(tmp_path / "map.toml"), name="t.xlsx"
    )
    assert code == 0
    shown = " ".join(out.split())
    assert "agree in place" in shown
    assert "note: sends: hidden in the sheet, but read: A3, B3" in shown


def test_two_statements_of_the_octet_order(sheet: Sheet) -> None:
    rows = "Place,Name,Type\n0.0-1.7,a,uint\n"
    columns = f"{PLACES};type=Type;octet_order=big"
    code, _, err = sheet.run(rows, columns, *SENDS, "--order", "little")
    assert code == 2
    assert "--order must be that of the mapping, big, not little" in err
    end = sheet.end(rows, columns, *SENDS, "--order", "big")
    assert end.sends.signals[0].order == "big"


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        (f"{PLACES};bit_zero=most", "a mapping must state bit_zero once, not twice"),
        (f"{PLACES};name=Other", "a mapping must state name once, not twice"),
        (f"{PLACES};last=Place", "columns of places must be different ones, not the same twice"),
        (
            "octet=Place;bit=Bit;last=To;name=Name;bit_zero=least;first_octet=0;first_bit=0",
            "the last bit of a range must stand with place or number, not with octet and bit",
        ),
        (f"{PLACES};sends=a|b;receives=b", "a word must mean sends or receives, not both: b"),
        (f"{PLACES};sends=receives", "a word must mean sends or receives, not both: receives"),
    ],
)
def test_mappings_that_contradict_themselves(columns: str, message: str, sheet: Sheet) -> None:
    code, _, err = sheet.run("Place,Name\n0.0-0.7,a\n", columns, *SENDS)
    assert code == 2
    assert message in err


@pytest.mark.parametrize(
    ("place", "to", "more"),
    [("0.0", "0.0", "8,"), ("0.0-0.0", "", "8,"), ("0.0-0.0", "", ",BYTE")],
)
def test_a_range_of_one_bit_and_another_width(place: str, to: str, more: str, sheet: Sheet) -> None:
    """A range has both ends, be they the same: its width MUST be the stated one."""
    columns = f"{PLACES};last=To;width=Width;type=Type"
    code, out, err = sheet.run(
        f"Place,To,Name,Width,Type\n{place},{to},a,{more}\n", columns, *SENDS
    )
    assert (code, out) == (2, "")
    assert "the width must be the 1 bit of the range, not 8" in err


@pytest.mark.parametrize("value", ["-1", "128"])
def test_a_value_that_its_reserve_does_not_hold(value: str, sheet: Sheet) -> None:
    rows = f"Place,Name,Value\n0.0,a,\n0.1-0.7,-,{value}\n"
    code, out, err = sheet.run(rows, f"{PLACES};value=Value;reserve=-", *SENDS)
    assert (code, out) == (2, "")
    assert f":3: cell C3: value must fit 7 reserved bits, not {value} [bad-cell]\n" in err


@pytest.mark.parametrize(
    ("profile", "why"), [("plain", "as you confirmed"), ("fscp-12-1", "as fscp-12-1 has it")]
)
def test_what_a_column_leaves_out_of_some_rows(profile: str, why: str, sheet: Sheet) -> None:
    """A value on loss that nobody stated MUST be confirmed, and what is not there be counted."""
    rows = "Place,Name,Safe,Means,Bind\n0.0,a,1,open,P.a\n0.1,b,,,\n0.2-0.7,c,,,\n"
    given = (rows, f"{PLACES};safe=Safe;one_means=Means;bind=Bind", *SENDS, "--profile", profile)
    code, out, err = sheet.run(*given)
    if profile == "plain":
        assert (code, out) == (1, "")
        assert "the map would state 0 for 2 signals (--safe zero" in err
        code, out, err = sheet.run(*given, "--safe", "zero")
    assert code == 0
    assert [one.safe for one in safeframe.loads(out).sends.signals] == [1, 0, 0]
    for text in (
        f"value on loss of communication: 2 signals, stated as 0, {why}",
        "meaning of 1: 1 bit",
        "binding: 2 signals",
    ):
        assert f"#   {text}\n" in out
        assert text in " ".join(err.split())


@pytest.mark.parametrize(
    ("rows", "left_out"),
    [
        ("0.0-0.7,b\n1.0-1.7,c\n", "1, 4"),
        ("0.0-0.7,b\n,\n1.0-1.7,c\n,\n9.9,x\n", "1, 5, 7"),
        ("0.0-0.7,b\n" + "1.0,c\n" * 9, "1, 4, 5, 6, 7, 8, 9, 10 and 2 more"),
    ],
)
def test_rows_outside_the_range_are_said(rows: str, left_out: str, sheet: Sheet) -> None:
    text = f"a title,\nPlace,Name\n{rows}"
    code, out, err = sheet.run(text, f"{PLACES};range=A2:B3", *SENDS)
    assert (code, "1.0" in out.partition("sends = ")[2]) == (0, False)
    assert f"not read, outside the range: rows {left_out}\n" in err
    code, _, err = sheet.run(text[: text.index("b\n") + 2], f"{PLACES};range=A1:B3", *SENDS)
    assert (code, "outside the range" in err) == (0, False)


@pytest.mark.parametrize(
    ("above", "told"), [("", ""), (",\n", ""), ("bit 0 is the most significant,\n,\na,b\n", "1, 3")]
)
def test_rows_above_the_header_are_said(above: str, told: str, sheet: Sheet) -> None:
    code, _, err = sheet.run(f"{above}Place,Name\n0.0-0.7,b\n", PLACES, *SENDS)
    assert code == 0
    assert ("above the header" in err) is bool(told)
    assert f"not read, above the header: rows {told}\n" in err or not told


def test_an_encoding_of_a_workbook(sheet: Sheet) -> None:
    code, _, err = sheet.run(book(), PLACES, *SENDS, "--encoding", "utf-8", name="t.xlsx")
    assert code == 2
    assert "--encoding must stand with a CSV file, not with a workbook" in err


def test_characters_by_their_numbers(sheet: Sheet, tmp_path: Path) -> None:
    content = changed("<is><t>b</t></is>", "<is><t>b_x000D_1_x005F_x0041_</t></is>")
    end = sheet.end(content, PLACES, *SENDS, name="t.xlsx")
    assert end.sends.signals[1].name == "b 1_x0041_"
    (tmp_path / "map.toml").write_text(safeframe.dumps(end))
    words = ["--columns", f"{PLACES};reserve=-", "-o", str(tmp_path / "n.xlsx")]
    assert main(["show", "--format", "xlsx", *words, str(tmp_path / "map.toml")]) == 0
    again = sheet.end((tmp_path / "n.xlsx").read_bytes(), PLACES, *SENDS, name="n2.xlsx")
    assert [one.name for one in again.sends.signals] == ["a", "b 1_x0041_", "c"]


def test_what_reserve_cannot_hold_is_said(sheet: Sheet) -> None:
    rows = "Place,Name,Means,Type\n0.0,a,x,BOOL\n0.1,-,brake released,BOOL\n0.2-0.7,-,,\n"
    columns = f"{PLACES};reserve=-;one_means=Means;type=Type"
    code, _, err = sheet.run(rows, columns, *SENDS)
    assert code == 0
    assert "not read, since a map has no such key for reserve: C3\n" in err


@pytest.mark.parametrize("header", ["Bytes", "octet", "Words"])
def test_a_width_is_no_number_of_octets(header: str, sheet: Sheet) -> None:
    rows = f"Place,Name,{header}\n0.0,a,1\n0.1,b,7\n"
    code, _, err = sheet.run(rows, f"{PLACES};width={header}", *SENDS)
    assert code == 2
    assert f"columns.width: a column of widths must count bits, not {header}" in err
    assert sheet.end(rows, f"{PLACES};width==C", *SENDS).sends.signals[1].width == 7
