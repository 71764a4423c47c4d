"""Read the tables of a TOML file by the keys that they know, collecting problems on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from .._source import Location
from .keys import MapKey
from .kinds import RefusalError, show
from .locate import Path, key_path
from .problems import Problems, nearest

__all__ = ["Tables"]


class Tables:
    """The plain data of one file; ``line_of`` says where a statement stands."""

    def __init__(self, problems: Problems, line_of: Callable[[Path], int]) -> None:
        self.path = problems.path
        self.problems = problems
        self.line_of = line_of

    def head(self, data: Mapping[str, Any], format: str, what: str, known: Iterable[str]) -> None:  # noqa: A002
        """Judge the key ``format`` and the names of all others; InputError for another format."""
        stated = data.get("format")
        if stated is None:
            self.add((), f'format must be stated as "{format}"')
        elif stated != format:
            # Nothing else can be judged by the rules of another edition of the format.
            self.add(("format",), f'format must be "{format}", not {show(stated)}')
            self.problems.refuse()
        for name in data:
            if name != "format" and name not in known:
                self.unknown((name,), what, ("format", *known))

    def add(self, path: Path, message: str, *, remedy: str = "") -> None:
        """Keep one problem."""
        line = self.line_of(path) if path else 0
        self.problems.add(line, key_path(path), message, remedy)

    def unknown(self, path: Path, what: str, known: Iterable[str]) -> None:
        """Keep the problem of an unknown key, with the nearest known one where there is one."""
        key = str(path[-1])
        message = f"a key must be one that {what} knows, not {show(key)}"
        self.add(path, message, remedy=nearest(key, known))

    def take(
        self, table: Any, keys: Mapping[str, MapKey], path: Path, what: str
    ) -> dict[str, Any] | None:
        """Read one table by its keys; None when it has a problem."""
        before = len(self.problems)
        if table is None:
            table = {}
        if type(table) is not dict:
            self.add(path, f"{key_path(path)} must be a table, not {show(table)}")
            return None
        values: dict[str, Any] = {}
        for name, value in table.items():
            key = keys.get(name)
            if key is None:
                self.unknown((*path, name), what, keys)
                continue
            try:
                values[name] = key.kind.read(value)
            except RefusalError as refusal:
                self.add((*path, name), f"{name} must be {refusal}")
        for name, key in keys.items():
            if key.required and name not in table:
                self.add((*path, name), f"{name} must be stated")
        return values if len(self.problems) == before else None

    def rows(self, array: Any, name: str) -> list[tuple[Path, dict[str, Any]]]:
        """Return path and table of every element of an array of tables."""
        if array is None:
            return []
        if type(array) is not list:
            self.add((name,), f"{name} must be an array of tables, not {show(array)}")
            return []
        rows: list[tuple[Path, dict[str, Any]]] = []
        for number, row in enumerate(array):
            if type(row) is dict:
                rows.append(((name, number), row))
            else:
                self.add((name, number), f"an entry of {name} must be a table, not {show(row)}")
        return rows

    def where(self, path: Path) -> Location:
        """Return the location of a statement."""
        return Location(path=self.path, line=self.line_of(path), key=key_path(path))
