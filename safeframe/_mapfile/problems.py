"""The problems of one file, collected so that all of them are told at once."""

from __future__ import annotations

from collections.abc import Iterable

from .._errors import InputError, Problem

__all__ = ["MAX_PROBLEMS", "Problems", "nearest"]

MAX_PROBLEMS = 1000
"""After so many problems reading stops: such a file is no map with slips in it."""


class Problems:
    """The problems found so far in the file ``path``."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._found: list[Problem] = []

    def __len__(self) -> int:
        return len(self._found)

    def add(self, line: int, key: str, message: str, remedy: str = "") -> None:
        """Keep one problem; raises InputError when there are MAX_PROBLEMS."""
        self._found.append(
            Problem(path=self.path, line=line, key=key, message=message, remedy=remedy)
        )
        if len(self._found) == MAX_PROBLEMS:
            self.refuse(Problem(path=self.path, message=f"more than {MAX_PROBLEMS - 1} problems"))

    def refuse(self, *last: Problem) -> None:
        """Raise InputError with all problems in line order, if there are any."""
        if self._found:
            raise InputError(*sorted(self._found, key=lambda problem: problem.line), *last)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the remedy for an unknown word: the known one it resembles, or all known ones."""
    from difflib import get_close_matches  # deferred: needed for errors only.

    words = tuple(known)
    # Comparing takes the product of both lengths, so no more than a word is compared.
    guesses = get_close_matches(word[:40], words, n=1)
    return f"did you mean {guesses[0]}?" if guesses else f"known are {', '.join(words)}"
