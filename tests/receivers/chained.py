"""FSCP 12/1: chained CRC_0, virtual sequence number, states of the start-up."""

from __future__ import annotations

import struct

from ..second import frame_12_1
from .observer import Told, number_for

RESET, SESSION, CONNECTION, PARAMETER, DATA, SAFE = 0x2A, 0x4E, 0x64, 0x52, 0x36, 0x08
STATE = {RESET: 0, SESSION: 1, CONNECTION: 2, PARAMETER: 3, DATA: 4, SAFE: 4}


def unblocked(octets: bytes) -> bytes:
    """Return the safety data without the CRCs."""
    if len(octets) == 6:
        return octets[1:2]
    return b"".join(octets[at : at + 2] for at in range(1, len(octets) - 2, 4))


def crc_0(octets: bytes) -> int:
    at = 2 if len(octets) == 6 else 3
    return int.from_bytes(octets[at : at + 2], "little")


class Side:
    def __init__(self, fresh: bool) -> None:
        self.next: int | None = 1 if fresh else None
        self.own: int | None = 0 if fresh else None
        self.peer: int | None = 0 if fresh else None


class Chained:
    """Both receivers of FSCP 12/1; side ``master`` starts the connection."""

    def __init__(
        self,
        *,
        identity: int,
        master: int,
        slave_address: int | None,
        watchdog_ms: int | None,
        fresh: bool,
    ) -> None:
        self.identity, self.master = identity, master
        self.slave_address, self.watchdog_ms = slave_address, watchdog_ms
        self.sides = [Side(fresh), Side(fresh)]
        self.first_session = fresh
        self.state: int | None = None
        self.asked: bytes | None = None
        self.text: bytes | None = None
        self.carries = True, True

    def data(self, octets: bytes) -> bytes:
        return unblocked(octets)

    def begins(self, octets: bytes) -> bool:
        return octets[0] in (RESET, SESSION)

    def _right(self, octets: bytes, peer: int, number: int, identity: int | None = None) -> bool:
        mine = int.from_bytes(octets[-2:], "little") if identity is None else identity
        built = frame_12_1(unblocked(octets), octets[0], mine, peer, number)
        return built[:-2] == octets[:-2]

    def _number(self, side: int, octets: bytes, identity: int) -> int:
        """Return the sequence number after the change rule."""
        own = self.sides[side]
        assert own.next is not None
        assert own.peer is not None
        off = side == self.master and octets[0] == SESSION and self.first_session
        block = unblocked(octets)[:2]
        if not off and crc_0(frame_12_1(block, octets[0], identity, own.peer, own.next)) == own.own:
            return own.next % 65535 + 1
        return own.next

    def _related(self, octets: bytes) -> bool:
        """Tell whether blocks belong together: some history gives all of them."""
        data = unblocked(octets)
        if len(data) < 4:
            return True
        # By the rule of facts 4.4 every later CRC moves by x^16 times what CRC_0 moves by.
        bare = frame_12_1(data, octets[0], 0, 0, 0)
        later = {
            int.from_bytes(bare[at : at + 2], "little")
            ^ int.from_bytes(octets[at : at + 2], "little")
            for at in range(7, len(octets) - 2, 4)
        }
        first = crc_0(octets) ^ crc_0(bare)
        return later == {_times_x16(first)}

    def judge(self, side: int, octets: bytes) -> str:
        size = len(octets)
        if size != 6 and (size < 7 or size % 4 != 3):
            return "rejected"
        command, identity = octets[0], int.from_bytes(octets[-2:], "little")
        if command not in STATE:
            return "rejected"
        if self._unexpected(side, command) or self._wrong_echo(side, octets):
            return "rejected"
        if command == RESET:
            if identity or not self._right(octets, 0, 1):
                return "rejected"
            for each in self.sides:
                each.next, each.own, each.peer = 1, 0, 0
            self.first_session = True
            return "accepted"
        wanted = 0 if command == SESSION else self.identity
        own, peer = self.sides[side], self.sides[1 - side]
        if identity != wanted:
            known = own.next is not None and own.peer is not None
            if command == SESSION or not known or not identity or len(unblocked(octets)) < 4:
                return "rejected"
            assert own.peer is not None
            number = self._number(side, octets, wanted)
            if self._right(octets, own.peer, number, wanted) or not self._related(octets):
                return "rejected"
            return "foreign"
        if own.next is None or own.peer is None:
            return self._learn(side, octets)
        number = self._number(side, octets, identity)
        if not self._right(octets, own.peer, number):
            if side != self.master or command != SESSION or not self._right(octets, 0, 1):
                return "rejected"
            number = 1
        self._advance(side, octets, number)
        assert peer.peer is not None
        return "accepted"

    def _advance(self, side: int, octets: bytes, number: int | None) -> None:
        own = self.sides[side]
        own.next = None if number is None else number % 65535 + 1
        own.own = self.sides[1 - side].peer = crc_0(octets)
        if side == self.master:
            self.first_session = False

    def _learn(self, side: int, octets: bytes) -> str:
        if not self._related(octets):
            return "rejected"
        own = self.sides[side]
        if own.peer is None:
            self._advance(side, octets, None)
            return "unknown"
        data, identity = unblocked(octets)[:2], int.from_bytes(octets[-2:], "little")
        seen = own.peer
        number = number_for(
            lambda value: crc_0(frame_12_1(data, octets[0], identity, seen, value)),
            16,
            crc_0(octets),
        )
        if not number:
            return "rejected"
        self._advance(side, octets, number)
        return "unknown"

    def _unexpected(self, side: int, command: int) -> bool:
        state = STATE[command]
        if command == RESET or self.state is None:
            return False
        if side != self.master:
            return state != self.state
        if state == 1:
            return self.state > 1
        return self.state not in (state - 1, state)

    def _wrong_echo(self, side: int, octets: bytes) -> bool:
        if side == self.master or octets[0] not in (CONNECTION, PARAMETER) or self.asked is None:
            return False
        data = unblocked(octets)
        chunk = min(len(data), len(self.asked))
        return data[:chunk] != self.asked[:chunk]

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        command, data = octets[0], unblocked(octets)
        state, before = STATE[command], self.state
        told: Told = []
        if command == RESET:
            self.state, self.asked, self.text = 0, None, None
            if before:
                told.append(("restart", True))
            told.append(("reset", bool(data[0])))
            return told, None, True
        if side == self.master or before is None:
            self.state = state
        if side == self.master:
            self.asked = data if state < 4 else None
            told += self._start(state, before, data)
        use = {DATA: "", SAFE: "FailSafeData"}.get(command)
        return told, use, False

    chunk = 0
    """Octets of the start-up in one frame: the smaller size of data."""

    def _start(self, state: int, before: int | None, data: bytes) -> Told:
        told: Told = []
        if state in (1, 2, 3) and state != before:
            told.append(("start-up", False))
            self.text = None if before is None else b""
        if state not in (2, 3) or self.text is None:
            return told
        was, self.text = len(self.text), self.text + data[: self.chunk]
        if state == 2 and was < 4 <= len(self.text):
            identity, address = struct.unpack("<HH", self.text[:4])
            wrong = identity == self.identity and self.slave_address not in (None, address)
            told.append(("address", wrong))
        if state == 3 and len(self.text) >= 6:
            length, watchdog, more = struct.unpack("<HHH", self.text[:6])
            if was < 6 + more <= len(self.text):
                wrong = length == 2 and self.watchdog_ms not in (None, watchdog)
                told.append(("parameters", wrong))
        return told


def _times_x16(value: int) -> int:
    for _ in range(16):
        value <<= 1
        if value >> 16:
            value ^= 0x139B7
    return value
