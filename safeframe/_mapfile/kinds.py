"""Kinds of values that only a map file has: places, raw values, factors, codes, conditions."""

from __future__ import annotations

import re
from functools import lru_cache
from math import isfinite

from .._bits import MAX_OCTETS, Place
from .._document.characters import is_visible
from .._document.kinds import LINE, Kind, RefusalError
from .._errors import UsageError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

FLOAT_LIMITS = {16: 65504.0, 32: 3.4028234663852886e38, 64: 1.7976931348623157e308}
"""Largest finite value by width: (2 - 2**-f) * 2**e with f, e = 10, 15; 23, 127; 52, 1023."""

RAW_BITS = 1024
"""Bits of the widest value that can be stated (a bound of this format, from no standard)."""
_PARAMETER_BITS = 64
# Compiled where they are used first: most maps need none of them.
_DECIMAL = r"-?(?:0|[1-9][0-9]{0,39})(?:\.[0-9]{1,40})?(?:[eE][+-]?[0-9]{1,2})?"
_CODE = r"0|[1-9][0-9]{0,308}|0x[0-9A-Fa-f]{1,256}"
_SHA256 = r"[0-9a-f]{64}"
_OCTET_NUMBER = r"(?:0|[1-9][0-9]{0,5})\.[0-7]"


_place = lru_cache(maxsize=4096)(Place.parse)
"""Most places stand in many maps."""


def _read_place(value: Any) -> Place:
    if type(value) is not str:
        raise RefusalError('a place in quotes such as "1.2" (octet.bit)', value)
    try:
        return _place(value)
    except UsageError:
        raise RefusalError(
            f"a place octet.bit with octet 0..{MAX_OCTETS - 1} and bit 0..7", value
        ) from None


def _read_decimal(value: Any) -> str:
    if type(value) is not str or not re.fullmatch(_DECIMAL, value) or float(value) == 0:
        raise RefusalError('a decimal factor in quotes such as "0.1", other than 0', value)
    return value


def _read_raw(value: Any) -> int:
    if type(value) is not int:
        raise RefusalError("an integer", value)
    if value.bit_length() > RAW_BITS:
        raise RefusalError(f"an integer of at most {RAW_BITS} bits", value)
    return value


def _read_number(value: Any) -> int | float:
    if type(value) is not float:
        try:
            return _read_raw(value)
        except RefusalError:
            if type(value) is not int:
                raise RefusalError("a number", value) from None
            raise
    if not isfinite(value):
        raise RefusalError("a finite number", value)
    return value


def _read_octets(value: Any) -> tuple[int, ...]:
    if type(value) is not list or not value:
        raise RefusalError("an array of at least 1 integer", value)
    for size in value:
        if type(size) is not int or not 1 <= size <= MAX_OCTETS:
            raise RefusalError(f"an array of integers 1..{MAX_OCTETS}", size)
    return tuple(value)


def _read_sha256(value: Any) -> str:
    if type(value) is not str or not re.fullmatch(_SHA256, value):
        raise RefusalError("64 hexadecimal digits in small letters", value)
    return value


def _read_codes(value: Any) -> tuple[tuple[int, str], ...]:
    if type(value) is not dict:
        raise RefusalError('a table such as { 0 = "off", 1 = "on" }', value)
    codes = _by_code(value)
    for name in codes.values():
        if type(name) is not str or not name or not is_visible(name):
            raise RefusalError("a table whose values are one line of printable text each", name)
    return tuple(sorted(codes.items()))


def _read_code_table(value: Any) -> tuple[tuple[int, int], ...]:
    if type(value) is not dict or not value:
        raise RefusalError("a table such as { 0 = 0, 1 = 2 }", value)
    codes = _by_code(value)
    for code in codes.values():
        if type(code) is not int or code < 0 or code.bit_length() > RAW_BITS:
            raise RefusalError("a table whose values are integers from 0", code)
    return tuple(sorted(codes.items()))


def _by_code(table: dict[str, Any]) -> dict[int, Any]:
    codes: dict[int, Any] = {}
    for key, value in table.items():
        # Nearly all are short decimals: for them no pattern is compiled, which takes longer.
        plain = key.isdecimal() and key.isascii() and key[0] != "0" and len(key) < 16
        if not plain and key != "0" and not re.fullmatch(_CODE, key):
            raise RefusalError("a table whose keys are integers (decimal or 0x)", key)
        code = int(key, 0)
        if code in codes:
            raise RefusalError("a table that states each code once", key)
        codes[code] = value
    return codes


def _read_conditions(value: Any) -> tuple[tuple[str, tuple[int, ...]], ...]:
    if type(value) is not dict or not value:
        raise RefusalError("a table such as { permit_torque = 1 }", value)
    stated: list[tuple[str, Any]] = []
    for key, inner in value.items():
        # ``receives.x = 1`` without quotes is a table in a table.
        if key in ("sends", "receives") and type(inner) is dict:
            stated += ((f"{key}.{name}", numbers) for name, numbers in inner.items())
        else:
            stated.append((key, inner))
    conditions: dict[str, tuple[int, ...]] = {}
    for name, numbers in stated:
        if not name or not is_visible(name):
            raise RefusalError("a table whose keys are names of signals", name)
        if name in conditions:
            raise RefusalError("a table that states each signal once", name)
        several = numbers if type(numbers) is list and numbers else [numbers]
        for number in several:
            if type(number) is not int or number.bit_length() > RAW_BITS:
                raise RefusalError("a table whose values are integers or arrays of them", number)
        conditions[name] = tuple(sorted(set(several)))
    return tuple(sorted(conditions.items()))


def scalar(value: Any) -> str | int | float | bool:
    """Read a value of the parameters table: a text, an integer, a finite number, a boolean."""
    match value:
        case bool():
            return value
        case str():
            return str(LINE.read(value))
        case int() if -(1 << _PARAMETER_BITS - 1) <= value < 1 << _PARAMETER_BITS:
            return value
        case int():
            raise RefusalError(f"an integer of at most {_PARAMETER_BITS} bits", value)
        case float() if isfinite(value):
            return value
        case _:
            raise RefusalError("a text, an integer, a finite number or a boolean", value)


PLACE = Kind(
    text="place `octet.bit`",
    read=_read_place,
    schema={"type": "string", "pattern": f"^{_OCTET_NUMBER}$"},
)
DECIMAL = Kind(
    text="decimal text, not 0",
    read=_read_decimal,
    schema={"type": "string", "pattern": f"^{_DECIMAL}$"},
)
SHA256 = Kind(
    text="64 hexadecimal digits",
    read=_read_sha256,
    schema={"type": "string", "pattern": f"^{_SHA256}$"},
)
RAW = Kind(text="integer that fits the width", read=_read_raw, schema={"type": "integer"})
NUMBER = Kind(
    text="integer that fits the width (number for float)",
    read=_read_number,
    schema={"type": "number"},
)
OCTETS = Kind(
    text=f"array of integers 1..{MAX_OCTETS}",
    read=_read_octets,
    schema={
        "type": "array",
        "items": {"type": "integer", "minimum": 1, "maximum": MAX_OCTETS},
        "minItems": 1,
    },
)
_NUMBERS = {
    "anyOf": [
        {"type": "integer"},
        {"type": "array", "items": {"type": "integer"}, "minItems": 1},
    ]
}
CONDITIONS = Kind(
    text="table of signal = integer or array",
    read=_read_conditions,
    schema={
        "type": "object",
        "minProperties": 1,
        "properties": {
            name: {
                "anyOf": [
                    *_NUMBERS["anyOf"],
                    {"type": "object", "minProperties": 1, "additionalProperties": _NUMBERS},
                ]
            }
            for name in ("sends", "receives")
        },
        "additionalProperties": _NUMBERS,
    },
)
CODE_TABLE = Kind(
    text="table of integer = integer",
    read=_read_code_table,
    schema={
        "type": "object",
        "minProperties": 1,
        "patternProperties": {f"^(?:{_CODE})$": {"type": "integer", "minimum": 0}},
        "additionalProperties": False,
    },
)
CODES = Kind(
    text="table of integer = text",
    read=_read_codes,
    schema={
        "type": "object",
        "patternProperties": {f"^(?:{_CODE})$": {"type": "string", "minLength": 1}},
        "additionalProperties": False,
    },
)
