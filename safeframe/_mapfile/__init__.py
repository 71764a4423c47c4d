"""Map files: reading with exact places, writing, TOML and CSV.

``load`` and ``loads`` return the End that a file describes or raise InputError with every
problem in it, each with line and key path. ``dumps`` is their inverse.
"""

from __future__ import annotations

import os

from .._document.reader import MAX_FILE_OCTETS, read_text
from .._errors import InputError, Problem, UsageError
from .._model import End
from .assemble import read_toml
from .keys import FORMAT

__all__ = ["FORMAT", "MAX_FILE_OCTETS", "dumps", "load", "loads", "read_text"]

_FORMATS = ("toml", "csv")


def load(path: str | os.PathLike[str]) -> End:
    """Read one map file (.toml or .csv); raises InputError with every problem in it.

    >>> safeframe.load("sc1.toml").connection_table.watchdog_ms
    100
    """
    name = os.fspath(path)
    suffix = name.rpartition(".")[2].lower()
    if suffix not in _FORMATS:
        message = "the name of a map file must end in .toml or .csv"
        raise InputError(Problem(path=name, message=message))
    return loads(read_text(name), path=name, format=suffix)


def loads(text: str, *, path: str = "<text>", format: str = "toml") -> End:  # noqa: A002
    """Read one map from a text; ``path`` is the name that locations and problems show.

    ``format`` is "toml" or "csv". Raises InputError with every problem in the text.

    >>> text = safeframe.dumps(safeframe.load("sc1.toml"))
    >>> safeframe.loads(text).name
    'SC1'
    """
    _refuse_unknown(format)
    if len(text) > MAX_FILE_OCTETS:
        message = f"a map must be at most {MAX_FILE_OCTETS} characters, not {len(text)}"
        raise InputError(Problem(path=path, message=message))
    if not text.strip("\ufeff \t\r\n"):
        raise InputError(Problem(path=path, message="the text must hold a map, not be empty"))
    if format == "csv":
        from .csvmap import read_csv  # deferred: most runs read TOML only.

        return read_csv(text, path=path)
    return read_toml(text, path=path)


def dumps(end: End, *, format: str = "toml") -> str:  # noqa: A002
    """Write an End as the canonical text of a map file, "toml" or "csv".

    ``loads(dumps(end)) == end``. Raises InputError for an End that no map file can say (a safe
    value outside its width, text that is not printable).

    >>> end = safeframe.load("sc1.toml")
    >>> safeframe.dumps(end, format="csv")[:17]
    'direction,at,name'
    >>> safeframe.loads(safeframe.dumps(end)) == end
    True
    """
    _refuse_unknown(format)
    if format == "csv":
        from .csvmap import write_csv  # deferred: most runs read TOML only.

        return write_csv(end, path="<memory>")
    from .write import write_toml  # deferred: most runs write no map.

    return write_toml(end, path="<memory>")


def _refuse_unknown(format: str) -> None:  # noqa: A002
    if format not in _FORMATS:
        raise UsageError(f"format must be one of {', '.join(_FORMATS)}, not {format!r}")
