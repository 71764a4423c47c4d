"""Each change as one line, for people or as JSON for programs, written when it is seen."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from .._codec import safe_number
from .._link import Link
from .._report import capture
from .._report.text import clean
from .._words import moment, way
from ..capture import Event, Examination, Note, Packet
from .board import Board, Moved, SignalRow, value_text
from .reaction import Reaction, resolution_us
from .until import Until

FORMAT = "safeframe-watch/1"

_QUIET = ("other sender", "foreign elsewhere")
"""Notes that concern other connections."""

Number = int | float


class Lines(Board):
    """A board that writes a line for each change, event and note.

    Of frames rejected one after the other the first is written, and how many there were when data
    come again or at the end (``close``). ``write`` takes whole lines.
    """

    def __init__(self, link: Link, write: Callable[[str], object]) -> None:
        super().__init__(link)
        self._write = write
        self._rejected = [0, 0]

    def moved(
        self, time_us: int | None, packet: Packet | None, side: int, rows: list[Moved]
    ) -> None:
        """Write a line for each row that changed."""
        self._settle(side)
        at = self._when(time_us, packet)
        is_first = all(each.produced is None and each.consumed is None for each in rows)
        told = [each for each in rows if not is_first or not _rests(each.row)]
        self._write("".join(f"{self._line(at, side, each, packet)}\n" for each in told))
        if is_first and len(told) < len(rows):
            word = "all signals" if not told else "all others"
            self._write(f"{at}  {self._way(side)}  {word} at their safe values\n")

    def note(self, kind: str, note: Note) -> None:
        """Write what is noted of a packet."""
        super().note(kind, note)
        if kind in _QUIET:
            return
        side = note.side
        if kind == "rejected" and side is not None:
            self._rejected[side] += 1
            if self._rejected[side] > 1:
                return
        name = "" if side is None else f"{self.link.names[side]}  "
        word = "rejected: " if kind == "rejected" else ""
        self._write(f"{self._at(note)}  {clean(f'{name}! {word}{note.text}')}\n")

    def event(self, event: Event) -> None:
        """Write an event of the protocol."""
        super().event(event)
        mark = "! " if event.is_wrong else ""
        text = clean(f"{self.link.names[event.side]}  {mark}{event.text}")
        self._write(f"{self._at(event)}  {text}\n")

    def close(self) -> None:
        """Write what was held back."""
        for side in (0, 1):
            self._settle(side)

    def _settle(self, side: int) -> None:
        more, self._rejected[side] = self._rejected[side] - 1, 0
        if more > 0:
            what = "frame" if more == 1 else "frames"
            self._write(f"{clean(self.link.names[side])}  ! {more} more {what} rejected\n")

    def _line(self, at: str, side: int, moved: Moved, packet: Packet | None) -> str:
        return clean("  ".join((at, self._way(side), *self._parts(side, moved, packet))))

    def _parts(self, side: int, moved: Moved, packet: Packet | None) -> list[str]:
        """Return place, name and numbers of a change as both ends have them."""
        row = moved.row
        producer, consumer = self.link.names[side], self.link.names[1 - side]
        parts = [row.place]
        if row.sent is None:
            parts.append(f"{row.name} (not in the map of {producer})")
        else:
            parts.append(f"{row.name} {_step(moved.produced, row.produced)}{_meaning(row)}")
        if packet is None:
            parts.append(f"{consumer} takes its fail-safe value{self._read(row, moved, ' ')}")
        elif row.received is None:
            parts.append(f"{consumer} has no such signal")
        else:
            parts.append(f"{consumer} reads {self._read(row, moved)}")
        return parts

    def _read(self, row: SignalRow, moved: Moved, before: str = "") -> str:
        """Return what the consumer reads, in words where it is not what the producer means."""
        if row.received is None:
            return ""
        text = value_text(row.received, row.consumed)
        if row.sent is None:
            text = f"{_number(moved.consumed)} -> {text}"
        elif text == value_text(row.sent, row.produced):
            text = _number(row.consumed)
        if row.sent is not None and row.received.at != row.sent.at:
            text += f" at {row.received.at}"
        return before + text

    def _way(self, side: int) -> str:
        return clean(way(self.link.names[side], self.link.names[1 - side]))

    def _at(self, note: Note | Event) -> str:
        if note.time_us is not None:
            return self._time(note.time_us)
        if not note.number:
            return "the whole recording"
        return f"{'line' if note.number == note.offset else 'packet'} {note.number}"

    def _when(self, time_us: int | None, packet: Packet | None) -> str:
        if time_us is not None:
            return self._time(time_us)
        if packet is None:
            return "then"
        return f"{'line' if packet.number == packet.offset else 'packet'} {packet.number}"

    def _time(self, time_us: int) -> str:
        return moment(time_us - (self.start_us or 0))


class JsonLines(Board):
    """A board that writes an object for each change, event and note, one a line."""

    def __init__(self, link: Link, write: Callable[[str], object]) -> None:
        super().__init__(link)
        self._write = write

    def moved(
        self, time_us: int | None, packet: Packet | None, side: int, rows: list[Moved]
    ) -> None:
        """Write an object for each row that changed."""
        producer, consumer = self.link.names[side], self.link.names[1 - side]
        for each in rows:
            row = each.row
            self._tell(
                "change",
                packet=None if packet is None else packet.number,
                time_us=time_us,
                sender=producer,
                receiver=consumer,
                signal=row.name,
                sent=None if row.sent is None else self._one(row.sent, each.produced, row.produced),
                received=None
                if row.received is None
                else self._one(row.received, each.consumed, row.consumed),
                fail_safe=packet is None,
            )

    def note(self, kind: str, note: Note) -> None:
        """Write a note."""
        super().note(kind, note)
        self._tell(
            "note",
            note=kind,
            packet=note.number,
            offset=note.offset,
            time_us=note.time_us,
            sender=None if note.side is None else self.link.names[note.side],
            text=note.text,
        )

    def event(self, event: Event) -> None:
        """Write an event."""
        super().event(event)
        self._tell(
            "event",
            event=event.kind,
            packet=event.number,
            offset=event.offset,
            time_us=event.time_us,
            sender=self.link.names[event.side],
            text=event.text,
            wrong=event.is_wrong,
        )

    def close(self) -> None:
        """Nothing is held back here."""

    def _one(self, signal: Any, before: Number | None, now: Number | None) -> dict[str, Any]:
        return {
            "place": str(signal.at),
            "before": _json(before),
            "value": _json(now),
            "text": value_text(signal, now),
        }

    def _tell(self, kind: str, **values: Any) -> None:
        self._write(json.dumps({"format": FORMAT, "kind": kind, **values}) + "\n")


def summary(found: Examination, until: Until | None, reactions: Sequence[Reaction] = ()) -> str:
    """Return the last line for programs: what ``capture --format json`` prints, in one line."""
    awaited = None
    if until is not None:
        awaited = {
            "condition": until.text,
            "seen": until.is_seen,
            "time_us": until.seen_us,
            "untimed": until.is_untimed,
        }
    whole = {
        "format": FORMAT,
        "kind": "summary",
        "until": awaited,
        "reactions": [each.json(resolution_us(found)) for each in reactions],
        "capture": json.loads(capture.json_text(found)),
    }
    return json.dumps(whole) + "\n"


def _json(number: Number | None) -> Number | str | None:
    return None if number is None else capture.json_number(number)


def _rests(row: SignalRow) -> bool:
    """Tell whether both ends have the safe value of a signal."""
    return (row.sent is None or row.produced == safe_number(row.sent)) and (
        row.received is None or row.consumed == safe_number(row.received)
    )


def _number(number: Number | None) -> str:
    return "?" if number is None else str(number)


def _step(before: Number | None, now: Number | None) -> str:
    return f"{_number(before)} -> {_number(now)}"


def _meaning(row: SignalRow) -> str:
    """Return the meaning of what is sent, in brackets; nothing where it is the number itself."""
    assert row.sent is not None, "asked for signals of the producer only"
    text = value_text(row.sent, row.produced)
    number = _number(row.produced)
    if text == number:
        return ""
    return text.removeprefix(number) if text.startswith(f"{number} (") else f" ({text})"
