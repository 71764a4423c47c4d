"""Device files become maps: the worked examples, viewpoints, decisions, provenance, messages."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import safeframe
from safeframe import importing
from safeframe._cli import main
from tests.unit.importing_files import CASES, DATA, EXPECTED, Case, importer

LX = importing.Identity(connection="SC1-LX", end="LX", peer="SC1")


def expected(name: str) -> safeframe.End:
    return safeframe.load(EXPECTED / f"{name}.expected.toml")


@pytest.mark.parametrize("name", CASES)
def test_the_worked_example_gives_the_expected_map(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    output = tmp_path / "map.toml"
    found = importer(tmp_path, capsys)(case, None, *case.options, "-o", str(output))
    assert (found.code, found.err) == (0, f"safeframe: {output} written (map)\n")
    made = safeframe.load(output)
    assert made == expected(name)
    assert made.imported is not None
    octets = (DATA / case.file).read_bytes()
    assert made.imported.sha256 == hashlib.sha256(octets).hexdigest()
    assert (made.imported.format, made.imported.file) == (name, case.file)
    assert made.imported.version == safeframe.__version__


@pytest.mark.parametrize("name", CASES)
def test_the_same_file_gives_the_same_octets(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = importer(tmp_path, capsys)
    case = CASES[name]
    assert run(case).out == run(case).out != ""


@pytest.mark.parametrize("name", ["esi", "xdd", "gsdml", "iodd", "eds"])
def test_the_controller_has_the_directions_exchanged(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    options = [word if word != "device" else "controller" for word in case.options]
    if "--role" in options:
        del options[options.index("--role") : options.index("--role") + 2]
    found = importer(tmp_path, capsys)(case, None, *options)
    made = safeframe.loads(found.out)
    assert made.sends.entries == expected(name).receives.entries
    assert made.receives.entries == expected(name).sends.entries


@pytest.mark.parametrize("name", CASES)
def test_a_map_agrees_with_the_file_it_was_made_of(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    map_ = str(EXPECTED / f"{name}.expected.toml")
    found = importer(tmp_path, capsys)(case, None, *case.options, "--compare", map_)
    assert found.code == 0, found.out
    assert "agree in place, width, type, order, name" in " ".join(found.out.split())


LIST = """\
esi.xml: 2 selections
  device:0x1:1/rx:0x1601  line 18  receives  88 bits
         Safety outputs: FSCP 12/1, 4 data octets
  device:0x1:1/tx:0x1a01  line 33  sends     120 bits
         Safety inputs: FSCP 12/1, 6 data octets
"""


def test_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = importer(tmp_path, capsys)(CASES["esi"], None, "--list")
    assert (found.code, found.out, found.err) == (0, LIST, "")


LISTED = {
    "eds": "srdo:1  line 27  receives    SRDO 1 mapping parameter: EN 50325-5, 6 entries",
    "xdd": "group:TX  line 16  sends     152 bits  TxSPDO: FSCP 13/1, 4 data octets",
    "gsdml": "module:M1/submodule:S1  line 8  both      F submodule, FSCP 3/1",
    "iodd": "process:P  line 8  both      40 bits sends, 8 bits receives",
    "st": "ST_ToDrive  line 6        8 members; the layout is to be stated",
    "tc6": "ST_ToDrive  line 7        4 members; the layout is to be stated",
    "nodeset": "LiftData  line 16        3 fields of its own",
    "cip-eds": "Assem100  line 13    32 bits  Safe inputs: 5 members",
}


@pytest.mark.parametrize("name", LISTED)
def test_list_shows_what_can_be_selected(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = importer(tmp_path, capsys)(CASES[name], None, "--list")
    assert found.code == 0
    assert " ".join(LISTED[name].split()) in " ".join(found.out.split())


def test_selections_by_line_and_by_other_spellings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = importer(tmp_path, capsys)
    case = CASES["esi"]
    rest = case.options[4:]
    for first in ("@18", "device:1:1/rx:#x1601", "device:0x1:0x1/rx:5633"):
        found = run(case, None, "--select", first, "--select", "@33", *rest)
        assert safeframe.loads(found.out) == expected("esi")


class TestUse:
    """What is not stated stops the command, with the option that states it."""

    @pytest.mark.parametrize(
        ("name", "drop", "more", "text"),
        [
            ("esi", "--as", "", "--as device or --as controller must be stated"),
            ("esi", "--connection", "", "--connection must be stated, since no device file"),
            ("esi", "", "--direction sends", "--as must be stated instead of --direction"),
            ("st", "--direction", "", "--direction sends or receives must be stated"),
            ("st", "", "--as device", "--direction must be stated instead of --as"),
            ("st", "--profile", "", "--profile must be stated: the file does not tell"),
            ("esi", "", "--profile plain", "--profile must be fscp-12-1, whose container"),
            ("esi", "", "-o a --compare b", "--compare must stand without -o, not with it"),
        ],
    )
    def test_wrong_use(
        self,
        name: str,
        drop: str,
        more: str,
        text: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        options = list(CASES[name].options)
        if drop:
            place = options.index(drop)
            del options[place : place + 2]
        found = importer(tmp_path, capsys)(CASES[name], None, *options, *more.split())
        assert found.code == 2
        assert text in found.err
        assert found.out == ""

    @pytest.mark.parametrize(
        ("name", "drop", "rule"),
        [
            ("gsdml", "--safe", "safe-not-stated"),
            ("st", "--layout", "layout-not-stated"),
            ("st", "--order", "ambiguous-order"),
            ("xdd", "--order", "ambiguous-order"),
        ],
    )
    def test_open_decisions(
        self, name: str, drop: str, rule: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        options = list(CASES[name].options)
        place = options.index(drop)
        del options[place : place + 2]
        found = importer(tmp_path, capsys)(CASES[name], None, *options)
        assert (found.code, found.out) == (1, "")
        assert f"[{rule}]" in found.err
        assert f"{drop} " in found.err

    def test_a_map_that_exists_is_not_touched(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        output = tmp_path / "map.toml"
        output.write_text("mine", encoding="utf-8")
        case = CASES["esi"]
        found = importer(tmp_path, capsys)(case, None, *case.options, "-o", str(output))
        assert found.code == 2
        assert "--output must name a new file, not" in found.err
        assert output.read_text(encoding="utf-8") == "mine"

    @pytest.mark.parametrize("name", ["none", ""])
    def test_unknown_format(self, name: str) -> None:
        with pytest.raises(safeframe.UsageError, match="a format must be one of esi, eds, xdd"):
            importing.find_format(name)

    def test_unknown_words_of_a_program(self) -> None:
        with pytest.raises(safeframe.UsageError, match="layout must be one of bits, octet-bool"):
            importing.list_file("st", DATA / "lift.st", importing.Decisions(layout="packed"))


class TestEncodings:
    """The octets decide which characters a file holds, and a contradiction is refused."""

    def text(self, declared: str) -> str:
        text = CASES["esi"].text.replace("permit_torque", "Hubwerk läuft")
        return text.replace('encoding="UTF-8"', f'encoding="{declared}"')

    @pytest.mark.parametrize(
        ("declared", "octets", "option"),
        [
            ("UTF-8", "utf-8", ""),
            ("UTF-8", "utf-8-sig", ""),
            ("UTF-16", "utf-16", ""),
            ("ISO-8859-1", "iso-8859-1", ""),
            ("windows-1252", "windows-1252", ""),
            ("ISO-8859-1", "utf-8", "utf-8"),
            ("UTF-8", "iso-8859-1", "iso-8859-1"),
            ("UTF-8", "utf-16", "utf-16"),
            ("UTF-16", "utf-16-le", ""),
            ("UTF-16", "utf-16-be", ""),
            ("UTF-16LE", "utf-16-le", ""),
            ("UTF-8", "utf-16-le", "utf-16"),
            ("UTF-8", "utf-16-be", "utf-16"),
        ],
    )
    def test_read(
        self,
        declared: str,
        octets: str,
        option: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        case = CASES["esi"]
        more = ("--encoding", option) if option else ()
        content = self.text(declared).encode(octets)
        found = importer(tmp_path, capsys)(case, content, *case.options, *more)
        assert found.code == 0, found.err
        names = [signal.name for signal in safeframe.loads(found.out).receives.signals]
        assert names[0] == "Hubwerk läuft"

    @pytest.mark.parametrize(
        ("declared", "octets", "more", "code", "text"),
        [
            (
                "ISO-8859-1",
                "utf-8",
                "",
                1,
                "declares ISO-8859-1, but its octets above 0x7F are UTF-8",
            ),
            ("UTF-8", "iso-8859-1", "", 1, ":22: the text must be utf-8, not octet 0xE4 at offset"),
            ("UTF-8", "utf-32", "", 1, "must be UTF-8 or UTF-16, not UTF-32"),
            (
                "UTF-8",
                "utf-16-le",
                "",
                1,
                ":1: the text must declare UTF-16, which it is without a byte order mark, not "
                "UTF-8 (--encoding utf-16, or save it as UTF-8)",
            ),
            ("UTF-16LE", "utf-16-be", "", 1, "which it is without a byte order mark, not UTF-16LE"),
            ("Shift_JIS", "utf-8", "", 1, "the declared encoding must be one that can be read"),
            ("UTF-16", "utf-8", "", 1, "encoding specified in XML declaration is incorrect"),
            ("UTF-8", "utf-8-sig", "--encoding iso-8859-1", 1, "its byte order mark says utf-8"),
            ("UTF-8", "utf-16", "--encoding windows-1252", 1, "its byte order mark says utf-16"),
        ],
    )
    def test_refused(
        self,
        declared: str,
        octets: str,
        more: str,
        code: int,
        text: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        case = CASES["esi"]
        content = self.text(declared).encode(octets)
        found = importer(tmp_path, capsys)(case, content, *case.options, *more.split())
        assert (found.code, found.out) == (code, "")
        assert text in found.err
        assert "[bad-encoding]" in found.err

    def test_utf_16_without_mark_and_declaration(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        text = CASES["esi"].text.partition("\n")[2]
        found = importer(tmp_path, capsys)(CASES["esi"], text.encode("utf-16-le"))
        assert found.code == 1
        assert "which it is without a byte order mark, not nothing" in found.err

    def test_utf_16_that_ends_inside_a_character(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        content = self.text("UTF-16").encode("utf-16-be") + b"\0"
        found = importer(tmp_path, capsys)(CASES["esi"], content)
        assert found.code == 1
        assert "the text must be utf-16-be, not octet 0x00 at offset" in found.err

    def test_nul(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        run = importer(tmp_path, capsys)
        assert run(CASES["esi"], CASES["esi"].text.replace("LX", "L\0X")).code == 2
        found = run(CASES["st"], CASES["st"].text.replace("limit", "lim\0it"))
        assert found.code == 1
        assert ":12: the text must hold no NUL character" in found.err

    def test_another_language(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        run = importer(tmp_path, capsys)
        case = CASES["esi"]
        found = run(case, None, *case.options, "--language", "1031")
        assert found.code == 1
        assert "a name must be there in language 1031, not only in" in found.err
        text = case.text.replace('LcId="1033">brake1', 'LcId="1036">brake1')
        found = run(case, text)
        assert found.code == 1
        assert "the language of the names must be chosen: 1031, 1036" in found.err


class TestAnyOctets:
    """Whatever octets a file has, the command refuses or reads it: never an internal error."""

    @settings(
        max_examples=60,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )
    @given(
        name=st.sampled_from(sorted(CASES)),
        places=st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 255)), max_size=6),
        cut=st.integers(0, 4000),
        long=st.booleans(),
    )
    def test_flipped(
        self,
        name: str,
        places: list[tuple[int, int]],
        cut: int,
        long: bool,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        case: Case = CASES[name]
        octets = bytearray(case.text.encode())
        for place, value in places:
            octets[place % len(octets)] = value
        content = bytes(octets if long else octets[: cut % len(octets)])
        found = importer(tmp_path, capsys)(case, content)
        assert found.code in (0, 1, 2), found.err


def test_files_that_are_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "empty.xml"
    empty.touch()
    big = tmp_path / "big.xml"
    with big.open("wb") as file:
        file.truncate((64 << 20) + 1)
    for path, text in (
        (empty, "the file must hold a description, not be empty"),
        (big, "a device file must be at most 67108864 octets, not 67108865"),
        (tmp_path, "the path must lead to a device file, not to a directory"),
        (tmp_path / "none", "the file must be readable: No such file"),
    ):
        assert main(["import", "esi", str(path), "--list"]) == 2
        assert text in capsys.readouterr().err


class TestProvenance:
    """Where a map came from is data: shown, told by diff, kept, in no fingerprint."""

    def imported_end(self) -> safeframe.End:
        case = CASES["esi"]
        source = importing.read_source(str(DATA / case.file))
        decisions = importing.Decisions(viewpoint="device", version="1.2")
        return importing.imported(importing.find_format("esi"), source, (), LX, decisions).end

    @pytest.mark.parametrize("form", ["toml", "csv"])
    def test_round_trip(self, form: str) -> None:
        end = self.imported_end()
        assert end.imported is not None
        odd = replace(end.imported, select=("a;b", "c\\d"), options=("--as device",))
        end = replace(end, imported=odd)
        again = safeframe.loads(safeframe.dumps(end, format=form), format=form)
        assert (again, again.imported) == (end, odd)

    def test_no_fingerprint_knows_it(self) -> None:
        end = self.imported_end()
        bare = replace(end, imported=None)
        assert safeframe.wire_fingerprint(end) == safeframe.wire_fingerprint(bare)
        assert safeframe.end_fingerprint(end) == safeframe.end_fingerprint(bare)
        assert end == bare

    def test_diff_tells_it_as_text(self) -> None:
        end = self.imported_end()
        assert end.imported is not None
        later = replace(end, imported=replace(end.imported, sha256="0" * 64, version="1.3"))
        changes = safeframe.compare_versions(end, later)
        assert [(one.level, one.section, one.field) for one in changes] == [
            *(("text", "imported", "sha256"), ("text", "imported", "version")),
        ]
        gone = safeframe.compare_versions(end, replace(end, imported=None))
        assert [one.after for one in gone] == ["not stated"] * 6

    def test_show(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        path = tmp_path / "lx.toml"
        path.write_text(safeframe.dumps(self.imported_end()), encoding="utf-8")
        assert main(["show", str(path)]) == 0
        out = " ".join(capsys.readouterr().out.split())
        taken = "device:0x1:1/rx:0x1601, device:0x1:1/tx:0x1a01, --as device"
        assert f"imported from esi.xml (esi, {taken}" in out

    @pytest.mark.parametrize(
        ("old", "new", "message"),
        [
            ('sha256 = "', 'sha256 = "x', "sha256 must be 64 hexadecimal digits in small letters"),
            ("select = [", "select = [1, ", "select must be a text, not 1"),
            ('format = "esi"', 'frmat = "esi"', "a key must be one that an imported table knows"),
        ],
    )
    def test_wrong_tables(self, old: str, new: str, message: str) -> None:
        text = safeframe.dumps(self.imported_end())
        assert old in text
        with pytest.raises(safeframe.InputError) as caught:
            safeframe.loads(text.replace(old, new, 1))
        assert message in str(caught.value)


def test_the_report_tells_sums_and_what_was_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["esi"]
    found = importer(tmp_path, capsys)(case, None, *case.options)
    told = " ".join(found.err.split())
    for text in (
        "88 bits = 8 command + 21 data in 5 signals + 11 reserve + 32 CRC + 16 connection id",
        "120 bits = 8 command + 33 data in 2 signals + 15 reserve + 48 CRC + 16 connection id",
        "value on loss of communication: 7 signals, stated as 0, as fscp-12-1 has it",
        "left out, since the protocol makes them: Command (8 bits, line 21), CRC_0 (16 bits",
        "two ends that are both read from esi.xml agree by construction, which proves nothing.",
    ):
        assert text in told
