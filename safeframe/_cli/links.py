"""Two map files named on the command line, as the exchange of frames between their ends."""

from __future__ import annotations

import argparse

from .._link import Link, link_stated
from . import inputs


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the two map files and the values they may lack."""
    parser.add_argument("maps", metavar="MAP", nargs=2, help="the map files of both ends")
    parser.add_argument(
        "--value",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="what frames need and no map says, such as format=base (may be repeated)",
    )


def link(args: argparse.Namespace) -> Link:
    """Return the exchange of the two maps; raises UsageError where frames cannot be built."""
    return link_stated(inputs.read_pair(args.maps), args.value)
