"""Where the files of a state come from: a folder as it lies on the disk, or a revision of it."""

from __future__ import annotations

import os
import posixpath
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple, Protocol

from .._document.reader import read_octets, shortened
from .._errors import InputError, Problem
from .git import Contents, GitEntry, GitRevision

PLANT = "plant.toml"
"""The name of the plant file of a folder; names that end so are no maps."""

SUFFIXES = (".toml", ".csv")
_LINKS = 16
"""Links that lead to each other before nobody follows them any longer; by choice."""


class FoundFile(NamedTuple):
    """A file that may be a map: its path below the root of the state, and the one to show."""

    path: str
    shown: str


class MapSource(Protocol):
    """Files of one state; paths have slashes and are relative to its root."""

    def files(self) -> Iterator[FoundFile]:
        """Yield the files that may be maps or plant files, hidden ones aside."""

    def refused(self) -> list[Problem]:
        """Return what could hold maps and was not looked into."""

    def shown(self, path: str) -> str:
        """Return the path to show for a file."""

    def named(self, folder: str, name: str) -> str:
        """Return the path of what a file of a folder names; raises InputError."""

    def octets(self, path: str, what: str) -> bytes:
        """Return the content of a file; raises InputError."""


def may_be_map(path: str) -> bool:
    """Return whether a path may be that of a map or a plant file: hidden ones are none."""
    return path.lower().endswith(SUFFIXES) and not is_hidden(path)


def is_hidden(path: str) -> bool:
    """Return whether nobody looks there: a file or a folder whose name begins with a dot."""
    return any(part.startswith(".") for part in path.split("/"))


def _leads_to_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # A link to itself: whoever reads it as a file says so.
        return False


class DiskSource:
    """A folder as it is now. Links to files are followed, links to folders are not."""

    def __init__(self, root: str) -> None:
        self._root = root
        self._refused: list[Problem] = []

    def files(self) -> Iterator[FoundFile]:
        """Yield the files in an order that does not depend on the disk."""
        yield from self._below("")

    def _below(self, folder: str) -> Iterator[FoundFile]:
        try:
            with os.scandir(os.path.join(self._root, folder)) as scan:  # noqa: PTH118
                entries = sorted(scan, key=lambda entry: entry.name)
        except OSError as error:
            reason = error.strerror or str(error)
            message = f"the folder must be readable: {reason}"
            self._refused.append(Problem(path=self.shown(folder), message=message))
            return
        for entry in entries:
            path = posixpath.join(folder, entry.name)
            if entry.name.startswith("."):
                continue
            if entry.is_dir(follow_symlinks=False):
                yield from self._below(path)
            elif _leads_to_folder(entry):
                self._refused.append(
                    Problem(
                        path=self.shown(path),
                        message="a folder must be no link to be looked into",
                        remedy="name the folder itself",
                    )
                )
            elif may_be_map(path):
                yield FoundFile(path, self.shown(path))

    def refused(self) -> list[Problem]:
        """Return the folders that were not looked into; known once ``files`` has been asked."""
        return self._refused

    def shown(self, path: str) -> str:
        """Return the path as it was typed, with what is below it; it leads to the file."""
        return shortened(os.path.join(self._root, path))  # noqa: PTH118

    def named(self, folder: str, name: str) -> str:
        """Return the path of a file as the system opens it: behind a link, `..` leads elsewhere."""
        path = posixpath.join(folder, name)
        short = posixpath.normpath(path)
        root = os.path.realpath(self._root)
        really, usual = (
            os.path.realpath(os.path.join(root, os.path.dirname(one)))  # noqa: PTH118, PTH120
            for one in (path, short)
        )
        if os.pardir not in path or really == usual:
            return short
        below = os.path.relpath(really, root).replace(os.sep, "/")
        return posixpath.normpath(posixpath.join(below, posixpath.basename(path)))

    def octets(self, path: str, what: str) -> bytes:
        """Return the content of a regular file."""
        return read_octets(self.shown(path), what=what)


class RevisionSource:
    """A folder as a revision has it. A link is followed to a file of the same revision."""

    def __init__(self, root: str, revision: GitRevision, contents: Contents) -> None:
        self._root, self._revision, self._contents = root, revision, contents
        self._start = len(revision.prefix)

    @classmethod
    @contextmanager
    def opened(cls, root: str, revision: GitRevision) -> Iterator[RevisionSource]:
        """Start the process that hands out contents, and end it."""
        with revision.contents() as contents:
            yield cls(root, revision, contents)

    def _entries(self) -> Iterator[tuple[str, GitEntry]]:
        prefix = self._revision.prefix
        for path, entry in self._revision.entries.items():
            below = path[self._start :]
            if path.startswith(prefix) and not is_hidden(below):
                yield below, entry

    def files(self) -> Iterator[FoundFile]:
        """Yield the files in the order of a folder on the disk."""
        found = [path for path, entry in self._entries() if entry.kind == "blob"]
        for path in sorted(found, key=lambda path: path.split("/")):
            if may_be_map(path):
                yield FoundFile(path, self.shown(path))

    def refused(self) -> list[Problem]:
        """Return repositories inside this one, and links to folders."""
        prefix = self._revision.prefix
        above = [f"{prefix[:end]}" for end, sign in enumerate(prefix) if sign == "/"]
        entries = self._revision.entries
        problems = [
            Problem(
                path=self.shown(""),
                message=f"a revision must hold the files of {path}, not another repository there",
                remedy="compare inside that repository",
            )
            for path in above
            if path in entries and entries[path].kind == "commit"
        ]
        for path, entry in self._entries():
            if entry.kind == "commit":
                message = "a repository inside the repository must be compared by itself"
                problems.append(Problem(path=self.shown(path), message=message))
            elif entry.is_link and self._leads_to_folder(path, entry):
                message = "a folder must be no link to be looked into"
                problems.append(Problem(path=self.shown(path), message=message))
            elif entry.is_link and not may_be_map(path) and self._led_out(path, entry):
                message = "a link must lead to what is in the repository, which this one did not"
                remedy = "it may have been a folder of maps: look where it led to"
                problems.append(Problem(path=self.shown(path), message=message, remedy=remedy))
        return problems

    def _led_out(self, path: str, entry: GitEntry) -> bool:
        """Tell whether a link left the repository and is not on the disk, where it can be seen."""
        if self._target(self._revision.prefix + path, entry) is not None:
            return False
        try:
            now = os.fsencode(os.readlink(os.path.join(self._root, path)))  # noqa: PTH115, PTH118
            return now != self._contents.octets(entry, path=path, what="link")
        except (OSError, InputError):
            return True

    def _leads_to_folder(self, path: str, entry: GitEntry) -> bool:
        target = self._target(self._revision.prefix + path, entry)
        if target is None:
            return False
        inside = "" if target == "." else f"{target}/"
        return any(
            # What lies in a repository inside this one is not known: it may be a folder.
            other.startswith(inside) or (entry.kind == "commit" and inside.startswith(f"{other}/"))
            for other, entry in self._revision.entries.items()
        )

    def _target(self, path: str, entry: GitEntry) -> str | None:
        """Return where a link leads, from the top; None for a path that no repository holds."""
        try:
            text = os.fsdecode(self._contents.octets(entry, path=path, what="link"))
        except InputError:
            return None
        target = posixpath.normpath(posixpath.join(posixpath.dirname(path), text))
        return None if target.startswith(("/", "..")) else target

    def shown(self, path: str) -> str:
        """Return the path behind the name of the revision, as git writes it."""
        return f"{self._revision.name}:{posixpath.normpath(posixpath.join(self._root, path))}"

    def named(self, folder: str, name: str) -> str:
        """Return the path of a file as a checkout of the revision would open it."""
        prefix = self._revision.prefix
        if posixpath.isabs(name):
            return posixpath.normpath(name)
        parts: list[str] = []
        for part in posixpath.join(prefix + folder, name).split("/"):
            if part == os.pardir and parts and parts[-1] != os.pardir:
                parts = self._followed(parts, name)[:-1]
            elif part not in ("", "."):
                parts.append(part)
        return posixpath.relpath("/".join(parts) or ".", prefix or ".")

    def _followed(self, parts: list[str], name: str) -> list[str]:
        """Return where a path leads, which may be a link; InputError for one that leads out."""
        for _ in range(_LINKS):
            path = "/".join(parts)
            entry = self._revision.entries.get(path)
            if entry is None or not entry.is_link:
                return parts
            target = self._target(path, entry)
            if target is None:
                break
            parts = target.split("/")
        message = f"a path must not lead back out of a link that leads out of {self._revision.name}"
        raise InputError(Problem(path=self.shown(name), message=message))

    def octets(self, path: str, what: str) -> bytes:
        """Return the content of a file as it was committed."""
        shown = self.shown(path)
        full = posixpath.normpath(self._revision.prefix + path)
        entry = self._revision.entries.get(full)
        for _ in range(_LINKS):
            if entry is None or not entry.is_link:
                break
            target = self._target(full, entry)
            full = "" if target is None else target
            entry = self._revision.entries.get(full)
        if entry is None or entry.kind != "blob" or entry.is_link:
            name = self._revision.name
            message = f"a {what} must be a file of {name}, not a path to something else or nothing"
            raise InputError(Problem(path=shown, message=message))
        return self._contents.octets(entry, path=shown, what=what)
