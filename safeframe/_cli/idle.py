"""Options that would change nothing are refused: nobody may take an answer for theirs."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from .._errors import UsageError

_FLAGS = {"octets": "HEX", "output": "-o", "viewpoint": "--as"}
"""Options whose flag is not their name."""


def _given(args: argparse.Namespace, names: Iterable[str]) -> Iterable[str]:
    """Yield the flags of the options that were given another value than none; 0 is one."""
    for name in names:
        value = getattr(args, name)
        if value is not None and value is not False and value != []:
            yield _FLAGS.get(name, f"--{name.replace('_', '-')}")


def refuse(args: argparse.Namespace, names: Iterable[str], mode: str) -> None:
    """Raise UsageError for an option that a mode, named by what asks for it, has no use for."""
    for flag in _given(args, names):
        raise UsageError(f"{flag} must stand without {mode}, which has no use for it")


def needs(args: argparse.Namespace, names: Iterable[str], what: str) -> None:
    """Raise UsageError for an option that changes nothing unless ``what`` stands with it."""
    for flag in _given(args, names):
        raise UsageError(f"{flag} must stand with {what}: without it nothing changes")
