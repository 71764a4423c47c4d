"""Recordings named on the command line: where their frames are, and from whom."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from difflib import get_close_matches
from typing import BinaryIO, NamedTuple

from .. import capture
from .._document.reader import open_stream
from .._errors import InputError, Problem, UsageError
from .._link import Link
from . import links

__all__ = ["Places", "add", "opened", "places", "wanted"]


class Places(NamedTuple):
    """Where frames begin in the payload and which station sends them, by side."""

    at: dict[int, int]
    sources: dict[int, str]


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
    only.add_argument("--ethertype", metavar="N", type=_integer, help="only packets of this kind")
    only.add_argument("--udp-port", metavar="N", type=_integer, help="only packets of this port")
    parser.add_argument(
        "--fresh", action="store_true", help="the first frame is the first of the connection"
    )


def _integer(text: str) -> int:
    return int(text, 0)


def places(args: argparse.Namespace, link: Link) -> Places:
    """Return what ``--at`` and ``--from`` say; raises UsageError for an end that is none."""
    at = {side: _offset(text) for side, text in _by_side(args.at, "--at", link)}
    return Places(at, dict(_by_side(args.sources, "--from", link)))


def wanted(args: argparse.Namespace) -> capture.Wanted:
    """Return which packets are read."""
    return capture.Wanted(ethertype=args.ethertype, udp_port=args.udp_port)


@contextmanager
def opened(path: str) -> Iterator[BinaryIO]:
    """Open a recording; raises InputError where it cannot be read, then or later."""
    try:
        with open_stream(path, what="recording") as stream:
            yield stream
    except OSError as error:
        message = f"the file must be readable: {error.strerror}"
        raise InputError(Problem(path=path, message=message)) from None


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
