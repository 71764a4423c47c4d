"""FSCP 3/1 and OPC UA Safety: numbers that are not sent, numbers that are asked for."""

from __future__ import annotations

import struct

from ..second import frame_3_1, response_ua
from .observer import Told, number_for

_CRC_ERROR, _WATCHDOG, _ACTIVE, _TOGGLE = 4, 8, 16, 32


class Virtual:
    """Both receivers of FSCP 3/1; side ``host`` sends control octets, the other status octets."""

    def __init__(self, *, parameter_crc: int, host: int, fresh: bool) -> None:
        self.parameter_crc, self.host = parameter_crc, host
        self.next: list[int | None] = [0, 0] if fresh else [None, None]
        self.last: list[int | None] = [None, None]
        self.used: list[int | None] = [None, None]
        self.octet = [0, 0]
        self.heard = [False, False]
        self.same = False
        self.carries = True, True

    def data(self, octets: bytes) -> bytes:
        return octets[:-4]

    def begins(self, octets: bytes) -> bool:
        return False

    def _resets(self, side: int, octets: bytes) -> bool:
        return bool(octets[-4] & (0x04 if side == self.host else 0x40))

    def judge(self, side: int, octets: bytes) -> str:
        if not 4 <= len(octets) <= 16:
            return "rejected"
        status, following = octets[-4], self.next[side]
        self.same = False
        if following is None:
            found = number_for(
                lambda number: int.from_bytes(
                    frame_3_1(octets[:-4], status, number, self.parameter_crc)[-3:], "big"
                ),
                24,
                int.from_bytes(octets[-3:], "big"),
            )
            assert found is not None  # 24 bits of number reach every CRC of 24 bits.
            self.last[side], self.next[side] = found, _after(found)
            return "unknown"
        tries = [(following, False)]
        last = self.last[side]
        if last is not None:
            tries.append((last, True))
        if self._resets(side, octets):
            tries.append((0, False))
        for number, same in tries:
            if bool(status & _TOGGLE) != bool(number & 1):
                continue
            if frame_3_1(octets[:-4], status, number, self.parameter_crc) == octets:
                self.last[side], self.next[side] = number, _after(number)
                self.same = same
                return "accepted"
        return "rejected"

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        status, before = octets[-4], self.octet[side]
        rising = status & ~before
        told: Told = []
        if self.same:
            told.append(("same number", False))
        if self._resets(side, octets) and not self._resets(side, bytes([before, 0, 0, 0])):
            told.append(("number reset", self.heard[side]))
        if side == self.host:
            if rising & 1:
                told.append(("parameters", False))
        else:
            for bit, kind in (
                (2, "device fault"),
                (_CRC_ERROR, "CRC error"),
                (_WATCHDOG, "watchdog"),
                (128, "reserved bits"),
            ):
                if rising & bit:
                    told.append((kind, True))
        self.octet[side], self.heard[side] = status, True
        use = ""
        if side == self.host:
            device = self.octet[1 - side]
            if status & _ACTIVE:
                use = "ordered"
            elif device & (_CRC_ERROR | _WATCHDOG | _ACTIVE):
                use = f"device {device & 0x1C}"
        elif status & (_CRC_ERROR | _WATCHDOG | _ACTIVE):
            use = f"{status & 0x1C}"
        return told, use, False


def _after(number: int) -> int:
    return number + 1 if number < 0xFFFFFF else 1


class Asked:
    """Consumer and provider of OPC UA Safety; side ``consumer`` asks."""

    def __init__(self, *, consumer: int, consumer_id: int, spdu_ids: tuple[int, int, int]) -> None:
        self.consumer, self.consumer_id, self.ids = consumer, consumer_id, spdu_ids
        self.number: int | None = None
        self.asked: int | None = None
        self.answered: int | None = None
        self.flags = [0, 0]
        self.waits = False
        self.carries = consumer == 1, consumer == 0

    def data(self, octets: bytes) -> bytes:
        return octets[:-25]

    def begins(self, octets: bytes) -> bool:
        return False

    def judge(self, side: int, octets: bytes) -> str:
        size = len(octets)
        if side == self.consumer:
            if size != 9:
                return "rejected"
            if not any(octets):
                return "ignored"
            consumer, number, _ = struct.unpack("<IIB", octets)
            if number < 0x100 or consumer != self.consumer_id:
                return "rejected"
            if self.number is not None and number != self.number:
                return "rejected"
            self.asked, self.number = number, number + 1 if number < 0xFFFFFFFF else 0x100
            return "accepted"
        if not 26 <= size <= 1525:
            return "rejected"
        if not any(octets):
            return "ignored"
        flags, one, two, three, consumer, number, _ = struct.unpack("<B6I", octets[-25:])
        data = octets[:-25]
        if response_ua(data, flags, one, two, three, consumer, number) != octets:
            return "rejected"
        if number < 0x100:
            return "rejected"
        if (one, two, three) != self.ids or consumer != self.consumer_id:
            return "foreign"
        if self.asked not in (None, number):
            return "rejected"
        if self.asked is None:
            return "unknown"
        if number == self.answered:
            return "repeat"
        self.answered = number
        return "accepted"

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        flags = octets[8] if side == self.consumer else octets[-25]
        rising, self.flags[side] = flags & ~self.flags[side], flags
        told: Told = []
        if side == self.consumer and self.waits:
            told.append(("unanswered", True))
        self.waits = side == self.consumer
        if side == self.consumer:
            names = ("communication error", "operator acknowledge", "fail-safe values")
            told += [(name, True) for bit, name in enumerate(names) if rising >> bit & 1]
        elif rising & 1:
            told.append(("acknowledged", False))
        if rising >> 3:
            told.append(("reserved flags", True))
        if side == self.consumer:
            return told, None, False
        use = ""
        if flags & 2:
            use = "ordered"
        elif flags & 4:
            use = "test mode"
        elif self.flags[self.consumer] & 4:
            use = "activated"
        return told, use, False
