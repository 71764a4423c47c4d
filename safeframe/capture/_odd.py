"""Data in use that contradict the maps: reserved bits that move, codes without a name, validity.

What both ends say about a place stands side by side. A bit that both call reserved and that moves
means that a device runs an edit which these maps do not show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

from .. import _codec as codec
from .._bits import Place
from .._model import Map, Reserved, Signal, owner
from ._report import KEPT, Note, Oddity

_MAX_KNOWN = 4096


class _Finding(NamedTuple):
    """One contradiction in some data: its identity is kind and place."""

    kind: str
    place: str
    words: tuple[str, str]
    text: str


def _word(map_: Map, index: int) -> str:
    """Return what a map says about a bit."""
    found = owner(map_, index)
    if found is None:
        return "not in the map"
    if isinstance(found, Reserved):
        return "reserved"
    return found.name


def _numbers(map_: Map, data: bytes) -> dict[str, int | float]:
    found: dict[str, int | float] = {}
    for signal in map_.signals:
        raw = codec.extract(signal, data)
        if raw is not None:
            found.setdefault(signal.name, codec.value_of(signal, raw))
    return found


def _unused(map_: Map) -> tuple[int, int]:
    """Return the bits that a map calls reserved, and what they should be."""
    mask = value = 0
    for entry in map_.entries:
        if isinstance(entry, Reserved):
            mask |= ((1 << entry.width) - 1) << entry.start
            value |= entry.value << entry.start
    return mask, value


def _codes(map_: Map, data: bytes) -> Iterator[tuple[Signal, int]]:
    """Yield the signals with named values whose value has no name."""
    for signal in map_.signals:
        raw = codec.extract(signal, data) if signal.codes else None
        if raw is not None and raw not in dict(signal.codes):
            yield signal, raw


def _invalid(map_: Map, data: bytes) -> Iterator[Signal]:
    """Yield the signals whose validity bit is 0 while they are not at their safe value."""
    if not any(signal.valid_by for signal in map_.signals):
        return
    numbers = _numbers(map_, data)
    for signal in map_.signals:
        if signal.valid_by and numbers.get(signal.valid_by) == 0:
            value = numbers.get(signal.name)
            if value is not None and value != codec.safe_number(signal):
                yield signal


class Contradictions:
    """Contradictions of one side's data to the maps of both ends, counted by place."""

    def __init__(self, sent: Map, received: Map) -> None:
        self._maps = sent, received
        self._reserved = [(_unused(map_), map_) for map_ in self._maps]
        self._quick = [pair for pair, _ in self._reserved]
        self._rich = any(
            signal.codes or signal.valid_by for map_ in self._maps for signal in map_.signals
        )
        self._known: dict[bytes, tuple[_Finding, ...]] = {}
        self._found: dict[tuple[str, str], Oddity] = {}

    def look(self, data: bytes, note: Callable[[], Note], side: int) -> tuple[_Finding, ...]:
        """Look at the data of one frame; return what contradicts."""
        found = self._known.get(data)
        if found is None:
            if len(self._known) >= _MAX_KNOWN:
                self._known.clear()
            found = self._known[data] = tuple(self._look(data))
        for each in found:
            self.count(each, note, side)
        return found

    def count(self, found: _Finding, note: Callable[[], Note], side: int) -> None:
        """Count one contradiction more."""
        key = found.kind, found.place
        before = self._found.get(key)
        if before is not None:
            self._found[key] = replace(before, count=before.count + 1)
        elif len(self._found) < KEPT:
            self._found[key] = Oddity(
                side=side,
                kind=found.kind,
                place=found.place,
                words=found.words,
                text=found.text,
                count=1,
                first=note(),
            )

    def found(self) -> tuple[Oddity, ...]:
        """Return all contradictions, by kind and place."""
        return tuple(self._found.values())

    def _look(self, data: bytes) -> Iterator[_Finding]:
        word = int.from_bytes(data, "little")
        wrong = 0
        for mask, value in self._quick:
            wrong |= (word ^ value) & mask
        wrong &= (1 << 8 * len(data)) - 1
        for index in range(wrong.bit_length()):
            if wrong >> index & 1:
                yield self._moved(index)
        if self._rich:
            yield from self._values(data)

    def _moved(self, index: int) -> _Finding:
        words = _word(self._maps[0], index), _word(self._maps[1], index)
        text = "a bit that one map calls reserved is not as declared"
        if words == ("reserved", "reserved"):
            text = "both maps call it reserved, and it is not as declared: a device runs an edit"
            text += " that these maps do not show"
        return _Finding("reserved", str(Place.at(index)), words, text)

    def _values(self, data: bytes) -> Iterator[_Finding]:
        for number, map_ in enumerate(self._maps):
            for signal, raw in _codes(map_, data):
                words = self._words(signal, data)
                text = f"{raw} has no name"
                if number == 0 or words[0] != words[1]:
                    yield _Finding("unnamed code", f"{signal.at} {signal.name}", words, text)
            for signal in _invalid(map_, data):
                words = self._words(signal, data)
                text = f"{signal.valid_by} is 0 while the value is not the safe one"
                if number == 0 or words[0] != words[1]:
                    yield _Finding("not valid", f"{signal.at} {signal.name}", words, text)

    def _words(self, signal: Signal, data: bytes) -> tuple[str, str]:
        """Return what each end reads under the name of a signal."""
        texts = []
        for map_ in self._maps:
            named = [each for each in map_.signals if each.name == signal.name]
            reading = codec.read_signal(named[0], data) if named else None
            texts.append(reading.text if reading else "not in the map")
        return texts[0], texts[1]


def explains(map_: Map, data: bytes) -> bool:
    """Tell whether data contradict one map nowhere."""
    mask, value = _unused(map_)
    if (int.from_bytes(data, "little") ^ value) & mask:
        return False
    return not any(_codes(map_, data)) and not any(_invalid(map_, data))
