"""Exceptions of the package: raised when input cannot be read or built, never for a wrong map."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FrameError", "InputError", "Problem", "SafeframeError", "UsageError"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that makes an input unreadable: where it stands, what is wrong, what to do.

    ``line`` counts from 1, 0 means the whole file. ``key`` is a key path such as
    ``sends[3].width`` or empty.
    """

    path: str
    line: int = 0
    key: str = ""
    message: str
    remedy: str = ""

    def __str__(self) -> str:
        where = f"{self.path}:{self.line}" if self.line else self.path
        parts = [where, self.key, self.message] if self.key else [where, self.message]
        text = ": ".join(parts)
        return f"{text} ({self.remedy})" if self.remedy else text


class SafeframeError(Exception):
    """Base of every exception that this package raises on purpose."""


class UsageError(SafeframeError):
    """A call or a command line that asks for something impossible."""


class InputError(SafeframeError):
    """An input that cannot be read; carries every problem found in it, in line order."""

    def __init__(self, *problems: Problem) -> None:
        if not problems:
            raise ValueError("InputError must carry at least one problem")
        self.problems: tuple[Problem, ...] = problems
        super().__init__("\n".join(map(str, problems)))


class FrameError(SafeframeError):
    """A frame that cannot be built, parsed or accepted; ``check`` names the check that failed."""

    def __init__(self, message: str, *, check: str = "") -> None:
        self.check = check
        super().__init__(message)
