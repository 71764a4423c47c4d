"""What is told of one connection of a plant: its row, the cells of it, and what is open."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from .. import _checks as checks
from .. import record
from .._findings import Finding, NotJudged
from .._model import Connection
from .._source import Location
from .._words import count, listed
from ..record import Assessment, Record, RecordPoint
from ..record._people import state_number

COLUMNS = ("agree", "read back", "tested", "signed", "valid")
"""What is told of every connection, in this order."""


KEEPER = "who keeps the maps"
"""Who does what no machine asks for."""

NOT_JUDGED = "not judged"
"""Marks what nobody could look at."""

NO_KEY = "no key"
"""Marks a record that nobody signed with a key as it stands, approvals aside."""

NO_STEPS = "no steps"
"""Marks the tests of a record that asks for none."""


class GateCell(NamedTuple):
    """One cell of the table: ``good``, ``open`` (still to be done) or ``fault``, and its words.

    ``mark`` is what tells it from others of its state, empty where nothing does.
    """

    state: str
    text: str
    mark: str = ""


class GatePoint(NamedTuple):
    """One thing that is wrong (``fault``) or still to be done, and who does what about it.

    ``aspect`` is ``maps``, ``device files``, ``record``, ``request``, ``read back``, ``tests``,
    ``approvals``, ``signatures``, ``serials`` or ``evidence``. What is done at a device names its
    end as ``machine`` and its ``serial`` number where that is known; all else has a ``person``.
    ``command`` is to be completed and pasted, empty where there is none.
    """

    aspect: str
    text: str
    fault: bool
    step: str
    machine: str = ""
    person: str = ""
    command: str = ""
    serial: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateRow:
    """One connection of the plant file, judged.

    ``number`` counts from 1 in the order of the file, ``ends`` are empty where the maps cannot be
    read. ``findings`` are what is wrong between the maps, raw before the whole plant is settled.
    ``outline`` is the connection without its signals, unless a route needs them. ``seal`` is that
    of the first entry of the record that tells of its very devices. ``asked`` are the names of
    what the plant file demands of it, ``recordings`` those that are evidence in its record, each
    with what it would be recognised by at another connection, and its name; ``unclean`` are the
    names of those that are not clean. ``held`` are the ends that were held against a device file,
    ``unchecked`` the signature files that no allowed signers were named for, ``of_age`` what cannot
    be judged of a record because an older release made it.
    """

    number: int
    name: str
    ends: tuple[str, ...]
    maps: tuple[str, ...]
    where: Location
    record: str
    findings: tuple[Finding, ...]
    points: tuple[GatePoint, ...]
    read_back: GateCell
    tested: GateCell
    signed: GateCell
    valid: GateCell
    not_judged: tuple[NotJudged, ...] = ()
    notes: tuple[str, ...] = ()
    outline: Connection | None = None
    seal: str = ""
    asked: tuple[str, ...] = ()
    recordings: tuple[tuple[str, str], ...] = ()
    unclean: tuple[str, ...] = ()
    held: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()
    of_age: tuple[str, ...] = ()

    @property
    def failing(self) -> tuple[Finding, ...]:
        """The findings that count: all but notes."""
        return tuple(finding for finding in self.findings if finding.severity != "note")

    @property
    def of_devices(self) -> tuple[Finding, ...]:
        """The findings about the devices and their record, not about maps."""
        return tuple(one for one in self.findings if one.rule in checks.RECORD_RULES)

    @property
    def in_order(self) -> bool:
        """Whether everything demanded was looked at and nothing is wrong or open."""
        return not self.failing and not self.points

    @property
    def agree(self) -> GateCell:
        """Whether the maps agree, with each other and with the device files named."""
        wrong = [point for point in self.points if point.aspect in ("maps", "device files")]
        if any(point.aspect == "maps" for point in wrong):
            return not_judged_cell()
        differing = [one for one in self.failing if one.rule not in checks.RECORD_RULES]
        if differing:
            return GateCell("fault", count(len(differing), "finding"))
        if wrong:
            state = "fault" if any(point.fault for point in wrong) else "open"
            return GateCell(state, "device file" if state == "fault" else "no device file")
        return GateCell("good", "yes")

    @property
    def cells(self) -> tuple[GateCell, ...]:
        """The cells of the table, as COLUMNS names them."""
        return self.agree, self.read_back, self.tested, self.signed, self.valid


def not_judged_cell() -> GateCell:
    """Return the cell of what nobody could look at."""
    return GateCell("fault", NOT_JUDGED, NOT_JUDGED)


def copied(row: GateRow, others: Iterable[GateRow]) -> GateRow:
    """Return a row whose record holds the very entries of those of other rows."""
    point = GatePoint(
        "record",
        f"{row.record} holds the very entries of {_records(others)}: what was read back and tried "
        "at one connection says nothing about another",
        True,
        "make, test and sign a record for each connection",
        person=KEEPER,
    )
    return replace(row, points=(*row.points, point), valid=GateCell("fault", "no"))


def shared_recording(row: GateRow, recording: str, others: Iterable[GateRow]) -> GateRow:
    """Return a row with a recording that is evidence for other rows with the same maps as well."""
    point = GatePoint(
        "evidence",
        f"{recording} is evidence in {_records(others)} too, whose maps are the same: nobody can "
        "tell which of them it is a recording of",
        False,
        "record each connection by itself",
        person="who tests",
    )
    return replace(row, points=(*row.points, point))


def _records(rows: Iterable[GateRow]) -> str:
    return listed([f"{row.record} of {row.name}" for row in rows])


def maps_point(text: str) -> GatePoint:
    """Return the point about maps that could not be judged."""
    return GatePoint("maps", text, True, f"mend the maps: {text}", person=KEEPER)


def _about(own: Sequence[RecordPoint], aspect: str) -> list[RecordPoint]:
    return [point for point in own if point.aspect == aspect]


def _state(points: Sequence[RecordPoint]) -> str:
    if any(point.fault for point in points):
        return "fault"
    return "open" if points else "good"


def read_back_cell(made: Record, own: Sequence[RecordPoint]) -> GateCell:
    points = _about(own, "read back")
    differing = [point.subject for point in points if point.fault]
    if differing:
        return GateCell("fault", f"{' and '.join(differing)} differs")
    lacking = {point.subject for point in points}
    done = [end for end in made.ends if end not in lacking]
    if not lacking:
        return GateCell("good", "both ends")
    return GateCell("open", f"only {done[0]}" if done else "no")


def tested_cell(made: Record, own: Sequence[RecordPoint]) -> GateCell:
    points = _about(own, "tests")
    failed = sum(point.fault for point in points)
    total = len(made.steps)
    left = len({point.subject for point in points})
    text = f"{total - left} of {total}"
    text += f", {failed} failed" if failed else ""
    return GateCell(_state(points), text, "" if total else NO_STEPS)


def signed_cell(made: Record, own: Sequence[RecordPoint], signed: Assessment) -> GateCell:
    points = _about(own, "approvals")
    names = {name for row in made.people.approvals if (name := record.person(row.who))}
    last = state_number(made.history)
    accepted = [row for row in signed.signatures if row.accepted]
    keys = sorted({row.by for row in accepted if row.entries >= last})
    text = f"{len(names)} of {record.APPROVALS}"
    text += f", key of {' and '.join(keys)}" if keys else f", {NO_KEY}"
    if accepted and not keys:
        text += " over all"
    wrong = any(row.signers and not row.accepted for row in signed.signatures)
    return GateCell("fault" if wrong else _state(points), text, "" if keys else NO_KEY)
