"""``safeframe show``: what one map file says, as tables, or rewritten in the other notation."""

from __future__ import annotations

import argparse
import sys

from .. import _mapfile as mapfile
from .._model import End
from .._report import maps
from . import inputs, options, outputs

__all__ = ["configure", "run"]

_EPILOG = """\
examples:
  safeframe show sc1-lx.toml
  safeframe show --format csv sc1-lx.toml      the same map as a table for a spreadsheet
  safeframe show --svg sends.svg --direction sends sc1-lx.toml
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("map", metavar="MAP", help="a map file; - is standard input")
    parser.add_argument(
        "--format",
        choices=("text", "toml", "csv", "markdown", "html"),
        default="text",
        help="tables and pictures, or a map file in the notation named (comments are not kept)",
    )
    outputs.add(parser, "--svg", kind="picture show", help="write a picture of the bits too")
    parser.add_argument(
        "--direction",
        choices=("sends", "receives", "both"),
        default="both",
        help="what the picture shows (default: both)",
    )
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the map."""
    end = inputs.read_end(args.map)
    if args.svg:
        outputs.write(args, "svg", _picture(end, args.direction))
    if args.format in ("toml", "csv"):
        sys.stdout.write(mapfile.dumps(end, format=args.format))
    else:
        options.tell(args, maps.document(end))
    return 0


def _picture(end: End, direction: str) -> str:
    from .._grids import grid  # deferred: most runs draw nothing.
    from .._report import svg

    maps = {"sends": end.sends, "receives": end.receives}
    chosen = [word for word in maps if direction in (word, "both")]
    grids = [[grid(f"{end.name} {word}", maps[word])] for word in chosen]
    return svg.document(grids, f"Bit grid of {end.name}, connection {end.connection_table.name}")
