"""Codes as plain data: which transmitted bits a check covers, and with which columns.

An error pattern stays undetected when the columns of the flipped bits add up to zero (modulo 2)
in every check of the frame. Start values, final XORs and history are the same at both ends and
drop out. A bit that is never transmitted (a virtual sequence number, appended zeros) or that the
receiver compares with a known value has no column here: it cannot be part of an undetected error.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .._errors import UsageError

MAX_SHARED_BITS = 12
"""Bits under more than one check are walked one error pattern at a time: 2^12 patterns at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPart:
    """One check of a frame: ``width`` check bits and the columns of the bits that only it covers.

    ``shared`` are the columns that the shared bits of the code have in this check, in the order
    of the code. With ``copies`` = 2 each of its own bits is sent twice and both copies are
    compared, so an undetected error flips both. ``times`` such parts stand side by side, each
    over bits of its own. ``run`` names the generator (with its top bit) where the own columns are
    x^0, x^1, ... modulo it: long codes of that kind have a faster method.
    """

    width: int
    own: tuple[int, ...]
    shared: tuple[int, ...] = ()
    copies: int = 1
    times: int = 1
    run: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.width <= 64:
            raise UsageError(f"a check must have 1 to 64 bits, not {self.width}")
        if any(not 0 <= column < 1 << self.width for column in (*self.own, *self.shared)):
            raise UsageError(f"each column must fit {self.width} bits")
        if self.copies not in (1, 2) or self.times < 1:
            raise UsageError(
                f"copies must be 1 or 2 and times at least 1, not {self.copies} and {self.times}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """All bits of a frame in which an error can be missed, as parts and the bits they share."""

    parts: tuple[CheckPart, ...]
    shared_bits: int = 0

    def __post_init__(self) -> None:
        if not self.parts:
            raise UsageError("a code must have at least one part")
        if not 0 <= self.shared_bits <= MAX_SHARED_BITS:
            raise UsageError(f"shared bits must be 0 to {MAX_SHARED_BITS}, not {self.shared_bits}")
        if any(len(part.shared) != self.shared_bits for part in self.parts):
            raise UsageError(f"each part must give {self.shared_bits} columns of shared bits")

    @property
    def bits(self) -> int:
        """Number of transmitted bits in which an error can be missed."""
        own = sum(part.times * part.copies * len(part.own) for part in self.parts)
        return self.shared_bits + own

    @property
    def check_bits(self) -> int:
        """Sum of the widths of all checks, r."""
        return sum(part.times * part.width for part in self.parts)


def powers(generator: int, exponents: Iterable[int]) -> tuple[int, ...]:
    """Return x^e modulo ``generator`` (written with its top bit) for each exponent."""
    wanted = tuple(exponents)
    width = generator.bit_length() - 1
    if width < 1 or not generator & 1:
        raise UsageError(f"a generator must have a top bit and end in 1, not {generator:#x}")
    if any(exponent < 0 for exponent in wanted):
        raise UsageError(f"each exponent must be at least 0, not {min(wanted)}")
    table = [1]
    for _ in range(max(wanted, default=0)):
        value = table[-1] << 1
        table.append(value ^ generator if value >> width else value)
    return tuple(table[exponent] for exponent in wanted)


def contiguous(generator: int, bits: int) -> Code:
    """Return the code of one CRC over ``bits`` transmitted bits, its check bits included."""
    width = generator.bit_length() - 1
    if bits <= width:
        raise UsageError(f"a code must be longer than its {width} check bits, not {bits} bits")
    return Code(
        parts=(CheckPart(width=width, own=powers(generator, range(bits)), run=generator),),
    )


def stacked(*columns: tuple[int, Sequence[int]]) -> tuple[int, ...]:
    """Return columns of several checks over the same bits put on top of each other.

    Each argument is (width, columns); a bit outside a check has column 0 there.
    """
    if len({len(rows) for _, rows in columns}) > 1:
        raise UsageError("stacked checks must give one column for each bit")
    total = [0] * len(columns[0][1])
    for width, rows in columns:
        total = [above << width | column for above, column in zip(total, rows, strict=True)]
    return tuple(total)
