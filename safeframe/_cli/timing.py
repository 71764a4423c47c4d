"""``safeframe timing``: watchdog and reaction time of a connection, with the inputs."""

from __future__ import annotations

import argparse
import sys

from .. import _checks as checks
from .._errors import UsageError
from .._link import refuse_strangers
from .._report import timing as rendered
from .._timing import timing
from . import inputs, options, values

_EPILOG = """\
examples:
  safeframe timing sc1-lx.toml lx-sc1.toml
  safeframe timing --cycle-ms 20 provider.toml consumer.toml

The formula follows the profile and its edition where a source says so; otherwise it says
"common practice". State permitted_reaction_ms in the map, and check finds what exceeds it.

exit codes: 0 within the permitted reaction time or none stated, 1 above it or not known, 2 wrong
use or unreadable input, 3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "maps", metavar="MAP", nargs=2, help="the map files of both ends; - is standard input"
    )
    parser.add_argument(
        "--cycle-ms",
        metavar="MS",
        type=values.integer,
        help="cycle time of the consumer, where it counts",
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the times; return 1 unless the permitted reaction time is kept, if one is stated."""
    if args.cycle_ms is not None and args.cycle_ms < 1:
        raise UsageError(f"--cycle-ms must be 1 or more, not {args.cycle_ms}")
    (connection,) = inputs.connections(args.maps)
    refuse_strangers(connection)
    times = timing(
        connection,
        checks.find_profile(connection, options.own_profiles(args)),
        cycle_ms=args.cycle_ms,
    )
    if args.cycle_ms is not None and not times.counts_cycle:
        raise UsageError(
            "--cycle-ms must stand with a profile whose formula has a cycle time in it: that of "
            f"{times.profile} has none"
        )
    if args.format == "json":
        sys.stdout.write(rendered.json_text(times))
    else:
        options.tell(args, rendered.document(times))
    return int(times.is_open or (times.margin_ms is not None and times.margin_ms < 0))
