"""Numbers as device files write them: matched before they are converted.

``int()`` alone would accept ``1_000``, blanks and the digits of other scripts.
"""

from __future__ import annotations

import re

from ._refusals import Refusals, shown

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,20}|(?:#x|0x|0X|#X)[0-9A-Fa-f]{1,16})", re.ASCII)
MOST_BITS = 12_000
"""Bits of the widest run: 1500 octets, the largest safety data of OPC 10000-15 6.2.5."""


def number(text: str | None) -> int | None:
    """Return the integer that a text says, decimal, ``#x1A`` or ``0x1A``; None for any other."""
    stripped = (text or "").strip(" \t\r\n")
    if not _NUMBER.fullmatch(stripped):
        return None
    sign = -1 if stripped[0] == "-" else 1
    digits = stripped.lstrip("+-").lower()
    base = 16 if digits[:2] in ("#x", "0x") else 10
    return sign * int(digits[2:] if base == 16 else digits, base)


def integer(
    text: str | None,
    what: str,
    line: int,
    refusals: Refusals,
    element: str = "",
    *,
    most: int | None = None,
) -> int | None:
    """Return a number of 0 to ``most``, or keep a problem and return None."""
    found = number(text)
    if found is None or found < 0 or (most is not None and found > most):
        bounds = f"of 0 to {most}" if most is not None else "of 0 or more"
        refusals.add(
            "bad-number",
            line,
            f"{what} must be a number {bounds}, not {shown(repr(text or ''))}",
            element=element,
        )
        return None
    return found


def width_of(
    text: str | None, what: str, line: int, refusals: Refusals, element: str = ""
) -> int | None:
    """Return a width in bits, or keep a problem (missing, no number, 0, absurd) and return None."""
    if text is None:
        refusals.add("missing-length", line, f"{what} must be stated", element=element)
        return None
    width = integer(text, what, line, refusals, element)
    if width is None:
        return None
    if width == 0:
        refusals.add("bad-length", line, f"{what} must be at least 1 bit, not 0", element=element)
        return None
    if width > MOST_BITS:
        refusals.add(
            "too-big",
            line,
            f"{what} must be at most {MOST_BITS} bits, not {width}",
            element=element,
        )
        return None
    return width
