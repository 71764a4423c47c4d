"""Frames in packets: where they are, how long they are, from whom; what is spoilt is never lost."""

from __future__ import annotations

import dataclasses
import io
import struct
from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from safeframe._errors import UsageError
from safeframe._link import Link, link_of, places_stated
from safeframe._model import Connection
from safeframe._report.capture import document
from safeframe._report.text import render
from safeframe.capture import Examination, Judge, Packet, Skipped, examine, read_recording
from safeframe.capture._sizes import FrameSizes
from safeframe.fixtures import RunningLink
from safeframe.frame import inspect
from safeframe.protocols import room

from ..receivers.recordings import CASES, good
from .links import end_with, make

Frames = list[tuple[int, int, bytes]]
STATIONS = "02:00:00:00:00:01", "02:00:00:00:00:02"
BOTH = {0: STATIONS[0], 1: STATIONS[1]}


def in_packets(frames: Frames, places: tuple[int, int], stations: tuple[str, str]) -> list[Packet]:
    return [
        Packet(
            number,
            100 * number,
            time_us,
            bytes((0xAA,)) * places[side] + octets + bytes((0x55,)) * 3,
            "",
            stations[side],
            0x88B5,
        )
        for number, (time_us, side, octets) in enumerate(frames, 1)
    ]


def running(link: Link, rows: list[tuple[bytes, bytes]]) -> Frames:
    return [(step.time_us, step.side, step.octets) for step in RunningLink(link).ticks(rows)]


def lines(link: Link, frames: Frames, *, named: bool = True) -> list[Packet]:
    return [
        Packet(number, number, time_us, octets, link.names[side] if named else "")
        for number, (time_us, side, octets) in enumerate(frames, 1)
    ]


def shown(found: Examination) -> str:
    return " ".join(render(document(found)).split())


@pytest.mark.no_cover
class TestShortRecordings:
    """A flipped bit MUST NOT leave a recording clean because its frame is not found any more."""

    @pytest.mark.parametrize("stations", [STATIONS, STATIONS[:1] * 2], ids=["two", "one"])
    @pytest.mark.parametrize("case", [CASES[4], CASES[11]], ids=str)
    def test_every_bit(
        self, case: tuple[str, int, int, dict[str, Any]], stations: tuple[str, str]
    ) -> None:
        link = make(*case)
        frames: Frames = list(good(case, Random(7), 2).frames[-4:])
        places = (4, 9) if stations[0] != stations[1] else (4, 4)
        assert examine(in_packets(frames, places, stations), link, fresh=True).is_clean
        for number, (time_us, side, octets) in enumerate(frames):
            for bit in range(8 * len(octets)):
                spoilt = bytearray(octets)
                spoilt[bit // 8] ^= 1 << bit % 8
                rows = list(frames)
                rows[number] = time_us, side, bytes(spoilt)
                found = examine(in_packets(rows, places, stations), link, fresh=True)
                assert not found.is_clean, (number, bit)

    def test_a_place_of_both_ends(self) -> None:
        link = make("fscp-13-1", 2, 2, {})
        frames = running(link, [(b"\1\0", b"\2\0"), (b"\2\0", b"\3\0")])
        frames[2] = (*frames[2][:2], bytes(15))
        found = examine(in_packets(frames, (4, 4), STATIONS[:1] * 2), link, fresh=True)
        assert [note.text for note in found.notes["unknown sender"].kept] == [
            "at 4, where both ends send frames, is one of neither"
        ]

    def test_one_place_by_option_and_one_station(self) -> None:
        """The ids of each frame tell who sent it, where one station sends for both ends."""
        link = make("fscp-13-1", 2, 2, {})
        frames = running(link, [(bytes((n, 0)), b"\2\0") for n in range(4)])
        packets = in_packets(frames, (4, 4), STATIONS[:1] * 2)
        at = {0: 4, 1: 4}
        found = examine(packets, link, at=at, fresh=True)
        assert found.is_clean
        assert [side.results for side in found.sides] == [{"accepted": 4}] * 2
        packets[3] = packets[3]._replace(octets=bytes(30))
        found = examine(packets, link, at=at, fresh=True)
        assert found.notes["unknown sender"].kept[0].text == (
            "both ends send frames at 4: name the station of one with --from"
        )


@pytest.mark.parametrize("fresh", [True, False])
@pytest.mark.parametrize("gap", [range(10, 16), range(11, 15)], ids=str)
def test_every_frame_without_history_is_told_once(gap: range, fresh: bool) -> None:
    """Those at the beginning and those after a loss MUST add up to what could not be judged."""
    link = make("fscp-12-1", 2, 2, {})
    frames = running(link, [(bytes((n, 0)), bytes((n, 1))) for n in range(14)])[-28:]
    kept = [row for at, row in enumerate(frames) if at not in gap]
    found = examine(lines(link, kept), link, fresh=fresh)
    told = {
        f"the first {side.unknown_at_start} frames".replace(" 1 frames", " frame")
        + f" of {side.name}: what it follows is not in the recording": side.unknown_at_start
        for side in found.sides
    }
    for side in found.sides:
        for number in range(1, 28):
            noun = "frames" if number > 1 else "frame"
            told[f"{number} more {noun} of {side.name}: history is missing"] = number
    for side in found.sides:
        numbers = [told[text] for text in found.not_judged if text in told and side.name in text]
        assert sum(numbers) == side.results["unknown"]
        assert len(numbers) == 2


def told_of_ends(found: Examination) -> dict[str, Any]:
    """Return what an examination says, each side by its name and in no order."""
    names = [side.name for side in found.sides]
    return {
        "notes": {
            kind: sorted((note.number, note.text) for note in notes.kept)
            for kind, notes in found.notes.items()
        },
        "silent": {(names[each.side], each.start_us, each.end_us) for each in found.silent},
        "noisy": {(names[each.side], each.start_us, each.end_us) for each in found.noisy},
        "undriven": {(names[each.side], each.signal.name) for each in found.undriven},
        "marks": {name: found.marks[side] for side, name in enumerate(names)},
        "sides": {side.name: side for side in found.sides},
        "not judged": sorted(found.not_judged),
        "clean": found.is_clean,
    }


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("watchdog_ms", [100, None])
@pytest.mark.parametrize("silent", [None, 0, 1])
@pytest.mark.parametrize("kept", [0, 8])
def test_the_order_of_the_ends_changes_nothing(
    case: tuple[str, int, int, dict[str, Any]],
    watchdog_ms: int | None,
    silent: int | None,
    kept: int,
) -> None:
    """Whichever map comes first, all that is missing of both ends MUST be told."""
    ends = [end_with(end, watchdog_ms=watchdog_ms) for end in make(*case).connection.ends]
    links = [
        link_of(Connection(first=first, second=second), **case[3])
        for first, second in (ends, ends[::-1])
    ]
    sent = good(case, Random(3), 12).frames
    frames: Frames = [row for at, row in enumerate(sent) if at < kept or row[1] != silent]
    if len(frames) > kept:
        time_us, side, octets = frames[kept]
        frames[kept] = time_us, side, octets[:-1] + bytes((octets[-1] ^ 1,))
    turned = [(time_us, 1 - side, octets) for time_us, side, octets in frames]
    found = [
        examine(lines(link, rows), link, fresh=True)
        for link, rows in zip(links, (frames, turned), strict=True)
    ]
    assert told_of_ends(found[0]) == told_of_ends(found[1])


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("gap_us", [0, 1, 2])
def test_the_shortest_longest_time_between_frames(
    case: tuple[str, int, int, dict[str, Any]], gap_us: int
) -> None:
    """One microsecond is a time between frames like any other, and so is none at all."""
    link, sent = make(*case), good(case, Random(3), 4).frames
    last = {side: number for number, (_, side, _) in enumerate(sent)}
    frames = [
        (gap_us * (number == last[side]), side, octets)
        for number, (_, side, octets) in enumerate(sent)
    ]
    found = examine(lines(link, frames), link, fresh=True)
    assert found.is_clean
    assert {side.longest_gap_us for side in found.sides if side.sends} == {gap_us}


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("fresh", [True, False])
def test_any_few_octets_are_judged(case: tuple[str, int, int, dict[str, Any]], fresh: bool) -> None:
    """What is too short for a frame MUST be rejected, whatever stands in it."""
    link = make(*case)
    rows = {bytes((one, two)) for one in range(256) for two in (0, 44 << 2, 49 << 2, 255)}
    for octets in rows | {each[:size] for each in rows for size in (0, 1)}:
        judge = Judge(link, fresh=fresh)
        for side in link.order:
            assert judge.judge(side, octets).result == "rejected", octets.hex(" ")


SEARCHED = [
    case
    for case in CASES
    if (traits := room(case[0]).recording) is not None and traits.search and not traits.whole
]


@pytest.mark.parametrize("case", SEARCHED, ids=str)
def test_frames_among_octets_like_their_own(case: tuple[str, int, int, dict[str, Any]]) -> None:
    """Frames MUST be found behind their first octet and before their last one, often repeated."""
    frames = good(case, Random(3), 4).frames
    packets = [
        packet._replace(octets=octets[:1] * 3 + octets + octets[-1:] * 3)
        for packet, (_, _, octets) in zip(
            in_packets(list(frames), (3, 3), STATIONS), frames, strict=True
        )
    ]
    found = examine(packets, make(*case), sources=BOTH, fresh=True)
    assert found.frames == len(frames)
    assert found.is_clean


@pytest.mark.parametrize("case", CASES, ids=str)
def test_without_a_watchdog_no_silence_is_judged_and_that_is_said(
    case: tuple[str, int, int, dict[str, Any]],
) -> None:
    ends = [
        dataclasses.replace(
            end_with(end, watchdog_ms=None),
            parameters=tuple(row for row in end.parameters if row[0] != "sct_ms"),
        )
        for end in make(*case).connection.ends
    ]
    link = link_of(Connection(first=ends[0], second=ends[1]), **case[3])
    slower = 3 if case[0] == "en50325-5" else 1000  # The two messages of a pair have a time.
    good_frames = good(case, Random(3), 2).frames
    frames = [(time_us * slower, side, octets) for time_us, side, octets in good_frames]
    found = examine(lines(link, frames), link, fresh=True)
    assert found.not_judged == ("times: neither map states watchdog_ms",)
    assert found.is_clean
    assert not found.is_whole


def managed() -> Link:
    """Return a connection of FSCP 13/1 whose first end manages the second."""
    first, second = make("fscp-13-1", 2, 4, {}).connection.ends
    return link_of(Connection(first=dataclasses.replace(first, role="manager"), second=second))


class TestFramesOfSeveralLengths:
    """A start-up whose frames are shorter and longer than the data MUST be found all the same."""

    @pytest.mark.parametrize("rows", [[], [(b"\1\0", bytes(4)), (b"\2\0", b"\1" + bytes(3))]])
    @pytest.mark.parametrize("fresh", [True, False])
    @pytest.mark.parametrize(
        ("stations", "more"),
        [
            (STATIONS, {}),
            (STATIONS, {"at": {0: 14, 1: 14}}),
            (STATIONS, {"sources": BOTH}),
            (STATIONS, {"at": {0: 14, 1: 14}, "sources": BOTH}),
            (STATIONS[:1] * 2, {"at": {0: 14, 1: 14}}),
            (STATIONS[:1] * 2, {}),
        ],
    )
    def test_in_packets(
        self,
        rows: list[tuple[bytes, bytes]],
        fresh: bool,
        stations: tuple[str, str],
        more: dict[str, Any],
    ) -> None:
        link = managed()
        frames = running(link, rows)
        found = examine(in_packets(frames, (14, 14), stations), link, fresh=fresh, **more)
        assert found.frames == len(frames) == 12 + 2 * len(rows)
        # A start-up alone says nothing about the maps: it is no praise for them.
        assert list(found.notes) == ([] if rows else ["never used"])
        assert found.wrong_events == 0
        assert len([each for each in found.events if each.kind == "start-up"]) == 8

    def test_a_start_up_alone(self) -> None:
        link = managed()
        found = examine(lines(link, running(link, []), named=True), link, fresh=True)
        assert not found.is_clean
        notes = [note.text for note in found.notes["never used"].kept]
        assert [text.partition(":") for text in notes] == [
            (
                f"{peer} has used no data of {name}",
                ":",
                " no right frame of this recording carries any",
            )
            for name, peer in (link.names, link.names[::-1])
        ]

    def test_lines_without_a_sender(self) -> None:
        link = managed()
        frames = running(link, [(b"\1\0", bytes(4))])
        found = examine(lines(link, frames, named=False), link, fresh=True)
        assert [side.frames for side in found.sides] == [7, 7]
        assert found.is_clean

    def test_a_length_that_is_none(self) -> None:
        link = managed()
        frames = running(link, [(b"\1\0", bytes(4)), (b"\2\0", bytes(4))])
        for spoilt in (b"\x23\xc4\xff", b"\x23\x04\x02"):
            time_us, side, octets = frames[-2]
            frames[-2] = time_us, side, spoilt + octets[3:]
            found = examine(in_packets(frames, (14, 14), STATIONS), link, fresh=True)
            assert found.notes["rejected"].count == 1
        time_us, side, octets = frames[-2]
        frames[-2] = time_us, side, b"\x23\xc4\x20" + octets[3:]
        found = examine(in_packets(frames, (14, 14), STATIONS), link, fresh=True)
        assert found.notes["cut frame"].kept[0].text == (
            "the packet holds 18 of 77 octets of a frame at 14"
        )


OTHER_SIZES = [
    (("fscp-2-1", 0, 2, {"format": "base"}), (0, 14)),
    (("fscp-2-1", 0, 5, {"format": "base"}), (0, 4)),
    (("fscp-2-1", 4, 0, {"format": "extended"}), (5, 0)),
    (("fscp-2-1", 20, 0, {"format": "extended"}), (8, 0)),
    (("fscp-3-1", 2, 4, {}), (3, 4)),
    (("fscp-3-1", 2, 4, {}), (2, 12)),
    (("fscp-3-1", 12, 4, {}), (0, 3)),
]


class TestSizes:
    """Data of another size than the maps say MUST be told as such, however the frames come."""

    @pytest.mark.parametrize(("sent", "mapped"), OTHER_SIZES, ids=str)
    @pytest.mark.parametrize("fresh", [True, False])
    def test_without_ids_by_history(
        self,
        sent: tuple[str, int, int, dict[str, Any]],
        mapped: tuple[int, int],
        fresh: bool,
    ) -> None:
        link, other = make(*sent), make(sent[0], *mapped, sent[3])
        rows = [(bytes((n,)) * sent[1], bytes((n,)) * sent[2]) for n in range(12)]
        packets = in_packets(running(link, rows), (0, 0), STATIONS)
        found = examine(packets, other, at={0: 0, 1: 0}, sources=BOTH, fresh=fresh)
        assert not found.is_clean
        side = 0 if sent[1] != mapped[0] else 1
        size, name = sent[1 + side], ("SC1", "LX")[side]
        text = (
            f"{name} sends {size} octets of safety data, but the map of {name} has {mapped[side]} "
        )
        assert any(note.text.startswith(text) for note in found.notes["size"].kept)
        assert found.sides[side].used_frames == 0
        whole = examine(packets, link, at={0: 0, 1: 0}, sources=BOTH, fresh=fresh)
        assert whole.is_clean

    @pytest.mark.parametrize("used", [False, True])
    def test_data_that_are_never_used_are_told_besides(self, used: bool) -> None:
        """A wrong size of one end MUST NOT hide that the data of the other are never used."""
        sent, mapped = make("fscp-12-1", 4, 2, {}), make("fscp-12-1", 2, 2, {})
        session, frames = sent.session(), []
        for number in range(6):
            for side, command in ((0, 0x36 if used else 0x08), (1, 0x08)):
                data = bytes((number,)) * (4, 2)[side]
                octets = session.produce(sent.senders[side], command=command, data=data)
                frames.append((12_000 * number, side, octets))
        found = examine(lines(mapped, frames), mapped, fresh=True)
        assert found.notes["size"].count == 6
        assert [note.text for note in found.notes["never used"].kept] == [
            f"{peer} has not used the data of {name} in any frame of this recording"
            for name, peer in (("SC1", "LX"), ("LX", "SC1"))[used:]
        ]

    def test_no_size_goes_on(self) -> None:
        link = make("fscp-3-1", 2, 4, {})
        sizes, random = FrameSizes(link), Random(3)
        for _ in range(63):
            sizes.look(0, random.randbytes(20))
        assert not sizes.is_settled(0)
        sizes.look(0, bytes(20))
        sizes.look(0, bytes(20))
        assert sizes.is_settled(0)
        assert sizes[0] == 6

    def test_the_same_octets_are_looked_at_once(self) -> None:
        sizes = FrameSizes(make("fscp-3-1", 2, 4, {}))
        for _ in range(100):
            sizes.look(0, bytes(20))
        assert not sizes.is_settled(0)

    def test_lines_without_a_sender(self) -> None:
        rows = [(bytes((n,)) * 2, bytes((n,)) * 4) for n in range(4)]
        for profile, text in (
            (
                "fscp-12-1",
                "a frame of 11 octets holds 4 octets of safety data: the map of SC1 has 2, the "
                "map of LX has 8",
            ),
            (
                "fscp-13-1",
                "LX sends 4 octets of safety data, but the map of LX has 8 and the map of SC1 8",
            ),
        ):
            link, other = make(profile, 2, 4, {}), make(profile, 2, 8, {})
            found = examine(lines(link, running(link, rows), named=False), other)
            assert found.notes["size"].kept[-1].text == text
        link, other = make("fscp-3-1", 2, 4, {}), make("fscp-3-1", 2, 7, {})
        found = examine(lines(link, running(link, rows), named=False), other)
        assert [note.text for note in found.notes["size"].kept] == [
            "a frame of 8 octets holds 4 octets of safety data: the map of SC1 has 2, "
            "the map of LX has 7"
        ] * 5
        found = examine([Packet(1, 1, 0, bytes(30))], other)
        assert found.notes["length"].kept[0].text == "no end sends frames of 30 octets"

    def test_lines_of_one_length_without_the_ids_of_an_end(self) -> None:
        link = make("fscp-13-1", 2, 2, {})
        found = examine([Packet(1, 1, 0, bytes(15))], link)
        assert found.notes["unknown sender"].kept[0].text == "the ids of neither end stand in it"


class TestStations:
    @pytest.mark.parametrize(
        "text", ["02:00:00:00:00:0A", "02-00-00-00-00-0a", "0200.0000.000a", "0200.0000.000A"]
    )
    def test_addresses_as_people_write_them(self, text: str) -> None:
        link = make("fscp-12-1", 2, 4, {})
        assert places_stated(link, [], [f"SC1={text}"]).sources == {0: "02:00:00:00:00:0a"}

    @pytest.mark.parametrize("text", ["10.0.0.1", "can-0", "fe80::1"])
    def test_other_addresses_stay(self, text: str) -> None:
        link = make("fscp-12-1", 2, 4, {})
        assert places_stated(link, [], [f"SC1={text}"]).sources == {0: text}

    def test_an_end_is_named_once(self) -> None:
        link = make("fscp-12-1", 2, 4, {})
        with pytest.raises(UsageError, match=r"^--at must name SC1 once only$"):
            places_stated(link, ["SC1=0", "LX=3", "SC1=4"], [])

    def test_a_station_that_sends_nothing(self) -> None:
        link = make("fscp-12-1", 2, 4, {})
        packets = in_packets(running(link, [(b"\1\0", bytes(4))]), (0, 0), STATIONS)
        sources = {0: "02:00:00:00:00:09", 1: STATIONS[1]}
        found = examine(packets, link, sources=sources, fresh=True)
        assert [note.text for note in found.notes["no frames"].kept] == [
            "no frame of SC1 was found: no packet comes from 02:00:00:00:00:09"
        ]

    @pytest.mark.parametrize("at", [{}, {0: 0, 1: 0}])
    def test_the_ids_of_an_end_from_a_station_nobody_named(self, at: dict[int, int]) -> None:
        link = make("fscp-13-1", 2, 4, {})
        frames = running(link, [(bytes((n, 0)), bytes(4)) for n in range(4)])
        packets = in_packets(frames, (0, 0), STATIONS)
        third = packets[2]._replace(number=9, source="02:00:00:00:00:03", time_us=80_000)
        found = examine([*packets, third], link, at=at, sources=BOTH, fresh=True)
        assert [note.text for note in found.notes["other station"].kept] == [
            "a frame of SC1, by its ids, from 02:00:00:00:00:03"
        ]
        assert found.not_judged == (
            "1 frame of this connection from stations that --from does not name",
        )
        assert "Frames of this connection from stations that --from does not name: 1" in shown(
            found
        )
        alike = make("fscp-12-1", 2, 2, {})
        stray = third._replace(octets=bytes(7))
        assert "other station" not in examine([stray], alike, at={0: 0, 1: 0}, sources=BOTH).notes


class TestBitsWithoutAMeaning:
    """Reserved bits of a frame that are not 0 MUST be told, however right its checksums are."""

    @pytest.mark.parametrize("mode", [0x84 ^ 0x48, 0x84 ^ 0x24])
    def test_mode(self, mode: int) -> None:
        link = make("fscp-2-1", 0, 2, {"format": "base"})
        session, octets = link.session(), []
        for stamp, octet in ((100, 0x84), (200, mode), (300, mode), (400, 0x84), (500, mode)):
            values: dict[str, Any] = {"data": b"\1\2", "mode": octet, "time_stamp": stamp}
            octets.append(session.produce("producer", **values))
        found = examine(lines(link, [(12_000 * n, 1, each) for n, each in enumerate(octets)]), link)
        told = [(each.number, each.text) for each in found.events if each.kind == "reserved bits"]
        text = (
            "bits without a meaning in the sources are set in the mode octet: "
            f"{(mode ^ 0x84) & 0x60:#04x}"
        )
        assert told[-1] == (5, text)
        assert [number for number, _ in told] == [2, 5]

    def test_acknowledge(self) -> None:
        link = make("fscp-2-1", 0, 2, {"format": "base"})
        octets = link.session().produce("consumer", ack=0x18, consumer_time=3)
        (event,) = examine(lines(link, [(0, 0, octets)]), link).events
        assert (event.kind, event.is_wrong) == ("reserved bits", True)
        assert event.text.endswith("are set in the acknowledge octet: 0x10")

    def test_status(self) -> None:
        link = make("fscp-3-1", 2, 4, {})
        octets = link.session().produce("device", data=bytes(4), status=0x80)
        found = examine(lines(link, [(0, 1, octets)]), link, fresh=True)
        assert "the reserved bit 7 of the status octet is set" in shown(found)
        assert found.wrong_events == 1


class TestWhatTheMapsSay:
    """What is exchanged at the start and stands otherwise in a map MUST be told as wrong."""

    @pytest.mark.parametrize(
        ("stated", "told"),
        [
            ("", ": 01 02; the map of LX says none"),
            ("0103", ": 01 02; the map of LX says 01 03"),
            ("0102", ""),
            (None, ""),
        ],
    )
    def test_application_parameters(self, stated: str | None, told: str) -> None:
        def with_parameters(text: str | None) -> Link:
            first, second = make("fscp-12-1", 2, 4, {}).connection.ends
            given = () if text is None else (("application_parameters", text),)
            second = dataclasses.replace(second, parameters=given)
            return link_of(Connection(first=first, second=second))

        frames = running(
            with_parameters("0102"), [(b"\1\0", bytes(4)), (b"\0\0", b"\1" + bytes(3))]
        )
        link = with_parameters(stated)
        found = examine(lines(link, frames), link, fresh=True)
        (event,) = [each for each in found.events if each.kind == "parameters"]
        plain = "parameters: watchdog 100 ms, 2 octets of application parameters"
        assert event.text == plain + told
        assert found.is_clean == (not told)

    def test_no_application_parameters(self) -> None:
        first, second = make("fscp-12-1", 2, 4, {}).connection.ends
        frames = running(make("fscp-12-1", 2, 4, {}), [(b"\1\0", bytes(4))])
        second = dataclasses.replace(second, parameters=(("application_parameters", "09"),))
        link = link_of(Connection(first=first, second=second))
        found = examine(lines(link, frames), link, fresh=True)
        (event,) = [each for each in found.events if each.kind == "parameters"]
        assert event.text.endswith(
            "0 octets of application parameters: none; the map of LX says 09"
        )

    def test_unique_id_and_manager_id(self) -> None:
        first, second = make("fscp-13-1", 2, 4, {}).connection.ends
        first = dataclasses.replace(first, role="manager")
        ids = tuple(pair for pair in first.parameters if pair[0] != "manager_id")

        def powered(unique_id: str, manager_id: str) -> Link:
            given = (*ids, ("manager_id", manager_id))
            return link_of(
                Connection(
                    first=dataclasses.replace(first, parameters=given),
                    second=dataclasses.replace(
                        second, parameters=(*given, ("unique_id", unique_id))
                    ),
                )
            )

        link, other = (
            powered("006065000002", "0060650012ab"),
            powered("006065000003", "0060650012ac"),
        )
        frames = running(link, [(b"\1\0", bytes(4)), (b"\2\0", bytes(4))])
        assert examine(lines(link, frames), link, fresh=True).is_clean
        found = examine(lines(link, frames), other, fresh=True)
        assert [each.text.rpartition("; ")[2] for each in found.events if each.is_wrong] == [
            "the map of LX says unique id 00 60 65 00 00 03",
            "the map of LX says unique id 00 60 65 00 00 03",
            "the maps say manager id 00 60 65 00 12 ac",
            "the maps say manager id 00 60 65 00 12 ac",
        ]

    def test_what_goes_to_another_node_breaks_nothing(self) -> None:
        link = make("fscp-13-1", 2, 4, {})
        session, frames = link.session(), []
        for side, identity, data, address in (
            (0, 44, b"\0", 0x111),
            (0, 44, b"\0", 0x24),
            (1, 45, b"\7\1\1", 0x111),
        ):
            values: dict[str, Any] = {"id": identity, "data": data, "address": address}
            frames.append((0, side, session.produce(link.senders[side], **values)))
        events = examine(lines(link, frames), link).events
        assert [(each.is_wrong, each.text) for each in events] == [
            (False, "to address 273: command 0: set to pre-operational"),
            (True, "command 0: set to pre-operational"),
            (True, "to address 273: command 7: failure, error_group 1 (application), error_code 1"),
        ]

    def test_an_old_frame_behind_management_is_no_repeat(self) -> None:
        link = managed()
        session = link.session()
        values: dict[str, Any] = {"id": 45, "data": b"\x03", "address": 0x23}
        data = session.produce("36", data=bytes(4))
        state = session.produce("36", **values)
        rows = [data, data, state, state, data, bytes(11), state, data]
        found: list[str] = []
        examine(
            lines(link, [(1000 * n, 1, octets) for n, octets in enumerate(rows)]),
            link,
            fresh=True,
            each=lambda verdict: found.append(verdict.opinion.result),
        )
        assert found == [
            *("accepted", "repeat", "accepted", "accepted", "rejected", "rejected", "accepted"),
            "rejected",
        ]

    def test_guarding_that_a_node_asks_for(self) -> None:
        """Both numbers of such a frame are 1, whoever sends it."""
        link = make("fscp-13-1", 2, 4, {})
        values: dict[str, Any] = {"id": 47, "data": b"", "address": 1, "target": 1}
        octets = link.session().produce("36", **values)
        for packets, at in (
            (lines(link, [(0, 1, octets)]), {}),
            (in_packets([(0, 1, octets)], (4, 9), STATIONS), {0: 4, 1: 9}),
        ):
            sources = {1: STATIONS[1]} if at else {}
            found = examine(packets, link, at=at, sources=sources)
            assert found.sides[1].results == {"accepted": 1}
            (event,) = found.events
            assert (event.text, event.is_wrong) == ("guarding to be started again", True)
        traits = room("fscp-13-1").recording
        assert traits is not None
        assert traits.lengths is not None
        assert traits.lengths(link, 1, octets) == (len(octets),)
        seen = {part.name: part.meaning for part in inspect("fscp-13-1", octets).parts}
        assert seen["address_1"] == "address 1, id 47: guarding to be started again"

    def test_a_refused_manager_id(self) -> None:
        link = make("fscp-13-1", 2, 4, {})
        values = {"id": 45, "data": bytes((15, *bytes(6))), "address": 0x23}
        octets = link.session().produce(str(0x24), **values)
        (event,) = examine(lines(link, [(0, 1, octets)]), link).events
        assert event.text.endswith("manager id taken, manager_id 00 00 00 00 00 00, refused")
        assert event.is_wrong


class TestAnswers:
    """An answer that comes later than its receiver waits MUST be rejected, its data not used."""

    def late(
        self, stated: int | None, delays_us: list[int], watchdog_ms: int | None
    ) -> Examination:
        first, second = make("opcua-safety", 0, 3, {}).connection.ends
        given = () if stated is None else (("consumer_timeout_us", stated),)
        ends = [
            end_with(end, watchdog_ms=watchdog_ms)
            for end in (dataclasses.replace(first, parameters=(*first.parameters, *given)), second)
        ]
        link = link_of(Connection(first=ends[0], second=ends[1]))
        packets: list[Packet] = []
        session = link.session()
        for number, delay_us in enumerate(delays_us):
            for side, time_us in ((0, 30_000 * number), (1, 30_000 * number + delay_us)):
                octets = link.produce(session, side, bytes((1, number, 0)), time_us)
                name = link.names[side]
                packets.append(Packet(len(packets) + 1, len(packets) + 1, time_us, octets, name))
        return examine(packets, link, fresh=True)

    @pytest.mark.parametrize("watchdog_ms", [None, 100])
    def test_one_of_three(self, watchdog_ms: int | None) -> None:
        found = self.late(5_000, [5_000, 5_001, 100], watchdog_ms)
        assert [note.text for note in found.notes["rejected"].kept] == [
            "timeout: 5.001 ms after what it answers, SC1 waits 5 ms"
        ]
        assert found.sides[1].used_frames == 2
        assert not found.silent
        assert found.sides[1].ones == 0x0201  # the second octet was 1 in the late one only.
        assert not found.is_clean

    def test_the_first_one(self) -> None:
        found = self.late(5_000, [9_000], 100)
        assert found.notes["rejected"].count == 1

    def test_a_request_that_nobody_answers(self) -> None:
        link = make("opcua-safety", 0, 3, {})
        frames = running(link, [(b"", bytes((n, 0, 0))) for n in range(4)])
        del frames[5]
        found = examine(lines(link, frames), link, fresh=True)
        (event,) = [each for each in found.events if each.is_wrong]
        assert (event.number, event.kind) == (6, "unanswered")
        assert event.text.startswith("the request before it was not answered: its number is over")
        assert not found.is_clean

    @pytest.mark.parametrize("stated", [None, 9_000])
    def test_in_time(self, stated: int | None) -> None:
        assert self.late(stated, [5_000, 9_000, 100], 100).is_clean


def ethernet(side: int, payload: bytes) -> bytes:
    first, second = (bytes.fromhex(station.replace(":", "")) for station in STATIONS)
    return (second + first, first + second)[side] + payload


def over_udp(side: int, octets: bytes) -> bytes:
    udp = struct.pack(">HHHH", 4000, 4000, 8 + len(octets), 0) + octets
    addresses = bytes((10, 0, 0, 1 + side, 10, 0, 0, 2 - side))
    head = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(udp), 7, 0, 64, 17, 0) + addresses
    return ethernet(side, b"\x08\x00" + head + udp)


def alone(side: int, octets: bytes) -> bytes:
    return ethernet(side, b"\x88\xb5" + octets)


class TestCutPackets:
    """A packet that the recorder has cut before its payload MUST NOT vanish without a word."""

    @pytest.mark.parametrize(
        ("carry", "kept"),
        [
            *((alone, kept) for kept in (0, 5, 13, 14)),
            *((over_udp, kept) for kept in (14, 20, 33, 34, 41, 42)),
        ],
    )
    def test_nothing_is_left(self, carry: Callable[[int, bytes], bytes], kept: int) -> None:
        link = make("fscp-13-1", 2, 4, {})
        frames = running(link, [(bytes((n, 0)), b"\2" + bytes(3)) for n in range(8)])
        out = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 1)
        for number, (time_us, side, octets) in enumerate(frames):
            packet = carry(side, octets)
            held = packet[:kept] if number == 10 else packet
            out += struct.pack("<IIII", 1, time_us, len(held), len(packet)) + held
        found = examine(read_recording(io.BytesIO(out)), link, fresh=True)
        assert found.frames == 15
        assert found.not_judged == ("1 packets that end before what their headers announce",)

    def test_a_user_defined_packet_without_octets(self) -> None:
        head = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 147)
        rows = read_recording(io.BytesIO(head + struct.pack("<IIII", 1, 0, 0, 5)))
        assert Skipped("packets that end before what their headers announce", 1) in list(rows)


def test_the_verdict_names_data_that_no_checksum_covers() -> None:
    link = make("fscp-12-1", 2, 2, {})
    frames = running(link, [(bytes((n, 0)), b"\2\0") for n in range(8)])[-10:]
    text = shown(examine(lines(link, frames), link))
    assert (
        "what was judged is as it should be; not everything was judged: no checksum covers the "
        "data of 1 frame" in text
    )
