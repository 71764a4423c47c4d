"""FSCP 13/1 and FSCP 2/1: what is newer is right; validity, idle, rollover."""

from __future__ import annotations

from typing import Any

from ..second import frame_2_1, frame_13_1, rollover_2_1, time_2_1
from .observer import Told


def newer(now: int, last: int | None) -> bool:
    return last is None or 0 < (now - last) % 65536 < 32768


MANAGEMENT = {40: 0, 41: 6, 42: 6, 43: 6, 47: 0}
"""Octets of management frames without a command."""
COMMANDS = {0: 1, 1: 1, 2: 5, 3: 1, 4: 1, 5: 5, 6: 1, 7: 3, 8: 1, 9: 1, 10: 5, 12: 3, 14: 7}
COMMANDS |= {15: 7, 16: 6}
"""Octets of requests (even) and responses (odd), the command counted; others are not known."""
TOLD = {42: "start-up", 43: "start-up", 47: "guarding"}
COMMANDS_TOLD = {0: "restart", 2: "start-up", 3: "start-up", 7: "failure", 8: "guarding"}
COMMANDS_TOLD |= {12: "failure", 14: "start-up", 15: "start-up"}
SERVICES = range(56, 60)


class Frame13:
    """The fields of a frame, and whether the second recipe would have sent it."""

    def __init__(self, octets: bytes, manager_id: bytes) -> None:
        self.octets, self.right = octets, False
        size = len(octets)
        self.identity = octets[1] >> 2 if size > 1 else 0
        if size < 11 or octets[2] > 254:
            return
        count, slim = octets[2], self.identity in (58, 59)
        if size != (1 if slim else 2) * count + (11 if count <= 8 else 13):
            return
        at = 4 + count + (1 if count <= 8 else 2)
        key = bytes(6) if self.managed else manager_id
        second = bytes(a ^ b for a, b in zip(octets[at : at + 5], key, strict=False))
        self.data = octets[4 : 4 + count]
        self.address = octets[0] | (octets[1] & 3) << 8
        self.domain = self.address ^ (second[0] | (second[1] & 3) << 8)
        self.time = octets[3] | second[2] << 8
        self.target, self.request = second[3] | (second[4] & 3) << 8, second[4] >> 2
        known = self.managed or self.identity in range(48, 54) or self.identity in SERVICES
        if not known or not self.address or not self.domain:
            return
        if (self.identity in (48, 49)) == bool(self.target):
            return
        if self.managed and (self.time or self.request):
            return
        built = frame_13_1(
            self.data,
            self.identity,
            self.address,
            self.domain,
            self.time,
            self.target,
            self.request,
            manager_id,
        )
        self.right = built == octets and self.payload != "wrong"

    @property
    def managed(self) -> bool:
        return self.identity in MANAGEMENT or self.identity in (44, 45)

    @property
    def payload(self) -> str:
        if not self.managed:
            return "right"
        if self.identity in MANAGEMENT:
            return "right" if len(self.data) == MANAGEMENT[self.identity] else "wrong"
        if not self.data or self.data[0] % 2 != self.identity % 2:
            return "wrong"
        size = COMMANDS.get(self.data[0])
        return "unknown" if size is None else "right" if len(self.data) == size else "wrong"

    @property
    def sender(self) -> int | None:
        if self.identity == 47:
            return None  # Both numbers are 1, whoever sends it.
        to_it = self.managed or self.identity in SERVICES
        return self.target if to_it else self.address

    def of(self, sender: int, domain: int) -> bool:
        return self.right and self.domain == domain and self.sender in (None, sender)


class Addressed:
    """Both receivers of FSCP 13/1: data, object access, management."""

    def __init__(
        self, *, addresses: tuple[int, int], domain: int, manager_id: bytes, fresh: bool
    ) -> None:
        self.addresses, self.domain, self.stated = addresses, domain, manager_id
        self.manager_id = manager_id
        self.fresh = fresh
        self.times: list[int | None] = [None, None]
        self.asked: dict[tuple[int, int], int] = {}
        self.served = [False, False]
        self.carries = True, True

    def data(self, octets: bytes) -> bytes:
        return octets[4 : 4 + octets[2]]

    def begins(self, octets: bytes) -> bool:
        return False

    def recurs(self, octets: bytes) -> bool:
        return Frame13(octets, self.manager_id).managed

    def judge(self, side: int, octets: bytes) -> str:
        frame = Frame13(octets, self.manager_id)
        if not frame.of(self.addresses[side], self.domain):
            other = Frame13(octets, self.stated)
            ours = other.of(self.addresses[side], self.domain)
            if ours and (other.managed or other.identity in SERVICES) and other.identity != 47:
                ours = other.address == self.addresses[1 - side]
            return "foreign" if other.right and not ours else "rejected"
        if frame.managed:
            if frame.payload == "unknown":
                return "unknown"
            if frame.identity == 45 and frame.data[0] == 15 and any(frame.data[1:]):
                self.manager_id = frame.data[1:]
            return "accepted"
        if frame.identity in SERVICES:
            return self._service(frame)
        last = self.times[side]
        if not newer(frame.time, last):
            return "rejected"
        self.times[side] = frame.time
        return "accepted" if last is not None or self.fresh else "unknown"

    def _service(self, frame: Frame13) -> str:
        if frame.identity % 2 == 0:
            self.asked[frame.target, frame.address] = frame.time
            return "accepted"
        number = self.asked.get((frame.address, frame.target))
        if number is None:
            return "unknown"
        return "accepted" if number == frame.time else "rejected"

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        frame = Frame13(octets, self.manager_id)
        if frame.identity in SERVICES:
            first, self.served[side] = not self.served[side], True
            return [("parameters", False)] if first else [], None, False
        if not frame.managed:
            return [], "" if frame.identity & 1 else "connection not valid", False
        command = frame.data[0] if frame.identity in (44, 45) else None
        kind = COMMANDS_TOLD if command is not None else TOLD
        told = kind.get(frame.identity if command is None else command, "management")
        wrong = frame.identity == 47 or command == 7
        if command == 0 and frame.address == self.addresses[1 - side]:
            wrong = True
        if command in (5, 15):  # six zeros or address 0: refused.
            wrong |= not any(frame.data[1:3] if command == 5 else frame.data[1:])
        if command in (14, 15) and any(frame.data[1:]):
            wrong |= frame.data[1:] != self.stated
        return [(told, wrong)], None, False


class Stamped:
    """Both receivers of FSCP 2/1: side ``producer`` sends data, the other one times."""

    def __init__(
        self,
        *,
        format: str,  # noqa: A002 - the name of the value.
        producer: int,
        identities: tuple[dict[str, int], dict[str, int]],
        fresh: bool,
    ) -> None:
        self.format, self.producer, self.identities = format, producer, identities
        self.fresh = fresh
        self.stamp: int | None = None
        self.rollover: int | None = 0 if fresh else None
        self.unnamed = [0, 0]
        self.carries = producer == 0, producer == 1

    def data(self, octets: bytes) -> bytes:
        size = len(octets)
        return octets[: size - 6] if size < 9 else octets[: (size - 8) // 2]

    def begins(self, octets: bytes) -> bool:
        return False

    def judge(self, side: int, octets: bytes) -> str:
        size, known = len(octets), self.identities[side]
        if side != self.producer:
            right = size == 6 and octets == time_2_1(
                self.format, octets[0], octets[1] | octets[2] << 8, **known
            )
            return "accepted" if right and octets[0].bit_count() % 2 == 0 else "rejected"
        if size not in (7, 8) and (not 14 <= size <= 508 or size % 2):
            return "rejected"
        data = self.data(octets)
        mode, stamp = octets[len(data)], octets[-3] | octets[-2] << 8
        redundant = (mode >> 7 ^ 1) == mode >> 4 & 1
        redundant &= mode >> 6 & 1 == mode >> 3 & 1
        redundant &= (mode >> 5 & 1 ^ 1) == mode >> 2 & 1
        if not redundant:
            return "rejected"
        more: dict[str, Any] = dict(known)
        rolled = self.rollover
        if rolled is not None:
            rolled = (rolled + (self.stamp is not None and stamp < self.stamp)) % 65536
            more["rollover"] = rolled
        if self.format == "extended" and rolled is None:
            # The frame itself shows the count: the CRC that covers it first of all, run backwards.
            rolled = more["rollover"] = rollover_2_1(data, mode, stamp, octets, known)
        if frame_2_1(data, self.format, mode, stamp, **more) != octets:
            return "rejected"
        if not newer(stamp, self.stamp):
            return "rejected"
        first, self.stamp, self.rollover = self.stamp is None, stamp, rolled
        return "unknown" if first and not self.fresh else "accepted"

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        octet, named = octets[0], 0x8B
        if side == self.producer:
            octet, named = octets[len(self.data(octets))], 0x9F
        rising, self.unnamed[side] = octet & ~named & ~self.unnamed[side], octet & ~named
        told: Told = [("reserved bits", True)] if rising else []
        if side != self.producer:
            return told, None, False
        return told, "" if octet & 0x80 else "idle", False
