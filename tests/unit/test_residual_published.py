"""Figures that someone else printed, each with its source, and long codes by a second method.

The tables of Koopman (users.ece.cmu.edu/~koopman/crc/, pages hd3.html and hd6.html, read 2026)
list the largest number of data bits for which a CRC keeps a Hamming distance.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from safeframe.residual import (
    Effort,
    Weights,
    bands,
    conditional,
    contiguous,
    peak,
    powers,
    undetected,
    weights,
)
from safeframe.residual import (
    _spectrum as spectrum,
)
from safeframe.residual import (
    _windows as windows,
)

from .. import residual_oracles as oracle

pytestmark = pytest.mark.no_cover

KOOPMAN = [
    # generator, row of the page, {distance: largest data bits}
    (0x1CF, "hd3.html 0xe7", {3: 247, 4: 19, 5: 1, 6: 1, 7: 1}),
    (0x14D, "hd3.html 0xa6", {3: 247, 4: 15, 5: 6}),
    (0x287, "hd3.html 0x143", {3: 502, 4: 10, 5: 10}),
    (0x5FB, "hd3.html 0x2fd", {3: 1013, 4: 16, 5: 16, 6: 5, 7: 1, 8: 1, 9: 1}),
    (0xBAF, "hd3.html 0x5d7", {3: 2036, 4: 28, 5: 26, 6: 3, 7: 2, 8: 2, 9: 1}),
    (0x17BF, "hd3.html 0xbdf", {3: 4083, 4: 59, 5: 33, 6: 6, 7: 1, 8: 1, 9: 1, 10: 1, 11: 1}),
    (0x357F, "hd3.html 0x1abf", {3: 8178, 4: 324, 5: 31, 6: 6, 7: 2, 8: 2, 9: 1, 10: 1, 11: 1}),
    (0x13D65, "hd6.html 0x9eb2", {3: 135, 4: 135, 5: 135, 6: 135, 7: 6, 8: 6, 9: 4, 10: 4}),
    (0x1C4047, "hd6.html 0xe2023", {5: 494, 6: 494, 7: 20, 8: 20}),
    (0x72B6A7, "hd6.html 0x395b53", {7: 34, 8: 34, 9: 4, 10: 4, 11: 4, 12: 4, 13: 2, 14: 2}),
    (0x17B01BD, "hd6.html 0xbd80de", {7: 59, 8: 59, 9: 12, 10: 12, 11: 2, 12: 2, 13: 1, 14: 1}),
    # The limit of the 16-bit CCITT polynomial is general knowledge: order 32767 less 16.
    (0x11021, "CCITT", {3: 32751, 4: 32751}),
]


@pytest.mark.parametrize(
    ("generator", "limits"),
    [pytest.param(generator, limits, id=row) for generator, row, limits in KOOPMAN],
)
def test_each_distance_ends_where_the_table_says(generator: int, limits: dict[int, int]) -> None:
    width = generator.bit_length() - 1
    for distance, data in limits.items():
        inside = weights(contiguous(generator, data + width)).distance
        beyond = weights(contiguous(generator, data + width + 1)).distance
        assert inside is not None
        assert beyond is not None
        assert inside >= distance > beyond


@pytest.mark.parametrize(
    ("generator", "four", "six"),
    [(0x1C4047, 1006, 494), (0x72B6A7, 2028, 1004), (0x17B01BD, 4074, 2026)],
    ids=["hd6.html 0xe2023", "hd6.html 0x395b53", "hd6.html 0xbd80de"],
)
def test_long_limits_of_even_codes_by_order_and_pair_sums(
    generator: int, four: int, six: int
) -> None:
    """Distance 4 ends at the order of x, distance 6 where two pairs of columns first agree."""
    width = generator.bit_length() - 1
    columns = powers(generator, range(four + width + 1))
    assert generator.bit_count() % 2 == 0
    assert len(set(columns)) == four + width
    assert columns[-1] == columns[0]
    assert four_by_pair_sums(generator, six + width) == 0
    assert four_by_pair_sums(generator, six + width + 1) > 0


def test_bands_find_the_limits_of_a_table_row() -> None:
    found = bands(0x13D65, 200)
    assert [(band.distance, band.first, band.last) for band in found] == [
        (10, 1, 4),
        (8, 5, 6),
        (6, 7, 135),
        (2, 136, 200),
    ]
    assert found[-1].patterns == oracle.by_trial(powers(0x13D65, range(216)), 2)[2]


def of_length(generator: int, lengths: list[int]) -> dict[int, Weights]:
    """Return the weights of one 32-bit CRC for several lengths, in one walk on two processes."""
    way = windows.plan(generator)
    assert way is not None
    found = {}
    walked = windows.histograms(way, lengths, processes=2)
    for bits, counts in zip(lengths, walked, strict=True):
        rest = spectrum.remainder(way, bits)
        dual = tuple(a + b for a, b in zip(counts, rest, strict=True))
        found[bits] = Weights(
            bits=bits,
            check_bits=32,
            rank=32,
            counts=tuple(spectrum.from_dual(dual, 32, min(bits, spectrum.LOW_ORDERS))),
            dual=dual,
        )
    return found


def four_by_pair_sums(generator: int, bits: int) -> int:
    """Return A_4 from sorted sums of two columns (no word of weight 2 below the order of x)."""
    columns = np.array(powers(generator, range(bits)), np.uint32)
    sums = np.concatenate([columns[:index] ^ columns[index] for index in range(1, bits)])
    sums.sort()
    starts = np.flatnonzero(np.concatenate([[True], sums[1:] != sums[:-1], [True]]))
    runs = np.diff(starts)
    return int((runs * (runs - 1) // 2).sum()) // 3


@pytest.fixture(scope="module")
def ieee() -> dict[int, Weights]:
    return of_length(0x104C11DB7, [300, 301, 12144])


def test_ieee_802_3_distances(ieee: dict[int, Weights]) -> None:
    """HD 6 ends at 268 data bits, HD 5 at 2974 (Koopman, DSN 2002, tables 1 and 2; from memory,
    confirmed here by two methods)."""
    assert ieee[300].counts[1:7] == (0, 0, 0, 0, 0, 361)
    assert ieee[301].counts[1:7] == (0, 0, 0, 0, 1, 368)
    assert four_by_pair_sums(0x104C11DB7, 3006) == 0
    assert four_by_pair_sums(0x104C11DB7, 3007) == 1


def test_ieee_802_3_at_12112_data_bits(ieee: dict[int, Weights]) -> None:
    """A_4 = 223059 at 12112 data bits (Koopman, DSN 2002; from memory). A_5, A_6 and P_ud(1e-4)
    as computed by an independent program."""
    found = ieee[12144]
    assert found.counts[:7] == (1, 0, 0, 0, 223059, 510671733, 1035951197005)
    assert float(undetected(found, Fraction(1, 10**4))) == pytest.approx(8.511824e-12, rel=1e-6)


def test_crc_32c_distances() -> None:
    """HD 6 ends at 5243 data bits (Koopman's table for 0x8F6E37A0; from memory); A_4 at 12144 bits
    as computed by an independent program."""
    found = of_length(0x11EDC6F41, [5275, 12144])
    assert found[5275].distance == 6
    assert four_by_pair_sums(0x11EDC6F41, 5276) == 1
    assert found[12144].counts[:7] == (1, 0, 0, 0, 312496, 0, 2071835232718)


@pytest.fixture(scope="module")
def found() -> dict[int, Weights]:
    return of_length(0x1F4ACFB13, [64, 208, 306, 312, 4208, 12200, 32768])


class TestOpcUaSafety:
    """OPC 10000-15 release 1.05.04, clause 9.3: the conditional probability must stay at or below
    4.0e-10 for 1 to 1500 octets of data. Sampled here; tests/bench/full_opcua.py does all."""

    def test_bound(self, found: dict[int, Weights]) -> None:
        tops = [peak(found[bits], condition=True) for bits in (64, 208, 312, 4208, 12200)]
        assert all(top.value <= Fraction(4, 10**10) for top in tops)

    def test_where_the_bound_is_nearest(self, found: dict[int, Weights]) -> None:
        """3.6716e-10 at p = 0.1415 for 3 octets, ids compared: computed by two programs."""
        top = peak(found[64], condition=True)
        assert float(top.value) == pytest.approx(3.6716e-10, rel=1e-4)
        assert float(top.p) == pytest.approx(0.1415, abs=0.0002)
        whole = peak(found[208], condition=True)
        assert float(whole.value) == pytest.approx(2.3283064372e-10, rel=1e-10)

    def test_counts(self, found: dict[int, Weights]) -> None:
        """As computed by two other programs."""
        assert found[64].counts[8:13] == (8, 0, 76, 0, 1434)
        assert found[208].counts[8:13] == (36242, 0, 15643108, 0, 4613674854)
        assert float(undetected(found[208], Fraction(1, 100))) == pytest.approx(
            5.0761077e-13, rel=1e-7
        )
        assert found[12200].counts[6] == 2130225094664
        assert float(conditional(found[12200], Fraction(1, 10**4))) == pytest.approx(
            6.4623247e-13 / (1 - (1 - 1e-4) ** 12200), rel=1e-6
        )

    def test_distance_8_ends_at_306_bits_and_6_at_32768(self, found: dict[int, Weights]) -> None:
        """Koopman's row for 0xFA567D89: HD 8 to 274 data bits, HD 6 to 32736 (from memory)."""
        assert found[306].distance == 8
        assert found[312].counts[6] == 6
        assert found[32768].distance == 6
        # One bit more holds the bits 0, 1, 32767 and 32768: an undetected pattern of weight 4.
        columns = powers(0x1F4ACFB13, range(32769))
        assert columns[0] ^ columns[1] ^ columns[32767] ^ columns[32768] == 0


def test_safety_polynomials_against_other_programs() -> None:
    """Golden values computed by two independent programs."""
    plain = weights(contiguous(0x139B7, 32))
    assert plain.counts[6:11] == (25, 14, 149, 525, 915)
    assert oracle.by_trial(powers(0x139B7, range(32)), 4)[1:] == [0, 0, 0, 0]
    long = weights(contiguous(0x15D6DCB, 400))
    assert long.counts[6:9] == (654163, 0, 1805827913)
    assert float(undetected(long, Fraction(1, 100))) == pytest.approx(1.6674e-8, rel=1e-4)
    slim = [weights(contiguous(0x15935, bits)).distance for bits in (257, 258, 300)]
    assert slim == [5, 2, 2]
    assert weights(contiguous(0x15935, 300)).counts[2] == 300 - 257


def test_24_bit_frame_crc_keeps_distance_6_to_248_octets() -> None:
    """ISO 17458-2 states HD 6 up to 248 payload octets: 248 x 8 + 40 header bits (from memory)."""
    assert weights(contiguous(0x15D6DCB, 2024 + 24)).distance == 6
    assert weights(contiguous(0x15D6DCB, 2025 + 24)).distance == 4


def test_32_bits_without_numpy_gives_the_same() -> None:
    """Short frames need no numpy: 2^20 undetected patterns, counted in plain integers."""
    found = weights(contiguous(0x1F4ACFB13, 52), Effort(numpy=False))
    assert found.distance == 10
    assert found == weights(contiguous(0x1F4ACFB13, 52))
    assert oracle.by_triples(powers(0x1F4ACFB13, range(52))) == 0
