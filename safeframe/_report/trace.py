"""The way of a signal through a site: for people, and as JSON for programs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from .._findings import Finding
from .._following import FollowedRoute, PossibleWay, Stretch, exact_name
from .._model import End, Signal
from .._routes import RouteStep
from .._source import Location
from .._timing import Input, Timing
from .._tracing import Trace, TracedRoute, TracedSignal
from .._words import count
from .document import (
    CAUTION,
    Block,
    Document,
    Drawing,
    Items,
    Paragraph,
    Section,
    StyledText,
    Table,
    picked,
    strong,
)
from .jsonout import finding_data, waived_data

FORMAT = "safeframe-trace/1"
"""Raised when a reader of the older one could be misled; keys may be added without."""


class Stop(NamedTuple):
    """One line of a way: an end that sends or receives a signal; None where the way breaks."""

    end: End | None
    name: str
    does: str
    signal: Signal | None
    stretch: Stretch | None
    step: RouteStep | None = None


def stops(followed: FollowedRoute) -> Iterator[Stop]:
    """Yield what happens at each end of a route, in order."""
    steps = (None, *followed.route.steps)
    for here, there, stretch, step in zip(
        followed.ends, followed.ends[1:], followed.stretches, steps, strict=False
    ):
        if stretch is None:
            yield Stop(None, here, "sends", None, None, step)
            yield Stop(None, there, "receives", None, None)
        else:
            yield from stops_of_signal(stretch, step)


def stops_of_signal(stretch: Stretch, step: RouteStep | None = None) -> Iterator[Stop]:
    producer, consumer = stretch.lane.direction
    yield Stop(producer, producer.name, "sends", stretch.sent, stretch, step)
    yield Stop(consumer, consumer.name, "receives", stretch.received, stretch)


def kind_of(signal: Signal) -> str:
    """Return width and type of a signal in words."""
    return f"{count(signal.width, 'bit')}, {signal.type}"


def told_at(signal: Signal) -> str:
    """Return what else a map says of a signal."""
    parts = [
        f"1 means {signal.one_means!r}" if signal.one_means else "",
        f"acts on the {signal.edge} edge" if signal.edge else "",
        ", ".join(f"{number} is {name}" for number, name in signal.codes),
        f"unit {signal.unit}" if signal.unit else "",
        f"scale {signal.scale}" if signal.scale != "1" else "",
        f"valid by {signal.valid_by}" if signal.valid_by else "",
        f"safe value {signal.safe}",
    ]
    return "; ".join(filter(None, parts))


def changes_at(step: RouteStep | None) -> list[str]:
    """Return what an end does on purpose to the signal that it hands on."""
    if step is None:
        return []
    found = [f"{key} {before!r} -> {after!r}" for key, before, after in step.converts]
    if step.codes:
        found.append(f"codes {', '.join(f'{one} -> {two}' for one, two in step.codes)}")
    if step.inverts:
        found.insert(0, "inverted")
    if step.out:
        found.append(f"made of {step.bind} by the program")
    if step.on_loss is not None:
        found.append(f"{step.on_loss} while the connection before is lost")
    return found


Where = Callable[[Location], str]


def document(given: Trace, drawings: Sequence[Drawing] = (), *, where: Where = str) -> Document:
    """Return the ways of a signal; ``drawings`` are one for each, or none.

    ``where`` writes a location.
    """
    blocks: list[Block] = []
    for number, route in enumerate(given.routes):
        drawn = drawings[number : number + 1]
        blocks.append(
            Section((strong(route.followed.route.name),), (*_route(route, where), *drawn))
        )
    if given.signal is not None:
        blocks.append(
            Section(
                (strong(given.signal.name), ": no route names it"),
                (
                    _table(list(stops_of_signal(given.signal.stretch)), where),
                    _times([given.signal.time], (), given.signal.time.reaction.missing),
                    *_told(given.signal, where),
                    *drawings,
                ),
            )
        )
    if given.candidates:
        blocks.append(
            Section(
                "Candidates: they share a variable, no route names them",
                (Items(tuple(_candidate(one, where) for one in given.candidates)),),
            )
        )
    return Document(f"Way of {given.asked}", tuple(blocks), verdict=_verdict(given))


def _verdict(given: Trace) -> StyledText:
    number = len(given.findings)
    worst = next((one.severity for one in given.findings), "good")
    where = "on the way" if given.signal is None else "at its connection"
    found = count(number, "finding") if number else f"nothing found {where}"
    for many, word in (
        (len({one for way in given.ways for one in way.waived}), "allowed"),
        (len({one for way in given.ways for one in way.not_judged}), "not judged"),
    ):
        found += f", {many} {word}" if many else ""
    shown = "one connection, no route"
    if given.signal is None:
        shown = count(len(given.routes), "route")
    return StyledText(f"{given.asked}: {shown}; {found}", worst)


def _route(given: TracedRoute, where: Where) -> Iterator[Block]:
    yield _table(list(stops(given.followed)), where)
    time = given.time
    yield _times(time.stretches, time.programs, time.missing, time.permitted_ms, route=given)
    yield from _told(given, where)


def _table(rows: Sequence[Stop], where: Where) -> Table:
    cells: list[tuple[str, ...]] = []
    notes: list[str] = []
    for stop in rows:
        signal = stop.signal
        if signal is None:
            lost = "(the way breaks)" if stop.stretch is None else "(no such signal)"
            cells.append((stop.name, stop.does, lost, "", "", ""))
            notes.append("; ".join(changes_at(stop.step)))
        else:
            cells.append(
                (
                    stop.name,
                    stop.does,
                    signal.name,
                    str(signal.at),
                    kind_of(signal),
                    signal.bind or "not stated",
                )
            )
            told = [*changes_at(stop.step), told_at(signal), where(signal.where)]
            notes.append("; ".join(told))
    head = ("end", "does", "signal", "place", "bits", "variable")
    return Table(tuple(cells), head, notes=tuple(notes), note_head="says")


def _times(
    stretches: Sequence[Timing],
    programs: Sequence[Input],
    missing: Sequence[str],
    permitted_ms: int | None = None,
    *,
    route: TracedRoute | None = None,
) -> Table:
    shares = [
        (one.connection, f"{one.reaction.known_ms} ms", one.reaction.formula) for one in stretches
    ]
    total = sum(one.reaction.known_ms for one in stretches)
    for one in programs:
        total += one.factor * (one.time_ms or 0)
        known = "not stated" if one.time_ms is None else f"{one.factor * one.time_ms} ms"
        shares.append((one.name.replace("cycle time of", "program of"), known, str(one)))
    rows = list(shares)
    looks = [""] * len(rows)
    if route is not None:
        words = "at least" if missing or not route.complete else "at most"
        late = permitted_ms is not None and total > permitted_ms
        permitted = "not stated" if permitted_ms is None else f"{permitted_ms} ms"
        rows += [(f"the way, {words}", f"{total} ms", ""), ("permitted", permitted, "")]
        looks += ["error" if late else "", ""]
    return Table(tuple(rows), ("share", "time", "formula"), looks=tuple(looks))


def _told(given: TracedRoute | TracedSignal, where: Where) -> Iterator[Block]:
    """Yield what is found, what is allowed, and what was not judged."""
    for one in given.findings:
        yield Paragraph((StyledText(one.severity, one.severity), ": ", *_finding(one)))
    for waived in given.waived:
        reason = f"; allowed in {where(waived.where)}: {waived.reason}"
        yield Paragraph(("allowed: ", *_finding(waived.finding), reason))
    if given.not_judged:
        lines = (
            f"{one.subject}{'' if one.route else f' of {one.connection}'} ({one.reason})"
            for one in given.not_judged
        )
        yield Items(tuple(lines), label="not judged")


def _finding(one: Finding) -> tuple[StyledText | str, ...]:
    scope = f" [{one.connection}]" if one.connection else ""
    return strong(one.rule), f"{scope}: {one.message}"


def _candidate(one: PossibleWay, where: Where) -> str:
    way = one.stretch.lane.direction.name
    signal = one.stretch.sent if one.onward else one.stretch.received
    assert signal is not None
    relation = "may go on as" if one.onward else "may come from"
    return (
        f"{relation} {exact_name(one.stretch)} ({way}): {signal.name} has the variable "
        f"{one.bind} of {one.end} too ({where(signal.where)})"
    )


def json_text(given: Trace) -> str:
    """Return the ways of a signal as one JSON document, ending in a line feed."""
    import json  # deferred: costs start-up time.

    data = {
        "format": FORMAT,
        "plant": given.plant,
        "asked": given.asked,
        "routes": [_route_data(one) for one in given.routes],
        "signal": None
        if given.signal is None
        else {
            "name": given.signal.name,
            "stops": [_stop_data(one) for one in stops_of_signal(given.signal.stretch)],
            "share": _share(given.signal.time),
            **_told_data(given.signal),
        },
        "candidates": [
            {
                "relation": "onward" if one.onward else "before",
                "end": one.end,
                "variable": one.bind,
                "name": exact_name(one.stretch),
                "stops": [_stop_data(stop) for stop in stops_of_signal(one.stretch)],
            }
            for one in given.candidates
        ],
        "caution": CAUTION,
    }
    return json.dumps(data, indent=2, ensure_ascii=True) + "\n"


def _route_data(given: TracedRoute) -> dict[str, Any]:
    route, time = given.followed.route, given.time
    return {
        "name": route.name,
        "path": route.where.path,
        "line": route.where.line,
        "complete": given.complete,
        "breaks": [one.message for one in given.followed.breaks],
        "stops": [_stop_data(one) for one in stops(given.followed)],
        "shares": [_share(one) for one in time.stretches],
        "programs": [picked(one, "name factor time_ms") for one in time.programs],
        **picked(time, "known_ms missing permitted_ms"),
        **_told_data(given),
    }


def _told_data(given: TracedRoute | TracedSignal) -> dict[str, Any]:
    return {
        "findings": [finding_data(one) for one in given.findings],
        "allowed": [waived_data(one) for one in given.waived],
        "not_judged": [picked(one, "connection rule subject reason") for one in given.not_judged],
    }


def _share(time: Timing) -> dict[str, Any]:
    return {
        "connection": time.connection,
        **picked(time.reaction, "known_ms missing source"),
    }


def _stop_data(stop: Stop) -> dict[str, Any]:
    signal, stretch, step = stop.signal, stop.stretch, stop.step
    return {
        "end": stop.name,
        "does": stop.does,
        "connection": None if stretch is None else stretch.lane.connection.name,
        "changes": None
        if step is None
        else {
            **picked(step, "inverts bind out on_loss"),
            "converts": {key: [before, after] for key, before, after in step.converts},
            "codes": {str(before): after for before, after in step.codes},
        },
        "signal": None
        if signal is None
        else {
            "name": signal.name,
            "place": str(signal.at),
            **picked(signal, "width type order"),
            "safe": signal.safe if signal.safe == signal.safe else None,
            **picked(signal, "one_means edge unit scale"),
            "codes": {str(number): name for number, name in signal.codes},
            "valid_by": signal.valid_by,
            "bind": signal.bind,
            "path": signal.where.path,
            "line": signal.where.line,
        },
    }
