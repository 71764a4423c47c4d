"""The loop: spoil an input, read it, keep what reached new lines."""

from __future__ import annotations

import io
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from types import CodeType, FrameType
from typing import Any

import safeframe
from safeframe._errors import SafeframeError

Read = Callable[[bytes], object]
_ROOM = str(Path(safeframe.__file__).parent)
_LONGEST = 1 << 16
_KEPT = 400
_TRACED = 8
"""Of so many inputs one is traced before Python 3.12: tracing costs ten times the reading."""
SECONDS = 5.0
"""Time for one input, generous on a busy machine; a file of 64 KiB is read in a fraction of it."""
_TEXTS = (
    *'[]{}=,:"#.\n\r\t\\/<>&;|-_ ',
    *("0", "1", "-1", "65536", "524288", "1e999", "nan", "0x", "true", "null", "''", '"""'),
    *("[[sends]]", "[a.b]", "\\u0000", "\\ud800", "\u202e", "\ufeff", "\u3164", "<!DOCTYPE x>"),
    *("&amp;", "<![CDATA[", "]]>", "0.0", "65535.7", "18446744073709551616", "9" * 400),
)
_TOKENS = (
    *(text.encode() for text in _TEXTS),
    *(b"\0", b"\xff\xff\xff\xff", b"\x80", b"\xc3\x28", b"\0\0\0\x80", b"\x0a\x0d\x0d\x0a"),
)


@dataclass(slots=True, kw_only=True)
class Found:
    """What a run saw: inputs read, how many were refused, lines reached, inputs kept."""

    runs: int = 0
    refused: int = 0
    lines: int = 0
    first_lines: int = 0
    seconds: float = 0.0
    kept: list[bytes] = field(default_factory=list)


class BrokenError(Exception):
    """A reader did what no reader may do; the message shows the input."""


def run(read: Read, seeds: list[bytes], runs: int, seed: int = 0) -> Found:
    """Read so many spoilt inputs; raises BrokenError at the first that breaks the property."""
    random = Random(seed)
    lines: set[tuple[str, int]] = set()
    found = Found(kept=list(seeds))
    start = time.monotonic()
    with _watched(lines) as traced_by_hand:
        for octets in seeds:
            _one(read, octets, lines if traced_by_hand else None)
        found.first_lines = len(lines)
        for number in range(runs):
            octets = spoilt(random.choice(found.kept), random, found.kept)
            before = len(lines)
            traced = traced_by_hand and number % _TRACED == 0
            found.refused += _one(read, octets, lines if traced else None)
            if len(lines) > before and len(found.kept) < _KEPT:
                found.kept.append(octets)
    found.runs, found.lines = runs, len(lines)
    found.seconds = time.monotonic() - start
    return found


def spoilt(octets: bytes, random: Random, others: list[bytes]) -> bytes:
    """Return an input with one to four faults: of octets, of tokens, of lines, of two inputs."""
    made = bytearray(octets)
    for _ in range(random.randrange(1, 5)):
        at = random.randrange(len(made) + 1)
        to = min(at + random.choice((1, 2, 4, 16, 200)), len(made))
        kind = random.randrange(8)
        if kind == 0 and at < len(made):
            made[at] ^= 1 << random.randrange(8)
        elif kind == 1:
            del made[at:to]
        elif kind == 2:
            made[at:at] = random.choice(_TOKENS)
        elif kind == 3:
            made[at:to] = random.choice(_TOKENS)
        elif kind == 4:
            made[at:at] = made[at:to] * random.choice((1, 2, 30))
        elif kind == 5:
            other = random.choice(others)
            begin = random.randrange(len(other) + 1)
            made[at:to] = other[begin : begin + random.choice((4, 40, 400))]
        elif kind == 6:
            rows = bytes(made).split(b"\n")
            one, two = random.randrange(len(rows)), random.randrange(len(rows))
            rows[one], rows[two] = rows[two], rows[one]
            made = bytearray(b"\n".join(rows))
        elif random.randrange(8) == 0:
            del made[at:]
    return bytes(made[:_LONGEST])


def _one(read: Read, octets: bytes, lines: set[tuple[str, int]] | None) -> bool:
    """Read one input; return whether it was refused. A reader prints nothing."""
    printed = io.StringIO()
    try:
        with _bounded(), redirect_stdout(printed):
            if lines is None:
                read(octets)
            else:
                with _traced(lines):
                    read(octets)
    except SafeframeError:
        refused = True
    except Exception as error:
        message = f"{type(error).__name__}: {error} by the input {octets.hex()}"
        raise BrokenError(message) from error
    else:
        refused = False
    if printed.getvalue():
        raise BrokenError(f"{printed.getvalue()!r} was printed by the input {octets.hex()}")
    return refused


@contextmanager
def _bounded() -> Iterator[None]:
    """End what takes too long, where the system has a timer of used time."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def late(_number: int, _frame: FrameType | None) -> None:
        raise TimeoutError(f"more than {SECONDS} s")

    before = signal.signal(signal.SIGVTALRM, late)
    signal.setitimer(signal.ITIMER_VIRTUAL, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


@contextmanager
def _watched(lines: set[tuple[str, int]]) -> Iterator[bool]:
    """Note the lines of every input at almost no cost; yield whether Python is too old for it."""
    if sys.version_info < (3, 12):
        yield True
    else:
        monitoring, tool = sys.monitoring, 3  # One of the numbers that nothing is meant to use.

        def line(code: CodeType, number: int) -> object:
            if code.co_filename.startswith(_ROOM):
                lines.add((code.co_filename, number))
            return monitoring.DISABLE  # A line is told once.

        monitoring.use_tool_id(tool, "spoilt inputs")
        try:
            monitoring.register_callback(tool, monitoring.events.LINE, line)
            monitoring.restart_events()
            monitoring.set_events(tool, monitoring.events.LINE)
            yield False
        finally:
            monitoring.set_events(tool, 0)
            monitoring.register_callback(tool, monitoring.events.LINE, None)
            monitoring.free_tool_id(tool)


@contextmanager
def _traced(lines: set[tuple[str, int]]) -> Iterator[None]:
    """Note the lines of this package that run."""

    def line(frame: FrameType, event: str, _of: Any) -> Any:
        if event == "line":
            lines.add((frame.f_code.co_filename, frame.f_lineno))
        return line

    def call(frame: FrameType, _event: str, _of: Any) -> Any:
        return line if frame.f_code.co_filename.startswith(_ROOM) else None

    before = sys.gettrace()
    sys.settrace(call)
    try:
        yield
    finally:
        sys.settrace(before)
