"""FSCP 2/1: frames with explicit values, sessions, and all that is peculiar to the protocol.

Data frames, short and long, in base and extended format, and time coordination. The identity
of the sender starts every CRC and is never on the wire; the rollover count of the extended format
neither.
Sizes are in octets; the sources of every rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from typing import Literal

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._frame import RECIPE, ack_octet, mode_octet
from ._session import Fscp2Session

__all__ = [
    "ack_octet",
    "build",
    "inspect",
    "mode_octet",
    "session",
    "verify",
]


def build(
    *,
    format: Literal["base", "extended"],  # noqa: A002 - the name of the value.
    data: bytes | None = None,
    mode: int = mode_octet(),
    time_stamp: int | None = None,
    ack: int | None = None,
    consumer_time: int | None = None,
    rollover: int | None = None,
    vendor_id: int,
    device_serial: int,
    connection_serial: int,
) -> bytes:
    """Return the octets of a frame.

    With ``consumer_time`` the frame is one of time coordination and needs ``ack``; else it needs
    ``data``, 1..250 octets, and ``time_stamp``, and in the extended format ``rollover``. Raises
    UsageError for a value that is missing, outside its range or out of place.

    - ``format``: format of the connection
    - ``data``: safety data, 1..250 octets
    - ``mode``: mode octet with its redundant bits: 0x84 run, 0x14 idle, plus ping count
    - ``time_stamp``: time of the sender
    - ``ack``: acknowledge octet of a time-coordination frame
    - ``consumer_time``: time of the consumer; makes the frame a time-coordination frame
    - ``rollover``: rollover count of the time stamp, extended format only
    - ``vendor_id``: identity of the sender
    - ``device_serial``: identity of the sender
    - ``connection_serial``: identity of the sender
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    format: Literal["base", "extended"],  # noqa: A002 - the name of the value.
    data: bytes | None = None,
    mode: int | None = None,
    time_stamp: int | None = None,
    ack: int | None = None,
    consumer_time: int | None = None,
    rollover: int | None = None,
    vendor_id: int | None = None,
    device_serial: int | None = None,
    connection_serial: int | None = None,
) -> Parsed:
    """Judge a received frame by what its receiver knows; return it when every check passes.

    The values are those of ``build``; None stands for what is not known. Checks in order: length,
    mode or acknowledge, CRCs, complement, mode and time, then the values given besides.
    Raises FrameError for the first that fails or cannot be judged, and UsageError for a value
    outside its range.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    format: Literal["base", "extended"],  # noqa: A002 - the name of the value.
    data: bytes | None = None,
    mode: int | None = None,
    time_stamp: int | None = None,
    ack: int | None = None,
    consumer_time: int | None = None,
    rollover: int | None = None,
    vendor_id: int | None = None,
    device_serial: int | None = None,
    connection_serial: int | None = None,
) -> Inspection:
    """Explain a received frame: parts, every CRC with what it covers, a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(
    *,
    format: Literal["base", "extended"],  # noqa: A002 - the name of the value.
    producer: tuple[int, int, int],
    consumer: tuple[int, int, int],
    rollover: int = 0,
    fresh: bool = True,
) -> Session:
    """Return a session of ``producer`` and ``consumer``.

    Both are the three numbers of an identity: vendor, device, connection. The session produces or
    judges the frames of each; ``fresh=False`` joins a stream in the middle.
    """
    return Fscp2Session(
        format=format, producer=producer, consumer=consumer, rollover=rollover, fresh=fresh
    )
