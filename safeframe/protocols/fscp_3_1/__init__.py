"""FSCP 3/1: frames with explicit values, sessions, and all that is peculiar to the protocol.

Frames carry data, the status or control octet and a 24-bit CRC. The consecutive number and the
CRC of the parameter record enter it and are never on the wire.
Sizes are in octets; the sources of every rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._frame import RECIPE, next_number, parameter_crc, parameter_record
from ._session import Fscp3Session

__all__ = [
    "build",
    "inspect",
    "next_number",
    "parameter_crc",
    "parameter_record",
    "session",
    "verify",
]


def build(
    *,
    data: bytes,
    status: int = 0,
    number: int = 0,
    parameter_crc: int,
) -> bytes:
    """Return the octets of a frame.

    ``data`` are 0..12 octets. Raises UsageError for a value that is missing or outside its range.

    - ``data``: safety data, 0..12 octets
    - ``status``: status or control octet
    - ``number``: virtual consecutive number
    - ``parameter_crc``: CRC1 of the parameter record, start of every frame CRC
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    data: bytes | None = None,
    status: int | None = None,
    number: int | None = None,
    parameter_crc: int | None = None,
) -> Parsed:
    """Judge a received frame by what its receiver knows; return it when every check passes.

    The values are those of ``build``; None stands for what is not known. Checks in order: length,
    the CRC, then the values given besides.
    Raises FrameError for the first that fails or cannot be judged, and UsageError for a value
    outside its range.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    data: bytes | None = None,
    status: int | None = None,
    number: int | None = None,
    parameter_crc: int | None = None,
) -> Inspection:
    """Explain a received frame: parts, every CRC with what it covers, a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(*, parameter_crc: int, fresh: bool = True) -> Session:
    """Return a session that knows both senders, ``host`` and ``device``.

    It produces or judges the frames of each; ``fresh=False`` joins a stream in the middle.
    """
    return Fscp3Session(parameter_crc=parameter_crc, fresh=fresh)
