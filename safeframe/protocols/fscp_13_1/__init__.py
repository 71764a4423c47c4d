"""FSCP 13/1: frames with explicit values, sessions, and all that is peculiar to the protocol.

Two subframes carry the same data, a CRC each; domain and manager id are put in by XOR.
Sizes are in octets; the sources of every rule are on the page of the profile, ``docs/profiles``.
"""

from __future__ import annotations

from ..._engine import frames
from ..._engine.recipe import Inspection, Parsed
from ..._engine.stream import Session
from ._access import ABORTS, Access, Turn, download, pack, parameter_check, unpack, upload
from ._frame import IDS, MANAGEMENT, RECIPE
from ._management import COMMANDS, ERROR_GROUPS, Command, command
from ._session import Fscp13Session

__all__ = [
    "ABORTS",
    "COMMANDS",
    "ERROR_GROUPS",
    "IDS",
    "MANAGEMENT",
    "Access",
    "Command",
    "Turn",
    "build",
    "command",
    "download",
    "inspect",
    "pack",
    "parameter_check",
    "session",
    "unpack",
    "upload",
    "verify",
]


def build(
    *,
    data: bytes,
    id: int = 49,  # noqa: A002 - the name of the value.
    address: int,
    domain: int,
    consecutive_time: int = 0,
    target: int = 0,
    request: int = 0,
    manager_id: bytes = bytes(6),
) -> bytes:
    """Return the octets of a frame.

    ``data`` are 0..254 octets, ``id`` is 40..45, 47..53 or 56..59. Raises UsageError for a value
    that is missing or outside its range, and for a ``target`` that does not fit the id.

    - ``data``: safety data, 0..254 octets
    - ``id``: message id, 40..45, 47..53 or 56..59
    - ``address``: address of the sender; in service and management frames of the receiver
    - ``domain``: safety domain number
    - ``consecutive_time``: time of the sender
    - ``target``: other address: 0 in data-only, the sender in service and management frames
    - ``request``: time-request counter
    - ``manager_id``: 6 octets of the domain's manager; all zero means none
    """
    return frames.build(RECIPE, **frames.stated(locals()))


def verify(
    octets: bytes,
    *,
    data: bytes | None = None,
    id: int | None = None,  # noqa: A002 - the name of the value.
    address: int | None = None,
    domain: int | None = None,
    consecutive_time: int | None = None,
    target: int | None = None,
    request: int | None = None,
    manager_id: bytes | None = None,
) -> Parsed:
    """Judge a received frame by what its receiver knows; return it when every check passes.

    The values are those of ``build``; None stands for what is not known. Checks in order: length,
    id, ranges, domain, address and target, both CRCs, the two copies, then the values given
    besides.
    Raises FrameError for the first that fails or cannot be judged, and UsageError for a value
    outside its range.
    """
    return frames.verify(RECIPE, octets, **frames.stated(locals()))


def inspect(
    octets: bytes,
    *,
    data: bytes | None = None,
    id: int | None = None,  # noqa: A002 - the name of the value.
    address: int | None = None,
    domain: int | None = None,
    consecutive_time: int | None = None,
    target: int | None = None,
    request: int | None = None,
    manager_id: bytes | None = None,
) -> Inspection:
    """Explain a received frame: parts, every CRC with what it covers, a verdict for every check.

    The values are those of ``verify``. Never raises for wrong octets, only UsageError for a value
    outside its range.
    """
    return frames.inspect(RECIPE, octets, **frames.stated(locals()))


def session(*, domain: int, manager_id: bytes = bytes(6), fresh: bool = True) -> Session:
    """Return a session; its senders are addresses 1..1023 as text.

    It produces or judges the frames of each; ``fresh=False`` joins a stream in the middle.
    """
    return Fscp13Session(domain=domain, manager_id=manager_id, fresh=fresh)
