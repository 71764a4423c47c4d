"""The examination of a recording: find, judge and decode every frame, in one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from .._link import Link
from .._model import End, Signal
from .._words import count
from ..protocols import room
from ..relations import Watch
from ._decode import Both
from ._heard import Heard
from ._judge import STEADY, Judge, Opinion
from ._locate import LocatedFrame, Locator
from ._observe import Observer
from ._others import other_readings
from ._packets import Packet, Skipped, Trouble
from ._report import (
    KEPT,
    KEPT_EVENTS,
    Difference,
    Event,
    Examination,
    Interval,
    Note,
    Notes,
    OtherReading,
    SideMarks,
    SideReport,
    Timeline,
)
from ._strips import StripBook

__all__ = ["FrameVerdict", "examine"]

_USED, _UNUSED, _SILENT = 0, 1, 2
_DEFAULT_NOISE_US = 100_000
"""Rejected frames closer than this are one noisy interval where no watchdog is stated."""


class FrameVerdict(NamedTuple):
    """What became of one frame, in the order of the recording.

    ``data`` are the safety data of an accepted frame, None where it carries none; ``use`` says why
    the receiver does not use them, and is empty where it does.
    """

    packet: Packet
    frame: LocatedFrame
    opinion: Opinion
    data: bytes | None = None
    use: str = ""


def examine(
    packets: Iterable[Packet | Trouble | Skipped],
    link: Link,
    *,
    at: Mapping[int, int] | None = None,
    sources: Mapping[int, str] | None = None,
    fresh: bool = False,
    also: Mapping[str, End] | None = None,
    each: Callable[[FrameVerdict], None] | None = None,
    observers: Sequence[Observer] = (),
    window: tuple[int, int | None] = (0, None),
) -> Examination:
    """Judge and decode the frames of one connection; see Locator for ``at`` and ``sources``.

    ``fresh`` says that the recording starts with the first frame of the connection. ``also`` are
    other maps by title, tried where the data contradict these. ``each`` is called with every frame
    once it is judged and read, ``observers`` are told what changes. ``window`` cuts the timelines
    to times from the first to the last microsecond since the recording began. Memory does not grow
    with the recording. Where reading is interrupted (KeyboardInterrupt), what is known so far is
    returned.
    """
    course = _Course(link, Judge(link, fresh=fresh), each, observers, window)
    locator = Locator(link, at=at or {}, sources=sources or {})
    quick, see_time, frame = locator.quick, course.see_time, course.frame
    try:
        for packet in packets:
            if isinstance(packet, Packet):
                course.packets += 1
                only = quick(packet)
                if only is not None:
                    see_time(packet)
                    frame(packet, only)
                    continue
                for place, found in locator.find(packet):
                    course.take(place, found)
            else:
                course.miss(packet)
    except KeyboardInterrupt:
        course.stopped = True
    # What is held back until its place is known has been read, too.
    for place, found in locator.finish():
        course.take(place, found)
    unheard = {side: name for side, name in (sources or {}).items() if name in locator.unheard}
    return course.finish(also or {}, unheard)


def _note(packet: Packet, side: int | None, text: str) -> Note:
    return Note(
        number=packet.number,
        offset=packet.offset,
        time_us=packet.time_us,
        side=side,
        text=text,
    )


def _at(note: Note) -> str:
    return f"{'line' if note.number == note.offset else 'packet'} {note.number}"


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


class _Course:
    """Everything that an examination has seen so far."""

    def __init__(
        self,
        link: Link,
        judge: Judge,
        each: Callable[[FrameVerdict], None] | None,
        observers: Sequence[Observer],
        window: tuple[int, int | None],
    ) -> None:
        self._link = link
        self._observers = observers
        self._judge = judge
        self._each = each
        traits = room(link.profile).recording
        zeros = traits is not None and traits.zeros
        self._parts = traits is not None and traits.parts
        # The last frame with its side, and how many packets there were then.
        self._latest: tuple[Packet, int] | None = None
        self._packets_then = 0
        words = room(link.profile).link
        # Asked for once: most of the time of a long recording goes into the next frame.
        self._data_of = link.data_of if words is None else words.data_of
        self._sides = Heard(link, 0, zeros=zeros), Heard(link, 1, zeros=zeros)
        self._sides[1].first = self._sides[0].signals
        self._marks = self._sides[0].signals + self._sides[1].signals
        self._grid = StripBook(self._marks + 4, window)
        self._taken: tuple[bytes, str] | None = None
        self._watches = [
            (number, Watch(end)) for number, end in enumerate(link.connection.ends) if end.relations
        ]
        # A relation with a time may break while nothing changes.
        self._always = any(
            relation.within_ms is not None
            for end in link.connection.ends
            for relation in end.relations
        )
        self._notes: dict[str, Notes] = {}
        self._events: list[Event] = []
        self._event_count = self._wrong_events = 0
        self._difference: Difference | None = None
        self._differing = 0
        self._silent, self._noisy = _Intervals(), _Intervals()
        self._start_us: int | None = None
        self._end_us: int | None = None
        self._untimed = 0
        self._skipped: dict[str, int] = {}
        self.packets = 0
        self.stopped = False
        for observer in observers:
            observer.joins(self._reports)

    def miss(self, found: Trouble | Skipped) -> None:
        """Take note of what cannot be read, or was not."""
        if isinstance(found, Skipped):
            self._skipped[found.text] = self._skipped.get(found.text, 0) + found.packets
            return
        note = Note(
            number=found.number, offset=found.offset, time_us=None, side=None, text=found.text
        )
        self._add(found.kind, note)

    def _add(self, kind: str, note: Note) -> None:
        self._notes.setdefault(kind, Notes()).add(note)
        for each in self._observers:
            each.note(kind, note)

    def take(self, packet: Packet, found: object) -> None:
        """Take what was found in a packet: its time, a frame, or why there is none."""
        if found is None:
            self.see_time(packet)
        elif isinstance(found, LocatedFrame):
            self.frame(packet, found)
        else:
            self._add(found.kind, _note(packet, None, found.text))  # type: ignore[attr-defined]

    def see_time(self, packet: Packet) -> None:
        """Follow the time of the recording."""
        time_us = packet.time_us
        if time_us is None:
            self._untimed += 1
            return
        if self._start_us is None:
            self._start_us = self._end_us = time_us
            self._grid.start_us = time_us
            for each in self._observers:
                each.begins(time_us)
        elif self._end_us is not None and time_us >= self._end_us:
            self._end_us = time_us
        else:
            self._add("time", _note(packet, None, "the time is before that of an earlier packet"))

    def frame(self, packet: Packet, found: LocatedFrame) -> None:
        """Judge one frame, and decode it where its receiver would."""
        judge = self._judge
        opinion = judge.judge(found.side, found.octets, packet.time_us)
        each = self._each
        if each is None:
            if opinion is STEADY:
                self._steady(packet, self._sides[found.side], found.octets, judge.gap_us)
            else:
                self._act(packet, found, opinion)
            return
        if opinion is STEADY:
            opinion = opinion._replace(gap_us=judge.gap_us)
        self._taken = None
        self._act(packet, found, opinion)
        data, use = (None, "") if self._taken is None else self._taken
        each(FrameVerdict(packet, found, opinion, data, use))

    def _act(self, packet: Packet, found: LocatedFrame, opinion: Opinion) -> None:
        """Do what a frame does to its receiver."""
        number = found.side
        side = self._sides[number]
        result = opinion.result
        if self._parts and result == "accepted":
            self._latest, self._packets_then = (packet, number), self.packets
        side.results[result] = side.results.get(result, 0) + 1
        if result == "rejected":
            self._reject(packet, number, opinion)
        elif result == "foreign":
            self._add(
                "foreign" if found.known else "foreign elsewhere",
                _note(packet, number, opinion.text),
            )
        elif opinion.rejoined:
            self._add("history lost", _note(packet, number, opinion.text))
            for each in self._sides:
                each.keep(None)  # What was in use before is no longer known to be in use.
        elif result == "unknown" and not side.steady and not side.results.get("accepted"):
            side.unknown_at_start += 1
            if self._parts and self.packets > 1:
                # Where the recording begins a part may be missing, anywhere else it is not there.
                self._tell(packet, number, "incomplete", opinion.text, True)
        if opinion.unproven:
            side.unproven.add(_note(packet, number, ""))
        if opinion.gap_us is not None and opinion.gap_us > (side.longest_gap_us or 0):
            side.longest_gap_us = opinion.gap_us
        step = opinion.step
        is_heard = result in ("accepted", "unknown") or opinion.check in ("watchdog", "timeout")
        if is_heard and (step is None or step.heard):
            side.heard_us = packet.time_us
        if step is None:
            return
        for kind, text, is_wrong in step.happenings:
            self._tell(packet, number, kind, text, is_wrong)
        if step.ends:
            for each in self._sides:
                each.use = None
                self._fall(each, packet.time_us)
        if result == "accepted" and step.use is not None and side.carries:
            data = self._link.data_of(found.octets) if step.data is None else step.data
            if data is not None:
                self._data(packet, side, data, step.use)

    def _steady(self, packet: Packet, side: Heard, octets: bytes, gap_us: int | None) -> None:
        """Take a frame with data in use: most frames of a long recording go this way."""
        side.steady += 1
        side.heard_us = packet.time_us
        if gap_us is not None and gap_us > (side.longest_gap_us or 0):
            side.longest_gap_us = gap_us
        data = self._data_of(octets) or b""
        if data == side.data and not side.use and not side.is_told and not self._always:
            side.data_frames += 1
            side.used_frames += 1
            side.again()
        else:  # Session.accepts takes no frame of a side that carries no data.
            self._data(packet, side, data, "")

    def _tell(self, packet: Packet, side: int, kind: str, text: str, is_wrong: bool) -> None:
        self._event_count += 1
        self._wrong_events += is_wrong
        keep = len(self._events) < KEPT_EVENTS
        if not keep and not self._observers:
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
            self._events.append(event)
        for each in self._observers:
            each.event(event)

    def _reject(self, packet: Packet, number: int, opinion: Opinion) -> None:
        side, time_us = self._sides[number], packet.time_us
        self._add("rejected", _note(packet, number, f"{opinion.check}: {opinion.text}"))
        if time_us is None:
            return
        if opinion.check == "watchdog":
            start = time_us - (opinion.gap_us or 0)
            self._quiet(Interval(side=number, start_us=start, end_us=time_us))
            self._falls_silent(side, start)
            self._mark(side, time_us, _UNUSED)
            return
        self._grid.set(time_us, (1,), self._marks + 2 * number)
        self._grid.set(time_us, (0,), self._marks + 2 * number)
        if opinion.check == "timeout":
            self._fall(side, time_us)
        noise, reach = side.noise, self._link.watchdog_us or _DEFAULT_NOISE_US
        if noise is not None and time_us - noise.end_us <= reach:
            side.noise = Interval(
                side=number, start_us=noise.start_us, end_us=time_us, count=noise.count + 1
            )
            return
        if noise is not None:
            self._noisy.add(noise)
        side.noise = Interval(side=number, start_us=time_us, end_us=time_us, count=1)

    def _quiet(self, silence: Interval) -> None:
        self._silent.add(silence)
        for each in self._observers:
            each.silence(silence)

    def _mark(self, side: Heard, time_us: int | None, use: int) -> None:
        """Mark what the receiver does with the data of a side from a time on."""
        if time_us is not None and use != side.marked:
            side.marked = use
            self._grid.set(time_us, (use,), self._marks + 2 * side.side + 1)

    def _falls_silent(self, side: Heard, since_us: int) -> None:
        """Show what the receiver does when the watchdog has expired."""
        time_us = since_us + (self._link.watchdog_us or 0)
        self._fall(side, time_us)
        self._mark(side, time_us, _SILENT)

    def _fall(self, side: Heard, time_us: int | None) -> None:
        """Show the fail-safe values that the receiver takes from now on."""
        if side.fallen:
            return
        side.fallen = True
        self._mark(side, time_us, _UNUSED)
        side.keep(None)
        safe = side.fail_safe
        if time_us is not None and safe is not None:
            self._grid.set(time_us, (*safe.sent, *safe.received), side.first)
        for each in self._observers:
            each.fails_safe(time_us, side.side, safe)

    def _data(self, packet: Packet, side: Heard, data: bytes, use: str) -> None:
        """Take the data of an accepted frame: used, or replaced by fail-safe values."""
        side.data_frames += 1
        was = side.use
        if use != was:
            side.use = use
            names = self._link.names
            text = f"{names[1 - side.side]} uses the data of {names[side.side]}"
            if use:
                text = f"{names[1 - side.side]} does not use the data: {use}"
            kind = "fail-safe" if use else "in use"
            self._tell(packet, side.side, kind, text, bool(use) and was == "")
        if len(data) != side.sizes[0] or len(data) != side.sizes[1]:
            self._size(packet, side, len(data))
            return
        self._taken = data, use
        if use:
            self._fall(side, packet.time_us)
        else:
            side.used_frames += 1
            self._decode(packet, side, data)

    def _size(self, packet: Packet, side: Heard, size: int) -> None:
        """Tell that data have not the size of the maps; nothing is read from them."""
        producer, consumer = self._link.names[side.side], self._link.names[1 - side.side]
        text = (
            f"{producer} sends {size} octets of safety data, but the map of {producer} has "
            f"{side.sizes[0]} and the map of {consumer} {side.sizes[1]}"
        )
        self._add("size", _note(packet, side.side, text))

    def _decode(self, packet: Packet, side: Heard, data: bytes) -> None:
        if data == side.data:
            # Nothing new: what was told of these data holds for one frame more.
            side.again()
            if side.differs:
                self._differing += 1
            if side.is_odd:
                side.odd.look(data, lambda: _note(packet, side.side, ""), side.side)
            if self._always:
                both = side.decoder.read(data)
                self._relate(packet, side.side, both)
            return
        side.keep(data)
        side.fallen = False
        self._mark(side, packet.time_us, _USED)
        side.count(data)
        both = side.decoder.read(data)
        if packet.time_us is not None:
            self._grid.set(packet.time_us, (*both.sent, *both.received), side.first)
        for each in self._observers:
            each.data(packet, side.side, both, data)
        side.differs = both.differs
        if both.differs:
            self._differ(packet, side, data)
        odd = side.odd.look(data, lambda: _note(packet, side.side, ""), side.side)
        side.is_odd = bool(odd)
        side.is_told = side.differs or side.is_odd
        if self._watches:
            self._relate(packet, side.side, both)

    def _differ(self, packet: Packet, side: Heard, data: bytes) -> None:
        self._differing += 1
        if self._difference is None:
            note = _note(packet, side.side, "the two ends read this frame differently")
            rows = side.decoder.rows(data)
            self._difference = Difference(count=1, note=note, data=data, rows=rows)

    def _relate(self, packet: Packet, number: int, both: Both) -> None:
        """Feed the relations of both ends: one with what it sends, one with what it receives."""
        time_ms = (packet.time_us or 0) / 1000
        decoder = self._sides[number].decoder
        for reader, watch in self._watches:
            own = reader == number
            signals, numbers = (
                (decoder.sent, both.sent) if own else (decoder.received, both.received)
            )
            values = {
                signal.name: value
                for signal, value in zip(signals, numbers, strict=True)
                if value is not None
            }
            broken = watch.feed(time_ms, **{"sends" if own else "receives": values})
            name = self._link.names[reader]
            for violation in broken:
                self._add("relation", _note(packet, number, f"{name}: {violation.message}"))

    def _reports(self) -> tuple[SideReport, SideReport]:
        return self._sides[0].report(), self._sides[1].report()

    def finish(self, also: Mapping[str, End], unheard: Mapping[int, str]) -> Examination:
        """Return what was seen; ``unheard`` are stations by side that have sent no packet."""
        watchdog_us = self._link.watchdog_us
        waiting = self._waiting()
        for number, side in enumerate(self._sides):
            if side.noise is not None:
                self._noisy.add(side.noise)
            side.keep(None)
            self._missing(side, unheard.get(number, ""))
            if watchdog_us is None or self._end_us is None or side.heard_us is None:
                continue
            if self._end_us - side.heard_us > watchdog_us:
                self._quiet(Interval(side=number, start_us=side.heard_us, end_us=self._end_us))
                self._falls_silent(side, side.heard_us)
        difference = self._difference
        if difference is not None:
            difference = Difference(
                count=self._differing,
                note=difference.note,
                data=difference.data,
                rows=difference.rows,
            )
        if self._end_us is not None:
            self._grid.reach(self._end_us)
        return Examination(
            connection=self._link.connection.name,
            profile=self._link.profile,
            packets=self.packets,
            start_us=self._start_us,
            end_us=self._end_us,
            watchdog_us=watchdog_us,
            sides=self._reports(),
            notes=self._notes,
            difference=difference,
            silent=self._silent.in_order(),
            silent_count=self._silent.count,
            noisy=self._noisy.in_order(),
            noisy_count=self._noisy.count,
            undriven=tuple(each for side in self._sides for each in side.undriven()),
            timelines=tuple(each for each in self._timelines() if any(each.bins)),
            timeline_start_us=(self._start_us or 0) + self._grid.since_us,
            timeline_width_us=self._grid.width_us,
            marks=(self._side_marks(0), self._side_marks(1)),
            events=tuple(self._events),
            event_count=self._event_count,
            wrong_events=self._wrong_events,
            oddities=tuple(each for side in self._sides for each in side.odd.found()),
            other_readings=tuple(self._other_readings(also)),
            not_judged=(*self._not_judged(), *waiting),
            unproven=sum(side.unproven.count for side in self._sides),
            stopped=self.stopped,
        )

    def _waiting(self) -> tuple[str, ...]:
        """Return what the recording ends in the middle of; anywhere else it is told as wrong."""
        text = self._judge.awaits()
        if not text or self._latest is None:
            return ()
        packet, side = self._latest
        if self._packets_then == self.packets:
            return (f"the end of the recording: {text}",)
        self._tell(packet, side, "incomplete", text, True)
        return ()

    def _missing(self, side: Heard, station: str) -> None:
        """Tell of a side that has sent nothing, and of one whose data nobody has used.

        ``station`` is that of the side, where no packet has come from it.
        """
        name, peer = self._link.names[side.side], self._link.names[1 - side.side]
        text = ""
        if not side.results and not side.steady:
            if side.sends:
                kind, text = "no frames", f"no frame of {name} was found"
                text += f": no packet comes from {station}" * bool(station)
        elif self._parts and side.carries and not side.data_frames:
            kind, text = "no frames", f"no data of {name} were complete and right"
        elif side.data_frames and not side.used_frames and "size" not in self._notes:
            kind = "never used"
            text = f"{peer} has not used the data of {name} in any frame of this recording"
        if text:
            self._add(kind, Note(number=0, offset=0, time_us=None, side=side.side, text=text))

    def _not_judged(self) -> Iterator[str]:
        """Yield what nobody has looked at, and which option decides."""
        for side in self._sides:
            name, unknown = self._link.names[side.side], side.results.get("unknown", 0)
            if side.unknown_at_start:
                first = side.unknown_at_start
                text = "the first frame" if first == 1 else f"the first {first} frames"
                yield f"{text} of {name}: what it follows is not in the recording"
            if side.unproven.count:
                where = _at(side.unproven.kept[0])
                text = f"the data of {count(side.unproven.count, 'frame')} of {name} (the first: "
                yield f"{text}{where}): no checksum in this recording covers them"
            if unknown > side.unknown_at_start:
                yield f"{unknown - side.unknown_at_start} more frames of {name}: history is missing"
        if "other station" in self._notes:
            number = count(self._notes["other station"].count, "frame")
            yield f"{number} of this connection from stations that --from does not name"
        if self._start_us is None:
            yield "times: the recording has none"
        elif self._link.watchdog_us is None:
            yield "times: neither map states watchdog_ms"
        elif self._untimed:
            yield f"times around {count(self._untimed, 'packet')} without one"
        for text, packets in sorted(self._skipped.items()):
            yield f"{packets} {text}"

    def _other_readings(self, also: Mapping[str, End]) -> Iterator[OtherReading]:
        names = self._link.names
        for side in self._sides:
            if not side.odd.found() and not (also and side.sample):
                continue
            number = side.side
            maps = {
                title: end.sends if end.name == names[number] else end.receives
                for title, end in also.items()
                if end.name in names
            }
            yield from other_readings(
                number, self._link.sent(number), self._link.received(1 - number), side.sample, maps
            )

    def _side_marks(self, side: int) -> SideMarks:
        first = self._marks + 2 * side
        return SideMarks(rejected=self._grid.strip(first), use=self._grid.strip(first + 1))

    def _timelines(self) -> Iterator[Timeline]:
        """Yield each signal as its producer reads it, then as the consumer where that differs."""
        for number, side in enumerate(self._sides):
            middle = side.first + len(side.decoder.sent)
            sent, received = list(side.decoder.sent), list(side.decoder.received)
            partner = _partners(sent, received)
            for at, each in enumerate(sent):
                other = partner.get(at)
                names = each.name, "" if other is None else received[other].name
                yield self._timeline(number, number, side.first + at, each, names)
                if other is not None:
                    strips = (self._grid.strip(side.first + at), self._grid.strip(middle + other))
                    if strips[0] != strips[1]:
                        read = received[other]
                        yield self._timeline(number, 1 - number, middle + other, read, names)
            taken = set(partner.values())
            for at, each in enumerate(received):
                if at not in taken:
                    yield self._timeline(number, 1 - number, middle + at, each, ("", each.name))

    def _timeline(
        self, side: int, reader: int, at: int, signal: Signal, names: tuple[str, str]
    ) -> Timeline:
        return Timeline(
            side=side,
            reader=reader,
            signal=signal,
            changes=self._grid.changes[at],
            bins=self._grid.strip(at),
            names=names,
        )


def _partners(sent: Sequence[Signal], received: Sequence[Signal]) -> dict[int, int]:
    """Return which signal of the consumer is that of the producer: by name, else by place."""
    by_name = {each.name: at for at, each in enumerate(received)}
    found = {at: by_name[each.name] for at, each in enumerate(sent) if each.name in by_name}
    taken = set(found.values())
    by_place = {(each.start, each.width): at for at, each in enumerate(received) if at not in taken}
    for at, each in enumerate(sent):
        place = each.start, each.width
        if at not in found and place in by_place:
            found[at] = by_place.pop(place)
    return found
