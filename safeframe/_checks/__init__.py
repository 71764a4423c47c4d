"""Rules that judge maps: one rule, one generator function."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from functools import cache, partial
from itertools import chain

from .._errors import UsageError
from .._findings import SEVERITIES, Finding, NotJudged, Report, Rule, Waived
from .._model import Connection, Plant
from .._value import replace
from ..protocols import Profile
from . import (  # noqa: F401
    attributes,
    connection_table,
    contradictions,
    devices,
    limits,
    meaning,
    origin,
    plant,
    relating,
    shape,
)
from .registry import (
    CAUSE_CHECKS,
    CHECKS,
    PLANT_CHECKS,
    ROUTE_CHECKS,
    Check,
    Context,
    Finder,
    Judged,
    Prints,
    context,
    count,
    find_profile,
    limited,
    listed_of,
)
from .remedies import Remedy
from .unjudged import no_routes, not_looked_at, unjudged

__all__ = [
    "ACROSS_RULES",
    "DEVICE_RULES",
    "RECORD_RULES",
    "RULES",
    "Judged",
    "across",
    "by_device_files",
    "check",
    "check_all",
    "check_judged",
    "check_site",
    "find_profile",
    "find_rule",
    "judged",
    "judged_maps",
    "no_routes",
    "settled",
]

TYPE_CHECKING = False
if TYPE_CHECKING:
    RULES: tuple[Rule, ...]
    """Every rule, in name order."""


def __getattr__(name: str) -> tuple[Rule, ...]:
    if name == "RULES":
        return _rules()
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


@cache
def _rules() -> tuple[Rule, ...]:
    from . import plant_routes  # noqa: F401  deferred: few checks need the rules about routes.
    from .allowances import UNUSED

    checks = (*_connection_checks(causes=True), *PLANT_CHECKS, *ROUTE_CHECKS)
    return tuple(sorted((*(rule for rule, _ in checks), UNUSED), key=lambda rule: rule.name))


_ORDER = (
    *("shape", "onesided", "agreement", "attributes", "connection_table", "contradictions"),
    *("limits", "meaning", "origin", "permutations", "relating"),
)
"""Rooms of the rules about one connection, in the order in which their findings are told."""


@cache
def _connection_checks(*, causes: bool) -> tuple[tuple[Rule, Check], ...]:
    """Return the rules about one connection, with those about causes where there are some."""
    found = CHECKS
    if causes:
        from . import agreement, onesided, permutations  # noqa: F401  deferred: most maps agree.

        found = [*CHECKS, *CAUSE_CHECKS]
    return tuple(sorted(found, key=lambda one: _ORDER.index(_room(one[1]))))


def _room(check: Callable[..., object]) -> str:
    return check.__module__.rpartition(".")[2]


def find_rule(name: str) -> Rule:
    """Return a rule by name; UsageError with the nearest names for an unknown one."""
    for rule in _rules():
        if rule.name == name:
            return rule
    from difflib import get_close_matches  # deferred: needed for a misspelt name only.

    near = get_close_matches(name, [rule.name for rule in _rules()])
    hint = f"; nearest: {', '.join(near)}" if near else ""
    raise UsageError(f"a rule must be listed by `safeframe rules`, not {name!r}{hint}")


def _ordered(connection: Connection, profile: Profile | None) -> Connection:
    """Return a connection with its ends in an order of their own: by role, then by name.

    The order of files on a command line or in a plant file is chance and must not change a finding.
    """
    roles = profile.roles if profile else ()
    first, second = (
        (roles.index(end.role) if end.role in roles else len(roles)) for end in connection.ends
    )
    later = connection.first.name < connection.second.name
    if first < second or (first == second and not later):
        return connection
    return replace(
        connection,
        first=connection.second,
        second=connection.first,
        installed=connection.installed[::-1],
    )


def check(connection: Connection, *, own_profiles: Mapping[str, Profile] | None = None) -> Report:
    """Judge one connection; ``own_profiles`` are the user's profiles by name.

    Every finding names one cause. Findings that an end allows are in ``waived``.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> report = safeframe.check(connection)
    >>> report.findings[0].rule, report.fails("error")
    ('swapped-signals', True)
    """
    return check_all((connection,), own_profiles=own_profiles)


def check_all(
    connections: Iterable[Connection], *, own_profiles: Mapping[str, Profile] | None = None
) -> Report:
    """Judge connections one by one and then what only all of them together show.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> safeframe.check_all([connection]).connections
    ('SC1-LX',)
    """
    return check_site(connections, (), own_profiles=own_profiles)


def check_judged(
    connection: Connection,
    known: Judged | None,
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Report:
    """Return the same as ``check`` where it is known already what is seen at the connection."""
    seen = known or judged(connection, own_profiles=own_profiles)
    return _report([seen], (connection,), (connection,), (), own_profiles)


def check_site(
    connections: Iterable[Connection],
    plants: Iterable[Plant],
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Report:
    """Judge connections, and the routes of the plants that list them."""
    everything, plants = tuple(connections), tuple(plants)
    # A plant may list a pair of maps many times: it is judged, and told about, once.
    distinct = tuple({_identity(connection): connection for connection in everything}.values())
    each = [judged(connection, own_profiles=own_profiles) for connection in distinct]
    return _report(each, distinct, everything, plants, own_profiles)


def _report(
    each: Sequence[Judged],
    distinct: tuple[Connection, ...],
    everything: tuple[Connection, ...],
    plants: Sequence[Plant],
    own_profiles: Mapping[str, Profile] | None,
) -> Report:
    """Return the report on connections, ``distinct`` ones among them judged by themselves."""
    labels = [""] * len(distinct)
    if len(distinct) > 1:
        from .twins import told_apart  # deferred: a pair of maps has no other one of its name.

        labels = told_apart(distinct)
    each = [_labelled(one, label) for one, label in zip(each, labels, strict=True)]
    found = [finding for one in each for finding in one.findings]
    found += across(everything, own_profiles=own_profiles)
    ways: list[Judged] = []
    if plants:
        from .plant_routes import routed  # deferred: plants only.

        ways = [routed(plant_, own_profiles=own_profiles) for plant_ in plants]
    found += [finding for one in ways for finding in one.findings]
    which = dict(zip(map(_identity, distinct), labels, strict=True))
    # What a plant lists many times may be allowed at each of its entries.
    kept, waived = settled(found, everything, [which[_identity(one)] for one in everything])
    return Report(
        findings=tuple(kept),
        waived=tuple(waived),
        connections=tuple(connection.name for connection in everything),
        facts=tuple(fact for one in (*each, *ways) for fact in one.facts),
        not_judged=(
            *(entry for one in (*each, *ways) for entry in one.not_judged),
            *(
                entry._replace(
                    connection=f"{entry.connection} [{label}]" if label else entry.connection
                )
                for connection, label in zip(distinct, labels, strict=True)
                for entry in _unsettled(connection, everything)
            ),
        ),
        not_looked_at=tuple(not_looked_at(everything, plants)),
        plants=tuple(sorted({one.entry.path for one in everything if one.installed})),
        which=tuple(which[_identity(one)] for one in everything) if any(labels) else (),
    )


def _labelled(seen: Judged, label: str) -> Judged:
    """Return what was seen at a connection, told from others of its name."""
    if not label:
        return seen
    return Judged(
        tuple(replace(finding, which=label) for finding in seen.findings),
        seen.facts,
        tuple(
            entry._replace(connection=f"{entry.connection} [{label}]") for entry in seen.not_judged
        ),
    )


def judged(connection: Connection, *, own_profiles: Mapping[str, Profile] | None = None) -> Judged:
    """Judge one connection by itself, by its device files as well."""
    seen = judged_maps(connection, own_profiles=own_profiles)
    return by_device_files(connection, seen, own_profiles=own_profiles)


def judged_maps(
    connection: Connection, *, own_profiles: Mapping[str, Profile] | None = None
) -> Judged:
    """Judge the maps of one connection, whatever its device files say."""
    profile = find_profile(connection, own_profiles)
    seen, found, offers = _judged(_ordered(connection, profile), profile)
    if offers and not seen.exchanged:
        from .trial import tried  # deferred: where there is something to remedy.

        found = tried(seen.connection, found, offers, partial(_found, profile=profile))
    if seen.strangers:
        return Judged(tuple(found), tuple(_facts(seen)), tuple(_besides(connection.name)))
    own = profile is not None and profile is (own_profiles or {}).get(profile.name)
    return Judged(tuple(found), tuple(_facts(seen)), unjudged(connection, seen.profile, own=own))


_STRANGERS = "wrong-file"
"""The only rule that judges two files which do not belong together."""


def _besides(name: str) -> Iterator[NotJudged]:
    """Yield the rules that do not judge such files; what stays open is said once."""
    subject = "all else between the two files"
    for rule, _ in _connection_checks(causes=True):
        if rule.name != _STRANGERS:
            yield NotJudged(name, rule.name, "they do not belong together", subject)
            subject = ""


def by_device_files(
    connection: Connection, seen: Judged, *, own_profiles: Mapping[str, Profile] | None = None
) -> Judged:
    """Return what was seen of the maps with what the device files of the connection add."""
    found, facts, open_ = list(seen.findings), list(seen.facts), list(seen.not_judged)
    if connection.devices:
        from .origin import of_one_device  # deferred: few ends name a device file.

        found += of_one_device(connection)
    for end in connection.ends if connection.devices else ():
        from . import told  # deferred: few ends name a device file.

        for device in connection.devices:
            if device.end.name == end.name:
                differing = told.against(end, device, partial(check, own_profiles=own_profiles))
                found += (replace(one, file=device.file) for one in differing.findings)
                open_ += told.left_open(connection.name, end, device)
                facts.append((f"{end.name} against {device.file}", told.fact(device, differing)))
    return Judged(tuple(found), tuple(facts), tuple(open_))


RECORD_RULES = frozenset(
    (
        "record-missing",
        "record-outdated",
        "read-back-missing",
        "read-back-differs",
        "serial-differs",
    )
)
"""Rules about one connection of a plant and its record."""

DEVICE_RULES = frozenset(rule.name for rule, one in PLANT_CHECKS if _room(one) == "devices")
"""Rules about devices and records, which only a plant file lists."""

ACROSS_RULES = frozenset(rule.name for rule, _ in PLANT_CHECKS) - RECORD_RULES
"""Rules that only several connections together can break."""


def across(
    connections: tuple[Connection, ...],
    *,
    own_profiles: Mapping[str, Profile] | None = None,
    without: Container[str] = (),
    prints: Prints | None = None,
) -> list[Finding]:
    """Return what only all connections together show, and what plant file and records say.

    Rules whose names are in ``without`` are left out; ``prints`` gives the fingerprints of ends
    where they are known.
    """
    found: list[Finding] = []
    connections = tuple(_ordered(one, find_profile(one, own_profiles)) for one in connections)
    for rule, run_all in PLANT_CHECKS:
        if rule.name in without:
            continue
        finder = Finder(rule, "", [], own_profiles, known=prints)
        found += listed_of(run_all(connections, finder), finder)
    return found


def settled(
    found: list[Finding], connections: tuple[Connection, ...], labels: Sequence[str]
) -> tuple[list[Finding], list[Waived]]:
    """Return the findings that nobody allows, worst first, with those about unused allowances.

    Second come the findings that are allowed. ``labels`` tell connections of one name apart, as
    the findings do.
    """
    waived: list[Waived] = []
    if any(end.allowances for connection in connections for end in connection.ends):
        from .allowances import waive  # deferred: most ends allow nothing.

        stating = list(zip(connections, labels, strict=True))
        found, waived = waive(found, stating, _is_rule, lambda one: _unseen(one, connections))
    found.sort(key=lambda finding: SEVERITIES.index(finding.severity))
    return found, waived


def _unseen(connection: Connection, connections: Sequence[Connection]) -> Mapping[str, str]:
    """Return the rules that had nothing to look at, and why: nobody knows what they would find."""
    if connection.installed:
        return {}
    alone = [rule.name for rule in _rules() if rule.scope == "plant"] * (len(connections) == 1)
    listed = (*DEVICE_RULES, *(rule.name for rule, _ in ROUTE_CHECKS))
    return {
        **dict.fromkeys(alone, "only one connection was given"),
        **dict.fromkeys(listed, "no plant file lists the connection"),
    }


def _unsettled(connection: Connection, connections: Sequence[Connection]) -> Iterator[NotJudged]:
    """Yield the allowances of which nobody knows whether they allow anything."""
    stated = [(end.name, one.rule) for end in connection.ends for one in end.allowances]
    unseen = _unseen(connection, connections) if stated else {}
    for name, rule in stated:
        if rule in unseen:
            subject = f"the allowance of {rule} at {name}"
            yield NotJudged(connection.name, "unused-allowance", unseen[rule], subject)


def _is_rule(name: str) -> bool:
    return any(rule.name == name for rule in _rules())


def _identity(connection: Connection) -> tuple[int, ...]:
    """Return which values the rules of a connection look at."""
    return tuple(map(id, (*connection.ends, *connection.devices)))


def _judged(
    connection: Connection, profile: Profile | None, *, witnesses: bool = True
) -> tuple[Context, list[Finding], list[tuple[Finding, tuple[Remedy, ...]]]]:
    """Return what the rules see and find at one connection, and what may be done about it."""
    seen = context(connection, profile)
    name = connection.name
    found: list[Finding] = []
    offers: list[tuple[Finding, tuple[Remedy, ...]]] = []
    displaced = any(view.causes or view.alone for view in seen.views)
    for rule, run in _connection_checks(causes=displaced):
        if seen.strangers and rule.name != _STRANGERS:
            continue  # Remedies for bits would lead to edits of the wrong machine.
        finder = Finder(rule, name, offers, witnesses=witnesses)
        findings = run(seen, finder)
        first = next(findings, None)
        if first is not None:  # Most rules find nothing in most connections.
            found += limited(chain((first,), findings), finder)
    return seen, found, offers


def _found(connection: Connection, profile: Profile | None) -> list[Finding]:
    return _judged(connection, profile, witnesses=False)[1]


def _facts(seen: Context) -> list[tuple[str, str]]:
    """Return what was compared, per direction."""
    facts = []
    for view in seen.views:
        sent = view.direction.sent
        facts.append(
            (
                view.direction.name,
                f"{count(len(view.matching.pairs), 'signal')} paired, "
                f"{count(sent.size_bits, 'bit')} in {count(sent.size_octets, 'octet')}",
            )
        )
    return facts
