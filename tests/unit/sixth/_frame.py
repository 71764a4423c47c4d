"""How frames of LIFT 6 are built, cut and judged."""

from __future__ import annotations

from functools import cache

from safeframe._engine.parts import Sum, crc_check, expected, missing
from safeframe._engine.recipe import Cover, FrameLayout, Recipe, Seen, Value, Values
from safeframe._errors import FrameError, UsageError
from safeframe.crc import CATALOGUE, compute

__all__ = ["RECIPE"]

_ALGORITHM = CATALOGUE["crc-16/v41"]


@cache
def _shape(data_octets: int, kind: str = "data") -> FrameLayout:
    if not 1 <= data_octets <= 4:
        raise UsageError(f"data must be 1..4 octets, not {data_octets}")
    sizes = ("counter", 1), ("station", 1), ("data", data_octets), ("crc", 2)
    return FrameLayout(kind, data_octets, sizes)


def _find(octets: bytes, known: Values) -> FrameLayout:
    if not 5 <= len(octets) <= 8:
        raise FrameError(f"the length must be 5..8 octets, not {len(octets)}", check="length")
    return _shape(len(octets) - 4)


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    return {"counter": octets[0], "station": octets[1], "data": octets[2:-2]}


def _write(values: Values) -> bytes:
    missing(values, "data", "station")
    _shape(len(values["data"]))
    front: bytes = bytes((values["counter"], values["station"])) + values["data"]
    return front + compute(_ALGORITHM, front).to_bytes(2, "big")


def _sum(seen: Seen) -> Sum:
    return Sum(
        algorithm=_ALGORITHM,
        feeds=(("counter, station, data", seen.octets[:-2]),),
        carried=int.from_bytes(seen.octets[-2:], "big"),
    )


def _covers(seen: Seen) -> tuple[Cover, ...]:
    return (_sum(seen).cover("crc"),)


RECIPE = Recipe(
    name="lift-6",
    kinds=("data",),
    values=(
        Value(name="data", meaning="safety data, 1..4 octets", octets=-1),
        Value(name="station", meaning="address of the sender", least=1, most=255),
        Value(name="counter", meaning="counter of the sender", default=0, most=255),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={
        "data": (
            crc_check("crc", "the CRC", _sum),
            expected("station", octets=1),
            expected("counter", octets=1, required=False),
        )
    },
    covers=_covers,
    mean=lambda name, octets: octets.hex(" "),
    shape=_shape,
    order="as invented",
    identity=frozenset(("station",)),
)
