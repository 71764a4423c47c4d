"""Any TOML text as plain data, with limits on what would take tomllib for ever."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from .._errors import InputError, Problem

_MAX_KEY_PARTS = 64
_STRING = (
    r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}(?!"))*+(?:"{3,5}|\Z)'
    r"|'''(?:[^']++|'{1,2}(?!'))*+(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]++|\\.)*+"?'
    r"|'[^'\n]*+'?"
)
# A string or a comment that nobody has closed ends with its line (or with the text), so that each
# character is looked at once even where the text is no TOML.
_OPAQUE = re.compile(rf"({_STRING})|#[^\n]*+")
_LONG_KEY = re.compile(rf'(?<![\w"-])(?:(?:[\w-]++|")[ \t]*+\.[ \t]*+){{{_MAX_KEY_PARTS}}}')
_BRACKET = re.compile(r"[\[\]{}\n]")
_DIGITS = re.compile(r"(?<!\w)[0-9][0-9_]*+")
_SHOWN_DEPTH = 32
_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = ("Cannot overwrite", "Cannot declare", "Duplicate", "Cannot redefine", "Cannot mutate")


def parse(text: str, *, path: str) -> dict[str, Any]:
    """Return the plain data of a TOML text; raises InputError where it is no TOML."""
    _refuse_long_keys(text, path)
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise _syntax(path, text, str(error)) from None
    except RecursionError:
        message = "arrays and tables must not be nested as deeply as here"
        raise _problem(path, _deep_line(text), message) from None
    except ValueError:
        # Python refuses to convert decimal integers of more than some thousand digits.
        bare = _bare(text)
        longest = max(_DIGITS.finditer(bare), key=lambda found: len(found[0]))
        message = "an integer must not have thousands of digits"
        raise _problem(path, bare.count("\n", 0, longest.start()) + 1, message) from None


def _bare(text: str) -> str:
    """Return a text with a lone quote for each string and without what comments say."""
    return _OPAQUE.sub(lambda found: _blanked(found[1]) if found[1] else "", text)


def _blanked(string: str) -> str:
    # The line ends stay, so that lines can still be counted.
    return '"' + "\n" * string.count("\n")


def _refuse_long_keys(text: str, path: str) -> None:
    """Refuse dotted keys of many parts: the time tomllib takes for one grows with their square."""
    # Counting dots first spares nearly every text the slower search.
    if max(line.count(".") for line in text.split("\n")) < _MAX_KEY_PARTS:
        return
    bare = _bare(text)
    if found := _LONG_KEY.search(bare):
        message = f"a dotted name must have at most {_MAX_KEY_PARTS} parts, not more"
        raise _problem(path, bare.count("\n", 0, found.start()) + 1, message)


def _deep_line(text: str) -> int:
    """Return the first line in which brackets are open as nobody nests them."""
    depth, line = 0, 1
    for found in _BRACKET.finditer(_bare(text)):
        if found[0] == "\n":
            line += 1
        else:
            depth += 1 if found[0] in "[{" else -1
            if depth > _SHOWN_DEPTH:
                return line
    return 0


def _problem(path: str, line: int, message: str, remedy: str = "") -> InputError:
    return InputError(Problem(path=path, line=line, message=message, remedy=remedy))


def _syntax(path: str, text: str, message: str) -> InputError:
    """Return the error for a text that is no TOML, in the words of tomllib."""
    found = _POSITION.search(message)
    line, column = text.rstrip().count("\n") + 1, ""
    if found and found[1]:
        line, column = int(found[1]), f" at column {found[2]}"
    reason = message[: found.start()] if found else message
    shown = "".join(c if c.isprintable() else repr(c)[1:-1] for c in reason[:200])
    remedy = "state every key and table once only" if reason.startswith(_TWICE) else ""
    return _problem(path, line, f"the text must be valid TOML{column}: {shown}", remedy)
