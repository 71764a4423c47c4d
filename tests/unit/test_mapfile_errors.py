"""What a map file must not hold: every refusal with its place and text."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import Place
from safeframe._document.kinds import show
from safeframe._document.problems import MAX_PROBLEMS
from safeframe._errors import InputError, UsageError
from safeframe._mapfile import MAX_FILE_OCTETS, dumps, load, loads
from safeframe._model import Allowance, ConnectionTable, End, Map, Reserved, Signal
from tests.strategies import ends

HEAD = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "fscp-12-1" }
end = { name = "SC1", peer = "LX" }
"""


def problems(text: str, format: str = "toml") -> list[str]:  # noqa: A002
    with pytest.raises(InputError) as caught:
        loads(text, path="lx.toml", format=format)
    return [str(problem) for problem in caught.value.problems]


def row_problem(row: str) -> str:
    """Return the only problem of a map with one row, without path, line and entry."""
    (problem,) = problems(f"{HEAD}sends = [\n  {row},\n]\n")
    assert problem.startswith("lx.toml:5: sends[0]")
    return problem.removeprefix("lx.toml:5: sends[0]").removeprefix(".")


ROWS = {
    '{ at = "0.0", name = "a", widht = 2 }': "widht: a key must be one that a signal knows, "
    "not 'widht' (did you mean width?)",
    '{ at = "0.0", name = "a", zzz = 2 }': "zzz: a key must be one that a signal knows, "
    "not 'zzz' (known are at, name, width, type, order, safe, one_means, edge, unit, scale, "
    "codes, valid_by, mirrors, bind, note)",
    '{ at = "0.0", reserved = 2, bind = "x" }': "bind: a key must be one that a reserved run "
    "knows, not 'bind' (known are at, reserved, value, note)",
    '{ at = 0.0, name = "a" }': 'at: at must be a place in quotes such as "1.2" (octet.bit), '
    "not 0.0",
    '{ at = "0.8", name = "a" }': "at: at must be a place octet.bit with octet 0..65535 and "
    "bit 0..7, not '0.8'",
    '{ at = "65536.0", name = "a" }': "at: at must be a place octet.bit with octet 0..65535 "
    "and bit 0..7, not '65536.0'",
    '{ at = "-1.0", name = "a" }': "at: at must be a place octet.bit with octet 0..65535 and "
    "bit 0..7, not '-1.0'",
    '{ at = "65535.7", name = "a", width = 2 }': "at: an entry must end within 65536 octets, "
    "not 2 bits at 65535.7",
    '{ name = "a" }': "at: at must be stated",
    '{ at = "0.0" }': "an entry must have either name or reserved, not neither",
    '{ at = "0.0", name = "a", reserved = 2 }': "an entry must have either name or reserved, "
    "not both",
    '{ at = "0.0", name = "" }': "name: name must be a text of at least 1 character, not ''",
    '{ at = "0.0", name = 7 }': "name: name must be a text, not 7",
    '{ at = "0.0", name = "a\\u001b[31m" }': "name: name must be one line of printable text, "
    "not 'a\\x1b[31m'",
    '{ at = "0.0", name = "a\\nb" }': "name: name must be one line of printable text, not 'a\\nb'",
    '{ at = "0.0", name = "a", bind = ["x"] }': "bind: bind must be a text, not an array",
    '{ at = "0.0", name = "a", bind = "\\u202e" }': "bind: bind must be one line of printable "
    "text, not '\\u202e'",
    '{ at = "0.0", name = "a", note = 1 }': "note: note must be a text, not 1",
    '{ at = "0.0", name = "a", note = "\\u001b" }': "note: note must be printable text, "
    "not '\\x1b'",
    '{ at = "0.0", name = "a", width = true }': "width: width must be an integer, not true",
    '{ at = "0.0", name = "a", width = 1.0 }': "width: width must be an integer, not 1.0",
    '{ at = "0.0", name = "a", width = 0 }': "width: width must be 1..524288, not 0",
    '{ at = "0.0", name = "a", width = -3 }': "width: width must be 1..524288, not -3",
    '{ at = "0.0", name = "a", width = 524289 }': "width: width must be 1..524288, not 524289",
    '{ at = "0.0", name = "a", width = 2, type = "bool" }': "width: a bool must be 1 bit wide, "
    "not 2",
    '{ at = "0.0", name = "a", width = 2, type = "float" }': "width: a float must be 16, 32 or "
    "64 bits wide, not 2",
    '{ at = "0.0", name = "a", type = "float" }': "width: width must be stated for a signal of "
    "type float",
    '{ at = "0.0", name = "a", type = "code" }': "width: width must be stated for a signal of "
    "type code",
    '{ at = "0.0", name = "a", type = "byte" }': "type: type must be one of bool, uint, int, "
    "float, code, not 'byte'",
    '{ at = "0.0", name = "a", type = 3 }': "type: type must be one of bool, uint, int, float, "
    "code, not 3",
    '{ at = "0.0", name = "a", edge = "up" }': "edge: edge must be one of rising, falling, "
    "both, not 'up'",
    '{ at = "0.4", name = "a", width = 16, order = "big" }': "order: a big-endian value must "
    "fill whole octets, not 16 bits at 0.4",
    '{ at = "0.0", name = "a", safe = 2 }': "safe: safe must fit bool of width 1, not 2",
    '{ at = "0.0", name = "a", safe = true }': "safe: safe must be a number, not true",
    '{ at = "0.0", name = "a", safe = 1.0 }': "safe: safe must be an integer, not 1.0",
    '{ at = "0.0", name = "a", width = 4, safe = 16 }': "safe: safe must fit uint of width 4"
    ", not 16",
    '{ at = "0.0", name = "a", width = 4, safe = -1 }': "safe: safe must fit uint of width 4"
    ", not -1",
    '{ at = "0.0", name = "a", width = 4, type = "int", safe = 8 }': "safe: safe must fit int "
    "of width 4, not 8",
    '{ at = "0.0", name = "a", width = 4, type = "int", safe = -9 }': "safe: safe must fit int "
    "of width 4, not -9",
    '{ at = "0.0", name = "a", width = 16, type = "float", safe = 65505.0 }': "safe: safe must "
    "be within +/-65504.0, not 65505.0 (a float of 16 bits holds no more)",
    '{ at = "0.0", name = "a", width = 64, type = "float", safe = nan }': "safe: safe must be a "
    "finite number, not nan",
    '{ at = "0.0", name = "a", width = 64, type = "float", safe = -inf }': "safe: safe must be "
    "a finite number, not -inf",
    f'{{ at = "0.0", name = "a", safe = 0x1{"0" * 256} }}': "safe: safe must be an integer of "
    "at most 1024 bits, not an integer of 1025 bits",
    '{ at = "0.0", name = "a", scale = 0.1 }': "scale: scale must be a decimal factor in quotes "
    'such as "0.1", other than 0, not 0.1',
    '{ at = "0.0", name = "a", scale = "1/3" }': "scale: scale must be a decimal factor in "
    "quotes such as \"0.1\", other than 0, not '1/3'",
    '{ at = "0.0", name = "a", scale = "0.00" }': "scale: scale must be a decimal factor in "
    "quotes such as \"0.1\", other than 0, not '0.00'",
    '{ at = "0.0", name = "a", width = 2, type = "code", codes = [] }': "codes: codes must be a "
    'table such as { 0 = "off", 1 = "on" }, not an array',
    '{ at = "0.0", name = "a", width = 2, type = "code", codes = { x = "y" } }': "codes: codes "
    "must be a table whose keys are integers (decimal or 0x), not 'x'",
    '{ at = "0.0", name = "a", width = 2, type = "code", codes = { 1 = "y", 0x1 = "z" } }': "codes"
    ": codes must be a table that states each code once, not '0x1'",
    '{ at = "0.0", name = "a", width = 2, type = "code", codes = { 1 = 5 } }': "codes: codes "
    "must be a table whose values are one line of printable text each, not 5",
    '{ at = "0.0", name = "a", width = 2, type = "code", codes = { 4 = "y" } }': "codes: a code "
    "must fit width 2, not 4 for 'y'",
    '{ at = "0.0", name = "a", codes = { 0 = "y" } }': "codes: codes must stand with type code, "
    "not with bool",
    '{ at = "0.0", name = "a", width = 2, codes = { 0 = "y" } }': "codes: codes must stand with "
    "type code, not with uint",
    '{ at = "0.0", reserved = 0 }': "reserved: reserved must be 1..524288, not 0",
    '{ at = "0.0", reserved = 2, value = 4 }': "value: value must fit 2 reserved bits, not 4",
    '{ at = "0.0", reserved = 2, value = 1.5 }': "value: value must be an integer, not 1.5",
    f'{{ at = "0.0", name = "{"n" * 41}", width = 0 }}': "width: width must be 1..524288, not 0",
    f'{{ at = "{"9" * 50}", name = "a" }}': "at: at must be a place octet.bit with octet "
    f"0..65535 and bit 0..7, not '{'9' * 40}'... (50 characters)",
    "7": ": an entry of sends must be a table, not 7",
}


@pytest.mark.parametrize(("row", "problem"), ROWS.items(), ids=range(len(ROWS)))
def test_row(row: str, problem: str) -> None:
    assert row_problem(row).removeprefix(": ") == problem.removeprefix(": ")


TOPS = {
    HEAD.replace('"safeframe-map/1"', '"safeframe-map/2"') + "x = 1": [
        "lx.toml:1: format: format must be \"safeframe-map/1\", not 'safeframe-map/2'"
    ],
    HEAD.replace('format = "safeframe-map/1"\n', ""): [
        'lx.toml: format must be stated as "safeframe-map/1"'
    ],
    HEAD.replace('profile = "fscp-12-1"', "id = -1"): [
        "lx.toml:2: connection.id: id must be 0..18446744073709551615, not -1",
        "lx.toml:2: connection.profile: profile must be stated",
    ],
    HEAD.replace('{ name = "SC1", peer = "LX" }', "1979-05-27"): [
        "lx.toml:3: end: end must be a table, not a date or time"
    ],
    'format = "safeframe-map/1"': [
        "lx.toml: connection.name: name must be stated",
        "lx.toml: connection.profile: profile must be stated",
        "lx.toml: end.name: name must be stated",
        "lx.toml: end.peer: peer must be stated",
    ],
    HEAD + "recieves = []": [
        "lx.toml:4: recieves: a key must be one that a map file knows, not 'recieves' "
        "(did you mean receives?)"
    ],
    HEAD + "sends = {}": ["lx.toml:4: sends: sends must be an array of tables, not a table"],
    HEAD + "parameters = 1": ["lx.toml:4: parameters: parameters must be a table, not 1"],
    HEAD + "parameters = { a = nan, b = [], '' = 1, c = 0x1_0000_0000_0000_0000 }": [
        "lx.toml:4: parameters.a: a parameter must be a text, an integer, a finite number or a "
        "boolean, not nan",
        "lx.toml:4: parameters.b: a parameter must be a text, an integer, a finite number or a "
        "boolean, not an array",
        "lx.toml:4: parameters.'': the name of a parameter must be printable text, not ''",
        "lx.toml:4: parameters.c: a parameter must be an integer of at most 64 bits, "
        "not 18446744073709551616",
    ],
    HEAD + "allow = [ { rule = 'x' } ]": ["lx.toml:4: allow[0].reason: reason must be stated"],
    HEAD.replace('"fscp-12-1"', '"plain", legal_octets = [2, 0]'): [
        "lx.toml:2: connection.legal_octets: legal_octets must be an array of integers 1..65536, "
        "not 0"
    ],
    HEAD.replace('"fscp-12-1"', '"plain", legal_octets = []'): [
        "lx.toml:2: connection.legal_octets: legal_octets must be an array of at least 1 "
        "integer, not an array"
    ],
    HEAD + "[[sends]]\nat = '0.0'\nname = 'a'\nsafe = 9\n[[sends]]\nname = 'b'\n": [
        "lx.toml:7: sends[0].safe: safe must fit bool of width 1, not 9",
        "lx.toml:8: sends[1].at: at must be stated",
    ],
    HEAD + "a" + ".a" * 64 + " = 1": [
        "lx.toml:4: a dotted name must have at most 64 parts, not more"
    ],
    HEAD + "x = " + "[" * 5000: [
        "lx.toml:4: arrays and tables must not be nested as deeply as here"
    ],
    HEAD + "x = " + "9" * 5000: ["lx.toml:4: an integer must not have thousands of digits"],
    HEAD
    + "a = 12 # "
    + "9" * 6000
    + "\nb = 0x"
    + "9" * 6000
    + "\nc = [1,\n-"
    + "9_" * 5000
    + "9]": ["lx.toml:7: an integer must not have thousands of digits"],
    HEAD + "x = {a=1,\n": [
        "lx.toml:4: the text must be valid TOML at column 10: Invalid initial "
        "character for a key part"
    ],
    HEAD + 'x = "\x1b[2J"\n': [
        "lx.toml:4: the text must be valid TOML at column 6: Illegal character '\\x1b'"
    ],
    HEAD + "x = '''": ["lx.toml:4: the text must be valid TOML: Expected \"'''\""],
    " \r\n": ["lx.toml: the text must hold a map, not be empty"],
    "": ["lx.toml: the text must hold a map, not be empty"],
    "x" * (MAX_FILE_OCTETS + 1): ["lx.toml: a map must be at most 1048576 characters, not 1048577"],
}


@pytest.mark.parametrize(("text", "expected"), TOPS.items(), ids=range(len(TOPS)))
def test_text(text: str, expected: list[str]) -> None:
    assert problems(text) == expected


def test_a_key_that_is_stated_twice_has_a_place() -> None:
    (problem,) = problems(HEAD + 'end = { name = "LX" }')
    assert problem.startswith("lx.toml:4: the text must be valid TOML")
    assert problem.endswith("(state every key and table once only)")


def test_all_problems_of_a_file_are_told_at_once_in_line_order() -> None:
    text = HEAD + "sends = [\n{ name = 'a' },\n{ at = 1 },\n]\nallow = 1\nzap = 2\n"
    assert [line.split(": ")[:2] for line in problems(text)] == [
        ["lx.toml:5", "sends[0].at"],
        ["lx.toml:6", "sends[1]"],
        ["lx.toml:6", "sends[1].at"],
        ["lx.toml:8", "allow"],
        ["lx.toml:9", "zap"],
    ]


def test_the_first_hundred_problems_are_told_and_the_others_counted() -> None:
    found = problems(HEAD + "sends = [\n" + "{x=1},\n" * 2000 + "]")
    assert len(found) == MAX_PROBLEMS + 1
    assert found[0].startswith("lx.toml:5: sends[0]: an entry must have either name or reserved")
    assert found[-1] == f"lx.toml: ... and {3 * 2000 - MAX_PROBLEMS} more problems"


def test_the_first_ones_in_the_file_are_told_whatever_the_order_of_finding() -> None:
    # The table stands behind the entries in the file, but is read before them.
    rows = "sends = [\n" + '{ at = "0.0", name = "" },\n' * 200 + "]\n"
    found = problems(HEAD.replace("SC1-LX", "") + rows)
    assert found[0] == (
        "lx.toml:2: connection.name: name must be a text of at least 1 character, not ''"
    )
    late = HEAD.partition("connection")[0] + rows + HEAD.partition("end")[1]
    late += HEAD.partition("end")[2] + '[connection]\nname = ""\n'
    found = problems(late)
    assert found[0].startswith("lx.toml:3: sends[0].name")
    assert found[-1] == "lx.toml: ... and 102 more problems"


def test_defaults_and_places() -> None:
    end = loads(
        HEAD + 'sends = [\n  { at = "0.0", name = "a" },\n  { at = "0.1", name = "b", width = 3 },'
        '\n\n  { at = "0.4", reserved = 4, value = 0xF },\n]\n',
        path="sc1.toml",
    )
    assert end == End(
        name="SC1",
        peer="LX",
        connection_table=ConnectionTable(name="SC1-LX", profile="fscp-12-1"),
        sends=Map(
            entries=(
                Signal(name="a", at=Place(0, 0)),
                Signal(name="b", at=Place(0, 1), width=3, type="uint"),
                Reserved(at=Place(0, 4), width=4, value=15),
            )
        ),
    )
    assert [(str(e.where), e.where.key) for e in end.sends.entries] == [
        ("sc1.toml:5", "sends[0]"),
        ("sc1.toml:6", "sends[1]"),
        ("sc1.toml:8", "sends[2]"),
    ]
    assert str(end.where) == "sc1.toml"
    assert str(end.sends.where) == "sc1.toml:4"
    assert str(end.receives.where) == "sc1.toml"
    assert str(end.locate("end.peer")) == "sc1.toml:3"
    assert end.lines == (
        ("format", 1),
        ("connection", 2),
        ("connection.name", 2),
        ("connection.profile", 2),
        ("end", 3),
        ("end.name", 3),
        ("end.peer", 3),
        ("sends", 4),
    )


def test_tables_in_headers_and_a_byte_order_mark_are_the_same_map() -> None:
    text = (
        '\ufeffformat = "safeframe-map/1"\r\n[connection]\r\nname = "SC1-LX"\r\n'
        'profile = "fscp-12-1"\r\n[end]\r\nname = "SC1"\r\npeer = "LX"\r\n'
        '[[sends]]\r\nat = "0.0"\r\nname = "a"\r\n[[sends]]\r\nat = "0.1"\r\nreserved = 7\r\n'
    )
    rows = HEAD + 'sends = [ { at = "0.0", name = "a" }, { at = "0.1", reserved = 7 } ]'
    end = loads(text)
    assert end == loads(rows)
    assert [entry.where.line for entry in end.sends.entries] == [8, 11]
    assert end.locate("connection.profile").line == 4


def test_codes_are_sorted_by_value() -> None:
    end = loads(
        HEAD + 'sends = [ { at = "0.0", name = "a", width = 2, type = "code", '
        'codes = { 0x2 = "half", 0 = "off", 1 = "creep" } } ]'
    )
    assert end.sends.signals[0].codes == ((0, "off"), (1, "creep"), (2, "half"))


class TestWriting:
    END = End(
        name="SC1", peer="LX", connection_table=ConnectionTable(name="SC1-LX", profile="plain")
    )

    @pytest.mark.parametrize("format", ["toml", "csv"])
    @pytest.mark.parametrize(
        ("end", "problem"),
        [
            (
                dataclasses.replace(END, name="a\x1b"),
                "<memory>: end.name: name must be one line of printable text, not 'a\\x1b'",
            ),
            (
                dataclasses.replace(
                    END,
                    sends=Map(
                        entries=(
                            Signal(
                                name="a", at=Place(0, 0), width=32, type="float", safe=float("nan")
                            ),
                        )
                    ),
                ),
                "<memory>: sends[0].safe: safe must be a finite number, not nan",
            ),
            (
                dataclasses.replace(END, allowances=(Allowance(rule="x", reason=""),)),
                "<memory>: allow[0].reason: reason must be stated",
            ),
        ],
    )
    def test_what_no_map_can_say_is_refused(self, format: str, end: End, problem: str) -> None:  # noqa: A002
        with pytest.raises(InputError) as caught:
            dumps(end, format=format)
        assert str(caught.value) == problem

    def test_the_canonical_text(self) -> None:
        end = dataclasses.replace(
            self.END,
            connection_table=ConnectionTable(
                name="SC1-LX", profile="plain", id=0x107, watchdog_ms=100, legal_octets=(2, 4)
            ),
            note='say "x"\n\\',
            sends=Map(
                entries=(
                    Signal(name="go", at=Place(0, 0), bind="Lift.Go", one_means="go"),
                    Signal(
                        name="speed",
                        at=Place(0, 1),
                        width=2,
                        type="code",
                        codes=((0, "off"), (1, "on")),
                    ),
                    Signal(
                        name="force", at=Place(1, 0), width=32, type="float", order="big", safe=0.1
                    ),
                    Reserved(at=Place(0, 3), width=5),
                )
            ),
            parameters=(("a b", True), ("id", -5), ("rate", 1e16)),
            allowances=(Allowance(rule="hole", reason="spare"),),
        )
        assert dumps(end) == (
            'format = "safeframe-map/1"\n'
            'connection = { name = "SC1-LX", profile = "plain", id = 0x0107, watchdog_ms = 100, '
            "legal_octets = [2, 4] }\n"
            'end = { name = "SC1", peer = "LX", note = "say \\"x\\"\\n\\\\" }\n'
            "sends = [\n"
            '  { at = "0.0", name = "go", one_means = "go", bind = "Lift.Go" },\n'
            '  { at = "0.1", name = "speed", width = 2, type = "code", '
            'codes = { 0 = "off", 1 = "on" } },\n'
            '  { at = "1.0", name = "force", width = 32, type = "float", order = "big", '
            "safe = 0.1 },\n"
            '  { at = "0.3", reserved = 5 },\n'
            "]\n"
            'parameters = { "a b" = true, id = -5, rate = 1e+16 }\n'
            "allow = [\n"
            '  { rule = "hole", reason = "spare" },\n'
            "]\n"
        )
        assert loads(dumps(end)) == end

    @pytest.mark.parametrize(
        "call", [lambda: loads("x", format="xml"), lambda: dumps(TestWriting.END, format="xml")]
    )
    def test_an_unknown_format_is_an_error_of_the_caller(self, call: object) -> None:
        with pytest.raises(UsageError, match=r"^format must be one of toml, csv, not 'xml'$"):
            call()  # type: ignore[operator]


class TestFiles:
    """Files that are no map files are refused at once, in one line."""

    def refusal(self, path: Path) -> str:
        with pytest.raises(InputError) as caught:
            load(path)
        return str(caught.value).replace(str(path), "P")

    def test_a_map_is_read_with_its_path_as_given(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        Path("lx.TOML").write_text(HEAD, newline="\r\n")
        assert load("lx.TOML").where.path == "lx.TOML"
        Path("lx.csv").write_text(dumps(load("lx.TOML"), format="csv"))
        assert load(Path("lx.csv")) == load("lx.TOML")

    def test_missing(self, tmp_path: Path) -> None:
        assert self.refusal(tmp_path / "no.toml") == (
            "P: the file must be readable: No such file or directory"
        )

    def test_meaningless_name(self) -> None:
        assert self.refusal(Path("a\0.toml")) == (
            "P: the file must be readable: the path has no meaning"
        )

    def test_extension(self, tmp_path: Path) -> None:
        for name in ("a.txt", "toml", "a.toml.bak"):
            assert self.refusal(tmp_path / name) == (
                "P: the name of a map file must end in .toml or .csv"
            )

    def test_directory(self, tmp_path: Path) -> None:
        (tmp_path / "a.toml").mkdir()
        assert self.refusal(tmp_path / "a.toml") == (
            "P: the path must lead to a map file, not to a directory"
        )

    def test_device(self, tmp_path: Path) -> None:
        (tmp_path / "a.toml").symlink_to("/dev/zero")
        assert self.refusal(tmp_path / "a.toml") == (
            "P: the path must lead to a map file, not to a device"
        )

    def test_large(self, tmp_path: Path) -> None:
        with open(tmp_path / "a.toml", "wb") as file:
            file.truncate(50_000_000)
        assert self.refusal(tmp_path / "a.toml") == (
            "P: a map file must be at most 1048576 octets, not 50000000"
        )

    @pytest.mark.parametrize(
        ("octets", "problem"),
        [
            (
                b"a = 1\n\nb = '\xff'",
                "P:3: a map file must be UTF-8 text, not octet 0xff at offset 12 "
                "(save it as UTF-8)",
            ),
            (b"\xff\xfea\0", "P: a map file must be UTF-8 text, not UTF-16 (save it as UTF-8)"),
            (b"ab\0c", "P:1: a map file must be text, not octet 0x00 at offset 2"),
            (b"\xef\xbb\xbf", "P: the text must hold a map, not be empty"),
            (b"", "P: the text must hold a map, not be empty"),
        ],
    )
    def test_octets(self, tmp_path: Path, octets: bytes, problem: str) -> None:
        (tmp_path / "a.toml").write_bytes(octets)
        assert self.refusal(tmp_path / "a.toml") == problem


def test_values_are_shown_on_one_printable_line() -> None:
    values: list[object] = [True, False, "a\x1b", 1.5, {}, [], 1 << 128, "x" * 41]
    assert [show(value) for value in values] == [
        "true",
        "false",
        "'a\\x1b'",
        "1.5",
        "a table",
        "an array",
        "an integer of 129 bits",
        f"'{'x' * 40}'... (41 characters)",
    ]


class TestFuzz:
    """No text whatever raises anything but InputError."""

    @staticmethod
    def read(text: str, format: str) -> None:  # noqa: A002
        try:
            end = loads(text, format=format)
        except InputError as error:
            for problem in error.problems:
                assert str(problem).isprintable()
                assert 0 <= problem.line <= text.count("\n") + text.count("\r") + 1
        else:
            assert loads(dumps(end)) == end

    @given(st.text(), st.sampled_from(("toml", "csv")))
    def test_any_text(self, text: str, format: str) -> None:  # noqa: A002
        """MUST: any text loads or raises InputError with printable problems."""
        self.read(text, format)

    @given(ends(), st.sampled_from(("toml", "csv")), st.data())
    def test_a_map_with_slips(self, end: End, format: str, data: st.DataObject) -> None:  # noqa: A002
        """MUST: a map text with some characters replaced loads or raises InputError."""
        text = dumps(end, format=format)
        for _ in range(data.draw(st.integers(1, 4))):
            start = data.draw(st.integers(0, len(text)))
            length = data.draw(st.integers(0, 6))
            slip = data.draw(
                st.sampled_from(
                    (
                        "",
                        "[",
                        "]",
                        "{",
                        "}",
                        '"',
                        "'",
                        ",",
                        "=",
                        "\n",
                        "#",
                        ".",
                        "9",
                        "-",
                        ";",
                        "true",
                        "name",
                        "\x1b",
                        "[[sends]]",
                        "1e999",
                        "0x",
                        "\\",
                    )
                )
            )
            text = text[:start] + slip + text[start + length :]
        self.read(text, format)
