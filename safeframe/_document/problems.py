"""The problems of one file, collected so that all of them are told at once."""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Iterable, Sequence

from .._errors import InputError, Problem
from .._value import NamedTuple
from .._words import guess
from .paths import Path, key_path

MAX_PROBLEMS = 100
"""So many problems of a file are told, the first ones; the others are counted."""


class _Entry(NamedTuple):
    """A problem that is not told yet, in the order of telling: what has a line comes first."""

    nowhere: bool
    line: int
    number: int
    key: Path
    message: str
    remedy: str
    known: tuple[str, ...]


class Problems:
    """The problems found so far in the file ``path``.

    Adding one costs the same however many there are, and only what is told takes memory: a file
    in which everything is wrong is read in a time that grows with its size.

    ``lines`` finds the lines of key paths at the end, for a format in which that is expensive.
    """

    def __init__(
        self, path: str, lines: Callable[[Sequence[Path]], Sequence[int]] | None = None
    ) -> None:
        self.path = path
        self._lines = lines
        self._kept: list[_Entry] = []
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(
        self, line: int, key: Path, message: str, remedy: str = "", known: Iterable[str] = ()
    ) -> None:
        """Keep one problem; with ``known`` the remedy is the nearest known word to the key."""
        self._count += 1
        if len(self._kept) == MAX_PROBLEMS:
            last = self._kept[-1]
            if (not line, line) >= (last.nowhere, last.line):
                return
            self._kept.pop()
        insort(
            self._kept,
            _Entry(not line, line, self._count, key, message, remedy, tuple(known)),
        )

    def refuse(self) -> None:
        """Raise InputError with the problems in line order, if there are any."""
        if not self._count:
            return
        lines: Sequence[int] = [entry.line for entry in self._kept]
        if self._lines is not None:
            lines = self._lines([entry.key for entry in self._kept])
        told = [
            Problem(
                path=self.path,
                line=line,
                key=key_path(entry.key),
                message=entry.message,
                remedy=nearest(str(entry.key[-1]), entry.known) if entry.known else entry.remedy,
            )
            for line, entry in zip(lines, self._kept, strict=True)
        ]
        told.sort(key=lambda problem: (not problem.line, problem.line))
        if more := self._count - len(told):
            told.append(Problem(path=self.path, message=f"... and {more} more problems"))
        raise InputError(*told)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the remedy for an unknown word: the known one it resembles, or all known ones."""
    words = tuple(known)
    found = guess(word, words)
    return f"did you mean {found}?" if found else f"known are {', '.join(words)}"
