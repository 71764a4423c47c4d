"""``safeframe residual``: the report, its JSON, tables, the plot, and what is refused."""

from __future__ import annotations

import json
import re
import sys
import xml.etree.ElementTree as ET
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from safeframe import residual as engine
from safeframe._cli import main
from safeframe._cli import residual as command
from safeframe._report import plot
from safeframe._report import residual as render
from safeframe._report.text import render as shown
from safeframe.residual import CheckPart, Weights, figures, weights


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["residual", *arguments]) == 0
    done = capsys.readouterr()
    # A plot says which file it wrote.
    assert all(line.startswith("safeframe: ") for line in done.err.splitlines())
    assert bool(done.err) == ("--plot" in arguments)
    return done.out


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["residual", *arguments]) == 2
    done = capsys.readouterr()
    assert done.out == ""
    return done.err


def test_report_shows_inputs_figures_formulas_and_cautions(
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = said(capsys, "--profile", "fscp-12-1", "--octets", "6")
    for part in (
        "Residual error of FSCP 12/1 (IEC 61784-3-12) with 6 octets of safety data",
        "errors in command, data and all CRCs of a frame together (scope frame)",
        "1 x 16 bits, 2 x 16 bits, 8 bits are under all of them",
        "n = 104 transmitted bits, r = 48 check bits",
        "Hamming distance 6: 36 undetected patterns of 6 bits",
        "patterns of more bits: 7: 186, 8: 543, 9: 1197, 10: 2790 ...",
        "  0.01    1.4168e-11  2.1850e-11   2.3370e-18  6.06e+6",
        "  P_ud for p up to 0.5  5.4794e-9  0.06109  ",
        "times 2^-48",
        "general practice, from memory",
        "No SIL and no PFH follow from these figures",
        "Off-line aid, not certified",
    ):
        assert " ".join(part.split()) in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "the rule is too small by the factor 6.67e+6, so it is no bound" in words
    assert "SIL 3" not in text
    assert "rate" not in text.split("Formulas")[0]


def test_help_lists_the_scopes(capsys: pytest.CaptureFixture[str]) -> None:
    assert "  fscp-2-1: data, frame, extended\n" in said(capsys, "--help")


def test_a_map_states_profile_and_size(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "sc1.toml"
    path.write_text(
        """format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "fscp-12-1", id = 263 }
end = { name = "SC1", peer = "LX", role = "master" }
sends = [ { at = "0.0", name = "permit_torque" }, { at = "0.1", reserved = 7 } ]
receives = [ { at = "0.0", name = "position", width = 16, type = "int" } ]
""",
        encoding="utf-8",
    )
    sent = said(capsys, "--map", str(path))
    assert sent == said(capsys, "--profile", "fscp-12-1", "--octets", "1")
    assert sent == said(capsys, "--map", str(path), "--direction", "sends")
    received = said(capsys, "--map", str(path), "--direction", "receives")
    assert received == said(capsys, "--profile", "fscp-12-1", "--octets", "2")
    assert "a map states its own size" in refused(capsys, "--map", str(path), "--octets", "2")


def test_rate_is_printed_only_with_its_inputs(capsys: pytest.CaptureFixture[str]) -> None:
    rate = ("--messages-per-hour", "3.6e6", "--sinks", "2", "--ber", "1/100")
    text = said(capsys, "--profile", "fscp-12-1", "--octets", "1", *rate)
    assert "with 1 octet of safety data" in text
    assert "v = 3.6e6 messages per hour, m = 2" in text
    assert "9.7373e-12 3.5406e-11 1.1060e-11 8.80e-1 7.01e-5" in " ".join(text.split())
    assert "as generally described, from memory" in " ".join(text.split())
    assert re.search(r"too\s+large by the factor 1.14e\+0, which nothing warrants", text)
    document = json.loads(
        said(capsys, "--profile", "fscp-12-1", "--octets", "1", "--format", "json", *rate)
    )
    assert document["probabilities"][0]["rate_per_hour"].startswith("7.0108646")
    assert document["subject"]["rate_inputs"] == "v = 3.6e6 messages per hour, m = 2"


def test_a_rate_that_no_double_holds(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "--profile", "fscp-12-1", "--octets", "1", "--ber", "1e-400,1e-5")
    rows = [line.split()[0] for line in text.splitlines() if line.startswith(("  1e", "  1.0"))]
    assert rows == ["1.0000e-400", "1e-05"]


def test_json_holds_exact_counts(capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(
        said(capsys, "--poly", "0x39B7", "--width", "16", "--data-bits", "16", "--format", "json")
    )
    assert document["format"] == "safeframe-residual/1"
    assert document["weights"]["6"] == "25"
    assert document["weights"]["10"] == "915"
    assert sum(map(int, document["weights"].values())) == 2**16 - 1
    assert document["weights_complete"] is True
    assert document["probabilities"][0]["p"] == "1/100"
    assert document["probabilities"][0]["undetected"] == "1.93721043874969e-11"
    assert document["largest"]["p"] == "1/2"
    assert document["bound"] is None
    assert document["subject"]["source"] == "given on the command line"
    assert "No SIL" in document["caution"]


def test_published_bound_is_compared(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("--profile", "opcua-safety", "--octets", "1")
    text = said(capsys, *arguments)
    assert "within the bound 4.0e-10 that OPC 10000-15 release 1.05.04, clause 9.3 states" in text
    document = json.loads(said(capsys, *arguments, "--format", "json"))
    assert document["bound"]["value"] == "1/2500000000"
    assert document["bound"]["within"] is True


def test_a_broken_bound_is_said_loudly() -> None:
    subject = engine.Subject(
        title="t", errors="e", left_out="l", checks="c", source="s", bound=(Fraction(1, 10**9), "X")
    )
    found = figures(weights(engine.contiguous(0x13, 9)), [Fraction(1, 100)])
    assert "  ABOVE the bound 1.0e-9 that X states" in shown(render.report(subject, found))
    assert json.loads(render.report_json(subject, found))["bound"]["within"] is False


def test_a_code_without_undetected_errors(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "--profile", "fscp-13-1", "--octets", "0")
    assert "Hamming distance: none, no error of these bits stays undetected" in text
    assert "1 x 8 bits over each of two copies" in text
    (row,) = [line.split() for line in text.splitlines() if line.startswith("  0.01 ")]
    assert row == ["0.01", "0", "0", "0", "-"]


def test_one_pattern_is_singular(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "--poly", "3", "--width", "2", "--data-bits", "1")
    assert "Hamming distance 3: 1 undetected pattern of 3 bits\n\n" in text


def test_crc_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "--crc", "fscp-13-1/crc16-slim", "--data-bits", "242")
    assert "Residual error of a CRC of 16 bits, generator 0x15935, over 242 data bits" in text
    assert "Hamming distance 2: 1 undetected pattern of 2 bits" in text
    assert "algorithm fscp-13-1/crc16-slim, see the profile for its sources" in text


def test_tables(capsys: pytest.CaptureFixture[str]) -> None:
    text = said(capsys, "--profile", "fscp-13-1", "--hd-table")
    lines = text.splitlines()
    assert " ".join(lines[1].split()) == (
        "octets bits n r distance patterns P_ud(0.01) largest at p"
    )
    assert lines[2].split()[:5] == ["0", "16", "8", "-", "-"]
    footer = lines[-5:]
    assert footer[0].startswith("No SIL and no PFH follow from these figures")
    assert footer[3].startswith("Off-line aid, not certified")
    # What is left out MUST be told: of the legal sizes most.
    assert lines[10].split(maxsplit=1) == ["shown", "8 of 255 sizes up to 254 octets"]
    assert lines[11].startswith("  left out  ")
    text = said(capsys, "--profile", "fscp-13-1", "--hd-table", "--octets", "3")
    assert text.splitlines()[2].split()[:5] == ["3", "64", "8", "8", "264"]
    bare = ("--poly", "0x2F", "--width", "8", "--data-bits", "140", "--hd-table")
    text = said(capsys, *bare)
    assert text.splitlines()[5:] == footer
    assert [line.split()[:3] for line in text.splitlines()[2:5]] == [
        ["1..3", "6", "6"],
        ["4..119", "4", "82677"],
        ["120..140", "2", "21"],
    ]
    document = json.loads(said(capsys, *bare, "--format", "json"))
    assert document["bands"][2] == {
        "distance": 2,
        "first_data_bits": 120,
        "last_data_bits": 140,
        "patterns_at_last": "21",
    }
    sized = json.loads(said(capsys, "--profile", "fscp-3-1", "--hd-table", "--format", "json"))
    assert sized["sizes"][1]["octets"] == 1
    assert sized["shown"] == "7 of 13 sizes up to 12 octets"
    assert sized["left_out"]
    assert (sized["sizes"][1]["distance"], sized["sizes"][1]["patterns"]) == (8, "11")
    none = json.loads(
        said(capsys, "--profile", "fscp-13-1", "--octets", "0", "--hd-table", "--format", "json")
    )
    assert none["sizes"][0]["patterns"] == "0"


@pytest.mark.parametrize(
    ("octets", "told"),
    [("32", "1 of 17 sizes up to 32 octets"), ("34", "the one size that was asked for")],
)
def test_a_size_above_those_that_are_listed(
    octets: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--profile", "fscp-12-1", "--octets", octets, "--hd-table")
    assert json.loads(said(capsys, *words, "--format", "json"))["shown"] == told
    assert f"  shown     {told}\n" in said(capsys, *words)


def test_bands_of_one_length_and_without_a_known_distance() -> None:
    rows = (
        engine.Band(distance=None, first=1, last=1, patterns=1),
        engine.Band(distance=4, first=2, last=2, patterns=7),
    )
    lines = shown(render.bands("title", rows)).splitlines()
    assert lines[2:4] == ["  1          above 16  -", "  2          4         7"]


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ("--poly 0x7 --width 3", "a bare CRC must have at least 1 data bit: --data-bits N"),
        ("--poly 0x7 --data-bits 3", "--poly must go with --width of 1 to 32 bits"),
        ("--poly 0x7 --width 33 --data-bits 3", "--poly must go with --width of 1 to 32 bits"),
        ("--poly 0xF --width 3 --data-bits 3", "below 2^3, not '0xF'"),
        ("--poly xyz --width 3 --data-bits 3", "must be hexadecimal, without its top bit"),
        ("--poly 0x6 --width 3 --data-bits 3", "a generator must have a top bit and end in 1"),
        ("--poly 0x7 --width 3 --data-bits 3 --octets 1", "--octets and --scope must go with"),
        ("--crc crc16 --data-bits 3", "--crc must be one of fscp-12-1/crc16, fscp-13-1/crc8"),
        ("--crc fscp-12-1/crc9 --data-bits 3", "not 'fscp-12-1/crc9'"),
        ("--profile fscp-12-1", "exactly one of --octets, --hd-table and --plot"),
        ("--profile fscp-12-1 --hd-table --plot x.svg", "exactly one of --octets, --hd-table"),
        ("--profile fscp-12-1 --octets 2 --width 3", "--width and --data-bits must go with"),
        ("--profile fscp-12-1 --octets 2 --ber x", "--ber must be a number such as 1e-2 or 1/100"),
        *(
            (
                f"--profile fscp-12-1 --octets 2 --no-cache {option} {number}",
                f"{option.split()[-1]} must be a number such as 1e-2 or 1/100, of at most 40 "
                f"digits and 3 more in an exponent, not '{number[:60]}'",
            )
            for option in ("--ber", "--messages-per-hour")
            for number in ("1e-9999999", "1e1000", f"1/{'9' * 60}", "1_0/100", "\uff11e-2", "1/0")
        ),
        ("--profile fscp-12-1 --octets 2 --ber 1/0", "not '1/0'"),
        ("--profile fscp-12-1 --octets 2 --ber 0.6", "above 0 and at most 0.5, not 0.6"),
        ("--profile fscp-12-1 --octets 2 --processes 0", "--processes must be at least 1, not 0"),
        ("--profile fscp-12-1 --plot x.svg --format json", "must go without --format json"),
        ("--profile fscp-13-1 --octets 0 --plot x.svg", "a plot must have a size in which"),
        ("--profile nope --octets 2", "nope"),
        *(
            (
                f"{what} {mode} {idle}",
                f"{idle.split()[0]} must stand without {mode.split()[0]}, which",
            )
            for what in ("--profile fscp-12-1", "--poly 0x7 --width 3 --data-bits 3")
            for mode in ("--hd-table", "--plot x.svg")
            for idle in ("--ber 1e-2", "--messages-per-hour 100", "--sinks 1")
        ),
        ("--profile fscp-12-1 --octets 2 --sinks 3", "--sinks must go with --messages-per-hour"),
        ("--profile fscp-12-1 --octets 2 --ber=", "--ber must have a value, not an empty one"),
        (
            "--poly 0x7 --width 3 --data-bits 3 --hd-table --plot x.svg",
            "--hd-table must stand without --plot, not with it",
        ),
        (
            "--crc fscp-12-1/crc16 --width 16 --data-bits 3",
            "--width must go with --poly: --crc states its own width",
        ),
        (
            "--profile fscp-12-1 --octets 2 --cache x --no-cache",
            "--cache must stand without --no-cache, not with it",
        ),
        ("--profile fscp-12-1 --octets 2 --direction sends", "--direction must go with --map"),
    ],
)
def test_wrong_use(capsys: pytest.CaptureFixture[str], arguments: str, text: str) -> None:
    assert text in refused(capsys, *arguments.split())


class TestPlot:
    """A plot must be a well-formed picture whose curves can be told apart without colour."""

    def test_all_sizes_of_a_profile(
        self, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "plot.svg"
        text = said(capsys, "--profile", "fscp-3-1", "--plot", str(path))
        assert text == f"{path}: 7 curves, 7 of 13 sizes up to 12 octets\n"
        root = ET.fromstring(path.read_text(encoding="utf-8"))
        space = "{http://www.w3.org/2000/svg}"
        curves = root.findall(f"{space}polyline")
        dashes = [curve.get("stroke-dasharray") for curve in curves]
        assert len(curves) == len(set(dashes)) == 7
        labels = [node.text for node in root.iter(f"{space}text")]
        assert [text for text in labels if text and text.endswith(("octet", "octets"))] == [
            "12 octets",
            "8 octets",
            "5 octets",
            "3 octets",
            "2 octets",
            "1 octet",
            "0 octets",
        ]
        heights = [
            float(node.get("y", 0))
            for node in root.iter(f"{space}text")
            if (node.text or "").endswith(("octet", "octets"))
        ]
        assert all(b - a >= 17 for a, b in pairwise(heights))
        colours = set(re.findall(r"(?:stroke|fill):#(\w+)", path.read_text(encoding="utf-8")))
        assert all(len(set(re.findall("..", colour))) == 1 for colour in colours)

    def test_one_bare_crc(self, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
        path = tmp_path / "plot.svg"
        bare = ("--poly", "0x39B7", "--width", "16", "--data-bits", "16")
        assert said(capsys, *bare, "--plot", str(path)).endswith(": 1 curve, one length\n")
        assert path.read_text(encoding="utf-8").count("<polyline") == 1

    def test_labels_at_the_bottom_are_pushed_up_and_text_is_escaped(self) -> None:
        series = [
            plot.Series(label=f"<{number}>", points=((-4, -30 + number / 100), (-0.3, -5)))
            for number in range(8)
        ]
        text = plot.log_log(
            series, title="a & b", subtitle="s", x_label="x", y_label="y", notes=("n",)
        )
        assert "a &amp; b" in text
        assert "&lt;7&gt;" in text
        root = ET.fromstring(text)
        heights = [
            float(node.get("y", 0))
            for node in root.iter("{http://www.w3.org/2000/svg}text")
            if (node.text or "").startswith("<")
        ]
        assert max(heights) <= 620 - 96 + 5

    def test_a_range_of_hundreds_of_decades_has_few_ticks(self) -> None:
        series = [plot.Series(label="a", points=((-4.0, -900.0), (-0.3, -5.0)))]
        text = plot.log_log(series, title="t", subtitle="s", x_label="x", y_label="y")
        assert 5 <= text.count("<tspan") <= 20


class TestProgress:
    """Progress must appear on a terminal only, and vanish."""

    class Terminal:
        def __init__(self, terminal: bool) -> None:
            self.text = ""
            self._terminal = terminal

        def isatty(self) -> bool:
            return self._terminal

        def write(self, text: str) -> int:
            self.text += text
            return len(text)

        def flush(self) -> None:
            pass

    def test_on_a_terminal(self, monkeypatch: pytest.MonkeyPatch) -> None:
        terminal = self.Terminal(True)
        monkeypatch.setattr(sys, "stderr", terminal)
        with command._Progress("work") as progress:
            progress.show(0.111)
            progress.show(0.112)
            progress.show(1.0)
        assert terminal.text == "\r 11%  work\r100%  work\r" + " " * 10 + "\r"

    def test_not_in_a_pipe(self, monkeypatch: pytest.MonkeyPatch) -> None:
        terminal = self.Terminal(False)
        monkeypatch.setattr(sys, "stderr", terminal)
        with command._Progress("work") as progress:
            progress.show(0.5)
        assert terminal.text == ""


def test_cache_options(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Path | None] = []

    def recall(
        code: engine.Code, effort: engine.Effort, *, directory: Path | None
    ) -> tuple[Weights, str]:
        asked.append(directory)
        return weights(code), "a note"

    monkeypatch.setattr(command, "recall", recall)
    bare = ("--poly", "0x13", "--width", "8", "--data-bits", "4")
    assert main(["residual", *bare]) == 0
    captured = capsys.readouterr()
    assert captured.err == "safeframe: a note\n"
    assert "a note" not in captured.out
    main(["residual", *bare, "--no-cache"])
    capsys.readouterr()
    main(["residual", *bare, "--cache", "here", "--format", "json"])
    document = json.loads(capsys.readouterr().out)
    assert document["notes"] == []
    assert asked == [tmp_path / "cache" / "safeframe" / "weights", None, Path("here")]


def test_scientific_rounds_exactly() -> None:
    assert render.scientific(Fraction(1, 3)) == "3.3333e-1"
    assert render.scientific(Fraction(1, 10**400), 2) == "1.0e-400"


def test_parts_with_copies_say_so() -> None:
    code = engine.Code(parts=(CheckPart(width=4, own=(1, 2, 4, 8), copies=2, times=3),))
    assert command._checks(code) == "3 x 4 bits over each of two copies"
