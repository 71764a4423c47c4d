"""EN 50325-5: one receiver, two messages for each pair, two times."""

from __future__ import annotations

import struct

from .observer import Event

SRVT_US = 20_000


class Paired:
    """The receiver of one data object: what a report must say, from the facts alone.

    Nothing is counted, so there is no history to be lost: what matters is the plain message that
    waits, and when the last pair came.
    """

    def __init__(
        self, *, sender: int, octets: int, identifier: int, sct_us: int, fresh: bool
    ) -> None:
        self.sender, self.octets, self.identifier = sender, octets, identifier
        self.sct_us, self.begun = sct_us, fresh
        self.waiting: tuple[int, bytes] | None = None
        self.pair_us: tuple[int, int] | None = None
        self.inverted_us: int | None = None
        self.used = False
        self.count = 0
        self.taken: tuple[int, int] | None = None
        self.events: list[Event] = []
        self.ones, self.zeros = [0, 0], [0, 0]
        self.with_data, self.in_use = [0, 0], [0, 0]

    def frame(self, time_us: int, side: int, octets: bytes) -> str:
        self.count += 1
        found = self._frame(time_us, side, octets)
        if found == "accepted":
            self.taken = time_us, self.count
        return found

    def finish(self) -> None:
        if self.waiting is not None and self.taken is not None and self.taken[1] != self.count:
            self._tell(self.taken[0], "incomplete")

    def _tell(self, time_us: int, kind: str, *, wrong: bool = True) -> None:
        self.events.append(Event(time_us, self.sender, kind, wrong))

    def _frame(self, time_us: int, side: int, octets: bytes) -> str:
        messages = _messages(octets)
        if side != self.sender or messages is None:
            return "rejected"
        if len(messages) == 2:
            return self._both(time_us, *messages)
        ((number, data),) = messages
        if number % 2:
            return self._plain(time_us, number, data)
        return self._inverted(time_us, number, data)

    def _plain(self, time_us: int, number: int, data: bytes) -> str:
        if number != self.identifier:
            return "rejected"
        self.begun = True
        replaced, self.waiting = self.waiting is not None, None
        if len(data) < self.octets:
            return "rejected"
        self.waiting = time_us, data
        if replaced:
            self._tell(time_us, "incomplete")
        self._longer(time_us, data)
        return "accepted"

    def _inverted(self, time_us: int, number: int, data: bytes) -> str:
        if number != self.identifier + 1:
            return "rejected"
        if self.waiting is None:
            if not self.begun:
                self.begun = True
                if len(data) < self.octets:
                    return "rejected"
                if self.count > 1:
                    self._tell(time_us, "incomplete")
                self.inverted_us = time_us
                return "unknown"
            self._tell(time_us, "incomplete")
            return "ignored"
        (plain_us, plain), self.waiting = self.waiting, None
        if len(data) < self.octets or not _opposite(plain, data, self.octets):
            return "rejected"
        if time_us - plain_us > SRVT_US:
            return "rejected"
        return self._pair(plain_us, time_us, data)

    def _both(self, time_us: int, one: tuple[int, bytes], two: tuple[int, bytes]) -> str:
        if (one[0], two[0]) != (self.identifier, self.identifier + 1):
            return "rejected"
        self.begun, self.waiting = True, None
        if min(len(one[1]), len(two[1])) < self.octets:
            return "rejected"
        if not _opposite(one[1], two[1], self.octets):
            return "rejected"
        return self._pair(time_us, time_us, one[1], inverted=False)

    def _pair(self, plain_us: int, time_us: int, data: bytes, *, inverted: bool = True) -> str:
        before = self.pair_us, self.inverted_us
        self.pair_us, self.inverted_us = (plain_us, time_us), time_us
        late = before[1] is not None and time_us - before[1] > self.sct_us
        late |= before[0] is not None and plain_us - before[0][0] > self.sct_us
        if late:
            return "rejected"
        self._longer(time_us, data)
        side = self.sender
        self.with_data[side] += 1
        self.in_use[side] += 1
        if not self.used:
            self.used = True
            self._tell(time_us, "in use", wrong=False)
        whole = (1 << 8 * self.octets) - 1
        word = int.from_bytes(data[: self.octets], "little")
        word ^= whole if inverted else 0
        self.ones[side] |= word
        self.zeros[side] |= word ^ whole
        return "accepted"

    def _longer(self, time_us: int, data: bytes) -> None:
        if len(data) > self.octets:
            self._tell(time_us, "longer")


def _opposite(plain: bytes, inverted: bytes, octets: int) -> bool:
    pairs = zip(plain[:octets], inverted[:octets], strict=True)
    return all(one + two == 255 for one, two in pairs)


def _messages(octets: bytes) -> list[tuple[int, bytes]] | None:
    """Return one message or two that follow each other, None for anything else."""
    found: list[tuple[int, bytes]] = []
    while octets and len(found) < 2:
        if len(octets) < 3 or octets[2] > 8 or len(octets) < 3 + octets[2]:
            return None
        number, size = struct.unpack(">HB", octets[:3])
        found.append((number, octets[3 : 3 + size]))
        octets = octets[3 + size :]
    return found if found and not octets else None
