"""``safeframe residual``: exact residual error figures of a checksum, tables and a plot."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from .. import protocols as profiles
from .._errors import UsageError
from .._report import plot
from .._report import residual as render
from .._words import count
from ..protocols import scopes
from ..residual import (
    Code,
    Effort,
    Subject,
    Weights,
    bands,
    contiguous,
    curve,
    default_directory,
    figures,
    rate_per_hour,
    recall,
)
from . import idle, inputs, options, outputs, telling, values

if TYPE_CHECKING:
    from .._report.document import Document

_EPILOG = """\
examples:
  safeframe residual --profile fscp-12-1 --octets 6
  safeframe residual --map sc1-lx.toml --direction receives
  safeframe residual --profile opcua-safety --scope whole --octets 100 --format json
  safeframe residual --profile fscp-12-1 --plot fscp-12-1.svg
  safeframe residual --poly 0x1021 --width 16 --data-bits 400
  safeframe residual --crc fscp-3-1/crc2-24 --data-bits 4096 --hd-table

All figures are exact integers and fractions; only the printed digits are rounded. With 32 check
bits this takes seconds with numpy (the batch extra), up to minutes without. What took longer
than half a second is kept in the user's cache directory.
"""

_PROBABILITIES = "1e-2,1e-3,1e-4"
_NUMBER = re.compile(r"[+-]?[0-9.]{1,40}(?:[eE][+-]?[0-9]{1,3}|/[0-9]{1,40})?", re.ASCII)
_CURVES = 8
_PLOT_POINTS = 140
_PLOT_FROM = -4


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    listed = "\n".join(
        f"  {name}: {', '.join(scope.name for scope in offered)}"
        for name, offered in scopes.offered_scopes().items()
    )
    parser.epilog = f"{_EPILOG}\nscopes, the default first:\n{listed}\n"
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--profile", metavar="NAME", help="the frame of this safety profile")
    what.add_argument("--map", metavar="FILE", help="the frame of a connection, from a map file")
    what.add_argument("--crc", metavar="NAME", help="a CRC of a profile, such as fscp-12-1/crc16")
    what.add_argument("--poly", metavar="HEX", help="a polynomial without its top bit")
    parser.add_argument(
        "--width", metavar="BITS", type=values.integer, help="width of --poly, 1 to 32"
    )
    parser.add_argument(
        "--octets", metavar="N", type=values.integer, help="safety data of the frame"
    )
    parser.add_argument(
        "--direction",
        choices=("sends", "receives"),
        help="which frames of --map: what its end sends (default) or receives",
    )
    parser.add_argument("--scope", metavar="NAME", help="which errors count; default: the first")
    parser.add_argument(
        "--data-bits", metavar="N", type=values.integer, help="data bits under a bare CRC"
    )
    parser.add_argument(
        "--ber",
        metavar="P",
        help=f"bit error probabilities, separated by commas (default {_PROBABILITIES})",
    )
    parser.add_argument("--messages-per-hour", metavar="V", help="also print the rate P_ud V M")
    parser.add_argument(
        "--sinks", metavar="M", type=values.integer, help="information sinks of that rate (1)"
    )
    parser.add_argument("--hd-table", action="store_true", help="Hamming distance over length")
    outputs.add(
        parser, "--plot", kind="picture residual", help="probability over bit error rate, as SVG"
    )
    parser.add_argument(
        "--cache", metavar="DIR", help="where results are kept; default: the user's cache"
    )
    parser.add_argument("--no-cache", action="store_true", help="compute everything, keep nothing")
    parser.add_argument(
        "--processes",
        metavar="N",
        type=values.integer,
        default=os.cpu_count() or 1,
        help="for long work",
    )
    parser.add_argument(
        "--limit-s", metavar="S", type=values.limit, default=600.0, help="refuse longer work (600)"
    )
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the figures, a table, or write a plot."""
    if args.plot and args.format != "text":
        raise UsageError(f"--plot writes SVG and must go without --format {args.format}")
    if args.processes < 1:
        raise UsageError(f"--processes must be at least 1, not {args.processes}")
    _refuse_idle(args)
    rates = _PROBABILITIES if args.ber is None else args.ber
    probabilities = [_fraction("--ber", part) for part in rates.split(",")]
    if args.map is None and args.direction is not None:
        raise UsageError("--direction must go with --map")
    if args.map is not None:
        _take_from_map(args)
    done = _profile(args, probabilities) if args.profile else _bare(args, probabilities)
    if isinstance(done, str):
        sys.stdout.write(done)
    else:
        options.tell(args, done)
    return 0


def _refuse_idle(args: argparse.Namespace) -> None:
    """Refuse options that would change nothing: nobody may take an answer for theirs."""
    mode = "--hd-table" if args.hd_table else "--plot" if args.plot else ""
    idle.refuse(args, ("ber", "messages_per_hour", "sinks") if mode else (), mode)
    if args.sinks is not None and args.messages_per_hour is None:
        raise UsageError("--sinks must go with --messages-per-hour")
    if args.width is not None and args.crc is not None:
        raise UsageError("--width must go with --poly: --crc states its own width")
    if args.cache and args.no_cache:
        raise UsageError("--cache must stand without --no-cache, not with it")


def _take_from_map(args: argparse.Namespace) -> None:
    """Fill in profile and size of the safety data from a map file."""
    if args.octets is not None:
        raise UsageError("--octets must go with --profile: a map states its own size")
    end = inputs.read_end(args.map)
    chosen = end.receives if args.direction == "receives" else end.sends
    args.profile, args.octets = end.connection_table.profile, chosen.size_octets


def _profile(args: argparse.Namespace, probabilities: list[Fraction]) -> str | Document:
    if args.width is not None or args.data_bits is not None:
        raise UsageError("--width and --data-bits must go with --poly or --crc, not --profile")
    profile = profiles.load(args.profile)
    scope = scopes.scope(profile, args.scope)
    if args.octets is not None and not (args.hd_table or args.plot):
        code = scopes.code(profile, args.octets, scope)
        subject = Subject(
            title=f"Residual error of {profile.title} "
            f"with {count(args.octets, 'octet')} of safety data",
            errors=f"{scope.title} (scope {scope.name})",
            left_out=scope.left_out,
            checks=_checks(code),
            source="; ".join(
                f"{source.text} ({source.confidence})"
                for source in profile.sources
                if source.tag in scope.source.split()
            ),
            bound=scope.bound,
        )
        return _report(args, subject, code, probabilities)
    if args.hd_table == bool(args.plot):
        raise UsageError("--profile must go with exactly one of --octets, --hd-table and --plot")
    chosen = scopes.sizes(profile, scope, _CURVES) if args.octets is None else (args.octets,)
    rows = [
        (
            octets,
            _weights(args, scopes.code(profile, octets, scope), count(octets, "octet")),
        )
        for octets in chosen
    ]
    title = f"{profile.title}: {scope.title}"
    legal = scopes.sizes(profile, scope)
    shown = f"{len(rows)} of {len(legal)} sizes up to {legal[-1]} octets"
    if rows[-1][0] not in legal:  # Where a profile states no largest size, the list ends somewhere.
        shown = "the one size that was asked for"
    if args.plot:
        return _plot(
            args, title, [(count(octets, "octet"), given) for octets, given in rows], shown
        )
    found = [(octets, figures(given, [Fraction(1, 100)])) for octets, given in rows]
    if args.format == "json":
        return render.sizes_json(title, found, shown, scope.left_out)
    return render.sizes(title, found, shown, scope.left_out)


def _bare(args: argparse.Namespace, probabilities: list[Fraction]) -> str | Document:
    if args.octets is not None or args.scope is not None:
        raise UsageError("--octets and --scope must go with --profile")
    if args.hd_table and args.plot:
        raise UsageError("--hd-table must stand without --plot, not with it")
    if args.data_bits is None or args.data_bits < 1:
        raise UsageError("a bare CRC must have at least 1 data bit: --data-bits N")
    generator, source = _generator(args)
    width = generator.bit_length() - 1
    name = f"CRC of {width} bits, generator {generator:#x}"
    if args.hd_table:
        title = f"Hamming distance of the {name} for up to {args.data_bits} data bits"
        with _Progress(title) as progress:
            rows = bands(
                generator, args.data_bits, _effort(args, progress), directory=_directory(args)
            )
        if args.format == "json":
            return render.bands_json(title, rows)
        return render.bands(title, rows)
    code = contiguous(generator, args.data_bits + width)
    if args.plot:
        label = f"{args.data_bits} bits"
        return _plot(args, name, [(label, _weights(args, code, label))], "one length")
    subject = Subject(
        title=f"Residual error of a {name}, over {args.data_bits} data bits",
        errors="errors in data and CRC, contiguous on the wire",
        left_out="nothing",
        checks=_checks(code),
        source=source,
    )
    return _report(args, subject, code, probabilities)


def _generator(args: argparse.Namespace) -> tuple[int, str]:
    """Return the generator with its top bit, and who says so."""
    if args.crc is not None:
        profile, _, short = args.crc.partition("/")
        offered = scopes.generators(profiles.load(profile)) if profile in profiles.names() else {}
        if short not in offered:
            every = [
                f"{name}/{known}"
                for name in profiles.names()
                for known in scopes.generators(profiles.load(name))
            ]
            raise UsageError(f"--crc must be one of {', '.join(every)}, not {args.crc!r}")
        return offered[short], f"algorithm {args.crc}, see the profile for its sources"
    if args.width is None or not 1 <= args.width <= 32:
        raise UsageError("--poly must go with --width of 1 to 32 bits")
    try:
        poly = int(args.poly, 16)
    except ValueError:
        poly = -1
    if not 0 < poly < 1 << args.width:
        raise UsageError(
            f"--poly must be hexadecimal, without its top bit, below 2^{args.width}, "
            f"not {args.poly!r}"
        )
    return 1 << args.width | poly, "given on the command line"


def _report(
    args: argparse.Namespace, subject: Subject, code: Code, probabilities: list[Fraction]
) -> str | Document:
    with _Progress(subject.title) as progress:
        given, note = recall(code, _effort(args, progress), directory=_directory(args))
    _tell(note)
    found = figures(given, probabilities)
    rates: list[Fraction] = []
    inputs = ""
    if args.messages_per_hour is not None:
        per_hour = _fraction("--messages-per-hour", args.messages_per_hour)
        sinks = 1 if args.sinks is None else args.sinks
        rates = [rate_per_hour(row.undetected, per_hour, sinks) for row in found.rows]
        inputs = f"v = {args.messages_per_hour} messages per hour, m = {sinks}"
    if args.format == "json":
        return render.report_json(subject, found, rates, rate_inputs=inputs)
    return render.report(subject, found, rates, rate_inputs=inputs)


def _tell(note: str) -> None:
    """Tell on standard error what became of the cache: the figures do not depend on it."""
    if note:
        telling.say(note)


def _weights(args: argparse.Namespace, code: Code, label: str) -> Weights:
    with _Progress(label) as progress:
        given, note = recall(code, _effort(args, progress), directory=_directory(args))
    _tell(note)
    return given


def _plot(
    args: argparse.Namespace, title: str, rows: Iterable[tuple[str, Weights]], shown: str
) -> str:
    series = [
        plot.Series(label=label, points=points)
        for label, given in rows
        if (points := curve(given, _PLOT_FROM, _PLOT_POINTS))
    ]
    if not series:
        raise UsageError("a plot must have a size in which an error can stay undetected")
    document = plot.log_log(
        series,
        title="Probability of an undetected error",
        subtitle=title,
        x_label="bit error probability p",
        y_label="P_ud(p)",
        notes=(
            f"Exact weights, binary symmetric channel; {shown}.",
            "No SIL follows from this figure: it is about the checksum alone.",
        ),
    )
    outputs.write(args, "plot", document)
    return f"{args.plot}: {count(len(series), 'curve')}, {shown}\n"


def _checks(code: Code) -> str:
    """Return how many checks a code has and how wide they are."""
    parts = [
        f"{part.times} x {part.width} bits" + (" over each of two copies" * (part.copies - 1))
        for part in code.parts
    ]
    if code.shared_bits:
        parts.append(f"{code.shared_bits} bits are under all of them")
    return ", ".join(parts)


def _effort(args: argparse.Namespace, progress: _Progress) -> Effort:
    return Effort(processes=args.processes, limit_s=args.limit_s, progress=progress.show)


def _directory(args: argparse.Namespace) -> Path | None:
    if args.no_cache:
        return None
    return Path(args.cache) if args.cache else default_directory(os.environ)


def _fraction(option: str, text: str) -> Fraction:
    try:
        # All work is exact: that on a number of many thousand digits never ends.
        return Fraction(text.strip() if _NUMBER.fullmatch(text.strip()) else "")
    except (ValueError, ZeroDivisionError):
        raise UsageError(
            f"{option} must be a number such as 1e-2 or 1/100, of at most 40 digits and 3 more in "
            f"an exponent, not {text[:60]!r}"
        ) from None


class _Progress:
    """A line on a terminal's standard error that shows the done share and vanishes at the end."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._terminal = sys.stderr.isatty()
        self._shown = ""

    def __enter__(self) -> _Progress:
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown:
            sys.stderr.write(f"\r{' ' * len(self._shown)}\r")

    def show(self, share: float) -> None:
        """Show the share, 0 to 1, unless the terminal shows it already."""
        text = f"{share:4.0%}  {self._label}"[:78]
        if self._terminal and text != self._shown:
            self._shown = text
            sys.stderr.write(f"\r{text}")
            sys.stderr.flush()
