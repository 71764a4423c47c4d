"""The identification set tells which wire bit each consumer bit follows."""

from __future__ import annotations

import math

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
        assert len(frames) == 1 + math.ceil(math.log2(size_bits + 1))
        assert not any(frames[0])
        assert {len(frame) for frame in frames} == {-(-size_bits // 8)}
        assert all(int.from_bytes(frame, "little") < 1 << size_bits for frame in frames)

    def test_sixteen_bits_need_six_frames(self) -> None:
        assert [frame.hex() for frame in identification(16)] == [
            "0000",
            "5555",
            "6666",
            "7878",
            "807f",
            "0080",
        ]
        assert len(list(walking_one(16))) == 17


def test_a_bit_that_follows_no_single_wire() -> None:
    # The OR of wires 0 and 3 of five bits: code 1 | 4 = 5 is wire 4, of wires 1 and 4: 2 | 5 = 7.
    frames = identification(5)
    words = [int.from_bytes(frame, "little") for frame in frames]
    rows = [[(word >> 1 | word >> 4) & 1] for word in words]
    assert identify(rows, 5) == (None,)


def test_walking_one() -> None:
    assert list(walking_one(3)) == [b"\x00", b"\x01", b"\x02", b"\x04"]


def test_refusals() -> None:
    with pytest.raises(UsageError, match=r"^size_bits must be 1 or more, not 0$"):
        identification(0)
    with pytest.raises(UsageError, match=r"^size_bits must be 1 or more, not -1$"):
        list(walking_one(-1))
    with pytest.raises(UsageError, match=r"^readings must be of 3 frames, not 2$"):
        identify([[0], [1]], 2)
