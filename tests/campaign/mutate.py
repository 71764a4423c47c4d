"""Mistakes that people make in one of two maps, each with what a check has to say about it."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from .tiny import Pair, Row, Rows, signals, size

MOVES = frozenset(
    {
        "one-sided-signal",
        "shifted-signals",
        "swapped-signals",
        "rotated-signals",
        "moved-signal",
        "width-differs",
        "reserve-differs",
        "size-differs",
        "rearranged-signals",
        "octet-order",
        "bit-numbering",
        "nibble-order",
        "bit-per-octet",
    }
)
"""Rules about places: a mistake about places may be told by any of them when others overlap it."""


NAMES = frozenset({"renamed-signal", "near-miss-name", "duplicate-name"})

# Mistakes that the next edit of the rows would undo stand last.
_FRAGILE = (
    *("reserve_twice", "reserve_lost", "size_broken", "hole_at_both", "rows_disordered"),
    *("place_typed", "width_typed", "row_lost", "size_at_both", "reserve_sent_as_one"),
    *("put_on_taken", "overlap_at_both", "direction_lost"),
)


@dataclass
class Mistake:
    """One mistake: its kind, the rules that may tell it, the signals of which one is named.

    ``alone`` are the rules one of which tells it where it is the only one; ``inner`` tells that
    it lies within the maps, so that the two ends may agree about it.
    """

    kind: str
    rules: frozenset[str]
    names: frozenset[str] = frozenset()
    direction: int | None = None
    alone: frozenset[str] = field(default_factory=frozenset)
    inner: bool = False


Mutator = Callable[[Random, Pair], Mistake | None]
MUTATORS: dict[str, Mutator] = {}


def mutator(function: Mutator) -> Mutator:
    MUTATORS[function.__name__] = function
    return function


def _spot(random: Random, pair: Pair) -> tuple[int, int, Rows] | None:
    """Return a direction with signals, a side, and the rows there."""
    ways = [way for way in (0, 1) if signals(pair.rows(way, 0)) and signals(pair.rows(way, 1))]
    if not ways:
        return None
    direction, side = random.choice(ways), random.randint(0, 1)
    if pair.focus is not None and pair.focus[0] in ways:
        direction = pair.focus[0]
    return direction, side, pair.rows(direction, side)


def _pick(random: Random, pair: Pair, rows: Rows) -> Row:
    """Return one of some rows; where mistakes come together, one near the others."""
    near = [row for row in rows if pair.focus is not None and row.start // 8 == pair.focus[1]]
    return random.choice(near or rows)


def _octets_only(pair: Pair) -> bool:
    return str(pair.ends[0].table["profile"]) == "opcua-safety"


def _mistake(kind: str, rules: set[str], names: set[str], direction: int | None = None) -> Mistake:
    # A misnamed signal that stands elsewhere too is taken for two signals, and the other way round.
    places = MOVES | NAMES if rules & (MOVES | NAMES) else frozenset()
    return Mistake(kind, frozenset(rules) | places, frozenset(names), direction, frozenset(rules))


def _sorted(rows: Rows) -> Rows:
    return sorted(rows, key=lambda row: row.start)


def _fill(rows: Rows, bits: int) -> Rows:
    """Return the signals of rows with the rest of the bits reserved."""
    made, at = [], 0
    for row in _sorted(signals(rows)):
        if row.start > at:
            made.append(Row(at, row.start - at))
        made.append(row)
        at = max(at, row.end)
    if at < bits:
        made.append(Row(at, bits - at))
    return made


def _holds(rows: Rows) -> bool:
    """Tell whether rows neither overlap nor cut a number that must fill whole octets."""
    at = 0
    for row in _sorted(rows):
        if row.start < at:
            return False
        at = row.end
        if row.name and row.order == "big" and row.start % 8:
            return False
    return True


def _within_blocks(pair: Pair, rows: Rows) -> bool:
    if pair.ends[0].table["profile"] != "fscp-12-1":
        return True
    return all(
        not row.name or row.start % 16 == 0 or row.start % 16 + row.width <= 16 for row in rows
    )


def _free_name(random: Random, pair: Pair) -> str:
    used = {row.name for way in (0, 1) for side in (0, 1) for row in pair.rows(way, side)}
    names = ["horn_on", "lamp_test", "hatch_shut", "ladder_stowed", "wind_alarm", "key_inserted"]
    return random.choice([name for name in names if name not in used] or ["bell_rung"])


@mutator
def one_sided(random: Random, pair: Pair) -> Mistake | None:
    """A bit taken from the reserve at one end only."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    runs = [row for row in rows if not row.name]
    if not runs:
        return None
    run = random.choice(runs)
    bit = random.randrange(run.start, run.end)
    name = _free_name(random, pair)
    if any(row.name == name for row in rows):
        return None
    end = size(rows)
    new = Row(bit, 1, name, bind=f"{side}.{direction}.{name}")
    pair.set_rows(direction, side, _fill([*rows, new], end))
    return _mistake("one_sided", {"one-sided-signal"}, {name}, direction)


@mutator
def removed(random: Random, pair: Pair) -> Mistake | None:
    """A signal removed at one end, its bits given to the reserve."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    named = {row.valid_by for row in rows}
    free = [row for row in signals(rows) if row.name not in named]
    if len(signals(rows)) < 3 or not free:
        return None
    gone = random.choice(free)
    end = size(rows)
    pair.set_rows(direction, side, _fill([row for row in rows if row is not gone], end))
    return _mistake("removed", {"one-sided-signal"}, {gone.name}, direction)


def _exchange(random: Random, pair: Pair, number: int) -> Mistake | None:
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    width = random.choice([row.width for row in signals(rows)])
    same = [row for row in signals(rows) if row.width == width]
    if len(same) < number:
        return None
    chosen = random.sample(same, number)
    starts = [row.start for row in chosen]
    for row, start in zip(chosen, [*starts[1:], starts[0]], strict=True):
        row.start = start
    pair.set_rows(direction, side, _sorted(rows))
    if not _within_blocks(pair, rows):
        return None
    rule = "swapped-signals" if number == 2 else "rotated-signals"
    rules = {rule} if number == 2 else {rule, "bit-numbering", "nibble-order", "octet-order"}
    kind = "swap" if number == 2 else "rotation"
    return _mistake(kind, rules, {row.name for row in chosen}, direction)


@mutator
def swap(random: Random, pair: Pair) -> Mistake | None:
    """Two signals in each other's place."""
    return _exchange(random, pair, 2)


@mutator
def rotation(random: Random, pair: Pair) -> Mistake | None:
    """Three to five signals in a ring."""
    return _exchange(random, pair, random.choice((3, 3, 4, 5)))


@mutator
def shift(random: Random, pair: Pair) -> Mistake | None:
    """A bit inserted without shrinking the reserve before the next signal; the end may give way."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    bits, name = size(rows), _free_name(random, pair)
    at = _pick(random, pair, signals(rows)).start
    moved = [copy.copy(row) for row in rows]
    for row in moved:
        if row.start >= at:
            row.start += 1
    new = Row(at, 1, name, bind=f"{side}.{direction}.{name}")
    if any(row.name == name for row in rows) or rows[-1].name != "" or rows[-1].width < 2:
        return None
    made = _fill([*moved, new], bits)
    if not _holds(made) or not _within_blocks(pair, made) or size(made) > bits:
        return None
    pair.set_rows(direction, side, made)
    return _mistake("shift", {"shifted-signals"}, {name}, direction)


@mutator
def moved(random: Random, pair: Pair) -> Mistake | None:
    """One signal moved into the reserve."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    row = _pick(random, pair, signals(rows))
    step = 8 if _octets_only(pair) else 1
    runs = [
        start
        for run in rows
        if not run.name
        for start in range(run.start, run.end - row.width + 1)
        if start % step == 0
    ]
    if not runs:
        return None
    bits = size(rows)
    row.start = random.choice(runs)
    made = _fill(rows, bits)
    if not _within_blocks(pair, made) or not _holds(made):
        return None
    pair.set_rows(direction, side, made)
    # A signal that jumped a neighbour of its own is the same as an exchange of places.
    rules = {"moved-signal", "reserve-differs", "swapped-signals", "rotated-signals"}
    return _mistake("moved", rules, {row.name}, direction)


@mutator
def widened(random: Random, pair: Pair) -> Mistake | None:
    """A signal wider at one end, out of the reserve behind it."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    bits = size(rows)
    starts = {row.start: row for row in rows}
    fit = [
        row
        for row in signals(rows)
        if row.end in starts and not starts[row.end].name and row.type in ("bool", "uint")
    ]
    if not fit:
        return None
    row = random.choice(fit)
    row.width += 1
    row.type = "uint"
    made = _fill(rows, bits)
    if not _within_blocks(pair, made):
        return None
    pair.set_rows(direction, side, made)
    return _mistake("widened", {"width-differs"}, {row.name}, direction)


@mutator
def narrowed(random: Random, pair: Pair) -> Mistake | None:
    """A number narrower at one end, its last bit given to the reserve."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    numbers = [row for row in signals(rows) if row.type in ("uint", "int")]
    fit = [row for row in numbers if row.width > 2 and row.order == "little"]
    if not fit:
        return None
    bits, row = size(rows), random.choice(fit)
    row.width -= 1
    pair.set_rows(direction, side, _fill(rows, bits))
    return _mistake("narrowed", {"width-differs"}, {row.name}, direction)


@mutator
def widened_pushing(random: Random, pair: Pair) -> Mistake | None:
    """A signal wider at one end; what follows moves up, and the reserve at the end gives way."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, _side, rows = found
    if rows[-1].name or rows[-1].width < 2:
        return None
    bits = size(rows)
    row = random.choice(
        [one for one in signals(rows) if one.type in ("bool", "uint")] or [rows[-1]]
    )
    if not row.name:
        return None
    edge = row.end
    for one in rows:
        if one.start >= edge:
            one.start += 1
    row.width += 1
    row.type = "uint"
    rows[-1].width -= 1
    if not _holds(rows) or not _within_blocks(pair, rows) or size(rows) != bits:
        return None
    return _mistake("widened_pushing", {"width-differs"}, {row.name}, direction)


ATTRIBUTES: set[str] = set()
"""Kinds of mistakes that two of may touch one signal without hiding each other."""


def _attribute(kind: str, rule: str, change: Callable[[Random, Row], bool], *more: str) -> Mutator:
    def run(random: Random, pair: Pair) -> Mistake | None:
        found = _spot(random, pair)
        if found is None:
            return None
        direction, _, rows = found
        one, other = ({row.name for row in pair.rows(direction, n)} for n in (0, 1))
        there = one & other  # What one end alone has cannot differ.
        both = [row for row in signals(rows) if row.name in there]
        if not both:
            return None
        near = _pick(random, pair, both)
        others = random.sample(both, len(both))
        row = next((row for row in (near, *others) if change(random, row)), None)
        if row is None:
            return None
        mistake = _mistake(kind, {rule, *more}, {row.name}, direction)
        mistake.inner = kind == "binding_blank"  # The oracle knows no variables.
        return mistake

    MUTATORS[kind] = run
    ATTRIBUTES.add(kind)
    return run


def _type(random: Random, row: Row) -> bool:
    if row.type not in ("uint", "int"):
        return False
    row.type = "int" if row.type == "uint" else "uint"
    return True


def _order(random: Random, row: Row) -> bool:
    if row.width != 16 or row.start % 8:
        return False
    row.order = "big" if row.order == "little" else "little"
    return True


def _unit(random: Random, row: Row) -> bool:
    if not row.unit:
        return False
    row.unit = "km" if row.unit != "km" else "m"
    return True


def _scale(random: Random, row: Row) -> bool:
    if row.type not in ("uint", "int"):
        return False
    row.scale = "0.01" if row.scale != "0.01" else "100"
    return True


def _edge(random: Random, row: Row) -> bool:
    if row.type != "bool":
        return False
    row.edge = {"": "rising", "rising": "falling", "falling": "both", "both": ""}[row.edge]
    return True


def _meaning(random: Random, row: Row) -> bool:
    if row.type != "bool" or not row.one_means:
        return False
    row.one_means = "not " + row.one_means
    return True


def _codes(random: Random, row: Row) -> bool:
    if row.type != "code" or len(row.codes) < 4:
        return False
    row.codes = {**row.codes, 3: "inspection" + "x" * random.randint(0, 3)}
    return True


_attribute("type", "type-differs", _type)
_attribute("order", "order-differs", _order)
_attribute("unit", "unit-differs", _unit)
_attribute("scale", "scale-differs", _scale)
_attribute("edge", "edge-differs", _edge)
_attribute("meaning", "meaning-differs", _meaning)
_attribute("codes", "codes-differ", _codes)


@mutator
def safe(random: Random, pair: Pair) -> Mistake | None:
    """Another safe value at one end, where the profile allows one."""
    if pair.ends[0].table["profile"] in ("fscp-12-1", "opcua-safety"):
        return None
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    row = _pick(random, pair, signals(rows))
    row.safe = 1 if not row.safe and row.type != "int" else 0
    if row.type == "int":
        return None
    return _mistake("safe", {"safe-value-differs"}, {row.name}, direction)


@mutator
def valid_by(random: Random, pair: Pair) -> Mistake | None:
    """Another validity bit at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    numbers = [row for row in signals(rows) if row.valid_by]
    there = {row.name for row in pair.rows(direction, 1 - side)}
    bits = [row.name for row in signals(rows) if row.type == "bool" and row.name in there]
    if not numbers or len(bits) < 2:
        return None
    row = random.choice(numbers)
    row.valid_by = random.choice([name for name in bits if name != row.valid_by])
    return _mistake("valid_by", {"validity-differs"}, {row.name}, direction)


@mutator
def reserve_lost(random: Random, pair: Pair) -> Mistake | None:
    """A reserved run missing in one file, its bits undeclared."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    runs = [row for row in rows if not row.name]
    if not runs:
        return None
    run = random.choice(runs)
    last = run.end == size(rows)
    pair.set_rows(direction, side, [row for row in rows if row is not run])
    rules = {"size-differs"} if last else {"hole"}
    mistake = _mistake("reserve_lost", rules, set(), direction)
    mistake.rules |= {"hole", "size-differs", "reserve-differs"}
    mistake.alone |= {"reserve-differs"}
    return mistake


@mutator
def reserve_twice(random: Random, pair: Pair) -> Mistake | None:
    """A reserved row copied."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    runs = [row for row in rows if not row.name]
    if not runs:
        return None
    run = random.choice(runs)
    pair.set_rows(direction, side, _sorted([*rows, copy.copy(run)]))
    return _mistake("reserve_twice", {"overlap"}, set(), direction)


@mutator
def reserve_width(random: Random, pair: Pair) -> Mistake | None:
    """A reserve one bit wider in the middle and one narrower at the end."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, _side, rows = found
    inner = [n for n, row in enumerate(rows[:-1]) if not row.name]
    if rows[-1].name or rows[-1].width < 2 or not inner:
        return None
    number = random.choice(inner)
    rows[number].width += 1
    rows[-1].width -= 1
    for row in rows[number + 1 :]:
        row.start += 1
    if not _within_blocks(pair, rows) or not _holds(rows):
        return None
    names = {row.name for row in rows[number + 1 :] if row.name}
    if not names:
        return None
    return _mistake("reserve_width", {"reserve-differs", "moved-signal"}, names, direction)


@mutator
def size_broken(random: Random, pair: Pair) -> Mistake | None:
    """Bits more at the end of one map."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _side, rows = found
    rows.append(Row(size(rows), random.choice((1, 3, 8, 24))))
    rules = {"reserve-differs", "size-differs"}
    return _mistake("size_broken", rules, set(), direction)


def _slipped(random: Random, name: str) -> str:
    """Return a name with one letter doubled, lost or exchanged inside a long word."""
    words = name.split("_")
    long = [n for n, word in enumerate(words) if word.isalpha() and len(word) >= 6]
    if not long:
        return ""
    number = random.choice(long)
    word = words[number]
    spot = random.randrange(1, len(word) - 2)
    ways = [word[:spot] + word[spot] + word[spot:], word[:spot] + word[spot + 1 :]]
    if word[spot] != word[spot + 1]:
        ways.append(word[:spot] + word[spot + 1] + word[spot] + word[spot + 2 :])
    words[number] = random.choice(ways)
    return "_".join(words)


@mutator
def misspelt(random: Random, pair: Pair) -> Mistake | None:
    """A name with a slip of the hand at one end."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    row = _pick(random, pair, signals(rows))
    new = _slipped(random, row.name)
    if not new or any(one.name == new for one in rows):
        return None
    old, row.name = row.name, new
    return _mistake("misspelt", {"near-miss-name"}, {old, new}, direction)


def _renamed(kind: str, rename: Callable[[Random, str], str]) -> Mutator:
    def run(random: Random, pair: Pair) -> Mistake | None:
        found = _spot(random, pair)
        if found is None:
            return None
        direction, _, rows = found
        row = _pick(random, pair, signals(rows))
        new = rename(random, row.name)
        if not new or any(one.name == new for one in rows):
            return None
        old, row.name = row.name, new
        return _mistake(kind, {"renamed-signal"}, {old, new}, direction)

    MUTATORS[kind] = run
    return run


_OPPOSITES = [
    "east west",
    "left right",
    "up down",
    "on off",
    "open close",
    "opened closed",
    "fwd rev",
    "min max",
    "enable disable",
    "lock unlock",
    "ok nok",
    "internal external",
    "rear gear",
    "motor rotor",
    "stop step",
    "inlet outlet",
    "upper lower",
    "increase decrease",
    "falling failing",
    "raise lower",
    "valid invalid",
    "armed alarmed",
    "front rear",
    "loading leading",
    "winder winter",
    "north south",
    "inner outer",
]


_renamed("renamed", lambda random, name: "horn_sounds" if name[0] < "m" else "lamp_lit")


@mutator
def opposite(random: Random, pair: Pair) -> Mistake | None:
    """One end has one word, the other its opposite, in a name that is alike otherwise."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    row = _pick(random, pair, signals(rows))
    left, right = random.choice(_OPPOSITES).split()
    tail = row.name.split("_")[0]
    other = next((one for one in pair.rows(direction, 1 - side) if one.name == row.name), None)
    used = {one.name for s in (0, 1) for one in pair.rows(direction, s)}
    names = [f"{tail}_{left}_x", f"{tail}_{right}_x"]
    if other is None or used & set(names) or any(one.valid_by == row.name for one in rows):
        return None
    old = row.name
    row.name, other.name = names
    return _mistake("opposite", {"renamed-signal"}, {old, *names}, direction)


@mutator
def joined_numbers(random: Random, pair: Pair) -> Mistake | None:
    """zone1_1 at one end and zone11 at the other."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, side, rows = found
    row = _pick(random, pair, signals(rows))
    other = next((one for one in pair.rows(direction, 1 - side) if one.name == row.name), None)
    if other is None or any(one.valid_by == row.name for one in rows):
        return None
    old = row.name
    row.name, other.name = "bay1_1_clear", "bay11_clear"
    if sum(one.name == row.name for one in rows) > 1:
        return None
    names = {old, row.name, other.name}
    return _mistake("joined_numbers", {"renamed-signal"}, names, direction)


@mutator
def duplicate(random: Random, pair: Pair) -> Mistake | None:
    """One signal called by the name of another one of the same map."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    named = {row.valid_by for row in rows}
    same = [row for row in signals(rows) if row.name not in named]
    if len(same) < 2:
        return None
    first, second = random.sample(same, 2)
    old, first.name = first.name, second.name
    return _mistake("duplicate", {"duplicate-name"}, {old, second.name}, direction)


def _permuted(
    kind: str, rules: set[str], where: Callable[[Random, Rows], Callable[[Row], int | None] | None]
) -> Mutator:
    def run(random: Random, pair: Pair) -> Mistake | None:
        found = _spot(random, pair)
        if found is None or _octets_only(pair):
            return None
        direction, side, rows = found
        bits = size(rows)
        move = where(random, rows)
        if move is None:
            return None
        made = [copy.copy(row) for row in signals(rows)]
        for row in made:
            start = move(row)
            if start is None:
                return None
            row.start = start
        names = {
            new.name for old, new in zip(signals(rows), made, strict=True) if new.start != old.start
        }
        whole = _fill(made, bits)
        if len(names) < 3 or not _holds(whole) or not _within_blocks(pair, whole):
            return None
        pair.set_rows(direction, side, whole)
        return _mistake(kind, rules, names, direction)

    MUTATORS[kind] = run
    return run


def _mirror(row: Row) -> int | None:
    if row.start % 8 == 0 and row.width % 8 == 0:
        return row.start
    if row.start % 8 + row.width > 8:
        return None
    return row.start // 8 * 8 + 8 - row.start % 8 - row.width


_WHOLE = {"bit-numbering", "nibble-order", "octet-order", "rotated-signals", "shifted-signals"}


def _all_octets(random: Random, rows: Rows) -> Callable[[Row], int | None]:
    return _mirror


def _one_octet(random: Random, rows: Rows) -> Callable[[Row], int | None] | None:
    octets = size(rows) // 8
    if octets < 2:
        return None
    chosen = random.randrange(octets)
    return lambda row: _mirror(row) if row.start // 8 == chosen else row.start


def _nibbles(random: Random, rows: Rows) -> Callable[[Row], int | None]:
    def move(row: Row) -> int | None:
        if row.start % 8 == 0 and row.width % 8 == 0:
            return row.start
        return row.start ^ 4 if row.start % 4 + row.width <= 4 else None

    return move


def _octets(random: Random, rows: Rows) -> Callable[[Row], int | None] | None:
    if size(rows) % 16:
        return None

    def move(row: Row) -> int | None:
        if row.width == 16 and row.start % 16 == 0:
            return row.start
        return row.start ^ 8 if row.start % 8 + row.width <= 8 else None

    return move


_permuted("bit_numbering", _WHOLE, _all_octets)
_permuted("one_octet_mirrored", _WHOLE, _one_octet)
_permuted("nibbles", _WHOLE, _nibbles)
_permuted("octet_order", _WHOLE, _octets)


@mutator
def bit_per_octet(random: Random, pair: Pair) -> Mistake | None:
    """Each bit in an octet of its own at one end."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    bits = signals(rows)
    if not 3 <= len(bits) <= 8 or any(row.width > 1 for row in bits):
        return None
    if [row.start for row in bits] != list(range(len(bits))):
        return None
    made = [copy.copy(row) for row in bits]
    for number, row in enumerate(made):
        row.start = 8 * number
    pair.set_rows(direction, side, _fill(made, 8 * len(bits)))
    names = {row.name for row in bits[1:]}
    return _mistake("bit_per_octet", {"bit-per-octet"}, names, direction)


@mutator
def bit_in_each_octet(random: Random, pair: Pair) -> Mistake | None:
    """A status bit at the beginning of each octet at one end; the rest moves up."""
    found = _spot(random, pair)
    if found is None or _octets_only(pair):
        return None
    direction, side, rows = found
    bits = signals(rows)
    if len(bits) < 16 or any(row.width > 1 for row in bits):
        return None
    if [row.start for row in bits] != list(range(len(bits))):
        return None
    made: Rows = []
    for number, row in enumerate(bits):
        one = copy.copy(row)
        one.start = number // 7 * 8 + 1 + number % 7
        made.append(one)
    octets = max(-(-(made[-1].end) // 8), size(rows) // 8)
    made += [Row(8 * n, 1, f"status{n}_on", bind=f"s{side}.{direction}.{n}") for n in range(octets)]
    pair.set_rows(direction, side, _fill(made, 8 * octets))
    return _mistake("bit_in_each_octet", {"shifted-signals"}, {"status0_on"}, direction)


def _table(kind: str, key: str, rule: str, *, gone: bool = False) -> Mutator:
    def run(random: Random, pair: Pair) -> Mistake | None:
        end = random.choice(pair.ends)
        if key not in end.table:
            return None
        if gone:
            del end.table[key]
        else:
            end.table[key] += 1
        return _mistake(kind, {rule}, set())

    MUTATORS[kind] = run
    return run


_table("id_differs", "id", "connection-id-differs")
_table("watchdog_differs", "watchdog_ms", "watchdog-differs")
_table("exchange_differs", "exchange_ms", "parameter-differs")
_table("watchdog_gone", "watchdog_ms", "watchdog-differs", gone=True)
_table("exchange_gone", "exchange_ms", "parameter-differs", gone=True)


@mutator
def parameter(random: Random, pair: Pair) -> Mistake | None:
    """A parameter of the connection with another value at one end."""
    end = random.choice(pair.ends)
    known = [key for key in ("source_address", "domain", "provider_id") if key in end.parameters]
    if not known:
        return None
    end.parameters[random.choice(known)] += 1
    return _mistake("parameter", {"parameter-differs"}, set())


@mutator
def parameter_gone(random: Random, pair: Pair) -> Mistake | None:
    """A parameter of the connection at one end only."""
    end = random.choice(pair.ends)
    known = [key for key in ("source_address", "domain") if key in end.parameters]
    if not known:
        return None
    del end.parameters[random.choice(known)]
    return _mistake("parameter_gone", {"parameter-differs"}, set())


@mutator
def exchanged(random: Random, pair: Pair) -> Mistake | None:
    """One end has its two directions exchanged."""
    if not all(signals(pair.rows(way, 0)) for way in (0, 1)):
        return None
    end = random.choice(pair.ends)
    end.sends, end.receives = end.receives, end.sends
    return _mistake("exchanged", {"directions-exchanged"}, set())


@mutator
def wrong_file(random: Random, pair: Pair) -> Mistake | None:
    """The file of the sister machine."""
    pair.ends[1].name = "LX2"
    return _mistake("wrong_file", {"wrong-file"}, set())


_SAME = (
    *({"codes", "code_lost", "codes_exchanged", "codes_mirrored", "code_as_number"},),
    *({"valid_by", "valid_gone", "valid_unknown", "valid_self"}, {"meaning", "meaning_gone"}),
    *({"unit", "unit_gone"}, {"scale", "scale_gone"}, {"safe", "safe_one", "safe_one_at_both"}),
    *({"type", "float_as_number", "code_as_number", "width_typed", "widened"},),
    *({"watchdog_differs", "watchdog_gone", "watchdog_short", "watchdog_zero"},),
    *({"watchdog_short_at_both", "watchdog_gone", "watchdog_differs", "exchange_gone"},),
    *({"exchange_differs", "exchange_gone", "watchdog_short", "watchdog_short_at_both"},),
    *({"id_differs", "id_gone", "id_gone_at_both"}, {"edition_differs", "edition_gone"}),
    *({"same_role", "role_unknown"}, {"parameter", "parameter_gone"}),
    *({"binding_blank", "binding_shared", "binding_shared_in_case"},),
)
"""Kinds that edit one and the same cell, so that one may undo or hide the other."""

_LOUD = frozenset(
    {
        *("wrong_file", "same_file", "exchanged", "one_way_turned", "profile_differs"),
        *("unknown_profile", "direction_lost"),
    }
)
"""Kinds that hide all the rest, so that they stand alone."""


def _rivals(kind: str) -> set[str]:
    return {kind}.union(*(group for group in _SAME if kind in group))


def _clashes(mistake: Mistake, touched: dict[str, set[str]]) -> bool:
    """Tell whether a mistake touches a signal that another one touched, but for attributes."""
    for name in mistake.names:
        kinds = touched.get(name, set())
        if kinds and not (mistake.kind in ATTRIBUTES and kinds <= ATTRIBUTES):
            return True
    return False


def mistakes(random: Random, pair: Pair, number: int, first: str = "") -> Iterator[Mistake]:
    """Make some mistakes in a pair, the first one of a kind, and yield them.

    Those that fit nowhere, or that would undo or hide another one, are skipped.
    """
    kinds = [kind for kind in MUTATORS if number == 1 or kind not in _LOUD]
    chosen = random.choices(kinds, k=60)
    chosen.sort(key=lambda kind: kind in _FRAGILE)
    if number > 1:  # Else the fragile ones would hardly ever come.
        last = (
            random.choices([one for one in _FRAGILE if one not in _LOUD])
            if random.random() < 0.3
            else []
        )
        chosen = [*chosen[: number - len(last)], *last, *chosen[number:]]
    chosen = [*[first] * 8, *chosen] if first else chosen
    done: set[str] = set()
    touched: dict[str, set[str]] = {}
    for kind in chosen:
        if len(done) == number:
            return
        if done & set(_FRAGILE) or done & _rivals(kind):
            continue
        before = pair.copy()
        mistake = MUTATORS[kind](random, pair)
        if mistake is None or _clashes(mistake, touched):
            pair.ends = before.ends
            continue
        if done & _LOUD:
            return
        done.add(kind)
        for name in mistake.names:
            touched.setdefault(name, set()).add(kind)
        if pair.focus is None and mistake.direction is not None and random.random() < 0.5:
            pair.focus = mistake.direction, _octet(pair, mistake)
        yield mistake
        if kind in _LOUD:
            return


def _octet(pair: Pair, mistake: Mistake) -> int:
    """Return the octet in which a mistake was made, so that others come near it."""
    rows = [row for side in (0, 1) for row in pair.rows(mistake.direction or 0, side)]
    return next((row.start // 8 for row in rows if row.name in mistake.names), 0)
