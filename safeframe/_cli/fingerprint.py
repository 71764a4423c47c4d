"""``safeframe fingerprint``: what tells equal maps from different ones."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from .. import _fingerprint as fingerprint
from .. import _mapfile as mapfile
from .._errors import UsageError
from .._report import fingerprints
from . import inputs, options

_EPILOG = """\
  wire  what both ends must share, parameters that the profile marks so included:
        equal at both ends of a clean connection
  end   what this end alone says: bindings, role, address, own parameters, remarks
  file  the octets of the file: changes with every comment and blank

examples:
  safeframe fingerprint sc1-lx.toml lx-sc1.toml
  safeframe fingerprint --canonical wire sc1-lx.toml | sha256sum

exit codes: 0 done, 1 the wire fingerprints of the files differ, 2 wrong use or unreadable
input, 3 internal error
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    parser.add_argument("maps", metavar="MAP", nargs="+", help="map files")
    parser.add_argument(
        "--canonical",
        choices=("wire", "end"),
        help="print the text that is hashed instead, without a line feed at its end",
    )
    options.add_profiles(parser)
    options.add_format(parser)
    options.add_color(parser)


def run(args: argparse.Namespace) -> int:
    """Print the fingerprints; return 1 when the files do not share their wire fingerprint."""
    if args.canonical and args.format != "text":
        raise UsageError(f"--canonical must go without --format {args.format}")
    documents = {"wire": fingerprint.wire_document, "end": fingerprint.end_document}
    own = options.own_profiles(args)
    rows = []
    for path in args.maps:
        inputs.tell_broken_off([path])
        end = mapfile.load(path)
        if args.canonical:
            sys.stdout.write(fingerprint.canonical(documents[args.canonical](end, own)))
            continue
        rows.append(
            fingerprints.FingerprintRow(
                path=path,
                end=end.name,
                connection=end.connection_table.name,
                wire=fingerprint.wire_fingerprint(end, own_profiles=own),
                own=fingerprint.end_fingerprint(end, own_profiles=own),
                file=fingerprint.digest(Path(path).read_bytes()),
            )
        )
    if not args.canonical:
        if args.format == "json":
            sys.stdout.write(fingerprints.json_text(rows))
        else:
            options.tell(args, fingerprints.document(rows))
    return int(len({row.wire for row in rows}) > 1)
