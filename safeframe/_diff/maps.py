"""Differences between two maps of one direction: signals first, then reserve nobody explains."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from operator import attrgetter

from .._bits import Place
from .._canonical import alike, remarks
from .._model import Map, Reserved, Signal
from .._pairing import Pair, match
from .changes import (
    BEFORE_AFTER,
    NOT_STATED,
    Change,
    Ground,
    bits_text,
    octets_text,
    outline,
    show,
    unit_of,
)
from .levels import FIELDS
from .overlay import Entry, Overlay, carried, state_text


def compare_maps(
    before: Map,
    after: Map,
    section: str,
    *,
    sides: tuple[str, str] = BEFORE_AFTER,
    shared: bool = False,
) -> list[Change]:
    """Return the changes between two maps in place order.

    ``shared`` leaves out the fields that belong to one end alone. The order of the entries in
    the file means nothing and is not compared.
    """
    if before == after or (shared and same_shared(before, after)):
        return []  # The common case: an edit touches one of two directions.
    comparison = _Comparison(before, after, section, sides, shared)
    found = [*comparison.size(), *comparison.signals(), *comparison.reserve()]
    return found or list(comparison.remarks_told_twice())


def same_shared(one: Map, two: Map) -> bool:
    """Tell whether two maps plainly say the same, row by row, of all that both ends share.

    True spares the long comparison; False says nothing, since there are other spellings.
    """
    return len(one.entries) == len(two.entries) and all(
        type(left) is type(right)
        and (_signal if type(left) is Signal else _reserved)(left)
        == (_signal if type(left) is Signal else _reserved)(right)
        for left, right in zip(one.entries, two.entries, strict=True)
    )


_signal, _reserved = (
    attrgetter(*(name for name, rule in FIELDS[kind].items() if rule.shared))
    for kind in ("Signal", "Reserved")
)


class _Comparison:
    def __init__(
        self, before: Map, after: Map, section: str, sides: tuple[str, str], shared: bool
    ) -> None:
        self.section, self.sides, self.shared = section, sides, shared
        self.maps = before, after
        self.overlay = Overlay(before, after)
        self.matching = match(before, after)
        self.renamed = {(pair.left.name, pair.right.name) for pair in self.matching.pairs}
        self.still_reserved: dict[tuple[int, int], int] = {}

    def size(self) -> Iterator[Change]:
        """Yield the change of the data size, which no other change of the frame can hide."""
        old, new = (map_.size_octets for map_ in self.maps)
        if old != new:
            yield Change(
                level="wire",
                kind="size",
                section=self.section,
                subject="data size",
                before=octets_text(old),
                after=octets_text(new),
                values=(old, new),
                unit="octets",
                sides=self.sides,
                before_where=self.maps[0].where,
                after_where=self.maps[1].where,
            )

    def signals(self) -> list[Change]:
        """Return the changes of all signals in place order."""
        rows: list[tuple[int, list[Change]]] = [
            (min(pair.left.start, pair.right.start), list(self._pair(pair)))
            for pair in self.matching.pairs
        ]
        rows += [(signal.start, [self._removed(signal)]) for signal in self.matching.left_only]
        rows += [(signal.start, [self._added(signal)]) for signal in self.matching.right_only]
        rows.sort(key=lambda row: row[0])
        return [change for _, changes in rows for change in changes]

    def _pair(self, pair: Pair) -> Iterator[Change]:
        left, right = pair.left, pair.right
        if left == right:
            return
        grounds_told = False
        for field, rule in FIELDS["Signal"].items():
            if self.shared and not rule.shared:
                continue
            old, new = getattr(left, field), getattr(right, field)
            # A reference that follows its signal to a new name has not changed.
            if alike(left, right, field) or (field == "valid_by" and (old, new) in self.renamed):
                continue
            tells = rule.kind in ("moved", "resized") and not grounds_told
            grounds_told |= tells
            yield Change(
                level=rule.level,
                kind=rule.kind,
                section=self.section,
                subject=right.name,
                field=field,
                before=show(field, old, new),
                after=show(field, new, old),
                values=(old, new),
                unit=unit_of(field),
                places=(left.at, right.at),
                sides=self.sides,
                before_where=left.where,
                after_where=right.where,
                taken=self._grounds(right, 1, left) if tells else (),
                left=self._grounds(left, 0, right) if tells else (),
            )

    def _added(self, signal: Signal) -> Change:
        return Change(
            level="wire",
            kind="added",
            section=self.section,
            subject=signal.name,
            after=outline(signal),
            values=(None, signal),
            places=(None, signal.at),
            sides=self.sides,
            after_where=signal.where,
            taken=self._grounds(signal, 1, None),
        )

    def _removed(self, signal: Signal) -> Change:
        return Change(
            level="wire",
            kind="removed",
            section=self.section,
            subject=signal.name,
            before=outline(signal),
            values=(signal, None),
            places=(signal.at, None),
            sides=self.sides,
            before_where=signal.where,
            left=self._grounds(signal, 0, None),
        )

    def _grounds(self, entry: Entry, own: int, partner: Signal | None) -> tuple[Ground, ...]:
        """Return what the other map has on the bits of an entry of map ``own``.

        Bits that belong to ``partner``, the same signal in the other map, do not count.
        """
        other = 1 - own
        end = self.overlay.data_ends[other]
        runs: dict[tuple[int, bool], tuple[Entry | None, int, int]] = {}
        for segment in self.overlay.within(entry.start, entry.end):
            owners = segment.owners[other]
            foreign = [owner for owner in owners if owner is not partner]
            if owners and not foreign:
                continue
            owner = min(foreign, key=lambda found: isinstance(found, Reserved), default=None)
            key = id(owner), segment.start >= end
            _, start, bits = runs.get(key, (owner, segment.start, 0))
            runs[key] = owner, start, bits + segment.width
        return tuple(self._ground(*run, own) for run in runs.values())

    def _ground(self, owner: Entry | None, start: int, bits: int, own: int) -> Ground:
        at = Place.at(start)
        if owner is None:
            beyond = start >= self.overlay.data_ends[1 - own]
            return Ground(kind="beyond" if beyond else "undeclared", at=at, bits=bits)
        if isinstance(owner, Signal):
            return Ground(kind="signal", at=at, bits=bits, name=owner.name)
        here, there = self._still_reserved(owner, own), owner.width
        return Ground(
            kind="gap",
            at=owner.at,
            bits=bits,
            value=carried(owner, start, start + bits),
            reserve=(there, here) if own else (here, there),
        )

    def _still_reserved(self, run: Reserved, own: int) -> int:
        """Return how many bits of a run of the other map are reserved in map ``own``."""
        key = id(run), own
        if key not in self.still_reserved:
            self.still_reserved[key] = sum(
                segment.width
                for segment in self.overlay.within(run.start, run.end)
                if segment.reserved(own)
            )
        return self.still_reserved[key]

    def reserve(self) -> Iterator[Change]:
        """Yield the changes of reserve that no signal explains, in place order."""
        for start, end, old, new, doubts in self._reserve_runs():
            yield self._reserve_change(
                FIELDS["Reserved"]["width"].level,
                start,
                _reserve_text(old, start, end, doubts[0]),
                _reserve_text(new, start, end, doubts[1]),
                old,
                new,
                taken=() if old else self._grounds(_run(start, end), 1, None),
                left=() if new else self._grounds(_run(start, end), 0, None),
            )
        yield from self._reserve_notes()

    def _reserve_runs(self) -> list[_ReserveRun]:
        """Return runs that only one map reserves, or with another value; touching ones joined.

        The last of each are the bits that overlapping runs of a map state both as 0 and as 1.
        """
        runs: list[_ReserveRun] = []
        for segment in self.overlay.segments:
            if (segment.signal(0) is None) != (segment.signal(1) is None):
                continue  # A signal came or went: its own change tells what became of the bits.
            if segment.reserves[0] == segment.reserves[1]:
                continue
            old, new = segment.reserved(0), segment.reserved(1)
            start = segment.start
            doubts = tuple(state[1] if state else 0 for state in segment.reserves)
            joins = runs and runs[-1][1] == start and runs[-1][2] is old and runs[-1][3] is new
            if joins and not any(doubts + runs[-1][4]):
                start = runs.pop()[0]
            runs.append((start, segment.end, old, new, doubts))
        return runs

    def _reserve_notes(self) -> Iterator[Change]:
        """Yield remarks on reserved bits that changed; where a run is cut means nothing."""
        if self.shared:
            return
        previous: tuple[int, str, str] | None = None
        for segment in self.overlay.segments:
            old, new = segment.reserved(0), segment.reserved(1)
            if not (old and new) or old.note == new.note:
                continue
            if previous != (segment.start, old.note, new.note):
                yield self._reserve_change(
                    "text",
                    segment.start,
                    show("note", old.note),
                    show("note", new.note),
                    old,
                    new,
                    "note",
                )
            previous = segment.end, old.note, new.note

    def remarks_told_twice(self) -> Iterator[Change]:
        """Yield remarks that only overlapping runs repeat, for maps that differ in nothing else."""
        if self.shared:
            return
        old, new = (Counter(remarks(map_)) for map_ in self.maps)
        for which, more in enumerate((old - new, new - old)):
            for start, end, note in more:
                runs: list[Reserved | None] = [None, None]
                where = self.maps[which].where
                width = end - start
                runs[which] = Reserved(at=Place.at(start), width=width, note=note, where=where)
                texts = [NOT_STATED, NOT_STATED]
                texts[which] = f"{show('note', note)}, by runs that overlap"
                yield self._reserve_change(
                    "text", start, texts[0], texts[1], runs[0], runs[1], "note"
                )

    def _reserve_change(
        self,
        level: str,
        start: int,
        before: str,
        after: str,
        old: Reserved | None,
        new: Reserved | None,
        field: str = "",
        *,
        taken: tuple[Ground, ...] = (),
        left: tuple[Ground, ...] = (),
    ) -> Change:
        at = Place.at(start)
        return Change(
            level=level,
            kind="reserve",
            section=self.section,
            subject=f"reserved {at}",
            field=field,
            before=before,
            after=after,
            places=(at if old else None, at if new else None),
            sides=self.sides,
            before_where=old.where if old else None,
            after_where=new.where if new else None,
            taken=taken,
            left=left,
        )


def _run(start: int, end: int) -> Reserved:
    return Reserved(at=Place.at(start), width=end - start)


_ReserveRun = tuple[int, int, Reserved | None, Reserved | None, tuple[int, ...]]


def _reserve_text(run: Reserved | None, start: int, end: int, doubt: int) -> str:
    if run is None:
        return "not reserved"
    return f"{bits_text(end - start)} reserved{state_text(carried(run, start, end), doubt)}"
