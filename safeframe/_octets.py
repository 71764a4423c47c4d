r"""Hexadecimal octets as people paste them, for the command line and for recordings.

Runs of digits, ``02 00``, ``02-00``, ``02:00``, ``0x02, 0x00``, ``\x02\x00``, an array of C. What
may be read in two ways is refused: decimal numbers in an array, words of several octets.
"""

from __future__ import annotations

import re

from ._errors import UsageError

__all__ = ["octets_of"]

_COMMENT = re.compile(r"/\*.*?\*/|//[^\n]*", re.DOTALL)
_ARRAY = re.compile(r"[^{}]*\{([^{}]*)\}\s*;?\s*", re.DOTALL)
_BETWEEN = re.compile(r"[\s:,;_-]+")
_QUOTED = re.compile(r"\s*[bB]?([\"'])(.*)\1\s*", re.DOTALL)
_SHOWN = 40


def octets_of(text: str) -> bytes:
    """Return the octets of a hexadecimal text; UsageError where it is none or ambiguous."""
    bare = text
    if "{" in bare or "/*" in bare:
        bare = _COMMENT.sub(" ", bare)
    array = _ARRAY.fullmatch(bare)
    if array:
        bare = array[1]
    quoted = _QUOTED.fullmatch(bare)
    if quoted:
        bare = quoted[2]
    escaped = "\\x" in bare
    tokens = [token for token in _BETWEEN.split(bare.replace("\\x", " 0x")) if token]
    prefixed = [token[:2] in ("0x", "0X") for token in tokens]
    if any(prefixed) and len(tokens) > 1 and not all(prefixed):
        raise _wrong(text, "every octet must have 0x or none")
    if array and not all(prefixed):
        raise _wrong(text, "numbers of an array must have 0x, or they may be decimal")
    found = b""
    for token, has_prefix in zip(tokens, prefixed, strict=True):
        digits = token[2:] if has_prefix else token
        if has_prefix and len(tokens) > 1 and len(digits) > 2:
            raise _wrong(text, f"{token} is a word, and the order of its octets is not known")
        if has_prefix and not escaped:
            digits = digits.rjust(2, "0") if len(tokens) > 1 else digits
        try:
            found += bytes.fromhex(digits)
        except ValueError:
            raise _wrong(text, "") from None
    return found


def _wrong(text: str, why: str) -> UsageError:
    shown = text if len(text) <= _SHOWN else f"{text[: _SHOWN - 3]}..."
    reason = f": {why}" if why else ""
    return UsageError(f"octets must be pairs of hex digits, not {shown!r}{reason}")
