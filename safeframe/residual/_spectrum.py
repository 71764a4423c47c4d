"""Exact weights of the undetected error patterns of a code, and how they are obtained.

A_k is the number of patterns of k flipped bits that every check misses, B_i the number of dual
words (sums of rows of the parity check) of weight i. Either the code itself is walked, or its
dual and the MacWilliams identity (F. J. MacWilliams, 1963) turns B into A; whichever is smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from .._errors import UsageError
from .._workers import Progress
from . import _slices as slices
from . import _windows as windows
from ._code import CheckPart, Code, powers

COMPLETE_BITS = 1200
"""Up to this length every A_k is computed from the dual; beyond it only the lowest ones."""
LOW_ORDERS = 16
"""Highest k of A_k where not all are computed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Weights of a code: ``counts`` is A_0, A_1 ... up to A_bits, or to a lower order.

    ``dual`` is B_0 ... B_bits where the dual was walked (empty otherwise) and ``rank`` the number
    of independent check bits. ``method`` says in words how the numbers were obtained.
    """

    bits: int
    check_bits: int
    rank: int
    counts: tuple[int, ...]
    dual: tuple[int, ...] = ()
    method: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        for problem in self.contradictions():
            raise UsageError(f"weights must be consistent: {problem}")

    def contradictions(self) -> tuple[str, ...]:
        """Return what cannot be true of the weights of any code; empty for right ones."""
        found = []
        if not 1 <= len(self.counts) <= self.bits + 1 or self.counts[0] != 1:
            found.append("there must be one pattern of weight 0")
        if min(self.counts, default=0) < 0 or min(self.dual, default=0) < 0:
            found.append("no count may be negative")
        if self.complete and sum(self.counts) != 1 << self.bits - self.rank:
            found.append(f"the counts must add up to 2^{self.bits - self.rank}")
        if self.dual and (len(self.dual) != self.bits + 1 or sum(self.dual) != 1 << self.rank):
            found.append(f"the dual counts must add up to 2^{self.rank}")
        if not self.complete and not self.dual:
            found.append("without the dual every count must be there")
        return tuple(found)

    @property
    def complete(self) -> bool:
        """Whether all A_k are there."""
        return len(self.counts) == self.bits + 1

    @property
    def distance(self) -> int | None:
        """Smallest weight of an undetected pattern (Hamming distance); None if not among them."""
        return next((k for k, count in enumerate(self.counts) if k and count), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How much work is allowed: processes, seconds, with numpy or without, and who watches."""

    processes: int = 1
    limit_s: float = 600.0
    numpy: bool = True
    progress: Progress | None = None


def weights(code: Code, effort: Effort | None = None) -> Weights:
    """Return the exact weights of ``code``.

    Raises UsageError with an estimate where the work would take longer than allowed.
    """
    effort = effort or Effort()
    if code.shared_bits == 0 and len(code.parts) == 1:
        part = code.parts[0]
        if part.copies == part.times == 1:
            return _plain(part, effort, COMPLETE_BITS)
    return _combined(code, effort)


def from_dual(dual: Sequence[int], rank: int, orders: int) -> list[int]:
    """Return A_0 ... A_orders from all of B by the MacWilliams identity, in exact integers.

    ``dual`` may also hold signed sums over the dual words, as a coset of the code has them.
    """
    bits = len(dual) - 1
    held = [i for i, count in enumerate(dual) if count]
    slopes = [bits - 2 * i for i in held]
    before = [0] * len(held)
    # Carried along is B_i K_k(i), so that the sum needs no further products.
    values = [dual[i] for i in held]
    found = []
    for order in range(orders + 1):
        count, rest = divmod(sum(values), 1 << rank)
        if rest:
            raise UsageError(f"dual counts must give a whole A_{order}: they are no dual of a code")
        found.append(count)
        # Krawtchouk polynomials: (k + 1) K_k+1(i) = (n - 2 i) K_k(i) - (n - k + 1) K_k-1(i).
        back = bits - order + 1
        following = [
            (slope * value - back * old) // (order + 1)
            for slope, value, old in zip(slopes, values, before, strict=True)
        ]
        before, values = values, following
    return found


def _plain(part: CheckPart, effort: Effort, complete_bits: int) -> Weights:
    """Return the weights of one check over bits that are sent once."""
    bits = len(part.own)
    rows = slices.reduced(part.own, part.width)
    rank = len(rows)
    direct_s = slices.cost_s(bits, bits - rank)
    way = _way(part, min(direct_s, slices.cost_s(bits, rank)), effort)
    if way is None and bits - rank <= rank:
        _refuse_beyond(direct_s, effort, bits, bits - rank)
        words = slices.kernel(rows, bits)
        return Weights(
            bits=bits,
            check_bits=part.width,
            rank=rank,
            counts=tuple(
                slices.histogram(words, bits, processes=effort.processes, progress=effort.progress)
            ),
            method=f"all 2^{bits - rank} undetected patterns counted",
        )
    if way is None:
        _refuse_beyond(slices.cost_s(bits, rank), effort, bits, rank)
        dual = slices.histogram(rows, bits, processes=effort.processes, progress=effort.progress)
        how = "in slices with plain integers"
    else:
        dual = _walked(way, bits, effort)
        how = "as windows of register sequences with numpy"
    orders = bits if bits <= complete_bits else LOW_ORDERS
    return Weights(
        bits=bits,
        check_bits=part.width,
        rank=rank,
        counts=tuple(from_dual(dual, rank, orders)),
        dual=tuple(dual),
        method=f"all 2^{rank} dual words counted {how}, then MacWilliams",
    )


def _way(part: CheckPart, other_s: float, effort: Effort) -> windows.Plan | None:
    """Return how to walk the windows with numpy, or None where that does not fit or not pay."""
    if part.run is None or not effort.numpy or other_s <= windows.cost_s(part.width):
        return None
    return windows.plan(part.run) if windows.available() else None


def _walked(way: windows.Plan, bits: int, effort: Effort) -> list[int]:
    """Return the dual counts of a contiguous code from all windows."""
    (dual,) = windows.histograms(way, [bits], processes=effort.processes, progress=effort.progress)
    return [a + b for a, b in zip(dual, remainder(way, bits), strict=True)]


def remainder(way: windows.Plan, bits: int) -> list[int]:
    """Return the counts of the dual words that lie on no orbit of the plan's factor."""
    degree = way.rest.bit_length() - 1
    rows = slices.reduced(powers(way.rest, range(bits)), degree) if degree else []
    return slices.histogram(rows, bits)


def _refuse_beyond(seconds: float, effort: Effort, bits: int, dimension: int) -> None:
    seconds /= effort.processes
    if seconds > effort.limit_s:
        raise UsageError(
            f"the weights of {bits} bits need 2^{dimension} words, about {seconds:.0f} s here, "
            f"and must take at most {effort.limit_s:.0f} s: raise the limit, or install numpy "
            "(the batch extra), which is faster for one CRC over contiguous bits"
        )


def _combined(code: Code, effort: Effort) -> Weights:
    """Return the weights of several checks, of copies, and of bits that several checks share.

    For each error in the shared bits the parts are independent: the number of patterns by weight
    is the product of their numbers. Products of polynomials are products of large integers that
    hold one coefficient every ``room`` octets.
    """
    cosets = [_cosets(part, code.shared_bits, effort) for part in code.parts]
    # No coefficient exceeds the number of all patterns, so none runs into its neighbour.
    patterns = 1 << code.shared_bits
    for part, enumerators in zip(code.parts, cosets, strict=True):
        patterns *= max(map(sum, enumerators)) ** part.times
    room = patterns.bit_length() // 8 + 1
    _refuse_product(code, room, effort)
    total = 0
    for error in range(1 << code.shared_bits):
        product = 1
        for part, enumerators in zip(code.parts, cosets, strict=True):
            packed = bytearray()
            for count in enumerators[error]:
                packed += count.to_bytes(room * part.copies, "little")
            product *= int.from_bytes(packed, "little") ** part.times
        total += product << 8 * room * error.bit_count()
        if effort.progress is not None:
            effort.progress((error + 1) / (1 << code.shared_bits))
    octets = total.to_bytes(room * (code.bits + 1), "little")
    counts = [
        int.from_bytes(octets[start : start + room], "little")
        for start in range(0, len(octets), room)
    ]
    return Weights(
        bits=code.bits,
        check_bits=code.check_bits,
        rank=code.bits - (sum(counts).bit_length() - 1),
        counts=tuple(counts),
        method="weights of the single checks for each error in the shared bits, multiplied",
    )


def _refuse_product(code: Code, room: int, effort: Effort) -> None:
    # Large integers are multiplied in n^1.585 steps; the factor was measured.
    seconds = 2.2e-10 * (room * code.bits) ** 1.585 * 2**code.shared_bits
    if seconds > effort.limit_s:
        raise UsageError(
            f"the joint weights of {code.bits} bits under {code.check_bits} check bits need about "
            f"{seconds:.0f} s here and must take at most {effort.limit_s:.0f} s: raise the limit"
        )


def _cosets(part: CheckPart, shared_bits: int, effort: Effort) -> list[list[int]]:
    """Return for each error in the shared bits how many errors in the own bits hide it."""
    if shared_bits == 0:
        plain = CheckPart(width=part.width, own=part.own, run=part.run)
        found = _plain(plain, effort, len(part.own))
        return [list(found.counts)]
    bits = len(part.own)
    _refuse_beyond(slices.cost_s(bits, part.width), effort, bits, part.width)
    groups = slices.tagged(part.own, part.shared, part.width)
    # The sign of a dual word under an error is the parity of both: a Walsh-Hadamard transform.
    for bit in range(shared_bits):
        for low in range(1 << shared_bits):
            if not low >> bit & 1:
                high = low | 1 << bit
                a, b = groups[low], groups[high]
                groups[low] = [x + y for x, y in zip(a, b, strict=True)]
                groups[high] = [x - y for x, y in zip(a, b, strict=True)]
    return [from_dual(group, part.width, bits) for group in groups]
