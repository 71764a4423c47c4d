"""Rules about places: what one end edited and the other did not, named by its cause."""

from __future__ import annotations

from collections.abc import Iterator

from .._codec import owner, run_text
from .._findings import Finding, Rule
from .._model import Map, Reserved
from ..protocols import Profile
from .counterexample import counterexample, place_text
from .phrases import WIRE, content, joined, later, moves, names_of, of_kind, pair_spots, rows
from .registry import Context, Finder, View, count, rule, spot
from .shape import illegal_size_text, size_consequence

__all__: list[str] = []


@rule(
    Rule(
        name="one-sided-signal",
        severity="error",
        scope="direction",
        title="A signal exists at one end only",
        why=f"One end sends or expects a bit the other does not know: {WIRE}.",
        remedy="make the same edit at the other end",
    )
)
def one_sided_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals that only one end has and that displace nothing else."""
    for view, cause in of_kind(context, "one-sided"):
        (here, _), (there, there_map) = view.sides if cause.left else view.sides[::-1]
        for signal in cause.left + cause.right:
            bits = count(signal.width, "bit")
            size = size_consequence(view, context.profile, cause)
            gap = owner(there_map, signal.start)
            remedy = f"insert {signal.name} at {signal.at} at {there.name} as well"
            if isinstance(gap, Reserved) and gap.end >= signal.end:
                left = gap.width - signal.width
                remedy += f" and take {bits} from the reserve there ("
                remedy += (
                    f"reserve {count(left, 'bit')} instead of {gap.width})"
                    if left
                    else (f"its {count(gap.width, 'bit')} are used up)")
                )
            remedy += f", or remove it at {here.name}"
            yield find(
                joined(
                    f"{signal.name} ({bits} at {place_text(signal)}) exists at {here.name} only; "
                    f"{there.name} {content(there_map, signal.start, signal.end)}",
                    size,
                    "the bit was inserted without taking its width from the reserve"
                    if size
                    else "",
                ),
                [spot(here, signal), spot(there, gap, signal.at)],
                remedy=remedy,
                direction=view.direction,
                cause="one-sided bit",
                counterexample=counterexample(view.direction, rows(cause)),
            )


@rule(
    Rule(
        name="shifted-signals",
        severity="error",
        scope="direction",
        title="All signals from a place on stand earlier or later at one end",
        why=f"A bit inserted or removed at one end only displaces all that follow: {WIRE}.",
        remedy="bring both maps to the same places",
    )
)
def shifted_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find runs of signals displaced by the same number of bits."""
    for view, cause in of_kind(context, "shift"):
        producer, consumer = view.direction.producer, view.direction.consumer
        first, last = cause.pairs[0], cause.pairs[-1]
        to_the_end = last is view.matching.pairs[-1]
        until = " on" if to_the_end else f" to {last.left.name} ({last.left.at})"
        what = f"all {len(cause.pairs)} signals" if len(cause.pairs) > 1 else "the signal"
        start = f"{what} from {first.left.name} ({first.left.at} at {producer.name}){until}"
        if len(cause.pairs) == 1:
            start = f"{first.left.name} ({first.left.at} at {producer.name})"
        verb = "are" if len(cause.pairs) > 1 else "is"
        reasons = []
        remedy = f"bring {first.left.name} to the same place at both ends"
        for signals, here, there in (
            (cause.left, producer, consumer),
            (cause.right, consumer, producer),
        ):
            if signals:
                reasons.append(
                    f"{names_of(signals)} {'was' if len(signals) == 1 else 'were'} "
                    f"inserted at {here.name} only"
                )
                names = " and ".join(signal.name for signal in signals)
                bits = count(sum(signal.width for signal in signals), "bit")
                remedy = (
                    f"insert {names} at {there.name} as well and take {bits} from the reserve "
                    f"behind at both ends, or remove {names} at {here.name}"
                )
        gap = "a gap takes the shift up again, so the size stays the same" if cause.absorbed else ""
        yield find(
            joined(
                f"{start} {verb} {later(cause.delta)} at {consumer.name}",
                *reasons,
                gap,
                size_consequence(view, context.profile, cause),
            ),
            [
                *(spot(producer, signal) for signal in cause.left),
                *(spot(consumer, signal) for signal in cause.right),
                *pair_spots(view, cause.pairs),
            ],
            remedy=remedy,
            direction=view.direction,
            cause=f"shift by {later(cause.delta)} from {first.left.at} on",
            details=moves(view, cause.pairs),
            counterexample=counterexample(view.direction, rows(cause)),
        )


@rule(
    Rule(
        name="swapped-signals",
        severity="error",
        scope="direction",
        title="Two signals stand in each other's place",
        why="Two channels exchanged at one end: each function acts on the other's command, and a "
        "test that sets both to the same value does not show it.",
        remedy="exchange the two rows at one end",
    )
)
def swapped_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find pairs of signals that exchanged places between the ends."""
    for view, cause in of_kind(context, "swap"):
        first, second = cause.pairs
        producer, consumer = view.direction.producer.name, view.direction.consumer.name
        yield find(
            f"{first.left.name} and {second.left.name} stand in each other's place: "
            f"{place_text(first.left)} and {place_text(second.left)} at {producer}, "
            f"{place_text(first.right)} and {place_text(second.right)} at {consumer}",
            pair_spots(view, cause.pairs, 2),
            direction=view.direction,
            cause="swap of two signals",
            counterexample=counterexample(view.direction, rows(cause)),
        )


@rule(
    Rule(
        name="moved-signal",
        severity="error",
        scope="direction",
        title="One signal stands at another place at one end",
        why=f"The signal is read from bits that carry something else: {WIRE}.",
        remedy="move the signal at one end",
    )
)
def moved_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find single signals whose place differs while their neighbours agree."""
    for view, cause in of_kind(context, "moved"):
        pair = cause.pairs[0]
        direction = view.direction
        there = content(direction.sent, pair.right.start, pair.right.end)
        yield find(
            joined(
                f"{pair.left.name} is at {place_text(pair.left)} at {direction.producer.name} but "
                f"at {place_text(pair.right)} at {direction.consumer.name}, where "
                f"{direction.producer.name} {there}",
                size_consequence(view, context.profile, cause),
            ),
            pair_spots(view, cause.pairs),
            remedy=f"move {pair.right.name} to {pair.left.at} at {direction.consumer.name}, or to "
            f"{pair.right.at} at {direction.producer.name}",
            direction=direction,
            cause="moved signal",
            counterexample=counterexample(direction, rows(cause)),
        )


@rule(
    Rule(
        name="width-differs",
        severity="error",
        scope="direction",
        title="A signal has another width at one end",
        why="The wider end puts information into bits that the other reads as something else, or "
        "not at all.",
        remedy="give the signal the same width at both ends",
    )
)
def width_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals of different width, and what their width displaces."""
    for view, cause in of_kind(context, "width"):
        pair, *shifted = cause.pairs
        direction = view.direction
        behind = ""
        if shifted:
            verb = "are" if len(shifted) > 1 else "is"
            behind = (
                f"{count(len(shifted), 'signal')} behind it {verb} {later(shifted[0].shift)} at "
                f"{direction.consumer.name}"
            )
        yield find(
            joined(
                f"{pair.left.name} at {pair.left.at} is {count(pair.left.width, 'bit')} wide at "
                f"{direction.producer.name} and {count(pair.right.width, 'bit')} at "
                f"{direction.consumer.name}",
                behind,
                size_consequence(view, context.profile, cause),
            ),
            pair_spots(view, cause.pairs),
            direction=direction,
            cause="width change",
            details=moves(view, tuple(shifted)),
            counterexample=counterexample(direction, rows(cause)),
        )


@rule(
    Rule(
        name="reserve-differs",
        severity="error",
        scope="direction",
        title="A reserved run has another width at one end",
        why="A gap of the wrong width displaces what follows or gives the frame another size.",
        remedy="give the reserve the same width at both ends",
    )
)
def reserve_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find reserved runs whose width differs, and what that displaces."""
    for view, cause in of_kind(context, "reserve"):
        direction = view.direction
        before = cause.pairs[0] if cause.pairs else None
        (left, right) = (
            _last_reserve(map_, limit)
            for map_, limit in (
                (direction.sent, before.left.start if before else None),
                (direction.received, before.right.start if before else None),
            )
        )
        behind = ""
        if before:
            verb = "are" if len(cause.pairs) > 1 else "is"
            behind = (
                f"{count(len(cause.pairs), 'signal')} from {before.left.name} on {verb} "
                f"{later(cause.delta)} at {direction.consumer.name}"
            )
        yield find(
            joined(
                f"reserve {count(right.width, 'bit')} at {direction.consumer.name} instead of "
                f"{left.width} as at {direction.producer.name} "
                f"({run_text(right.start, right.end)} against {run_text(left.start, left.end)})",
                behind,
                size_consequence(view, context.profile, cause),
            ),
            [spot(direction.producer, left), spot(direction.consumer, right)],
            remedy=_reserve_remedy(context.profile, view, left.width, right.width),
            direction=direction,
            cause="reserve width",
            details=moves(view, cause.pairs),
            counterexample=counterexample(direction, rows(cause)),
        )


def _reserve_remedy(profile: Profile | None, view: View, left: int, right: int) -> str:
    """Return the width to use at both ends: the one that gives a legal size, if only one does."""
    legal = [
        profile is None
        or illegal_size_text(map_, profile, end.connection_table.legal_octets) is None
        for end, map_ in view.sides
    ]
    (producer, _), (consumer, _) = view.sides
    if legal == [False, True]:
        return f"reserve {count(right, 'bit')} at both ends, as at {consumer.name}"
    if legal == [True, False]:
        return f"reserve {count(left, 'bit')} at both ends, as at {producer.name}"
    return f"reserve {count(left, 'bit')} at both ends (or {right}, if {consumer.name} is right)"


def _last_reserve(map_: Map, limit: int | None) -> Reserved:
    runs = [run for run in map_.reserved if limit is None or run.start < limit]
    return max(runs, key=lambda run: run.start)


@rule(
    Rule(
        name="size-differs",
        severity="error",
        scope="direction",
        title="The two ends disagree about the size of the data",
        why="The consumer waits for a frame of another length: the connection does not come up, "
        "or the rest of a longer frame is ignored.",
        remedy="declare the same number of bits at both ends",
    )
)
def size_differs(context: Context, find: Finder) -> Iterator[Finding]:
    """Find directions whose sizes differ for no other reason."""
    for view, cause in of_kind(context, "size"):
        yield find(
            size_consequence(view, context.profile, cause),
            [
                spot(end, max(map_.entries, key=lambda entry: entry.end, default=None))
                for end, map_ in view.sides
            ],
            direction=view.direction,
            cause="size",
        )
