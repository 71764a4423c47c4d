"""Rules about what a signal means before and behind the end that hands it on."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from .._bits import Place
from .._canonical import form
from .._model import Signal
from .._words import count, listed
from .handing_on import (
    Open,
    as_carried,
    both,
    declared,
    exact_number,
    handover_rule,
    safe_text,
)
from .phrases import code_points

if TYPE_CHECKING:
    from .._following import Handover, Site


@handover_rule(
    name="route-meaning-differs",
    severity="error",
    title="A value means something else behind a gateway",
    why="A permission arrives as a prohibition, or one command as another; every connection "
    "by itself agrees.",
    remedy="give it one meaning on the whole way, or declare in the route what is meant: "
    "inverts = true, converts = { one_means = [...] } or codes = { ... }",
)
def route_meaning_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare the meaning of 1, the acting edge and the code points."""
    yield from ones_differ(handover)
    yield from edges_differ(handover)
    yield from codes_differ(handover)


def ones_differ(handover: Handover) -> Iterator[str | Open]:
    """Compare what a 1 means before and behind an end."""
    arriving, leaving = handover.arriving, handover.leaving
    before, after = form(arriving, "one_means"), form(leaving, "one_means")
    bits = arriving.width == leaving.width == 1
    silent = [one.name for one in (arriving, leaving) if not form(one, "one_means")]
    if silent and (len(silent) == 1 or bits) and not arriving.edge:
        yield Open(
            "meaning of 1", f"no one_means is stated of {listed(list(dict.fromkeys(silent)))}"
        )
    meant = handover.step.inverts or declared(handover, "one_means")
    if before != after and not silent and not meant:
        texts = f"{arriving.one_means!r}", f"{leaving.one_means!r}"
        told = both(handover, "the meaning of 1", *texts)
        told += code_points(arriving.one_means, leaving.one_means)
        yield f"{told}: it is inverted or another one"


def edges_differ(handover: Handover) -> Iterator[str]:
    """Compare the acting edge before and behind an end, which an inversion exchanges."""
    arriving, leaving = handover.arriving, handover.leaving
    flipped = {"rising": "falling", "falling": "rising"} if handover.step.inverts else {}
    edge = flipped.get(arriving.edge, arriving.edge)
    if edge != leaving.edge and not declared(handover, "edge"):
        none = "none (a level)"
        yield both(handover, "the acting edge", arriving.edge or none, leaving.edge or none)


def codes_differ(handover: Handover) -> Iterator[str | Open]:
    """Compare the code points before and behind an end, or the translation with both."""
    arriving, leaving = handover.arriving, handover.leaving
    if "code" not in (arriving.type, leaving.type) or arriving.type != leaving.type:
        return
    if not arriving.codes or not leaving.codes:
        yield Open("code points", "none are stated on one side")
        return
    before, after = dict(form(arriving, "codes")), dict(form(leaving, "codes"))
    if handover.step.codes:
        yield from _translated(handover, before, after)
        return
    differing = [
        f"{number}: {before.get(number, 'not named')} / {after.get(number, 'not named')}"
        for number in sorted(before.keys() | after.keys())
        if before.get(number) != after.get(number)
    ]
    if differing:
        end = handover.step.end
        yield (
            f"the code points differ between {arriving.name} ({arriving.at}), which {end} "
            f"receives, and {leaving.name} ({leaving.at}), which it sends: {', '.join(differing)}"
        )


def _translated(
    handover: Handover, before: dict[int, str], after: dict[int, str]
) -> Iterator[str | Open]:
    """Hold the code points that a route translates against those of both maps.

    Every one that arrives must leave as something, every one behind must come from something: two
    can become one only where fewer are named behind. One name must stay one thing.
    """
    table, end = dict(handover.step.codes), handover.step.end
    arriving, leaving = handover.arriving, handover.leaving
    wrong = [
        f"nothing leaves for {number} ({name}) of {arriving.name} ({arriving.at})"
        for number, name in before.items()
        if number not in table
    ]
    made = set(table.values())
    wrong += [
        f"{number} ({name}) of {leaving.name} ({leaving.at}) never leaves"
        for number, name in after.items()
        if number not in made
    ]
    called = {name: number for number, name in reversed(after.items())}
    for number, name in before.items():
        to = after.get(table[number], "not named") if number in table else name
        if name in called and to != name:
            wrong.append(
                f"{number} ({name}) leaves as {table[number]} ({to}), not as {called[name]}"
            )
    if wrong:
        yield f"{end} translates code points: {'; '.join(wrong)}"
    if len(before) < 1 << arriving.width:
        yield Open("code points", f"no map names every number that {arriving.name} can hold")


def unfounded(handover: Handover) -> str:
    """Return why a declared inversion cannot be one, or an empty text."""
    arriving, leaving = handover.arriving, handover.leaving
    for one in (arriving, leaving):
        if one.width != 1:
            return f"{one.name} ({one.at}) is {count(one.width, 'bit')} wide"
    if arriving.one_means and form(arriving, "one_means") == form(leaving, "one_means"):
        return (
            f"a 1 means {arriving.one_means!r} as {arriving.name} ({arriving.at}) arrives and as "
            f"{leaving.name} ({leaving.at}) leaves"
        )
    return ""


@handover_rule(
    name="route-inversion-unfounded",
    severity="error",
    title="A route declares an inversion that the maps do not show",
    why="Whoever reads the route expects the opposite value at the target, or the program "
    "inverts what must not be inverted.",
    remedy="leave inverts out, or state in the maps what a 1 means before and behind",
)
def route_inversion_unfounded(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Find declared inversions of values, and of bits whose meaning stays the same."""
    if not handover.step.inverts:
        return
    why = unfounded(handover)
    if why:
        yield f"an inversion is declared at {handover.step.end}, but {why}"
    elif not (handover.arriving.one_means.strip() and handover.leaving.one_means.strip()):
        yield Open("inversion", "the meaning of 1 is not stated on both sides")


@handover_rule(
    name="route-safe-value-differs",
    severity="error",
    title="A break before a gateway reaches the target as another value than one behind it",
    why="While the first connection is lost the gateway sends on its substitute: inverted or "
    "converted, that may be the value that lets the machine move.",
    remedy="give the signal safe values that become each other on the way, or state in the "
    "route what leaves instead (on_loss)",
)
def route_safe_value_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare the safe value that is handed on with the one of the connection behind."""
    arriving, leaving, step = handover.arriving, handover.leaving, handover.step
    lost = f"while {handover.before.lane.connection.name} is lost, {step.end}"
    own = as_carried(leaving, exact_number(leaving.safe))
    if step.on_loss is not None:
        if as_carried(leaving, exact_number(step.on_loss)) != own:
            yield (
                f"{lost} sends {step.on_loss} as {leaving.name} ({leaving.at}) by the route, but "
                f"its safe value is {safe_text(leaving)}"
            )
        return
    passed = as_carried(arriving, exact_number(arriving.safe))
    words = ""
    if step.inverts and not unfounded(handover):
        if arriving.safe not in (0, 1):
            return  # No bit holds that: a finding of its own.
        passed, words = 1 - _exact(arriving.safe), ", inverted,"
    elif step.codes and arriving.type == leaving.type == "code":
        table = dict(step.codes)
        if arriving.safe not in table:
            yield Open("safe value", f"the route does not say what leaves for {arriving.safe}")
            return
        passed, words = _exact(table[arriving.safe]), ", translated,"  # type: ignore[index]
    elif form(arriving, "scale") != form(leaving, "scale"):
        if not declared(handover, "scale"):
            return  # The scale is the cause, and told.
        factors = exact_number(arriving.scale), exact_number(leaving.scale)
        numbers = [one for one in (passed, own, *factors) if isinstance(one, Fraction)]
        if len(numbers) < 4 or not numbers[3]:
            yield Open("safe value", "a value or a scale is no number")
            return
        passed, words = numbers[0] * numbers[2] / numbers[3], ", scaled,"
    if form(arriving, "unit") != form(leaving, "unit") and arriving.unit and leaving.unit:
        if declared(handover, "unit"):
            yield Open("safe value", "the unit changes, and no map says by which rule")
        return
    passed = as_carried(leaving, passed)
    same = passed == own or (passed != passed and own != own)
    if not same:
        yield (
            f"{lost} takes {safe_text(arriving)} for {arriving.name} ({arriving.at}) and sends it "
            f"on{words} as {leaving.name} ({leaving.at}), whose safe value is {safe_text(leaving)}"
        )


def _exact(value: int | float) -> Fraction:
    return Fraction(value)


@handover_rule(
    name="route-conversion-unfounded",
    severity="error",
    title="A route declares a conversion that the maps do not show",
    why="A map was edited after the route was written: what is converted now is not what was "
    "meant.",
    remedy="declare what the maps say, once it is what is meant",
)
def route_conversion_unfounded(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare every declared conversion with what the maps say before and behind."""
    yield from (message for _, message in undone(handover))
    yield from translation_unfounded(handover)


def undone(handover: Handover) -> Iterator[tuple[str, str]]:
    """Yield key and message of every declared conversion that the maps do not show."""
    arriving, leaving, end = handover.arriving, handover.leaving, handover.step.end
    for key, before, after in handover.step.converts:
        declared = _formed(key, before), _formed(key, after)
        found = form(arriving, key), form(leaving, key)
        what = f"{key} {_shown(before)} -> {_shown(after)} at {end}"
        if declared[0] == declared[1]:
            yield key, f"the conversion {what} changes nothing"
        elif declared != found:
            told = _shown(getattr(arriving, key)), _shown(getattr(leaving, key))
            yield (
                key,
                f"the conversion {what} is declared, but {arriving.name} ({arriving.at}) arrives "
                f"with {told[0]} and {leaving.name} ({leaving.at}) leaves with {told[1]}",
            )


def translation_unfounded(handover: Handover) -> Iterator[str]:
    """Find translations of what is no code point of the maps, and those that change nothing."""
    codes, end = handover.step.codes, handover.step.end
    if not codes:
        return
    sides = (handover.arriving, "arrives"), (handover.leaving, "leaves")
    for number, (signal, does) in enumerate(sides):
        if signal.type != "code":
            yield (
                f"code points are translated at {end}, but {signal.name} ({signal.at}), which "
                f"{does} there, is of type {signal.type}"
            )
            return
        named = {code for code, _ in signal.codes}
        strange = sorted({row[number] for row in codes} - named)
        if strange and named:
            yield (
                f"code points are translated at {end}, but {signal.name} ({signal.at}), which "
                f"{does} there, does not name {listed(list(map(str, strange)))}"
            )
    same = form(handover.arriving, "codes") == form(handover.leaving, "codes")
    if same and all(before == after for before, after in codes):
        yield f"the translation of code points at {end} changes nothing"


def _formed(key: str, value: int | str) -> object:
    if key in ("unit", "scale", "one_means"):
        made = {key: value}
        return form(Signal(name="x", at=Place(0, 0), **made), key)  # type: ignore[arg-type]
    return value


def _shown(value: object) -> str:
    return str(value) if isinstance(value, int) else f"{value!r}" if value else "none"
