"""Who is who: the signals of the producer (left) and those of the consumer (right) in pairs."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Hashable, Iterable
from typing import NamedTuple

from .._model import Map, Signal

__all__ = ["Matching", "Pair", "match", "near_names", "skeleton"]

_NEAR_RATIO = 0.75
"""Similarity from which two words count as one misspelt word; chosen by trial, from no standard."""
_SHORTEST = 4
"""Letters from which a word is long enough to be called misspelt."""
_WORDS = re.compile(r"[^\W\d_]+|\d+")
_MOST_COMPARED = 2500
"""Pairs of leftover names up to which every one is compared with every other one."""

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
    """Return whether two different names are probably meant to be one, misspelt.

    The names must agree but for a slip inside long words: brake1 and brake2, brake_a and
    brake_b, ok and nok, valid and invalid are different things and never near.
    """
    if skeleton(left) == skeleton(right):
        return True
    lefts, rights = _WORDS.findall(left.casefold()), _WORDS.findall(right.casefold())
    return len(lefts) == len(rights) and all(map(_slip, lefts, rights))


def _slip(left: str, right: str) -> bool:
    """Return whether two words are equal or one of them is misspelt."""
    if left == right:
        return True
    short, long = sorted((left, right), key=len)
    if len(short) < _SHORTEST or long.startswith(short) or long.endswith(short):
        return False
    if not short.isalpha() or not long.isalpha():
        return False
    from difflib import SequenceMatcher  # deferred: names agree in most connections.

    return SequenceMatcher(None, left, right, autojunk=False).ratio() >= _NEAR_RATIO


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
