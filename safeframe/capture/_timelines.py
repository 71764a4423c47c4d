"""The timelines of both sides: each signal as both ends read it, and what became of the frames."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .._model import Signal
from ._decode import Both, Decoder
from ._report import SideMarks, Timeline
from ._strips import StripBook

_USED, UNUSED, SILENT = 0, 1, 2
"""What a receiver does with the data of a side, as the numbers of its strip."""


class Timelines:
    """One strip for each signal of each map, and two marks a side: frames rejected, data used.

    What has no time leaves no trace.
    """

    def __init__(self, decoders: Sequence[Decoder], window: tuple[int, int | None]) -> None:
        self._decoders = decoders
        self._first = 0, len(decoders[0].sent) + len(decoders[0].received)
        self._marks = self._first[1] + len(decoders[1].sent) + len(decoders[1].received)
        self._strips = StripBook(self._marks + 4, window)
        self._marked: list[int | None] = [None, None]

    @property
    def since_us(self) -> int:
        """When the bins begin, counted from the beginning of the recording."""
        return self._strips.since_us

    @property
    def width_us(self) -> int:
        """How long a bin is."""
        return self._strips.width_us

    def begin(self, time_us: int) -> None:
        """Take the time of the first packet."""
        self._strips.start_us = time_us

    def end(self, time_us: int) -> None:
        """Let all strips go on up to the time of the last packet."""
        self._strips.reach(time_us)

    def use(self, side: int, time_us: int | None, both: Both) -> None:
        """Show data that the receiver uses from a time on."""
        if time_us is not None:
            if self._marked[side] != _USED:
                self.mark(side, time_us, _USED)
            self._strips.set(time_us, (*both.sent, *both.received), self._first[side])

    def fall(self, side: int, time_us: int | None, safe: Both) -> None:
        """Show the fail-safe values that the receiver takes from a time on."""
        self.mark(side, time_us, UNUSED)
        if time_us is not None:
            self._strips.set(time_us, (*safe.sent, *safe.received), self._first[side])

    def mark(self, side: int, time_us: int | None, use: int) -> None:
        """Mark what the receiver does with the data of a side from a time on."""
        if time_us is not None and use != self._marked[side]:
            self._marked[side] = use
            self._strips.set(time_us, (use,), self._marks + 2 * side + 1)

    def reject(self, side: int, time_us: int) -> None:
        """Mark a rejected frame."""
        self._strips.set(time_us, (1,), self._marks + 2 * side)
        self._strips.set(time_us, (0,), self._marks + 2 * side)

    def marks(self, side: int) -> SideMarks:
        """Return what was marked of a side."""
        first = self._marks + 2 * side
        return SideMarks(rejected=self._strips.strip(first), use=self._strips.strip(first + 1))

    def drawn(self) -> Iterator[Timeline]:
        """Yield each signal as its producer reads it, then as the consumer where that differs."""
        for number, decoder in enumerate(self._decoders):
            first = self._first[number]
            middle = first + len(decoder.sent)
            sent, received = decoder.sent, decoder.received
            partner = _partners(sent, received)
            for at, each in enumerate(sent):
                other = partner.get(at)
                names = each.name, "" if other is None else received[other].name
                line = self._timeline((number, number), first + at, each, names)
                yield line
                if other is not None:
                    ends = number, 1 - number
                    read = self._timeline(ends, middle + other, received[other], names)
                    if read.bins != line.bins:
                        yield read
            taken = set(partner.values())
            for at, each in enumerate(received):
                if at not in taken:
                    lone = "", each.name
                    yield self._timeline((number, 1 - number), middle + at, each, lone)

    def _timeline(
        self, ends: tuple[int, int], at: int, signal: Signal, names: tuple[str, str]
    ) -> Timeline:
        side, reader = ends
        return Timeline(
            side=side,
            reader=reader,
            signal=signal,
            changes=self._strips.changes[at],
            bins=self._strips.strip(at),
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
