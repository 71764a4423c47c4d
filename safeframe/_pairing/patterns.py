"""Whole words, octets or maps that one end reads in another order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from .._bits import mirror_in_octets, mirror_in_words, swap_octets
from .match import Pair

_Where = Callable[[int, int], int | None]
_WIDEST = 512
"""Bits of a value up to which its octets are looked at one by one."""
_FEWEST = 3
"""Displaced signals from which a pattern is more than a coincidence of places."""


class PlacePattern(NamedTuple):
    """A pattern and the displaced signals that it explains; see Cause for the fields."""

    kind: str
    pairs: tuple[Pair, ...]
    word_octets: int
    octets: tuple[int, ...] = ()


def patterns(pairs: Sequence[Pair], size_octets: int) -> Iterator[PlacePattern]:
    """Yield every pattern that explains some displaced signals, the likelier ones first."""
    grain = _granularity(pairs)
    if grain is not None:
        yield grain
    tried: list[tuple[str, int, _Where]] = [
        ("bit numbering", 1, mirror_in_octets),
        ("nibbles", 1, _swap_nibbles),
    ]
    for word in sorted({2, 4, 8, size_octets}):
        if 1 < word <= size_octets and size_octets % word == 0:
            tried.append(("octet order", word, partial(swap_octets, word_octets=word)))
            tried.append(("bit numbering", word, partial(mirror_in_words, word_octets=word)))
    for kind, word, where in tried:
        explained = _explained(pairs, word, where)
        if explained is not None:
            told, octets = explained
            yield PlacePattern(kind=kind, pairs=told, word_octets=word, octets=octets)
    whole = _octets_elsewhere(pairs)
    if whole is not None:
        yield whole


def _octets_elsewhere(pairs: Sequence[Pair]) -> PlacePattern | None:
    """Return the pattern of whole octets that stand in another order, wherever they went."""
    displaced = [pair for pair in pairs if pair.shift]
    went: dict[int, int] = {}
    for pair in pairs:
        shift, rest = divmod(pair.shift, 8)
        if rest or pair.left.width != pair.right.width or pair.left.width > _WIDEST:
            return None
        for octet in range(pair.left.start >> 3, (pair.left.end + 7) >> 3):
            if went.setdefault(octet, octet + shift) != octet + shift:
                return None
    if len({pair.shift for pair in displaced}) < 2 or len(displaced) < _FEWEST:
        return None  # Signals that all moved alike are one shift.
    moved = {octet for octet, to in went.items() if octet != to}
    octets = tuple(sorted(moved | {went[octet] for octet in moved}))
    return PlacePattern("octet order", tuple(displaced), 0, octets)


def _explained(
    pairs: Sequence[Pair], word: int, where: _Where
) -> tuple[tuple[Pair, ...], tuple[int, ...]] | None:
    """Return the displaced pairs of the words that a pattern explains whole, and their octets.

    The octets are empty where it explains every word, so that it is about the whole map.
    """
    words: dict[int, list[Pair]] = {}
    for pair in pairs:
        words.setdefault(pair.left.start // (8 * word), []).append(pair)
    good = {
        number: [pair for pair in members if pair.shift]
        for number, members in words.items()
        if all(
            pair.left.width == pair.right.width
            and where(pair.left.start, pair.left.width) == pair.right.start
            for pair in members
        )
    }
    told = tuple(pair for members in good.values() for pair in members)
    if not told:
        return None
    if len(good) == len(words):
        return told, ()
    octets = [
        octet
        for number, members in sorted(good.items())
        if members
        for octet in range(number * word, (number + 1) * word)
    ]
    return told, tuple(octets)


def _swap_nibbles(index: int, width: int) -> int | None:
    """Return where a field lands when the halves of each octet are exchanged."""
    if index & 7 == 0 and width & 7 == 0:
        return index
    return index ^ 4 if (index & 3) + width <= 4 else None


def _granularity(pairs: Sequence[Pair]) -> PlacePattern | None:
    """Return the pattern of bits that are packed at one end and one in each octet at the other."""
    if len(pairs) < _FEWEST or any(pair.left.width != 1 or pair.right.width != 1 for pair in pairs):
        return None
    for packed, spread, left_packed in (("left", "right", 1), ("right", "left", 0)):
        ordered = sorted(pairs, key=lambda pair: int(getattr(pair, packed).start))
        dense = [int(getattr(pair, packed).start) for pair in ordered]
        wide = [int(getattr(pair, spread).start) for pair in ordered]
        packed_well = dense[-1] - dense[0] < 2 * len(dense)
        if packed_well and wide in (
            [8 * start for start in dense],
            [8 * number for number in range(len(dense))],
        ):
            told = tuple(pair for pair in pairs if pair.shift)
            return PlacePattern(kind="granularity", pairs=told, word_octets=left_packed)
    return None
