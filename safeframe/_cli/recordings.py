"""Recordings named on the command line: where their frames are, and from whom."""

from __future__ import annotations

import argparse

from .. import capture
from .._link import Link, Places, places_stated
from . import links, values


def add(parser: argparse.ArgumentParser) -> None:
    """Add both maps, and what says where their frames are in a recording."""
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
    only.add_argument(
        "--ethertype", metavar="N", type=values.number, help="only packets of this kind"
    )
    only.add_argument(
        "--udp-port", metavar="N", type=values.number, help="only packets of this port"
    )
    parser.add_argument(
        "--fresh", action="store_true", help="the first frame is the first of the connection"
    )


def places(args: argparse.Namespace, link: Link) -> Places:
    """Return what ``--at`` and ``--from`` say; raises UsageError for an end that is none."""
    return places_stated(link, args.at, args.sources)


def wanted(args: argparse.Namespace) -> capture.Wanted:
    """Return which packets are read."""
    return capture.Wanted(ethertype=args.ethertype, udp_port=args.udp_port)
