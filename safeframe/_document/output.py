"""Files that a run makes besides its output: none ever takes the place of something else.

A file that exists is replaced only if the same kind of output wrote it, which its mark tells, or
if the user insists; a file that the run itself reads is never replaced, by whatever name.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from .._errors import UsageError, WriteError
from . import platform
from .whole import ChangedError, SeenFile, no_step, put, see, target_of

_HEAD_OCTETS = 8192
_MOST_ENTRIES = 10_000
_MAX_LIST_OCTETS = 1 << 20
_QUOTED = re.compile(rb"\"([^\"\n]+)\"|'([^'\n]+)'")


class OutputKind(NamedTuple):
    """A kind of output: its name for people, and what every file of it has at its beginning."""

    name: str
    begins: tuple[bytes, ...]
    holds: bytes
    fresh: bool = False  # Never replaced, not even by its own kind or by force.

    def wrote(self, octets: bytes) -> bool:
        """Return whether a file begins as this kind does."""
        head = octets[:_HEAD_OCTETS]
        return head.startswith(self.begins) and self.holds in head


class Claim(NamedTuple):
    """A file that may be written: as it was when that was decided, None where there was none."""

    option: str
    path: str
    kind: OutputKind
    target: Path
    seen: SeenFile | None
    stream: bool = False

    def told(self, octets: bytes) -> str:
        """Return in words whether these octets are there now; a stream cannot be asked."""
        words = "holds" if self.holds(octets) else "does not hold"
        words = "may have got a part of" if self.stream else words
        return f"{self.path} {words} the {self.kind.name}"

    def holds(self, octets: bytes) -> bool:
        """Return whether these octets are there now."""
        with suppress(OSError):
            return not self.stream and self.target.read_bytes() == octets
        return False


_Identity = tuple[int, int]


def identities(paths: Iterable[str]) -> dict[_Identity, str]:
    """Return which files the inputs of a run are, by device and number, with the names given.

    Folders stand for the files in them, TOML files also for the files that they name.
    """
    found: dict[_Identity, str] = {}
    for path in paths:
        for each in _reached(path):
            with suppress(OSError, ValueError):
                status = each.stat()
                found.setdefault((status.st_dev, status.st_ino), str(each))
    return found


def _reached(text: str) -> Iterator[Path]:
    path = Path(text)
    yield path
    with suppress(OSError, ValueError):
        if path.is_dir():
            for entry, _ in zip(path.iterdir(), range(_MOST_ENTRIES), strict=False):
                yield entry
                yield from _named_in(entry)
        else:
            yield from _named_in(path)


def _named_in(path: Path) -> Iterator[Path]:
    if path.suffix != ".toml" or not path.is_file():
        return
    with path.open("rb") as file:
        octets = file.read(_MAX_LIST_OCTETS)
    for double, single in _QUOTED.findall(octets):
        yield path.parent / os.fsdecode(double or single)


def claim(
    wanted: Iterable[tuple[str, str, OutputKind]], inputs: Mapping[_Identity, str], *, force: bool
) -> dict[str, Claim]:
    """Return the files that outputs, given as (option, path, kind), may be written to, by option.

    Raises UsageError with the reason where one must not be.
    """
    claims: dict[str, Claim] = {}
    names: dict[str, str] = {}
    for option, path, kind in wanted:
        made = _claim(option, path, kind, inputs, force=force)
        # Names that differ in case only are one file on most desks, so they are everywhere.
        name = os.path.normcase(made.target).casefold()
        if name in names and not made.stream:
            raise UsageError(f"{option} must name another file than {names[name]}, not {path} too")
        names[name] = option
        claims[option] = made
    return claims


def _claim(
    option: str, path: str, kind: OutputKind, inputs: Mapping[_Identity, str], *, force: bool
) -> Claim:
    target = target_of(path)
    reason = platform.SYSTEM.refused_name(target)
    if reason:
        raise UsageError(f"{option} must name a file, not {path!r}, which {reason}")
    try:
        status = target.stat()
    except FileNotFoundError:
        if not target.parent.is_dir():
            raise UsageError(
                f"{option} must name a file in a folder that exists, not {path}"
            ) from None
        return Claim(option, path, kind, target, None)
    except OSError as error:
        raise UsageError(f"{option}: {path}: {error.strerror}") from None
    if stat.S_ISFIFO(status.st_mode) or stat.S_ISCHR(status.st_mode):
        return Claim(option, path, kind, target, None, stream=True)
    if not stat.S_ISREG(status.st_mode):
        raise UsageError(f"{option} must name a file, not {path}, which is none")
    if kind.fresh:
        raise UsageError(f"{option} must name a new file, not {path}, which exists")
    source = inputs.get((status.st_dev, status.st_ino))
    if source is not None:
        also = "" if source == path else f" (as {source})"
        raise UsageError(f"{option} must not overwrite {path}, which this run reads{also}")
    if not stat.S_IMODE(status.st_mode) & 0o222 or not os.access(target, os.W_OK):
        raise UsageError(f"{option} must name a file that is writable, not {path}")
    seen = see(target)
    if not force and seen.octets and not kind.wrote(seen.octets):
        raise UsageError(
            f"{option} must not overwrite {path}, which is no {kind.name} of safeframe; "
            "name another file, or say --force"
        )
    return Claim(option, path, kind, target, seen)


def write(made: Claim, octets: bytes) -> None:
    """Write a file whole or not at all, if nothing else has come into its place meanwhile.

    Raises UsageError where something has, WriteError where the system fails.
    """
    if not made.stream and not made.kind.wrote(octets):
        raise ValueError(f"a {made.kind.name} must carry its mark")
    try:
        if made.stream:
            with made.target.open("wb") as file:
                file.write(octets)
        else:
            _write(made, octets)
    except BrokenPipeError:
        raise WriteError(f"{made.path} was not written: its reader has left") from None
    except OSError as error:
        raise WriteError(f"{made.path} was not written: {error.strerror or error}") from None


def _write(made: Claim, octets: bytes) -> None:
    target = made.target
    temporary = target.with_name(f".safeframe-{os.urandom(8).hex()}.tmp")
    try:
        with os.fdopen(platform.SYSTEM.open_new(temporary, 0o666), "wb") as file:
            file.write(octets)
            file.flush()
            if made.seen is not None:
                platform.SYSTEM.keep_rights(file.fileno(), target, made.seen.status)
            os.fsync(file.fileno())
        if made.seen is None:
            try:
                platform.SYSTEM.create(temporary, target)
            except FileExistsError:
                raise ChangedError(
                    f"{made.path} was not written: another program has made it meanwhile"
                ) from None
            platform.SYSTEM.flush_folder(target.parent)
        else:
            put(temporary, target, made.seen, shown=made.path, step=no_step)
    finally:  # An interrupt as well: nothing half-written stays behind.
        temporary.unlink(missing_ok=True)
