"""The commands crc and frame: octets in, values out, and every wrong use."""

from __future__ import annotations

import binascii
import dataclasses
import io
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import pytest

import safeframe
from safeframe import _mapfile as mapfile
from safeframe import crc, frame
from safeframe._cli import main
from safeframe._model import Map, Signal
from tests import second

from .links import make

MAP = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "fscp-12-1", id = 0x0107 }
end = { name = "SC1", peer = "LX", role = "master" }
sends = [
  { at = "0.0", name = "permit_torque", one_means = "torque permitted" },
  { at = "0.1", name = "speed_level", width = 2, type = "code", codes = {0 = "stop", 1 = "creep"}},
  { at = "0.3", reserved = 5 },
  { at = "1.0", name = "limit", width = 8, type = "uint" },
]
receives = [
  { at = "0.0", name = "force", width = 32, type = "float" },
]
"""

Run = SimpleNamespace
Runner = Callable[..., Run]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Runner:
    def call(*arguments: str) -> Run:
        code = main(arguments)
        captured = capsys.readouterr()
        if "explain" not in arguments:  # whose exit code is the verdict.
            assert code == (2 if captured.err else 0)
        return Run(code=code, out=captured.out, err=captured.err)

    return call


@pytest.fixture
def map_file(tmp_path: Path) -> str:
    path = tmp_path / "sc1-lx.toml"
    path.write_text(MAP, encoding="utf-8")
    return str(path)


def stdin(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(text))


def document_of(found: Run, schema: str) -> dict[str, Any]:
    """Return the JSON a command printed after checking it against its schema."""
    document: dict[str, Any] = json.loads(found.out)
    path = Path(safeframe.__file__).parent / "schemas" / f"{schema}.schema.json"
    jsonschema.Draft202012Validator(json.loads(path.read_text())).validate(document)
    return document


class TestCrc:
    def test_named(self, run: Runner) -> None:
        assert run("crc", "--algorithm", "fscp-12-1/crc16", "313233343536373839").out == "0xDDE2\n"

    def test_separators_and_files(self, run: Runner, tmp_path: Path) -> None:
        (tmp_path / "raw").write_bytes(b"123")
        expected = f"0x{zlib.crc32(b'123'):08X}\n"
        for arguments in (
            ["31:32:33"],
            ["31,32 33"],
            ["0x313233"],
            ["--file", str(tmp_path / "raw")],
        ):
            assert run("crc", "--algorithm", "crc-32", *arguments).out == expected

    def test_standard_input(self, run: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
        stdin(monkeypatch, "31 32\n33\n")
        assert run("crc", "--algorithm", "crc-32", "-").out == f"0x{zlib.crc32(b'123'):08X}\n"

    def test_standard_input_that_is_no_text(
        self, run: Runner, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        raw = io.TextIOWrapper(io.BytesIO(b"\xff\xfe"), encoding="utf-8")
        monkeypatch.setattr("sys.stdin", raw)
        found = run("crc", "--algorithm", "crc-32", "-")
        assert found.code == 2
        assert found.err == (
            "safeframe: standard input must be hex digits; --file takes raw octets\n"
        )

    def test_described_and_explained(self, run: Runner) -> None:
        found = run(
            "crc", "--width", "16", "--poly", "0x1021", "--init", "0xFFFF", "--explain", "313233"
        )
        assert found.out == (
            "0x5BCE\n"
            "  as given: width 16, polynomial 0x1021, init 0xFFFF, not reflected, xor out\n"
            "  0x0000\n"
            "  source: none given\n"
            "  octets covered, in this order: 3\n"
            "    offset  octet  CRC so far\n"
            "    0       31     0xC782\n"
            "    1       32     0x3DBA\n"
            "    2       33     0x5BCE\n"
        )

    def test_described_by_width_and_polynomial_alone(self, run: Runner) -> None:
        found = run("crc", "--width", "16", "--poly", "0x1021", "31 32 33")
        assert found.out == f"0x{binascii.crc_hqx(b'123', 0):04X}\n"

    def test_reflected_with_final_xor(self, run: Runner) -> None:
        found = run(
            *("crc", "--width", "32", "--poly", "0x04C11DB7", "--reflect"),
            *("--init", "0xFFFFFFFF", "--xorout", "0xFFFFFFFF", "31 32 33"),
        )
        assert found.out == f"0x{zlib.crc32(b'123'):08X}\n"

    def test_backward_as_json(self, run: Runner) -> None:
        found = run(
            *("crc", "--algorithm", "opcua-safety/crc32", "--backward", "--explain"),
            *("--format", "json", "313233343536373839"),
        )
        document = document_of(found, "crc")
        assert document["format"] == "safeframe-crc/1"
        assert document["hex"] == "0x83F0ABC5"
        assert document["crc"] == document["steps"][-1] == 0x83F0ABC5
        assert document["octets"] == "393837363534333231"
        assert document["algorithm"]["poly"] == 0xF4ACFB13
        short = document_of(run("crc", "--algorithm", "crc-32", "--format", "json", "00"), "crc")
        assert "steps" not in short

    def test_another_start_register(self, run: Runner) -> None:
        found = run("crc", "--algorithm", "fscp-2-1/s3", "--init", "0xFFFF", "313233343536373839")
        assert found.out == "0x9516\n"

    def test_list(self, run: Runner) -> None:
        lines = run("crc", "--list").out.splitlines()
        assert lines[0] == "CRC algorithms"
        names = [line.split()[0] for line in lines[1:] if line[2] != " "]
        assert names == list(crc.CATALOGUE)
        assert max(map(len, lines)) <= 80

    @pytest.mark.parametrize(
        ("arguments", "text"),
        [
            (["00"], "name an algorithm with --algorithm, or give --width and --poly"),
            (["--width", "8", "00"], "name an algorithm with --algorithm, or give"),
            (["--algorithm", "crc-32"], "give the octets once: as hex digits, as - or with --file"),
            (["--algorithm", "crc-32", "0"], "octets must be pairs of hex digits, not '0'"),
            (
                ["--algorithm", "crc-32", "x" * 50],
                f"octets must be pairs of hex digits, not '{'x' * 37}...'",
            ),
            (
                ["--algorithm", "crc33", "00"],
                "--algorithm must be a name of the catalogue, not 'crc33' (did you mean crc-32?)",
            ),
            (
                ["--algorithm", "?", "00"],
                "--algorithm must be a name of the catalogue, not '?' (safeframe crc --list shows",
            ),
            *(
                (
                    ["--algorithm", "crc-32", *extra, "00"],
                    "--algorithm must stand alone, without --width, --poly, --xorout or --reflect",
                )
                for extra in (["--width", "8"], ["--poly", "7"], ["--xorout", "0"], ["--reflect"])
            ),
            *(
                (
                    ["--list", *extra],
                    f"{extra[0] if extra[0][0] == '-' else 'HEX'} must stand without --list, which",
                )
                for extra in (
                    ["00"],
                    ["--file", "x"],
                    ["--algorithm", "crc-32"],
                    ["--init", "0"],
                    ["--width", "8"],
                    ["--poly", "7"],
                    ["--xorout", "0"],
                    ["--reflect"],
                    ["--backward"],
                    ["--explain"],
                )
            ),
            (["--list", "--format", "json"], "--list must go without --format json"),
            (
                ["--algorithm", "crc-32", "y" * 40],
                f"octets must be pairs of hex digits, not '{'y' * 40}'",
            ),
            (
                ["--width", "8", "--poly", "seven", "00"],
                "--poly must be a number such as 0x1021, not 'seven'",
            ),
            (["--width", "9", "--poly", "7", "00"], "a CRC width must be 8, 16, 24, 32 or 64 bits"),
            (
                ["--algorithm", "fscp-13-1/crc8", "--init", "0x100", "00"],
                "CRC init must fit 8 bits, not 0x100",
            ),
            # The help says hexadecimal, and so it is read by residual: 1021 is two numbers.
            *(
                (
                    [*given, option, number, "00"],
                    f"{option} must be hexadecimal with 0x in front, not {number!r}, which may be "
                    "decimal",
                )
                for number in ("10", "1021", " +1_1")
                for given, option in (
                    (["--width", "16"], "--poly"),
                    (["--width", "16", "--poly", "0x1021"], "--init"),
                    (["--width", "16", "--poly", "0x1021"], "--xorout"),
                    (["--algorithm", "crc-16/v41"], "--init"),
                )
            ),
            (["--algorithm", "crc-32", "--file", "/none/at/all"], "/none/at/all: No such file"),
        ],
    )
    def test_wrong_use(self, run: Runner, arguments: list[str], text: str) -> None:
        found = run("crc", *arguments)
        assert (found.code, found.out) == (2, "")
        assert found.err.startswith(f"safeframe: {text}")


@pytest.mark.parametrize("words", ["build --data 0100", "explain 36"])
def test_a_direction_without_a_map(run: Runner, words: str) -> None:
    found = run("frame", *words.split(), "--profile", "fscp-12-1", "--direction", "sends")
    assert (found.code, found.err) == (2, "safeframe: --direction must go with --map\n")


@pytest.mark.parametrize(
    ("words", "option"),
    [("build --data 0100 --explain", "--explain"), ("explain --brief 36", "--brief")],
)
def test_options_that_json_has_no_use_for(run: Runner, words: str, option: str) -> None:
    found = run("frame", *words.split(), "--profile", "fscp-12-1", "--format", "json")
    assert (found.code, found.out) == (2, "")
    assert found.err == f"safeframe: {option} must go without --format json\n"


class TestBuild:
    def test_from_data(self, run: Runner) -> None:
        found = run(
            *("frame", "build", "--profile", "fscp-12-1", "--data", "0100"),
            *("--set", "connection_id=7", "--set", "sequence=4"),
        )
        assert (found.code, found.out) == (0, "36 01 00 ef 2c 07 00\n")

    def test_from_a_map(self, run: Runner, map_file: str) -> None:
        found = run(
            *("frame", "build", "--map", map_file, "permit_torque=true", "speed_level=creep"),
            *("limit=0x7f", "--set", "sequence=4", "--format", "json"),
        )
        document = document_of(found, "built")
        octets = bytes.fromhex(document["octets"])
        known = {"connection_id": 0x107, "peer_crc0": 0, "sequence": 4}
        assert frame.verify("fscp-12-1", octets, **known).data == b"\x03\x7f"
        assert document["values"] == {"sequence": 4, "connection_id": 0x107, "data": "037f"}
        assert document["caution"].startswith("Generated frames are for benches")

    def test_the_other_direction_and_floats(self, run: Runner, map_file: str) -> None:
        found = run(
            *("frame", "build", "--map", map_file, "--direction", "receives", "force=1.5"),
        )
        octets = bytes.fromhex(found.out)
        assert frame.parse("fscp-12-1", octets).data.hex() == "0000c03f"

    def test_without_signals_everything_is_safe(self, run: Runner, map_file: str) -> None:
        found = run("frame", "build", "--map", map_file, "--set", "command=0x08")
        assert frame.parse("fscp-12-1", bytes.fromhex(found.out)).data == bytes(2)

    def test_a_map_without_frame_id(self, run: Runner, map_file: str) -> None:
        found = run(
            *("frame", "build", "--map", map_file, "--profile", "fscp-3-1"),
            *("--set", "parameter_crc=1"),
        )
        assert (found.code, len(bytes.fromhex(found.out))) == (0, 6)

    def test_explained(self, run: Runner) -> None:
        found = run(
            *("frame", "build", "--profile", "fscp-13-1", "--data", "", "--explain"),
            *("--set", "address=1", "--set", "domain=2"),
        )
        assert found.code == 0
        assert "\naccepted\n" in found.out

    def test_a_request_has_no_data(self, run: Runner) -> None:
        found = run(
            *("frame", "build", "--profile", "opcua-safety"),
            *("--set", "consumer_id=1", "--set", "monitoring_number=256"),
        )
        assert found.out == "01 00 00 00 00 01 00 00 00\n"

    @pytest.mark.parametrize(
        ("arguments", "text"),
        [
            ([], "name the profile with --profile, or a map that does with --map"),
            (["--profile", "plain"], "the profile plain has no frames"),
            (["--profile", "fscp-12-1", "a=1"], "signals need the map that names them: --map FILE"),
            (["--map", "MAP", "--data", "00", "limit=1"], "give signals or --data, not both"),
            *(
                (
                    [*given, "--set", "data=00"],
                    "give the data by signals or with --data, not with --set as well",
                )
                for given in (
                    ["--map", "MAP"],
                    ["--map", "MAP", "limit=1"],
                    ["--map", "MAP", "--data", "00"],
                    ["--profile", "fscp-12-1", "--data", "00"],
                )
            ),
            (["--map", "MAP", "limit"], "SIGNAL must be NAME=VALUE, not 'limit'"),
            (["--map", "MAP", "=1"], "SIGNAL must be NAME=VALUE, not '=1'"),
            (
                ["--map", "MAP", "limit=1", "limit=2"],
                "SIGNAL must name a value once, not limit twice",
            ),
            (["--map", "MAP", "lmit=1"], "MAP sends no signal 'lmit'"),
            (["--map", "MAP", "limit=x"], "limit must be an integer, raw before scaling, not 'x'"),
            (
                ["--map", "MAP", "speed_level=fast"],
                "speed_level must be an integer, raw before scaling or one of stop, creep, "
                "not 'fast'",
            ),
            (["--map", "MAP", "limit=256"], "limit must be 0..255, not 256"),
            (["--map", "MAP", "--set", "sequence"], "--set must be NAME=VALUE, not 'sequence'"),
            (["--map", "MAP", "--set", "sequence=x"], "sequence must be an integer, not 'x'"),
        ],
    )
    def test_wrong_use(self, run: Runner, map_file: str, arguments: list[str], text: str) -> None:
        given = [map_file if argument == "MAP" else argument for argument in arguments]
        found = run("frame", "build", *given)
        assert (found.code, found.out) == (2, "")
        assert found.err.startswith(f"safeframe: {text.replace('MAP', map_file)}")


class TestExplain:
    good = "36 01 00 ef 2c 07 00"
    known = ("--set", "connection_id=7", "--set", "sequence=4", "--set", "peer_crc0=0")

    def test_accepted(self, run: Runner) -> None:
        found = run("frame", "explain", "--profile", "fscp-12-1", *self.known, self.good)
        assert found.code == 0
        assert found.out == (
            "fscp-12-1: data frame, 7 octets\n"
            "  offset  octets  part           meaning\n"
            "  0       36      command        ProcessData\n"
            "  1       01 00   data_0         data octets of block 0\n"
            "  3       ef 2c   crc_0          0x2CEF\n"
            "  5       07 00   connection_id  0x0007\n"
            "\n"
            "Checks\n"
            "  check          result  about\n"
            "  length         passed  a legal length\n"
            "  command        passed  a known command\n"
            "  connection_id  passed  the connection id of this connection, 0 in Reset and\n"
            "                         Session\n"
            "  crc            passed  every CRC, from CRC_0 on\n"
            "  blocks         passed  the blocks belong together (needs no history)\n"
            "\n"
            "crc_0: carried 0x2CEF, computed 0x2CEF\n"
            "  fscp-12-1/crc16: width 16, polynomial 0x39B7, init 0x0000, not reflected, xor\n"
            "  out 0x0000\n"
            "  CRC_0 of the peer's last frame  00 00\n"
            "  connection id                   07 00\n"
            "  sequence number                 04 00\n"
            "  command                         36\n"
            "  data                            01 00\n"
            "  three zero octets               00 00 00\n"
            "\n"
            "accepted\n"
            "Off-line aid, not certified: replaces neither review nor validation; local codes\n"
            "and licensed practice come first.\n"
        )

    def test_unknown_history(self, run: Runner) -> None:
        found = run("frame", "explain", "--profile", "fscp-12-1", *self.known[:2], self.good)
        assert found.code == 1
        assert "  sequence number                 (not known)\n" in found.out
        assert "crc_0: carried 0x2CEF, computed not computed\n" in found.out
        assert "\ncannot be judged, because peer_crc0, sequence are not known\n" in found.out

    def test_brief_and_colour(self, run: Runner) -> None:
        found = run(
            *("frame", "explain", "--profile", "fscp-12-1", *self.known, "--brief"),
            *("--color", "always", self.good[:-1] + "1"),
        )
        assert found.code == 1
        assert "crc_0: carried" not in found.out
        assert "\x1b[1;31m  connection_id  failed  " in found.out

    def test_with_a_map(self, run: Runner, map_file: str, monkeypatch: pytest.MonkeyPatch) -> None:
        stdin(monkeypatch, "36 03 7f 00 00 07 01")
        found = run("frame", "explain", "--map", map_file, "--direction", "sends", "-")
        assert found.code == 1
        assert "permit_torque  1 (torque permitted)" in found.out
        assert "speed_level    1 (creep)" in found.out

    def test_the_id_of_fscp_13_1_tells_where_the_sender_stands(
        self, run: Runner, tmp_path: Path
    ) -> None:
        """Data frames name it in address, service frames in target; others are refused."""
        link = make("fscp-13-1", 2, 2, {})
        maps = []
        for end in link.connection.ends:
            path = tmp_path / f"{end.name}.toml"
            path.write_text(mapfile.dumps(end), encoding="utf-8")
            maps += ["--map", str(path)]
        session = link.session()
        sent = [
            session.produce("35", data=b"\1\2"),
            session.produce("35", data=b"\1\2", id=56, address=36),
        ]
        for octets in sent:
            asked = ("frame", "explain", *maps, octets.hex())
            own = run(*asked, "--direction", "sends").out
            assert "failed" not in own
            found = run(*asked, "--direction", "receives")
            assert found.code == 1
            assert "expected 0x0024" in found.out

    def test_what_is_stated_goes_over_both_maps(self, run: Runner, tmp_path: Path) -> None:
        """A tester may ask for a frame with another id than that of the maps."""
        asked = ["frame", "build", "--data", "0102", "--set", "domain=5"]
        for end in make("fscp-13-1", 2, 2, {}).connection.ends:
            path = tmp_path / f"{end.name}.toml"
            path.write_text(mapfile.dumps(end), encoding="utf-8")
            asked += ["--map", str(path)]
        found = run(*asked, "--set", "address=99")
        assert (found.code, found.err) == (0, "")
        values = frame.parse("fscp-13-1", bytes.fromhex(found.out), domain=5).values
        assert values["address"] == 99

    def test_a_service_is_built_from_its_sender_to_whom_is_stated(
        self, run: Runner, tmp_path: Path
    ) -> None:
        link = make("fscp-13-1", 2, 2, {})
        asked = ["frame", "build", "--data", "20181001", "--set", "id=56"]
        for end in link.connection.ends:
            path = tmp_path / f"{end.name}.toml"
            path.write_text(mapfile.dumps(end), encoding="utf-8")
            asked += ["--map", str(path)]
        own = str(link.connection.first.address)
        peer = str(link.connection.second.address)
        found = run(*asked, "--set", f"target={own}", "--set", f"address={peer}")
        made = bytes.fromhex(found.out)
        values = frame.parse("fscp-13-1", made, domain=link.settings["domain"]).values
        assert (str(values["address"]), found.code) == (peer, 0)
        nobody = run(*asked, "--set", f"target={own}")
        assert (nobody.code, nobody.out) == (2, "")
        assert nobody.err == "safeframe: building this frame needs the value address\n"
        wrong = run(*asked, "--set", f"target={peer}", "--set", f"address={own}")
        assert wrong.code == 2
        assert wrong.err == (
            f"safeframe: target must be {own} in this kind of frame, as the maps say of its "
            f"sender, not {peer}\n"
        )

    def test_json(self, run: Runner, map_file: str) -> None:
        found = run(
            *("frame", "explain", "--map", map_file, "--direction", "sends", "--format", "json"),
            "36037f00000701",
        )
        document = document_of(found, "frame")
        assert document["format"] == "safeframe-frame/1"
        assert document["signals"]["limit"] == {"raw": 127, "meaning": "127"}
        assert "ends" not in document
        assert "differs" not in document

    def test_json_of_two_ends(self, run: Runner, map_file: str, tmp_path: Path) -> None:
        """What makes the exit code 1 MUST stand in the document, too."""
        text = MAP.replace(
            '"SC1", peer = "LX", role = "master"', '"LX", peer = "SC1", role = "slave"'
        )
        text = text.replace("sends", "RECEIVES").replace("receives", "sends")
        text = text.replace("RECEIVES", "receives").replace('"uint" }', '"uint", scale = "0.5" }')
        peer = tmp_path / "lx-sc1.toml"
        peer.write_text(text, encoding="utf-8")
        found = run(
            *("frame", "explain", "--map", map_file, "--map", str(peer), "--direction", "sends"),
            *("--format", "json", "36037f00000701"),
        )
        assert found.code == 1
        document = document_of(found, "frame")
        assert document["differs"] == ["limit"]
        ours, theirs = (each["signals"]["limit"] for each in document["ends"])
        assert (ours["meaning"], theirs["meaning"]) == ("127", "63.5")
        assert document["values"]["data"] == "037f"
        assert [part["name"] for part in document["parts"]] == [
            "command",
            "data_0",
            "crc_0",
            "connection_id",
        ]
        assert [found["result"] for found in document["verdicts"]] == [
            "passed",
            "passed",
            "passed",
            "unknown",
            "passed",
        ]
        assert document["crcs"][0]["computed"] is None
        assert not document["accepted"]

    def test_json_has_what_each_end_reads(self, run: Runner, tmp_path: Path) -> None:
        """MUST: programs are told all that people are, of both ends and of wrong sizes."""
        asked = ["frame", "explain", "--brief"]
        for end in make("fscp-12-1", 2, 1, {}).connection.ends:
            if end.name == "LX":
                first, *others = end.receives.entries
                assert isinstance(first, Signal)
                renamed = dataclasses.replace(first, name="told_apart")
                end = dataclasses.replace(end, receives=Map(entries=(renamed, *others)))
            path = tmp_path / f"{end.name}.toml"
            path.write_text(mapfile.dumps(end), encoding="utf-8")
            asked += ["--map", str(path)]
        data = frame.build("fscp-12-1", data=b"\1\7", connection_id=0x107).hex()
        asked = [*asked, "--direction", "sends", data]
        found = run(*(each for each in asked if each != "--brief"), "--format", "json")
        document = document_of(found, "frame")
        assert document["differs"] == ["order_0", "told_apart"]
        assert [each["name"] for each in document["ends"]] == ["SC1", "LX"]
        ours, theirs = (each["signals"] for each in document["ends"])
        assert document["signals"] == ours
        assert ours["order_0"]["raw"] == theirs["told_apart"]["raw"] == 1
        assert ours["order_level_1"] == theirs["order_level_1"] == {"raw": 7, "meaning": "7"}
        text = run(*asked).out
        for name in document["differs"]:
            assert re.search(rf"^  {name} .* differs$", text, flags=re.MULTILINE)
        longer = frame.build("fscp-12-1", data=b"\1\7\0\0", connection_id=0x107).hex()
        found = run(*asked[:2], *asked[3:-1], "--format", "json", longer)
        assert document_of(found, "frame")["notes"] == [
            f"the frame has 4 data octets, the map of {name} 2: nobody reads the octets from 2 on"
            for name in ("SC1", "LX")
        ]

    def test_two_maps_are_those_of_two_ends(self, run: Runner, map_file: str) -> None:
        found = run("frame", "explain", "--map", map_file, "--map", map_file, self.good)
        assert (found.code, found.out) == (2, "")
        assert found.err == (
            "safeframe: two maps must be those of two ends, not twice that of SC1\n"
        )

    def test_json_without_map_and_without_shape(self, run: Runner) -> None:
        found = run("frame", "explain", "--profile", "fscp-12-1", "--format", "json", "00")
        document = document_of(found, "frame")
        assert document["kind"] == ""
        assert "signals" not in document
        assert found.code == 1

    def test_a_long_part_is_cut_and_another_start_is_named(self, run: Runner) -> None:
        octets = frame.build("fscp-3-1", data=bytes(4), parameter_crc=0x22FF)
        found = run(
            *("frame", "explain", "--profile", "fscp-3-1"),
            *("--set", "parameter_crc=0x22ff", "--set", "number=0", octets.hex()),
        )
        assert "  start register 0x0022FF\n" in found.out
        wide = frame.build("fscp-12-1", data=bytes(2), connection_id=1)
        assert run("frame", "explain", "--profile", "fscp-12-1", (wide * 9).hex()).code == 1
        found = run("frame", "explain", "--profile", "opcua-safety", "11" * 60)
        assert re.search(r"  0       11 11 11 11 11 11 11 11    data  +members of the", found.out)
        assert re.search(r"^ +\.\.\.$", found.out, flags=re.MULTILINE)

    def test_wrong_use(self, run: Runner) -> None:
        found = run("frame", "explain", "--profile", "fscp-2-1", "00")
        assert found.err.startswith("safeframe: judging these frames needs the value format")
        assert found.code == 2


class TestValues:
    @pytest.mark.parametrize(
        ("profile", "line"),
        [
            ("fscp-12-1", "sequence       no           1..65535  1        virtual sequence number"),
            ("fscp-13-1", "manager_id        no           6 octets  000000000000"),
            ("fscp-2-1", "format             no           base | extended"),
        ],
    )
    def test_table(self, run: Runner, profile: str, line: str) -> None:
        found = run("frame", "values", profile)
        assert found.code == 0
        assert line in found.out


class TestDerive:
    def test_parameter_record(self, run: Runner) -> None:
        found = run(
            *("frame", "derive", "parameter-record", "sil=3", "source_address=1"),
            *("destination_address=1", "watchdog_ms=125", "device_parameter_crc=1132081116"),
        )
        assert found.out == (
            "record 08 48 00 01 00 01 00 7d 43 7a 2f dc 42 89\nparameter_crc 0x4289\n"
        )
        found = run(
            *("frame", "derive", "parameter-record", "sil=0", "source_address=1"),
            *("destination_address=1", "watchdog_ms=125", "check_number=true"),
        )
        assert found.out.startswith("record 0d 40 00 01")
        found = run(
            *("frame", "derive", "parameter-record", "sil=2", "source_address=1"),
            *("destination_address=1", "watchdog_ms=100", "crc_octets=4"),
        )
        # 28028 is published: the seed bit counts as 0, with 1 it would be 30931.
        assert found.out == "record 24 40 00 01 00 01 00 64 6d 7c\nparameter_crc 0x6D7C\n"
        assert second.crc(16, 0x4EAB, bytes.fromhex("6440000100010064")) == 30931

    def test_structure_signature_as_json(self, run: Runner) -> None:
        found = run(
            *("frame", "derive", "structure-signature", "--format", "json"),
            *("identifier=foo", "members=Int16, Boolean, Float"),
        )
        assert json.loads(found.out) == {
            "format": "safeframe-numbers/1",
            "number": "structure-signature",
            "structure_signature": "0xC254DBED",
            "data_octets": "7",
        }

    def test_spdu_ids(self, run: Runner) -> None:
        found = run(
            *("frame", "derive", "spdu-ids", "base_id=72962b91-fa75-4ae6-8d28-b404dc7daf63"),
            *("level=3", "signature=0xE2E86173", "provider_id=42"),
        )
        assert found.out == ("spdu_id_1 0xAC3CB67F\nspdu_id_2 0xA80E9B06\nspdu_id_3 0x671B557B\n")

    def test_what_it_is_derived_from(self, run: Runner) -> None:
        found = run("frame", "derive", "parameter-record")
        assert found.out.splitlines()[0] == "sil: int"
        assert "device_parameter_crc: int (may be left out)\n" in found.out

    @pytest.mark.parametrize(
        ("arguments", "text"),
        [
            (
                ["spdu-ids", "x=1"],
                "spdu-ids is derived from base_id, level, signature, provider_id",
            ),
            (["spdu-ids", "level=1"], "spdu-ids needs the value base_id"),
            (["spdu-ids", "level"], "spdu-ids must be NAME=VALUE, not 'level'"),
            (
                [
                    *("parameter-record", "sil=1", "source_address=1", "destination_address=1"),
                    *("watchdog_ms=1", "check_number=1"),
                ],
                "check_number must be true or false, not '1'",
            ),
            (
                [
                    *("parameter-record", "sil=9", "source_address=1", "destination_address=1"),
                    "watchdog_ms=1",
                ],
                "sil must be 0..3, not 9",
            ),
        ],
    )
    def test_wrong_use(self, run: Runner, arguments: list[str], text: str) -> None:
        found = run("frame", "derive", *arguments)
        assert (found.code, found.out) == (2, "")
        assert found.err.startswith(f"safeframe: {text}")
