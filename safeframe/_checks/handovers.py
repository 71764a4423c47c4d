"""Rules about the variables and numbers of a signal that an end hands on in another connection."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import islice
from typing import TYPE_CHECKING

from .._canonical import form, variable
from .._model import Signal
from .._words import MOST_LISTED, count, listed
from .handing_on import (
    MEANT,
    Open,
    both,
    decimal_text,
    declared,
    exact_number,
    handover_rule,
)
from .phrases import code_points

if TYPE_CHECKING:
    from .._following import Handover, Site, Stretch


@handover_rule(
    name="route-binding-differs",
    severity="error",
    title="An end delivers a signal into one variable and sends on another",
    why="What arrives stays where nobody reads it, and something else goes on under its name.",
    remedy="bind both to the variable that the route names; where the program makes one out "
    "of the other, declare bind and out",
)
def route_binding_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
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
        yield Open("binding", f"no variable is stated of {listed(list(dict.fromkeys(bare)))}")
    elif not step.bind and variable(arriving.bind) != variable(leaving.bind):
        yield (
            f"{step.end} delivers {arriving.name} ({arriving.at}) into {arriving.bind} and takes "
            f"{leaving.name} ({leaving.at}) from {leaving.bind}"
        )
    if step.out and variable(step.out) != variable(step.bind):
        yield Open("program", f"no map says how {step.out} is made of {step.bind}")


@handover_rule(
    name="route-binding-shared",
    severity="error",
    title="Two connections deliver into one variable on a route",
    why="The one that is copied last wins: the source of the route may have no say.",
    remedy="give each delivered signal a variable of its own",
)
def route_binding_shared(handover: Handover, site: Site) -> Iterator[str | Open]:
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


@handover_rule(
    name="route-type-differs",
    severity="error",
    title="A signal changes its type on its way",
    why="The same bits become another number behind the gateway: a negative one, a fraction.",
    remedy=f"give it one type on the whole way, {MEANT}: converts = {{ type = [...] }}",
)
def route_type_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare types; a bit that becomes a wider number is a difference of width."""
    arriving, leaving = handover.arriving, handover.leaving
    by_width = arriving.width != leaving.width and not declared(handover, "width")
    by_width = by_width and {arriving.type, leaving.type} == {"bool", "uint"}
    if arriving.type != leaving.type and not by_width and not declared(handover, "type"):
        yield both(handover, "the type", arriving.type, leaving.type)


@handover_rule(
    name="route-width-differs",
    severity="error",
    title="A signal changes its width on its way",
    why="What does not fit is cut off or capped behind the gateway, unseen by the target.",
    remedy=f"give it one width on the whole way, {MEANT}: converts = {{ width = [...] }}",
)
def route_width_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare widths."""
    arriving, leaving = handover.arriving, handover.leaving
    if arriving.width != leaving.width and not declared(handover, "width"):
        yield both(handover, "the width", count(arriving.width, "bit"), count(leaving.width, "bit"))


@handover_rule(
    name="route-unit-differs",
    severity="error",
    title="A value changes its unit on its way",
    why="The same number is millimetres before the gateway and metres behind it.",
    remedy=f"give it one unit on the whole way, {MEANT}: converts = {{ unit = [...] }}",
)
def route_unit_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare units; a number without one cannot be judged."""
    arriving, leaving = handover.arriving, handover.leaving
    if not any(one.type in ("uint", "int", "float") or one.unit for one in (arriving, leaving)):
        return
    silent = [one.name for one in (arriving, leaving) if not one.unit.strip()]
    if silent:
        yield Open("unit", f"none is stated of {listed(list(dict.fromkeys(silent)))}")
    elif form(arriving, "unit") != form(leaving, "unit") and not declared(handover, "unit"):
        told = both(handover, "the unit", arriving.unit, leaving.unit)
        yield told + code_points(arriving.unit, leaving.unit)


@handover_rule(
    name="route-scale-differs",
    severity="error",
    title="A value changes its scale on its way",
    why="A limit of 10 becomes 100 behind the gateway: in range, and wrong.",
    remedy=f"give it one factor on the whole way, {MEANT}: converts = {{ scale = [...] }}",
)
def route_scale_differs(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare scale factors."""
    arriving, leaving = handover.arriving, handover.leaving
    if form(arriving, "scale") != form(leaving, "scale") and not declared(handover, "scale"):
        yield both(handover, "the scale", arriving.scale, leaving.scale)


@handover_rule(
    name="route-range-exceeded",
    severity="warning",
    title="A converted value may not fit behind the gateway",
    why="What the gateway does with a value that does not fit is in no map: cut off, capped or "
    "refused, the target cannot tell.",
    remedy="make the value behind the gateway wide enough, or allow the finding with the "
    "reason why such values do not occur",
)
def route_range_exceeded(handover: Handover, site: Site) -> Iterator[str | Open]:
    """Compare the range of a value before and behind a declared conversion."""
    arriving, leaving = handover.arriving, handover.leaving
    if handover.step.codes:
        return  # The table says for every code point what leaves.
    keys = [key for key in ("type", "width", "scale") if declared(handover, key)]
    differing = [
        key
        for key in ("type", "width", "scale", "unit")
        if form(arriving, key) != form(leaving, key)
    ]
    if not keys or not differing or not all(declared(handover, key) for key in differing):
        return
    before, after = _range(arriving), _range(leaving)
    if "unit" in differing or before is None or after is None:
        yield Open("range", "the unit or a type changes in a way that no map describes")
    elif before[0] < after[0] or before[1] > after[1]:
        unit = f" {arriving.unit}" if arriving.unit else ""
        yield (
            f"{arriving.name} ({arriving.at}) may arrive at {handover.step.end} as "
            f"{decimal_text(before[0])} to {decimal_text(before[1])}{unit}, and {leaving.name} "
            f"({leaving.at}) holds {decimal_text(after[0])} to {decimal_text(after[1])}{unit}"
        )


def _range(signal: Signal) -> tuple[Fraction, Fraction] | None:
    """Return the least and the largest scaled value, None for types without such a range."""
    if signal.type not in ("bool", "uint", "int"):
        return None
    raw = (0, (1 << signal.width) - 1)
    if signal.type == "int":
        raw = (-(1 << signal.width - 1), (1 << signal.width - 1) - 1)
    factor = exact_number(signal.scale)
    if not isinstance(factor, Fraction):
        return None
    low, high = sorted(factor * value for value in raw)
    return low, high


@handover_rule(
    name="route-validity-lost",
    severity="warning",
    title="A value goes on without the bit that says whether it holds",
    why="The target goes on using a value that its source has declared invalid.",
    remedy="hand the validity bit on as well and name it with valid_by",
)
def route_validity_lost(handover: Handover, site: Site) -> Iterator[str | Open]:
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
        yield Open("validity", f"no variable links {after} to {before}")
