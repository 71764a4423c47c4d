"""Places in safety data, and packing values into octets.

The only coordinate of the project is ``octet.bit``: octet 0 comes first on the wire (CRCs
removed) and bit 0 is the least significant bit. The *index* of a place is ``8 * octet + bit``;
a field of width w at index i occupies the indices i .. i + w - 1, its least significant bit
first. Data octets read as one little-endian integer therefore hold a field at shift i.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from ._errors import UsageError
from ._value import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:  # bitstring costs 30 ms at start-up and is needed by few callers.
    from bitstring import Bits

MAX_OCTETS = 65536
"""One more than the largest octet number: a bound against absurd input, from no standard."""

_TABLE_BITS = 8
"""Neighbouring fields share a table of at most 2 ** 8 rows: a bound on memory, by choice."""

_OCTET_DIGITS = 6
"""No place is written with more: a bound against absurd input, from no standard."""
_BITS = frozenset("01234567")


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A bit position ``octet.bit`` in the safety data; bit 0 is the least significant.

    >>> place = safeframe.Place.parse("1.2")
    >>> place, place.index
    (Place(octet=1, bit=2), 10)
    >>> print(safeframe.Place.at(11))
    1.3
    """

    octet: int
    bit: int

    def __post_init__(self) -> None:
        if type(self.octet) is not int or not 0 <= self.octet < MAX_OCTETS:
            raise UsageError(f"an octet number must be 0..{MAX_OCTETS - 1}, not {self.octet}")
        if type(self.bit) is not int or not 0 <= self.bit <= 7:
            raise UsageError(f"a bit number must be 0..7, not {self.bit}")

    @classmethod
    def parse(cls, text: str) -> Place:
        """Read ``octet.bit``, for instance ``1.2``; raises UsageError for anything else."""
        octet, _, bit = text.partition(".")
        is_number = octet.isdecimal() and octet.isascii() and len(octet) <= _OCTET_DIGITS
        if not is_number or (octet[0] == "0" and octet != "0") or bit not in _BITS:
            raise UsageError(f'a place must be "octet.bit" with bit 0..7, not {text[:40]!r}')
        return cls(int(octet), int(bit))

    @classmethod
    def at(cls, index: int) -> Place:
        """Return the place of an absolute bit index (index = 8 * octet + bit)."""
        return cls(index >> 3, index & 7)

    @property
    def index(self) -> int:
        """Absolute bit index, 8 * octet + bit."""
        return self.octet << 3 | self.bit

    def __str__(self) -> str:
        return f"{self.octet}.{self.bit}"


def run_text(start: int, end: int) -> str:
    """Return a run of bits as people write it: ``1.2`` or ``1.2-1.7`` (end excluded)."""
    first, last = Place.at(start), Place.at(end - 1)
    return str(first) if first == last else f"{first}-{last}"


def octets_of_bits(width_bits: int) -> int:
    """Return how many whole octets hold ``width_bits`` bits."""
    return (width_bits + 7) >> 3


@lru_cache(maxsize=1024)
def _values(widths: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Return the values of adjacent fields for each number that they form together."""
    rows: list[tuple[int, ...]] = [()]
    for width in reversed(widths):
        rows = [(value, *row) for row in rows for value in range(1 << width)]
    return tuple(rows)


@lru_cache(maxsize=1024)
def _numbers(widths: tuple[int, ...]) -> dict[tuple[int, ...], int]:
    """Return the number that each combination of values of adjacent fields forms."""
    return {row: number for number, row in enumerate(_values(widths))}


class Layout:
    """Fields at fixed places in ``size_octets`` octets, packed and unpacked as integers.

    ``fields`` are (index, width_bits) pairs; they may leave gaps (packed as 0) but must neither
    overlap nor leave the data. Values are unsigned integers of the field's width.

    Adjacent fields of at most 8 bits in total are looked up together in a table, which makes a
    map of single bits about as fast as shifts written out by hand (tests/bench/bench_bits.py).
    """

    __slots__ = ("_reads", "_shared", "_wide", "fields", "size_octets")

    def __init__(self, size_octets: int, fields: Iterable[tuple[int, int]]) -> None:
        self.size_octets = size_octets
        self.fields = tuple(fields)
        end = 0
        for index, width in sorted(self.fields):
            if width < 1:
                raise UsageError(f"a field must be at least 1 bit wide, not {width}")
            if index < end:
                raise UsageError(f"fields must not overlap, not twice at {Place.at(max(index, 0))}")
            end = index + width
        if end > 8 * size_octets:
            raise UsageError(f"fields must end within {8 * size_octets} bits, not at bit {end}")
        self._reads: list[tuple[int, int, tuple[tuple[int, ...], ...] | None]] = []
        self._shared: list[tuple[int, slice, dict[tuple[int, ...], int]]] = []
        self._wide: list[tuple[int, int, int]] = []
        for first, last in self._groups():
            widths = tuple(width for _, width in self.fields[first:last])
            shift, total = self.fields[first][0], sum(widths)
            if total > _TABLE_BITS:
                self._reads.append((shift, (1 << total) - 1, None))
                self._wide.append((shift, first, total))
            else:
                self._reads.append((shift, (1 << total) - 1, _values(widths)))
                self._shared.append((shift, slice(first, last), _numbers(widths)))

    def _groups(self) -> Iterator[tuple[int, int]]:
        """Yield ranges of fields: neighbours that share a table, or one wide field alone."""
        first = 0
        while first < len(self.fields):
            start, width = self.fields[first]
            end, last = start + width, first + 1
            while last < len(self.fields):
                index, width = self.fields[last]
                if index != end or index + width - start > _TABLE_BITS:
                    break
                end, last = index + width, last + 1
            yield first, last
            first = last

    def unpack(self, data: bytes) -> list[int]:
        """Return the value of every field, in the order of ``fields``."""
        if len(data) != self.size_octets:
            raise UsageError(f"data must be {self.size_octets} octets, not {len(data)}")
        word = int.from_bytes(data, "little")
        result: list[int] = []
        for shift, mask, rows in self._reads:
            if rows is None:
                result.append(word >> shift & mask)
            else:
                result += rows[word >> shift & mask]
        return result

    def pack(self, values: Sequence[int]) -> bytes:
        """Return the octets that hold ``values``; bits outside all fields are 0."""
        if len(values) != len(self.fields):
            raise UsageError(f"values must be {len(self.fields)}, not {len(values)}")
        row, word = tuple(values), 0
        try:
            for shift, part, numbers in self._shared:
                word |= numbers[row[part]] << shift
        except KeyError:
            raise UsageError(self._misfit(values)) from None
        for shift, position, width in self._wide:
            if row[position] >> width:
                raise UsageError(self._misfit(values))
            word |= row[position] << shift
        return word.to_bytes(self.size_octets, "little")

    def _misfit(self, values: Sequence[int]) -> str:
        """Name the first value that does not fit its field."""
        return next(
            f"the value at {Place.at(index)} must be 0..{(1 << width) - 1}, not {value}"
            for (index, width), value in zip(self.fields, values, strict=True)
            if value >> width
        )


def mirror_in_octets(index: int, width: int) -> int | None:
    """Return where a field lands when the bits of each octet are numbered from the other side.

    A field inside one octet moves; a field of whole octets stays; for any other field there is
    no such place and the answer is None.
    """
    if index & 7 == 0 and width & 7 == 0:
        return index
    if (index & 7) + width <= 8:
        return (index & ~7) + 8 - (index & 7) - width
    return None


def mirror_in_words(index: int, width: int, word_octets: int) -> int | None:
    """Return where a field lands when the bits of each word are numbered from the other side.

    None where the field crosses a word border. A value keeps the order of its own bits.
    """
    word_bits = 8 * word_octets
    inside = index % word_bits
    if inside + width > word_bits:
        return None
    return index - inside + word_bits - inside - width


def swap_octets(index: int, width: int, word_octets: int) -> int | None:
    """Return where a field lands when the octets of every word of ``word_octets`` are reversed.

    A field inside one octet moves with its octet; a field of whole octets moves as a block; None
    where the field crosses a word border or an octet border unevenly.
    """
    first, last = index >> 3, (index + width - 1) >> 3
    if first // word_octets != last // word_octets:
        return None
    if first != last and (index & 7 or width & 7):
        return None
    base = first // word_octets * word_octets
    return (base + word_octets - 1 - (last - base)) * 8 + (index & 7)


def reverse_field(value: int, width: int) -> int:
    """Return ``value`` with the order of its ``width`` bits reversed."""
    result = 0
    for _ in range(width):
        result = result << 1 | value & 1
        value >>= 1
    return result


def to_bitstring(data: bytes) -> Bits:
    """Return the data as bitstring.Bits, whose index ``8 * o + 7 - b`` is our place ``o.b``."""
    from bitstring import Bits  # deferred: see the note at the top.

    return Bits.from_bytes(data)
