"""The signals of a connection as they are now: what the producer means, what the consumer reads."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from typing import NamedTuple

from .._codec import number_text, safe_number
from .._link import Link
from .._model import Signal
from ..capture import Both, Decoder, Event, Note, Observer, Packet, SideReport

Number = int | float


class SignalRow:
    """One signal of one direction: its numbers now, when they changed last, how often.

    ``sent`` is the signal in the map of the producer, ``received`` that of the same name in the map
    of the consumer; one of them may be None. Numbers are before scaling, None until data are in
    use. ``is_seen`` tells that data in use carried another than the safe value.
    """

    __slots__ = (
        "changed_us",
        "changes",
        "consumed",
        "is_seen",
        "name",
        "place",
        "produced",
        "received",
        "sent",
        "side",
    )

    def __init__(self, side: int, sent: Signal | None, received: Signal | None) -> None:
        shown = sent or received
        assert shown is not None, "a row shows a signal of one map at least"
        self.side = side
        self.sent, self.received = sent, received
        self.name = shown.name
        self.place = str(shown.at)
        self.produced: Number | None = None
        self.consumed: Number | None = None
        self.changed_us: int | None = None
        self.changes = 0
        self.is_seen = False

    @property
    def differs(self) -> bool:
        """Whether the two ends understand different things by what is on the wire now."""
        if self.sent is None or self.received is None:
            return self.produced is not None or self.consumed is not None
        return value_text(self.sent, self.produced) != value_text(self.received, self.consumed)


class Moved(NamedTuple):
    """A row that has just changed, and its numbers before."""

    row: SignalRow
    produced: Number | None
    consumed: Number | None


def value_text(signal: Signal, number: Number | None) -> str:
    """Return a number of a signal with its meaning; ``?`` before anything is known of it."""
    return "?" if number is None else number_text(signal, number)


class Board(Observer):
    """All rows of a connection, in the order of their places, kept up to date by an examination.

    ``use`` says by direction why the data are not in use now; it is empty while they are, None
    before any were. ``failed`` is what was rejected last.
    """

    def __init__(self, link: Link) -> None:
        self.link = link
        self.rows: tuple[list[SignalRow], list[SignalRow]] = ([], [])
        self._places: list[list[tuple[SignalRow, int | None, int | None]]] = [[], []]
        self._last: list[Both | None] = [None, None]
        self.use: list[str | None] = [None, None]
        self.start_us: int | None = None
        self.now_us: int | None = None
        self.failed: Note | None = None
        self.progress: Callable[[], tuple[SideReport, SideReport]] | None = None
        for side in (0, 1):
            self._prepare(side)

    def _prepare(self, side: int) -> None:
        decoder = Decoder(self.link.sent(side), self.link.received(side))
        left = {each.name: (at, each) for at, each in enumerate(decoder.sent)}
        right = {each.name: (at, each) for at, each in enumerate(decoder.received)}
        for name in {**left, **right}:
            (at, sent), (other, received) = (
                left.get(name, (None, None)),
                right.get(name, (None, None)),
            )
            row = SignalRow(side, sent, received)
            self.rows[side].append(row)
            self._places[side].append((row, at, other))
        self.rows[side].sort(key=_start)
        self._places[side].sort(key=lambda place: _start(place[0]))

    def joins(self, progress: Callable[[], tuple[SideReport, SideReport]]) -> None:
        """Keep what returns the counts."""
        self.progress = progress

    def begins(self, time_us: int) -> None:
        """Count times from here on."""
        self.start_us = self.now_us = time_us

    def data(self, packet: Packet, side: int, both: Both, data: bytes) -> None:
        """Follow data in use."""
        self.use[side] = ""
        moved = self._follow(packet.time_us, side, both, is_used=True)
        if moved:
            self.moved(packet.time_us, packet, side, moved)

    def fails_safe(self, time_us: int | None, side: int, both: Both) -> None:
        """Show what the receiver uses instead of data."""
        names = self.link.names
        self.use[side] = f"{names[1 - side]} uses its fail-safe values"
        if self._last[side] is None:
            return
        moved = self._follow(time_us, side, both, is_used=False)
        if moved:
            self.moved(time_us, None, side, moved)

    def note(self, kind: str, note: Note) -> None:
        """Keep what was rejected last, and whether anybody knows what is in use."""
        if kind == "rejected":
            self.failed = note
        elif kind == "history lost":
            self.use = ["history lost: not known whether these data are in use"] * 2

    def event(self, event: Event) -> None:
        """Show why data are not in use."""
        if event.kind == "fail-safe":
            self.use[event.side] = event.text

    def moved(
        self, time_us: int | None, packet: Packet | None, side: int, rows: list[Moved]
    ) -> None:
        """Take rows that have changed; ``packet`` is None where fail-safe values took over."""

    def snapshot(self) -> Board:
        """Return the board as it is now; it takes no part in what comes."""
        taken = copy(self)
        taken.rows = [copy(row) for row in self.rows[0]], [copy(row) for row in self.rows[1]]
        taken.use = list(self.use)
        return taken

    def forget(self) -> None:
        """Begin anew with what was seen at another than its safe value."""
        for row in (*self.rows[0], *self.rows[1]):
            row.is_seen = False

    def _follow(self, time_us: int | None, side: int, both: Both, *, is_used: bool) -> list[Moved]:
        last = self._last[side]
        if last is not None and both.sent == last.sent and both.received == last.received:
            return []
        is_first = last is None
        self._last[side] = both
        found = []
        for row, at, other in self._places[side]:
            produced = None if at is None else both.sent[at]
            consumed = None if other is None else both.received[other]
            if is_used and not row.is_seen:
                row.is_seen = _is_driven(row, produced, consumed)
            if produced == row.produced and consumed == row.consumed:
                continue
            found.append(Moved(row, row.produced, row.consumed))
            row.produced, row.consumed = produced, consumed
            row.changed_us = time_us
            row.changes += not is_first
        return found


def _start(row: SignalRow) -> int:
    shown = row.sent or row.received
    return 0 if shown is None else shown.start


def _is_driven(row: SignalRow, produced: Number | None, consumed: Number | None) -> bool:
    """Tell whether a number is another than the safe one of the map that holds the signal."""
    if row.sent is not None:
        return produced is not None and produced != safe_number(row.sent)
    return (
        row.received is not None and consumed is not None and consumed != safe_number(row.received)
    )
