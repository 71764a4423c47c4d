"""Words and spots shared by the rules that tell causes of displacement."""

from __future__ import annotations

from collections.abc import Iterator

from .._codec import owner
from .._findings import Spot
from .._model import Map, Reserved, Signal
from .._pairing import Cause, Pair
from .counterexample import SignalPair, place_text
from .registry import Context, View, count, spot

__all__ = [
    "WIRE",
    "content",
    "joined",
    "later",
    "moves",
    "names_of",
    "of_kind",
    "pair_spots",
    "rows",
]

WIRE = "length and checksum of the frame stay right while the meaning shifts"


def of_kind(context: Context, kind: str) -> Iterator[tuple[View, Cause]]:
    """Yield the causes of one kind, each with its direction."""
    for view in context.views:
        for cause in view.causes:
            if cause.kind == kind:
                yield view, cause


def rows(cause: Cause) -> list[SignalPair]:
    """Return every signal of a cause as both ends have it."""
    found: list[SignalPair] = [(pair.left, pair.right) for pair in cause.pairs]
    found += [(signal, None) for signal in cause.left]
    found += [(None, signal) for signal in cause.right]
    return found


def pair_spots(view: View, pairs: tuple[Pair, ...], most: int = 1) -> list[Spot]:
    """Return where the first ``most`` pairs stand at both ends."""
    producer, consumer = view.direction.producer, view.direction.consumer
    return [
        found
        for pair in pairs[:most]
        for found in (spot(producer, pair.left), spot(consumer, pair.right))
    ]


def moves(view: View, pairs: tuple[Pair, ...]) -> list[str]:
    """Return one line per pair: where it stands at both ends."""
    producer, consumer = view.direction.producer.name, view.direction.consumer.name
    return [
        f"{pair.left.name}: {place_text(pair.left)} at {producer}, "
        f"{place_text(pair.right)} at {consumer}"
        for pair in pairs
    ]


def joined(text: str, *more: str) -> str:
    """Join the parts of a message that are not empty."""
    return "; ".join(part for part in (text, *more) if part)


def later(delta: int) -> str:
    """Return ``2 bits later`` or ``1 bit earlier``."""
    return f"{count(abs(delta), 'bit')} {'later' if delta > 0 else 'earlier'}"


def names_of(signals: tuple[Signal, ...]) -> str:
    """Return signals with width and place as one enumeration."""
    return ", ".join(
        f"{signal.name} ({count(signal.width, 'bit')} at {place_text(signal)})"
        for signal in signals
    )


def content(map_: Map, start: int, end: int) -> str:
    """Return what a map has at a run of bits, in words."""
    here = owner(map_, start)
    if isinstance(here, Reserved):
        return "has these bits reserved" if here.end >= end else "has them only partly reserved"
    if isinstance(here, Signal):
        return f"has {here.name} there"
    return "declares nothing there" if start < map_.size_bits else "ends its data before that"
