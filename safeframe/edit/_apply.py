"""Apply one operation to the texts of both ends; write both files, or none."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import unified_diff
from typing import NamedTuple

from .. import _checks as checks
from .._diff import ChangeClass, MixedState, classify, mixed_versions
from .._document.replace import Replacement, replace_all
from .._errors import UsageError, each
from .._findings import Finding, Report, at_or_above, each_one
from .._model import Connection
from ..protocols import Profile
from ._job import carry_out
from ._operations import Operation, Rename
from ._sheet import MapSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class MapText:
    """A map file as it was read: its name as the user typed it, and its text."""

    path: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One operation done to both ends, nothing written yet.

    ``old`` and ``new`` are the files before and after; ``report`` are all findings after the
    edit, ``caused`` those that were not there before it.
    """

    old: tuple[MapText, MapText]
    new: tuple[MapText, MapText]
    before: Connection
    after: Connection
    report: Report
    caused: tuple[Finding, ...]
    own_profiles: Mapping[str, Profile] | None = field(default=None, compare=False, repr=False)

    @property
    def accepted(self) -> bool:
        """Whether the edit causes no finding but notes."""
        return not any(at_or_above(finding.severity, "warning") for finding in self.caused)

    @property
    def changed(self) -> bool:
        """Whether any byte of a file changes."""
        return self.old != self.new

    @property
    def patch(self) -> str:
        """The unified patch of both files."""
        return "".join(
            unified_patch(old.path, old.text, new.text)
            for old, new in zip(self.old, self.new, strict=True)
        )

    @property
    def classes(self) -> ChangeClass:
        """The class of the change."""
        return classify(self.before, self.after, own_profiles=self.own_profiles)

    @property
    def mixes(self) -> tuple[MixedState, MixedState]:
        """What is read while only one end is updated."""
        return mixed_versions(self.before, self.after, own_profiles=self.own_profiles)


def edit(
    first: MapText,
    second: MapText,
    operation: Operation,
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Edit:
    """Apply an operation to the map files of the two ends of a connection.

    The data size and the place of every other signal stay. Raises InputError for files that
    are no maps, UsageError with numbers for an operation that is not possible.
    """
    one, two = each(lambda source: MapSheet(source.path, source.text), (first, second))
    pages = one, two
    before = Connection(first=pages[0].end, second=pages[1].end)
    if before.first.name == before.second.name:
        raise UsageError(f"two files of two ends must be edited, not twice {before.first.name}")
    carry_out(operation, before, pages)
    after = Connection(first=pages[0].end, second=pages[1].end)
    report = checks.check(after, own_profiles=own_profiles)
    renamed = {operation.name: operation.to} if isinstance(operation, Rename) else {}
    earlier = _told(checks.check(before, own_profiles=own_profiles))
    return Edit(
        old=(first, second),
        new=(replace(first, text=pages[0].text), replace(second, text=pages[1].text)),
        before=before,
        after=after,
        report=report,
        caused=tuple(
            _caused(_told(report), Counter(_key(one, renamed) for one in each_one(earlier)))
        ),
        own_profiles=own_profiles,
    )


def save(done: Edit) -> None:
    """Write the files of an edit, both or none, if they still hold what the edit was made from.

    Raises UsageError with nothing changed, for instance where another program has changed a file;
    WriteError, which says in which state each file is, where the system failed.
    """
    replace_all(
        *(
            Replacement(path=old.path, old=old.text, new=new.text)
            for old, new in zip(done.old, done.new, strict=True)
        )
    )


def unified_patch(path: str, old: str, new: str) -> str:
    """Return a unified patch of one file, empty where nothing changes; line ends are kept."""
    lines = unified_diff(_lines(old), _lines(new), path, path, lineterm="\n")
    return "".join(_ended(lines))


def _lines(text: str) -> list[str]:
    # Not str.splitlines: that one also splits where a patch program does not.
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def _ended(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        yield line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n"


class _Key(NamedTuple):
    """What makes a finding the same one before and after: not its lines or numbers."""

    rule: str
    direction: str
    about: frozenset[tuple[str, str]]

    def is_part_of(self, other: _Key) -> bool:
        """Tell whether only culprits of another finding are left, each of them named."""
        named = all(name for _, name in self.about)
        return named and self[:2] == other[:2] and self.about < other.about


def _key(finding: Finding, renamed: Mapping[str, str]) -> _Key:
    names = [*((spot.end, spot.signal) for spot in finding.spots), *finding.culprits]
    about = frozenset((end, renamed.get(name, name)) for end, name in names)
    return _Key(finding.rule, finding.direction, about)


def _told(report: Report) -> tuple[Finding, ...]:
    """Return all findings but those that a map allows of any signal.

    What is allowed of one signal was looked at; an edit that brings another one of that name has
    to be looked at, too.
    """
    return *report.findings, *(waived.finding for waived in report.waived if waived.signal)


def _caused(findings: Iterable[Finding], known: Counter[_Key]) -> Iterator[Finding]:
    """Yield the findings that were not there before: a second one of a kind was not, either.

    Nobody knows whether all those were there that are not looked for.
    """
    left = known.copy()
    findings = tuple(findings)
    for finding in each_one(findings):
        key = _key(finding, {})
        if left[key] > 0:
            left[key] -= 1
        elif not any(key.is_part_of(other) for other in known):
            yield finding
    yield from (finding for finding in findings if finding.unlisted is None)
