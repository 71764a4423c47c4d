"""Long exchanges of FSCP 12/1 at once: chained CRC_0, the change rule, all block CRCs.

CRC_0 of frame k is affine in CRC_0 of frame k - 1 (of the peer): c_k = M c_(k-1) + d_k. Cutting
the exchange into lanes that run side by side turns the chain into vector steps. The change rule
(two successive frames of one sender must not carry the same CRC_0) breaks the line: the scan
stops there, moves that sender's number on, and goes on. Needs numpy (extra ``batch``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..._errors import UsageError
from ...crc import CATALOGUE
from ...crc.batch import tables
from . import _frame as fscp_12_1

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Octets = NDArray[np.uint8]
    Words = NDArray[np.uint16]

__all__ = ["Chain", "Start", "build", "chain"]

_ALGORITHM = CATALOGUE["fscp-12-1/crc16"]
_STEPS = 64
_WINDOW = 512 * _STEPS
"""Frames per scan: long lanes side by side; one scan in two meets the change rule on average."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The state before an exchange: numbers of the two senders, the last CRC_0 of each.

    The first sender sends frames 0, 2, 4 ... and the second frames 1, 3, 5 ...; ``sequence``
    are the numbers of their next frames, ``crc0`` what each sent last.
    """

    sequence: tuple[int, int] = (1, 1)
    crc0: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What the exchange hides, one entry per frame: number, received CRC_0, own CRC_0."""

    sequence: Words
    peer_crc0: Words
    crc0: Words


@dataclass(frozen=True, slots=True, kw_only=True)
class _Columns:
    """What each field adds to a CRC: the start register and the final XOR are 0, so sums do.

    ``peer``, ``number`` and a block of two octets have 64 Ki entries, the others 256;
    ``rows`` are the tables per octet.
    """

    peer: Words
    number: Words
    command: Words
    block: Words
    rows: Words

    def word(self, place: int, value: int) -> np.uint16:
        """Return what a constant word adds whose low octet is at ``place``."""
        low, high = self.rows[place, value & 255], self.rows[place + 1, value >> 8]
        return np.uint16(low ^ high)


@lru_cache(maxsize=3)
def _columns(block_octets: int, indexed: bool = False) -> _Columns:
    """Return the tables for a block of 1 or 2 octets, with or without a block index."""
    at = 9 if indexed else 7
    made, _ = tables(_ALGORITHM, at + block_octets, b"", bytes(3))
    rows = made.astype(np.uint16)

    def pair(low: int) -> Words:
        table: Words = (rows[low + 1][:, None] ^ rows[low][None, :]).reshape(-1)
        return table

    block = pair(at) if block_octets == 2 else rows[at]
    return _Columns(peer=pair(0), number=pair(4), command=rows[6], block=block, rows=rows)


@lru_cache(maxsize=2)
def _far(block_octets: int) -> list[int]:
    """Return what a CRC_0 becomes after ``_STEPS`` frames that add nothing."""
    step = _columns(block_octets).peer
    far = step
    for _ in range(_STEPS - 1):
        far = step[far]
    values: list[int] = far.tolist()
    return values


def _block_values(data: Octets, index: int) -> Words:
    """Return block ``index`` of every row as numbers, the low octet first."""
    if data.shape[1] == 1:
        return data[:, 0].astype(np.uint16)
    return np.ascontiguousarray(data[:, 2 * index : 2 * index + 2]).view("<u2")[:, 0]


def _numbers(first: int, count: int) -> Words:
    """Return ``count`` sequence numbers from ``first`` on; 65535 is followed by 1."""
    return ((first - 1 + np.arange(count)) % 65535 + 1).astype(np.uint16)


def _scan(block_octets: int, added: Words, start: int) -> Words:
    """Return c with c[k] = peer(c[k - 1]) ^ added[k] and c[-1] = start.

    The first pass runs all lanes from 0 and finds where each ends, a short loop carries the true
    ends from lane to lane, the second pass runs all lanes from their true starts.
    """
    step, far = _columns(block_octets).peer, _far(block_octets)
    lanes = -(-len(added) // _STEPS)
    padded = np.zeros(lanes * _STEPS, dtype=np.uint16)
    padded[: len(added)] = added
    columns = np.ascontiguousarray(padded.reshape(lanes, _STEPS).T)
    ends = np.zeros(lanes, dtype=np.uint16)
    for column in columns:
        ends = step[ends] ^ column
    starts = []
    for end in ends.tolist():
        starts.append(start)
        start = far[start] ^ end
    current = np.array(starts, dtype=np.uint16)
    result = np.empty_like(columns)
    for row, column in zip(result, columns, strict=True):
        np.bitwise_xor(step[current], column, out=row)
        current = row
    return np.ascontiguousarray(result.T).reshape(-1)[: len(added)]


def chain(
    blocks: Octets, commands: Octets, connection_id: int, start: Start | None = None
) -> Chain:
    """Return the hidden state of an exchange whose frames alternate between two senders.

    ``blocks`` (frames, 1 or 2) are the data octets of block 0 of each frame, ``commands``
    (frames,) their commands, neither Reset nor Session, both of uint8. Raises UsageError for
    other shapes.
    """
    count = len(blocks)
    if blocks.ndim != 2 or blocks.shape[1] not in (1, 2) or commands.shape != (count,):
        raise UsageError(
            "blocks must be (frames, 1 or 2) and commands (frames,), "
            f"not {blocks.shape} and {commands.shape}"
        )
    if not 0 <= connection_id <= 65535:
        raise UsageError(f"connection_id must be 0..65535, not {connection_id}")
    start = start or Start()
    block_octets = blocks.shape[1]
    columns = _columns(block_octets)
    fixed = columns.block[_block_values(blocks, 0)] ^ columns.command[commands]
    fixed ^= columns.word(2, connection_id)
    sequence = np.empty(count, dtype=np.uint16)
    crc0 = np.empty(count + 2, dtype=np.uint16)
    crc0[:2] = start.crc0
    numbers = list(start.sequence)
    done = 0
    while done < count:
        size = min(_WINDOW, count - done)
        here = sequence[done : done + size]
        for place in (0, 1):
            here[place::2] = _numbers(numbers[(done + place) & 1], len(here[place::2]))
        added = fixed[done : done + size] ^ columns.number[here]
        scanned = _scan(block_octets, added, int(crc0[done + 1]))
        crc0[done + 2 : done + 2 + size] = scanned
        same = np.flatnonzero(scanned == crc0[done : done + size])
        kept = int(same[0]) if len(same) else size
        for place in (0, 1):
            if kept > place:
                last = int(here[place + (kept - 1 - place) // 2 * 2])
                numbers[(done + place) & 1] = fscp_12_1.next_sequence(last)
        done += kept
        if len(same):
            # The change rule: this frame takes the number after the one that did not work.
            numbers[done & 1] = fscp_12_1.next_sequence(numbers[done & 1])
    return Chain(sequence=sequence, peer_crc0=crc0[1:-1], crc0=crc0[2:])


def _frames(data: Octets, commands: Octets, connection_id: int, part: Chain) -> Octets:
    """Return the frames of one sender whose hidden state is known."""
    count, size = data.shape
    where = fscp_12_1.RECIPE.shape(size, "data")
    frames = np.empty((count, where.size_octets), dtype=np.uint8)
    frames[:, 0] = commands
    frames[:, -2] = connection_id & 255
    frames[:, -1] = connection_id >> 8
    columns = _columns(2, indexed=True)
    shared = columns.peer[part.peer_crc0] ^ columns.number[part.sequence]
    shared ^= columns.command[commands] ^ columns.word(2, connection_id)
    for index in range((size + 1) // 2):
        crc = part.crc0
        if index:
            crc = shared ^ columns.block[_block_values(data, index)] ^ columns.word(7, index)
        block, at = where.slices[f"data_{index}"], where.slices[f"crc_{index}"].start
        frames[:, block] = data[:, 2 * index : 2 * index + 2]
        frames[:, at] = crc & 255
        frames[:, at + 1] = crc >> 8
    return frames


def build(
    first: Octets,
    second: Octets,
    connection_id: int,
    *,
    command: int = fscp_12_1.PROCESS_DATA,
    start: Start | None = None,
) -> tuple[Octets, Octets, Chain]:
    """Return the frames of an exchange: those of the first sender, of the second, and the chain.

    ``first`` (frames, octets) and ``second`` hold the safety data of the two senders, who take
    turns; the first sender has as many frames as the second or one more. Both must have one data
    octet, or both an even number. Raises UsageError otherwise.
    """
    if len(first) - len(second) not in (0, 1):
        raise UsageError(
            "the first sender must have as many frames as the second or one more, "
            f"not {len(first)} and {len(second)}"
        )
    widths = {min(2, data.shape[1]) for data in (first, second)}
    if len(widths) != 1:
        raise UsageError("both senders must have one data octet, or both an even number")
    blocks = np.empty((len(first) + len(second), widths.pop()), dtype=np.uint8)
    blocks[0::2] = first[:, : blocks.shape[1]]
    blocks[1::2] = second[:, : blocks.shape[1]]
    commands = np.full(len(blocks), command, dtype=np.uint8)
    found = chain(blocks, commands, connection_id, start)
    made = []
    for place, data in enumerate((first, second)):
        part = Chain(
            sequence=found.sequence[place::2],
            peer_crc0=found.peer_crc0[place::2],
            crc0=found.crc0[place::2],
        )
        made.append(_frames(data, commands[place::2], connection_id, part))
    return made[0], made[1], found
