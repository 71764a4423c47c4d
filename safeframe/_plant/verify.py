"""The gate of a whole plant: every connection by every demand, then all of them together."""

from __future__ import annotations

import os
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from .. import _checks as checks
from .._checks.plant_routes import routed
from .._document.reader import MAX_FILE_OCTETS, holds, shortened
from .._findings import Finding, NotJudged
from .._model import Connection, Plant
from .._source import Location
from .._words import count, listed
from .._workers import shared_out
from ..protocols import Profile
from ..record._files import MAX_FILE_OCTETS as MAX_RECORD_OCTETS
from .file import Listing
from .gaterow import NO_KEY, NO_STEPS, GateCell, GatePoint, GateRow, copied, shared_recording

_PIECE = 16
"""Connections that a worker process takes at once: some hundred milliseconds of work."""

_FEW = 12
"""Up to so many connections are named one by one; by choice."""

_ANOTHER_DEVICE = GateCell("fault", "another device")
"""The read-back of a device that is no longer there."""

_Result = TypeVar("_Result")


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that sorts names as people count: VB2 before VB10.

    >>> sorted(["VB10", "VB2", "vb1"], key=natural)
    ['vb1', 'VB2', 'VB10']
    """
    # ASCII digits alone: int() refuses some of what \\d matches, and thousands of them.
    parts = re.findall(r"[0-9]{1,300}|[^0-9]+", name)
    folded = tuple(
        (0, int(part), part) if part[0] in "0123456789" else (1, 0, part.casefold())
        for part in parts
    )
    return (*folded, (-1, 0, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class GateReport:
    """What the gate says: ``rows`` in natural order of their names, ``findings`` over many.

    ``routes`` tell how far each route was followed, ``not_judged`` what stays open on them.

    ``not_looked_at`` says what the verdict does not speak for.
    """

    plant: str
    where: Location
    rows: tuple[GateRow, ...]
    findings: tuple[Finding, ...]
    routes: tuple[str, ...]
    not_judged: tuple[NotJudged, ...]
    allowed: int
    not_looked_at: tuple[str, ...]

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings over many connections that count: all but notes."""
        return tuple(finding for finding in self.findings if finding.severity != "note")

    @property
    def in_order(self) -> bool:
        """Whether everything demanded was looked at and is in order."""
        return not self.failing and all(row.in_order for row in self.rows)

    @property
    def unsigned(self) -> int:
        """How many records nobody signed with a key as they stand."""
        return sum(row.signed.mark == NO_KEY for row in self.rows)

    def by_machine(self) -> dict[str, list[tuple[GateRow, GatePoint]]]:
        """Return the open steps at devices, each with its connection, by the name of the device.

        One end may be several devices of a series, told apart by their serial numbers. Where
        several connections have the same two ends, a step of one without a serial number is at no
        device that is known by another one.
        """
        pairs = Counter(frozenset(row.ends) for row in self.rows)
        steps = [(row, point) for row in self.rows for point in row.points if point.machine]
        serials: dict[str, set[str]] = defaultdict(set)
        for _, point in steps:
            serials[point.machine] |= {point.serial} - {""}
        found: dict[tuple[str, str], list[tuple[GateRow, GatePoint]]] = defaultdict(list)
        for row, point in steps:
            known = serials[point.machine]
            is_one = len(known) == 1 and pairs[frozenset(row.ends)] == 1
            serial = point.serial or (min(known) if is_one else "")
            found[point.machine, serial].append((row, point))
        return {
            f"{end} (serial {serial})" if serial else end: found[end, serial]
            for end, serial in sorted(found, key=lambda key: (natural(key[0]), natural(key[1])))
        }

    def by_person(self) -> dict[str, list[tuple[GateRow, GatePoint]]]:
        """Return all other open steps, each with its connection, by who does them."""
        found: dict[str, list[tuple[GateRow, GatePoint]]] = defaultdict(list)
        for row in self.rows:
            for point in row.points:
                if not point.machine:
                    found[point.person].append((row, point))
        return {name: found[name] for name in sorted(found, key=natural)}


@contextmanager
def rows_of(
    given: Listing,
    make: Callable[..., Callable[[Sequence[int]], list[_Result]]],
    settings: tuple[object, ...],
    *,
    jobs: int = 1,
) -> Iterator[Iterable[_Result]]:
    """Give what ``make(*settings)`` makes of the numbers of the connections, in any order.

    With ``jobs`` above one the work is shared out to so many processes.
    """
    total = len(given.rows)
    pieces = [range(at, min(at + _PIECE, total)) for at in range(0, total, _PIECE)]
    with shared_out(min(jobs, len(pieces)), make, settings, copies=True) as work:
        yield (result for piece in work(pieces) for result in piece)


def settle(
    given: Listing,
    rows: Iterable[GateRow],
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> GateReport:
    """Return the report: what is allowed set aside, what only all together show added."""
    listed_rows = sorted(rows, key=lambda row: row.number)
    names = Counter(map(_named, listed_rows))
    listed_rows = [_numbered(row) if names[_named(row)] > 1 else row for row in listed_rows]
    seen = [(row.outline, row) for row in listed_rows if row.outline is not None]
    outlines = tuple(outline for outline, _ in seen)
    labels = [_label(row) if names[_named(row)] > 1 else "" for _, row in seen]
    found = [finding for row in listed_rows for finding in row.findings]
    found += checks.across(outlines, without=checks.RECORD_RULES)
    where = Location(path=given.tables.path)
    site = Plant(
        name=given.name,
        connections=outlines,
        routes=given.routes,
        cycles=given.cycles,
        where=where,
    )
    ways = routed(site, own_profiles=own_profiles)
    kept, waived = checks.settled([*found, *ways.findings], outlines, labels)
    of_row, across = _shared_out(kept, listed_rows)
    done = [_done(row, findings) for row, findings in zip(listed_rows, of_row, strict=True)]
    twice = Counter(row.name for row in done)
    done = [
        replace(row, name=f"{row.name} (#{row.number})") if twice[row.name] > 1 else row
        for row in done
    ]
    done = list(_with_shared_recordings(_without_copies(done)))
    done.sort(key=lambda row: (natural(row.name), row.number))
    return GateReport(
        plant=given.name,
        where=where,
        rows=tuple(done),
        findings=tuple(across),
        routes=tuple(text for _, text in ways.facts),
        not_judged=ways.not_judged,
        allowed=len(waived),
        not_looked_at=tuple(_not_looked_at(given, done, outlines)),
    )


def _named(row: GateRow) -> str:
    """Return the name of a connection as its findings have it."""
    return row.outline.name if row.outline else row.name


def _label(row: GateRow) -> str:
    return f"#{row.number}"


def _numbered(row: GateRow) -> GateRow:
    """Return a row whose findings are told from those of others of its name."""
    found = tuple(
        replace(one, which=_label(row)) if one.connection else one for one in row.findings
    )
    return replace(row, findings=found)


def _without_copies(rows: Sequence[GateRow]) -> Iterator[GateRow]:
    """Yield the rows; a record that is a copy, or a link to another one, is a fault of each."""
    by_seal: dict[str, dict[str, GateRow]] = defaultdict(dict)
    for row in rows:
        if row.seal:
            # One path in several rows is a finding of the plant.
            by_seal[row.seal].setdefault(row.record, row)
    for row in rows:
        holders = by_seal.get(row.seal, {})
        others = [other for path, other in holders.items() if path != row.record]
        yield copied(row, others) if others else row


def _with_shared_recordings(given: Iterable[GateRow]) -> Iterator[GateRow]:
    """Yield the rows; what is asked for is not there while one recording stands for several."""
    rows = list(given)
    users: dict[str, dict[str, GateRow]] = defaultdict(dict)
    for row in rows:
        for key, _ in row.recordings:
            users[key].setdefault(row.record, row)
    for row in rows:
        told = row
        for key, recording in row.recordings if "evidence" in row.asked else ():
            others = [other for path, other in users[key].items() if path != row.record]
            if others:
                told = shared_recording(told, recording, others)
        yield told


def alone(row: GateRow) -> GateRow:
    """Return a row as it is told by itself: what its ends allow, or its record says, set aside."""
    outlines = () if row.outline is None else (row.outline,)
    kept, _ = checks.settled(list(row.findings), outlines, [""] * len(outlines))
    # Whether an allowance is used only the whole plant shows.
    return _done(row, [finding for finding in kept if finding.rule != "unused-allowance"])


def _done(row: GateRow, findings: Iterable[Finding]) -> GateRow:
    """Return a row with the findings that count; a device that was exchanged is not read back."""
    row = replace(row, findings=tuple(_told(row, findings)), outline=None)
    if all(one.rule != "serial-differs" for one in row.of_devices):
        return row
    # What is void is told as such.
    read_back = row.read_back if row.read_back.state == "fault" else _ANOTHER_DEVICE
    valid = row.valid if row.valid.state == "fault" else GateCell("fault", "no")
    return replace(row, read_back=read_back, valid=valid)


def _shared_out(
    kept: Iterable[Finding], rows: Sequence[GateRow]
) -> tuple[list[list[Finding]], list[Finding]]:
    """Return the findings of each row, and those over many connections."""
    mine: dict[int, list[int]] = defaultdict(list)
    by_name: dict[tuple[str, str], list[int]] = defaultdict(list)
    for at, row in enumerate(rows):
        for label in ("", _label(row)):
            by_name[_named(row), label].append(at)
        for finding in row.findings:
            mine[id(finding)].append(at)
    of_row: list[list[Finding]] = [[] for _ in rows]
    across: list[Finding] = []
    for finding in kept:
        # An allowance that allows nothing is found while settling: its connection has it.
        places = mine.get(id(finding)) or by_name.get((finding.connection, finding.which), [])[:1]
        for at in places:
            of_row[at].append(finding)
        if not places:
            across.append(finding)
    return of_row, across


def _told(row: GateRow, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Yield the findings of a row without those that its record says better."""
    about_record = any(point.aspect in ("record", "read back", "tests") for point in row.points)
    for finding in findings:
        known = finding.rule in checks.RECORD_RULES and finding.rule != "serial-differs"
        if not (known and about_record):
            yield finding


def _not_looked_at(
    given: Listing, rows: Sequence[GateRow], outlines: Iterable[Connection]
) -> Iterator[str]:
    bare = sum(
        max(0, len(row.values["ends"]) - len(row.values.get("device_files", {})))
        for row in given.rows
    )
    if bare:
        ends = count(2 * len(given.rows), "end")
        yield f"device files of {bare} of {ends}: the plant file names none"
    unasked = sum(not row.require.get("evidence") for row in given.rows)
    if unasked == len(given.rows):
        yield "evidence: the plant file asks for no recordings"
    elif unasked:
        of = count(len(given.rows), "connection")
        yield f"evidence of {unasked} of {of}: the plant file asks for no recordings"
    yield from _recordings(rows)
    untested = [row.name for row in rows if row.tested.mark == NO_STEPS]
    if untested:
        yield f"tests of {_few(untested)}: the record is about no change, so it asks for none"
    older: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        for text in row.of_age:
            older[text].append(row.name)
    for text, named in older.items():
        yield f"all that the record of {_few(named)} tells: {text}"
    if unjudged := sum(bool(row.unchecked) for row in rows):
        yield f"the signature files of {count(unjudged, 'record')}: --signers names no file"
    for what, kind in _BESIDE.items():
        if left := _left_out(given, kind):
            yield f"{what} that no connection lists: {listed(left)}"
    if not given.routes:
        yield from filter(None, [checks.no_routes(outlines, "the plant file declares no routes")])


def _recordings(rows: Sequence[GateRow]) -> Iterator[str]:
    """Yield how far the evidence that was asked for goes: it stands in a record as entered."""
    asked = [row for row in rows if "evidence" in row.asked]
    if kept := sum(bool(row.recordings) for row in asked):
        yield (
            f"evidence of {count(kept, 'record')}: not computed anew from its recordings "
            "(safeframe record verify --recording)"
        )
    if spoilt := [f"{recording} of {row.name}" for row in asked for recording in row.unclean]:
        yield f"what is wrong in recordings that are not clean: {listed(spoilt)}"


def _few(names: Sequence[str]) -> str:
    return listed(names) if len(names) <= _FEW else count(len(names), "connection")


class _Beside(NamedTuple):
    """A kind of file that a plant file lists: which ones, by suffix and by a word that it holds."""

    listed: Callable[[Mapping[str, Any]], Iterable[str]]
    suffixes: tuple[str, ...]
    word: bytes
    limit: int


_BESIDE = {
    "map files": _Beside(
        lambda row: row["ends"], (".toml", ".csv"), b"safeframe-map/", MAX_FILE_OCTETS
    ),
    "records": _Beside(
        lambda row: filter(None, [row.get("record", "")]),
        (".json",),
        b"safeframe-record/",
        MAX_RECORD_OCTETS,
    ),
}


def _left_out(given: Listing, kind: _Beside) -> list[str]:
    """Return the files of a kind beside those listed that the plant file does not list."""
    known = {
        shortened(os.path.join(given.folder, name))  # noqa: PTH118
        for row in given.rows
        for name in kind.listed(row.values)
    }
    left = [
        path
        for folder in sorted({Path(name).parent for name in known})
        if folder.is_dir()
        for path in folder.iterdir()
        if path.suffix.lower() in kind.suffixes
        and str(path) not in known
        and holds(path, kind.word, limit=kind.limit)
    ]
    if left:  # Another name of a listed file is none that was left out.
        really = {os.path.realpath(name) for name in known}
        left = [path for path in left if os.path.realpath(path) not in really]
    return sorted(map(str, left), key=natural)
