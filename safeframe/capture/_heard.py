"""What is remembered of one side of a recording: results, use, bits that count as tested."""

from __future__ import annotations

from collections.abc import Iterator

from .. import _codec as codec
from .._errors import UsageError
from .._link import Link
from .._model import Signal
from ._decode import Both, Decoder
from ._odd import Contradictions
from ._report import Interval, Notes, SideReport, Undriven

_SAMPLE = 1024
"""Different data that are kept for other readings; by choice."""


class Heard:
    """One side: ``use`` is what its receiver does with its data, None before it is known.

    Only bits of accepted frames whose data the receiver uses count as tested. ``parts`` says that
    several frames carry its data together, ``unread`` that data in use had not the size of the
    maps, ``noise`` are the last rejected frames close together.
    """

    def __init__(self, link: Link, side: int, *, zeros: bool, parts: bool) -> None:
        self.link, self.side, self.parts = link, side, parts
        sent, received = link.sent(side), link.received(side)
        self.decoder = Decoder(sent, received)
        self.odd = Contradictions(sent, received)
        self.carries = link.carries[side]
        self.sends = side in link.order
        self.sizes = sent.size_octets, received.size_octets
        self.results: dict[str, int] = {}
        self.data_frames = self.used_frames = self.unknown_at_start = 0
        self.longest_gap_us = -1  # No gap yet: one of no time is a gap.
        self.data: bytes | None = None
        self.use: str | None = None
        self.ones = self.zeros = 0
        self.heard_us: int | None = None
        self.differs = self.is_odd = self.is_told = self.fallen = False
        self.steady = 0
        self.unread = False
        self.unproven = Notes()
        self.noise: Interval | None = None
        self._run = 0
        self.sample: dict[bytes, int] = {}
        self.fail_safe = _fail_safe(link, side, self.decoder, zeros=zeros)

    def count(self, data: bytes) -> None:
        """Let the bits of data count as tested."""
        word = int.from_bytes(data, "little")
        self.ones |= word
        self.zeros |= word ^ ((1 << 8 * len(data)) - 1)

    def again(self) -> None:
        """Count one frame more with the data of the last one."""
        self._run += 1

    def keep(self, data: bytes | None) -> None:
        """Keep new data for other readings while there is room; None: what came last is over."""
        if self.data is not None and self._run and self.data in self.sample:
            self.sample[self.data] += self._run
        self._run = 0
        if data is not None:
            if data in self.sample:
                self.sample[data] += 1
            elif len(self.sample) < _SAMPLE:
                self.sample[data] = 1
        self.data = data

    def noisy(self, time_us: int, reach_us: int) -> Interval | None:
        """Take a rejected frame; return the noise before it where that has come to its end."""
        noise = self.noise
        if noise is not None and time_us - noise.end_us <= reach_us:
            self.noise = Interval(
                side=self.side, start_us=noise.start_us, end_us=time_us, count=noise.count + 1
            )
            return None
        self.noise = Interval(side=self.side, start_us=time_us, end_us=time_us, count=1)
        return noise

    def report(self) -> SideReport:
        """Return what this side sent."""
        results = dict(self.results)
        if self.steady:
            results["accepted"] = results.get("accepted", 0) + self.steady
        return SideReport(
            name=self.link.names[self.side],
            results=dict(sorted(results.items())),
            data_frames=self.data_frames,
            longest_gap_us=None if self.longest_gap_us < 0 else self.longest_gap_us,
            used_frames=self.used_frames,
            ones=self.ones,
            zeros=self.zeros,
            unknown_at_start=self.unknown_at_start,
            sends=self.sends,
        )

    def undriven(self) -> Iterator[Undriven]:
        """Yield what the producer's map shows, and what only the consumer's map shows."""
        seen: set[tuple[str, tuple[int, ...]]] = set()
        for reader, signals in (
            (self.side, self.decoder.sent),
            (1 - self.side, self.decoder.received),
        ):
            for signal in signals:
                indices = _never(signal, self.ones, self.zeros)
                if indices and (signal.name, indices) not in seen:
                    seen.add((signal.name, indices))
                    yield Undriven(side=self.side, reader=reader, signal=signal, indices=indices)


def _fail_safe(link: Link, side: int, decoder: Decoder, *, zeros: bool) -> Both:
    """Return what both ends read while the receiver takes its fail-safe values.

    Nothing is known of a signal with a safe value that does not fit: a finding of the map.
    """
    if zeros:
        return decoder.read(bytes(link.sent(side).size_octets))
    return Both(tuple(map(_safe, decoder.sent)), tuple(map(_safe, decoder.received)), False)


def _safe(signal: Signal) -> int | float | None:
    try:
        return codec.value_of(signal, codec.to_raw(signal, signal.safe))
    except UsageError:
        return None


def _never(signal: Signal, ones: int, zeros: int) -> tuple[int, ...]:
    """Return the bits of a signal that never differed from its safe value."""
    try:
        raw = codec.to_raw(signal, signal.safe)
    except UsageError:
        return ()  # A safe value that does not fit is a finding of the map, not of a recording.
    if signal.order == "big":
        raw = int.from_bytes(raw.to_bytes(signal.width >> 3, "big"), "little")
    raw, bits = raw << signal.start, range(signal.start, signal.end)
    seen = zeros & raw | ones & ~raw
    return tuple(bit for bit in bits if not seen >> bit & 1)
