"""Exceptions of the package: raised when input cannot be read or built, never for a wrong map."""

from __future__ import annotations

from ._value import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import TypeVar

    _G = TypeVar("_G")
    _M = TypeVar("_M")


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
    """Base of every exception that this package raises on purpose.

    >>> try:
    ...     safeframe.Place.parse("1.8")
    ... except safeframe.SafeframeError as error:
    ...     print(error)
    a place must be "octet.bit" with bit 0..7, not '1.8'
    """


class UsageError(SafeframeError):
    """A call or a command line that asks for something impossible.

    >>> try:
    ...     safeframe.Signal(name="brake", at=safeframe.Place(0, 0), width=0)
    ... except safeframe.UsageError as error:
    ...     print(error)
    width must be 1..524288 bits, not 0
    """


class InputError(SafeframeError):
    """An input that cannot be read; carries every problem found in it, in line order.

    >>> try:
    ...     safeframe.load("none.toml")
    ... except safeframe.InputError as error:
    ...     print(error.problems[0])
    none.toml: the file must be readable: No such file or directory
    """

    problems: tuple[Problem, ...]

    def __init__(self, *problems: Problem) -> None:
        if not problems:
            raise ValueError("InputError must carry at least one problem")
        self.problems = problems
        super().__init__("\n".join(map(str, problems)))


def each(make: Callable[[_G], _M], given: Iterable[_G]) -> list[_M]:
    """Return what is made of each; raises InputError with the problems of all of them."""
    made: list[_M] = []
    problems: list[Problem] = []
    for one in given:
        try:
            made.append(make(one))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(*problems)
    return made


class FrameError(SafeframeError):
    """A frame that cannot be built, parsed or accepted; ``check`` names the check that failed.

    >>> error = safeframe.FrameError("the CRC must be 0x1234, not 0x4321", check="crc")
    >>> error.check
    'crc'
    """

    check: str

    def __init__(self, message: str, *, check: str = "") -> None:
        self.check = check
        super().__init__(message)


class WriteError(SafeframeError):
    """Files that the system failed to write; says in which state each of them is.

    >>> str(safeframe.WriteError("a.toml is as before, b.toml holds the edit"))
    'a.toml is as before, b.toml holds the edit'
    """
