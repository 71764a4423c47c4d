"""How long the frames of each side are: as the maps say, or as three frames in a row show.

Maps of another size than the data on the wire must not make every frame look spoilt: then the size
is what is wrong. A frame shows its length by the ids it carries, or, where it carries none, by what
follows: only with the right length does one frame continue the history of another.
"""

from __future__ import annotations

from .._engine.stream import Session
from .._link import Link
from .._words import count
from ..frame import inspect
from ..protocols import room

SURE = 3
"""Frames of a kind before all at this place are taken for frames; by choice."""
_MOST_BY_IDS, _MOST_BY_HISTORY = 256, 64
"""Frames of other sizes that are counted, and frames that are tried with all sizes; by choice."""


class FrameSizes:
    """The lengths of the frames of both sides, by side, and what other lengths have shown."""

    def __init__(self, link: Link) -> None:
        traits = room(link.profile).recording
        self._link = link
        self._search = None if traits is None else traits.search
        self._lengths = None if traits is None else traits.lengths
        self._sizes = None if traits is None else traits.sizes
        self._own = None if traits is None else traits.own_length
        self._now = list(link.sizes)
        self._tried: dict[int, dict[int, int]] = {0: {}, 1: {}}
        self._frames = [0, 0]
        self._last: list[bytes] = [b"", b""]
        self._trials: dict[tuple[int, int], Session] = {}

    def __getitem__(self, side: int) -> int:
        return self._now[side]

    def __setitem__(self, side: int, size: int) -> None:
        self._now[side] = size

    def of(self, side: int, octets: bytes) -> int:
        """Return how long the frame at the beginning of octets is, by itself or as known so far."""
        own = None if self._own is None else self._own(octets)
        return own or self._now[side]

    @property
    def are_fixed(self) -> bool:
        """Whether all frames of one side have one length."""
        return self._own is None

    def is_settled(self, side: int) -> bool:
        """Tell whether no other size of the frames of a side is looked for any more."""
        tried = self._tried[side]
        if self._own is not None or (self._lengths is None and self._sizes is None):
            return True
        if self._now[side] in tried:
            return True
        return sum(tried.values()) >= _MOST_BY_IDS or self._frames[side] >= _MOST_BY_HISTORY

    def look(self, side: int, octets: bytes) -> None:
        """Look how long the frame at the beginning of octets is; three alike decide."""
        if self.is_settled(side) or octets == self._last[side]:
            return
        self._last[side] = octets
        tried, expected = self._tried[side], self._now[side]
        find = self._by_history if self._lengths is None else self._by_ids
        for size in find(side, octets):
            tried[size] = tried.get(size, 0) + 1
            if size == expected:
                return
            if tried[size] == SURE:
                self._now[side] = size
                return

    def contradiction(self, octets: bytes) -> str:
        """Return how many data octets a frame of another length holds, if it can be one."""
        link = self._link
        for side in link.order:
            sender = link.senders[side]
            known = link.session(fresh=False).known_of(sender, octets)
            seen = inspect(link.profile, octets, **known)
            if not link.carries[side] or any(each.result == "failed" for each in seen.verdicts):
                continue
            sizes = (link.sent(each).size_octets for each in (0, 1))
            maps = (
                f"the map of {name} has {size}"
                for name, size in zip(link.names, sizes, strict=True)
            )
            held = count(len(seen.values["data"]), "octet")
            return f"a frame of {len(octets)} octets holds {held} of safety data: {', '.join(maps)}"
        return ""

    def _by_ids(self, side: int, octets: bytes) -> list[int]:
        assert self._lengths is not None
        expected = self._now[side]
        if self._search is not None and 0 in self._search(self._link, side, octets[:expected]):
            return [expected]
        return list(self._lengths(self._link, side, octets))

    def _by_history(self, side: int, octets: bytes) -> list[int]:
        """Return the lengths with which octets continue what came before."""
        assert self._sizes is not None
        self._frames[side] += 1
        found, sender = [], self._link.senders[side]
        for size in self._sizes(self._link, side):
            if size > len(octets):
                continue
            frame, trial = octets[:size], self._trials.get((side, size))
            result = "" if trial is None else trial.judge(sender, frame).result
            if result == "accepted":
                found.append(size)
            elif result in ("", "rejected"):
                # History may be lost: the next frame is held against this one.
                trial = self._trials[side, size] = self._link.session(fresh=False)
                trial.judge(sender, frame)
        return found
