"""FSCP 13/1: management frames, object access, the power-up of a node by its manager."""

from __future__ import annotations

import dataclasses
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import capture, cases, fixtures, frame
from safeframe._errors import FrameError, UsageError
from safeframe._link import Link, link_of
from safeframe._model import Connection
from safeframe.capture import Judge
from safeframe.protocols import fscp_13_1
from safeframe.protocols.fscp_13_1 import Access, command, download, pack, unpack, upload
from tests import second

from .links import make

MANAGER_ID = bytes.fromhex("0060650012ab")
KNOWN: dict[str, Any] = {"domain": 0x101, "manager_id": MANAGER_ID}


def management(identity: int, data: bytes, **values: Any) -> bytes:
    both = {"id": identity, "data": data, "address": 2, "target": 1}
    return frame.build("fscp-13-1", **both | KNOWN | values)


def failing(octets: bytes, **known: Any) -> str:
    with pytest.raises(FrameError) as caught:
        frame.verify("fscp-13-1", octets, **known)
    return str(caught.value)


def meaning(octets: bytes, name: str = "data_1") -> str:
    seen = frame.inspect("fscp-13-1", octets, domain=0x101)
    return next(part.meaning for part in seen.parts if part.name == name)


class TestFrames:
    def test_never_under_the_manager_id(self) -> None:
        """Ids 40 to 47 MUST be the same whatever the manager id, and readable without it."""
        for identity, data in ((40, b""), (41, bytes(6)), (44, b"\x08"), (45, b"\3"), (47, b"")):
            made = management(identity, data)
            assert made == management(identity, data, manager_id=bytes(6))
            parsed = frame.verify("fscp-13-1", made, domain=0x101, target=1, request=0)
            assert (parsed.kind, parsed.values["target"]) == ("management", 1)
            assert frame.verify("fscp-13-1", made, **KNOWN).data == data
            assert frame.inspect("fscp-13-1", made, domain=0x101).covers[1].computed is not None

    @given(
        st.sampled_from(sorted(fscp_13_1.MANAGEMENT)),
        st.binary(max_size=30),
        st.integers(1, 1023),
        st.integers(1, 1023),
        st.integers(1, 1023),
    )
    def test_second_implementation(
        self, identity: int, data: bytes, address: int, target: int, domain: int
    ) -> None:
        made = frame.build(
            "fscp-13-1", id=identity, data=data, address=address, target=target, domain=domain
        )
        assert made == second.frame_13_1(
            data, identity, address=address, target=target, domain=domain
        )

    @pytest.mark.parametrize(
        ("identity", "data", "change", "text"),
        [
            (44, b"\x08", {"consecutive_time": 1}, "zeros: consecutive_time must be 0 in"),
            (44, b"\x08", {"request": 3}, "zeros: request must be 0 in management frames, not 3"),
            (40, b"\1", {}, "payload: id 40 must carry 0 octets, not 1"),
            (42, bytes(5), {}, "payload: id 42 must carry 6 octets, not 5"),
            (44, b"", {}, "payload: id 44 must carry a command octet"),
            (44, b"\3", {}, "payload: the command of a request must be even, not 3"),
            (45, b"\x08", {}, "payload: the command of a response must be odd, not 8"),
            (44, b"\2\0", {}, "payload: command 2 must carry 5 octets, not 2"),
            (
                45,
                b"\x11",
                {},
                "payload: cannot be judged, because the fields of command 17 are not known",
            ),
        ],
    )
    def test_refused(self, identity: int, data: bytes, change: dict[str, int], text: str) -> None:
        assert failing(management(identity, data, **change), **KNOWN).startswith(text)

    def test_the_copies_must_agree(self) -> None:
        one, two = management(44, b"\0"), management(44, b"\x08")
        half = len(one) // 2
        assert failing(one[:half] + two[half:], **KNOWN).startswith("copies: ")

    @pytest.mark.parametrize(
        ("identity", "data", "text"),
        [
            (40, b"", "no data"),
            (41, MANAGER_ID, "unique id 00 60 65 00 12 ab"),
            (44, b"\x08", "command 8: guard"),
            (44, b"\2\4\3\2\1", "command 2: set to operational, time_stamp 16909060"),
            (44, b"\x0e" + MANAGER_ID, "command 14: assign the manager id, manager_id 00 60 65"),
            (45, b"\x0f" + bytes(6), "manager_id 00 00 00 00 00 00, refused"),
            (45, b"\5\0\0\x09\0", "additional address taken, address 0, data_set 9, refused"),
            (45, b"\5\1\0\x09\0", "command 5: additional address taken, address 1, data_set 9"),
            (45, b"\7\2\1", "command 7: failure, error_group 2 (parameter), error_code 1"),
            (45, b"\7\x09\1", "command 7: failure, error_group 9, error_code 1"),
            (45, b"\x11", "command 17, not offered"),
            (42, b"", "id 42 must carry 6 octets, not 0"),
        ],
    )
    def test_meanings(self, identity: int, data: bytes, text: str) -> None:
        assert text in meaning(management(identity, data))

    def test_meanings_of_the_other_parts(self) -> None:
        made = management(44, b"\x08")
        assert meaning(made, "address_1") == (
            "address 2 of the receiver, id 44: request with a command"
        )
        assert meaning(made, "ct_low") == "0 in management frames"
        assert meaning(made, "target") == "address of the sender; time request 0"
        assert meaning(made, "length") == "1 data octets"


class TestCommands:
    @pytest.mark.parametrize("number", fscp_13_1.COMMANDS)
    def test_every_command_is_built_and_accepted(self, number: int) -> None:
        fields: dict[str, Any] = {
            name: bytes(size) if name in ("manager_id", "time") else 3
            for name, size in fscp_13_1.COMMANDS[number].fields
        }
        payload = command(number, **fields)
        identity = 45 if number % 2 else 44
        assert frame.verify("fscp-13-1", management(identity, payload), **KNOWN).data == payload
        for answer in fscp_13_1.COMMANDS[number].answers:
            assert answer % 2

    @pytest.mark.parametrize(
        ("number", "fields", "text"),
        [
            (18, {}, "command must be one of 0, 1, 2, 3, .*, not 18"),
            (2, {}, "the fields of command 2 must be time_stamp, not none"),
            (8, {"address": 1}, "the fields of command 8 must be none, not address"),
            (2, {"time_stamp": 1 << 32}, r"time_stamp must be 0\.\.4294967295, not 4294967296"),
            (14, {"manager_id": b"\1"}, r"manager_id must be 6 octets, not b'\\x01'"),
            (14, {"manager_id": 5}, "manager_id must be 6 octets, not 5"),
            (12, {"error_group": b"", "error_code": 0}, r"error_group must be 0\.\.255, not b''"),
        ],
    )
    def test_refused(self, number: int, fields: dict[str, Any], text: str) -> None:
        with pytest.raises(UsageError, match=f"^{text}$"):
            command(number, **fields)


def whole(
    make_turns: Callable[..., Any], data: bytes, segment_octets: int
) -> tuple[list[Access], list[Access], bytes]:
    """Return requests, responses and the octets that a transfer carries."""
    turns = list(make_turns(0x1018, 6, data, segment_octets=segment_octets))
    asked = [unpack(turn.request, asks=True) for turn in turns]
    answered = [unpack(turn.response, asks=False) for turn in turns]
    assert [pack(each) for each in asked] == [turn.request for turn in turns]
    assert [pack(each) for each in answered] == [turn.response for turn in turns]
    assert max(map(len, (part for turn in turns for part in turn))) <= segment_octets
    carrying = asked if make_turns is download else answered
    return asked, answered, b"".join(each.data for each in carrying)


class TestAccess:
    @given(st.sampled_from((download, upload)), st.binary(max_size=700), st.integers(8, 254))
    def test_a_transfer_carries_the_object(
        self, make_turns: Callable[..., Any], data: bytes, segment_octets: int
    ) -> None:
        """Segments MUST add up to the object, toggle from 1 on, and end with the last one."""
        asked, answered, carried = whole(make_turns, data, segment_octets)
        assert carried == data
        assert [each.toggle for each in asked] == [each.toggle for each in answered]
        if len(asked) == 1 and answered[0].step.endswith("short form"):
            return
        carrying = asked if make_turns is download else answered
        assert carrying[0].length == len(data)
        assert [each.toggle for each in carrying] == [at % 2 for at in range(len(carrying))]
        steps = [each.step.partition(", ")[2] for each in carrying]
        middle = ["middle segment"] * (len(steps) - 2)
        assert steps == ["first segment", *middle, "last segment"]

    @pytest.mark.parametrize("make_turns", [download, upload])
    @pytest.mark.parametrize("octets", [7, 14, 70])
    def test_the_last_segment_may_be_full(self, make_turns: Any, octets: int) -> None:
        turns = list(make_turns(0x1018, 6, bytes(octets), segment_octets=8))
        asks = make_turns is download
        carrying = [turn.request if asks else turn.response for turn in turns]
        ends = [unpack(each, asks=asks).step.endswith("last segment") for each in carrying]
        assert ends == [False] * (octets // 7) + [True]
        assert len(carrying[-1]) == 8

    def test_every_sub_index_has_a_place(self) -> None:
        assert next(download(0xFFFF, 0xFF, b"")).request[1:4] == b"\xff\xff\xff"
        with pytest.raises(UsageError, match=r"must be 0..65535 and 0..255, not 1 and 256"):
            next(download(1, 0x100, b""))

    def test_a_recorded_transfer(self) -> None:
        """Payloads as the open stack took and sent them."""
        turns = list(download(0x1018, 6, b"\1\2\3\4", segment_octets=8))
        assert [turn.request.hex() for turn in turns] == ["2118100601020304"]
        turns = list(download(0x1018, 6, bytes(8), segment_octets=8))
        assert [(turn.request.hex(), turn.response.hex()) for turn in turns] == [
            ("2918100608000000", "29181006"),
            ("1900000000000000", "19"),
            ("4900", "49"),
        ]
        turns = list(upload(0x1018, 6, bytes(8), segment_octets=8))
        assert [(turn.request.hex(), turn.response.hex()) for turn in turns] == [
            ("20181006", "2818100608000000"),
            ("18181006", "1800000000000000"),
            ("08181006", "4800"),
        ]

    @pytest.mark.parametrize(
        ("payload", "asks", "text"),
        [
            ("20181001", True, "upload, short form, object 0x1018.1"),
            ("2818100600000000", False, "length not known in advance"),
            (
                "0400c00141000406",
                False,
                "object 0xC000.1, code 0x06040041 (cannot be mapped)",
            ),
            ("0418100600000408", True, "code 0x08040000 (not seen in the run)"),
            ("1901020304", True, "download, middle segment, toggle 1, data 01 02 03 04"),
            ("ff181001", True, "unknown command 0xFF, object 0x1018.1, toggle 1"),
            ("30181001", True, "unknown command 0x30, object 0x1018.1, toggle 1"),
            ("", True, "a service must carry a command octet"),
            ("2018", True, "a service with command 0x20 must carry index and sub-index"),
            ("0418100601", True, "must carry an abort code: at least 8 octets, not 5"),
            ("2818100601", False, "must carry the length of the object: at least 8 octets, not 5"),
        ],
    )
    def test_explained(self, payload: str, asks: bool, text: str) -> None:
        octets = frame.build(
            "fscp-13-1",
            data=bytes.fromhex(payload),
            id=56 if asks else 57,
            address=2,
            target=1,
            **KNOWN,
        )
        assert text in meaning(octets)

    @pytest.mark.parametrize(
        ("code", "text"),
        [
            ("05040001", "unknown command"),
            ("05040002", "segment size"),
            ("06010002", "not writable"),
            ("06020000", "no such object"),
            ("06040041", "cannot be mapped"),
            ("06070010", "length does not fit"),
            ("06090031", "value too high"),
            ("08000022", "not in this state"),
        ],
    )
    def test_abort_codes_of_the_run(self, code: str, text: str) -> None:
        payload = bytes.fromhex("04181001") + bytes.fromhex(code)[::-1]
        made = frame.build("fscp-13-1", data=payload, id=57, address=2, target=1, **KNOWN)
        assert meaning(made) == f"abort, object 0x1018.1, code 0x{code} ({text})"

    def test_the_time_is_the_number_of_the_access(self) -> None:
        octets = frame.build("fscp-13-1", data=b"\x20", id=56, address=2, target=1, **KNOWN)
        assert meaning(octets, "ct_low") == "number of the access, low octet"
        assert meaning(octets, "data_2") == "data again (octet 0 under the manager id)"

    def test_refused(self) -> None:
        with pytest.raises(UsageError, match=r"segment_octets must be 8\.\.254, not 7"):
            next(download(1, 1, b"", segment_octets=7))
        with pytest.raises(UsageError, match=r"segment_octets must be 8\.\.254, not 255"):
            next(upload(1, 1, b"", segment_octets=255))
        with pytest.raises(UsageError, match=r"must be 0\.\.65535 and 0\.\.255, not 65536 and 1"):
            pack(Access(0x20, (65536, 1)))

    def test_the_order_of_the_values_is_that_of_their_indices(self) -> None:
        """The check value MUST NOT depend on the order in which the values are given."""
        (case,) = cases.load("vectors/published/fscp-13-1-parameter-check.json").cases
        values, at = [], 0
        for word in str(case.inputs["objects"]).split():
            index, sub_index, size = re.fullmatch(r"(\w+)\.(\w+):(\d+)", word).groups()  # type: ignore[union-attr]
            octets = case.octets[at : at + int(size)]
            values.append((int(index, 16), int(sub_index, 16), octets))
            at += int(size)
        assert fscp_13_1.parameter_check(values[::-1]) == 0x7F6FAE78


def powered(**node: Any) -> Link:
    """Return a link whose first end is the manager of the second."""
    first, end = make("fscp-13-1", 2, 4, {}).connection.ends
    parameters = (*end.parameters, *node.get("parameters", ()))
    return link_of(
        Connection(
            first=dataclasses.replace(first, role=node.get("role", "manager")),
            second=dataclasses.replace(end, parameters=parameters),
        )
    )


class TestPowerUp:
    def test_the_recorded_order(self) -> None:
        link = powered(parameters=(("unique_id", "0060 6500 0002"),))
        (made,) = fixtures.make(link, "start-up", seed=1)
        values = [frame.parse("fscp-13-1", step.octets, **KNOWN).values for step in made.steps]
        shown = [(row["id"], row["data"][:1].hex()) for row in values]
        assert shown == [
            (42, "00"),
            (43, "00"),
            (44, "0e"),
            (45, "0f"),
            (56, "20"),
            (57, "20"),
            (44, "02"),
            (45, "09"),
            (44, "02"),
            (45, "03"),
            (44, "08"),
            (45, "03"),
        ]
        assert values[0]["data"].hex() == "006065000002"
        assert [step.side for step in made.steps] == [0, 1] * 6
        assert {(row["address"], row["target"]) for row in values[::2]} == {(0x24, 0x23)}
        assert {(row["address"], row["target"]) for row in values[1::2]} == {(0x23, 0x24)}

    def test_a_session_accepts_it_and_the_data_after_it(self) -> None:
        link = powered()
        run = fixtures.RunningLink(link, 5)
        judge = Judge(link, fresh=True)
        for step in run.ticks([(bytes(2), bytes(4)), (bytes(2), bytes(4))]):
            assert judge.judge(step.side, step.octets, step.time_us).result == "accepted"

    def test_the_manager_id_holds_once_it_is_confirmed(self) -> None:
        making = frame.session("fscp-13-1", domain=0x101)
        judging = frame.session("fscp-13-1", domain=0x101)
        stream: list[tuple[str, dict[str, Any]]] = [
            ("1", {"id": 44, "data": command(14, manager_id=MANAGER_ID), "address": 2}),
            ("2", {"id": 45, "data": command(15, manager_id=bytes(6)), "address": 1}),
            ("1", {"id": 56, "data": b"\x20\x18\x10\1", "address": 2}),
            ("2", {"id": 45, "data": command(15, manager_id=MANAGER_ID), "address": 1}),
            ("1", {"id": 56, "data": b"\x20\x18\x10\1", "address": 2}),
            ("2", {"data": b"\1"}),
        ]
        made = [(sender, making.produce(sender, **values)) for sender, values in stream]
        assert [judging.judge(*each).result for each in made] == ["accepted"] * 6
        for octets, key in ((made[2][1], bytes(6)), (made[4][1], MANAGER_ID)):
            assert frame.verify("fscp-13-1", octets, domain=0x101, manager_id=key)
        with pytest.raises(UsageError, match="management frame needs the value address"):
            making.produce("1", id=44, data=b"\x08")

    def test_what_the_maps_must_state(self) -> None:
        with pytest.raises(UsageError, match="the maps of SC1-LX give no start-up: the page"):
            fixtures.make(powered(role=""), "start-up")
        with pytest.raises(UsageError, match="the unique_id of LX must be 6 octets, not 2"):
            fixtures.make(powered(parameters=(("unique_id", "0060"),)), "start-up")
        first, end = powered().connection.ends
        bare = [dataclasses.replace(each, parameters=(("domain", 0x101),)) for each in (first, end)]
        link = link_of(Connection(first=bare[0], second=bare[1]))
        with pytest.raises(UsageError, match="SC1 must state manager_id for a start-up"):
            fixtures.make(link, "start-up")

    def test_a_recording_of_it_tells_what_happened(self) -> None:
        link = powered()
        sets = fixtures.make(link, "start-up", seed=1)
        octets = fixtures.write(sets, link, "jsonl", title="t")
        report = capture.examine(capture.read_recording(io.BytesIO(octets)), link, fresh=True)
        assert report.frames == 12
        told = [note.text for note in report.events]
        assert any("address assigned to the node with this unique id" in text for text in told)
        assert any("command 3: operational" in text for text in told)


class TestRecorded:
    def test_address_and_target_by_id(self) -> None:
        """Where the open stack answered, the answer names the manager first and the node second."""
        rows = cases.load("vectors/recorded/fscp-13-1-management.json").cases
        values: list[dict[str, Any]] = [dict(case.inputs) for case in rows]
        assert len(values) == 221
        asked = {(row["address"], row["target"]) for row in values if row["id"] in (40, 42, 44, 56)}
        told = {(row["target"], row["address"]) for row in values if row["id"] in (41, 43, 45, 57)}
        assert len(told & asked) > 3
        assert all(row["consecutive_time"] == 0 for row in values if row["id"] < 48)
