"""Which bits of a direction are free at both ends, and why others are not."""

from __future__ import annotations

from .._bits import Place, run_text
from .._diff.changes import bits_text
from .._diff.overlay import Overlay, Segment
from .._errors import UsageError
from .._model import Direction, Signal


class FreeBits:
    """The free bits of one direction: reserved as 0 at both ends, or of the signal ``own``."""

    def __init__(self, direction: Direction, own: str) -> None:
        self.direction = direction
        self.own = own
        self.overlay = Overlay(direction.sent, direction.received)

    def runs(self, *, own: bool) -> list[tuple[int, int]]:
        """Return every free run as (start, end) bit indices, touching ones joined.

        ``own`` tells whether the bits of the own signal count as free.
        """
        runs: list[tuple[int, int]] = []
        for segment in self.overlay.segments:
            if self._free(segment, own):
                start = runs.pop()[0] if runs and runs[-1][1] == segment.start else segment.start
                runs.append((start, segment.end))
        return runs

    def demand(self, start: int, end: int, *, upwards: bool = True) -> None:
        """Raise UsageError unless the bits ``start`` .. ``end - 1`` are free.

        ``upwards`` tells from which side free bits are counted in the message.
        """
        runs = self.runs(own=True)
        here = next((run for run in runs if run[0] <= start and end <= run[1]), None)
        if here is not None:
            return
        if upwards:
            where = f"at {Place.at(start)}"
            reach = next((run[1] for run in runs if run[0] <= start < run[1]), start)
            count, blocked = reach - start, reach
        else:
            where = f"before {Place.at(end)}"
            reach = next((run[0] for run in runs if run[0] < end <= run[1]), end)
            count, blocked = end - reach, reach - 1
        free = ", ".join(
            f"{run_text(*run)} ({bits_text(run[1] - run[0])})" for run in self.runs(own=False)
        )
        raise UsageError(
            f"{self.own} needs {bits_text(end - start)} {where}, {count} free there "
            f"({self._blocked(blocked)}); free runs: {free or 'none'}"
        )

    def _free(self, segment: Segment, own: bool) -> bool:
        return all(
            len(owners) == 1
            and (segment.reserved_value(which) == 0 or (own and self._is_own(owners[0])))
            for which, owners in enumerate(segment.owners)
        )

    def _is_own(self, owner: object) -> bool:
        return isinstance(owner, Signal) and owner.name == self.own

    def _blocked(self, index: int) -> str:
        """Return what stands at a bit that is not free, and at which ends."""
        if index < 0:
            return "the data begin there"
        segment = next((one for one in self.overlay.segments if one.start <= index < one.end), None)
        texts: dict[str, list[str]] = {}
        ends = (self.direction.producer, self.direction.consumer)
        for which, end in enumerate(ends):
            text = self._content(segment, which, index)
            if text:
                texts.setdefault(text, []).append(end.name)
        place = Place.at(index)
        return f"{place} " + ", ".join(
            f"{text} at {' and '.join(names)}" for text, names in texts.items()
        )

    def _content(self, segment: Segment | None, which: int, index: int) -> str:
        """Return what one end has at a bit, empty where it is free there."""
        map_ = (self.direction.sent, self.direction.received)[which]
        if index >= map_.size_bits or segment is None:
            return "is beyond the data"
        owners = segment.owners[which]
        if not owners:
            return "is not declared"
        names = [
            owner.name if isinstance(owner, Signal) else "reserve"
            for owner in owners
            if not self._is_own(owner)
        ]
        if names == ["reserve"] and len(owners) == 1:
            value = segment.reserved_value(which)
            return f"is reserve that carries 0x{value:X}" if value else ""
        return f"is {' and '.join(names)}" if names else ""
