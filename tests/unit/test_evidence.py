"""Recordings as evidence: what they show, what they do not, and that no step is ticked by them."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import capture, fixtures, record
from safeframe._bits import Place
from safeframe._checklist import ChecklistStep
from safeframe._cli import main
from safeframe._codec import encode
from safeframe._errors import InputError, UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection, Map, Reserved, Signal
from safeframe._report import html, sightline
from safeframe._report import record as pages
from safeframe._words import way
from safeframe.capture import Packet, _whole
from safeframe.fixtures import SentFrame
from safeframe.fixtures._sequences import RunningLink
from safeframe.record import EvidenceAct, EvidenceAnswer, EvidenceSight, Record
from safeframe.record._evidence import digest_of_file
from safeframe.record._sights import Sights

from .links import CASES, ONE_WAY, make
from .record_maps import AFTER, BEFORE, FRESH, SIGNED, with_acts
from .test_capture_examine import packets

LINK = link_of(AFTER)
STEPS = FRESH.computed.checklist
RELEASE, SAFE = "SC1.brake2_release.non-safe", "SC1.brake2_release.safe"
REST = b"\0\0", b"\0\0"
DRIVEN = bytes.fromhex("0004"), b"\0\0"


def stream(*rows: tuple[bytes, bytes]) -> list[SentFrame]:
    return list(RunningLink(LINK, 1).ticks([REST, REST, *rows]))


def seen(
    rows: Sequence[Any], steps: Sequence[ChecklistStep] = STEPS, window_us: int = 20_000
) -> dict[str, Any]:
    """Return the sights of every step."""
    sights = Sights(LINK, steps, window_us)
    found = capture.examine(rows, LINK, fresh=True, observers=[sights])
    return {row.step: row.sights for row in sights.findings(found.end_us)}


def write(path: Path, frames: Sequence[SentFrame]) -> str:
    lines = [
        json.dumps(
            {
                "sender": LINK.names[each.side],
                "time_us": each.time_us,
                "octets": each.octets.hex(),
            }
        )
        for each in frames
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def act_of(made: Record) -> EvidenceAct:
    act = made.history[-1].act
    assert isinstance(act, EvidenceAct)
    return act


def brute(frames: Sequence[SentFrame], step: ChecklistStep) -> list[tuple[Any, ...]]:
    """Find first sight and first sight alone by looking at every frame, again and again."""
    side = LINK.names.index(step.id.partition(".")[0])
    signal = next(each for each in LINK.sent(side).signals if each.name == step.signal)
    rows = [(at, each) for at, each in enumerate(frames, 1) if each.data]

    def bits(data: bytes) -> str:
        return "".join(str(octet >> bit & 1) for octet in data for bit in range(8))

    def at_work(data: bytes) -> bool:
        return "1" in bits(data)[signal.start : signal.end]

    def fits(at: int) -> bool:
        own = [each.data for _, each in rows[: at + 1] if each.side == side]
        if step.group == "safe value":
            return len(own) > 1 and at_work(own[-2]) and not at_work(own[-1])
        return at_work(own[-1])

    hits = [at for at, (_, each) in enumerate(rows) if each.side == side and fits(at)]

    def alone(at: int) -> bool:
        text = bits(rows[at][1].data)
        return "1" not in text[: signal.start] + text[signal.end :]

    chosen = hits[:1]
    if hits and not alone(hits[0]):
        chosen += [at for at in hits if alone(at)][:1]
    found = []
    for at in chosen:
        number, frame = rows[at]
        wanted = step.group != "safe value"
        later = [
            each for _, each in rows[at:] if each.side == side and at_work(each.data) != wanted
        ]
        end_us = later[0].time_us if later else frames[-1].time_us
        answers: dict[str, int] = {}
        other = [(where, each) for where, (_, each) in enumerate(rows) if each.side != side]
        for (_, old), (where, new) in pairwise(other):
            after = new.time_us - frame.time_us
            if where > at and 0 <= after <= 20_000:
                for each in LINK.sent(1 - side).signals:
                    before, now = (bits(row.data)[each.start : each.end] for row in (old, new))
                    if before != now:
                        answers.setdefault(each.name, after)
        found.append((number, frame.data, alone(at), end_us - frame.time_us, answers))
    return found


def told(sights: Sequence[EvidenceSight]) -> list[tuple[Any, ...]]:
    return [
        (
            each.number,
            bytes.fromhex(each.data),
            each.what == "alone",
            each.held_us,
            {answer.signal: answer.after_us for answer in each.answers},
        )
        for each in sights
    ]


DATA = st.one_of(
    st.integers(0, 10).map(lambda bit: (1 << bit).to_bytes(2, "little")),
    st.integers(0, 0x7FF).map(lambda word: word.to_bytes(2, "little")),
    st.just(b"\0\0"),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(DATA, DATA), max_size=12))
def test_what_a_reader_of_every_frame_finds(rows: list[tuple[bytes, bytes]]) -> None:
    frames = stream(*rows)
    found = seen(packets(LINK, frames))
    for step in STEPS:
        if step.group in ("non-safe value", "other signal", "safe value"):
            assert told(found[step.id]) == brute(frames, step), step.id


def test_alone_and_for_how_long() -> None:
    found = seen(packets(LINK, stream(DRIVEN, DRIVEN, (REST[0], b"\1\0"), REST)))
    (sight,) = found[RELEASE]
    assert (sight.what, sight.data, sight.others, sight.held_us) == ("alone", "00 04", (), 24_000)
    assert sight.until == "brake2_release = 0"
    (back,) = found[SAFE]
    assert [(each.signal, each.after_us) for each in back.answers] == [("torque_off", 6000)]
    assert back.until == "the recording ends"
    assert found["LX.brake2_applied.non-safe"] == ()


def test_a_big_endian_value_is_told_as_its_map_reads_it() -> None:
    speed = Signal(name="speed", at=Place(0, 0), width=16, type="uint", order="big")
    first, second = AFTER.ends
    flag = Signal(name="flag", at=Place(2, 0))
    map_ = Map(entries=(speed, flag, Reserved(at=Place(2, 1), width=15)))
    link = link_of(
        Connection(first=replace(first, sends=map_), second=replace(second, receives=map_))
    )
    steps = [
        replace(next(step for step in STEPS if step.id == RELEASE), id=name, signal=name, data=data)
        for name, data in (("flag", "00000100"), ("speed", "01020000"))
    ]
    rest = bytes(4), b"\0\0"
    rows = [rest, rest, (bytes.fromhex("01020100"), rest[1]), (bytes.fromhex("01030000"), rest[1])]
    sights = Sights(link, steps, 20_000)
    frames = RunningLink(link, 1).ticks(rows)
    found = capture.examine(packets(link, frames), link, fresh=True, observers=[sights])
    told_of = {row.step: row.sights for row in sights.findings(found.end_us)}
    assert told_of["flag"][0].others == ("speed = 258",)
    assert told_of["speed"][0].until == "speed = 259"


def test_bits_of_no_signal() -> None:
    (sight,) = seen(packets(LINK, stream((bytes.fromhex("0084"), REST[1]))))[RELEASE]
    assert (sight.what, sight.others) == ("not alone", ("bits of no signal",))


def test_silence_that_ends() -> None:
    run = RunningLink(LINK, 1)
    frames = [*run.ticks([REST, REST, DRIVEN, DRIVEN])]
    late = run.tick(DRIVEN)
    again = RunningLink(LINK, 2).ticks([REST, REST, DRIVEN])
    more = [replace(row, time_us=row.time_us + 900_000) for row in (*late, *again)]
    found = seen(packets(LINK, [*frames, *more]))
    (sight,) = found["SC1.brake2_release.watchdog"]
    assert sight.what == "silence"
    assert sight.then.startswith("data in use again, brake2_release = 0, after ")


def test_a_step_about_no_signal_of_the_maps() -> None:
    step = next(step for step in STEPS if step.id == RELEASE)
    odd = [replace(step, signal="gone"), replace(step, id="x", group="removed")]
    assert seen(packets(LINK, stream(DRIVEN)), odd) == {RELEASE: (), "x": ()}


def test_what_follows_a_silence_without_times_is_told_without() -> None:
    run = RunningLink(LINK, 1)
    frames = [*run.ticks([REST, REST, DRIVEN, DRIVEN])]
    again = RunningLink(LINK, 2).ticks([REST, REST, DRIVEN])
    found = packets(LINK, [*frames, *again])
    rows = [row._replace(time_us=None) for row in found if isinstance(row, Packet)]
    (sight,) = seen(rows)["SC1.brake2_release.restart"]
    assert sight.then == "data in use again, brake2_release = 0"


def test_silence() -> None:
    frames = stream(DRIVEN, DRIVEN, DRIVEN)
    cut = len(frames) - 2
    late = [replace(row, time_us=row.time_us + 900_000) for row in frames[cut:]]
    found = seen(packets(LINK, [*frames[:cut], *late]))
    for name in ("loss", "watchdog"):
        (sight,) = found[f"SC1.brake2_release.{name}"]
        assert (sight.what, sight.number, sight.data) == ("silence", cut + 1, "00 04")
        assert sight.then == "no data in use after it"
    (driven,) = found[RELEASE]
    assert driven.until == "data no longer in use"
    assert found["LX.brake2_applied.watchdog"] == ()


def test_silence_to_the_end_of_the_recording() -> None:
    frames = stream(DRIVEN, DRIVEN)
    rows = packets(LINK, frames)
    last = frames[-1].time_us
    rows.append(Packet(99, 99, last + 900_000, b"\0", "SC9"))
    found = seen(rows)
    for name in ("loss", "watchdog"):
        (sight,) = found[f"SC1.brake2_release.{name}"]
        assert sight.what == "silence to the end of the recording, after the last change"
        assert (sight.data, sight.then) == ("00 04", "no data in use after it")
        assert sight.time_us == max(row.time_us for row in frames if row.side == 0) - (
            frames[0].time_us
        )
    assert found["LX.brake2_applied.watchdog"] == ()


def test_times_that_run_backwards_tell_no_duration() -> None:
    frames = stream(DRIVEN, DRIVEN, DRIVEN)
    back = [
        replace(row, time_us=row.time_us - 100_000) for row in RunningLink(LINK, 2).ticks([REST])
    ]
    rows = packets(LINK, [*frames, *back])
    (driven,) = seen(rows)[RELEASE]
    assert driven.until == "data no longer in use"
    assert driven.held_us is None


def test_a_new_start() -> None:
    run = RunningLink(LINK, 1)
    frames = [*run.ticks([REST, REST, DRIVEN, DRIVEN])]
    again = RunningLink(LINK, 2)
    more = [
        replace(row, time_us=row.time_us + frames[-1].time_us + 6000)
        for row in again.ticks([REST, REST, DRIVEN])
    ]
    found = seen(packets(LINK, [*frames, *more]))
    long = seen(packets(LINK, [*frames, *more, *again.tick((DRIVEN[0], b"\1\0"))]), STEPS, 10**9)
    assert [each.answers for each in long[RELEASE]] != [()]
    for name in ("power", "restart"):
        assert [each.answers for each in long[f"SC1.brake2_release.{name}"]] == [()]
        (sight,) = found[f"SC1.brake2_release.{name}"]
        assert sight.what.startswith("new start (")
        assert sight.number == len(frames) + 1
        assert "data in use again, brake2_release = 0, after" in sight.then


def test_a_foreign_id() -> None:
    frames = stream(DRIVEN)
    ends = [replace(e, connection_table=replace(e.connection_table, id=99)) for e in AFTER.ends]
    other = link_of(replace(AFTER, first=ends[0], second=ends[1]))
    alien = [*RunningLink(other, 1).ticks([REST, REST])][-2]
    rows = [*packets(LINK, frames), Packet(500, 500, frames[-1].time_us + 1, alien.octets, "SC1")]
    (sight,) = seen(rows)["wrong-device"]
    assert sight.what.startswith("frame with another id, of another device or spoilt (")
    assert (sight.number, sight.then) == (500, "not accepted by the rules of the protocol")


def test_without_times() -> None:
    found = packets(LINK, stream(DRIVEN, (REST[0], b"\1\0")))
    rows = [row._replace(time_us=None) for row in found if isinstance(row, Packet)]
    by_step = seen(rows)
    (sight,) = by_step[RELEASE]
    assert by_step["LX.torque_off.other"]
    assert (sight.time_us, sight.held_us, sight.answers) == (None, None, ())


def of_every_kind(link: Link, frames: Sequence[SentFrame], side: int) -> dict[str, Any]:
    """Return the sights of the steps that need no change of data, by their kind."""
    signal, names = link.sent(side).signals[0], link.names
    steps = [
        replace(
            STEPS[0],
            id=group,
            group=group,
            signal="" if group == "wrong device" else signal.name,
            direction=way(names[side], names[1 - side]),
        )
        for group in ("watchdog", "restart", "wrong device")
    ]
    sights = Sights(link, steps, 20_000)
    found = capture.examine(packets(link, frames), link, fresh=True, observers=[sights])
    return {row.step: row.sights for row in sights.findings(found.end_us)}


PROTOCOLS = [case for case in (*CASES, *ONE_WAY) if case[1] + case[2] > 1]


@pytest.mark.parametrize("case", PROTOCOLS, ids=str)
class TestEveryProtocol:
    """What interrupts a connection MUST be told whatever its protocol, and nothing else be."""

    @pytest.fixture
    def link(self, case: tuple[str, int, int, dict[str, Any]]) -> Link:
        return make(*case)

    @pytest.fixture
    def side(self, case: tuple[str, int, int, dict[str, Any]]) -> int:
        return 0 if case[1] else 1

    @staticmethod
    def rows(link: Link, side: int) -> tuple[tuple[bytes, bytes], tuple[bytes, bytes]]:
        rest = [encode(link.sent(each), {}) for each in (0, 1)]
        driven = [*rest]
        driven[side] = bytes([rest[side][0] | 1, *rest[side][1:]])
        return (rest[0], rest[1]), (driven[0], driven[1])

    def test_silence(self, link: Link, side: int) -> None:
        rest, driven = self.rows(link, side)
        run = RunningLink(link, 1)
        frames = [*run.ticks([rest, rest, driven, driven])]
        assert not of_every_kind(link, frames, side)["watchdog"]
        late = [step for _ in range(3) for step in run.tick(driven)]
        more = [replace(step, time_us=step.time_us + 5_000_000) for step in late]
        (sight,) = of_every_kind(link, [*frames, *more], side)["watchdog"]
        assert sight.what == "silence"
        assert sight.then.startswith("data in use again, ")

    def test_a_new_start(self, link: Link, side: int) -> None:
        rest, driven = self.rows(link, side)
        frames = [*RunningLink(link, 1).ticks([rest, rest, driven, driven])]
        again = [
            replace(step, time_us=step.time_us + frames[-1].time_us + link.tick_us)
            for step in RunningLink(link, 2).ticks([rest, rest, driven])
        ]
        assert not of_every_kind(link, frames, side)["restart"]
        seen_of = of_every_kind(link, [*frames, *again], side)["restart"]
        # The others have no frame that says so.
        assert len(seen_of) == (link.profile in ("fscp-12-1", "fscp-3-1"))
        assert all(each.what.startswith("new start (") for each in seen_of)

    def test_frames_of_another_connection(self, link: Link, side: int) -> None:
        for each in fixtures.make(link, "faults", seed=3):
            if each.fault != "addressing":
                continue
            found = of_every_kind(link, each.steps, side)["wrong device"]
            what = [one.what.partition(" (")[0] for one in found]
            # One CRC alone may belong to any history, and CAN messages have no id but their own.
            one_crc = link.profile == "fscp-12-1" and link.sent(side).size_octets <= 2
            doubtful = one_crc or link.profile == "en50325-5"
            assert what == (
                ["frame with another id, of another device or spoilt"]
                if doubtful
                else ["foreign frame"] * (link.profile in WITH_IDS)
            )

    def test_a_spoilt_frame_is_no_foreign_one(self, link: Link, side: int) -> None:
        rest, _ = self.rows(link, side)
        frames = [*RunningLink(link, 1).ticks([rest] * 5)]
        at = max(place for place in range(len(frames) - 2) if frames[place].side == side)
        for bit in range(8 * len(frames[at].octets)):
            octets = bytearray(frames[at].octets)
            octets[bit // 8] ^= 1 << bit % 8
            frames_now = [*frames]
            frames_now[at] = replace(frames[at], octets=bytes(octets))
            for each in of_every_kind(link, frames_now, side)["wrong device"]:
                what, _, text = each.what.partition(" (")
                assert what == "frame with another id, of another device or spoilt"
                # The id of a message says what it is, not whose.
                names = "connection_id", "address", "domain", "identifier_1", "identifier_2"
                assert text.split(":")[0] in names


WITH_IDS = ("fscp-12-1", "fscp-13-1", "opcua-safety")


def test_a_frame_of_another_connection_after_a_spoilt_one() -> None:
    link = make("fscp-12-1", 8, 12, {})
    sets = {each.label: each for each in fixtures.make(link, "faults", seed=3)}
    frames = [*sets["fault-addressing"].steps]
    first = next(at for at, each in enumerate(frames) if each.data and each.side == 0)
    octets = bytearray(frames[first].octets)
    octets[-1] ^= 1
    frames[first] = replace(frames[first], octets=bytes(octets))
    found = of_every_kind(link, frames, 0)["wrong device"]
    assert [each.what.partition(" (")[0] for each in found] == [
        "frame with another id, of another device or spoilt",
        "foreign frame",
    ]
    # More of either kind show nothing new.
    assert of_every_kind(link, [*frames, *frames], 0)["wrong device"] == found


class TestInTheRecord:
    @pytest.fixture
    def run(self, tmp_path: Path) -> str:
        return write(tmp_path / "run.jsonl", stream(DRIVEN, DRIVEN, REST))

    def test_no_step_is_ticked(self, run: str) -> None:
        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        assert made.people == FRESH.people
        assert record.points(made) == record.points(FRESH)
        assert record.loads(record.dumps(made)) == made
        act = act_of(made)
        assert (act.recording, act.sha256) == ("run.jsonl", digest_of_file(run))
        assert act.unclean == ()
        assert {row.step for row in act.findings} == set(FRESH.steps)
        assert "SC1.brake2_release.loss: not shown" in list(record.evidence_lines(act))

    def test_the_order_of_the_maps_changes_nothing(self, tmp_path: Path) -> None:
        frames = stream(DRIVEN, REST)
        for at in (2, 3, 6, 7):
            frames[at] = replace(frames[at], octets=b"\x55" + frames[at].octets[1:])
        path = write(tmp_path / "spoilt.jsonl", frames)
        swapped = Connection(first=AFTER.second, second=AFTER.first)
        one, two = (record.add_evidence(FRESH, path, maps, fresh=True) for maps in (AFTER, swapped))
        assert one == two
        act = act_of(one)
        assert len(act.not_judged) > 1
        # As an older release entered it, with the maps the other way round.
        old = replace(act, unclean=act.unclean[::-1], not_judged=act.not_judged[::-1])
        for made in (one, with_acts(one, one.history[0].act, old)):
            for maps in (AFTER, swapped):
                found = record.with_recordings(record.verify(made, maps), made, maps, [path])
                assert found.faults == ()
        bad = with_acts(one, one.history[0].act, replace(act, not_judged=act.not_judged[1:]))
        found = record.with_recordings(record.verify(bad, AFTER), bad, AFTER, [path])
        assert "not judged" in found.faults[0]

    def test_two_signals_of_one_name(self, tmp_path: Path) -> None:
        """What is seen of one signal MUST NOT count for another one of its name."""

        def twice(signal: Signal) -> Signal:
            return replace(signal, name="brake2_release") if signal.name == "permit_up" else signal

        def named(side: Map) -> Map:
            made = (twice(each) if isinstance(each, Signal) else each for each in side.entries)
            return replace(side, entries=tuple(made))

        first, second = AFTER.ends
        maps = Connection(
            first=replace(first, sends=named(first.sends)),
            second=replace(second, receives=named(second.receives)),
        )
        made = record.new(BEFORE, maps)
        at = {step.id: step.at for step in made.computed.checklist}
        assert (at[RELEASE], at[f"{RELEASE}-2"]) == ("0.4", "1.2")
        path = write(tmp_path / "run.jsonl", stream(DRIVEN, REST))
        act = act_of(record.add_evidence(made, path, maps, fresh=True))
        found = {row.step: [each.what for each in row.sights] for row in act.findings}
        assert (found[RELEASE], found[f"{RELEASE}-2"]) == ([], ["alone"])
        assert (found[SAFE], found[f"{SAFE}-2"]) == ([], ["alone"])

    def test_several_but_none_twice(self, run: str, tmp_path: Path) -> None:
        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        with pytest.raises(UsageError, match=r"not run.jsonl, which entry 2 has"):
            record.add_evidence(made, run, AFTER, fresh=True, window_ms=5)
        other = write(tmp_path / "other.jsonl", stream(REST, (REST[0], bytes.fromhex("8000"))))
        both = record.add_evidence(made, other, AFTER, fresh=True)
        assert both.history[: len(made.history)] == made.history
        assert len(record.steps_without_evidence(both)) < len(record.steps_without_evidence(made))
        twice = with_acts(FRESH, act_of(made), act_of(made))
        assert "entry 2 is evidence from the recording of entry 1 once more" in (
            record.assess(twice).faults
        )
        strange = replace(act_of(made).findings[0], step="none")
        odd = with_acts(FRESH, replace(act_of(made), findings=(strange,)))
        assert "entry 1 is evidence for none, which the computed part has not" in (
            record.assess(odd).faults
        )

    def test_it_voids_approvals(self, run: str) -> None:
        found = record.assess(record.add_evidence(SIGNED, run, AFTER, fresh=True, who="A. Berg"))
        assert "(evidence from run.jsonl by A. Berg)" in found.faults[0]

    def test_other_maps(self, run: str) -> None:
        with pytest.raises(UsageError, match="the maps must be those of the record"):
            record.add_evidence(FRESH, run, BEFORE)

    @pytest.mark.parametrize(
        ("more", "words"),
        [
            ({"window_ms": -1}, "0 ms or more"),
            ({"values": ["x"]}, "NAME=VALUE"),
            ({"at": ["XX=1"]}, "must name SC1 or LX"),
            ({"at": ["LX=y"]}, "--at must give an offset in octets, not"),
            ({"at": ["LX=-1"]}, "--at must give an offset in octets, not"),
        ],
    )
    def test_refused(self, run: str, more: dict[str, Any], words: str) -> None:
        with pytest.raises(UsageError, match=words):
            record.add_evidence(FRESH, run, AFTER, **more)

    def test_a_file_that_fails_while_it_is_read(
        self, run: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def fail(self: object, size: int) -> bytes:
            raise OSError(5, "Input/output error")

        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        monkeypatch.setattr("safeframe.capture._whole.DigestedStream.readinto", fail)
        with pytest.raises(InputError, match="the file must be readable: Input/output error"):
            record.add_evidence(FRESH, run, AFTER)
        with pytest.raises(InputError, match="the file must be readable: Input/output error"):
            record.with_recordings(record.assess(made), made, AFTER, [run])

    def test_unreadable(self, tmp_path: Path) -> None:
        with pytest.raises(InputError):
            record.add_evidence(FRESH, tmp_path / "none", AFTER)

    def test_not_clean(self, tmp_path: Path) -> None:
        frames = stream(DRIVEN, REST)
        broken = replace(frames[-2], octets=bytes(len(frames[-2].octets)))
        path = write(tmp_path / "bad.jsonl", [*frames[:-2], broken, frames[-1]])
        made = record.add_evidence(FRESH, path, AFTER, fresh=True)
        assert act_of(made).unclean
        assert "NOT CLEAN (" in record.evidence_head(act_of(made))
        notes = record.with_recordings(record.verify(made, AFTER), made, AFTER).notes
        assert notes[-1].startswith("bad.jsonl is not clean: ")

    def test_nothing_in_it_and_both_read_differently(self, tmp_path: Path) -> None:
        path = write(tmp_path / "none.jsonl", stream()[:1])
        act = act_of(record.add_evidence(FRESH, path, AFTER, fresh=True))
        assert "no accepted frame of LX" in act.unclean
        frames = stream(DRIVEN, DRIVEN, DRIVEN)
        cut = len(frames) - 2
        late = [replace(row, time_us=row.time_us + 900_000) for row in frames[cut:]]
        path = write(tmp_path / "late.jsonl", [*frames[:cut], *late])
        act = act_of(record.add_evidence(FRESH, path, AFTER, fresh=True))
        assert any(text.startswith("silence longer than the watchdog: ") for text in act.unclean)
        path = write(tmp_path / "odd.jsonl", stream((bytes.fromhex("0084"), REST[1])))
        act = act_of(record.add_evidence(FRESH, path, AFTER, fresh=True))
        assert act.unclean == ("contradictions to the maps: 1",)

    def test_what_makes_it_unclean_and_its_words(self, tmp_path: Path) -> None:
        first = [*RunningLink(LINK, 1).ticks([REST, REST, DRIVEN, DRIVEN])]
        later = RunningLink(LINK, 2).ticks([REST, REST])
        again = [replace(row, time_us=row.time_us + first[-1].time_us + 6000) for row in later]
        path = write(tmp_path / "twice.jsonl", [*first, *again])
        act = act_of(record.add_evidence(FRESH, path, AFTER, fresh=True, at=["SC1=0", "LX=0"]))
        assert any(text.startswith("events that are wrong: ") for text in act.unclean)
        words = record.evidence_text([act], "SC1.brake2_release.restart")
        assert words.startswith("twice.jsonl: new start (")
        path = write(tmp_path / "both.jsonl", stream((bytes.fromhex("0184"), b"\1\0")))
        act = act_of(record.add_evidence(FRESH, path, AFTER, fresh=True))
        words = record.evidence_text([act], RELEASE)
        assert "with permit_torque = 1 (torque permitted), bits of no signal, for 6 ms" in words
        sight = next(row.sights[0] for row in act.findings if row.step == RELEASE)
        bare = replace(sight, data="", others=(), held_us=None, until="", time_us=None, answers=())
        odd = replace(act, findings=(replace(act.findings[0], step=RELEASE, sights=(bare,)),))
        assert record.evidence_text([odd], RELEASE) == (
            f"both.jsonl: not alone at packet {sight.number}"
        )

    def test_the_digest_is_over_what_nobody_reads_too(
        self, run: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(_whole, "read_recording", lambda stream, wanted: iter(()))
        act = act_of(record.add_evidence(FRESH, run, AFTER))
        assert (act.sha256, act.packets) == (digest_of_file(run), 0)
        assert act.size_octets == Path(run).stat().st_size

    def test_a_difference_is_not_clean(self, run: str, monkeypatch: pytest.MonkeyPatch) -> None:
        real = capture.examine
        note = capture.Note(number=1, offset=1, time_us=None, side=0, text="")
        differs = capture.Difference(count=3, note=note, data=b"", rows=())
        monkeypatch.setattr(
            _whole, "examine", lambda *a, **k: replace(real(*a, **k), difference=differs)
        )
        act = act_of(record.add_evidence(FRESH, run, AFTER, fresh=True))
        assert act.unclean == ("frames that the two ends read differently: 3",)

    def test_verify(self, run: str, tmp_path: Path) -> None:
        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        bare = record.verify(made, AFTER)
        assert record.with_recordings(bare, FRESH, AFTER) is bare
        assert record.with_recordings(bare, made, AFTER).notes[-1] == (
            "evidence not computed anew (--recording): run.jsonl"
        )
        good = record.with_recordings(bare, made, AFTER, [run])
        assert (good.faults, good.notes[-1]) == (
            bare.faults,
            "evidence computed anew: 1 recording",
        )
        void = record.with_recordings(record.verify(made, BEFORE), made, BEFORE, [run])
        assert void.notes[-1].startswith("evidence was not computed anew: ")
        text = Path(run).read_text(encoding="utf-8")
        for name, content in (("cut", text[:-100]), ("other", text + "\n")):
            path = tmp_path / name
            path.write_text(content, encoding="utf-8")
            found = record.with_recordings(bare, made, AFTER, [path])
            assert "no evidence of the record is from it" in found.faults[-1]
        with pytest.raises(InputError):
            record.with_recordings(bare, made, AFTER, [tmp_path / "none"])

    def test_altered(self, run: str) -> None:
        act = act_of(record.add_evidence(FRESH, run, AFTER, fresh=True))
        shown = next(row for row in act.findings if row.step == RELEASE)
        rest = tuple(row for row in act.findings if row.step not in (RELEASE, SAFE))
        lie = replace(shown, sights=(replace(shown.sights[0], held_us=1),))
        forged = with_acts(FRESH, replace(act, packets=1, findings=(lie, *rest)))
        found = record.with_recordings(record.verify(forged, AFTER), forged, AFTER, [run])
        words = "\n".join(found.faults)
        assert "packets 1 in the record" in words
        assert f"{RELEASE}: alone at packet" in words
        assert f"{SAFE}: not in the record" in words
        none = with_acts(FRESH, replace(act, findings=(replace(shown, step="x"), *act.findings)))
        found = record.with_recordings(record.assess(none), none, AFTER, [run])
        assert "from the recording" in found.faults[-1]
        made = with_acts(FRESH, act)
        entry = replace(made.history[0], act=replace(act, packets=1))
        assert "was altered" in record.assess(replace(made, history=(entry,))).faults[0]

    def test_interrupted(self, run: str, monkeypatch: pytest.MonkeyPatch) -> None:
        real = capture.examine
        monkeypatch.setattr(_whole, "examine", lambda *a, **k: replace(real(*a, **k), stopped=True))
        with pytest.raises(KeyboardInterrupt):
            record.add_evidence(FRESH, run, AFTER)

    def test_the_page(self, run: str) -> None:
        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        page = repr(pages.document(made, record.assess(made)))
        assert "seen on the wire is not seen at the machine" in page
        assert "run.jsonl: alone at packet" in page
        drawn = html.render(pages.document(made, record.assess(made)))
        assert drawn.count('<tr class="below">') == len(STEPS)
        assert drawn.count('class="tl-root"') == sum(
            any(sight.held_us or sight.answers for sight in row.sights)
            for row in made.history[-1].act.findings  # type: ignore[union-attr]
        )
        assert "SC1.brake2_release.non-safe: alone, " in drawn
        assert "seen on the wire" not in repr(pages.document(FRESH, record.assess(FRESH)))

    def test_pictures_of_steps(self, run: str) -> None:
        made = record.add_evidence(FRESH, run, AFTER, fresh=True)
        act = made.history[-1].act
        assert isinstance(act, EvidenceAct)
        (row,) = (row for row in act.findings if row.step == RELEASE)
        assert row.sights
        answer = EvidenceAnswer(signal="b", before="0", after="1", after_us=30_000)
        first = replace(row.sights[0], others=("x",), held_us=10_000, answers=())
        alone = replace(row.sights[0], others=(), held_us=None, answers=(answer,) * 9)
        for sights, texts in (
            ((first, alone), [f"{RELEASE}: alone", *["b 0 -&gt; 1 after 30 ms"] * 4]),
            ((first,), [f"{RELEASE}: alone, 10 ms"]),
            ((replace(first, held_us=None),), []),
            ((replace(first, time_us=None),), []),
        ):
            shown = replace(act, findings=(replace(row, sights=sights),))
            drawing = sightline.drawing([shown], RELEASE)
            found = [] if drawing is None else re.findall(r"<text[^>]*>([^<]*)<", drawing.svg)
            assert found == texts
        assert sightline.drawing([act], "nothing") is None

    def test_the_command(
        self, run: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        from safeframe import _mapfile

        maps = [str(tmp_path / f"{end.name}.toml") for end in AFTER.ends]
        for path, end in zip(maps, AFTER.ends, strict=True):
            Path(path).write_text(_mapfile.dumps(end), encoding="utf-8")
        name = str(tmp_path / "r.json")
        record.create(name, FRESH)
        assert main(["record", "evidence", name, run, *maps, "--fresh"]) == 0
        out = capsys.readouterr().out
        assert "changes of the other direction within 1000 ms" in out
        assert "no step got a result" in out
        assert main(["record", "verify", name, *maps, "--recording", run]) == 1
        assert "evidence computed anew: 1 recording" in capsys.readouterr().out
