"""``safeframe diff``: what differs between two map files, or between two edits."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from .. import _diff as diff
from .._errors import InputError, UsageError
from .._model import Connection, End
from .._source import Location
from . import idle, inputs, options, outputs

if TYPE_CHECKING:
    from .._report.document import Document, Grids
    from ..protocols import Profile

_EPILOG = """\
Two files of one end are compared as before and after, two files of two ends as
producer and consumer of each direction. Four files are both ends before and both
ends after, in the same order: were both ends edited identically, what class of
change is it, and what does each end read while only one of them is updated?
Two folders or plant files, or --since REV, answer that for every connection of a
site, one line for each; a connection is followed when its files are renamed.

levels, from worst to mildest:
  wire   what the frame or the other end sees: place, width, type, reserve, ids
  value  what a number means or when it counts: safe value, codes, unit, times
  name   what things are called
  text   what one end keeps to itself: bindings, relations, notes, allowances

examples:
  safeframe diff before/sc1-lx.toml after/sc1-lx.toml
  safeframe diff --fail-on value sc1-lx.toml lx-sc1.toml
  safeframe diff before/sc1-lx.toml before/lx-sc1.toml after/sc1-lx.toml after/lx-sc1.toml
  safeframe diff before/ after/
  safeframe diff --since HEAD~ --format markdown maps/

exit codes: 0 nothing differs at or above --fail-on (four files, and each connection
of a site: both edits are identical, the ends agree after them, no end has a new address,
role or parameter of its own, and a check of the new pair finds no error; a connection
may come or go at both ends), 1 not so, 2 wrong use or unreadable input, 3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "maps",
        metavar="MAP",
        nargs="*",
        default=["."],
        help="two or four map files, or two folders or plant files: before and after; "
        "- is standard input",
    )
    parser.add_argument(
        "--since",
        metavar="REV",
        help="what changed in one folder (default: this one) or plant file since a revision of "
        "git; nothing is checked out",
    )
    mode = parser.add_mutually_exclusive_group()
    mode.add_argument(
        "--ends",
        dest="mode",
        action="store_const",
        const="ends",
        help="compare end against end, whatever the names say",
    )
    mode.add_argument(
        "--versions",
        dest="mode",
        action="store_const",
        const="versions",
        help="compare before and after of one end, whatever the names say",
    )
    parser.add_argument(
        "--fail-on",
        choices=diff.LEVELS,
        default="text",
        help="mildest level of difference that makes the exit code 1 (default: text, any)",
    )
    parser.add_argument(
        "--all",
        action="store_true",
        help="list the signals that arrive unchanged, and the connections that are, too",
    )
    outputs.add(
        parser,
        "--html",
        kind="page diff",
        help="write a page with pictures too: no script, prints well",
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Compare, print, and return 1 for a difference at or above the threshold or a new error."""
    if args.since is not None or (len(args.maps) == 2 and any(map(inputs.is_site, args.maps))):
        from . import sites  # deferred: single files need none of it.

        return sites.run(args)
    if len(args.maps) not in (2, 4):
        raise UsageError(f"map files must be two or four, not {len(args.maps)}")
    if args.maps.count("-") > 1:
        raise UsageError("standard input (-) must be given once, not twice")
    if len(args.maps) == 4 and args.mode:
        raise UsageError(f"--{args.mode} must stand with two map files, not four")
    if len(args.maps) == 2:
        idle.needs(args, ("all",), "four map files or two folders")
    elif args.format == "json" and not args.html:
        idle.refuse(args, ("all",), "--format json")
    try:
        ends = inputs.read_ends(args.maps)
        own = options.own_profiles(args)
    except InputError as error:
        if args.format == "json":
            from .._report import changesjson  # deferred: json costs start-up time.

            sys.stdout.write(changesjson.problems(error))
        elif args.format != "text":
            from .._report import findings

            options.tell(args, findings.problems(error))
        raise
    return _two(args, own, *ends) if len(ends) == 2 else _four(args, own, *ends)


def _two(args: argparse.Namespace, own: dict[str, Profile], one: End, two: End) -> int:
    mode = args.mode or _mode(one, two)
    classes = None
    if mode == "versions":
        found = diff.compare_versions(one, two, own_profiles=own)
        classes = diff.classify_changes([(two.name, found)])
        names = [two.name]
    else:
        found = diff.compare_ends(Connection(first=one, second=two), own_profiles=own)
        names = [one.name, two.name]
    from .._report import changes  # deferred: a wrong pair needs none of it.

    title = " and ".join(names)

    def document(*, drawn: bool) -> Document:
        # Two versions of one end are drawn as what it sends and receives, before and after.
        draw = versions if mode == "versions" else _directions
        pictures = draw(one, two) if drawn else []
        return changes.changes(
            title, found, classes=classes, pictures=pictures, where=_where(args, drawn)
        )

    if args.format == "json":
        from .._report import changesjson

        sys.stdout.write(changesjson.changes(mode, names, found, classes=classes))
    _tell(args, document)
    return int(diff.fails(found, args.fail_on))


def _tell(args: argparse.Namespace, document: Callable[..., Document]) -> None:
    """Print a document in its format and write the page that is asked for."""
    if args.html:
        outputs.write(args, "html", options.html(document(drawn=True)))
    if args.format != "json":
        options.tell(args, document(drawn=args.format == "html"))


def _where(args: argparse.Namespace, drawn: bool) -> Callable[[Location], str]:
    """Return how a location is written: relative on pages, as given at a terminal."""
    from .._report.paths import shown

    return shown if drawn or args.format != "text" else str


def _directions(one: End, two: End) -> list[Grids]:
    from .._grids import compare
    from .._report.document import Grids

    both = Connection(first=one, second=two)
    return [Grids(compare(direction), direction.name) for direction in both.directions()]


def versions(before: End, after: End) -> list[Grids]:
    """Return the pictures of one end before and after: what it sends, what it receives."""
    from .._grids import compare_maps
    from .._report.document import Grids

    words = ("before", "after")
    sent = compare_maps(words, words, before.sends, after.sends)
    received = compare_maps(words, words, before.receives, after.receives)
    return [Grids(sent, f"{after.name} sends"), Grids(received, f"{after.name} receives")]


def _mode(one: End, two: End) -> str:
    same_end = one.name == two.name
    peers = one.peer == two.name or two.peer == one.name
    if same_end == peers:
        raise UsageError(
            "two map files must be one end before and after, or two ends that name each other, "
            f"not {one.name} (peer {one.peer}) and {two.name} (peer {two.peer}); "
            "--versions or --ends decides"
        )
    return "versions" if same_end else "ends"


def _four(args: argparse.Namespace, own: dict[str, Profile], *ends: End) -> int:
    before, after = inputs.versions(*ends)
    comparison = diff.compare_edits(before, after, own_profiles=own)
    classes = diff.classify_changes(zip(comparison.ends, comparison.edits, strict=True))
    mixed = diff.mixed_versions(before, after, own_profiles=own)
    from .. import _checks as checks  # deferred: two files need no rule.

    # Edits can be alike and wrong: nobody may take the answer for an approval of the new pair.
    report = checks.check(after, own_profiles=own)
    flags = [word for path in args.profile for word in ("--profile", path)]
    again = [*args.maps[2:], *flags]
    from .._report import changes

    def document(*, drawn: bool) -> Document:
        pictures = [
            *versions(before.first, after.first),
            *versions(before.second, after.second),
        ]
        return changes.edits(
            after.name,
            comparison,
            classes,
            mixed,
            report=report,
            again=again,
            all_rows=args.all,
            pictures=pictures if drawn else (),
            where=_where(args, drawn),
        )

    if args.format == "json":
        from .._report import changesjson

        sys.stdout.write(changesjson.edits(comparison, classes, mixed, report))
    _tell(args, document)
    is_open = any(mix.untold for mix in mixed)
    return int(comparison.fails(args.fail_on) or report.fails("error") or is_open)
