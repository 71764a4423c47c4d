"""``safeframe frame derive``: numbers that both ends must hold, from what they stand for."""

from __future__ import annotations

import argparse
import json
import sys

from .._errors import UsageError
from ..protocols import names, room
from ..protocols.aspects import Derivation
from . import idle, octets, options

_WORDS = {"true": True, "false": False}


def derivations() -> dict[str, Derivation]:
    """Return what each protocol derives, by name."""
    return {entry.name: entry for name in names() for entry in room(name).derivations}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare one action for each number."""
    numbers = parser.add_subparsers(dest="number", required=True, metavar="NUMBER")
    for name, entry in derivations().items():
        number = numbers.add_parser(name, help=entry.title)
        number.add_argument(
            "values",
            metavar="NAME=VALUE",
            nargs="*",
            help="what it is derived from; without any they are listed",
        )
        options.add_format(number, pages=False)


def run(args: argparse.Namespace) -> int:
    """Print the numbers, or which values they are derived from."""
    entry = derivations()[args.number]
    if not args.values:
        if args.format != "text":
            idle.needs(args, ("format",), "the values that the number is derived from")
        for name, kind, optional in entry.inputs:
            note = " (may be left out)" if optional else ""
            sys.stdout.write(f"{name}: {kind.__name__}{note}\n")
        return 0
    texts = octets.pairs(args.number, args.values)
    types = {name: kind for name, kind, _ in entry.inputs}
    for name in texts:
        if name not in types:
            raise UsageError(f"{args.number} is derived from {', '.join(types)}, not from {name}")
    for name, _, optional in entry.inputs:
        if name not in texts and not optional:
            raise UsageError(f"{args.number} needs the value {name}")
    found = entry.make({name: _convert(name, types[name], text) for name, text in texts.items()})
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
