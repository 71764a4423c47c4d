"""Which mistake displaced what: all displacements reduced to as few named causes as possible.

Two rules hold for every list of causes. No signal that stands right at both ends is among the
displaced ones of any cause; and every displaced signal is among those of exactly one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from .._model import Map, Reserved, Signal
from .cycles import reorderings, rings
from .match import Matching, Pair
from .patterns import PlacePattern, patterns

__all__ = ["Cause", "explain"]

_MOST_MOVES = 12
"""Causes of displacement up to which they are told one by one."""
_REPEATED = 3
"""Steps at the same bit of as many octets that are told as one."""


class Cause(NamedTuple):
    """One reason why places or sizes differ.

    ``kind`` is one of: one-sided, shift, swap, rotation, moved, octet order, bit numbering,
    nibbles, granularity, rearranged, width, reserve, size. ``pairs`` are the signals it displaces,
    in place order of the left map (of a width: the resized one first); ``left`` and ``right`` the
    signals that only that end has. ``delta`` counts bits by which the right end is later, wider
    or longer; of a swap or rotation, those by which all its bits are later besides. ``absorbed``
    tells that a gap takes the shift up again, ``repeated`` that a shift grows octet by octet.
    ``word_octets`` is the word in which octets are exchanged or bits counted from the other side,
    ``octets`` are the octets of the left map that a pattern is about, empty for all of them.
    """

    kind: str
    pairs: tuple[Pair, ...] = ()
    left: tuple[Signal, ...] = ()
    right: tuple[Signal, ...] = ()
    delta: int = 0
    absorbed: bool = False
    repeated: bool = False
    word_octets: int = 0
    octets: tuple[int, ...] = ()


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
    best = _Walk(matching, left, right, None).causes()
    if _moves(best) > 1:
        for pattern in patterns(matching.pairs, max(left.size_octets, right.size_octets)):
            other = _Walk(matching, left, right, pattern).causes()
            if len(other) < len(best):
                best = other
    moves = [cause for cause in best if cause.pairs and cause.kind != "width"]
    mostly = len(moves) > 3 and 2 * len(moves) > len(matching.pairs)
    if mostly or len(moves) > _MOST_MOVES:
        return _rearranged(best, moves)
    return tuple(best)


def _moves(causes: Iterable[Cause]) -> int:
    return sum(1 for cause in causes if cause.pairs and cause.kind != "width")


def _rearranged(causes: Sequence[Cause], moves: Sequence[Cause]) -> tuple[Cause, ...]:
    displaced = sorted(
        (pair for cause in moves for pair in cause.pairs), key=lambda pair: pair.left.start
    )
    left = tuple(signal for cause in moves for signal in cause.left)
    right = tuple(signal for cause in moves for signal in cause.right)
    told = set(map(id, moves))
    rest = tuple(cause for cause in causes if id(cause) not in told)
    whole = Cause(kind="rearranged", pairs=tuple(displaced), left=left, right=right)
    return (whole, *rest)


class _OrderStep(NamedTuple):
    """One change of displacement between neighbours that keep their order."""

    cause: Cause
    before: Pair | None
    shift: int
    step: int


class _Walk:
    """One walk through both maps in place order that turns displacements into local causes."""

    def __init__(
        self, matching: Matching, left: Map, right: Map, pattern: PlacePattern | None
    ) -> None:
        self.pairs = matching.pairs
        self.pattern = pattern
        self.left, self.right = left, right
        self.left_runs, self.right_runs = left.reserved, right.reserved
        self.left_only = list(matching.left_only)
        self.right_only = list(matching.right_only)
        self.resized = [pair for pair in self.pairs if pair.left.width != pair.right.width]
        self.found: list[Cause] = []

    def causes(self) -> list[Cause]:
        still = list(self.pairs)
        if self.pattern is not None:
            self.found.append(Cause(**self.pattern._asdict()))
            still = self._without(still)
        for base, ring in rings(still):
            kind = "swap" if len(ring) == 2 else "rotation"
            self.found.append(Cause(kind=kind, pairs=tuple(ring), delta=base))
        still = self._without(still)
        for base, ring in reorderings(still, (*self.left_only, *self.right_only)):
            kind = "swap" if len(ring) == 2 else "rotation"
            self.found.append(Cause(kind=kind, pairs=tuple(ring), delta=base))
        still = self._without(still)
        final_shift = self._runs(self._backbone(still))
        for pair in self.resized:
            delta = pair.right.width - pair.left.width
            self.found.append(Cause(kind="width", pairs=(pair,), delta=delta))
        for signal in self.left_only:
            self.found.append(Cause(kind="one-sided", left=(signal,), delta=-signal.width))
        for signal in self.right_only:
            self.found.append(Cause(kind="one-sided", right=(signal,), delta=signal.width))
        if self.pattern is None or self.pattern.kind != "granularity":
            self._sizes(final_shift)
        return self.found

    def _without(self, pairs: list[Pair]) -> list[Pair]:
        told = {id(pair) for cause in self.found for pair in cause.pairs}
        return [pair for pair in pairs if id(pair) not in told]

    def _backbone(self, pairs: list[Pair]) -> list[Pair]:
        """Take out the signals that crossed others; return those that keep their order.

        What stands right keeps its order by itself, so that only displaced signals are taken out.
        """
        kept: list[Pair] = []
        segment: list[Pair] = []
        crossed: list[Pair] = []
        low = -1
        anchors = [pair for pair in pairs if not pair.shift]
        highs = iter([*(pair.left.start for pair in anchors), 1 << 62])
        high = next(highs)
        for pair in pairs:
            if not pair.shift:
                kept += _in_order(segment, crossed)
                kept.append(pair)
                segment, low, high = [], pair.left.start, next(highs)
            elif low < pair.right.start < high:
                segment.append(pair)
            else:
                crossed.append(pair)
        kept += _in_order(segment, crossed)
        for pair in sorted(crossed, key=lambda pair: pair.left.start):
            self.found.append(Cause(kind="moved", pairs=(pair,), delta=pair.shift))
        return kept

    def _runs(self, pairs: list[Pair]) -> int:
        """Turn runs of equal displacement into causes; return the displacement at the end."""
        runs: list[list[Pair]] = []
        for pair in pairs:
            if runs and runs[-1][-1].shift == pair.shift:
                runs[-1].append(pair)
            else:
                runs.append([pair])
        steps: list[_OrderStep] = []
        levels, before = [0], None
        for number, run in enumerate(runs):
            shift = run[0].shift
            following = runs[number + 1] if number + 1 < len(runs) else None
            if shift != levels[-1]:
                self._step(before, run, levels, following, steps)
            elif shift:  # One signal strayed in between; the rest goes on as before it.
                _go_on(steps, run)
            before = run[-1]
        self.found += [step.cause for step in _merged(steps)]
        return levels[-1]

    def _step(
        self,
        before: Pair | None,
        run: list[Pair],
        levels: list[int],
        following: list[Pair] | None,
        steps: list[_OrderStep],
    ) -> None:
        """Add the cause of a step in displacement, or the run to the cause that it goes on with."""
        shift, base = run[0].shift, levels[-1]
        resized = self._resized_by(before, run[0], shift - base)
        displaced = tuple(run) if shift else ()
        if resized is not None:
            gone = following is not None and following[0].shift == base
            told = tuple(pair for pair in displaced if pair is not resized)
            cause = Cause(kind="width", pairs=(resized, *told), delta=shift - base, absorbed=gone)
            steps.append(_OrderStep(cause, before, shift, shift - base))
            levels.append(shift)
            return
        left, right = self._extras(before, run[0])
        if not displaced:  # Back in place: what one end has here stands for itself.
            self.left_only += left
            self.right_only += right
            levels[:] = [0]
            return
        extras = bool(left or right)
        if not extras and _go_on(steps, run):
            levels.append(shift)
            return
        back = following is None or following[0].shift in (0, base)
        if len(run) == 1 and not extras and back:
            cause = Cause(kind="moved", pairs=displaced, delta=shift)
            steps.append(_OrderStep(cause, before, shift, shift - base))
            return
        absorbed = (
            following is not None
            and following[0].shift == base
            and self._taken_up(run[-1], following[0])
        )
        plain = not absorbed and not extras
        kind = "reserve" if plain and self._reserve_step(before, run[0], shift - base) else "shift"
        cause = Cause(
            kind=kind, pairs=displaced, left=left, right=right, delta=shift, absorbed=absorbed
        )
        steps.append(_OrderStep(cause, before, shift, shift - base))
        levels.append(shift)

    def _resized_by(self, before: Pair | None, first: Pair, step: int) -> Pair | None:
        for pair in (before, first):
            if pair is None or all(pair is not one for one in self.resized):
                continue
            wider = pair.right.width - pair.left.width
            if (pair is before and wider == step) or (pair is first and wider == -step):
                self.resized = [one for one in self.resized if one is not pair]
                return pair
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
        both = tail_left and tail_right and tail_right - tail_left == delta
        kind = "reserve" if both else "size"
        self.found.append(Cause(kind=kind, delta=delta))


def _go_on(steps: list[_OrderStep], run: list[Pair]) -> bool:
    """Add a run to the cause that displaced others by as much, if there is one."""
    for number, step in enumerate(steps):
        if step.shift == run[0].shift and step.cause.kind != "moved":
            pairs = (*step.cause.pairs, *run)
            steps[number] = step._replace(cause=step.cause._replace(pairs=pairs))
            return True
    return False


def _in_order(pairs: list[Pair], crossed: list[Pair]) -> list[Pair]:
    """Return the longest run of pairs whose order is the same at both ends; add others to crossed.

    Patience sorting; of equally long runs the one that ends first at the right end.
    """
    if all(a.right.start <= b.right.start for a, b in pairwise(pairs)):
        return pairs
    from bisect import bisect_right  # deferred: few maps have crossed signals.

    tails: list[int] = []
    ends: list[int] = []
    previous: list[int] = []
    for number, pair in enumerate(pairs):
        rank = bisect_right(tails, pair.right.start)
        tails[rank:] = [pair.right.start, *tails[rank + 1 :]]
        ends[rank:] = [number, *ends[rank + 1 :]]
        previous.append(ends[rank - 1] if rank else -1)
    kept: list[Pair] = []
    number = ends[-1]
    while number >= 0:
        kept.append(pairs[number])
        number = previous[number]
    kept.reverse()
    chosen = set(map(id, kept))
    crossed += [pair for pair in pairs if id(pair) not in chosen]
    return kept


def _merged(steps: list[_OrderStep]) -> list[_OrderStep]:
    """Merge steps that come back at the same bit of several octets: one mistake, repeated."""
    growing = [
        step
        for step in steps
        if step.cause.kind in ("shift", "reserve") and not step.cause.absorbed
    ]
    for end in ("left", "right"):
        starts = [_gap_start(step, end) for step in growing]
        octets, bits = {start >> 3 for start in starts}, {start & 7 for start in starts}
        sizes = {step.step for step in growing}
        if len(octets) == len(growing) >= _REPEATED and len(bits) == len(sizes) == 1:
            whole = Cause(
                kind="shift",
                pairs=tuple(pair for step in growing for pair in step.cause.pairs),
                left=tuple(signal for step in growing for signal in step.cause.left),
                right=tuple(signal for step in growing for signal in step.cause.right),
                delta=growing[0].step,
                repeated=True,
            )
            first = growing[0]
            rest = [step for step in steps if all(step is not one for one in growing)]
            return [first._replace(cause=whole), *rest]
    return steps


def _gap_start(step: _OrderStep, end: str) -> int:
    """Return where the bits between two neighbours begin at one end."""
    signals: Sequence[Signal] = getattr(step.cause, end)
    if signals:
        return signals[0].start
    return getattr(step.before, end).end if step.before else 0


def _between(signals: Iterable[Signal], start: int, end: int) -> tuple[Signal, ...]:
    return tuple(signal for signal in signals if start <= signal.start < end)


def _reserved_between(runs: Iterable[Reserved], start: int, end: int) -> int:
    return sum(run.width for run in runs if start <= run.start < end)
