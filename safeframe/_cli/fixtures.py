"""``safeframe fixtures``: frames for the tester, and mistaken copies of the maps."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .. import _mapfile as mapfile
from .. import fixtures
from .._errors import UsageError
from .._link import Link
from .._report.document import Document, Table
from .._report.text import render, table, wrap
from .._words import count
from ..fixtures import BANNER, FORMATS, KINDS
from . import idle, inputs, links, options, outputs, telling, values

_MISTAKES = "mistakes"
_DEFAULTS: Mapping[str, Any] = {"format": "hex", "seed": 0, "count": 50, "value": []}
"""What counts where nothing is stated; maps with a mistake have no use for anything else."""
_TEXT = frozenset(("hex", "jsonl", "c"))


def _listed(entries: Mapping[str, tuple[str, Any]]) -> str:
    rows = table([(name, about) for name, (about, _) in entries.items()], indent="  ")
    return "\n".join(line for lines in rows for line in lines)


_LIST = f"""\
sets:
{_listed(KINDS)}
  {_MISTAKES}        copies of the maps with one named mistake each, into a folder
formats:
{_listed(FORMATS)}
examples:
  safeframe fixtures --set faults sc1-lx.toml lx-sc1.toml
  safeframe fixtures --set states --format pcapng -o states.pcapng sc1-lx.toml lx-sc1.toml
  safeframe fixtures --set mistakes -o mistakes sc1-lx.toml lx-sc1.toml

{BANNER}
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _LIST
    parser.add_argument(
        "--set",
        dest="kinds",
        metavar="SET",
        action="append",
        required=True,
        help="a set of frames (see below); may be repeated",
    )
    parser.add_argument(
        "--format",
        choices=FORMATS,
        default=_DEFAULTS["format"],
        help="what to write (default: hex)",
    )
    outputs.add(
        parser,
        *("-o", "--output"),
        kind="frames",
        metavar="PATH",
        help="a file; for mistakes a folder that is new or empty",
    )
    parser.add_argument(
        "--seed", metavar="N", type=values.integer, default=_DEFAULTS["seed"], help="0 if not given"
    )
    parser.add_argument(
        "--count",
        metavar="N",
        type=values.integer,
        default=_DEFAULTS["count"],
        help="states in a stream (50)",
    )
    links.add(parser)


def run(args: argparse.Namespace) -> int:
    """Write the frames."""
    if _MISTAKES in args.kinds:
        if args.kinds != [_MISTAKES] or not args.output:
            raise UsageError(f"--set {_MISTAKES} must stand alone, with a folder as --output")
        changed = [name for name, value in _DEFAULTS.items() if getattr(args, name) != value]
        idle.refuse(args, changed, f"--set {_MISTAKES}")
        return _mistakes(args)
    if args.format not in _TEXT and not args.output:
        raise UsageError(f"--format {args.format} must be written to a file: name it with --output")
    if "states" not in args.kinds and args.count != _DEFAULTS["count"]:
        idle.needs(args, ("count",), "--set states")
    link = links.link(args)
    made = [
        each
        for kind in args.kinds
        for each in fixtures.make(link, kind, seed=args.seed, count=args.count)
    ]
    octets = fixtures.write(made, link, args.format, title=_title(args, link))
    if args.output:
        outputs.write(args, "output", octets)
        frames = sum(len(each.steps) for each in made)
        sys.stdout.write(f"{count(frames, 'frame')} in {count(len(made), 'set')} written\n")
        sys.stdout.write("\n".join([*wrap(BANNER, options.look(args)), ""]))
    else:
        sys.stdout.write(octets.decode())
    return 0


def _title(args: argparse.Namespace, link: Link) -> str:
    kinds = ", ".join(args.kinds)
    return f"{link.connection.name}, {link.profile}: {kinds}, seed {args.seed}"


def _mistakes(args: argparse.Namespace) -> int:
    """Write one folder for each mistake; the frames of a profile play no part in it."""
    connection = inputs.read_pair(args.maps)
    names = [Path(path).name for path in args.maps]
    if names[0] == names[1]:
        raise UsageError(f"the map files must have different names, not twice {names[0]}")
    outputs.refuse_full(args.output, "mistaken maps")
    rows: list[tuple[str, str, str]] = []
    for mistake in fixtures.mistakes(connection):
        texts = {
            name: mapfile.dumps(end, format="csv" if name.endswith(".csv") else "toml")
            for name, end in zip(names, mistake.connection.ends, strict=True)
        }
        outputs.into(str(Path(args.output, mistake.name)), texts)
        rows.append((mistake.name, " or ".join(mistake.rules), mistake.title))
    head = ("mistake", "must be found by", "what")
    given = Document("Mistakes", (Table(tuple(rows), head),), footer=())
    sys.stdout.write(render(given, options.look(args)))
    written = count(2 * len(rows), "file")
    telling.say(f"{args.output}: {written} written (mistaken maps)")
    return 0
