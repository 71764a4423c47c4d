"""FSCP 12/1: command, blocks of data with a CRC each, connection id.

The sequence number and the CRC_0 of the peer's last frame enter every CRC and are never on the
wire. Sources of every rule: the profile's page.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import cache

from ..._engine.parts import cut_named, hex_of, lacking, le, missing, unequal
from ..._engine.recipe import (
    Check,
    Cover,
    FrameLayout,
    Outcome,
    Recipe,
    Seen,
    Unknown,
    Value,
    Values,
)
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE, function

RESET, SESSION, CONNECTION = 0x2A, 0x4E, 0x64
PARAMETER, PROCESS_DATA, FAIL_SAFE_DATA = 0x52, 0x36, 0x08
COMMANDS = {
    RESET: "Reset",
    SESSION: "Session",
    CONNECTION: "Connection",
    PARAMETER: "Parameter",
    PROCESS_DATA: "ProcessData",
    FAIL_SAFE_DATA: "FailSafeData",
}
"""Values from ETG.5100 8.1.2 as quoted by a note, two implementations and a device manual."""

ERROR_CODES = {
    0: "local reset or acknowledge",
    1: "unexpected command",
    2: "unknown command",
    3: "invalid connection id",
    4: "invalid CRC",
    5: "watchdog expired",
    6: "invalid address",
    7: "invalid data",
    8: "invalid length of communication parameters",
    9: "invalid communication parameter",
    10: "invalid length of application parameters",
    11: "invalid application parameter",
}
"""First data octet of a Reset frame; 0x80 and up are codes of the device."""

_WITHOUT_ID = frozenset((RESET, SESSION))
_ZEROS = bytes(3)
_ALGORITHM = CATALOGUE["fscp-12-1/crc16"]
_POLY = 1 << 16 | _ALGORITHM.poly
_HEAD = struct.Struct("<HHHB")
_HISTORY = ("peer_crc0", "sequence")
_FED_HISTORY = (("CRC_0 of the peer's last frame", "peer_crc0"), ("sequence number", "sequence"))
_FEED = (
    ("CRC_0 of the peer's last frame", 2),
    ("connection id", 2),
    ("sequence number", 2),
    ("command", 1),
)


def _head(history: Values, values: Values) -> bytes:
    """Return what enters every CRC of a frame first."""
    return _HEAD.pack(
        history["peer_crc0"], values["connection_id"], history["sequence"], values["command"]
    )


def _covered(head: bytes, index: int, block: bytes) -> bytes:
    """Return the octets that enter CRC_i; ``head`` is what all blocks of a frame share."""
    if index:
        return head + le(index) + block + _ZEROS
    return head + block + _ZEROS


def block_crc(
    block: bytes,
    *,
    peer_crc0: int,
    connection_id: int,
    sequence: int,
    command: int,
    index: int = 0,
) -> int:
    """Return CRC_i of one block of 1 or 2 data octets; ``index`` is i."""
    head = _HEAD.pack(peer_crc0, connection_id, sequence, command)
    return function(_ALGORITHM)(_covered(head, index, block))


@cache
def _engine() -> Callable[[bytes], int]:
    """Return the CRC engine, looked up once: a long recording asks for it a million times."""
    return function(_ALGORITHM)


def unblocked(octets: bytes) -> bytes:
    """Return what a frame of legal length carries in the places of safety data."""
    size = len(octets)
    if size < 8:
        return octets[1 : size - 4]
    return b"".join([octets[at : at + 2] for at in range(1, size - 2, 4)])


def first_crc(octets: bytes, *, peer_crc0: int, sequence: int) -> int:
    """Return what CRC_0 of a frame must be; ``octets`` is a frame of legal length."""
    head = _HEAD.pack(peer_crc0, octets[-2] | octets[-1] << 8, sequence, octets[0])
    return _engine()(head + octets[1 : 2 if len(octets) == 6 else 3] + _ZEROS)


def later_crcs_hold(octets: bytes, *, peer_crc0: int, sequence: int) -> bool:
    """Tell whether CRC_1, CRC_2 ... of a frame of legal length are right."""
    if len(octets) < 8:
        return True  # There is only one.
    head = _HEAD.pack(peer_crc0, octets[-2] | octets[-1] << 8, sequence, octets[0])
    crc = _engine()
    for at in range(5, len(octets) - 2, 4):
        covered = _covered(head, at >> 2, octets[at : at + 2])
        if crc(covered) != octets[at + 2] | octets[at + 3] << 8:
            return False
    return True


def next_sequence(sequence: int) -> int:
    """Return the sequence number of the next frame: 65535 is followed by 1, 0 is skipped."""
    return sequence + 1 if sequence < 65535 else 1


def _blocks(data: bytes) -> list[bytes]:
    return [data[at : at + 2] for at in range(0, len(data), 2)]


@cache
def _shape(data_octets: int, kind: str = "data") -> FrameLayout:
    if data_octets != 1 and (data_octets < 2 or data_octets % 2):
        raise UsageError(f"data must be 1 or an even number of octets, not {data_octets}")
    width = 1 if data_octets == 1 else 2
    pairs = [((f"data_{i}", width), (f"crc_{i}", 2)) for i in range((data_octets + 1) // 2)]
    parts = (part for pair in pairs for part in pair)
    return FrameLayout(kind, data_octets, (("command", 1), *parts, ("connection_id", 2)))


def _find(octets: bytes, known: Values) -> FrameLayout:
    size = len(octets)
    if size == 6:
        return _shape(1)
    if size < 7 or size % 4 != 3:
        raise FrameError(
            f"the length must be 6 or 7, 11, 15 ... octets, not {size}", check="length"
        )
    return _shape((size - 3) // 2)


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    blocks = where.data_octets // 2
    data = b"".join([octets[1 + 4 * i : 3 + 4 * i] for i in range(blocks)]) or octets[1:2]
    return {
        "command": octets[0],
        "data": data,
        "connection_id": octets[-2] | octets[-1] << 8,
    }


def _write(values: Values) -> bytes:
    missing(values, "data")
    data, command = values["data"], values["command"]
    _shape(len(data))
    if command in _WITHOUT_ID:
        values = values | {"connection_id": 0}
    missing(values, "connection_id")
    crc = function(_ALGORITHM)
    head = _head(values, values)
    parts = [head[6:]]
    for index, block in enumerate(_blocks(data)):
        parts += (block, le(crc(_covered(head, index, block))))
    parts.append(le(values["connection_id"]))
    return b"".join(parts)


def _check_command(seen: Seen) -> Outcome:
    command = seen.values["command"]
    if command in COMMANDS:
        return None
    return f"command must be one of {', '.join(COMMANDS.values())}, not {command:#04x}"


def _check_connection(seen: Seen) -> Outcome:
    carried = seen.values["connection_id"]
    wanted = 0 if seen.values["command"] in _WITHOUT_ID else seen.known.get("connection_id")
    if wanted is None:
        return Unknown("connection_id is not known")
    if carried == wanted:
        return None
    return f"connection_id is {hex_of(carried, 2)}, expected {hex_of(wanted, 2)}"


def _check_crc(seen: Seen) -> Outcome:
    if absent := lacking(seen.known, *_HISTORY):
        return Unknown(absent)
    values, octets, crc = seen.values, seen.octets, function(_ALGORITHM)
    head = _head(seen.known, values)
    for index, block in enumerate(_blocks(values["data"])):
        at = 1 + 4 * index + len(block)
        carried = octets[at] | octets[at + 1] << 8
        computed = crc(_covered(head, index, block))
        if carried != computed:
            return unequal(f"CRC_{index}", carried, computed, 2)
    return None


def _times(value: int, power: int) -> int:
    """Return value * x^power modulo the generator polynomial."""
    for _ in range(power):
        value <<= 1
        if value >> 16:
            value ^= _POLY
    return value


@cache
def _x40_x56(step: int) -> tuple[int, int]:
    return _times(1 << step, 40), _times(1 << step, 56)


def _sum(value: int, column: int) -> int:
    """Return value * x^40 (column 0) or value * x^56 (column 1)."""
    result = 0
    for step in range(16):
        if value >> step & 1:
            result ^= _x40_x56(step)[column]
    return result


def related(octets: bytes) -> int | None:
    """Return the first block i > 0 whose CRC does not belong to block 0, or None.

    CRC_i = CRC_0 x^16 + (D_0 + I_i) x^56 + D_i x^40 holds without knowing the sequence number
    or the peer's CRC (derived from the CRC rule; true for all 59 such CRCs of the published
    exchange). It proves that the blocks belong together, never that CRC_0 is right. ``octets``
    is a frame of legal length.
    """
    where = _find(octets, {})
    crc_0 = octets[3] | octets[4] << 8
    data_0 = octets[1] << 8 | octets[2]
    base = _times(crc_0, 16)
    for index in range(1, where.data_octets // 2):
        at = 1 + 4 * index
        carried = octets[at + 2] | octets[at + 3] << 8
        data_i = octets[at] << 8 | octets[at + 1]
        index_i = (index & 255) << 8 | index >> 8
        if carried != base ^ _sum(data_0 ^ index_i, 1) ^ _sum(data_i, 0):
            return index
    return None


def _check_related(seen: Seen) -> Outcome:
    if seen.layout.data_octets < 4 or not lacking(seen.known, *_HISTORY):
        return None  # with the history the CRCs themselves have been judged.
    index = related(seen.octets)
    return None if index is None else f"block {index} does not belong to block 0"


def _covers(seen: Seen) -> tuple[Cover, ...]:
    absent = lacking(seen.known, *_HISTORY)
    unsure = dict.fromkeys(_HISTORY, 0)
    values, parts, found = seen.values, seen.parts, []
    head = _head(unsure | seen.known, values)
    blank = {text for text, name in _FED_HISTORY if name not in seen.known}
    for index, block in enumerate(_blocks(values["data"])):
        octets = _covered(head, index, block)
        tail = [("block index", 2)] if index else []
        names = (*_FEED, *tail, ("data", len(block)), ("three zero octets", 3))
        found.append(
            Cover(
                name=f"crc_{index}",
                algorithm=_ALGORITHM,
                init=0,
                feeds=tuple(
                    (text, b"" if text in blank else run) for text, run in cut_named(octets, names)
                ),
                carried=int.from_bytes(parts[f"crc_{index}"], "little"),
                computed=None if absent else function(_ALGORITHM)(octets),
                unknown=absent,
            )
        )
    return tuple(found)


def _mean(name: str, octets: bytes) -> str:
    if name == "command":
        return COMMANDS.get(octets[0], "unknown command")
    if name.startswith("data_"):
        return f"data octets of block {name[5:]}"
    return hex_of(int.from_bytes(octets, "little"), 2)


RECIPE = Recipe(
    name="fscp-12-1",
    kinds=("data",),
    values=(
        Value(name="data", meaning="safety data, 1 or an even number of octets", octets=-1),
        Value(
            name="command",
            meaning="Reset 0x2A, Session 0x4E, Connection 0x64, Parameter 0x52, "
            "ProcessData 0x36 or FailSafeData 0x08",
            default=PROCESS_DATA,
            most=255,
        ),
        Value(
            name="connection_id",
            meaning="of the connection; Reset and Session frames carry 0",
            most=65535,
        ),
        Value(
            name="peer_crc0",
            meaning="CRC_0 of the last frame received from the peer, 0 at the start of a session",
            carried=False,
            default=0,
            most=65535,
        ),
        Value(
            name="sequence",
            meaning="virtual sequence number of this frame; 1 at the start, 0 is skipped",
            carried=False,
            default=1,
            least=1,
            most=65535,
        ),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={
        "data": (
            Check(name="command", title="a known command", run=_check_command),
            Check(
                name="connection_id",
                title="the connection id of this connection, 0 in Reset and Session",
                run=_check_connection,
                compares="connection_id",
            ),
            Check(name="crc", title="every CRC, from CRC_0 on", run=_check_crc),
            Check(
                name="blocks",
                title="the blocks belong together (needs no history)",
                run=_check_related,
            ),
        )
    },
    covers=_covers,
    mean=_mean,
    shape=_shape,
    identity=frozenset(("connection_id",)),
    order="command, connection id, CRC as in IEC 61784-3-12 (2010) and implementation A; "
    "the history-free relation is ours and comes last",
)
