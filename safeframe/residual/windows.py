"""Weights of all dual words of a long contiguous code, with numpy: time hardly grows with length.

The dual words of a CRC over n contiguous bits are all windows of n bits of the sequences that obey
the recurrence of its generator. Along a sequence the weight changes only by the bit that enters
and the bit that leaves, so one pass over all sequences gives the weight of every window. The
sequences come from the factors of the generator g: with g = f h, f irreducible and no factor of
h, each state is an element of one orbit of f combined with any state of h.

Eight windows that start in one octet are counted at once: their weights are neighbours, so the
lowest weight and one of 128 shapes (how many windows have each weight above it) say it all.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from . import fields
from .workers import Progress, shared_out

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Plan", "available", "cost_s", "histograms", "plan"]

_WORD = 32
"""A sequence is kept in words of this many bits, so a generator has at most this degree."""
_MOST_ORBITS = 64
"""More and shorter orbits would spend the time on their ends."""
_LONGEST_ROW = 1 << 16
"""Windows of one row."""
_BATCH_WINDOWS = 1 << 22
"""Windows counted in one go: the arrays stay in the caches and hide the interpreter's time."""
_SHAPES = 128
_WORTH_PROCESSES_S = 1.0
"""Below this a second process costs more than it saves."""
_PIECES = 64

Matrix = list[int]
"""A linear map of 32-bit words: the images of the single bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How to walk all sequences of ``generator`` once.

    ``orbit`` is the irreducible factor with orbits of ``period`` states, ``starts`` hold one
    state of each, ``rest`` is the other factor. ``mirrored`` says that the sequence of all ones
    is among them: complementary windows are walked once.
    """

    generator: int
    orbit: int
    period: int
    starts: tuple[int, ...]
    rest: int
    mirrored: bool


def available() -> bool:
    """Return whether numpy is installed (version 2 or later counts bits in arrays)."""
    return importlib.util.find_spec("numpy") is not None


def cost_s(degree: int) -> float:
    """Return about how many seconds one process needs, numpy's import included."""
    return 0.1 + 1.5e-9 * 2.0**degree


@lru_cache(maxsize=8)
def plan(generator: int) -> Plan | None:
    """Return the plan for a generator, or None where this method does not fit it."""
    if not 8 < generator.bit_length() <= _WORD + 1:
        return None
    single = [factor for factor, exponent in fields.factors(generator) if exponent == 1]
    if not single or single[-1].bit_length() < 9:
        return None
    orbit = single[-1]
    rest, _ = fields.quotient(generator, orbit)
    period, starts = fields.irreducible_orbits(orbit)
    if rest.bit_length() > 22 or len(starts) > _MOST_ORBITS:
        return None
    return Plan(
        generator=generator,
        orbit=orbit,
        period=period,
        starts=tuple(_sequence(orbit, start) for start in starts),
        rest=rest,
        mirrored=generator.bit_count() % 2 == 0,
    )


def histograms(
    way: Plan, lengths: Sequence[int], *, processes: int = 1, progress: Progress | None = None
) -> list[list[int]]:
    """Return for each length how many dual words have weight 0, 1 ... length.

    Counts all states that lie on orbits of the factor ``orbit``; the few with none of it (words
    of the code of ``rest`` alone) are not among them. Lengths are in bits and exceed the degree.
    """
    pieces = _pieces(way)
    if cost_s(way.generator.bit_length() - 1) < _WORTH_PROCESSES_S:
        processes = 1
    totals: list[list[int]] = [[0] * (length + 1) for length in lengths]
    with shared_out(processes, _Walker, (way, tuple(lengths))) as work:
        for number, found in enumerate(work(pieces), start=1):
            for total, (lowest, counts) in zip(totals, found, strict=True):
                for offset, count in enumerate(counts):
                    total[lowest + offset] += count
            if progress is not None:
                progress(number / len(pieces))
    if way.mirrored:
        totals = [[a + b for a, b in zip(t, reversed(t), strict=True)] for t in totals]
    return totals


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A block of rows: ``rows`` runs of one orbit from ``first`` on, combined with some states.

    A row has ``windows`` windows. ``states`` is the range of states of the other factor.
    """

    orbit: int
    first: int
    rows: int
    windows: int
    states: tuple[int, int]


def _pieces(way: Plan) -> list[_Piece]:
    """Return the work in pieces of about the same size; the end of a long orbit is one more."""
    states = 1 << (way.rest.bit_length() - 1 - way.mirrored)
    rows, short = divmod(way.period, _LONGEST_ROW)
    runs = [(first, 1, _LONGEST_ROW) for first in range(rows)]
    if rows > _PIECES:
        step = -(-rows // _PIECES)
        runs = [(first, min(step, rows - first), _LONGEST_ROW) for first in range(0, rows, step)]
    if short:
        runs.append((rows, 1, short))
    step = max(1, states * len(runs) // _PIECES, _BATCH_WINDOWS // runs[0][2])
    return [
        _Piece(orbit=orbit, first=first, rows=count, windows=windows, states=(begin, begin + step))
        for orbit in range(len(way.starts))
        for first, count, windows in runs
        for begin in range(0, states, step)
    ]


def _shift(generator: int) -> Matrix:
    """Return the map from a word of the sequence to the word that starts one bit later."""
    return [_later(generator, 1 << bit) for bit in range(_WORD)]


def _later(generator: int, word: int) -> int:
    degree = generator.bit_length() - 1
    taps = (generator ^ 1 << degree) << (_WORD - degree)
    return word >> 1 | ((word & taps).bit_count() & 1) << (_WORD - 1)


def _extended(generator: int, state: int) -> int:
    """Return the word that begins with a state, its lowest bit first."""
    degree = generator.bit_length() - 1
    for bit in range(degree, _WORD):
        taps = (generator ^ 1 << degree) << (bit - degree)
        state |= ((state & taps).bit_count() & 1) << bit
    return state


def _sequence(irreducible: int, element: int) -> int:
    """Return the word of the sequence <element x^j>, <a> the constant term of a."""
    word = 0
    for bit in range(_WORD):
        word |= (element & 1) << bit
        element = fields.times(element, 2, irreducible)
    return word


def _image(matrix: Matrix, word: int) -> int:
    image = 0
    for bit, column in enumerate(matrix):
        if word >> bit & 1:
            image ^= column
    return image


def _after(second: Matrix, first: Matrix) -> Matrix:
    """Return the map that does ``first``, then ``second``."""
    return [_image(second, column) for column in first]


def _repeated(matrix: Matrix, times: int) -> Matrix:
    result = [1 << bit for bit in range(_WORD)]
    while times:
        if times & 1:
            result = _after(matrix, result)
        matrix = _after(matrix, matrix)
        times >>= 1
    return result


class _Walker:
    """Walks rows of windows and counts their weights for each length."""

    def __init__(self, way: Plan, lengths: tuple[int, ...]) -> None:
        import numpy as np  # deferred: an optional library, and slow to import.

        self._np: Any = np
        self._way = way
        self._lengths = lengths
        self._ahead = max(lengths)
        shift = _shift(way.generator)
        self._row = _repeated(_shift(way.orbit), _LONGEST_ROW)
        # Map number k leads 2^k words ahead: that doubles a known run of words each time.
        matrix = _repeated(shift, _WORD)
        self._ahead_tables = []
        words = 1
        while words < self._words(min(_LONGEST_ROW, way.period)):
            self._ahead_tables.append(self._tables(matrix))
            matrix = _after(matrix, matrix)
            words *= 2
        self._others = self._states_of_rest()
        self._codes = self._neighbours()

    def _neighbours(self) -> NDArray[np.int64]:
        """Return lowest weight times 128 plus shape of eight windows, by octets in and out.

        The weights are relative to the first window. A shape has a bit after each run of equal
        weights in rising order.
        """
        import numpy as np

        octets = np.arange(1 << 16, dtype=np.uint16)
        bits = [
            (octets >> 8 + bit & 1).astype(np.int8) - (octets >> bit & 1).astype(np.int8)
            for bit in range(7)
        ]
        path = np.cumsum([np.zeros_like(bits[0]), *bits], axis=0, dtype=np.int8)
        lowest, highest = path.min(axis=0), path.max(axis=0)
        code = lowest.astype(np.int16) * np.int16(_SHAPES)
        seen = np.zeros(1 << 16, np.int16)
        for height in range(7):
            seen += (path == lowest + height).sum(axis=0, dtype=np.int16)
            code += np.where(lowest + height < highest, 1 << (seen - 1), 0).astype(np.int16)
        wide: NDArray[np.int64] = code.astype(np.int64)
        return wide

    def _words(self, windows: int) -> int:
        return (windows + self._ahead) // _WORD + 2

    def _tables(self, matrix: Matrix) -> NDArray[np.uint32]:
        """Return four tables of 256: the image of each octet of a word."""
        tables: NDArray[np.uint32] = self._np.zeros((4, 256), self._np.uint32)
        for octet in range(4):
            for bit in range(8):
                size = 1 << bit
                image = self._np.uint32(matrix[8 * octet + bit])
                tables[octet, size : 2 * size] = tables[octet, :size] ^ image
        return tables

    def _states_of_rest(self) -> NDArray[np.uint32]:
        """Return a word for each state of the other factor, or for the half that starts with 0."""
        degree = self._way.rest.bit_length() - 1
        states: NDArray[np.uint32] = self._np.zeros(1 << degree, self._np.uint32)
        for bit in range(degree):
            size = 1 << bit
            word = self._np.uint32(_extended(self._way.rest, size))
            states[size : 2 * size] = states[:size] ^ word
        return states[states & 1 == 0] if self._way.mirrored else states

    def __call__(self, piece: _Piece) -> list[tuple[int, list[int]]]:
        word = _image(_repeated(self._row, piece.first), self._way.starts[piece.orbit])
        orbit = []
        for _ in range(piece.rows):
            orbit.append(word)
            word = _image(self._row, word)
        others = self._others[slice(*piece.states)]
        starts = (self._np.array(orbit, self._np.uint32)[:, None] ^ others).ravel()
        batch = max(1, _BATCH_WINDOWS // piece.windows)
        counts = [_Counts(length) for length in self._lengths]
        for begin in range(0, len(starts), batch):
            self._count(starts[begin : begin + batch], piece.windows, counts)
        return [count.found() for count in counts]

    def _stream(self, starts: NDArray[np.uint32], words: int) -> NDArray[np.uint8]:
        """Return the sequences that begin with the given words, as rows of octets."""
        stream = self._np.empty((len(starts), words), np.uint32)
        stream[:, 0] = starts
        known = 1
        for tables in self._ahead_tables:
            more = min(known, words - known)
            if more <= 0:
                break
            begun = self._np.ascontiguousarray(stream[:, :more])
            source = begun.view(self._np.uint8).reshape(-1, more, 4)
            image = stream[:, known : known + more]
            image[...] = self._np.take(tables[0], source[..., 0])
            for number in (1, 2, 3):
                image ^= self._np.take(tables[number], source[..., number])
            known += more
        octets: NDArray[np.uint8] = stream.view(self._np.uint8)
        return octets

    def _count(
        self,
        starts: NDArray[np.uint32],
        windows: int,
        counts: list[_Counts],
    ) -> None:
        import numpy as np

        octets = self._stream(starts, self._words(windows))
        # Weights are kept times 128 from the start: the shape is added to them later.
        ones = np.zeros((len(starts), octets.shape[1] + 1), np.int64)
        np.multiply(np.bitwise_count(octets), _SHAPES, out=ones[:, 1:], dtype=np.int64)
        np.cumsum(ones, axis=1, out=ones)
        whole, rest = divmod(windows, 8)
        code = np.empty((len(starts), whole + 1, 2), np.uint8)
        code[..., 0] = octets[:, : whole + 1]
        both = code.view(np.uint16)[..., 0]
        flat = np.empty((len(starts), whole), np.int64)
        shape = np.empty_like(flat)
        for length, count in zip(self._lengths, counts, strict=True):
            begin, odd = divmod(length, 8)
            entering = octets[:, begin : begin + whole + 1]
            np.subtract(ones[:, begin : begin + whole], ones[:, :whole], out=flat)
            last = (ones[:, begin + whole] - ones[:, whole]) // _SHAPES
            if odd:
                mask = np.uint8((1 << odd) - 1)
                ahead = np.bitwise_count(entering & mask)
                flat += ahead[:, :whole] * np.int64(_SHAPES)
                last += ahead[:, whole]
                following = octets[:, begin + 1 : begin + whole + 2]
                entering = entering >> np.uint8(odd) | following << np.uint8(8 - odd)
            code[..., 1] = entering
            np.take(self._codes, both[:, :whole], out=shape, mode="clip")
            flat += shape
            if whole:
                count.add_eights(flat.ravel())
            for bit in range(rest):
                count.add(last)
                last = last + (entering[:, whole] >> bit & 1) - (octets[:, whole] >> bit & 1)


class _Counts:
    """Windows of one length by weight; those counted eight at a time by lowest and shape."""

    def __init__(self, length: int) -> None:
        import numpy as np

        self._np: Any = np
        # The lowest of eight weights may be 7 below the first, and the highest as much above it.
        self._eights = np.zeros((length + 1) * _SHAPES, np.int64)
        self._used = (length, 0)
        self._single = np.zeros(length + 8, np.int64)

    def add(self, weights: NDArray[np.int64]) -> None:
        found = self._np.bincount(weights)
        self._single[: len(found)] += found

    def add_eights(self, codes: NDArray[np.int64]) -> None:
        """Count codes: lowest weight times 128 plus shape."""
        lowest = int(codes.min()) // _SHAPES
        codes -= lowest * _SHAPES
        found = self._np.bincount(codes)
        self._eights[lowest * _SHAPES : lowest * _SHAPES + len(found)] += found
        highest = lowest + (len(found) - 1) // _SHAPES
        self._used = (min(self._used[0], lowest), max(self._used[1], highest))

    def found(self) -> tuple[int, list[int]]:
        """Return the first weight that occurs and the counts from there on."""
        begin, end = self._used[0], self._used[1] + 1
        eights = self._eights.reshape(-1, _SHAPES)[begin:end]
        for shape in range(_SHAPES):
            ends = [bit for bit in range(7) if shape >> bit & 1] + [7]
            for above, (last, before) in enumerate(zip(ends, [-1, *ends], strict=False)):
                part = self._single[begin + above : begin + above + len(eights)]
                part += (last - before) * eights[: len(part), shape]
        held = self._np.flatnonzero(self._single)
        return int(held[0]), self._single[held[0] : held[-1] + 1].tolist()
