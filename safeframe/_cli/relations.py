"""``safeframe relations``: which states of an end its relations allow."""

from __future__ import annotations

import argparse

from .. import relations
from .._report import relations as rendered
from . import inputs, options

_EPILOG = """\
A relation is a rule between signals that the map file states; docs/relations.md
says how. Every state of the signals that relations tie together is listed.

example:
  safeframe relations sc1-lx.toml

exit codes: 0 the relations can be judged and leave every value possible, 1 they do
not, 2 wrong use or unreadable input, 3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("map", metavar="MAP", help="a map file; - is standard input")
    options.add_pages(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print relations and truth tables; return 1 when something is wrong with them."""
    end = inputs.read_end(args.map)
    faults = relations.faults(end)
    contradictions = relations.contradictions(end)
    tables = relations.truth_tables(end)
    options.tell(args, rendered.document(end, faults, contradictions, tables))
    return int(bool(faults or contradictions))
