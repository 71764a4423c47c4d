"""Computed weights kept on disk by content, and believed only as far as the code proves them.

Anybody can write a file with a right checksum, so none is trusted: what is read must be true of
the very code it is asked for. The rank and the lightest patterns follow from the columns of the
code in a moment; the sums that hold for every code, and the identity that ties the counts to their
dual, have to hold as well. What fails is computed again, and a note says so. This is no proof: of a
long code the columns show the patterns of low weight only, so a directory that others write to is
no place for results. Writing is atomic: an interrupt leaves the old file or none.
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
    if not light and any(found.counts[1::2]):
        raise UsageError("a code of copies alone must have no pattern of odd weight")
    for weight, count in _lightest(light, heavy):
        if weight < len(found.counts) and found.counts[weight] != count:
            raise UsageError(f"the code must have {count} patterns of weight {weight}")
    # What is stated of the dual is held against the counts below.
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


def _lightest(light: Sequence[int], heavy: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield weights from 1 on, each with its number of patterns, as far as they can be counted.

    A pattern is some single bits and some pairs of copies, whose columns add up to zero. Chosen are
    so many of each, in order and any of them again; two halves of a choice are matched.
    """
    halves: dict[tuple[int, int], Mapping[int, int]] = {(0, 0): {0: 1}}
    left = _CHECKED_STEPS
    for size in range(1, _CHECKED_ORDERS + 1):
        for pairs in range(size // 2 + 1):
            bits = size - 2 * pairs
            columns = light if bits else heavy
            below = halves.get((bits - 1, pairs) if bits else (0, pairs - 1))
            if below is None or (len(below) > 1 and len(below) * len(columns) > left):
                continue
            left -= len(below) * len(columns)
            # At most so many sums as ways to reach one.
            here: Counter[int] = Counter()
            for value, ways in below.items():
                for column in columns:
                    here[value ^ column] += ways
            halves[bits, pairs] = here
    patterns = {(0, 0): 1}
    for weight in range(1, 2 * _CHECKED_ORDERS + 1):
        found = 0
        for pairs in range(weight // 2 + 1):
            bits = weight - 2 * pairs
            chosen = _ways(halves, bits, pairs)
            if chosen is None:
                return
            of_bits, of_pairs = _paths(bits, len(light)), _paths(pairs, len(heavy))
            for (one, two), count in patterns.items():
                if one <= bits and two <= pairs:
                    chosen -= count * of_bits[one] * of_pairs[two]
            patterns[bits, pairs] = chosen // (of_bits[bits] * of_pairs[pairs])
            found += patterns[bits, pairs]
        yield weight, found


def _ways(halves: Mapping[tuple[int, int], Mapping[int, int]], bits: int, pairs: int) -> int | None:
    """Return how many choices of bits and pairs add up to zero; None where they are too many."""
    for (one, two), first in halves.items():
        second = halves.get((bits - one, pairs - two))
        if second is not None and len(first) <= len(second):
            return sum(ways * second.get(value, 0) for value, ways in first.items())
    return None


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
