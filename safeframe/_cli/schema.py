"""``safeframe schema``: the JSON Schema of a file format or an output, for editors and programs."""

from __future__ import annotations

import argparse
import sys
from importlib.resources import files

_EPILOG = """\
An editor that knows JSON Schema for TOML checks and completes a map file whose first line
names the schema, as those of safeframe demo do:
  #:schema map.schema.json

examples:
  safeframe schema                             the names
  safeframe schema map > map.schema.json
"""
_SUFFIX = ".schema.json"


def names() -> tuple[str, ...]:
    """Return the names of all schemas."""
    found = [entry.name for entry in files("safeframe").joinpath("schemas").iterdir()]
    return tuple(sorted(name.removesuffix(_SUFFIX) for name in found if name.endswith(_SUFFIX)))


def text_of(name: str) -> str:
    """Return a schema as text."""
    path = files("safeframe").joinpath("schemas", f"{name}{_SUFFIX}")
    return path.read_text(encoding="utf-8")


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = _EPILOG
    choices = names()
    parser.add_argument(
        "name", metavar="NAME", nargs="?", choices=choices, help=f"one of {', '.join(choices)}"
    )


def run(args: argparse.Namespace) -> int:
    """Print the schema, or the names of all."""
    sys.stdout.write(text_of(args.name) if args.name else "\n".join([*names(), ""]))
    return 0
