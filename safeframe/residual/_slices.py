"""Weights of all words of a linear code, counted many words at a time in big integers.

Bit u of a slice belongs to word number u. Each position of the words is a linear function of u and
so a fixed pattern of bits; adders made of bitwise operations sum the positions of all words of a
slice at once, and splitting the planes of the sums counts how many words have each weight. That is
plain Python and five to thirty times faster than one word at a time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .._workers import Progress, shared_out

_SLICE_BITS = 16
"""A slice is an integer of 8 KiB: it hides the interpreter's time and still fits the caches."""
_LEAST_SLICE_BITS = 10
_MOST_PATTERN_BITS = 1 << 27
"""Long codes get smaller slices, so that the patterns of all positions stay within 40 MiB."""
_PIECES = 64
"""Long work is cut into this many pieces: for the processes and for the progress."""
_WORTH_PROCESSES_S = 1.0
"""Below this a second process costs more than it saves."""


def reduced(columns: Iterable[int], width: int) -> list[int]:
    """Return the rows of a parity check in reduced form; bit j of a row belongs to column j.

    Each row has a pivot that no other row holds; their number is the rank.
    """
    rows = [0] * width
    for index, column in enumerate(columns):
        for number in range(width):
            rows[number] |= (column >> number & 1) << index
    done: list[int] = []
    while rows:
        row = rows.pop()
        if row:
            pivot = row & -row
            rows = [other ^ row if other & pivot else other for other in rows]
            done = [other ^ row if other & pivot else other for other in done]
            done.append(row)
    return done


def kernel(rows: Sequence[int], bits: int) -> list[int]:
    """Return rows that span the code which the reduced ``rows`` check: bits - rank of them."""
    pivots = _pivots(rows)
    words = []
    for index in range(bits):
        if index not in pivots:
            word = 1 << index
            for pivot, row in zip(pivots, rows, strict=True):
                word |= (row >> index & 1) << pivot
            words.append(word)
    return words


def _pivots(rows: Sequence[int]) -> list[int]:
    """Return for each row the lowest bit, which no other row of a reduced form holds."""
    return [(row & -row).bit_length() - 1 for row in rows]


def cost_s(bits: int, dimension: int) -> float:
    """Return about how many seconds one process of a usual machine needs for a histogram."""
    return (3.0 + 0.05 * bits) * 2.0 ** min(dimension, 1000) * 1e-9


def histogram(
    rows: Sequence[int], bits: int, *, processes: int = 1, progress: Progress | None = None
) -> list[int]:
    """Return how many words of the span of independent ``rows`` have weight 0, 1 ... ``bits``.

    The rows must be reduced or a kernel. If the word of all ones is in the span, words come in
    complementary pairs and only half of them are walked.
    """
    total = 0
    for row in rows:
        total ^= row
    # Each row alone holds some position, so only the sum of all rows can be all ones.
    mirrored = bits > 0 and total == (1 << bits) - 1
    walked = list(rows[:-1]) if mirrored else list(rows)
    columns = [
        sum((row >> index & 1) << number for number, row in enumerate(walked))
        for index in range(bits)
    ]
    if cost_s(bits, len(walked)) < _WORTH_PROCESSES_S:
        processes = 1
    counts = _walked(columns, (), len(walked), processes, progress)[: bits + 1]
    if mirrored:
        counts = [count + mate for count, mate in zip(counts, reversed(counts), strict=True)]
    return counts


def tagged(columns: Sequence[int], tags: Sequence[int], dimension: int) -> list[list[int]]:
    """Return for each tag how many words have each weight, over all 2^dimension words.

    Bit j of the tag of word u is the parity of ``tags[j] & u``, as its position i is that of
    ``columns[i] & u``.
    """
    flat = _walked(columns, tags, dimension, 1, None)
    stride = _stride(len(columns))
    return [flat[tag * stride : tag * stride + len(columns) + 1] for tag in range(1 << len(tags))]


def _walked(
    columns: Sequence[int],
    tags: Sequence[int],
    dimension: int,
    processes: int,
    progress: Progress | None,
) -> list[int]:
    low_bits = min(_SLICE_BITS, dimension)
    while low_bits > _LEAST_SLICE_BITS and len(columns) << low_bits > _MOST_PATTERN_BITS:
        low_bits -= 1
    high = 1 << (dimension - low_bits)
    step = max(1, high // _PIECES)
    pieces = [(start, min(start + step, high)) for start in range(0, high, step)]
    counts = [0] * (_stride(len(columns)) << len(tags))
    with shared_out(processes, _Slicer, (tuple(columns), tuple(tags), low_bits)) as work:
        for number, found in enumerate(work(pieces), start=1):
            counts = [old + new for old, new in zip(counts, found, strict=True)]
            if progress is not None:
                progress(number / len(pieces))
    return counts


def _stride(bits: int) -> int:
    """Return the room for all weights of ``bits`` positions, a power of two."""
    return 1 << bits.bit_length()


class _Slicer:
    """Counts the weights, tag by tag, of the words in slices start .. stop - 1."""

    def __init__(self, columns: Sequence[int], tags: Sequence[int], low_bits: int) -> None:
        self._bits = len(columns)
        self._full = (1 << (1 << low_bits)) - 1
        every = (*columns, *tags)
        self._high = [column >> low_bits for column in every]
        patterns = [_pattern(column, low_bits) for column in every]
        self._choices = [(pattern, pattern ^ self._full) for pattern in patterns]

    def __call__(self, piece: tuple[int, int]) -> list[int]:
        counts = [0] * (_stride(self._bits) << (len(self._high) - self._bits))
        pairs = list(zip(self._high, self._choices, strict=True))
        for number in range(*piece):
            # A bit above the slice is constant in it: it turns a pattern or leaves it.
            planes = [choice[(high & number).bit_count() & 1] for high, choice in pairs]
            digits = _added(planes[: self._bits], self._bits.bit_length())
            digits += planes[self._bits :]
            _split(digits, len(digits) - 1, self._full, 0, counts)
        return counts


def _pattern(column: int, low_bits: int) -> int:
    """Return the integer whose bit u is the parity of ``column & u``, for u below 2^low_bits."""
    pattern = 0
    for number in range(low_bits):
        size = 1 << number
        upper = pattern ^ ((1 << size) - 1) if column >> number & 1 else pattern
        pattern |= upper << size
    return pattern


def _added(planes: list[int], size: int) -> list[int]:
    """Return ``size`` binary digits, lowest first, of the sums over ``planes`` at each bit."""
    digits: list[int] = []
    for _ in range(size):
        carries: list[int] = []
        while len(planes) > 2:
            a, b, c = planes.pop(), planes.pop(), planes.pop()
            half = a ^ b
            planes.append(half ^ c)
            carries.append((a & b) | (half & c))
        if len(planes) == 2:
            a, b = planes
            planes = [a ^ b]
            carries.append(a & b)
        digits.append(planes[0])
        planes = carries
    return digits


def _split(digits: list[int], level: int, mask: int, value: int, counts: list[int]) -> None:
    """Add to ``counts`` how many bits of ``mask`` have each sum, from the highest digit down."""
    if not mask:
        return
    if level < 0:
        counts[value] += mask.bit_count()
        return
    high = mask & digits[level]
    _split(digits, level - 1, high, value | 1 << level, counts)
    _split(digits, level - 1, mask ^ high, value, counts)
