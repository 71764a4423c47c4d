"""Which mistake displaced what: all displacements reduced to as few named causes as possible."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import NamedTuple

from .._bits import mirror_in_octets, mirror_in_words, swap_octets
from .._model import Map, Reserved, Signal
from .match import Matching, Pair

__all__ = ["Cause", "explain"]

_MOST_MOVES = 12
"""Causes of displacement up to which they are told one by one."""


class Cause(NamedTuple):
    """One reason why places or sizes differ.

    ``kind`` is one of: one-sided, shift, swap, moved, octet order, bit numbering, rearranged,
    width, reserve, size. ``pairs`` are the signals it displaces, in place order of the left map;
    ``left`` and ``right`` the signals that only that end has. ``delta`` counts bits by which the
    right end is later, wider or longer. ``absorbed`` tells that a gap takes the shift up again.
    ``word_octets`` is the word in which octets are exchanged or bits counted from the other side.
    """

    kind: str
    pairs: tuple[Pair, ...] = ()
    left: tuple[Signal, ...] = ()
    right: tuple[Signal, ...] = ()
    delta: int = 0
    absorbed: bool = False
    word_octets: int = 0


def explain(matching: Matching, left: Map, right: Map) -> tuple[Cause, ...]:
    """Return the fewest named causes that explain every difference of place, width and size."""
    if (
        left.size_bits == right.size_bits
        and not matching.left_only
        and not matching.right_only
        and all(
            pair.left.at == pair.right.at and pair.left.width == pair.right.width
            for pair in matching.pairs
        )
    ):
        return ()  # The common case, twice per clean connection.
    local = _Walk(matching, left, right).causes()
    moves = [cause for cause in local if cause.pairs and cause.kind != "width"]
    if len(moves) > 1:
        whole = _permutation(matching.pairs, left, right)
        if whole is not None:
            rest = [cause for cause in local if not cause.pairs or cause.kind == "width"]
            rest += [
                Cause(kind="one-sided", left=cause.left, right=cause.right)
                for cause in moves
                if cause.left or cause.right
            ]
            return (whole, *rest)
        mostly = len(moves) > 3 and 2 * len(moves) > len(matching.pairs)
        if mostly or len(moves) > _MOST_MOVES:
            return _rearranged(local, moves, matching.pairs)
    return tuple(local)


def _rearranged(
    local: Sequence[Cause], moves: Sequence[Cause], pairs: Sequence[Pair]
) -> tuple[Cause, ...]:
    displaced = tuple(pair for pair in pairs if pair.shift)
    left = tuple(signal for cause in moves for signal in cause.left)
    right = tuple(signal for cause in moves for signal in cause.right)
    told = set(map(id, moves))
    rest = tuple(cause for cause in local if id(cause) not in told)
    return (Cause(kind="rearranged", pairs=displaced, left=left, right=right), *rest)


def _permutation(pairs: Sequence[Pair], left: Map, right: Map) -> Cause | None:
    """Return the permutation of whole octets or of bits in octets that explains every pair."""
    displaced = tuple(pair for pair in pairs if pair.shift)
    size = max(left.size_octets, right.size_octets)
    if _explains(pairs, mirror_in_octets):
        return Cause(kind="bit numbering", pairs=displaced, word_octets=1)
    for word in sorted({2, 4, 8, size}):
        if 1 < word <= size and size % word == 0:
            if _explains(pairs, partial(swap_octets, word_octets=word)):
                return Cause(kind="octet order", pairs=displaced, word_octets=word)
            if _explains(pairs, partial(mirror_in_words, word_octets=word)):
                return Cause(kind="bit numbering", pairs=displaced, word_octets=word)
    return None


def _explains(pairs: Sequence[Pair], where: Callable[[int, int], int | None]) -> bool:
    return all(
        pair.left.width == pair.right.width
        and where(pair.left.start, pair.left.width) == pair.right.start
        for pair in pairs
    )


class _Walk:
    """One walk through both maps in place order that turns displacements into local causes."""

    def __init__(self, matching: Matching, left: Map, right: Map) -> None:
        self.pairs = matching.pairs
        self.left, self.right = left, right
        self.left_runs, self.right_runs = left.reserved, right.reserved
        self.left_only = list(matching.left_only)
        self.right_only = list(matching.right_only)
        self.resized = [pair for pair in self.pairs if pair.left.width != pair.right.width]
        self.found: list[Cause] = []

    def causes(self) -> list[Cause]:
        still = self._swaps()
        final_shift = self._runs(still)
        for pair in self.resized:
            delta = pair.right.width - pair.left.width
            self.found.append(Cause(kind="width", pairs=(pair,), delta=delta))
        for signal in self.left_only:
            self.found.append(Cause(kind="one-sided", left=(signal,), delta=-signal.width))
        for signal in self.right_only:
            self.found.append(Cause(kind="one-sided", right=(signal,), delta=signal.width))
        self._sizes(final_shift)
        return self.found

    def _swaps(self) -> list[Pair]:
        """Take out pairs of signals that stand in each other's place; return the other pairs."""
        common = [shift for shift, _ in Counter(pair.shift for pair in self.pairs).most_common(3)]
        still = list(self.pairs)
        for base in dict.fromkeys((0, *common)):
            by_start = {(pair.left.start, pair.left.width): pair for pair in still}
            swapped: set[int] = set()
            for pair in still:
                target = (pair.right.start - base, pair.left.width)
                other = by_start.get(target)
                if (
                    other is not None
                    and pair.left.start < other.left.start
                    and other.right.start - base == pair.left.start
                    and pair.right.width == other.right.width == pair.left.width
                ):
                    swapped |= {id(pair), id(other)}
                    self.found.append(Cause(kind="swap", pairs=(pair, other)))
            still = [pair for pair in still if id(pair) not in swapped]
        return self._neighbour_swaps(still)

    def _neighbour_swaps(self, pairs: list[Pair]) -> list[Pair]:
        """Take out neighbours of unequal width that changed order inside the same bits."""
        still: list[Pair] = []
        index = 0
        while index < len(pairs):
            first = pairs[index]
            second = pairs[index + 1] if index + 1 < len(pairs) else None
            if (
                second is not None
                and second.right.start == first.left.start
                and first.right.end == second.left.end
                and first.left.width == first.right.width != second.left.width
                and second.left.width == second.right.width
            ):
                self.found.append(Cause(kind="swap", pairs=(first, second)))
                index += 2
            else:
                still.append(first)
                index += 1
        return still

    def _runs(self, pairs: list[Pair]) -> int:
        """Turn runs of equal displacement into causes; return the displacement at the end."""
        runs: list[list[Pair]] = []
        for pair in pairs:
            if runs and runs[-1][-1].shift == pair.shift:
                runs[-1].append(pair)
            else:
                runs.append([pair])
        base, before = 0, None
        for number, run in enumerate(runs):
            shift = run[0].shift
            following = runs[number + 1] if number + 1 < len(runs) else None
            if shift != base:
                # A gap that brings the places together again leaves the base as it was.
                absorbed = (
                    following is not None
                    and following[0].shift == base
                    and self._taken_up(run[-1], following[0])
                )
                if not self._step(before, run, base, following, absorbed) and not absorbed:
                    base = shift
            before = run[-1]
        return base

    def _step(
        self,
        before: Pair | None,
        run: list[Pair],
        base: int,
        following: list[Pair] | None,
        absorbed: bool,
    ) -> bool:
        """Add the cause of a step in displacement; tell whether one signal alone has moved."""
        shift = run[0].shift
        displaced = tuple(run) if shift else ()
        resized = self._resized_by(before, shift - base)
        if resized is not None:
            self.found.append(
                Cause(
                    kind="width",
                    pairs=(resized, *displaced),
                    delta=shift - base,
                    absorbed=absorbed,
                )
            )
            return False
        left, right = self._extras(before, run[0])
        if not displaced:  # Back in place: what one end has here stands for itself.
            self.left_only += left
            self.right_only += right
            return False
        alone = len(run) == 1 and (following is None or following[0].shift in (0, base))
        if alone and not left and not right:
            self.found.append(Cause(kind="moved", pairs=displaced, delta=shift))
            return True
        plain = not absorbed and not left and not right
        kind = "reserve" if plain and self._reserve_step(before, run[0], shift - base) else "shift"
        self.found.append(
            Cause(
                kind=kind, pairs=displaced, left=left, right=right, delta=shift, absorbed=absorbed
            )
        )
        return False

    def _resized_by(self, before: Pair | None, step: int) -> Pair | None:
        if before is not None and before.right.width - before.left.width == step:
            self.resized = [pair for pair in self.resized if pair is not before]
            return before
        return None

    def _extras(
        self, before: Pair | None, first: Pair
    ) -> tuple[tuple[Signal, ...], tuple[Signal, ...]]:
        """Take the one-sided signals that stand between two neighbours of a step."""
        left = _between(self.left_only, before.left.end if before else 0, first.left.start)
        right = _between(self.right_only, before.right.end if before else 0, first.right.start)
        self.left_only = [signal for signal in self.left_only if signal not in left]
        self.right_only = [signal for signal in self.right_only if signal not in right]
        return left, right

    def _reserve_step(self, before: Pair | None, first: Pair, step: int) -> bool:
        left = _reserved_between(self.left_runs, before.left.end if before else 0, first.left.start)
        right = _reserved_between(
            self.right_runs, before.right.end if before else 0, first.right.start
        )
        return right - left == step and bool(left and right)

    def _taken_up(self, last: Pair, following: Pair) -> bool:
        """Tell whether a gap, and no second mistake, brings the places together again."""
        left = _between(self.left_only, last.left.end, following.left.start)
        right = _between(self.right_only, last.right.end, following.right.start)
        return not left and not right and last.left.width == last.right.width

    def _sizes(self, final_shift: int) -> None:
        """Explain a difference of size that no cause so far explains."""
        delta = self.right.size_bits - self.left.size_bits
        if not delta or delta == final_shift:
            return
        last_left = max((signal.end for signal in self.left.signals), default=0)
        last_right = max((signal.end for signal in self.right.signals), default=0)
        matched_left = max((pair.left.end for pair in self.pairs), default=0)
        matched_right = max((pair.right.end for pair in self.pairs), default=0)
        behind = 0
        for cause in self.found:
            if cause.kind == "one-sided":
                late = any(signal.start >= matched_left for signal in cause.left) or any(
                    signal.start >= matched_right for signal in cause.right
                )
            else:
                late = any(
                    pair.left.end == matched_left and pair.right.end == matched_right
                    for pair in cause.pairs
                )
            behind += cause.delta if late else 0
        tail_left = _reserved_between(self.left_runs, last_left, self.left.size_bits)
        tail_right = _reserved_between(self.right_runs, last_right, self.right.size_bits)
        padded = behind * delta > 0 and not (tail_left and tail_right)
        if behind == delta or padded:
            return  # Signals behind all others, with the padding they brought, explain it.
        kind = "reserve" if tail_left and tail_right else "size"
        self.found.append(Cause(kind=kind, delta=delta))


def _between(signals: Iterable[Signal], start: int, end: int) -> tuple[Signal, ...]:
    return tuple(signal for signal in signals if start <= signal.start < end)


def _reserved_between(runs: Iterable[Reserved], start: int, end: int) -> int:
    return sum(run.width for run in runs if start <= run.start < end)
