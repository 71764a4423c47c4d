"""Rules about the connection itself: who is who, profile, identity, times, parameters."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ..findings import Finding, Rule, Spot
from ..model import Scalar
from ..profiles import ParameterRule, Profile
from .registry import Context, Finder, count, rule, spot

__all__: list[str] = []

_GUID = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", re.ASCII)


def _spots(context: Context, key: str) -> list[Spot]:
    return [Spot(end=end.name, where=end.locate(key)) for end in context.connection.ends]


def _shown(value: Scalar | None) -> str:
    return "not stated" if value is None or value == "" else str(value)


def _both(context: Context, what: str, left: Scalar | None, right: Scalar | None) -> str:
    first, second = context.connection.ends
    return f"{what} is {_shown(left)} at {first.name} and {_shown(right)} at {second.name}"


@rule(
    Rule(
        name="wrong-file",
        severity="error",
        scope="connection",
        title="The two files are not the two ends of one connection",
        why="Two maps can agree bit for bit although one belongs to the sister machine.",
        remedy="check which files belong together",
    )
)
def wrong_file(context: Context, find: Finder) -> Iterator[Finding]:
    """Find two files of one end, or ends that name another peer."""
    first, second = context.connection.ends
    if context.same_end:
        yield find(
            f"both files describe the end {first.name}",
            _spots(context, "end.name"),
            remedy="give one file per end; to compare two versions of one end use diff",
            cause="wrong file",
        )
        return
    for end, other in ((first, second), (second, first)):
        if end.peer and end.peer != other.name:
            yield find(
                f"{end.name} names {end.peer} as its peer, but the other file describes "
                f"{other.name}",
                [
                    Spot(end=end.name, where=end.locate("end.peer")),
                    Spot(end=other.name, where=other.locate("end.name")),
                ],
                cause="wrong file",
            )


@rule(
    Rule(
        name="directions-exchanged",
        severity="error",
        scope="connection",
        title="One end has its two directions exchanged",
        why="One end wrote what it receives under what it sends, usually because it copied the "
        "other end's file.",
        remedy="exchange sends and receives in one of the files",
    )
)
def directions_exchanged(context: Context, find: Finder) -> Iterator[Finding]:
    """Report that the maps fit only with the second end's directions exchanged."""
    if not context.exchanged:
        return
    first, second = context.connection.ends
    # The second end was already turned round for the comparison: its sends are the file's receives.
    same = {s.name for s in first.sends.signals} & {s.name for s in second.receives.signals}
    same |= {s.name for s in first.receives.signals} & {s.name for s in second.sends.signals}
    yield find(
        f"{count(len(same), 'signal')} of {first.name} and {second.name} stand in the same "
        f"direction word at both ends: both say they send, or both say they receive, "
        f"{', '.join(sorted(same)[:4])}{' ...' if len(same) > 4 else ''}",
        _spots(context, "sends"),
        cause="directions exchanged",
    )


@rule(
    Rule(
        name="connection-name-differs",
        severity="warning",
        scope="connection",
        title="The two ends call the connection differently",
        why="With several connections between the same two devices, the name is all that tells "
        "which file belongs to which.",
        remedy="use one name at both ends",
    )
)
def connection_name_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different connection names."""
    first, second = (end.terms.name for end in context.connection.ends)
    if first != second:
        yield find(
            _both(context, "the connection name", first, second), _spots(context, "connection.name")
        )


@rule(
    Rule(
        name="profile-differs",
        severity="error",
        scope="connection",
        title="The two ends use different safety profiles",
        why="Frames of two profiles have nothing in common.",
        remedy="state the profile that both devices really use",
    )
)
def profile_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different profiles."""
    first, second = (end.terms.profile for end in context.connection.ends)
    if first != second:
        yield find(
            _both(context, "the profile", first, second), _spots(context, "connection.profile")
        )


@rule(
    Rule(
        name="edition-differs",
        severity="error",
        scope="connection",
        title="The two ends follow different editions of the profile",
        why="Editions change CRC rules, start values and limits.",
        remedy="state the edition that both devices implement",
    )
)
def edition_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different editions, or an edition the profile's facts do not cover."""
    first, second = (end.terms.edition for end in context.connection.ends)
    if first != second:
        yield find(
            _both(context, "the edition", first, second), _spots(context, "connection.edition")
        )
        return
    profile = context.profile
    if first and profile is not None and profile.editions and first not in profile.editions:
        yield find(
            f"the facts about {profile.title} hold for edition {', '.join(profile.editions)}, "
            f"not for {first}",
            _spots(context, "connection.edition"),
            remedy="state a listed edition, or check legal sizes and limits by hand",
        )


@rule(
    Rule(
        name="unknown-profile",
        severity="error",
        scope="connection",
        title="The profile is not known",
        why="Without the profile nobody knows the legal sizes and limits.",
        remedy="use a listed profile, your own profile file, or plain with legal_octets",
    )
)
def unknown_profile(context: Context, find: Finder) -> Iterator[Finding]:
    """Report a profile name that is neither listed nor handed in."""
    if context.profile is None:
        name = context.connection.first.terms.profile
        yield find(f"no profile is called {name}", _spots(context, "connection.profile"))


@rule(
    Rule(
        name="role-conflict",
        severity="error",
        scope="connection",
        title="The roles of the two ends do not fit",
        why="Two masters wait for answers that nobody gives.",
        remedy="give each end its role",
        source="roles: the sources on the profile's page",
    )
)
def role_conflict(context: Context, find: Finder) -> Iterator[Finding]:
    """Find a role the profile does not know, or one role at both ends."""
    roles = context.profile.roles if context.profile else ()
    for end in context.connection.ends:
        if end.role and roles and end.role not in roles:
            yield find(
                f"the role of {end.name} must be {' or '.join(roles)}, not {end.role}",
                [Spot(end=end.name, where=end.locate("end.role"))],
            )
    first, second = context.connection.ends
    if first.role and first.role == second.role:
        yield find(f"both ends have the role {first.role}", _spots(context, "end.role"))


@rule(
    Rule(
        name="connection-id-missing",
        severity="error",
        scope="connection",
        title="The connection id is zero, missing or out of range",
        why="The id is what keeps a frame of another connection from being accepted.",
        remedy="give the connection its own id",
        source="range: the sources on the profile's page",
    )
)
def connection_id_missing(context: Context, find: Finder) -> Iterator[Finding]:
    """Find ids outside the profile's range, or none at all where the profile has one."""
    limits = context.profile.id_range if context.profile else None
    if limits is None:
        return
    bad = [
        end
        for end in context.connection.ends
        if end.terms.id is None or not limits[0] <= end.terms.id <= limits[1]
    ]
    if bad:
        values = " and ".join(f"{_shown(end.terms.id)} at {end.name}" for end in bad)
        yield find(
            f"the connection id must be {limits[0]}..{limits[1]}, not {values}",
            [Spot(end=end.name, where=end.locate("connection.id")) for end in bad],
        )


@rule(
    Rule(
        name="connection-id-differs",
        severity="error",
        scope="connection",
        title="The two ends have different connection ids",
        why="The connection does not come up - or comes up with the wrong partner.",
        remedy="use one id at both ends",
    )
)
def connection_id_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different connection ids."""
    first, second = (end.terms.id for end in context.connection.ends)
    if first != second and first is not None and second is not None:
        yield find(
            _both(context, "the connection id", first, second), _spots(context, "connection.id")
        )


@rule(
    Rule(
        name="address-range",
        severity="error",
        scope="end",
        title="A safety address is out of range",
        why="The device cannot be set to it, or takes another one.",
        remedy="set an address that the profile allows",
        source="range: the sources on the profile's page",
    )
)
def address_range(context: Context, find: Finder) -> Iterator[Finding]:
    """Find addresses the profile does not allow."""
    limits = context.profile.address_range if context.profile else None
    for end in context.connection.ends:
        if limits and end.address is not None and not limits[0] <= end.address <= limits[1]:
            yield find(
                f"the address of {end.name} must be {limits[0]}..{limits[1]}, not {end.address}",
                [Spot(end=end.name, where=end.locate("end.address"))],
            )


@rule(
    Rule(
        name="watchdog-differs",
        severity="error",
        scope="connection",
        title="The two ends have different watchdog times",
        why="The reaction time of the safety function is calculated with one of them.",
        remedy="use one watchdog time at both ends",
    )
)
def watchdog_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different watchdog times."""
    first, second = (end.terms.watchdog_ms for end in context.connection.ends)
    if first != second:
        yield find(
            _both(context, "the watchdog time in ms", first, second),
            _spots(context, "connection.watchdog_ms"),
        )


@rule(
    Rule(
        name="watchdog-too-short",
        severity="error",
        scope="end",
        title="The watchdog is zero, out of range, or not longer than the exchange",
        why="A watchdog shorter than one exchange trips in normal operation; people then set it "
        "far too long.",
        remedy="set a watchdog longer than the exchange and not above the permitted reaction time",
        source="range: the sources on the profile's page; longer than the exchange: common "
        "practice",
    )
)
def watchdog_too_short(context: Context, find: Finder) -> Iterator[Finding]:
    """Find watchdog times that cannot work."""
    limits = context.profile.watchdog_range_ms if context.profile else None
    merged: dict[str, list[Spot]] = {}
    for end in context.connection.ends:
        watchdog, exchange = end.terms.watchdog_ms, end.terms.exchange_ms
        if watchdog is None:
            continue
        where = Spot(end=end.name, where=end.locate("connection.watchdog_ms"))
        if limits and not limits[0] <= watchdog <= limits[1]:
            message = f"the watchdog must be {limits[0]}..{limits[1]} ms, not {watchdog}"
            merged.setdefault(message, []).append(where)
        elif exchange is not None and watchdog <= exchange:
            message = (
                f"the watchdog of {watchdog} ms must be longer than the exchange of {exchange} ms"
            )
            merged.setdefault(message, []).append(where)
    for message, spots in merged.items():
        yield find(message, spots)


@rule(
    Rule(
        name="parameter-differs",
        severity="error",
        scope="connection",
        title="The two ends disagree about a parameter of the connection",
        why="Both ends derive times, ids or start values from it.",
        remedy="use one value at both ends",
    )
)
def parameter_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find parameters both ends state with different values, and unequal general terms."""
    first, second = context.connection.ends
    for key, what in (
        ("exchange_ms", "the exchange time in ms"),
        ("network", "the network"),
        ("legal_octets", "the list of legal sizes"),
    ):
        left, right = getattr(first.terms, key), getattr(second.terms, key)
        if left != right:
            if isinstance(left, tuple):
                left, right = (", ".join(map(str, sizes)) for sizes in (left, right))
            yield find(_both(context, what, left, right), _spots(context, f"connection.{key}"))
    own = _own_parameters(context.profile)
    others = dict(second.parameters)
    for key, value in first.parameters:
        if key in others and key not in own and not _same(value, others[key]):
            yield find(
                _both(context, f"the parameter {key}", value, others[key]),
                _spots(context, f"parameters.{key}"),
            )


def _same(left: Scalar, right: Scalar) -> bool:
    return type(left) is type(right) and left == right


def _own_parameters(profile: Profile | None) -> set[str]:
    """Return the parameters that each end has for itself."""
    return {entry.name for entry in profile.parameters if not entry.shared} if profile else set()


@rule(
    Rule(
        name="parameter-invalid",
        severity="error",
        scope="end",
        title="A parameter is unknown to the profile, missing, or has an impossible value",
        why="A device that gets the value refuses it or takes a default.",
        remedy="see the parameter table on the profile's page",
        source="ranges: the sources on the profile's page",
    )
)
def parameter_invalid(context: Context, find: Finder) -> Iterator[Finding]:
    """Find parameters that the profile does not list, or whose value it does not allow."""
    profile = context.profile
    if profile is None or profile.sizes.from_map:
        return  # A profile that leaves its sizes to the map lists no parameters either.
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
                text = f"the parameter {key} of {end.name} must be {problem}, not {value}"
            yield find(text, [Spot(end=end.name, where=end.locate(f"parameters.{key}"))])
        stated = dict(end.parameters)
        for entry in profile.parameters:
            applies = not entry.roles or end.role in entry.roles
            if entry.required and applies and entry.name not in stated:
                yield find(
                    f"the parameter {entry.name} of {end.name} is missing",
                    [Spot(end=end.name, where=end.locate("parameters"))],
                )


_PARAMETER_TYPES = {"int": int, "text": str, "guid": str, "bool": bool}


def _problem(entry: ParameterRule, value: Scalar) -> str:
    """Return what a parameter's value must be, empty where it is right."""
    if type(value) is not _PARAMETER_TYPES[entry.type]:
        return f"of type {entry.type}"
    if value == entry.unset and entry.required:
        return f"configured ({entry.unset} means not configured)"
    if entry.choices and value not in entry.choices:
        return f"one of {', '.join(map(str, entry.choices))}"
    if isinstance(value, int) and (
        (entry.minimum is not None and value < entry.minimum)
        or (entry.maximum is not None and value > entry.maximum)
    ):
        return f"{entry.minimum}..{entry.maximum}"
    if entry.type == "guid" and _GUID.fullmatch(str(value)) is None:
        return "a GUID such as 72962b91-fa75-4ae6-8d28-b404dc7daf63"
    return ""


@rule(
    Rule(
        name="one-way",
        severity="error",
        scope="connection",
        title="Signals travel in a direction that carries no safety data",
        why="The profile sends safety data from one end only; what the other end declares as sent "
        "never leaves it.",
        remedy="declare the other direction on a connection of its own",
        source="direction of the data: the sources on the profile's page",
    )
)
def one_way(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals of the end that sends no safety data in a one-way profile."""
    profile = context.profile
    if profile is None or not profile.one_way:
        return
    for view in context.views:
        producer = view.direction.producer
        if not profile.data_role or producer.role in ("", profile.data_role):
            continue
        signals = [(end, signal) for end, map_ in view.sides for signal in map_.signals]
        if signals:
            names = dict.fromkeys(signal.name for _, signal in signals)
            yield find(
                f"{profile.title} carries safety data from the {profile.data_role} only, but "
                f"{producer.name} ({producer.role}) sends {', '.join(names)}",
                [spot(end, signal) for end, signal in signals],
                direction=view.direction.name,
            )
