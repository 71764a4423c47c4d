"""Neighbouring fields of a layout are looked up in tables: the result is that of plain shifts."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import Layout, octets_of_bits
from safeframe._errors import UsageError

WIDTHS = st.lists(st.sampled_from((1, 1, 1, 2, 3, 5, 8, 9, 16)), max_size=24)


def neighbours(widths: Sequence[int]) -> Layout:
    """Return a layout without gaps."""
    starts = [sum(widths[:number]) for number in range(len(widths))]
    return Layout(octets_of_bits(sum(widths)), zip(starts, widths, strict=True))


class TestTables:
    """Packing MUST place every value by its shift, and unpacking MUST return it."""

    @given(WIDTHS, st.data())
    def test_agree_with_shifts(self, widths: list[int], data: st.DataObject) -> None:
        layout = neighbours(widths)
        values = [data.draw(st.integers(0, (1 << width) - 1)) for width in widths]
        word = sum(value << start for value, (start, _) in zip(values, layout.fields, strict=True))
        octets = layout.pack(values)
        assert octets == word.to_bytes(layout.size_octets, "little")
        assert layout.unpack(octets) == values

    @given(WIDTHS.filter(bool), st.data())
    def test_a_value_that_does_not_fit_is_refused(
        self, widths: list[int], data: st.DataObject
    ) -> None:
        layout = neighbours(widths)
        wrong = data.draw(st.integers(0, len(widths) - 1))
        values = [0] * len(widths)
        values[wrong] = data.draw(st.sampled_from((1 << widths[wrong], -1)))
        start = layout.fields[wrong][0]
        limit = (1 << widths[wrong]) - 1
        with pytest.raises(UsageError) as caught:
            layout.pack(values)
        assert str(caught.value) == (
            f"the value at {start >> 3}.{start & 7} must be 0..{limit}, not {values[wrong]}"
        )


def test_any_sequence_may_be_packed() -> None:
    layout = neighbours([1, 2, 9])
    assert layout.pack((1, 2, 300)) == layout.pack([1, 2, 300]) == bytes.fromhex("65 09")
    assert layout.pack([True, 2, 300]) == layout.pack([1, 2, 300])
