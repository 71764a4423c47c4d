"""FSCP 3/1 with the 24-bit CRC: data, status or control octet, CRC2; and the parameter CRC.

Sources of every rule: the profile's page.
"""

from __future__ import annotations

from functools import cache

from ..._engine.parts import Sum, crc_check, hex_of, lacking, missing
from ..._engine.recipe import FrameLayout, Recipe, Seen, Value, Values
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE, compute

_CRC1 = CATALOGUE["fscp-3-1/crc1"]
_CRC2 = CATALOGUE["fscp-3-1/crc2-24"]
_LAST_NUMBER = (1 << 24) - 1
_SILS = {1: 0, 2: 1, 3: 2, 0: 3}
_LENGTH_CODES = {3: 0, 4: 2}
"""Bits 5..4 of flag 1: the octets of the frame CRC; code 2 follows from a published value."""
RESET_BITS = {"host": 0x04, "device": 0x40}
"""The bit of a control and of a status octet that says that the number begins again."""
_STATUS = (
    "device parameters accepted / enabled",
    "device fault / operator acknowledge",
    "CRC error / reset number",
    "watchdog / second watchdog",
    "fail-safe values active / activate",
    "toggle",
    "number reset / channel acknowledge",
    "reserved / loop check",
)


def next_number(number: int) -> int:
    """Return the next consecutive number: after 2^24 - 1 comes 1 (from memory)."""
    return number + 1 if number < _LAST_NUMBER else 1


def parameter_record(
    *,
    sil: int,
    source_address: int,
    destination_address: int,
    watchdog_ms: int,
    device_parameter_crc: int | None = None,
    check_number: bool = False,
    check_device_parameters: bool = False,
    crc_octets: int = 3,
) -> bytes:
    """Return the parameter record with its CRC, 10 octets, 14 with a device parameter CRC.

    ``sil`` is 1..3, 0 for none, ``crc_octets`` the length of the frame CRC that the record asks
    for, 3 or 4; the version is 1. The CRC is computed with the seed bit 0: two published values
    with a CRC of 4 octets fit that only, though their descriptions name a seed. Whether the bit is
    0 in the record as sent, too, no source shows.
    Raises UsageError for a value that does not fit its field.
    """
    if sil not in _SILS:
        raise UsageError(f"sil must be 0..3, not {sil}")
    if crc_octets not in _LENGTH_CODES:
        raise UsageError(f"crc_octets must be 3 or 4, not {crc_octets}")
    words = (
        ("source_address", source_address),
        ("destination_address", destination_address),
        ("watchdog_ms", watchdog_ms),
    )
    for name, value in words:
        if not 0 <= value <= 65535:
            raise UsageError(f"{name} must be 0..65535, not {value}")
    if device_parameter_crc is not None and not 0 <= device_parameter_crc < 1 << 32:
        raise UsageError(f"device_parameter_crc must fit 32 bits, not {device_parameter_crc}")
    flag_1 = check_number | check_device_parameters << 1 | _SILS[sil] << 2
    flag_1 |= _LENGTH_CODES[crc_octets] << 4
    has_device = device_parameter_crc is not None
    fixed = bytes((flag_1, 0x40 | has_device << 3))
    fixed += b"".join(value.to_bytes(2, "big") for _, value in words)
    device = b"" if device_parameter_crc is None else device_parameter_crc.to_bytes(4, "big")
    return fixed + device + compute(_CRC1, device + fixed).to_bytes(2, "big")


def parameter_crc(record: bytes) -> int:
    """Return the CRC1 that a parameter record of 10 or 14 octets should end with."""
    if len(record) not in (10, 14):
        raise FrameError(
            f"a parameter record must be 10 or 14 octets, not {len(record)}", check="length"
        )
    return compute(_CRC1, record[8:-2] + record[:8])


@cache
def _shape(data_octets: int, kind: str = "data") -> FrameLayout:
    if not 0 <= data_octets <= 12:
        raise UsageError(f"data must be 0..12 octets, not {data_octets}")
    return FrameLayout(kind, data_octets, (("data", data_octets), ("status", 1), ("crc2", 3)))


def _find(octets: bytes, known: Values) -> FrameLayout:
    if not 4 <= len(octets) <= 16:
        raise FrameError(f"the length must be 4..16 octets, not {len(octets)}", check="length")
    return _shape(len(octets) - 4)


def _write(values: Values) -> bytes:
    missing(values, "data", "parameter_crc")
    data: bytes = values["data"]
    _shape(len(data))
    front = data + bytes((values["status"],))
    covered = front[::-1] + values["number"].to_bytes(4, "little")
    return front + compute(_CRC2, covered, init=values["parameter_crc"]).to_bytes(3, "big")


def _sum_2(seen: Seen) -> Sum:
    octets, known = seen.octets, seen.known
    number = known.get("number")
    return Sum(
        algorithm=_CRC2,
        init=known.get("parameter_crc", 0),
        feeds=(
            ("status or control octet", octets[-4:-3]),
            ("data, last octet first", octets[:-4][::-1]),
            (
                "consecutive number, low octet first",
                b"" if number is None else number.to_bytes(3, "little"),
            ),
            ("one zero octet", b"\0"),
        ),
        carried=int.from_bytes(octets[-3:], "big"),
        unknown=lacking(known, "number", "parameter_crc"),
    )


def _mean(name: str, octets: bytes) -> str:
    if name == "status":
        named = [text for bit, text in enumerate(_STATUS) if octets[0] >> bit & 1]
        return f"status / control: {', '.join(named) or 'no bit set'}"
    return "data" if name == "data" else hex_of(int.from_bytes(octets, "big"), 3)


RECIPE = Recipe(
    name="fscp-3-1",
    kinds=("data",),
    values=(
        Value(name="data", meaning="safety data, 0..12 octets", octets=-1),
        Value(name="status", meaning="status or control octet", default=0, most=255),
        Value(
            name="number",
            meaning="virtual consecutive number",
            carried=False,
            default=0,
            most=_LAST_NUMBER,
        ),
        Value(
            name="parameter_crc",
            meaning="CRC1 of the parameter record, start of every frame CRC",
            carried=False,
            most=65535,
        ),
    ),
    find=_find,
    read=lambda octets, where, known: {"data": octets[:-4], "status": octets[-4]},
    write=_write,
    checks={"data": (crc_check("crc2", "the frame CRC", _sum_2),)},
    covers=lambda seen: (_sum_2(seen).cover("crc2"),),
    mean=_mean,
    shape=_shape,
    order="length, then the CRC; nothing else is checked on the frame itself",
)
