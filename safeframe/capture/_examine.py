"""The examination of a recording: find, judge and decode every frame, in one pass."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from .._codec import to_raw
from .._errors import UsageError
from .._link import Link
from .._model import Signal
from ..relations import Watch
from ._decode import Decoder
from ._judge import Judge, Opinion
from ._locate import LocatedFrame, Locator
from ._packets import Packet, Trouble
from ._report import (
    KEPT,
    Difference,
    Examination,
    Interval,
    Note,
    Notes,
    SideReport,
    Timeline,
    Undriven,
)
from ._strips import StripBook

__all__ = ["examine"]

_DEFAULT_NOISE_US = 100_000
"""Rejected frames closer than this are one noisy interval where no watchdog is stated."""


def examine(
    packets: Iterable[Packet | Trouble],
    link: Link,
    *,
    at: Mapping[int, int] | None = None,
    sources: Mapping[int, str] | None = None,
    fresh: bool = False,
) -> Examination:
    """Judge and decode the frames of one connection; see Locator for ``at`` and ``sources``.

    ``fresh`` says that the recording starts with the first frame of the connection. Memory does
    not grow with the recording.
    """
    course = _Course(link, Judge(link, fresh=fresh))
    locator = Locator(link, at=at or {}, sources=sources or {})
    for packet in packets:
        if isinstance(packet, Trouble):
            note = Note(
                number=packet.number,
                offset=packet.offset,
                time_us=None,
                side=None,
                text=packet.text,
            )
            course.note(packet.kind, note)
            continue
        course.packets += 1
        course.see_time(packet)
        for found in locator.find(packet):
            if isinstance(found, LocatedFrame):
                course.frame(packet, found)
            else:
                course.note(found.kind, _note(packet, None, found.text))
    return course.finish()


def _note(packet: Packet, side: int | None, text: str) -> Note:
    return Note(
        number=packet.number,
        offset=packet.offset,
        time_us=packet.time_us,
        side=side,
        text=text,
    )


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


class _Heard:
    """What is remembered of one side."""

    def __init__(self, link: Link, side: int) -> None:
        self.decoder = Decoder(link.sent(side), link.received(side))
        self.first = 0
        self.results: dict[str, int] = {}
        self.data_frames = 0
        self.longest_gap_us: int | None = None
        self.data: bytes | None = None
        self.ones = self.zeros = 0
        self.new_us: int | None = None
        self.noise: Interval | None = None

    @property
    def signals(self) -> int:
        """Signals of both maps together."""
        return len(self.decoder.sent) + len(self.decoder.received)


class _Course:
    """Everything that an examination has seen so far."""

    def __init__(self, link: Link, judge: Judge) -> None:
        self._exchange = link
        self._judge = judge
        self._sides = _Heard(link, 0), _Heard(link, 1)
        self._sides[1].first = self._sides[0].signals
        self._grid = StripBook(self._sides[0].signals + self._sides[1].signals)
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
        self._difference: Difference | None = None
        self._differing = 0
        self._silent, self._noisy = _Intervals(), _Intervals()
        self._start_us: int | None = None
        self._end_us: int | None = None
        self.packets = 0

    def note(self, kind: str, note: Note) -> None:
        """Take a note of a kind."""
        self._notes.setdefault(kind, Notes()).add(note)

    def see_time(self, packet: Packet) -> None:
        """Follow the time of the recording."""
        time_us = packet.time_us
        if time_us is None:
            return
        if self._start_us is None:
            self._start_us = self._end_us = time_us
            self._grid.start_us = time_us
        elif self._end_us is not None and time_us >= self._end_us:
            self._end_us = time_us
        else:
            self.note("time", _note(packet, None, "the time is before that of an earlier packet"))

    def frame(self, packet: Packet, found: LocatedFrame) -> None:
        """Judge one frame, and decode it where its receiver would."""
        number = found.side
        side = self._sides[number]
        opinion = self._judge.judge(number, found.octets, packet.time_us)
        result = opinion.result
        side.results[result] = side.results.get(result, 0) + 1
        if result == "rejected":
            self._reject(packet, number, opinion)
        elif result == "foreign":
            self.note("foreign", _note(packet, number, opinion.text))
        elif opinion.rejoined:
            self.note("history lost", _note(packet, number, opinion.text))
        if opinion.gap_us is not None and opinion.gap_us > (side.longest_gap_us or 0):
            side.longest_gap_us = opinion.gap_us
        if result in ("accepted", "unknown") or opinion.check == "watchdog":
            side.new_us = packet.time_us
            data = self._exchange.data_of(found.octets)
            if data is not None:
                self._decode(packet, number, data)

    def _reject(self, packet: Packet, number: int, opinion: Opinion) -> None:
        side, time_us = self._sides[number], packet.time_us
        self.note("rejected", _note(packet, number, f"{opinion.check}: {opinion.text}"))
        if time_us is None:
            return
        if opinion.check == "watchdog":
            start = time_us - (opinion.gap_us or 0)
            self._silent.add(Interval(side=number, start_us=start, end_us=time_us))
            return
        noise, reach = side.noise, self._exchange.watchdog_us or _DEFAULT_NOISE_US
        if noise is not None and time_us - noise.end_us <= reach:
            side.noise = Interval(
                side=number, start_us=noise.start_us, end_us=time_us, count=noise.count + 1
            )
            return
        if noise is not None:
            self._noisy.add(noise)
        side.noise = Interval(side=number, start_us=time_us, end_us=time_us, count=1)

    def _decode(self, packet: Packet, number: int, data: bytes) -> None:
        side = self._sides[number]
        side.data_frames += 1
        changed = data != side.data
        if not changed and not self._always:
            if self._differing and side.decoder.read(data).differs:
                self._differing += 1
            return
        both = side.decoder.read(data)
        if changed:
            side.data = data
            word = int.from_bytes(data, "little")
            side.ones |= word
            side.zeros |= word ^ ((1 << 8 * len(data)) - 1)
            if packet.time_us is not None:
                self._grid.set(packet.time_us, (*both.sent, *both.received), side.first)
        if both.differs:
            self._differing += 1
            if self._difference is None:
                note = _note(packet, number, "the two ends read this frame differently")
                rows = side.decoder.rows(data)
                self._difference = Difference(count=1, note=note, data=data, rows=rows)
        if self._watches and (changed or self._always):
            self._relate(packet, number, both.sent, both.received)

    def _relate(
        self,
        packet: Packet,
        number: int,
        sent: tuple[int | float | None, ...],
        received: tuple[int | float | None, ...],
    ) -> None:
        """Feed the relations of both ends: one with what it sends, one with what it receives."""
        time_ms = (packet.time_us or 0) / 1000
        decoder = self._sides[number].decoder
        for reader, watch in self._watches:
            own = reader == number
            signals, numbers = (decoder.sent, sent) if own else (decoder.received, received)
            values = {
                signal.name: value
                for signal, value in zip(signals, numbers, strict=True)
                if value is not None
            }
            broken = watch.feed(time_ms, **{"sends" if own else "receives": values})
            name = self._exchange.names[reader]
            for violation in broken:
                self.note("relation", _note(packet, number, f"{name}: {violation.message}"))

    def finish(self) -> Examination:
        """Return what was seen."""
        watchdog_us = self._exchange.watchdog_us
        for number, side in enumerate(self._sides):
            if side.noise is not None:
                self._noisy.add(side.noise)
            if watchdog_us is None or self._end_us is None or side.new_us is None:
                continue
            if self._end_us - side.new_us > watchdog_us:
                self._silent.add(Interval(side=number, start_us=side.new_us, end_us=self._end_us))
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
            connection=self._exchange.connection.name,
            profile=self._exchange.profile,
            packets=self.packets,
            start_us=self._start_us,
            end_us=self._end_us,
            watchdog_us=watchdog_us,
            sides=(self._report(0), self._report(1)),
            notes=self._notes,
            difference=difference,
            silent=self._silent.in_order(),
            silent_count=self._silent.count,
            noisy=self._noisy.in_order(),
            noisy_count=self._noisy.count,
            undriven=tuple(self._undriven()),
            timelines=tuple(each for each in self._timelines() if any(each.bins)),
            timeline_start_us=self._start_us or 0,
            timeline_width_us=self._grid.width_us,
        )

    def _report(self, number: int) -> SideReport:
        side = self._sides[number]
        return SideReport(
            name=self._exchange.names[number],
            results=dict(sorted(side.results.items())),
            data_frames=side.data_frames,
            longest_gap_us=side.longest_gap_us,
        )

    def _undriven(self) -> Iterator[Undriven]:
        """Yield what the producer's map shows, and what only the consumer's map shows."""
        for number, side in enumerate(self._sides):
            seen: set[tuple[str, tuple[int, ...]]] = set()
            for reader, signals in (
                (number, side.decoder.sent),
                (1 - number, side.decoder.received),
            ):
                for signal in signals:
                    indices = _never(signal, side.ones, side.zeros)
                    if indices and (signal.name, indices) not in seen:
                        seen.add((signal.name, indices))
                        yield Undriven(side=number, reader=reader, signal=signal, indices=indices)

    def _timelines(self) -> Iterator[Timeline]:
        """Yield each signal as its producer reads it, then as the consumer where that differs."""
        for number, side in enumerate(self._sides):
            first = side.first + len(side.decoder.sent)
            others = {
                each.name: (first + at, each) for at, each in enumerate(side.decoder.received)
            }
            for at, each in enumerate(side.decoder.sent, side.first):
                yield self._timeline(number, number, at, each)
                place, other = others.pop(each.name, (at, each))
                if self._grid.strip(place) != self._grid.strip(at):
                    yield self._timeline(number, 1 - number, place, other)
            for place, other in others.values():
                yield self._timeline(number, 1 - number, place, other)

    def _timeline(self, side: int, reader: int, at: int, signal: Signal) -> Timeline:
        return Timeline(
            side=side,
            reader=reader,
            signal=signal,
            changes=self._grid.changes[at],
            bins=self._grid.strip(at),
        )


def _never(signal: Signal, ones: int, zeros: int) -> tuple[int, ...]:
    """Return the bits of a signal that never differed from its safe value."""
    try:
        raw = to_raw(signal, signal.safe)
    except UsageError:
        return ()  # A safe value that does not fit is a finding of the map, not of a recording.
    if signal.order == "big":
        raw = int.from_bytes(raw.to_bytes(signal.width >> 3, "big"), "little")
    return tuple(
        signal.start + bit
        for bit in range(signal.width)
        if not (zeros if raw >> bit & 1 else ones) >> (signal.start + bit) & 1
    )
