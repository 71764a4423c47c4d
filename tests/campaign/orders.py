"""Signals in another order at one end: neighbours, runs, octets and names exchanged."""

from __future__ import annotations

from random import Random

from .mutate import (
    Mistake,
    _fill,
    _holds,
    _mistake,
    _octets_only,
    _pick,
    _sorted,
    _spot,
    _within_blocks,
    mutator,
)
from .tiny import Pair, Rows, copied, signals, size

_ORDERS = {"swapped-signals", "rotated-signals", "bit-numbering", "nibble-order", "octet-order"}


def _neighbours(random: Random, pair: Pair, rows: Rows, number: int) -> Rows:
    """Return some signals that follow each other without a gap, fewer where there are none."""
    first = _pick(random, pair, signals(rows))
    run = [first]
    for row in signals(_sorted(rows)):
        if row.start == run[-1].end and len(run) < number:
            run.append(row)
    return run


def _laid(run: Rows) -> set[str]:
    """Put signals one behind the other into the bits that they fill; return which moved."""
    at = min(row.start for row in run)
    moved = set()
    for row in run:
        if row.start != at:
            moved.add(row.name)
        row.start = at
        at += row.width
    return moved


def _reordered(
    random: Random, pair: Pair, kind: str, number: int, *, turn: int | None
) -> Mistake | None:
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    run = _neighbours(random, pair, rows, number)
    if len(run) < min(number, 3):
        return None
    other = run[::-1] if turn is None else [*run[turn:], *run[:turn]]
    names = _laid(other)
    if len(names) < 2 or not _holds(rows) or not _within_blocks(pair, rows):
        return None
    pair.set_rows(direction, side, _sorted(rows))
    return _mistake(kind, _ORDERS, names, direction)


@mutator
def reversal(random: Random, pair: Pair) -> Mistake | None:
    """Three to eight neighbours in the opposite order at one end."""
    return _reordered(random, pair, "reversal", random.randint(3, 8), turn=None)


@mutator
def run_rotated(random: Random, pair: Pair) -> Mistake | None:
    """The first of some neighbours behind the last one."""
    return _reordered(random, pair, "run_rotated", random.randint(3, 8), turn=1)


@mutator
def neighbours(random: Random, pair: Pair) -> Mistake | None:
    """Two neighbours, of any width, in the opposite order."""
    return _reordered(random, pair, "neighbours", 2, turn=1)


@mutator
def names_exchanged(random: Random, pair: Pair) -> Mistake | None:
    """The names of two signals exchanged at one end, all else in its place."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _side, rows = found
    bits = [row for row in signals(rows) if row.type == "bool"]
    named = {row.valid_by for row in rows}
    bits = [row for row in bits if row.name not in named]
    if len(bits) < 2:
        return None
    one, two = random.sample(bits, 2)
    if one.edge != two.edge or one.safe != two.safe:
        return None  # Then more than the names differs.
    one.name, two.name = two.name, one.name
    return _mistake("names_exchanged", {"swapped-signals"}, {one.name, two.name}, direction)


def _permuted(
    random: Random, pair: Pair, kind: str, order: list[int], direction: int, side: int
) -> Mistake | None:
    """Put octet ``order[n]`` at place n."""
    rows = pair.rows(direction, side)
    to = {octet: place for place, octet in enumerate(order)}
    made = copied(signals(rows))
    names = set()
    for row in made:
        octets = range(row.start // 8, (row.end - 1) // 8 + 1)
        places = {to[octet] - octet for octet in octets}
        if len(places) > 1:
            return None  # A value over octets that part cannot be written down.
        delta = 8 * places.pop()
        row.start += delta
        if delta:
            names.add(row.name)
    whole = _fill(made, size(rows))
    if len(names) < 2 or not _within_blocks(pair, whole):
        return None
    pair.set_rows(direction, side, whole)
    rules = {"octet-order", "swapped-signals", "rotated-signals", "shifted-signals"}
    return _mistake(kind, rules | {"reserve-differs"}, names, direction)


@mutator
def two_octets(random: Random, pair: Pair) -> Mistake | None:
    """Two octets with all that is in them exchanged at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    order = list(range(size(rows) // 8))
    if len(order) < 2 or size(rows) % 8:
        return None
    one, two = random.sample(order, 2)
    order[one], order[two] = two, one
    return _permuted(random, pair, "two_octets", order, direction, side)


@mutator
def octets_reversed(random: Random, pair: Pair) -> Mistake | None:
    """All octets in the opposite order at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    order = list(range(size(rows) // 8))[::-1]
    if len(order) < 2 or size(rows) % 8:
        return None
    return _permuted(random, pair, "octets_reversed", order, direction, side)


@mutator
def words_exchanged(random: Random, pair: Pair) -> Mistake | None:
    """The two halves of the data exchanged at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    octets = size(rows) // 8
    if octets < 4 or octets % 2 or size(rows) % 8:
        return None
    half = octets // 2
    order = [*range(half, octets), *range(half)]
    return _permuted(random, pair, "words_exchanged", order, direction, side)
