"""Who is who in the maps of the two ends of one direction, and which mistake displaced what.

``match`` pairs the signals of the producer (left) with those of the consumer (right);
``explain`` reduces all displacements to as few causes as it can, and gives each a known name.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import NamedTuple

from .bits import mirror_in_octets, swap_octets
from .model import Map, Reserved, Signal

__all__ = ["Cause", "Matching", "Pair", "explain", "match", "near_names", "skeleton"]

_NEAR_RATIO = 0.84
"""Similarity from which two names count as one misspelt name; chosen by trial, from no standard."""
_MOST_COMPARED = 2500
"""Pairs of leftover names up to which every one is compared with every other one."""
_MOST_MOVES = 12
"""Causes of displacement up to which they are told one by one."""

# Letters of other alphabets that look like Latin ones in common engineering fonts: the usual
# suspects of Unicode TS 39, from memory and not complete.
_LOOKALIKES = str.maketrans(
    "АВЕКМНОРСТХУавекмнорстхуіјѕԁѵΑΒΕΖΗΙΚΜΝΟΡΤΥΧαονρικ",
    "ABEKMHOPCTXYabekmhopctxyijsdvABEZHIKMNOPTYXaovpik",
)


_SEPARATORS = str.maketrans("", "", "_-. ")


def skeleton(name: str) -> str:
    """Return a name with case, separators, compatibility forms and look-alike letters removed."""
    if not name.isascii():
        name = unicodedata.normalize("NFKC", name).translate(_LOOKALIKES)
    return name.casefold().translate(_SEPARATORS)


def near_names(left: str, right: str) -> bool:
    """Return whether two different names are probably meant to be one.

    Names whose digits differ are never near: brake1 and brake2 are two brakes.
    """
    a, b = skeleton(left), skeleton(right)
    if a == b:
        return True
    if [char for char in a if char.isdigit()] != [char for char in b if char.isdigit()]:
        return False
    from difflib import SequenceMatcher  # deferred: names agree in most connections.

    return SequenceMatcher(None, a, b, autojunk=False).ratio() >= _NEAR_RATIO


class Pair(NamedTuple):
    """One signal as both ends see it; ``how`` is ``name``, ``near-name`` or ``place``."""

    left: Signal
    right: Signal
    how: str

    @property
    def shift(self) -> int:
        """Bits by which the signal stands later at the right end."""
        return self.right.start - self.left.start


class Matching(NamedTuple):
    """Pairs in the place order of the left map, and the signals only one map has."""

    pairs: tuple[Pair, ...]
    left_only: tuple[Signal, ...] = ()
    right_only: tuple[Signal, ...] = ()


def match(left: Map, right: Map) -> Matching:
    """Pair signals by equal name, then by a near name, then by equal place and width.

    A name that stands several times pairs in file order; that it does is another finding.
    """
    lefts, rights = left.signals, right.signals
    by_name: dict[str, list[Signal]] = {}
    for signal in reversed(rights):
        by_name.setdefault(signal.name, []).append(signal)
    pairs: list[Pair] = []
    left_only: list[Signal] = []
    for signal in lefts:
        partners = by_name.get(signal.name)
        if partners:
            pairs.append(Pair(left=signal, right=partners.pop(), how="name"))
        else:
            left_only.append(signal)
    taken = {id(pair.right) for pair in pairs}
    right_only = [signal for signal in rights if id(signal) not in taken]
    if left_only and right_only:
        pairs += _take_by(left_only, right_only, _start, near_only=True)
        pairs += _take_by(left_only, right_only, _skeleton_and_width)
        if len(left_only) * len(right_only) <= _MOST_COMPARED:
            pairs += _take_misspelt(left_only, right_only)
        pairs += _take_by(left_only, right_only, _place_and_width)
    pairs.sort(key=lambda pair: (pair.left.start, pair.left.end))
    return Matching(pairs=tuple(pairs), left_only=tuple(left_only), right_only=tuple(right_only))


def _start(signal: Signal) -> Hashable:
    return signal.start


def _skeleton_and_width(signal: Signal) -> Hashable:
    return skeleton(signal.name), signal.width


def _place_and_width(signal: Signal) -> Hashable:
    return signal.start, signal.width


def _take_by(
    lefts: list[Signal],
    rights: list[Signal],
    key: Callable[[Signal], Hashable],
    *,
    near_only: bool = False,
) -> list[Pair]:
    """Move the signals that alone have a key at both ends out of both lists."""
    groups: dict[Hashable, tuple[list[Signal], list[Signal]]] = {}
    for side, signals in enumerate((lefts, rights)):
        for signal in signals:
            groups.setdefault(key(signal), ([], []))[side].append(signal)
    taken = []
    for left, right in groups.values():
        if len(left) == len(right) == 1:
            near = near_names(left[0].name, right[0].name)
            if near or not near_only:
                taken.append(
                    Pair(left=left[0], right=right[0], how="near-name" if near else "place")
                )
    _remove(lefts, rights, taken)
    return taken


def _take_misspelt(lefts: list[Signal], rights: list[Signal]) -> list[Pair]:
    """Move the signals whose names are near each other's, and nobody else's, out of both lists."""
    near = [
        (left, right)
        for left in lefts
        for right in rights
        if left.width == right.width and near_names(left.name, right.name)
    ]
    seen = Counter(id(signal) for both in near for signal in both)
    taken = [
        Pair(left=left, right=right, how="near-name")
        for left, right in near
        if seen[id(left)] == seen[id(right)] == 1
    ]
    _remove(lefts, rights, taken)
    return taken


def _remove(lefts: list[Signal], rights: list[Signal], pairs: Iterable[Pair]) -> None:
    gone = {id(signal) for pair in pairs for signal in (pair.left, pair.right)}
    lefts[:] = [signal for signal in lefts if id(signal) not in gone]
    rights[:] = [signal for signal in rights if id(signal) not in gone]


class Cause(NamedTuple):
    """One reason why places or sizes differ.

    ``kind`` is one of: one-sided, shift, swap, moved, octet order, bit numbering, rearranged,
    width, reserve, size. ``pairs`` are the signals it displaces, in place order of the left map;
    ``left`` and ``right`` the signals that only that end has. ``delta`` counts bits by which the
    right end is later, wider or longer. ``absorbed`` tells that a gap takes the shift up again.
    ``word_octets`` is the word in which octets are exchanged.
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
        return Cause(kind="bit numbering", pairs=displaced)
    for word in sorted({2, 4, 8, size}):
        if 1 < word <= size and size % word == 0 and _explains(pairs, _octet_swap(word)):
            return Cause(kind="octet order", pairs=displaced, word_octets=word)
    return None


def _octet_swap(word_octets: int) -> Callable[[int, int], int | None]:
    return lambda index, width: swap_octets(index, width, word_octets)


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
            step = run[0].shift - base
            following = runs[number + 1][0].shift if number + 1 < len(runs) else None
            returns = following == base
            if step:
                resized = self._resized_by(before, step)
                extra_left, extra_right = self._extras(before, run[0])
                if resized is not None:
                    self.found.append(
                        Cause(kind="width", pairs=(resized, *run), delta=step, absorbed=returns)
                    )
                elif (
                    len(run) == 1
                    and not extra_left
                    and not extra_right
                    and self._lone(run[0], base, following)
                ):
                    self.found.append(Cause(kind="moved", pairs=(run[0],), delta=step))
                    before = run[-1]
                    continue
                elif (
                    not returns
                    and not extra_left
                    and not extra_right
                    and self._reserve_step(before, run[0], step)
                ):
                    self.found.append(Cause(kind="reserve", pairs=tuple(run), delta=step))
                else:
                    self.found.append(
                        Cause(
                            kind="shift",
                            pairs=tuple(run),
                            left=extra_left,
                            right=extra_right,
                            delta=step,
                            absorbed=returns,
                        )
                    )
                if returns and self._taken_up(run[-1], runs[number + 1][0]):
                    before = run[-1]
                    continue
                base = run[0].shift
            before = run[-1]
        return base

    @staticmethod
    def _lone(pair: Pair, base: int, following: int | None) -> bool:
        """Tell whether one signal left its place while its neighbours kept theirs."""
        return following is None or following == base

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
        return left != right and right - left == step and bool(left and right)

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
