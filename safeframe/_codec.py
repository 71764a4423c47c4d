"""What one end understands when it reads safety data with its own map."""

from __future__ import annotations

import struct
from collections.abc import Mapping

from ._bits import Layout, octets_of_bits
from ._errors import UsageError
from ._model import Map, Signal
from ._value import dataclass

_DECIMAL_BITS = 1024
"""Values of more bits are shown in hexadecimal: decimals of them cost the square of their length,
and Python refuses those of more than 4300 digits."""
_FLOAT_FORMATS = {16: "e", 32: "f", 64: "d"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One signal as read from data; ``raw`` is None where the data end before the signal.

    ``text`` is what the value means to this end: the number with its unit, the name of the code
    point, what a 1 stands for. ``is_safe`` tells whether it is the value on loss of communication.
    """

    signal: Signal
    raw: int | None
    text: str
    is_safe: bool


def extract(signal: Signal, data: bytes) -> int | None:
    """Return the raw unsigned value of a signal, None where the data end before it does."""
    if signal.end > 8 * len(data):
        return None
    octets = data[signal.at.octet : octets_of_bits(signal.end)]
    word = int.from_bytes(octets, "little") >> signal.at.bit & ((1 << signal.width) - 1)
    if signal.order == "big":
        word = int.from_bytes(octets, "big")
    return word


def value_of(signal: Signal, raw: int) -> int | float:
    """Return the number that the raw bits stand for, before scaling."""
    if signal.type == "int" and raw >> (signal.width - 1):
        return raw - (1 << signal.width)
    if signal.type == "float":
        octets = raw.to_bytes(signal.width >> 3, "little")
        number: float = struct.unpack("<" + _FLOAT_FORMATS[signal.width], octets)[0]
        return number
    return raw


def to_raw(signal: Signal, value: int | float) -> int:
    """Return the raw bits of a number before scaling; UsageError where it does not fit."""
    width = signal.width
    if signal.type == "float":
        try:
            octets = struct.pack("<" + _FLOAT_FORMATS[width], value)
        except OverflowError:
            raise UsageError(f"{signal.name} must fit a {width}-bit float, not {value}") from None
        except struct.error:
            raise UsageError(f"{signal.name} must be a number, not {value!r}") from None
        return int.from_bytes(octets, "little")
    low, high = (-(1 << width - 1), 1 << width - 1) if signal.type == "int" else (0, 1 << width)
    if not isinstance(value, int) or not low <= value < high:
        raise UsageError(f"{signal.name} must be {low}..{high - 1}, not {value}")
    return value & ((1 << width) - 1)


def safe_number(signal: Signal) -> int | float:
    """Return the safe value as data carry it: a float of this width may be another than stated."""
    if signal.type != "float":
        return signal.safe
    try:
        return value_of(signal, to_raw(signal, signal.safe))
    except UsageError:
        return signal.safe  # One that does not fit is a finding of the map.


def meaning(signal: Signal, raw: int) -> str:
    """Return what ``raw`` means to the end that owns ``signal``, as one line of text."""
    if signal.type == "bool":
        return f"1 ({signal.one_means})" if raw and signal.one_means else str(raw)
    if signal.type == "code":
        name = dict(signal.codes).get(raw)
        return f"{raw} (no such code point)" if name is None else f"{raw} ({name})"
    text = value_text(signal, value_of(signal, raw))
    return f"{text} {signal.unit}" if signal.unit else text


def value_text(signal: Signal, number: int | float) -> str:
    """Return a number before scaling as its value, exactly, without unit or name."""
    if signal.width > _DECIMAL_BITS:
        return _long(int(number), signal.scale)
    return str(number) if signal.scale == "1" else _scaled(number, signal.scale)


def number_text(signal: Signal, number: int | float) -> str:
    """Return what a number before scaling means to the end that owns ``signal``."""
    return meaning(signal, to_raw(signal, number))


def _long(number: int, scale: str) -> str:
    """Return a number that nobody reads in decimals, exactly: ``0x5 * 2^4000``."""
    zeros = max((number & -number).bit_length() - 1, 0)
    text = f"{number >> zeros:#x}"
    parts = [text, f"2^{zeros}" if zeros else "", scale if scale != "1" else ""]
    return " * ".join(part for part in parts if part)


def _scaled(number: int | float, scale: str) -> str:
    from decimal import Context, Decimal  # deferred: most maps scale nothing.

    # A product has at most as many digits as its factors together, so nothing is rounded; its last
    # place stays, and "f" avoids 1E+2.
    stated, factor = Decimal(str(number)), Decimal(scale)
    digits = len(stated.as_tuple().digits) + len(factor.as_tuple().digits)
    return f"{Context(prec=digits).multiply(stated, factor):f}"


def read_signal(signal: Signal, data: bytes, validity: Signal | None = None) -> Reading:
    """Read one signal from data; ``validity`` is the bit that says whether its value holds."""
    raw = extract(signal, data)
    if raw is None:
        return Reading(signal=signal, raw=None, text="beyond the end of the data", is_safe=False)
    text = meaning(signal, raw)
    if validity is not None and extract(validity, data) == 0:
        text += ", not valid"
    is_safe = value_of(signal, raw) == safe_number(signal)
    return Reading(signal=signal, raw=raw, text=text, is_safe=is_safe)


class MapCodec:
    """One map, ready to turn safety data into values and values into safety data, many times.

    ``signals`` holds every signal once, of several with one name the first; ``raws``, ``numbers``
    and ``decode`` answer in that order. A map whose signals overlap or leave the data is read
    signal by signal, any other one through tables (``Layout``).
    """

    __slots__ = ("_big", "_constant", "_layout", "_map", "_positions", "signals")

    def __init__(self, map_: Map) -> None:
        first: dict[str, Signal] = {}
        for each in map_.signals:
            first.setdefault(each.name, each)
        self._map = map_
        self.signals: tuple[Signal, ...] = tuple(first.values())
        self._positions = {name: at for at, name in enumerate(first)}
        self._constant = 0
        for entry in map_.reserved:
            self._constant |= entry.value << entry.start
        self._big = [at for at, each in enumerate(self.signals) if each.order == "big"]
        try:
            fields = [(each.start, each.width) for each in self.signals]
            self._layout: Layout | None = Layout(map_.size_octets, fields)
        except UsageError:
            self._layout = None
        if len(first) < len(map_.signals):
            self._layout = None  # what has no name of its own is written as well.

    def raws(self, data: bytes) -> list[int | None]:
        """Return the raw unsigned value of each signal, None where the data end before it."""
        if self._layout is None or len(data) != self._layout.size_octets:
            return [extract(each, data) for each in self.signals]
        found: list[int | None] = [*self._layout.unpack(data)]
        for at in self._big:
            found[at] = extract(self.signals[at], data)
        return found

    def numbers(self, data: bytes) -> tuple[int | float | None, ...]:
        """Return the number of each signal before scaling, None where the data end before it."""
        return tuple(
            raw if raw is None or signal.type not in ("int", "float") else value_of(signal, raw)
            for signal, raw in zip(self.signals, self.raws(data), strict=True)
        )

    def decode(self, data: bytes) -> dict[str, Reading]:
        """Return what each signal reads as, by name."""
        return {
            each.name: read_signal(each, data, self._signal(each.valid_by)) for each in self.signals
        }

    def _signal(self, name: str) -> Signal | None:
        at = self._positions.get(name)
        return None if at is None else self.signals[at]

    def encode(self, values: Mapping[str, int | float]) -> bytes:
        """Return the safety data in which the named signals have these numbers; see ``encode``."""
        for name in values:
            if name not in self._positions:
                raise UsageError(f"a signal of this direction must be named, not {name!r}")
        signals = self._map.signals if self._layout is None else self.signals
        carried = [
            on_wire(each, to_raw(each, values.get(each.name, each.safe))) for each in signals
        ]
        word = self._constant
        if self._layout is None:
            for each, bits in zip(signals, carried, strict=True):
                word |= bits << each.start
        else:
            word |= int.from_bytes(self._layout.pack(carried), "little")
        return word.to_bytes(self._map.size_octets, "little")


def on_wire(signal: Signal, raw: int) -> int:
    """Return the bits of a raw value as they stand on the wire, least significant first."""
    if signal.order == "big":
        return int.from_bytes(raw.to_bytes(signal.width >> 3, "big"), "little")
    return raw


def decode(map_: Map, data: bytes) -> dict[str, Reading]:
    r"""Read every signal of a map from data; of several signals with one name the first counts.

    >>> sends = safeframe.load("sc1.toml").sends
    >>> {name: reading.raw for name, reading in safeframe.decode(sends, b"\x05").items()}
    {'permit_torque': 1, 'brake1_release': 0, 'brake2_release': 1}
    """
    return MapCodec(map_).decode(data)


def encode(map_: Map, values: Mapping[str, int | float]) -> bytes:
    """Return the safety data in which the named signals have these numbers (before scaling).

    Signals not named carry their ``safe`` value, reserved runs their declared value. Raises
    UsageError for an unknown name or a number that does not fit.

    >>> sends = safeframe.load("sc1.toml").sends
    >>> safeframe.encode(sends, {"permit_torque": 1, "brake2_release": 1}).hex()
    '05'
    """
    return MapCodec(map_).encode(values)
