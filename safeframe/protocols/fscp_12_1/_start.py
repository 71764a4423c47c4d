"""FSCP 12/1 start-up: what both sides send in Reset, Session, Connection and Parameter.

The master speaks, the slave answers with the same command. Only as many octets as the smaller
of the two data sizes carry start-up data, so longer items are spread over several frames. The
fifth state, Data, follows with ProcessData or FailSafeData. Sources: two implementations, the
adoption of edition 2010 and the published exchange, which these steps reproduce.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

from ..._engine.parts import le
from ..._errors import UsageError
from ..aspects import OpeningFrame
from ..link import Link
from . import _frame as fscp_12_1

STATES = ("Reset", "Session", "Connection", "Parameter", "Data")
LEGAL_IN = {
    fscp_12_1.RESET: STATES,
    fscp_12_1.SESSION: ("Reset", "Session"),
    fscp_12_1.CONNECTION: ("Session", "Connection"),
    fscp_12_1.PARAMETER: ("Connection", "Parameter"),
    fscp_12_1.PROCESS_DATA: ("Parameter", "Data"),
    fscp_12_1.FAIL_SAFE_DATA: ("Parameter", "Data"),
}
"""States in which a receiver takes a command; the first of two holds for the slave only."""

_COMMUNICATION_OCTETS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class StartFrame:
    """One frame of the start-up: who sends it in which state, with which command and data."""

    sender: str
    state: str
    command: int
    data: bytes


def parameters(watchdog_ms: int, application: bytes = b"") -> bytes:
    """Return the parameters as sent: length 2, watchdog, length and application parameters.

    Raises UsageError for a watchdog outside 1..65535 ms or more than 65535 octets.
    """
    if not 1 <= watchdog_ms <= 65535:
        raise UsageError(f"watchdog_ms must be 1..65535, not {watchdog_ms}")
    if len(application) > 65535:
        raise UsageError(f"application must be at most 65535 octets, not {len(application)}")
    return struct.pack("<HHH", _COMMUNICATION_OCTETS, watchdog_ms, len(application)) + application


def start_up(
    *,
    master_octets: int,
    slave_octets: int,
    connection_id: int,
    slave_address: int,
    watchdog_ms: int,
    application: bytes = b"",
    master_session: int,
    slave_session: int,
    error_code: int = 0,
) -> Iterator[StartFrame]:
    """Yield the frames from Reset up to the last Parameter answer.

    ``master_octets`` and ``slave_octets`` are the sizes of the safety data each side sends;
    the session ids are 16-bit numbers each side draws by chance; ``error_code`` is what the
    first Reset of the master says. Raises UsageError for values out of range.
    """
    for name, value, least in (
        ("connection_id", connection_id, 1),
        ("slave_address", slave_address, 0),
        ("master_session", master_session, 0),
        ("slave_session", slave_session, 0),
    ):
        if not least <= value <= 65535:
            raise UsageError(f"{name} must be {least}..65535, not {value}")
    if not 0 <= error_code <= 255:
        raise UsageError(f"error_code must be 0..255, not {error_code}")
    sizes = {"master": master_octets, "slave": slave_octets}
    for size in sizes.values():
        fscp_12_1.RECIPE.shape(size, "data")
    chunk = min(sizes.values())
    connect = le(connection_id) + le(slave_address)
    given = parameters(watchdog_ms, application)
    phases = (
        ("Reset", fscp_12_1.RESET, bytes((error_code,)), bytes(1)),
        ("Session", fscp_12_1.SESSION, le(master_session), le(slave_session)),
        ("Connection", fscp_12_1.CONNECTION, connect, connect),
        ("Parameter", fscp_12_1.PARAMETER, given, given),
    )
    for state, command, asked, answered in phases:
        for at in range(0, len(asked), chunk):
            for sender, whole in (("master", asked), ("slave", answered)):
                data = whole[at : at + chunk].ljust(sizes[sender], b"\0")
                yield StartFrame(sender=sender, state=state, command=command, data=data)


def _opening(link: Link, random: Random) -> Iterator[OpeningFrame]:
    """Yield the start-up of a connection and one fail-safe frame of each side.

    Both sides draw their session ids by chance, the master first.
    """
    sides = {word: side for side, word in enumerate(link.senders)}
    slave = link.connection.ends[sides["slave"]]
    if link.watchdog_us is None:
        raise UsageError(f"{link.connection.name} must state watchdog_ms for a start-up")
    sizes = {word: link.sent(side).size_octets for word, side in sides.items()}
    drawn = [int(random.random() * 65536) for _ in range(2)]
    steps = start_up(
        master_octets=sizes["master"],
        slave_octets=sizes["slave"],
        connection_id=link.settings["connection_id"],
        slave_address=slave.address or 0,
        watchdog_ms=link.watchdog_us // 1000,
        application=bytes.fromhex(str(dict(slave.parameters).get("application_parameters", ""))),
        master_session=drawn[0],
        slave_session=drawn[1],
    )
    for step in steps:
        yield OpeningFrame(sides[step.sender], {"command": step.command, "data": step.data})
    for word in ("master", "slave"):
        values = {"command": fscp_12_1.FAIL_SAFE_DATA, "data": bytes(sizes[word])}
        yield OpeningFrame(sides[word], values)


START_UP = _opening
