"""What can become of a connection of a site between two states, as values."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from .._diff import (
    Change,
    ChangeClass,
    EditComparison,
    MixedState,
    any_at_or_above,
    mixed_versions,
)
from .._errors import Problem
from .._findings import Finding, Report
from .._model import Connection
from ..protocols import Profile

CHANGES = (
    "not judged",
    "only one end",
    "edited differently",
    "only one end edited",
    "removed",
    "new",
    "edited identically",
    "own parts edited",
    "unchanged",
)
"""What can become of a connection, in the order in which somebody should look at it."""

_OPEN = CHANGES[:2]
"""What leaves open whether both ends still agree."""

NO_CLASS = ChangeClass(reasons=())


class EndState(NamedTuple):
    """One end of a connection in both states; None on the side where it is not there.

    ``files`` are paths as they are shown, ``paths`` those below the root of the state, ``octets``
    the size of what the end sends, ``wire`` and ``own`` its fingerprints.
    """

    name: str
    was: str
    files: tuple[str | None, str | None]
    paths: tuple[str | None, str | None]
    octets: tuple[int | None, int | None]
    wire: tuple[str | None, str | None]
    own: tuple[str | None, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectionChange:
    """What became of one connection between two states of a site.

    ``change`` is one of "not judged" (``notes`` say why), "only one end" (its partner is not
    there), "edited differently", "only one end edited", "removed", "new", "edited identically",
    "own parts edited" (nothing that both ends share) and "unchanged". ``was`` is its name before
    where that was another one. ``level`` is the
    worst level of its changes, empty without any. ``before`` and ``after`` are the connection in
    both states, its ends in one order; ``comparison`` and ``mixed`` are there where both are and a
    file has changed, ``changes`` are those of an end without a partner. ``disagree`` is what the
    ends do not share now, ``report`` the check of what is there now. ``own_profiles`` are those
    that it was compared by.
    """

    name: str
    change: str
    was: str = ""
    ends: tuple[EndState, ...] = ()
    level: str = ""
    classes: ChangeClass = NO_CLASS
    before: Connection | None = None
    after: Connection | None = None
    comparison: EditComparison | None = None
    changes: tuple[Change, ...] = ()
    disagree: tuple[Change, ...] = ()
    report: Report | None = None
    notes: tuple[str, ...] = ()
    own_profiles: Mapping[str, Profile] | None = field(default=None, repr=False, compare=False)

    @property
    def mixed(self) -> tuple[MixedState, ...]:
        """What the ends read from each other while only one of them is updated.

        It is worked out when somebody asks: kept, it would be most of what a changed site needs.
        """
        if self.comparison is None or not self.level:
            return ()
        assert self.before is not None, "compared are two states"
        assert self.after is not None, "compared are two states"
        return mixed_versions(self.before, self.after, own_profiles=self.own_profiles)

    @property
    def moved(self) -> tuple[tuple[str, str], ...]:
        """The paths of files before and after, where a file has another one now."""
        return tuple(
            (old, new)
            for end in self.ends
            for old, new in [end.paths]
            if old and new and old != new
        )

    def fails(self, threshold: str = "text") -> bool:
        """Return whether it is not settled: what ``diff`` says of the four files of a connection.

        That is where something was not judged or has one end only, where the edits or the ends
        after them differ at or above ``threshold``, where one end has a new address or
        parameter that the other may have to be told, and where a check of it now finds an error.
        """
        if self.change in _OPEN:
            return True
        levels = [one.level for one in self.disagree]
        if self.comparison is not None:
            levels += [one.level for one in self.comparison.differences]
        found = self.report is not None and self.report.fails("error")
        found |= any(mix.untold for mix in self.mixed)
        return any_at_or_above(levels, threshold) or found


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteComparison:
    """Every connection of two states, sorted by name as people count.

    ``findings`` are those that only all connections of the newer state together show, ``others``
    files that are no maps, ``problems`` what could not be read in either state. ``plants`` are
    plant files that say something else now besides which maps are connected: nobody judged that.
    ``untracked`` are maps and plant files of the checkout that git does not hold.

    >>> state = safeframe.read_site(".")
    >>> [(row.name, row.change) for row in safeframe.compare_sites(state, state).rows]
    [('SC1-LX', 'unchanged')]
    """

    before: str
    after: str
    rows: tuple[ConnectionChange, ...]
    findings: tuple[Finding, ...] = ()
    others: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    plants: tuple[str, ...] = ()
    untracked: tuple[str, ...] = ()

    @property
    def counts(self) -> tuple[tuple[str, int], ...]:
        """How many connections there are of each change that occurs, the gravest first."""
        found = Counter(row.change for row in self.rows)
        return tuple((change, found[change]) for change in CHANGES if found[change])

    def fails(self, threshold: str = "text") -> bool:
        """Return whether any connection is not settled, or something could not be read.

        That is so where there is no connection at all, too, and where git does not hold a map: what
        is compared is then not what a commit holds.
        """
        return bool(
            self.problems
            or self.untracked
            or not self.rows
            or any(finding.severity == "error" for finding in self.findings)
            or any(row.fails(threshold) for row in self.rows)
        )
