"""Slips of the hand in rows: one cell typed wrong, a row lost, copied or put at a wrong place."""

from __future__ import annotations

import copy
from random import Random

from .mutate import (
    Mistake,
    _fill,
    _free_name,
    _holds,
    _mistake,
    _octets_only,
    _pick,
    _sorted,
    _spot,
    _within_blocks,
    mutator,
)
from .tiny import Pair, Row, Rows, copied, signals, size

_DISPLACED = {"moved-signal", "swapped-signals", "rotated-signals", "reserve-differs"}


def _free_of_validity(rows: Rows) -> Rows:
    named = {row.valid_by for row in rows}
    return [row for row in signals(rows) if row.name not in named]


@mutator
def place_typed(random: Random, pair: Pair) -> Mistake | None:
    """Another place typed at one end, and nothing else edited: a hole here, an overlap there."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    row = _pick(random, pair, signals(rows))
    step = 8 if _octets_only(pair) or row.order == "big" else 1
    places = range(0, size(rows) - row.width + 1, step)
    row.start = random.choice([at for at in places if at != row.start] or [row.start])
    other = next((one for one in pair.rows(direction, 1 - side) if one.name == row.name), None)
    if other is None or other.start == row.start or not _within_blocks(pair, rows):
        return None
    pair.set_rows(direction, side, _sorted(rows))
    return _mistake("place_typed", _DISPLACED | {"overlap"}, {row.name}, direction)


@mutator
def width_typed(random: Random, pair: Pair) -> Mistake | None:
    """Another width typed at one end, and nothing else edited."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, _, rows = found
    fit = [row for row in signals(rows) if row.type in ("bool", "uint") and row.order == "little"]
    if not fit:
        return None
    row = _pick(random, pair, fit)
    if row.type == "uint" and row.width > 2 and random.random() < 0.5:
        row.width -= 1
    elif row.end < size(rows):
        row.width, row.type = row.width + 1, "uint"
    else:
        return None
    if not _within_blocks(pair, rows):
        return None
    return _mistake("width_typed", {"width-differs"}, {row.name}, direction)


@mutator
def row_lost(random: Random, pair: Pair) -> Mistake | None:
    """A row of a signal deleted at one end, its bits undeclared."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    free = _free_of_validity(rows)
    if len(signals(rows)) < 3 or not free:
        return None
    gone = _pick(random, pair, free)
    pair.set_rows(direction, side, [row for row in rows if row is not gone])
    return _mistake("row_lost", {"one-sided-signal"}, {gone.name}, direction)


@mutator
def validity_lost(random: Random, pair: Pair) -> Mistake | None:
    """The validity bit of a value missing at one end, its bit given to the reserve."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    named = {row.valid_by for row in rows}
    bits = [row for row in signals(rows) if row.name in named]
    if len(signals(rows)) < 3 or not bits:
        return None
    gone = _pick(random, pair, bits)
    kept = [row for row in rows if row is not gone]
    pair.set_rows(direction, side, _fill(kept, size(rows)))
    return _mistake("validity_lost", {"one-sided-signal"}, {gone.name}, direction)


@mutator
def row_copied(random: Random, pair: Pair) -> Mistake | None:
    """A row copied into the reserve, its place the only cell that was edited but the variable."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    row = copy.copy(_pick(random, pair, signals(rows)))
    runs = [run for run in rows if not run.name and run.width >= row.width]
    if not runs:
        return None
    row.start, row.bind = random.choice(runs).start, f"{row.bind}.copy"
    made = _fill([*rows, row], size(rows))
    if not _holds(made) or not _within_blocks(pair, made):
        return None
    pair.set_rows(direction, side, made)
    return _mistake("row_copied", {"duplicate-name"}, {row.name}, direction)


@mutator
def put_on_taken(random: Random, pair: Pair) -> Mistake | None:
    """A new bit put at one end onto a place that is taken."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    name = _free_name(random, pair)
    taken = _pick(random, pair, signals(rows))
    if any(row.name == name for row in rows):
        return None
    at = random.randrange(taken.start, taken.end)
    new = Row(at, 1, name, bind=f"{side}.{direction}.{name}")
    pair.set_rows(direction, side, _sorted([*rows, new]))
    return _mistake("put_on_taken", {"overlap"}, {name, taken.name}, direction)


@mutator
def overlap_at_both(random: Random, pair: Pair) -> Mistake | None:
    """Two signals on the same bits, in the same way at both ends."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, _, rows = found
    name = _free_name(random, pair)
    taken = _pick(random, pair, signals(rows))
    at = random.randrange(taken.start, taken.end)
    for side in (0, 1):
        own = pair.rows(direction, side)
        same = [row for row in own if (row.name, row.start) == (taken.name, taken.start)]
        if not same or any(row.name == name for row in own):
            return None
        new = Row(at, 1, name, bind=f"{side}.{direction}.{name}")
        pair.set_rows(direction, side, _sorted([*own, new]))
    mistake = _mistake("overlap_at_both", {"overlap"}, {name, taken.name}, direction)
    mistake.inner = True
    return mistake


@mutator
def hole_at_both(random: Random, pair: Pair) -> Mistake | None:
    """A reserved run in the middle that nobody declared, at both ends."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    runs = [(row.start, row.width) for row in rows[:-1] if not row.name]
    if not runs:
        return None
    run = random.choice(runs)
    for side in (0, 1):
        own = pair.rows(direction, side)
        kept = [row for row in own if row.name or (row.start, row.width) != run]
        if len(kept) != len(own) - 1 or size(kept) != size(own):
            return None
        pair.set_rows(direction, side, kept)
    mistake = _mistake("hole_at_both", {"hole", "reserve-differs"}, set(), direction)
    mistake.inner = True
    return mistake


@mutator
def size_at_both(random: Random, pair: Pair) -> Mistake | None:
    """Three bits too many at both ends, so that no frame of that size exists."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    for side in (0, 1):
        own = pair.rows(direction, side)
        if size(own) != size(rows) or size(own) % 8:
            return None
        if not own[-1].name:
            own[-1].width += 3
        else:
            own.append(Row(size(own), 3))
    mistake = _mistake("size_at_both", {"illegal-size"}, set(), direction)
    mistake.inner = True
    return mistake


@mutator
def rows_disordered(random: Random, pair: Pair) -> Mistake | None:
    """Two neighbouring rows in the wrong order in one file, their places right."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    if len(rows) < 2 or [row.start for row in rows] != sorted(row.start for row in rows):
        return None
    at = random.randrange(len(rows) - 1)
    if rows[at].start == rows[at + 1].start:
        return None
    rows[at], rows[at + 1] = rows[at + 1], rows[at]
    mistake = _mistake("rows_disordered", {"place-order"}, set(), direction)
    mistake.inner = True
    return mistake


def _with_gap(random: Random, pair: Pair, kind: str, bits: int) -> Mistake | None:
    """Insert some bits before a signal; the next reserve, or the one at the end, gives way."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    whole = size(rows)
    at = _pick(random, pair, signals(rows)).start
    later = [row for row in rows if not row.name and row.start > at and row.width > bits]
    if not later:
        return None
    gap = later[0] if bits == 1 else later[-1]
    moved = copied(rows)
    for row in moved:
        if at <= row.start < gap.start:
            row.start += bits
    names = ["bell_rung", "flag_set", "lid_open"][:bits]
    if any(row.name in names for way in (0, 1) for s in (0, 1) for row in pair.rows(way, s)):
        return None
    new = [Row(at + n, 1, name, bind=f"{side}.{name}") for n, name in enumerate(names)]
    made = _fill([*moved, *new], whole)
    if not _holds(made) or not _within_blocks(pair, made) or size(made) != whole:
        return None
    pair.set_rows(direction, side, made)
    return _mistake(kind, {"shifted-signals"}, set(names), direction)


@mutator
def inserted_two(random: Random, pair: Pair) -> Mistake | None:
    """Two bits inserted at one end; the reserve at the end gives way."""
    return _with_gap(random, pair, "inserted_two", 2)


@mutator
def inserted_before_gap(random: Random, pair: Pair) -> Mistake | None:
    """One bit inserted at one end; the next reserve takes the shift up."""
    return _with_gap(random, pair, "inserted_before_gap", 1)


@mutator
def deleted_with_shift(random: Random, pair: Pair) -> Mistake | None:
    """A row deleted at one end and all that follows moved down; the last reserve grows."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    free = _free_of_validity(rows)
    if len(signals(rows)) < 3 or rows[-1].name or not free:
        return None
    whole, gone = size(rows), _pick(random, pair, free)
    kept = [copy.copy(row) for row in rows if row is not gone]
    behind = [row for row in kept if row.start > gone.start and row.name]
    if not behind:
        return None
    for row in kept:
        row.start -= gone.width if row.start > gone.start else 0
    made = _fill(kept, whole)
    if not _holds(made) or not _within_blocks(pair, made):
        return None
    pair.set_rows(direction, side, made)
    return _mistake("deleted_with_shift", {"shifted-signals"}, {gone.name}, direction)


@mutator
def octet_inserted(random: Random, pair: Pair) -> Mistake | None:
    """A spare octet in front of an octet at one end only; the data grow by it."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    octets = size(rows) // 8
    cut = 8 * random.randrange(octets) if octets else 0
    if any(row.start < cut < row.end and row.name for row in rows):
        return None
    moved = copied(rows)
    names = set()
    for row in moved:
        if row.start >= cut and row.name:
            row.start += 8
            names.add(row.name)
    made = _fill(moved, 8 * octets + 8)
    if not names or not _within_blocks(pair, made):
        return None
    pair.set_rows(direction, side, made)
    rules = {"shifted-signals", "reserve-differs", "moved-signal"}
    return _mistake("octet_inserted", rules, names, direction)


@mutator
def direction_lost(random: Random, pair: Pair) -> Mistake | None:
    """All rows of one direction missing at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    names = {row.name for row in signals(rows)}
    if len(names) < 2:
        return None
    pair.set_rows(direction, side, [])
    return _mistake("direction_lost", {"one-sided-signal"}, set(), direction)


@mutator
def block_moved(random: Random, pair: Pair) -> Mistake | None:
    """Two to four neighbours moved together into a reserve at one end."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    here, number = signals(rows), random.randint(2, 4)
    at = random.randrange(len(here))
    block = here[at : at + number]
    width = block[-1].end - block[0].start
    runs = [run for run in rows if not run.name and run.width >= width]
    if len(block) < 2 or len(block) >= len(here) or not runs:
        return None
    run = random.choice(runs)
    delta = random.randint(run.start, run.end - width) - block[0].start
    for row in block:
        row.start += delta
    made = _fill(rows, size(rows))
    if not _holds(made) or not _within_blocks(pair, made):
        return None
    pair.set_rows(direction, side, made)
    names = {row.name for row in block}
    rules = {"shifted-signals", "reserve-differs", "rotated-signals", "swapped-signals"}
    return _mistake("block_moved", rules, names, direction)
