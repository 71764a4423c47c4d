"""Reaction times as bars: no time in the wrong bar, and the resolution beside them."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import capture
from safeframe._cli import main
from safeframe._link import link_of
from safeframe._report import html
from safeframe._watch import histogram
from safeframe._watch.histogram import HistogramBar, bars
from safeframe._watch.reaction import Reaction, Spread, read_reaction, resolution_us
from safeframe.capture import Examination

from .links import demo_connection
from .schemas import fits
from .test_capture_examine import packets
from .test_watch import MAPS, stream

LINK = link_of(demo_connection())
WORDS = "brake2_release = 1 of permit_torque = 1"


def spread(*times: int) -> Spread:
    made = Spread()
    for each in times:
        made.add(each)
    return made


def reaction(*times: int) -> Reaction:
    made = read_reaction(WORDS, LINK)
    made.times = spread(*times)
    return made


def examined() -> Examination:
    return capture.examine(packets(LINK, stream(LINK, ("0100", "0000"))), LINK, fresh=True)


class TestBars:
    """Every time MUST be in the bar that names it, whatever bins it was counted in."""

    @given(st.lists(st.integers(0, 10**9), min_size=1, max_size=60))
    def test_each_time_once(self, times: list[int]) -> None:
        found = bars(spread(*times))
        assert len(found) <= 16
        for bar in found:
            assert bar.number == sum(bar.from_us <= each < bar.to_us for each in times)
        assert found[0].number > 0 < found[-1].number
        assert [bar.to_us for bar in found[:-1]] == [bar.from_us for bar in found[1:]]

    @settings(max_examples=3, deadline=None)
    @given(st.integers(1, 1000), st.integers(0, 10**6))
    def test_times_that_share_bins(self, step: int, first: int) -> None:
        times = [first + step * each for each in range(5000)]
        made = spread(*times)
        assert made.width_us > 1
        found = bars(made)
        assert sum(bar.number for bar in found) == 5000
        for bar in found:
            assert bar.number == sum(bar.from_us <= each < bar.to_us for each in times)

    def test_round_widths(self) -> None:
        assert bars(spread(36_000, 84_000, 241_000, 408_000))[:2] == (
            HistogramBar(0, 50_000, 1),
            HistogramBar(50_000, 100_000, 1),
        )
        assert bars(spread(7, 7)) == (HistogramBar(7, 8, 2),)
        assert [bar.from_us for bar in bars(spread(0, 16))][:3] == [0, 2, 4]

    def test_nothing(self) -> None:
        assert bars(Spread()) == ()


class TestText:
    """A text MUST show the bars with their numbers, what was seen once included."""

    def test_lines(self) -> None:
        assert list(histogram.lines(reaction(*[10_500] * 50, 12_000, 12_100), 40)) == [
            "  10.4 to 10.6 ms  50  #################",
            "  10.6 to 10.8 ms   0",
            "    10.8 to 11 ms   0",
            "    11 to 11.2 ms   0",
            "  11.2 to 11.4 ms   0",
            "  11.4 to 11.6 ms   0",
            "  11.6 to 11.8 ms   0",
            "    11.8 to 12 ms   0",
            "    12 to 12.2 ms   2  #",
        ]

    def test_long_times_are_exact(self) -> None:
        (line, *_) = histogram.lines(reaction(3_600_000_001, 3_600_000_002), 60)
        assert line.startswith("  3600000.001 to 3600000.002 ms  1  #")

    @given(st.lists(st.integers(0, 10**9), min_size=2, max_size=40), st.integers(60, 120))
    def test_no_line_is_too_long(self, times: list[int], width: int) -> None:
        made = reaction(*times)
        shown = list(histogram.lines(made, width))
        assert max(map(len, shown)) <= width
        for line, bar in zip(shown, bars(made.times), strict=True):
            assert ("#" in line) == (bar.number > 0)

    def test_one_time_is_no_histogram(self) -> None:
        assert list(histogram.lines(reaction(1), 80)) == []


class TestPicture:
    """Picture and page MUST tell numbers and resolution in words, and carry the cautions."""

    def test_svg(self) -> None:
        found = examined()
        drawn = histogram.svg(found, [reaction(36_000, 84_000, 84_000), reaction()])
        texts = [each.text for each in ET.fromstring(drawn).iter() if each.tag.endswith("text")]
        assert texts[:3] == [
            "SC1-LX: reaction times",
            WORDS,
            "answered: 3; smallest: 36 ms; median: 84 ms; largest: 84 ms; resolution: 12 ms",
        ]
        assert texts[3:5] == ["35 to 40 ms", "1"]
        assert "answered: 0; resolution: 12 ms" in texts
        assert any("seen at the machine" in (each or "") for each in texts)

    def test_long_words_are_cut_in_the_picture_only(self) -> None:
        made = reaction(1)
        made.text = "a < b " * 40
        drawn = histogram.svg(examined(), [made])
        assert "a &lt; b a &lt; b" in drawn
        assert drawn.count("…") == 1
        assert made.text.strip() in "".join(ET.fromstring(drawn).itertext())

    def test_page(self) -> None:
        made = reaction(36_000, 84_000)
        made.cut = 2
        page = html.render(histogram.document(examined(), [made]))
        assert "not measured" in page
        assert "prefers-color-scheme:dark" in page
        assert "Seen on the wire is not seen at the machine" in page
        assert page.count("<svg ") == 1

    def test_times_that_share_bins_are_told(self) -> None:
        made = reaction(*range(0, 50_000, 7))
        drawn = histogram.svg(examined(), [made])
        assert f"(from bins of 0.{made.times.width_us:03} ms)".replace("0 ms", " ms") in drawn

    def test_without_times(self) -> None:
        rows = [each._replace(time_us=None) for each in packets(LINK, stream(LINK))]  # type: ignore[call-arg]
        found = capture.examine(rows, LINK, fresh=True)
        assert resolution_us(found) is None
        assert "answered: 0; resolution: unknown" in histogram.svg(found, [reaction()])


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Go where a recording is; the maps are those of the demo."""
    from safeframe import _demo as demo

    monkeypatch.chdir(tmp_path)
    for name, content in demo.after().items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    rows = stream(LINK, *[("0100", "0000"), ("0104", "0000"), ("0000", "0000")] * 3)
    (tmp_path / "run.hex").write_text(
        "".join(f"@{each.time_us} {LINK.names[each.side]}: {each.octets.hex()}\n" for each in rows),
        encoding="utf-8",
    )
    return tmp_path


class TestCommand:
    """``watch --reaction`` MUST show the bars, and write them where ``--histogram`` says."""

    def test_bars_and_files(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        for name in ("h.svg", "h.html"):
            words = ["--reaction", WORDS, "--histogram", name, "run.hex", *MAPS]
            assert main(["watch", "--fresh", "--lines", *words]) == 0
            said = capsys.readouterr()
            assert "\n  12 to 12.001 ms  3  ###" in said.out
            assert f"safeframe: {name} written (" in said.err
        assert (bench / "h.svg").read_text("utf-8").startswith("<svg ")
        assert "12 to 12.001 ms" in (bench / "h.html").read_text("utf-8")

    def test_json(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["--reaction", WORDS, "--format", "jsonl", "run.hex", *MAPS]
        assert main(["watch", "--fresh", *words]) == 0
        row = json.loads(capsys.readouterr().out.splitlines()[-1])
        fits("watch", row)
        (found,) = row["reactions"]
        assert (found["resolution_us"], found["bin_width_us"]) == (12_000, 1)
        assert found["bins"] == [[12_000, 3]]

    @pytest.mark.parametrize(
        "words", [["--histogram", "x.svg"], ["--reaction", WORDS, "--histogram", "x.png"]]
    )
    def test_wrong_use(
        self, bench: Path, capsys: pytest.CaptureFixture[str], words: list[str]
    ) -> None:
        assert main(["watch", *words, "run.hex", *MAPS]) == 2
        assert "--histogram must stand with --reaction and name a file" in capsys.readouterr().err
