"""``safeframe watch``: look on while frames arrive from a pipe or a growing file."""

from __future__ import annotations

import argparse
import gc
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, cast

from .. import capture
from .._document.reader import reading
from .._errors import UsageError
from .._link import Link
from .._report import capture as render
from .._report import text
from . import idle, links, options, outputs, recordings, values

if TYPE_CHECKING:
    from .._watch.board import Board
    from .._watch.reaction import Reaction
    from .._watch.stream import Gate
    from .._watch.until import Until

_EPILOG = """\
Passive reading only: octets come from a pipe (-) or from a file that somebody else writes; nothing
is sent and no network interface is opened. Formats and places are those of capture.
On a terminal: a table for each direction (extra watch); elsewhere, and with --lines, one line for
each change, written when it is seen.
--until waits for what is seen with the values that receivers use:
  NAME = NUMBER [or NUMBER] [and NAME = NUMBER] [within N ms of NAME = NUMBER]
--reaction measures from each beginning of a command to its answer, both as receivers read them;
--histogram draws the times.
examples:
  dump-to-stdout | safeframe watch - sc1-lx.toml lx-sc1.toml
  safeframe watch --follow --lines run.pcapng sc1-lx.toml lx-sc1.toml
  safeframe watch --until 'brake2_applied = 0 within 200 ms of brake2_release = 1' \\
      --timeout 10 - sc1-lx.toml lx-sc1.toml
exit code: that of capture; with --until 0 seen, 1 not seen; 2 wrong use or unreadable,
130 interrupted
"""
_INTERRUPTED = 130


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("recording", metavar="RECORDING", help="a file; - is standard input")
    recordings.add(parser)
    parser.add_argument(
        "--follow", action="store_true", help="the file grows: wait for more at its end"
    )
    parser.add_argument(
        "--idle",
        metavar="SECONDS",
        type=values.duration,
        help="with --follow: end when nothing was added for so long",
    )
    parser.add_argument(
        "--lines", action="store_true", help="one line for each change, on a terminal too"
    )
    parser.add_argument(
        "--until", metavar="CONDITION", help="end with 0 when this is seen, with 1 when it is not"
    )
    parser.add_argument(
        "--reaction",
        metavar="CONDITION",
        action="append",
        default=[],
        help="measure the times from a command to its answer: ANSWER of COMMAND; may be repeated",
    )
    parser.add_argument(
        "--timeout",
        metavar="SECONDS",
        type=values.duration,
        help="end when the recording has run so long, by its own times",
    )
    outputs.add(
        parser,
        "--histogram",
        kind="picture or page watch",
        help="with --reaction: the times as bars, as .svg or .html",
    )
    options.add_format(parser, "jsonl", pages=False)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Watch to the end, then print what capture would."""
    if args.follow and args.recording == "-":
        raise UsageError("--follow must name a file: a pipe waits by itself")
    if args.format != "text":
        idle.refuse(args, ("lines",), f"--format {args.format}")
    if args.idle is not None and not args.follow:
        raise UsageError("--idle must stand with --follow: a pipe ends by itself")
    form = Path(args.histogram or "").suffix
    if args.histogram is not None and (not args.reaction or form not in (".svg", ".html")):
        raise UsageError(
            "--histogram must stand with --reaction and name a file that ends in .svg or .html, "
            f"not {args.histogram!r}"
        )
    link = links.link(args)
    until = None
    if args.until is not None:
        from .._watch.until import read_until

        until = read_until(args.until, link)
    reactions: list[Reaction] = []
    if args.reaction:
        from .._watch.reaction import read_reaction

        reactions = [read_reaction(each, link) for each in args.reaction]
    others = (*reactions, *(() if until is None else (until,)))
    # A long run, with a library that draws: cycles must be collected.
    gc.enable()
    if args.follow:
        from .._watch.follow import GrowingFile

        with GrowingFile(args.recording, idle_s=args.idle) as stream:
            found = _watch(args, link, cast(BinaryIO, stream), until, others, stream.end)
    elif args.recording == "-":
        found = _watch(args, link, sys.stdin.buffer, until, others)
    else:
        with reading(args.recording, what="recording") as stream:
            found = _watch(args, link, stream, until, others)
    if args.histogram is not None:
        from .._watch import histogram

        page = histogram.svg if form == ".svg" else _page
        outputs.write(args, "histogram", page(found, reactions))
    if args.format == "text":
        if until is not None:
            sys.stdout.write(f"{text.clean(until.told(found.start_us))}\n\n")
        _tell_reactions(args, found, reactions)
        options.tell(args, render.document(found))
    else:
        from .._watch.lines import summary

        sys.stdout.write(summary(found, until, reactions))
    if found.stopped:
        return _INTERRUPTED
    return 0 if (found.is_clean if until is None else until.is_seen) else 1


def _page(found: capture.Examination, reactions: Sequence[Reaction]) -> str:
    from .._watch import histogram

    return options.html(histogram.document(found, reactions))


def _tell_reactions(
    args: argparse.Namespace, found: capture.Examination, reactions: Sequence[Reaction]
) -> None:
    if not reactions:
        return
    from .._watch import histogram
    from .._watch.reaction import resolution_us

    look = options.look(args)
    for each in reactions:
        lines = text.wrap(each.told(resolution_us(found)), look, rest="  ")
        bars = histogram.lines(each, look.width)
        sys.stdout.write("".join(f"{line}\n" for line in (*lines, *bars, "")))


def _watch(
    args: argparse.Namespace,
    link: Link,
    stream: BinaryIO,
    until: Until | None,
    others: Sequence[capture.Observer],
    end: Callable[[], Iterator[capture.Trouble]] = lambda: iter(()),
) -> capture.Examination:
    """Examine a stream while the board shows it; ``end`` yields why there is no more of it."""
    from .._watch.board import Board
    from .._watch.lines import JsonLines, Lines
    from .._watch.stream import Gate, StoppableStream, ended_by

    places = recordings.places(args, link)
    wanted = recordings.wanted(args)
    timeout_us = None if args.timeout is None else round(args.timeout * 1e6)

    def examine(board: Board, source: BinaryIO, gate: Gate | None = None) -> capture.Examination:
        packets: Iterable[capture.Packet | capture.Trouble | capture.Skipped | capture.Passed]
        packets = chain(capture.read_recording(source, wanted), _late(end))
        if until is not None or timeout_us is not None:
            packets = ended_by(packets, lambda: until is not None and until.is_seen, timeout_us)
        return capture.examine(
            packets if gate is None else gate.packets(packets),
            link,
            at=places.at,
            sources=places.sources,
            fresh=args.fresh,
            observers=(board, *others),
        )

    if args.format == "text" and not args.lines and sys.stdout.isatty():
        from .._watch.screen import show

        shown, gate, source = Board(link), Gate(), StoppableStream(stream)
        return show(shown, gate, lambda: examine(shown, cast(BinaryIO, source), gate), source.stop)
    board = (Lines if args.format == "text" else JsonLines)(link, _write)
    found = examine(board, stream)
    board.close()
    if args.format == "text":
        _write("\n")
    return found


def _late(
    end: Callable[[], Iterator[capture.Trouble]],
) -> Iterator[capture.Trouble]:
    """Ask for the end when it has come, not before."""
    yield from end()


def _write(lines: str) -> None:
    """Write at once: whoever reads this looks on."""
    sys.stdout.write(lines)
    sys.stdout.flush()
