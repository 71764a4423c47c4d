"""``safeframe capture --coverage``: what the recordings of a test campaign have exercised."""

from __future__ import annotations

import argparse
import os
import sys

from .._document.reader import reading
from .._errors import UsageError
from . import links, options, outputs, recordings, values

_INTERRUPTED = 130
_ALONE = ("also", "timeline", "plot", "frames", "window", "signal")
"""Options of a single recording."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the options of a campaign."""
    parser.add_argument(
        "--coverage",
        action="store_true",
        help="what all the recordings together have exercised; JSON of earlier runs may be among "
        "them",
    )
    parser.add_argument(
        "--fail-under",
        metavar="PERCENT",
        type=values.percentage,
        help="with --coverage: exit with 1 where less was exercised",
    )
    outputs.add(
        parser,
        "--write-coverage",
        kind="coverage",
        help="with --coverage: write the results as JSON, which stands for the recordings later",
    )


def run(args: argparse.Namespace) -> int:
    """Tell what the recordings have exercised; 1 where that is too little."""
    from .._coverage.points import plan_of  # deferred: most runs have one recording.
    from .._coverage.results import (
        ExercisedRecording,
        RecordingOptions,
        is_result,
        measure,
        put_together,
        read_result,
    )
    from .._report import coverage as render

    for name in _ALONE:
        if getattr(args, name):
            raise UsageError(f"--{name} must stand without --coverage, which has no use for it")
    if args.recording.count("-") > 1:
        raise UsageError("- must stand for one recording only: there is one standard input")
    link = links.link(args)
    places = recordings.places(args, link)
    plan = plan_of(link)
    how = RecordingOptions(
        fresh=args.fresh,
        at=tuple(args.at),
        sources=tuple(args.sources),
        values=tuple(args.value),
        ethertype=args.ethertype,
        udp_port=args.udp_port,
    )
    found: list[ExercisedRecording] = []
    stopped = False
    for path in args.recording:
        if path == "-":
            made, stopped = measure(sys.stdin.buffer, plan, "standard input", how, places)
        elif is_result(path):
            found += read_result(path, plan)
            continue
        else:
            with reading(path, what="recording") as stream:
                made, stopped = measure(stream, plan, os.path.basename(path), how, places)  # noqa: PTH119
        found.append(made)
        if stopped:
            break
    coverage = put_together(plan, found, stopped=stopped)
    if args.write_coverage and not stopped:
        outputs.write(args, "write_coverage", render.json_text(coverage))
    if args.format == "json":
        sys.stdout.write(render.json_text(coverage))
    else:
        options.tell(args, render.document(coverage, args.fail_under))
    if stopped:
        return _INTERRUPTED
    nothing = bool(coverage.empty) or not coverage.recordings
    return int(nothing or render.is_below(coverage, args.fail_under))
