"""Standard output and error: UTF-8 in pipes and files, obeyed by no build system, never fatal.

Hosted build systems read commands out of the log of a step: a line that begins with two colons,
or two number signs before a word and a bracket anywhere in it (from public descriptions, from
memory). Names and notes come from files, so every line is looked at here, on its way out, whatever
wrote it; what could be read as a command is spelt with an escape of the format at hand.
"""

from __future__ import annotations

import io
import os
import re
import sys

from .._errors import UsageError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, TextIO

_COLONS = r"(?m)^((?:[^\S\n]|\x1b\[[0-9;]*m)*):(?=:)"
_SIGNS = r"(?<=#)#(?=[\w.\- ]*\[)"

_JSON = {":": ":", "#": "\\u0023"}  # No text of JSON begins a line.
_XML = {":": "&#58;", "#": "&#35;"}
_TOML = {":": "\\u003a", "#": "\\u0023"}
_MARKDOWN = {":": "\\:", "#": "\\#"}
_TEXT = {":": "\\x3a", "#": "\\x23"}
_OWN = {":": ":", "#": "\\x23"}  # The lines of this format begin with colons on purpose.
_EXACT: dict[str, str] = {}
"""Nothing can be spelt otherwise: what would be read as a command is refused."""

_STYLES = {
    **dict.fromkeys(("json", "jsonl", "sarif", "code-quality-json"), _JSON),
    "junit": _XML,
    "toml": _TOML,
    "markdown": _MARKDOWN,
    "workflow-commands": _OWN,
    **dict.fromkeys(("patch", "csv", "canonical"), _EXACT),
}


class StreamError(Exception):
    """Standard output that cannot be written: full, or an error of the device."""


class _Guarded:
    """A text stream that passes whole lines on, none of them a command for a build system."""

    def __init__(self, stream: TextIO, *, silent: bool) -> None:
        self._stream = stream
        self._silent = silent
        self._rest = ""
        self.style = _TEXT

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write the lines that are complete; the rest waits for its end or for ``flush``."""
        whole, newline, rest = (self._rest + text).rpartition("\n")
        if newline:
            self._rest = ""
            self._pass_on(whole + newline)
        self._rest = rest
        return len(text)

    def flush(self) -> None:
        """Write everything there is."""
        rest, self._rest = self._rest, ""
        self._pass_on(rest, flush=True)

    def _pass_on(self, text: str, *, flush: bool = False) -> None:
        try:
            self._stream.write(self._neutral(text))
            if flush:
                self._stream.flush()
        except BrokenPipeError:
            if not self._silent:
                raise
        except (OSError, ValueError) as error:
            if not self._silent:
                raise StreamError(getattr(error, "strerror", None) or str(error)) from None

    def _neutral(self, text: str) -> str:
        if "::" not in text and "##" not in text:
            return text
        if self.style is _EXACT:
            found = re.search(_COLONS, text) or re.search(_SIGNS, text)
            if found:
                number = text.count("\n", 0, found.end()) + 1
                raise UsageError(
                    f"line {number} of the output would be read as a command by a hosted build "
                    "system, and this format cannot spell it otherwise; choose another format, or "
                    "change the text in the map"
                )
            return text
        colon, sign = self.style[":"], self.style["#"]
        text = re.sub(_COLONS, lambda found: found[1] + colon, text)
        return re.sub(_SIGNS, lambda _: sign, text)


class _ClosedInput:
    """Standard input that is not there: nobody is told so but who wants to read it."""

    def __getattr__(self, name: str) -> Any:
        raise UsageError("standard input (-) must be open, and is closed")


class _Guards:
    """The guards of both streams; written out, because contextlib is slow to import."""

    def __enter__(self) -> None:
        self._before = sys.stdin, sys.stdout, sys.stderr
        if sys.stdin is None:
            closed: Any = _ClosedInput()
            sys.stdin = closed
        # A closed stream is None: what is written there is wanted by nobody, and no error.
        nothing = io.StringIO()
        out, err = (stream or nothing for stream in self._before[1:])
        for stream in (out, err):
            _set_up(stream)
        standing: list[Any] = [_Guarded(out, silent=False), _Guarded(err, silent=True)]
        sys.stdout, sys.stderr = standing
        self._complaints = standing[1]

    def __exit__(self, *_: object) -> None:
        try:
            self._complaints.flush()
        finally:
            sys.stdin, sys.stdout, sys.stderr = self._before


def guarded() -> _Guards:
    """Put the guards in front of both streams while a command runs."""
    return _Guards()


def _set_up(stream: TextIO) -> None:
    if not isinstance(stream, io.TextIOWrapper):
        return
    if stream.isatty():
        # A name that the terminal's encoding lacks is shown escaped instead of failing.
        stream.reconfigure(errors="backslashreplace")
    else:
        # Whoever reads a pipe or a file gets the same octets, whatever the locale here is.
        stream.reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")


def set_format(name: str) -> None:
    """Say how the lines of standard output can be spelt from here on."""
    if isinstance(sys.stdout, _Guarded):
        sys.stdout.style = _STYLES.get(name, _TEXT)


def discard() -> None:
    """Send what is still buffered for standard output nowhere: the interpreter must not fail."""
    try:
        descriptor = sys.stdout.fileno()
    except (AttributeError, OSError, ValueError):
        return
    empty = os.open(os.devnull, os.O_WRONLY)
    os.dup2(empty, descriptor)
    os.close(empty)
