"""Which rules could not judge a connection, because the maps leave out what they need."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from .._canonical import form
from .._findings import NotJudged
from .._model import Connection, Plant
from .._words import count, listed
from ..protocols import Profile

_Lacks = Callable[[Connection, Profile | None], bool]


def _no_profile(connection: Connection, profile: Profile | None) -> bool:
    return profile is None


def _nowhere(field: str) -> _Lacks:
    def lacks(connection: Connection, profile: Profile | None) -> bool:
        return all(getattr(end.connection_table, field) is None for end in connection.ends)

    return lacks


def _no_sizes(connection: Connection, profile: Profile | None) -> bool:
    from_map = profile is not None and profile.sizes.from_map
    return from_map and not any(end.connection_table.legal_octets for end in connection.ends)


def _no_edition(connection: Connection, profile: Profile | None) -> bool:
    listed = profile is not None and bool(profile.editions)
    return listed and not any(end.connection_table.edition for end in connection.ends)


def _any_edition(connection: Connection, profile: Profile | None) -> bool:
    stated = {form(end.connection_table, "edition") for end in connection.ends} - {""}
    return profile is not None and not profile.editions and len(stated) == 1


def _no_address(connection: Connection, profile: Profile | None) -> bool:
    return all(end.address is None for end in connection.ends)


def _open_reaction(connection: Connection, profile: Profile | None) -> bool:
    from .._timing import timing  # deferred: few maps state a permitted reaction time.

    return timing(connection, profile).is_open


def _no_relation(connection: Connection, profile: Profile | None) -> bool:
    return not any(end.relations for end in connection.ends)


def _two_profiles(connection: Connection, profile: Profile | None) -> bool:
    return connection.first.connection_table.profile != connection.second.connection_table.profile


_TWO = (_two_profiles, "the ends name two profiles")
_PROFILE = (_no_profile, "the profile is not known")
_BY_PROFILE = (
    "what a profile asks of sizes, types, values on loss, roles, editions, ids, addresses, "
    "watchdogs and parameters"
)
"""What stays open without a profile; said once, though many rules have nothing to judge."""
_WATCHDOG = (_nowhere("watchdog_ms"), "no end states watchdog_ms")
_RELATION = (_no_relation, "no end states a relation")
_NEEDS: tuple[tuple[str, _Lacks, str, str], ...] = (
    *(
        (rule, *lack, _BY_PROFILE if rule == "illegal-size" else "")
        for rule in (
            *("above-tested-size", "address-range", "connection-id-missing", "edition-differs"),
            *("illegal-size", "member-type", "nonzero-safe-value", "one-way"),
            *("parameter-contradicts", "parameter-invalid", "parameters-do-not-fit"),
            *("role-conflict", "value-across-blocks"),
        )
        for lack in (_TWO, _PROFILE)
    ),
    ("illegal-size", _no_sizes, "no end states legal_octets", "legal sizes"),
    ("edition-differs", _no_edition, "no end states an edition", "edition"),
    ("edition-differs", _any_edition, "the profile lists no edition", "edition"),
    ("address-range", _no_address, "no end states an address", ""),
    ("watchdog-differs", *_WATCHDOG, ""),
    ("watchdog-too-short", *_WATCHDOG, "watchdog"),
    (
        "watchdog-too-short",
        _nowhere("exchange_ms"),
        "no end states exchange_ms",
        "watchdog against exchange",
    ),
    ("watchdog-too-short", *_TWO, ""),
    ("watchdog-too-short", *_PROFILE, ""),
    (
        "watchdog-too-long",
        _nowhere("permitted_reaction_ms"),
        "no end states permitted_reaction_ms",
        "",
    ),
    (
        "watchdog-too-long",
        _open_reaction,
        "the times stated do not bound the reaction time, as safeframe timing shows",
        "reaction time",
    ),
    ("relation-contradicts", *_RELATION, ""),
    ("relation-unknown-signal", *_RELATION, ""),
    ("relations-differ", *_RELATION, ""),
    ("safe-state-forbidden", *_RELATION, ""),
)
"""Rule, what it lacks, how that reads, what stays open where a clean verdict seems to cover it.

Most connections need no relation.
"""


def _unstated(connection: Connection, profile: Profile) -> list[str]:
    """Return the parameters that both ends must share and neither of them states."""
    stated = {name for end in connection.ends for name, _ in end.parameters}
    roles = {form(end, "role") for end in connection.ends}
    return [
        rule.name
        for rule in profile.parameters
        if rule.shared
        and not rule.required
        and rule.name not in stated
        and (not rule.roles or roles.intersection(rule.roles))
    ]


def _of_no_role(connection: Connection, profile: Profile) -> Iterator[NotJudged]:
    """Yield what hangs on roles, where an end does not state which one it has."""
    ends = sorted(end.name for end in connection.ends if not form(end, "role"))
    asked = [rule.name for rule in profile.parameters if rule.required and rule.roles]
    open_ = {
        "role-conflict": "roles" * bool(profile.roles),
        "one-way": f"who carries data, the {profile.data_role} only" * bool(profile.data_role),
        "parameter-invalid": f"{', '.join(asked)} of one role" * bool(asked),
    }
    reason = f"{' and '.join(ends)} {'states' if len(ends) == 1 else 'state'} no role"
    for rule, subject in open_.items():
        if ends and subject:
            yield NotJudged(connection.name, rule, reason, subject)


_OF_PROFILE = (
    ("id_range", "connection-id-missing"),
    ("address_range", "address-range"),
    ("watchdog_range_ms", "watchdog-too-short"),
    ("roles", "role-conflict"),
    ("block_octets", "value-across-blocks"),
    ("member_types", "member-type"),
    ("parameters", "parameter-invalid"),
    ("fail_safe", "nonzero-safe-value"),
    ("one_way", "one-way"),
    ("tested", "above-tested-size"),
)
"""Keys of a profile, each with the rule that judges nothing by a profile without it."""


def _left_out(profile: Profile) -> dict[str, str]:
    """Return the keys that a profile leaves out, with the rules that judge nothing by it."""
    known = {"parameters"} if profile.sizes.ranges else set()  # Then every parameter is strange.
    asked = set(profile.left_out) - known
    found = {key: rule for key, rule in _OF_PROFILE if key in asked}
    for key in profile.left_out:
        if key.startswith("parameters."):
            found[key] = "parameter-differs" if key.endswith(".shared") else "parameter-invalid"
    return found


def unjudged(
    connection: Connection, profile: Profile | None, *, own: bool = False
) -> tuple[NotJudged, ...]:
    """Return the rules that had nothing to judge, with the first reason for each.

    What a listed profile leaves out its protocol does not have, as its page says. Of the user's
    ``own`` one nobody knows.
    """
    found: dict[str, NotJudged] = {}
    for rule, lacks, reason, subject in _NEEDS:
        if rule not in found and lacks(connection, profile):
            found[rule] = NotJudged(
                connection=connection.name, rule=rule, reason=reason, subject=subject
            )
    if profile is not None and (names := _unstated(connection, profile)):
        found.setdefault(
            "parameter-differs",
            NotJudged(
                connection=connection.name,
                rule="parameter-differs",
                reason=f"no end states {'it' if len(names) == 1 else 'them'}",
                subject=f"{', '.join(names)} at both ends",
            ),
        )
    for entry in _of_no_role(connection, profile) if profile is not None else ():
        found.setdefault(entry.rule, entry)
    lacking = _left_out(profile) if own and profile is not None else {}
    subjects = [", ".join(lacking), *("" for _ in lacking)]
    return (
        *found.values(),
        *(
            NotJudged(connection.name, rule, "not in the profile", subject)
            for rule, subject in zip(lacking.values(), subjects, strict=False)
        ),
    )


def no_routes(connections: Iterable[Connection], why: str) -> str:
    """Say that nobody follows signals through ends of several connections; empty without any.

    ``why`` tells where routes would be declared.
    """
    seen: dict[str, set[tuple[str, ...]]] = {}
    for one in connections:
        # One pair may be given twice; not every one comes from a file.
        pair = one.name, *sorted(f"{end.name} {end.where.path}" for end in one.ends)
        for end in one.ends:
            seen.setdefault(end.name, set()).add(pair)
    shared = sorted(name for name, found in seen.items() if len(found) > 1)
    if not shared:
        return ""
    return f"signals that cross several connections, through {listed(shared)}: {why}"


def not_looked_at(connections: Sequence[Connection], plants: Sequence[Plant]) -> Iterator[str]:
    """Say what a plant file would tell, or does tell and only its gate looks at."""
    inside = {id(connection) for plant_ in plants for connection in plant_.connections}
    outside = [connection for connection in connections if id(connection) not in inside]
    bare = [(outside, "no plant file declares routes")]
    bare += (
        (list(plant_.connections), f"{plant_.where.path} declares no routes")
        for plant_ in plants
        if not plant_.routes
    )
    yield from filter(None, (no_routes(*given) for given in bare))
    records: dict[str, list[bool]] = {}
    for connection in connections:
        if connection.installed:
            records.setdefault(connection.entry.path, []).append(bool(connection.record))
    if not records:
        return
    import shlex  # deferred: few checks are of a plant.

    for path, named in records.items():
        number = sum(named)
        left = len(named) - number
        more = f"; {count(left, 'connection')} of it without any" if left and number else ""
        yield (
            f"whether {count(number, 'record')} of {path} {'is' if number == 1 else 'are'} whole, "
            f"complete, tested and signed, and what else it asks for: "
            f"safeframe verify {shlex.quote(path)}{more}"
        )
