"""What every recipe needs: filling in values, octet order, and checks that recur."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from .._errors import UsageError
from .._words import guess
from ..crc import Algorithm, compute
from .recipe import Check, Cover, Outcome, Recipe, Seen, Unknown, Value, Values

Feeds = tuple[tuple[str, bytes], ...]
"""(what it is, octets) in the order in which a CRC takes them."""

_INVERTED = bytes(255 - octet for octet in range(256))


def le(value: int, octets: int = 2) -> bytes:
    """Return a value, low octet first."""
    return value.to_bytes(octets, "little")


def invert(octets: bytes) -> bytes:
    """Return the octets with every bit inverted."""
    return octets.translate(_INVERTED)


def hex_of(value: int, octets: int) -> str:
    """Return a value as hexadecimal digits, two for each octet."""
    return f"0x{value:0{2 * octets}X}"


def _refusal(rule: Value, value: Any) -> str:
    """Return what is wrong with a value, or an empty text."""
    if rule.words:
        return "" if value in rule.words else f"one of {', '.join(rule.words)}"
    if rule.octets is not None:
        if not isinstance(value, bytes):
            return "octets"
        wrong = rule.octets >= 0 and len(value) != rule.octets
        return f"{rule.octets} octets" if wrong else ""
    if isinstance(value, bool) or not isinstance(value, int):
        return "an integer"
    return "" if rule.least <= value <= rule.most else f"{rule.least}..{rule.most}"


def check_given(recipe: Recipe, given: Values) -> None:
    """Refuse unknown names and values outside their range with UsageError."""
    rules, ranges = recipe.rules, recipe.ranges
    for name, value in given.items():
        # Nearly every value is a whole number in its range; the exact type keeps bool out.
        if type(value) is int and name in ranges and value in ranges[name]:
            continue
        rule = rules.get(name)
        if rule is None:
            near = guess(name, rules)
            hint = f"did you mean {near}?" if near else f"known: {', '.join(rules)}"
            raise UsageError(f"{recipe.name} has no value {name!r}; {hint}")
        if refusal := _refusal(rule, value):
            shown = f"{len(value)} octets" if isinstance(value, bytes) else repr(value)
            raise UsageError(f"{name} must be {refusal}, not {shown}")


def parse_value(rule: Value, text: int | str) -> int | bytes | str:
    """Return the value that a text stands for; raises UsageError where it stands for none."""
    if isinstance(text, int) or rule.words:
        return text
    if rule.octets is not None:
        try:
            return bytes.fromhex(text)
        except ValueError:
            raise UsageError(f"{rule.name} must be hexadecimal octets, not {text!r}") from None
    try:
        return int(text, 0)
    except ValueError:
        raise UsageError(f"{rule.name} must be an integer, not {text!r}") from None


def missing(values: Values, *names: str) -> None:
    """Refuse to build without the named values."""
    for name in names:
        if name not in values:
            raise UsageError(f"building this frame needs the value {name}")


def cut_named(octets: bytes, names: Iterable[tuple[str, int]]) -> tuple[tuple[str, bytes], ...]:
    """Return (name, octets) pairs of consecutive runs given as (name, size)."""
    found, at = [], 0
    for name, size in names:
        found.append((name, octets[at : at + size]))
        at += size
    return tuple(found)


def unequal(what: str, carried: int, computed: int, octets: int) -> str:
    """Return the message about a CRC that does not match."""
    return f"{what} is {hex_of(carried, octets)}, computed {hex_of(computed, octets)}"


class Sum(NamedTuple):
    """One CRC as it is fed: an empty run stands for a value that is not known."""

    algorithm: Algorithm
    feeds: Feeds
    carried: int
    init: int = 0
    unknown: str = ""

    def computed(self) -> int:
        """Return the CRC of everything fed."""
        octets = b"".join([run for _, run in self.feeds])
        return compute(self.algorithm, octets, init=self.init)

    def cover(self, name: str) -> Cover:
        """Return this CRC for the explanation of a frame."""
        return Cover(
            name=name,
            algorithm=self.algorithm,
            init=self.init,
            feeds=self.feeds,
            carried=self.carried,
            computed=None if self.unknown else self.computed(),
            unknown=self.unknown,
        )


def crc_check(name: str, title: str, fed: Callable[[Seen], Sum]) -> Check:
    """Return the check that a carried CRC is the computed one."""

    def run(seen: Seen) -> Outcome:
        found = fed(seen)
        if found.unknown:
            return Unknown(found.unknown)
        computed = found.computed()
        if computed == found.carried:
            return None
        return unequal(name, found.carried, computed, found.algorithm.octets)

    return Check(name=name, title=title, run=run)


def lacking(known: Values, *names: str) -> str:
    """Return which of the named values are not known, as text, or an empty text."""
    absent = [name for name in names if name not in known]
    if not absent:
        return ""
    return f"{', '.join(absent)} {'is' if len(absent) == 1 else 'are'} not known"


def expected(name: str, *, octets: int = 2, required: bool = True) -> Check:
    """Return a check that a carried value is the one the receiver expects.

    Without ``required`` the check passes when the receiver names no value.
    """

    def run(seen: Seen) -> Outcome:
        wanted = seen.known.get(name)
        if wanted is None:
            return Unknown(f"{name} is not known") if required else None
        carried = seen.values[name]
        if carried == wanted:
            return None
        return f"{name} is {hex_of(carried, octets)}, expected {hex_of(wanted, octets)}"

    return Check(name=name, title=f"{name} as expected", run=run, compares=name)


def same_as_given(rule: Value) -> Check:
    """Return a check that a frame carries the value its receiver names, whatever its type."""
    name = rule.name

    def run(seen: Seen) -> Outcome:
        wanted = seen.known[name]
        if name not in seen.values:
            if rule.under and rule.under not in seen.known:
                return Unknown(lacking(seen.known, rule.under))
            return f"a {seen.layout.kind} frame carries no {name}"
        carried = seen.values[name]
        if carried == wanted:
            return None
        if isinstance(wanted, bytes):
            return f"{name} is {carried.hex(' ') or 'empty'}, expected {wanted.hex(' ') or 'none'}"
        return f"{name} is {carried}, expected {wanted}"

    return Check(name=name, title=f"{name} as given", run=run)
