"""FSCP 13/1 and FSCP 2/1: what is newer is right; validity, idle, rollover."""

from __future__ import annotations

from typing import Any

from ..second import frame_2_1, frame_13_1, rollover_2_1, time_2_1
from .observer import Told


def newer(now: int, last: int | None) -> bool:
    return last is None or 0 < (now - last) % 65536 < 32768


class Addressed:
    """Both receivers of FSCP 13/1, data frames only."""

    def __init__(
        self, *, addresses: tuple[int, int], domain: int, manager_id: bytes, fresh: bool
    ) -> None:
        self.addresses, self.domain, self.manager_id = addresses, domain, manager_id
        self.fresh = fresh
        self.times: list[int | None] = [None, None]
        self.carries = True, True

    def data(self, octets: bytes) -> bytes:
        return octets[4 : 4 + octets[2]]

    def begins(self, octets: bytes) -> bool:
        return False

    def judge(self, side: int, octets: bytes) -> str:
        size = len(octets)
        if size < 11 or octets[2] > 254:
            return "rejected"
        count, identity = octets[2], octets[1] >> 2
        if size != 2 * count + (11 if count <= 8 else 13):
            return "rejected"
        at = 4 + count + (1 if count <= 8 else 2)
        second = bytes(
            octet ^ key for octet, key in zip(octets[at : at + 5], self.manager_id[:5], strict=True)
        )
        address = octets[0] | (octets[1] & 3) << 8
        domain = address ^ (second[0] | (second[1] & 3) << 8)
        time = octets[3] | second[2] << 8
        target, request = second[3] | (second[4] & 3) << 8, second[4] >> 2
        if identity not in range(48, 54) or not address or not domain:
            return "rejected"
        if (identity in (48, 49)) == bool(target):
            return "rejected"
        built = frame_13_1(
            self.data(octets), identity, address, domain, time, target, request, self.manager_id
        )
        if built != octets:
            return "rejected"
        if (address, domain) != (self.addresses[side], self.domain):
            return "foreign"
        last = self.times[side]
        if not newer(time, last):
            return "rejected"
        self.times[side] = time
        return "accepted" if last is not None or self.fresh else "unknown"

    def follow(self, side: int, octets: bytes) -> tuple[Told, str | None, bool]:
        return [], "" if octets[1] >> 2 & 1 else "connection not valid", False


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
