"""Safety data as the producer means them and as the consumer understands them."""

from __future__ import annotations

from operator import attrgetter
from typing import NamedTuple

from .._codec import MapCodec, safe_number
from .._model import Map, Signal

_MAX_KNOWN = 4096
"""Readings that are remembered: a machine repeats few states, a counter never repeats one."""

_meaning = attrgetter("type", "order", "scale", "unit", "codes", "one_means", "valid_by", "safe")
"""Attributes that change what a number means; two signals alike in them mean the same."""

Number = int | float


class Disagreement(NamedTuple):
    """One reading that differs: the signal, what each end understands."""

    signal: str
    sent: str
    received: str


class Both(NamedTuple):
    """Numbers by signal as each end reads them, None beyond the data; whether they differ."""

    sent: tuple[Number | None, ...]
    received: tuple[Number | None, ...]
    differs: bool


def _unlike(left: Number | None, right: Number | None) -> bool:
    """Tell whether two numbers differ; what is no number is like what is no number."""
    return left != right and (left == left or right == right)


class Decoder:
    """Reads the data of one direction with both maps."""

    def __init__(self, sent: Map, received: Map) -> None:
        self._codecs = MapCodec(sent), MapCodec(received)
        self.sent: tuple[Signal, ...] = self._codecs[0].signals
        self.received: tuple[Signal, ...] = self._codecs[1].signals
        partners = {each.name: (at, each) for at, each in enumerate(self.received)}
        self._pairs: list[tuple[int, int]] = []
        self._lone_sent: list[tuple[int, Number]] = []
        self._alike = True
        for at, each in enumerate(self.sent):
            if each.name not in partners:
                self._lone_sent.append((at, safe_number(each)))
                continue
            other, partner = partners.pop(each.name)
            self._pairs.append((at, other))
            self._alike &= _meaning(each) == _meaning(partner)
        self._lone_received = [(at, safe_number(each)) for at, each in partners.values()]
        self._known: dict[bytes, Both] = {}

    def read(self, data: bytes) -> Both:
        """Return what both ends read."""
        found = self._known.get(data)
        if found is None:
            if len(self._known) >= _MAX_KNOWN:
                self._known.clear()
            found = self._known[data] = self._read(data)
        return found

    def _read(self, data: bytes) -> Both:
        sent, received = (codec.numbers(data) for codec in self._codecs)
        differs = (
            any(_unlike(sent[left], received[right]) for left, right in self._pairs)
            or any(_unlike(sent[at], safe) for at, safe in self._lone_sent)
            or any(_unlike(received[at], safe) for at, safe in self._lone_received)
        )
        if not differs and not self._alike:
            # The same numbers may mean different things.
            differs = bool(self.rows(data))
        return Both(sent, received, differs)

    def rows(self, data: bytes) -> tuple[Disagreement, ...]:
        """Return the signals of which the two ends understand something different."""
        left, right = (codec.decode(data) for codec in self._codecs)
        rows = []
        for name in (*left, *(name for name in right if name not in left)):
            mine, other = left.get(name), right.get(name)
            if mine is None and other is not None and not other.is_safe:
                rows.append(Disagreement(name, "(not in the map)", other.text))
            elif other is None and mine is not None and not mine.is_safe:
                rows.append(Disagreement(name, mine.text, "(not in the map)"))
            elif mine is not None and other is not None and mine.text != other.text:
                rows.append(Disagreement(name, mine.text, other.text))
        return tuple(rows)
