"""Signals that changed places among themselves: rings of equal width, and other orders."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from .._model import Signal
from .match import Pair

_MOST_BASES = 3
"""Displacements of whole regions in which rings are looked for, the most frequent ones."""


def rings(pairs: Sequence[Pair]) -> Iterator[tuple[int, list[Pair]]]:
    """Yield the rings in which every signal took the place of the next, two or more of them.

    Each comes with the bits by which its whole region is later at the right end besides. Nothing
    that stands right is in a ring.
    """
    displaced = [pair for pair in pairs if pair.shift and pair.left.width == pair.right.width]
    common = Counter(pair.shift for pair in displaced).most_common(_MOST_BASES)
    for base in (0, *(shift for shift, number in common if number > 1)):
        by_start = {(pair.left.start, pair.left.width): pair for pair in displaced}
        told: set[int] = set()
        for pair in displaced:
            ring = _ring(pair, base, by_start, told) if pair.shift != base else []
            if len(ring) > 1 and (not base or _around(ring, pairs, base)):
                told.update(map(id, ring))
                yield base, sorted(ring, key=lambda one: one.left.start)
        displaced = [pair for pair in displaced if id(pair) not in told]


def reversed_runs(
    swaps: Iterable[tuple[int, Sequence[Pair]]], pairs: Sequence[Pair]
) -> Iterator[list[Pair]]:
    """Yield the signals of exchanges around one middle: a run in the opposite order.

    One signal may stand in the middle, of any width; it has no reason to move.
    """
    groups: dict[tuple[int, int, int], list[Pair]] = {}
    for base, (one, other) in swaps:
        middle = one.left.start + other.left.start
        groups.setdefault((base, middle, one.left.width), []).extend((one, other))
    for group in groups.values():
        if len(group) == 2:
            continue
        group.sort(key=lambda pair: pair.left.start)
        half = len(group) // 2
        low, high = group[half - 1].left.end, group[half].left.start
        between = [pair for pair in pairs if low <= pair.left.start < high]
        if len(between) < 2 and _touching(group[:half]) and _touching(group[half:]):
            yield group


def _touching(pairs: Sequence[Pair]) -> bool:
    return all(one.left.end == other.left.start for one, other in pairwise(pairs))


def _ring(
    first: Pair, base: int, by_start: dict[tuple[int, int], Pair], told: set[int]
) -> list[Pair]:
    """Return the ring that a signal belongs to, empty where there is none."""
    ring, pair = [first], first
    while True:
        after = by_start.get((pair.right.start - base, pair.left.width))
        if after is first:
            return ring
        # Of two signals in one place only one is in ``by_start``: their ring may miss the first.
        if after is None or id(after) in told or len(ring) >= len(by_start):
            return []
        ring.append(after)
        pair = after


def _around(members: list[Pair], pairs: Sequence[Pair], base: int) -> bool:
    """Tell whether what is between the members, and a neighbour of them, is displaced by base."""
    inside = set(map(id, members))
    first = min(pair.left.start for pair in members)
    last = max(pair.left.start for pair in members)
    before = [pair for pair in pairs if pair.left.start < first][-1:]
    after = [pair for pair in pairs if pair.left.start > last][:1]
    between = [
        pair for pair in pairs if first <= pair.left.start <= last and id(pair) not in inside
    ]
    return all(pair.shift == base for pair in between) and any(
        pair.shift == base for pair in (*before, *after)
    )


def reorderings(pairs: Sequence[Pair], alone: Sequence[Signal]) -> Iterator[tuple[int, list[Pair]]]:
    """Yield signals that stand in another order within the same bits, of any width.

    Only bits that hold the same signals at both ends count, with none of the signals that one end
    alone has. Each comes with the bits by which its region is later at the right end.
    """
    whole = [pair for pair in pairs if pair.left.width == pair.right.width]
    order = sorted(range(len(whole)), key=lambda number: whole[number].right.start)
    rank = {number: place for place, number in enumerate(order)}
    start, highest = 0, -1
    for number in range(len(whole)):
        highest = max(highest, rank[number])
        if highest > number:
            continue
        chunk = whole[start : number + 1]
        start = number + 1
        if len(chunk) < 2:
            continue
        found = _reordered(chunk, alone)
        if found is not None and (not found[0] or _around(found[1], pairs, found[0])):
            yield found


def _reordered(chunk: list[Pair], alone: Sequence[Signal]) -> tuple[int, list[Pair]] | None:
    left = min(pair.left.start for pair in chunk), max(pair.left.end for pair in chunk)
    right = min(pair.right.start for pair in chunk), max(pair.right.end for pair in chunk)
    base = right[0] - left[0]
    moved = [pair for pair in chunk if pair.shift != base]
    if right[1] - left[1] != base or len(moved) < 2 or not all(pair.shift for pair in moved):
        return None
    bits = sum(pair.left.width for pair in chunk)
    if bits != left[1] - left[0] and base:
        return None
    for signal in alone:
        if any(start < signal.end and signal.start < end for start, end in (left, right)):
            return None
    return base, moved
