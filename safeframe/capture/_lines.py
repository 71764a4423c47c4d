"""Recordings as text: hexadecimal lines, and JSON Lines such as the files of fixtures."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any, BinaryIO

from .._document.jsontext import unique
from .._errors import UsageError
from .._octets import octets_of
from ._packets import Packet, Trouble

MAX_LINE_OCTETS = 1 << 16
"""Longest line that is read: more than 10 frames of the longest kind, by choice."""

_LINE = re.compile(r"(?:@(\d{1,18})\s+)?(?:([^:#@\s][^:#]{0,63}):\s*)?([0-9A-Fa-f\s]*)", re.ASCII)
_OTHERWISE = re.compile(r"(?:@(\d{1,18})\s+)?(?:([^:#@\s][^:#]{0,63}):)?(.*)", re.ASCII | re.DOTALL)
_PAIR = re.compile("[0-9A-Fa-f]{2}")
_LONG = f"the line is longer than {MAX_LINE_OCTETS} octets"


def lines_of(stream: BinaryIO) -> Iterator[tuple[int, str | Trouble]]:
    """Yield lines with their numbers; one that is too long, no UTF-8 or several is a trouble."""
    number = 0
    while line := stream.readline(MAX_LINE_OCTETS + 1):
        number += 1
        if len(line) > MAX_LINE_OCTETS:
            while line and not line.endswith(b"\n"):
                line = stream.readline(MAX_LINE_OCTETS + 1)
            yield number, Trouble(number, number, "line", _LONG)
            continue
        try:
            text = line.decode()
        except UnicodeDecodeError as error:
            octet = f"{line[error.start]:#04x}"
            message = f"a line must be UTF-8, not octet {octet} at column {error.start + 1}"
            yield number, Trouble(number, number, "line", message)
            continue
        if "\r" in text and "\r" in text.rstrip("\r\n"):
            # What follows would be joined to the octets before it, or be part of a comment.
            message = "a line must end with a line feed, not with a carriage return alone"
            yield number, Trouble(number, number, "line", message)
            continue
        yield number, text.removeprefix("\ufeff") if number == 1 else text


def read_hex(stream: BinaryIO) -> Iterator[Packet | Trouble]:
    """Read lines ``@TIME_US NAME: octets  # comment``; time, name and comment may be left out.

    Octets are hexadecimal with or without blanks; empty lines and comments are skipped.
    """
    for number, line in lines_of(stream):
        if isinstance(line, Trouble):
            yield line
            continue
        text = line.partition("#")[0].strip()
        if not text:
            continue
        match = _LINE.fullmatch(text)
        digits = "".join(match[3].split()) if match else ""
        if match is not None and digits and not len(digits) % 2:
            time_us = int(match[1]) if match[1] else None
            sender = (match[2] or "").strip()
            yield Packet(number, number, time_us, bytes.fromhex(digits), sender)
            continue
        yield _pasted(number, text)


def _pasted(number: int, text: str) -> Packet | Trouble:
    """Return the packet of a line whose octets are written in another way people use."""
    time, sender, rest = _OTHERWISE.findall(text)[0]
    ways = [(sender, rest), ("", f"{sender}:{rest}")]
    if _PAIR.fullmatch(sender) and not rest[:1].isspace():
        ways.reverse()  # 0a:0b:0c names nobody.
    for name, octets in ways:
        try:
            found = octets_of(octets)
        except UsageError:
            continue
        if found:
            return Packet(number, number, int(time) if time else None, found, name.strip())
    message = f"a line must be [@TIME_US] [NAME:] hexadecimal octets, not {text[:40]!r}"
    return Trouble(number, number, "line", message)


def read_json(stream: BinaryIO) -> Iterator[Packet | Trouble]:
    """Read JSON Lines with ``octets`` and, there or in ``inputs``, ``time_us`` and ``sender``.

    A line with a ``format`` and no octets is the head of a file of cases and is skipped.
    """
    for number, line in lines_of(stream):
        if isinstance(line, Trouble):
            yield line
            continue
        if not line.strip():
            continue
        try:
            row = json.loads(line, object_pairs_hook=unique)
        except (ValueError, RecursionError) as error:
            plain = type(error) in (ValueError, RecursionError)
            reason = "too deep or long" if plain else getattr(error, "msg", str(error))
            yield Trouble(number, number, "line", f"JSON: {reason}")
            continue
        found = _row(row)
        if isinstance(found, str):
            yield Trouble(number, number, "line", found)
        elif found is not None:
            octets, time_us, sender = found
            yield Packet(number, number, time_us, octets, sender)


def _row(row: Any) -> tuple[bytes, int | None, str] | str | None:
    """Return octets, time and sender of one object; a text says what is wrong with it."""
    if not isinstance(row, dict):
        return "a line must hold an object"
    if "format" in row and "octets" not in row:
        return None
    inputs = row.get("inputs", {})
    if not isinstance(inputs, dict):
        return "inputs must be an object"
    for name in ("time_us", "sender"):
        if name in row and inputs.get(name, row[name]) != row[name]:
            return f"{name} must be the same in inputs and beside it"
    stated = row | inputs
    time_us, sender = stated.get("time_us"), stated.get("sender", "")
    if time_us is not None and (isinstance(time_us, bool) or not isinstance(time_us, int)):
        return "time_us must be an integer"
    if not isinstance(sender, str):
        return "sender must be a text"
    try:
        octets = bytes.fromhex(row["octets"])
    except (KeyError, TypeError, ValueError):
        return "octets must be hexadecimal octets"
    return octets, time_us, sender
