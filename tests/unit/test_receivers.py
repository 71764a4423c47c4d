"""Recordings at random: what is said must be what a second model of the receivers says.

The long run, 10,000 recordings and every bit of more of them, is behind SAFEFRAME_HYPOTHESIS=deep.
"""

from __future__ import annotations

import os
from random import Random
from typing import Any

import pytest

from safeframe import capture
from safeframe.capture import Examination, Packet

from ..receivers.recordings import CASES, Recording, Sent, good, recording
from .links import make

DEEP = os.environ.get("SAFEFRAME_HYPOTHESIS") == "deep"
COUNT = 10_000 if DEEP else 200
SHORT = [CASES[number] for number in (1, 4, 6, 8, 10, 11, 12)]
"""One recording for each protocol and format; all of them in the long run."""


def examined(made: Recording, *, fresh: bool, results: list[str] | None = None) -> Examination:
    link = make(made.profile, *made.sizes, made.settings)
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


class TestRandomRecordings:
    """Every frame's verdict, every event and the bits that count MUST be those of the model."""

    @pytest.mark.parametrize("start", range(0, COUNT, 100))
    def test_as_the_model(self, start: int) -> None:
        for seed in range(start, start + 100):
            made, fresh = recording(Random(seed)), seed % 2 == 0
            model = made.observer(fresh=fresh)
            results: list[str] = []
            found = examined(made, fresh=fresh, results=results)
            assert results == [model.frame(*sent) for sent in made.frames], seed
            model.finish()
            assert [
                (each.time_us, each.side, each.kind, each.is_wrong) for each in found.events
            ] == [tuple(each) for each in model.events], seed
            assert [
                (side.data_frames, side.used_frames, side.ones, side.zeros) for side in found.sides
            ] == list(zip(model.with_data, model.in_use, model.ones, model.zeros, strict=True)), (
                seed
            )
            # Without a listener most frames go a shorter way.
            quick = examined(made, fresh=fresh)
            assert (quick.sides, quick.events, quick.timelines, quick.oddities) == (
                found.sides,
                found.events,
                found.timelines,
                found.oddities,
            ), seed


def _unseen(made: Recording, number: int, bit: int, *, fresh: bool) -> bool:
    """Tell whether the documentation names a bit: no receiver can see that it was flipped."""
    octets = made.frames[number].octets
    if made.profile == "fscp-2-1" and made.settings["format"] == "extended":
        size = sum(made.sizes)
        # The ping count of a short frame of the extended format enters no CRC.
        return len(octets) == size + 6 and size <= 2 and bit in (8 * size, 8 * size + 1)
    if made.profile == "fscp-12-1" and not fresh and number == 0:
        # The data of the first frame of a recording from mid-session, where it has one CRC only.
        return made.sizes[made.frames[0].side] <= 2 and 8 <= bit < 8 + 8 * made.sizes[0]
    return False


class TestFlippedBits:
    """A flipped bit MUST NOT leave a good recording clean, but for those the docs name."""

    @pytest.mark.parametrize("fresh", [True, False], ids=["fresh", "mid-session"])
    @pytest.mark.parametrize("case", CASES if DEEP else SHORT, ids=str)
    def test_every_bit(self, case: tuple[str, int, int, dict[str, Any]], fresh: bool) -> None:
        whole = good(case, Random(7), 8 if DEEP else 2 + (not fresh))
        if not fresh:
            first = len(whole.frames) - (16 if DEEP else 6)
            whole = whole._replace(frames=whole.frames[first:])
        if not fresh and whole.settings.get("format") == "extended":
            # The rollover count enters every CRC and is not known: nothing can be accepted.
            assert not examined(whole, fresh=fresh).is_clean
            return
        assert examined(whole, fresh=fresh).is_clean
        for number, sent in enumerate(whole.frames):
            for bit in range(8 * len(sent.octets)):
                octets = bytearray(sent.octets)
                octets[bit // 8] ^= 1 << bit % 8
                frames = list(whole.frames)
                frames[number] = Sent(sent.time_us, sent.side, bytes(octets))
                spoilt = whole._replace(frames=tuple(frames))
                clean = examined(spoilt, fresh=fresh).is_clean
                assert clean == _unseen(whole, number, bit, fresh=fresh), (number, bit)
