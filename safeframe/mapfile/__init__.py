"""Map files: reading with exact places, writing, TOML and CSV.

``load`` and ``loads`` return the End that a file describes or raise InputError with every
problem in it, each with line and key path. ``dumps`` is their inverse.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import PurePath

from ..errors import InputError, Problem, UsageError
from ..model import End
from .csvmap import read_csv, write_csv
from .files import MAX_FILE_OCTETS, read_text
from .keys import FORMAT
from .tomlmap import read_toml
from .write import write_toml

__all__ = ["FORMAT", "MAX_FILE_OCTETS", "dumps", "load", "loads"]

_READERS: dict[str, Callable[..., End]] = {"toml": read_toml, "csv": read_csv}
_WRITERS: dict[str, Callable[..., str]] = {"toml": write_toml, "csv": write_csv}


def load(path: str | os.PathLike[str]) -> End:
    """Read one map file (.toml or .csv); raises InputError with every problem in it."""
    name = os.fspath(path)
    suffix = PurePath(name).suffix.lower().removeprefix(".")
    if suffix not in _READERS:
        raise InputError(
            Problem(path=name, message=f"a map file must end in .toml or .csv, not {suffix!r}")
        )
    return loads(read_text(name), path=name, format=suffix)


def loads(text: str, *, path: str = "<text>", format: str = "toml") -> End:  # noqa: A002
    """Read one map from a text; ``path`` is the name that locations and problems show.

    Raises InputError with every problem in the text, UsageError for an unknown format.
    """
    read = _READERS.get(format)
    if read is None:
        raise UsageError(f"format must be one of {', '.join(_READERS)}, not {format!r}")
    if len(text) > MAX_FILE_OCTETS:
        message = f"a map must be at most {MAX_FILE_OCTETS} characters, not {len(text)}"
        raise InputError(Problem(path=path, message=message))
    if not text.strip("\ufeff \t\r\n"):
        raise InputError(Problem(path=path, message="the text must hold a map, not be empty"))
    return read(text, path=path)


def dumps(end: End, *, format: str = "toml") -> str:  # noqa: A002
    """Write an End as the canonical text of a map file.

    ``loads(dumps(end)) == end``. Raises InputError for an End that no map file can say (a safe
    value outside its width, text that is not printable), UsageError for an unknown format.
    """
    write = _WRITERS.get(format)
    if write is None:
        raise UsageError(f"format must be one of {', '.join(_WRITERS)}, not {format!r}")
    return write(end, path="<memory>")
