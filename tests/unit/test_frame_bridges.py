"""Maps as constructs and signals as bit strings, against the map codec."""

from __future__ import annotations

from typing import Any

import construct
import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import MapCodec, UsageError, frame
from safeframe._bits import Place
from safeframe._model import Connection, Map, Reserved, Signal
from tests.strategies import clean_connections, maps

MIXED = Map(
    entries=(
        Signal(name="go", at=Place(0, 0), width=1, type="bool"),
        Reserved(at=Place(0, 1), width=7, value=0x55),
        Signal(name="speed", at=Place(1, 0), width=16, type="int", order="big"),
        Signal(name="level", at=Place(3, 2), width=12, type="uint", safe=3),
        Reserved(at=Place(4, 6), width=2),
    )
)


class TestConstruct:
    """A construct of a map MUST read and write what the codec reads and writes."""

    @given(clean_connections("plain"), st.data())
    def test_parses_as_the_codec(self, connection: Connection, data: st.DataObject) -> None:
        map_ = connection.first.sends
        octets = data.draw(st.binary(min_size=map_.size_octets, max_size=map_.size_octets))
        made, codec = frame.construct_of(map_), MapCodec(map_)
        assert made.sizeof() == map_.size_octets
        parsed = made.parse(octets)
        assert list(parsed) == [signal.name for signal in codec.signals]
        assert tuple(parsed.values()) == codec.numbers(octets)
        assert made.build(parsed) == codec.encode(dict(parsed))

    def test_stands_in_a_struct_of_ones_own(self) -> None:
        own = construct.Struct(
            "head" / construct.Int16ul, "safe" / frame.construct_of(MIXED), construct.Terminated
        )
        octets = own.build({"head": 7, "safe": {"go": 1, "speed": -2}})
        assert octets.hex() == "0700abfffe0c00"
        assert own.parse(octets) == {"head": 7, "safe": {"go": 1, "speed": -2, "level": 3}}
        with pytest.raises(construct.StreamError):
            own.parse(octets[:-1])

    @pytest.mark.parametrize(
        ("values", "text"),
        [
            ({"gone": 1}, "a signal of this direction must be named, not 'gone'"),
            ({"go": 2}, "go must be 0..1, not 2"),
        ],
    )
    def test_refused_values(self, values: dict[str, int], text: str) -> None:
        with pytest.raises(UsageError) as caught:
            frame.construct_of(MIXED).build(values)
        assert str(caught.value) == text


class TestBits:
    """The bits of a signal MUST be those at its places, most significant first."""

    @given(maps(), st.data())
    def test_bits_are_the_raw_values(self, map_: Map, data: st.DataObject) -> None:
        size = map_.size_octets
        octets = data.draw(st.binary(min_size=size, max_size=size))
        codec = MapCodec(map_)
        found = frame.bits_of(map_, octets)
        assert list(found) == [signal.name for signal in codec.signals]
        for signal, raw in zip(codec.signals, codec.raws(octets), strict=True):
            assert (found[signal.name].uint, len(found[signal.name])) == (raw, signal.width)

    def test_an_example(self) -> None:
        found = frame.bits_of(MIXED, bytes.fromhex("abfffe0c00"))
        shown: dict[str, Any] = {name: bits.bin for name, bits in found.items()}
        assert shown == {"go": "1", "speed": "1111111111111110", "level": "000000000011"}

    def test_another_size_is_refused(self) -> None:
        with pytest.raises(UsageError, match=r"^safety data must be 5 octets, not 4$"):
            frame.bits_of(MIXED, bytes(4))
