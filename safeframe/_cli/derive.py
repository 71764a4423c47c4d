"""``safeframe frame derive``: numbers that both ends must hold, from what they stand for."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from typing import Any

from .._errors import UsageError
from ..frame import _fscp_3_1 as fscp_3_1
from ..protocols import _opcua as opcua
from . import octets, options

__all__ = ["NUMBERS", "configure", "run"]

Converted = dict[str, Any]


def _parameter_record(given: Converted) -> dict[str, str]:
    record = fscp_3_1.parameter_record(**given)
    return {"record": record.hex(" "), "parameter_crc": f"0x{record[-2:].hex().upper()}"}


def _structure_signature(given: Converted) -> dict[str, str]:
    members = opcua.member_types(given["members"])
    type_ids = [member.type_id for member in members]
    signature = opcua.structure_signature(given["identifier"], type_ids)
    octet_count = sum(member.octets for member in members)
    return {"structure_signature": f"0x{signature:08X}", "data_octets": str(octet_count)}


def _spdu_ids(given: Converted) -> dict[str, str]:
    words = opcua.spdu_ids(**given)
    return {f"spdu_id_{place}": f"0x{word:08X}" for place, word in enumerate(words, 1)}


NUMBERS: dict[str, tuple[Callable[[Converted], dict[str, str]], dict[str, type], set[str]]] = {
    "parameter-record": (
        _parameter_record,
        {
            "sil": int,
            "source_address": int,
            "destination_address": int,
            "watchdog_ms": int,
            "device_parameter_crc": int,
            "check_number": bool,
            "check_device_parameters": bool,
        },
        {"device_parameter_crc", "check_number", "check_device_parameters"},
    ),
    "structure-signature": (_structure_signature, {"identifier": str, "members": str}, set()),
    "spdu-ids": (
        _spdu_ids,
        {"base_id": str, "level": int, "signature": int, "provider_id": int},
        set(),
    ),
}
"""Each name with what makes it, the values it takes with their types, and which may be left out."""
_TITLES = {
    "parameter-record": "FSCP 3/1: the parameter record with its CRC",
    "structure-signature": "OPC UA Safety: the signature of a structure",
    "spdu-ids": "OPC UA Safety: the three SPDU_ID words of a provider",
}
_WORDS = {"true": True, "false": False}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare one action for each number."""
    numbers = parser.add_subparsers(dest="number", required=True, metavar="NUMBER")
    for name, text in _TITLES.items():
        number = numbers.add_parser(name, help=text)
        number.add_argument(
            "values",
            metavar="NAME=VALUE",
            nargs="*",
            help="what it is derived from; without any they are listed",
        )
        options.add_format(number)


def run(args: argparse.Namespace) -> int:
    """Print the numbers, or which values they are derived from."""
    make, types, optional = NUMBERS[args.number]
    if not args.values:
        for name, kind in types.items():
            note = " (may be left out)" if name in optional else ""
            sys.stdout.write(f"{name}: {kind.__name__}{note}\n")
        return 0
    texts = octets.pairs(args.number, args.values)
    for name in texts:
        if name not in types:
            raise UsageError(f"{args.number} is derived from {', '.join(types)}, not from {name}")
    for name in types:
        if name not in texts and name not in optional:
            raise UsageError(f"{args.number} needs the value {name}")
    found = make({name: _convert(name, types[name], text) for name, text in texts.items()})
    if args.format == "json":
        document = {"format": "safeframe-numbers/1", "number": args.number, **found}
        sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=True) + "\n")
    else:
        sys.stdout.writelines(f"{name} {text}\n" for name, text in found.items())
    return 0


def _convert(name: str, kind: type, text: str) -> int | str | bool:
    """Return the value that a text stands for."""
    if kind is str:
        return text
    if kind is bool:
        if text not in _WORDS:
            raise UsageError(f"{name} must be true or false, not {text!r}")
        return _WORDS[text]
    return octets.number(name, text)
