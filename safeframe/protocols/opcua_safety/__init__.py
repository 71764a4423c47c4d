"""OPC UA Safety: frames with explicit values, sessions, and all that is peculiar to the protocol.

Requests and responses in their logical order, release 1.05. How a transport places the fields is
not described here.
Sizes are in octets; the sources of every rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._frame import FIRST_NUMBER, RECIPE, next_number
from ._ids import MEMBERS, OpcuaMember, member_types, spdu_ids, structure_signature
from ._session import OpcuaSession

__all__ = [
    "FIRST_NUMBER",
    "MEMBERS",
    "OpcuaMember",
    "build",
    "inspect",
    "member_types",
    "next_number",
    "session",
    "spdu_ids",
    "structure_signature",
    "verify",
]


def build(
    *,
    data: bytes | None = None,
    flags: int = 0,
    spdu_id_1: int | None = None,
    spdu_id_2: int | None = None,
    spdu_id_3: int | None = None,
    consumer_id: int,
    monitoring_number: int,
) -> bytes:
    """Return the octets of a frame.

    With ``data``, 1..1500 octets, the frame is a response and needs the three SPDU_ID words;
    without it is a request. Raises UsageError for a value that is missing, outside its range or
    out of place.

    - ``data``: packed members, 1..1500 octets; none in a request
    - ``flags``: flags octet; reserved bits 3..7 are 0
    - ``spdu_id_1``: see spdu_ids
    - ``spdu_id_2``: see spdu_ids
    - ``spdu_id_3``: see spdu_ids
    - ``consumer_id``: SafetyConsumerID
    - ``monitoring_number``: of the request, repeated in the response; 256 or more
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    data: bytes | None = None,
    flags: int | None = None,
    spdu_id_1: int | None = None,
    spdu_id_2: int | None = None,
    spdu_id_3: int | None = None,
    consumer_id: int | None = None,
    monitoring_number: int | None = None,
) -> Parsed:
    """Judge a received frame by what its receiver knows; return it when every check passes.

    The values are those of ``build``; None stands for what is not known. Checks in order: length,
    not all zero, CRC, ids, consumer id, monitoring number, flags, then the values given
    besides.
    Raises FrameError for the first that fails or cannot be judged, and UsageError for a value
    outside its range.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    data: bytes | None = None,
    flags: int | None = None,
    spdu_id_1: int | None = None,
    spdu_id_2: int | None = None,
    spdu_id_3: int | None = None,
    consumer_id: int | None = None,
    monitoring_number: int | None = None,
) -> Inspection:
    """Explain a received frame: parts, every CRC with what it covers, a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(
    *,
    consumer_id: int,
    spdu_ids: tuple[int, int, int],
    start: int = FIRST_NUMBER,
    fresh: bool = True,
) -> Session:
    """Return a session that knows both senders, ``consumer`` and ``provider``.

    It produces or judges the frames of each; ``fresh=False`` joins a stream in the middle.
    """
    return OpcuaSession(consumer_id=consumer_id, spdu_ids=spdu_ids, start=start, fresh=fresh)
