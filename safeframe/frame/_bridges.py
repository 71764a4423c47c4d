"""Safety data in the user's own programs: a map as a construct, its signals as bit strings.

Both give what the map codec gives; the tests compare them. The two libraries are imported when a
bridge is built.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from .._bits import to_bitstring
from .._codec import MapCodec
from .._errors import UsageError
from .._model import Map, Signal

if TYPE_CHECKING:
    from bitstring import Bits
    from construct import Adapter


def construct_of(map_: Map) -> Adapter:
    """Return the safety data of a map as a construct, to stand in a Struct of your own.

    It parses exactly ``map_.size_octets`` octets to a Container of numbers before scaling by the
    names of the signals, and builds them from such numbers: what is not named carries its safe
    value, reserved runs their declared value. Building raises UsageError for a number that does
    not fit or an unknown name.
    """
    import construct  # deferred: it costs 48 ms and few programs need it.

    codec = MapCodec(map_)
    names = [signal.name for signal in codec.signals]

    class SafetyData(construct.Adapter):  # type: ignore[misc]
        def _decode(self, octets: bytes, context: Any, path: str) -> Any:
            return construct.Container(zip(names, codec.numbers(octets), strict=True))

        def _encode(self, values: Mapping[str, Any], context: Any, path: str) -> bytes:
            return codec.encode(values)

    return SafetyData(construct.Bytes(map_.size_octets))


def bits_of(map_: Map, data: bytes) -> dict[str, Bits]:
    """Return the bits of each signal by name as bitstring.Bits, most significant bit first.

    ``data`` are the safety data as carried, ``map_.size_octets`` octets; raises UsageError for
    another size.
    """
    import bitstring  # deferred: it costs 34 ms and few programs need it.

    if len(data) != map_.size_octets:
        raise UsageError(f"safety data must be {map_.size_octets} octets, not {len(data)}")
    codec, whole = MapCodec(map_), to_bitstring(data)

    def bits(signal: Signal, raw: int | None) -> Bits:
        if signal.order == "big":
            return bitstring.Bits(uint=raw, length=signal.width)
        falling = range(signal.end - 1, signal.start - 1, -1)
        return bitstring.Bits([whole[index & ~7 | 7 - (index & 7)] for index in falling])

    return {
        signal.name: bits(signal, raw)
        for signal, raw in zip(codec.signals, codec.raws(data), strict=True)
    }
