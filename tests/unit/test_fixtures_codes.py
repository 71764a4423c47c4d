"""The identification set tells which wire bit each consumer bit follows."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._errors import UsageError
from safeframe.fixtures import Follow, identification, identify, walking_one


def readings(wiring: list[Follow], frames: tuple[bytes, ...]) -> list[list[int]]:
    """Return what consumer bits with this wiring read in each frame."""
    rows = []
    for frame in frames:
        word = int.from_bytes(frame, "little")
        rows.append(
            [(0 if each.wire is None else word >> each.wire & 1) ^ each.inverted for each in wiring]
        )
    return rows


class TestIdentification:
    """The set MUST name, for every consumer bit, the wire bit it follows, inverted or constant."""

    @pytest.mark.parametrize("size_bits", range(1, 65))
    def test_every_single_wiring_of_every_size(self, size_bits: int) -> None:
        frames = identification(size_bits)
        wiring = [
            Follow(wire=wire, inverted=inverted)
            for wire in (None, *range(size_bits))
            for inverted in (False, True)
        ]
        assert identify(readings(wiring, frames), size_bits) == tuple(wiring)

    @given(data=st.data(), size_bits=st.integers(1, 64))
    def test_any_wiring_at_once(self, data: st.DataObject, size_bits: int) -> None:
        wires = st.none() | st.integers(0, size_bits - 1)
        follows = st.builds(Follow, wire=wires, inverted=st.booleans())
        wiring = data.draw(st.lists(follows, min_size=1, max_size=64))
        rows = readings(wiring, identification(size_bits))
        assert identify(rows, size_bits) == tuple(wiring)

    @pytest.mark.parametrize("size_bits", range(1, 65))
    def test_the_number_of_frames(self, size_bits: int) -> None:
        frames = identification(size_bits)
        assert len(frames) == 2 + 2 * math.ceil(math.log2(size_bits + 1))
        assert not any(frames[0])
        assert {len(frame) for frame in frames} == {-(-size_bits // 8)}
        assert all(int.from_bytes(frame, "little") < 1 << size_bits for frame in frames)

    def test_sixteen_bits_need_twelve_frames(self) -> None:
        assert [frame.hex() for frame in identification(16)] == [
            "0000",
            "ffff",
            "5555",
            "aaaa",
            "6666",
            "9999",
            "7878",
            "8787",
            "807f",
            "7f80",
            "0080",
            "ff7f",
        ]
        assert len(list(walking_one(16))) == 17


GATES: dict[str, Callable[[int, int], int]] = {
    "and": lambda left, right: left & right,
    "or": lambda left, right: left | right,
    "xor": lambda left, right: left ^ right,
    "and not": lambda left, right: left & (right ^ 1),
}


class TestGates:
    """A gate of two wires MUST NOT be told as one wire, whichever the wires are."""

    @pytest.mark.parametrize("size_bits", [*range(2, 33), 63, 64])
    @pytest.mark.parametrize("gate", GATES)
    def test_every_pair(self, gate: str, size_bits: int) -> None:
        words = [int.from_bytes(frame, "little") for frame in identification(size_bits)]
        made = GATES[gate]
        pairs = [
            (left, right)
            for left in range(size_bits)
            for right in range(size_bits)
            if left < right or (left != right and gate == "and not")
        ]
        for inverted in (0, 1):
            rows = [
                [made(word >> left & 1, word >> right & 1) ^ inverted for left, right in pairs]
                for word in words
            ]
            assert set(identify(rows, size_bits)) == {None}


def test_walking_one() -> None:
    assert list(walking_one(3)) == [b"\x00", b"\x01", b"\x02", b"\x04"]


def test_refusals() -> None:
    with pytest.raises(UsageError, match=r"^size_bits must be 1 or more, not 0$"):
        identification(0)
    with pytest.raises(UsageError, match=r"^size_bits must be 1 or more, not -1$"):
        list(walking_one(-1))
    with pytest.raises(UsageError, match=r"^readings must be of 6 frames, not 2$"):
        identify([[0], [1]], 2)
