"""Options that several commands share, and what they mean for the output."""

from __future__ import annotations

import argparse
import os
import sys

from .. import protocols as profiles
from .._errors import UsageError
from .._report.text import PLAIN, Look, wants_color
from ..protocols import Profile
from . import telling

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .._report.document import Document

_MOST_SHOWN = 6
"""Formats up to which they stand in the usage line, which cannot be broken within them."""
_WIDEST = 110
"""Longer lines are hard to read; more columns of a terminal stay empty."""


_PAGES = ("markdown", "html")
"""Formats that every document can have, besides text."""


def add_format(parser: argparse.ArgumentParser, *formats: str, pages: bool = True) -> None:
    """Add ``--format``: text, the formats given (JSON where none is), and those of pages."""
    choices = tuple(dict.fromkeys(("text", *(formats or ("json",)), *(_PAGES if pages else ()))))
    many = len(choices) > _MOST_SHOWN
    told = f": {', '.join(choices)}" if many else ""
    parser.add_argument(
        "--format",
        choices=choices,
        metavar="FORMAT" if many else None,
        default="text",
        help=f"for people or for programs (default: text){told}",
    )


def add_pages(parser: argparse.ArgumentParser) -> None:
    """Add ``--format`` where there is nothing for programs: text, Markdown, HTML."""
    add_format(parser, "text")


def tell(args: argparse.Namespace, given: Document, *, details: bool = False) -> None:
    """Write a document to standard output, in the format asked for."""
    chosen = getattr(args, "format", "text")
    if chosen == "text":
        from .._report import text  # deferred, as all renderers: only one of them is needed.

        sys.stdout.write(text.render(given, look(args), details=details))
    elif chosen == "markdown":
        from .._report import markdown

        sys.stdout.write(markdown.render(given))
    else:
        # A pipe may have any encoding: what is not ASCII is written by its number.
        page = html(given).encode("ascii", "xmlcharrefreplace").decode("ascii")
        sys.stdout.write(page)


def html(given: Document, *, sheet: str = "") -> str:
    """Return a document as a page; ``sheet`` is added to its style."""
    from .._report import html as renderer

    return renderer.render(given, sheet=sheet)


def add_color(parser: argparse.ArgumentParser) -> None:
    """Add ``--color auto|always|never``."""
    parser.add_argument(
        "--color",
        choices=("auto", "always", "never"),
        default="auto",
        help="auto colours a terminal; NO_COLOR and FORCE_COLOR are honoured",
    )


def add_profiles(parser: argparse.ArgumentParser) -> None:
    """Add ``--profile FILE``."""
    parser.add_argument(
        "--profile",
        metavar="FILE",
        action="append",
        default=[],
        help="a profile file of your own, found by its name; may be repeated",
    )


def own_profiles(args: argparse.Namespace) -> dict[str, Profile]:
    """Return the profiles of ``--profile`` by name; raises UsageError for two of one name."""
    found: dict[str, Profile] = {}
    files: dict[str, str] = {}
    for file in args.profile:
        profile = profiles.load_file(file)
        other = files.setdefault(profile.name, file)
        if found.setdefault(profile.name, profile) != profile:
            raise UsageError(
                f"--profile must state a profile once, not {profile.name} in {other} and "
                f"otherwise in {file}"
            )
        if profile.name in profiles.names():
            telling.say(f"{file}: stands in for the package's own profile {profile.name}")
    return found


def look(args: argparse.Namespace) -> Look:
    """Return how to print: as wide as the terminal, but the same everywhere in a pipe or file."""
    terminal = sys.stdout.isatty()
    # Not shutil's function of the same name: that module costs 3 ms of start-up.
    width = min(os.get_terminal_size().columns, _WIDEST) if terminal else PLAIN.width
    choice = getattr(args, "color", "auto")
    color = wants_color(choice, terminal=terminal, environ=os.environ)
    return Look(color=color, width=width)
