"""Computed weights kept on disk by content, and believed only after checks.

A file is named by the SHA-256 of the code it belongs to. It is used when its format, that name, its
own checksum and the sums that hold for any code are right; otherwise it is computed and written
again, and a note says so. Writing is atomic: an interrupt leaves the old file or none.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from time import monotonic
from typing import Any

from .._errors import UsageError
from ._code import Code
from ._spectrum import Effort, Weights, from_dual, weights

__all__ = ["FORMAT", "default_directory", "recall"]

FORMAT = "safeframe-weights/1"
_CHECKED_ORDERS = 8


def default_directory(environ: Mapping[str, str]) -> Path:
    """Return the user's cache directory for weights: below XDG_CACHE_HOME, or ~/.cache."""
    base = environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "safeframe" / "weights"


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
    try:
        return _read(path, name, code), ""
    except FileNotFoundError:
        pass
    except (OSError, ValueError, TypeError, KeyError, UsageError) as error:
        note = f"cached weights not used and computed again: {_told(error)}"
    started = monotonic()
    found = weights(code, effort)
    if monotonic() - started < worth_s:
        return found, note
    try:
        _write(path, name, found)
    except OSError as error:
        note = f"weights not cached: {_told(error)}"
    return found, note


def _told(error: Exception) -> str:
    """Return an error without the path of the cache, which differs from machine to machine."""
    return str(error.strerror if isinstance(error, OSError) else error)


def _digest(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _read(path: Path, name: str, code: Code) -> Weights:
    document = json.loads(path.read_bytes())
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise ValueError(f"the format must be {FORMAT}")
    checksum = document.pop("sha256", None)
    if document.get("code") != name or checksum != _digest(document):
        raise ValueError("the checksum must match the content")
    found = Weights(
        bits=document["bits"],
        check_bits=document["check_bits"],
        rank=document["rank"],
        counts=tuple(int(count, 16) for count in document["counts"]),
        dual=tuple(int(count, 16) for count in document["dual"]),
        method=document["method"],
    )
    if (found.bits, found.check_bits) != (code.bits, code.check_bits):
        raise ValueError("the lengths must be those of the code")
    if found.dual:
        orders = min(_CHECKED_ORDERS, len(found.counts) - 1)
        if tuple(from_dual(found.dual, found.rank, orders)) != found.counts[: orders + 1]:
            raise ValueError("the counts must follow from the dual counts")
    return found


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
    document["sha256"] = _digest(document)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".weights-")
    try:
        with os.fdopen(handle, "w", encoding="ascii") as stream:
            json.dump(document, stream)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).replace(path)
    except BaseException:  # An interrupt as well: no half-written file stays behind.
        with suppress(OSError):
            Path(temporary).unlink()
        raise
