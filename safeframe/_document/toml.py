"""TOML text as plain data, and the line of each statement."""

from __future__ import annotations

from collections.abc import Callable

from . import plaintoml
from .paths import Path

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


def parse(text: str, *, path: str) -> dict[str, Any]:
    """Return the plain data of a TOML text; raises InputError where it is no TOML."""
    return located(text, path=path)[0]


def located(text: str, *, path: str) -> tuple[dict[str, Any], Callable[[Path], int]]:
    """Return the same as ``parse``, and what tells in which line a statement stands."""
    plain = plaintoml.read(text.removeprefix("\ufeff"))
    if plain is not None:
        return plain.data, plain.line
    from .anytoml import parse  # deferred: tomllib and its patterns cost milliseconds.
    from .locate import lazy_lines

    return parse(text, path=path), lazy_lines(text)
