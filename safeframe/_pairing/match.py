"""Who is who: the signals of the producer (left) and those of the consumer (right) in pairs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable

from .._model import Map, Signal
from .._value import NamedTuple
from .names import near_names, skeleton

_MOST_COMPARED = 2500
"""Pairs of leftover names up to which every one is compared with every other one."""


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

    A name that stands several times pairs by place first, then by width and meaning, then in file
    order; that it stands several times is another finding.
    """
    lefts, rights = left.signals, right.signals
    several = any(len({one.name for one in ones}) < len(ones) for ones in (lefts, rights))
    chosen: dict[int, Signal] = {}
    taken: set[int] = set()
    for key in (_start, _width_and_meaning, _name) if several else (_name,):
        free: dict[Hashable, list[Signal]] = {}
        for signal in reversed(rights):
            if id(signal) not in taken:
                free.setdefault((signal.name, key(signal)), []).append(signal)
        for signal in lefts:
            partners = free.get((signal.name, key(signal)))
            if partners and id(signal) not in chosen:
                chosen[id(signal)] = partners.pop()
                taken.add(id(chosen[id(signal)]))
    pairs = [
        Pair(left=signal, right=chosen[id(signal)], how="name")
        for signal in lefts
        if id(signal) in chosen
    ]
    left_only = [signal for signal in lefts if id(signal) not in chosen]
    right_only = [signal for signal in rights if id(signal) not in taken]
    if left_only and right_only:
        pairs += _take_by(left_only, right_only, _start, near_only=True)
        pairs += _take_by(left_only, right_only, _skeleton_and_width, near_only=True)
        if len(left_only) * len(right_only) <= _MOST_COMPARED:
            pairs += _take_misspelt(left_only, right_only)
        pairs += _take_by(left_only, right_only, _place_and_width)
    pairs.sort(key=lambda pair: (pair.left.start, pair.left.end))
    return Matching(pairs=tuple(pairs), left_only=tuple(left_only), right_only=tuple(right_only))


def _name(signal: Signal) -> Hashable:
    return signal.name


def _start(signal: Signal) -> Hashable:
    return signal.start


def _width_and_meaning(signal: Signal) -> Hashable:
    return signal.width, signal.one_means


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
    for both in groups.values():
        if [len(signals) for signals in both] == [1, 1]:
            (left,), (right,) = both
            near = near_names(left.name, right.name)
            if near or not near_only:
                taken.append(Pair(left=left, right=right, how="near-name" if near else "place"))
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
