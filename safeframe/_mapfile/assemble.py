"""Turn the plain data of a map file into an End, or name every problem in it at once.

Plain data is what tomllib returns for a TOML map; the CSV reader makes the same shape. Where a
statement stands is asked of ``line_of``, so that nothing is located twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from .._bits import MAX_OCTETS
from .._document.characters import is_visible
from .._document.kinds import RefusalError, show
from .._document.paths import Path, key_path
from .._document.problems import Problems
from .._document.tables import Tables
from .._document.toml import located
from .._errors import UsageError
from .._model import Allowance, ConnectionTable, End, Map, Provenance, Relation, Reserved, Signal
from .._source import Location
from .._value import replace
from .keys import ALLOW, CONNECTION, END, FORMAT, IMPORTED, RELATION, RESERVED, SIGNAL, TABLES
from .kinds import FLOAT_LIMITS, scalar

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_ANY_ENTRY = {
    name: replace(key, required=name == "at") for name, key in (SIGNAL | RESERVED).items()
}


def assemble(
    data: Mapping[str, Any],
    *,
    problems: Problems,
    line_of: Callable[[Path], int],
    whole: bool = True,
) -> End:
    """Build the End that ``data`` describes; raises InputError with every problem in it.

    ``whole`` is False when rows of the file are missing from ``data``.
    """
    return _Assembly(problems, line_of, whole=whole).end(data)


def read_toml(text: str, *, path: str) -> End:
    """Build the End that a TOML text describes; raises InputError with every problem in it."""
    data, line_of = located(text, path=path)
    return assemble(data, problems=Problems(path), line_of=line_of)


class _Assembly(Tables):
    """One pass over the plain data of one file, collecting problems on the way."""

    def end(self, data: Mapping[str, Any]) -> End:
        """Build the whole End or raise InputError."""
        self.head(data, FORMAT, "a map file", TABLES)
        connection_table = self.take(
            data.get("connection"), CONNECTION, ("connection",), "a connection"
        )
        owner = self.take(data.get("end"), END, ("end",), "an end")
        sends = self.entries(data.get("sends"), "sends")
        receives = self.entries(data.get("receives"), "receives")
        relations = self.relations(data.get("relations"))
        allowances = [
            Allowance(**values, where=self.where(path))
            for path, row in self.rows(data.get("allow"), "allow")
            if (values := self.take(row, ALLOW, path, "an allowance")) is not None
        ]
        parameters = self.parameters(data.get("parameters"))
        origin = None
        if "imported" in data:
            origin = self.take(data["imported"], IMPORTED, ("imported",), "an imported table")
        self.problems.refuse()
        assert connection_table is not None
        assert owner is not None
        return End(
            **owner,
            connection_table=ConnectionTable(**connection_table),
            sends=Map(entries=sends, where=self.where(("sends",))),
            receives=Map(entries=receives, where=self.where(("receives",))),
            relations=relations,
            parameters=parameters,
            allowances=tuple(allowances),
            imported=None if origin is None else Provenance(**origin),
            where=Location(path=self.path),
            lines=self.lines(data),
        )

    def entries(self, array: Any, name: str) -> tuple[Signal | Reserved, ...]:
        """Build the entries of one direction, leaving out those that have a problem."""
        entries: list[Signal | Reserved] = []
        for path, row in self.rows(array, name):
            run = "reserved" in row
            if run == ("name" in row):
                count = "both" if run else "neither"
                self.add(path, f"an entry must have either name or reserved, not {count}")
                self.take(row, _ANY_ENTRY, path, "an entry")
                continue
            entry = self.reserved(row, path) if run else self.signal(row, path)
            if entry is not None:
                entries.append(entry)
                if entry.end > 8 * MAX_OCTETS:
                    self.add(
                        (*path, "at"),
                        f"an entry must end within {MAX_OCTETS} octets, "
                        f"not {entry.width} bits at {entry.at}",
                    )
        return tuple(entries)

    def signal(self, row: dict[str, Any], path: Path) -> Signal | None:
        """Build one signal, or keep its problems and return None."""
        values = self.take(row, SIGNAL, path, "a signal")
        if values is None:
            return None
        width, kind = values.get("width"), values.get("type")
        if kind is None and width is not None and width != 1:
            kind = values["type"] = "uint"
        if kind in ("float", "code") and width is None:
            self.add((*path, "width"), f"width must be stated for a signal of type {kind}")
            return None
        if "codes" in values and kind != "code":
            self.add(
                (*path, "codes"), f"codes must stand with type code, not with {kind or 'bool'}"
            )
            return None
        try:
            signal = Signal(**values, where=self.where(path))
        except UsageError as error:
            culprit = "order" if values.get("order") == "big" else "width"
            self.add((*path, culprit), str(error))
            return None
        return signal if self.fits(signal, path) else None

    def reserved(self, row: dict[str, Any], path: Path) -> Reserved | None:
        """Build one reserved run, or keep its problems and return None."""
        values = self.take(row, RESERVED, path, "a reserved run")
        if values is None:
            return None
        width = values.pop("reserved")
        try:
            return Reserved(**values, width=width, where=self.where(path))
        except UsageError as error:
            self.add((*path, "value"), str(error))
            return None

    def relations(self, array: Any) -> tuple[Relation, ...]:
        """Build the relations, leaving out those that have a problem."""
        found: dict[str, Relation] = {}
        for path, row in self.rows(array, "relations"):
            values = self.take(row, RELATION, path, "a relation")
            if values is None:
                continue
            try:
                relation = Relation(**values, where=self.where(path))
            except UsageError as error:
                self.add(path, str(error))
                continue
            if relation.name in found:
                self.add(
                    (*path, "name"),
                    f"name must stand once among the relations, not {show(relation.name)} again",
                )
            found[relation.name] = relation
        return tuple(found.values())

    def fits(self, signal: Signal, path: Path) -> bool:
        """Tell whether the safe value and the codes fit the type and width of the signal."""
        before = len(self.problems)
        if signal.type == "float":
            limit = FLOAT_LIMITS[signal.width]
            if not -limit <= signal.safe <= limit:
                self.add(
                    (*path, "safe"),
                    f"safe must be within +/-{limit!r}, not {show(signal.safe)}",
                    remedy=f"a float of {signal.width} bits holds no more",
                )
            return len(self.problems) == before
        low, high = 0, (1 << signal.width) - 1
        if signal.type == "int":
            low, high = -(1 << signal.width - 1), (1 << signal.width - 1) - 1
        if type(signal.safe) is float:
            self.add((*path, "safe"), f"safe must be an integer, not {show(signal.safe)}")
        elif not low <= signal.safe <= high:
            self.add(
                (*path, "safe"),
                f"safe must fit {signal.type} of width {signal.width}, not {show(signal.safe)}",
            )
        for code, name in signal.codes:
            if code > high:
                self.add(
                    (*path, "codes"),
                    f"a code must fit width {signal.width}, not {show(code)} for {show(name)}",
                )
        return len(self.problems) == before

    def parameters(self, table: Any) -> tuple[tuple[str, str | int | float | bool], ...]:
        """Read the free table of parameters, in name order."""
        if table is None:
            return ()
        if type(table) is not dict:
            self.add(("parameters",), f"parameters must be a table, not {show(table)}")
            return ()
        values = {}
        for name, value in table.items():
            if not name or not is_visible(name):
                self.add(
                    ("parameters", name),
                    f"the name of a parameter must be printable text, not {show(name)}",
                )
                continue
            try:
                values[name] = scalar(value)
            except RefusalError as refusal:
                self.add(("parameters", name), f"a parameter must be {refusal}")
        return tuple(sorted(values.items()))

    def lines(self, data: Mapping[str, Any]) -> tuple[tuple[str, int], ...]:
        """Return key and line of every table and of every key outside the entries."""
        paths: list[Path] = [("format",)]
        for name in TABLES:
            if name in data:
                paths.append((name,))
                if type(data[name]) is dict:
                    paths += [(name, key) for key in data[name]]
        return tuple((key_path(path), self.line_of(path)) for path in paths)
