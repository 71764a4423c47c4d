"""The one place where a file that a person or a build has written is opened and decoded.

Only regular files are read, and never more of one than its sort may have: a device, a pipe, a
socket, a directory or a file without an end is refused at once and cannot hold the program up.
"""

from __future__ import annotations

import os
import stat

from .._errors import InputError, Problem

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path
    from typing import BinaryIO

MAX_FILE_OCTETS = 1 << 20
"""Largest file that people write by hand: some ten thousand rows, far above any connection."""

_CHUNK_OCTETS = 1 << 16

# Opening a named pipe would wait for a writer, and so would reading from what merely looks like a
# file (some below /proc); on Windows a text file would be changed while it is read.
_OPEN = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
)
_SORTS = (
    (stat.S_ISDIR, "directory"),
    (stat.S_ISFIFO, "pipe"),
    (stat.S_ISSOCK, "socket"),
)
_MARKS = (
    (b"\xff\xfe\0\0", "UTF-32"),
    (b"\0\0\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)


def shortened(path: str) -> str:
    """Return a path without the parts that `..` takes back, where that leads to the same file.

    Behind a link, the folder above is not the one that stands before it in the path.
    """
    short = os.path.normpath(path)
    moved = os.pardir in path and os.path.realpath(short) != os.path.realpath(path)
    return path if moved else short


def read_octets(
    path: str | os.PathLike[str], *, what: str = "map file", limit: int = MAX_FILE_OCTETS
) -> bytes:
    """Return the content of a regular file of at most ``limit`` octets; links are followed.

    ``what`` the file is goes into the messages. Raises InputError when it cannot be opened, is no
    regular file, is larger, or changes while it is read.
    """
    name = os.fspath(path)
    try:
        # Looked at before it is opened: opening some devices does something.
        _refuse_special(name, os.stat(name), what)  # noqa: PTH116  (pathlib costs 3 ms at start-up)
        descriptor = os.open(name, _OPEN)
        with open(descriptor, "rb", buffering=0) as file:
            before = os.fstat(descriptor)
            _refuse_special(name, before, what)  # Something else may have got the name since.
            octets = _read(file, limit)
            after = os.fstat(descriptor)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the path has no meaning"
        raise _problem(name, f"the file must be readable: {reason}") from None
    if len(octets) > limit:
        size = max(after.st_size, len(octets))
        raise _problem(name, f"a {what} must be at most {limit} octets, not {size}")
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise _problem(name, "the file must not change while it is read", "read it again")
    return octets


def open_stream(path: str, *, what: str) -> BinaryIO:
    """Open a file that is read piece by piece, of any length: a regular one, or a pipe.

    Raises InputError when it cannot be opened or is neither: a device may never end.
    """
    try:
        before = os.stat(path)  # noqa: PTH116  (as above)
        # Opening a pipe waits for its writer, as everywhere: without a writer there is no end.
        piped = stat.S_ISFIFO(before.st_mode)
        if not piped:
            _refuse_special(path, before, what)
        descriptor = os.open(path, _OPEN & ~getattr(os, "O_NONBLOCK", 0) if piped else _OPEN)
        after = os.fstat(descriptor)
        if stat.S_IFMT(after.st_mode) != stat.S_IFMT(before.st_mode):
            os.close(descriptor)
            raise _problem(path, "the file must not change while it is read", "read it again")
        return open(descriptor, "rb")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the path has no meaning"
        raise _problem(path, f"the file must be readable: {reason}") from None


class _Opened:
    """A file while it is read; written out, because contextlib is slow to import."""

    def __init__(self, path: str, what: str) -> None:
        self._path, self._what = path, what

    def __enter__(self) -> BinaryIO:
        self._stream = open_stream(self._path, what=self._what)
        return self._stream

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        self._stream.close()
        # Whoever read our output has left: that is no matter of the file.
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            message = f"the file must be readable: {error.strerror}"
            raise _problem(self._path, message) from None


def reading(path: str, *, what: str) -> _Opened:
    """Open a file as ``open_stream`` does; InputError also where reading fails later."""
    return _Opened(path, what)


def read_text(
    path: str | os.PathLike[str], *, what: str = "map file", limit: int = MAX_FILE_OCTETS
) -> str:
    """Return the text of a file as it stands, line ends and byte order mark included.

    Raises InputError as ``read_octets`` does, and when the content is no UTF-8 text.
    """
    return decode(read_octets(path, what=what, limit=limit), path=os.fspath(path), what=what)


def holds(path: Path, *words: bytes, limit: int = MAX_FILE_OCTETS) -> bool:
    """Tell whether a regular file holds one of some words in what would be read of it, anywhere.

    A head of any length may come first, and keys stand in any order. True where nobody can look:
    it may hold one.
    """
    kept, longest = b"", max(map(len, words))
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            while limit > 0 and (octets := file.read(min(limit, _CHUNK_OCTETS))):
                seen = kept + octets
                if any(word in seen for word in words):
                    return True
                kept, limit = seen[-longest:], limit - len(octets)
    except OSError:
        return True
    return False


def read_stream(
    stream: BinaryIO, *, path: str, what: str = "map", limit: int = MAX_FILE_OCTETS
) -> str:
    """Return the text of standard input, of which no more than ``limit`` octets are taken."""
    try:
        octets = _read(stream, limit)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is closed"
        raise _problem(path, f"the file must be readable: {reason}") from None
    if len(octets) > limit:
        raise _problem(path, f"a {what} must be at most {limit} octets, not more")
    return decode(octets, path=path, what=what)


def decode(octets: bytes, *, path: str, what: str) -> str:
    """Return octets as the text that they are in UTF-8; raises InputError with the line if not."""
    for mark, encoding in _MARKS:
        if octets.startswith(mark):
            message = f"a {what} must be UTF-8 text, not {encoding}"
            raise _problem(path, message, "save it as UTF-8")
    try:
        text = octets.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _problem(
            path,
            f"a {what} must be UTF-8 text, not octet 0x{octets[error.start]:02x} "
            f"at offset {error.start}",
            "save it as UTF-8",
            octets.count(b"\n", 0, error.start) + 1,
        ) from None
    if "\0" in text:
        offset = octets.index(0)
        line = octets.count(b"\n", 0, offset) + 1
        raise _problem(path, f"a {what} must be text, not octet 0x00 at offset {offset}", line=line)
    return text


def _read(file: BinaryIO, limit: int) -> bytes:
    """Return all that a file holds, at most one octet more than ``limit``."""
    parts: list[bytes] = []
    left = limit + 1
    while left and (part := file.read(min(left, 1 << 20))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def _refuse_special(path: str, status: os.stat_result, what: str) -> None:
    if stat.S_ISREG(status.st_mode):
        return
    sort = next((sort for test, sort in _SORTS if test(status.st_mode)), "device")
    raise _problem(path, f"the path must lead to a {what}, not to a {sort}")


def _problem(path: str, message: str, remedy: str = "", line: int = 0) -> InputError:
    return InputError(Problem(path=path, line=line, message=message, remedy=remedy))
