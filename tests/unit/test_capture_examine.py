"""Recordings judged and decoded: frames found, judged, read with both maps."""

from __future__ import annotations

import dataclasses
import io
import itertools
import json
import math
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import capture, fixtures, frame
from safeframe._bits import Place
from safeframe._errors import UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection, Map, Relation, Signal
from safeframe._report.capture import json_text
from safeframe.capture import Decoder, Disagreement, Examination, Judge, Locator, Packet, Trouble
from safeframe.capture._locate import LocatedFrame, Miss
from safeframe.capture._report import KEPT
from safeframe.capture._strips import BINS, Bin, StripBook
from safeframe.fixtures import FrameSet, SentFrame

from .links import CASES, ONE_WAY, demo_connection, end_with, make

PERMIT = "permit_torque"
FIRST, SECOND = "02:00:00:00:00:01", "02:00:00:00:00:02"


def packets(link: Link, steps: Iterable[SentFrame]) -> list[Packet | Trouble]:
    """Return steps as a recording that names the senders."""
    return [
        Packet(number, number, step.time_us, step.octets, link.names[step.side])
        for number, step in enumerate(steps, 1)
    ]


def states(link: Link, count: int = 60, seed: int = 3) -> tuple[SentFrame, ...]:
    return fixtures.make(link, "states", seed=seed, count=count)[0].steps


def examined(link: Link, steps: Iterable[SentFrame], **more: Any) -> Examination:
    return capture.examine(packets(link, steps), link, **more)


def demo() -> Link:
    return link_of(demo_connection())


STEPS = {case[:3]: states(make(*case), 30) for case in CASES}


class TestFormats:
    """A recording MUST give the same answers in every format that it is written in."""

    @pytest.mark.parametrize("case", CASES, ids=str)
    def test_every_profile(self, case: tuple[str, int, int, dict[str, Any]]) -> None:
        link = make(*case)
        sets = fixtures.make(link, "states", seed=3, count=60)
        found = []
        for form in ("jsonl", "hex", "pcapng"):
            octets = fixtures.write(sets, link, form, title="t")
            more: dict[str, Any] = {}
            if form == "pcapng":
                is_udp = link.profile == "fscp-2-1"
                stations = ("10.0.0.1", "10.0.0.2") if is_udp else (FIRST, SECOND)
                more["sources"] = dict(zip(link.order, stations, strict=True))
                place = {"fscp-2-1": 18, "fscp-13-1": 14}.get(link.profile, 0)
                more["at"] = {0: place, 1: place}
            stream = capture.read_recording(io.BytesIO(octets))
            found.append(capture.examine(stream, link, fresh=True, **more))
        assert found[0].is_clean
        assert found[0].frames == len(sets[0].steps)
        shown = [(each.sides, each.undriven, each.timelines) for each in found]
        assert shown[0] == shown[1] == shown[2]

    @pytest.mark.parametrize("case", [CASES[2], CASES[3], CASES[4], CASES[10]], ids=str)
    def test_frames_are_found_by_what_they_carry(
        self, case: tuple[str, int, int, dict[str, Any]]
    ) -> None:
        link = make(*case)
        sets = fixtures.make(link, "states", seed=3, count=60)
        octets = fixtures.write(sets, link, "pcapng", title="t")
        found = capture.examine(capture.read_recording(io.BytesIO(octets)), link)
        assert found.is_clean
        assert found.frames == len(sets[0].steps)
        unknown = sum(side.results.get("unknown", 0) for side in found.sides)
        assert unknown == sum(side.unknown_at_start for side in found.sides) <= 2


class TestStrangers:
    """Frames of other connections and octets of any kind MUST NOT change what is found."""

    @pytest.mark.parametrize("is_placed", [False, True])
    def test_interleaved_connections(self, is_placed: bool) -> None:
        link = make("fscp-12-1", 4, 6, {})
        other = make("fscp-12-1", 4, 6, {"connection_id": 0x0999})
        own = [step for step in states(link) if step.data]
        others = [step for step in states(other, seed=9) if step.data]
        more: dict[str, Any] = {"at": {0: 0, 1: 0}, "sources": {0: FIRST}} if is_placed else {}

        def carried(step: SentFrame, number: int) -> Packet:
            source = (FIRST, SECOND)[step.side]
            return Packet(number, number + 1, step.time_us, step.octets, "", source)

        def carried_by(steps: list[SentFrame]) -> list[Packet]:
            return [carried(step, number) for number, step in enumerate(steps, 1)]

        alone = capture.examine(carried_by(own), link, **more)
        assert alone.is_clean
        both = [step for pair in zip(own, others, strict=True) for step in pair]
        mixed = capture.examine(carried_by(both), link, **more)
        assert mixed.timelines == alone.timelines
        # Before the history is known nothing shows that a frame is right elsewhere.
        results = {**alone.sides[0].results, "foreign": len(own) // 2 - 1, "rejected": 1}
        assert mixed.sides[0].results == results
        assert not mixed.is_clean
        assert mixed.notes["foreign"].count == len(own) - 1

    @given(
        rows=st.lists(st.tuples(st.binary(max_size=60), st.integers(0, 10**7)), max_size=12),
        case=st.sampled_from(CASES),
        named=st.booleans(),
    )
    @settings(max_examples=40)
    def test_any_octets(
        self,
        rows: list[tuple[bytes, int]],
        case: tuple[str, int, int, dict[str, Any]],
        named: bool,
    ) -> None:
        link = make(*case)
        strange = [
            Packet(number, 0, time_us, octets, "SC1" if named else "", FIRST)
            for number, (octets, time_us) in enumerate(rows)
        ]
        found = capture.examine(strange, link, at={0: 0, 1: 3})
        assert found.packets == len(rows)
        assert found.frames <= 2 * len(rows)


TWO_SENDERS = "both ends send frames of this length: name the station with --from"


def found_by(locator: Locator, packet: Packet) -> list[LocatedFrame | Miss]:
    """Return what a locator finds now, the packets themselves left out."""
    return [found for _, found in locator.find(packet) if found is not None]


def finished(locator: Locator, *packets: Packet) -> list[LocatedFrame | Miss]:
    """Return what a locator finds in a whole recording."""
    found = [each for packet in packets for each in found_by(locator, packet)]
    return found + [each for _, each in locator.finish() if each is not None]


class TestLocator:
    def test_named_senders(self) -> None:
        locator = Locator(demo(), at={}, sources={})
        packet = Packet(1, 1, None, b"\x01", "LX")
        assert found_by(locator, packet) == [LocatedFrame(1, b"\x01")]
        assert found_by(locator, packet._replace(sender="SC9")) == [
            Miss("other sender", "SC9 is no end of this connection; did you mean SC1?")
        ]
        assert found_by(locator, packet._replace(sender="", octets=b"")) == []

    def test_places(self) -> None:
        locator = Locator(demo(), at={0: 2, 1: 9}, sources={})
        octets = bytes(range(16))
        assert found_by(locator, Packet(1, 1, None, octets)) == [
            LocatedFrame(0, octets[2:9], 2),
            LocatedFrame(1, octets[9:16], 9),
        ]
        assert found_by(locator, Packet(1, 1, None, octets[:10])) == [
            LocatedFrame(0, octets[2:9], 2),
            Miss("cut frame", "the packet holds 1 of 7 octets of a frame at 9"),
        ]

    def test_sources(self) -> None:
        locator = Locator(demo(), at={0: 0, 1: 0}, sources={0: FIRST})
        octets = bytes(7)
        for source, side in ((FIRST, 0), (SECOND, 1)):
            (found,) = found_by(locator, Packet(1, 1, None, octets, "", source))
            assert found == LocatedFrame(side, octets)
        locator = Locator(demo(), at={0: 0, 1: 0}, sources={0: FIRST, 1: SECOND})
        assert found_by(locator, Packet(1, 1, None, octets, "", "02:00:00:00:00:09")) == []

    def test_whole_lines(self) -> None:
        locator = Locator(make("fscp-12-1", 2, 4, {}), at={}, sources={})
        assert found_by(locator, Packet(1, 1, None, bytes(7))) == [
            LocatedFrame(0, bytes(7), 0, False)
        ]
        assert found_by(locator, Packet(1, 1, None, bytes(11))) == [
            LocatedFrame(1, bytes(11), 0, False)
        ]
        assert found_by(locator, Packet(1, 1, None, bytes(8))) == [
            Miss("length", "no end sends frames of 8 octets")
        ]
        alike = Locator(demo(), at={}, sources={})
        assert found_by(alike, Packet(1, 1, None, bytes(7))) == [
            Miss("unknown sender", "both ends send frames of this length: name the sender")
        ]

    def test_whole_lines_of_one_length_that_name_their_sender(self) -> None:
        link = make("fscp-13-1", 2, 2, {})
        locator = Locator(link, at={}, sources={})
        for step in states(link, 3):
            assert found_by(locator, Packet(1, 1, None, step.octets)) == [
                LocatedFrame(step.side, step.octets, 0, False)
            ]

    def test_search_in_the_middle(self) -> None:
        link = make("fscp-12-1", 4, 6, {})
        locator = Locator(link, at={}, sources={})
        steps = [step for step in states(link, 5) if step.data]
        rows = [Packet(1, 1, None, bytes(3) + step.octets + bytes(5), "", FIRST) for step in steps]
        # One station sends for both ends at one place: nothing makes the place sure.
        assert finished(locator, *rows) == [
            LocatedFrame(step.side, step.octets, 3, False) for step in steps
        ]

    def test_two_frames_of_one_packet_come_in_their_order(self) -> None:
        link = make("fscp-12-1", 4, 6, {})
        steps = [step for step in states(link, 5) if step.data]
        first, second = (next(step for step in steps if step.side == side) for side in (0, 1))
        packet = Packet(1, 1, None, second.octets + first.octets, "", FIRST)
        assert finished(Locator(link, at={}, sources={}), packet) == [
            LocatedFrame(1, second.octets, 0),
            LocatedFrame(0, first.octets, len(second.octets)),
        ]

    def test_a_sure_place_shows_spoilt_frames_too(self) -> None:
        link = make("fscp-12-1", 4, 6, {})
        locator = Locator(link, at={}, sources={})
        steps = [step for step in states(link, 9) if step.side == 0 and step.data]
        spoilt = bytes(3) + bytes(11) + bytes(5)
        empty = Packet(1, 1, None, spoilt, "", FIRST)
        rows = [empty]
        for step in steps[:3]:
            octets = bytes(3) + step.octets + bytes(5)
            rows.append(Packet(1, 1, None, octets, "", FIRST))
        rows += [empty, empty._replace(octets=bytes(5)), empty._replace(source=SECOND)]
        rows.append(empty._replace(channel=7))
        for row in rows:
            assert found_by(locator, row) == []
        assert finished(locator) == [
            LocatedFrame(0, bytes(11), 3),
            *(LocatedFrame(0, step.octets, 3) for step in steps[:3]),
            LocatedFrame(0, bytes(11), 3),
            Miss("cut frame", "the packet holds 2 of 11 octets of a frame at 3"),
        ]

    def test_ends_that_look_alike(self) -> None:
        link = demo()
        step = next(step for step in states(link, 3) if step.data)
        packet = Packet(1, 1, None, step.octets, "", FIRST)
        locator = Locator(link, at={}, sources={})
        assert finished(locator, packet, packet._replace(octets=bytes(7))) == [
            Miss("unknown sender", TWO_SENDERS)
        ]
        locator = Locator(link, at={}, sources={1: FIRST})
        assert finished(locator, packet) == [LocatedFrame(1, step.octets, 0)]

    @pytest.mark.parametrize(
        "spoil",
        [
            lambda octets: b"\x99" + octets[1:],  # no such command
            lambda octets: octets[:5] + b"\xff\xff" + octets[7:],  # blocks that do not belong
            lambda octets: octets[2:],  # the id, but no room before it
        ],
    )
    def test_ids_that_stand_elsewhere(self, spoil: Any) -> None:
        link = make("fscp-12-1", 4, 6, {})
        step = next(step for step in states(link, 3) if step.side == 0 and step.data)
        packet = Packet(1, 1, None, spoil(step.octets), "", FIRST)
        assert finished(Locator(link, at={}, sources={}), packet) == []

    @pytest.mark.parametrize("profile", ["fscp-2-1", "fscp-3-1"])
    def test_profiles_without_an_id(self, profile: str) -> None:
        case = next(case for case in CASES if case[0] == profile)
        with pytest.raises(UsageError) as caught:
            list(Locator(make(*case), at={}, sources={}).find(Packet(1, 1, 0, b"\x00", "", FIRST)))
        assert str(caught.value) == (
            f"frames of {profile} carry no id to search for: say where they begin with --at"
        )


class TestJudge:
    def test_history_is_learnt(self) -> None:
        link = demo()
        steps = [step for step in states(link, 20) if step.data]
        judge = Judge(link)
        results = [judge.judge(step.side, step.octets, step.time_us).result for step in steps]
        assert results[:4] == ["unknown"] * 3 + ["accepted"]
        assert set(results[4:]) == {"accepted"}

    def test_repeats_and_foreign_frames_leave_the_history(self) -> None:
        link = demo()
        steps = states(link, 4)
        judge = Judge(link, fresh=True)
        for step in steps[:-1]:
            assert judge.judge(step.side, step.octets, step.time_us).result == "accepted"
        assert judge.judge(steps[-2].side, steps[-2].octets, 0).result == "repeat"
        # Two octets of data prove nothing about another connection.
        foreign = steps[-1].octets[:-2] + b"\x09\x09"
        opinion = judge.judge(steps[-1].side, foreign)
        assert (opinion.result, opinion.check) == ("rejected", "connection_id")
        assert judge.judge(steps[-1].side, steps[-1].octets, None).result == "accepted"

    @pytest.mark.parametrize(
        ("command", "identity", "result"),
        [
            (0x36, 9, "foreign"),
            (0x08, 65535, "foreign"),
            (0x36, 0, "rejected"),
            (0x08, 0, "rejected"),
            (0x2A, 9, "rejected"),
            (0x4E, 9, "rejected"),
        ],
    )
    def test_which_frames_are_right_for_another_connection(
        self, command: int, identity: int, result: str
    ) -> None:
        """MUST: no connection has the id 0 in data, or another one in a Reset or Session frame."""
        link = make("fscp-12-1", 4, 4, {})
        judge = Judge(link, fresh=True)
        for step in states(link, 4):
            assert judge.judge(step.side, step.octets, step.time_us).result == "accepted"
        values: dict[str, Any] = {"command": command, "connection_id": identity}
        octets = frame.build("fscp-12-1", data=bytes(4), sequence=3, **values)
        octets = octets[:-2] + identity.to_bytes(2, "little")
        opinion = judge.judge(0, octets)
        assert opinion.result == result
        if command in (0x2A, 0x4E):  # At the start both are legal, whatever the state.
            opinion = Judge(link, fresh=True).judge(0, octets)
            assert (opinion.result, opinion.check) == (result, "connection_id")

    def test_a_lost_packet_of_the_recording(self) -> None:
        """One frame is missing: two rejections, then the stream is joined anew."""
        link = demo()
        steps = list(states(link, 20))
        del steps[30]
        judge = Judge(link, fresh=True)
        opinions = [judge.judge(step.side, step.octets, step.time_us) for step in steps]
        bad = [number for number, opinion in enumerate(opinions) if opinion.result == "rejected"]
        assert bad == [30]
        assert opinions[31].rejoined
        assert opinions[31].result == "unknown"
        assert opinions[31].text.startswith("history lost (rejected") or "history lost" in (
            opinions[31].text
        )
        assert opinions[-1].result == "accepted"

    def test_a_spoilt_stream_is_not_joined(self) -> None:
        link = make("fscp-12-1", 4, 4, {})
        judge = Judge(link, fresh=True)
        steps = states(link, 4)
        for step in steps:
            judge.judge(step.side, step.octets)
        last = bytearray(steps[-1].octets)
        last[5] ^= 1  # the second block: no history can explain that
        for _ in range(3):
            assert judge.judge(1, bytes(last)).result == "rejected"

    def test_other_profiles_are_joined_anew_too(self) -> None:
        link = make("fscp-3-1", 2, 4, {})
        steps = list(states(link, 20))
        own = [step for step in steps if step.side == 0]
        judge = Judge(link, fresh=True)
        assert judge.judge(0, own[0].octets).result == "accepted"
        assert judge.judge(0, own[5].octets).result == "rejected"
        assert judge.judge(0, own[6].octets).rejoined
        spoilt = own[8].octets[:-4] + b"\x00\x01\x02\x03"
        assert judge.judge(0, own[7].octets).result == "accepted"
        assert judge.judge(0, spoilt).result == "rejected"

    @pytest.mark.parametrize("case", [CASES[0], CASES[2], ("fscp-3-1", 2, 4, {})], ids=str)
    def test_a_wrong_first_frame_of_a_fresh_recording(
        self, case: tuple[str, int, int, dict[str, Any]]
    ) -> None:
        """With ``fresh`` the first frame is judged; without it nothing is known of it."""
        link = make(*case)
        later = [step.octets for step in states(link, 20) if step.side == 0][3:]
        assert Judge(link, fresh=False).judge(0, later[0]).result == "unknown"
        judge = Judge(link, fresh=True)
        first = judge.judge(0, later[0])
        assert (first.result, first.rejoined) == ("rejected", False)
        assert judge.judge(0, later[1]).rejoined

    def test_one_rejection_after_a_rejoin_is_one(self) -> None:
        """What a lost history had counted is over: the next gap is rejected once again."""
        link = make("fscp-3-1", 2, 4, {})
        steps = states(link, 40)
        own = [[step.octets for step in steps if step.side == side] for side in (0, 1)]
        judge = Judge(link, fresh=True)
        sides = [0, 0, 0, 0, 0]
        results = [
            judge.judge(side, own[side][at]).result
            for side, at in zip(sides, (0, 5, 6, 12, 13), strict=True)
        ]
        assert results == ["accepted", "rejected", "unknown", "rejected", "unknown"]
        # The rejections of the other side are forgotten with it as well.
        judge = Judge(link, fresh=True)
        course = [(0, 0), (1, 0), (1, 5), (0, 5), (0, 6), (1, 6), (1, 12), (1, 13)]
        results = [judge.judge(side, own[side][at]).result for side, at in course]
        assert results[2:] == ["rejected", "unknown", "accepted", "unknown", "rejected", "unknown"]

    def test_one_side_may_lose_its_history_alone(self) -> None:
        """Frames of the other side are right all the time and must not hide the rejections."""
        link = make("fscp-3-1", 2, 4, {})
        steps = list(states(link, 20))
        del steps[8]
        judge = Judge(link, fresh=True)
        results = [judge.judge(step.side, step.octets).result for step in steps]
        assert results[8:12] == ["accepted", "rejected", "accepted", "unknown"]
        assert results[-4:] == ["accepted"] * 4

    def test_a_session_that_cannot_be_joined_is_kept(self) -> None:
        link = make("fscp-13-1", 2, 2, {})
        judge = Judge(link, fresh=True)
        assert judge.judge(0, bytes(5)).result == "rejected"
        assert judge.judge(0, bytes(5)).check == "length"

    @given(data=st.data(), case=st.sampled_from(CASES))
    @settings(max_examples=40)
    def test_after_any_disturbance_frames_are_accepted_again(
        self, data: st.DataObject, case: tuple[str, int, int, dict[str, Any]]
    ) -> None:
        """Lost, repeated and spoilt frames MUST NOT keep the judge from what comes later."""
        link = make(*case)
        steps = STEPS[case[:3]]
        judge = Judge(link, fresh=data.draw(st.booleans()))
        for step in steps[:-30]:
            octets = bytearray(step.octets)
            event = data.draw(st.sampled_from(("", "", "", "", "lost", "twice", "spoilt", "short")))
            if event == "spoilt":
                at = data.draw(st.integers(0, len(octets) - 1))
                octets[at] ^= 1 << data.draw(st.integers(0, 7))
            elif event == "short":
                del octets[-1]
            for _ in range({"lost": 0, "twice": 2}.get(event, 1)):
                judge.judge(step.side, bytes(octets))
        results = [judge.judge(step.side, step.octets).result for step in steps[-30:]]
        assert set(results[-10:]) == {"accepted"}

    def test_watchdog(self) -> None:
        link = demo()
        steps = states(link, 4)
        judge = Judge(link, fresh=True)
        for step in steps[:-1]:
            judge.judge(step.side, step.octets, step.time_us)
        late = judge.judge(steps[-1].side, steps[-1].octets, steps[-1].time_us + 100_000)
        assert (late.result, late.check) == ("rejected", "watchdog")
        assert late.text == "112 ms after the last frame, watchdog 100 ms"

    @pytest.mark.parametrize("fresh", [False, True])
    @pytest.mark.parametrize("case", [("fscp-13-1", 2, 4, {}), ("opcua-safety", 0, 3, {})], ids=str)
    def test_a_gap_equal_to_the_watchdog(
        self, case: tuple[str, int, int, dict[str, Any]], fresh: bool
    ) -> None:
        """The watchdog has expired when more than its time has gone by, not with it."""
        link = make(*case)
        watchdog_us = link.watchdog_us
        assert watchdog_us == 100_000
        own = [step.octets for step in states(link, 6) if step.side == 0][:3]
        for more, checks in ((0, ["", ""]), (1, ["watchdog", "watchdog"])):
            judge = Judge(link, fresh=fresh)
            found = [
                judge.judge(0, octets, 1000 + number * (watchdog_us + more))
                for number, octets in enumerate(own)
            ]
            assert [each.check for each in found[1:]] == checks

    def test_a_gap_equal_to_the_watchdog_among_frames_as_before(self) -> None:
        link = demo()
        steps = states(link, 20)
        for more, result in ((87_999, "accepted"), (88_000, "accepted"), (88_001, "rejected")):
            judge = Judge(link, fresh=True)
            for step in steps[:-1]:
                judge.judge(step.side, step.octets, step.time_us)
            last = judge.judge(steps[-1].side, steps[-1].octets, steps[-1].time_us + more)
            assert (last.result, judge.gap_us) == (result, 12_000 + more)

    @pytest.mark.parametrize("case", [*CASES, *ONE_WAY], ids=lambda case: case[0])
    def test_packets_without_a_time(self, case: tuple[str, int, int, dict[str, Any]]) -> None:
        """No silence may be told of an interval in which there are packets without a time."""
        link = make(*case)
        steps = states(link, 30)
        every = range(len(steps))
        for timed in (every[::40], every[:20], [at for at in every if at % 7]):
            given = [
                each._replace(time_us=each.time_us if at in timed else None)
                for at, each in enumerate(packets(link, steps))
                if isinstance(each, Packet)
            ]
            found = capture.examine(given, link, fresh=True)
            assert found.is_clean
            assert found.silent_count == 0
            told = f"times around {len(steps) - len(timed)} packets without one"
            assert [each for each in found.not_judged if "times" in each] == [told]

    def test_no_watchdog(self) -> None:
        first, second = (end_with(end, watchdog_ms=None) for end in demo_connection().ends)
        judge = Judge(link_of(Connection(first=first, second=second)), fresh=True)
        steps = states(demo(), 4)
        gaps = []
        for step in steps:
            judge.judge(step.side, step.octets, 10 * step.time_us)
            gaps.append(judge.gap_us)
        assert gaps[:2] == [None, None]
        assert set(gaps[2:]) == {120_000}


class TestDecoder:
    """What differs between the two readings MUST be what differs between their texts."""

    @given(data=st.binary(min_size=2, max_size=2))
    @settings(max_examples=20)
    def test_every_mistake(self, data: bytes) -> None:
        for mistake in fixtures.mistakes(demo_connection()):
            first, second = mistake.connection.ends
            decoder = Decoder(first.sends, second.receives)
            assert decoder.read(data).differs is bool(decoder.rows(data)), mistake.name

    def test_alike(self) -> None:
        first, second = demo_connection().ends
        decoder = Decoder(first.sends, second.receives)
        found = decoder.read(b"\x41\x05")
        assert not found.differs
        assert found.sent == found.received == (1, 0, 0, 0, 0, 0, 1, 0, 1, 1)

    def test_rows(self) -> None:
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        first, second = mistakes["one-sided"].ends
        assert Decoder(first.sends, second.receives).rows(b"\x00\x04") == (
            Disagreement("brake2_release", "1 (holding brake 2 released)", "(not in the map)"),
        )
        assert Decoder(second.receives, first.sends).rows(b"\x00\x04") == (
            Disagreement("brake2_release", "(not in the map)", "1 (holding brake 2 released)"),
        )
        first, second = mistakes["meaning-inverted"].ends
        decoder = Decoder(first.sends, second.receives)
        assert decoder.read(b"\x01\x00").differs
        assert not decoder.read(b"\x00\x00").differs
        assert decoder.rows(b"\x01\x00") == (
            Disagreement("permit_torque", "1 (torque permitted)", "1 (not: torque permitted)"),
        )

    def test_numbers_of_every_type(self) -> None:
        entries = (
            Signal(name="level", at=Place(0, 0), width=8, type="int"),
            Signal(name="share", at=Place(1, 0), width=16, type="float"),
            Signal(name="word", at=Place(3, 0), width=16, type="uint", order="big"),
            Signal(name="word", at=Place(0, 0), width=8, type="uint"),
            Signal(name="late", at=Place(9, 0)),
        )
        decoder = Decoder(Map(entries=entries), Map(entries=entries))
        assert [each.name for each in decoder.sent] == ["level", "share", "word", "late"]
        assert decoder.read(bytes.fromhex("ff003e0102")).sent == (-1, 1.5, 0x0102, None)

    def test_no_number_is_like_no_number(self) -> None:
        entries = (Signal(name="share", at=Place(0, 0), width=16, type="float"),)
        found = Decoder(Map(entries=entries), Map(entries=entries)).read(b"\x00\x7e")
        assert math.isnan(found.sent[0] or 0)
        assert not found.differs

    def test_memory_is_bounded(self) -> None:
        first, second = demo_connection().ends
        decoder = Decoder(first.sends, second.receives)
        for number in range(5000):
            decoder.read(number.to_bytes(2, "little"))
        assert len(decoder._known) <= 4096


class TestGrid:
    """A strip MUST show the lowest, highest and last number of every bin, however wide."""

    @given(
        events=st.lists(
            st.tuples(st.integers(0, 5_000_000), st.integers(0, 5)), min_size=1, max_size=60
        )
    )
    @settings(max_examples=100)
    def test_against_all_that_happened(self, events: list[tuple[int, int]]) -> None:
        events.sort(key=lambda event: event[0])
        grid = StripBook(1)
        start = events[0][0]
        for time_us, number in events:
            grid.set(time_us, [number])
        strip = grid.strip(0)
        assert len(strip) <= BINS
        last: int | None = None
        for at, found in enumerate(strip):
            low = start + at * grid.width_us
            inside = [n for t, n in events if low <= t < low + grid.width_us]
            seen = inside if last is None else [last, *inside]
            last = seen[-1]
            assert found == Bin(min(seen), max(seen), last)
        changes = sum(left[1] != right[1] for left, right in itertools.pairwise(events))
        assert grid.changes == [changes]

    def test_what_is_not_known(self) -> None:
        grid = StripBook(2)
        assert grid.strip(0) == ()
        grid.set(0, [None, 1])
        grid.set(5_000, [7], first=0)
        assert grid.strip(0) == (None,) * 5 + (Bin(7, 7, 7),)
        assert grid.strip(1) == (Bin(1, 1, 1),) * 6
        grid.reach(600_000)
        assert grid.width_us == 2000
        assert grid.strip(0)[:3] == (None, None, Bin(7, 7, 7))
        assert len(grid.strip(0)) == 301


class TestExamination:
    def test_a_clean_recording(self) -> None:
        link = demo()
        found = examined(link, states(link, 400), fresh=True)
        assert found.is_clean
        assert found.notes == {}
        assert found.undriven == ()
        assert [side.results for side in found.sides] == [{"accepted": 408}, {"accepted": 408}]
        assert {side.longest_gap_us for side in found.sides} == {12_000}
        assert {each.reader == each.side for each in found.timelines} == {True}
        assert len(found.timelines) == 20

    @pytest.mark.parametrize("error", fixtures.ERRORS)
    def test_every_communication_error_is_reported(self, error: str) -> None:
        link = demo()
        made: FrameSet = next(
            each for each in fixtures.make(link, "faults", seed=1) if each.fault == error
        )
        found = examined(link, made.steps, fresh=True)
        number = next(at for at, step in enumerate(made.steps, 1) if step.verdict == "reject")
        (note,) = found.notes["rejected"].kept
        assert (note.number, note.side) == (number, 0)
        assert not found.is_clean
        assert (found.silent_count > 0) is (made.steps[number - 1].check == "watchdog")
        assert found.noisy_count == (0 if found.silent_count else 1)

    def test_the_first_difference(self) -> None:
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        link = link_of(mistakes["swapped"])
        steps = states(link, 100)
        found = examined(link, steps, fresh=True)
        decoder = Decoder(link.sent(0), link.received(0))
        wrong = [
            number
            for number, step in enumerate(steps, 1)
            if step.side == 0 and step.data and decoder.read(step.data).differs
        ]
        assert found.difference is not None
        assert found.difference.note.number == wrong[0]
        assert found.difference.count == len(wrong)
        assert found.difference.rows == decoder.rows(steps[wrong[0] - 1].data)
        assert not found.is_clean
        names = [(each.signal.name, each.reader) for each in found.timelines if each.side == 0]
        assert names[:4] == [
            ("permit_torque", 0),
            ("permit_torque", 1),
            ("permit_no_ss1", 0),
            ("permit_no_ss1", 1),
        ]

    @pytest.mark.parametrize("side", [0, 1], ids=["producer", "consumer"])
    def test_data_that_fit_the_map_of_one_end_only(self, side: int) -> None:
        good, longer = make("fscp-12-1", 2, 2, {}), make("fscp-12-1", 4, 2, {})
        first, second = good.connection.ends
        if side:
            second = dataclasses.replace(second, receives=longer.connection.second.receives)
        else:
            first = dataclasses.replace(first, sends=longer.connection.first.sends)
        link = link_of(Connection(first=first, second=second))
        found = examined(link, states(good, 30), fresh=True)
        sizes = (2, 4) if side else (4, 2)
        assert found.notes["size"].kept[0].text == (
            "SC1 sends 2 octets of safety data, but the map of SC1 has "
            f"{sizes[0]} and the map of LX {sizes[1]}"
        )
        assert not found.is_clean

    def test_where_the_timelines_start(self) -> None:
        link = demo()
        later = [
            dataclasses.replace(step, time_us=step.time_us + 5_000_000) for step in states(link, 30)
        ]
        found = examined(link, later, fresh=True)
        assert found.timeline_start_us == found.start_us == later[0].time_us
        assert found.timeline_start_us >= 5_000_000

    def test_signals_that_only_the_consumer_knows(self) -> None:
        first, second = demo_connection().ends
        mistakes = {each.name: each.connection for each in fixtures.mistakes(demo_connection())}
        renamed = mistakes["renamed"].second
        link = link_of(Connection(first=first, second=renamed))
        found = examined(link, states(link, 100), fresh=True)
        # What stands at one place at both ends is one row, whatever each end calls it.
        assert all(each.reader == each.side for each in found.timelines)
        names = [each.names for each in found.timelines if each.names[0] != each.names[1]]
        assert names == [("permit_torque", "something_else")]
        assert second.receives.signals[0].name == "permit_torque"

    def test_what_was_never_driven(self) -> None:
        link = demo()
        idle = fixtures.RunningLink(link).ticks([(b"\x01\x01", b"\x00\x00")])
        found = examined(link, idle, fresh=True)
        rows = [(each.side, each.signal.name, each.indices) for each in found.undriven]
        assert (0, "permit_torque", (0,)) not in rows
        assert (0, "permit_up", (4,)) in rows
        assert (0, "speed_level", (9,)) in rows
        assert (1, "speed_range", (8, 9)) in rows
        assert len([row for row in rows if row[0] == 1]) == 10

    def test_safe_values_that_are_not_zero(self) -> None:
        first, second = demo_connection().ends
        entries = (
            Signal(name="stopped", at=Place(0, 0), safe=1),
            Signal(name="level", at=Place(2, 0), width=16, type="uint", order="big", safe=0x0102),
            Signal(name="odd", at=Place(0, 1), width=2, type="uint", safe=9),
        )
        sends = Map(entries=entries)
        link = link_of(
            Connection(
                first=dataclasses.replace(first, sends=sends),
                second=dataclasses.replace(second, receives=sends),
            )
        )
        steps = fixtures.RunningLink(link).ticks([(b"\x01\x00\x01\x02", b"\x00\x00")])
        found = examined(link, steps, fresh=True)
        rows = {each.signal.name: each.indices for each in found.undriven if each.side == 0}
        assert rows == {"stopped": (0,), "level": tuple(range(16, 32))}
        steps = fixtures.RunningLink(link).ticks([(b"\x00\x00\x00\x02", b"\x00\x00")])
        found = examined(link, steps, fresh=True)
        rows = {each.signal.name: each.indices for each in found.undriven if each.side == 0}
        assert rows == {"level": (*range(17, 32),)}

    def test_relations(self) -> None:
        first, second = demo_connection().ends
        rule = Relation(
            name="brake-needs-torque",
            when=(("brake1_release", (1,)),),
            requires=(("permit_torque", (1,)),),
            reason="x",
        )
        answer = Relation(
            name="answer",
            when=(("torque_off", (1,)),),
            follows=(("receives.permit_torque", (1,)),),
            within_ms=30,
            reason="x",
        )
        plain = demo()
        steps = fixtures.RunningLink(plain).ticks(
            [(b"\x00\x00", b"\x00\x00"), (b"\x40\x00", b"\x00\x00")]
        )
        link = link_of(
            Connection(first=dataclasses.replace(first, relations=(rule,)), second=second)
        )
        found = examined(link, steps, fresh=True)
        (note,) = found.notes["relation"].kept
        assert note.number == len(steps) - 1
        assert note.text.startswith("SC1: brake-needs-torque: ")
        assert not found.is_clean
        link = link_of(
            Connection(first=first, second=dataclasses.replace(second, relations=(answer,)))
        )
        rows = [(b"\x00\x00", b"\x00\x00")] + [(b"\x01\x00", b"\x00\x00")] * 6
        found = examined(link, fixtures.RunningLink(plain).ticks(rows), fresh=True)
        (note,) = found.notes["relation"].kept
        assert note.text.startswith("LX: answer: ")

    def test_times_of_relations_that_nobody_knows(self) -> None:
        """MUST: a relation is judged by no time that the recording does not show."""
        first, second = demo_connection().ends
        rule = Relation(
            name="later",
            when=(("brake1_release", (1,)),),
            follows=(("permit_torque", (1,)),),
            after_ms=20,
            reason="x",
        )
        link = link_of(
            Connection(first=dataclasses.replace(first, relations=(rule,)), second=second)
        )
        data = (b"\x00\x00", b"\x01\x00", b"\x01\x00", b"\x01\x00", b"\x41\x00")
        steps = fixtures.RunningLink(demo()).ticks([(each, b"\x00\x00") for each in data])
        given = packets(link, steps)
        assert capture.examine(given, link, fresh=True).is_clean
        told = (
            "times of the relation later of SC1: it begins or ends with a frame whose time is "
            "not known"
        )
        start = next(at for at, step in enumerate(steps) if step.data == data[1])
        for missing in (range(len(given)), (start,)):
            bare = [
                each._replace(time_us=None) if at in missing and isinstance(each, Packet) else each
                for at, each in enumerate(given)
            ]
            found = capture.examine(bare, link, fresh=True)
            assert "relation" not in found.notes
            assert told in found.not_judged
            assert not found.is_whole
        # A clock that goes back measures nothing, neither too short nor too long.
        back = [
            each._replace(time_us=0) if at == start and isinstance(each, Packet) else each
            for at, each in enumerate(given)
        ]
        found = capture.examine(back, link, fresh=True)
        assert found.notes["time"].count == 1
        assert "relation" not in found.notes
        assert told in found.not_judged

    @pytest.mark.parametrize(
        ("within_ms", "after_ms", "broken"),
        [(36, 0, False), (35, 0, True), (None, 36, False), (None, 37, True)],
    )
    def test_times_of_relations_to_the_millisecond(
        self, within_ms: int | None, after_ms: int, broken: bool
    ) -> None:
        """What follows 36 ms later is in time for a limit of 36 ms, and not for the next one."""
        first, second = demo_connection().ends
        rule = Relation(
            name="later",
            when=(("brake1_release", (1,)),),
            follows=(("permit_torque", (1,)),),
            within_ms=within_ms,
            after_ms=after_ms,
            reason="x",
        )
        link = link_of(
            Connection(first=dataclasses.replace(first, relations=(rule,)), second=second)
        )
        assert link.tick_us == 12_000
        off, begins, both = b"\x00\x00", b"\x01\x00", b"\x41\x00"
        rows = [(data, b"\x00\x00") for data in (off, begins, begins, begins, both)]
        found = examined(link, fixtures.RunningLink(demo()).ticks(rows), fresh=True)
        assert ("relation" in found.notes) == broken
        assert found.is_clean != broken

    @pytest.mark.parametrize("data", [b"\x00\x00", b"\x01\x00", b"\x40\x00", b"\x41\x00"])
    @pytest.mark.parametrize("reader", [0, 1])
    def test_each_end_reads_by_its_own_map(self, reader: int, data: bytes) -> None:
        """A relation of an end MUST be held against what that end sends or reads."""
        ends = list(demo_connection().ends)
        names = {"permit_torque": "brake1_release", "brake1_release": "permit_torque"}
        swapped = tuple(
            dataclasses.replace(each, name=names.get(each.name, each.name))
            if isinstance(each, Signal)
            else each
            for each in ends[1].receives.entries
        )
        ends[1] = dataclasses.replace(ends[1], receives=Map(entries=swapped))
        way = ("sends", "receives")[reader]
        rule = Relation(
            name="needs",
            when=((f"{way}.brake1_release", (1,)),),
            requires=((f"{way}.permit_torque", (1,)),),
            reason="x",
        )
        ends[reader] = dataclasses.replace(ends[reader], relations=(rule,))
        link = link_of(Connection(first=ends[0], second=ends[1]))
        found = examined(
            link, fixtures.RunningLink(demo()).ticks([(data, b"\x00\x00")]), fresh=True
        )
        assert ("relation" in found.notes) == (data[0] == (0x40, 0x01)[reader])

    def test_values_beyond_the_data_break_no_relation(self) -> None:
        first, second = demo_connection().ends
        far = Signal(name="far", at=Place(8, 0))
        rule = Relation(
            name="far-rule", when=(("far", (0,)),), excludes=(("far", (0,)),), reason="x"
        )
        receives = Map(entries=(*second.receives.entries, far))
        longer = dataclasses.replace(second, receives=receives, relations=(rule,))
        link = link_of(Connection(first=first, second=longer))
        found = examined(link, states(demo(), 30), fresh=True)
        assert "relation" not in found.notes
        assert [each.signal.name for each in found.undriven if each.reader == 1 != each.side] != []

    def test_silence_at_the_end(self) -> None:
        link = demo()
        steps = list(states(link, 20))
        last = steps[-1].time_us
        alone = dataclasses.replace(steps[-2], time_us=last + 300_000)
        found = examined(link, [*steps, alone], fresh=True)
        assert [(each.side, each.end_us - each.start_us) for each in found.silent] == [
            (0, 306_000),
            (1, 300_000),
        ]
        assert found.sides[0].results["repeat"] == 1
        assert not found.is_clean

    def test_where_a_silence_starts(self) -> None:
        """It starts with the last frame heard; the watchdog later the values are the safe ones."""
        link = demo()
        ticks = fixtures.RunningLink(link).ticks([(b"\x01\x01", b"\x00\x00")] * 12)
        steps = [
            dataclasses.replace(step, time_us=step.time_us + 300_000 * (number >= 20))
            for number, step in enumerate(ticks)
        ]
        assert [step.time_us for step in steps[18:22]] == [108_000, 114_000, 420_000, 426_000]
        found = examined(link, steps, fresh=True)
        assert [(each.side, each.start_us, each.end_us) for each in found.silent] == [
            (0, 108_000, 420_000),
            (1, 114_000, 426_000),
        ]
        assert found.timeline_width_us == 2000
        (line,) = [each for each in found.timelines if each.signal.name == PERMIT]
        lasts = [each.last for each in line.bins if each is not None]
        changed = [at for at in range(1, len(lasts)) if lasts[at] != lasts[at - 1]]
        # 108 ms and 100 ms of watchdog are the bin 104 of 2 ms.
        assert (changed, line.changes) == ([48, 104, 216], 3)

    def test_where_a_silence_at_the_end_starts(self) -> None:
        link = demo()
        ticks = fixtures.RunningLink(link).ticks([(b"\x01\x01", b"\x00\x00")] * 12)
        for wait_us, silent in (
            (100_000, []),
            (100_001, [(0, 228_000, 328_001)]),
            (300_000, [(0, 228_000, 528_000), (1, 234_000, 528_000)]),
        ):
            alone = dataclasses.replace(ticks[-2], time_us=ticks[-2].time_us + wait_us)
            found = examined(link, [*ticks, alone], fresh=True)
            assert [(each.side, each.start_us, each.end_us) for each in found.silent] == silent
        (line,) = [
            each for each in found.timelines if (each.signal.name, each.reader) == (PERMIT, 0)
        ]
        lasts = [each.last for each in line.bins if each is not None]
        # 228 ms and 100 ms of watchdog.
        assert (lasts[163], lasts[164]) == (1, 0)
        assert found.timeline_width_us == 2000

    def test_a_consumer_with_other_places_in_json(self) -> None:
        """Both readings of a signal are told, each under the end that reads it."""
        first, second = demo_connection().ends
        places = {PERMIT: Place(0, 1), "permit_no_ss1": Place(0, 0)}
        entries = sorted(
            (
                dataclasses.replace(each, at=places[each.name])
                if isinstance(each, Signal) and each.name in places
                else each
                for each in second.receives.entries
            ),
            key=lambda each: each.at,
        )
        other = dataclasses.replace(second, receives=Map(entries=tuple(entries)))
        link = link_of(Connection(first=first, second=other))
        ticks = fixtures.RunningLink(link).ticks([(b"\x01\x01", b"\x00\x00")] * 4)
        document = json.loads(json_text(examined(link, ticks, fresh=True)))
        found = {
            (each["sender"], each["reader"], each["signal"]): each["bins"][-1]
            for each in document["timelines"]
        }
        assert {key: bins for key, bins in found.items() if key[2] in places} == {
            ("SC1", "SC1", PERMIT): [1, 1, 1],
            ("SC1", "LX", PERMIT): [0, 0, 0],
            ("SC1", "SC1", "permit_no_ss1"): [0, 0, 0],
            ("SC1", "LX", "permit_no_ss1"): [1, 1, 1],
        }
        assert ("SC1", "LX", "permit_up") not in found
        assert document["difference"]["rows"] == [
            {"signal": PERMIT, "sent": "1 (torque permitted)", "received": "0"},
            {
                "signal": "permit_no_ss1",
                "sent": "0",
                "received": "1 (no controlled stop asked for)",
            },
        ]

    def test_noise(self) -> None:
        link = make("fscp-12-1", 4, 4, {})
        steps = list(states(link, 60))
        for at in (40, 41, 90):
            octets = bytearray(steps[at].octets)
            octets[5] ^= 1
            steps[at] = dataclasses.replace(steps[at], octets=bytes(octets))
        found = examined(link, steps, fresh=True)
        assert [(each.side, each.start_us, each.count) for each in found.noisy] == [
            (0, 240_000, 1),
            (1, 246_000, 1),
            (0, 540_000, 1),
        ]
        assert [note.number for note in found.notes["rejected"].kept] == [41, 42, 91]
        assert found.notes["rejected"].kept[0].text == "crc: CRC_1 is 0x2536, computed 0xBFB5"
        assert [note.number for note in found.notes["history lost"].kept] == [43, 92]

    def test_one_noisy_interval(self) -> None:
        first, second = (end_with(end, watchdog_ms=None) for end in demo_connection().ends)
        link = link_of(Connection(first=first, second=second))
        bad = [
            SentFrame(side=0, time_us=time_us, octets=b"\x36")
            for time_us in (0, 50_000, 150_000, 400_000)
        ]
        found = examined(link, bad)
        assert [(each.start_us, each.end_us, each.count) for each in found.noisy] == [
            (0, 150_000, 3),
            (400_000, 400_000, 1),
        ]
        assert not found.is_clean

    def test_without_times(self) -> None:
        link = demo()
        rows = [
            Packet(number, number, None, step.octets, link.names[step.side])
            for number, step in enumerate(states(link, 30))
        ]
        spoilt = rows[3]._replace(octets=b"\x00")
        found = capture.examine([*rows, spoilt], link, fresh=True)
        assert (found.start_us, found.end_us, found.timelines) == (None, None, ())
        assert found.notes["rejected"].count == 1
        assert found.noisy_count == 0

    def test_troubles_and_misses(self) -> None:
        link = demo()
        rows = packets(link, states(link, 10))
        extra: list[Packet | Trouble] = [
            Trouble(99, 4711, "line", "why"),
            Packet(100, 100, 0, b"\x01", "SC1"),
            Packet(101, 101, None, b"\x01", "SC9"),
        ]
        found = capture.examine([*rows, *extra], link, fresh=True)
        assert {kind: notes.count for kind, notes in found.notes.items()} == {
            "line": 1,
            "time": 1,
            "rejected": 1,
            "other sender": 1,
        }
        assert found.notes["line"].kept[0].offset == 4711
        assert not found.is_clean
        strange = capture.examine([*rows, extra[-1]], link, fresh=True)
        assert strange.is_clean
        assert "1 frame whose sender is no end of this connection" in strange.not_judged

    def test_lists_are_bounded_and_counts_exact(self) -> None:
        link = demo()
        bad = [
            SentFrame(side=0, time_us=time_us * 1_000_000, octets=b"\x36") for time_us in range(50)
        ]
        found = examined(link, bad)
        assert found.notes["rejected"].count == found.noisy_count == 50
        assert len(found.notes["rejected"].kept) == len(found.noisy) == KEPT

    def test_nothing_at_all(self) -> None:
        found = capture.examine([], demo())
        assert (found.packets, found.frames, found.is_clean) == (0, 0, False)

    def test_nothing_that_could_be_judged(self) -> None:
        link = make("fscp-12-1", 2, 2, {})
        found = examined(link, [step for step in states(link, 20) if step.data][:1])
        assert found.sides[0].results == {"unknown": 1}
        assert not found.is_clean
