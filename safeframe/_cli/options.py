"""Options that several commands share, and what they mean for the output."""

from __future__ import annotations

import argparse
import os
import sys

from .. import protocols as profiles
from .._report.text import PLAIN, Look, wants_color
from ..protocols import Profile

__all__ = ["add_color", "add_format", "add_profiles", "look", "own_profiles"]

_WIDEST = 110
"""Longer lines are hard to read; more columns of a terminal stay empty."""


def add_format(parser: argparse.ArgumentParser, *formats: str) -> None:
    """Add ``--format text|json``, or text and the formats given."""
    parser.add_argument(
        "--format",
        choices=("text", *(formats or ("json",))),
        default="text",
        help="for people or for programs (default: text)"
        if formats
        else "for people or for programs",
    )


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
    """Return the profiles of ``--profile`` by name."""
    return {profile.name: profile for profile in map(profiles.load_file, args.profile)}


def look(args: argparse.Namespace) -> Look:
    """Return how to print: as wide as the terminal, but the same everywhere in a pipe or file."""
    terminal = sys.stdout.isatty()
    # Not shutil's function of the same name: that module costs 3 ms of start-up.
    width = min(os.get_terminal_size().columns, _WIDEST) if terminal else PLAIN.width
    color = wants_color(args.color, terminal=terminal, environ=os.environ)
    return Look(color=color, width=width)
