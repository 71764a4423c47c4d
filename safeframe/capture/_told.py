"""What is told of a recording: each kind counted exactly, examples kept, observers told at once."""

from __future__ import annotations

from collections.abc import Sequence

from ._observe import Observer
from ._packets import Packet, Skipped, Trouble
from ._report import KEPT, KEPT_EVENTS, Event, Interval, Note, Notes


def note_of(packet: Packet, side: int | None, text: str, check: str = "") -> Note:
    """Return a note about a packet."""
    return Note(
        number=packet.number,
        offset=packet.offset,
        time_us=packet.time_us,
        side=side,
        text=text,
        check=check,
    )


class Told:
    """Notes by kind, events, intervals, and packets in which nobody looked for frames."""

    def __init__(self, observers: Sequence[Observer]) -> None:
        self.observers = observers
        self.notes: dict[str, Notes] = {}
        self.events: list[Event] = []
        self.event_count = self.wrong_events = 0
        self.silent, self.noisy = _Intervals(), _Intervals()
        self.skipped: dict[str, int] = {}

    def note(self, kind: str, note: Note) -> None:
        """Take a note of one kind."""
        self.notes.setdefault(kind, Notes()).add(note)
        for each in self.observers:
            each.note(kind, note)

    def miss(self, found: Trouble | Skipped) -> None:
        """Take note of what cannot be read, or was not."""
        if isinstance(found, Skipped):
            self.skipped[found.text] = self.skipped.get(found.text, 0) + found.packets
            return
        note = Note(
            number=found.number, offset=found.offset, time_us=None, side=None, text=found.text
        )
        self.note(found.kind, note)

    def event(self, packet: Packet, side: int, kind: str, text: str, is_wrong: bool) -> None:
        """Take an event; it is made only where somebody keeps it or hears of it."""
        self.event_count += 1
        self.wrong_events += is_wrong
        keep = len(self.events) < KEPT_EVENTS
        if not keep and not self.observers:
            return
        event = Event(
            number=packet.number,
            offset=packet.offset,
            time_us=packet.time_us,
            side=side,
            kind=kind,
            text=text,
            is_wrong=is_wrong,
        )
        if keep:
            self.events.append(event)
        for each in self.observers:
            each.event(event)

    def silence(self, silence: Interval) -> None:
        """Take a time without a new frame of a side that was longer than the watchdog."""
        self.silent.add(silence)
        for each in self.observers:
            each.silence(silence)


class _Intervals:
    """The first intervals of one kind, and how many there were."""

    def __init__(self) -> None:
        self.count = 0
        self.kept: list[Interval] = []

    def add(self, interval: Interval) -> None:
        self.count += 1
        if len(self.kept) < KEPT:
            self.kept.append(interval)

    def in_order(self) -> tuple[Interval, ...]:
        """Return the intervals that were kept, earliest first."""
        return tuple(sorted(self.kept, key=lambda each: each.start_us))
