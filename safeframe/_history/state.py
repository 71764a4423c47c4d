"""The maps of a site in one state: read, paired, and what of it could not be judged."""

from __future__ import annotations

import hashlib
import os
import posixpath
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from .. import _mapfile as mapfile
from .._document.kinds import NAME, RefusalError
from .._document.reader import decode
from .._document.toml import parse
from .._errors import InputError, Problem, UsageError
from .._model import Connection, End, Map
from .._pairing.gather import sort_out
from .._source import Location
from .git import open_checkout, open_revision
from .sources import PLANT, DiskSource, FoundFile, MapSource, RevisionSource, is_hidden, may_be_map

_POINTER = re.compile(rb"version \S+/spec/v\d+\n(?:[^\n]*\n)*oid sha256:[0-9a-f]{64}\nsize \d+\n")
_MAP = "safeframe-map"
"""How the format of every map begins, also that of a later edition."""

_TABLES = {"connection", "end", "sends", "receives"}
"""A table of these names makes a TOML file a map, whatever its format says."""


class MapFile(NamedTuple):
    """A map of a state: its path below the root, the one that is shown, the SHA-256 of its octets.

    Two files of one digest, one of them TOML and one CSV, are not the same map.
    """

    path: str
    shown: str
    digest: str
    end: End

    @property
    def format(self) -> str:
        """How the file is written: ``toml`` or ``csv``."""
        return _format(self.path)


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteState:
    """The maps of a site as they stand in one state: a folder, a plant file, or a revision of it.

    ``connections`` are the pairs, in the order of their files; ``alone`` the ends that have no
    partner, or several that could be, those of one connection together. ``sites`` are indices of
    connections that are one site: those of a plant file, or of one folder. ``others`` and
    ``unread`` are the paths of files that are no maps, or cannot be read as such; ``problems`` say
    why. ``plants`` are the paths of plant files, each with the SHA-256 of what it says besides
    which maps are connected. ``untracked`` are the paths, as shown, of maps and plant files of a
    checkout that git does not hold.

    >>> state = safeframe.read_site(".")
    >>> [connection.name for connection in state.connections]
    ['SC1-LX']
    """

    title: str
    connections: tuple[Connection, ...] = ()
    alone: tuple[tuple[End, ...], ...] = ()
    sites: tuple[tuple[int, ...], ...] = ()
    files: tuple[MapFile, ...] = ()
    others: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    plants: tuple[tuple[str, str], ...] = ()
    untracked: tuple[str, ...] = ()


def read_site(
    path: str | os.PathLike[str],
    *,
    revision: str = "",
    checkout: bool = False,
    known: SiteState | None = None,
) -> SiteState:
    """Read the maps of a folder and of all below it, or those that a plant file lists.

    ``revision`` reads them as a commit of the git repository around them holds them; there are none
    in HEAD before the first commit. Files are
    paired as everywhere: by the plant file of their folder, else by connection and names of the
    ends. ``checkout`` says that the files are one: git is asked what is left out of it and what it
    does not hold, and the folder may be gone. ``known`` is another state: a file that has the same
    octets there is not read again. Raises UsageError for a path or a revision that is not there;
    what is wrong with single files is in ``problems``.

    >>> safeframe.read_site(".").problems
    ()
    """
    root = os.fspath(path)
    plant = os.path.basename(root) if root.endswith(PLANT) else ""  # noqa: PTH119
    folder = (os.path.dirname(root) or ".") if plant else root  # noqa: PTH120
    if not revision:
        if not os.path.isdir(folder):  # noqa: PTH112
            if not checkout:
                raise UsageError(f"a site must be a folder or a plant file, not {root}")
            return _as_checked_out(SiteState(title=root), folder)
        state = _Reader(DiskSource(folder), known).state(root, plant)
        return _as_checked_out(state, folder) if checkout else state
    found = open_revision(folder, revision)
    if not found.name:  # As git does it, which compares a first commit with nothing.
        return SiteState(title=f"{root} before the first commit")
    with RevisionSource.opened(folder, found) as source:
        return _Reader(source, known).state(f"{root} at {revision}", plant)


def _as_checked_out(state: SiteState, folder: str) -> SiteState:
    """Return a state that says what is not on the disk, and what is there only."""
    source = DiskSource(folder)
    read = [*(one.path for one in state.files), *(path for path, _ in state.plants)]
    found = open_checkout(folder, whole=any(path.startswith("..") for path in read))
    # Git may be told to pass a file over that lies on the disk all the same.
    named = (path for path in found.left_out if may_be_map(path))
    gone = [path for path in named if not os.path.lexists(source.shown(path))]
    message = "the file must be on the disk, not left out by a sparse checkout"
    problems = [Problem(path=source.shown(path), message=message) for path in gone]
    message = "a repository inside the repository must be checked out to be looked into"
    empty = (path for path in found.empty if not is_hidden(path))
    problems += (Problem(path=source.shown(path), message=message) for path in empty)
    files, folders = set(found.untracked), tuple(one for one in found.untracked if one[-1] == "/")
    return replace(
        state,
        unread=(*state.unread, *gone),
        problems=(*state.problems, *problems),
        untracked=tuple(
            source.shown(path) for path in sorted(read) if path in files or path.startswith(folders)
        ),
    )


class _Reader:
    """One pass over the files of a state."""

    def __init__(self, source: MapSource, known: SiteState | None) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.others: list[str] = []
        self.maps: dict[str, MapFile | None] = {}
        self.unread: list[str] = []
        self.plants: list[tuple[str, str]] = []
        self.known = {(one.digest, one.format): one for one in (known.files if known else ())}

    def state(self, title: str, plant: str) -> SiteState:
        """Read everything and pair it."""
        if plant:
            files, plants = [], [plant]
        else:
            files = list(self.source.files())
            plants = [one.path for one in files if posixpath.basename(one.path) == PLANT]
        pairs: dict[object, Connection] = {}
        groups: dict[str, list[object]] = {}
        for one in plants:
            listed = self._listed(one)
            pairs = listed | pairs  # Two plants may list one pair.
            groups[one] = list(listed)
        if plant:  # What it lists beside a file that cannot be read is told as well.
            files = [FoundFile(path, self.source.shown(path)) for path in self.maps]
        taken = {end.where.path for connection in pairs.values() for end in connection.ends}
        left: dict[str, list[End]] = {}
        for file in files:
            if file.path.endswith(PLANT):
                if file.path not in plants:
                    self._named_like_a_plant(file)
                continue
            found = self._map(file)
            if found is not None and found.shown not in taken:
                left.setdefault(posixpath.dirname(file.path), []).append(found.end)
        alone: list[End] = []
        for folder, ends in left.items():
            matched, rest = sort_out(ends)
            pairs |= {id(connection): connection for connection in matched}
            groups[f"{folder}/"] = list(map(id, matched))
            alone += rest
        # The ends of one connection may lie in two folders.
        matched, alone = sort_out(alone)
        pairs |= {id(connection): connection for connection in matched}
        groups["//"] = list(map(id, matched))
        self.problems += self.source.refused()
        numbers = {key: number for number, key in enumerate(pairs)}
        return SiteState(
            title=title,
            connections=tuple(pairs.values()),
            alone=tuple(_together(alone)),
            sites=tuple(tuple(numbers[key] for key in keys) for keys in groups.values() if keys),
            files=tuple(one for one in self.maps.values() if one is not None),
            others=tuple(self.others),
            unread=tuple(self.unread),
            problems=tuple(self.problems),
            plants=tuple(self.plants),
        )

    def _listed(self, plant: str) -> dict[object, Connection]:
        """Return the connections that a plant file lists, each pair of files once."""
        shown = self.source.shown(plant)
        folder = posixpath.dirname(plant)
        pairs: dict[object, Connection] = {}
        try:
            text = decode(self.source.octets(plant, "plant file"), path=shown, what="plant file")
            data = parse(text, path=shown)
            rows = [
                tuple(self.source.named(folder, name) for name in names)
                for names in _rows(data, shown)
            ]
        except InputError as error:
            self.problems += error.problems
            return {}
        self.plants.append((plant, _besides(data)))
        for paths in rows:
            first, second = (self._listed_map(one) for one in paths)
            if first is not None and second is not None:
                key = tuple(sorted(paths))
                pairs.setdefault(key, Connection(first=first.end, second=second.end))
        return pairs

    def _listed_map(self, path: str) -> MapFile | None:
        found = self._map(FoundFile(path, self.source.shown(path)))
        if path in self.others:
            self.others.remove(path)
            message = "a plant file must list maps, and this is none"
            self.problems.append(Problem(path=self.source.shown(path), message=message))
            self.unread.append(path)
        return found

    def _named_like_a_plant(self, file: FoundFile) -> None:
        """Keep a file that is no map by its name; one that holds a map all the same is refused."""
        try:
            octets = self.source.octets(file.path, "plant file")
        except InputError as error:
            self._refuse(file, error)
            return
        if _is_none(octets, _format(file.path)):
            self.others.append(file.path)
            return
        message = f"a map must have a name that does not end in {PLANT}, as that of a plant file"
        self._refuse(file, InputError(Problem(path=file.shown, message=message)))

    def _map(self, file: FoundFile) -> MapFile | None:
        """Return a map, None for what is none or cannot be read; each file is read once."""
        if file.path not in self.maps:
            self.maps[file.path] = self._read(file)
        return self.maps[file.path]

    def _read(self, file: FoundFile) -> MapFile | None:
        try:
            octets = self.source.octets(file.path, "map file")
        except InputError as error:
            self._refuse(file, error)
            return None
        digest = hashlib.sha256(octets).hexdigest()
        known = self.known.get((digest, _format(file.path)))
        if known is not None:
            return MapFile(file.path, file.shown, digest, _at(known.end, file.shown))
        try:
            if _POINTER.match(octets):
                message = (
                    "the file must hold a map, not a pointer to content that is kept elsewhere"
                )
                remedy = "fetch the content and commit it as it is"
                raise InputError(Problem(path=file.shown, message=message, remedy=remedy))
            text = decode(octets, path=file.shown, what="map file")
            end = mapfile.loads(text, path=file.shown, format=_format(file.path))
        except InputError as error:
            if _is_none(octets, _format(file.path)):
                self.others.append(file.path)
            else:
                self._refuse(file, error)
            return None
        return MapFile(file.path, file.shown, digest, end)

    def _refuse(self, file: FoundFile, error: InputError) -> None:
        self.problems += error.problems
        self.unread.append(file.path)


def _format(path: str) -> str:
    return path.rpartition(".")[2].lower()


def _is_none(octets: bytes, format: str) -> bool:  # noqa: A002
    """Return whether a file plainly is something else than a map."""
    try:
        text = octets.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError:
        return False
    if format == "csv":
        # Some programs put empty rows or a line of their own above the header.
        rows = (row for row in text.lower().splitlines() if row.strip(' \t,;"'))
        header = next(rows, "")
        return bool(text.strip()) and not ("direction" in header or _MAP in text)
    try:
        data = parse(text, path="")
    except InputError:
        return False
    stated = str(data.get("format"))
    if stated.startswith("safeframe-"):
        # Other files of this program have keys of these names, such as words of a sheet.
        held = (data.get(name) for name in _TABLES)
        return not (stated.startswith(_MAP) or any(map(_is_of_map, held)))
    return bool(data) and not _TABLES & data.keys()


def _is_of_map(value: object) -> bool:
    """Return whether a value is a table, or has tables in it, as each part of a map."""
    return isinstance(value, dict) or (
        isinstance(value, list) and any(isinstance(row, dict) for row in value)
    )


def _rows(data: Mapping[str, Any], shown: str) -> list[tuple[str, str]]:
    """Return the map files of each connection; all else in a plant file is for others to judge."""
    rows = data.get("connections")
    found: list[tuple[str, str]] = []
    if isinstance(rows, list):
        for row in rows:
            try:
                first, second = (NAME.read(name) for name in row["ends"])
            except (KeyError, TypeError, ValueError, RefusalError):
                found.clear()
                break
            found.append((first, second))
    if not found:
        message = "connections must be an array of tables, each with ends = [MAP, MAP]"
        raise InputError(Problem(path=shown, key="connections", message=message))
    return found


def _besides(data: Mapping[str, Any]) -> str:
    """Return the SHA-256 of what a plant file says besides which maps are connected.

    Comments, the order of keys and that of the connections are not in it.
    """
    rows = [{name: row[name] for name in row if name != "ends"} for row in data["connections"]]
    rest = {name: value for name, value in data.items() if name != "connections"}
    text = "\n".join([_spelled(rest), *sorted(map(_spelled, rows))])
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


def _spelled(value: Any) -> str:
    """Return one text for equal values of a TOML file; an integer may be too long for decimals."""
    if type(value) is dict:
        inside = (f"{name!r}: {_spelled(value[name])}" for name in sorted(value))
        return f"{{{', '.join(inside)}}}"
    if type(value) is list:
        return f"[{', '.join(map(_spelled, value))}]"
    return hex(value) if type(value) is int else repr(value)


def _together(ends: Iterable[End]) -> list[tuple[End, ...]]:
    """Return ends of one connection together."""
    groups: dict[str, list[End]] = {}
    for end in ends:
        groups.setdefault(end.connection_table.name, []).append(end)
    return [tuple(group) for group in groups.values()]


def _at(end: End, path: str) -> End:
    """Return an end as another file with the same text states it."""
    if end.where.path == path:
        return end
    return replace(
        end,
        sends=_map_at(end.sends, path),
        receives=_map_at(end.receives, path),
        relations=tuple(replace(one, where=_moved(one.where, path)) for one in end.relations),
        allowances=tuple(replace(one, where=_moved(one.where, path)) for one in end.allowances),
        where=_moved(end.where, path),
    )


def _map_at(given: Map, path: str) -> Map:
    entries = tuple(replace(one, where=_moved(one.where, path)) for one in given.entries)
    return Map(entries=entries, where=_moved(given.where, path))


def _moved(where: Location, path: str) -> Location:
    return Location(path=path, line=where.line, key=where.key)
