"""What a rule sees and how it reports: the registry, the context, the finding builder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial, wraps
from itertools import islice
from operator import attrgetter

from .. import _canonical as canonical
from .._bits import Place
from .._findings import MOST_OF_A_RULE, Counterexample, Finding, NotJudged, Rule, Spot
from .._model import Connection, Direction, End, Map, Reserved, Signal
from .._pairing import Cause, Matching, Pair, explain, match
from .._value import NamedTuple, dataclass, replace
from .._words import count
from ..protocols import Profile
from .remedies import Change, Remedy, map_changed, together

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TypeVar

    from .._following import FollowedRoute, Ring, RouteTime, Site
    from .counterexample import SignalPair

    _C = TypeVar("_C")
    _J = TypeVar("_J")

__all__ = [
    "CAUSE_CHECKS",
    "CHECKS",
    "PLANT_CHECKS",
    "ROUTE_CHECKS",
    "Context",
    "Check",
    "Finder",
    "Flaw",
    "Prints",
    "Repair",
    "RouteCheck",
    "Judged",
    "RoutesSeen",
    "View",
    "cause_rule",
    "count",
    "doubled",
    "find_profile",
    "limited",
    "listed_of",
    "map_rule",
    "per_map",
    "plant_rule",
    "registering",
    "route_rule",
    "rule",
    "spot",
]


class View(NamedTuple):
    """One direction with its pairing done.

    ``unequal`` are the pairs of whose two signals any word but the binding or remark differs,
    ``doubled`` the names that stand several times in the map of the producer and the consumer.
    """

    direction: Direction
    matching: Matching
    causes: tuple[Cause, ...]
    unequal: tuple[Pair, ...]
    doubled: tuple[frozenset[str], frozenset[str]]

    @property
    def alone(self) -> bool:
        """Whether one end has a signal that the other one has not."""
        return bool(self.matching.left_only or self.matching.right_only)

    @property
    def is_empty_at_one_end(self) -> bool:
        """Whether one end has several signals and the other one none at all."""
        sent, received = len(self.direction.sent.signals), len(self.direction.received.signals)
        return sent + received > 1 and not (sent and received)

    @property
    def sides(self) -> tuple[tuple[End, Map], tuple[End, Map]]:
        """Producer and consumer, each with its map of this direction."""
        direction = self.direction
        return (direction.producer, direction.sent), (direction.consumer, direction.received)


class Context(NamedTuple):
    """One connection as rules see it.

    ``exchanged`` tells that the second end's sends and receives were exchanged before pairing,
    because they fit only that way; ``strangers`` that the files do not belong together, so
    that nothing else is judged.
    """

    connection: Connection
    profile: Profile | None
    views: tuple[View, ...]
    exchanged: bool
    strangers: bool


def find_profile(
    connection: Connection, own_profiles: Mapping[str, Profile] | None = None
) -> Profile | None:
    """Return the profile that both ends name, the user's own before a listed one.

    None where nobody knows it, or where the ends name two: then neither is judged by.
    """
    name, other = (end.connection_table.profile for end in connection.ends)
    return canonical.find_profile(name, own_profiles) if name == other else None


def context(connection: Connection, profile: Profile | None) -> Context:
    """Pair both directions of a connection, exchanged where that is plainly what was meant."""
    first, second = connection.ends
    strangers = first.name == second.name or any(
        end.peer not in ("", other.name) for end, other in ((first, second), (second, first))
    )
    exchanged = not strangers and _exchanged(first, second)
    if exchanged:
        second = replace(second, sends=second.receives, receives=second.sends)
    paired = Connection(first=first, second=second)
    views = [] if strangers else [_view(direction) for direction in paired.directions()]
    return Context(
        connection=paired,
        profile=profile,
        views=tuple(views),
        exchanged=exchanged,
        strangers=strangers,
    )


def _view(direction: Direction) -> View:
    matching = match(direction.sent, direction.received)
    causes = explain(matching, direction.sent, direction.received)
    unequal = tuple(pair for pair in matching.pairs if _words(pair.left) != _words(pair.right))
    names = doubled(direction.sent), doubled(direction.received)
    return View(direction, matching, causes, unequal, names)


def doubled(map_: Map) -> frozenset[str]:
    """Return the names that stand several times in a map."""
    names = [signal.name for signal in map_.signals]
    if len(set(names)) == len(names):
        return frozenset()
    return frozenset(name for name, number in Counter(names).items() if number > 1)


# What a signal is called and what its bits mean, wherever it stands.
_words = attrgetter(
    *("name", "width", "type", "order", "safe", "one_means", "edge", "unit", "scale", "codes"),
    "valid_by",
)


def _exchanged(first: End, second: End) -> bool:
    sends, receives = _names(first.sends), _names(first.receives)
    other_sends, other_receives = _names(second.sends), _names(second.receives)
    straight = len(sends & other_receives) + len(receives & other_sends)
    crossed = len(sends & other_sends) + len(receives & other_receives)
    return crossed > straight


def _names(map_: Map) -> set[str]:
    return {signal.name for signal in map_.signals}


def spot(end: End, entry: Signal | Reserved | None, place: Place | None = None) -> Spot:
    """Return the spot of an entry of an end's map, or of a place where there is no entry."""
    if entry is None:
        return Spot(end=end.name, where=end.where, place=place)
    name = entry.name if isinstance(entry, Signal) else ""
    return Spot(end=end.name, where=entry.where, place=place or entry.at, signal=name)


Prints = Callable[[End], tuple[str, str]]
"""Gives the wire and the end fingerprint of an end."""


@dataclass(frozen=True, slots=True)
class Finder:
    """Builds the findings of one rule; ``own_profiles`` are for rules over many connections.

    What can be done about the findings, untried, is added to ``offers``. While remedies are tried,
    nobody reads a counterexample: ``witnesses`` is False and none is looked for. ``known`` gives
    fingerprints that somebody has worked out already.
    """

    rule: Rule
    connection: str
    offers: list[tuple[Finding, tuple[Remedy, ...]]]
    own_profiles: Mapping[str, Profile] | None = None
    witnesses: bool = True
    known: Prints | None = None

    def prints(self, end: End) -> tuple[str, str]:
        """Return the wire and the end fingerprint of an end."""
        if self.known is not None:
            return self.known(end)
        from .._fingerprint import end_fingerprint, wire_fingerprint  # deferred: plants only.

        return (
            wire_fingerprint(end, own_profiles=self.own_profiles),
            end_fingerprint(end, own_profiles=self.own_profiles),
        )

    def witness(self, direction: Direction, rows: Sequence[SignalPair]) -> Counterexample | None:
        """Return the counterexample of some signals, None where nobody will read it."""
        if not self.witnesses:
            return None
        from .counterexample import counterexample  # deferred: most maps agree.

        return counterexample(direction, rows)

    def __call__(
        self,
        message: str,
        spots: Iterable[Spot],
        *,
        remedy: str = "",
        direction: Direction | None = None,
        cause: str = "",
        details: Iterable[str] = (),
        counterexample: Counterexample | None = None,
        remedies: Iterable[Remedy] = (),
        culprits: Iterable[tuple[str, str]] = (),
        beyond: Iterable[Spot] = (),
    ) -> Finding:
        """Return a finding of this rule; the rule's own remedy where none is given.

        Of ``remedies`` those will be told instead that prove good when they are tried.
        """
        made = Finding(
            rule=self.rule.name,
            severity=self.rule.severity,
            message=message,
            remedy=remedy or self.rule.remedy,
            spots=tuple(spots),
            connection=self.connection,
            producer=direction.producer.name if direction else "",
            consumer=direction.consumer.name if direction else "",
            cause=cause,
            details=tuple(details),
            counterexample=counterexample,
            culprits=tuple(culprits),
            beyond=tuple(beyond),
        )
        offered = tuple(remedies)
        if offered:
            self.offers.append((made, offered))
        return made


def limited(findings: Iterator[Finding], find: Finder) -> list[Finding]:
    """Return the findings of one rule, cut with a word where there are far too many.

    What is far behind the cut is not looked for: files that have nothing in common would give one
    finding for each two of their signals.
    """
    found = list(islice(findings, _MOST_LOOKED_FOR + 1))
    if len(found) <= _MOST_LOOKED_FOR:
        return listed_of(found, find)
    rest = _rest(find, None, f"{_MEND}; {_UNKNOWN}")
    return [*found[:MOST_OF_A_RULE], rest]


def listed_of(findings: Iterable[Finding], find: Finder) -> list[Finding]:
    """Return the same where all findings are looked for: the last stands for all others."""
    found = list(findings)
    if len(found) <= MOST_OF_A_RULE:
        return found
    return [*found[:MOST_OF_A_RULE], _rest(find, tuple(found[MOST_OF_A_RULE:]), _MEND)]


_MOST_LOOKED_FOR = 5 * MOST_OF_A_RULE
"""Findings of one rule and connection that are looked for; by choice, a second or two of work."""


_UNKNOWN = f"no baseline and no allowance knows the rest of more than {_MOST_LOOKED_FOR}"
_MEND = "mend the listed ones and check again, or see whether the files belong together"


def _rest(find: Finder, unlisted: tuple[Finding, ...] | None, remedy: str) -> Finding:
    text = f"more than {MOST_OF_A_RULE} findings of this rule; the rest is not listed"
    return replace(find(text, [], remedy=remedy), unlisted=unlisted)


class Judged(NamedTuple):
    """What is seen at one connection by itself; what its ends allow is not set aside yet."""

    findings: tuple[Finding, ...]
    facts: tuple[tuple[str, str], ...]
    not_judged: tuple[NotJudged, ...]


Check = Callable[[Context, Finder], Iterator[Finding]]
PlantCheck = Callable[[tuple[Connection, ...], Finder], Iterator[Finding]]


class RoutesSeen(NamedTuple):
    """The routes of one plant that are asked about, each with its times.

    ``rings`` are the circles that these and all others of the plant make together.
    """

    site: Site
    routes: tuple[tuple[FollowedRoute, RouteTime], ...]
    rings: tuple[Ring, ...]


RouteCheck = Callable[[RoutesSeen, Finder], Iterator[Finding | NotJudged]]

CHECKS: list[tuple[Rule, Check]] = []
CAUSE_CHECKS: list[tuple[Rule, Check]] = []
PLANT_CHECKS: list[tuple[Rule, PlantCheck]] = []
ROUTE_CHECKS: list[tuple[Rule, RouteCheck]] = []


def registering(
    rows: list[tuple[Rule, _C]], check_of: Callable[[_J, Rule], _C], scope: str = ""
) -> Callable[..., Callable[[_J], _J]]:
    """Return a decorator that takes the fields of a rule and registers what it decorates.

    ``scope`` is that of all rules that are registered so, where they have one.
    """

    def rule(**fields: str) -> Callable[[_J], _J]:
        entry = Rule(**{"scope": scope, **fields})

        def register(judge: _J) -> _J:
            rows.append((entry, check_of(judge, entry)))
            return judge

        return register

    return rule


def _check(check: _C, _: Rule) -> _C:
    return check


rule = registering(CHECKS, _check)
"""Registers a generator function as the check of a rule about one connection."""

cause_rule = registering(CAUSE_CHECKS, _check, "direction")
"""Registers the same for a rule that has nothing to say where nothing is displaced."""

plant_rule = registering(PLANT_CHECKS, _check, "plant")
"""Registers a generator function as the check of a rule about many connections."""

route_rule = registering(ROUTE_CHECKS, _check, "plant")
"""Registers a generator function as the check of a rule about the routes of a plant."""


Repair = tuple[str, Callable[[], Iterable[Signal | Reserved]]]
"""What to do about a flaw, in words, and the entries of the map once it is done."""


class Flaw(NamedTuple):
    """What is wrong inside one map; the same flaw at both ends becomes one finding."""

    message: str
    entries: tuple[Signal | Reserved, ...]
    remedy: str = ""
    repairs: tuple[Repair, ...] = ()


MapJudge = Callable[[Map, Map], Iterable[Flaw]]


def per_map(context: Context, find: Finder, judge: MapJudge) -> Iterator[Finding]:
    """Judge the maps of both ends of each direction and merge equal flaws into one finding.

    ``judge`` gets the map of one end and that of the other.
    """
    for view in context.views:
        merged: dict[tuple[str, str], list[tuple[End, bool, Flaw]]] = {}
        for (end, map_), sends in zip(view.sides, (True, False), strict=True):
            for flaw in judge(map_, view.direction.received if sends else view.direction.sent):
                merged.setdefault((flaw.message, flaw.remedy), []).append((end, sends, flaw))
        for (message, remedy), flaws in merged.items():
            yield find(
                message,
                [spot(end, entry) for end, _, flaw in flaws for entry in flaw.entries],
                remedy=remedy,
                direction=view.direction,
                remedies=_repairs(flaws),
            )


def _map_check(judge: MapJudge, _: Rule) -> Check:
    @wraps(judge)  # Checks are run in the order of the modules of their rules.
    def check(context: Context, find: Finder) -> Iterator[Finding]:
        return per_map(context, find, judge)

    return check


map_rule = registering(CHECKS, _map_check, "map")
"""Registers what yields the flaws of the map of one end; it is given that of the other end, too."""


def _repairs(flaws: list[tuple[End, bool, Flaw]]) -> Iterator[Remedy]:
    """Yield the repairs that all ends with a flaw have in common, done at each of them."""
    for text, _ in flaws[0][2].repairs:
        changes: list[Change] = []
        for end, sends, flaw in flaws:
            made = dict(flaw.repairs).get(text)
            if made is not None:
                changes.append(partial(_repaired, end=end.name, sends=sends, made=made))
        if len(changes) == len(flaws):
            yield Remedy(text, together(changes))


def _repaired(
    connection: Connection,
    *,
    end: str,
    sends: bool,
    made: Callable[[], Iterable[Signal | Reserved]],
) -> Connection:
    return map_changed(end, sends=sends, entries=made())(connection)
