"""The machines that send: both ends of one connection of each protocol, by the second recipes.

Each takes its ids as values, so that a second connection is one more machine with other ids.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from random import Random
from typing import Any, NamedTuple

from ..second import (
    frame_2_1,
    frame_3_1,
    frame_12_1,
    frame_13_1,
    pair_en,
    response_ua,
    spdu_ids_ua,
    time_2_1,
)
from .chained import CONNECTION, DATA, PARAMETER, RESET, SAFE, SESSION, crc_0

__all__ = ["FOREIGN", "MACHINES", "OWN", "Ids", "Machine"]


class Ids(NamedTuple):
    """What tells one connection from another, whatever the protocol."""

    connection_id: int
    slave_address: int
    addresses: tuple[int, int]
    domain: int
    manager_id: bytes
    parameter_crc: int
    consumer_id: int
    spdu_ids: tuple[int, int, int]
    identities: tuple[dict[str, int], dict[str, int]]
    identifier: int


def _identities(step: int) -> tuple[dict[str, int], dict[str, int]]:
    first, second = (
        {"vendor_id": 0x1001 + n, "device_serial": 0x11223344 + n, "connection_serial": 0x0C01 + n}
        for n in (step, step + 1)
    )
    return first, second


_BASE_ID = "72962b91-fa75-4ae6-8d28-b404dc7daf63"


def _spdu_ids(provider: int) -> tuple[int, int, int]:
    found = spdu_ids_ua(_BASE_ID, 3, 0x12345678, provider)
    return found[0], found[1], found[2]


_MANAGER = bytes.fromhex("0060650012ab")
OWN = Ids(
    connection_id=0x0107,
    slave_address=0x24,
    addresses=(0x23, 0x24),
    domain=0x101,
    manager_id=_MANAGER,
    parameter_crc=0x22FF,
    consumer_id=0x10203040,
    spdu_ids=_spdu_ids(0x3A2C01DB),
    identities=_identities(0),
    identifier=0x111,
)
FOREIGN = Ids(
    connection_id=0x0108,
    slave_address=0x25,
    addresses=(0x33, 0x34),
    domain=0x101,
    manager_id=_MANAGER,
    parameter_crc=0x22FE,
    consumer_id=0x10203041,
    spdu_ids=_spdu_ids(0x3A2C01DC),
    identities=_identities(16),
    identifier=0x113,
)


class Machine:
    """Both ends of one connection: ``tick`` yields (side, frame); ``begin`` what comes first."""

    def __init__(
        self,
        sizes: tuple[int, int],
        settings: dict[str, Any],
        random: Random,
        ids: Ids = OWN,
    ) -> None:
        self.sizes, self.settings, self.random, self.ids = sizes, settings, random, ids
        self.safe = [False, False]
        self.odd = True
        self.values = [bytes(size) for size in sizes]
        self.now_us = 0

    def change(self) -> None:
        for side, size in enumerate(self.sizes):
            if size and self.random.random() < 0.6:
                value = self.random.randbytes(size)
                # Bit 7 is reserved in the maps that the tests read these recordings with.
                mask = 255 if self.odd else 127
                self.values[side] = bytes((value[0] & mask,)) + value[1:]

    def begin(self) -> Iterator[tuple[int, bytes]]:
        return iter(())

    def restart(self) -> Iterator[tuple[int, bytes]]:
        return iter(())

    def again(self) -> Iterator[tuple[int, bytes]]:
        """Begin once more with everything as it was at the first start."""
        raise NotImplementedError

    def tick(self) -> Iterator[tuple[int, bytes]]:
        raise NotImplementedError


class Machine12(Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.sessions = [bytes(2), bytes(2)]
        self._clear()

    def _clear(self) -> None:
        self.next, self.own, self.peer, self.first = [1, 1], [0, 0], [0, 0], True

    def send(self, side: int, command: int, data: bytes) -> tuple[int, bytes]:
        identity = 0 if command in (RESET, SESSION) else self.ids.connection_id
        data = data.ljust(self.sizes[side], b"\0")
        if command == RESET:
            self._clear()
            return side, frame_12_1(data, command, 0, 0, 1)
        off, number = side == 0 and self.first and command == SESSION, self.next[side]
        octets = frame_12_1(data, command, identity, self.peer[side], number)
        if not off and crc_0(octets) == self.own[side]:
            number = number % 65535 + 1
            octets = frame_12_1(data, command, identity, self.peer[side], number)
        self.next[side] = number % 65535 + 1
        self.own[side] = self.peer[1 - side] = crc_0(octets)
        self.first &= side != 0
        return side, octets

    def begin(self) -> Iterator[tuple[int, bytes]]:
        yield self.send(0, RESET, b"\0")
        yield self.send(1, RESET, b"\0")
        yield from self._start()

    def again(self) -> Iterator[tuple[int, bytes]]:
        yield self.send(0, RESET, b"\0")
        yield self.send(1, RESET, b"\0")
        yield from self._start(self.sessions)

    def _start(self, sessions: list[bytes] | None = None) -> Iterator[tuple[int, bytes]]:
        chunk = min(self.sizes)
        watchdog = 50 if self.odd and self.random.random() < 0.1 else 100
        more = self.random.randbytes(self.random.choice((0, 0, 3)))
        identity = struct.pack("<HH", self.ids.connection_id, self.ids.slave_address)
        parameters = struct.pack("<HHH", 2, watchdog, len(more)) + more
        pairs = self.sessions = sessions or [self.random.randbytes(2) for _ in (0, 1)]
        for command, asked, answered in (
            (SESSION, pairs[0], pairs[1]),
            (CONNECTION, identity, identity),
            (PARAMETER, parameters, parameters),
        ):
            for at in range(0, len(asked), chunk):
                yield self.send(0, command, asked[at : at + chunk])
                yield self.send(1, command, answered[at : at + chunk])

    def restart(self) -> Iterator[tuple[int, bytes]]:
        first = self.random.randrange(2)
        yield self.send(first, RESET, bytes([self.random.choice((0, 4, 5, 0x81))]))
        if self.random.random() < 0.7:
            yield self.send(1 - first, RESET, b"\0")
        yield from self._start()

    def tick(self) -> Iterator[tuple[int, bytes]]:
        for side in (0, 1):
            yield self.send(side, SAFE if self.safe[side] else DATA, self.values[side])


class Machine13(Machine):
    """Two nodes; the first one sometimes is the manager of the other."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.times = [self.random.choice((0, 65530)), 7]
        self._first = list(self.times)
        self.manager_id, self.access = self.ids.manager_id, 0

    def again(self) -> Iterator[tuple[int, bytes]]:
        self.times = list(self._first)
        return iter(())

    def begin(self) -> Iterator[tuple[int, bytes]]:
        unique = self.random.randbytes(6)
        yield self._to(0, 42, unique)
        yield self._to(1, 43, unique)
        chosen = self.ids.manager_id
        if self.odd and self.random.random() < 0.1:
            chosen = self.random.choice((bytes(6), self.random.randbytes(6)))
        yield self._to(0, 44, b"\x0e" + self.ids.manager_id)
        yield self._to(1, 45, b"\x0f" + chosen)
        if any(chosen):
            self.manager_id = chosen
        yield from self._serve()
        yield self._to(0, 44, b"\x02" + bytes(4))
        yield self._to(1, 45, b"\x09")
        yield self._to(0, 44, b"\x02" + bytes(4))
        yield self._to(1, 45, b"\x03")

    def restart(self) -> Iterator[tuple[int, bytes]]:
        self.times[self.random.randrange(2)] = self.random.randrange(65536)
        if self.random.random() < 0.5:
            yield self._to(0, 44, b"\x00")
            yield self._to(1, 45, b"\x01")

    def _to(self, side: int, identity: int, data: bytes, receiver: int = 0) -> tuple[int, bytes]:
        address, target = receiver or self.ids.addresses[1 - side], self.ids.addresses[side]
        if identity == 47:
            address = target = 1
        time = self.access if identity in range(56, 60) else 0
        octets = frame_13_1(
            data, identity, address, self.ids.domain, time, target, 0, self.manager_id
        )
        return side, octets

    def _serve(self) -> Iterator[tuple[int, bytes]]:
        asks, slim = self.random.randrange(2), self.random.choice((0, 2))
        self.access = (self.access + 1) % 65536
        yield self._to(asks, 56 + slim, b"\x20\x18\x10" + self.random.randbytes(1))
        if self.odd and self.random.random() < 0.1:
            self.access += 1
        size = self.random.choice((0, 4, 12))
        yield self._to(1 - asks, 57 + slim, b"\x20\x18\x10\x01" + self.random.randbytes(size))

    def _manage(self) -> Iterator[tuple[int, bytes]]:
        choice = self.random.randrange(8 if self.odd else 2)
        if choice == 0:
            yield self._to(0, 44, b"\x08")
            yield self._to(1, 45, b"\x03")
        elif choice == 1:
            yield from self._serve()
        elif choice == 2:
            yield self._to(1, 47, b"")
        elif choice == 3:
            yield self._to(1, 45, b"\x07" + self.random.randbytes(2))
        elif choice == 4:
            yield self._to(0, 44, self.random.choice((b"\x12\1", b"\x08\1", b"\x09", b"")))
        elif choice == 5:
            yield self._to(0, 44, b"\x00", receiver=0x111)
        elif choice == 6:
            yield self._to(0, 44, b"\x0a\x25\0\1\0")
            yield self._to(1, 45, b"\x05" + self.random.choice((b"\x25\0\1\0", b"\0\0\1\0")))
        else:
            yield self._to(0, 40, b"")
            yield self._to(1, 41, self.random.randbytes(6))

    def tick(self) -> Iterator[tuple[int, bytes]]:
        if self.random.random() < 0.1:
            yield from self._manage()
        for side in (0, 1):
            self.times[side] = (self.times[side] + self.random.choice((1, 1, 3))) % 65536
            kind = self.random.choice((48, 48, 48, 50, 52))
            target = 0 if kind == 48 else self.ids.addresses[1 - side]
            yield (
                side,
                frame_13_1(
                    self.values[side],
                    kind + (not self.safe[side]),
                    self.ids.addresses[side],
                    self.ids.domain,
                    self.times[side],
                    target,
                    self.random.randrange(64) if target else 0,
                    self.manager_id,
                ),
            )


class Machine2(Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.stamp, self.rollover = self.random.choice((0, 65100)), 0
        self._first = self.stamp

    def again(self) -> Iterator[tuple[int, bytes]]:
        self.stamp, self.rollover = self._first, 0
        return iter(())

    def restart(self) -> Iterator[tuple[int, bytes]]:
        self.stamp, self.rollover = self.random.randrange(65536), 0
        return iter(())

    def tick(self) -> Iterator[tuple[int, bytes]]:
        side = 0 if self.sizes[0] else 1
        self.stamp += self.random.choice((1, 78, 78, 300))
        if self.stamp > 65535:
            self.stamp, self.rollover = self.stamp - 65536, self.rollover + 1
        format_ = self.settings["format"]
        ping = self.random.randrange(4)
        mode = (0x14 if self.safe[side] else 0x84) | ping
        if self.odd and self.random.random() < 0.02:
            mode ^= self.random.choice((0x48, 0x24, 0x6C))  # with their copy and their inverse.
        more = {"rollover": self.rollover} if format_ == "extended" else {}
        known = self.ids.identities[side]
        frame = frame_2_1(self.values[side], format_, mode, self.stamp, **known, **more)
        low = 8 | ping
        if self.odd and self.random.random() < 0.02:
            low |= self.random.choice((0x04, 0x10, 0x60))
        ack = low | (low.bit_count() & 1) << 7
        answer = time_2_1(format_, ack, self.stamp, **self.ids.identities[1 - side])
        yield side, frame
        yield 1 - side, answer


class Machine3(Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.numbers, self.begun = [0, 0], [True, True]

    def again(self) -> Iterator[tuple[int, bytes]]:
        self.numbers, self.begun = [0, 0], [True, True]
        return iter(())

    def restart(self) -> Iterator[tuple[int, bytes]]:
        side = self.random.randrange(2)
        self.numbers[side], self.begun[side] = 0, self.random.random() < 0.8
        return iter(())

    def tick(self) -> Iterator[tuple[int, bytes]]:
        for side in (0, 1):
            status = 0x20 if self.numbers[side] & 1 else 0
            if self.safe[side]:
                status |= 0x10 | (self.random.choice((0, 0, 4, 8)) if side else 0)
            if self.begun[side]:
                status |= 0x40 if side else 0x04
            if self.odd and self.random.random() < 0.05:
                status |= self.random.choice((1, 2, 0x80))
            yield (
                side,
                frame_3_1(self.values[side], status, self.numbers[side], self.ids.parameter_crc),
            )
            if self.random.random() < 0.9:  # else changed data come under the same number.
                self.begun[side] = False
                self.numbers[side] = self.numbers[side] + 1 if self.numbers[side] < 0xFFFFFF else 1


class MachineUa(Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.number = self.random.choice((0x100, 0xFFFFFFFA, self.random.randrange(256, 1 << 32)))
        self._first = self.number

    def again(self) -> Iterator[tuple[int, bytes]]:
        self.number = self._first
        return iter(())

    def begin(self) -> Iterator[tuple[int, bytes]]:
        if self.random.random() < 0.3:
            yield 0, bytes(9)
            yield 1, bytes(25 + self.sizes[1])

    def restart(self) -> Iterator[tuple[int, bytes]]:
        self.number = self.random.randrange(256, 1 << 32)
        return iter(())

    def tick(self) -> Iterator[tuple[int, bytes]]:
        asked = self.random.choice((1, 2, 4)) if self.safe[0] and self.random.random() < 0.6 else 0
        if self.odd and self.random.random() < 0.01:
            asked |= 0x20
        given = self.random.choice((2, 4, 2)) if self.safe[1] else self.random.choice((0, 0, 0, 1))
        yield 0, struct.pack("<IIB", self.ids.consumer_id, self.number, asked)
        yield (
            1,
            response_ua(
                self.values[1], given, *self.ids.spdu_ids, self.ids.consumer_id, self.number
            ),
        )
        self.number = self.number + 1 if self.number < 0xFFFFFFFF else 0x100


class MachineEn(Machine):
    def again(self) -> Iterator[tuple[int, bytes]]:
        return iter(())

    def tick(self) -> Iterator[tuple[int, bytes]]:
        side = 0 if self.sizes[0] else 1
        pair = pair_en(self.values[side], self.ids.identifier, self.ids.identifier + 1)
        half = len(pair) // 2
        yield side, pair[:half]
        yield side, pair[half:]


MACHINES: dict[str, Callable[..., Machine]] = {
    "fscp-12-1": Machine12,
    "fscp-13-1": Machine13,
    "fscp-2-1": Machine2,
    "fscp-3-1": Machine3,
    "opcua-safety": MachineUa,
    "en50325-5": MachineEn,
}
