"""Two map files named on the command line, as the exchange of frames between their ends."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from typing import Any

from .._errors import UsageError
from .._link import Link, link_of
from .._model import Connection
from . import inputs

__all__ = ["add", "link", "named"]


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the two map files and the values they may lack."""
    parser.add_argument("maps", metavar="MAP", nargs=2, help="the map files of both ends")
    parser.add_argument(
        "--value",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="what frames need and no map says, such as format=base (may be repeated)",
    )


def link(args: argparse.Namespace) -> Link:
    """Return the exchange of the two maps; raises UsageError where frames cannot be built."""
    first, second = inputs.read_ends(args.maps)
    settings = {name: _value(text) for name, text in named(args.value, "--value")}
    return link_of(Connection(first=first, second=second), **settings)


def named(texts: Iterable[str], option: str) -> Iterable[tuple[str, str]]:
    """Yield the two sides of each ``NAME=VALUE``; raises UsageError for anything else."""
    for text in texts:
        name, equals, value = text.partition("=")
        if not name or not equals:
            raise UsageError(f"{option} must be NAME=VALUE, not {text!r}")
        yield name, value


def _value(text: str) -> Any:
    """Return a number where the text is one, otherwise the text."""
    try:
        return int(text, 0)
    except ValueError:
        return text
