"""What becomes of meaning, edge, code points, unit and safe value over several ends in a row.

Each comparison begins with what arrives at the first of some ends and holds it against what leaves
every later one: the same words must stand for the same values at both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from .._canonical import form
from .._model import Signal
from .carrying import UNKNOWN, Carried, carrier
from .handing_on import Open, as_carried, decimal_text, declared, exact_number, safe_text

if TYPE_CHECKING:
    from .._following import Handover

Way = Sequence["Handover"]


class Compared(NamedTuple):
    """What arrives first, held against what leaves the end ``last``, counted from the first.

    ``told`` is what contradicts or stays open, an empty text where both agree.
    """

    last: int
    told: str | Open = ""


def codes(way: Way) -> Iterator[Compared]:
    """Compare code points: what has one name at both ends must be one and the same."""
    if not named(way[0].arriving):
        return
    before = dict(form(way[0].arriving, "codes"))
    numbers = {number: Carried(Fraction(number)) for number in before}
    translated = False
    for last, handover in enumerate(way):
        carried = carrier(handover)
        numbers = {number: carried(one) for number, one in numbers.items()}
        translated = translated or bool(handover.step.codes)
        if not last or not named(handover.leaving):
            continue
        became = {number: int(one.raw) for number, one in numbers.items() if one.raw is not None}
        after = dict(form(handover.leaving, "codes"))
        judge = _translated if translated else _handed_on
        wrong = list(judge(became, before, after))
        yield Compared(last, f"{_over(way, last)}: {'; '.join(wrong)}" if wrong else "")
        lost = sorted(before.keys() - became.keys())
        if lost:
            some = ", ".join(map(str, lost[:6])) + (", ..." if len(lost) > 6 else "")
            yield Compared(last, Open("code points", f"no map says what becomes of {some}"))


def named(signal: Signal) -> bool:
    """Tell whether a signal names its numbers."""
    return signal.type == "code" and bool(signal.codes)


def _over(way: Way, last: int) -> str:
    arriving, leaving = way[0].arriving, way[last].leaving
    return (
        f"the code points contradict each other between {arriving.name} ({arriving.at}), which "
        f"{way[0].step.end} receives, and {leaving.name} ({leaving.at}), which "
        f"{way[last].step.end} sends"
    )


def _handed_on(
    became: dict[int, int], before: dict[int, str], after: dict[int, str]
) -> Iterator[str]:
    """Yield the numbers that have another name behind, although nobody translates them."""
    for number, to in became.items():
        if after.get(to) != before[number]:
            yield f"{number}: {before[number]} / {after.get(to, 'not named')}"
    if len(became) == len(before):
        for number in sorted(after.keys() - set(became.values())):
            yield f"{number}: not named / {after[number]}"


def _translated(
    became: dict[int, int], before: dict[int, str], after: dict[int, str]
) -> Iterator[str]:
    """Yield the names that became another one, and those behind that nothing becomes."""
    called = {name: number for number, name in reversed(after.items())}
    for number, to in became.items():
        name, there = before[number], after.get(to, "not named")
        if name in called and name != there:
            yield f"{number} ({name}) leaves as {to} ({there}), not as {called[name]}"
    if len(became) == len(before):
        for number in sorted(after.keys() - set(became.values())):
            yield f"{number} ({after[number]}) never leaves"


def ones(way: Way) -> Iterator[Compared]:
    """Compare what a 1 means: equal texts for equal values, and no other text unless declared."""
    arriving = way[0].arriving
    before = form(arriving, "one_means")
    if not before:
        return
    values = [Carried(Fraction(value)) for value in (0, 1)]
    meant = inverted = False
    for last, handover in enumerate(way):
        values = list(map(carrier(handover), values))
        meant = meant or declared(handover, "one_means")
        inverted = inverted or handover.step.inverts
        leaving = handover.leaving
        after = form(leaving, "one_means")
        if not last or not after:
            continue
        raw = [one.raw for one in values if one.raw is not None]
        shown = [decimal_text(one) for one in raw]
        kept = raw == [0, 1]
        told: str | Open = ""
        if len(raw) < 2:
            told = Open("meaning of 1", "no map says what becomes of a 0 and a 1")
        elif before == after and not kept:
            told = (
                f"{_ends(way, last, 'the meaning of 1', arriving.one_means, leaving.one_means)}, "
                f"but a 0 leaves as {shown[0]} and a 1 as {shown[1]}"
            )
        elif before != after and kept and not meant:
            told = (
                f"{_ends(way, last, 'the meaning of 1', arriving.one_means, leaving.one_means)}, "
                "but a 1 leaves as a 1"
            )
        elif before != after and kept and inverted:
            reason = f"the route gives {arriving.one_means!r} another meaning and inverts it"
            told = Open("meaning of 1", reason)
        yield Compared(last, told)


def edges(way: Way) -> Iterator[Compared]:
    """Compare the acting edge where it is a level in between."""
    before = way[0].arriving.edge
    if not before:
        return
    level = inverted = False
    for last, handover in enumerate(way):
        level = level or not handover.arriving.edge
        inverted ^= handover.step.inverts
        after = handover.leaving.edge
        if not last or not after:
            continue
        flipped = {"rising": "falling", "falling": "rising"} if inverted else {}
        # A change from edge to edge is declared as such, and so is what comes of it.
        wrong = level and flipped.get(before, before) != after
        yield Compared(last, _ends(way, last, "the acting edge", before, after) if wrong else "")


def units(way: Way) -> Iterator[Compared]:
    """Compare units where none is stated in between."""
    arriving = way[0].arriving
    before = form(arriving, "unit")
    if not before:
        return
    for last, handover in enumerate(way):
        if declared(handover, "unit"):
            return  # From here on it is another one on purpose.
        after = form(handover.leaving, "unit")
        if last and after:
            wrong = before != after
            texts = arriving.unit, handover.leaving.unit
            yield Compared(last, _ends(way, last, "the unit", *texts) if wrong else "")


def safe_values(way: Way) -> Iterator[Compared]:
    """Compare what the first end sends while its connection is lost with the safe value behind.

    An end that has a value of its own for the loss of the connection before it hands on as ever
    what arrives over a sound one: the substitute of an end further away is such a value.
    """
    first = way[0]
    arriving, through = first.arriving, first.leaving
    if first.step.on_loss is None:
        sent = carrier(first)(_stated(arriving, arriving.safe))
    else:
        sent = _stated(through, first.step.on_loss)
    lost = f"while {first.before.lane.connection.name} is lost"
    substitute = f"takes {safe_text(arriving)} for {arriving.name} ({arriving.at})"
    if sent.raw is not None:
        substitute = f"sends {decimal_text(sent.raw)} as {through.name} ({through.at})"
    if sent == UNKNOWN:
        return  # A finding or open at the first end itself.
    value = sent
    for last, handover in enumerate(way[1:], 1):
        value, leaving, end = carrier(handover)(value), handover.leaving, handover.step.end
        if value.raw is not None:
            wrong = value.raw != as_carried(leaving, exact_number(leaving.safe))
            told = (
                f"{lost}, {first.step.end} {substitute}, and {end} sends it on as "
                f"{decimal_text(value.raw)} of {leaving.name} ({leaving.at}), whose safe value is "
                f"{safe_text(leaving)}"
            )
            yield Compared(last, told if wrong else "")
        elif handover.step.on_loss is not None:
            # Otherwise the end itself has told that this is open.
            yield Compared(last, Open("safe value", f"no map says what {end} sends {lost}"))


def _stated(signal: Signal, value: int | float) -> Carried:
    number = as_carried(signal, exact_number(value))
    return Carried(number) if isinstance(number, Fraction) else UNKNOWN


def _ends(way: Way, last: int, what: str, before: str, after: str) -> str:
    """Return that something is one thing at the first of some ends and another at the last."""
    arriving, leaving = way[0].arriving, way[last].leaving
    return (
        f"{way[0].step.end} receives {arriving.name} ({arriving.at}) with {what} {before!r}, and "
        f"{way[last].step.end} sends {leaving.name} ({leaving.at}) with {what} {after!r}"
    )
