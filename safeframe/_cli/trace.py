"""``safeframe trace``: the way of one signal through a site, from end to end."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from .._errors import UsageError
from .._model import Plant
from .._tracing import Trace, trace
from . import inputs, options, outputs

if TYPE_CHECKING:
    from .._report.document import Document

_EPILOG = """\
examples:
  safeframe trace field_clear plant.toml             along the routes that the plant declares
  safeframe trace LX.permit_up plant.toml            a signal that an end sends or receives
  safeframe trace SC1-LX.permit_up plant.toml        a signal of one connection
  safeframe trace SC1-LX.SC1.permit_up plant.toml    and of one direction
  safeframe trace --svg way.svg field_clear plant.toml
  safeframe trace --format json field_clear maps/    without a plant file: candidates only

A signal that no route names is shown over its one connection. What shares a variable with it at
an end is named as a candidate, never as a route.

exit codes: 0 nothing found on the way, 1 findings on it or at its connections, 2 wrong use, a
name that means none or several signals, or unreadable input, 3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "name", metavar="NAME", help="SIGNAL, END.SIGNAL, CONNECTION.SIGNAL, or both in front of it"
    )
    parser.add_argument(
        "maps",
        metavar="PLANT",
        nargs="+",
        help="a plant file (...plant.toml), or folders and pairs of map files without routes",
    )
    outputs.add(parser, "--html", kind="page trace", help="write a page with a picture too")
    outputs.add(
        parser, "--svg", kind="picture trace", help="write a picture too: ends and connections"
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the way; return 1 when something is found on it."""
    own = options.own_profiles(args)
    given = inputs.site(args.maps, own)
    given.tell()
    connections, plants, _ = given
    if len(plants) > 1 or (plants and len(plants[0].connections) < len(connections)):
        raise UsageError("a plant file must stand alone, not with other maps or plants")
    plant = plants[0] if plants else Plant(name="", connections=connections)
    found = trace(plant, args.name, own_profiles=own)
    from .._report import trace as rendered  # deferred, as all renderers.

    if args.svg:
        from .._report import chain

        outputs.write(args, "svg", chain.document(found))
    if args.html:
        outputs.write(args, "html", options.html(_page(found, pictures=True)))
    if args.format == "json":
        sys.stdout.write(rendered.json_text(found))
    elif args.format == "text":
        options.tell(args, rendered.document(found))
    else:
        options.tell(args, _page(found, pictures=args.format == "html"))
    return int(any(one.severity != "note" for one in found.findings))


def _page(found: Trace, *, pictures: bool) -> Document:
    """Return the ways with relative paths, and with a picture of each where one can be shown."""
    from .._report import chain
    from .._report.paths import shown
    from .._report.trace import document

    return document(found, chain.drawings(found) if pictures else (), where=shown)
