"""``safeframe crc``: one CRC over octets, with every step on demand."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

from .. import crc
from .._errors import UsageError
from .._report import frames
from .._words import guess
from ..crc import CATALOGUE, Algorithm
from . import idle, octets, options, values

_EPILOG = """\
examples:
  safeframe crc --algorithm fscp-12-1/crc16 313233343536373839
  safeframe crc --width 16 --poly 0x1021 --init 0xFFFF --explain "31 32 33"
  safeframe crc --algorithm crc-32 --file image.bin
  safeframe crc --list

A CRC of a whole frame has more inputs than the octets on the wire: see safeframe frame explain.
"""


_DESCRIBED = ("width", "poly", "xorout")
"""What describes an algorithm that has no name, besides ``reflect``."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    octets.add_octets(parser)
    parser.add_argument("--list", action="store_true", help="print the catalogue and stop")
    parser.add_argument("--algorithm", metavar="NAME", help="a name of the catalogue")
    parser.add_argument("--width", metavar="BITS", type=values.integer, help="8, 16, 24, 32 or 64")
    parser.add_argument("--poly", metavar="HEX", help="polynomial without its top bit")
    parser.add_argument("--init", metavar="HEX", help="start register, default 0 or the name's")
    parser.add_argument("--xorout", metavar="HEX", help="final XOR, default 0")
    parser.add_argument("--reflect", action="store_true", help="reflect input and output")
    parser.add_argument("--backward", action="store_true", help="take the last octet first")
    parser.add_argument("--explain", action="store_true", help="show the octets in their order")
    options.add_format(parser, pages=False)


def run(args: argparse.Namespace) -> int:
    """Print the CRC."""
    if args.list:
        _refuse_idle(args)
        options.tell(args, frames.algorithms(CATALOGUE.values()))
        return 0
    algorithm = _algorithm(args)
    covered = octets.read_octets(args)
    if args.backward:
        covered = covered[::-1]
    found = crc.compute(algorithm, covered)
    steps = None
    if args.explain:
        engine = crc.function(algorithm)
        so_far, steps = engine(b""), []
        for octet in covered:
            so_far = engine(bytes((octet,)), so_far)
            steps.append(so_far)
    if args.format == "json":
        sys.stdout.write(frames.crc_json(algorithm, covered, found, steps))
    elif steps is None:
        sys.stdout.write(f"{frames.crc_text(algorithm, found)}\n")
    else:
        options.tell(args, frames.crc_steps(algorithm, covered, found, steps))
    return 0


def _refuse_idle(args: argparse.Namespace) -> None:
    """Refuse what a catalogue has no use for: it is no answer about octets."""
    if args.format != "text":
        raise UsageError(f"--list must go without --format {args.format}")
    idle.refuse(
        args,
        ("octets", "file", "algorithm", "init", *_DESCRIBED, "reflect", "backward", "explain"),
        "--list",
    )


def _algorithm(args: argparse.Namespace) -> Algorithm:
    """Return the named or described algorithm."""
    if args.algorithm is not None:
        if args.reflect or any(getattr(args, name) is not None for name in _DESCRIBED):
            raise UsageError(
                "--algorithm must stand alone, without --width, --poly, --xorout or --reflect"
            )
        if args.algorithm not in CATALOGUE:
            near = guess(args.algorithm, CATALOGUE)
            hint = f"did you mean {near}?" if near else "safeframe crc --list shows them"
            raise UsageError(
                f"--algorithm must be a name of the catalogue, not {args.algorithm!r} ({hint})"
            )
        named = CATALOGUE[args.algorithm]
        if args.init is None:
            return named
        init = _register("--init", args.init)
        return replace(named, init=init, check=None, residue=None)
    if args.width is None or args.poly is None:
        raise UsageError("name an algorithm with --algorithm, or give --width and --poly")
    return Algorithm(
        name="as given",
        width=args.width,
        poly=_register("--poly", args.poly),
        init=0 if args.init is None else _register("--init", args.init),
        refin=args.reflect,
        refout=args.reflect,
        xorout=0 if args.xorout is None else _register("--xorout", args.xorout),
    )


def _register(option: str, text: str) -> int:
    """Return the hexadecimal number of an option; one without 0x might be meant either way."""
    found = octets.number(option, text)
    if found > 9 and text.strip(" +")[1:2] not in "xXbBoO":
        raise UsageError(
            f"{option} must be hexadecimal with 0x in front, not {text!r}, which may be decimal"
        )
    return found
