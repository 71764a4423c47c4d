"""CRC records, the catalogue, and the engine against a reference that works bit by bit."""

from __future__ import annotations

import binascii
import dataclasses
import sys
import zlib
from typing import Any

import anycrc
import pytest
from crccheck import crc as crccheck
from hypothesis import given
from hypothesis import strategies as st

from safeframe import crc
from safeframe._errors import UsageError
from safeframe.crc import CATALOGUE, Algorithm

CHECK_DATA = b"123456789"
by_name = pytest.mark.parametrize("algorithm", CATALOGUE.values(), ids=lambda entry: entry.name)


def bit_serial(algorithm: Algorithm, data: bytes, init: int | None = None) -> int:
    """Compute the model literally: one bit at a time, reflections where the model has them."""
    width = algorithm.width
    register = algorithm.init if init is None else init
    for octet in data:
        order = range(8) if algorithm.refin else range(7, -1, -1)
        for place in order:
            top = register >> (width - 1) & 1
            register = register << 1 & ((1 << width) - 1)
            if top ^ (octet >> place & 1):
                register ^= algorithm.poly
    if algorithm.refout:
        register = int(f"{register:0{width}b}"[::-1], 2)
    return register ^ algorithm.xorout


@st.composite
def algorithms(draw: st.DrawFn) -> Algorithm:
    width = draw(st.sampled_from((8, 16, 24, 32, 64)))
    value = st.integers(0, (1 << width) - 1)
    reflect = draw(st.booleans())
    return Algorithm(
        name="drawn",
        width=width,
        poly=draw(value) | 1,
        init=draw(value),
        refin=reflect,
        refout=reflect,
        xorout=draw(value),
    )


class TestCatalogue:
    @by_name
    def test_check_value(self, algorithm: Algorithm) -> None:
        assert crc.compute(algorithm, CHECK_DATA) == algorithm.check
        assert bit_serial(algorithm, CHECK_DATA) == algorithm.check

    @by_name
    def test_check_value_by_two_libraries(self, algorithm: Algorithm) -> None:
        first = anycrc.CRC(
            algorithm.width,
            algorithm.poly,
            int(f"{algorithm.init:0{algorithm.width}b}"[::-1], 2)
            if algorithm.refin
            else algorithm.init,
            algorithm.refin,
            algorithm.refout,
            algorithm.xorout,
        )
        second = crccheck.Crc(
            algorithm.width,
            algorithm.poly,
            algorithm.init,
            reflect_input=algorithm.refin,
            reflect_output=algorithm.refout,
            xor_output=algorithm.xorout,
        )
        second.process(CHECK_DATA)
        assert (first.calc(CHECK_DATA), second.final()) == (algorithm.check, algorithm.check)

    @by_name
    def test_residue_and_source(self, algorithm: Algorithm) -> None:
        assert crc.residue(algorithm) == algorithm.residue
        assert algorithm.source

    @pytest.mark.parametrize(
        "name",
        [name for name, entry in CATALOGUE.items() if "public catalogue" in entry.source],
    )
    def test_public_catalogue_has_the_same_entry(self, name: str) -> None:
        entry = CATALOGUE[name]
        wanted = (entry.width, entry.poly, entry.init, entry.refin, entry.refout, entry.xorout)
        found = [
            (cls._check_result, cls._residue)
            for cls in crccheck.ALLCRCCLASSES
            if wanted
            == (
                cls._width,
                cls._poly,
                cls._initvalue,
                cls._reflect_input,
                cls._reflect_output,
                cls._xor_output,
            )
        ]
        assert (entry.check, entry.residue) in found

    def test_names_are_keys(self) -> None:
        assert [entry.name for entry in CATALOGUE.values()] == list(CATALOGUE)


class TestEngine:
    @given(algorithms(), st.binary(max_size=40))
    def test_engine_equals_the_model(self, algorithm: Algorithm, data: bytes) -> None:
        """The engine computes what the model says, reflected start registers included."""
        assert crc.compute(algorithm, data) == bit_serial(algorithm, data)

    @given(algorithms(), st.binary(max_size=20), st.data())
    def test_a_given_register_replaces_the_start(
        self, algorithm: Algorithm, data: bytes, draw: st.DataObject
    ) -> None:
        """compute(init=...) takes a register value as the model writes it."""
        init = draw.draw(st.integers(0, (1 << algorithm.width) - 1))
        assert crc.compute(algorithm, data, init=init) == bit_serial(algorithm, data, init)

    @pytest.mark.parametrize("name", ["crc-16/v41", "crc-32"])
    def test_a_start_that_the_register_cannot_hold(self, name: str) -> None:
        algorithm = crc.CATALOGUE[name]
        for init in (-1, 1 << algorithm.width, 1 << 70):
            expected = f"CRC init must fit {algorithm.width} bits, not {init:#x}"
            with pytest.raises(UsageError, match=f"^{expected}$"):
                crc.compute(algorithm, b"1", init=init)
        most = (1 << algorithm.width) - 1
        assert crc.compute(algorithm, b"1", init=most) == bit_serial(algorithm, b"1", most)

    @given(algorithms(), st.binary(max_size=20), st.binary(max_size=20))
    def test_continuing_equals_one_call(
        self, algorithm: Algorithm, head: bytes, tail: bytes
    ) -> None:
        """A CRC of head, continued over tail, is the CRC of both."""
        made = crc.function(algorithm)
        assert made(tail, made(head)) == made(head + tail)

    @given(algorithms(), st.binary(max_size=30))
    def test_residue_does_not_depend_on_data(self, algorithm: Algorithm, data: bytes) -> None:
        """Data followed by their CRC leave the residue in the register."""
        value = crc.compute(algorithm, data)
        word = data + value.to_bytes(algorithm.octets, "little" if algorithm.refin else "big")
        assert crc.compute(algorithm, word) ^ algorithm.xorout == crc.residue(algorithm)

    @given(st.binary(max_size=200))
    def test_standard_library(self, data: bytes) -> None:
        """CRC-32 and CRC-16/V.41 equal the ones of the standard library."""
        assert crc.compute(CATALOGUE["crc-32"], data) == zlib.crc32(data) == binascii.crc32(data)
        assert crc.compute(CATALOGUE["crc-16/v41"], data) == binascii.crc_hqx(data, 0)
        assert crc.compute(CATALOGUE["crc-16/v41-ones"], data) == binascii.crc_hqx(data, 0xFFFF)

    @given(algorithms(), st.binary(max_size=60))
    def test_compiled_and_pure_engine_agree(self, algorithm: Algorithm, data: bytes) -> None:
        """The pure Python engine gives what the engine in use gives."""
        from crcmod import _crcfunpy

        crc.function(algorithm)
        module = sys.modules["crcmod.crcmod"]
        name = f"_crc{algorithm.width}{'r' if algorithm.refin else ''}"
        table = (module._mkTable_r if algorithm.refin else module._mkTable)(
            1 << algorithm.width | algorithm.poly, algorithm.width
        )
        start = algorithm.init
        if algorithm.refin:
            start = int(f"{start:0{algorithm.width}b}"[::-1], 2)
        pure = getattr(_crcfunpy, name)(data, start, table) ^ algorithm.xorout
        assert pure == crc.compute(algorithm, data)

    def test_name_of_the_engine(self, monkeypatch: pytest.MonkeyPatch) -> None:
        assert crc.engine() in ("crcmod (compiled)", "crcmod (pure Python)")
        monkeypatch.setattr(sys.modules["crcmod.crcmod"], "_usingExtension", False)
        assert crc.engine() == "crcmod (pure Python)"
        monkeypatch.setattr(sys.modules["crcmod.crcmod"], "_usingExtension", True)
        assert crc.engine() == "crcmod (compiled)"


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ({"width": 12, "poly": 1}, "a CRC width must be 8, 16, 24, 32 or 64 bits, not 12"),
        ({"width": 8, "poly": 0x107}, "CRC poly must fit 8 bits, not 0x107"),
        ({"width": 8, "poly": 7, "init": -1}, "CRC init must fit 8 bits, not -0x1"),
        ({"width": 8, "poly": 7, "xorout": 256}, "CRC xorout must fit 8 bits, not 0x100"),
        ({"width": 8, "poly": 6}, "a CRC polynomial must end in 1, not 0x6"),
        (
            {"width": 8, "poly": 7, "refin": True},
            "refin and refout must be equal: the engine has one flag for both",
        ),
    ],
)
def test_refused_records(values: dict[str, Any], text: str) -> None:
    with pytest.raises(UsageError) as caught:
        Algorithm(name="bad", **values)
    assert str(caught.value) == text


def test_an_algorithm_is_found_by_what_it_is() -> None:
    first, second = list(CATALOGUE.values())[:2]
    assert {first: 1, second: 2}[dataclasses.replace(first)] == 1
    assert hash(first) == hash(first.name)
