"""Where a value stands in a file: the keys and positions that lead to it."""

from __future__ import annotations

import re
from functools import lru_cache

__all__ = ["Path", "key_path"]

Path = tuple[str | int, ...]
"""Keys and array positions from the top of the file, such as ``("sends", 3, "width")``."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SHORT = 64
"""Letters of a name that is worth keeping."""


def key_path(path: Path) -> str:
    """Write a path as ``sends[3].codes.0x1``; a key that is not bare stands in quotes."""
    match path:
        case [str(name), int()] if len(name) < _SHORT:
            return _row_path(path)
    return _written(path)


def _written(path: Path) -> str:
    parts: list[str] = []
    for step in path:
        if isinstance(step, int):
            parts.append(f"[{step}]")
        else:
            parts.append(f".{step}" if _BARE.fullmatch(step) else f".{step!r}")
    return "".join(parts).removeprefix(".")


_row_path = lru_cache(maxsize=1024)(_written)
"""Rows are asked for most, and have the same few names in each file."""
