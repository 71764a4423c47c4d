"""EN 50325-5: pairs of CAN messages with explicit values, and all that is peculiar to the protocol.

The second message carries the octets of the first with every bit inverted; the sources of every
rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._checksum import (
    DIRECTIONS,
    Entry,
    checksum,
    default_identifiers,
    entries_of,
    mapping_problem,
    steps,
)
from ._frame import RECIPE
from ._session import SrdoSession

__all__ = [
    "DIRECTIONS",
    "Entry",
    "build",
    "checksum",
    "default_identifiers",
    "entries_of",
    "inspect",
    "mapping_problem",
    "session",
    "steps",
    "verify",
]


def build(
    *,
    data: bytes,
    identifier_1: int | None = None,
    identifier_2: int | None = None,
    node: int | None = None,
    mapped_octets: int | None = None,
    plain: bytes | None = None,
    sct_ms: int | None = None,
    srvt_ms: int | None = None,
    cycle_ms: int | None = None,
    validation_ms: int | None = None,
) -> bytes:
    """Return the octets of a pair: both messages with identifier, length and data.

    ``data`` are 0..8 octets. Raises UsageError for a value that is missing or outside its range,
    and for identifiers that are no pair. Times, ``plain`` and ``mapped_octets`` serve judging only.

    - ``data``: safety data, 0..8 octets, low octet first
    - ``identifier_1``: identifier of the plain message, odd, 0x101..0x17F; default by the node
    - ``identifier_2``: identifier of the inverted message; default one more
    - ``node``: node of the sender, 1..64
    - ``mapped_octets``: octets the receiver maps; default those of the plain message
    - ``plain``: data of the plain message before, for an inverted message alone
    - ``sct_ms``: refresh time (SCT)
    - ``srvt_ms``: validation time (SRVT)
    - ``cycle_ms``: measured: time since the pair before
    - ``validation_ms``: measured: time from plain to inverted message
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    data: bytes | None = None,
    identifier_1: int | None = None,
    identifier_2: int | None = None,
    node: int | None = None,
    mapped_octets: int | None = None,
    plain: bytes | None = None,
    sct_ms: int | None = None,
    srvt_ms: int | None = None,
    cycle_ms: int | None = None,
    validation_ms: int | None = None,
) -> Parsed:
    """Judge a received pair by what its receiver knows; return it when every check passes.

    One message alone may be given, too: an inverted one is judged by ``plain``, the data before it;
    a plain one alone cannot be judged, because half of the pair is not there.

    Checks in order: length, identifiers, lengths against ``mapped_octets``, inversion, the time
    ``validation_ms`` between the messages against ``srvt_ms``, the time ``cycle_ms`` since the
    pair before against ``sct_ms``, then the values given besides. Times are judged only where both
    are given. Raises FrameError for the first that fails or cannot be judged.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    data: bytes | None = None,
    identifier_1: int | None = None,
    identifier_2: int | None = None,
    node: int | None = None,
    mapped_octets: int | None = None,
    plain: bytes | None = None,
    sct_ms: int | None = None,
    srvt_ms: int | None = None,
    cycle_ms: int | None = None,
    validation_ms: int | None = None,
) -> Inspection:
    """Explain a received pair: parts, and a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(
    *,
    identifier_1: int,
    mapped_octets: int | None = None,
    sct_ms: int | None = None,
    srvt_ms: int | None = None,
    fresh: bool = True,
) -> Session:
    """Return a session of one data object: its ``sender`` sends, its ``receiver`` says nothing.

    It produces or judges single messages, plain and inverted in turn (or pairs in one piece).
    Where ``at(time_us)`` says when each comes, the two times are judged. ``fresh=False`` joins a
    stream in the middle, where an inverted message may come first.
    """
    return SrdoSession(
        identifier_1=identifier_1,
        mapped_octets=mapped_octets,
        sct_ms=sct_ms,
        srvt_ms=srvt_ms,
        fresh=fresh,
    )
