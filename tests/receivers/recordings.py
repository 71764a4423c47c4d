"""Random recordings of six protocols: good runs, events, then faults of every class anywhere.

A recording is a list of frames; faults are made to the list, as a tap would see them. What was made
is written down, so that a run can tell how often each class stood in which protocol:
``python -m tests.unit.test_receivers FIRST COUNT``.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any, NamedTuple

from ..second import frame_2_1, frame_3_1, frame_12_1, frame_13_1, pair_en, response_ua
from .chained import DATA, Chained
from .machines import FOREIGN, MACHINES, OWN, Machine
from .numbered import Asked, Virtual
from .observer import Model, Observer
from .paired import Paired
from .timed import Addressed, Stamped

__all__ = ["CASES", "FAULTS", "PHASES", "PLACES", "Recording", "Sent", "good", "recording"]

HALF_US = 6_000
WATCHDOG_US = 100_000

Case = tuple[str, int, int, dict[str, Any]]


class Sent(NamedTuple):
    time_us: int
    side: int
    octets: bytes


class Recording(NamedTuple):
    """A protocol with the sizes of both sides' data, what was recorded, what was made to it."""

    profile: str
    sizes: tuple[int, int]
    settings: dict[str, Any]
    frames: tuple[Sent, ...]
    made: tuple[str, ...] = ()

    def observer(self, *, fresh: bool) -> Observer | Paired:
        if self.profile == "en50325-5":
            return Paired(
                sender=0 if self.sizes[0] else 1,
                octets=sum(self.sizes),
                identifier=OWN.identifier,
                sct_us=WATCHDOG_US,
                fresh=fresh,
            )
        return Observer(_model(self), self.sizes, WATCHDOG_US, fresh=fresh)

    def but(self, frames: list[Sent]) -> Recording:
        return self._replace(frames=tuple(frames))


CASES: tuple[Case, ...] = (
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
_STARTED = ("fscp-12-1", "fscp-13-1")
_PROFILES = tuple(dict.fromkeys(case[0] for case in CASES))


def _model(recording: Recording) -> Callable[[bool], Model]:
    sizes, profile = recording.sizes, recording.profile

    def make(fresh: bool) -> Model:
        if profile == "fscp-12-1":
            found = Chained(
                identity=OWN.connection_id,
                master=0,
                slave_address=OWN.slave_address,
                watchdog_ms=WATCHDOG_US // 1000,
                fresh=fresh,
            )
            found.chunk = min(sizes)
            return found
        if profile == "fscp-13-1":
            return Addressed(
                addresses=OWN.addresses,
                domain=OWN.domain,
                manager_id=OWN.manager_id,
                fresh=fresh,
            )
        if profile == "fscp-2-1":
            return Stamped(
                producer=0 if sizes[0] else 1,
                identities=OWN.identities,
                fresh=fresh,
                **recording.settings,
            )
        if profile == "fscp-3-1":
            return Virtual(parameter_crc=OWN.parameter_crc, host=0, fresh=fresh)
        return Asked(consumer=0, consumer_id=OWN.consumer_id, spdu_ids=OWN.spdu_ids)

    return make


def good(case: Case, random: Random, ticks: int = 12) -> Recording:
    """Return a run without any fault or fail-safe phase, from the first frame on."""
    profile, first, second, settings = case
    machine = MACHINES[profile]((first, second), settings, random)
    machine.odd = False
    frames: list[tuple[int, bytes]] = list(machine.begin()) if profile in _STARTED else []
    for _ in range(ticks):
        frames += machine.tick()
        machine.change()
    return _recorded(case, frames)


def _recorded(case: Case, frames: list[tuple[int, bytes]], made: tuple[str, ...] = ()) -> Recording:
    profile, first, second, settings = case
    sent = tuple(
        Sent(number * HALF_US, side, octets) for number, (side, octets) in enumerate(frames)
    )
    return Recording(profile, (first, second), settings, sent, made)


PHASES = (
    "start-up",
    "fail-safe phase",
    "restart",
    "repeated session",
    "sent again",
    "wrong size",
    "second connection",
    "mid-session",
)
"""What a run may hold besides data; the ends themselves do this.

Frames of a start-up there are in FSCP 12/1, FSCP 13/1 (the power-up of a node by its manager, and
guarding, services and failures between data), and OPC UA Safety (frames of zeros) only.
"""
_OTHER_SIZES = {
    "fscp-12-1": (1, 2, 4, 6, 8),
    "fscp-13-1": (1, 5, 8, 9, 20),
    "fscp-2-1": (1, 2, 3, 7, 250),
    "fscp-3-1": (0, 1, 3, 12),
    "opcua-safety": (1, 2, 9, 1500),
    "en50325-5": (1, 3, 7, 8),
}


def _sized(machine: Machine, profile: str, random: Random) -> list[tuple[int, bytes]]:
    """Return a tick in which one end sends right frames with another number of data octets."""
    side = random.choice([side for side, size in enumerate(machine.sizes) if size])
    was, sizes = list(machine.values), machine.sizes
    size = random.choice(_OTHER_SIZES[profile])
    machine.values[side] = random.randbytes(size)
    machine.sizes = (size, sizes[1]) if side == 0 else (sizes[0], size)
    found = list(machine.tick())
    machine.values, machine.sizes = was, sizes
    return found


def _run(case: Case, random: Random) -> Recording:
    """Return a run with phases: fail-safe data, restarts, unchanged frames, other sizes."""
    profile, first, second, settings = case
    machine = MACHINES[profile]((first, second), settings, random)
    other = MACHINES[profile]((first, second), settings, random, FOREIGN)
    machine.safe = [random.random() < 0.2, random.random() < 0.2]
    made = {"fail-safe phase"} if any(machine.safe) else set()
    frames: list[tuple[int, bytes]] = []
    if random.random() < 0.6:
        frames += machine.begin()
        made |= {"start-up"} if frames else set()
    is_double = random.random() < 0.08
    for _ in range(random.randrange(8, 26)):
        if random.random() < 0.12:
            side = random.randrange(2)
            machine.safe[side] = not machine.safe[side]
            made.add("fail-safe phase")
        if random.random() < 0.03:
            frames += machine.restart()
            made.add("restart")
        if random.random() < 0.02:
            frames += machine.again()
            made.add("repeated session")
        if random.random() < 0.02:
            frames += _sized(machine, profile, random)
            made.add("wrong size")
        frames += machine.tick()
        if is_double:
            frames += other.tick()
            other.change()
            made.add("second connection")
        if random.random() < 0.1 and frames:
            frames.append(frames[-1])
            made.add("sent again")
        machine.change()
    return _recorded(case, frames, tuple(sorted(made)))


def _other(recording: Recording, random: Random, sent: Sent) -> bytes:
    """Return a frame like this one of another connection."""
    octets, sizes = sent.octets, recording.sizes
    size = sizes[sent.side]
    if recording.profile == "fscp-12-1":
        identity = random.choice((0x0108, 0x0117, 1, OWN.connection_id))
        data = random.randbytes(size)
        return frame_12_1(data, DATA, identity, random.randrange(65536), random.randrange(1, 65536))
    if recording.profile == "fscp-13-1":
        address = random.choice((0x25, OWN.addresses[sent.side], 0x3FF))
        domain = random.choice((0x102, OWN.domain))
        time = random.randrange(65536)
        return frame_13_1(random.randbytes(size), 49, address, domain, time, 0, 0, OWN.manager_id)
    if recording.profile == "opcua-safety" and len(octets) > 9:
        ids = (OWN.spdu_ids[0], OWN.spdu_ids[1], OWN.spdu_ids[2] ^ random.choice((0, 1)))
        number = int.from_bytes(octets[-8:-4], "little")
        return response_ua(random.randbytes(size), 0, *ids, OWN.consumer_id, number)
    if recording.profile == "fscp-3-1":
        return frame_3_1(random.randbytes(size), 0, random.randrange(40), 0x22FE)
    if recording.profile == "fscp-2-1" and size:
        known = dict(FOREIGN.identities[0] | recording.settings)
        more = {"rollover": 0} if known["format"] == "extended" else {}
        stamp = random.randrange(65536)
        return frame_2_1(random.randbytes(size), known.pop("format"), 0x84, stamp, **known, **more)
    if recording.profile == "en50325-5":
        first = random.choice((0x113, 0x10F, OWN.identifier))
        size = min(max(size + random.choice((-1, 0, 0, 1)), 0), 8)
        pair = pair_en(random.randbytes(size), first, first + 1)
        half = len(pair) // 2
        return random.choice((pair, pair[:half], pair[half:]))
    return random.randbytes(len(octets))


def _flipped(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    octets = bytearray(frames[at].octets)
    for _ in range(random.choice((1, 1, 1, 2, 3))):
        bit = random.randrange(8 * len(octets))
        octets[bit // 8] ^= 1 << bit % 8
    frames[at] = frames[at]._replace(octets=bytes(octets))


def _lost(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    del frames[at : at + random.choice((1, 1, 2, 3))]


def _one_way_lost(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    end, side = at + random.randrange(4, 20), frames[at].side
    frames[at:end] = [each for each in frames[at:end] if each.side != side]


def _doubled(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    frames.insert(at, frames[at])


def _all_doubled(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    frames[at:] = [each for each in frames[at:] for _ in (0, 1)]


def _old(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    old = frames[random.randrange(at + 1)]
    frames.insert(at, frames[at]._replace(side=old.side, octets=old.octets))


def _exchanged(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    other = min(at + random.choice((1, 2, 2, 4)), len(frames) - 1)
    first, second = frames[at], frames[other]
    frames[at] = second._replace(time_us=first.time_us)
    frames[other] = first._replace(time_us=second.time_us)


def _later(frames: list[Sent], at: int, late_us: int) -> None:
    frames[at:] = [each._replace(time_us=each.time_us + late_us) for each in frames[at:]]


def _late(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    _later(frames, at, random.choice((40_000, 94_000, 94_001, 200_000)))


def _silent(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    _later(frames, at, random.choice((60_000_000, 86_400_000_000)))


def _back(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    _later(frames, at, -random.choice((1, 7_000, 50_000)))


def _foreign(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    sent = frames[at]
    frames.insert(at, sent._replace(octets=_other(recording, random, sent)))


def _cut(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    octets = frames[at].octets
    change = random.choice((octets[:-1], octets[:3], octets[: len(octets) // 2], b"\0"))
    frames[at] = frames[at]._replace(octets=change)


def _surplus(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    more = random.choice((b"\0", b"\0" * 4, random.randbytes(4)))
    frames[at] = frames[at]._replace(octets=frames[at].octets + more)


def _wrong_sender(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    frames[at] = frames[at]._replace(side=1 - frames[at].side)


def _both(recording: Recording, frames: list[Sent], at: int, random: Random) -> None:
    """Spoil a frame of either end."""
    side = frames[at].side
    _flipped(recording, frames, at, random)
    after = next((n for n in range(at + 1, len(frames)) if frames[n].side != side), None)
    if after is not None:
        _flipped(recording, frames, after, random)


FAULTS: dict[str, Callable[[Recording, list[Sent], int, Random], None]] = {
    "flipped bits": _flipped,
    "frames lost": _lost,
    "one direction lost": _one_way_lost,
    "duplicate": _doubled,
    "every frame twice": _all_doubled,
    "old frame again": _old,
    "order": _exchanged,
    "delay": _late,
    "long silence": _silent,
    "time runs back": _back,
    "foreign frame": _foreign,
    "cut short": _cut,
    "surplus octets": _surplus,
    "wrong sender": _wrong_sender,
    "both ends": _both,
}
"""Each changes the frames from one on, as a tap would see them."""
_WEIGHTS = [
    6 if name == "flipped bits" else 1 if name == "every frame twice" else 2 for name in FAULTS
]
PLACES = ("first frame", "last frame", "set-up", "anywhere")
_SET_UP_FRAMES = 14


def _spoilt(recording: Recording, random: Random) -> Recording:
    """Make one fault somewhere."""
    frames = list(recording.frames)
    place = random.choice(PLACES)
    at = {
        "first frame": 0,
        "last frame": len(frames) - 1,
        "set-up": random.randrange(min(_SET_UP_FRAMES, len(frames))),
        "anywhere": random.randrange(len(frames)),
    }[place]
    (name,) = random.choices(list(FAULTS), _WEIGHTS)
    FAULTS[name](recording, frames, at, random)
    return recording.but(frames)._replace(made=(*recording.made, name, f"{name}: {place}"))


def recording(random: Random) -> Recording:
    """Return a random recording, with 0 to 5 faults, begun in mid-session or not."""
    profile = random.choice(_PROFILES)
    case = random.choice([case for case in CASES if case[0] == profile])
    made = _run(case, random)
    for _ in range(random.choice((0, 1, 1, 1, 2, 5))):
        if len(made.frames) > 3:
            made = _spoilt(made, random)
    if random.random() < 0.3:
        first = random.randrange(1, max(len(made.frames) // 2, 2))
        made = made.but(list(made.frames[first:]))._replace(made=(*made.made, "mid-session"))
    return made
