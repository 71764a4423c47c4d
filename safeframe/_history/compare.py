"""Compare two states of a site: every connection followed, judged and told apart."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import replace
from typing import Generic, TypeVar

from .. import _checks as checks
from .._diff import (
    LEVELS,
    Change,
    ChangeClass,
    EditComparison,
    classify_changes,
    compare_edits,
    compare_ends,
    compare_versions,
)
from .._errors import Problem
from .._findings import Finding, NotJudged, Report
from .._fingerprint import end_fingerprint, wire_fingerprint
from .._model import Connection, End
from .._words import counting, listed
from ..protocols import Profile
from .changes import NO_CLASS, ConnectionChange, EndState, SiteComparison
from .follow import Followed, follow, oriented
from .state import MapFile, SiteState

Profiles = Mapping[str, Profile]
_Thing = TypeVar("_Thing")


def compare_sites(
    before: SiteState, after: SiteState, *, own_profiles: Profiles | None = None
) -> SiteComparison:
    """Say what became of every connection between two states of a site.

    A connection is followed when its files were renamed or moved. ``own_profiles`` are the user's
    profiles by name.

    >>> before = after = safeframe.read_site(".")
    >>> safeframe.compare_sites(before, after).counts
    (('unchanged', 1),)
    """
    return _Comparer(before, after, own_profiles or {}).comparison()


class _Comparer:
    """One comparison; what a file says is worked out once, in whichever state it stands."""

    def __init__(self, before: SiteState, after: SiteState, own_profiles: Profiles) -> None:
        self.before, self.after = _missed(before, after, "now"), _missed(after, before, "before")
        self.own_profiles = own_profiles
        self.files = (
            {one.shown: one for one in before.files},
            {one.shown: one for one in after.files},
        )
        self.prints: dict[tuple[str, str], tuple[str, str]] = {}
        self.reports: dict[int, Report] = {}

    def comparison(self) -> SiteComparison:
        findings = self._check()
        rows: list[ConnectionChange] = []
        gone, came = _Left[Connection](), _Left[Connection]()
        for one in follow(self.before, self.after):
            if one.old is not None and one.new is not None:
                rows.append(self._both(one.old, one.new))
            elif one.rivals:
                rows.append(self._one(one))
            elif one.old is not None:
                gone.add(one.old, self._marks(self._before, *one.old.ends))
            else:
                assert one.new is not None, "it stands in one state at least"
                came.add(one.new, self._marks(self._after, *one.new.ends))
        lone = _Left[tuple[End, ...]]()
        for group in self.before.alone:
            lone.add(group, self._marks(self._before, *group))
        for group in self.after.alone:
            marks = self._marks(self._after, *group)
            rows.append(self._alone(group, gone.take(marks), lone.take(marks)))
        rows += (
            self._one(Followed(None, new), lone.take(self._marks(self._after, *new.ends)))
            for new in came.rest()
        )
        rows += map(self._was_alone, lone.rest())
        rows += (self._one(Followed(old, None)) for old in gone.rest())
        rows.sort(key=_order)
        return SiteComparison(
            before=self.before.title,
            after=self.after.title,
            rows=tuple(rows),
            findings=findings,
            others=tuple(sorted({*self.before.others, *self.after.others})),
            problems=self.before.problems + self.after.problems,
            plants=_plants(self.before, self.after),
            untracked=self.after.untracked,
        )

    def _check(self) -> tuple[Finding, ...]:
        """Check the connections of the newer state; return what only a whole site shows."""
        whole: list[Finding] = []
        for numbers in self.after.sites:
            site = [self.after.connections[number] for number in numbers]
            report = checks.check_all(site, own_profiles=self.own_profiles)
            found: dict[str, list[Finding]] = defaultdict(list)
            for finding in report.findings:
                found[finding.connection].append(finding)
            whole += found[""]
            left: dict[str, list[NotJudged]] = defaultdict(list)
            for entry in report.not_judged:
                left[entry.connection] += [entry] * bool(entry.subject)
            names = Counter(connection.name for connection in site)
            for one in site:
                if names[one.name] == 1:
                    own = Report(
                        findings=tuple(found[one.name]),
                        connections=(one.name,),
                        not_judged=tuple(left[one.name]),
                    )
                else:
                    own = checks.check(one, own_profiles=self.own_profiles)
                self.reports[id(one)] = own
        return tuple(whole)

    def _both(self, old: Connection, found: Connection) -> ConnectionChange:
        """Return what became of a connection that stands in both states."""
        new = oriented(old, found, (self._before, self._after))
        if new is None:
            words = "which end was which cannot be told"
            return self._row(old, found, "not judged", notes=(words,))
        ends = self._ends(old, new)
        files = [
            tuple(side[end.where.path] for end in each.ends)
            for side, each in zip(self.files, (old, new), strict=True)
        ]
        same = all(map(_equal, *files))
        comparison = None
        if not same or ends[0].wire[1] != ends[1].wire[1]:
            comparison = compare_edits(old, new, own_profiles=self.own_profiles)
        if same or comparison is None:
            return self._row(old, new, "unchanged", comparison=comparison, ends=ends, found=found)
        edits = tuple(zip(comparison.ends, comparison.edits, strict=True))
        levels = [change.level for _, changes in edits for change in changes]
        return self._row(
            old,
            new,
            _verdict(comparison, ends) if levels else "unchanged",
            comparison=comparison,
            ends=ends,
            found=found,
            level=min(levels, key=LEVELS.index, default=""),
            classes=classify_changes(edits),
        )

    def _row(
        self,
        old: Connection,
        new: Connection,
        change: str,
        *,
        found: Connection | None = None,
        ends: tuple[EndState, ...] | None = None,
        comparison: EditComparison | None = None,
        level: str = "",
        classes: ChangeClass = NO_CLASS,
        notes: tuple[str, ...] = (),
    ) -> ConnectionChange:
        return ConnectionChange(
            name=new.name,
            change=change,
            was=old.name if old.name != new.name else "",
            ends=self._ends(old, new) if ends is None else ends,
            level=level,
            classes=classes,
            before=old,
            after=new,
            comparison=comparison,
            own_profiles=self.own_profiles,
            disagree=comparison.disagree if comparison is not None else (),
            report=self.reports[id(found or new)],
            notes=notes,
        )

    def _one(self, given: Followed, lone: Iterable[tuple[End, ...]] = ()) -> ConnectionChange:
        """Return what became of a connection of one state; ``lone`` are ends that were before."""
        old, new, rivals = given
        one = new or old
        assert one is not None, "it stands in one state at least"
        other, when = (self.after, "now") if new is None else (self.before, "before")
        paths = map(self._before if new is None else self._after, one.ends)
        lost = sorted({*other.unread} & {*paths})
        notes: list[str] = []
        if rivals:
            words = listed([" and ".join(end.where.path for end in each.ends) for each in rivals])
            notes.append(f"it could be the same as {words}, and nothing tells")
        if lost:
            notes.append(f"{listed(lost)} {when} could not be read as a map")
        change = "not judged" if notes else "removed" if new is None else "new"
        notes += (_lone(end) for group in lone for end in group)
        return ConnectionChange(
            name=one.name,
            change=change,
            ends=tuple(
                self._end(end, None) if new is None else self._end(None, end) for end in one.ends
            ),
            level="wire",
            before=old,
            after=new,
            disagree=() if new is None else compare_ends(new, own_profiles=self.own_profiles),
            report=None if new is None else self.reports[id(new)],
            notes=tuple(notes),
        )

    def _alone(
        self, group: tuple[End, ...], olds: list[Connection], lone: list[tuple[End, ...]]
    ) -> ConnectionChange:
        """Return what is there now of a connection that is no pair; before it may have been one."""
        before = [*(old.ends for old in olds), *lone]
        earlier = [end for ends in before for end in ends]
        # Of several ends of one name the file says which of them went on, or nothing does.
        clear = len(group) == 1 and len({end.name for end in earlier}) == len(earlier)
        pairs: list[tuple[End | None, End]] = []
        for end in group:
            same = [old for old in earlier if old.name == end.name]
            at = [old for old in same if self._before(old) == self._after(end)]
            old = next(iter(at or (same if clear else [])), None)
            pairs.append((old, end))
            earlier = [one for one in earlier if one is not old]
        ends = [self._end(old, new) for old, new in pairs]
        ends += (self._end(old, None) for old in earlier)
        changes = tuple(
            change
            for old, new in pairs
            if old is not None
            for change in compare_versions(old, new, own_profiles=self.own_profiles)
        )
        change, notes = "only one end", [f"no map of {group[0].peer}, its partner, is there"]
        if len(group) > 1:
            paths = listed([end.where.path for end in group])
            change, notes = "not judged", [f"{paths} do not make one pair of two ends"]
        elif self.after.unread:
            words = f"the map of {group[0].peer} may be in a file that cannot be read"
            change, notes = "not judged", [words]
        return ConnectionChange(
            name=_name(group),
            change=change,
            was=next((_name(ends) for ends in before if _name(ends) != _name(group)), ""),
            ends=tuple(ends),
            level="wire" if olds else _worst(changes),
            changes=changes,
            notes=tuple(notes),
        )

    def _was_alone(self, group: tuple[End, ...]) -> ConnectionChange:
        """Return what became of ends without exactly one partner, none of which is there now."""
        change = "not judged" if self.after.unread else "removed"
        return ConnectionChange(
            name=_name(group),
            change=change,
            ends=tuple(self._end(end, None) for end in group),
            level="wire",
            notes=tuple(_lone(end) for end in group),
        )

    def _marks(self, path: Callable[[End], str], *ends: End) -> list[Hashable]:
        """Return what tells a connection apart even where only one of its ends is there."""
        table = ends[0].connection_table
        paths = map(path, ends)
        marks: list[Hashable] = [("name", table.name), *(("path", path) for path in paths)]
        if table.id:
            names = frozenset((ends[0].name, ends[0].peer))
            marks.append((table.profile, table.network, table.id, names))
        return marks

    def _before(self, end: End) -> str:
        return self.files[0][end.where.path].path

    def _after(self, end: End) -> str:
        return self.files[1][end.where.path].path

    def _ends(self, old: Connection, new: Connection) -> tuple[EndState, ...]:
        return tuple(map(self._end, old.ends, new.ends))

    def _end(self, old: End | None, new: End | None) -> EndState:
        was, now = (
            None if end is None else side[end.where.path]
            for side, end in zip(self.files, (old, new), strict=True)
        )
        one = new or old
        assert one is not None, "an end stands in one state at least"
        prints = self._prints(was), self._prints(now)
        return EndState(
            name=one.name,
            was=old.name if old is not None and old.name != one.name else "",
            files=(was and was.shown, now and now.shown),
            paths=(was and was.path, now and now.path),
            octets=(_octets(old), _octets(new)),
            wire=(prints[0][0], prints[1][0]),
            own=(prints[0][1], prints[1][1]),
        )

    def _prints(self, file: MapFile | None) -> tuple[str | None, str | None]:
        if file is None:
            return None, None
        key = file.digest, file.format
        if key not in self.prints:
            self.prints[key] = (
                wire_fingerprint(file.end, own_profiles=self.own_profiles),
                end_fingerprint(file.end, own_profiles=self.own_profiles),
            )
        return self.prints[key]


class _Left(Generic[_Thing]):
    """Things that nothing went on with so far, by what tells them apart."""

    def __init__(self) -> None:
        self._things: dict[int, _Thing] = {}
        self._by_mark: dict[Hashable, list[_Thing]] = defaultdict(list)

    def add(self, thing: _Thing, marks: Iterable[Hashable]) -> None:
        """Keep one thing."""
        self._things[id(thing)] = thing
        for mark in marks:
            self._by_mark[mark].append(thing)

    def take(self, marks: Iterable[Hashable]) -> list[_Thing]:
        """Return and forget the things that have the first of these marks that any has."""
        for mark in marks:
            found = [thing for thing in self._by_mark[mark] if id(thing) in self._things]
            if found:
                for thing in found:
                    self._things.pop(id(thing), None)
                return found
        return []

    def rest(self) -> list[_Thing]:
        """Return what is left."""
        return list(self._things.values())


def _plants(before: SiteState, after: SiteState) -> tuple[str, ...]:
    """Return the plant files that say something else now, came or went."""
    olds, news = before.plants, after.plants
    if len(olds) == len(news) == 1:  # Two that were named may have two names.
        return () if olds[0][1] == news[0][1] else (news[0][0],)
    return tuple(sorted({path for path, _ in {*olds} ^ {*news}}))


def _missed(state: SiteState, other: SiteState, when: str) -> SiteState:
    """Return a state in which no file passes for something else that the other one has as a map."""
    gone = sorted({*state.others} & {file.path for file in other.files})
    message = f"the file must hold a map, as it does {when}, and is plainly something else"
    problems = [Problem(path=f"{path} ({state.title})", message=message) for path in gone]
    return replace(
        state,
        others=tuple(path for path in state.others if path not in gone),
        unread=(*state.unread, *gone),
        problems=(*state.problems, *problems),
    )


def _verdict(comparison: EditComparison, ends: tuple[EndState, ...]) -> str:
    """Return what both edits are together, where one of them changed anything."""
    edited = sum(end.wire[0] != end.wire[1] for end in ends)
    if not edited:
        return "own parts edited"
    if edited == 1:
        return "only one end edited"
    return "edited differently" if comparison.differences else "edited identically"


def _equal(old: MapFile, new: MapFile) -> bool:
    return (old.digest, old.format) == (new.digest, new.format)


def _octets(end: End | None) -> int | None:
    return None if end is None else end.sends.size_octets


def _name(group: tuple[End, ...]) -> str:
    return group[0].connection_table.name


def _lone(end: End) -> str:
    return f"before, only the map of {end.name} was there"


def _worst(changes: Iterable[Change]) -> str:
    return min((change.level for change in changes), key=LEVELS.index, default="")


def _order(row: ConnectionChange) -> tuple[object, ...]:
    return counting(row.name), [str(end.files) for end in row.ends]
