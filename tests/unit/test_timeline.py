"""Signals over time: drawn and written, cut to a window, with what was not as usual."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import capture, fixtures
from safeframe._bits import Place
from safeframe._link import link_of
from safeframe._model import Connection, Map, Reserved, Signal
from safeframe._report import timeline
from safeframe.capture import Bin, Examination, Packet
from safeframe.capture._strips import BINS, StripBook

from .links import demo_connection
from .test_capture_examine import demo as demo_exchange
from .test_capture_examine import examined, states
from .test_cli_fixtures import document, swapped

SVG = "{http://www.w3.org/2000/svg}"


def texts(drawn: str) -> list[str | None]:
    return [element.text for element in ET.fromstring(drawn).iter(f"{SVG}text")]


def classes(drawn: str) -> list[str | None]:
    root = ET.fromstring(drawn)
    return [
        element.get("class") for tag in ("path", "line") for element in root.iter(f"{SVG}{tag}")
    ]


class TestTimeline:
    def test_svg_is_well_formed_and_holds_every_signal(self) -> None:
        found = swapped(400)
        drawn = timeline.svg(found)
        shown = " ".join(filter(None, texts(drawn)))
        for each in found.timelines:
            assert each.signal.name in shown
        assert shown.count(" as LX reads it") == 2
        assert "speed_level 0..3" in texts(drawn)
        assert classes(drawn).count("tl-line") == 20
        assert classes(drawn).count("tl-other") == 2
        assert "tl-busy" in classes(drawn)
        assert classes(drawn).count("tl-mark") == 1
        assert "first difference" in shown
        assert "Seen on the wire is not seen at the machine." in shown

    def test_names_are_escaped_and_shortened(self) -> None:
        first, second = demo_connection().ends
        name = "<b>&" + "very" * 12
        signal = dataclasses.replace(first.sends.signals[0], name=name)
        sends = Map(entries=(signal, *first.sends.entries[1:]))
        link = link_of(
            Connection(
                first=dataclasses.replace(first, sends=sends),
                second=dataclasses.replace(second, receives=sends),
            )
        )
        drawn = timeline.svg(examined(link, states(link, 20), fresh=True))
        assert "&lt;b&gt;&amp;veryveryveryveryverye"[:20] in drawn
        assert "<b>" not in drawn
        assert "…" in drawn
        assert "µs" not in drawn

    def test_no_times(self) -> None:
        drawn = timeline.svg(capture.examine([], demo_exchange()))
        assert "no safety data with a time in this recording" in drawn
        ET.fromstring(drawn)

    def test_differences_without_times_have_no_mark(self) -> None:
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        link = link_of(mistakes["swapped"])
        rows = [
            Packet(number, number, None, step.octets, link.names[step.side])
            for number, step in enumerate(states(link, 60))
        ]
        found = capture.examine(rows, link, fresh=True)
        assert found.difference is not None
        assert "first difference" not in timeline.svg(found)

    def test_numbers_that_are_none(self) -> None:
        first, second = demo_connection().ends
        share = dataclasses.replace(
            first.sends.signals[0], name="share", width=16, type="float", one_means=""
        )
        sends = Map(entries=(share,))
        link = link_of(
            Connection(
                first=dataclasses.replace(first, sends=sends),
                second=dataclasses.replace(second, receives=sends),
            )
        )
        rows = [
            (octets, b"\x00\x00") for octets in (b"\x00\x7e", b"\x00\x3c", b"\x00\x40", b"\x00\x7c")
        ]
        found = examined(link, fixtures.RunningLink(link).ticks(rows), fresh=True)
        assert document(found)["timelines"][0]["bins"][-1] == ["inf"] * 3
        drawn = timeline.svg(found)
        assert "nan" not in drawn
        assert "inf" not in drawn
        assert "share 0..2" in drawn

    @pytest.mark.parametrize(
        ("width", "scale", "numbers", "said"),
        [
            (32, "1", (0, 1234567), "0..1234567 mm"),
            (32, "0.1", (10, 1234567), "0..123456.7 mm"),
            (32, "0.001", (0, 4294967295), "0.000..4294967.295 mm"),
            (64, "1", (0, 2**53 + 1), "0..9007199254740993 mm"),
            (64, "1", (0, 2**64 - 1), "0..about 1.84467e+19 mm"),
            (64, "0.00001", (0, 2**63), "0.00000..about 9.22337e+13 mm"),
        ],
    )
    def test_numbers_are_exact_or_said_to_be_rounded(
        self, width: int, scale: str, numbers: tuple[int, int], said: str
    ) -> None:
        """MUST: no label rounds a number without a word."""
        first, second = demo_connection().ends
        level = dataclasses.replace(
            first.sends.signals[0],
            name="level",
            width=width,
            type="uint",
            one_means="",
            unit="mm",
            scale=scale,
        )
        sends = Map(entries=(level,))
        link = link_of(
            Connection(
                first=dataclasses.replace(first, sends=sends),
                second=dataclasses.replace(second, receives=sends),
            )
        )
        size = link.sent(0).size_octets
        rows = [(number.to_bytes(size, "little"), b"\x00\x00") for number in numbers]
        found = examined(link, fixtures.RunningLink(link).ticks(rows), fresh=True)
        assert f"level {said}" in timeline.svg(found)

    def test_text(self) -> None:
        head, _, way, unused, *lines = timeline.drawing(swapped(), 60).lines
        assert re.fullmatch(r"  not used by LX +x+", unused)
        assert head.startswith("30 ms for each column; _ is 0, # is 1")
        assert way == "SC1 -> LX"
        assert [re.split(r"  +", line.strip())[0] for line in lines[:4]] == [
            "permit_torque",
            "permit_torque as LX reads it",
            "permit_no_ss1",
            "permit_no_ss1 as LX reads it",
        ]
        drawn = [re.split(r"  +", line.strip())[-1] for line in lines[:4]]
        assert drawn[0] == drawn[3] != drawn[1] == drawn[2]
        assert set(drawn[0]) == {"_", "|", "#"}
        assert max(map(len, lines)) <= 60
        assert timeline.drawing(capture.examine([], demo_exchange())).lines == ()

    def test_a_name_that_leaves_no_room_stands_on_a_line_of_its_own(self) -> None:
        lines = timeline.drawing(swapped(), 48).lines
        at = lines.index("  permit_torque as LX reads it")
        assert set(lines[at + 1]) <= set(" _|#")

    def test_text_of_what_stands_still_or_begins_late(self) -> None:
        link = demo_exchange()
        rows = [(b"\x00\x01", b"\x00\x00")] * 2 + [(b"\x00\x03", b"\x00\x00")]
        found = examined(link, fixtures.RunningLink(link).ticks(rows), fresh=True)
        lines = timeline.drawing(found, 108).lines
        # From the Reset on the receiver has its fail-safe values; the data are 1, 1, and 3.
        level = next(line for line in lines if line.startswith("  speed_level 0..3 "))
        assert re.fullmatch(r"  speed_level 0\.\.3 +0+\|33333333333\|999", level)
        assert any(re.fullmatch(r"  speed_range 0\.\.0 +0{30,}", line) for line in lines)

    def test_units_of_time(self) -> None:
        assert timeline._time(500) == "500 µs"
        assert timeline._time(1500) == "1.5 ms"
        assert timeline._time(2_000_000) == "2 s"


def by_hand(
    events: list[tuple[int, int]], window: tuple[int, int], width_us: int
) -> list[Bin | None]:
    """Return the bins of one signal: each event is the time since the first one, and a number."""
    since, until = window
    level = None
    for time, number in events:
        if time < since:
            level = number
    found: list[Bin | None] = []
    last = max(min(max(time for time, _ in events), until) - since, 0)
    for at in range(last // width_us + 1):
        first = since + at * width_us
        inside = [
            number
            for time, number in events
            if since <= time <= until and first <= time < first + width_us
        ]
        seen = [*([] if level is None else [level]), *inside]
        level = seen[-1] if seen else None
        found.append(Bin(min(seen), max(seen), seen[-1]) if seen else None)
    return found


class TestWindow:
    """What lies in a window MUST be drawn as if nothing else had been recorded but the level."""

    @given(
        gaps=st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 2)), min_size=1, max_size=30),
        since=st.integers(0, 20_000),
        length=st.integers(1, 40_000),
    )
    def test_as_by_hand(self, gaps: list[tuple[int, int]], since: int, length: int) -> None:
        window = since, since + length
        book = StripBook(1, window)
        book.start_us = 1_000_000
        time, events = 0, []
        for gap, number in gaps:
            time += gap
            events.append((time, number))
            book.set(1_000_000 + time, (number,))
        book.reach(1_000_000 + time)
        assert book.width_us == length // BINS + 1
        assert list(book.strip(0)) == by_hand(events, window, book.width_us)

    @given(
        pulse=st.integers(1, 999_998), since=st.sampled_from((0, 1000)), step=st.integers(1, 3000)
    )
    def test_no_pulse_is_lost(self, pulse: int, since: int, step: int) -> None:
        """A number that stood for one frame of a million is in a bin."""
        book = StripBook(1, (since, None))
        book.start_us = 0
        for at, number in ((0, 0), (pulse, 1), (pulse + 1, 0), (999_999, 0)):
            book.set(at * step, (number,))
        book.reach(999_999 * step)
        bins = book.strip(0)
        assert len(bins) <= BINS
        at = (pulse * step - since) // book.width_us
        assert pulse * step < since or bins[at] == Bin(0, 1, 0)

    def test_a_number_that_is_not_known_leaves_no_trace(self) -> None:
        book = StripBook(2, (10, None))
        book.set(0, (None, 3))
        book.set(20, (None, 4))
        assert (book.strip(0), book.strip(1)) == ((None,), (Bin(3, 4, 4),))

    def test_the_axis_counts_from_the_beginning_of_the_recording(self) -> None:
        link = demo_exchange()
        steps = list(states(link, 200))
        found = examined(link, steps, fresh=True, window=(500_000, 1_000_000))
        whole = examined(link, steps, fresh=True)
        assert (found.sides, found.events, found.end_us) == (
            whole.sides,
            whole.events,
            whole.end_us,
        )
        assert found.timeline_start_us - (found.start_us or 0) == 500_000
        drawn = timeline.svg(found)
        shown = texts(drawn)
        assert "from 500 ms on" in " ".join(filter(None, shown))
        assert {"0.5", "0.6", "1", "s"} <= set(shown)
        assert "0" not in shown
        assert timeline.drawing(found).lines[0] == "from 500 ms on"

    def test_the_first_difference_may_lie_outside(self) -> None:
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        link = link_of(mistakes["swapped"])
        found = examined(link, states(link, 200), fresh=True, window=(1_000_000, None))
        assert found.difference is not None
        assert "first difference" not in timeline.svg(found)


def broken() -> Examination:
    """Return an examination of two spoilt frames and of half a second without any."""
    link = demo_exchange()
    steps = list(states(link, 100))
    late = [dataclasses.replace(each, time_us=each.time_us + 500_000) for each in steps[120:]]
    bad = [
        dataclasses.replace(
            each, octets=bytes([each.octets[0], each.octets[1] ^ 4]) + each.octets[2:]
        )
        for each in steps[60:62]
    ]
    return examined(link, [*steps[:60], *bad, *steps[62:120], *late], fresh=True)


class TestMarks:
    def test_rejected_frames_and_silence(self) -> None:
        found = broken()
        width, start = found.timeline_width_us, found.timeline_start_us
        for side in (0, 1):
            marks = found.marks[side]
            bad = [
                (each.time_us - start) // width
                for each in found.notes["rejected"].kept
                if each.side == side
                and each.time_us is not None
                and not each.text.startswith("watchdog")
            ]
            assert [at for at, each in enumerate(marks.rejected) if each and each.high] == bad
            (silent,) = (each for each in found.silent if each.side == side)
            shown = [at for at, each in enumerate(marks.use) if each and 2 in each]
            assert shown[0] == (silent.start_us + 100_000 - start) // width
            assert shown[-1] == (silent.end_us - start) // width
            assert not marks.is_empty
        assert capture.SideMarks().is_empty

    def test_they_are_drawn_and_written(self) -> None:
        found = broken()
        drawn = timeline.svg(found)
        shown = " ".join(filter(None, texts(drawn)))
        assert shown.count("frames rejected") == 1  # One end loses the history and joins anew.
        assert shown.count("no new frame for longer than the watchdog") == 2
        assert "data that LX does not use" in shown
        assert classes(drawn).count("tl-off") == 2
        assert classes(drawn).count("tl-event") == 5
        lines = timeline.drawing(found).lines
        assert [line.split()[0] for line in lines if line.rstrip().endswith("x")] == [
            *("rejected", "not", "silence", "not", "silence")
        ]

    def test_a_recording_of_spoilt_frames_only(self) -> None:
        link = demo_exchange()
        steps = [
            dataclasses.replace(each, octets=each.octets[:-3] + bytes(3))
            for each in states(link, 20)[16:]
        ]
        found = examined(link, steps, fresh=True)
        assert found.timelines == ()
        shown = texts(timeline.svg(found))
        assert shown.count("frames rejected") == 2
        assert "no safety data with a time in this recording" in shown
        assert sum(line.split()[0] == "rejected" for line in timeline.drawing(found).lines) == 2

    def test_silence_to_the_end(self) -> None:
        link = demo_exchange()
        steps = list(states(link, 50))
        last = steps[-1].time_us
        packets = [
            Packet(at, at, each.time_us, each.octets, link.names[each.side])
            for at, each in enumerate(steps, 1)
        ]
        other = Packet(len(steps) + 1, len(steps) + 1, last + 400_000, b"\x01", "SC9")
        found = capture.examine([*packets, other], link, fresh=True)
        for side in (0, 1):
            bins = found.marks[side].use
            assert bins[-1] is not None
            assert bins[-1].last == 2


class TestLabels:
    def test_a_signal_that_each_end_calls_otherwise(self) -> None:
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        link = link_of(mistakes["renamed"])
        found = examined(link, states(link, 50), fresh=True)
        assert "permit_torque (LX: something_else)" in texts(timeline.svg(found))

    def test_a_signal_that_one_end_has(self) -> None:
        first, second = demo_connection().ends
        torque, *rest, reserve = first.sends.entries
        assert isinstance(torque, Signal)
        assert isinstance(reserve, Reserved)
        gone = Reserved(at=torque.at, width=1)
        lone = dataclasses.replace(torque, name="lone", at=reserve.at)
        left = Reserved(at=Place(reserve.at.octet, reserve.at.bit + 1), width=reserve.width - 1)
        link = link_of(
            Connection(
                first=first,
                second=dataclasses.replace(second, receives=Map(entries=(gone, *rest, lone, left))),
            )
        )
        found = examined(link, states(link, 50), fresh=True)
        shown = texts(timeline.svg(found))
        assert "permit_torque, only in the map of SC1" in shown
        assert "lone, only in the map of LX" in shown

    def test_another_name_of_a_row_of_the_reader(self) -> None:
        found = swapped()
        row = next(each for each in found.timelines if each.reader != each.side)
        row = dataclasses.replace(row, names=("a", "b"))
        assert timeline._label(found, row) == "a as LX reads it (b)"

    def test_many_changes_are_said(self) -> None:
        link = demo_exchange()
        rows = [(bytes([at % 2 * 255, 0]), bytes([at % 2 * 255, 0])) for at in range(2000)]
        found = examined(link, fixtures.RunningLink(link).ticks(rows), fresh=True)
        lines = timeline.drawing(found).lines
        assert lines[-1] == "more changes than columns: --window and --signal cut the picture"
        assert document(found)["timelines"][0]["names"] == ["permit_torque", "permit_torque"]
