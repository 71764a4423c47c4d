"""Sessions: streams produced and judged, from the start and from the middle."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from safeframe import cases, crc, frame
from safeframe._engine.stream import Session, solve
from safeframe._errors import UsageError
from safeframe.protocols.fscp_12_1 import _frame as fscp_12_1
from safeframe.protocols.fscp_12_1._session import Fscp12Session as Session12

Stream = list[tuple[str, bytes]]

SETTINGS: dict[str, dict[str, Any]] = {
    "fscp-12-1": {"connection_id": 7},
    "fscp-13-1": {"domain": 3, "manager_id": bytes(range(6))},
    "fscp-2-1": {"format": "extended", "producer": (1, 2, 3), "consumer": (4, 5, 6)},
    "fscp-3-1": {"parameter_crc": 0x22FF},
    "opcua-safety": {"consumer_id": 9, "spdu_ids": (1, 2, 3)},
}
by_profile = pytest.mark.parametrize("profile", SETTINGS)


def start(profile: str, **more: Any) -> Session:
    return frame.session(profile, **SETTINGS[profile] | more)


def stream(profile: str, rounds: int, seed: int = 1) -> Stream:
    """Return a good stream of ``rounds`` frames from each sender."""
    draw, making = random.Random(seed), start(profile)
    found: Stream = []
    for count in range(rounds):
        octets = draw.randbytes(4)
        steps: dict[str, list[tuple[str, dict[str, Any]]]] = {
            "fscp-12-1": [("master", {"data": octets}), ("slave", {"data": octets * 2})],
            "fscp-13-1": [("12", {"data": octets}), ("13", {"data": octets * 3})],
            "fscp-2-1": [
                ("producer", {"data": octets, "time_stamp": (65000 + 300 * count) % 65536}),
                ("consumer", {"ack": 0x0A, "consumer_time": count}),
            ],
            "fscp-3-1": [("host", {"data": octets}), ("device", {"data": octets[:1]})],
            "opcua-safety": [("consumer", {}), ("provider", {"data": octets})],
        }
        found += [(who, making.produce(who, **values)) for who, values in steps[profile]]
    return found


@by_profile
def test_the_short_way_takes_no_broken_frame(profile: str) -> None:
    """MUST: what judge refuses is in no session told as accepted, whether it has a short way."""
    session = start(profile)
    for sender, octets in stream(profile, 3):
        broken = bytes([*octets[:-1], octets[-1] ^ 1])
        assert session.accepts(sender, broken) is False
        session.judge(sender, octets)


class TestEveryProfile:
    @by_profile
    def test_a_good_stream_is_accepted(self, profile: str) -> None:
        judging = start(profile)
        for sender, octets in stream(profile, 30):
            found = judging.judge(sender, octets)
            assert (found.result, found.text) == ("accepted", "accepted")
            assert found.inspection.accepted

    @by_profile
    def test_a_repeat_is_no_new_frame(self, profile: str) -> None:
        judging = start(profile)
        for sender, octets in stream(profile, 3):
            judging.judge(sender, octets)
            again = judging.judge(sender, octets)
            assert again.result == "repeat"
            assert again.text == "the same octets as in the frame before: not a new frame"

    @by_profile
    def test_a_rejected_frame_leaves_the_state_alone(self, profile: str) -> None:
        judging = start(profile)
        for sender, octets in stream(profile, 5):
            broken = octets[:-1] + bytes([octets[-1] ^ 1])
            found = judging.judge(sender, broken)
            if not (profile == "opcua-safety" and sender == "consumer"):  # carries no CRC.
                assert found.result == "rejected"
                assert found.text.startswith("rejected: ")
                assert judging.judge(sender, octets).result == "accepted"

    @by_profile
    def test_wrong_length_is_rejected(self, profile: str) -> None:
        judging = start(profile, fresh=False)
        for sender, octets in stream(profile, 1):
            assert judging.judge(sender, octets[:2]).result == "rejected"

    @by_profile
    def test_an_old_frame_is_rejected(self, profile: str) -> None:
        judging, sent = start(profile), stream(profile, 8)
        for sender, octets in sent:
            judging.judge(sender, octets)
        for sender, octets in sent[:6]:
            if sender == "consumer" and profile == "fscp-2-1":
                continue  # the order of coordination frames is not judged.
            assert judging.judge(sender, octets).result == "rejected"

    @by_profile
    def test_from_the_middle(self, profile: str) -> None:
        """The first frames are unknown with a reason, never accepted and never blamed."""
        judging = start(profile, fresh=False)
        results: dict[str, list[str]] = {}
        for sender, octets in stream(profile, 12)[8:]:
            found = judging.judge(sender, octets)
            results.setdefault(sender, []).append(found.result)
            if found.result == "unknown":
                assert found.text.startswith("cannot be judged, because ")
        expected = {
            "fscp-12-1": {"master": (2, 6), "slave": (1, 7)},
            "fscp-13-1": {"12": (1, 7), "13": (1, 7)},
            "fscp-2-1": {"producer": (1, 7), "consumer": (0, 8)},
            "fscp-3-1": {"host": (1, 7), "device": (1, 7)},
            "opcua-safety": {"consumer": (0, 8), "provider": (0, 8)},
        }[profile]
        assert results == {
            sender: ["unknown"] * unknown + ["accepted"] * accepted
            for sender, (unknown, accepted) in expected.items()
        }

    @by_profile
    def test_wrong_sender_and_settings(self, profile: str) -> None:
        with pytest.raises(UsageError, match="a sender must be "):
            start(profile).produce("nobody", data=b"")
        with pytest.raises(UsageError, match="a sender must be "):
            start(profile).judge("0", b"")
        with pytest.raises(UsageError, match=f"a session of {profile}: .*'xyz'"):
            start(profile, xyz=1)

    @by_profile
    def test_joining_sessions_do_not_produce(self, profile: str) -> None:
        joined = start(profile, fresh=False)
        values: dict[str, tuple[str, dict[str, Any]]] = {
            "fscp-12-1": ("master", {"data": b"\1"}),
            "fscp-2-1": ("producer", {"data": b"\1", "time_stamp": 1}),
            "fscp-3-1": ("host", {"data": b"\1"}),
            "opcua-safety": ("consumer", {}),
        }
        if profile in values:
            sender, given = values[profile]
            with pytest.raises(UsageError, match="a session that joins in the middle cannot"):
                joined.produce(sender, **given)

    def test_profiles_without_frames(self) -> None:
        with pytest.raises(UsageError, match="the profile plain has no frames"):
            frame.session("plain")


class TestSolve:
    @given(st.data())
    def test_the_solution_gives_the_wanted_crc(self, data: st.DataObject) -> None:
        """solve finds the one field value that gives the wanted CRC."""
        name = data.draw(st.sampled_from(("fscp-12-1/crc16", "fscp-3-1/crc2-24")))
        algorithm = crc.CATALOGUE[name]
        head, tail = data.draw(st.binary(max_size=5)), data.draw(st.binary(max_size=5))
        value = data.draw(st.integers(0, (1 << algorithm.width) - 1))

        def of(field: int) -> int:
            return crc.compute(algorithm, head + field.to_bytes(algorithm.octets, "big") + tail)

        assert solve(of, algorithm.width, of(value)) == value

    def test_no_solution(self) -> None:
        assert solve(lambda value: value & 1, 2, 2) is None
        assert solve(lambda value: value & 1 ^ 4, 2, 5) == 1


def same_crc0(making: Session, sender: str, last: bytes) -> bytes:
    """Return two data octets that give the sender the CRC_0 it had before."""

    def crc0(word: int) -> int:
        octets = frame.build(
            "fscp-12-1",
            data=word.to_bytes(2, "little"),
            connection_id=7,
            peer_crc0=side.received,
            sequence=side.sequence,
        )
        return int.from_bytes(octets[3:5], "little")

    side = making._sides[sender]  # type: ignore[attr-defined]
    word = solve(crc0, 16, int.from_bytes(last[3:5], "little"))
    assert word is not None
    return word.to_bytes(2, "little")


class TestFscp121:
    @given(st.lists(st.binary(min_size=2, max_size=2), min_size=2, max_size=12), st.integers(1, 9))
    def test_successive_frames_never_share_crc_0(self, data: list[bytes], at: int) -> None:
        """The change rule holds at the sender and is followed by the receiver.

        One frame of the stream is chosen so that its CRC_0 would be the one before; the sender
        skips a number and the receiver accepts.
        """
        assume(at < len(data))
        making, judging = start("fscp-12-1"), start("fscp-12-1")
        last = b""
        for count, octets in enumerate(data):
            if count == at:
                octets = same_crc0(making, "master", last)
            before = making._sides["master"].sequence  # type: ignore[attr-defined]
            made = making.produce("master", data=octets)
            if count == at:
                after = making._sides["master"].sequence  # type: ignore[attr-defined]
                number = fscp_12_1.next_sequence
                assert after == number(number(before))
            assert made[3:5] != last[3:5]
            last = made
            assert judging.judge("master", made).result == "accepted"
            answer = making.produce("slave", data=octets)
            assert judging.judge("slave", answer).result == "accepted"

    def test_numbers_wrap_in_a_long_stream(self) -> None:
        making, judging = start("fscp-12-1"), start("fscp-12-1")
        for session in (making, judging):
            session._sides["master"].sequence = 65534  # type: ignore[attr-defined]
        for _ in range(4):
            assert judging.judge("master", making.produce("master", data=b"\1")).result == (
                "accepted"
            )
        assert making._sides["master"].sequence in (3, 4)  # type: ignore[attr-defined]

    def test_reset_starts_both_sides_again(self) -> None:
        judging = start("fscp-12-1", fresh=False)
        making = start("fscp-12-1")
        for _ in range(3):
            making.produce("master", data=b"\1\2")
            making.produce("slave", data=b"\1\2")
        reset = making.produce("master", data=bytes(2), command=fscp_12_1.RESET)
        assert reset == frame.build(
            "fscp-12-1", data=bytes(2), command=fscp_12_1.RESET, connection_id=0
        )
        assert judging.judge("master", reset).result == "accepted"
        answer = making.produce("slave", data=bytes(2), command=fscp_12_1.RESET)
        assert judging.judge("slave", answer).result == "accepted"
        for sender in ("master", "slave"):
            made = making.produce(sender, data=b"\1\2", command=fscp_12_1.SESSION)
            assert judging.judge(sender, made).result == "accepted"
        broken = reset[:-3] + bytes([reset[-3] ^ 1]) + reset[-2:]
        assert judging.judge("master", broken).result == "rejected"

    def test_a_restarted_session_frame_is_accepted(self) -> None:
        """In the Session state a slave also accepts a Session frame that starts anew."""
        judging, making = start("fscp-12-1"), start("fscp-12-1")
        first = making.produce("master", data=b"\1\2", command=fscp_12_1.SESSION)
        second = making.produce("slave", data=b"\3\4", command=fscp_12_1.SESSION)
        again = start("fscp-12-1").produce("master", data=b"\5\6", command=fscp_12_1.SESSION)
        assert judging.judge("master", first).result == "accepted"
        assert judging.judge("slave", second).result == "accepted"
        assert judging.judge("master", again).result == "accepted"
        broken = again[:3] + bytes([again[3] ^ 1]) + again[4:]
        assert judging.judge("master", broken).result == "rejected"

    def test_the_rule_is_off_for_the_first_session_frame_only(self) -> None:
        """CRC_0 of 0 is allowed in a master's first Session frame, not in a slave's answer."""

        def crc0(peer_crc0: int) -> Callable[[int], int]:
            return lambda word: fscp_12_1.block_crc(
                word.to_bytes(2, "little"),
                peer_crc0=peer_crc0,
                connection_id=0,
                sequence=1,
                command=fscp_12_1.SESSION,
            )

        making = start("fscp-12-1")
        word = solve(crc0(0), 16, 0)
        assert word is not None
        made = making.produce("master", data=word.to_bytes(2, "little"), command=fscp_12_1.SESSION)
        assert made[3:5] == bytes(2)
        answer = making.produce("slave", data=word.to_bytes(2, "little"), command=fscp_12_1.SESSION)
        assert answer[3:5] != bytes(2)

    def test_a_number_learned_from_a_broken_frame_does_not_hold(self) -> None:
        """The frame after it does not follow: who learned it must join anew."""
        sent = stream("fscp-12-1", 12)[8:]
        judging = start("fscp-12-1", fresh=False)
        judging.judge(*sent[0])
        judging.judge(*sent[1])
        sender, octets = sent[2]
        wrong = frame.build(
            "fscp-12-1",
            data=octets[1:3] + octets[5:7],
            connection_id=7,
            peer_crc0=int.from_bytes(sent[1][1][3:5], "little"),
            sequence=9999,
        )
        found = judging.judge(sender, wrong)
        assert found.text.endswith("CRC_0 would be right with sequence number 9999")
        assert [judging.judge(*entry).result for entry in sent[3:6]] == ["rejected"] * 3

    @given(st.data())
    def test_the_short_way_accepts_what_judge_accepts(self, data: st.DataObject) -> None:
        """accepts is judge for good frames with data: same answers, same state, faults or not."""
        making = start("fscp-12-1")
        fresh = data.draw(st.booleans())
        whole, short = start("fscp-12-1", fresh=fresh), start("fscp-12-1", fresh=fresh)
        assert isinstance(short, Session12)
        draw, last = random.Random(data.draw(st.integers(0, 1 << 20))), b""
        wide = data.draw(st.sampled_from((1, 2, 6)))
        for count in range(12):
            sender = ("master", "slave")[count & 1]
            octets = draw.randbytes(wide)
            if sender == "master" and wide == 2 and draw.randrange(3) == 0 and last:
                octets = same_crc0(making, sender, last)
            sent = making.produce(sender, data=octets)
            last = sent if sender == "master" else last
            for shown in self.variants(draw, sent):
                accepted = short.accepts(sender, shown)
                result = "accepted" if accepted else short.judge(sender, shown).result
                expected = whole.judge(sender, shown).result
                assert result == expected
                assert accepted is (expected == "accepted")
                if accepted:
                    assert short.judge(sender, shown).result == "repeat"
                    assert whole.judge(sender, shown).result == "repeat"

    @staticmethod
    def variants(draw: random.Random, sent: bytes) -> list[bytes]:
        """Return a frame as sent, and now and then broken forms of it before."""
        broken = bytearray(sent)
        broken[draw.randrange(len(sent))] ^= 1 << draw.randrange(8)
        shapes = (bytes(broken), sent[:4], sent + b"\0", sent[:-3] + sent[-2:])
        return [*draw.sample(shapes, draw.randrange(3)), sent]

    def test_number_zero_is_never_right(self) -> None:
        sent = stream("fscp-12-1", 4)
        judging = start("fscp-12-1", fresh=False)
        judging.judge(*sent[0])
        peer = int.from_bytes(sent[0][1][3:5], "little")
        block = fscp_12_1.block_crc(
            b"\1", peer_crc0=peer, connection_id=7, sequence=0, command=0x36
        )
        octets = b"\x36\1" + block.to_bytes(2, "little") + b"\7\0"
        found = judging.judge("slave", octets)
        assert (found.result, found.text) == (
            "rejected",
            "rejected: crc: no legal sequence number fits",
        )

    def test_unrelated_blocks_are_rejected_in_the_middle(self) -> None:
        judging = start("fscp-12-1", fresh=False)
        sender, octets = stream("fscp-12-1", 9)[16]
        broken = octets[:5] + bytes([octets[5] ^ 1]) + octets[6:]
        found = judging.judge(sender, broken)
        assert found.text == "rejected: blocks: block 1 does not belong to block 0"


class TestOthers:
    def test_13_1_time_runs_by_itself_or_as_told(self) -> None:
        making = start("fscp-13-1")
        assert (
            frame.parse(
                "fscp-13-1", making.produce("5", data=b""), manager_id=bytes(range(6))
            ).values["consecutive_time"]
            == 1
        )
        told = making.produce("5", data=b"", consecutive_time=65535)
        wrapped = making.produce("5", data=b"")
        judging = start("fscp-13-1")
        assert judging.judge("5", told).result == "accepted"
        assert judging.judge("5", wrapped).result == "accepted"
        found = judging.judge("5", told)
        assert found.text == "rejected: consecutive time 65535 is not newer than 0"

    def test_2_1_rollover_and_order(self) -> None:
        base = {"format": "base", "producer": (1, 2, 3), "consumer": (4, 5, 6)}
        making = frame.session("fscp-2-1", **base)
        judging = frame.session("fscp-2-1", **base, fresh=False)
        first = making.produce("producer", data=b"\1", time_stamp=65000)
        second = making.produce("producer", data=b"\1", time_stamp=100)
        found = judging.judge("producer", first)
        assert found.text == "cannot be judged, because the last time stamp is not known"
        assert judging.judge("producer", second).result == "accepted"
        found = judging.judge("producer", first)
        assert found.text == "rejected: time stamp 65000 is not newer than 100"
        coordination = making.produce("consumer", ack=0x0A, consumer_time=1)
        found = judging.judge("producer", coordination)
        assert found.text == "rejected: no frame of a producer"
        with pytest.raises(UsageError, match="producing this frame needs the value time_stamp"):
            making.produce("producer", data=b"\1")

    @given(
        data=st.binary(min_size=1, max_size=12),
        rollover=st.integers(0, 65535),
        stamp=st.integers(0, 65535),
        step=st.integers(1, 32767),
        bit=st.integers(0, 10_000),
    )
    def test_2_1_a_stream_shows_its_rollover_count(
        self, data: bytes, rollover: int, stamp: int, step: int, bit: int
    ) -> None:
        known = {"format": "extended", "producer": (1, 2, 3), "consumer": (4, 5, 6)}
        making = frame.session("fscp-2-1", **known, rollover=rollover)
        frames = [
            making.produce("producer", data=data, time_stamp=(stamp + at * step) % 65536)
            for at in range(3)
        ]
        judging = frame.session("fscp-2-1", **known, fresh=False)
        results = [judging.judge("producer", each).result for each in frames]
        assert results == ["unknown", "accepted", "accepted"]
        spoilt = bytearray(frames[0])
        spoilt[bit // 8 % len(spoilt)] ^= 1 << bit % 8
        joining = frame.session("fscp-2-1", **known, fresh=False)
        first = joining.judge("producer", bytes(spoilt)).result
        is_ping = len(data) < 3 and bit // 8 % len(spoilt) == len(data) and bit % 8 < 2
        if first == "unknown" and not is_ping:
            assert joining.judge("producer", frames[1]).result == "rejected"
        other = frame.session("fscp-2-1", **known | {"producer": (1, 2, 4)}, fresh=False)
        if len(data) > 2:
            found = other.judge("producer", frames[0])
            assert found.text == (
                "rejected: no rollover count makes the checksums of this frame right"
            )

    def test_13_1_senders_are_addresses(self) -> None:
        making = start("fscp-13-1")
        for sender in ("1", "1023"):
            octets = making.produce(sender, data=b"")
            assert frame.parse("fscp-13-1", octets).values["address"] == int(sender)
        for sender in ("0", "1024", "-1", "x", ""):
            with pytest.raises(UsageError, match=r"a sender must be an address 1\.\.1023 as text"):
                making.produce(sender, data=b"")

    @pytest.mark.parametrize(
        ("profile", "settings"), [*SETTINGS.items(), ("en50325-5", {"identifier_1": 0x111})]
    )
    def test_who_is_no_sender_is_refused_whatever_the_frame(
        self, profile: str, settings: dict[str, Any]
    ) -> None:
        """No octets of nobody are judged, those of a management frame of FSCP 13/1 neither."""
        session = frame.session(profile, **settings)
        for octets in (b"", bytes(6), bytes((1, 44 << 2, 1)) + bytes(12)):
            with pytest.raises(UsageError, match="a sender must be "):
                session.judge("0", octets)
        with pytest.raises(UsageError, match="a sender must be "):
            session.produce("0", data=b"")

    def test_3_1_makes_the_published_frames(self) -> None:
        """Number and toggle bit come from the session; the other status bits from the caller."""
        path = Path(__file__).parents[2] / "vectors" / "published" / "fscp-3-1-capture.json"
        making = start("fscp-3-1")
        for case in cases.load(path).cases:
            carried = frame.parse("fscp-3-1", case.octets).values
            status = carried["status"] ^ 0x20  # a wrong toggle bit is put right.
            made = making.produce("device", data=carried["data"], status=status)
            assert made == case.octets

    def test_3_1_toggle_and_learning(self) -> None:
        known = SETTINGS["fscp-3-1"]
        judging = start("fscp-3-1")
        odd = frame.build("fscp-3-1", data=b"", status=0x20, number=0, **known)
        found = judging.judge("device", odd)
        assert found.text == "rejected: the toggle bit does not follow number 0"
        judging = start("fscp-3-1", fresh=False)
        wrong = frame.build("fscp-3-1", data=b"", status=0, number=400, **known)
        found = judging.judge("device", wrong)
        assert found.text.endswith("; the CRC would be right with number 400")
        results = []
        for number in (7, 8, 9):
            octets = frame.build(
                "fscp-3-1", data=b"", status=number % 2 * 0x20, number=number, **known
            )
            results.append(judging.judge("device", octets).result)
        assert results == ["rejected"] * 3

    def test_3_1_changed_data_under_one_number(self) -> None:
        """The public capture holds such a pair: both CRCs are right, so both are accepted."""
        known = SETTINGS["fscp-3-1"]
        rows = [(0, b"a", 0x40), (1, b"a", 0x20), (1, b"b", 0x20), (2, b"b", 0), (1, b"c", 0x20)]
        built = [
            frame.build("fscp-3-1", data=data, status=status, number=number, **known)
            for number, data, status in rows
        ]
        judging = start("fscp-3-1")
        found = [judging.judge("device", octets) for octets in built]
        assert [each.result for each in found] == ["accepted"] * 4 + ["rejected"]
        assert found[2].text == "accepted: changed data under number 1 again"

    def test_3_1_the_number_begins_again_where_a_frame_says_so(self) -> None:
        known = SETTINGS["fscp-3-1"]
        for sender, bit in (("device", 0x40), ("host", 0x04)):
            judging = start("fscp-3-1")
            for number in (0, 1, 2):
                status = number % 2 * 0x20
                octets = frame.build("fscp-3-1", data=b"a", status=status, number=number, **known)
                assert judging.judge(sender, octets).result == "accepted"
            plain = frame.build("fscp-3-1", data=b"b", status=0, number=0, **known)
            assert judging.judge(sender, plain).result == "rejected"
            again = frame.build("fscp-3-1", data=b"b", status=bit, number=0, **known)
            assert judging.judge(sender, again).result == "accepted"
            after = frame.build("fscp-3-1", data=b"b", status=0x20, number=1, **known)
            assert judging.judge(sender, after).result == "accepted"
        assert start("fscp-3-1", fresh=False).judge("host", b"abc").result == "rejected"

    def test_what_is_known_of_every_data_frame_builds_one(self) -> None:
        known = start("fscp-13-1").known("12")
        assert known == {"address": 12, "domain": 3, "manager_id": bytes(range(6))}
        octets = frame.build("fscp-13-1", data=b"\1", consecutive_time=1, **known)
        assert start("fscp-13-1").judge("12", octets).result == "accepted"
        assert start("fscp-13-1").judge("13", octets).result == "rejected"

    def test_opcua_frame_that_nobody_has_written_into(self) -> None:
        judging = start("opcua-safety")
        sent = stream("opcua-safety", 1)
        for sender, octets in sent:
            found = judging.judge(sender, bytes(len(octets)))
            assert found.result == "ignored"
            assert found.text == "all octets are 0: a receiver passes over such a frame"
        assert [judging.judge(*each).result for each in sent] == ["accepted", "accepted"]

    def test_opcua_request_is_answered_once(self) -> None:
        judging = start("opcua-safety")
        (consumer, request), (provider, response) = stream("opcua-safety", 1)
        numbers = frame.parse("opcua-safety", response).values
        known = {name: numbers[name] for name in ("consumer_id", "monitoring_number")}
        known |= {f"spdu_id_{place}": place for place in (1, 2, 3)}
        other = frame.build("opcua-safety", data=b"other", **known)
        assert judging.judge(consumer, request).result == "accepted"
        assert judging.judge(provider, response).result == "accepted"
        found = judging.judge(provider, other)
        assert found.result == "repeat"
        assert found.text == "this request has been answered: not a new frame"
        broken = other[:-1] + bytes([other[-1] ^ 1])
        assert judging.judge(provider, broken).result == "rejected"

    def test_opcua_order(self) -> None:
        making = start("opcua-safety", start=0xFFFFFFFF)
        with pytest.raises(UsageError, match="a response must follow a request"):
            making.produce("provider", data=b"\1")
        request = making.produce("consumer")
        assert frame.parse("opcua-safety", request).values["monitoring_number"] == 0xFFFFFFFF
        response = making.produce("provider", data=b"\1")
        second = making.produce("consumer")
        assert frame.parse("opcua-safety", second).values["monitoring_number"] == 256
        judging = start("opcua-safety", fresh=False)
        found = judging.judge("provider", response)
        assert found.text == "cannot be judged, because monitoring_number is not known"
        found = judging.judge("provider", request)
        assert found.text == "rejected: a provider sends no request"
