"""Read the tables of a file by the keys that they know, collecting problems on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from .._errors import UsageError
from .._source import Location
from .._value import dataclass
from .kinds import Kind, RefusalError, show
from .paths import Path, key_path
from .problems import Problems

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key: its kind, whether it must be there, its default, and what it means."""

    kind: Kind
    meaning: str = ""
    required: bool = False
    default: Any = ""


class Tables:
    """The plain data of one file; ``line_of`` says where a statement stands.

    ``whole`` is False when a part of the file could not be read: then nothing is said to be
    missing, because it may stand in that part. ``table`` is the word of the format for a table.
    """

    def __init__(
        self,
        problems: Problems,
        line_of: Callable[[Path], int] = lambda _: 0,
        *,
        whole: bool = True,
        table: str = "a table",
    ) -> None:
        self.path = problems.path
        self.problems = problems
        self.line_of = line_of
        self.whole = whole
        self.table = table

    def head(self, data: Any, format: str, what: str, known: Iterable[str]) -> None:  # noqa: A002
        """Judge the key ``format`` and the names of all others; InputError for another format."""
        if type(data) is not dict:
            self.add((), f"{what} must be {self.table}, not {show(data, self.table)}")
            self.problems.refuse()
        stated = data.get("format")
        if stated is None:
            if self.whole:
                self.add((), f'format must be stated as "{format}"')
        elif stated != format:
            # Nothing else can be judged by the rules of another edition of the format.
            self.add(("format",), f'format must be "{format}", not {show(stated)}')
            self.problems.refuse()
        for name in data:
            if name != "format" and name not in known:
                self.unknown((name,), what, ("format", *known))

    def add(self, path: Path, message: str, *, remedy: str = "", known: Iterable[str] = ()) -> None:
        """Keep one problem."""
        line = self.line_of(path) if path else 0
        self.problems.add(line, path, message, remedy, known)

    def refuse(self, path: Path, refusal: RefusalError, remedy: str = "") -> None:
        """Keep the problem of a value that its kind does not accept."""
        name = path[-1] if path else "the file"
        subject = name if type(name) is str else f"an entry of {path[-2]}"
        shown = show(refusal.value, self.table)
        self.add(path, f"{subject} must be {refusal.requirement}, not {shown}", remedy=remedy)

    def unknown(self, path: Path, what: str, known: Iterable[str]) -> None:
        """Keep the problem of an unknown key, with the nearest known one where there is one."""
        message = f"a key must be one that {what} knows, not {show(path[-1])}"
        self.add(path, message, known=known)

    def missing(self, path: Path, name: str) -> None:
        """Keep the problem of a key that must be there."""
        if self.whole:
            self.add((*path, name), f"{name} must be stated")

    def value(self, kind: Kind, value: Any, path: Path) -> Any:
        """Return a value as its kind reads it; after a problem what is returned means nothing."""
        if kind.inside is not None:
            return kind.inside(self, value, path)
        try:
            return kind.read(value)
        except RefusalError as refusal:
            self.refuse(path, refusal)

    def take(
        self, table: Any, keys: Mapping[str, Key], path: Path, what: str
    ) -> dict[str, Any] | None:
        """Read one table by its keys; None when it has a problem or lacks a key."""
        before = len(self.problems)
        if table is None:
            table = {}
        if type(table) is not dict:
            self.refuse(path, RefusalError(self.table, table))
            return None
        values: dict[str, Any] = {}
        for name, value in table.items():
            key = keys.get(name)
            if key is None:
                self.unknown((*path, name), what, keys)
            elif key.kind.inside is not None:
                values[name] = key.kind.inside(self, value, (*path, name))
            else:  # Most cells: what ``value`` does, without a call and a path for each.
                try:
                    values[name] = key.kind.read(value)
                except RefusalError as refusal:
                    self.refuse((*path, name), refusal)
        lacking = []
        if not keys.keys() <= table.keys():  # A row of a record has all of its keys.
            lacking = [name for name, key in keys.items() if key.required and name not in table]
        for name in lacking:
            self.missing(path, name)
        # What is missing is not always told, but nothing can be made without it.
        return None if lacking or len(self.problems) > before else values

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


def nested(make: Callable[..., Any], keys: Mapping[str, Key], what: str) -> Kind:
    """Return the kind of tables with known keys, each made into a value by ``make``.

    ``make`` gets the keys as keyword arguments and may raise UsageError.
    """
    exact = {name: key.kind.exact for name, key in keys.items()}

    def inside(tables: Tables, value: Any, path: Path) -> Any:
        if type(value) is not dict:
            tables.refuse(path, RefusalError(tables.table, value))
            return None
        values: dict[str, Any] | None = value
        # Most rows of a record hold each key, with a value that is taken as it stands.
        if {name: type(cell) for name, cell in value.items()} != exact:
            values = tables.take(value, keys, path, what)
        if values is None:
            return None
        try:
            return make(**values)
        except UsageError as error:
            tables.add(path, str(error))
            return None

    return Kind(text=what, read=lambda value: value, schema={"type": "object"}, inside=inside)
