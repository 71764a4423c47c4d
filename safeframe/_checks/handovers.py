"""Rules about an end that takes a signal from one connection and hands it on in another."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import islice
from math import nan
from typing import TYPE_CHECKING, NamedTuple

from .._bits import Place
from .._canonical import form, variable
from .._findings import Finding, NotJudged, Rule, Spot
from .._model import Signal
from .._words import MOST_LISTED, count, listed
from .registry import Finder, RoutesSeen, route_rule

if TYPE_CHECKING:
    from .._following import Handover, Site, Stretch

__all__: list[str] = []


class _Open(NamedTuple):
    """What cannot be judged at an end, and why."""

    subject: str
    reason: str


_Judge = Callable[["Handover", "Site"], Iterator[str | _Open]]

_MEANT = "or declare in the route that it is meant"


def _rule(entry: Rule) -> Callable[[_Judge], _Judge]:
    """Register what judges one end of a route; it yields what is wrong and what stays open.

    The same wrong thing on several routes is one finding.
    """

    def register(judge: _Judge) -> _Judge:
        def check(seen: RoutesSeen, find: Finder) -> Iterator[Finding | NotJudged]:
            wrong: dict[tuple[int, int, str], list[Handover]] = {}
            for followed, _ in seen.routes:
                for handover in followed.handovers():
                    for told in judge(handover, seen.site):
                        if isinstance(told, _Open):
                            yield NotJudged(
                                connection="",
                                rule=entry.name,
                                reason=told.reason,
                                subject=f"{told.subject} at {handover.step.end}",
                                route=followed.route.name,
                            )
                        else:
                            key = id(handover.arriving), id(handover.leaving), told
                            wrong.setdefault(key, []).append(handover)
            for (_, _, message), handovers in wrong.items():
                yield find(f"{_on(handovers)}: {message}", _spots(handovers[0]))

        route_rule(entry)(check)
        return judge

    return register


def _on(handovers: list[Handover]) -> str:
    names = sorted({handover.route.name for handover in handovers})
    return f"on the route{'s'[: len(names) != 1]} {listed(names)}"


def _spots(handover: Handover) -> list[Spot]:
    signals = handover.arriving, handover.leaving
    return [
        *(Spot(handover.step.end, one.where, one.at, one.name) for one in signals),
        Spot("", handover.step.where),
    ]


def _declared(handover: Handover, key: str) -> bool:
    return any(name == key for name, _, _ in handover.step.converts)


def _both(handover: Handover, what: str, before: object, after: object) -> str:
    """Return that something is one thing as the signal arrives and another as it leaves."""
    arriving, leaving = handover.arriving, handover.leaving
    return (
        f"{handover.step.end} receives {arriving.name} ({arriving.at}) with {what} {before} and "
        f"sends {leaving.name} ({leaving.at}) with {what} {after}"
    )


@_rule(
    Rule(
        name="route-binding-differs",
        severity="error",
        scope="plant",
        title="An end delivers a signal into one variable and sends on another",
        why="What arrives stays where nobody reads it, and something else goes on under its name.",
        remedy="bind both to the variable that the route names; where the program makes one out "
        "of the other, declare bind and out",
    )
)
def route_binding_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare the variables at an end with each other and with those that the route names."""
    step, arriving, leaving = handover.step, handover.arriving, handover.leaving
    wrong = []
    if step.bind and arriving.bind and variable(arriving.bind) != variable(step.bind):
        wrong.append(
            f"{step.end} delivers {arriving.name} ({arriving.at}) into {arriving.bind}, and the "
            f"route names {step.bind}"
        )
    if step.bind and leaving.bind and variable(leaving.bind) != variable(step.taken_from):
        wrong.append(
            f"{step.end} takes {leaving.name} ({leaving.at}) from {leaving.bind}, and the route "
            f"names {step.taken_from}"
        )
    if wrong:
        yield "; ".join(wrong)
    bare = [one.name for one in (arriving, leaving) if not one.bind]
    if bare:
        yield _Open("binding", f"no variable is stated of {listed(list(dict.fromkeys(bare)))}")
    elif not step.bind and variable(arriving.bind) != variable(leaving.bind):
        yield (
            f"{step.end} delivers {arriving.name} ({arriving.at}) into {arriving.bind} and takes "
            f"{leaving.name} ({leaving.at}) from {leaving.bind}"
        )
    if step.out and variable(step.out) != variable(step.bind):
        yield _Open("program", f"no map says how {step.out} is made of {step.bind}")


@_rule(
    Rule(
        name="route-binding-shared",
        severity="error",
        scope="plant",
        title="Two connections deliver into one variable on a route",
        why="The one that is copied last wins: the source of the route may have no say.",
        remedy="give each delivered signal a variable of its own",
    )
)
def route_binding_shared(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Find other connections that deliver into a variable of the route."""
    step = handover.step
    arriving, leaving = handover.arriving, handover.leaving
    for bind in {variable(one.bind): one.bind for one in (leaving, arriving) if one.bind}.values():
        yield from _shared(site, step.end, bind, handover.before)
    last = handover.after.received
    if last is not None and last.bind and handover.step is handover.route.steps[-1]:
        end = handover.after.lane.direction.consumer.name
        yield from _shared(site, end, last.bind, handover.after)


def _shared(site: Site, end: str, bind: str, own: Stretch) -> Iterator[str]:
    """Yield what other connections deliver into a variable, the first ones of very many."""
    others = (
        f"{one.received.name} of {one.lane.connection.name}"
        for one in site.delivered(end, bind)
        if one.received is not None and one.lane.connection is not own.lane.connection
    )
    found = list(islice(others, MOST_LISTED))
    if found:
        verb = "is" if len(found) == 1 else "are"
        yield f"at {end}, {listed(found)} {verb} delivered into {bind} too"


@_rule(
    Rule(
        name="route-type-differs",
        severity="error",
        scope="plant",
        title="A signal changes its type on its way",
        why="The same bits become another number behind the gateway: a negative one, a fraction.",
        remedy=f"give it one type on the whole way, {_MEANT}: converts = {{ type = [...] }}",
    )
)
def route_type_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare types; a bit that becomes a wider number is a difference of width."""
    arriving, leaving = handover.arriving, handover.leaving
    by_width = arriving.width != leaving.width and not _declared(handover, "width")
    by_width = by_width and {arriving.type, leaving.type} == {"bool", "uint"}
    if arriving.type != leaving.type and not by_width and not _declared(handover, "type"):
        yield _both(handover, "the type", arriving.type, leaving.type)


@_rule(
    Rule(
        name="route-width-differs",
        severity="error",
        scope="plant",
        title="A signal changes its width on its way",
        why="What does not fit is cut off or capped behind the gateway, unseen by the target.",
        remedy=f"give it one width on the whole way, {_MEANT}: converts = {{ width = [...] }}",
    )
)
def route_width_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare widths."""
    arriving, leaving = handover.arriving, handover.leaving
    if arriving.width != leaving.width and not _declared(handover, "width"):
        yield _both(
            handover, "the width", count(arriving.width, "bit"), count(leaving.width, "bit")
        )


@_rule(
    Rule(
        name="route-meaning-differs",
        severity="error",
        scope="plant",
        title="A value means something else behind a gateway",
        why="A permission arrives as a prohibition, or one command as another; every connection "
        "by itself agrees.",
        remedy="give it one meaning on the whole way, or declare in the route what is meant: "
        "inverts = true, converts = { one_means = [...] } or codes = { ... }",
    )
)
def route_meaning_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare the meaning of 1, the acting edge and the code points."""
    arriving, leaving, step = handover.arriving, handover.leaving, handover.step
    before, after = form(arriving, "one_means"), form(leaving, "one_means")
    bits = arriving.width == leaving.width == 1
    silent = [one.name for one in (arriving, leaving) if not form(one, "one_means")]
    if silent and (len(silent) == 1 or bits) and not arriving.edge:
        yield _Open(
            "meaning of 1", f"no one_means is stated of {listed(list(dict.fromkeys(silent)))}"
        )
    meant = step.inverts or _declared(handover, "one_means")
    if before != after and not silent and not meant:
        texts = f"{arriving.one_means!r}", f"{leaving.one_means!r}"
        yield f"{_both(handover, 'the meaning of 1', *texts)}: it is inverted or another one"
    flipped = {"rising": "falling", "falling": "rising"} if step.inverts else {}
    edge = flipped.get(arriving.edge, arriving.edge)
    if edge != leaving.edge and not _declared(handover, "edge"):
        none = "none (a level)"
        yield _both(handover, "the acting edge", arriving.edge or none, leaving.edge or none)
    yield from _codes(handover)


def _codes(handover: Handover) -> Iterator[str | _Open]:
    arriving, leaving = handover.arriving, handover.leaving
    if "code" not in (arriving.type, leaving.type) or arriving.type != leaving.type:
        return
    if not arriving.codes or not leaving.codes:
        yield _Open("code points", "none are stated on one side")
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
) -> Iterator[str | _Open]:
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
    came = {number: [one for one in table if table[one] == number] for number in after}
    wrong += [
        f"{number} ({after[number]}) of {leaving.name} ({leaving.at}) never leaves"
        for number, ones in came.items()
        if not ones
    ]
    for number, name in before.items():
        same = [one for one in after if after[one] == name]
        if number in table and same and table[number] not in same:
            to = after.get(table[number], "not named")
            wrong.append(f"{number} ({name}) leaves as {table[number]} ({to}), not as {same[0]}")
    if wrong:
        yield f"{end} translates code points: {'; '.join(wrong)}"
    if len(before) < 1 << arriving.width:
        yield _Open("code points", f"no map names every number that {arriving.name} can hold")


def _unfounded(handover: Handover) -> str:
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


@_rule(
    Rule(
        name="route-inversion-unfounded",
        severity="error",
        scope="plant",
        title="A route declares an inversion that the maps do not show",
        why="Whoever reads the route expects the opposite value at the target, or the program "
        "inverts what must not be inverted.",
        remedy="leave inverts out, or state in the maps what a 1 means before and behind",
    )
)
def route_inversion_unfounded(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Find declared inversions of values, and of bits whose meaning stays the same."""
    if not handover.step.inverts:
        return
    why = _unfounded(handover)
    if why:
        yield f"an inversion is declared at {handover.step.end}, but {why}"
    elif not (handover.arriving.one_means.strip() and handover.leaving.one_means.strip()):
        yield _Open("inversion", "the meaning of 1 is not stated on both sides")


@_rule(
    Rule(
        name="route-safe-value-differs",
        severity="error",
        scope="plant",
        title="A break before a gateway reaches the target as another value than one behind it",
        why="While the first connection is lost the gateway sends on its substitute: inverted or "
        "converted, that may be the value that lets the machine move.",
        remedy="give the signal safe values that become each other on the way, or state in the "
        "route what leaves instead (on_loss)",
    )
)
def route_safe_value_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare the safe value that is handed on with the one of the connection behind."""
    arriving, leaving, step = handover.arriving, handover.leaving, handover.step
    lost = f"while {handover.before.lane.connection.name} is lost, {step.end}"
    if step.on_loss is not None:
        if step.on_loss != leaving.safe:
            yield (
                f"{lost} sends {step.on_loss} as {leaving.name} ({leaving.at}) by the route, but "
                f"its safe value is {leaving.safe}"
            )
        return
    passed: Fraction | float | None = _number(arriving.safe)
    own: Fraction | float | None = _number(leaving.safe)
    words = ""
    if step.inverts and not _unfounded(handover):
        if arriving.safe not in (0, 1):
            return  # No bit holds that: a finding of its own.
        passed, words = 1 - _exact(arriving.safe), ", inverted,"
    elif step.codes and arriving.type == leaving.type == "code":
        table = dict(step.codes)
        if arriving.safe not in table:
            yield _Open("safe value", f"the route does not say what leaves for {arriving.safe}")
            return
        passed, words = _exact(table[arriving.safe]), ", translated,"  # type: ignore[index]
    elif form(arriving, "scale") != form(leaving, "scale"):
        if not _declared(handover, "scale"):
            return  # The scale is the cause, and told.
        factors = _number(arriving.scale), _number(leaving.scale)
        numbers = [one for one in (passed, own, *factors) if isinstance(one, Fraction)]
        if len(numbers) < 4:
            yield _Open("safe value", "a value or a scale is no number")
            return
        passed, own = numbers[0] * numbers[2], numbers[1] * numbers[3]
        words = ", scaled,"
    if form(arriving, "unit") != form(leaving, "unit") and arriving.unit and leaving.unit:
        if _declared(handover, "unit"):
            yield _Open("safe value", "the unit changes, and no map says by which rule")
        return
    same = passed == own or (passed != passed and own != own)
    if not same:
        yield (
            f"{lost} takes {arriving.safe} for {arriving.name} ({arriving.at}) and sends it on"
            f"{words} as {leaving.name} ({leaving.at}), whose safe value is {leaving.safe}"
        )


def _exact(value: int | float) -> Fraction:
    return Fraction(value)


def _number(value: int | float | str) -> Fraction | float:
    """Return an exact number; one that is not finite stays as it is, a text may be none."""
    try:
        return Fraction(value)
    except (OverflowError, ValueError):
        return nan if isinstance(value, str) else float(value)


@_rule(
    Rule(
        name="route-unit-differs",
        severity="error",
        scope="plant",
        title="A value changes its unit on its way",
        why="The same number is millimetres before the gateway and metres behind it.",
        remedy=f"give it one unit on the whole way, {_MEANT}: converts = {{ unit = [...] }}",
    )
)
def route_unit_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare units; a number without one cannot be judged."""
    arriving, leaving = handover.arriving, handover.leaving
    if not any(one.type in ("uint", "int", "float") or one.unit for one in (arriving, leaving)):
        return
    silent = [one.name for one in (arriving, leaving) if not one.unit.strip()]
    if silent:
        yield _Open("unit", f"none is stated of {listed(list(dict.fromkeys(silent)))}")
    elif form(arriving, "unit") != form(leaving, "unit") and not _declared(handover, "unit"):
        yield _both(handover, "the unit", arriving.unit, leaving.unit)


@_rule(
    Rule(
        name="route-scale-differs",
        severity="error",
        scope="plant",
        title="A value changes its scale on its way",
        why="A limit of 10 becomes 100 behind the gateway: in range, and wrong.",
        remedy=f"give it one factor on the whole way, {_MEANT}: converts = {{ scale = [...] }}",
    )
)
def route_scale_differs(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare scale factors."""
    arriving, leaving = handover.arriving, handover.leaving
    if form(arriving, "scale") != form(leaving, "scale") and not _declared(handover, "scale"):
        yield _both(handover, "the scale", arriving.scale, leaving.scale)


@_rule(
    Rule(
        name="route-conversion-unfounded",
        severity="error",
        scope="plant",
        title="A route declares a conversion that the maps do not show",
        why="A map was edited after the route was written: what is converted now is not what was "
        "meant.",
        remedy="declare what the maps say, once it is what is meant",
    )
)
def route_conversion_unfounded(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare every declared conversion with what the maps say before and behind."""
    arriving, leaving, end = handover.arriving, handover.leaving, handover.step.end
    for key, before, after in handover.step.converts:
        declared = _formed(key, before), _formed(key, after)
        found = form(arriving, key), form(leaving, key)
        what = f"{key} {_shown(before)} -> {_shown(after)} at {end}"
        if declared[0] == declared[1]:
            yield f"the conversion {what} changes nothing"
        elif declared != found:
            told = _shown(getattr(arriving, key)), _shown(getattr(leaving, key))
            yield (
                f"the conversion {what} is declared, but {arriving.name} ({arriving.at}) arrives "
                f"with {told[0]} and {leaving.name} ({leaving.at}) leaves with {told[1]}"
            )
    yield from _translation_unfounded(handover)


def _translation_unfounded(handover: Handover) -> Iterator[str]:
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


@_rule(
    Rule(
        name="route-range-exceeded",
        severity="warning",
        scope="plant",
        title="A converted value may not fit behind the gateway",
        why="What the gateway does with a value that does not fit is in no map: cut off, capped or "
        "refused, the target cannot tell.",
        remedy="make the value behind the gateway wide enough, or allow the finding with the "
        "reason why such values do not occur",
    )
)
def route_range_exceeded(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Compare the range of a value before and behind a declared conversion."""
    arriving, leaving = handover.arriving, handover.leaving
    if handover.step.codes:
        return  # The table says for every code point what leaves.
    keys = [key for key in ("type", "width", "scale") if _declared(handover, key)]
    differing = [
        key
        for key in ("type", "width", "scale", "unit")
        if form(arriving, key) != form(leaving, key)
    ]
    if not keys or not differing or not all(_declared(handover, key) for key in differing):
        return
    before, after = _range(arriving), _range(leaving)
    if "unit" in differing or before is None or after is None:
        yield _Open("range", "the unit or a type changes in a way that no map describes")
    elif before[0] < after[0] or before[1] > after[1]:
        unit = f" {arriving.unit}" if arriving.unit else ""
        yield (
            f"{arriving.name} ({arriving.at}) may arrive at {handover.step.end} as "
            f"{_decimal(before[0])} to {_decimal(before[1])}{unit}, and {leaving.name} "
            f"({leaving.at}) holds {_decimal(after[0])} to {_decimal(after[1])}{unit}"
        )


def _range(signal: Signal) -> tuple[Fraction, Fraction] | None:
    """Return the least and the largest scaled value, None for types without such a range."""
    if signal.type not in ("bool", "uint", "int"):
        return None
    raw = (0, (1 << signal.width) - 1)
    if signal.type == "int":
        raw = (-(1 << signal.width - 1), (1 << signal.width - 1) - 1)
    factor = _number(signal.scale)
    if not isinstance(factor, Fraction):
        return None
    low, high = sorted(factor * value for value in raw)
    return low, high


def _decimal(value: Fraction) -> str:
    from decimal import Decimal  # deferred: for messages only.

    if value.numerator.bit_length() > 128:
        return f"about 2^{value.numerator.bit_length() - value.denominator.bit_length()}"
    number = Decimal(value.numerator) / Decimal(value.denominator)
    return f"{number.normalize():f}"


@_rule(
    Rule(
        name="route-validity-lost",
        severity="warning",
        scope="plant",
        title="A value goes on without the bit that says whether it holds",
        why="The target goes on using a value that its source has declared invalid.",
        remedy="hand the validity bit on as well and name it with valid_by",
    )
)
def route_validity_lost(handover: Handover, site: Site) -> Iterator[str | _Open]:
    """Find values whose validity bit ends at a gateway, or is another variable behind it."""
    arriving, leaving, end = handover.arriving, handover.leaving, handover.step.end
    before, after = form(arriving, "valid_by"), form(leaving, "valid_by")
    if not before:
        return
    if not after:
        yield (
            f"{end} receives {arriving.name} ({arriving.at}) with the validity bit {before} and "
            f"sends {leaving.name} ({leaving.at}) without one"
        )
        return
    lanes = handover.before.lane.direction, handover.after.lane.direction
    bits = site.named(lanes[0].received, before), site.named(lanes[1].sent, after)
    binds = [variable(one.bind) for found in bits for one in found if one.bind]
    if len(binds) != 2 or binds[0] != binds[1]:
        yield _Open("validity", f"no variable links {after} to {before}")
