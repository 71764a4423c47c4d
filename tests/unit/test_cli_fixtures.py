"""The commands fixtures and capture, and what they print and draw."""

from __future__ import annotations

import dataclasses
import io
import json
import re
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import capture, fixtures
from safeframe._cli import main
from safeframe._link import link_of
from safeframe._model import Connection, Map
from safeframe._report import capture as rendered
from safeframe._report.text import PLAIN, Look, render
from safeframe.capture import Examination, Packet
from safeframe.fixtures import BANNER

from .links import demo_connection
from .test_capture_examine import demo as demo_exchange
from .test_capture_examine import examined, packets, states

MAPS = ["sc1-lx.toml", "lx-sc1.toml"]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name, text in demo.after().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(words)
    done = capsys.readouterr()
    return code, done.out, done.err


class TestFixtures:
    def test_lines_to_standard_output(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, err = run(capsys, "fixtures", "--set", "start-up", *MAPS)
        assert (code, err) == (0, "")
        assert out.startswith(f"# {BANNER}\n# SC1-LX, fscp-12-1: start-up, seed 0\n")

    @pytest.mark.parametrize("format", fixtures.FORMATS)
    def test_every_format_to_a_file(
        self,
        site: Path,
        capsys: pytest.CaptureFixture[str],
        format: str,  # noqa: A002
    ) -> None:
        words = ["--set", "faults", "--set", "states", "--count", "5", "--seed", "4"]
        code, out, _ = run(capsys, "fixtures", *words, "--format", format, "-o", "f", *MAPS)
        assert code == 0
        assert " ".join(out.split()) == f"746 frames in 33 sets written {BANNER}"
        assert max(map(len, out.splitlines())) <= 80
        link = link_of(demo_connection())
        sets = [
            each
            for kind in ("faults", "states")
            for each in fixtures.make(link, kind, seed=4, count=5)
        ]
        title = "SC1-LX, fscp-12-1: faults, states, seed 4"
        assert (site / "f").read_bytes() == fixtures.write(sets, link, format, title=title)

    def test_mistakes_are_found_by_the_check(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        code, out, _ = run(capsys, "fixtures", "--set", "mistakes", "-o", "m", *MAPS)
        assert code == 0
        assert re.search(r"^  mistake +must be found by +what$", out, flags=re.MULTILINE)
        made = list(fixtures.mistakes(demo_connection()))
        assert len(made) == 12 == len(list((site / "m").iterdir()))
        for mistake in made:
            assert f"\n  {mistake.name} " in out
            ends = (mapfile.load(str(site / "m" / mistake.name / path)) for path in MAPS)
            first, second = ends
            found = checks.check(Connection(first=first, second=second)).findings
            assert {finding.rule for finding in found} & set(mistake.rules)

    def test_mistakes_in_tables(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        for name in MAPS:
            end = mapfile.load(name)
            text = mapfile.dumps(end, format="csv")
            (site / name.replace("toml", "csv")).write_text(text, encoding="utf-8")
        tables = [name.replace("toml", "csv") for name in MAPS]
        assert run(capsys, "fixtures", "--set", "mistakes", "-o", "m", *tables)[0] == 0
        assert (
            mapfile.load(str(site / "m" / "unbound" / "lx-sc1.csv")).receives.signals[0].bind == ""
        )

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            (["--set", "x"], "kind must be one of identification, walking-one, start-up, states,"),
            (["--set", "states", "--format", "bin"], "--format bin must be written to a file:"),
            (["--set", "mistakes"], "--set mistakes must stand alone, with a folder as --output"),
            (
                ["--set", "mistakes", "--set", "states", "-o", "m"],
                "--set mistakes must stand alone, with a folder as --output",
            ),
            (["--set", "states", "--value", "x"], "--value must be NAME=VALUE, not 'x'"),
            (["--set", "states", "--value", "=1"], "--value must be NAME=VALUE, not '=1'"),
            (["--set", "states", "--value", "colour=red"], "a session of fscp-12-1:"),
        ],
    )
    def test_wrong_use(
        self, site: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
    ) -> None:
        code, out, err = run(capsys, "fixtures", *words, *MAPS)
        assert (code, out) == (2, "")
        assert err.startswith(f"safeframe: {message}")

    def test_maps_of_one_name(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, _, err = run(
            capsys, "fixtures", "--set", "mistakes", "-o", "m", MAPS[0], f"./{MAPS[0]}"
        )
        assert code == 2
        assert err == "safeframe: the map files must have different names, not twice sc1-lx.toml\n"

    def test_values(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _, out, _ = run(
            capsys, "fixtures", "--set", "start-up", "--value", "connection_id=0x0909", *MAPS
        )
        assert "09 09\n" in out

    def test_help_names_every_set_and_format(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = run(capsys, "fixtures", "--help")
        assert code == 0
        assert all(f"  {name}" in out for name in (*fixtures.KINDS, *fixtures.FORMATS, "mistakes"))
        assert BANNER in " ".join(out.split())


class TestCapture:
    @pytest.fixture
    def recording(self, site: Path) -> Path:
        link = demo_exchange()
        path = site / "run.jsonl"
        sets = fixtures.make(link, "states", seed=3, count=400)
        path.write_bytes(fixtures.write(sets, link, "jsonl", title="t"))
        return path

    def test_a_clean_recording(self, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, err = run(capsys, "capture", "--fresh", "run.jsonl", *MAPS)
        assert (code, err) == (0, "")
        assert out == (
            "SC1-LX (fscp-12-1): 816 packets, 816 frames, 4.89 s\n"
            "\n"
            "  sent by  accepted  repeat  unknown  rejected  foreign  data  used  longest gap\n"
            "  SC1      408       0       0        0         0        401   400   12 ms\n"
            "  LX       408       0       0        0         0        401   400   12 ms\n"
            "\n"
            "Events: 11\n"
            "  line 2, 0 s, SC1: Reset with code 0: local reset or acknowledge\n"
            "  line 3, 0.006 s, LX: Reset with code 0: local reset or acknowledge\n"
            "  line 4, 0.012 s, SC1: start-up: Session\n"
            "  line 6, 0.024 s, SC1: start-up: Connection\n"
            "  line 8, 0.036 s, SC1: connection id 0x0107, slave address 7\n"
            "  line 10, 0.048 s, SC1: start-up: Parameter\n"
            "  line 14, 0.072 s, SC1: parameters: watchdog 100 ms, 0 octets of application\n"
            "  parameters\n"
            "  line 16, 0.084 s, SC1: LX does not use the data: FailSafeData\n"
            "  line 17, 0.09 s, LX: SC1 does not use the data: FailSafeData\n"
            "  line 18, 0.096 s, SC1: LX uses the data of SC1\n"
            "  line 19, 0.102 s, LX: SC1 uses the data of LX\n"
            "\n"
            "nothing wrong in this recording\n"
            "Off-line aid, not certified: replaces neither review nor validation; local codes\n"
            "and licensed practice come first.\n"
        )

    def test_standard_input(
        self,
        recording: Path,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        stream = io.TextIOWrapper(io.BytesIO(recording.read_bytes()))
        monkeypatch.setattr(sys, "stdin", stream)
        assert run(capsys, "capture", "-", *MAPS)[0] == 0

    def test_json_and_plots(self, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = run(
            capsys, "capture", "--format", "json", "--plot", "a.svg", "run.jsonl", *MAPS
        )
        found = json.loads(out)
        assert (code, found["clean"], found["frames"]) == (0, True, 816)
        assert (recording.parent / "a.svg").read_text(encoding="utf-8").startswith("<svg ")
        assert run(capsys, "capture", "--plot", "a.html", "run.jsonl", *MAPS)[0] == 0
        page = (recording.parent / "a.html").read_text(encoding="utf-8")
        assert page.startswith("<!DOCTYPE html>")
        assert "<script" not in page

    def test_timeline(self, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = run(capsys, "capture", "--fresh", "--timeline", "run.jsonl", *MAPS)
        assert code == 0
        lines = out.splitlines()
        start = lines.index("Signals over time")
        assert lines[start + 1].startswith("  96 ms for each column; _ is 0, # is 1, | a change")
        strips = {line.split()[0]: line.split()[-1] for line in lines[start + 4 : start + 16]}
        assert lines[start + 3] == "  SC1 -> LX"
        assert set(strips["permit_torque"].strip()) == {"_", "#", "|"}
        assert set(strips["speed_level"].strip()) <= set("0369|")
        assert "SC1-LX (fscp-12-1): 816 packets" in out

    def test_packets(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        link = demo_exchange()
        sets = fixtures.make(link, "states", seed=3, count=20)
        (site / "run.pcapng").write_bytes(fixtures.write(sets, link, "pcapng", title="t"))
        words = ["--from", "SC1=02:00:00:00:00:01", "--at", "SC1=0", "--at", "LX=0x0"]
        code, out, _ = run(
            capsys, "capture", "--ethertype", "0x88B5", "--fresh", *words, "run.pcapng", *MAPS
        )
        assert code == 0
        assert "56 frames" in out
        code, out, _ = run(capsys, "capture", "--udp-port", "2222", *words, "run.pcapng", *MAPS)
        assert code == 1
        assert "no frame of this connection was found" in out

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            (["--plot", "a.png"], "--plot must end in .svg or .html, not 'a.png'"),
            (["--at", "SC9=0"], "--at must name SC1 or LX, not 'SC9'; did you mean SC1?"),
            (["--at", "LX=x"], "--at must give an offset in octets, not 'x'"),
            (["--at", "LX=-1"], "--at must give an offset in octets, not '-1'"),
            (["--from", "LX"], "--from must be NAME=VALUE, not 'LX'"),
        ],
    )
    def test_wrong_use(
        self, recording: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
    ) -> None:
        code, out, err = run(capsys, "capture", *words, "run.jsonl", *MAPS)
        assert (code, out, err) == (2, "", f"safeframe: {message}\n")

    @pytest.mark.parametrize(
        ("path", "reason"),
        [
            ("none.pcap", "the file must be readable: No such file or directory"),
            ("/dev/zero", "the path must lead to a recording, not to a device"),
            (".", "the path must lead to a recording, not to a directory"),
        ],
    )
    def test_unreadable(
        self, site: Path, capsys: pytest.CaptureFixture[str], path: str, reason: str
    ) -> None:
        code, _, err = run(capsys, "capture", path, *MAPS)
        assert (code, err) == (2, f"safeframe: {path}: {reason}\n")

    def test_a_disk_that_fails_while_a_recording_is_read(
        self, recording: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def broken(*_: object) -> None:
            raise OSError(5, "Input/output error")

        monkeypatch.setattr("safeframe.capture.read_recording", broken)
        code, _, err = run(capsys, "capture", "run.jsonl", *MAPS)
        reason = "the file must be readable: Input/output error"
        assert (code, err) == (2, f"safeframe: run.jsonl: {reason}\n")

    def test_torn_file(self, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
        recording.write_bytes(recording.read_bytes()[:5000])
        code, out, _ = run(capsys, "capture", "run.jsonl", *MAPS)
        assert code == 1
        assert "Lines that cannot be read: 1\n  line " in out


def swapped(count: int = 60) -> Examination:
    mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
    link = link_of(mistakes["swapped"])
    return examined(link, states(link, count), fresh=True)


def shown(found: Examination, look: Look = PLAIN) -> str:
    return render(rendered.document(found), look)


class TestText:
    def test_everything_at_once(self) -> None:
        link = demo_exchange()
        steps = list(states(link, 60))
        for at in range(40, 60, 2):
            octets = bytearray(steps[at].octets)
            octets[3] ^= 1
            steps[at] = dataclasses.replace(steps[at], octets=bytes(octets))
        late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[70:]]
        rows = packets(link, [*steps[:70], *late])
        rows += [Packet(200, 5000, None, b"\x01", "SC9\x1b[1m")]
        text = shown(capture.examine(rows, link, fresh=True))
        assert "\nRejected frames: 8\n  line 41, 0.24 s, SC1: crc: CRC_0 is " in text
        assert "\n  and 3 more\n\nHistory lost: the stream was joined anew: 6\n" in text
        bad = [dataclasses.replace(steps[0], octets=b"\x36")] * 8
        assert "\n  and 3 more\n" in shown(examined(link, bad))
        assert "\nHistory lost: the stream was joined anew: " in text
        assert "\nSilence longer than the watchdog: 2\n  SC1: " in text
        assert (
            "\nIntervals with rejected frames: 1\n  SC1: 0.24 s to 0.36 s (120 ms, 6 rejected)\n"
            "\nNever seen"
        ) in text
        assert "packet 200 at octet 5000: SC9\\x1b[1m is no end" in text
        assert "\nNever seen in the non-safe state (what this recording has not shown)\n" in text
        assert "\nthis recording is not as it should be\n" in text

    def test_difference(self) -> None:
        text = shown(swapped(), look=Look(color=True))
        assert "Frames that the two ends read differently: 32\x1b[0m\n  the first: line " in text
        assert "    signal         SC1 sends             LX reads\n" in text
        assert "\x1b[1;31mthis recording is not as it should be" in text

    def test_what_only_the_consumer_lacks(self) -> None:
        first, second = demo_connection().ends
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        link = link_of(Connection(first=first, second=mistakes["renamed"].second))
        idle = fixtures.RunningLink(link).ticks([(b"\x00\x00", b"\x00\x00")])
        text = shown(examined(link, idle))
        assert re.search(r"SC1 -> LX  0\.0 +something_else +as LX reads it", text)
        assert re.search(r"SC1 -> LX  1\.0-1\.1 +speed_level\n", text)
        assert second.name == "LX"

    def test_bits_that_are_not_side_by_side(self) -> None:
        first, second = demo_connection().ends
        link = demo_exchange()
        data = bytes((0xFF, 0xFF))
        wide = dataclasses.replace(
            first.sends.signals[8],
            name="wide",
            at=first.sends.signals[0].at,
            width=8,
            codes=(),
            type="uint",
        )
        sends = Map(entries=(wide,))
        link = link_of(
            Connection(
                first=dataclasses.replace(
                    first, sends=Map(entries=(*sends.entries, *first.sends.entries[-1:]))
                ),
                second=dataclasses.replace(
                    second, receives=Map(entries=(*sends.entries, *first.sends.entries[-1:]))
                ),
            )
        )
        steps = fixtures.RunningLink(link).ticks([(b"\x24\x00", data)])
        text = shown(examined(link, steps, fresh=True))
        assert "SC1 -> LX  0.0-0.1, 0.3-0.4, 0.6-0.7  wide\n" in text

    def test_without_times(self) -> None:
        text = shown(capture.examine([Packet(1, 1, None, b"\x36", "SC1")], demo_exchange()))
        assert text.startswith("SC1-LX (fscp-12-1): 1 packet, 1 frame\n")
        assert "  line 1, SC1: length: the length must be 6 or 7, 11, 15" in text

    def test_nothing_could_be_judged(self) -> None:
        link = demo_exchange()
        step = next(step for step in states(link, 5) if step.data)
        assert "\nno frame could be accepted\n" in shown(examined(link, [step]))


def document(found: Examination) -> Any:
    """Return the JSON document of an examination after a look at the schema."""
    made = json.loads(rendered.json_text(found))
    text = files("safeframe").joinpath("schemas", "capture.schema.json").read_text(encoding="utf-8")
    jsonschema.validate(made, json.loads(text))
    return made


class TestJson:
    def test_document(self) -> None:
        found = document(swapped())
        assert found["format"] == rendered.FORMAT
        assert found["difference"]["count"] == 32
        assert found["difference"]["rows"][0].keys() == {"signal", "sent", "received"}
        assert found["sides"][0]["results"] == {
            "accepted": 68,
            "repeat": 0,
            "ignored": 0,
            "unknown": 0,
            "rejected": 0,
            "foreign": 0,
        }
        timeline_ = found["timelines"][0]
        assert (timeline_["sender"], timeline_["signal"], timeline_["bin_us"]) == (
            "SC1",
            "permit_torque",
            2000,
        )
        assert timeline_["bins"][0] == [0, 0, 0]
        assert timeline_["bins"][-1] == [0, 0, 0] or len(timeline_["bins"][-1]) == 3

    def test_notes_and_intervals(self) -> None:
        link = demo_exchange()
        steps = list(states(link, 10))
        late = dataclasses.replace(steps[-1], time_us=steps[-1].time_us + 500_000)
        bad = dataclasses.replace(steps[-2], octets=b"\x36")
        found = document(examined(link, [*steps[:-2], bad, late], fresh=True))
        assert found["notes"]["rejected"]["count"] == 2
        assert found["notes"]["rejected"]["first"][0]["sender"] == link.names[steps[-2].side]
        assert found["silent"]["count"] >= 1
        assert found["noisy"]["first"][0]["rejected"] >= 1
        assert found["difference"] is None
        assert found["undriven"][0].keys() == {"sender", "reader", "signal", "places"}
        rows = [Packet(1, 1, None, b"\x01", "SC9")]
        found = document(capture.examine(rows, link))
        assert found["notes"]["other sender"]["first"][0]["sender"] is None
