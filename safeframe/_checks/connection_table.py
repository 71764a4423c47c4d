"""Rules about the connection itself: who is who, profile, identity, times, parameters."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from .._canonical import alike, form
from .._findings import Finding, Spot
from .._model import End, Scalar
from .._value import replace
from .phrases import code_points
from .registry import Context, Finder, count, rule
from .remedies import Remedy, end_changed

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


def spots(context: Context, key: str) -> list[Spot]:
    """Return where a key stands at both ends."""
    return [Spot(end=end.name, where=end.locate(key)) for end in context.connection.ends]


def shown_id(number: int) -> str:
    """Return a connection id as both of the tools that people compare it with may show it."""
    return f"{number} (0x{number:04X})"


def shown(value: Scalar | None) -> str:
    """Return a value as a map file writes it, but for quotes."""
    if isinstance(value, bool):
        return str(value).lower()
    return "not stated" if value is None or value == "" else str(value)


def both(context: Context, what: str, left: Scalar | None, right: Scalar | None) -> str:
    """Return a sentence that shows a value at both ends."""
    first, second = context.connection.ends
    told = f"{what} is {shown(left)} at {first.name} and {shown(right)} at {second.name}"
    return told + code_points(left or "", right or "")


def stated_alike(
    context: Context, what: str, key: str, show: Callable[[Any], str] = shown
) -> Iterator[Remedy]:
    """Yield the two ways to state a key of the connection, or a parameter, alike at both ends.

    What one end does not state is not offered: nobody means to leave it out at both.
    """
    first, second = context.connection.ends
    for end, other in ((second, first), (first, second)):
        value = _value(other, key)
        if value not in (None, "", ()):
            text = f"state {what} {show(value)} at {end.name}, as at {other.name}"
            yield Remedy(text, end_changed(end.name, partial(_with, key=key, value=value)))


def unlike(
    context: Context,
    find: Finder,
    what: str,
    key: str,
    values: Sequence[Any],
    show: Callable[[Any], str] = shown,
    *,
    culprits: Sequence[tuple[str, str]] = (),
) -> Finding:
    """Return the finding about a key with a value at each end, and the ways to state it alike."""
    left, right = (None if value is None else show(value) for value in values)
    return find(
        both(context, what, left, right),
        spots(context, key),
        culprits=culprits,
        remedies=stated_alike(context, what, key, show),
    )


def _value(end: End, key: str) -> Any:
    table, _, name = key.partition(".")
    return (
        getattr(end.connection_table, name)
        if table == "connection"
        else dict(end.parameters).get(name)
    )


def _with(end: End, *, key: str, value: Any) -> End:
    table, _, field = key.partition(".")
    if table == "connection":
        changed: Any = {field: value}
        return replace(end, connection_table=replace(end.connection_table, **changed))
    return replace(end, parameters=tuple(sorted({**dict(end.parameters), field: value}.items())))


@rule(
    name="wrong-file",
    severity="error",
    scope="connection",
    title="The two files are not the two ends of one connection",
    why="Two maps can agree bit for bit although one belongs to the sister machine. Nothing "
    "else is judged between such files, so this finding can neither be allowed nor be known "
    "to a baseline.",
    remedy="check which files belong together",
)
def wrong_file(context: Context, find: Finder) -> Iterator[Finding]:
    """Find two files of one end, or ends that name another peer."""
    # It stands for all findings that nobody looks for between such files.
    yield from (replace(found, unlisted=None) for found in _wrong_files(context, find))


def _wrong_files(context: Context, find: Finder) -> Iterator[Finding]:
    first, second = context.connection.ends
    if first.name == second.name:
        yield find(
            f"both files describe the end {first.name}",
            spots(context, "end.name"),
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
    name="directions-exchanged",
    severity="error",
    scope="connection",
    title="One end has its two directions exchanged",
    why="One end wrote what it receives under what it sends, usually because it copied the "
    "other end's file.",
    remedy="exchange sends and receives in one of the files",
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
        spots(context, "sends"),
        cause="directions exchanged",
    )


@rule(
    name="connection-name-differs",
    severity="warning",
    scope="connection",
    title="The two ends call the connection differently",
    why="With several connections between the same two devices, the name is all that tells "
    "which file belongs to which.",
    remedy="find out which name is right, then use it at both ends",
)
def connection_name_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different connection names."""
    names = [end.connection_table.name for end in context.connection.ends]
    if names[0] != names[1]:
        yield unlike(context, find, "the connection name", "connection.name", names)


@rule(
    name="profile-differs",
    severity="error",
    scope="connection",
    title="The two ends use different safety profiles",
    why="Frames of two profiles have nothing in common.",
    remedy="state the profile that both devices really use",
)
def profile_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different profiles."""
    first, second = (end.connection_table.profile for end in context.connection.ends)
    if first != second:
        yield find(
            both(context, "the profile", first, second), spots(context, "connection.profile")
        )


@rule(
    name="edition-differs",
    severity="error",
    scope="connection",
    title="The two ends follow different editions of the profile",
    why="Editions change CRC rules, start values and limits.",
    remedy="state the edition that both devices implement",
)
def edition_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different editions, or an edition the profile's facts do not cover."""
    one, two = (end.connection_table for end in context.connection.ends)
    first, second = one.edition, two.edition
    if not alike(one, two, "edition"):
        yield find(
            both(context, "the edition", first, second), spots(context, "connection.edition")
        )
        return
    profile = context.profile
    stated = form(one, "edition")
    if stated and profile is not None and profile.editions and stated not in profile.editions:
        yield find(
            f"the facts about {profile.title} hold for edition {', '.join(profile.editions)}, "
            f"not for {stated}",
            spots(context, "connection.edition"),
            remedy="state a listed edition, or check legal sizes and limits by hand",
        )


@rule(
    name="unknown-profile",
    severity="error",
    scope="connection",
    title="The profile is not known",
    why="Without the profile nobody knows the legal sizes and limits.",
    remedy="use a listed profile, your own profile file, or plain with legal_octets",
)
def unknown_profile(context: Context, find: Finder) -> Iterator[Finding]:
    """Report a profile name that is neither listed nor handed in."""
    name, other = (end.connection_table.profile for end in context.connection.ends)
    if context.profile is None and name == other:
        yield find(f"no profile is called {name}", spots(context, "connection.profile"))


@rule(
    name="role-conflict",
    severity="error",
    scope="connection",
    title="The roles of the two ends do not fit",
    why="Two masters wait for answers that nobody gives.",
    remedy="give each end its role",
    source="roles: the sources on the profile's page",
)
def role_conflict(context: Context, find: Finder) -> Iterator[Finding]:
    """Find a role the profile does not know, or one role at both ends."""
    roles = context.profile.roles if context.profile else ()
    for end in context.connection.ends:
        if end.role and roles and form(end, "role") not in roles:
            yield find(
                f"the role of {end.name} must be {' or '.join(roles)}, not {end.role}",
                [Spot(end=end.name, where=end.locate("end.role"))],
            )
    first, second = context.connection.ends
    role = form(first, "role")
    if role and alike(first, second, "role") and (not roles or role in roles):
        yield find(
            f"both ends have the role {first.role}",
            spots(context, "end.role"),
            remedies=_other_role(context, [other for other in roles if other != role]),
        )


def _other_role(context: Context, roles: list[str]) -> Iterator[Remedy]:
    """Yield the two ways to tell both ends apart, where there is one role more."""
    for end in context.connection.ends if len(roles) == 1 else ():
        text = f"give {end.name} the role {roles[0]}"
        yield Remedy(text, end_changed(end.name, lambda one: replace(one, role=roles[0])))


@rule(
    name="connection-id-missing",
    severity="error",
    scope="connection",
    title="The connection id is zero, missing or out of range",
    why="The id is what keeps a frame of another connection from being accepted.",
    remedy="give the connection its own id",
    source="range: the sources on the profile's page",
)
def connection_id_missing(context: Context, find: Finder) -> Iterator[Finding]:
    """Find ids outside the profile's range, or none at all where the profile has one."""
    limits = context.profile.id_range if context.profile else None
    if limits is None:
        return
    bad = [
        end
        for end in context.connection.ends
        if end.connection_table.id is None or not limits[0] <= end.connection_table.id <= limits[1]
    ]
    if bad:
        values = " and ".join(
            f"{end.name} states {'none' if number is None else shown_id(number)}"
            for end in bad
            for number in (end.connection_table.id,)
        )
        yield find(
            f"the connection id must be {limits[0]}..{limits[1]}, but {values}",
            [Spot(end=end.name, where=end.locate("connection.id")) for end in bad],
        )


@rule(
    name="connection-id-differs",
    severity="error",
    scope="connection",
    title="The two ends have different connection ids",
    why="The connection does not come up - or comes up with the wrong partner.",
    remedy="find out which id is right, then use it at both ends",
)
def connection_id_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find different connection ids, and one that only one end states."""
    first, second = (end.connection_table.id for end in context.connection.ends)
    missing = first is None or second is None
    # Where the profile knows ids, a missing one is that rule's finding.
    if first != second and not (missing and context.profile and context.profile.id_range):
        ids = first, second
        yield unlike(context, find, "the connection id", "connection.id", ids, shown_id)


@rule(
    name="address-range",
    severity="error",
    scope="end",
    title="A safety address is out of range",
    why="The device cannot be set to it, or takes another one.",
    remedy="set an address that the profile allows",
    source="range: the sources on the profile's page",
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
