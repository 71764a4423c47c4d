"""Looking on: lines, the table, conditions that are waited for, files that grow."""

from __future__ import annotations

import dataclasses
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output

from safeframe import _demo, capture, fixtures
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._codec import encode
from safeframe._errors import InputError, UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection, Map, Reserved, Signal
from safeframe._report import capture as render
from safeframe._report import timeline
from safeframe._watch.board import Board, value_text
from safeframe._watch.follow import GrowingFile
from safeframe._watch.lines import JsonLines, Lines
from safeframe._watch.reaction import read_reaction
from safeframe._watch.screen import HELP, SHORT_HELP, Viewer, show
from safeframe._watch.stream import Gate, StoppableStream, ended_by
from safeframe._watch.table import Screen, head_lines, table_lines
from safeframe._watch.until import read_until
from safeframe.capture import Examination, Note, Observer, Packet, Passed, Skipped, Trouble
from safeframe.fixtures import SentFrame
from safeframe.fixtures._sequences import RunningLink

from .links import demo_connection, end_with, make
from .schemas import fits, validate
from .terminals import Terminal
from .test_capture_examine import packets


def demo(**changes: Callable[[Map], Map]) -> Link:
    """Return the link of the demo; ``sends`` changes SC1's map, ``receives`` that of LX."""
    connection = demo_connection()
    first, second = connection.ends
    if change := changes.get("sends"):
        first = dataclasses.replace(first, sends=change(first.sends))
    if change := changes.get("receives"):
        second = dataclasses.replace(second, receives=change(second.receives))
    return link_of(Connection(first=first, second=second))


def stream(link: Link, *data: tuple[str, str]) -> list[SentFrame]:
    """Return a start-up and one frame of each side for each pair of safety data, in hexadecimal."""
    run = RunningLink(link, 1)
    rest = b"\0\0", b"\0\0"
    rows = [(bytes.fromhex(first), bytes.fromhex(second)) for first, second in data]
    return [*run.ticks([rest, rest, *rows])]


def watched(
    link: Link, rows: Iterable[Packet | Trouble | Skipped | Passed], board: Board, *others: Observer
) -> Examination:
    return capture.examine(rows, link, fresh=True, observers=[board, *others])


def told(link: Link, rows: Iterable[Packet | Trouble]) -> list[str]:
    written: list[str] = []
    board = Lines(link, written.append)
    watched(link, rows, board)
    board.close()
    return "".join(written).splitlines()


def objects(link: Link, rows: Iterable[Packet | Trouble]) -> list[dict[str, object]]:
    written: list[str] = []
    board = JsonLines(link, written.append)
    watched(link, rows, board)
    board.close()
    return [json.loads(line) for line in "".join(written).splitlines()]


def without(name: str) -> Callable[[Map], Map]:
    """Return what turns a signal into reserve."""

    def change(map_: Map) -> Map:
        return Map(
            entries=tuple(
                Reserved(at=each.at, width=each.width)
                if getattr(each, "name", "") == name
                else each
                for each in map_.entries
            )
        )

    return change


def meaning_differs(map_: Map) -> Map:
    return Map(
        entries=tuple(
            dataclasses.replace(each, one_means="brake 2 closed")
            if isinstance(each, Signal) and each.name == "brake2_release"
            else each
            for each in map_.entries
        )
    )


def unfit() -> tuple[Link, list[SentFrame]]:
    """Return a link whose reader has a safe value that does not fit, and frames with a silence."""
    made = make("fscp-13-1", 2, 2, {})
    first, second = made.connection.ends
    wrong, *rest = second.receives.entries
    assert isinstance(wrong, Signal)
    receives = Map(entries=(dataclasses.replace(wrong, safe=2), *rest))
    second = dataclasses.replace(second, receives=receives)
    link = link_of(Connection(first=first, second=second))
    steps = stream(link, ("0301", "0000"), ("0301", "0000"))
    late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[-2:]]
    return link, [*steps[:-2], *late]


def moved(map_: Map) -> Map:
    """Return the map with brake2_release one bit on."""
    entries: list[Signal | Reserved] = []
    for each in map_.entries:
        if isinstance(each, Signal) and each.name == "brake2_release":
            entries += [
                Reserved(at=each.at, width=1),
                dataclasses.replace(each, at=Place(each.at.octet, each.at.bit + 1)),
            ]
        elif isinstance(each, Reserved) and each.at.octet == 1:
            entries.append(Reserved(at=Place(1, 4), width=each.width - 1))
        else:
            entries.append(each)
    return Map(entries=tuple(entries))


class TestLines:
    """Every change MUST be told once, with what the producer means and the consumer reads."""

    def test_one_line_for_each_change(self) -> None:
        link = demo()
        lines = told(link, packets(link, stream(link, ("0004", "0000"), ("0000", "0000"))))
        changes = [line for line in lines if "brake2" in line]
        assert changes == [
            "0.120 s  SC1 -> LX  1.2  brake2_release 0 -> 1 (holding brake 2 released)  LX reads 1",
            "0.132 s  SC1 -> LX  1.2  brake2_release 1 -> 0  LX reads 0",
        ]
        assert "0.096 s  SC1 -> LX  all signals at their safe values" in lines
        assert lines[0] == "0.000 s  SC1  Reset with code 0: local reset or acknowledge"

    def test_a_safe_value_that_no_float_holds_exactly(self) -> None:
        """What data carry for the safe value is told as the safe value, in lines and table."""

        def level(map_: Map) -> Map:
            value = Signal(name="level", at=Place(0, 0), width=16, type="float", safe=0.1)
            return Map(entries=(value,))

        link = demo(sends=level, receives=level)
        rest = encode(link.sent(0), {}), b"\0\0"
        steps = [*RunningLink(link, 1).ticks([rest, rest, (b"\0\x38", b"\0\0"), rest])]
        lines = [line for line in told(link, packets(link, steps)) if "SC1 -> LX" in line]
        assert lines == [
            "0.096 s  SC1 -> LX  all signals at their safe values",
            "0.120 s  SC1 -> LX  0.0  level 0.0999755859375 -> 0.5  LX reads 0.5",
            "0.132 s  SC1 -> LX  0.0  level 0.5 -> 0.0999755859375  LX reads 0.0999755859375",
        ]
        board = Board(link)
        watched(link, packets(link, steps[:-4]), board)
        assert not board.rows[0][0].is_seen
        kinds = [each.kind for each in table_lines(board, Screen(80)) if "level" in each.text]
        assert kinds == [""]

    def test_bits_of_no_signal_are_no_change(self) -> None:
        link = demo()
        steps = stream(link, ("0004", "0000"), ("0084", "0000"))
        before = told(link, packets(link, steps[:-2]))
        assert told(link, packets(link, steps)) == before

    def test_first_values_that_are_not_safe(self) -> None:
        link = demo()
        middle = [step for step in stream(link, ("0104", "0000"), ("0104", "0000")) if step.data]
        written: list[str] = []
        capture.examine(packets(link, middle[2:]), link, observers=[Lines(link, written.append)])
        assert [line for line in "".join(written).splitlines() if "SC1 -> LX" in line] == [
            "0.024 s  SC1 -> LX  0.0  permit_torque ? -> 1 (torque permitted)  LX reads 1",
            "0.024 s  SC1 -> LX  1.2  brake2_release ? -> 1 (holding brake 2 released)  LX reads 1",
            "0.024 s  SC1 -> LX  all others at their safe values",
        ]

    def test_another_meaning_another_place_no_such_signal(self) -> None:
        for change, end in (
            (meaning_differs, "LX reads 1 (brake 2 closed)"),
            (moved, "LX reads 0 at 1.3"),
            (without("brake2_release"), "LX has no such signal"),
        ):
            link = demo(receives=change)
            lines = told(link, packets(link, stream(link, ("0004", "0000"))))
            assert [line.endswith(end) for line in lines if "brake2" in line] == [True], lines

    def test_a_signal_that_only_the_reader_has(self) -> None:
        link = demo(sends=without("brake2_release"))
        lines = told(link, packets(link, stream(link, ("0004", "0000"))))
        (line,) = [line for line in lines if "brake2_release" in line]
        assert line == (
            "0.120 s  SC1 -> LX  1.2  brake2_release (not in the map of SC1)  "
            "LX reads 0 -> 1 (holding brake 2 released)"
        )

    def test_fail_safe_values_take_over(self) -> None:
        link = demo(sends=without("permit_up"))
        steps = stream(link, ("1104", "0000"), ("1104", "0000"))
        late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[-2:]]
        lines = told(link, packets(link, [*steps[:-2], *late]))
        fallen = [line for line in lines if "fail-safe value" in line and "brake2" in line]
        assert fallen == [
            "0.220 s  SC1 -> LX  1.2  brake2_release 1 -> 0  LX takes its fail-safe value 0"
        ]
        (other,) = [line for line in lines if "permit_up" in line and "fail-safe" in line]
        assert other.endswith("LX takes its fail-safe value 1 (upward motion permitted) -> 0") or (
            "permit_up (not in the map of SC1)  LX takes its fail-safe value 1 -> 0" in other
        )

    def test_fail_safe_values_that_nobody_knows(self) -> None:
        """Where a safe value does not fit, what was read before MUST NOT stay on the board."""
        link, steps = unfit()
        lines = told(link, packets(link, steps))
        found = [line.partition("  ")[2] for line in lines if "order_0" in line]
        assert found[-1] == "SC1 -> LX  0.0  order_0 1 -> 0  LX takes its fail-safe value ?"

    def test_fail_safe_values_of_a_signal_that_the_reader_lacks(self) -> None:
        link = demo(receives=without("brake2_release"))
        steps = stream(link, ("0004", "0000"), ("0004", "0000"))
        late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[-2:]]
        lines = told(link, packets(link, [*steps[:-2], *late]))
        assert [line for line in lines if line.endswith("LX takes its fail-safe value")] == [
            "0.220 s  SC1 -> LX  1.2  brake2_release 1 -> 0  LX takes its fail-safe value"
        ]

    def test_events_are_told_however_many_there_are(self) -> None:
        link = demo()
        opening = [step for step in stream(link) if not step.data]
        steps = [
            dataclasses.replace(step, time_us=step.time_us + 200_000 * round_)
            for round_ in range(60)
            for step in opening
        ]
        written: list[str] = []
        found = watched(link, packets(link, steps), Lines(link, written.append))
        assert found.event_count > len(found.events) >= 100
        assert sum("start-up: Session" in line for line in written) == 60

    def test_senders_of_other_connections_are_no_news(self) -> None:
        link = demo()
        stranger = Packet(90, 90, 900_000, b"\1\2", "SC9")
        assert not any("SC9" in line for line in told(link, [stranger]))

    def test_numbers_that_json_lacks(self) -> None:
        def float_map(_: Map) -> Map:
            return Map(entries=(Signal(name="level", at=Place(0, 0), width=16, type="float"),))

        link = demo(sends=float_map, receives=float_map)
        found = objects(link, packets(link, stream(link, ("007c", "0000"))))
        levels = [each["sent"] for each in found if each.get("signal") == "level"]
        assert [each["value"] for each in levels if isinstance(each, dict)] == [0.0, "inf"]

    def test_integers_of_many_bits(self) -> None:
        """A program takes them as text; nothing that draws or prints them fails."""
        size = 200

        def wide(_: Map) -> Map:
            return Map(
                entries=(Signal(name="serial", at=Place(0, 0), width=8 * size, type="uint"),)
            )

        connection = demo_connection()
        first, second = connection.ends
        link = link_of(
            Connection(
                first=dataclasses.replace(first, sends=wide(first.sends)),
                second=dataclasses.replace(second, receives=wide(second.receives)),
            )
        )
        rest = bytes(size), b"\0\0"
        steps = RunningLink(link, 1).ticks([rest, rest, (b"\xff" * size, rest[1])])
        found = objects(link, packets(link, steps))
        values = [each["sent"] for each in found if each.get("signal") == "serial"]
        assert [each["value"] for each in values if isinstance(each, dict)] == [
            0,
            f"0x{'ff' * size}",
        ]
        examined = capture.examine(packets(link, steps), link, fresh=True)
        told_all = json.loads(render.json_text(examined))
        validate("capture", told_all)
        assert f"0x{'ff' * size}" in json.dumps(told_all["timelines"])
        assert "serial" in timeline.svg(examined)

    def test_rejected_frames_are_counted(self) -> None:
        link = demo()
        steps = stream(link, *[("0004", "0000")] * 6, ("0000", "0000"))
        rows = list(packets(link, steps))
        for at in (-12, -10, -8):
            packet = rows[at]
            assert isinstance(packet, Packet)
            octets = bytes([*packet.octets[:-1], packet.octets[-1] ^ 1])
            rows[at] = packet._replace(octets=octets)
        lines = told(link, rows)
        assert sum("! rejected: " in line for line in lines) >= 1
        assert any(
            "more frames rejected" in line or "more frame rejected" in line for line in lines
        )

    def test_without_times(self) -> None:
        link = demo()
        rows = [
            row._replace(time_us=None)
            for row in packets(link, stream(link, ("0004", "0000")))
            if isinstance(row, Packet)
        ]
        lines = told(link, [*rows, Trouble(40, 40, "line", "a line must be hexadecimal")])
        assert any(line.startswith("line 21  SC1 -> LX  1.2  brake2_release") for line in lines)
        assert "line 40  ! a line must be hexadecimal" in lines
        steps = stream(link, ("0004", "0000"))
        reset = fixtures.make(link, "start-up", seed=2)[0].steps[:1]
        again = [
            row._replace(time_us=None, number=90 + at)
            for at, row in enumerate(packets(link, reset))
            if isinstance(row, Packet)
        ]
        lines = told(link, [*rows, *again])
        assert any(line.startswith("then  SC1 -> LX  1.2  brake2_release 1 -> 0") for line in lines)
        assert steps

    def test_a_name_cannot_command_the_terminal(self) -> None:
        link = demo(
            sends=lambda map_: Map(
                entries=tuple(
                    dataclasses.replace(each, one_means="\x1b[2J\u202e")
                    if isinstance(each, Signal) and each.name == "brake2_release"
                    else each
                    for each in map_.entries
                )
            )
        )
        lines = told(link, packets(link, stream(link, ("0004", "0000"))))
        (line,) = [line for line in lines if "brake2" in line]
        assert "\x1b" not in line
        assert "\u202e" not in line

    def test_objects(self) -> None:
        link = demo(receives=without("permit_up"))
        steps = stream(link, ("1104", "0000"), ("1104", "0000"))
        late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[-2:]]
        found = objects(link, [*packets(link, [*steps[:-2], *late]), Trouble(9, 9, "line", "no")])
        for each in found:
            fits("watch", each)
        kinds = {str(each["kind"]) for each in found}
        assert kinds == {"change", "event", "note"}
        changes = [each for each in found if each.get("signal") == "brake2_release"]
        assert [each["fail_safe"] for each in changes][:3] == [False, False, True]
        assert next(each["received"] for each in found if each.get("signal") == "permit_up") is None


@given(rows=st.lists(st.tuples(st.binary(min_size=2, max_size=2)), min_size=1, max_size=12))
def test_lines_follow_the_data(rows: list[tuple[bytes]]) -> None:
    """What the lines say, one after the other, MUST be what the data say."""
    link = demo()
    data = [bytes([row[0][0], row[0][1] & 0x04]) for row in rows]
    steps = stream(link, *[(each.hex(), "0000") for each in data])
    now = dict.fromkeys((signal.name for signal in link.sent(0).signals), 0)
    for each in objects(link, packets(link, steps)):
        if each["kind"] == "change" and each["sender"] == "SC1":
            name, value = str(each["signal"]), each["sent"]
            assert isinstance(value, dict)
            assert value["before"] in (None, now[name])
            now[name] = value["value"]
    last = int.from_bytes(data[-1], "little")
    want = {
        signal.name: last >> signal.start & ((1 << signal.width) - 1)
        for signal in link.sent(0).signals
    }
    assert now == want


class TestUntil:
    """A condition MUST be seen exactly when the values that receivers use fulfil it."""

    ROWS = (("0100", "0000"), ("0104", "0000"), ("0104", "0004"), ("0000", "0000"))

    @pytest.mark.parametrize(
        ("text", "is_seen"),
        [
            ("brake2_release = 1", True),
            ("brake2_release = 0 or 1", True),
            ("speed_level = 0x3", False),
            ("brake2_release = 1 and permit_torque = 1", True),
            ("brake2_release = 1 and permit_torque = 0", False),
            ("brake2_release=1 within 12 ms of permit_torque=1", True),
            ("brake2_release = 1 within 11 ms of permit_torque = 1", False),
            ("brake2_release = 1 follows permit_torque = 1", True),
            ("brake2_release = 1 follows permit_torque = 1 after 12 ms within 40 ms", True),
            ("brake2_release = 1 follows permit_torque = 1 after 13 ms", False),
            ("permit_torque = 1 within 100 ms of brake2_release = 1", False),
            ("sends.brake2_release = 1 and sends.brake2_release = 0 or 1", True),
            # It held when data came first: nobody knows since when.
            ("permit_torque = 1 within 100 ms of fault_ack = 0", False),
        ],
    )
    def test_conditions(self, text: str, is_seen: bool) -> None:
        link = demo()
        until = read_until(text, link)
        watched(link, packets(link, stream(link, *self.ROWS)), Board(link), until)
        assert until.is_seen is is_seen
        assert until.told(0).startswith("seen at 0." if is_seen else "not seen: ")

    def test_when_it_is_told(self) -> None:
        link = demo()
        until = read_until("brake2_release = 1", link)
        found = watched(link, packets(link, stream(link, *self.ROWS)), Board(link), until)
        assert until.told(found.start_us) == "seen at 0.132 s: brake2_release = 1"
        until.seen_us = (found.start_us or 0) + 132_600
        assert until.told(found.start_us) == "seen at 0.132600 s: brake2_release = 1"

    def test_fail_safe_values_count(self) -> None:
        link = demo()
        steps = stream(link, ("0104", "0000"), ("0104", "0000"))
        late = [dataclasses.replace(step, time_us=step.time_us + 500_000) for step in steps[-2:]]
        until = read_until("permit_torque = 0 within 1000 ms of brake2_release = 0", link)
        dropped = read_until("permit_torque = 0 and brake2_release = 0", link)
        first = read_until("permit_torque = 1", link)
        rows = packets(link, [*steps[:-2], *late])
        watched(link, rows, Board(link), first, until, dropped)
        assert first.is_seen
        assert dropped.is_seen

    def test_what_is_used_instead_and_nobody_knows(self) -> None:
        """After a safe value that does not fit nothing MUST be known of what was read before."""
        link, steps = unfit()
        until = read_until("order_0 = 1 and state_0 = 1", link)
        other = read_until("order_1 = 0 and state_0 = 1", link)
        rows = packets(link, steps)
        watched(link, rows, board := Board(link), until, other)
        assert board.use[0] == "LX uses its fail-safe values"
        answer = capture.Decoder(link.sent(1), link.received(1)).read(b"\1\0")
        packet = next(row for row in rows if isinstance(row, Packet))
        for each in (until, other):
            each.data(packet, 1, answer, b"")
        assert not until.is_seen
        assert other.is_seen

    def test_nothing_is_seen_before_a_signal_is_known(self) -> None:
        link = demo()
        until = read_until("brake2_applied = 0", link)
        for side in (0, 1):
            assert not until.is_seen
            both = capture.Decoder(link.sent(side), link.received(side)).read(b"\0\0")
            until.fails_safe(7, side, both)
        assert until.seen_us == 7

    @pytest.mark.parametrize("gone", [0, 1])
    @pytest.mark.parametrize("profile", ["fscp-13-1", "fscp-3-1"])
    def test_a_receiver_that_waits_for_too_long(self, profile: str, gone: int) -> None:
        """The other end goes on: its frames show that the watchdog has expired."""
        link = make(profile, 2, 4, {})
        rest, driven = (bytes(2), bytes(4)), (b"\x01\0", b"\x01\0\0\0")
        one = (rest[0], driven[1]) if gone else (driven[0], rest[1])
        steps = [*RunningLink(link, 1).ticks([rest] * 3 + [one] * 20 + [driven] * 20)]
        until_us = steps[-1].time_us - 30 * 12_000
        rows = packets(link, [one for one in steps if one.side != gone or one.time_us < until_us])
        names = ("order_0", "state_0")
        both = read_until("order_0 = 1 and state_0 = 1", link)
        other = read_until(f"{names[gone]} = 0 within 1000 ms of {names[gone]} = 1", link)
        late = read_until(f"{names[1 - gone]} = 1 and {names[gone]} = 0", link)
        written: list[str] = []
        board = Lines(link, written.append)
        found = watched(link, rows, board, both, other, late)
        (silence,) = found.silent
        assert silence.side == gone
        assert not both.is_seen
        assert late.is_seen
        assert late.seen_us is not None
        assert late.seen_us > silence.start_us + 100_000
        lines = "".join(written).splitlines()
        fallen = f"{(silence.start_us + 100_000 - rows[0].time_us) / 1e6:.3f} s"  # type: ignore[union-attr,operator]
        (at,) = (number for number, line in enumerate(lines) if "fail-safe value" in line)
        assert lines[at].startswith(fallen)
        assert f"{names[1 - gone]} 0 -> 1" in lines[at + 1]

    def test_nothing_is_known_after_a_history_that_was_lost(self) -> None:
        link = demo()
        steps = stream(link, *[("0000", "0004")] * 3, *[("0104", "0000")] * 20)
        lost = [step for at, step in enumerate(steps) if not 22 <= at < 31]
        until = read_until("brake2_release = 1 and brake2_applied = 1", link)
        reaction = read_reaction("brake2_applied = 1 of brake2_release = 1", link)
        board = Board(link)
        uses: list[list[str | None]] = []

        class Look(Observer):
            def note(self, kind: str, note: Note) -> None:
                if kind == "history lost":
                    uses.append([*board.use])

        found = watched(link, packets(link, lost), board, Look(), until, reaction)
        assert found.notes["history lost"].count
        assert uses[0] == ["history lost: not known whether these data are in use"] * 2
        assert board.use == ["", ""]
        assert not until.is_seen
        assert not reaction.already

    def test_data_that_nobody_reads_leave_nothing_known(self) -> None:
        link = demo()
        until = read_until("brake2_release = 0 and brake2_applied = 0", link)
        decoders = [capture.Decoder(link.sent(side), link.received(side)) for side in (0, 1)]
        packet = Packet(1, 1, 1, b"")
        until.fails_safe(1, 0, decoders[0].read(b"\0\0"))
        until.data(packet, 0, decoders[0].read(b"\0"), b"\0")  # Too short for the signal.
        until.fails_safe(2, 1, decoders[1].read(b"\0\0"))
        assert not until.is_seen
        until = read_until("brake2_release = 0 and brake2_applied = 0", link)
        until.fails_safe(1, 0, decoders[0].read(b"\0\0"))
        until.note("size", Note(number=1, offset=1, time_us=1, side=0, text=""))
        until.note("time", Note(number=1, offset=1, time_us=1, side=0, text=""))
        until.fails_safe(2, 1, decoders[1].read(b"\0\0"))
        assert not until.is_seen
        until.fails_safe(3, 0, decoders[0].read(b"\0\0"))
        assert until.seen_us == 3

    @pytest.mark.parametrize("time_us", [None, 7], ids=["none", "one for all"])
    def test_without_times_only_what_holds_is_seen(self, time_us: int | None) -> None:
        link = demo()
        rows = [
            row._replace(time_us=time_us)
            for row in packets(link, stream(link, *self.ROWS))
            if isinstance(row, Packet)
        ]
        until = read_until("brake2_release = 1 within 12 ms of permit_torque = 1", link)
        plain = read_until("brake2_release = 1", link)
        order = read_until("brake2_release = 1 follows permit_torque = 1", link)
        late = read_until("brake2_release = 1 follows permit_torque = 1 after 1 ms", link)
        words = "brake2_release = 1 and permit_torque = 1"
        at_once = read_until(f"{words} within 0 ms of brake2_release = 1", link)
        too_soon = read_until(f"{words} follows brake2_release = 1 after 1 ms", link)
        every = (until, plain, order, late, at_once, too_soon)
        watched(link, rows, Board(link), *every)
        assert [(each.is_seen, each.is_untimed) for each in every] == [
            (False, True),
            (True, False),
            (True, False),
            (False, True),
            (True, False),
            (False, False),
        ]
        when = "" if time_us is None else " at 0.000 s"
        assert plain.told(time_us) == f"seen{when}: brake2_release = 1"
        # That nobody can tell MUST NOT pass for not seen.
        assert until.told(None) == (
            f"not seen: {until.text}; not judged where it came without a time"
        )
        assert too_soon.told(None) == f"not seen: {too_soon.text}"

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("", "--until must be NAME = NUMBER"),
            ("brake2_release", "--until must be NAME = NUMBER"),
            ("brake2_release = on", "'on' must be a whole number before scaling"),
            ("brake2_releas = 1", "is no signal of SC1-LX (did you mean brake2_release?)"),
            ("brake2_release = 2", "brake2_release must be 0..1, not 2"),
            ("a requires b", "a relation that requires something is broken or not"),
            ("a = 1 excludes b = 1", "a relation that excludes something is broken or not"),
            ("permit_up = 1 follows permit_torque = 1 after 9 ms within 3 ms", "at least 9"),
        ],
    )
    def test_what_is_no_condition(self, text: str, message: str) -> None:
        with pytest.raises(UsageError) as raised:
            read_until(text, demo())
        assert message in str(raised.value)


class TestFollowing:
    """A file that grows MUST be read to its last octet, and its end MUST be told."""

    def test_grows(self, tmp_path: Path) -> None:
        path = tmp_path / "run.hex"
        path.write_bytes(b"one")
        pieces = [b"two", b"three"]

        def sleep(_: float) -> None:
            if pieces:
                with path.open("ab") as file:
                    file.write(pieces.pop(0))

        clock = iter(range(100))
        with GrowingFile(str(path), idle_s=3, clock=lambda: next(clock), sleep=sleep) as file:
            assert file.readable()
            assert file.read(100) == b"one"
            assert file.read(100) == b"two"
            assert file.read(100) == b"three"
            assert file.read(100) == b""
            assert list(file.end()) == []
            file.close()

    @pytest.mark.parametrize(
        ("change", "why"),
        [
            (lambda path: path.write_bytes(b""), "became shorter"),
            (lambda path: path.write_bytes(b"another"), "written anew"),
            (lambda path: path.unlink(), "was removed"),
            (
                lambda path: (
                    path.with_suffix(".new").write_bytes(b"x"),
                    path.with_suffix(".new").replace(path),
                ),
                "another file took the place",
            ),
        ],
    )
    def test_ends(self, tmp_path: Path, change: Callable[[Path], object], why: str) -> None:
        path = tmp_path / "run.hex"
        path.write_bytes(b"one")
        with GrowingFile(str(path), sleep=lambda _: None) as file:
            assert file.read(100) == b"one"
            change(path)
            assert file.read(100) == b""
            (trouble,) = file.end()
        assert trouble.kind == "file"
        assert why in trouble.text

    def test_only_files(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "pipe")
        for name, why in (
            ("pipe", "only a file can be followed"),
            ("none", "the file must be readable: No "),
        ):
            with pytest.raises(InputError) as raised:
                GrowingFile(str(tmp_path / name))
            assert why in str(raised.value)
        with pytest.raises(InputError) as raised:
            GrowingFile("a\0b")
        assert "the path has no meaning" in str(raised.value)

    def test_what_was_never_opened_is_closed_without_a_word(self) -> None:
        """The interpreter does so, and from 3.13 on it prints what is raised."""
        GrowingFile.__new__(GrowingFile).close()


class TestGate:
    """Whoever looks on MUST see a state between two packets."""

    def test_packets_pass(self) -> None:
        clock = iter(range(100))
        gate = Gate(lambda: float(next(clock)))
        rows: list[Packet | Trouble | Skipped] = [
            Packet(1, 1, 5, b"a"),
            Packet(2, 2, None, b"b"),
            Trouble(3, 3, "line", "no"),
        ]
        assert list(gate.packets(rows)) == rows
        assert gate.latest_us == 5
        assert gate.quiet_s == 1

    def test_nothing_comes_after_stop(self) -> None:
        gate = Gate()
        seen = []
        for each in gate.packets(Packet(at, at, at, b"") for at in range(10)):
            seen.append(each)
            gate.stop()
        assert len(seen) == 1

    def test_a_look_is_let_in(self) -> None:
        gate = Gate()
        inside, torn = [0], [0]
        looks: list[int] = []

        def look() -> None:
            while len(looks) < 20:
                with gate:
                    looks.append(inside[0])

        thread = threading.Thread(target=look)
        thread.start()

        def rows() -> Iterator[Packet]:
            at = 0
            while len(looks) < 20:
                at += 1
                yield Packet(at, at, at, b"")

        for _ in gate.packets(rows()):
            inside[0] = 1
            torn.append(inside[0])
            inside[0] = 0
        thread.join()
        assert set(looks) == {0}

    def test_who_looks_is_stepped_aside_for(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """The look that is going on here ends only when the reader steps aside."""
        gate, inside, aside = Gate(), threading.Event(), threading.Event()
        stepping = SimpleNamespace(sleep=lambda _: aside.set())
        monkeypatch.setattr("safeframe._watch.stream.time", stepping)

        def look() -> None:
            with gate:
                inside.set()
                assert aside.wait(10)

        def rows() -> Iterator[Packet]:
            thread = threading.Thread(target=look)
            thread.start()
            assert inside.wait(10)
            yield Packet(1, 1, 5, b"a")
            thread.join()

        assert list(gate.packets(rows())) == [Packet(1, 1, 5, b"a")]
        assert aside.is_set()

    def test_ended_by_what_is_seen_and_by_time(self) -> None:
        rows = [Packet(at, at, None if at == 2 else at * 10, b"") for at in range(10)]
        assert list(ended_by(rows, lambda: False, 40)) == [*rows[:5], Passed(40)]
        assert list(ended_by(rows, lambda: False, None)) == rows
        assert list(ended_by(rows, lambda: True, 40)) == rows[:1]


class TestStoppableStream:
    """A reader that waits MUST end when it is told to, and read everything otherwise."""

    def test_reads_everything(self) -> None:
        octets = bytes(range(256)) * 1000
        stream = StoppableStream(io.BytesIO(octets))
        assert stream.readable()
        assert b"".join(iter(lambda: stream.read(1000), b"")) == octets

    def test_stops_while_it_waits(self) -> None:
        reading, writing = os.pipe()
        with os.fdopen(reading, "rb") as raw:
            stream = StoppableStream(raw)
            threading.Timer(0.1, stream.stop).start()
            assert stream.read(10) == b""
            os.write(writing, b"x")
            os.close(writing)
            time.sleep(0.05)

    def test_an_error_is_raised_where_it_is_read(self) -> None:
        class Broken(io.RawIOBase):
            def read(self, size: int = -1) -> bytes:
                raise OSError(5, "Input/output error")

        with pytest.raises(OSError, match="Input/output error"):
            StoppableStream(Broken()).read(10)  # type: ignore[arg-type]


class TestTable:
    """The table MUST fit its window and say of each signal what the lines say."""

    def board(self, link: Link, *data: tuple[str, str]) -> Board:
        board = Board(link)
        watched(link, packets(link, stream(link, *data)), board)
        board.now_us = 200_000
        return board

    def test_rows(self) -> None:
        link = demo(receives=moved)
        lines = [each.text for each in table_lines(self.board(link, ("0104", "0000")), Screen(80))]
        assert lines[0] == "SC1 -> LX"
        assert (
            "* 0.0    permit_torque      1 (torque permi~ 1            0.080 s   1       yes"
            in lines
        )
        assert (
            "! 1.2    brake2_release     1 (holding brak~ 0            0.080 s   1       yes"
            in lines
        )

    @given(width=st.integers(0, 300), name=st.sampled_from(["", "brake", "z", "\u202e"]))
    def test_it_fits(self, width: int, name: str) -> None:
        board = self.board(demo(sends=without("permit_up"), receives=without("fault_ack")))
        reports = board.progress() if board.progress else None
        lines = table_lines(board, Screen(width, name)) + head_lines(
            board, reports, Screen(width, name, True, 3.0)
        )
        wide = max(width, 57)
        assert all(len(each.text) <= wide for each in lines)

    def test_head(self) -> None:
        link = demo()
        board = Board(link)
        assert [each.text for each in head_lines(board, None, Screen(80))] == [
            "SC1-LX (fscp-12-1)",
            "failed last: nothing so far",
        ]
        rows = list(packets(link, stream(link, ("0104", "0000"))))
        spoilt = rows[-1]
        assert isinstance(spoilt, Packet)
        rows[-1] = spoilt._replace(octets=spoilt.octets[:-1] + bytes([spoilt.octets[-1] ^ 1]))
        watched(link, rows, board)
        assert board.progress is not None
        assert board.failed is not None
        board.failed = dataclasses.replace(board.failed, time_us=None, side=None)
        (last,) = [each for each in head_lines(board, None, Screen(80)) if "failed" in each.text]
        assert last.text.startswith("failed last: connection_id: ")
        board.note("rejected", dataclasses.replace(board.failed, time_us=126_000, side=1))
        board.now_us = 3_000_000
        texts = [
            each.text for each in head_lines(board, board.progress(), Screen(80, "", True, 2.4))
        ]
        assert texts[0] == "SC1-LX (fscp-12-1)  3.000 s  [frozen]"
        assert texts[1].startswith("SC1: 11 accepted, 0 rejected, longest gap 12 ms of 100 ms")
        assert texts[2].startswith("LX: 10 accepted, 1 rejected")
        assert texts[3].startswith("failed last: 0.126 s LX connection_id: ")
        assert texts[4] == "nothing has come for 2 s"

    def test_ages_without_watchdog_and_filters(self) -> None:
        connection = demo_connection()
        first, second = (end_with(end, watchdog_ms=None) for end in connection.ends)
        link = link_of(Connection(first=first, second=second))
        board = Board(link)
        steps = stream(demo(), ("0104", "0000"))
        middle = [step for step in steps if step.data]
        capture.examine(packets(link, middle), link, observers=[board])
        assert board.progress is not None
        for now_us, age in ((10**8, "1.7 min"), (10**10, "2.8 h")):
            board.now_us = now_us
            assert any(age in each.text for each in table_lines(board, Screen(80, "torque")))
        head = head_lines(board, board.progress(), Screen(90))
        assert "no watchdog stated" in head[1].text
        none = [each.text for each in table_lines(board, Screen(80, "zz"))]
        assert "  none of 10 signals holds 'zz'" in none

    def test_a_direction_without_signals(self) -> None:
        connection = demo_connection()
        first = dataclasses.replace(
            connection.first, receives=Map(entries=(Reserved(at=Place(0, 0), width=16),))
        )
        second = dataclasses.replace(
            connection.second, sends=Map(entries=(Reserved(at=Place(0, 0), width=16),))
        )
        board = Board(link_of(Connection(first=first, second=second)))
        assert "  no signals" in [each.text for each in table_lines(board, Screen(80))]

    def test_before_a_second_frame_there_is_no_gap(self) -> None:
        board = Board(demo())
        watched(demo(), [], board)
        assert board.progress is not None
        head = head_lines(board, board.progress(), Screen(80))
        assert head[1].text == "SC1: 0 accepted, 0 rejected, no gap yet"

    def test_what_was_seen_can_be_forgotten(self) -> None:
        board = self.board(demo(), ("0104", "0000"))
        taken = board.snapshot()
        board.forget()
        assert not any(row.is_seen for row in board.rows[0])
        assert any(row.is_seen for row in taken.rows[0])

    def test_a_value_that_is_not_known(self) -> None:
        (signal, *_) = demo().sent(0).signals
        assert value_text(signal, None) == "?"


class Screens:
    """A viewer on a terminal that is only text, with keys pressed when it asks for nothing."""

    def __init__(self, link: Link, columns: int = 80, rows: int = 24) -> None:
        # A clock that stands still: how long the tests take must not show.
        self.board, self.gate = Board(link), Gate(lambda: 0.0)
        self.written = io.StringIO()
        self.size = Size(rows=rows, columns=columns)

    def output(self) -> Vt100_Output:
        return Vt100_Output(self.written, lambda: self.size, term="xterm")


class TestViewer:
    """Keys MUST do what the last line says, and nothing to what is judged."""

    def run(
        self, keys: str, *, rows: int = 24, columns: int = 80
    ) -> tuple[Viewer, list[str], bool]:
        link = demo()
        screens = Screens(link, columns, rows)
        watched(link, packets(link, stream(link, ("0104", "0000"))), screens.board)
        with create_pipe_input() as given:
            viewer = Viewer(screens.board, screens.gate, given=given, output=screens.output())
            interrupted = viewer.run(lambda: given.send_text(keys))
        texts = [line.text for line in viewer.lines(columns, rows)]
        return viewer, texts, interrupted

    def test_quit_and_interrupt(self) -> None:
        _, texts, interrupted = self.run("q")
        assert not interrupted
        assert texts[-1] == HELP
        assert texts[-2] == "0 lines above, 6 below"
        assert self.run("\x03")[2]

    def test_filter(self) -> None:
        _, texts, _ = self.run("/braqx\x7f\x7fke\x01\rq")
        assert [
            line.split()[1] for line in texts if line.startswith(("*", "  ")) and "." in line[:6]
        ]
        assert not any("permit" in line for line in texts)
        assert any("brake2_release" in line for line in texts)
        _, texts, _ = self.run("/brake\x1bq")
        assert any("permit" in line for line in texts)
        _, texts, _ = self.run("/bra\x03")
        assert texts[-1] == "filter: bra_  (Enter keeps it, Esc drops it)"

    def test_scrolling(self) -> None:
        for keys, above in (
            ("\x1b[B\x1b[B\x1b[Aq", 1),
            ("\x1b[6~q", 6),
            ("\x1b[6~\x1b[5~q", 0),
            ("\x1b[Fq", 6),
            ("\x1b[F\x1b[Hq", 0),
        ):
            _, texts, _ = self.run(keys)
            lines = "1 line" if above == 1 else f"{above} lines"
            assert texts[-2] == f"{lines} above, {6 - above} below"

    def test_freeze_and_forget(self) -> None:
        _, texts, _ = self.run("frq")
        assert texts[0].endswith("[frozen]")
        assert any(line.endswith("yes") for line in texts)
        _, texts, _ = self.run("ffrq")
        assert not any("[frozen]" in line for line in texts)
        assert not any(line.endswith("yes") for line in texts)

    def test_a_small_window(self) -> None:
        _, texts, _ = self.run("q", rows=6, columns=30)
        assert texts[-1] == SHORT_HELP
        assert len(texts) == 4 + 1 + 2

    def test_before_anything_is_known(self) -> None:
        screens = Screens(demo())
        with create_pipe_input() as given:
            viewer = Viewer(screens.board, screens.gate, given=given, output=screens.output())
            assert viewer.lines(80, 24)[0].text == "SC1-LX (fscp-12-1)"
            viewer.end()  # Nothing runs yet: nothing to end.

            def end_twice() -> None:
                viewer.end()
                viewer.end()

            assert viewer.run(end_twice) is False

    @pytest.mark.parametrize("key", ["q", "\x03", ""])
    def test_the_end(self, key: str) -> None:
        """The end of the stream ends the view; a key ends the stream."""
        link = demo()
        screens = Screens(link)
        rows = packets(link, stream(link, ("0104", "0000")))
        stopped = threading.Event()

        with create_pipe_input() as given:

            def source() -> Iterator[Packet | Trouble]:
                yield from rows
                if key:
                    given.send_text(key)
                    stopped.wait(20)

            def examine() -> Examination:
                return watched(link, screens.gate.packets(source()), screens.board)

            found = show(
                screens.board,
                screens.gate,
                examine,
                stopped.set,
                given=given,
                output=screens.output(),
            )
        assert found.frames == len(rows)
        assert found.stopped is (key == "\x03")

    def test_what_the_examination_raises(self) -> None:
        screens = Screens(demo())

        def examine() -> Examination:
            raise UsageError("say where they begin with --at")

        with create_pipe_input() as given, pytest.raises(UsageError, match="--at"):
            show(
                screens.board,
                screens.gate,
                examine,
                lambda: None,
                given=given,
                output=screens.output(),
            )

    def test_without_the_library(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "prompt_toolkit", None)
        screens = Screens(demo())
        with pytest.raises(UsageError, match=r"pip install 'safeframe\[watch\]'"):
            show(screens.board, screens.gate, lambda: pytest.fail("examined"), lambda: None)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with both maps of the demo and a recording of it, as hexadecimal lines."""
    site = _demo.after()
    for name in ("sc1-lx.toml", "lx-sc1.toml"):
        (tmp_path / name).write_text(site[name], encoding="utf-8")
    link = demo()
    steps = stream(link, ("0100", "0000"), ("0104", "0000"), ("0000", "0000"))
    lines = [f"@{step.time_us} {link.names[step.side]}: {step.octets.hex()}\n" for step in steps]
    (tmp_path / "run.hex").write_text("".join(lines), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


MAPS = ("sc1-lx.toml", "lx-sc1.toml")


class TestCommand:
    """``safeframe watch`` MUST end as capture does, and with --until by what was seen."""

    def test_a_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["watch", "--fresh", "run.hex", *MAPS]) == 0
        out = capsys.readouterr().out
        assert "0.132 s  SC1 -> LX  1.2  brake2_release 0 -> 1 (holding brake 2 released)" in out
        assert "nothing wrong in this recording" in out

    def test_until(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        until = "brake2_release = 1 within 20 ms of permit_torque = 1"
        assert main(["watch", "--fresh", "--until", until, "run.hex", *MAPS]) == 0
        assert f"seen at 0.132 s: {until}\n" in capsys.readouterr().out
        more = ["--timeout", "0.1", "run.hex", *MAPS]
        assert main(["watch", "--fresh", "--until", until, *more]) == 1
        out = capsys.readouterr().out
        assert f"not seen: {until}\n" in out
        assert "0.132 s" not in out

    def test_reaction(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = "brake2_release = 1 of permit_torque = 1"
        assert main(["watch", "--fresh", "--reaction", words, "run.hex", *MAPS]) == 0
        told = f"reaction: {words}: 1 answered; smallest 12 ms, median 12 ms, largest 12 ms;"
        assert told in " ".join(capsys.readouterr().out.split())
        more = ["--format", "jsonl", "run.hex", *MAPS]
        assert main(["watch", "--fresh", "--reaction", words, *more]) == 0
        row = json.loads(capsys.readouterr().out.splitlines()[-1])
        fits("watch", row)
        assert [(each["reaction"], each["median_us"]) for each in row["reactions"]] == [
            (words, 12_000)
        ]

    def test_timeout_alone_cuts_the_recording(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["watch", "--fresh", "--timeout", "0.125", "run.hex", *MAPS]) == 0
        assert "SC1-LX (fscp-12-1): 21 packets" in capsys.readouterr().out

    def test_silence_until_the_timeout_is_told(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """What comes after it shows that nothing came before it."""
        *lines, last = (bench / "run.hex").read_text(encoding="utf-8").splitlines()
        lines.append(f"@9000000 {last.partition(' ')[2]}\n")
        (bench / "gap.hex").write_text("\n".join(lines), encoding="utf-8")
        assert main(["watch", "--lines", "--fresh", "--timeout", "5", "gap.hex", *MAPS]) == 1
        out = capsys.readouterr().out
        assert "  LX: 0.138 s to 5 s (4862 ms)\n  SC1: 0.144 s to 5 s (4856 ms)\n" in out

    def test_lines_for_programs(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        until = ["--until", "permit_up = 1"]
        assert main(["watch", "--fresh", "--format", "jsonl", *until, "run.hex", *MAPS]) == 1
        rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        for row in rows:
            fits("watch", row)
        assert rows[-1]["until"] == {
            "condition": "permit_up = 1",
            "seen": False,
            "time_us": None,
            "untimed": False,
        }
        validate("capture", rows[-1]["capture"])
        assert main(["watch", "--fresh", "--format", "jsonl", "run.hex", *MAPS]) == 0
        assert json.loads(capsys.readouterr().out.splitlines()[-1])["until"] is None

    def test_following(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        more = ["--follow", "--idle", "0.05", "run.hex", *MAPS]
        assert main(["watch", "--fresh", *more]) == 0
        assert "nothing wrong in this recording" in capsys.readouterr().out

    def test_standard_input(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        octets = (bench / "run.hex").read_bytes()
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(octets)))
        assert main(["watch", "--fresh", "-", *MAPS]) == 0
        assert "brake2_release 0 -> 1" in capsys.readouterr().out

    def test_on_a_terminal_there_is_a_table(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        class Terminal(io.StringIO):
            def isatty(self) -> bool:
                return True

        def shown(
            board: Board, gate: Gate, examine: Callable[[], Examination], stop: Callable[[], None]
        ) -> Examination:
            found = examine()
            assert gate.latest_us == found.end_us
            assert any(row.is_seen for row in board.rows[0])
            stop()
            return dataclasses.replace(found, stopped=True)

        monkeypatch.setattr("safeframe._watch.screen.show", shown)
        monkeypatch.setattr(os, "get_terminal_size", lambda: os.terminal_size((80, 24)))
        out = Terminal()
        monkeypatch.setattr(sys, "stdout", out)
        assert main(["watch", "--fresh", "run.hex", *MAPS]) == 130
        assert "SC1-LX (fscp-12-1): 26 packets" in out.getvalue()
        assert "brake2_release 0 -> 1" not in out.getvalue()

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            (["--follow", "-"], "--follow must name a file"),
            (["--idle", "3", "run.hex"], "--idle must stand with --follow"),
            (["--timeout", "0", "run.hex"], "--timeout must be a number of seconds"),
            (["--timeout", "nan", "run.hex"], "--timeout must be a number of seconds"),
            (["none.hex"], "none.hex: the file must be readable: No such file"),
            (["--follow", "none.hex"], "none.hex: the file must be readable: No such file"),
            (["--until", "x", "run.hex"], "--until must be NAME = NUMBER"),
        ],
    )
    def test_wrong_use(
        self,
        bench: Path,
        capsys: pytest.CaptureFixture[str],
        arguments: list[str],
        message: str,
    ) -> None:
        assert main(["watch", *arguments, *MAPS]) == 2
        assert message in capsys.readouterr().err


class TestProcess:
    """Lines MUST come while the writer still writes; Ctrl-C and a dying writer lose nothing."""

    def start(self, folder: Path, *options: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-m", "safeframe", "watch", "--fresh", *options, "-", *MAPS],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=folder,
            bufsize=1,
            # Who runs the tests may have the key ignored, and so would the program.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )

    def test_at_once(self, bench: Path) -> None:
        process = self.start(bench)
        assert process.stdin is not None
        assert process.stdout is not None
        lines = (bench / "run.hex").read_text(encoding="utf-8").splitlines(keepends=True)
        seen = []
        # The change is told although nothing follows yet.
        process.stdin.write("".join(lines[:-3]))
        process.stdin.flush()
        while "brake2_release" not in (line := process.stdout.readline()):
            assert line, "the program has ended"
            seen.append(line)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=30)
        assert process.returncode == 130
        assert "reading was interrupted" in out
        assert seen[0].startswith("0.000 s  SC1  Reset")

    def test_a_writer_that_dies_within_a_line(self, bench: Path) -> None:
        process = self.start(bench)
        text = (bench / "run.hex").read_text(encoding="utf-8")
        out, _ = process.communicate(text[:-9], timeout=30)
        assert process.returncode == 1
        assert "brake2_release 0 -> 1" in out


class TestTerminal:
    """The table MUST hold at the sizes of real windows, resized while it runs."""

    @pytest.mark.parametrize(("columns", "rows"), [(80, 24), (200, 60)])
    def test_in_a_pseudo_terminal(self, bench: Path, columns: int, rows: int) -> None:
        options = ["watch", "--fresh", "-", *MAPS]
        terminal = Terminal(options, columns=columns, rows=rows, folder=bench)
        lines = (bench / "run.hex").read_bytes().splitlines(keepends=True)
        terminal.write(b"".join(lines[:-2]))
        text = terminal.until(lambda text: "* 1.2    brake2_release" in text)
        assert ("holding brake 2 released" in text) is (columns == 200)
        assert HELP in text
        terminal.keys("/brake\r")
        text = terminal.until(lambda text: "permit_torque" not in text)
        terminal.resize(60, 20)
        terminal.until(lambda text: SHORT_HELP in text and HELP not in text)
        terminal.write(b"".join(lines[-2:]))
        terminal.until(lambda text: "  1.2    brake2_re" in text)
        terminal.close_input()
        assert terminal.wait() == 0
        assert b"nothing wrong in this recording" in terminal.octets

    def test_ctrl_c_and_q_while_nothing_comes(self, bench: Path) -> None:
        for key, code in (("\x03", 130), ("q", 0)):
            options = ["watch", "--fresh", "-", *MAPS]
            terminal = Terminal(options, columns=80, rows=24, folder=bench)
            terminal.write((bench / "run.hex").read_bytes())
            terminal.until(lambda text: "13 accepted" in text)
            terminal.keys(key)
            assert terminal.wait() == code
            assert b"SC1-LX (fscp-12-1): 26 packets" in terminal.octets
            assert b"Traceback" not in terminal.octets
            assert b"Fatal" not in terminal.octets
            terminal.close_input()
