"""Recordings at the edges: what is kept, what is not read, what a map lacks."""

from __future__ import annotations

import dataclasses
import io
import struct
from typing import Any

import pytest

from safeframe import _codec as codec
from safeframe import frame
from safeframe._bits import Place
from safeframe._errors import UsageError
from safeframe._model import Connection, Map, Reserved, Signal
from safeframe._report import timeline
from safeframe._report.capture import document
from safeframe._report.text import render
from safeframe.capture import Examination, Judge, Packet, Skipped, examine, link_of, read_recording
from safeframe.capture._odd import Contradictions
from safeframe.capture._others import other_readings
from safeframe.fixtures import RunningLink
from safeframe.protocols import room
from safeframe.protocols.recording import Follower, Step

from .links import demo_connection, make


def recorded(link: Any, rows: list[tuple[bytes, bytes]], **more: Any) -> Examination:
    steps = RunningLink(link).ticks(rows)
    packets = [
        Packet(number, number, step.time_us, step.octets, link.names[step.side])
        for number, step in enumerate(steps, 1)
    ]
    return examine(packets, link, fresh=True, **more)


def with_map(entries: tuple[Signal | Reserved, ...], received: Map | None = None) -> Connection:
    first, second = demo_connection().ends

    sends = Map(entries=entries)
    return Connection(
        first=dataclasses.replace(first, relations=(), sends=sends),
        second=dataclasses.replace(second, relations=(), receives=received or sends),
    )


def test_packets_nobody_looked_into_are_listed() -> None:
    link = make("fscp-12-1", 2, 2, {})
    found = examine([Skipped("TCP segments", 3), Skipped("TCP segments", 4)], link)
    assert found.not_judged == ("times: the recording has none", "7 TCP segments")


def test_a_clock_that_stands_still_judges_no_time() -> None:
    """Frames that all bear one time MUST NOT pass for frames in time."""
    link = make("fscp-12-1", 2, 2, {})
    steps = RunningLink(link).ticks([(bytes(2), bytes(2))] * 8)

    def told(*times_us: int) -> tuple[str, ...]:
        packets = [
            Packet(number, number, time_us, step.octets, link.names[step.side])
            for number, (step, time_us) in enumerate(zip(steps, times_us, strict=False), 1)
        ]
        return examine(packets, link, fresh=True).not_judged

    assert told(7, 7, 7, 7) == ("times: from the first packet to the last none passes",)
    assert told(7, 7, 7, 8) == told(7, 7) == ()


def test_a_protocol_without_recordings(monkeypatch: pytest.MonkeyPatch) -> None:
    link = make("fscp-12-1", 2, 2, {})
    monkeypatch.setitem(room("fscp-12-1").__dict__, "recording", None)
    with pytest.raises(UsageError) as caught:
        Judge(link)
    assert str(caught.value) == "the profile fscp-12-1 says nothing about recordings"


def test_a_follower_that_knows_nothing_takes_all_data_for_used() -> None:
    follower = Follower(make("fscp-12-1", 2, 2, {}))
    assert follower.follow(0, b"") == Step()
    assert follower.refuse(0, b"") is None
    assert not follower.begins(b"")
    assert not follower.steady(0, b"")


class AlwaysSteady(Follower):
    """A follower that sends every frame the quick way."""

    def steady(self, side: int, octets: bytes) -> bool:
        return True


def with_follower(patch: pytest.MonkeyPatch, profile: str, follower: type[Follower]) -> None:
    traits = room(profile).recording
    assert traits is not None
    changed = dataclasses.replace(traits, follower=follower)
    patch.setitem(room(profile).__dict__, "recording", changed)


def test_an_accepted_frame_without_data_counts_no_data(monkeypatch: pytest.MonkeyPatch) -> None:
    """A protocol whose follower tells nothing MUST NOT have its start-up read as data."""
    link = make("fscp-12-1", 2, 2, {})
    octets = link.session().produce("master", data=b"\0\0", command=0x2A)
    assert link.data_of(octets) is None
    with_follower(monkeypatch, "fscp-12-1", Follower)
    found = examine([Packet(1, 1, 0, octets, link.names[0])], link, fresh=True)
    assert found.sides[0].results == {"accepted": 1}
    assert (found.sides[0].data_frames, found.sides[0].used_frames) == (0, 0)
    assert found.timelines == ()


@pytest.mark.parametrize(
    ("profile", "settings"), [("fscp-2-1", {"format": "base"}), ("opcua-safety", {})]
)
def test_a_side_that_carries_no_data_has_none_on_the_quick_way_either(
    monkeypatch: pytest.MonkeyPatch, profile: str, settings: dict[str, Any]
) -> None:
    """``Session.accepts`` MUST take frames with data only: nothing behind it asks again."""
    link = make(profile, 0, 2, settings)
    rows = [(b"", bytes((1, number))) for number in range(9)]
    told = []
    for follower in (Follower, AlwaysSteady):
        with_follower(monkeypatch, profile, follower)
        found = recorded(link, rows)
        silent = link.carries.index(False)
        assert found.sides[silent].results.get("accepted", 0) > 0
        assert found.sides[silent].data_frames == 0
        told.append((found.sides, found.notes, found.timelines))
    assert told[0] == told[1]


def test_events_beyond_those_that_are_kept_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first events are printed, of the others those that are wrong; the rest is counted."""
    monkeypatch.setattr("safeframe.capture._told.KEPT_EVENTS", 16)
    link = make("fscp-13-1", 2, 2, {})
    session = link.session()
    packets = []
    for number in range(1, 41):
        identity = 49 if number % 2 else 48
        octets = session.produce(link.senders[0], data=bytes((number, 0)), id=identity)
        packets.append(Packet(number, number, 1000 * number, octets, link.names[0]))
    found = examine(packets, link, fresh=True)
    assert (found.event_count, len(found.events)) == (40, 16)
    lines = render(document(found)).split("Events: 40\n", 1)[1].splitlines()
    assert [line.split(",")[0] for line in lines[10:17]] == [
        "  line 11",
        "  ! line 12",
        "  ...",
        "  ! line 14",
        "  ...",
        "  ! line 16",
        "  and 24 more",
    ]


def test_a_time_without_data_is_left_blank() -> None:
    """Data that come late leave the columns before them blank, and no line is drawn there."""
    link = make("fscp-13-1", 2, 2, {})
    steps = RunningLink(link).ticks([(b"\1\0", b"\1\0")] * 30)
    packets = [
        Packet(number, number, 400_000 + (step.time_us or 0), step.octets, link.names[step.side])
        for number, step in enumerate(steps, 2)
    ]
    spoilt = packets[0]._replace(number=1, time_us=0, octets=b"\0")
    found = examine([spoilt, *packets], link, fresh=True)
    strip = found.timelines[0].bins
    assert strip[:200] == (None,) * 200
    assert strip[200] == (1, 1, 1)
    drawn = timeline.drawing(found)
    # Columns of 14 ms behind 22 of names: the first 28 of them end before the data begin.
    assert drawn.lines[3].split() == ["rejected", "x"]
    assert drawn.lines[4] == f"{'  order_0':<22}{' ' * 28}{'#' * 26}"
    assert f'<path class="tl-line" d="M200 1.0H{len(strip)}"/>' in drawn.svg


def test_reserved_here_and_a_hole_or_a_signal_there() -> None:
    sent = (Signal(name="a", at=Place(0, 0)), Reserved(at=Place(0, 1), width=15))
    received = Map(
        entries=(
            Signal(name="a", at=Place(0, 0)),
            Signal(name="b", at=Place(0, 1)),
            Reserved(at=Place(0, 3), width=13),
        )
    )
    found = recorded(link_of(with_map(sent, received)), [(b"\x06\0", b"\0\0")])
    told = {each.place: (each.words, each.text) for each in found.oddities}
    one = "a bit that one map calls reserved is not as declared"
    assert told == {"0.1": (("reserved", "b"), one), "0.2": (("reserved", "not in the map"), one)}


def test_a_validity_that_is_not_in_the_data() -> None:
    entries = (
        Signal(name="ok", at=Place(0, 0)),
        Signal(name="level", at=Place(0, 1), width=7, type="uint", valid_by="ok"),
        Signal(name="other", at=Place(1, 0), width=8, type="uint", valid_by="nobody"),
    )
    found = recorded(link_of(with_map(entries)), [(b"\x00\x05", b"\0\0"), (b"\x03\x05", b"\0\0")])
    assert found.oddities == ()


def test_a_safe_value_that_no_float_holds_exactly() -> None:
    """Data at their safe values MUST NOT be told as used, as another reading, or as driven."""
    level = Signal(name="level", at=Place(1, 0), width=32, type="float", safe=0.1, valid_by="ok")
    head = Signal(name="ok", at=Place(0, 0)), Reserved(at=Place(0, 1), width=7)
    tail = Reserved(at=Place(5, 0), width=8)
    resting = codec.encode(Map(entries=(*head, level, tail)), {})
    driven = codec.encode(Map(entries=(*head, level, tail)), {"level": 0.5})
    spare = Reserved(at=Place(1, 0), width=32, value=int.from_bytes(resting[1:5], "little"))
    lone = Map(entries=(*head, spare, tail))
    for rows, wrong in ((resting, False), (driven, True)):
        found = recorded(link_of(with_map((*head, level, tail))), [(rows, b"\0\0")])
        assert [each.kind for each in found.oddities] == ["not valid"] * wrong
        found = recorded(link_of(with_map((*head, level, tail), lone)), [(rows, b"\0\0")])
        assert (found.difference is not None) is wrong
        turned = with_map(lone.entries, Map(entries=(*head, level, tail)))
        found = recorded(link_of(turned), [(rows, b"\0\0")])
        assert (found.difference is not None) is wrong


def test_many_different_data(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered of data is bounded; counts stay exact."""
    monkeypatch.setattr("safeframe.capture._odd._MAX_KNOWN", 2)
    monkeypatch.setattr("safeframe.capture._heard._SAMPLE", 2)
    entries = (
        Signal(name="a", at=Place(0, 0), width=8, type="uint"),
        Reserved(at=Place(1, 0), width=8),
    )
    rows = [(bytes((number, 1)), b"\0\0") for number in (1, 2, 3, 4, 1, 1)]
    found = recorded(link_of(with_map(entries)), rows)
    assert found.oddities[0].count == 6
    assert {each.frames for each in found.other_readings} == {4}


def test_more_contradictions_than_are_kept() -> None:
    entries = (Signal(name="a", at=Place(0, 0)), Reserved(at=Place(0, 1), width=31))
    link = link_of(with_map(entries))
    found = recorded(link, [(b"\xff\xff\xff\xff", b"\0\0")])
    assert len(found.oddities) == 20


def test_readings_by_known_mistakes() -> None:
    entries = (
        Signal(name="a", at=Place(0, 0), width=8, type="code", codes=((1, "one"),)),
        Reserved(at=Place(1, 0), width=8),
        Reserved(at=Place(2, 0), width=16),
    )
    map_ = Map(entries=entries)
    found = other_readings(0, map_, Map(), {b"\x00\x01\x00\x00": 7}, {})
    assert found[0].title == "octets of each word of 2 exchanged"
    assert (found[0].explained, found[0].as_mapped, found[0].frames) == (7, 0, 7)
    crossing = Map(entries=(Signal(name="w", at=Place(0, 4), width=8, type="uint"),))
    assert other_readings(0, crossing, crossing, {b"\0\0": 1}, {}) == ()


def test_the_number_of_edits_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("safeframe.capture._others._MOST_EDITS", 0)
    map_ = Map(entries=(Signal(name="a", at=Place(0, 0)), Reserved(at=Place(0, 1), width=7)))
    found = other_readings(0, map_, Map(), {b"\x02": 1}, {})
    titles = [each.title for each in found]
    assert "a at 0.1 instead of 0.0" not in titles


def test_safe_values_that_do_not_fit_have_no_picture() -> None:
    link = make("fscp-13-1", 2, 2, {})
    first, second = link.connection.ends
    odd = Map(
        entries=(
            Signal(name="a", at=Place(0, 0), width=8, type="uint", safe=999),
            Signal(name="b", at=Place(1, 0), width=8, type="uint"),
        )
    )
    link = link_of(
        Connection(
            first=dataclasses.replace(first, sends=odd),
            second=dataclasses.replace(second, receives=odd),
        )
    )
    session = link.session()
    rows = []
    for number, identity in enumerate((49, 49, 48, 48, 49), 1):
        octets = session.produce(link.senders[0], data=bytes((number, 0)), id=identity)
        rows.append(Packet(number, number, 1000 * number, octets, link.names[0]))
    found = examine(rows, link, fresh=True)
    assert (found.sides[0].data_frames, found.sides[0].used_frames) == (5, 3)
    assert [each.kind for each in found.events] == ["in use", "fail-safe", "in use"]


def test_parameters_of_an_unknown_layout_are_told() -> None:
    link = make("fscp-12-1", 2, 2, {})
    session = link.session()
    rows = [
        (0x2A, b"\0\0"),
        (0x4E, b"\1\1"),
        (0x64, b"\x07\x01"),
        (0x64, b"\x24\x00"),
        (0x52, b"\x09\x00"),
        (0x52, b"\x01\x00"),
        (0x52, b"\x00\x00"),
    ]
    packets: list[Packet] = []
    for command, data in rows:
        for word, name in zip(("master", "slave"), link.names, strict=True):
            octets = session.produce(word, data=data, command=command)
            packets.append(Packet(len(packets) + 1, 1, 6000 * len(packets), octets, name))
    found = examine(packets, link, fresh=True)
    assert found.events[-1].text == "parameters of an unknown layout: 09 00 01 00 00 00"
    assert not found.wrong_events
    assert found.events[4].text == "connection id 0x0107, slave address 36"


@pytest.mark.parametrize("profile", ["fscp-13-1", "fscp-3-1"])
def test_stations_are_forgotten_when_there_are_too_many(
    profile: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("safeframe.capture._locate._MAX_STATIONS", 1)
    link = make(profile, 2, 2, {})
    steps = list(RunningLink(link).ticks([(b"\1\0", b"\2\0")] * 6))
    rows = [
        Packet(number, number, step.time_us, step.octets, "", f"s{step.side}")
        for number, step in enumerate(steps, 1)
    ]
    cut = rows[-1]._replace(octets=rows[-1].octets[:3], time_us=(rows[-1].time_us or 0) + 1)
    found = examine([*rows, cut, cut], link, at={0: 0, 1: 0}, sources={0: "s0"}, fresh=True)
    assert found.frames == len(rows)
    assert found.notes["cut frame"].count == 2


def test_modified_pcap_files_hold_more_before_each_packet() -> None:
    head = struct.pack("<IHHiIII", 0xA1B2CD34, 2, 4, 0, 0, 65535, 147)
    row = struct.pack("<IIII", 1, 2, 3, 3) + bytes(8) + b"abc"
    found = list(read_recording(io.BytesIO(head + row)))
    assert [each[2:4] for each in found] == [(1_000_002, b"abc")]


def test_services_of_13_1_are_told_once_and_disturb_nothing() -> None:
    link = make("fscp-13-1", 2, 2, {})
    session = link.session()
    frames = [(side, session.produce(link.senders[side], data=b"\1\0")) for side in (0, 1)]
    for number in (1, 2):
        for side, identity, address, target in ((0, 56, 0x24, 0x23), (1, 57, 0x23, 0x24)):
            octets = frame.build(
                "fscp-13-1",
                id=identity,
                data=b"\x20\0\x10\1",
                address=address,
                target=target,
                consecutive_time=number,
                **link.settings,
            )
            frames.append((side, octets))
    frames += [(side, session.produce(link.senders[side], data=b"\2\0")) for side in (0, 1)]
    packets = [
        Packet(number, number, 6000 * number, octets, link.names[side])
        for number, (side, octets) in enumerate(frames, 1)
    ]
    found = examine(packets, link, fresh=True)
    assert found.is_clean
    assert [each.text for each in found.events if each.kind == "parameters"] == [
        "object access: the first service request of this end",
        "object access: the first service response of this end",
    ]
    assert [side.data_frames for side in found.sides] == [2, 2]


def test_a_response_is_not_searched_for_requests() -> None:
    link = make("opcua-safety", 0, 3, {})
    traits = room("opcua-safety").recording
    assert traits is not None
    assert traits.search is not None
    search = traits.search
    session = link.session()
    request = session.produce("consumer")
    response = session.produce("provider", data=b"\1\2\3")
    consumer, provider = link.order
    assert search(link, consumer, b"--" + request) == [2]
    assert search(link, provider, b"--" + response) == [2]
    assert search(link, consumer, b"--" + response) == []
    # What follows would pass as a request without the ids of the provider before it.
    assert search(link, consumer, response + request) == []


def test_requests_have_one_size_and_responses_may_have_another() -> None:
    link, longer = make("opcua-safety", 0, 3, {}), make("opcua-safety", 0, 5, {})
    traits = room("opcua-safety").recording
    assert traits is not None
    assert traits.lengths is not None
    session = longer.session()
    session.produce("consumer")
    response = session.produce("provider", data=bytes(range(1, 6)))
    consumer, provider = link.order
    assert list(traits.lengths(link, provider, response)) == [longer.sizes[provider]]
    assert list(traits.lengths(link, consumer, response)) == []


@pytest.mark.parametrize(
    ("title", "data"),
    [
        ("halves of each octet exchanged", b"\x30\x05"),
        ("bits of each word of 2 octets numbered from the other side", b"\x00\xc0"),
        ("octets of each word of 2 exchanged", b"\x05\x03"),
    ],
)
def test_orders_that_explain_everything(title: str, data: bytes) -> None:
    """Words that are longer than the data explain nothing, so they are not tried."""
    entries = (
        Signal(name="a", at=Place(0, 0)),
        Signal(name="b", at=Place(0, 1)),
        Reserved(at=Place(0, 2), width=6),
        Signal(name="c", at=Place(1, 0), width=8, type="code", codes=((0, "no"), (5, "yes"))),
    )
    found = other_readings(0, Map(entries=entries), Map(), {data: 3}, {})
    assert (found[0].explained, found[0].as_mapped) == (3, 0)
    assert title in [each.title for each in found]
    assert not any("word of 4" in each.title or "word of 8" in each.title for each in found)


def test_halves_that_cannot_be_exchanged() -> None:
    entries = (
        Signal(name="a", at=Place(0, 2), width=4, type="uint"),
        Reserved(at=Place(0, 0), width=2),
        Reserved(at=Place(0, 6), width=2),
    )
    found = other_readings(0, Map(entries=entries), Map(), {b"\xc0": 1}, {})
    assert "halves of each octet exchanged" not in [each.title for each in found]


def test_a_signal_beyond_the_data_has_no_value() -> None:
    """Where a map is read against shorter data, what lies behind them contradicts nothing."""
    entries = (
        Signal(name="valid", at=Place(0, 0)),
        Signal(name="level", at=Place(1, 0), width=8, type="uint", valid_by="valid"),
    )
    seen = Contradictions(Map(entries=entries), Map(entries=entries))
    assert seen.look(b"\0", lambda: pytest.fail("nothing to note"), 0) == ()
