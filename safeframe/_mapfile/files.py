"""Read the text of a map file from disk, refusing at once what can be no map file."""

from __future__ import annotations

import os
import stat

from .._errors import InputError, Problem

__all__ = ["MAX_FILE_OCTETS", "read_text"]

MAX_FILE_OCTETS = 1 << 20
"""Largest map file that is read: some ten thousand rows, far above any connection."""


def read_text(path: str, *, what: str = "map file", limit: int = MAX_FILE_OCTETS) -> str:
    """Return the text of a file as it stands, line ends and byte order mark included.

    ``what`` the file is goes into the messages. Raises InputError when it cannot be opened, is no
    regular file, is larger than ``limit`` octets, or is no UTF-8 text.
    """
    try:
        status = os.stat(path)  # noqa: PTH116  (pathlib costs 3 ms at start-up)
        if stat.S_ISDIR(status.st_mode):
            raise _problem(path, f"the path must lead to a {what}, not to a directory")
        if not stat.S_ISREG(status.st_mode):
            raise _problem(path, "the path must lead to a regular file, not to a device or pipe")
        with open(path, "rb") as file:
            octets = file.read(limit + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the path has no meaning"
        raise _problem(path, f"the file must be readable: {reason}") from None
    if len(octets) > limit:
        size = max(status.st_size, len(octets))
        raise _problem(path, f"a {what} must be at most {limit} octets, not {size}")
    if octets.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _problem(path, f"a {what} must be UTF-8 text, not UTF-16", "save it as UTF-8")
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
        raise _problem(path, f"a {what} must be text, not octet 0x00 at offset {offset}")
    return text


def _problem(path: str, message: str, remedy: str = "", line: int = 0) -> InputError:
    return InputError(Problem(path=path, line=line, message=message, remedy=remedy))
