"""Values of options: each kind says what is required where a word is none of it."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from fractions import Fraction

_T = TypeVar("_T")
_SHOWN = 40


def _kind(required: str) -> Callable[[Callable[[str], _T]], Callable[[str], _T]]:
    """Return what makes the ValueError of a reader a message; argparse names the option."""

    def wrap(read: Callable[[str], _T]) -> Callable[[str], _T]:
        def typed(word: str) -> _T:
            try:
                return read(word)
            except ValueError:
                shown = word if len(word) <= _SHOWN else f"{word[: _SHOWN - 3]}..."
                message = f"must be {required}, not {shown!r}"
                raise argparse.ArgumentTypeError(message) from None

        return typed

    return wrap


@_kind("an integer such as 16")
def integer(word: str) -> int:
    """Read a decimal integer."""
    return int(word)


@_kind("an integer, decimal or such as 0x88a4")
def number(word: str) -> int:
    """Read an integer that may be hexadecimal."""
    return int(word, 0)


@_kind("a number of seconds above 0 and below 1e9")
def duration(word: str) -> float:
    """Read seconds that somebody waits."""
    seconds = float(word)
    if not 0 < seconds < 1e9:
        raise ValueError
    return seconds


@_kind("a number of seconds, 0 or more")
def limit(word: str) -> float:
    """Read seconds that work may take; infinite ones are no limit."""
    seconds = float(word)
    if not seconds >= 0:
        raise ValueError
    return seconds


@_kind("a percentage from 0 to 100 with at most 6 decimals")
def percentage(word: str) -> Fraction:
    """Read a percentage as a share of 1."""
    from fractions import Fraction  # deferred: one option of one command.

    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,6})?", word) or Fraction(word) > 100:
        raise ValueError
    return Fraction(word) / 100


@_kind("FROM..TO in seconds with FROM below TO, either of them may be left out")
def window(word: str) -> tuple[int, int | None]:
    """Read seconds as microseconds; the last one is None where it is left out."""
    first, dots, last = word.partition("..")
    since, until = (float(part) if part else None for part in (first, last))
    if not dots or not all(part is None or 0 <= part < 1e9 for part in (since, until)):
        raise ValueError
    if until is not None and until <= (since or 0):
        raise ValueError
    return round(1e6 * (since or 0)), None if until is None else round(1e6 * until)
