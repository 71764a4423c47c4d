"""The examination of a recording: find, judge and decode every frame, in one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from .._link import Link
from .._model import End
from ..protocols import room
from ._clock import Clock
from ._decode import Both
from ._heard import Heard
from ._judge import STEADY, Judge, Opinion
from ._locate import LocatedFrame, Locator
from ._observe import Observer
from ._others import other_readings
from ._packets import Packet, Passed, Skipped, Trouble
from ._related import Related
from ._report import Difference, Examination, Interval, OtherReading, SideReport
from ._timelines import SILENT, UNUSED, Timelines
from ._told import Told, note_of
from ._unjudged import not_judged, tell_missing

_DEFAULT_NOISE_US = 100_000
"""Rejected frames closer than this are one noisy interval where no watchdog is stated."""
_NEVER_US = 1 << 80


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
    packets: Iterable[Packet | Trouble | Skipped | Passed],
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
    told = Told(observers)
    course = _Course(link, Judge(link, fresh=fresh), each, told, window)
    locator = Locator(link, at=at or {}, sources=sources or {})
    quick, see_time, frame = locator.quick, course.clock.see, course.frame
    passed_us: int | None = None
    try:
        for packet in packets:
            if isinstance(packet, Passed):
                passed_us = packet.time_us
            elif isinstance(packet, Packet):
                course.packets += 1
                only = quick(packet)
                if only is not None:
                    see_time(packet)
                    frame(packet, only)
                    continue
                for place, found in locator.find(packet):
                    course.take(place, found)
            else:
                told.miss(packet)
    except KeyboardInterrupt:
        course.stopped = True
    # What is held back until its place is known has been read, too.
    for place, found in locator.finish():
        course.take(place, found)
    if passed_us is not None:
        course.passes(passed_us)
    unheard = {side: name for side, name in (sources or {}).items() if name in locator.unheard}
    return course.finish(also or {}, unheard)


class _Course:
    """What each frame does to its receiver, and what both sides have shown so far."""

    def __init__(
        self,
        link: Link,
        judge: Judge,
        each: Callable[[FrameVerdict], None] | None,
        told: Told,
        window: tuple[int, int | None],
    ) -> None:
        self._link = link
        self._judge = judge
        self._each = each
        self._told = told
        traits = room(link.profile).recording
        zeros = traits is not None and traits.zeros
        self._parts = traits is not None and traits.parts
        # The last frame with its side, and how many packets there were then.
        self._latest: tuple[Packet, int] | None = None
        self._packets_then = 0
        words = room(link.profile).link
        # Asked for once: most of the time of a long recording goes into the next frame.
        self._data_of = link.data_of if words is None else words.data_of
        self._sides = (
            Heard(link, 0, zeros=zeros, parts=self._parts),
            Heard(link, 1, zeros=zeros, parts=self._parts),
        )
        decoders = self._sides[0].decoder, self._sides[1].decoder
        self._timelines = Timelines(decoders, window)
        self._related = Related(link, decoders)
        self._always = self._related.always
        self.clock = Clock(told, self._timelines, self._expire)
        self._taken: tuple[bytes, str] | None = None
        self._difference: Difference | None = None
        self._differing = 0
        self.packets = 0
        self.stopped = False
        for observer in told.observers:
            observer.joins(self._reports)

    def passes(self, time_us: int) -> None:
        """Take a time until which nothing more came."""
        self.clock.end_us = max(time_us, self.clock.end_us or 0)
        self._expire(time_us)

    def _expire(self, time_us: int) -> int:
        """Let receivers that have waited for too long take their fail-safe values.

        Returns a time before which no other watchdog can expire.
        """
        watchdog_us = self._link.watchdog_us
        if watchdog_us is None:
            return _NEVER_US
        heard = [(self._judge.heard_us(side.side), side) for side in self._sides if not side.fallen]
        waits = sorted((since_us, side.side) for since_us, side in heard if since_us is not None)
        for since_us, number in waits:
            if since_us + watchdog_us < time_us:
                self._falls_silent(self._sides[number], since_us)
        later = (since_us for since_us, _ in waits if since_us + watchdog_us >= time_us)
        return min(later, default=time_us) + watchdog_us + 1

    def take(self, packet: Packet, found: object) -> None:
        """Take what was found in a packet: its time, a frame, or why there is none."""
        if found is None:
            self.clock.see(packet)
        elif isinstance(found, LocatedFrame):
            self.frame(packet, found)
        else:
            self._told.note(found.kind, note_of(packet, None, found.text))  # type: ignore[attr-defined]

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
            self._told.note(
                "foreign" if found.known else "foreign elsewhere",
                note_of(packet, number, opinion.text),
            )
        elif opinion.rejoined:
            self._told.note("history lost", note_of(packet, number, opinion.text))
            for each in self._sides:
                each.keep(None)  # What was in use before is no longer known to be in use.
        elif result == "unknown" and not side.steady and not side.results.get("accepted"):
            side.unknown_at_start += 1
            if self._parts and self.packets > 1:
                # Where the recording begins a part may be missing, anywhere else it is not there.
                self._told.event(packet, number, "incomplete", opinion.text, True)
        if opinion.unproven:
            side.unproven.add(note_of(packet, number, ""))
        if opinion.gap_us is not None and opinion.gap_us > side.longest_gap_us:
            side.longest_gap_us = opinion.gap_us
        step = opinion.step
        is_heard = result in ("accepted", "unknown") or opinion.check in ("watchdog", "timeout")
        if is_heard and (step is None or step.heard):
            side.heard_us = packet.time_us
        if step is None:
            return
        for kind, text, is_wrong in step.happenings:
            self._told.event(packet, number, kind, text, is_wrong)
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
        if gap_us is not None and gap_us > side.longest_gap_us:
            side.longest_gap_us = gap_us
        data = self._data_of(octets) or b""
        if data == side.data and not side.use and not side.is_told and not self._always:
            side.data_frames += 1
            side.used_frames += 1
            side.again()
        else:  # Session.accepts takes no frame of a side that carries no data.
            self._data(packet, side, data, "")

    def _reject(self, packet: Packet, number: int, opinion: Opinion) -> None:
        side, time_us = self._sides[number], packet.time_us
        text = f"{opinion.check}: {opinion.text}"
        self._told.note("rejected", note_of(packet, number, text, opinion.check))
        if time_us is None:
            return
        if opinion.check == "watchdog":
            start = time_us - (opinion.gap_us or 0)
            self._told.silence(Interval(side=number, start_us=start, end_us=time_us))
            self._falls_silent(side, start)
            self._timelines.mark(number, time_us, UNUSED)
            return
        self._timelines.reject(number, time_us)
        if opinion.check == "timeout":
            self._fall(side, time_us)
        noise = side.noisy(time_us, self._link.watchdog_us or _DEFAULT_NOISE_US)
        if noise is not None:
            self._told.noisy.add(noise)

    def _falls_silent(self, side: Heard, since_us: int) -> None:
        """Show what the receiver does when the watchdog has expired."""
        time_us = since_us + (self._link.watchdog_us or 0)
        self._fall(side, time_us)
        self._timelines.mark(side.side, time_us, SILENT)

    def _fall(self, side: Heard, time_us: int | None) -> None:
        """Show the fail-safe values that the receiver takes from now on."""
        if side.fallen:
            return
        side.fallen = True
        side.keep(None)
        self._timelines.fall(side.side, time_us, side.fail_safe)
        for each in self._told.observers:
            each.fails_safe(time_us, side.side, side.fail_safe)

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
            self._told.event(packet, side.side, kind, text, bool(use) and was == "")
        if len(data) != side.sizes[0] or len(data) != side.sizes[1]:
            side.unread = side.unread or not use
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
        self._told.note("size", note_of(packet, side.side, text))

    def _decode(self, packet: Packet, side: Heard, data: bytes) -> None:
        if data == side.data:
            # Nothing new: what was told of these data holds for one frame more.
            side.again()
            if side.differs:
                self._differing += 1
            if side.is_odd:
                side.odd.look(data, lambda: note_of(packet, side.side, ""), side.side)
            if self._always:
                self._relate(packet, side.side, side.decoder.read(data))
            return
        side.keep(data)
        side.fallen = False
        side.count(data)
        both = side.decoder.read(data)
        self._timelines.use(side.side, packet.time_us, both)
        for each in self._told.observers:
            each.data(packet, side.side, both, data)
        side.differs = both.differs
        if both.differs:
            self._differ(packet, side, data)
        odd = side.odd.look(data, lambda: note_of(packet, side.side, ""), side.side)
        side.is_odd = bool(odd)
        side.is_told = side.differs or side.is_odd
        if self._related.watches:
            self._relate(packet, side.side, both)

    def _differ(self, packet: Packet, side: Heard, data: bytes) -> None:
        self._differing += 1
        if self._difference is None:
            note = note_of(packet, side.side, "the two ends read this frame differently")
            rows = side.decoder.rows(data)
            self._difference = Difference(count=1, note=note, data=data, rows=rows)

    def _relate(self, packet: Packet, number: int, both: Both) -> None:
        for text in self._related.feed(number, packet.time_us, both):
            self._told.note("relation", note_of(packet, number, text))

    def _reports(self) -> tuple[SideReport, SideReport]:
        return self._sides[0].report(), self._sides[1].report()

    def finish(self, also: Mapping[str, End], unheard: Mapping[int, str]) -> Examination:
        """Return what was seen; ``unheard`` are stations by side that have sent no packet."""
        told, clock, timelines = self._told, self.clock, self._timelines
        watchdog_us = self._link.watchdog_us
        waiting = self._waiting()
        for number, side in enumerate(self._sides):
            if side.noise is not None:
                told.noisy.add(side.noise)
            side.keep(None)
            tell_missing(told, self._link, side, unheard.get(number, ""))
            if watchdog_us is None or clock.end_us is None or side.heard_us is None:
                continue
            if clock.end_us - side.heard_us > watchdog_us:
                told.silence(Interval(side=number, start_us=side.heard_us, end_us=clock.end_us))
                self._falls_silent(side, side.heard_us)
        difference = self._difference
        if difference is not None:
            difference = Difference(
                count=self._differing,
                note=difference.note,
                data=difference.data,
                rows=difference.rows,
            )
        if clock.end_us is not None:
            timelines.end(clock.end_us)
        return Examination(
            connection=self._link.connection.name,
            profile=self._link.profile,
            packets=self.packets,
            start_us=clock.start_us,
            end_us=clock.end_us,
            watchdog_us=watchdog_us,
            sides=self._reports(),
            notes=told.notes,
            difference=difference,
            silent=told.silent.in_order(),
            silent_count=told.silent.count,
            noisy=told.noisy.in_order(),
            noisy_count=told.noisy.count,
            undriven=tuple(each for side in self._sides for each in side.undriven()),
            timelines=tuple(each for each in timelines.drawn() if any(each.bins)),
            timeline_start_us=(clock.start_us or 0) + timelines.since_us,
            timeline_width_us=timelines.width_us,
            marks=(timelines.marks(0), timelines.marks(1)),
            events=tuple(told.events),
            event_count=told.event_count,
            wrong_events=told.wrong_events,
            oddities=tuple(each for side in self._sides for each in side.odd.found()),
            other_readings=tuple(self._other_readings(also)),
            not_judged=(
                *not_judged(self._link, self._sides, told, clock),
                *self._related.untimed(),
                *waiting,
            ),
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
        self._told.event(packet, side, "incomplete", text, True)
        return ()

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
