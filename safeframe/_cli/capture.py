"""``safeframe capture``: a recording, judged and read with the maps of both ends."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from .. import capture
from .._document.reader import reading
from .._errors import UsageError
from .._link import Link, Places
from .._report import capture as render
from .._report import timeline
from .._value import replace
from .._words import guess, seconds
from . import campaign, idle, inputs, links, options, outputs, recordings, telling, values

if TYPE_CHECKING:
    from .._watch.frames import FrameLines, FrameObjects

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
_WHOLE = (0, None)
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
    parser.add_argument(
        "--frames",
        action="store_true",
        help="before that, every frame with verdict, octets and the signals it changed; with "
        "--format json an object each",
    )
    parser.add_argument(
        "--window",
        metavar="FROM..TO",
        type=values.window,
        help="seconds since the recording began: what --timeline, --plot and --frames show; "
        "one of them may be left out, and the verdict is about all of it",
    )
    parser.add_argument(
        "--signal",
        metavar="NAME",
        action="append",
        default=[],
        help="show this signal there only; may be repeated",
    )
    outputs.add(
        parser,
        "--plot",
        kind="picture or page capture",
        help="signals over time, as .svg or .html",
    )
    options.add_format(parser)
    options.add_color(parser)


def _refuse_idle(args: argparse.Namespace) -> None:
    """Refuse what would change nothing: JSON has every timeline, and all else has none unasked."""
    if args.format == "json":
        idle.refuse(args, ("timeline",), "--format json")
    elif not (args.timeline or args.plot or args.frames):
        idle.needs(args, ("window", "signal"), "--timeline, --plot, --frames or --format json")


def _known(names: Sequence[str], link: Link) -> frozenset[str]:
    """Return names of signals; raises UsageError for one that neither map has."""
    maps = (map_ for end in link.connection.ends for map_ in (end.sends, end.receives))
    known = {signal.name for map_ in maps for signal in map_.signals}
    for name in names:
        if name not in known:
            near = guess(name, sorted(known))
            hint = f"; did you mean {near}?" if near else ""
            raise UsageError(f"--signal must be a signal of the maps, not {name!r}{hint}")
    return frozenset(names)


def _shown(found: capture.Examination, names: frozenset[str]) -> capture.Examination:
    """Return an examination with the timelines of some signals only."""
    if not names:
        return found
    kept = tuple(each for each in found.timelines if not names.isdisjoint(each.names))
    return replace(found, timelines=kept)


def _nothing_in(found: capture.Examination, since_us: int) -> str:
    """Return why a window that begins then shows nothing; empty where it may show something."""
    if found.start_us is None or found.end_us is None:
        return "the recording has no times"
    length_us = found.end_us - found.start_us
    return f"the recording ends after {seconds(length_us)}" if length_us < since_us else ""


def run(args: argparse.Namespace) -> int:
    """Examine the recording and print what it shows."""
    if args.coverage:
        return campaign.run(args)
    _refuse_idle(args)
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
    names = _known(args.signal, link)
    places = recordings.places(args, link)
    frames = _frames(args, link, names) if args.frames else None
    if recording == "-":
        found = _examine(sys.stdin.buffer, args, link, places, frames)
    else:
        with reading(recording, what="recording") as stream:
            found = _examine(stream, args, link, places, frames)
    found = _shown(found, names)
    if args.window and (why := _nothing_in(found, args.window[0])):
        telling.say(f"--window leaves nothing: {why}")
    if draw is not None:
        outputs.write(args, "plot", draw(found))
    if args.format == "json" and frames is not None:
        from .._watch.lines import summary

        sys.stdout.write(summary(found, None))
    elif args.format == "json":
        sys.stdout.write(render.json_text(found))
    else:
        if frames is not None:
            sys.stdout.write("\n")
        drawing = timeline.drawing(found, options.look(args).width) if args.timeline else None
        options.tell(args, render.document(found, drawing=drawing))
    if found.stopped:
        return _INTERRUPTED
    return 0 if found.is_clean else 1


def _frames(
    args: argparse.Namespace, link: Link, names: frozenset[str]
) -> FrameLines | FrameObjects:
    from .._watch.frames import FrameLines, FrameObjects

    if args.format == "json":
        return FrameObjects(link, sys.stdout.write, args.window or _WHOLE, names)
    return FrameLines(link, sys.stdout.write, options.look(args), args.window or _WHOLE, names)


def _packets(
    stream: BinaryIO, args: argparse.Namespace
) -> Iterator[capture.Packet | capture.Trouble | capture.Skipped]:
    """Yield the packets of a recording; its first octets are waited for like all others."""
    yield from capture.read_recording(stream, recordings.wanted(args))


def _examine(
    stream: BinaryIO,
    args: argparse.Namespace,
    link: Link,
    places: Places,
    frames: FrameLines | FrameObjects | None,
) -> capture.Examination:
    return capture.examine(
        _packets(stream, args),
        link,
        at=places.at,
        sources=places.sources,
        fresh=args.fresh,
        also={path: inputs.read_end(path) for path in args.also},
        each=None if frames is None else frames.each,
        observers=(frames,) if isinstance(frames, capture.Observer) else (),
        window=args.window or _WHOLE,
    )
