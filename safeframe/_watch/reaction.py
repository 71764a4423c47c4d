"""Reaction times of a recording: from a command as its receiver reads it to the answer."""

from __future__ import annotations

import re

from .._errors import UsageError
from .._link import Link
from .._model import Relation
from .._report.document import picked
from .._words import milliseconds
from ..capture import Both, Examination, Packet
from ..relations._rules import CheckedRelation
from .until import ReceivedValues, checked, conditions_of

_FORM = "NAME = NUMBER [and NAME = NUMBER] of NAME = NUMBER [and NAME = NUMBER]"
_OF = re.compile(r"(.+?)\s+of\s+(.+)")
_MAX_BINS = 4096
"""Different times that are kept apart; then neighbours share a bin, twice as wide each time."""


class Spread:
    """Times in microseconds, counted in bins of ``width_us``, in constant memory.

    The smallest and the largest are exact always, the median while ``width_us`` is 1.
    """

    __slots__ = ("bins", "count", "largest_us", "smallest_us", "width_us")

    def __init__(self) -> None:
        self.bins: dict[int, int] = {}
        self.width_us = 1
        self.count = 0
        self.smallest_us: int | None = None
        self.largest_us: int | None = None

    def add(self, time_us: int) -> None:
        """Count one time, not below 0."""
        self.count += 1
        first, last = self.smallest_us, self.largest_us
        self.smallest_us = time_us if first is None else min(first, time_us)
        self.largest_us = time_us if last is None else max(last, time_us)
        at = time_us // self.width_us
        self.bins[at] = self.bins.get(at, 0) + 1
        while len(self.bins) > _MAX_BINS:
            self.width_us *= 2
            wider: dict[int, int] = {}
            for at, count in self.bins.items():
                wider[at // 2] = wider.get(at // 2, 0) + count
            self.bins = wider

    @property
    def median_us(self) -> int | None:
        """The lower median: the beginning of its bin where times share bins."""
        left = (self.count + 1) // 2
        for at in sorted(self.bins):
            left -= self.bins[at]
            if left <= 0:
                return at * self.width_us
        return None


class Reaction(ReceivedValues):
    """Measures from each beginning of a command to the next beginning of its answer.

    A command counts where its beginning was seen: false before, true now, both with data in use.
    It ends ``unanswered`` where it ends first, ``cut`` where a receiver went to its fail-safe
    values or no time is stated, ``already`` where the answer held before. ``waits`` tells that the
    recording ended first.
    """

    def __init__(self, link: Link, rule: CheckedRelation, text: str) -> None:
        super().__init__(link)
        self.text = text
        self._command, self._answer = rule.when, rule.then
        self._was: bool | None = None
        self._since_us: int | None = None
        self.times = Spread()
        self.unanswered = self.already = self.cut = 0

    @property
    def waits(self) -> bool:
        """Whether a command has not been answered yet."""
        return self._since_us is not None

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Look at data in use."""
        self.take(side, both)
        self._look(packet.time_us)

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Forget what this receiver read: what it uses now was not sent."""
        self.forget(side)

    def forget(self, *sides: int) -> None:
        """Know nothing of these sides; what waits for them is not measured."""
        super().forget(*sides)
        self.cut += self.waits
        self._since_us = self._was = None

    def told(self, gap_us: int | None) -> str:
        """Return what was measured as one line; ``gap_us`` is the longest gap of the frames."""
        times = self.times
        parts = [f"{times.count} answered"]
        if times.count:
            about = "" if times.width_us == 1 else f" (from bins of {known_ms(times.width_us)})"
            parts.append(
                f"smallest {known_ms(times.smallest_us)}, "
                f"median {known_ms(times.median_us)}{about}, "
                f"largest {known_ms(times.largest_us)}"
            )
        parts += [f"{count} {word}" for word, count in self.others if count]
        gap = "unknown" if gap_us is None else f"longest gap of frames {milliseconds(gap_us)}"
        return f"reaction: {self.text}: {'; '.join(parts)}; resolution: {gap}"

    @property
    def others(self) -> tuple[tuple[str, int], ...]:
        """What became of commands that no time stands for, and how many there are of each."""
        return (
            ("ended unanswered", self.unanswered),
            ("answered before", self.already),
            ("not measured", self.cut),
            ("still waiting", int(self.waits)),
        )

    def json(self, gap_us: int | None) -> dict[str, object]:
        """Return what was measured as values for JSON; ``gap_us`` as in ``told``."""
        times = self.times
        return {
            "reaction": self.text,
            **picked(times, "count smallest_us median_us largest_us"),
            "resolution_us": gap_us,
            "bin_width_us": times.width_us,
            "bins": [[at * times.width_us, times.bins[at]] for at in sorted(times.bins)],
            "unanswered": self.unanswered,
            "answered_before": self.already,
            "not_measured": self.cut,
            "waits": self.waits,
        }

    def _look(self, time_us: int | None) -> None:
        command, answer = self.meets(self._command), self.meets(self._answer)
        was, self._was = self._was, command
        if self._since_us is not None:
            if time_us is None or time_us < self._since_us:
                self.cut += 1
            elif answer:
                self.times.add(time_us - self._since_us)
            elif not command:
                self.unanswered += 1
            else:
                return
            self._since_us = None
        elif command and was is False:
            if answer:
                self.already += 1
            elif answer is None or time_us is None:
                self.cut += 1
            else:
                self._since_us = time_us


def resolution_us(found: Examination) -> int | None:
    """Return the longest gap of the frames: no time of a recording is known more exactly.

    Where no time passes between any of them, it is not known how exact a time is.
    """
    return max((each.longest_gap_us or 0 for each in found.sides), default=0) or None


def known_ms(time_us: int | None) -> str:
    """Return a time that there is in milliseconds."""
    assert time_us is not None, "asked for where there are times"
    return milliseconds(time_us)


def read_reaction(text: str, link: Link) -> Reaction:
    """Return what measures ``ANSWER of COMMAND``; raises UsageError for what is none."""
    found = _OF.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"--reaction must be {_FORM}, not {text!r}")
    relation = Relation(
        name="--reaction",
        when=conditions_of(found[2], text, "--reaction", _FORM),
        follows=conditions_of(found[1], text, "--reaction", _FORM),
        reason="",
    )
    return Reaction(link, checked(link, relation), text)
