"""Rules about times and parameters: watchdog, exchange, the profile's parameters, its direction."""

from __future__ import annotations

import re
from collections.abc import Iterator

from .._canonical import Parameter, alike, form, shared_parameters
from .._findings import Finding, Spot
from .._model import Reserved, Scalar, Signal
from ..protocols import ParameterRule, Profile
from .connection_table import shown, spots, unlike
from .registry import Context, Finder, rule, spot

# Compiled by the first use: few maps state such parameters.
_GUID = r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}"
_OCTETS = r"(?:\s*[0-9a-fA-F]{2})*\s*"


@rule(
    name="watchdog-differs",
    severity="error",
    scope="connection",
    title="The two ends have different watchdog times",
    why="The reaction time of the safety function is calculated with one of them.",
    remedy="find out which watchdog time is right, then state it at both ends",
)
def watchdog_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different watchdog times."""
    times = [end.connection_table.watchdog_ms for end in context.connection.ends]
    if times[0] != times[1]:
        yield unlike(context, find, "the watchdog time in ms", "connection.watchdog_ms", times)


@rule(
    name="watchdog-too-short",
    severity="error",
    scope="end",
    title="The watchdog is zero, out of range, or not longer than the exchange, or that is 0",
    why="A watchdog shorter than one exchange trips in normal operation; people then set it "
    "far too long.",
    remedy="set a watchdog longer than the exchange and not above the permitted reaction time",
    source="range: the sources on the profile's page; longer than the exchange: common practice",
)
def watchdog_too_short(context: Context, find: Finder) -> Iterator[Finding]:
    """Find watchdog times that cannot work."""
    limits = context.profile.watchdog_range_ms if context.profile else None
    merged: dict[str, list[Spot]] = {}
    ends = context.connection.ends
    for end, peer in (ends, ends[::-1]):
        watchdog, exchange = end.connection_table.watchdog_ms, end.connection_table.exchange_ms
        if exchange == 0:
            message = "the exchange must be longer than 0 ms: within 0 ms no frame comes"
            where = Spot(end=end.name, where=end.locate("connection.exchange_ms"))
            merged.setdefault(message, []).append(where)
        if watchdog is None:
            continue
        if exchange is None:  # It is one of the connection: what the other end states holds here.
            exchange = peer.connection_table.exchange_ms
        where = Spot(end=end.name, where=end.locate("connection.watchdog_ms"))
        if limits and not limits[0] <= watchdog <= limits[1]:
            message = f"the watchdog must be {limits[0]}..{limits[1]} ms, not {watchdog}"
            merged.setdefault(message, []).append(where)
        elif not watchdog:
            message = "the watchdog must be longer than 0 ms: with 0 it trips at once, or never"
            merged.setdefault(message, []).append(where)
        elif exchange is not None and watchdog <= exchange:
            message = (
                f"the watchdog of {watchdog} ms must be longer than the exchange of {exchange} ms"
            )
            merged.setdefault(message, []).append(where)
    for message, culprits in merged.items():
        yield find(message, culprits)


@rule(
    name="watchdog-too-long",
    severity="error",
    scope="connection",
    title="The connection takes longer than the safety function permits",
    why="The machine moves on for as long as the watchdog waits: the distance to the danger "
    "was calculated with less.",
    remedy="set a shorter watchdog, or calculate the safety function anew",
    source="the formula and its source are in the finding; `safeframe timing` shows the inputs",
)
def watchdog_too_long(context: Context, find: Finder) -> Iterator[Finding]:
    """Find reaction times above the permitted one, as far as the map states the inputs."""
    if all(end.connection_table.permitted_reaction_ms is None for end in context.connection.ends):
        return
    from .._timing import timing  # deferred: few maps state a permitted reaction time.

    times = timing(context.connection, context.profile)
    if times.margin_ms is not None and times.margin_ms < 0:
        at_least = "at least " if times.reaction.missing else ""
        yield find(
            f"the reaction time is {at_least}{times.reaction.known_ms} ms = "
            f"{times.reaction.formula}, {-times.margin_ms} ms more than the permitted "
            f"{times.permitted_ms} ms ({times.reaction.source})",
            spots(context, "connection.watchdog_ms"),
        )


@rule(
    name="parameter-differs",
    severity="error",
    scope="connection",
    title="The two ends disagree about a parameter of the connection",
    why="Both ends derive times, ids or start values from it: where it differs, or one end "
    "does not state it, no frame is accepted.",
    remedy="find out which value is right, then state it at both ends",
    source='"same at both ends" in the table of parameters on the profile\'s page; the same is '
    "assumed of a parameter that no profile lists",
)
def parameter_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find shared parameters that differ or that one end leaves out, and unequal general terms."""
    first, second = context.connection.ends
    tables = first.connection_table, second.connection_table
    for key, what in (
        ("exchange_ms", "the exchange time in ms"),
        ("permitted_reaction_ms", "the permitted reaction time in ms"),
        ("network", "the network"),
        ("legal_octets", "the list of legal sizes"),
    ):
        if not alike(*tables, key):
            values = [getattr(table, key) for table in tables]
            where = f"connection.{key}"
            yield unlike(context, find, what, where, values, _sizes, culprits=[("", where)])
    for name, one, two in _unequal(context):
        values = [found.value if found else None for found in (one, two)]
        what, where = f"the parameter {name}", f"parameters.{name}"
        yield unlike(context, find, what, where, values, culprits=[("", where)])


def _sizes(value: Scalar | tuple[int, ...]) -> str:
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


_Unequal = tuple[str, Parameter | None, Parameter | None]


def _unequal(context: Context) -> Iterator[_Unequal]:
    """Yield the shared parameters that the ends state differently, or one of them not at all."""
    profile = context.profile
    # Both ends are read by one profile: that they name two is another rule's finding.
    tables = (
        {}
        if profile is None
        else {end.connection_table.profile: profile for end in context.connection.ends}
    )
    ours, theirs = (shared_parameters(end, tables) for end in context.connection.ends)
    rules = {rule.name: rule for rule in profile.parameters} if profile else {}
    for name in sorted(ours.keys() | theirs.keys()):
        one, two = ours.get(name), theirs.get(name)
        if one and two:
            if one.form != two.form:
                yield name, one, two
            continue
        if not tables:
            continue  # Of two profiles, or of one that nobody knows: that is the cause, and told.
        rule = rules.get(name)
        told = rule.required if rule else profile is not None and _lists(profile)
        if not told:  # Missing though required, or unknown: parameter-invalid says so.
            yield name, one, two


@rule(
    name="parameter-invalid",
    severity="error",
    scope="end",
    title="A parameter is unknown to the profile, missing, or has an impossible value",
    why="A device that gets the value refuses it or takes a default.",
    remedy="see the parameter table on the profile's page",
    source="ranges: the sources on the profile's page",
)
def parameter_invalid(context: Context, find: Finder) -> Iterator[Finding]:
    """Find parameters that the profile does not list, or whose value it does not allow."""
    profile = context.profile
    if profile is None or not _lists(profile):
        return
    known = {entry.name: entry for entry in profile.parameters}
    for end in context.connection.ends:
        for key, value in end.parameters:
            if key not in known:
                names = ", ".join(sorted(known)) or "(none)"
                text = f"a parameter of {end.name} must be one of {names}, not {key}"
            else:
                problem = _problem(known[key], value)
                if not problem:
                    continue
                given = "empty" if value == "" else shown(value)
                text = f"the parameter {key} of {end.name} must be {problem}, not {given}"
            yield find(
                text,
                [Spot(end=end.name, where=end.locate(f"parameters.{key}"))],
                culprits=[("", f"parameters.{key}")],
            )
        stated = dict(end.parameters)
        for entry in profile.parameters:
            applies = not entry.roles or form(end, "role") in entry.roles
            if entry.required and applies and entry.name not in stated:
                yield find(
                    f"the parameter {entry.name} of {end.name} is missing",
                    [Spot(end=end.name, where=end.locate("parameters"))],
                    culprits=[("", f"parameters.{entry.name}")],
                )


def _lists(profile: Profile) -> bool:
    """Tell whether a profile says which parameters there are: one of plain data says nothing."""
    return bool(profile.parameters) or not profile.sizes.from_map


_PARAMETER_TYPES = {"int": int, "text": str, "guid": str, "hex": str, "bool": bool}


def _problem(entry: ParameterRule, value: Scalar) -> str:
    """Return what a parameter's value must be, empty where it is right."""
    if type(value) is not _PARAMETER_TYPES[entry.type]:
        return f"of type {entry.type}"
    if value == entry.unset and entry.required:
        return f"configured ({entry.unset} means not configured)"
    if entry.choices and value not in entry.choices:
        return f"one of {', '.join(map(str, entry.choices))}"
    if isinstance(value, int) and _is_outside(entry, value):
        return _range_text(entry)
    if entry.type == "guid" and re.fullmatch(_GUID, str(value), re.ASCII) is None:
        return "a GUID such as 72962b91-fa75-4ae6-8d28-b404dc7daf63"
    if entry.type == "hex" and re.fullmatch(_OCTETS, str(value), re.ASCII) is None:
        return "octets of two hexadecimal digits each, such as 00 1A"
    if entry.type == "hex" and _is_outside(entry, len("".join(str(value).split())) // 2):
        return f"{_range_text(entry)} octets"
    return ""


def _range_text(entry: ParameterRule) -> str:
    least, most = entry.minimum, entry.maximum
    if most is None:
        return f"{least} or more"
    return f"{most}" if least == most else f"{'at most ' if least is None else f'{least}..'}{most}"


def _is_outside(entry: ParameterRule, number: int) -> bool:
    return (entry.minimum is not None and number < entry.minimum) or (
        entry.maximum is not None and number > entry.maximum
    )


@rule(
    name="above-tested-size",
    severity="warning",
    scope="connection",
    title="Data or parameters are larger than any that the published tests use",
    why="The protocol allows the size, but no conformance test has shown that a device takes "
    "it: it may refuse it at start-up, or cut it.",
    remedy="ask both manufacturers for a test with this size, or stay below it",
    source="the document and table in the finding",
)
def above_tested_size(context: Context, find: Finder) -> Iterator[Finding]:
    """Find data and parameters above the largest size of a published test."""
    for most in context.profile.tested if context.profile else ():
        limit = f"the conformance tests use up to {most.octets} ({most.stated_in})"
        if most.what == "data":
            for view in context.views:
                large = [(end, map_) for end, map_ in view.sides if map_.size_octets > most.octets]
                if large:
                    octets = max(map_.size_octets for _, map_ in large)
                    yield find(
                        f"the safety data are {octets} octets long; {limit}",
                        [spot(end, max(map_.entries, key=_end_of)) for end, map_ in large],
                        direction=view.direction,
                    )
            continue
        sizes = {
            end.name: len("".join(str(value).split())) // 2
            for end in context.connection.ends
            for name, value in end.parameters
            if name == most.what
        }
        if max(sizes.values(), default=0) > most.octets:
            yield find(
                f"the parameter {most.what} has {max(sizes.values())} octets; {limit}",
                [
                    Spot(end=end.name, where=end.locate(f"parameters.{most.what}"))
                    for end in context.connection.ends
                    if sizes.get(end.name, 0) > most.octets
                ],
                culprits=[("", f"parameters.{most.what}")],
            )


def _end_of(entry: Signal | Reserved) -> int:
    return entry.end


@rule(
    name="one-way",
    severity="error",
    scope="connection",
    title="Signals travel in a direction that carries no safety data",
    why="The profile sends safety data from one end only; what the other end declares as sent "
    "never leaves it.",
    remedy="declare the other direction on a connection of its own",
    source="direction of the data: the sources on the profile's page",
)
def one_way(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals of the end that sends no safety data in a one-way profile."""
    profile = context.profile
    if profile is None or not profile.one_way or context.exchanged:
        return  # Which of the two ends is exchanged is asked first.
    roles = [form(end, "role") for end in context.connection.ends]
    # A role that nobody knows, or that both ends have, says nothing: that it is wrong is told.
    known = roles[0] != roles[1] and all(role in ("", *profile.roles) for role in roles)
    sending = []
    for view in context.views:
        producer = view.direction.producer
        if view.direction.sent.signals:
            sending.append(producer)
        if not (known and profile.data_role) or form(producer, "role") in ("", profile.data_role):
            continue
        signals = [(end, signal) for end, map_ in view.sides for signal in map_.signals]
        if signals:
            names = dict.fromkeys(signal.name for _, signal in signals)
            yield find(
                f"{profile.title} carries safety data from the {profile.data_role} only, but "
                f"{producer.name} ({producer.role}) sends {', '.join(names)}",
                [spot(end, signal) for end, signal in signals],
                direction=view.direction,
            )
            return
    if len(sending) > 1:  # No role says which of the two directions is the wrong one.
        yield find(
            f"{profile.title} carries safety data in one direction, but "
            f"{sending[0].name} and {sending[1].name} both send signals",
            [spot(end, end.sends.signals[0]) for end in sending],
        )
