"""Reaction times MUST be those of the frames as receivers use them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import capture
from safeframe._errors import UsageError
from safeframe._watch.reaction import Reaction, Spread, read_reaction
from safeframe.capture import Both, Packet

from .test_capture_examine import packets
from .test_watch import demo, stream

LINK = demo()
PACKET = next(each for each in packets(LINK, stream(LINK)) if isinstance(each, Packet))
TEXT = "brake2_applied = 0 of brake2_release = 1"


def one(name: str, side: int) -> bytes:
    (signal,) = [each for each in LINK.received(side).signals if each.name == name]
    return (1 << signal.start).to_bytes(2, "little")


COMMAND, APPLIED = one("brake2_release", 0), one("brake2_applied", 1)
DECODERS = [capture.Decoder(LINK.sent(side), LINK.received(side)) for side in (0, 1)]


def feed(reaction: Reaction, time_us: int | None, side: int, data: bytes) -> None:
    packet = PACKET._replace(time_us=time_us)
    reaction.data(packet, side, DECODERS[side].read(data), data)


def begun() -> Reaction:
    reaction = read_reaction(TEXT, LINK)
    feed(reaction, 0, 1, APPLIED)
    feed(reaction, 5, 0, b"\0\0")
    feed(reaction, 10, 0, COMMAND)
    assert reaction.waits
    return reaction


def counts(reaction: Reaction) -> tuple[int, int, int, int]:
    return reaction.times.count, reaction.unanswered, reaction.already, reaction.cut


def test_answered() -> None:
    reaction = begun()
    feed(reaction, 20, 1, APPLIED)
    feed(reaction, 3010, 1, b"\0\0")
    assert counts(reaction) == (1, 0, 0, 0)
    assert reaction.told(12_000) == (
        f"reaction: {TEXT}: 1 answered; smallest 3 ms, median 3 ms, largest 3 ms; "
        "resolution: longest gap of frames 12 ms"
    )
    told = reaction.json(12_000)
    assert (told["median_us"], told["resolution_us"], told["bins"]) == (3000, 12_000, [[3000, 1]])


def test_ended_first_and_waiting() -> None:
    reaction = begun()
    feed(reaction, 20, 0, b"\0\0")
    assert counts(reaction) == (0, 1, 0, 0)
    feed(reaction, 30, 0, COMMAND)
    assert reaction.told(None) == (
        f"reaction: {TEXT}: 0 answered; 1 ended unanswered; 1 still waiting; resolution: unknown"
    )


def test_fail_safe_and_missing_or_backward_time_cut() -> None:
    reaction = begun()
    reaction.fails_safe(20, 1, Both((), (), False))
    assert counts(reaction) == (0, 0, 0, 1)
    feed(reaction, 30, 1, b"\0\0")
    assert counts(reaction) == (0, 0, 0, 1)
    for time_us in (None, 9):
        reaction = begun()
        feed(reaction, time_us, 1, b"\0\0")
        assert counts(reaction) == (0, 0, 0, 1)


def test_an_answer_that_held_before_or_is_not_known() -> None:
    reaction = read_reaction(TEXT, LINK)
    feed(reaction, 0, 0, b"\0\0")
    feed(reaction, 1, 0, COMMAND)
    assert counts(reaction) == (0, 0, 0, 1)
    feed(reaction, 2, 0, b"\0\0")
    feed(reaction, 2, 1, b"\0\0")
    feed(reaction, 3, 0, COMMAND)
    assert counts(reaction) == (0, 0, 1, 1)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("brake2_release = 1", "--reaction must be NAME"),
        ("nothing = 1 of brake2_release = 1", "--reaction: "),
        ("brake2_applied of brake2_release = 1", "--reaction must be NAME"),
        ("brake2_applied = x of brake2_release = 1", "--reaction: 'x' must be a whole number"),
    ],
)
def test_what_is_none(text: str, told: str) -> None:
    with pytest.raises(UsageError, match=re.escape(told)):
        read_reaction(text, LINK)


@given(st.lists(st.integers(0, 10**6), max_size=60))
def test_spread_is_exact_while_few(times: list[int]) -> None:
    spread = Spread()
    for each in times:
        spread.add(each)
    ordered = sorted(times)
    expected = ordered[(len(times) - 1) // 2] if times else None
    assert (spread.median_us, spread.width_us) == (expected, 1)
    assert (spread.smallest_us, spread.largest_us) == (
        min(times, default=None),
        max(times, default=None),
    )


def test_spread_is_bounded() -> None:
    spread = Spread()
    for each in range(10_000):
        spread.add(each)
    assert (spread.width_us, len(spread.bins), spread.count) == (4, 2500, 10_000)
    assert spread.median_us == 4996
    reaction = read_reaction(TEXT, LINK)
    reaction.times = spread
    assert "median 4.996 ms (from bins of 0.004 ms)" in reaction.told(None)


steps = st.tuples(st.sampled_from("ca"), st.booleans(), st.integers(0, 50))


@given(st.lists(steps, max_size=40))
def test_as_a_brute_force_reader(rows: list[tuple[str, bool, int]]) -> None:
    reaction, now = read_reaction(TEXT, LINK), 0
    feed(reaction, 0, 0, b"\0\0")
    feed(reaction, 0, 1, APPLIED)
    line = [(0, False, False)]
    for which, is_on, passed in rows:
        now += passed
        _, command, answer = line[-1]
        line.append((now, is_on, answer) if which == "c" else (now, command, is_on))
        if which == "c":
            feed(reaction, now, 0, COMMAND if is_on else b"\0\0")
        else:
            feed(reaction, now, 1, b"\0\0" if is_on else APPLIED)
    found = []
    for at in range(1, len(line)):
        if line[at][1] and not line[at - 1][1] and not line[at][2]:
            after = next((row for row in line[at + 1 :] if row[2] or not row[1]), None)
            if after is not None and after[2]:
                found.append(after[0] - line[at][0])
    assert sum(reaction.times.bins.values()) == len(found)
    assert sorted(reaction.times.bins) == sorted(set(found))
