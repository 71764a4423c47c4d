"""Octets and numbers named on the command line."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .._errors import UsageError
from .._octets import octets_of


def add_octets(parser: argparse.ArgumentParser) -> None:
    """Add the octets argument and ``--file``."""
    parser.add_argument(
        "octets",
        metavar="HEX",
        nargs="*",
        help="octets as hex digits, in one argument or several; - reads hex from stdin",
    )
    parser.add_argument("--file", metavar="FILE", help="raw octets of a file instead")


def parse_hex(text: str) -> bytes:
    """Return the octets of a hexadecimal text as people paste it."""
    return octets_of(text)


def read_octets(args: argparse.Namespace) -> bytes:
    """Return the octets given as argument, on standard input or in a file."""
    if bool(args.octets) == (args.file is not None):
        raise UsageError("give the octets once: as hex digits, as - or with --file")
    if args.file is not None:
        return Path(args.file).read_bytes()
    if args.octets != ["-"]:
        return parse_hex(" ".join(args.octets))
    try:
        return parse_hex(sys.stdin.read())
    except UnicodeDecodeError:
        raise UsageError("standard input must be hex digits; --file takes raw octets") from None


def number(option: str, text: str) -> int:
    """Return the number an option gives, decimal or with 0x."""
    try:
        value = int(text, 0)
    except ValueError:
        value = -1
    if value < 0:
        raise UsageError(f"{option} must be a number such as 0x1021, not {text!r}")
    return value


def pairs(option: str, texts: list[str]) -> dict[str, str]:
    """Return NAME=VALUE texts as a mapping."""
    found: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name:
            raise UsageError(f"{option} must be NAME=VALUE, not {text!r}")
        if name in found:
            raise UsageError(f"{option} must name a value once, not {name} twice")
        found[name] = value
    return found
