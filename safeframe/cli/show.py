"""``safeframe show``: what one map file says, as tables, or rewritten in the other notation."""

from __future__ import annotations

import argparse
import sys

from .. import mapfile
from ..render import maps
from . import inputs, options

__all__ = ["configure", "run"]

_EPILOG = """\
examples:
  safeframe show sc1-lx.toml
  safeframe show --format csv sc1-lx.toml      the same map as a table for a spreadsheet
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("map", metavar="MAP", help="a map file; - is standard input")
    parser.add_argument(
        "--format",
        choices=("text", "toml", "csv"),
        default="text",
        help="tables, or a map file in this notation (comments are not kept)",
    )
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the map."""
    end = inputs.read_end(args.map)
    if args.format == "text":
        sys.stdout.write(maps.end(end, look=options.look(args)))
    else:
        sys.stdout.write(mapfile.dumps(end, format=args.format))
    return 0
