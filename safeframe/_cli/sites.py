"""Two states of a site for ``safeframe diff``: folders, plant files, a revision of git."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from .. import _history as history
from .._errors import InputError, Problem, UsageError
from .._report.document import Document, Grids
from .._words import count
from . import idle, inputs, options, outputs, telling


def run(args: argparse.Namespace) -> int:
    """Compare two states, print, and return 2 where something could not be read, else 0 or 1."""
    if args.mode:
        raise UsageError(f"--{args.mode} must stand with two map files, not with folders")
    if args.format != "text":
        idle.refuse(args, ("all",), f"--format {args.format} of folders")
    comparison = _compared(args)
    if args.html:
        outputs.write(args, "html", options.html(_page(args, comparison)))
    if args.format == "json":
        from .._report import changesjson  # deferred: json costs start-up time.

        sys.stdout.writelines(changesjson.sites(comparison, fail_on=args.fail_on))
    elif args.format == "html":
        options.tell(args, _page(args, comparison))
    else:
        from .._report import sites

        if args.format == "markdown":
            options.tell(args, sites.brief(comparison, fail_on=args.fail_on))
        else:
            told = sites.document(comparison, fail_on=args.fail_on, everything=args.all)
            options.tell(args, told)
    if comparison.problems:
        telling.say(
            f"{count(len(comparison.problems), 'thing')} could not be read, see above; of all "
            "else this is the answer"
        )
        return 2
    return int(comparison.fails(args.fail_on))


def _compared(args: argparse.Namespace) -> history.SiteComparison:
    own = options.own_profiles(args)
    if args.since is None:
        first, second = args.maps
        for path in args.maps:
            if not inputs.is_site(path):
                raise UsageError(f"two folders or plant files must be named, not {path} as one")
        after = history.read_site(second)
        before = history.read_site(first, known=after)
    else:
        if len(args.maps) > 1 or not args.maps[0] or args.maps[0] == "-":
            raise UsageError(
                "--since must stand with one folder or plant file at most, "
                f"not {', '.join(args.maps)}"
            )
        (first,) = args.maps
        if os.path.isfile(first) and not inputs.is_site(first):  # noqa: PTH113
            raise UsageError(
                f"--since must stand with a folder or a plant file, not with the file {first}; "
                "name the folder of both ends"
            )
        before = history.read_site(first, revision=args.since)
        after = history.read_site(first, checkout=True, known=before)
    read = [file.shown for file in after.files]
    inputs.tell_broken_off(read)
    if args.html:
        outputs.claim(args, also=read)
    comparison = history.compare_sites(before, after, own_profiles=own)
    if not comparison.rows and not comparison.problems:
        message = "one of both states must hold map files (*.toml or *.csv), not neither"
        raise InputError(Problem(path=first, message=message))
    for state, words in ((before, "new"), (after, "removed")):
        if not state.files and not state.problems:
            telling.say(f"{state.title} holds no map, so every connection is told as {words}")
    return comparison


def _page(args: argparse.Namespace, comparison: history.SiteComparison) -> Document:
    from .._report import sites
    from .._report.paths import shown

    return sites.document(
        comparison, fail_on=args.fail_on, everything=True, draw=_draw, where=shown
    )


def _draw(row: history.ConnectionChange) -> Sequence[Grids]:
    """Return what each end of a connection sends and receives, before and after."""
    if row.before is None or row.after is None or not row.level:
        return ()
    from .diff import versions  # deferred: that module leads here.

    pairs = zip(row.before.ends, row.after.ends, strict=True)
    return [grids for old, new in pairs for grids in versions(old, new)]
