"""Every frame of a recording with what became of it, for people or as JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection
from typing import Any

from .._link import Link
from .._model import Signal
from .._report import capture as render
from .._report.document import picked
from .._report.text import Look, clean, wrap
from ..capture import Both, Decoder, Event, FrameVerdict, Note, Packet
from .board import Moved
from .lines import FORMAT, Lines


def _verdict(found: FrameVerdict) -> str:
    opinion = found.opinion
    words = [opinion.result, opinion.check, opinion.text]
    if found.use:
        words = ["accepted, not used", found.use]
    return ": ".join(word for word in words if word)


class _Window:
    """Tells whether a time lies in a window; ``window`` is in microseconds since the first time."""

    def __init__(self, window: tuple[int, int | None]) -> None:
        self.since_us, self.until_us = window
        self.start_us: int | None = None

    def holds(self, time_us: int | None) -> bool:
        """Tell whether a frame is listed; one without a time is where nothing is cut."""
        if time_us is None:
            return self.since_us == 0 and self.until_us is None
        if self.start_us is None:
            self.start_us = time_us
        passed = time_us - self.start_us
        return passed >= self.since_us and (self.until_us is None or passed <= self.until_us)


class FrameLines(Lines):
    """Writes each frame: time, who to whom, verdict, octets, and the signals that it changed.

    An observer, and ``each`` takes every frame. ``only`` are the names of signals that are told,
    none for all of them.
    """

    def __init__(
        self,
        link: Link,
        write: Callable[[str], object],
        look: Look,
        window: tuple[int, int | None] = (0, None),
        only: Collection[str] = (),
    ) -> None:
        super().__init__(link, write)
        self._look, self._window, self._only = look, _Window(window), frozenset(only)
        self._moved: list[Moved] = []

    def begins(self, time_us: int) -> None:
        """Count times from here on."""
        super().begins(time_us)
        self._window.start_us = time_us

    def moved(
        self, time_us: int | None, packet: Packet | None, side: int, rows: list[Moved]
    ) -> None:
        """Keep what the frame changes that is judged now."""
        if packet is not None:
            self._moved = [each for each in rows if self._is_told(each)]

    def note(self, kind: str, note: Note) -> None:
        """Leave it to the frame."""

    def event(self, event: Event) -> None:
        """Leave it to the frame."""

    def each(self, found: FrameVerdict) -> None:
        """Write a frame."""
        moved, self._moved = self._moved, []
        packet, side = found.packet, found.frame.side
        if not self._window.holds(packet.time_us):
            return
        at = self._when(packet.time_us, packet)
        if packet.time_us is not None:
            at += f"  {'line' if packet.number == packet.offset else 'packet'} {packet.number}"
        lines = [
            *wrap(clean(f"{at}  {self._way(side)}  {_verdict(found)}"), self._look, rest="    "),
            *wrap(found.frame.octets.hex(" "), self._look, first="  ", rest="  "),
        ]
        for each in moved:
            text = clean("  ".join(self._parts(side, each, packet)))
            lines += wrap(text, self._look, first="  ", rest="    ")
        self._write("".join(f"{line}\n" for line in lines))

    def _is_told(self, moved: Moved) -> bool:
        row = moved.row
        names = {each.name for each in (row.sent, row.received) if each is not None}
        return not self._only or not names.isdisjoint(self._only)


class FrameObjects:
    """Writes an object for each frame, one a line; the arguments are those of ``FrameLines``."""

    def __init__(
        self,
        link: Link,
        write: Callable[[str], object],
        window: tuple[int, int | None] = (0, None),
        only: Collection[str] = (),
    ) -> None:
        self._link, self._write = link, write
        self._window, self._only = _Window(window), frozenset(only)
        self._decoders = [Decoder(link.sent(side), link.received(side)) for side in (0, 1)]

    def each(self, found: FrameVerdict) -> None:
        """Write a frame."""
        packet, side, opinion = found.packet, found.frame.side, found.opinion
        if not self._window.holds(packet.time_us):
            return
        decoder = self._decoders[side]
        both = None if found.data is None or found.use else decoder.read(found.data)
        values: dict[str, Any] = {
            "format": FORMAT,
            "kind": "frame",
            "packet": packet.number,
            "offset": packet.offset,
            "time_us": packet.time_us,
            "sender": self._link.names[side],
            "receiver": self._link.names[1 - side],
            "octets": found.frame.octets.hex(),
            **picked(opinion, "result check text"),
            "used": both is not None,
            "not_used": found.use,
            "sent": self._values(decoder.sent, both, 0),
            "received": self._values(decoder.received, both, 1),
        }
        self._write(json.dumps(values) + "\n")

    def _values(
        self, signals: tuple[Signal, ...], both: Both | None, end: int
    ) -> dict[str, int | float | str | None]:
        if both is None:
            return {}
        numbers = (both.sent, both.received)[end]
        return {
            signal.name: None if number is None else render.json_number(number)
            for signal, number in zip(signals, numbers, strict=True)
            if not self._only or signal.name in self._only
        }
