"""Every frame of a recording, as text and as JSON Lines, cut to a window."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import _demo as demo
from safeframe import capture, fixtures
from safeframe._cli import main
from safeframe._codec import MapCodec
from safeframe._report.text import PLAIN
from safeframe._watch.frames import FrameLines, FrameObjects
from safeframe.capture import Packet
from safeframe.fixtures import SentFrame

from .schemas import fits
from .test_capture_examine import demo as demo_exchange
from .test_capture_examine import examined, packets, states

MAPS = ["sc1-lx.toml", "lx-sc1.toml"]
LINK = demo_exchange()
STEPS = list(states(LINK, 60, seed=3))


def objects(steps: list[SentFrame], *more: Any, **options: Any) -> list[dict[str, Any]]:
    lines: list[str] = []
    listed = FrameObjects(LINK, lines.append, *more)
    examined(LINK, steps, each=listed.each, **options)
    found = [json.loads(line) for line in lines]
    for each in found:
        fits("watch", each)
    return found


def text(steps: list[SentFrame], *more: Any, **options: Any) -> list[str]:
    written: list[str] = []
    listed = FrameLines(LINK, written.append, PLAIN, *more)
    examined(LINK, steps, each=listed.each, observers=(listed,), **options)
    return "".join(written).splitlines()


class TestObjects:
    def test_each_frame_with_what_both_ends_read(self) -> None:
        found = objects(STEPS, fresh=True)
        assert [bytes.fromhex(each["octets"]) for each in found] == [one.octets for one in STEPS]
        used = [each for each in found if each["used"]]
        carried = [one for one in STEPS if one.data]
        for each, one in zip(used, carried, strict=True):
            assert one.data is not None
            sent = MapCodec(LINK.sent(one.side))
            numbers = dict(zip((s.name for s in sent.signals), sent.numbers(one.data), strict=True))
            assert (each["sent"], each["received"]) == (numbers, numbers)
            assert each["sender"] == LINK.names[one.side]
            assert each["time_us"] == one.time_us

    def test_why_data_are_not_used(self) -> None:
        rows = [each for each in objects(STEPS, fresh=True) if each["not_used"]]
        assert [(each["sender"], each["not_used"]) for each in rows] == [
            ("SC1", "FailSafeData"),
            ("LX", "FailSafeData"),
        ]
        assert all(each["sent"] == each["received"] == {} for each in rows)

    def test_what_failed(self) -> None:
        at = next(at for at, each in enumerate(STEPS) if each.data) + 6
        bad = dataclasses.replace(STEPS[at], octets=STEPS[at].octets[:-3] + b"\x00\x07\x01")
        row = objects([*STEPS[:at], bad], fresh=True)[-1]
        assert (row["result"], row["check"], row["used"]) == ("rejected", "crc", False)

    def test_signals_by_name(self) -> None:
        rows = objects(STEPS, (0, None), {"permit_torque"}, fresh=True)
        assert {tuple(each["sent"]) for each in rows if each["used"]} == {("permit_torque",), ()}

    @settings(max_examples=20)
    @given(since=st.integers(0, 800_000), length=st.integers(1, 800_000))
    def test_a_window_is_a_part_of_the_list(self, since: int, length: int) -> None:
        start = STEPS[0].time_us
        wanted = [
            each.octets.hex() for each in STEPS if since <= each.time_us - start <= since + length
        ]
        found = objects(STEPS, (since, since + length), fresh=True)
        assert [each["octets"] for each in found] == wanted

    def test_without_times(self) -> None:
        rows = [
            Packet(at, at, None, each.octets, LINK.names[each.side])
            for at, each in enumerate(STEPS, 1)
        ]
        lines: list[str] = []
        capture.examine(rows, LINK, each=FrameObjects(LINK, lines.append).each)
        assert len(lines) == len(STEPS)
        lines.clear()
        capture.examine(rows, LINK, each=FrameObjects(LINK, lines.append, (1, None)).each)
        assert lines == []
        written: list[str] = []
        listed = FrameLines(LINK, written.append, PLAIN)
        capture.examine(rows, LINK, each=listed.each, observers=(listed,), fresh=True)
        assert written[0].startswith("line 1  SC1 -> LX  accepted")

    def test_data_of_another_size_are_not_read(self) -> None:
        first, second = demo_exchange().connection.ends
        other = capture.link_of(
            dataclasses.replace(
                LINK.connection,
                first=dataclasses.replace(first, sends=_wider(first.sends)),
                second=dataclasses.replace(second, receives=_wider(second.receives)),
            )
        )
        lines: list[str] = []
        listed = FrameObjects(other, lines.append)
        found = capture.examine(packets(LINK, STEPS), other, each=listed.each, fresh=True)
        assert "size" in found.notes
        rows = [json.loads(line) for line in lines]
        assert not any(each["used"] for each in rows if each["sender"] == "SC1")


def _wider(map_: Any) -> Any:
    from safeframe import Place, Reserved

    more = Reserved(at=Place(map_.size_octets, 0), width=16)
    return dataclasses.replace(map_, entries=(*map_.entries, more))


class TestText:
    def test_frames_and_what_they_change(self) -> None:
        lines = text(STEPS, (90_000, 130_000), fresh=True)
        assert lines[0].startswith("0.090 s  line 16  LX -> SC1  accepted, not used: FailSafeData")
        shown = [line for line in lines if not line.startswith(" ")]
        assert len(shown) == 7
        changed = [line for line in lines if "LX reads" in line]
        assert changed
        assert all(line.startswith("  ") for line in changed)
        assert max(map(len, lines)) <= 80

    def test_signals_by_name(self) -> None:
        lines = text(STEPS, (0, None), {"permit_torque"}, fresh=True)
        assert {line.split()[1] for line in lines if " reads " in line} == {"permit_torque"}

    def test_a_rejected_frame(self) -> None:
        at = next(at for at, each in enumerate(STEPS) if each.data) + 6
        bad = dataclasses.replace(STEPS[at], octets=STEPS[at].octets[:-3] + b"\x00\x07\x01")
        lines = text([*STEPS[:at], bad], fresh=True)
        head = next(at for at, line in enumerate(lines) if "rejected: crc: " in line)
        assert lines[-1] == f"  {bad.octets.hex(' ')}"
        assert head >= len(lines) - 3

    def test_fail_safe_values_are_no_frame(self) -> None:
        late = [dataclasses.replace(each, time_us=each.time_us + 900_000) for each in STEPS[-4:]]
        lines = text([*STEPS[:-4], *late], fresh=True)
        assert "fail-safe value" not in " ".join(lines)
        assert sum(not line.startswith(" ") for line in lines) == len(STEPS)


class TestCommand:
    @pytest.fixture
    def site(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        monkeypatch.chdir(tmp_path)
        for name, content in demo.after().items():
            (tmp_path / name).write_text(content, encoding="utf-8")
        sets = fixtures.make(LINK, "states", seed=3, count=60)
        (tmp_path / "run.jsonl").write_bytes(fixtures.write(sets, LINK, "jsonl", title="t"))
        return tmp_path

    def test_text(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["capture", "--fresh", "--frames", "run.jsonl", *MAPS]) == 0
        out = capsys.readouterr().out
        lines, _, report = out.partition("\n\n")
        assert lines.splitlines()[0].startswith("0.000 s  line ")
        assert report.startswith("SC1-LX (fscp-12-1): 136 packets")

    def test_json(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["capture", "--fresh", "--frames", "--format", "json", "run.jsonl", *MAPS]
        assert main(words) == 0
        rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        assert [each["kind"] for each in rows] == [*["frame"] * 136, "summary"]
        assert rows[-1]["capture"]["clean"] is True

    @pytest.mark.parametrize("word", ["5", "5..4", "-1..", "..", "a..b", "..inf", "nan..1"])
    def test_windows_that_are_none(
        self, word: str, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        code = main(["capture", "--timeline", f"--window={word}", "run.jsonl", *MAPS])
        assert (code, "--window" in capsys.readouterr().err) == (
            (0, False) if word == ".." else (2, True)
        )

    def test_windows_in_which_nothing_is(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        words = ["capture", "--fresh", "--frames", "run.jsonl", *MAPS]
        assert main([*words, "--window", "0.2.."]) == 0
        assert capsys.readouterr().err == ""
        assert main([*words, "--window", "99.."]) == 0
        err = capsys.readouterr().err
        assert err == "safeframe: --window leaves nothing: the recording ends after 0.81 s\n"
        (site / "run.hex").write_text("".join(f"{each.octets.hex()}\n" for each in STEPS))
        main(["capture", "--frames", "--window", "0.2..", "run.hex", *MAPS])
        err = capsys.readouterr().err
        assert err == "safeframe: --window leaves nothing: the recording has no times\n"

    def test_signals(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["capture", "--fresh", "--timeline", "--signal", "permit_up", "run.jsonl", *MAPS]
        assert main(words) == 0
        out = capsys.readouterr().out
        assert "permit_up" in out
        assert "permit_torque  " not in out.partition("sent by")[0]
        assert main(["capture", "--timeline", "--signal", "permit_pu", "run.jsonl", *MAPS]) == 2
        err = " ".join(capsys.readouterr().err.split())
        assert (
            "--signal must be a signal of the maps, not 'permit_pu'; did you mean permit_up?" in err
        )
        assert main(["capture", "--timeline", "--signal", "zzzzz", "run.jsonl", *MAPS]) == 2
        assert "not 'zzzzz'" in capsys.readouterr().err
