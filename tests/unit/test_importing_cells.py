"""Sheets cell by cell: every message names its cell, every statement of a mapping is used."""

from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

import pytest

import safeframe
from safeframe import importing
from safeframe._cli import main
from tests.unit.importing_files import Sheet
from tests.unit.test_importing_sheets import (
    BASE,
    CELLS,
    ROWS,
    SENDS,
    book,
    entries,
    text,
    with_part,
)

WIDE = "place=P;width=W;name=N;type=T;order=O;safe=S;scale=F;codes=C;direction=D"
LEAST = f"{WIDE};bit_zero=least;first_octet=0;first_bit=0;reserve=-"
MOST = LEAST.replace("least", "most")
HEAD = "P;W;N;T;O;S;F;C;D"


def rows(*given: str) -> str:
    return "\n".join((HEAD, *given)) + "\n"


@pytest.mark.parametrize(
    ("columns", "row", "message"),
    [
        (LEAST, "0.0;0;a;;;;;;sends", "cell B2: a width must be 1..12000 bits, not '0'"),
        (LEAST, "0.0;x;a;;;;;;sends", "cell B2: a width must be 1..12000 bits, not 'x'"),
        (
            LEAST,
            "0.0-0.3;8;a;;;;;;sends",
            "cell B2: the width must be the 4 bits of the range, not 8",
        ),
        (
            LEAST,
            "0.0;16;a;USINT;;;;;sends",
            "cell B2: the width must be the 8 bits of USINT, not 16",
        ),
        (LEAST, "1499.0;16;a;;little;;;;sends", "cell B2: the data must have at most 12000 bits"),
        (
            LEAST,
            "0.0;8;a;TIME;;;;;sends",
            "cell D2: a type must fit 8 bits and be one of bool, uint",
        ),
        (LEAST, "0.0;8;a;float;;;;;sends", "cell D2: a type must fit 8 bits"),
        *(
            (
                columns,
                f"0.3;;a;{kind};;;;;sends",
                f"cell D2: the width of {kind} must be stated: its name tells none, and one bit as "
                "its place is where it begins",
            )
            for columns in (LEAST, MOST)
            for kind in ("int", "uint", "float", "code")
        ),
        (
            LEAST,
            "0.0;16;a;;;;;;sends",
            "cell E2: the octet order of 16 bits must be little or big, not left out",
        ),
        (
            LEAST,
            "0.4;16;a;;big;;;;sends",
            "cell E2: a value with its high octet first must fill whole octets",
        ),
        (LEAST, "0.0;8;a;;;x;;;sends", "cell F2: safe must be a number, not 'x'"),
        (LEAST, "0.0;8;a;;;300;;;sends", "cell C2: safe must fit uint of width 8, not 300"),
        (LEAST, "0.0;8;a;;;1,5;;;sends", "safe must be a number, not '1,5 with decimal sign .'"),
        (LEAST, "0.0;8;a;;;;1,5;;sends", "cell G2: scale must be a decimal factor in quotes"),
        (LEAST, "0.0;8;a;code;;;;0;sends", "cell H2: codes must be a table such as"),
        (
            LEAST,
            "0.0;8;a;;;;;;up",
            "cell I2: the direction must be one of sends, receives, not 'up'",
        ),
        (LEAST, "0.0-0.1-0.2;;a;;;;;;sends", "cell A2: a place must be octet and bit"),
        (
            MOST,
            "0.4-1.3;;a;;little;;;;sends",
            "cell A2: a range over several octets, counted from the most",
        ),
        (
            MOST,
            "0.4;8;a;;;;;;sends",
            "cell A2: 8 bits from a bit that is counted from the most significant",
        ),
    ],
)
def test_refused(columns: str, row: str, message: str, sheet: Sheet) -> None:
    code, out, err = sheet.run(rows(row), columns)
    assert code in (1, 2)
    assert out == ""
    assert message in err


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("0.7-0.7;;a;int;;;;;sends", ("0.7", 1, "int")),
        ("0.7;1;a;uint;;;;;sends", ("0.7", 1, "uint")),
        ("0.5-0.7;;a;uint;;;;;sends", ("0.5", 3, "uint")),
        ("0.7;;a;bool;;;;;sends", ("0.7", 1, "bool")),
        ("0.7;;a;;;;;;sends", ("0.7", 1, "bool")),
    ],
)
def test_a_width_is_stated_or_that_of_a_bit(
    row: str, expected: tuple[str, int, str], sheet: Sheet
) -> None:
    """MUST: no width is invented; both ends of a place state one, and one bit is a bool."""
    (signal,) = sheet.end(rows(row), LEAST, "--gaps", "reserve").sends.signals
    assert (str(signal.at), signal.width, signal.type) == expected


@pytest.mark.parametrize(
    ("columns", "row", "expected"),
    [
        (LEAST, "0.0;;a;UINT16;little;;;;sends", ("0.0", 16, "uint", "little")),
        (LEAST, "0.0;16;a;INT;big;;;;sends", ("0.0", 16, "int", "big")),
        (LEAST, "0.0;32 bits;a;REAL;little;-1.5;0.1;;sends", ("0.0", 32, "float", "little")),
        (LEAST + ";octet_order=big", "0.0;16;a;;;;;;sends", ("0.0", 16, "uint", "big")),
        (LEAST, "0.0;8;a;code;;;;0=off\\;x;sends", ("0.0", 8, "code", "little")),
        (MOST, "0.0;16;a;;little;;;;sends", ("0.0", 16, "uint", "little")),
        (MOST, "0.0;8;a;;;;;;sends", ("0.0", 8, "uint", "little")),
        (MOST, "0.0-1.7;;a;;big;;;;sends", ("0.0", 16, "uint", "big")),
    ],
)
def test_read(
    columns: str,
    row: str,
    expected: tuple[str, int, str, str],
    sheet: Sheet,
) -> None:
    (signal,) = sheet.end(rows(row).replace("off\\;x", '"off"'), columns).sends.signals
    assert (str(signal.at), signal.width, signal.type, signal.order) == expected


@pytest.mark.parametrize(
    ("word", "width", "kind"),
    [
        ("SAFEBYTE", 8, "uint"),
        ("SafeSint", 8, "int"),
        ("SAFEWORD", 16, "uint"),
        ("SAFEDINT", 32, "int"),
        ("SAFEREAL", 32, "float"),
        ("SAFELREAL", 64, "float"),
        ("safeuint16", 16, "uint"),
    ],
)
def test_a_type_of_safe_data_has_the_width_of_its_type(
    word: str, width: int, kind: str, sheet: Sheet
) -> None:
    (signal,) = sheet.end(rows(f"0.0;;a;{word};little;;;;sends"), LEAST).sends.signals
    assert (signal.width, signal.type) == (width, kind)


def test_a_type_of_safe_data_is_held_against_width_and_place(sheet: Sheet) -> None:
    code, _, err = sheet.run(rows("0.0;1;a;SAFEBYTE;;;;;sends"), LEAST)
    assert code == 2
    assert "cell B2: the width must be the 8 bits of SAFEBYTE, not 1" in err
    code, _, err = sheet.run(rows("0.0;;a;SAFEBYTE;;;;;sends", "0.1-0.7;;b;;;;;;sends"), LEAST)
    assert code == 2
    assert "a bit must have one owner, not two" in err


def test_decimal_commas(sheet: Sheet) -> None:
    (signal,) = sheet.end(
        rows("0.0;32;a;float;little;-1,5;0,1;;sends"), LEAST + ";decimal=,"
    ).sends.signals
    assert (signal.safe, signal.scale) == (-1.5, "0.1")


@pytest.mark.parametrize(
    ("content", "columns", "more", "message"),
    [
        (text(ROWS), BASE, [], "--direction must be stated, or the mapping must name a column"),
        (
            text(ROWS),
            BASE,
            [*SENDS, "--as", "device"],
            "--as must be left out: a sheet is of the end",
        ),
        (text(ROWS), BASE, [*SENDS, "--range", "A1"], "a range must be such as A3:H40, not 'A1'"),
        (
            text(ROWS),
            BASE,
            [*SENDS, "--range", "A9:C12"],
            "a range must hold rows of the sheet, not A9:C12",
        ),
        (text(ROWS[:1]), BASE, SENDS, "the sheet must hold rows of signals, not none"),
        (
            text([*ROWS, ROWS[0], ["1", "0-7", "c"]]),
            BASE,
            SENDS,
            "one row must be the header, not the rows 1, 5",
        ),
        (
            text([["Byte", "Bit", "Name", "Name"], ["0", "0-7", "a", "b"]]),
            BASE,
            SENDS,
            "not Name in C1, D1",
        ),
        (
            text(ROWS),
            BASE.replace("=Name", "=Nme"),
            [*SENDS, "--separator", "comma"],
            "the nearest row holds: Byte, Bit, Name",
        ),
        (
            text([ROWS[0], ["", "0-7", "a"]]),
            BASE,
            SENDS,
            "cell A2: the first row must state its octet",
        ),
        (
            text([["Byte", "Bit"], ["0", "0"]]),
            BASE.replace("=Name", "==C"),
            [*SENDS, "--separator", "comma"],
            "cell C2: data must have a name, not none",
        ),
        ('a,b\n"x', BASE, SENDS, ":2: the row must be valid CSV: unexpected end of data"),
        (
            text([["Nr", "N"], ["0", "a"]]),
            "number=Nr;name=N;bit_zero=least;first_octet=0;first_bit=1",
            SENDS,
            "a bit number must be at least 1, not 0",
        ),
        (
            text([["Nr", "N"], ["x", "a"]]),
            "number=Nr;name=N;bit_zero=least;first_octet=0;first_bit=1",
            SENDS,
            "cell A2: a bit number must be a number",
        ),
        (
            text(ROWS) + "\n" * 20_001,
            BASE,
            SENDS,
            "a sheet must have at most 20000 rows of 256 cells",
        ),
    ],
)
def test_sheets(
    content: str,
    columns: str,
    more: list[str],
    message: str,
    sheet: Sheet,
) -> None:
    code, _, err = sheet.run(content, columns, *more)
    assert code in (1, 2)
    assert message in err


def test_a_range_leaves_cells_out(sheet: Sheet) -> None:
    content = text([[*row, "x"] for row in ROWS])
    assert len(entries(sheet.end(content, BASE, *SENDS, "--range", "A1:C4"))) == 3


class TestWorkbooks:
    def test_an_empty_sheet(self, sheet: Sheet) -> None:
        code, _, err = sheet.run(book([]), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "a row must be the header with all mapped columns" in err

    def test_too_many_rows(self, sheet: Sheet) -> None:
        code, _, err = sheet.run(book([["x"]] * 20_001), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "a sheet must have at most 20000 rows of 256 cells" in err

    def test_truth_values(self, sheet: Sheet) -> None:
        _, _, err = sheet.run(book([*CELLS, [1, True, "x"]]), BASE, *SENDS, name="t.xlsx")
        assert "cell B5: a bit must be a number or a range such as 0-3, not 'TRUE'" in err

    def test_too_many_parts(self, sheet: Sheet) -> None:
        out = io.BytesIO(book(CELLS))
        with zipfile.ZipFile(out, "a") as archive:
            for number in range(1001):
                archive.writestr(f"x{number}", b"")
        code, _, err = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "a workbook must have at most 1000 parts, not 10" in err

    def test_encrypted(self, sheet: Sheet) -> None:
        octets = bytearray(book(CELLS))
        place = octets.rindex(b"PK\x01\x02")
        octets[place + 8] |= 1
        code, _, err = sheet.run(bytes(octets), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "a workbook must not be encrypted" in err

    def test_a_directory_with_places_before_the_file(self, sheet: Sheet) -> None:
        octets = bytearray(book(CELLS))
        end = octets.rindex(b"PK\x05\x06")
        start = int.from_bytes(octets[end + 16 : end + 20], "little")
        octets[end + 16 : end + 20] = (start + 213).to_bytes(4, "little")
        code, _, err = sheet.run(bytes(octets), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "the file must be a workbook (.xlsx): negative seek value -213" in err

    def test_a_broken_sheet(self, sheet: Sheet) -> None:
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(book(CELLS))) as old, zipfile.ZipFile(out, "w") as new:
            for info in old.infolist():
                if info.filename != "xl/workbook.xml":
                    new.writestr(info, old.read(info))
        code, _, err = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "the file must be a whole workbook: KeyError" in err

    def test_what_the_reader_prints_is_no_answer(self, sheet: Sheet) -> None:
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(book(CELLS))) as old, zipfile.ZipFile(out, "w") as new:
            for info in old.infolist():
                octets = old.read(info)
                new.writestr(info, octets.replace(b'"Normal" xfId="0"', b'"Normal" xfId="7"'))
        code, printed, err = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert (code, printed) == (2, "")
        assert "the file must be a whole workbook: IndexError" in err

    def test_a_part_that_is_no_xml(self, sheet: Sheet) -> None:
        code, _, err = sheet.run(
            with_part(book(CELLS), "xl/e.xml", b""), BASE, *SENDS, name="t.xlsx"
        )
        assert code == 2
        assert "a part of a workbook must be XML: xl/e.xml" in err

    def test_without_the_reader(self, sheet: Sheet, monkeypatch: pytest.MonkeyPatch) -> None:
        written = book(CELLS)
        monkeypatch.setitem(sys.modules, "openpyxl", None)
        code, _, err = sheet.run(written, BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert (
            "which is not installed: pip install 'safeframe[sheets]', or save the sheet as CSV"
            in err
        )

    def test_the_proposal(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        path = tmp_path / "t.xlsx"
        path.write_bytes(book([["Byte", "Bit", "Name", "Name"]]))
        assert main(["import", "table", str(path), "--list"]) == 0
        assert 'octet = "Byte"\nbit = "Bit"\nname = "=C"\n' in capsys.readouterr().out


MAP = """\
format = "safeframe-map/1"
connection = { name = "c", profile = "plain" }
end = { name = "A", peer = "B" }
sends = [
  { at = "0.0", name = " a", note = "two\\nlines" },
  { at = "0.1", reserved = 7, value = 3 },
  { at = "1.0", name = "f", width = 8, order = "big", scale = "0.5", safe = 2 },
  { at = "2.0", name = "w", width = 12 },
  { at = "3.4", reserved = 4 },
]
"""


class TestWriting:
    def test_losses(self) -> None:
        columns = importing.load_columns(BASE)
        assert importing.sheet_losses(safeframe.loads(MAP), columns) == [
            *("order of 1 row", "safe of 1 row", "scale of 1 row", "note of 1 row"),
            *("width of 4 rows", "values of reserved runs"),
            "blanks at the ends and line breaks of 2 texts",
        ]

    def test_cells(self) -> None:
        columns = importing.load_columns(
            BASE + ";order=Order;safe=Safe;scale=Scale;width=Width;decimal=,"
        )
        found = importing.sheet_rows_of(safeframe.loads(MAP), columns)
        assert found[3] == ["1", "0-7", "f", "big", "2", "0,5", "8"]

    def test_a_value_that_cannot_be_counted_from_the_other_side(self) -> None:
        columns = importing.load_columns(BASE.replace("least", "most"))
        with pytest.raises(safeframe.UsageError, match=r"12 bits at 2\.0 must be counted from the"):
            importing.sheet_rows_of(safeframe.loads(MAP), columns)
