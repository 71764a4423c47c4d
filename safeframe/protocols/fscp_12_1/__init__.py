"""FSCP 12/1: frames with explicit values, sessions, and all that is peculiar to the protocol.

Frames carry a command, blocks of two data octets with a CRC each, and the connection id. The
sequence number and the CRC of the peer's last frame enter every CRC and are never on the wire.
Sizes are in octets; the sources of every rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._frame import COMMANDS, ERROR_CODES, PROCESS_DATA, RECIPE, block_crc, next_sequence, related
from ._session import Fscp12Session
from ._start import StartFrame, start_up

__all__ = [
    "COMMANDS",
    "ERROR_CODES",
    "PROCESS_DATA",
    "StartFrame",
    "block_crc",
    "build",
    "inspect",
    "next_sequence",
    "related",
    "session",
    "start_up",
    "verify",
]


def build(
    *,
    data: bytes,
    command: int = PROCESS_DATA,
    connection_id: int | None = None,
    peer_crc0: int = 0,
    sequence: int = 1,
) -> bytes:
    """Return the octets of a frame.

    ``data`` are 1 octet or an even number. Reset and Session frames carry the connection id 0 and
    need none. Raises UsageError for a value that is missing or outside its range.

    - ``data``: safety data, 1 or an even number of octets
    - ``command``: Reset 0x2A, Session 0x4E, Connection 0x64, Parameter 0x52, ProcessData 0x36
      or FailSafeData 0x08
    - ``connection_id``: of the connection; Reset and Session frames carry 0
    - ``peer_crc0``: CRC_0 of the last frame received from the peer, 0 at the start of a
      session
    - ``sequence``: virtual sequence number of this frame; 1 at the start, 0 is skipped
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    data: bytes | None = None,
    command: int | None = None,
    connection_id: int | None = None,
    peer_crc0: int | None = None,
    sequence: int | None = None,
) -> Parsed:
    """Judge a received frame by what its receiver knows; return it when every check passes.

    The values are those of ``build``; None stands for what is not known. Checks in order: length,
    command, connection id, CRCs from CRC_0 on, then the values given besides.
    Raises FrameError for the first that fails or cannot be judged, and UsageError for a value
    outside its range.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    data: bytes | None = None,
    command: int | None = None,
    connection_id: int | None = None,
    peer_crc0: int | None = None,
    sequence: int | None = None,
) -> Inspection:
    """Explain a received frame: parts, every CRC with what it covers, a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(*, connection_id: int, fresh: bool = True) -> Session:
    """Return a session that knows both senders, ``master`` and ``slave``.

    It produces or judges the frames of each; ``fresh=False`` joins a stream in the middle.
    """
    return Fscp12Session(connection_id=connection_id, fresh=fresh)
