"""Characters that nobody sees: two names that differ in them alone look the same."""

from __future__ import annotations

import functools
import re

_IGNORABLE = (
    (0x00AD, 0x00AD),
    (0x034F, 0x034F),
    (0x061C, 0x061C),
    (0x115F, 0x1160),
    (0x17B4, 0x17B5),
    (0x180B, 0x180F),
    (0x200B, 0x200F),
    (0x202A, 0x202E),
    (0x2060, 0x206F),
    (0x3164, 0x3164),
    (0xFE00, 0xFE0F),
    (0xFEFF, 0xFEFF),
    (0xFFA0, 0xFFA0),
    (0xFFF0, 0xFFF8),
    (0x1BCA0, 0x1BCA3),
    (0x1D173, 0x1D17A),
    (0xE0000, 0xE0FFF),
)
"""Default_Ignorable_Code_Point of the Unicode Character Database; a test compares it with a library
that carries the property."""

_BLANK = (0x2800, 0x16FE4, 0x1D159)
"""Symbols and marks that are drawn as nothing though no property says so, by their names: braille
pattern blank, Khitan small script filler, musical symbol null notehead."""


@functools.cache
def _hidden() -> re.Pattern[str]:
    ranges = [*_IGNORABLE, *((code, code) for code in _BLANK)]
    return re.compile(f"[{''.join(f'{chr(low)}-{chr(high)}' for low, high in ranges)}]")


def is_visible(text: str) -> bool:
    """Return whether all of a text is printable and leaves something to see, blanks apart."""
    return text.isprintable() and (text.isascii() or _hidden().search(text) is None)


def escaped(text: str) -> str:
    r"""Return a text with everything that nobody sees escaped, for instance ESC as ``\x1b``."""
    if is_visible(text):
        return text
    return "".join(
        c if is_visible(c) else c.encode("unicode_escape", "surrogatepass").decode() for c in text
    )
