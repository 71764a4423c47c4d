"""The package against second implementations that share no code with it, on random values."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import frame
from safeframe._errors import UsageError
from safeframe.protocols.fscp_3_1 import _frame as fscp_3_1
from safeframe.protocols.fscp_12_1 import _frame as fscp_12_1
from safeframe.protocols.opcua_safety import _frame as opcua
from safeframe.protocols.opcua_safety._ids import LEVEL_IDS, MEMBERS, member_types
from tests import second
from tests.unit.frame_values import (
    Case,
    built,
    double,
    values_2_1,
    values_3_1,
    values_12_1,
    values_13_1,
    values_ua,
    word,
)


class TestFrames:
    @given(values_12_1())
    def test_two_formulations_of_the_zero_octets_agree(self, case: Case) -> None:
        """Three zero octets through an engine, or a multiplication by x^40: the same frames."""
        assert built(case) == second.frame_12_1(**case[1])

    @given(values_13_1())
    def test_13_1(self, case: Case) -> None:
        """Both implementations build the same octets."""
        assert built(case) == second.frame_13_1(**case[1])

    @given(values_2_1())
    def test_2_1(self, case: Case) -> None:
        """Both implementations build the same octets."""
        other = second.time_2_1 if "ack" in case[1] else second.frame_2_1
        assert built(case) == other(**case[1])

    @given(values_3_1())
    def test_3_1(self, case: Case) -> None:
        """Both implementations build the same octets."""
        assert built(case) == second.frame_3_1(**case[1])

    @given(values_ua().filter(lambda case: len(case[1]["data"]) < 100))
    def test_opcua(self, case: Case) -> None:
        """Both implementations build the same octets."""
        assert built(case) == second.response_ua(**case[1])


class TestNumbers:
    @given(
        st.fixed_dictionaries(
            {
                "sil": st.integers(0, 3),
                "source_address": word,
                "destination_address": word,
                "watchdog_ms": word,
                "device_parameter_crc": st.none() | double,
                "check_number": st.booleans(),
                "check_device_parameters": st.booleans(),
                "crc_octets": st.sampled_from((3, 4)),
            }
        )
    )
    def test_parameter_crc(self, values: dict[str, Any]) -> None:
        """Both implementations compute the same parameter CRC, and the record verifies."""
        record = fscp_3_1.parameter_record(**values)
        crc = second.parameter_crc_3_1(**values)
        assert fscp_3_1.parameter_crc(record) == crc == int.from_bytes(record[-2:], "big")

    @given(st.text(max_size=12), st.lists(st.sampled_from(sorted(MEMBERS)), max_size=6))
    def test_structure_signature(self, identifier: str, members: list[str]) -> None:
        """Both implementations compute the same signature; names of members do not enter."""
        type_ids = tuple(MEMBERS[name].type_id for name in members)
        assert opcua.structure_signature(identifier, type_ids) == second.signature_ua(
            identifier, type_ids
        )

    @given(st.uuids(), st.integers(1, 4), double, double)
    def test_spdu_ids(self, base: Any, level: int, signature: int, provider_id: int) -> None:
        """Both implementations compute the same three words, from text or from a UUID."""
        values = {"level": level, "signature": signature, "provider_id": provider_id}
        found = opcua.spdu_ids(base_id=base, **values)
        assert found == opcua.spdu_ids(base_id=str(base), **values)
        assert found == second.spdu_ids_ua(str(base), **values)

    @given(st.binary(min_size=2, max_size=2), word, word, st.integers(1, 65535), word)
    def test_later_blocks(
        self, block: bytes, peer_crc0: int, connection_id: int, sequence: int, index: int
    ) -> None:
        """The block index enters low octet first, also above 255, which no frame here reaches."""
        found = fscp_12_1.block_crc(
            block,
            peer_crc0=peer_crc0,
            connection_id=connection_id,
            sequence=sequence,
            command=0x36,
            index=index,
        )
        head = b"".join(
            number.to_bytes(2, "little") for number in (peer_crc0, connection_id, sequence)
        )
        tail = index.to_bytes(2, "little") if index else b""
        assert found == second.crc(16, 0x39B7, head + b"\x36" + tail + block + bytes(3))


class TestOpcUa:
    def test_refused(self) -> None:
        with pytest.raises(UsageError, match=r"a member type must be one of Boolean, .*'String'"):
            member_types("Int16, String")
        assert [member.octets for member in member_types("Int16,Boolean , Guid")] == [2, 1, 16]
        values = {"signature": 1, "provider_id": 1}
        with pytest.raises(UsageError, match=r"level must be 1\.\.4, not 5"):
            opcua.spdu_ids(base_id="72962b91-fa75-4ae6-8d28-b404dc7daf63", level=5, **values)
        with pytest.raises(UsageError, match="base_id must be a GUID, not 'x'"):
            opcua.spdu_ids(base_id="x", level=1, **values)

    def test_members_are_the_built_in_types_of_fixed_length(self) -> None:
        """OPC 10000-6 table 1: 1 to 14 without the text, whose number is 12."""
        rows = [(each.name, each.type_id, each.octets) for each in MEMBERS.values()]
        assert [number for _, number, _ in rows] == [*range(1, 12), 13, 14]
        assert [size for _, _, size in rows] == [1, 1, 1, 2, 2, 4, 4, 8, 8, 4, 8, 8, 16]
        assert [name for name, _, _ in rows] == [
            *("Boolean", "SByte", "Byte", "Int16", "UInt16", "Int32", "UInt32", "Int64", "UInt64"),
            *("Float", "Double", "DateTime", "Guid"),
        ]

    def test_level_ids_are_far_apart(self) -> None:
        """Pairwise Hamming distances of the level ids are at least 21, as the text claims."""
        distances = [(a ^ b).bit_count() for a, b in combinations(LEVEL_IDS.values(), 2)]
        assert distances == [21, 22, 21, 21, 22, 21]

    def test_frame_parsed_by_name(self) -> None:
        ids = dict(zip(("spdu_id_1", "spdu_id_2", "spdu_id_3"), (1, 2, 3), strict=True))
        octets = frame.build(
            "opcua-safety", data=b"\1", consumer_id=4, monitoring_number=256, **ids
        )
        assert frame.parse("opcua-safety", octets).values["spdu_id_3"] == 3
