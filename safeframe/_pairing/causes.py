"""One walk through both maps, which turns differences of place, width and size into causes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from .._model import Map, Reserved, Signal
from .cause import Cause
from .cycles import reorderings, rings
from .match import Matching, Pair
from .patterns import PlacePattern

_REPEATED = 3
"""Steps at the same bit of as many octets that are told as one."""


class _OrderStep(NamedTuple):
    """One change of displacement between neighbours that keep their order."""

    cause: Cause
    before: Pair | None
    shift: int
    step: int


class Walk:
    """One walk through both maps in place order that turns displacements into local causes."""

    def __init__(
        self,
        matching: Matching,
        left: Map,
        right: Map,
        pattern: PlacePattern | None,
        *,
        rings_too: bool = True,
    ) -> None:
        self.rings_too = rings_too
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
        for base, ring in rings(still) if self.rings_too else ():
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
        for block in self._blocks(crossed):
            kind = "shift" if len(block) > 1 else "moved"
            self.found.append(Cause(kind=kind, pairs=tuple(block), delta=block[0].shift))
        return kept

    def _blocks(self, crossed: list[Pair]) -> list[list[Pair]]:
        """Return displaced signals, those that moved together as neighbours in one block."""
        after = {id(one): id(other) for one, other in pairwise(self.pairs)}
        blocks: list[list[Pair]] = []
        for pair in sorted(crossed, key=lambda pair: pair.left.start):
            last = blocks[-1][-1] if blocks else None
            if last is not None and after.get(id(last)) == id(pair) and last.shift == pair.shift:
                blocks[-1].append(pair)
            else:
                blocks.append([pair])
        return blocks

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
        self.found += [self._continued(step.cause) for step in _merged(steps)]
        return levels[-1]

    def _continued(self, cause: Cause) -> Cause:
        """Return a repeated shift with the signals that go on in octets behind the last one."""
        if not cause.repeated or bool(cause.left) == bool(cause.right):
            return cause
        alone = self.left_only if cause.left else self.right_only
        by_start = {(signal.start, signal.width): signal for signal in alone}
        last = (cause.left or cause.right)[-1]
        more: list[Signal] = []
        while (at := (last.start + 8 * (len(more) + 1), last.width)) in by_start:
            more.append(by_start[at])
        alone[:] = [signal for signal in alone if all(signal is not one for one in more)]
        if cause.left:
            return cause._replace(left=(*cause.left, *more))
        return cause._replace(right=(*cause.right, *more))

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
        if not delta or delta == final_shift or self._strayed(delta):
            return
        octets = not (self.left.size_bits | self.right.size_bits) & 7
        if octets and delta * final_shift > 0 and abs(delta - final_shift) < 8:
            return  # The shift, filled up to whole octets.
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

    def _strayed(self, delta: int) -> bool:
        """Tell whether the longer map ends with a signal that stands elsewhere in the other."""
        longer, size = (
            (self.right, self.left.size_bits)
            if delta > 0
            else (
                self.left,
                self.right.size_bits,
            )
        )
        last = [entry for entry in longer.entries if entry.end > size]
        moved = [pair for cause in self.found if cause.kind == "moved" for pair in cause.pairs]
        return len(last) == 1 and any(
            last[0] is (pair.right if delta > 0 else pair.left) for pair in moved
        )


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
