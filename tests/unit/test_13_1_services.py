"""FSCP 13/1: in service frames the address is the receiver's and the target the sender's."""

from __future__ import annotations

import re
from typing import Any

import pytest

from safeframe import _cli as cli
from safeframe import frame, protocols
from safeframe._errors import UsageError
from safeframe.capture import Judge
from safeframe.capture._locate import LocatedFrame, Locator
from safeframe.capture._packets import Packet
from safeframe.protocols.fscp_13_1._recording import RECORDING

from .links import make

SETTINGS: dict[str, Any] = {"domain": 0x101, "manager_id": bytes.fromhex("0060650012ab")}
# The ends of the test link have the addresses 35 and 36, and no station stands between them.
LINK = make("fscp-13-1", 2, 4, {})
FIRST, SECOND = LINK.senders


def service(identity: int, address: str, target: str, data: bytes = b"\x20\x18\x10\x01") -> bytes:
    """Return a service frame built from values, without a session."""
    return frame.build(
        "fscp-13-1",
        data=data,
        id=identity,
        address=int(address),
        target=int(target),
        consecutive_time=1,
        **SETTINGS,
    )


class TestTexts:
    def test_values_say_whose_the_address_is(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert cli.main(["frame", "values", "fscp-13-1"]) == 0
        text = re.sub(r"\s+", " ", capsys.readouterr().out)
        assert "address of the sender; in service and management frames of the receiver" in text
        assert "other address: 0 in data-only, the sender in service and management frames" in text

    def test_every_part_of_the_facts_says_whose_the_address_is(self) -> None:
        kinds = {kind.name: kind for kind in protocols.load("fscp-13-1").frames}
        told = {
            (name, part.name): part.meaning
            for name, kind in kinds.items()
            for part in kind.parts
            if part.name in ("address", "target")
        }
        assert told["data", "address"].endswith(
            "address of the sender (ids 48..53), of the receiver (ids 56, 57)"
        )
        assert told["data", "target"].endswith("the sender (56, 57)")
        assert told["slim", "address"].endswith("address of the receiver")
        assert told["slim", "target"] == "address of the sender"


class TestSession:
    @pytest.mark.parametrize(("asks", "answers"), [(56, 57), (58, 59)])
    def test_a_request_and_its_answer(self, asks: int, answers: int) -> None:
        making, judging = LINK.session(), LINK.session()
        for number in (1, 2):
            asked = making.produce(FIRST, id=asks, data=b"\x20\x18\x10\x01", address=int(SECOND))
            answer = making.produce(SECOND, id=answers, data=b"\x20", address=int(FIRST))
            carried = [
                frame.parse("fscp-13-1", word, **SETTINGS).values for word in (asked, answer)
            ]
            assert [row["address"] for row in carried] == [int(SECOND), int(FIRST)]
            assert [row["target"] for row in carried] == [int(FIRST), int(SECOND)]
            assert [row["consecutive_time"] for row in carried] == [number, number]
            assert judging.judge(FIRST, asked).result == "accepted"
            assert judging.judge(SECOND, answer).result == "accepted"
            again = judging.judge(SECOND, answer)
            assert again.result == "repeat"
            assert again.inspection.accepted

    def test_the_time_of_data_is_not_the_number_of_an_access(self) -> None:
        making, judging = LINK.session(), LINK.session()
        frames = [
            (FIRST, making.produce(FIRST, data=b"\1\2", consecutive_time=500)),
            (FIRST, making.produce(FIRST, id=56, data=b"\x20", address=int(SECOND))),
            (SECOND, making.produce(SECOND, id=57, data=b"\x20", address=int(FIRST))),
            (FIRST, making.produce(FIRST, data=b"\1\2")),
        ]
        assert [judging.judge(*each).result for each in frames] == ["accepted"] * 4
        values = [frame.parse("fscp-13-1", word, **SETTINGS).values for _, word in frames]
        assert [row["consecutive_time"] for row in values] == [500, 1, 1, 501]

    def test_a_frame_of_another_sender_is_rejected(self) -> None:
        found = LINK.session().judge(SECOND, service(56, SECOND, FIRST))
        assert found.text == "rejected: target: target is 0x0023, expected 0x0024"

    def test_an_answer_to_nothing_cannot_be_judged(self) -> None:
        found = LINK.session().judge(SECOND, service(57, FIRST, SECOND))
        assert (found.result, found.text) == (
            "unknown",
            "cannot be judged, because the request it answers is not known",
        )

    def test_an_answer_to_another_access_is_rejected(self) -> None:
        judging = LINK.session()
        making = LINK.session()
        for _ in range(2):
            asked = making.produce(FIRST, id=56, data=b"\x20", address=int(SECOND))
            assert judging.judge(FIRST, asked).result == "accepted"
        found = judging.judge(SECOND, service(57, FIRST, SECOND))
        assert found.text == "rejected: it answers access 1, but access 2 was asked for"

    def test_who_receives_must_be_said(self) -> None:
        with pytest.raises(UsageError, match="frame needs the value address: who receives it"):
            LINK.session().produce(FIRST, id=56, data=b"")


class TestRecordings:
    def test_a_service_frame_is_found_for_its_sender(self) -> None:
        """The address in it is that of the other end, which did not send it."""
        asked = service(56, SECOND, FIRST, b"\x20\x18")
        answer = service(57, FIRST, SECOND, b"\x20\x18\x10\x01")
        found = [
            [each for _, each in Locator(LINK, at={}, sources={}).find(packet) if each]
            for packet in (Packet(1, 1, None, asked), Packet(2, 2, None, answer))
        ]
        assert found == [[LocatedFrame(0, asked, 0, False)], [LocatedFrame(1, answer, 0, False)]]

    def test_a_service_of_a_third_station_is_of_neither_end(self) -> None:
        search, lengths = RECORDING.search, RECORDING.lengths
        assert search is not None
        assert lengths is not None
        asked = service(56, FIRST, "1", b"\x20\x18")
        answer = service(57, "1", FIRST, b"\x20\x18")
        for octets in (asked, answer):
            assert [search(LINK, side, octets) for side in (0, 1)] == [[], []]
            assert [lengths(LINK, side, octets) for side in (0, 1)] == [(), ()]

    def test_a_slim_frame_of_another_length_is_seen(self) -> None:
        lengths = RECORDING.lengths
        assert lengths is not None
        octets = service(58, SECOND, FIRST, bytes(9))
        assert [lengths(LINK, side, octets) for side in (0, 1)] == [(len(octets),), ()]

    def test_a_frame_of_a_third_station_is_right_for_another_connection(self) -> None:
        judge = Judge(LINK, fresh=True)
        assert judge.judge(0, service(56, "77", "1")).result == "foreign"
        assert judge.judge(0, service(56, SECOND, FIRST)).result == "accepted"


def test_each_way_of_asking_has_its_own_number() -> None:
    """Both ends may ask at a time: an answer repeats the number of what it answers."""
    making, judging = (frame.session("fscp-13-1", **SETTINGS) for _ in range(2))
    for _ in range(3):  # The numbers of the two ways differ from here on.
        judging.judge(FIRST, making.produce(FIRST, id=56, address=int(SECOND), data=b"\x20"))
    for asks, answers in ((FIRST, SECOND), (SECOND, FIRST)):
        asked = making.produce(asks, id=56, address=int(answers), data=b"\x20\x18\x10\x01")
        assert judging.judge(asks, asked).result == "accepted"
    for asks, answers in ((FIRST, SECOND), (SECOND, FIRST)):
        answer = making.produce(answers, id=57, address=int(asks), data=b"\x20\x18\x10\x01")
        number = frame.parse("fscp-13-1", answer, **SETTINGS).values["consecutive_time"]
        assert number == (4 if asks == FIRST else 1)
        assert judging.judge(answers, answer).result == "accepted"
