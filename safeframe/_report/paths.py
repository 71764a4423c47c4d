"""Paths as outputs for other programs want them: relative, with forward slashes."""

from __future__ import annotations

import os
from pathlib import PurePath
from urllib.parse import quote

from .._source import Location


def relative(path: str) -> str:
    """Return a path relative to the current folder, never absolute, without a leading ``./``."""
    given = PurePath(path)
    return PurePath(os.path.relpath(path)).as_posix() if given.is_absolute() else given.as_posix()


def uri(path: str) -> str:
    """Return a relative path as a URI reference; a colon is escaped, it would end a scheme."""
    return quote(path, safe="/", errors="backslashreplace")


def file_of(where: Location) -> str:
    """Return the file of a location as a relative path, empty for none such as ``<stdin>``."""
    return "" if where.path.startswith("<") else relative(where.path)


def shown(where: Location) -> str:
    """Return a location as a relative path with its line, where it has one."""
    path = relative(where.path)
    return f"{path}:{where.line}" if where.line else path
