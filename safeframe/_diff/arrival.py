"""What one consumer map makes of the data that one producer map describes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from .._bits import Place
from .._canonical import alike, form
from .._codec import meaning, safe_number, value_of
from .._model import Map, Signal
from .._pairing import match
from .changes import bits_text, show
from .levels import FIELDS
from .overlay import Entry, Overlay, carried

_MEANING_FIELDS = tuple(
    name
    for name, rule in FIELDS["Signal"].items()
    if rule.shared and name not in ("at", "width", "order", "name")
)

_ALL_VALUES_BITS = 4
"""Up to this width every value is tried as an example, above it the telling ones."""

_TEXT_BITS = 64
"""Up to this width a value is told as a number; above it nobody reads the number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivingBits:
    """Where some bits that the consumer reads come from, ``at`` and upwards on the wire.

    ``kind`` is ``signal`` (bits ``low`` and upwards of the value of ``name``; ``whole`` where
    that is all of it), ``reserved`` (always ``value``), ``undeclared``, ``beyond`` (past the
    producer's data) or ``overlap`` (two entries of the producer claim these bits; ``name`` is
    both).
    """

    kind: str
    at: Place
    width: int
    name: str = ""
    low: int = 0
    whole: bool = False
    value: int = 0

    def __str__(self) -> str:
        if self.kind == "signal":
            if self.whole:
                return self.name
            bits = f"bit {self.low}"
            if self.width > 1:
                bits = f"bits {self.low}-{self.low + self.width - 1}"
            return f"{self.name} {bits}"
        if self.kind == "reserved":
            return f"reserved, always {self.value:#x}" if self.value else "reserved, always 0"
        if self.kind == "overlap":
            return f"{self.name} at once"
        return "undeclared bits" if self.kind == "undeclared" else "nothing: past the data"


class Arrivals:
    """One consumer map laid over one producer map."""

    def __init__(self, producer: str, consumer: str, sent: Map, received: Map) -> None:
        self.producer, self.consumer = producer, consumer
        self.sent, self.received = sent, received
        self.overlay = Overlay(sent, received)
        pairs = match(sent, received).pairs
        # Another name on the same bits is another signal, unless both ends say what a 1 means or
        # name it as the validity of one value.
        validity = {(pair.left.valid_by, pair.right.valid_by) for pair in pairs}
        self.partner = {
            id(pair.right): pair.left
            for pair in pairs
            if pair.how != "place"
            or _one_thing(pair.left, pair.right)
            or (pair.left.name, pair.right.name) in validity
        }
        self.renamed = {(pair.left.name, pair.right.name) for pair in pairs}

    def unread(self) -> Iterator[tuple[Signal, str]]:
        """Yield the signals of the producer no bit of which is read, each with a text."""
        for signal in self.sent.signals:
            segments = self.overlay.within(signal.start, signal.end)
            if not any(segment.signal(1) for segment in segments):
                reserved = all(segment.reserved(1) for segment in segments)
                text = f"{self.consumer} has {'reserve' if reserved else 'nothing declared'} there"
                if signal.one_means:
                    text += f': "{signal.one_means}" goes unnoticed'
                yield signal, text

    def pieces(self, signal: Signal) -> tuple[ArrivingBits, ...]:
        """Return where the bits of a signal of the consumer come from, lowest first."""
        runs: list[tuple[tuple[Entry, ...], bool, int, int]] = []
        for segment in self.overlay.within(signal.start, signal.end):
            owners, start = segment.owners[0], segment.start
            beyond = start >= self.overlay.data_ends[0]
            if runs and _alike(runs[-1][0], owners) and runs[-1][1] == beyond:
                start = runs.pop()[2]  # Only another entry of the consumer cut this run.
            runs.append((owners, beyond, start, segment.end))
        return tuple(piece for run in runs for piece in _pieces(*run))

    def judge(self, signal: Signal, pieces: tuple[ArrivingBits, ...]) -> tuple[str, str]:
        """Return the verdict about a signal of the consumer and what follows from it."""
        partner = self.partner.get(id(signal))
        kinds = {piece.kind for piece in pieces}
        sources = self._sources(signal)
        if partner is not None and kinds == {"signal"} and _frame(partner) == _frame(signal):
            return self._meanings(partner, signal)
        if "overlap" in kinds or any(source is not partner for source in sources):
            return "wrong signal", self._misread(signal, sources, partner)
        if sources:
            return "other meaning", self._reread(signal, sources[0])
        if kinds == {"reserved"}:
            return "constant", _always(signal, self._raw(signal))
        missing = sum(piece.width for piece in pieces if piece.kind != "reserved")
        return "undeclared", f"{self.producer} says nothing about {bits_text(missing)} of it"

    def _meanings(self, sent: Signal, read: Signal) -> tuple[str, str]:
        texts: list[str] = []
        for field in _MEANING_FIELDS:
            one, two = getattr(sent, field), getattr(read, field)
            if alike(sent, read, field) or (field == "valid_by" and (one, two) in self.renamed):
                continue
            here, there = show(field, one, two), show(field, two, one)
            texts.append(f"{field} is {here} at {self.producer}, {there} at {self.consumer}")
        if texts:
            return "other meaning", "; ".join(texts)
        if sent.name != read.name:
            return "other name", f"{self.producer} calls it {sent.name}"
        return "same", ""

    def _misread(self, signal: Signal, sources: list[Signal], partner: Signal | None) -> str:
        """Return an example in which bits of a strange signal change what is read."""
        idle = self._raw(signal)
        for source in sources:
            if source is not partner:
                for sent in _examples(source):
                    read = self._raw(signal, source, sent)
                    if read != idle:
                        example = f"{source.name} = {_text(source, sent)}"
                        return f"{example} is read as {_text(signal, read)}"
        return f"reads bits that {self.producer} gives two meanings"

    def _reread(self, signal: Signal, source: Signal) -> str:
        """Return an example in which the signal's own bits mean something else here."""
        for sent in _examples(source):
            read = self._raw(signal, source, sent)
            if _text(signal, read) != _text(source, sent):
                return f"{_text(source, sent)} is read as {_text(signal, read)}"
        return f"reads {bits_text(signal.width)} where {bits_text(source.width)} are sent"

    def _sources(self, signal: Signal) -> list[Signal]:
        found: dict[int, Signal] = {}
        for segment in self.overlay.within(signal.start, signal.end):
            for owner in segment.owners[0]:
                if isinstance(owner, Signal):
                    found[id(owner)] = owner
        return list(found.values())

    def _raw(self, signal: Signal, source: Signal | None = None, sent: int = 0) -> int:
        """Return what is read while ``source`` is ``sent``, and all other signals are 0."""
        carrier = 0 if source is None else _on_wire(source, sent)
        word = 0
        for segment in self.overlay.within(signal.start, signal.end):
            mask = (1 << segment.width) - 1
            bits = segment.reserved_value(0) or 0
            if source is not None and any(owner is source for owner in segment.owners[0]):
                bits |= carrier >> (segment.start - source.start) & mask
            word |= bits << (segment.start - signal.start)
        return _on_wire(signal, word)


def _one_thing(sent: Signal, read: Signal) -> bool:
    """Return whether two names stand for one thing: both ends say the same of all it means."""
    said = bool(sent.one_means.strip() or sent.codes)
    return said and all(alike(sent, read, field) for field in _MEANING_FIELDS)


def _on_wire(signal: Signal, bits: int) -> int:
    """Turn a raw value into its bits in wire order, and back: for big-endian values only."""
    if signal.order == "little":
        return bits
    octets = signal.width >> 3
    return int.from_bytes(bits.to_bytes(octets, "big"), "little")


def _pieces(
    owners: tuple[Entry, ...], beyond: bool, start: int, end: int
) -> Iterator[ArrivingBits]:
    at, width = Place.at(start), end - start
    if not owners:
        yield ArrivingBits(kind="beyond" if beyond else "undeclared", at=at, width=width)
    elif len(owners) > 1:
        yield ArrivingBits(
            kind="overlap", at=at, width=width, name=" and ".join(map(_name, owners))
        )
    elif isinstance(owners[0], Signal):
        yield from _signal_pieces(owners[0], start, end)
    else:
        yield ArrivingBits(
            kind="reserved", at=at, width=width, value=carried(owners[0], start, end)
        )


def _signal_pieces(signal: Signal, start: int, end: int) -> Iterator[ArrivingBits]:
    whole = (start, end) == (signal.start, signal.end)
    if whole or signal.order == "little":
        yield ArrivingBits(
            kind="signal",
            at=Place.at(start),
            width=end - start,
            name=signal.name,
            low=start - signal.start,
            whole=whole,
        )
        return
    # Part of a big-endian value: its bits follow each other within one octet only.
    while start < end:
        stop = min(end, (start | 7) + 1)
        octet = (start - signal.start) >> 3
        yield ArrivingBits(
            kind="signal",
            at=Place.at(start),
            width=stop - start,
            name=signal.name,
            low=signal.width - 8 * (octet + 1) + (start & 7),
        )
        start = stop


def _examples(signal: Signal) -> list[int]:
    """Return raw values that may show a difference, small ones first."""
    limit = 1 << signal.width
    if signal.width <= _ALL_VALUES_BITS:
        return list(range(limit))
    named = [value for value, _ in signal.codes if 0 <= value < limit]
    return [1, *named, limit >> 1, limit - 1]


def _always(signal: Signal, raw: int) -> str:
    safe = value_of(signal, raw) == safe_number(signal)
    tail = "its safe value" if safe else f"not its safe value {signal.safe}"
    text = f"always {_text(signal, raw)}"
    if signal.edge:
        return f"{text}, {tail}: an edge never comes"
    if signal.one_means and not raw:
        return f'{text}, {tail}: never "{signal.one_means}"'
    return f"{text}, {tail}"


def _text(signal: Signal, raw: int) -> str:
    return meaning(signal, raw) if signal.width <= _TEXT_BITS else f"a {signal.width}-bit value"


def _frame(signal: Signal) -> tuple[int, int, str]:
    return signal.start, signal.width, form(signal, "order")


def _name(entry: Entry) -> str:
    return entry.name if isinstance(entry, Signal) else f"reserved {entry.at}"


def _alike(one: tuple[Entry, ...], two: tuple[Entry, ...]) -> bool:
    return len(one) == len(two) and all(a is b for a, b in zip(one, two, strict=True))
