"""Faulty sequences of EN 50325-5: each error a receiver tells apart, and those it cannot tell.

A pair carries no number and nothing of its sender but the identifiers, so a whole pair that comes
again, or from somebody else, is taken: those sequences say so. What a receiver says of the others
is that of an open stack; where it says nothing at once its refresh time (SCT) ends.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from random import Random

from ..aspects import FaultRun, FaultTraits, SentFrame
from ..link import Link
from ._frame import FIRST, LAST, MOST_OCTETS

_AT = 4
"""Pairs before the fault, enough to have a history."""
_HEAD = 3
_SCT = "time expectation: no pair within the refresh time (SCT)"
_SRVT = "time expectation: no inverted message within the validation time (SRVT)"
_INVERTED = "the check inverted"
_LENGTH = "the check too_short"
_IDENTIFIER = "the identifiers of the pair"
_NOTHING = "nothing: a pair carries no number and nothing of its sender but its identifiers"


class _FaultyRun:
    """A legal run of pairs, and the pair in it that a fault touches."""

    def __init__(self, link: Link, legal: Sequence[SentFrame], random: Random) -> None:
        self.link = link
        self.random = random
        self.pairs = [tuple(legal[at : at + 2]) for at in range(0, len(legal), 2)]
        self.before = tuple(step for pair in self.pairs[:_AT] for step in pair)
        self.plain, self.inverted = self.pairs[_AT]
        self.sct_us = link.watchdog_us or 0

    @property
    def late(self) -> int:
        """Number of the first pair that comes too late when those from the victim on are lost.

        It is the last one where the run is shorter than a long refresh time.
        """
        last = self.pairs[_AT - 1]
        late = (
            at
            for at in range(_AT, len(self.pairs))
            if self.pairs[at][0].time_us - last[0].time_us > self.sct_us
        )
        return next(late, len(self.pairs) - 1)

    def until_late(self, steps: Sequence[SentFrame], change: str) -> tuple[SentFrame, ...]:
        """Return the legal run, these steps, and the pair that then comes too late."""
        plain, inverted = self.pairs[self.late]
        if plain.time_us - self.pairs[_AT - 1][0].time_us <= self.sct_us:
            plain, inverted = self.behind((plain, inverted))
        return (*self.before, *steps, plain, _wrong(inverted, "watchdog", change))

    def behind(self, pair: Sequence[SentFrame]) -> tuple[SentFrame, ...]:
        """Return a pair a millisecond after the refresh time has ended."""
        delay = self.pairs[_AT - 1][0].time_us + self.sct_us + 1000 - pair[0].time_us
        return tuple(replace(step, time_us=step.time_us + delay) for step in pair)

    def first_failed(self, step: SentFrame) -> str:
        """Return the check that a receiver names first for a message that is none of its own."""
        found = self.link.session().judge(self.link.senders[step.side], step.octets)
        return next(each.check for each in found.inspection.verdicts if each.result == "failed")

    def all_missing(self) -> list[tuple[SentFrame, ...]]:
        """Return the pairs that something must befall for the refresh time to end."""
        return self.pairs[_AT : self.late]


def _wrong(step: SentFrame, check: str, change: str) -> SentFrame:
    return replace(step, verdict="reject", check=check, change=change)


def _passed(step: SentFrame, change: str) -> SentFrame:
    """Return a step that the receiver passes over."""
    return replace(step, verdict="repeat", change=change)


def _flipped(step: SentFrame, bits: Sequence[int]) -> tuple[SentFrame, str]:
    """Return a step with inverted bits, counted from the first of its octets, and the words."""
    octets = bytearray(step.octets)
    for bit in bits:
        octets[bit // 8] ^= 1 << bit % 8
    places = ", ".join(f"bit {bit % 8} of octet {bit // 8}" for bit in sorted(bits))
    return replace(step, octets=bytes(octets)), places


def _resized(step: SentFrame, by: int) -> SentFrame:
    """Return a step with one data octet less, or one 0 more."""
    head, data = step.octets[:2], step.octets[_HEAD:]
    size = len(data) + by
    return replace(step, octets=head + bytes((size,)) + (data + b"\0")[:size])


def _readdressed(step: SentFrame, first: int) -> SentFrame:
    """Return a step of the data object with another first identifier."""
    identifier = first + 1 - step.octets[1] % 2
    return replace(step, octets=identifier.to_bytes(2, "big") + step.octets[2:])


def _runs(link: Link, side: int, legal: Sequence[SentFrame], random: Random) -> Iterator[FaultRun]:
    run = _FaultyRun(link, legal, random)
    yield from _corrupted(run)
    yield from _repeated(run)
    yield from _order(run)
    yield from _lost(run)
    yield from _late(run)
    yield from _others(run)
    yield from _sizes(run)


def _corrupted(run: _FaultyRun) -> Iterator[FaultRun]:
    size = 8 * len(run.plain.data)
    own = [8 * _HEAD + run.random.randrange(size)]
    for label, count in (("corruption", 1), ("corrupted-bits", 3)):
        bits = own if count == 1 else run.random.sample(range(8 * _HEAD, 8 * _HEAD + size), 3)
        step, places = _flipped(run.plain, bits)
        change = f"inverted in the plain message: {places}"
        steps = replace(step, change=change), _wrong(run.inverted, "inverted", change)
        yield FaultRun(label, "corruption", change, _INVERTED, (*run.before, *steps))
    step, places = _flipped(run.inverted, own)
    change = f"inverted in the inverted message: {places}"
    steps = run.plain, _wrong(step, "inverted", change)
    yield FaultRun("corrupted-copy", "corruption", change, _INVERTED, (*run.before, *steps))
    change = "the second message has the same octets as the first, not the inverted ones"
    step = replace(run.inverted, octets=run.inverted.octets[:_HEAD] + run.plain.octets[_HEAD:])
    steps = run.plain, _wrong(step, "inverted", change)
    yield FaultRun("not-inverted", "corruption", change, _INVERTED, (*run.before, *steps))
    for label, step in (
        ("corrupted-identifier", run.plain),
        ("corrupted-identifier-copy", run.inverted),
    ):
        # Bit 1 of the low octet: another odd or even identifier, which may be one out of the range.
        wrong, places = _flipped(step, [9])
        change = f"inverted in the identifier: {places}"
        wrong = _wrong(wrong, run.first_failed(wrong), change)
        steps = (wrong, _passed(run.inverted, _ALONE)) if step is run.plain else (run.plain, wrong)
        yield FaultRun(label, "corruption", change, _IDENTIFIER, (*run.before, *steps))


_ALONE = "an inverted message without a plain one before it is passed over"


def _repeated(run: _FaultyRun) -> Iterator[FaultRun]:
    change = "a pair before comes again, in place of the next one"
    delay = run.plain.time_us - run.pairs[_AT - 1][0].time_us
    again = tuple(
        replace(step, time_us=step.time_us + delay, verdict="undetected", change=change)
        for step in run.pairs[_AT - 1]
    )
    yield FaultRun(
        "unintended-repetition", "unintended repetition", change, _NOTHING, (*run.before, *again)
    )
    change = "the plain message comes twice: the second one replaces the first"
    twice = run.plain, replace(run.plain, change=change), run.inverted
    yield FaultRun(
        "duplicate-plain", "unintended repetition", change, _NOTHING, (*run.before, *twice)
    )
    change = f"the inverted message comes twice: {_ALONE}"
    steps = run.plain, run.inverted, _passed(run.inverted, change)
    measure = "the order of the messages"
    yield FaultRun(
        "duplicate-inverted", "unintended repetition", change, measure, (*run.before, *steps)
    )


def _order(run: _FaultyRun) -> Iterator[FaultRun]:
    change = "the inverted message comes before the plain one"
    steps: list[SentFrame] = []
    for plain, inverted in run.all_missing()[:1]:
        early = replace(inverted, time_us=plain.time_us)
        steps += [_passed(early, change), replace(plain, time_us=inverted.time_us, change=change)]
    # All others until the refresh time ends are lost.
    yield FaultRun(
        "incorrect-sequence",
        "incorrect sequence",
        change,
        _SCT,
        run.until_late(steps, f"{change}, then pairs are lost until the refresh time has ended"),
    )


def _lost(run: _FaultyRun) -> Iterator[FaultRun]:
    change = "pairs are lost until the refresh time has ended"
    yield FaultRun("loss", "loss", change, _SCT, run.until_late((), change))
    change = "the plain messages are lost until the refresh time has ended"
    steps = [_passed(inverted, _ALONE) for _, inverted in run.all_missing()]
    yield FaultRun("loss-plain", "loss", change, _SCT, run.until_late(steps, change))
    change = "the inverted messages are lost until the refresh time has ended"
    steps = [plain for plain, _ in run.all_missing()]
    yield FaultRun("loss-inverted", "loss", change, _SCT, run.until_late(steps, change))


def _late(run: _FaultyRun) -> Iterator[FaultRun]:
    change = "the inverted message comes after the validation time has ended"
    limit_us = 1000 * int(run.link.settings["srvt_ms"])
    late = replace(
        _wrong(run.inverted, "srvt", change), time_us=run.plain.time_us + limit_us + 1000
    )
    yield FaultRun(
        "unacceptable-delay-inverted",
        "unacceptable delay",
        change,
        _SRVT,
        (*run.before, run.plain, late),
    )
    change = "the pair comes after the refresh time has ended"
    plain, inverted = run.behind(run.pairs[_AT])
    steps = plain, _wrong(inverted, "watchdog", change)
    yield FaultRun("unacceptable-delay", "unacceptable delay", change, _SCT, (*run.before, *steps))


def _others(run: _FaultyRun) -> Iterator[FaultRun]:
    first = run.link.settings["identifier_1"]
    other = first + 2 if first < LAST else FIRST
    foreign = [
        replace(_readdressed(step, other), verdict="reject", check=f"identifier_{place}")
        for place, step in enumerate(run.pairs[_AT], 1)
    ]
    change = "a pair of another data object is inserted"
    # Between the pair before and its own time, however short the exchange is.
    early_us = min(run.link.tick_us // 2, run.plain.time_us - run.before[-1].time_us)
    inserted = [
        replace(step, change=change, time_us=min(step.time_us - early_us, run.plain.time_us))
        for step in foreign
    ]
    yield FaultRun(
        "insertion", "insertion", change, _IDENTIFIER, (*run.before, *inserted, *run.pairs[_AT])
    )
    change = "somebody else sends a pair with these identifiers"
    forged = [
        replace(step, verdict="undetected", change=change, time_us=own.time_us)
        for step, own in zip(run.pairs[0], run.pairs[_AT], strict=True)
    ]
    yield FaultRun("masquerade", "masquerade", change, _NOTHING, (*run.before, *forged))
    change = "the pair is one of another data object"
    addressed = [replace(step, change=change) for step in foreign]
    yield FaultRun("addressing", "addressing", change, _IDENTIFIER, (*run.before, *addressed))


def _sizes(run: _FaultyRun) -> Iterator[FaultRun]:
    change = "the plain message has one octet less than is mapped"
    steps = (
        _wrong(_resized(run.plain, -1), "too_short", change),
        _passed(run.inverted, _ALONE),
    )
    yield FaultRun("too-short", "corruption", change, _LENGTH, (*run.before, *steps))
    change = "the inverted message has one octet less than is mapped"
    steps = run.plain, _wrong(_resized(run.inverted, -1), "too_short", change)
    yield FaultRun("too-short-inverted", "corruption", change, _LENGTH, (*run.before, *steps))
    if len(run.plain.data) < MOST_OCTETS:
        change = "both messages have one octet more than is mapped: it is passed over"
        longer = [replace(_resized(step, 1), change=change) for step in run.pairs[_AT]]
        measure = "nothing: a receiver passes over what it does not map"
        yield FaultRun("longer", "corruption", change, measure, (*run.before, *longer))


FAULTS = FaultTraits(runs=_runs)
