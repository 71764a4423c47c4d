"""``safeframe show``: what one map file says, as tables, or rewritten in the other notation."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

from .. import _mapfile as mapfile
from .._errors import UsageError
from .._model import End, Map
from .._report import maps
from . import idle, inputs, options, outputs, telling

_EPILOG = """\
examples:
  safeframe show sc1-lx.toml
  safeframe show --format csv sc1-lx.toml      the same map as a table for a spreadsheet
  safeframe show --format csv --columns columns.toml sc1-lx.toml     in the layout of a sheet
  safeframe show --format xlsx --columns columns.toml -o sc1-lx.xlsx sc1-lx.toml
  safeframe show --svg sends.svg --direction sends sc1-lx.toml
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("map", metavar="MAP", help="a map file; - is standard input")
    parser.add_argument(
        "--format",
        choices=("text", "toml", "csv", "xlsx", "markdown", "html"),
        default="text",
        help="tables and pictures, or a map file in the notation named (comments are not kept), "
        "or a sheet",
    )
    outputs.add(parser, "--svg", kind="picture show", help="write a picture of the bits too")
    parser.add_argument(
        "--direction",
        choices=("sends", "receives", "both"),
        default="both",
        help="what the picture or the sheet shows (default: both)",
    )
    parser.add_argument(
        "--columns",
        metavar="MAPPING",
        help="lay csv and xlsx out as this mapping says, which import table reads back",
    )
    outputs.add(parser, "-o", "--output", kind="sheet", help="write the sheet to a new file")
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the map."""
    if args.direction != "both" and not args.svg:
        idle.needs(args, () if args.columns else ("direction",), "--svg or --columns")
    end = inputs.read_end(args.map)
    if args.svg:
        outputs.write(args, "svg", _picture(end, args.direction))
    if args.columns:
        return _sheet(args, end)
    if args.format == "xlsx":
        raise UsageError("--format xlsx must stand with --columns, which says what stands where")
    if args.output:
        raise UsageError("-o must stand with --columns: a map goes to standard output")
    if args.format in ("toml", "csv"):
        sys.stdout.write(mapfile.dumps(end, format=args.format))
    else:
        options.tell(args, maps.document(end))
    return 0


def _sheet(args: argparse.Namespace, end: End) -> int:
    """Write the map as a sheet in the user's layout; say what the sheet does not hold."""
    from .. import importing  # deferred: few runs write sheets.

    if args.format not in ("csv", "xlsx"):
        raise UsageError(f"--columns must stand with --format csv or xlsx, not {args.format}")
    columns = importing.load_columns(args.columns)
    shown = {
        word: getattr(end, word) if args.direction in (word, "both") else Map()
        for word in ("sends", "receives")
    }
    end = replace(end, sends=shown["sends"], receives=shown["receives"])
    rows = importing.sheet_rows_of(end, columns)
    if args.format == "csv":
        written = importing.write_csv_sheet(rows, columns)
        if args.output:
            outputs.write(args, "output", written)
        else:
            sys.stdout.write(written)
    else:
        if not args.output:
            raise UsageError("-o FILE must say where the workbook is written")
        outputs.write(args, "output", importing.write_workbook(rows, columns))
    for lost in importing.sheet_losses(end, columns):
        telling.say(f"not in the sheet: {lost}; read back, the map is another one")
    return 0


def _picture(end: End, direction: str) -> str:
    from .._grids import grid  # deferred: most runs draw nothing.
    from .._report import svg

    maps = {"sends": end.sends, "receives": end.receives}
    chosen = [word for word in maps if direction in (word, "both")]
    grids = [[grid(f"{end.name} {word}", maps[word])] for word in chosen]
    return svg.document(grids, f"Bit grid of {end.name}, connection {end.connection_table.name}")
