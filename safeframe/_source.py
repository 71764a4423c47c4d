"""Where a statement stands in a text, and how to change that text without touching the rest."""

from __future__ import annotations

from collections.abc import Iterable

from ._errors import UsageError
from ._value import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """A place in a text file; ``line`` counts from 1 and 0 means the file as a whole.

    ``path`` is shown as the user typed it (never made absolute). ``key`` is the key path of
    the statement, for instance ``sends[3].width``, or empty.
    """

    path: str
    line: int = 0
    key: str = ""

    def __str__(self) -> str:
        return f"{self.path}:{self.line}" if self.line else self.path


NOWHERE = Location(path="<memory>")
"""The location of an object that was built by a program and not read from a file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextEdit:
    """Replace the characters ``start`` (included) to ``end`` (excluded) of a text by ``text``."""

    start: int
    end: int
    text: str

    def __post_init__(self) -> None:
        if not 0 <= self.start <= self.end:
            raise UsageError(
                f"a text edit must have 0 <= start <= end, not {self.start}..{self.end}"
            )


def apply_edits(text: str, edits: Iterable[TextEdit]) -> str:
    """Apply edits that all refer to the original text; every other character survives.

    Raises UsageError when two edits overlap or one lies outside the text.
    """
    parts: list[str] = []
    position = 0
    for edit in sorted(edits, key=lambda edit: (edit.start, edit.end)):
        if edit.start < position:
            raise UsageError(f"text edits must not overlap, not twice at offset {edit.start}")
        if edit.end > len(text):
            raise UsageError(
                f"a text edit must lie inside the {len(text)} characters, not end at {edit.end}"
            )
        parts += (text[position : edit.start], edit.text)
        position = edit.end
    parts.append(text[position:])
    return "".join(parts)
