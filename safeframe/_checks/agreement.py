"""Rules about places: what one end edited and the other did not, named by its cause."""

from __future__ import annotations

from collections.abc import Iterator

from .._bits import run_text
from .._findings import Finding
from .._model import End, Map, Reserved, Signal
from .._pairing import Cause, Pair
from .phrases import (
    ASK,
    WIRE,
    alignments,
    content,
    doubled_at,
    joined,
    later,
    moves,
    names_of,
    of_kind,
    pair_culprits,
    pair_spots,
    place_text,
    placed,
    rows,
    the_signals,
    which,
)
from .registry import Context, Finder, View, cause_rule, count, spot
from .shape import size_consequence


@cause_rule(
    name="shifted-signals",
    severity="error",
    title="All signals from a place on stand earlier or later at one end",
    why=f"A bit inserted or removed at one end only displaces all that follow: {WIRE}.",
    remedy=ASK,
)
def shifted_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find runs of signals displaced by the same number of bits, or by more from octet to octet."""
    for view, cause in of_kind(context, "shift"):
        producer, consumer = view.direction.producer, view.direction.consumer
        sizes = view.direction.sent.size_bits == view.direction.received.size_bits
        taken_up = cause.absorbed and sizes
        gap = "a gap takes the shift up again, so the size stays the same" if taken_up else ""
        yield find(
            joined(
                f"{_shifted(view, cause)} at {consumer.name}",
                *_extras(view, cause),
                gap,
                size_consequence(view, context.profile, cause),
            ),
            [
                *(spot(producer, signal) for signal in cause.left),
                *(spot(consumer, signal) for signal in cause.right),
                *pair_spots(view, cause.pairs),
            ],
            direction=view.direction,
            cause=f"shift by {later(cause.delta)} from {cause.pairs[0].left.at} on",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            remedies=alignments(view, cause, _realign),
            culprits=pair_culprits(view, cause.pairs[1:]),
        )


def _shifted(view: View, cause: Cause) -> str:
    """Return which signals are displaced by how much."""
    first, last = cause.pairs[0], cause.pairs[-1]
    producer = view.direction.producer.name
    start = f"{first.left.name} ({first.left.at} at {producer})"
    if len(cause.pairs) == 1:
        return f"{start} is {later(cause.delta)}"
    here = [
        pair
        for pair in view.matching.pairs
        if first.left.start <= pair.left.start <= last.left.start
    ]
    everything = len(here) == len(cause.pairs)
    number = "all" if everything else f"{len(cause.pairs)} of the"
    to_the_end = last is view.matching.pairs[-1]
    until = " on" if to_the_end else f" to {last.left.name} ({last.left.at})"
    text = f"{number} {len(here)} signals from {start}{until} are "
    if not cause.repeated:
        return text + later(cause.delta)
    shifts = [pair.shift for pair in cause.pairs]
    few, many = sorted((min(map(abs, shifts)), max(map(abs, shifts))))
    way = "later" if shifts[0] > 0 else "earlier"
    return text + f"{few} to {count(many, 'bit')} {way}, more from octet to octet,"


def _extras(view: View, cause: Cause) -> list[str]:
    """Return which signals one end alone has where the shift begins."""
    return [
        f"{names_of(signals)} {'stands' if len(signals) == 1 else 'stand'} at {end.name} only"
        for signals, end in (
            (cause.left, view.direction.producer),
            (cause.right, view.direction.consumer),
        )
        if signals
    ]


def _realign(view: View, cause: Cause, end: End, other: End) -> str:
    """Return in words how an end gets the signals and places of the other one."""
    mine, theirs = cause.left, cause.right
    if end is not view.direction.producer:
        mine, theirs = theirs, mine
    parts = []
    if theirs:
        names = " and ".join(f"{signal.name} at {signal.at}" for signal in theirs)
        parts.append(f"insert {names} at {end.name} as well")
    if mine:
        names = " and ".join(which(signal, doubled_at(view, end)) for signal in mine)
        parts.append(f"remove {names} at {end.name}")
    parts.append(f"place {the_signals(view, cause.pairs, end)} at {end.name} as at {other.name}")
    return " and ".join(parts)


@cause_rule(
    name="swapped-signals",
    severity="error",
    title="Two signals stand in each other's place",
    why="Two channels exchanged at one end: each function acts on the other's command, and a "
    "test that sets both to the same value does not show it.",
    remedy="exchange the two rows at one end",
)
def swapped_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs of signals that exchanged places between the ends."""
    for view, cause in of_kind(context, "swap"):
        first, second = cause.pairs
        producer, consumer = view.direction.producer.name, view.direction.consumer.name
        how = "stand in each other's place"
        if first.left.width != second.left.width or cause.delta:
            how = "stand in the opposite order"
        besides = f" (what is around them is {later(cause.delta)} there)" if cause.delta else ""
        yield find(
            f"{first.left.name} and {second.left.name} {how}: "
            f"{place_text(first.left)} and {place_text(second.left)} at {producer}, "
            f"{place_text(first.right)} and {place_text(second.right)} at {consumer}{besides}",
            pair_spots(view, cause.pairs, 2),
            direction=view.direction,
            cause="swap of two signals",
            counterexample=find.witness(view.direction, rows(cause)),
            remedies=alignments(view, cause, placed),
        )


@cause_rule(
    name="rotated-signals",
    severity="error",
    title="Three or more signals changed places among themselves",
    why="Each function acts on the command of the next one, and a test that sets all of them "
    "to the same value does not show it.",
    remedy=ASK,
)
def rotated_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find rings of signals, and signals in another order within the same bits."""
    for view, cause in of_kind(context, "rotation"):
        producer, consumer = view.direction.producer.name, view.direction.consumer.name
        by_right = sorted(cause.pairs, key=lambda pair: pair.right.start)
        besides = f"; what is around them is {later(cause.delta)} there" if cause.delta else ""
        yield find(
            f"{len(cause.pairs)} signals changed places among themselves: "
            f"{_row(cause.pairs)} at {producer}, {_row(tuple(by_right), right=True)} at "
            f"{consumer}{besides}",
            pair_spots(view, cause.pairs, len(cause.pairs)),
            direction=view.direction,
            cause="rotation",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            remedies=alignments(view, cause, placed),
        )


def _row(pairs: tuple[Pair, ...], *, right: bool = False) -> str:
    """Return signals with their places at one end, the first six of them."""
    shown = [f"{pair.left.name} {(pair.right if right else pair.left).at}" for pair in pairs[:6]]
    return ", ".join(shown) + (" ..." if len(pairs) > 6 else "")


@cause_rule(
    name="moved-signal",
    severity="error",
    title="One signal stands at another place at one end",
    why=f"The signal is read from bits that carry something else: {WIRE}.",
    remedy=ASK,
)
def moved_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find single signals whose place differs while their neighbours agree."""
    for view, cause in of_kind(context, "moved"):
        (pair,) = cause.pairs
        direction = view.direction
        there = content(direction.sent, pair.right.start, pair.right.end, pair.left)
        yield find(
            joined(
                f"{pair.left.name} is at {place_text(pair.left)} at {direction.producer.name} but "
                f"at {place_text(pair.right)} at {direction.consumer.name}, where "
                f"{direction.producer.name} {there}",
                size_consequence(view, context.profile, cause),
            ),
            pair_spots(view, cause.pairs),
            direction=direction,
            cause="moved signal",
            counterexample=find.witness(direction, rows(cause)),
            remedies=alignments(view, cause, _move),
        )


def _move(view: View, cause: Cause, end: End, other: End) -> str:
    (pair,) = cause.pairs
    own, target = pair.left, pair.right
    if end is not view.direction.producer:
        own, target = target, own
    return f"move {which(own, doubled_at(view, end))} to {target.at} at {end.name}"


@cause_rule(
    name="width-differs",
    severity="error",
    title="A signal has another width at one end",
    why="The wider end puts information into bits that the other reads as something else, or "
    "not at all.",
    remedy="give the signal the same width at both ends",
)
def width_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals of different width, and what their width displaces."""
    for view, cause in of_kind(context, "width"):
        pair, *shifted = cause.pairs
        producer, consumer = view.direction.producer.name, view.direction.consumer.name
        behind = ""
        if shifted:
            verb = "are" if len(shifted) > 1 else "is"
            behind = (
                f"{count(len(shifted), 'signal')} behind it {verb} {later(shifted[0].shift)} at "
                f"{consumer}"
            )
        left, right = (f"{count(one.width, 'bit')} wide" for one in (pair.left, pair.right))
        where = f"at {pair.left.at} is {left} at {producer} and {right[:-5]} at {consumer}"
        if pair.shift:
            where = f"is {left} at {pair.left.at} at {producer} and {right} at {pair.right.at} at "
            where += consumer
        yield find(
            joined(
                f"{pair.left.name} {where}", behind, size_consequence(view, context.profile, cause)
            ),
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="width change",
            details=moves(view, tuple(shifted)),
            counterexample=find.witness(view.direction, rows(cause)),
            remedies=alignments(view, cause, _resize),
            culprits=pair_culprits(view, shifted),
        )


def _resize(view: View, cause: Cause, end: End, other: End) -> str:
    pair, *shifted = cause.pairs
    target = pair.right if end is view.direction.producer else pair.left
    own = pair.left if target is pair.right else pair.right
    name = which(own, doubled_at(view, end))
    text = f"make {name} {count(target.width, 'bit')} wide at {end.name}, as at {other.name}"
    if shifted:
        names = the_signals(view, tuple(shifted), end)
        text += f", and place {names} there as at {other.name}"
    return text


@cause_rule(
    name="reserve-differs",
    severity="error",
    title="A reserved run has another width at one end",
    why="A gap of the wrong width displaces what follows or gives the frame another size.",
    remedy="find out which end is right, and give the reserve there and here the same width",
)
def reserve_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find reserved runs whose width differs, and what that displaces."""
    for view, cause in of_kind(context, "reserve"):
        direction = view.direction
        left, right = _reserves(view, cause)
        behind = ""
        if cause.pairs:
            verb = "are" if len(cause.pairs) > 1 else "is"
            behind = (
                f"{count(len(cause.pairs), 'signal')} from {cause.pairs[0].left.name} on {verb} "
                f"{later(cause.delta)} at {direction.consumer.name}"
            )
        runs = (
            f"reserve {count(_width(right), 'bit')} at {direction.consumer.name} instead of "
            f"{_width(left)} as at {direction.producer.name} ({_runs(right)} against "
            f"{_runs(left)})"
        )
        if _width(left) == _width(right):
            runs = ""  # Another mistake beside them hides which reserve it is.
        size = size_consequence(view, context.profile, cause)
        yield find(
            joined(*filter(None, (runs, behind, size))),
            [spot(direction.producer, left[0]), spot(direction.consumer, right[0])],
            direction=direction,
            cause="reserve width",
            details=moves(view, cause.pairs),
            counterexample=find.witness(direction, rows(cause)),
            remedies=alignments(view, cause, _reserve),
            culprits=pair_culprits(view, cause.pairs),
        )


def _reserves(view: View, cause: Cause) -> tuple[list[Reserved], list[Reserved]]:
    """Return the reserved runs of both ends that stand where a cause begins."""
    found = []
    for map_, first in (
        (view.direction.sent, cause.pairs[0].left if cause.pairs else None),
        (view.direction.received, cause.pairs[0].right if cause.pairs else None),
    ):
        limit = first.start if first else map_.size_bits
        before = max((one.end for one in map_.signals if one.start < limit), default=0)
        runs = [run for run in map_.reserved if run.start < limit]
        # A signal that strayed there may stand behind the run; then it is the last one before.
        found.append([run for run in runs if run.start >= before] or runs[-1:])
    return found[0], found[1]


def _width(runs: list[Reserved]) -> int:
    return sum(run.width for run in runs)


def _runs(runs: list[Reserved]) -> str:
    return " and ".join(run_text(run.start, run.end) for run in runs)


def _reserve(view: View, cause: Cause, end: End, other: End) -> str:
    if not cause.pairs:
        return f"have the reserve at {end.name} as at {other.name}"
    return placed(view, cause, end, other)


@cause_rule(
    name="size-differs",
    severity="error",
    title="The two ends disagree about the size of the data",
    why="The consumer waits for a frame of another length: the connection does not come up, "
    "or the rest of a longer frame is ignored.",
    remedy="declare the same number of bits at both ends",
)
def size_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find directions whose sizes differ for no other reason."""
    for view, cause in of_kind(context, "size"):
        if view.is_empty_at_one_end:
            continue  # That one end has no signal at all is the cause.
        yield find(
            size_consequence(view, context.profile, cause),
            [spot(end, _last(map_)) for end, map_ in view.sides],
            direction=view.direction,
            cause="size",
            remedies=alignments(view, cause, _size),
        )


def _size(view: View, cause: Cause, end: End, other: End) -> str:
    return f"end the data at {end.name} as at {other.name}"


def _last(map_: Map) -> Signal | Reserved | None:
    return max(map_.entries, key=lambda entry: entry.end, default=None)
