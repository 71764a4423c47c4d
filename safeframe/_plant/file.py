"""Plant files: the connections of a site, the devices in them, the sign-off record of each.

A plant file is TOML. Its paths are relative to it. Reading one reads the maps and records that it
names; what is wrong between them is for the checks to say.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from .. import _mapfile as mapfile
from .. import record
from .._document.kinds import FLAG, LINE, NAME, Kind, RefusalError, array
from .._document.paths import Path
from .._document.problems import Problems
from .._document.reader import read_text, shortened
from .._document.tables import Key, Tables, nested
from .._document.toml import located
from .._errors import InputError, Problem, UsageError
from .._model import Connection, DeviceMap, End, Installed, Plant
from .._routes import Route
from .._source import Location
from ..protocols import Profile
from ..record import People, Record
from ..record._editions import origin_of
from .routes import read_cycles, read_routes, routes_schema

FORMAT = "safeframe-plant/1"
"""The value of the key ``format``: the name and edition of this file format."""

Read = Callable[[str], str]
"""Returns the text of a file; raises InputError where it cannot be read."""


def _read_ends(value: Any) -> tuple[str, str]:
    if type(value) is not list or len(value) != 2:
        raise RefusalError("an array of two map files", value)
    first, second = map(NAME.read, value)
    return first, second


def _read_serials(value: Any) -> dict[str, str]:
    if type(value) is not dict:
        raise RefusalError('a table such as { SC1 = "1001", LX = "2001" }', value)
    return {name: NAME.read(serial) for name, serial in value.items()}


DEVICE_FILE: dict[str, Key] = {
    "format": Key(kind=NAME, required=True, meaning="format, as `safeframe import` names it"),
    "file": Key(kind=NAME, required=True, meaning="device file, relative to the plant file"),
    "select": Key(kind=array(NAME), default=(), meaning="what is taken from it"),
    "options": Key(kind=array(NAME), default=(), meaning="decisions, as options"),
}
"""The keys of one device file; the table `imported` of a map states them all."""


def _read_device_files(tables: Tables, value: Any, path: Path) -> dict[str, dict[str, Any]]:
    if type(value) is not dict:
        example = 'a table such as { LX = { format = "esi", file = "lx.xml" } }'
        tables.refuse(path, RefusalError(example, value))
        return {}
    found = {}
    for name, row in value.items():
        taken = tables.take(row, DEVICE_FILE, (*path, name), "a device file")
        if taken is not None:
            found[name] = taken
    return found


REQUIRE: dict[str, Key] = {
    "signatures": Key(kind=array(NAME), meaning="allowed signers, each of whom must have signed"),
    "device_files": Key(kind=FLAG, meaning="whether device files must tell both maps whole"),
    "serials": Key(kind=FLAG, meaning="whether both serial numbers must be stated and read back"),
    "evidence": Key(kind=FLAG, meaning="whether recordings must show the tested steps"),
}
"""What a plant file may ask for besides agreement and a whole, complete, signed record."""

_REQUIRE = nested(dict, REQUIRE, "a table of demands")._replace(
    schema={
        "type": "object",
        "properties": {
            name: {**key.kind.schema, "description": key.meaning} for name, key in REQUIRE.items()
        },
        "additionalProperties": False,
    }
)

CONNECTION: dict[str, Key] = {
    "ends": Key(
        kind=Kind(
            text="array of two paths",
            read=_read_ends,
            schema={"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2},
        ),
        required=True,
        meaning="map files of both ends",
    ),
    "record": Key(kind=LINE, meaning="sign-off record of the last change"),
    "serials": Key(
        kind=Kind(
            text="table of end = serial number",
            read=_read_serials,
            schema={"type": "object", "additionalProperties": {"type": "string", "minLength": 1}},
        ),
        default={},
        meaning="serial number of the device of each end",
    ),
    "device_files": Key(
        kind=Kind(
            text="table of end = device file",
            read=dict,
            schema={
                "type": "object",
                "additionalProperties": {
                    "type": "object",
                    "properties": {
                        name: {**key.kind.schema, "description": key.meaning}
                        for name, key in DEVICE_FILE.items()
                    },
                    "required": ["format", "file"],
                    "additionalProperties": False,
                },
            },
            inside=_read_device_files,
        ),
        default={},
        meaning="device file that the map of an end is held against",
    ),
    "require": Key(kind=_REQUIRE, default={}, meaning="demands of `safeframe verify` on this one"),
}
"""The keys of one connection."""

_PLANT = {
    "name": Key(kind=NAME, required=True, meaning="name of the site"),
    "require": Key(kind=_REQUIRE, default={}, meaning="demands of `safeframe verify`"),
}
_KEYS = ("name", "connections", "require", "cycle_ms", "routes")
_REQUIRED = ("name", "connections")


class ListedConnection(NamedTuple):
    """One connection as a plant file lists it: ``values`` by the keys of CONNECTION, unread files.

    ``require`` are the demands of the site with those of the connection over them.
    """

    where: Location
    values: dict[str, Any]
    require: dict[str, Any]


class Listing(NamedTuple):
    """What a plant file states by itself, without the files that it names."""

    name: str
    folder: str
    rows: tuple[ListedConnection, ...]
    cycles: tuple[tuple[str, int], ...]
    routes: tuple[Route, ...]
    tables: Tables


def load(
    path: str | os.PathLike[str], *, own_profiles: Mapping[str, Profile] | None = None
) -> Plant:
    """Read a plant file with the maps and records that it names; InputError with every problem."""
    name = os.fspath(path)
    text = read_text(name, what="plant file")
    return loads(text, path=name, own_profiles=own_profiles)


def loads(
    text: str,
    *,
    path: str = "plant.toml",
    read: Read | None = None,
    own_profiles: Mapping[str, Profile] | None = None,
) -> Plant:
    """Read a plant from its text; ``read`` stands in for the disk.

    By ``own_profiles`` the fingerprints of older records are computed anew.

    Raises InputError with every problem of the plant file, or of the files that it names.
    """
    plant = listed(text, path=path)
    files = Reader(plant.folder, read, own_profiles)
    connections = [files.connection(row.where, row.values) for row in plant.rows]
    if files.problems:
        raise InputError(*files.problems)
    found = tuple(connection for connection in connections if connection is not None)
    names = {end.name for connection in found for end in connection.ends}
    tables = plant.tables
    for name, _ in plant.cycles:
        if name not in names:
            tables.add(("cycle_ms", name), "a cycle time must be of an end", known=sorted(names))
    tables.problems.refuse()
    return Plant(
        name=plant.name,
        connections=found,
        routes=plant.routes,
        cycles=plant.cycles,
        where=Location(path=path),
    )


def listed(text: str, *, path: str) -> Listing:
    """Return what a plant file states; raises InputError with every problem of it.

    No file that it names is touched.
    """
    data, line_of = located(text, path=path)
    tables = Tables(Problems(path), line_of)
    tables.head(data, FORMAT, "a plant file", _KEYS)
    plant = tables.take({k: data[k] for k in _PLANT if k in data}, _PLANT, (), "a plant file")
    site = (plant or {}).get("require", {})
    rows = tuple(
        ListedConnection(tables.where(where), values, {**site, **values.get("require", {})})
        for where, row in tables.rows(data.get("connections"), "connections")
        if (values := tables.take(row, CONNECTION, where, "a connection")) is not None
    )
    if not data.get("connections"):
        tables.add((), "connections must hold at least one connection")
    cycles = read_cycles(tables, data.get("cycle_ms"))
    routes = read_routes(tables, data.get("routes"))
    tables.problems.refuse()
    assert plant is not None
    folder = os.path.dirname(path)  # noqa: PTH120  (the path stays as it was typed)
    return Listing(plant["name"], folder, rows, cycles, routes, tables)


class Reader:
    """Reads the files that a plant file names, each once, and collects their problems."""

    def __init__(
        self, folder: str, read: Read | None, own_profiles: Mapping[str, Profile] | None = None
    ) -> None:
        self.folder, self.read, self.own_profiles = folder, read, own_profiles
        self.problems: list[Problem] = []
        self.done: dict[str, End | Record | None] = {}

    def connection(self, where: Location, values: Mapping[str, Any]) -> Connection | None:
        """Return one connection, or None after a problem."""
        first, second = (self._load(name, End, self._map) for name in values["ends"])
        path = values.get("record", "")
        made = self._load(path, Record, self._record) if path else None
        if not isinstance(first, End) or not isinstance(second, End):
            return None
        serials = values.get("serials", {})
        for name in sorted(serials.keys() - {first.name, second.name}):
            self.problems.append(
                Problem(
                    path=where.path,
                    line=where.line,
                    key=f"{where.key}.serials.{name}",
                    message=f"a serial must be of {first.name} or {second.name}, not of {name}",
                )
            )
        devices = [
            device
            for name, values_ in values.get("device_files", {}).items()
            if (device := self._device(where, name, values_, (first, second))) is not None
        ]
        people = made.people if isinstance(made, Record) else None
        return Connection(
            devices=tuple(devices),
            first=first,
            second=second,
            installed=tuple(
                _installed(end.name, serials.get(end.name, ""), made, people, self.own_profiles)
                for end in (first, second)
            ),
            record=self.path_of(path) if path else "",
            entry=where,
        )

    def _device(
        self, where: Location, name: str, values: Mapping[str, Any], ends: tuple[End, End]
    ) -> DeviceMap | None:
        """Return what a device file says of an end, or keep the problems."""
        from .. import importing  # deferred: few plants name device files.

        end = next((end for end in ends if end.name == name), None)
        key = f"{where.key}.device_files.{name}"
        try:
            if end is None:
                names = " or ".join(one.name for one in ends)
                raise UsageError(f"a device file must be of {names}, not of {name}")
            path = self.path_of(values["file"])
            if self.read is None:
                source = importing.read_source(path)
            else:
                source = importing.DeviceFile(path, self.read(path).encode("utf-8"))
            return importing.told_by(
                values["format"],
                source,
                values.get("select", ()),
                values.get("options", ()),
                end,
            )
        except InputError as error:
            self.problems += error.problems
        except UsageError as error:
            problem = Problem(path=where.path, line=where.line, key=key, message=str(error))
            self.problems.append(problem)
        return None

    def _load(
        self, name: str, kind: type[End | Record], load: Callable[[str], End | Record]
    ) -> End | Record | None:
        path = self.path_of(name)
        known = self.done.get(path)
        # A file that is named as a map and as a record cannot be both: it is read as each.
        if path not in self.done or not isinstance(known, (kind, type(None))):
            try:
                found: End | Record | None = load(path)
            except InputError as error:
                self.problems += error.problems
                found = None
            if known is not None:
                return found
            self.done[path] = found
        return self.done[path]

    def path_of(self, name: str) -> str:
        """Return the path of a file that the plant file names, as the system opens it."""
        return shortened(os.path.join(self.folder, name))  # noqa: PTH118

    def _map(self, path: str) -> End:
        if self.read is None:
            return mapfile.load(path)
        return mapfile.loads(self.read(path), path=path)

    def _record(self, path: str) -> Record:
        return record.load(path) if self.read is None else record.loads(self.read(path), path=path)


def _installed(
    end: str,
    serial: str,
    made: End | Record | None,
    people: People | None,
    own_profiles: Mapping[str, Profile] | None,
) -> Installed:
    """Return what is known about the device of an end."""
    if not isinstance(made, Record) or people is None:
        return Installed(end=end, serial=serial)
    state = next((state for state in made.computed.after if state.end == end), None)
    row = next((row for row in people.read_backs if row.end == end), None)
    read_back = "missing"
    if row is not None and row.both_stated:
        read_back = "matches" if row.matches else "differs"
    wire, own = "", ""
    if state:
        wire, own = record.fingerprints(made.computed, state, own_profiles=own_profiles)
    return Installed(
        end=end,
        serial=serial,
        wire=wire,
        own=own,
        imported=origin_of(state) if state else None,
        recorded_serial=row.serial if row else "",
        read_back=read_back,
    )


def schema_text() -> str:
    """Return the JSON Schema (2020-12) of a plant file as the text of the file that is shipped."""
    import json  # deferred: only the tests need it.

    row = {
        name: {**key.kind.schema, "description": key.meaning} for name, key in CONNECTION.items()
    }
    connection = {
        "type": "object",
        "properties": row,
        "required": ["ends"],
        "additionalProperties": False,
    }
    described = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        "description": "The connections of a site; paths are relative to the plant file.",
        "type": "object",
        "properties": {
            "format": {"const": FORMAT, "description": "name and edition of the file format"},
            "name": {**NAME.schema, "description": _PLANT["name"].meaning},
            "require": {**_REQUIRE.schema, "description": _PLANT["require"].meaning},
            "connections": {"type": "array", "items": connection, "minItems": 1},
            **routes_schema(),
        },
        "required": ["format", *_REQUIRED],
        "additionalProperties": False,
    }
    return json.dumps(described, indent=2) + "\n"
