"""Read a map from TOML text."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from .._errors import InputError, Problem
from .._model import End
from .assemble import assemble
from .locate import Index
from .problems import Problems

__all__ = ["parse", "read_toml"]

_MAX_KEY_PARTS = 64
_LONG_KEY = re.compile(rf"(?<![\w\"'-])(?:[\w\"'-]++[ \t]*+\.[ \t]*+){{{_MAX_KEY_PARTS}}}")
_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = ("Cannot overwrite", "Cannot declare", "Duplicate", "Cannot redefine", "Cannot mutate")


def read_toml(text: str, *, path: str) -> End:
    """Build the End that a TOML text describes; raises InputError with every problem in it."""
    data = parse(text, path=path)
    return assemble(data, problems=Problems(path), line_of=Index(text).line)


def parse(text: str, *, path: str) -> dict[str, Any]:
    """Return the plain data of a TOML text; raises InputError where it is no TOML."""
    _refuse_long_keys(text, path)
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise _syntax(path, text, str(error)) from None
    except RecursionError:
        raise _problem(path, 0, "arrays and tables must not be nested as deeply as here") from None
    except ValueError:
        # Python refuses to convert decimal integers of more than some thousand digits.
        raise _problem(path, 0, "an integer must not have thousands of digits") from None


def _refuse_long_keys(text: str, path: str) -> None:
    """Refuse dotted keys of many parts: the time tomllib takes for one grows with their square."""
    for number, line in enumerate(text.split("\n"), 1):
        # Counting dots first spares nearly every line the much slower search.
        if line.count(".") >= _MAX_KEY_PARTS and _LONG_KEY.search(line):
            message = f"a dotted name must have at most {_MAX_KEY_PARTS} parts, not more"
            raise _problem(path, number, message)


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
