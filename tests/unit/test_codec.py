"""What an end understands when it reads data with its own map."""

from __future__ import annotations

import math
import struct
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from safeframe._bits import Place, run_text
from safeframe._codec import MapCodec, decode, encode, extract, meaning, to_raw, value_of
from safeframe._errors import UsageError
from safeframe._model import Map, Reserved, Signal, owner
from tests.strategies import maps


def signal(at: str = "0.0", width: int = 1, kind: str = "bool", **more: object) -> Signal:
    return Signal(name="x", at=Place.parse(at), width=width, type=kind, **more)  # type: ignore[arg-type]


class TestMeaning:
    @pytest.mark.parametrize(
        ("entry", "raw", "text"),
        [
            (signal(), 0, "0"),
            (signal(), 1, "1"),
            (signal(one_means="brake 2 released"), 1, "1 (brake 2 released)"),
            (signal(one_means="brake 2 released"), 0, "0"),
            (signal(width=2, kind="code", codes=((0, "stop"),)), 0, "0 (stop)"),
            (signal(width=2, kind="code", codes=((0, "stop"),)), 3, "3 (no such code point)"),
            (signal(width=8, kind="uint"), 200, "200"),
            (signal(width=8, kind="uint", unit="mm"), 200, "200 mm"),
            (signal(width=8, kind="int", unit="mm"), 0xFF, "-1 mm"),
            (signal(width=8, kind="int", unit="mm", scale="0.10"), 0xFF, "-0.10 mm"),
            (signal(width=8, kind="uint", scale="100"), 2, "200"),
            (signal(width=32, kind="float", unit="m"), 0x3FC00000, "1.5 m"),
            (
                signal(width=128, kind="uint", scale="0.1"),
                (1 << 128) - 1,
                "34028236692093846346337460743176821145.5",
            ),
            (
                signal(width=64, kind="float", scale="0.12345678901234567890"),
                0x3FB999999999999A,  # 0.1
                "0.012345678901234567890",
            ),
            (signal(width=64, kind="float", scale="0.1"), 0x7FF0000000000000, "Infinity"),
            (signal(width=64, kind="float", scale="0.1"), 0x7FF8000000000000, "NaN"),
        ],
    )
    def test_text(self, entry: Signal, raw: int, text: str) -> None:
        assert meaning(entry, raw) == text


@given(
    st.data(),
    st.integers(1, 1024),
    st.from_regex(r"-?[1-9][0-9]{0,39}(\.[0-9]{1,40})?", fullmatch=True),
)
def test_no_scaled_value_is_rounded(data: st.DataObject, width: int, scale: str) -> None:
    raw = data.draw(st.integers(0, (1 << width) - 1))
    text = meaning(signal(width=width, kind="uint", scale=scale), raw)
    assert Fraction(text) == raw * Fraction(scale)


class TestExtract:
    def test_little_and_big_endian(self) -> None:
        data = bytes.fromhex("000102")
        assert extract(signal("1.0", 16, "uint"), data) == 0x0201
        assert extract(signal("1.0", 16, "uint", order="big"), data) == 0x0102

    def test_beyond_the_data(self) -> None:
        assert extract(signal("1.0"), b"\xff") is None


class TestNumbers:
    @given(st.integers(-128, 127))
    def test_signed(self, number: int) -> None:
        entry = signal(width=8, kind="int")
        assert value_of(entry, to_raw(entry, number)) == number

    @given(st.floats(width=32, allow_nan=False))
    def test_float(self, number: float) -> None:
        entry = signal(width=32, kind="float")
        raw = to_raw(entry, number)
        assert raw == int.from_bytes(struct.pack("<f", number), "little")
        back = value_of(entry, raw)
        assert back == number
        assert math.copysign(1, back) == math.copysign(1, number)

    @pytest.mark.parametrize(
        ("entry", "value", "message"),
        [
            (signal(), 2, r"x must be 0\.\.1, not 2"),
            (signal(), -1, r"x must be 0\.\.1, not -1"),
            (signal(width=8, kind="int"), 128, r"x must be -128\.\.127, not 128"),
            (signal(width=8, kind="uint"), 1.5, r"x must be 0\.\.255, not 1.5"),
            (signal(width=16, kind="float"), 1e9, "x must fit a 16-bit float, not 1000000000.0"),
        ],
    )
    def test_out_of_range(self, entry: Signal, value: float, message: str) -> None:
        with pytest.raises(UsageError, match=message):
            to_raw(entry, value)

    @pytest.mark.parametrize("value", ["1", None, b"1", 1j])
    @pytest.mark.parametrize("kind", ["uint", "float"])
    def test_what_is_no_number(self, kind: str, value: Any) -> None:
        with pytest.raises(UsageError, match=r"^x must be "):
            to_raw(signal(width=32, kind=kind), value)


MAP = Map(
    entries=(
        Signal(name="go", at=Place(0, 0), one_means="go", bind="A"),
        Signal(name="ok", at=Place(0, 1)),
        Reserved(at=Place(0, 2), width=6, value=1),
        Signal(name="height", at=Place(1, 0), width=16, type="uint", order="big", valid_by="ok"),
    )
)


class TestRead:
    def test_texts(self) -> None:
        readings = decode(MAP, bytes.fromhex("01012c"))
        assert readings["go"].text == "1 (go)"
        assert not readings["go"].is_safe
        assert readings["ok"].is_safe
        assert (readings["height"].raw, readings["height"].text) == (300, "300, not valid")
        assert decode(MAP, bytes.fromhex("03012c"))["height"].text == "300"

    @pytest.mark.parametrize("width", [16, 32, 64])
    @pytest.mark.parametrize("safe", [0, 0.0, -0.0, 0.1, -2.5, 1 / 3, 65504])
    def test_what_is_sent_for_safe_is_read_as_safe(self, width: int, safe: float) -> None:
        """The safe value is the one that data carry, whatever more digits the map states."""
        entry = signal(width=width, kind="float", safe=safe)
        map_ = Map(entries=(entry,))
        assert decode(map_, encode(map_, {}))["x"].is_safe
        other = decode(map_, encode(map_, {"x": 7.0}))["x"]
        assert not other.is_safe

    def test_a_safe_value_that_nothing_carries(self) -> None:
        map_ = Map(entries=(signal(width=16, kind="float", safe=1e9),))
        assert not decode(map_, b"\x00\x00")["x"].is_safe

    def test_short_data(self) -> None:
        reading = decode(MAP, b"\x03")["height"]
        assert (reading.raw, reading.text) == (None, "beyond the end of the data")

    def test_repeated_name_counts_once(self) -> None:
        twice = Map(entries=(*MAP.entries, Signal(name="go", at=Place(3, 0))))
        assert decode(twice, bytes(4))["go"].signal.at == Place(0, 0)


class TestWrite:
    def test_values_and_reserved(self) -> None:
        assert encode(MAP, {"go": 1, "height": 300}).hex() == "05012c"
        assert encode(MAP, {}).hex() == "040000"

    def test_unknown_name(self) -> None:
        with pytest.raises(UsageError, match="a signal of this direction must be named, not 'no'"):
            encode(MAP, {"no": 1})

    @given(st.integers(0, 1), st.integers(0, 1), st.integers(0, 65535))
    def test_read_gives_back_what_was_written(self, go: int, ok: int, height: int) -> None:
        readings = decode(MAP, encode(MAP, {"go": go, "ok": ok, "height": height}))
        assert [readings[name].raw for name in ("go", "ok", "height")] == [go, ok, height]


class TestMapCodec:
    """A map read through tables MUST give what each signal gives alone, broken maps too."""

    @given(maps(), st.data())
    def test_numbers_are_those_of_each_signal(self, map_: Map, data: st.DataObject) -> None:
        codec = MapCodec(map_)
        octets = data.draw(st.binary(max_size=map_.size_octets + 2))
        alone = [extract(each, octets) for each in codec.signals]
        assert codec.raws(octets) == alone
        for number, each, raw in zip(codec.numbers(octets), codec.signals, alone, strict=True):
            if raw is None:
                assert number is None
            else:
                assert repr(number) == repr(value_of(each, raw))

    @given(maps(), st.data())
    def test_what_was_encoded_is_decoded(self, map_: Map, data: st.DataObject) -> None:
        codec = MapCodec(map_)
        placed = sorted((entry.start, entry.end) for entry in map_.entries)
        assume(all(one[1] <= two[0] for one, two in pairwise(placed)))
        # A value given by a name is meant for every signal that has it; see the next test.
        assume(len(codec.signals) == len(map_.signals))
        octets = data.draw(st.binary(min_size=map_.size_octets, max_size=map_.size_octets))
        numbers = dict(zip([s.name for s in codec.signals], codec.numbers(octets), strict=True))
        again = codec.encode({name: n for name, n in numbers.items() if n is not None and n == n})
        kept = [
            n if n is not None and n == n else s.safe
            for n, s in zip(numbers.values(), codec.signals, strict=True)
        ]
        assert [*codec.numbers(again)] == kept

    def test_overlapping_and_repeated_signals(self) -> None:
        over = Map(
            entries=(
                Signal(name="a", at=Place(0, 0), width=4, type="uint"),
                Signal(name="b", at=Place(0, 2), width=4, type="uint", safe=1),
            )
        )
        assert encode(over, {"a": 1}).hex() == "05"
        assert MapCodec(over).raws(b"\x3d") == [13, 15]
        twice = Map(entries=(*MAP.entries, Signal(name="go", at=Place(3, 0), safe=1)))
        assert encode(twice, {}).hex() == "04000001"
        assert MapCodec(twice).numbers(bytes(4)) == (0, 0, 0)


def test_owner_and_runs() -> None:
    assert owner(MAP, 0) is MAP.entries[0]
    assert owner(MAP, 5) is MAP.entries[2]
    assert owner(MAP, 99) is None
    assert run_text(10, 11) == "1.2"
    assert run_text(10, 16) == "1.2-1.7"


def test_a_big_endian_value_before_other_data() -> None:
    level = Signal(name="level", at=Place(1, 0), width=16, type="uint", order="big")
    assert extract(level, bytes.fromhex("aa 01 02 03 04")) == 0x0102
    assert MapCodec(Map(entries=(level,))).raws(bytes.fromhex("aa0102")) == [0x0102]
    assert MapCodec(Map(entries=(level,))).raws(bytes.fromhex("aa01020304")) == [0x0102]
    both = Map(entries=(level, Signal(name="rest", at=Place(3, 0), width=8, type="uint")))
    assert MapCodec(both).raws(bytes.fromhex("aa010203")) == [0x0102, 3]
    assert encode(both, {"level": 0x0102, "rest": 3}).hex() == "00010203"


def test_floats_of_64_bits_keep_every_bit() -> None:
    # IEEE 754 binary64 of 0.1, computed by struct and known by every second textbook.
    number = Signal(name="x", at=Place(0, 0), width=64, type="float", safe=0.0)
    assert to_raw(number, 0.1) == 0x3FB999999999999A
    assert value_of(number, 0x3FB999999999999A) == 0.1
    assert to_raw(replace(number, width=32), 0.1) == 0x3DCCCCCD
    assert encode(Map(entries=(number,)), {"x": 0.1}).hex() == "9a9999999999b93f"
    assert meaning(number, 0x3FB999999999999A) == "0.1"


@pytest.mark.parametrize(
    ("number", "more", "told"),
    [
        (5 << 4000, {}, "0x5 * 2^4000"),
        (1, {}, "0x1"),
        (0, {}, "0x0"),
        (3 << 4000, {"scale": "0.1", "unit": "mm"}, "0x3 * 2^4000 * 0.1 mm"),
        (-(1 << 4000), {"type": "int"}, "-0x1 * 2^4000"),
    ],
)
def test_numbers_that_nobody_reads_in_decimals(
    number: int, more: dict[str, str], told: str
) -> None:
    kind = {"type": "uint", **more}
    signal = Signal(name="wide", at=Place(0, 0), width=4096, **kind)  # type: ignore[arg-type]
    assert meaning(signal, to_raw(signal, number)) == told
