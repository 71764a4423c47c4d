"""Findings: what is wrong with maps that could be read, one cause each, with a remedy."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ._bits import Place
from ._errors import UsageError
from ._source import Location
from ._value import NamedTuple, dataclass, replace
from ._words import way

SEVERITIES = ("error", "warning", "note")
"""From worst to mildest: wrong on the wire or forbidden; doubtful; worth knowing."""


MOST_OF_A_RULE = 100
"""Findings of one rule and connection that are listed: nobody reads more, and files that have
nothing in common would give one per signal."""


def at_or_above(severity: str, threshold: str) -> bool:
    """Return whether ``severity`` is at least as bad as ``threshold``."""
    return SEVERITIES.index(severity) <= SEVERITIES.index(threshold)


class Rule(NamedTuple):
    """A rule by name; ``why`` says what happens if nobody looks, ``source`` who says so.

    ``scope`` is what one check of the rule looks at: ``map``, ``end``, ``direction``,
    ``connection`` or ``plant``.

    >>> from safeframe import _checks as checks
    >>> rule = checks.find_rule("swapped-signals")
    >>> rule.severity, rule.scope
    ('error', 'direction')
    """

    name: str
    severity: str
    scope: str
    title: str
    why: str
    remedy: str
    source: str = "common practice"


class Spot(NamedTuple):
    """One culprit: the end it belongs to, where it stands, which place and signal it is."""

    end: str
    where: Location
    place: Place | None = None
    signal: str = ""


class Counterexample(NamedTuple):
    """The smallest data that the two ends read differently.

    ``octets`` is what the producer puts into the safety data; ``before`` the data of the frame
    before it where only a change of value shows the difference. ``rows`` are (signal, meaning at
    the producer, meaning at the consumer), disagreeing rows only.
    """

    octets: bytes
    rows: tuple[tuple[str, str, str], ...]
    before: bytes | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One cause: the rule it breaks, what exactly is wrong, what to do.

    ``cause`` names a known permutation (``shift``, ``swap``, ``octet order`` ...) where one
    explains everything, ``producer`` and ``consumer`` name the ends of its direction or are empty,
    ``details`` are the symptoms that the cause explains, shown on demand. ``culprits`` are the
    (end, name) pairs that the finding is about beyond its spots: those of which no spot is shown,
    and names of what is no signal. They are not shown; by them findings are told apart. ``which``
    tells its connection from others of that name, and is empty where there is no other. ``file`` is
    the device file that a map is held against, empty where it is about maps alone.

    ``beyond`` are spots like the others that are not shown, since there are many or since they say
    no more; whoever allows a finding at one of them allows this one.

    ``unlisted`` are the findings that it stands for where a rule finds too many to list; None
    where they were not looked for, so that nothing can be said about them: nobody can allow it.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> (finding,) = safeframe.check(connection).findings
    >>> for spot in finding.spots:
    ...     print(spot.where, spot.end, spot.place, spot.signal)
    sc1.toml:6 SC1 0.1 brake1_release
    lx.toml:10 LX 0.2 brake1_release
    sc1.toml:7 SC1 0.2 brake2_release
    lx.toml:9 LX 0.1 brake2_release
    """

    rule: str
    severity: str
    message: str
    remedy: str
    spots: tuple[Spot, ...]
    connection: str = ""
    producer: str = ""
    consumer: str = ""
    cause: str = ""
    details: tuple[str, ...] = ()
    counterexample: Counterexample | None = None
    culprits: tuple[tuple[str, str], ...] = ()
    which: str = ""
    file: str = ""
    beyond: tuple[Spot, ...] = ()
    unlisted: tuple[Finding, ...] | None = ()

    @property
    def direction(self) -> str:
        """The direction as people write it, ``SC1 -> LX``, or empty."""
        return way(self.producer, self.consumer) if self.producer or self.consumer else ""


class Waived(NamedTuple):
    """A finding that a map allows, with the reason it gives.

    ``signal`` is what it allows it of alone, empty where it allows all findings of the rule.
    """

    finding: Finding
    reason: str
    where: Location
    signal: str = ""


class NotJudged(NamedTuple):
    """A rule that had nothing to judge at a connection or a route, and what was left out.

    ``rule`` is empty where a device file does not tell what a map is held against.

    ``subject`` is what stays open, in words, where a reader must know it; empty where not.
    ``connection`` is empty where it is about a ``route`` or about the whole plant; of several
    of one name it says which in brackets.
    """

    connection: str
    rule: str
    reason: str
    subject: str = ""
    route: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All findings about some connections, worst first, and what was allowed.

    ``connections`` are the names of the connections checked, in order, and ``which`` tells those
    of one name apart (empty where each has its own); ``facts`` are
    (label, text) lines that say what was looked at when nothing was wrong; ``known`` are findings
    that a baseline file knows already; ``not_judged`` is what the maps leave open;
    ``not_looked_at`` what else the verdict does not speak for; ``plants`` are the plant files that
    list the connections.

    >>> first, second = safeframe.load("sc1.toml"), safeframe.load("lx.toml")
    >>> connection = safeframe.Connection(first=first, second=second)
    >>> safeframe.check(connection).worst()
    'error'
    """

    findings: tuple[Finding, ...] = ()
    waived: tuple[Waived, ...] = ()
    connections: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    known: tuple[Finding, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    not_looked_at: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    which: tuple[str, ...] = ()

    def worst(self) -> str:
        """Return the worst severity among the findings, or an empty string."""
        found = {finding.severity for finding in self.findings}
        return next((severity for severity in SEVERITIES if severity in found), "")

    def fails(self, threshold: str) -> bool:
        """Return whether any finding is at or above ``threshold``; UsageError for no severity."""
        if threshold not in SEVERITIES:
            words = ", ".join(SEVERITIES)
            raise UsageError(f"a severity must be one of {words}, not {threshold!r}")
        return any(at_or_above(finding.severity, threshold) for finding in self.findings)


def each_one(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Yield findings, and for one that stands for others these; without those never looked for."""
    for finding in findings:
        if finding.unlisted:
            yield from (replace(one, which=one.which or finding.which) for one in finding.unlisted)
        elif finding.unlisted is not None:
            yield finding
