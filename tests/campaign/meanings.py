"""Mistakes in what a row says besides its place: names, variables, codes, units, validity."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from .mutate import Mistake, _attribute, _free_name, _mistake, _pick, _spot, mutator
from .tiny import Pair, Row, signals


def _renamed(
    kind: str, rename: Callable[[Random, str], str]
) -> Callable[[Random, Pair], Mistake | None]:
    def run(random: Random, pair: Pair) -> Mistake | None:
        found = _spot(random, pair)
        if found is None:
            return None
        direction, _, rows = found
        row = _pick(random, pair, signals(rows))
        new = rename(random, row.name)
        if new == row.name or any(one.name == new for one in rows):
            return None
        old, row.name = row.name, new
        for one in rows:
            one.valid_by = new if one.valid_by == old else one.valid_by
        return _mistake(kind, {"near-miss-name"}, {old, new}, direction)

    run.__name__ = kind
    return mutator(run)


def _case(random: Random, name: str) -> str:
    return random.choice((name.title(), name.upper(), name.replace("_", ""), name.capitalize()))


def _letter(random: Random, name: str) -> str:
    letters = {"a": "а", "e": "е", "o": "о", "p": "р"}
    fit = [n for n, letter in enumerate(name) if letter in letters]
    if not fit:
        return name
    at = random.choice(fit)
    return f"{name[:at]}{letters[name[at]]}{name[at + 1 :]}"


_renamed("case_changed", _case)
_renamed("foreign_letter", _letter)


def _unbind(random: Random, row: Row) -> bool:
    row.bind = random.choice(("", " "))
    return True


_attribute("binding_blank", "unbound-signal", _unbind)


def _meaning_gone(random: Random, row: Row) -> bool:
    gone, row.one_means = bool(row.one_means), ""
    return gone


def _unit_gone(random: Random, row: Row) -> bool:
    gone, row.unit = bool(row.unit), ""
    return gone


def _scale_gone(random: Random, row: Row) -> bool:
    gone, row.scale = row.scale != "1", "1"
    return gone


def _valid_gone(random: Random, row: Row) -> bool:
    gone, row.valid_by = bool(row.valid_by), ""
    return gone


def _valid_unknown(random: Random, row: Row) -> bool:
    if not row.valid_by:
        return False
    row.valid_by = f"{row.valid_by}_old"
    return True


def _valid_self(random: Random, row: Row) -> bool:
    if not row.valid_by:
        return False
    row.valid_by = row.name
    return True


def _code_lost(random: Random, row: Row) -> bool:
    if len(row.codes) < 3:
        return False
    gone = random.choice(list(row.codes))
    row.codes = {value: name for value, name in row.codes.items() if value != gone}
    return True


def _codes_exchanged(random: Random, row: Row) -> bool:
    if len(row.codes) < 4:
        return False
    one, two = random.sample(list(row.codes), 2)
    row.codes = {**row.codes, one: row.codes[two], two: row.codes[one]}
    return True


def _codes_mirrored(random: Random, row: Row) -> bool:
    if row.width != 2 or len(row.codes) < 4:
        return False
    row.codes = {**row.codes, 1: row.codes[2], 2: row.codes[1]}
    return True


def _code_as_number(random: Random, row: Row) -> bool:
    if row.type != "code":
        return False
    row.type, row.codes = "uint", {}
    return True


def _float_as_number(random: Random, row: Row) -> bool:
    if row.width != 32 or row.type not in ("float", "uint"):
        return False
    row.type = "uint" if row.type == "float" else "float"
    return True


def _safe_one(random: Random, row: Row) -> bool:
    if row.type not in ("bool", "uint") or row.safe:
        return False
    row.safe = 1
    return True


_attribute("meaning_gone", "meaning-differs", _meaning_gone)
_attribute("unit_gone", "unit-differs", _unit_gone)
_attribute("scale_gone", "scale-differs", _scale_gone)
_attribute("valid_gone", "validity-differs", _valid_gone)
_attribute("valid_unknown", "validity-differs", _valid_unknown)
_attribute("valid_self", "validity-differs", _valid_self)
_attribute("code_lost", "codes-differ", _code_lost)
_attribute("codes_exchanged", "codes-differ", _codes_exchanged, "field-bit-order")
_attribute("codes_mirrored", "field-bit-order", _codes_mirrored)
_attribute("code_as_number", "type-differs", _code_as_number)
_attribute("float_as_number", "type-differs", _float_as_number)
_attribute("safe_one", "safe-value-differs", _safe_one)


@mutator
def binding_shared(random: Random, pair: Pair) -> Mistake | None:
    """One variable for two signals of an end."""
    return _shared(random, pair, "binding_shared", str)


@mutator
def binding_shared_in_case(random: Random, pair: Pair) -> Mistake | None:
    """One variable for two signals of an end, in letters of other case."""
    return _shared(random, pair, "binding_shared_in_case", str.upper)


def _shared(random: Random, pair: Pair, kind: str, spell: Callable[[str], str]) -> Mistake | None:
    end = random.choice(pair.ends)
    bound = [row for row in (*end.sends, *end.receives) if row.bind.strip()]
    if len(bound) < 2:
        return None
    one, two = random.sample(bound, 2)
    one.bind = spell(two.bind)
    mistake = _mistake(kind, {"binding-reused"}, {one.name, two.name})
    mistake.inner = True  # The oracle knows no variables.
    return mistake


@mutator
def reserve_sent_as_one(random: Random, pair: Pair) -> Mistake | None:
    """A reserved run that one end says is sent as 1."""
    found = _spot(random, pair)
    if found is None:
        return None
    direction, _, rows = found
    runs = [row for row in rows if not row.name]
    if not runs:
        return None
    random.choice(runs).safe = 1
    return _mistake("reserve_sent_as_one", {"reserved-not-zero"}, set(), direction)


@mutator
def safe_one_at_both(random: Random, pair: Pair) -> Mistake | None:
    """A safe value of 1 at both ends where the profile puts zeros."""
    found = _spot(random, pair)
    if found is None or pair.ends[0].table["profile"] not in ("fscp-12-1", "opcua-safety"):
        return None
    direction, side, rows = found
    row = _pick(random, pair, signals(rows))
    there = [one for one in pair.rows(direction, 1 - side) if one.name == row.name]
    if len(there) != 1 or row.safe or there[0].safe or row.type not in ("bool", "uint"):
        return None
    row.safe = there[0].safe = 1
    mistake = _mistake("safe_one_at_both", {"nonzero-safe-value"}, {row.name}, direction)
    mistake.inner = True
    return mistake


@mutator
def lookalike_pair(random: Random, pair: Pair) -> Mistake | None:
    """A new bit at both ends whose name differs from another one in a letter that looks alike."""
    found = _spot(random, pair)
    if found is None or pair.ends[0].table["profile"] == "opcua-safety":
        return None
    direction, _, rows = found
    row = _pick(random, pair, signals(rows))
    new = _letter(random, row.name)
    runs = [one for one in rows if not one.name and one.width > 1]
    if new == row.name or not runs:
        return None
    at = random.choice(runs).start
    for side in (0, 1):
        own = pair.rows(direction, side)
        run = [one for one in own if not one.name and one.start == at and one.width > 1]
        if not run:
            return None
        run[0].start, run[0].width = at + 1, run[0].width - 1
        own.append(Row(at, 1, new, bind=f"{side}.{_free_name(random, pair)}"))
        own.sort(key=lambda one: one.start)
    mistake = _mistake("lookalike_pair", {"lookalike-name"}, {row.name, new}, direction)
    mistake.inner = True
    return mistake
