"""CRCs of many frames of one length at once, with numpy (the optional extra ``batch``).

A CRC is affine in its input: the CRC of a frame is the CRC of zeros XOR one table entry for each
octet, or for each pair of octets in short frames. The tables are per position, so a batch is one
look-up and one XOR for each of them, without any dependence between octets. Any algorithm of the
model works.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from .._errors import UsageError
from . import Algorithm, function

try:
    import numpy as np
except ImportError as _error:
    raise ImportError("safeframe.crc.batch needs numpy: install safeframe[batch]") from _error

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Octets = NDArray[np.uint8]
    Numbers = NDArray[np.unsignedinteger[Any]]

__all__ = ["as_frames", "crcs", "tables"]

_CHUNK = 65536
"""Frames per pass: large enough to hide the overhead of a call, small enough for the cache."""
_PAIRED_OCTETS = 32
"""Longest frames with 64 Ki tables for pairs of octets: for longer ones they leave the cache."""
_TYPES = {8: np.uint8, 16: np.uint16, 24: np.uint32, 32: np.uint32, 64: np.uint64}


def as_frames(octets: bytes, size_octets: int) -> Octets:
    """Return consecutive frames of ``size_octets`` octets as an array (frames, octets).

    Raises UsageError when the octets are no whole number of frames.
    """
    if size_octets < 1 or len(octets) % size_octets:
        raise UsageError(
            f"{len(octets)} octets must be a whole number of frames of {size_octets} octets"
        )
    return np.frombuffer(octets, dtype=np.uint8).reshape(-1, size_octets)


@lru_cache(maxsize=64)
def tables(
    algorithm: Algorithm, size_octets: int, prefix: bytes = b"", suffix: bytes = b""
) -> tuple[Numbers, int]:
    """Return per-position tables (size_octets, 256) and the CRC of an all-zero frame.

    ``prefix`` and ``suffix`` are octets that every frame is fed with but that are not in the
    array.
    """
    crc = function(algorithm)
    base = crc(prefix + bytes(size_octets) + suffix)
    made = np.zeros((size_octets, 256), dtype=_TYPES[algorithm.width])
    for position in range(size_octets):
        row = made[position]
        for bit in range(8):
            frame = bytearray(size_octets)
            frame[position] = 1 << bit
            column = crc(prefix + bytes(frame) + suffix) ^ base
            row[1 << bit : 2 << bit] = row[: 1 << bit] ^ row.dtype.type(column)
    made.flags.writeable = False
    return made, base


@lru_cache(maxsize=16)
def _look_ups(
    algorithm: Algorithm, size_octets: int, prefix: bytes, suffix: bytes
) -> tuple[tuple[Numbers, ...], tuple[Numbers, ...], int]:
    """Return tables for the leading pairs of octets, for the single octets after them, the base."""
    rows, base = tables(algorithm, size_octets, prefix, suffix)
    paired = size_octets // 2 if size_octets <= _PAIRED_OCTETS else 0
    pairs = tuple(
        (rows[2 * at + 1][:, None] ^ rows[2 * at][None, :]).reshape(-1) for at in range(paired)
    )
    return pairs, tuple(rows[2 * paired :]), base


def crcs(
    algorithm: Algorithm, frames: Octets, *, prefix: bytes = b"", suffix: bytes = b""
) -> Numbers:
    """Return the CRC of every row of ``frames``, an array (frames, octets) of uint8.

    Each row is fed between ``prefix`` and ``suffix``. The answer has the smallest unsigned type
    that holds the CRC. Raises UsageError for another shape or type.
    """
    if frames.ndim != 2 or frames.dtype != np.uint8:
        raise UsageError(
            f"frames must be a two-dimensional array of uint8, not {frames.ndim} of {frames.dtype}"
        )
    count, size = frames.shape
    pairs, singles, base = _look_ups(algorithm, size, prefix, suffix)
    result = np.full(count, base, dtype=_TYPES[algorithm.width])
    buffer = np.empty(min(count, _CHUNK), dtype=result.dtype)
    for start in range(0, count, _CHUNK):
        chunk = np.ascontiguousarray(frames[start : start + _CHUNK])
        # The same octets seen as pairs, the low octet first; numpy reads unaligned words.
        words = np.ndarray((len(chunk), len(pairs)), "<u2", chunk, strides=(size, 2))
        columns = (*words.T, *chunk.T[2 * len(pairs) :])
        total = result[start : start + _CHUNK]
        looked_up = buffer[: len(chunk)]
        for table, column in zip((*pairs, *singles), columns, strict=True):
            # An index cannot leave a table of its own range: "clip" only skips the check.
            np.take(table, column, mode="clip", out=looked_up)
            np.bitwise_xor(total, looked_up, out=total)
    return result
