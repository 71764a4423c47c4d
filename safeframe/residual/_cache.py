"""Computed weights kept on disk by content, and believed only as far as the code proves them.

Anybody can write a file with a right checksum, so none is trusted: what is read must be true of
the very code it is asked for. The lightest patterns, the rank and the power moments
follow from the columns of the code in a moment; the sums that hold for every code, and the
identity that ties the counts to their dual, have to hold as well. What fails is computed
again, and a note says so. This is no proof: of a long code the columns show the moments of low
order only, so a directory that others write to is no place for results. Writing is atomic: an
interrupt leaves the old file or none.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from operator import mul
from pathlib import Path
from time import monotonic
from typing import Any

from .._document.jsontext import read
from .._document.kinds import TEXT, Kind, RefusalError, array, integer
from .._document.platform import NAME
from .._document.reader import read_text
from .._document.tables import Key, Tables
from .._errors import InputError, UsageError
from ._code import Code
from ._spectrum import Effort, Weights, from_dual, weights

__all__ = ["FORMAT", "SWITCH", "default_directory", "recall"]

FORMAT = "safeframe-weights/1"
SWITCH = "SAFEFRAME_CACHE"
"""Variable of the environment: ``off``, or the directory to keep weights in."""

_MAX_OCTETS = 1 << 24
"""Largest file that is read and written; what is longer is computed anew each time."""
_CHECKED_ORDERS = 8
_CHECKED_STEPS = 1 << 18
"""Sums of columns that are looked at: some tenths of a second."""
_SHORT_BITS = 512
"""Up to here a dual that is not stated is worked out."""
_PRIME = (1 << 127) - 1
_METHOD = re.compile(
    r"all 2\^[0-9]+ (?:undetected patterns counted"
    r"|dual words counted [a-z ]+, then MacWilliams)"
    r"|weights of the single checks for each error in the shared bits, multiplied"
)


def default_directory(environ: Mapping[str, str], platform: str = NAME) -> Path | None:
    """Return the user's own cache directory for weights; None where the cache is switched off.

    ``XDG_CACHE_HOME`` or ``~/.cache``, ``~/Library/Caches`` on macOS, ``LOCALAPPDATA`` on Windows.
    A relative path there has no meaning (XDG Base Directory Specification) and is passed over.
    """
    stated = environ.get(SWITCH, "")
    if stated:
        return None if stated == "off" else Path(stated)
    name = {"win32": "LOCALAPPDATA", "darwin": ""}.get(platform, "XDG_CACHE_HOME")
    base = Path(environ.get(name, ""))
    if not base.is_absolute():
        inside = {"win32": "AppData/Local", "darwin": "Library/Caches"}.get(platform, ".cache")
        try:
            base = Path.home() / inside
        except RuntimeError:  # A user without a home.
            return None
    return base / "safeframe" / "weights"


def recall(
    code: Code,
    effort: Effort | None = None,
    *,
    directory: Path | None,
    worth_s: float = 0.5,
) -> tuple[Weights, str]:
    """Return the weights of ``code`` and a note on the cache, empty when there is nothing to say.

    ``directory`` None switches the cache off; what took less than ``worth_s`` seconds is not kept.
    A cache that cannot be read or written costs time and a note, never the result.
    """
    if directory is None:
        return weights(code, effort), ""
    name = _digest(asdict(code))
    path = directory / f"{name}.json"
    note = ""
    if os.path.lexists(path):
        try:
            return _read(path, name, code), ""
        except InputError as error:
            note = f"cached weights not used and computed again: {error.problems[0].message}"
        except UsageError as error:
            note = f"cached weights not used and computed again: {error}"
    started = monotonic()
    found = weights(code, effort)
    if monotonic() - started < worth_s:
        return found, note
    try:
        _write(path, name, found)
    except OSError as error:
        note = f"weights not cached: {error.strerror}"
    return found, note


def _digest(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _count(most_bits: int) -> Kind:
    """Return the kind of counts in hexadecimal, none of more than ``most_bits`` bits."""
    pattern = re.compile(rf"[0-9a-f]{{1,{most_bits // 4 + 1}}}")

    def count(value: Any) -> int:
        if not pattern.fullmatch(TEXT.read(value)):
            raise RefusalError(f"a hexadecimal count of at most {most_bits} bits", value)
        return int(value, 16)

    return Kind(text="count", read=count, schema={"type": "string"})


def _read(path: Path, name: str, code: Code) -> Weights:
    """Return the weights in a file; raises InputError or UsageError where they cannot be right."""
    given = str(path)
    data, tables = read(read_text(given, what="cached result", limit=_MAX_OCTETS), path=given)
    tables.head(data, FORMAT, "a cached result", data)
    counts = array(_count(code.bits + 1))
    keys = {
        "format": Key(kind=TEXT, required=True),
        "code": Key(kind=TEXT, required=True),
        "bits": Key(kind=integer(0), required=True),
        "check_bits": Key(kind=integer(0), required=True),
        "rank": Key(kind=integer(0, code.bits), required=True),
        "counts": Key(kind=counts, required=True),
        "dual": Key(kind=counts, required=True),
        "method": Key(kind=Kind(text="method", read=_read_method, schema={}), required=True),
        "sha256": Key(kind=TEXT, required=True),
    }
    found = _whole(tables, data, keys)
    checksum = _checksum(data)
    if found.pop("code") != name or found.pop("sha256") != checksum:
        raise UsageError("the checksum must match the content")
    if (found["bits"], found["check_bits"]) != (code.bits, code.check_bits):
        raise UsageError("the lengths must be those of the code")
    del found["format"]
    made = Weights(**found)
    _refute(made, code, int(checksum, 16))
    return made


def _read_method(value: Any) -> str:
    """Read how the weights were counted: it is printed, so no words but our own are taken."""
    if not _METHOD.fullmatch(TEXT.read(value)):
        raise RefusalError("a known method", value)
    return str(value)


def _whole(tables: Tables, data: Any, keys: Mapping[str, Key]) -> dict[str, Any]:
    found = tables.take(data, keys, (), "a cached result")
    tables.problems.refuse()
    assert found is not None
    return found


def _checksum(document: Mapping[str, Any]) -> str:
    """Return the checksum of a document: against accidents, not against anybody's intent."""
    return _digest({key: value for key, value in document.items() if key != "sha256"})


def _refute(found: Weights, code: Code, seed: int) -> None:
    """Raise UsageError where the columns of a code, or the rule for every code, disprove weights.

    ``seed`` comes from all of the content, so that nobody can choose a content that is wrong but
    right at the points looked at.
    """
    light, heavy = _units(code)
    rank = code.bits - len(light) - len(heavy) + _rank([*light, *heavy])
    if found.rank != rank:
        raise UsageError(f"the rank must be {rank}, not {found.rank}")
    same = Counter(light)
    pairs = sum(count * (count - 1) // 2 for count in same.values()) + heavy.count(0)
    for weight, count in ((1, same[0]), (2, pairs)):
        if weight < len(found.counts) and found.counts[weight] != count:
            raise UsageError(f"the code must have {count} patterns of weight {weight}")
    columns, counts = _columns(light, heavy), found.counts
    if not light:
        # Patterns are pairs of copies: counted in pairs, the moments reach twice as far.
        if any(counts[1::2]):
            raise UsageError("a code of copies alone must have no pattern of odd weight")
        columns, counts = heavy, counts[::2]
    # Moments of the dual follow from them: what is stated of it is held against the counts below.
    for power, ways in enumerate(_sums(columns), 1):
        if sum(map(mul, counts, _paths(power, len(columns)))) != ways:
            raise UsageError(f"the counts must have the moment {power} of the code")
    dual = found.dual
    if not dual and found.bits <= _SHORT_BITS:
        dual = tuple(from_dual(found.counts, found.bits - rank, found.bits))
    if not dual:
        return
    orders = min(_CHECKED_ORDERS, len(found.counts) - 1)
    if tuple(from_dual(dual, rank, orders)) != found.counts[: orders + 1] or (
        found.complete and not _same_polynomial(found.counts, dual, rank, seed % _PRIME)
    ):
        raise UsageError("the counts must follow from the dual counts")


def _columns(light: list[int], heavy: list[int]) -> list[int]:
    """Return a column for each bit: what keeps two copies equal is a check of its own."""
    above = max((one.bit_length() for one in (*light, *heavy)), default=0)
    units = [1 << above + number for number in range(len(heavy))]
    return [*light, *(one | unit for one, unit in zip(heavy, units, strict=True)), *units]


def _paths(steps: int, bits: int) -> list[int]:
    """Return, for each weight up to ``steps``, the ways to choose its pattern bit by bit.

    A bit may be chosen again, which takes it away: so many ordered choices end with one pattern.
    """
    found = [1] + [0] * steps
    for _ in range(steps):
        # The last choice is one of the pattern, or it takes away a bit that is not.
        found = [
            weight * (found[weight - 1] if weight else 0)
            + (bits - weight) * (found[weight + 1] if weight < steps else 0)
            for weight in range(steps + 1)
        ]
    return found


def _sums(columns: Sequence[int]) -> Iterator[int]:
    """Yield how many of the ordered choices of m columns add up to zero, for m = 1, 2, ...

    A column may be chosen again. Half of the columns are chosen at each side and matched.
    """
    below: Mapping[int, int] = {0: 1}
    for _ in range(_CHECKED_ORDERS):
        # At most so many sums as ways to reach one.
        here: Counter[int] = Counter()
        for value, ways in below.items():
            for column in columns:
                here[value ^ column] += ways
        yield sum(ways * here[value] for value, ways in below.items())
        yield sum(ways * ways for ways in here.values())
        if len(here) * len(columns) > _CHECKED_STEPS:
            return
        below = here


def _same_polynomial(counts: Sequence[int], dual: Sequence[int], rank: int, x: int) -> bool:
    """Tell whether the MacWilliams identity holds at a point, modulo a prime of 127 bits.

    2^r sum A_i x^i = sum B_i (1 - x)^i (1 + x)^(n - i).
    """
    left = 0
    for count in reversed(counts):
        left = (left * x + count) % _PRIME
    # Horner in (1 - x) with the powers of (1 + x) brought along.
    right, power = 0, 1
    for count in reversed(dual):
        right = (right * (1 - x) + count * power) % _PRIME
        power = power * (1 + x) % _PRIME
    return (pow(2, rank, _PRIME) * left - right) % _PRIME == 0


def _units(code: Code) -> tuple[list[int], list[int]]:
    """Return the columns of the bits, and of the pairs of copies, all checks on top of each other.

    An error in a bit that is sent twice is missed only when it hits both copies.
    """
    light: list[int] = []
    heavy: list[int] = []
    shared = [0] * code.shared_bits
    offset = 0
    for part in code.parts:
        for _ in range(part.times):
            (light if part.copies == 1 else heavy).extend(one << offset for one in part.own)
            shared = [above | one << offset for above, one in zip(shared, part.shared, strict=True)]
            offset += part.width
    return light + shared, heavy


def _rank(columns: list[int]) -> int:
    """Return the rank of columns over GF(2)."""
    basis: dict[int, int] = {}
    for column in columns:
        while column:
            top = column.bit_length()
            if top not in basis:
                basis[top] = column
                break
            column ^= basis[top]
    return len(basis)


def _write(path: Path, name: str, found: Weights) -> None:
    document: dict[str, Any] = {
        "format": FORMAT,
        "code": name,
        "bits": found.bits,
        "check_bits": found.check_bits,
        "rank": found.rank,
        "counts": [f"{count:x}" for count in found.counts],
        "dual": [f"{count:x}" for count in found.dual],
        "method": found.method,
    }
    document["sha256"] = _checksum(document)
    text = json.dumps(document)
    if len(text) > _MAX_OCTETS:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".weights-")
    try:
        with os.fdopen(handle, "w", encoding="ascii") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).replace(path)
    except BaseException:  # An interrupt as well: no half-written file stays behind.
        with suppress(OSError):
            Path(temporary).unlink()
        raise
