"""What one connection of a plant lacks before it may be released: every demand, looked at."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from .. import _checks as checks
from .. import record
from .._checks.told import unselected
from .._errors import InputError, Problem, SafeframeError
from .._findings import Finding, NotJudged
from .._model import Connection, End, Map
from ..protocols import Profile
from ..record import Assessment, EvidenceAct, ReadBackAct, Record
from ..record._assess import of_age, verify_with
from ..record._workings import Workings
from .file import ListedConnection, Reader
from .gaterow import (
    KEEPER,
    GateCell,
    GatePoint,
    GateRow,
    maps_point,
    not_judged_cell,
    read_back_cell,
    signed_cell,
    tested_cell,
)
from .recordsteps import lacking, no_record, unseen, unsigned, void

_FILES = "who keeps the plant file"


class GateSettings(NamedTuple):
    """What all rows have in common: the folder of the plant file, and what was given beside it.

    ``on_routes`` are the ends of all routes: their connections are kept whole.
    """

    folder: str
    signers: str = ""
    own_profiles: Mapping[str, Profile] | None = None
    on_routes: frozenset[str] = frozenset()


class SignatureFiles:
    """The signature files of folders of records, each folder listed once."""

    def __init__(self) -> None:
        self._names: dict[str, dict[str, list[str]]] = {}

    def beside(self, path: str) -> Sequence[str]:
        """Return the names of the files that may be signatures of a record."""
        folder, name = os.path.split(path)
        if folder not in self._names:
            names: dict[str, list[str]] = {}
            for entry in os.scandir(folder or "."):
                stem = entry.name.removesuffix(".sig")
                # A file may be that of every record whose name it begins with, up to a dot.
                while stem != entry.name and stem:
                    names.setdefault(stem, []).append(entry.name)
                    stem = stem.rpartition(".")[0]
            self._names[folder] = names
        return self._names[folder].get(name, ())


def judge(
    number: int, given: ListedConnection, settings: GateSettings, files: SignatureFiles
) -> tuple[GateRow, Connection | None]:
    """Return the row of one connection, and the connection where its maps could be read.

    Nothing that is wrong with one of its files stops the others.
    """
    reader = Reader(settings.folder, None, settings.own_profiles)
    connection = reader.connection(given.where, given.values)
    path = given.values.get("record", "")
    path = reader.path_of(path) if path else ""
    made = reader.done.get(path)
    known = [reader.done.get(reader.path_of(name)) for name in given.values["ends"]]
    maps = tuple(reader.path_of(name) for name in given.values["ends"])
    judged = _Judge(number, given, settings, maps, path)
    judged.files(reader.problems, connection)
    if connection is not None:
        judged.maps(connection)
    if not path:
        judged.no_record()
    elif isinstance(made, Record):
        judged.record(made, connection, files)
    else:
        judged.cells = (not_judged_cell(),) * 3
        judged.valid = GateCell("fault", "unreadable")
    judged.demands(connection, made if isinstance(made, Record) else None)
    row = judged.row(connection)
    if connection is None:
        row = replace(row, name=_name(known, made, given))
    return row, connection


def _name(known: Iterable[object], made: object, given: ListedConnection) -> str:
    """Return the name of a connection by an end or a record that can be read, or by its files."""
    names = [end.connection_table.name for end in known if isinstance(end, End)]
    names += [made.computed.connection] if isinstance(made, Record) else []
    return next(filter(None, names), " and ".join(given.values["ends"]))


class _Judge:
    """Collects what is wrong or open at one connection."""

    def __init__(
        self,
        number: int,
        given: ListedConnection,
        settings: GateSettings,
        maps: tuple[str, ...],
        path: str,
    ) -> None:
        self.number, self.given, self.settings = number, given, settings
        self.paths, self.path = maps, path
        self.points: list[GatePoint] = []
        self.findings: list[Finding] = []
        self.held: tuple[str, ...] = ()
        self.not_judged: tuple[NotJudged, ...] = ()
        self.notes: list[str] = []
        self.cells: tuple[GateCell, ...] = ()
        self.valid = GateCell("open", "no record")
        self.serials: dict[str, str] = {}
        self.workings = Workings(settings.own_profiles)
        self.seal = ""
        self.recordings: list[tuple[str, str]] = []
        self.unclean: tuple[str, ...] = ()
        self.unchecked: tuple[str, ...] = ()
        self.of_age: tuple[str, ...] = ()

    def files(self, problems: Iterable[Problem], connection: Connection | None) -> None:
        """Take up what is wrong with the files of the connection."""
        # A map that is named as the record too is wrong as a record only.
        maps = {*self.paths} - ({self.path} if connection is not None else set())
        for problem in problems:
            aspect = "device files"
            if problem.path in maps:
                aspect = "maps"
            elif problem.path == self.path:
                aspect = "record"
            elif problem.key.startswith(f"{self.given.where.key}.serials"):
                aspect = "serials"
            self.points.append(
                GatePoint(aspect, str(problem), True, f"mend {problem}", person=_FILES)
            )

    def maps(self, connection: Connection) -> None:
        """Judge the maps and what the plant file says about them."""
        for end, device in zip(connection.ends, connection.installed, strict=True):
            self.serials[end.name] = device.serial or device.recorded_serial
        own = self.settings.own_profiles
        try:
            maps = checks.judged_maps(connection, own_profiles=own)
            self.workings = Workings(own, connection=connection, judged=maps)
            seen = checks.by_device_files(connection, maps, own_profiles=own)
            self.findings += seen.findings
            self.findings += checks.across(
                (connection,),
                own_profiles=own,
                without=checks.ACROSS_RULES,
                prints=self.workings.prints,
            )
        except SafeframeError as error:
            self.points.append(maps_point(f"the maps cannot be judged: {error}"))
            return
        self.held = tuple(device.end.name for device in connection.devices)
        self.not_judged = seen.not_judged

    def no_record(self) -> None:
        """Say that there is no record."""
        self.cells = (GateCell("open", "no record"),) * 3
        self.points.append(no_record(self.paths))

    def record(self, made: Record, connection: Connection | None, files: SignatureFiles) -> None:
        """Judge the record by itself, and by the maps where they can be read."""
        self.seal = _first_of_devices(made)
        self.of_age = of_age(made)
        wires = " ".join(state.wire for state in made.computed.after)
        shown = [entry.act for entry in made.history if isinstance(entry.act, EvidenceAct)]
        self.recordings = [(f"{act.sha256} {wires}", act.recording) for act in shown]
        self.unclean = tuple(act.recording for act in shown if act.unclean)
        fits: list[str] = []
        names = self.given.require.get("signatures", ())
        assessed: Assessment | None = None
        try:
            if connection is not None:
                assessed = verify_with(self.workings, made, connection)
                faults = sum(point.fault for point in assessed.points)
                fits += assessed.faults[: len(assessed.faults) - faults]
                assessed = record.with_recordings(assessed, made, connection)
            else:
                assessed = record.assess(made)
            signed = record.with_signatures(
                assessed,
                self.path,
                made,
                signers=self.settings.signers,
                signed_by=names,
                beside=files.beside(self.path),
            )
        except InputError as error:
            fits += map(str, error.problems)
            signed = assessed = assessed or record.assess(made)
        except SafeframeError as error:
            fits.append(f"the record cannot be judged: {error}")
            signed = assessed = assessed or record.assess(made)
        own = assessed.points
        self.notes += signed.notes
        self.unchecked = tuple(row.path for row in signed.signatures if not row.signers)
        if fits[:1] == [record.VOID]:
            self._void(fits, made)
            return
        for text in fits:
            step = "make a record that fits the maps, or restore this one"
            self.points.append(GatePoint("record", text, True, step, person=KEEPER))
        self.points += lacking(self.path, made, own)
        self.points += unsigned(self.path, self.settings.signers, assessed, signed)
        self.cells = (
            read_back_cell(made, own),
            tested_cell(made, own),
            signed_cell(made, own, signed),
        )
        self.valid = GateCell("good", "until edited")
        if connection is None:
            self.valid = not_judged_cell()
        elif fits or any(point.fault for point in own):
            self.valid = GateCell("fault", "no")
        elif own:
            self.valid = GateCell("open", "not yet")

    def _void(self, fits: Sequence[str], made: Record) -> None:
        """Say what differs: nothing that was tested or signed is about the maps that there are."""
        self.points.append(void(fits, self.paths))
        total = len(made.steps)
        self.cells = (
            GateCell("fault", "void"),
            GateCell("fault", f"void, 0 of {total}"),
            GateCell("fault", "void"),
        )
        self.valid = GateCell("fault", "void")

    def demands(self, connection: Connection | None, made: Record | None) -> None:
        """Judge what the plant file asks for besides."""
        asked = self.given.require
        if asked.get("evidence"):
            self.points += unseen(self.path, self.paths, made)
        if connection is None:
            return
        if asked.get("device_files"):
            named = {device.end.name: device for device in connection.devices}
            failed = any(point.aspect == "device files" for point in self.points)
            for end in connection.ends:
                if end.name not in named and not (
                    failed and end.name in self.given.values.get("device_files", {})
                ):
                    text = f"the plant file names no device file of {end.name}"
                    step = f"name the device file of {end.name} in the plant file"
                    self.points.append(GatePoint("device files", text, False, step, person=_FILES))
                for side in unselected(end, named[end.name]) if end.name in named else ():
                    part = f"what {end.name} {side}"
                    text = f"{part} is held against no device file"
                    step = f"select {part} in its device file, too, in the plant file"
                    self.points.append(GatePoint("device files", text, False, step, person=_FILES))
        if asked.get("serials"):
            for end, device in zip(connection.ends, connection.installed, strict=True):
                if not record.person(device.serial):  # A dash states none.
                    text = f"the plant file states no serial number of {end.name}"
                    self.points.append(
                        GatePoint(
                            "serials",
                            text,
                            False,
                            "read the serial number and state it in the plant file",
                            machine=end.name,
                        )
                    )

    def _kept(self, connection: Connection) -> Connection:
        """Return what the rules over all connections look at, with signals only for routes."""
        if self.settings.on_routes & {end.name for end in connection.ends}:
            return connection
        return _outline(connection)

    def row(self, connection: Connection | None) -> GateRow:
        """Return the row."""
        read_back, tested, signed = self.cells
        return GateRow(
            number=self.number,
            name=connection.name if connection else "",
            ends=tuple(end.name for end in connection.ends) if connection else (),
            maps=self.paths,
            where=self.given.where,
            record=self.path,
            findings=tuple(self.findings),
            points=tuple(
                point._replace(serial=self.serials.get(point.machine, "")) for point in self.points
            ),
            read_back=read_back,
            tested=tested,
            signed=signed,
            valid=self.valid,
            not_judged=self.not_judged,
            notes=tuple(self.notes),
            outline=None if connection is None else self._kept(connection),
            seal=self.seal,
            recordings=tuple(self.recordings),
            unclean=self.unclean,
            held=self.held,
            unchecked=self.unchecked,
            of_age=self.of_age,
            asked=tuple(sorted(name for name, value in self.given.require.items() if value)),
        )


def _first_of_devices(made: Record) -> str:
    """Return the seal of the first entry that tells of these very devices, empty for none.

    Each seal is over all entries before it: where two records share it, one is a copy, whatever
    was entered into either of them since.
    """
    for entry in made.history:
        act = entry.act
        read = isinstance(act, ReadBackAct) and record.person(act.serial or "")
        if read or isinstance(act, EvidenceAct):
            return entry.seal
    return ""


def _outline(connection: Connection) -> Connection:
    """Return what the rules over all connections look at, without the signals."""

    def outline(end: End) -> End:
        lines = tuple(
            (key, line)
            for key, line in end.lines
            if key in ("connection", "connection.id", "connection.network", "end", "end.address")
        )
        return replace(end, sends=Map(), receives=Map(), relations=(), parameters=(), lines=lines)

    return replace(
        connection,
        first=outline(connection.first),
        second=outline(connection.second),
        devices=(),
    )
