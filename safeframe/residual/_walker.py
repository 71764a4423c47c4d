"""The walk over all windows of all sequences, in numpy arrays; see ``windows`` for the method.

Numpy is an optional library and slow to import, so ``windows`` imports this module when it works.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ._windows import WORD_BITS, Plan

_LONGEST_ROW = 1 << 16
"""Windows of one row."""
_BATCH_WINDOWS = 1 << 20
"""Windows counted in one go: the arrays stay in the caches and hide the interpreter's time."""
_SHAPES = 128
_NARROW_BITS = 1 << 24
"""Weights of shorter windows, times 128, fit 32 bits, which take half the memory."""
_PIECES = 64
"""Work is cut into about this many pieces, for the processes and for the progress."""

Numbers = NDArray[np.signedinteger[Any]]
"""Weights times 128."""
Matrix = list[int]
"""A linear map of 32-bit words: the images of the single bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RowBlock:
    """A block of rows: ``rows`` runs of one orbit from ``first`` on, combined with some states.

    A row has ``windows`` windows. ``states`` is the range of states of the other factor.
    """

    orbit: int
    first: int
    rows: int
    windows: int
    states: tuple[int, int]


def pieces(way: Plan) -> list[RowBlock]:
    """Return the work in pieces of about the same size; the end of a long orbit is one more."""
    states = 1 << (way.rest.bit_length() - 1 - way.mirrored)
    rows, short = divmod(way.period, _LONGEST_ROW)
    runs = [(first, 1, _LONGEST_ROW) for first in range(rows)]
    if rows > _PIECES:
        step = -(-rows // _PIECES)
        runs = [(first, min(step, rows - first), _LONGEST_ROW) for first in range(0, rows, step)]
    # An orbit has an odd period (x is invertible), so there is always a short end.
    runs.append((rows, 1, short))
    step = max(1, states * len(runs) // _PIECES, _BATCH_WINDOWS // runs[0][2])
    return [
        RowBlock(
            orbit=orbit, first=first, rows=count, windows=windows, states=(begin, begin + step)
        )
        for orbit in range(len(way.starts))
        for first, count, windows in runs
        for begin in range(0, states, step)
    ]


def _shift(generator: int) -> Matrix:
    """Return the map from a word of the sequence to the word that starts one bit later."""
    return [_later(generator, 1 << bit) for bit in range(WORD_BITS)]


def _later(generator: int, word: int) -> int:
    degree = generator.bit_length() - 1
    taps = (generator ^ 1 << degree) << (WORD_BITS - degree)
    return word >> 1 | ((word & taps).bit_count() & 1) << (WORD_BITS - 1)


def _extended(generator: int, state: int) -> int:
    """Return the word that begins with a state, its lowest bit first."""
    degree = generator.bit_length() - 1
    for bit in range(degree, WORD_BITS):
        taps = (generator ^ 1 << degree) << (bit - degree)
        state |= ((state & taps).bit_count() & 1) << bit
    return state


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
    result = [1 << bit for bit in range(WORD_BITS)]
    while times:
        if times & 1:
            result = _after(matrix, result)
        matrix = _after(matrix, matrix)
        times >>= 1
    return result


class Walker:
    """Walks rows of windows and counts their weights for each length."""

    def __init__(self, way: Plan, lengths: tuple[int, ...]) -> None:
        self._way = way
        self._lengths = lengths
        self._ahead = max(lengths)
        shift = _shift(way.generator)
        self._row = _repeated(_shift(way.orbit), _LONGEST_ROW)
        # Map number k leads 2^k words ahead: that doubles a known run of words each time.
        matrix = _repeated(shift, WORD_BITS)
        self._ahead_tables = []
        words = 1
        while words < self._words(min(_LONGEST_ROW, way.period)):
            self._ahead_tables.append(self._tables(matrix))
            matrix = _after(matrix, matrix)
            words *= 2
        # Sums may run over, as the difference of two of them, a weight times 128, does not.
        narrow = self._ahead < _NARROW_BITS
        self._number: type[np.signedinteger[Any]] = np.int32 if narrow else np.int64
        self._others = self._states_of_rest()
        self._codes = self._neighbours()
        self._rooms: dict[tuple[int, int, int], _Room] = {}

    def _neighbours(self) -> Numbers:
        """Return lowest weight times 128 plus shape of eight windows, by octets in and out.

        The weights are relative to the first window. A shape has a bit after each run of equal
        weights in rising order.
        """
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
        codes: Numbers = code.astype(self._number)
        return codes

    def _words(self, windows: int) -> int:
        return (windows + self._ahead) // WORD_BITS + 2

    def _tables(self, matrix: Matrix) -> NDArray[np.uint32]:
        """Return four tables of 256: the image of each octet of a word."""
        tables: NDArray[np.uint32] = np.zeros((4, 256), np.uint32)
        for octet in range(4):
            for bit in range(8):
                size = 1 << bit
                image = np.uint32(matrix[8 * octet + bit])
                tables[octet, size : 2 * size] = tables[octet, :size] ^ image
        return tables

    def _states_of_rest(self) -> NDArray[np.uint32]:
        """Return a word for each state of the other factor, or for the half that starts with 0."""
        degree = self._way.rest.bit_length() - 1
        states: NDArray[np.uint32] = np.zeros(1 << degree, np.uint32)
        for bit in range(degree):
            size = 1 << bit
            word = np.uint32(_extended(self._way.rest, size))
            states[size : 2 * size] = states[:size] ^ word
        return states[states & 1 == 0] if self._way.mirrored else states

    def __call__(self, piece: RowBlock) -> list[tuple[int, list[int]]]:
        """Return for each length the lowest weight that occurs and the counts from there on."""
        word = _image(_repeated(self._row, piece.first), self._way.starts[piece.orbit])
        orbit = []
        for _ in range(piece.rows):
            orbit.append(word)
            word = _image(self._row, word)
        others = self._others[slice(*piece.states)]
        starts = (np.array(orbit, np.uint32)[:, None] ^ others).ravel()
        batch = max(1, _BATCH_WINDOWS // piece.windows)
        counts = [_Counts(length) for length in self._lengths]
        for begin in range(0, len(starts), batch):
            self._count(starts[begin : begin + batch], piece.windows, counts)
        return [count.found() for count in counts]

    def _stream(self, starts: NDArray[np.uint32], words: int) -> NDArray[np.uint8]:
        """Return the sequences that begin with the given words, as rows of octets."""
        stream = np.empty((len(starts), words), np.uint32)
        stream[:, 0] = starts
        part = np.empty(stream.size, np.uint32)
        known, level = 1, 0
        while known < words:
            tables = self._ahead_tables[level]
            more = min(known, words - known)
            source = np.ascontiguousarray(stream[:, :more]).view(np.uint8).reshape(-1, 4).T
            image = np.take(tables[0], source[0])
            for number in (1, 2, 3):
                image ^= np.take(
                    tables[number], source[number], out=part[: len(image)], mode="clip"
                )
            stream[:, known : known + more] = image.reshape(-1, more)
            known, level = known + more, level + 1
        octets: NDArray[np.uint8] = stream.view(np.uint8)
        return octets

    def _room(self, rows: int, whole: int, octets: int) -> _Room:
        key = rows, whole, octets
        if key not in self._rooms:
            self._rooms.clear()
            self._rooms[key] = _Room(
                ones=np.empty((rows, octets), self._number),
                code=np.empty((rows, whole, 2), np.uint8),
                index=np.empty((rows, whole), np.intp),
                flat=np.empty((rows, whole), self._number),
                shape=np.empty((rows, whole), self._number),
                wide=np.empty((rows, whole), np.intp),
            )
        return self._rooms[key]

    def _count(
        self,
        starts: NDArray[np.uint32],
        windows: int,
        counts: list[_Counts],
    ) -> None:
        octets = self._stream(starts, self._words(windows))
        whole, rest = divmod(windows, 8)
        room = self._room(len(starts), whole, octets.shape[1] + 1)
        ones, code, index, flat, shape = room.ones, room.code, room.index, room.flat, room.shape
        # Weights are kept times 128 from the start: the shape is added to them later.
        ones[:, 0] = 0
        np.multiply(np.bitwise_count(octets), _SHAPES, out=ones[:, 1:], dtype=self._number)
        np.cumsum(ones, axis=1, out=ones)
        code[..., 0] = octets[:, :whole]
        for length, count in zip(self._lengths, counts, strict=True):
            begin, odd = divmod(length, 8)
            entering = octets[:, begin : begin + whole + 1]
            np.subtract(ones[:, begin : begin + whole], ones[:, :whole], out=flat)
            last = (ones[:, begin + whole] - ones[:, whole]) // _SHAPES
            if odd:
                mask = np.uint8((1 << odd) - 1)
                ahead = np.bitwise_count(entering & mask)
                np.multiply(ahead[:, :whole], _SHAPES, out=shape, dtype=self._number)
                flat += shape
                last += ahead[:, whole]
                following = octets[:, begin + 1 : begin + whole + 2]
                entering = entering >> np.uint8(odd) | following << np.uint8(8 - odd)
            code[..., 1] = entering[:, :whole]
            index[...] = code.view(np.uint16)[..., 0]
            np.take(self._codes, index, out=shape, mode="clip")
            flat += shape
            count.add_eights(flat, room.wide)
            for bit in range(rest):
                count.add(last)
                last = last + (entering[:, whole] >> bit & 1) - (octets[:, whole] >> bit & 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """Arrays that every batch of the same size uses again: fresh memory costs as much as the work.

    ``ones`` are the weights times 128 of all octets before one, ``code`` octets out and in,
    ``index`` the same as one number, ``flat`` and ``shape`` what is counted, ``wide`` in the type
    that is counted at once.
    """

    ones: Numbers
    code: NDArray[np.uint8]
    index: NDArray[np.intp]
    flat: Numbers
    shape: Numbers
    wide: NDArray[np.intp]


class _Counts:
    """Windows of one length by weight; those counted eight at a time by lowest and shape."""

    def __init__(self, length: int) -> None:
        # The lowest of eight weights may be 7 below the first, and the highest as much above it.
        self._eights = np.zeros((length + 1) * _SHAPES, np.int64)
        self._used = (length, 0)
        self._single = np.zeros(length + 8, np.int64)

    def add(self, weights: Numbers) -> None:
        found = np.bincount(weights)
        self._single[: len(found)] += found

    def add_eights(self, codes: Numbers, wide: NDArray[np.intp]) -> None:
        """Count codes, lowest weight times 128 plus shape; ``wide`` is room for them."""
        lowest = int(codes.min()) // _SHAPES
        np.subtract(codes, lowest * _SHAPES, out=wide)
        found = np.bincount(wide.ravel())
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
        held = np.flatnonzero(self._single)
        return int(held[0]), self._single[held[0] : held[-1] + 1].tolist()
