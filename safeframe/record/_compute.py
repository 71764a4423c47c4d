"""The computed part of a record: everything that follows from the maps before and after."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from .. import _checks as checks
from .._bits import run_text
from .._canonical import alike, forms
from .._checklist import steps_of
from .._diff import Change, MixedState, classify_changes, compare_edits, mixed_versions
from .._diff.changes import NOT_STATED
from .._diff.order import in_order_of
from .._diff.overlay import Entry, Overlay, Segment, carried
from .._findings import Finding, Spot
from .._model import Connection, Signal
from .._timing import timing
from ..protocols import Profile
from ._editions import edition_of
from ._parts import (
    BitOwner,
    BitRow,
    Computed,
    EditLine,
    Mixed,
    MixLine,
    MixTable,
    RecordedFinding,
    State,
    Times,
)
from ._workings import Workings


def compute(
    before: Connection,
    after: Connection,
    *,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Computed:
    """Return what a record says about a change without anybody typing it.

    The ends are paired as by ``compare_edits``. The same maps give the same value on every machine
    and at any time.
    """
    return computed_with(Workings(own_profiles), before, after)


def computed_with(workings: Workings, before: Connection, after: Connection) -> Computed:
    """Return the same as ``compute``; what is known of the ends is not worked out anew."""
    own_profiles = workings.own_profiles
    after = in_order_of(before, after)
    edits = compare_edits(before, after, own_profiles=own_profiles)
    both = tuple(zip(edits.ends, edits.edits, strict=True))
    states = _states(before, workings), _states(after, workings)
    return Computed(
        canonical=edition_of((*states[0], *states[1])),
        connection=after.name,
        profile=stated(after, "profile"),
        edition=stated(after, "edition"),
        before=states[0],
        after=states[1],
        bits=tuple(_bits(before, after)),
        edits=tuple(_edit(end, change) for end, changes in both for change in changes),
        verdict=edits.verdict,
        differences=tuple(difference.message for difference in edits.differences),
        classes=classify_changes(both).reasons,
        mixed=tuple(map(_mixed, mixed_versions(before, after, own_profiles=own_profiles))),
        times=_times(after, own_profiles),
        findings=tuple(findings_of(after, workings)),
        checklist=steps_of(before, after, edits.edits, own_profiles),
    )


def stated(connection: Connection, field: str) -> str:
    """Return what both ends say the connection follows: each in its words where they disagree."""
    first, second = (end.connection_table for end in connection.ends)
    if alike(first, second, field):
        return str(getattr(first, field))
    return ", ".join(
        f"{getattr(end.connection_table, field) or NOT_STATED} at {end.name}"
        for end in connection.ends
    )


def _states(connection: Connection, workings: Workings) -> tuple[State, ...]:
    found = []
    for end in connection.ends:
        wire, own = workings.prints(end)
        found.append(State(end=end.name, wire=wire, own=own, map=workings.text(end)))
    return tuple(found)


def _edit(end: str, change: Change) -> EditLine:
    return EditLine(
        end=end,
        level=change.level,
        section=change.section,
        subject=change.subject,
        field=change.field or change.kind,
        before=change.before,
        after=change.after,
    )


def _bits(before: Connection, after: Connection) -> Iterator[BitRow]:
    for old, new in zip(before.directions(), after.directions(), strict=True):
        overlay = Overlay(old.sent, old.received, new.sent, new.received)
        for segment in overlay.segments:
            owners = segment.owners
            cells = [_cell(one) for one in owners]
            yield BitRow(
                direction=new.name,
                place=run_text(segment.start, segment.end),
                before=tuple(cells[:2]),
                after=tuple(cells[2:]),
                # Most bits belong to the very entries of before.
                changed=owners[:2] != owners[2:]
                and [_key(segment, which) for which in (0, 1)]
                != [_key(segment, which) for which in (2, 3)],
            )


def _cell(owners: tuple[Entry, ...]) -> BitOwner:
    names = [owner.name if isinstance(owner, Signal) else "reserved" for owner in owners]
    binds = [owner.bind for owner in owners if isinstance(owner, Signal)]
    return BitOwner(
        what=" and ".join(names) or "not declared", bind=" and ".join(filter(None, binds))
    )


def _key(segment: Segment, which: int) -> list[object]:
    """Return what must stay the same for bits to be unchanged: of a reserved run, its value."""
    return [
        forms(owner) if isinstance(owner, Signal) else carried(owner, segment.start, segment.end)
        for owner in segment.owners[which]
    ]


def _mixed(mix: MixedState) -> Mixed:
    return Mixed(
        updated=mix.updated,
        outdated=mix.outdated,
        disagreeing=tuple(f"{field}: {text}" for field, text in mix.disagreeing),
        tables=tuple(
            MixTable(
                direction=table.direction,
                sent_octets=table.sent_octets,
                expected_octets=table.expected_octets,
                rows=tuple(
                    MixLine(
                        place=run_text(row.at.index, row.at.index + row.width),
                        signal=row.signal,
                        gets=" + ".join(map(str, row.gets)),
                        verdict=row.verdict,
                        consequence=row.consequence,
                    )
                    for row in table.rows
                ),
            )
            for table in mix.tables
        ),
    )


def _times(after: Connection, own_profiles: Mapping[str, Profile] | None) -> Times:
    profile = checks.find_profile(after, own_profiles)
    times = timing(after, profile)
    words = "at least" if times.reaction.missing else "at most"
    permitted = "not stated" if times.permitted_ms is None else f"{times.permitted_ms} ms"
    return Times(
        reaction=f"{words} {times.reaction.known_ms} ms = {times.reaction.formula}",
        permitted=permitted,
        source=times.reaction.source,
    )


def findings_of(after: Connection, workings: Workings) -> Iterable[RecordedFinding]:
    """Return all findings about the maps after a change, those that are allowed last."""
    report = checks.check_judged(after, workings.judged(after), own_profiles=workings.own_profiles)
    for finding in report.findings:
        yield _found(finding, "")
    for waived in report.waived:
        yield _found(waived.finding, waived.reason)


def _found(finding: Finding, reason: str) -> RecordedFinding:
    return RecordedFinding(
        rule=finding.rule,
        severity=finding.severity,
        scope=finding.direction or finding.connection,
        message=finding.message,
        remedy=finding.remedy,
        culprits=tuple(dict.fromkeys(map(_culprit, finding.spots))),
        allowed=reason,
    )


def _culprit(spot: Spot) -> str:
    """Return who is meant, without path and line: those change with every comment."""
    place = "" if spot.place is None else str(spot.place)
    return " ".join(filter(None, (spot.end, place, spot.signal)))
