"""Recordings at random: what is said must be what a second model of the receivers says.

The long run, 10,000 recordings and every bit of more of them, is behind SAFEFRAME_HYPOTHESIS=deep.
"""

from __future__ import annotations

import sys
from collections import Counter
from functools import cache
from random import Random
from typing import Any

import pytest

from safeframe import capture
from safeframe._link import Link
from safeframe.capture import Examination, Packet

from ..conftest import DEEP
from ..receivers.recordings import (
    CASES,
    FAULTS,
    PHASES,
    PLACES,
    Recording,
    Sent,
    good,
    recording,
)
from .links import make

COUNT = 10_000 if DEEP else 200
SHORT = [CASES[number] for number in (1, 4, 6, 8, 10, 11, 12)]
"""One recording for each protocol and format; all of them in the long run."""


@cache
def _link(profile: str, first: int, second: int, *settings: tuple[str, Any]) -> Link:
    return make(profile, first, second, dict(settings))


def examined(made: Recording, *, fresh: bool, results: list[str] | None = None) -> Examination:
    link = _link(made.profile, *made.sizes, *made.settings.items())
    packets = [
        Packet(number, number, sent.time_us, sent.octets, link.names[sent.side])
        for number, sent in enumerate(made.frames, 1)
    ]
    if results is None:
        return capture.examine(packets, link, fresh=fresh)
    heard = results
    return capture.examine(
        packets, link, fresh=fresh, each=lambda verdict: heard.append(verdict.opinion.result)
    )


def _compare(seed: int) -> Recording:
    """Hold one random recording against the model; return it."""
    made, fresh = recording(Random(seed)), seed % 2 == 0
    model = made.observer(fresh=fresh)
    results: list[str] = []
    found = examined(made, fresh=fresh, results=results)
    assert results == [model.frame(*sent) for sent in made.frames], seed
    model.finish()
    assert [(each.time_us, each.side, each.kind, each.is_wrong) for each in found.events] == [
        tuple(each) for each in model.events
    ], seed
    assert [
        (side.data_frames, side.used_frames, side.ones, side.zeros) for side in found.sides
    ] == list(zip(model.with_data, model.in_use, model.ones, model.zeros, strict=True)), seed
    # Without a listener most frames go a shorter way.
    quick = examined(made, fresh=fresh)
    assert (quick.sides, quick.events, quick.timelines, quick.oddities) == (
        found.sides,
        found.events,
        found.timelines,
        found.oddities,
    ), seed
    return made


class TestRandomRecordings:
    """Every frame's verdict, every event and the bits that count MUST be those of the model."""

    @pytest.mark.parametrize("start", range(0, COUNT, 100))
    def test_as_the_model(self, start: int) -> None:
        for seed in range(start, start + 100):
            _compare(seed)


def test_every_class_is_made_of_every_protocol() -> None:
    """A generator that never makes a class of fault tests nothing about it."""
    counts = Counter(
        (made.profile, name)
        for made in map(recording, map(Random, range(600)))
        for name in set(made.made)
    )
    for profile in {case[0] for case in CASES}:
        for name in (*PHASES[1:], *FAULTS):
            assert counts[profile, name], (profile, name)
            for place in PLACES if name in FAULTS else ():
                assert sum(counts[each[0], f"{name}: {place}"] for each in CASES), (name, place)


def _unseen(made: Recording, number: int, bit: int) -> bool:
    """Tell whether the documentation names a bit: no receiver can see that it was flipped."""
    octets = made.frames[number].octets
    if made.profile == "fscp-2-1" and made.settings["format"] == "extended":
        size = sum(made.sizes)
        # The ping count of a short frame of the extended format enters no CRC.
        return len(octets) == size + 6 and size <= 2 and bit in (8 * size, 8 * size + 1)
    return False


def _untold(made: Recording, number: int, bit: int, *, fresh: bool) -> bool:
    """Tell whether a bit lies in data which the report says that nothing proves.

    These are the data of the first frame from mid-session, where it has one CRC only.
    """
    is_first = made.profile == "fscp-12-1" and not fresh and number == 0
    return is_first and made.sizes[made.frames[0].side] <= 2 and 8 <= bit < 8 + 8 * made.sizes[0]


LASTING = {"rejected", "foreign", "history lost", "length", "unknown sender", "size", "time"}
"""Notes that make a recording unclean whatever comes after them."""


def _is_clean(made: Recording, number: int, *, fresh: bool) -> bool:
    """Tell whether a recording is clean; mostly what follows the spoilt frame shows that it is not.

    Notes and wrong events only become more: what a part has, the whole has.
    """
    part = examined(made._replace(frames=made.frames[: number + 4]), fresh=fresh)
    if part.wrong_events or not LASTING.isdisjoint(part.notes):
        return False
    return examined(made, fresh=fresh).is_clean


@pytest.mark.no_cover
class TestFlippedBits:
    """A flipped bit MUST NOT leave a good recording clean, but for those the docs name."""

    @pytest.mark.parametrize("fresh", [True, False], ids=["fresh", "mid-session"])
    @pytest.mark.parametrize("case", CASES if DEEP else SHORT, ids=str)
    def test_every_bit(self, case: tuple[str, int, int, dict[str, Any]], fresh: bool) -> None:
        whole = good(case, Random(7), 8 if DEEP else 2 + (not fresh))
        if not fresh:
            first = len(whole.frames) - (16 if DEEP else 6)
            whole = whole._replace(frames=whole.frames[first:])
        assert examined(whole, fresh=fresh).is_clean
        for number, sent in enumerate(whole.frames):
            for bit in range(8 * len(sent.octets)):
                octets = bytearray(sent.octets)
                octets[bit // 8] ^= 1 << bit % 8
                frames = list(whole.frames)
                frames[number] = Sent(sent.time_us, sent.side, bytes(octets))
                spoilt = whole._replace(frames=tuple(frames))
                if _untold(whole, number, bit, fresh=fresh):
                    found = examined(spoilt, fresh=fresh)
                    assert found.not_judged[1] == (
                        "the data of 1 frame of SC1 (the first: line 1): no checksum in this "
                        "recording covers them"
                    )
                    assert not found.is_whole
                else:
                    unseen = _unseen(whole, number, bit)
                    assert _is_clean(spoilt, number, fresh=fresh) == unseen, (number, bit)


def _table(counts: Counter[tuple[str, str]], names: list[str]) -> str:
    profiles = list(dict.fromkeys(case[0] for case in CASES))
    rows = [f"{'':34}" + "".join(f"{profile:>14}" for profile in profiles)]
    rows += [
        f"{name:34}" + "".join(f"{counts[each, name]:14}" for each in profiles) for name in names
    ]
    return "\n".join(rows)


def main(first: int, count: int) -> None:
    """Compare a range of seeds, go on after a difference, and print what was made how often."""
    counts: Counter[tuple[str, str]] = Counter()
    differences = 0
    for seed in range(first, first + count):
        try:
            made = _compare(seed)
        except AssertionError as error:
            differences += 1
            made = recording(Random(seed))
            print(seed, made.profile, made.made, str(error)[:200], flush=True)
        names = {
            *made.made,
            "recordings",
            "several faults" * (sum(n in FAULTS for n in made.made) > 1),
        }
        counts.update((made.profile, name) for name in names)
        counts[made.profile, "frames"] += len(made.frames)
        if seed % 500 == 499:
            print(f"{seed + 1 - first} recordings, {differences} differences", flush=True)
    places = [f"{name}: {place}" for name in FAULTS for place in PLACES]
    print(_table(counts, ["recordings", "frames", *PHASES, "several faults", *FAULTS, *places]))
    print(f"{count} recordings, {differences} differences")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
