"""Sheets as people have them become maps, and maps become sheets that read back unchanged."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment

import safeframe
from safeframe import importing
from safeframe._cli import main
from safeframe.testing import clean_connections
from tests.unit.importing_files import DATA, LX, Sheet

BASE = "octet=Byte;bit=Bit;name=Name;bit_zero=least;first_octet=0;first_bit=0;reserve=-"
LETTERS = "octet==A;bit==B;name==C;bit_zero=least;first_octet=0;first_bit=0;reserve=-"
ROWS = [
    ["Byte", "Bit", "Name"],
    ["0", "0", "a"],
    ["", "1", "b"],
    ["", "2-7", "-"],
]
EXPECTED = [("0.0", 1, "a"), ("0.1", 1, "b"), ("0.2", 6, "")]


def entries(end: safeframe.End, direction: str = "sends") -> list[tuple[str, int, str]]:
    return [
        (str(one.at), one.width, getattr(one, "name", ""))
        for one in getattr(end, direction).entries
    ]


def text(rows: list[list[str]], separator: str = ",") -> str:
    return "".join(separator.join(row) + "\n" for row in rows)


SENDS = ("--direction", "sends")


class TestSheetsWithoutCells:
    """A sheet that nobody asked for MUST NOT stand in the way; one that is asked for is named."""

    def book(self, first: bool) -> bytes:
        made = openpyxl.load_workbook(io.BytesIO(book(CELLS)))
        made.active.title = "Bits"
        made.create_chartsheet("Trend", 0 if first else None)
        out = io.BytesIO()
        made.save(out)
        return out.getvalue()

    def other(self, kind: str, name: str = "Old", state: str = "visible") -> bytes:
        """Return a workbook with a second sheet of a kind that the writer does not know."""
        made = openpyxl.load_workbook(io.BytesIO(book(CELLS)))
        made.active.title = "Bits"
        made.create_sheet("Old").append(["x"])
        made["Old"].sheet_state = state
        out, new = io.BytesIO(), io.BytesIO()
        made.save(out)
        old = zipfile.ZipFile(out)
        with zipfile.ZipFile(new, "w") as archive:
            for info in old.infolist():
                octets = old.read(info)
                if info.filename == "xl/_rels/workbook.xml.rels":
                    at = octets.index(b"sheet2.xml")
                    left, right = octets.rfind(b"<", 0, at), octets.index(b">", at)
                    entry = octets[left:right].replace(b'/worksheet"', f'/{kind}"'.encode())
                    octets = octets[:left] + entry + octets[right:]
                if info.filename == "xl/workbook.xml":
                    octets = octets.replace(b'name="Old"', f'name="{name}"'.encode())
                archive.writestr(info.filename, octets)
        return new.getvalue()

    @pytest.mark.parametrize("first", [True, False])
    def test_a_chart(self, first: bool, sheet: Sheet) -> None:
        # This chart sheet has no drawing: the reader of charts would stumble over it.
        made = self.book(first)
        assert entries(sheet.end(made, BASE, *SENDS, name="t.xlsx")) == EXPECTED
        assert main(["import", "table", str(sheet.folder / "t.xlsx"), "--list"]) == 0
        code, _, err = sheet.run(made, BASE, *SENDS, "--sheet", "Trend", name="t.xlsx")
        assert code == 2
        assert err.endswith(
            "t.xlsx: a sheet must hold cells, and have a name of its own; Trend is a chart "
            "(it has: Bits) [not-offered]\n"
        )

    @pytest.mark.parametrize(
        ("kind", "what"), [("dialogsheet", "a dialog"), ("anysheet", "anysheet")]
    )
    def test_other_kinds(self, kind: str, what: str, sheet: Sheet) -> None:
        made = self.other(kind)
        assert entries(sheet.end(made, BASE, *SENDS, name="t.xlsx")) == EXPECTED
        _, _, err = sheet.run(made, BASE, *SENDS, "--sheet", "Old", name="t.xlsx")
        assert f"; Old is {what} (it has: Bits) [not-offered]\n" in err

    @pytest.mark.parametrize("kind", ["xlMacrosheet", "xlIntlMacrosheet"])
    def test_macros(self, kind: str, sheet: Sheet) -> None:
        code, _, err = sheet.run(self.other(kind), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        text = "a workbook must hold cells only, not macros (the sheet Old)"
        assert f"{text} (save the sheet as CSV or plain .xlsx) [active-content]\n" in err

    @pytest.mark.parametrize("state", ["hidden", "veryHidden"])
    def test_hidden_ones_are_told_apart_by_name(self, state: str, sheet: Sheet) -> None:
        made = self.other("worksheet", state=state)
        code, _, err = sheet.run(made, BASE, *SENDS, name="t.xlsx")
        assert (code, "one sheet of the workbook must be chosen" in err) == (1, True)
        assert entries(sheet.end(made, BASE, *SENDS, "--sheet", "Bits", name="t.xlsx")) == EXPECTED

    def test_two_of_one_name(self, sheet: Sheet) -> None:
        made = self.other("worksheet", "Bits")
        code, _, err = sheet.run(made, BASE, *SENDS, "--sheet", "Bits", name="t.xlsx")
        assert code == 1
        assert "; Bits is one of two with one name (it has: Bits, Bits)" in err

    def test_charts_only(self, sheet: Sheet) -> None:
        made = openpyxl.Workbook()
        made.create_chartsheet("Trend")
        made.remove(made["Sheet"])
        out = io.BytesIO()
        made.save(out)
        code, _, err = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 1
        assert "one sheet of the workbook must be chosen, it has: no sheet of cells (" in err


class TestColumnsThatAreNotRead:
    """A column that no meaning is given MUST be named: it may say another place or width."""

    TABLE = "Byte,Bit,Name,Offset,\n0,0,a,,\n0,1,b,,\n0,2-7,-,40,x\n"

    @pytest.mark.parametrize(
        ("columns", "told"), [(BASE, "D Offset, E"), (LETTERS, "D, E")], ids=["names", "letters"]
    )
    def test_named(self, columns: str, told: str, sheet: Sheet) -> None:
        table = self.TABLE if columns == BASE else self.TABLE.partition("\n")[2]
        more = () if columns == BASE else ("--separator", "comma")
        code, _, err = sheet.run(table, columns, *SENDS, *more)
        assert (code, f"not read, since none of the mapping: {told}\n" in err) == (0, True)
        table = table.replace("40,x", ",")
        assert "not read" not in sheet.run(table, columns, *SENDS, *more)[2]

    def test_outside_the_range(self, sheet: Sheet) -> None:
        _, _, err = sheet.run(self.TABLE, BASE, *SENDS, "--range", "A1:C4")
        assert "not read, outside the range: columns D, E\n" in err
        _, _, err = sheet.run(self.TABLE + "0,0,c,,\n", BASE, *SENDS, "--range", "A1:D4")
        assert "not read, outside the range: rows 5; columns E\n" in err


class TestFiles:
    """The separators, encodings and clutter of files as people have them."""

    @pytest.mark.parametrize("separator", [",", ";", "\t"])
    @pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
    @pytest.mark.parametrize("ends", ["\n", "\r\n"])
    def test_read(self, separator: str, encoding: str, ends: str, sheet: Sheet) -> None:
        rows = [*ROWS[:1], ["0", "0", "läuft"], *ROWS[2:]]
        content = text(rows, separator).replace("\n", ends).encode(encoding)
        assert entries(sheet.end(content, BASE, *SENDS))[0] == ("0.0", 1, "läuft")

    def test_windows_1252_when_stated(self, sheet: Sheet) -> None:
        content = text([*ROWS[:1], ["0", "0-7", "läuft €"]]).encode("windows-1252")
        code, _, err = sheet.run(content, BASE, *SENDS)
        assert code == 1
        assert ":2: the text must be utf-8, not octet 0xE4 at offset" in err
        found = sheet.end(content, BASE, *SENDS, "--encoding", "windows-1252")
        assert entries(found) == [("0.0", 8, "läuft €")]

    def test_rows_above_the_header_and_empty_rows(self, sheet: Sheet) -> None:
        rows = [
            ["List of bits", "", ""],
            ["", "", ""],
            ROWS[0],
            ["", "", ""],
            *ROWS[1:],
            ["", "", ""],
        ]
        assert entries(sheet.end(text(rows), BASE, *SENDS)) == EXPECTED

    def test_quoted_cells_over_lines(self, sheet: Sheet) -> None:
        rows = [ROWS[0], ["0", "0-7", '"door\nclosed, ""really"""']]
        found = sheet.end(text(rows), BASE, *SENDS)
        assert entries(found) == [("0.0", 8, 'door closed, "really"')]

    @pytest.mark.parametrize(
        ("columns", "content", "shown"),
        [
            (
                BASE,
                "Byte,Bit,Name\n0,0,brake, second\n0,1-7,-\n",
                "of the header, not also",
            ),
            (BASE, "Byte,Bit,Name\n0,0,brake\n0,1-7,-,,,\n", ""),
            (BASE, "title,of,the,sheet\nByte,Bit,Name\n0,0,brake\n0,1-7,-\n", ""),
            (LETTERS, "0,0,brake, second\n0,1-7,-\n", "of the shortest row, not also"),
            (LETTERS, "0,0,brake\n\n0,1-7,-\n", ""),
        ],
    )
    def test_a_separator_inside_a_cell_without_quotes(
        self, columns: str, content: str, shown: str, sheet: Sheet
    ) -> None:
        code, _, err = sheet.run(content, columns, *SENDS, "--separator", "comma")
        assert code == (2 if shown else 0), err
        assert f"{shown} second (put a cell that holds the separator" in err or not shown

    def test_a_row_that_is_none_stops_the_import(self, sheet: Sheet) -> None:
        rows = [[*ROWS[0], "x"], *([*row, ""] for row in ROWS[1:]), ["", "", "", "8 bits in all"]]
        code, _, err = sheet.run(text(rows), BASE, *SENDS)
        assert code == 2
        assert ":5: cell D5: a row must hold a place and a name, not only 8 bits in all" in err
        assert "--range leaves out what is no row of the list" in err
        assert entries(sheet.end(text(rows), BASE, *SENDS, "--range", "A1:D4")) == EXPECTED


class TestPlaces:
    """Octet and bit in every notation, counted from either side and from 0 or 1."""

    @pytest.mark.parametrize(
        ("cells", "statement", "expected"),
        [
            (["0.0", "0.1"], "bit_zero=least;first_octet=0;first_bit=0", ["0.0", "0.1"]),
            (["0,0", "0,1"], "bit_zero=least;first_octet=0;first_bit=0", ["0.0", "0.1"]),
            (
                ["Byte 0 Bit 0", "Byte 0 Bit 1"],
                "bit_zero=least;first_octet=0;first_bit=0",
                ["0.0", "0.1"],
            ),
            (
                ["Oktett 1, Bit 1", "Oktett 1, Bit 2"],
                "bit_zero=least;first_octet=1;first_bit=1",
                ["0.0", "0.1"],
            ),
            (["I0.7", "I0.6"], "bit_zero=most;first_octet=0;first_bit=0", ["0.0", "0.1"]),
            (["0:8", "0:7"], "bit_zero=most;first_octet=0;first_bit=1", ["0.0", "0.1"]),
        ],
    )
    def test_one_column(
        self, cells: list[str], statement: str, expected: list[str], sheet: Sheet
    ) -> None:
        rows = [["Place", "Name"], *([f'"{cell}"', f"s{n}"] for n, cell in enumerate(cells))]
        columns = f"place=Place;name=Name;{statement}"
        code, out, err = sheet.run(text(rows), columns, *SENDS, "--gaps", "reserve")
        assert code == 2, out  # Two bits fill no octet.
        assert "the data must fill whole octets, not 2 bits" in err
        rest = "0.2-0.7" if "least" in statement and "first_bit=0" in statement else ""
        if rest and not cells[0].startswith("Byte"):
            found = sheet.end(text([*rows, [rest, "rest"]]), columns, *SENDS)
            assert [at for at, _, _ in entries(found)[:2]] == expected

    @pytest.mark.parametrize(
        "spelling",
        [
            "{o}.{b}",
            "{o},{b}",
            "Byte {o}.{b}",
            "Bit {o}.{b}",
            "I{o}.{b}",
            "E {o}.{b}",
            "QX{o}.{b}",
            "Byte {o} Bit {b}",
            "BYTE {o}, BIT {b}",
            "Octet {o}; bit {b}",
            "Oktett {o} Bit {b}",
            "Byte {o}/Bit {b}",
            "Bit {b} Byte {o}",
            "bit {b}, byte {o}",
            "Bit {b} Oktett {o}",
        ],
    )
    def test_the_words_decide_what_a_number_counts(self, spelling: str, sheet: Sheet) -> None:
        places = [(octet, bit) for octet in range(12) for bit in range(8)]
        cells = [[f'"{spelling.format(o=o, b=b)}"', f"s{o}_{b}"] for o, b in places]
        columns = "place=P;name=N;bit_zero=least;first_octet=0;first_bit=0"
        found = sheet.end(text([["P", "N"], *cells]), columns, *SENDS)
        assert entries(found) == [(f"{o}.{b}", 1, f"s{o}_{b}") for o, b in places]

    @pytest.mark.parametrize(
        ("columns", "place", "cell"),
        [
            ("place=P", "Word 1 Bit 0", "A2"),
            ("place=P", "Bit 0 Word 1", "A2"),
            ("place=P", "WORD 1.0", "A2"),
            ("place=P", "Wort 1 Bit 0", "A2"),
            ("place=P", "DWord 1, Bit 0", "A2"),
            ("place=P;last=Q", "0.0,Register 0.7", "B2"),
            ("octet=P;bit=Q", "Word 1,0", "A2"),
            ("octet=P;bit=Q", "1,Doppelwort 0", "B2"),
            ("number=P", "Word 1", "A2"),
        ],
    )
    def test_words_are_no_octets(self, columns: str, place: str, cell: str, sheet: Sheet) -> None:
        columns += ";name=N;bit_zero=least;first_octet=0;first_bit=0"
        first, _, second = place.partition(",") if "Q" in columns else (place, "", "")
        code, out, err = sheet.run(f"P;Q;N\n{first};{second};a\n", columns, *SENDS)
        assert (code, out) == (2, "")
        assert f":2: cell {cell}: a place must be counted in octets and bits, not in words" in err
        assert "which octet of a word comes first is not told by its number: write octets" in err

    @pytest.mark.parametrize(
        ("columns", "place", "word"),
        [
            ("place=P", "Foo 1 Bit 0", "Foo"),
            ("place=P", "Byte 1 Foo 0", "Foo"),
            ("place=P", "Byte 0 Byte 1", "Byte"),
            ("place=P", "Bit 0 Bit 1", "Bit"),
            ("place=P", "Bit 0/1", "Bit"),
            ("place=P", "Bits 0,1", "Bits"),
            ("place=P", "DB1.0", "DB"),
            ("place=P", "IW0.1", "IW"),
            ("octet=P;bit=Q", "Bit 1;0", "Bit"),
            ("octet=P;bit=Q", "1;Byte 0", "Byte"),
            ("octet=P;bit=Q", "1;Bit 0 - Byte 1", "Byte"),
            ("number=P", "Byte 1", "Byte"),
        ],
    )
    def test_an_unknown_word_may_count_another_unit(
        self, columns: str, place: str, word: str, sheet: Sheet
    ) -> None:
        columns += ";name=N;bit_zero=least;first_octet=0;first_bit=0"
        place += "" if "Q" in columns else ";"
        code, out, err = sheet.run(f"P;Q;N\n{place};a\n", columns, *SENDS)
        assert (code, out) == (2, "")
        assert (
            f"the word before a number must be one for what is counted there, not {word} (Byte and "
            "Bit are read; any other word may count another unit: take it out)" in err
        )

    def test_a_running_number_with_its_word(self, sheet: Sheet) -> None:
        columns = "number=P;name=N;bit_zero=least;first_octet=0;first_bit=1"
        found = sheet.end("P,N\nBit 1,a\nNr. 2,b\nBits 3-8,c\n", columns, *SENDS)
        assert entries(found) == [("0.0", 1, "a"), ("0.1", 1, "b"), ("0.2", 6, "c")]

    @pytest.mark.parametrize("columns", ["octet=Word;bit=Bit", "place=Word", "number=Word"])
    def test_a_header_that_says_words(self, columns: str, sheet: Sheet) -> None:
        columns += ";name=N;bit_zero=least;first_octet=0;first_bit=0"
        code, out, err = sheet.run("Word,Bit,N\n0,0-7,a\n", columns, *SENDS)
        assert (code, out) == (2, "")
        assert "a column of octets and bits must not count words: Word" in err

    def test_the_number_of_a_last_place_is_its_own(self, sheet: Sheet) -> None:
        columns = "place=P;last=Q;name=N;bit_zero=least;first_octet=0;first_bit=0"
        rows: list[list[Any]] = [["P", "Q", "N"], [0.0, "7", "a"]]
        code, _, err = sheet.run(book(rows), columns, *SENDS, name="t.xlsx")
        assert code == 2
        assert "cell B2: a place must be octet and bit such as 0.1 or Byte 0 Bit 1, not '7'" in err

    @pytest.mark.parametrize(
        ("statement", "numbers"),
        [
            ("bit_zero=least;first_octet=0;first_bit=0", ["0", "1-7", "8-15"]),
            ("bit_zero=least;first_octet=0;first_bit=1", ["1", "2..8", "9 – 16"]),
            ("bit_zero=most;first_octet=0;first_bit=0", ["7", "0-6", "8-15"]),
            ("bit_zero=most;first_octet=0;first_bit=1", ["8", "1 to 7", "9 bis 16"]),
        ],
    )
    def test_running_numbers(self, statement: str, numbers: list[str], sheet: Sheet) -> None:
        rows = [["Nr", "Name"], *([number, f"s{n}"] for n, number in enumerate(numbers))]
        found = sheet.end(text(rows), f"number=Nr;name=Name;{statement}", *SENDS)
        assert entries(found) == [("0.0", 1, "s0"), ("0.1", 7, "s1"), ("1.0", 8, "s2")]

    @pytest.mark.parametrize(
        ("row", "message"),
        [
            (["0", "8", "x"], "cell B5: a bit must be 0..7 in an octet from 0 on, not 8 in 0"),
            (["zero", "0", "x"], "cell A5: an octet must be a number, not 'zero'"),
            (["1", "", "x"], "cell B5: a bit must be a number or a range such as 0-3, not ''"),
            (["1", "0-1-2", "x"], "cell B5: a bit must be a number or a range such as 0-3"),
            (["1", "0", ""], "cell C5: data must have a name, not none (1 bit)"),
            (["0", "1", "x"], "cell C5: a bit must have one owner, not two: x begins at bit 1"),
            (
                ["1", "0", "a"],
                "cell C5: a name must stand once in a direction, not again after line 2",
            ),
            (["2", "0-7", "x"], "every bit must be declared, not left out: 8 bits from bit 8"),
        ],
    )
    def test_rows_that_cannot_be_read(self, row: list[str], message: str, sheet: Sheet) -> None:
        code, out, err = sheet.run(text([*ROWS, row]), BASE, *SENDS)
        assert code in (1, 2)
        assert out == ""
        assert f":5: {message}" in err or message in err

    def test_a_hexadecimal_number_is_no_place(self, sheet: Sheet) -> None:
        columns = "place=P;name=N;bit_zero=least;first_octet=0;first_bit=0"
        code, _, err = sheet.run("P,N\n0x1,a\n", columns, *SENDS)
        assert code == 2
        assert (
            "cell A2: a place must be octet and bit such as 0.1 or Byte 0 Bit 1, not '0x1'" in err
        )


class TestMapping:
    """What a column means is stated by the user; a guess is proposed as text only."""

    def test_the_proposal(self, sheet: Sheet, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["import", "table", str(DATA / "lift-bits.csv"), "--list"]) == 0
        assert capsys.readouterr().out == PROPOSAL

    def test_the_proposal_is_never_applied(self, sheet: Sheet) -> None:
        path = sheet.folder / "columns.toml"
        path.write_text(PROPOSAL, encoding="utf-8")
        code, _, err = sheet.run(text(ROWS), str(path), *SENDS)
        assert code == 2
        assert "columns.toml:3: bit_zero: bit_zero must be one of least, most, not '?'" in err
        code, _, err = sheet.run(text(ROWS), "", *SENDS)
        assert code == 2
        assert "--columns must say which column means what; --list proposes a mapping" in err

    @pytest.mark.parametrize(
        ("columns", "message"),
        [
            ("nonsense", "a mapping must be meaning=column, not 'nonsense'"),
            ("name=Name", "the places must stand in octet and bit, in place, or in number"),
            (BASE.replace("bit=Bit;", ""), "columns.bit: bit must be stated"),
            (BASE.replace("bit_zero=least;", ""), "bit_zero must be stated"),
            (BASE.replace("name=", "nme="), "a key must be one that a table of columns knows"),
            (BASE.replace("=Name", "=Nme"), "with one separator, not with 0: Bit, Byte, Nme"),
            (BASE.replace("first_octet=0", "first_octet=2"), "first_octet must be 0..1, not 2"),
        ],
    )
    def test_wrong_mappings(self, columns: str, message: str, sheet: Sheet) -> None:
        code, _, err = sheet.run(text(ROWS), columns, *SENDS)
        assert code in (1, 2)
        assert message in err

    def test_columns_by_letters(self, sheet: Sheet) -> None:
        columns = "octet==A;bit==B;name==C;bit_zero=least;first_octet=0;first_bit=0;reserve=-"
        found = sheet.end(text(ROWS[1:]), columns, *SENDS, "--separator", "comma")
        assert entries(found) == EXPECTED

    def test_directions_of_the_demo(self, sheet: Sheet) -> None:
        content = (DATA / "lift-bits.csv").read_text(encoding="utf-8")
        found = sheet.end(content, str(DATA / "columns.toml"))
        assert [name for _, _, name in entries(found)] == ["torque_off", "", ""]
        assert [name for _, _, name in entries(found, "receives")] == [
            *("permit_torque", "brake1_release", "", "speed_level", ""),
        ]
        assert found.receives.signals[0].one_means == "torque permitted"
        assert found.imported is not None
        assert found.imported.options[0].startswith("--columns direction=Richtung;octet=Byte")

    def test_compare(self, sheet: Sheet, tmp_path: Path) -> None:
        content = (DATA / "lift-bits.csv").read_text(encoding="utf-8")
        columns = str(DATA / "columns.toml")
        map_ = tmp_path / "map.toml"
        map_.write_text(safeframe.dumps(sheet.end(content, columns)), encoding="utf-8")
        assert sheet.run(content, columns, "--compare", str(map_))[0] == 0
        other = content.replace("torque permitted", "torque denied").replace(
            "0-1;speed", "1-2;speed"
        )
        code, out, _ = sheet.run(
            other.replace("2-7;Reserve;;\nvon", "3-7;Reserve;;\nvon"),
            columns,
            "--compare",
            str(map_),
        )
        assert code in (1, 2)
        code, out, _ = sheet.run(
            content.replace("torque permitted", "torque denied"), columns, "--compare", str(map_)
        )
        assert code == 1
        assert "meaning-differs" in out

    def test_compare_with_a_signal_that_the_map_lacks(self, sheet: Sheet, tmp_path: Path) -> None:
        content = (DATA / "lift-bits.csv").read_text(encoding="utf-8")
        columns = str(DATA / "columns.toml")
        map_ = tmp_path / "map.toml"
        map_.write_text(safeframe.dumps(sheet.end(content, columns)), encoding="utf-8")
        more = content.replace(";;2-7;Reserve;;\n;1", ";;2;lamp;BOOL;lit\n;;3-7;Reserve;;\n;1")
        code, out, _ = sheet.run(more, columns, "--compare", str(map_))
        assert code == 1
        assert "one-sided-signal" in out
        assert "lamp" in out
        assert "speed_level" not in out


PROPOSAL = """\
# A proposal from the words of the header: look at every line before you use it.
format = "safeframe-columns/1"
bit_zero = "?"     # least or most: the bit from which bits are counted
first_octet = "?"  # 0 or 1
first_bit = "?"    # 0 or 1
[columns]
direction = "Richtung"
octet = "Byte"
bit = "Bit"
name = "Bezeichnung"
type = "Typ"
one_means = "Bedeutung einer 1"
"""


def book(rows: list[list[Any]], **sheets: list[list[Any]]) -> bytes:
    made = openpyxl.Workbook()
    active = made.active
    assert active is not None
    for row in rows:
        active.append(row)
    for name, more in sheets.items():
        other = made.create_sheet(name)
        for row in more:
            other.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def with_part(octets: bytes, name: str, content: bytes) -> bytes:
    out = io.BytesIO(octets)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return out.getvalue()


def shared(octets: bytes) -> bytes:
    """Move the texts of the first sheet into the part that cells share, as other programs do."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(octets)) as old, zipfile.ZipFile(out, "w") as new:
        parts = {info.filename: old.read(info) for info in old.infolist()}
        name, types, text_part = (
            "xl/worksheets/sheet1.xml",
            "[Content_Types].xml",
            "xl/sharedStrings.xml",
        )
        inline = re.compile(rb'"inlineStr"><is>(.*?)</is>', re.DOTALL)
        texts = inline.findall(parts[name])
        numbers = iter(range(len(texts)))
        parts[name] = inline.sub(lambda _: b'"s"><v>%d</v>' % next(numbers), parts[name])
        space = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
        items = b"".join(b"<si>%s</si>" % one for one in texts)
        parts[text_part] = b'<sst xmlns="%s">%s</sst>' % (space, items)
        parts[types] = parts[types].replace(
            b"</Types>",
            b'<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxml'
            b'formats-officedocument.spreadsheetml.sharedStrings+xml"/></Types>',
        )
        for each, content in parts.items():
            new.writestr(each, content)
    return out.getvalue()


CELLS: list[list[Any]] = [["Byte", "Bit", "Name"], [0, 0, "a"], [None, 1, "b"], [None, "2-7", "-"]]


class TestWorkbooks:
    """Workbooks are guarded, read cell by cell, and only one sheet of them."""

    def test_read(self, sheet: Sheet) -> None:
        assert entries(sheet.end(book(CELLS), BASE, *SENDS, name="t.xlsx")) == EXPECTED

    def test_numbers_as_places(self, sheet: Sheet) -> None:
        rows: list[list[Any]] = [["P", "W", "N"], [0.0, 8, "a"], [1.0, 1, "b"], [1.1, 7, "c"]]
        columns = "place=P;width=W;name=N;bit_zero=least;first_octet=0;first_bit=0"
        found = sheet.end(book(rows), columns, *SENDS, name="t.xlsx")
        assert [at for at, _, _ in entries(found)] == ["0.0", "1.0", "1.1"]

    def test_sheets(self, sheet: Sheet) -> None:
        content = book([["x"]], bits=CELLS)
        code, _, err = sheet.run(content, BASE, *SENDS, name="t.xlsx")
        assert code == 1
        assert "one sheet of the workbook must be chosen, it has: Sheet, bits" in err
        found = sheet.end(content, BASE, *SENDS, "--sheet", "bits", name="t.xlsx")
        assert entries(found) == EXPECTED
        code, _, err = sheet.run(content, BASE, *SENDS, "--sheet", "bit", name="t.xlsx")
        assert code == 2
        assert "a sheet must be in the workbook, not bit (it has: Sheet, bits)" in err
        code, _, err = sheet.run(text(ROWS), BASE, *SENDS, "--sheet", "bit")
        assert "--sheet must stand with a workbook, not with a CSV file" in err

    def test_what_nobody_sees_is_said(self, sheet: Sheet) -> None:
        made = openpyxl.load_workbook(io.BytesIO(book([*CELLS, [1, "0-7", "c"]])))
        active = made.active
        assert active is not None
        active.row_dimensions[3].hidden = True
        active.column_dimensions["B"].hidden = True
        for cell in active[5]:
            cell.font = openpyxl.styles.Font(strike=True)
        out = io.BytesIO()
        made.save(out)
        code, _, shown = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 0
        assert "hidden in the sheet, but read: B2, B3, C3, B4, B5\n" in shown
        assert "struck out in the sheet, but read: A5, C5\n" in shown

    def test_what_stands_beside_the_cells_is_said(self, sheet: Sheet) -> None:
        """A remark at a cell or a picture may say what a bit means: MUST be told."""
        made = openpyxl.load_workbook(io.BytesIO(book(CELLS)))
        active = made.active
        assert active is not None
        active["C2"].comment = Comment("bit 7 comes first", "A. Berg")
        out = io.BytesIO()
        made.save(out)
        code, _, shown = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 0, shown
        said = " ".join(shown.split())
        note = "not read, parts of the workbook beside its cells: xl/comments/comment1.xml, "
        assert note in said
        assert "beside its cells" not in sheet.run(book(CELLS), BASE, *SENDS, name="u.xlsx")[2]

    @pytest.mark.parametrize("inline", [False, True])
    @pytest.mark.parametrize(
        ("fonts", "said"),
        [
            (({"strike": True}, None), True),
            ((None, {"strike": True}), True),
            (({"strike": True}, {"b": True}), True),
            (({"strike": False}, {"b": True}), False),
            (({"b": True}, None), False),
        ],
    )
    def test_a_part_of_a_text_that_is_struck_out_is_said(
        self,
        inline: bool,
        fonts: tuple[dict[str, bool] | None, ...],
        said: bool,
        sheet: Sheet,
    ) -> None:
        runs = [
            piece if font is None else TextBlock(InlineFont(**font), piece)
            for piece, font in zip(("old_", "new"), fonts, strict=True)
        ]
        rows = [*CELLS, [1, "0-7", CellRichText(*runs)]]
        content = book(rows) if inline else shared(book(rows))
        code, out, shown = sheet.run(content, BASE, *SENDS, name="t.xlsx")
        assert code == 0, shown
        assert 'name = "old_new"' in out
        note = "struck out at least in part in the sheet, but read: C5\n"
        assert (note in shown) is said
        assert "formula" not in shown

    def test_a_struck_out_part_in_a_cell_without_an_address(self, sheet: Sheet) -> None:
        name = "xl/worksheets/sheet1.xml"
        runs = CellRichText("new", TextBlock(InlineFont(strike=True), "_old"))
        out = io.BytesIO()
        content = book([*CELLS, [1, "0-7", runs]])
        with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
            for info in old.infolist():
                part = old.read(info)
                if info.filename == name:
                    part = re.sub(rb'<c r="[A-C]5"', b"<c", part)
                new.writestr(info, part)
        code, _, shown = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 0, shown
        assert "struck out at least in part in the sheet, but read: C5\n" in shown

    def test_a_formula_without_a_stored_value(self, sheet: Sheet) -> None:
        rows = [*CELLS, [1, "0-7", '="x"&"y"']]
        code, _, err = sheet.run(book(rows), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert ":5: cell C5: a formula must have a stored value, not none" in err

    def test_the_stored_value_of_a_formula_is_used_and_said_so(self, sheet: Sheet) -> None:
        content = book([*CELLS, [1, "0-7", "=A1"]])
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
            for info in old.infolist():
                data = old.read(info)
                if info.filename == "xl/worksheets/sheet1.xml":
                    data = re.sub(
                        rb'<c r="C5"[^>]*><f>A1</f><v ?/?>(</v>)?',
                        b'<c r="C5" t="str"><f>A1</f><v>wide</v>',
                        data,
                    )
                    assert b"wide" in data
                new.writestr(info, data)
        code, shown, err = sheet.run(out.getvalue(), BASE, *SENDS, name="t.xlsx")
        assert code == 0, err
        assert entries(safeframe.loads(shown))[-1] == ("1.0", 8, "wide")
        assert "the stored value of a formula is used in C5" in err

    def test_dates_and_errors(self, sheet: Sheet) -> None:
        import datetime

        rows = [*CELLS, [1, datetime.date(2024, 3, 1), "x"], [1, 1, "#REF!"]]
        code, _, err = sheet.run(book(rows), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert ":5: cell B5: a cell must hold a text or a number, not a date or time" in err
        assert ":6: cell C6: a cell must hold no error, not #REF!" in err

    @pytest.mark.parametrize(
        ("name", "content", "rule"),
        [
            ("xl/vbaProject.bin", b"x", "active-content"),
            ("xl/externalLinks/externalLink1.xml", b"<x/>", "active-content"),
            ("xl/embeddings/o.bin", b"x", "active-content"),
            ("xl/bomb.xml", b"<x>" + b" " * (1 << 22), "too-big"),
            ("xl/entity.xml", b"<!DOCTYPE x [<!ENTITY a 'b'>]><x/>", "doctype"),
            ("xl/noise.xml", b"\xff\x00", "bad-workbook"),
        ],
    )
    def test_hostile(self, name: str, content: bytes, rule: str, sheet: Sheet) -> None:
        code, out, err = sheet.run(
            with_part(book(CELLS), name, content), BASE, *SENDS, name="t.xlsx"
        )
        assert (code, out) == (2, "")
        assert f"[{rule}]" in err

    @pytest.mark.parametrize("content", [b"PK", b"PK\x03\x04" + bytes(60), b"\xd0\xcf\x11\xe0"])
    def test_no_workbook(self, content: bytes, sheet: Sheet) -> None:
        code, _, err = sheet.run(content, BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "the file must be a workbook (.xlsx)" in err

    def test_another_archive(self, sheet: Sheet) -> None:
        code, _, err = sheet.run(with_part(b"", "a.txt", b"x"), BASE, *SENDS, name="t.xlsx")
        assert code == 2
        assert "the file must be a workbook, not another ZIP file" in err

    @settings(
        max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(places=st.lists(st.tuples(st.integers(0, 9000), st.integers(0, 255)), max_size=5))
    def test_any_octets(self, places: list[tuple[int, int]], sheet: Sheet) -> None:
        octets = bytearray(book(CELLS))
        for place, value in places:
            octets[place % len(octets)] = value
        code, _, err = sheet.run(bytes(octets), BASE, *SENDS, name="t.xlsx")
        assert code in (0, 1, 2), err


FULL = ";".join(
    (
        "direction=Direction;name=Name;width=Width;type=Type;order=Order;safe=Safe",
        "one_means=Meaning;edge=Edge;unit=Unit;scale=Scale;codes=Codes;valid_by=Valid by",
        "mirrors=Mirrors;bind=Binding;note=Note;value=Value;reserve=(reserve)",
    )
)
NOTATIONS = ["octet=Octet;bit=Bit", "place=Place", "number=Number", "place=Place;last=Last"]


class TestRoundTrip:
    """A sheet that was written and read back unchanged MUST be the same map."""

    @settings(
        max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )
    @given(
        connection=clean_connections(),
        notation=st.sampled_from(NOTATIONS),
        first=st.tuples(st.integers(0, 1), st.integers(0, 1)),
        decimal=st.sampled_from([",", "."]),
        separator=st.sampled_from(["comma", "semicolon", "tab"]),
        workbook=st.booleans(),
    )
    def test_every_notation(
        self,
        connection: safeframe.Connection,
        notation: str,
        first: tuple[int, int],
        decimal: str,
        separator: str,
        workbook: bool,
    ) -> None:
        end = connection.first
        columns = importing.load_columns(
            f"{notation};{FULL};bit_zero=least;first_octet={first[0]};first_bit={first[1]};"
            f"decimal={decimal};separator={separator}"
        )
        if importing.sheet_losses(end, columns) or "(reserve)" in [
            one.name for map_ in (end.sends, end.receives) for one in map_.signals
        ]:
            return
        rows = importing.sheet_rows_of(end, columns)
        if workbook:
            octets = importing.write_workbook(rows, columns)
        else:
            octets = importing.write_csv_sheet(rows, columns).encode("utf-8")
        source = importing.DeviceFile("t.xlsx" if workbook else "t.csv", octets)
        identity = importing.Identity(
            connection=connection.name,
            end=end.name,
            peer=end.peer,
            profile=end.connection_table.profile,
        )
        if not end.sends.entries and not end.receives.entries:
            return
        made = importing.read_sheet(
            source, replace(columns, sheet=""), identity, importing.Decisions()
        )
        assert made.end.sends.entries == end.sends.entries
        assert made.end.receives.entries == end.receives.entries

    @pytest.mark.parametrize("notation", NOTATIONS)
    def test_counted_from_the_most_significant_bit(self, notation: str) -> None:
        end = safeframe.loads(
            'format = "safeframe-map/1"\n'
            'connection = { name = "c", profile = "plain" }\nend = { name = "A", peer = "B" }\n'
            'sends = [ { at = "0.0", name = "a" }, { at = "0.1", name = "b", width = 3 }, '
            '{ at = "0.4", reserved = 4 }, { at = "1.0", name = "w", width = 16, type = "int" } ]\n'
        )
        columns = importing.load_columns(
            f"{notation};{FULL};bit_zero=most;first_octet=0;first_bit=0"
        )
        rows = importing.sheet_rows_of(end, columns)
        source = importing.DeviceFile("t.csv", importing.write_csv_sheet(rows, columns).encode())
        identity = importing.Identity(connection="c", end="A", peer="B", profile="plain")
        made = importing.read_sheet(source, columns, identity, importing.Decisions())
        assert made.end.sends.entries == end.sends.entries

    def test_show_writes_what_import_reads(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        map_ = str(DATA.parent / "after" / "lx-sc1.toml")
        columns = f"octet=Octet;bit=Bit;{FULL};bit_zero=least;first_octet=0;first_bit=0"
        for form in ("csv", "xlsx"):
            out = str(tmp_path / f"sheet.{form}")
            assert main(["show", "--format", form, "--columns", columns, "-o", out, map_]) == 0
            assert capsys.readouterr() == ("", f"safeframe: {out} written (sheet)\n")
            first = Path(out).read_bytes()
            assert main(["show", "--format", form, "--columns", columns, "-o", out, map_]) == 2
            assert f"--output must name a new file, not {out}, which exists" in (
                capsys.readouterr().err
            )
            Path(out).unlink()
            assert main(["show", "--format", form, "--columns", columns, "-o", out, map_]) == 0
            assert Path(out).read_bytes() == first
            if form == "xlsx":
                with zipfile.ZipFile(out) as archive:
                    assert b">1980-01-01T00:00:00Z</dcterms:modified>" in (
                        archive.read("docProps/core.xml")
                    )
            capsys.readouterr()
            code = main(["import", "table", out, "--columns", columns, *LX, "--compare", map_])
            shown = capsys.readouterr().out
            assert code == 0, shown
            held = "safe, one_means, edge, unit, scale, codes, valid_by, value"
            assert f"agree in place, width, type, order, name, {held} " in " ".join(shown.split())

    def test_show_says_what_a_sheet_loses(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        map_ = str(DATA.parent / "after" / "lx-sc1.toml")
        assert main(["show", "--format", "csv", "--columns", BASE, map_]) == 0
        shown = capsys.readouterr()
        assert shown.out.splitlines()[:2] == ["Byte,Bit,Name", "0,0,torque_off"]
        assert "not in the sheet: one_means of " in shown.err
        assert "not in the sheet: the direction of every row" in shown.err

    @pytest.mark.parametrize(
        ("options", "text"),
        [
            (["--format", "xlsx"], "--format xlsx must stand with --columns"),
            (["-o", "x"], "-o must stand with --columns"),
            (["--columns", BASE], "--columns must stand with --format csv or xlsx, not text"),
            (["--columns", BASE, "--format", "xlsx"], "-o FILE must say where the workbook"),
            (
                ["--columns", BASE.replace("=Byte", "==A"), "--format", "csv"],
                "a sheet must be written by a mapping with headers, not with letters",
            ),
            (
                ["--columns", BASE.replace(";reserve=-", ""), "--format", "csv"],
                "the mapping must state reserve, the name of unused bits",
            ),
            (
                ["--columns", BASE.replace("reserve=-", "reserve=no_fault"), "--format", "csv"],
                "a signal must not have a name that means reserve: no_fault",
            ),
        ],
    )
    def test_wrong_use_of_show(
        self, options: list[str], text: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["show", *options, str(DATA.parent / "after" / "lx-sc1.toml")]) == 2
        assert text in capsys.readouterr().err
