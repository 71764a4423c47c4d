r"""Hexadecimal octets as people paste them, for the command line and for recordings.

Runs of digits, ``02 00``, ``02-00``, ``02:00``, ``0x02, 0x00``, ``16#02``, ``\x02\x00``, an array
of C, lines behind their offsets. What may be read in two ways is refused: decimal numbers in an
array, words of several octets, what may be an offset or a column of text.
"""

from __future__ import annotations

import re

from ._errors import UsageError

_COMMENT = re.compile(r"/\*.*?\*/|//[^\n]*", re.DOTALL)
_ARRAY = re.compile(r"[^{}]*\{([^{}]*)\}\s*;?\s*", re.DOTALL)
_BETWEEN = re.compile(r"[\s:,;_-]+")
_QUOTED = re.compile(r"\s*[bB]?([\"'])(.*)\1\s*", re.DOTALL)
_OFFSET = re.compile(
    r"\s*(?P<at>[0-9a-fA-F]{4,8}):?[ \t]+(?P<octets>(?:[0-9a-fA-F]{2}[ \t]+)*[0-9a-fA-F]{2})"
    r"[ \t]*(?:\|.*\|)?[ \t\r]*"
)
_HEAD = re.compile(r"\s*([0-9a-fA-F]{4,8})(:[ \t]*|[ \t]+)([0-9a-fA-F]+)([^:]*)")
_LAST_OFFSET = re.compile(r"\s*[0-9a-fA-F]{4,8}\s*")
_COLUMN = re.compile(r"[ \t]{3,}")
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
    bare = _without_offsets(text, bare)
    escaped = "\\x" in bare
    spelled = bare.replace("\\x", " 0x").replace("16#", " 0x")
    tokens = [token for token in _BETWEEN.split(spelled) if token]
    prefixed = [token[:2] in ("0x", "0X") for token in tokens]
    if any(prefixed) and len(tokens) > 1 and not all(prefixed):
        raise _wrong(text, "every octet must have 0x or none")
    if array and not all(prefixed):
        raise _wrong(text, "numbers of an array must have 0x, or they may be decimal")
    found = b""
    for token, has_prefix in zip(tokens, prefixed, strict=True):
        digits = token[2:].rstrip("uU") if has_prefix else token
        if has_prefix and len(tokens) > 1 and len(digits) > 2:
            raise _wrong(text, f"{token} is a word, and the order of its octets is not known")
        if has_prefix and not escaped:
            digits = digits.rjust(2, "0") if len(tokens) > 1 else digits
        try:
            found += bytes.fromhex(digits)
        except ValueError:
            raise _wrong(text, "") from None
    return found


def _without_offsets(text: str, bare: str) -> str:
    """Return lines without the offsets before them; UsageError where they only may be offsets."""
    lines = [line for line in bare.splitlines() if line.strip()]
    rows = [_OFFSET.fullmatch(line) for line in lines]
    if len(lines) > 1 and rows[-1] is None and _LAST_OFFSET.fullmatch(lines[-1]):
        end = int(lines[-1], 16)
        rows.pop()
    else:
        end = None
    if not rows or None in rows:
        heads = [_HEAD.fullmatch(line) for line in lines]
        if heads and all(head is not None and _may_be_offset(*head.groups()) for head in heads):
            at = re.split("[: \t]", lines[0].strip())[0]
            raise _wrong(text, f"{at} may be an offset or octets: leave offsets out")
        return bare
    found, count = [], 0
    for row in rows:
        assert row is not None
        if int(row["at"], 16) != count or _COLUMN.search(row["octets"]):
            raise _wrong(text, f"{row['at']} may be an offset or octets: leave offsets out")
        found.append(row["octets"])
        count += len(_BETWEEN.split(row["octets"]))
    if len(rows) == 1 and end is None:
        raise _wrong(text, f"{lines[0].split()[0]} may be an offset or octets: leave offsets out")
    if end not in (None, count):
        raise _wrong(text, f"the last offset is {end}, and {count} octets stand before it")
    return "\n".join(found)


def _may_be_offset(first: str, between: str, second: str, rest: str) -> bool:
    """Tell whether a line of words begins with one that is no word like the others."""
    if ":" in between or len(second) > len(first):
        return True
    return bool(rest.strip()) and (len(second) < len(first) or between not in rest)


def _wrong(text: str, why: str) -> UsageError:
    shown = text if len(text) <= _SHOWN else f"{text[: _SHOWN - 3]}..."
    reason = f": {why}" if why else ""
    return UsageError(f"octets must be pairs of hex digits, not {shown!r}{reason}")
