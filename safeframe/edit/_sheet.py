"""The text of one end while it is edited, row by row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from .._bits import Place
from .._errors import InputError, UsageError
from .._mapfile.patch import Patch
from .._mapfile.sheetpatch import SheetPatch
from .._model import RELATION_KINDS, End, Reserved, Signal
from .._source import TextEdit, apply_edits

_OPPOSITE = {"sends": "receives", "receives": "sends"}


class MapSheet:
    """The map file of one end; ``direction`` is ``sends`` or ``receives`` in every call."""

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.patch = _patch(text, path)

    @property
    def text(self) -> str:
        """The text as it stands now."""
        return self.patch.text

    @property
    def end(self) -> End:
        """What the text says now."""
        return self.patch.end

    def entries(self, direction: str) -> tuple[Signal | Reserved, ...]:
        """Return the entries of a direction in file order."""
        map_ = self.end.sends if direction == "sends" else self.end.receives
        return map_.entries

    def find(self, direction: str, name: str) -> tuple[int, Signal] | None:
        """Return number and signal of the first signal of a name."""
        for number, entry in enumerate(self.entries(direction)):
            if isinstance(entry, Signal) and entry.name == name:
                return number, entry
        return None

    def insert(self, direction: str, entry: Signal | Reserved) -> None:
        """Add an entry in place order; where another starts at its place, before that one."""
        number = self._number(direction, entry.start)
        self._apply(self.patch.insert(direction, number, entry))

    def remove(self, direction: str, name: str) -> None:
        """Remove the row of a signal; its bits are no longer declared."""
        number, _ = self._get(direction, name)
        self._apply(self.patch.remove(direction, number))

    def set_keys(self, direction: str, name: str, values: Mapping[str, Any]) -> None:
        """Give keys of a signal plain values."""
        number, _ = self._get(direction, name)
        self._set(direction, number, values)

    def states(self, direction: str, name: str, key: str) -> bool:
        """Tell whether the row of a signal states a key."""
        number, _ = self._get(direction, name)
        return self.patch.has((direction, number, key))

    def take(self, direction: str, start: int, end: int) -> None:
        """Take bits out of the reserve: runs get shorter, disappear or are split."""
        for run in [run for run in self.entries(direction) if isinstance(run, Reserved)]:
            if run.end <= start or end <= run.start:
                continue
            number = self._number_of(direction, run)
            if run.start < start:
                self._set(direction, number, {"reserved": start - run.start})
                if run.end > end:
                    self.insert(direction, Reserved(at=Place.at(end), width=run.end - end))
            elif run.end > end:
                self._set(direction, number, {"at": str(Place.at(end)), "reserved": run.end - end})
            else:
                self._apply(self.patch.remove(direction, number))

    def give(self, direction: str, start: int, end: int) -> None:
        """Give bits to the reserve: to the run before them, to the one after them, or to a new one.

        Two runs that meet become one, unless the second has a note or a comment of its own.
        """
        runs = [
            run for run in self.entries(direction) if isinstance(run, Reserved) and not run.value
        ]
        left = next((run for run in runs if run.end == start), None)
        right = next((run for run in runs if run.start == end), None)
        if left is None and right is None:
            self.insert(direction, Reserved(at=Place.at(start), width=end - start))
        elif left is None:
            assert right is not None
            number = self._number_of(direction, right)
            values = {"at": str(Place.at(start)), "reserved": right.end - start}
            self._set(direction, number, values)
        else:
            if right is not None and self._is_bare(direction, right):
                end = right.end
                self._apply(self.patch.remove(direction, self._number_of(direction, right)))
            number = self._number_of(direction, left)
            self._set(direction, number, {"reserved": end - left.start})

    def sort(self, direction: str, name: str) -> None:
        """Bring the row of a signal behind the last row of an earlier place."""
        number, signal = self._get(direction, name)
        entries = self.entries(direction)
        before = entries[number - 1].start if number else -1
        after = entries[number + 1].start if number + 1 < len(entries) else signal.start
        if not before <= signal.start <= after:
            to = self._number(direction, signal.start)
            self._apply(self.patch.copy(direction, number, to))
            self._apply(self.patch.remove(direction, number + (to <= number)))

    def rename(self, direction: str, name: str, to: str) -> None:
        """Rename a signal and everything at this end that names it."""
        number, _ = self._get(direction, name)
        edits = [*self.patch.set_key(direction, number, "name", to)]
        opposite = _OPPOSITE[direction]
        alone = self.find(opposite, name) is None
        for where, key in ((direction, "valid_by"), (opposite, "mirrors")):
            for row, entry in enumerate(self.entries(where)):
                if getattr(entry, key, "") == name:
                    edits += self.patch.set_key(where, row, key, to)
        full, new_full = f"{direction}.{name}", f"{direction}.{to}"
        new_plain = to if self.find(opposite, to) is None else new_full
        mine = {name, full} if alone else {full}
        for row, allowance in enumerate(self.end.allowances):
            if allowance.signal == full or (allowance.signal == name and alone):
                said = new_full if allowance.signal == full else new_plain
                edits += self.patch.set_key("allow", row, "signal", said)
        for row, relation in enumerate(self.end.relations):
            for part in ("when", *RELATION_KINDS):
                known = {named for named, _ in getattr(relation, part)}
                if known & mine and known & {new_plain, new_full}:
                    raise UsageError(
                        f"the new name must be none that {part} of the relation {relation.name!r} "
                        f"names beside {name}, not {to}"
                    )
                for named, _ in getattr(relation, part):
                    base = ("relations", row, part)
                    if named == name and alone:
                        edits += self.patch.rename_key((*base, name), new_plain)
                    elif named == full and self.patch.has((*base, full)):
                        edits += self.patch.rename_key((*base, full), new_full)
                    elif named == full:
                        edits += self.patch.rename_key((*base, direction, name), to)
        self._apply(edits)

    def _get(self, direction: str, name: str) -> tuple[int, Signal]:
        found = self.find(direction, name)
        assert found is not None, f"{name} must be one of the signals that {self.path} has"
        return found

    def _number(self, direction: str, start: int) -> int:
        """Return the number of a new entry: after the last one that starts before it."""
        before = [
            (entry.start, number)
            for number, entry in enumerate(self.entries(direction))
            if entry.start < start
        ]
        return max(before)[1] + 1 if before else 0

    def _number_of(self, direction: str, entry: Signal | Reserved) -> int:
        """Return the number of an entry that is one of the entries now."""
        return self.entries(direction).index(entry)

    def _is_bare(self, direction: str, run: Reserved) -> bool:
        """Tell whether nothing but the bits would be lost with the row of a run."""
        edits = self.patch.remove(direction, self._number_of(direction, run))
        lost = "".join(self.text[edit.start : edit.end] for edit in edits)
        return not run.note and "#" not in lost

    def _set(self, direction: str, number: int, values: Mapping[str, Any]) -> None:
        self._apply(self.patch.set_keys(direction, number, values))

    def _apply(self, edits: Iterable[TextEdit]) -> None:
        text = apply_edits(self.text, edits)
        try:
            self.patch = _patch(text, self.path)
        except InputError as error:
            reasons = "; ".join(problem.message for problem in error.problems)
            raise UsageError(f"the edit must leave a map that can be read: {reasons}") from None


def _patch(text: str, path: str) -> Patch | SheetPatch:
    kind = SheetPatch if path.lower().endswith(".csv") else Patch
    return kind(text, path=path)
