"""``frame`` with both maps, values in their unit, and names that nearly fit."""

from __future__ import annotations

from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._codec import decode
from safeframe._model import Map, Signal
from safeframe._report.frames import differing

SC1, LX = "sc1-lx.toml", "lx-sc1.toml"
MAP = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "fscp-12-1", id = 0x0107 }
end = { name = "SC1", peer = "LX", role = "master", address = 1 }
sends = [
  { at = "0.0", name = "pressure", width = 16, type = "uint", scale = "0.1", unit = "bar" },
  { at = "2.0", name = "level", width = 32, type = "float", scale = "0.5" },
  { at = "6.0", name = "travel", width = 128, type = "uint", scale = "0.1" },
  { at = "22.0", name = "depth", width = 16, type = "int", scale = "-3" },
  { at = "24.0", name = "span", width = 64, type = "float", scale = "0.5" },
]
receives = [ { at = "0.0", reserved = 16 } ]
"""
AB = 'type = "code", codes = { 0 = "a", 1 = "b" }'
TENTHS = 'type = "uint", scale = "0.10"'
VALID = 'valid_by = "ok"'
TRAVEL = "12345678901234567890123456789012345.6"
WIDE = "0." + "0" * 30 + "1"
RAW = "or raw: and the number before scaling, not"


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in demo.after().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "scaled.toml").write_text(MAP, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(list(words))
    found = capsys.readouterr()
    return code, found.out, found.err


@pytest.mark.usefixtures("site")
class TestBothMaps:
    OCTETS = ("0x36,", "0x03,", "0x01,", "0xd6,", "0xa4,", "0x07,", "0x01")

    def test_side_by_side(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = run(
            capsys, "frame", "explain", "--brief", "--map", LX, "--map", SC1, *self.OCTETS
        )
        assert code == 1
        assert "  permit_torque   1 (torque permitted)           1 (torque permitted)\n" in out
        assert "differs" not in out
        assert "  connection_id  passed" in out

    def test_what_differs(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        text = (site / LX).read_text(encoding="utf-8").replace("permit_torque", "enable_torque")
        (site / "odd.toml").write_text(text, encoding="utf-8")
        words = "--brief", "--direction", "sends", "--map", SC1, "--map", "odd.toml"
        _, out, _ = run(capsys, "frame", "explain", *words, *self.OCTETS)
        row = next(line for line in out.splitlines() if "  permit_torque" in line)
        assert row.split()[-5:] == ["not", "in", "the", "map", "differs"]
        assert out.count("differs") == 2

    def test_a_signal_behind_the_end_of_the_data_for_one_end(self) -> None:
        near = Map(entries=(Signal(name="x", at=Place(0, 0)),))
        far = Map(entries=(Signal(name="x", at=Place(1, 0)),))
        assert differing(decode(near, b"\0"), decode(far, b"\0")) == {"x"}
        assert differing(decode(far, b"\0"), decode(far, b"\0")) == frozenset()

    @pytest.mark.parametrize(
        ("ours", "theirs", "raw", "marked"),
        [
            (AB, 'type = "code", codes = { 0 = "b", 1 = "a" }', 0, True),
            (AB, 'type = "code", codes = { 0 = "a" }', 0, False),
            ('type = "uint", unit = "mm"', 'type = "uint", unit = "m"', 0, True),
            ('type = "uint", scale = "0.1"', 'type = "uint"', 1, True),
            ('type = "uint", scale = "1.0"', 'type = "uint"', 0, False),
            ('type = "uint", scale = "1.0"', 'type = "uint"', 1, False),
            (f"{TENTHS}, {VALID}", 'type = "uint", scale = "0.1"', 1, True),
            (f"{TENTHS}, {VALID}", f'type = "uint", scale = "0.1", {VALID}', 1, False),
            (AB, 'type = "uint"', 0, True),
        ],
    )
    def test_the_exit_code_says_what_the_rows_say(
        self,
        site: Path,
        capsys: pytest.CaptureFixture[str],
        ours: str,
        theirs: str,
        raw: int,
        marked: bool,
    ) -> None:
        row = '{ at = "0.0", name = "mode", width = 2, %s }, { at = "0.2", name = "ok" }'
        empty = '{ at = "0.0", reserved = 8 }'
        for name, peer, role, sends, receives in (
            ("SC1", "LX", "master", row % ours, empty),
            ("LX", "SC1", "slave", empty, row % theirs),
        ):
            (site / f"{name}.toml").write_text(
                MAP.partition("end = ")[0]
                + f'end = {{ name = "{name}", peer = "{peer}", role = "{role}", address = 1 }}\n'
                f"sends = [{sends}]\nreceives = [{receives}]\n",
                encoding="utf-8",
            )
        maps = "--map", "SC1.toml", "--map", "LX.toml", "--set", "sequence=4"
        known = (*maps, "--set", "peer_crc0=5")
        code, out, err = run(capsys, "frame", "build", *known, f"mode=raw:{raw}")
        assert code == 0, err
        words = "frame", "explain", "--direction", "sends", *known, *out.split()
        code, out, _ = run(capsys, *words)
        assert "accepted" in out
        assert (code, out.count("  differs\n")) == (int(marked), int(marked))

    def test_sizes_come_first(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = run(
            capsys, "frame", "explain", "--brief", "--map", LX, "36 01 02 03 04 05 06 07 08 07 01"
        )
        assert code == 1
        told = "the frame has 4 data octets, the map of LX 2: nobody reads the octets from 2 on"
        assert told in " ".join(out.split())
        words = "--format", "json", "--direction", "sends", "--map", "scaled.toml"
        _, out, _ = run(capsys, "frame", "explain", *words, "36 01 02 03 04 07 01")
        assert "signals behind octet 1 are not there" in out

    def test_a_receiver_that_maps_less(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """What the second map lets a receiver know MUST NOT hide the octets nobody reads."""
        head = 'format = "safeframe-map/1"\nconnection = { name = "D", profile = "en50325-5" }\n'
        head += "parameters = { identifier_1 = 0x111, identifier_2 = 0x112, "
        head += "sct_ms = 50, srvt_ms = 20 }\n"
        for name, peer, way in (("DRIVE", "LX", "sends"), ("LX", "DRIVE", "receives")):
            end = f'end = {{ name = "{name}", peer = "{peer}", address = 9 }}\n'
            text = head + end + f'{way} = [ {{ at = "0.0", reserved = 8 }} ]\n'
            (site / f"{name}.toml").write_text(text, encoding="utf-8")
        words = "--map", "LX.toml", "--map", "DRIVE.toml", "01 11 02 00 FF 01 12 02 FF 00"
        code, out, _ = run(capsys, "frame", "explain", "--brief", *words)
        assert code == 1
        for end in ("LX", "DRIVE"):
            told = (
                f"the frame has 2 data octets, the map of {end} 1: nobody reads the octets from 1"
            )
            assert told in " ".join(out.split())

    def test_wrong_use(self, capsys: pytest.CaptureFixture[str]) -> None:
        words = "frame", "explain", "--map", LX, "--map", SC1, "--map", SC1, "00"
        assert run(capsys, *words)[::2] == (
            2,
            "safeframe: --map must name one or two map files\n",
        )


@pytest.mark.usefixtures("site")
class TestUnits:
    def built(self, capsys: pytest.CaptureFixture[str], *signals: str) -> tuple[int, str, str]:
        return run(
            capsys, "frame", "build", "--map", "scaled.toml", *signals, "--set", "sequence=1",
            "--set", "peer_crc0=0",
        )  # fmt: skip

    def test_values_in_their_unit(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, err = self.built(capsys, "pressure=25.6")
        assert (code, err) == (0, "pressure: 25.6 bar, raw value 256\n")
        assert out.startswith("36 00 01 ")
        assert self.built(capsys, "pressure=raw:256")[1] == out
        assert self.built(capsys, "level=1")[2] == "level: 1.00, raw value 2.0\n"

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            (f"travel={TRAVEL}", f"travel: {TRAVEL}, raw value {TRAVEL.replace('.', '')}"),
            (
                f"travel={(1 << 128) // 10}",
                f"travel: {(1 << 128) // 10}.0, raw value {(1 << 128) // 10 * 10}",
            ),
            ("travel=1e3", "travel: 1000.0, raw value 10000"),
            ("depth=-12", "depth: -12, raw value 4"),
            ("depth=12", "depth: 12, raw value -4"),
            ("level=inf", "level: Infinity, raw value inf"),
            # What the float on the wire carries is told, not the double that it was made from.
            ("level=0.05", "level: 0.050000000745058060, raw value 0.10000000149011612"),
            # A tie of two doubles, and what is a little above it: rounding twice gives the tie.
            (
                "span=0.50000000000000005551115123125782702118158340454101562",
                "span: 0.50, raw value 1.0",
            ),
            (
                "span=0.50000000000000005551115123125782702118158340454101563",
                "span: 0.50000000000000010, raw value 1.0000000000000002",
            ),
        ],
    )
    def test_no_value_is_rounded(
        self, capsys: pytest.CaptureFixture[str], given: str, told: str
    ) -> None:
        code, _, err = self.built(capsys, given)
        assert (code, err) == (0, f"{told}\n")

    @pytest.mark.parametrize(
        ("given", "text"),
        [
            ("pressure=25.61", "pressure must be a multiple of 0.1 bar, such as 25.6, not 25.61"),
            (
                "pressure=x",
                "pressure must be a value in bar, or raw: and the number before scaling, not 'x'",
            ),
            (
                "level=x",
                "level must be a value, or raw: and the number before scaling, not 'x'",
            ),
            (
                "pressure=25.67",
                "pressure must be a multiple of 0.1 bar, such as 25.7, not 25.67",
            ),
            ("depth=8", "depth must be a multiple of -3, such as 9, not 8"),
            ("depth=-8", "depth must be a multiple of -3, such as -9, not -8"),
            ("depth=7", "depth must be a multiple of -3, such as 6, not 7"),
            (
                f"travel={TRAVEL}{WIDE[2:]}",
                f"travel must be a multiple of 0.1, such as {TRAVEL}, not {TRAVEL}{WIDE[2:]}",
            ),
            (
                f"travel={(1 << 128) // 10}.6",
                f"travel must be 0..{(1 << 128) - 1}, not {1 << 128}",
            ),
            ("pressure=inf", f"pressure must be a value in bar, {RAW} 'inf'"),
            ("pressure=nan", f"pressure must be a value in bar, {RAW} 'nan'"),
            ("pressure=1e99999999", f"pressure must be a value in bar, {RAW} '1e99999999'"),
            ("pressure=1e-99999999", f"pressure must be a value in bar, {RAW} '1e-99999999'"),
            ("presure=1", "scaled.toml sends no signal 'presure'; did you mean pressure?"),
            ("zzz=1", "scaled.toml sends no signal 'zzz'"),
        ],
    )
    def test_refused(self, capsys: pytest.CaptureFixture[str], given: str, text: str) -> None:
        assert self.built(capsys, given)[::2] == (2, f"safeframe: {text}\n")
