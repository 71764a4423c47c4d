"""``safeframe import``: a map from a device file, or a map held against one."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

from .. import __version__, importing
from .. import _mapfile as mapfile
from .._errors import InputError, UsageError
from .._model import End
from .._report import imports
from . import idle, inputs, octets, options, outputs, streams, telling

_EPILOG = """\
examples:
  safeframe import esi lx.xml --list
  safeframe import esi lx.xml --select device:0x1:1/rx:0x1601 --select device:0x1:1/tx:0x1a01 \\
      --as device --connection SC1-LX --end LX --peer SC1 --role slave -o lx-sc1.toml
  safeframe import esi lx.xml --select ... --as device --compare lx-sc1.toml
  safeframe import st lift.st --select ST_ToDrive --layout bits --order little \\
      --direction sends --connection SC1-LX --profile plain --end SC1 --peer LX --safe zero

The file is read and nothing else: no name in it leads anywhere. What it leaves open must be stated;
there is no default and no way to force it. Without -o the map goes to standard output and the
report to standard error.

exit codes: 0 listed, written or the same, 1 a decision is open or the map differs, 2 wrong use or
a file that is hostile, broken or not offered, 3 internal error; nothing is written in 1 to 3
"""

_WORDS = {
    "container": "auto unpacks a safety container (default), none takes the entries as plain data",
    "padding_after_crc": "ESI: what an entry without object behind a CRC is",
    "gaps": "what nobody declares is reserve",
    "word_bits": "GSDML: the octet order of values that are used as bits",
    "layout": "ST, TC6: how the members lie in memory",
    "order": "XDD, ST, TC6: octet order of values wider than an octet",
    "safe": "confirm that 0 is the value on loss of communication of every signal",
}
_NAMES = ("connection", "end", "peer", "role", "id")
_SHEET = ("columns", "sheet", "range", "separator")
_LISTING = ("container", "language", "encoding", "version")
"""Decisions that a list may hang on, and the version, which is none."""
_TYPES = ("st", "tc6")
_TEXTS = ("esi", "gsdml", "iodd", "xdd")
_ONLY: dict[str, tuple[str, ...]] = {
    "bind_prefix": _TYPES,
    "codes": ("iodd",),
    "container": ("esi", "gsdml", "xdd"),
    "language": _TEXTS,
    "layout": _TYPES,
    "order": ("xdd", "table", *_TYPES),
    "padding_after_crc": ("esi",),
    "split_unaligned": ("iodd",),
    "word_bits": ("gsdml",),
}
"""Decisions that files of some formats alone leave open."""
_FLAGS = {
    "number_names": "number repeated names and name nameless bits",
    "split_unaligned": "IODD: a value across octets becomes two signals, (high) and (low)",
    "codes": "complete lists of values become codes",
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    add = parser.add_argument
    add(
        "file_format",
        metavar="FORMAT",
        choices=(*importing.FORMATS, "table"),
        help=f"{', '.join(importing.FORMATS)}, or table for a sheet (.csv, .xlsx)",
    )
    add("file", metavar="FILE", help="the file to read")
    add("--list", action="store_true", help="print what can be selected, and stop")
    add("--select", metavar="PATH", action="append", default=[], help="what to take; @LINE too")
    identity = parser.add_argument_group("what the project knows")
    identity.add_argument("--connection", metavar="NAME", help="name of the connection")
    identity.add_argument("--end", metavar="NAME", help="name of the end that the map is of")
    identity.add_argument("--peer", metavar="NAME", help="name of the other end")
    identity.add_argument(
        "--profile", metavar="NAME", help="safety profile, where the file has no container of one"
    )
    identity.add_argument("--role", metavar="WORD", default="", help="a word of the profile")
    identity.add_argument("--id", metavar="N", help="connection id")
    decide = parser.add_argument_group("decisions, none of them with a default")
    decide.add_argument(
        "--as",
        dest="viewpoint",
        choices=importing.CHOICES["viewpoint"],
        default="",
        help="whose map: a file with both directions is of a device",
    )
    decide.add_argument(
        "--direction",
        choices=importing.CHOICES["direction"],
        default="",
        help="what this end does with it, where the file does not tell",
    )
    for name, words in _WORDS.items():
        decide.add_argument(
            f"--{name.replace('_', '-')}",
            choices=importing.CHOICES[name],
            default="auto" if name == "container" else "",
            help=words,
        )
    for name, words in _FLAGS.items():
        decide.add_argument(f"--{name.replace('_', '-')}", action="store_true", help=words)
    decide.add_argument("--language", metavar="TAG", default="", help="which of several texts")
    decide.add_argument(
        "--encoding",
        choices=importing.ENCODINGS,
        default="",
        help="what the octets are, where the file says otherwise",
    )
    decide.add_argument(
        "--bind-prefix",
        metavar="TEXT",
        help="ST, TC6: bind each signal to this text and its member name",
    )
    sheet = parser.add_argument_group("sheets (table)")
    sheet.add_argument(
        "--columns",
        metavar="MAPPING",
        help="which column means what: a .toml file, or octet=Byte;bit=Bit;name=Signal;...",
    )
    sheet.add_argument("--sheet", metavar="NAME", help="sheet of a workbook")
    sheet.add_argument("--range", metavar="A3:H40", help="cells to read")
    sheet.add_argument("--separator", choices=tuple(importing.SEPARATORS), help="of a CSV file")
    outputs.add(
        parser, "-o", "--output", kind="map", metavar="MAP", help="write the map to a new file"
    )
    add("--compare", metavar="MAP", help="hold this map against the file instead of writing one")
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """List, write or compare."""
    _refuse_idle(args)
    if args.output and args.compare:
        raise UsageError("--compare must stand without -o, not with it")
    decisions = importing.Decisions(
        **{
            name: getattr(args, name) for name in importing.Decisions.__slots__ if name != "version"
        },
        version=__version__,
    )
    source = None
    try:
        source = importing.read_source(args.file)
        if args.list:
            return _list(args, source, decisions)
        map_ = inputs.read_end(args.compare) if args.compare else None
        made = _made(args, source, _identity(args, map_), decisions)
        return _compare(args, source, made, map_) if map_ else _write(args, source, made)
    except InputError as error:
        if args.format == "json":
            sys.stdout.write(imports.document(source, error=error))
        if not isinstance(error, importing.OpenDecisionError):
            raise
        for problem in error.problems:
            telling.say(str(problem))
        return 1


def _refuse_idle(args: argparse.Namespace) -> None:
    """Refuse what plays no part: in a list, with a map to compare, or in a file of this format."""
    is_table = args.file_format == "table"
    if args.list:
        decided = [name for name in importing.Decisions.__slots__ if name not in _LISTING]
        listed = ("output", "compare", "select", "profile", *_NAMES, *decided, "columns", "range")
        idle.refuse(args, _stated(args, *listed, "separator"), "--list")
        if is_table and args.format != "text":
            idle.refuse(args, ("format",), "--list of a sheet")
    elif not args.compare and not args.output and args.format in ("markdown", "html"):
        idle.needs(args, ("format",), f"-o where it is {args.format}, as standard output is a map")
    if is_table:
        idle.refuse(args, _stated(args, "select"), "table")
    else:
        idle.refuse(args, _stated(args, *_SHEET), f"a file of {args.file_format}")
    for name, formats in _ONLY.items():
        if args.file_format not in formats and (name != "container" or args.container != "auto"):
            idle.refuse(args, _stated(args, name), f"a file of {args.file_format}")


def _stated(args: argparse.Namespace, *names: str) -> list[str]:
    """Return the options that hold a text or a number; those of texts are empty by default."""
    return [name for name in names if getattr(args, name) != ""]


def _identity(args: argparse.Namespace, map_: End | None) -> importing.Identity:
    """Return the names of the project; those of a map that is compared are its own."""
    if map_ is not None:
        table = map_.connection_table
        own = (table.name, map_.name, map_.peer, map_.role, table.id)
        for name, value in zip(_NAMES, own, strict=True):
            stated = getattr(args, name)
            if name == "id" and stated is not None:
                stated = octets.number("id", stated)
            if stated not in (None, "", value):
                said = "no" if value in (None, "") else f"the {name} {value}"
                raise UsageError(
                    f"--{name} must be that of the map to compare, which states {said}, "
                    f"not {stated}"
                )
        return importing.Identity(
            connection=table.name,
            end=map_.name,
            peer=map_.peer,
            profile=args.profile or "",
            role=map_.role,
            id=table.id,
        )
    for name in ("connection", "end", "peer"):
        if not getattr(args, name):
            raise UsageError(f"--{name} must be stated, since no device file knows it")
    return importing.Identity(
        connection=args.connection,
        end=args.end,
        peer=args.peer,
        profile=args.profile or "",
        role=args.role,
        id=None if args.id is None else octets.number("id", args.id),
    )


def _made(
    args: argparse.Namespace,
    source: importing.DeviceFile,
    identity: importing.Identity,
    decisions: importing.Decisions,
) -> importing.Imported:
    if args.file_format != "table":
        found = importing.find_format(args.file_format)
        return importing.imported(found, source, args.select, identity, decisions)
    columns = _columns(args)
    if columns is None:
        raise UsageError("--columns must say which column means what; --list proposes a mapping")
    return importing.read_sheet(source, columns, identity, decisions)


def _columns(args: argparse.Namespace) -> importing.Columns | None:
    """Return the mapping of a sheet; the options of the command line come before its own."""
    if args.columns is None:
        return None
    columns = importing.load_columns(args.columns)
    more = {name: getattr(args, name) for name in ("sheet", "range", "separator")}
    return replace(columns, **{name: value for name, value in more.items() if value})


def _list(
    args: argparse.Namespace, source: importing.DeviceFile, decisions: importing.Decisions
) -> int:
    if args.file_format == "table":
        sys.stdout.write(importing.sheet_proposal(source, args.sheet or "", decisions))
        return 0
    rows = importing.candidates_of(importing.find_format(args.file_format), source, decisions)
    if args.format == "json":
        sys.stdout.write(imports.listing_data(source, rows))
    else:
        options.tell(args, imports.listing(source, rows))
    return 0


def _write(args: argparse.Namespace, source: importing.DeviceFile, made: importing.Imported) -> int:
    """Write the map, to a new file or to standard output; the report goes beside it."""
    written = imports.header(made) + mapfile.dumps(made.end)
    if args.output:
        outputs.write(args, "output", written)
    if args.format == "json":
        sys.stdout.write(imports.document(source, made, written=args.output or ""))
        return 0
    if not args.output:
        streams.set_format("toml")  # What standard output gets is a map, not a report.
        sys.stdout.write(written)
    told = imports.report(made, written=args.output or "")
    if args.output:
        options.tell(args, told)
    else:
        from .._report import text  # deferred: a map that goes to a file needs none of it.

        sys.stderr.write(text.render(told, options.look(args)))
    return 0


def _compare(
    args: argparse.Namespace,
    source: importing.DeviceFile,
    made: importing.Imported,
    map_: End,
) -> int:
    found = importing.compare(map_, made)
    if args.format == "json":
        sys.stdout.write(imports.document(source, made, found=found))
    else:
        options.tell(args, imports.comparison(map_, made, found))
    return int(not found.agrees)
