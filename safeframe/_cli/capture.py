"""``safeframe capture``: a recording, judged and read with the maps of both ends."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import BinaryIO

from .. import capture
from .._document.reader import reading
from .._errors import UsageError
from .._link import Link, Places
from .._report import capture as render
from .._report import timeline
from . import campaign, inputs, links, options, outputs, recordings

__all__ = ["configure", "run"]

_EPILOG = """\
The recording is a pcap or pcapng file, JSON Lines (such as the files of fixtures), a log of CAN
messages, or lines
  @TIME_US NAME: hexadecimal octets     # time and name of the sender may be left out
each of them plain or packed with gzip, xz or bzip2.
Frames of EN 50325-5, FSCP 12/1, FSCP 13/1 and OPC UA Safety are found by the ids they carry; for
the others, or where both ends send alike, say where and from whom.

examples:
  safeframe capture bench.jsonl sc1-lx.toml lx-sc1.toml
  safeframe capture --ethertype 0x88A4 --at SC1=26 --at LX=33 run.pcapng sc1-lx.toml lx-sc1.toml
  safeframe capture --from SC1=02:00:00:00:00:01 --plot run.svg run.pcap sc1-lx.toml lx-sc1.toml
  safeframe capture --coverage --fail-under 90 day1.pcapng day2.json sc1-lx.toml lx-sc1.toml

Several recordings are read with --coverage only: it tells what they have exercised together, of
all that the maps offer. Files of --write-coverage stand for their recordings.
Passive reading only, with permission of whoever runs the network; seen on the wire is not seen at
the machine.

exit code: 0 nothing wrong, 1 something is, 2 wrong use or unreadable, 130 interrupted
(what was read until then is printed); with --coverage 1 where it is below --fail-under, or where
a recording has no frame of this connection
"""


def _page(found: capture.Examination) -> str:
    return options.html(render.document(found, drawing=timeline.drawing(found)))


_INTERRUPTED = 130
_PLOTS = {".svg": timeline.svg, ".html": _page}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument(
        "recording", metavar="RECORDING", nargs="+", help="a file; - is standard input"
    )
    recordings.add(parser)
    parser.add_argument(
        "--also",
        metavar="MAP",
        action="append",
        default=[],
        help="another map file of an end, such as that before a change: tried as another reading",
    )
    parser.add_argument(
        "--timeline", action="store_true", help="also print each signal over time, as text"
    )
    campaign.add(parser)
    outputs.add(
        parser,
        "--plot",
        kind="picture or page capture",
        help="signals over time, as .svg or .html",
    )
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Examine the recording and print what it shows."""
    if args.coverage:
        return campaign.run(args)
    for name in ("fail_under", "write_coverage"):
        if getattr(args, name) is not None:
            raise UsageError(f"--{name.replace('_', '-')} must stand with --coverage")
    if len(args.recording) > 1:
        raise UsageError(
            f"capture must have one recording and two maps, not {len(args.recording)} recordings "
            "(with --coverage it takes any number)"
        )
    (recording,) = args.recording
    draw = _PLOTS.get(Path(args.plot).suffix) if args.plot else None
    if args.plot and draw is None:
        raise UsageError(f"--plot must end in .svg or .html, not {args.plot!r}")
    link = links.link(args)
    places = recordings.places(args, link)
    if recording == "-":
        found = _examine(sys.stdin.buffer, args, link, places)
    else:
        with reading(recording, what="recording") as stream:
            found = _examine(stream, args, link, places)
    if draw is not None:
        outputs.write(args, "plot", draw(found))
    if args.format == "json":
        sys.stdout.write(render.json_text(found))
    else:
        drawing = timeline.drawing(found, options.look(args).width) if args.timeline else None
        options.tell(args, render.document(found, drawing=drawing))
    if found.stopped:
        return _INTERRUPTED
    return 0 if found.is_clean else 1


def _examine(
    stream: BinaryIO, args: argparse.Namespace, link: Link, places: Places
) -> capture.Examination:
    packets = capture.read_recording(stream, recordings.wanted(args))
    also = {path: inputs.read_end(path) for path in args.also}
    return capture.examine(
        packets, link, at=places.at, sources=places.sources, fresh=args.fresh, also=also
    )
