"""Where a value stands in a file: the keys and positions that lead to it."""

from __future__ import annotations

from functools import lru_cache

Path = tuple[str | int, ...]
"""Keys and array positions from the top of the file, such as ``("sends", 3, "width")``."""

_SHORT = 64
"""Letters of a name that is worth keeping."""


def is_bare(key: str) -> bool:
    """Return whether TOML takes a key without quotes: ASCII letters, digits, ``_`` and ``-``."""
    return key.isascii() and key.replace("-", "_").replace("_", "a").isalnum()


def key_path(path: Path) -> str:
    """Write a path as ``sends[3].codes.0x1``; a key that is not bare stands in quotes."""
    if len(path) == 2:
        table, inner = path
        short = isinstance(inner, int) or len(inner) < _SHORT
        if short and isinstance(table, str) and len(table) < _SHORT:
            return _short_path(path)
    return _written(path)


def _written(path: Path) -> str:
    parts: list[str] = []
    for step in path:
        if isinstance(step, int):
            parts.append(f"[{step}]")
        else:
            parts.append(f".{step}" if is_bare(step) else f".{step!r}")
    return "".join(parts).removeprefix(".")


_short_path = lru_cache(maxsize=1024)(_written)
"""Rows and keys of tables are asked for most, and are the same few in each file."""
