"""Map files in CSV."""

from __future__ import annotations

import pytest
from hypothesis import given

from safeframe._bits import Place
from safeframe._errors import InputError
from safeframe._mapfile import dumps, loads
from safeframe._mapfile.csvmap import COLUMNS
from safeframe._model import Allowance, ConnectionTable, End, Map, Reserved, Signal
from tests.strategies import ends


class TestRoundTrip:
    """An End survives writing and reading."""

    @given(ends())
    def test_what_is_written_reads_back_as_the_same_end(self, end: End) -> None:
        """MUST: CSV carries everything that TOML carries."""
        text = dumps(end, format="csv")
        again = loads(text, format="csv")
        assert again == end
        assert dumps(again) == dumps(end)
        assert dumps(again, format="csv") == text


SHEET = """\
direction,at,name,reserved,value,width,type,codes,note
format,,,,safeframe-map/1,,,,
connection,,name,,SC1-LX,,,,
connection,,profile,,plain,,,,
connection,,id,,0x0107,,,,
connection,,legal_octets,,2 4,,,,
end,,name,,SC1,,,,
end,,peer,,LX,,,,
parameter,,cycle,,7,,int,,
parameter,,factor,,2,,float,,
parameter,,label,,7,,,,
parameter,,strict,,true,,bool,,
sends,0.0,go,,,,,,"two
lines"
sends,0.1,speed,,,2,code,0x1=a\\;b; 0=c=\\\\,
,,,,,,,,

sends,0.3,,5,0x1F,,,,
allow,,go,,unbound-signal,,,,not used yet
"""


def test_a_sheet_with_every_kind_of_row() -> None:
    end = loads(SHEET, path="sc1.csv", format="csv")
    assert end == End(
        name="SC1",
        peer="LX",
        connection_table=ConnectionTable(
            name="SC1-LX", profile="plain", id=0x107, legal_octets=(2, 4)
        ),
        parameters=(("cycle", 7), ("factor", 2.0), ("label", "7"), ("strict", True)),
        sends=Map(
            entries=(
                Signal(name="go", at=Place(0, 0), note="two\nlines"),
                Signal(
                    name="speed",
                    at=Place(0, 1),
                    width=2,
                    type="code",
                    codes=((0, "c=\\"), (1, "a;b")),
                ),
                Reserved(at=Place(0, 3), width=5, value=31),
            )
        ),
        allowances=(Allowance(rule="unbound-signal", signal="go", reason="not used yet"),),
    )
    assert type(dict(end.parameters)["factor"]) is float
    assert [entry.where.line for entry in end.sends.entries] == [13, 15, 18]
    assert end.allowances[0].where.line == 19
    assert end.locate("connection.id").line == 5
    assert end.locate("parameters").line == 9
    assert loads("\ufeff" + SHEET.replace("\n", "\r\n"), format="csv") == end


def test_the_canonical_header() -> None:
    assert COLUMNS == (
        "direction",
        "at",
        "name",
        "reserved",
        "value",
        "width",
        "type",
        "order",
        "safe",
        "one_means",
        "edge",
        "unit",
        "scale",
        "codes",
        "valid_by",
        "mirrors",
        "bind",
        "note",
    )


HEAD = "\n".join(SHEET.split("\n")[:8]) + "\n"
ROWS = {
    "sends,0.0,go,,,,,,,": "lx.csv:9: a row must have at most 9 fields, not 10",
    "sent,0.0,go,,,,,,": "lx.csv:9: direction: direction must be one of format, connection, end, "
    "imported, sends, receives, relation, parameter, allow, not 'sent'",
    "end,,role,,master,,,,remark": "lx.csv:9: note: note must be empty in a row of end, "
    "not 'remark'",
    "end,,rolle,,master,,,,": "lx.csv:9: end.rolle: a key must be one that an end knows, "
    "not 'rolle' (did you mean role?)",
    "end,,name,,LX,,,,": "lx.csv:9: a row must stand once, not again after line 7",
    "end,,address,,1.0,,,,": "lx.csv:9: end.address: address must be an integer, not '1.0'",
    "end,,address,,007,,,,": "lx.csv:9: end.address: address must be an integer, not '007'",
    "sends,0.0,,,,,,,": "lx.csv:9: sends[0]: an entry must have either name or reserved, "
    "not neither",
    "sends,1,go,,,,,,": "lx.csv:9: sends[0].at: at must be a place octet.bit with octet 0..65535 "
    "and bit 0..7, not '1'",
    "sends,0.0,go,,,two,,,": "lx.csv:9: sends[0].width: width must be an integer, not 'two'",
    "sends,0.0,go,,,2,code,0=a;1,": "lx.csv:9: codes: codes must be written as 0=off;1=on, "
    "not '0=a;1'",
    "sends,0.0,go,,,2,code,0=a;;1=b,": "lx.csv:9: codes: codes must be written as 0=off;1=on, "
    "not '0=a;;1=b'",
    "sends,0.0,go,,,2,code,0=a;0=b,": "lx.csv:9: codes: codes must state each code once, "
    "not '0' twice",
    "parameter,,x,,1,,number,,": "lx.csv:9: type: the type of a parameter must be one of text, "
    "int, float, bool, not 'number'",
    "parameter,,x,,1.5,,int,,": "lx.csv:9: value: value must be of type int, not '1.5'",
    "parameter,,x,,yes,,bool,,": "lx.csv:9: value: value must be of type bool, not 'yes'",
    "parameter,,x,,nan,,float,,": "lx.csv:9: value: value must be of type float, not 'nan'",
    "parameter,,x,,1e999,,float,,": "lx.csv:9: parameters.x: a parameter must be a text, an "
    "integer, a finite number or a boolean, not inf",
    "parameter,,,,1,,int,,": "lx.csv:9: parameters.'': the name of a parameter must be printable "
    "text, not ''",
    "allow,,go,,hole,,,,": "lx.csv:9: allow[0].reason: reason must be stated",
    'sends,0.0,"go"x,,,,,,': "lx.csv:9: the row must be valid CSV: ',' expected after '\"' "
    "(a quote inside quotes is doubled)",
    'sends,0.0,"go,,,,,,': "lx.csv:9: the row must be valid CSV: unexpected end of data "
    "(a quote inside quotes is doubled)",
    "sends,0.0,go\x1b,,,,,,": "lx.csv:9: sends[0].name: name must be one line of printable text, "
    "not 'go\\x1b'",
}


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        loads(text, path="lx.csv", format="csv")
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(("row", "problem"), ROWS.items(), ids=range(len(ROWS)))
def test_row(row: str, problem: str) -> None:
    assert problems(f"{HEAD}{row}\n") == [problem]


HEADERS = {
    "direction,at,name,value,widht": [
        "lx.csv:1: a column must be a known one, not 'widht' (did you mean width?)"
    ],
    "direction,at,name,value,note,note": ["lx.csv:1: a column must stand once, not twice: note"],
    "at,name": [
        "lx.csv:1: the header must have a column direction",
        "lx.csv:1: the header must have a column value",
    ],
    "direction;at;name;value": [
        "lx.csv:1: a column must be a known one, not 'direction;at;name;value' "
        "(separate the columns by commas)",
        "lx.csv:1: the header must have a column direction",
        "lx.csv:1: the header must have a column at",
        "lx.csv:1: the header must have a column name",
        "lx.csv:1: the header must have a column value",
    ],
}


@pytest.mark.parametrize(("header", "expected"), HEADERS.items(), ids=range(len(HEADERS)))
def test_header(header: str, expected: list[str]) -> None:
    assert problems(header + "\nsends,0.0\n") == expected


def test_a_sheet_of_a_header_lacks_everything() -> None:
    assert problems("direction,at,name,value\n") == [
        'lx.csv: format must be stated as "safeframe-map/1"',
        "lx.csv: connection.name: name must be stated",
        "lx.csv: connection.profile: profile must be stated",
        "lx.csv: end.name: name must be stated",
        "lx.csv: end.peer: peer must be stated",
    ]


def test_a_row_may_leave_out_the_empty_cells_at_its_end() -> None:
    short = "\n".join(line.rstrip(",") for line in SHEET.split("\n"))
    assert short != SHEET
    assert loads(short, path="lx.csv", format="csv") == loads(SHEET, path="lx.csv", format="csv")


def test_the_first_mistake_comes_first_and_its_consequences_not_at_all() -> None:
    lines = SHEET.split("\n")
    lines[1] += ",,"
    assert problems("\n".join(lines)) == ["lx.csv:2: a row must have at most 9 fields, not 11"]
    lines[8:] = ["sends,0.0", 'sends,0.1,"go"x', "sent,0.2"]
    assert problems("\n".join(lines)) == [
        "lx.csv:2: a row must have at most 9 fields, not 11",
        "lx.csv:9: sends[0]: an entry must have either name or reserved, not neither",
        "lx.csv:10: the row must be valid CSV: ',' expected after '\"' "
        "(a quote inside quotes is doubled)",
    ]


def test_a_sheet_of_commas_has_no_header() -> None:
    assert problems(",,,\n")[0] == "lx.csv:2: the header must have a column direction"


def test_a_row_without_a_place_beside_rows_that_cannot_be_read() -> None:
    sheet = "direction,at,name,value\nformat,,,safeframe-map/1\nsends,0.0,a,,,x\nsends,,b,\n"
    with pytest.raises(InputError) as caught:
        loads(sheet, format="csv")
    assert [problem.line for problem in caught.value.problems] == [3]
