"""Random recordings of six protocols: good runs, events, then faults of every class anywhere.

The machines that send are written with the second recipes, too. A recording is a list of frames;
faults are made to the list, as a tap would see them.
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
from .chained import CONNECTION, DATA, PARAMETER, RESET, SAFE, SESSION, Chained, crc_0
from .numbered import Asked, Virtual
from .observer import Model, Observer
from .paired import Paired
from .timed import Addressed, Stamped

HALF_US = 6_000
WATCHDOG_US = 100_000
CONNECTION_ID, SLAVE_ADDRESS = 0x0107, 0x24
ADDRESSES, DOMAIN, MANAGER = (0x23, 0x24), 0x101, bytes.fromhex("0060650012ab")
PARAMETER_CRC = 0x22FF
CONSUMER_ID = 0x10203040
IDENTIFIER = 0x111
_IDS = spdu_ids_ua("72962b91-fa75-4ae6-8d28-b404dc7daf63", 3, 0x12345678, 0x3A2C01DB)
SPDU_IDS = _IDS[0], _IDS[1], _IDS[2]
IDENTITIES: tuple[dict[str, int], dict[str, int]] = tuple(  # type: ignore[assignment]
    {"vendor_id": 0x1001 + n, "device_serial": 0x11223344 + n, "connection_serial": 0x0C01 + n}
    for n in (0, 1)
)


class Sent(NamedTuple):
    time_us: int
    side: int
    octets: bytes


class Recording(NamedTuple):
    """A protocol with the sizes of both sides' data, and what was recorded."""

    profile: str
    sizes: tuple[int, int]
    settings: dict[str, Any]
    frames: tuple[Sent, ...]

    def observer(self, *, fresh: bool) -> Observer | Paired:
        if self.profile == "en50325-5":
            return Paired(
                sender=0 if self.sizes[0] else 1,
                octets=sum(self.sizes),
                identifier=IDENTIFIER,
                sct_us=WATCHDOG_US,
                fresh=fresh,
            )
        return Observer(_model(self), self.sizes, WATCHDOG_US, fresh=fresh)


CASES: tuple[tuple[str, int, int, dict[str, Any]], ...] = (
    ("fscp-12-1", 1, 1, {}),
    ("fscp-12-1", 2, 2, {}),
    ("fscp-12-1", 2, 4, {}),
    ("fscp-12-1", 6, 4, {}),
    ("fscp-13-1", 2, 4, {}),
    ("fscp-13-1", 10, 3, {}),
    ("fscp-2-1", 0, 2, {"format": "base"}),
    ("fscp-2-1", 4, 0, {"format": "base"}),
    ("fscp-2-1", 0, 1, {"format": "extended"}),
    ("fscp-2-1", 0, 5, {"format": "extended"}),
    ("fscp-3-1", 2, 4, {}),
    ("opcua-safety", 0, 3, {}),
    ("en50325-5", 2, 0, {}),
    ("en50325-5", 0, 8, {}),
)


def _model(recording: Recording) -> Callable[[bool], Model]:
    sizes, profile = recording.sizes, recording.profile

    def make(fresh: bool) -> Model:
        if profile == "fscp-12-1":
            found = Chained(
                identity=CONNECTION_ID,
                master=0,
                slave_address=SLAVE_ADDRESS,
                watchdog_ms=WATCHDOG_US // 1000,
                fresh=fresh,
            )
            found.chunk = min(sizes)
            return found
        if profile == "fscp-13-1":
            return Addressed(addresses=ADDRESSES, domain=DOMAIN, manager_id=MANAGER, fresh=fresh)
        if profile == "fscp-2-1":
            return Stamped(
                producer=0 if sizes[0] else 1,
                identities=IDENTITIES,
                fresh=fresh,
                **recording.settings,
            )
        if profile == "fscp-3-1":
            return Virtual(parameter_crc=PARAMETER_CRC, host=0, fresh=fresh)
        return Asked(consumer=0, consumer_id=CONSUMER_ID, spdu_ids=SPDU_IDS)

    return make


class _Machine:
    """Both ends of one connection: ``tick`` yields (side, frame); ``begin`` what comes first."""

    def __init__(self, sizes: tuple[int, int], settings: dict[str, Any], random: Random) -> None:
        self.sizes, self.settings, self.random = sizes, settings, random
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

    def tick(self) -> Iterator[tuple[int, bytes]]:
        raise NotImplementedError


class _Machine12(_Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self._clear()

    def _clear(self) -> None:
        self.next, self.own, self.peer, self.first = [1, 1], [0, 0], [0, 0], True

    def send(self, side: int, command: int, data: bytes) -> tuple[int, bytes]:
        identity = 0 if command in (RESET, SESSION) else CONNECTION_ID
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
        chunk = min(self.sizes)
        yield self.send(0, RESET, b"\0")
        yield self.send(1, RESET, b"\0")
        yield from self._start(chunk)

    def _start(self, chunk: int) -> Iterator[tuple[int, bytes]]:
        watchdog = 50 if self.odd and self.random.random() < 0.1 else 100
        more = self.random.randbytes(self.random.choice((0, 0, 3)))
        identity = struct.pack("<HH", CONNECTION_ID, SLAVE_ADDRESS)
        parameters = struct.pack("<HHH", 2, watchdog, len(more)) + more
        pairs = [self.random.randbytes(2) for _ in (0, 1)]
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
        yield from self._start(min(self.sizes))

    def tick(self) -> Iterator[tuple[int, bytes]]:
        for side in (0, 1):
            yield self.send(side, SAFE if self.safe[side] else DATA, self.values[side])


class _Machine13(_Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.times = [self.random.choice((0, 65530)), 7]

    def restart(self) -> Iterator[tuple[int, bytes]]:
        self.times[self.random.randrange(2)] = self.random.randrange(65536)
        return iter(())

    def tick(self) -> Iterator[tuple[int, bytes]]:
        for side in (0, 1):
            self.times[side] = (self.times[side] + self.random.choice((1, 1, 3))) % 65536
            kind = self.random.choice((48, 48, 48, 50, 52))
            target = 0 if kind == 48 else ADDRESSES[1 - side]
            yield (
                side,
                frame_13_1(
                    self.values[side],
                    kind + (not self.safe[side]),
                    ADDRESSES[side],
                    DOMAIN,
                    self.times[side],
                    target,
                    self.random.randrange(64) if target else 0,
                    MANAGER,
                ),
            )


class _Machine2(_Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.stamp, self.rollover = self.random.choice((0, 65100)), 0

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
        more = {"rollover": self.rollover} if format_ == "extended" else {}
        known = IDENTITIES[side]
        frame = frame_2_1(self.values[side], format_, mode, self.stamp, **known, **more)
        low = 8 | ping
        ack = low | (low.bit_count() & 1) << 7
        answer = time_2_1(format_, ack, self.stamp, **IDENTITIES[1 - side])
        yield side, frame
        yield 1 - side, answer


class _Machine3(_Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.numbers, self.begun = [0, 0], [True, True]

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
                status |= self.random.choice((1, 2))
            yield side, frame_3_1(self.values[side], status, self.numbers[side], PARAMETER_CRC)
            if self.random.random() < 0.9:  # else changed data come under the same number.
                self.begun[side] = False
                self.numbers[side] = self.numbers[side] + 1 if self.numbers[side] < 0xFFFFFF else 1


class _MachineUa(_Machine):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.number = self.random.choice((0x100, 0xFFFFFFFA, self.random.randrange(256, 1 << 32)))

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
        yield 0, struct.pack("<IIB", CONSUMER_ID, self.number, asked)
        yield 1, response_ua(self.values[1], given, *SPDU_IDS, CONSUMER_ID, self.number)
        self.number = self.number + 1 if self.number < 0xFFFFFFFF else 0x100


class _MachineEn(_Machine):
    def tick(self) -> Iterator[tuple[int, bytes]]:
        side = 0 if self.sizes[0] else 1
        pair = pair_en(self.values[side], IDENTIFIER, IDENTIFIER + 1)
        half = len(pair) // 2
        yield side, pair[:half]
        yield side, pair[half:]


_MACHINES: dict[str, Callable[..., _Machine]] = {
    "fscp-12-1": _Machine12,
    "fscp-13-1": _Machine13,
    "fscp-2-1": _Machine2,
    "fscp-3-1": _Machine3,
    "opcua-safety": _MachineUa,
    "en50325-5": _MachineEn,
}


def good(case: tuple[str, int, int, dict[str, Any]], random: Random, ticks: int = 12) -> Recording:
    """Return a run without any fault or fail-safe phase, from the first frame on."""
    profile, first, second, settings = case
    machine = _MACHINES[profile]((first, second), settings, random)
    machine.odd = False
    frames: list[tuple[int, bytes]] = list(machine.begin()) if profile == "fscp-12-1" else []
    for _ in range(ticks):
        frames += machine.tick()
        machine.change()
    return _recorded(case, frames)


def _recorded(
    case: tuple[str, int, int, dict[str, Any]], frames: list[tuple[int, bytes]]
) -> Recording:
    profile, first, second, settings = case
    sent = tuple(
        Sent(number * HALF_US, side, octets) for number, (side, octets) in enumerate(frames)
    )
    return Recording(profile, (first, second), settings, sent)


def _run(case: tuple[str, int, int, dict[str, Any]], random: Random) -> Recording:
    """Return a run with phases: fail-safe data, restarts, unchanged frames."""
    profile, first, second, settings = case
    machine = _MACHINES[profile]((first, second), settings, random)
    machine.safe = [random.random() < 0.2, random.random() < 0.2]
    frames: list[tuple[int, bytes]] = list(machine.begin()) if random.random() < 0.6 else []
    for _ in range(random.randrange(8, 26)):
        if random.random() < 0.12:
            side = random.randrange(2)
            machine.safe[side] = not machine.safe[side]
        if random.random() < 0.04:
            frames += machine.restart()
        frames += machine.tick()
        if random.random() < 0.1 and frames:
            frames.append(frames[-1])  # sent again, unchanged.
        machine.change()
    return _recorded(case, frames)


def _other(recording: Recording, random: Random, sent: Sent) -> bytes:
    """Return a frame like this one of another connection."""
    octets, sizes = sent.octets, recording.sizes
    size = sizes[sent.side]
    if recording.profile == "fscp-12-1":
        identity = random.choice((0x0108, 0x0117, 1, CONNECTION_ID))
        data = random.randbytes(size)
        return frame_12_1(data, DATA, identity, random.randrange(65536), random.randrange(1, 65536))
    if recording.profile == "fscp-13-1":
        address = random.choice((0x25, ADDRESSES[sent.side], 0x3FF))
        domain = random.choice((0x102, DOMAIN))
        return frame_13_1(
            random.randbytes(size), 49, address, domain, random.randrange(65536), 0, 0, MANAGER
        )
    if recording.profile == "opcua-safety" and len(octets) > 9:
        ids = (SPDU_IDS[0], SPDU_IDS[1], SPDU_IDS[2] ^ random.choice((0, 1)))
        number = struct.unpack("<I", octets[-8:-4])[0]
        return response_ua(random.randbytes(size), 0, *ids, CONSUMER_ID, number)
    if recording.profile == "fscp-3-1":
        return frame_3_1(random.randbytes(size), 0, random.randrange(40), 0x22FE)
    if recording.profile == "en50325-5":
        first = random.choice((0x113, 0x10F, IDENTIFIER))
        size = min(max(size + random.choice((-1, 0, 0, 1)), 0), 8)
        pair = pair_en(random.randbytes(size), first, first + 1)
        half = len(pair) // 2
        return random.choice((pair, pair[:half], pair[half:]))
    return random.randbytes(len(octets))


def _spoilt(recording: Recording, random: Random) -> Recording:
    """Make one fault somewhere."""
    frames = list(recording.frames)
    at = random.randrange(len(frames))
    sent = frames[at]
    kind = random.randrange(12)
    if kind < 4:
        octets = bytearray(sent.octets)
        for _ in range(random.choice((1, 1, 1, 2, 3))):
            bit = random.randrange(8 * len(octets))
            octets[bit // 8] ^= 1 << bit % 8
        frames[at] = sent._replace(octets=bytes(octets))
    elif kind == 4:
        del frames[at : at + random.choice((1, 1, 2, 3))]
    elif kind == 5:
        frames.insert(at, sent)
    elif kind == 6 and at:
        old = frames[random.randrange(at)]
        frames.insert(at, sent._replace(side=old.side, octets=old.octets))
    elif kind == 7 and at + 2 < len(frames):
        frames[at], frames[at + 2] = (
            sent._replace(octets=frames[at + 2].octets),
            frames[at + 2]._replace(octets=sent.octets),
        )
    elif kind == 8:
        late = random.choice((40_000, 200_000))
        frames[at:] = [each._replace(time_us=each.time_us + late) for each in frames[at:]]
    elif kind == 9:
        frames.insert(at, sent._replace(octets=_other(recording, random, sent)))
    elif kind == 10:
        change = random.choice((sent.octets[:-1], sent.octets + b"\0", sent.octets[:3], b"\0"))
        frames[at] = sent._replace(octets=change)
    elif kind == 11:
        frames[at] = sent._replace(side=1 - sent.side)
    return recording._replace(frames=tuple(frames))


def recording(random: Random) -> Recording:
    """Return a random recording, with 0 to 4 faults, begun in mid-session or not."""
    made = _run(random.choice(CASES), random)
    for _ in range(random.choice((0, 1, 1, 2, 4))):
        if len(made.frames) > 3:
            made = _spoilt(made, random)
    if random.random() < 0.3:
        made = made._replace(frames=made.frames[random.randrange(len(made.frames) // 2) :])
    return made
