"""``safeframe verify``: one gate for a whole plant."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from .. import protocols as profiles
from .._document.reader import read_text
from .._errors import UsageError
from .._plant import file as plantfile
from .._plant import gate
from .._plant.file import ListedConnection, Listing
from .._plant.gate import GateSettings, SignatureFiles
from .._plant.gaterow import GateRow
from .._plant.verify import GateReport, alone, rows_of, settle
from . import idle, inputs, options, outputs, values

if TYPE_CHECKING:
    from .._model import Connection
    from .._report.document import Document
    from ..protocols import Profile

_EPILOG = """\
Every connection that the plant file lists: do the maps agree, with each other and
with the device files named; does the record fit them, is it whole and complete, is
everything read back, tested and approved; is there what the plant file asks for in
its table require. A file that cannot be read is a fault of its connection and stops
nothing. What was not looked at is said.

examples:
  safeframe verify plant.toml
  safeframe verify plant.toml --signers allowed-signers
  safeframe verify plant.toml --html site.html --pages connections
  safeframe verify plant.toml --format junit --jobs 2

exit codes: 0 everything demanded was looked at and is in order, 1 not so, 2 wrong use
or an unreadable plant file, 3 internal error
"""
_MOST_JOBS = 64
_LETTERS = 60


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("plant", metavar="PLANT", help="a plant file, or a folder with one")
    parser.add_argument(
        "--signers",
        metavar="FILE",
        default="",
        help="allowed signers (ssh-keygen) by which the signature files beside the records are "
        "judged; there is no default",
    )
    outputs.add(
        parser,
        "--html",
        kind="page verify",
        help="write the page of the site too: table, picture, index, steps; no script",
    )
    parser.add_argument(
        "--pages",
        metavar="FOLDER",
        help="write a page for each connection into a folder; the page of the site leads there",
    )
    parser.add_argument(
        "--jobs",
        metavar="N",
        type=values.integer,
        default=1,
        help="share the work out to so many processes (default: 1)",
    )
    parser.add_argument(
        "--details", action="store_true", help="print the commands of the open steps too"
    )
    options.add_profiles(parser)
    options.add_format(parser, "json", "junit")
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the plant, print, and return 1 where it is not in order."""
    if not 1 <= args.jobs <= _MOST_JOBS:
        raise UsageError(f"--jobs must be 1..{_MOST_JOBS}, not {args.jobs}")
    if args.format != "text":
        idle.refuse(args, ("details",), f"--format {args.format}")
    path = args.plant
    if os.path.isdir(path):  # noqa: PTH112  (pathlib costs start-up time)
        path = os.path.join(path, inputs.PLANT)  # noqa: PTH118
    given = plantfile.listed(read_text(path, what="plant file"), path=path)
    if args.signers:
        # Read once before all: one that cannot be read is wrong use, not a fault of every record.
        read_text(args.signers, what="file of signers")
    own = options.own_profiles(args)
    folder = outputs.PageFolder(args, args.pages) if args.pages else None
    try:
        rows, pages = _judged(args, given, folder)
    finally:  # An interrupt leaves pages, too.
        if folder:
            folder.done()
    report = settle(given, rows, own_profiles=own)
    inputs.tell_broken_off(name for row in report.rows for name in row.maps)
    if args.html:
        there = _seen_from(os.path.dirname(args.html), args.pages)  # noqa: PTH120
        links = {number: f"{there}{name}" for number, name in pages.items()}
        outputs.write(args, "html", options.html(_document(report, links, page=True)))
    _tell(args, report, {n: f"{_seen_from('', args.pages)}{name}" for n, name in pages.items()})
    return int(not report.in_order)


def _judged(
    args: argparse.Namespace, given: Listing, folder: outputs.PageFolder | None
) -> tuple[list[GateRow], dict[int, str]]:
    """Return every row, and the names of the pages written by the numbers of the connections."""
    home = ""
    if folder and args.html:
        home = os.path.relpath(args.html, args.pages).replace(os.sep, "/")
    on_routes = frozenset(end for route in given.routes for end in route.near)
    settings = (
        given.rows,
        given.folder,
        args.signers,
        tuple(args.profile),
        on_routes,
        bool(folder),
        home,
    )
    rows: list[GateRow] = []
    pages: dict[int, str] = {}
    with rows_of(given, _worker, settings, jobs=args.jobs) as found:
        for row, name, page in found:
            rows.append(row)
            if folder:
                pages[row.number] = name
                folder.write(name, page)
    return rows, pages


def _worker(
    rows: Sequence[ListedConnection],
    folder: str,
    signers: str,
    profile_files: Sequence[str],
    on_routes: frozenset[str],
    pages: bool,
    home: str,
) -> Callable[[Sequence[int]], list[tuple[GateRow, str, str]]]:
    """Return what judges some connections; it runs in a process of its own with ``--jobs``."""
    own = {profile.name: profile for profile in map(profiles.load_file, profile_files)}
    settings = GateSettings(folder, signers, own, on_routes)
    files = SignatureFiles()

    def work(numbers: Sequence[int]) -> list[tuple[GateRow, str, str]]:
        return list(_work(numbers))

    def _work(numbers: Sequence[int]) -> Iterator[tuple[GateRow, str, str]]:
        for number in numbers:
            row, connection = gate.judge(number + 1, rows[number], settings, files)
            if pages:
                yield row, _page_name(row), _page(alone(row), connection, own, home)
            else:
                yield row, "", ""

    return work


def _page_name(row: GateRow) -> str:
    """Return the name of the page of a connection: its number makes it the only one."""
    slug = re.sub(r"[^A-Za-z0-9]+", "-", row.name)[:_LETTERS].strip("-").lower()
    return f"{slug or 'connection'}-{row.number}.html"


def _page(row: GateRow, connection: Connection | None, own: dict[str, Profile], home: str) -> str:
    from .._report import findings, plant
    from .._report.paths import shown

    report = None
    if connection is not None:
        from .. import _checks as checks
        from .._grids import compare
        from .._report.document import Grids

        grids = [Grids(compare(way), way.name) for way in connection.directions()]
        # What the record has to say is told already: here it is the maps alone.
        maps = replace(connection, installed=(), record="")
        found = checks.check(maps, own_profiles=own)
        report = findings.document(found, everything=True, pictures=grids, where=shown)
    there = ("all connections", home) if home else None
    return options.html(plant.connection_page(row, report, home=there))


def _seen_from(folder: str, pages: str | None) -> str:
    """Return the folder of the pages as a link from a page in ``folder``, with its slash."""
    if not pages:
        return ""
    from .._report.paths import uri

    return uri(f"{os.path.relpath(pages, folder or '.').replace(os.sep, '/')}/")


def _document(report: GateReport, links: dict[int, str], *, page: bool) -> Document:
    from .._report import plant

    return plant.document(report, pages=links, page=page)


def _tell(args: argparse.Namespace, report: GateReport, links: dict[int, str]) -> None:
    if args.format == "json":
        from .._report import plant

        sys.stdout.write(plant.json_text(report))
    elif args.format == "junit":
        from .._report import junit

        sys.stdout.write(junit.gate(report))
    else:
        told = _document(report, links, page=args.format == "html")
        options.tell(args, told, details=args.details)
