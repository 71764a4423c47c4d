"""``safeframe check``: say whether both ends agree bit for bit and the sizes are legal."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from dataclasses import replace

from .. import checks
from ..errors import InputError
from ..findings import SEVERITIES, Report
from ..model import Connection
from . import inputs, options

__all__ = ["configure", "run"]

_EPILOG = """\
examples:
  safeframe check sc1-lx.toml lx-sc1.toml      the two ends of one connection
  safeframe check maps/                        a folder: ends are matched by their names
  generate-map | safeframe check - lx-sc1.toml

exit codes: 0 no finding at or above --fail-on, 1 findings, 2 wrong use or unreadable input,
3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "maps",
        metavar="MAP",
        nargs="+",
        help="map files, two for each connection, or folders of map files; - is standard input",
    )
    parser.add_argument(
        "--fail-on",
        choices=SEVERITIES,
        default="warning",
        help="mildest finding that makes the exit code 1 (default: warning)",
    )
    parser.add_argument(
        "--details", action="store_true", help="show the symptoms that each cause explains"
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Check, print, and return 1 when something is at or above the threshold."""
    try:
        connections = inputs.connections(args.maps)
        own = options.own_profiles(args)
    except InputError as error:
        if args.format == "json":
            from ..render import jsonout  # deferred: json costs start-up time.

            sys.stdout.write(jsonout.problems(error))
        raise
    report = checks.check_all(connections, own_profiles=own)
    if not report.findings:
        report = _with_fingerprints(report, connections)
    if args.format == "json":
        from ..render import jsonout

        sys.stdout.write(jsonout.report(report))
    else:
        from ..render import text

        look = options.look(args)
        sys.stdout.write(text.report(report, look=look, details=args.details))
    return int(report.fails(args.fail_on))


def _with_fingerprints(report: Report, connections: Iterable[Connection]) -> Report:
    from ..fingerprint import wire_facts  # deferred: only a clean run shows them.

    facts = [fact for connection in connections for fact in wire_facts(connection)]
    return replace(report, facts=(*report.facts, *facts))
