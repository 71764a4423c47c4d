"""``safeframe capture``: a recording, judged and read with the maps of both ends."""

from __future__ import annotations

import argparse
import sys
from difflib import get_close_matches
from pathlib import Path
from typing import BinaryIO

from .. import capture
from .._document.reader import open_stream
from .._errors import InputError, Problem, UsageError
from .._link import Link
from .._report import capture as render
from .._report import timeline
from . import inputs, links, options, outputs

__all__ = ["configure", "run"]

_EPILOG = """\
The recording is a pcap or pcapng file, JSON Lines (such as the files of fixtures), a log of CAN
messages, or lines
  @TIME_US NAME: hexadecimal octets     # time and name of the sender may be left out
each of them plain or packed with gzip, xz or bzip2.
Frames of EN 50325-5, FSCP 12/1, FSCP 13/1 and OPC UA Safety are found by the ids they carry; for
the others, or where both ends send alike, say where and from whom:
examples:
  safeframe capture bench.jsonl sc1-lx.toml lx-sc1.toml
  safeframe capture --ethertype 0x88A4 --at SC1=26 --at LX=33 run.pcapng sc1-lx.toml lx-sc1.toml
  safeframe capture --from SC1=02:00:00:00:00:01 --plot run.svg run.pcap sc1-lx.toml lx-sc1.toml
exit code: 0 nothing wrong, 1 something is, 2 wrong use or unreadable, 130 interrupted
(what was read until then is printed)
"""


def _page(found: capture.Examination) -> str:
    return options.html(render.document(found, drawing=timeline.drawing(found)))


_INTERRUPTED = 130
_PLOTS = {".svg": timeline.svg, ".html": _page}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("recording", metavar="RECORDING", help="a file; - is standard input")
    links.add(parser)
    parser.add_argument(
        "--at",
        metavar="END=OFFSET",
        action="append",
        default=[],
        help="where in the payload the frames of this end begin",
    )
    parser.add_argument(
        "--from",
        dest="sources",
        metavar="END=ADDRESS",
        action="append",
        default=[],
        help="the station or IP address that sends the frames of this end",
    )
    only = parser.add_mutually_exclusive_group()
    only.add_argument("--ethertype", metavar="N", type=_integer, help="only packets of this kind")
    only.add_argument("--udp-port", metavar="N", type=_integer, help="only packets of this port")
    parser.add_argument(
        "--fresh", action="store_true", help="the first frame is the first of the connection"
    )
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
    outputs.add(
        parser,
        "--plot",
        kind="picture or page capture",
        help="signals over time, as .svg or .html",
    )
    options.add_format(parser)
    options.add_color(parser)


def _integer(text: str) -> int:
    return int(text, 0)


def run(args: argparse.Namespace) -> int:
    """Examine the recording and print what it shows."""
    draw = _PLOTS.get(Path(args.plot).suffix) if args.plot else None
    if args.plot and draw is None:
        raise UsageError(f"--plot must end in .svg or .html, not {args.plot!r}")
    link = links.link(args)
    at = {side: _offset(text) for side, text in _by_side(args.at, "--at", link)}
    sources = dict(_by_side(args.sources, "--from", link))
    if args.recording == "-":
        found = _examine(sys.stdin.buffer, args, link, at, sources)
    else:
        try:
            with open_stream(args.recording, what="recording") as stream:
                found = _examine(stream, args, link, at, sources)
        except OSError as error:
            message = f"the file must be readable: {error.strerror}"
            raise InputError(Problem(path=args.recording, message=message)) from None
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
    stream: BinaryIO,
    args: argparse.Namespace,
    link: Link,
    at: dict[int, int],
    sources: dict[int, str],
) -> capture.Examination:
    wanted = capture.Wanted(ethertype=args.ethertype, udp_port=args.udp_port)
    packets = capture.read_recording(stream, wanted)
    also = {path: inputs.read_end(path) for path in args.also}
    return capture.examine(packets, link, at=at, sources=sources, fresh=args.fresh, also=also)


def _by_side(texts: list[str], option: str, link: Link) -> list[tuple[int, str]]:
    found = []
    for name, value in links.named(texts, option):
        if name not in link.names:
            near = get_close_matches(name, link.names, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise UsageError(f"{option} must name {' or '.join(link.names)}, not {name!r}{hint}")
        found.append((link.names.index(name), value.lower()))
    return found


def _offset(text: str) -> int:
    try:
        offset = int(text, 0)
    except ValueError:
        offset = -1
    if offset < 0:
        raise UsageError(f"--at must give an offset in octets, not {text!r}")
    return offset
