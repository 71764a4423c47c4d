"""Which connection of the older state is which of the newer one, whatever its files are called.

A connection goes on where something that tells it apart says so and nothing else could be meant:
names and files, then names and content, then names, then files or ids with one thing more. Where
several could be meant nothing is chosen.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import replace
from typing import Any, NamedTuple

from .._fingerprint import canonical, wire_document
from .._model import Connection, End
from .state import MapFile, SiteState


class Followed(NamedTuple):
    """A connection in both states, or in one; ``rivals`` are others that it could be as well."""

    old: Connection | None
    new: Connection | None
    rivals: tuple[Connection, ...] = ()


class _ToldApart(NamedTuple):
    """What tells a connection apart."""

    connection: Connection
    name: str
    ends: frozenset[str]
    paths: frozenset[str]
    digests: frozenset[str]
    number: Hashable


_Key = Callable[[_ToldApart], Hashable]

_NAMES: _Key = lambda one: (one.name, one.ends)  # noqa: E731
_KEYS: tuple[_Key, ...] = (
    lambda one: (one.name, one.ends, one.paths),
    lambda one: (one.name, one.ends, one.digests),
    _NAMES,
    # One of its names is another: its files or its id must say that it is the same.
    lambda one: (one.paths, one.name),
    lambda one: (one.paths, one.ends),
    lambda one: one.number and (one.paths, one.number),
    lambda one: one.number and (one.name, one.number),
    lambda one: one.number and (one.ends, one.number),
    lambda one: _nameless(one.connection),
    lambda one: one.name,
)
"""What a connection has in common with itself, the surest first; nothing follows from None."""


def follow(before: SiteState, after: SiteState) -> Iterator[Followed]:
    """Yield every connection of both states once, those of the newer state in its order first."""
    olds, news = _known(before), _known(after)
    found: dict[int, _ToldApart] = {}
    rivals: dict[int, list[Connection]] = defaultdict(list)
    gone = set[int]()
    for key in _KEYS:
        left = [one for one in olds if id(one.connection) not in gone]
        waiting = [one for one in news if id(one.connection) not in found]
        if not left or not waiting:
            break
        groups = _groups(left, key)
        for label, group in _groups(waiting, key).items():
            candidates = groups.get(label, [])
            if len(group) == 1 == len(candidates):
                if not _alike(candidates[0], group[0]):
                    continue
                found[id(group[0].connection)] = candidates[0]
                gone.add(id(candidates[0].connection))
            elif candidates:
                for one in group:
                    rivals[id(one.connection)] += [other.connection for other in candidates]
                for other in candidates:
                    rivals[id(other.connection)] += [one.connection for one in group]
    free = {id(one.connection) for one in news if id(one.connection) not in found}
    free |= {id(one.connection) for one in olds if id(one.connection) not in gone}
    for one in news:
        old = found.get(id(one.connection))
        if old is not None:
            yield Followed(old.connection, one.connection)
        else:
            yield Followed(None, one.connection, _still(rivals[id(one.connection)], free))
    for one in olds:
        if id(one.connection) not in gone:
            yield Followed(one.connection, None, _still(rivals[id(one.connection)], free))


def _still(rivals: Iterable[Connection], free: set[int]) -> tuple[Connection, ...]:
    """Return the rivals that nothing else has claimed, each once."""
    return tuple({id(one): one for one in rivals if id(one) in free}.values())


def _alike(old: _ToldApart, new: _ToldApart) -> bool:
    """Return whether more than a name is common: a name can be given to something new."""
    return bool(
        old.ends & new.ends
        or old.paths & new.paths
        or (old.number and old.number == new.number)
        or _nameless(old.connection) == _nameless(new.connection)
    )


def _known(state: SiteState) -> list[_ToldApart]:
    files = {file.shown: file for file in state.files}
    return [_tell(connection, files) for connection in state.connections]


def _tell(connection: Connection, files: dict[str, MapFile]) -> _ToldApart:
    own = [files[end.where.path] for end in connection.ends]
    tables = [end.connection_table for end in connection.ends]
    numbers = {(table.profile, table.network, table.id) for table in tables}
    return _ToldApart(
        connection=connection,
        name=connection.name,
        ends=frozenset(end.name for end in connection.ends),
        paths=frozenset(file.path for file in own),
        digests=frozenset(file.digest for file in own),
        # Ends that differ about it tell nothing apart, whichever of them comes first.
        number=numbers.pop() if len(numbers) == 1 and tables[0].id else None,
    )


def _groups(given: Iterable[_ToldApart], key: _Key) -> dict[Hashable, list[_ToldApart]]:
    groups: dict[Hashable, list[_ToldApart]] = defaultdict(list)
    for one in given:
        label = key(one)
        if label:
            groups[label].append(one)
    return groups


def _nameless(connection: Connection) -> str:
    """Return what both ends say of the wire, without the names of the connection and its ends."""
    return "".join(sorted(canonical(_without(end)) for end in connection.ends))


def _without(end: End) -> Any:
    table = replace(end.connection_table, name="-")
    return wire_document(replace(end, name="one", peer="other", connection_table=table))


def oriented(
    old: Connection, new: Connection, paths: tuple[Callable[[End], str], Callable[[End], str]]
) -> Connection | None:
    """Return the newer connection with its ends in the order of the older one's.

    ``paths`` say where a map is below the root of the older and of the newer state. None where
    nothing tells.
    """
    turned = replace(new, first=new.second, second=new.first)
    signs: tuple[tuple[Callable[[End], Any], Callable[[End], Any]], ...] = (
        (_name, _name),
        paths,
        (_role, _role),
        (_without, _without),
    )
    for of_old, of_new in signs:
        # Counted, since one of both may be another now.
        first, second = map(of_old, old.ends)
        one, two = map(of_new, new.ends)
        straight = _same(first, one) + _same(second, two)
        across = _same(first, two) + _same(second, one)
        if straight != across:
            return new if straight > across else turned
    return None


def _name(end: End) -> str:
    return end.name


def _role(end: End) -> str:
    return end.role


def _same(one: object, two: object) -> bool:
    return bool(one) and one == two
