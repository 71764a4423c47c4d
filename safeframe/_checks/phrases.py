"""Words and spots shared by the rules that tell causes of displacement."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator

from .._bits import run_text
from .._errors import UsageError
from .._findings import Spot
from .._model import End, Map, Reserved, Signal, owner
from .._pairing import Cause, Pair
from .registry import Context, View, count, spot
from .remedies import Remedy, adopted, map_changed, reserve_changes

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .counterexample import SignalPair

ASK = "find out which end is right, then bring the other one into line"


def code_points(left: object, right: object) -> str:
    """Return what tells two texts apart that show the same letters in other forms, else nothing.

    Such are compatibility forms (Unicode Standard Annex 15), as in 10² and 102, and letters that
    one capital is written for, as in Maße and Masse.
    """
    texts = str(left), str(right)
    if left == right or all(map(str.isascii, texts)):
        return ""
    import unicodedata  # deferred: most texts are ASCII.

    one, two = (unicodedata.normalize("NFKC", text).casefold() for text in texts)
    if one != two:
        return ""
    return f" (only the form of letters or figures differs; as code points: {left!a} and {right!a})"


WIRE = "length and checksum of the frame stay right while the meaning shifts"


def place_text(signal: Signal) -> str:
    """Return the places of a signal as people write them, ``1.0-1.1``."""
    return run_text(signal.start, signal.end)


def which(signal: Signal, doubled: Container[str]) -> str:
    """Return the name of a signal, with its place where it is one of those that stand twice."""
    return f"{signal.name} ({signal.at})" if signal.name in doubled else signal.name


def doubled_at(view: View, end: End) -> frozenset[str]:
    """Return the names that stand several times in the map that an end has of a direction."""
    return view.doubled[end is not view.direction.producer]


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


def pair_culprits(view: View, pairs: Iterable[Pair]) -> list[tuple[str, str]]:
    """Return the signals of pairs of which no spot is shown: a finding is about all of them."""
    producer, consumer = view.direction.producer.name, view.direction.consumer.name
    return [
        found
        for pair in pairs
        for found in ((producer, pair.left.name), (consumer, pair.right.name))
    ]


def moves(view: View, pairs: tuple[Pair, ...]) -> list[str]:
    """Return one line per pair: where it stands at both ends."""
    producer, consumer = view.direction.producer.name, view.direction.consumer.name
    return [
        f"{_called(pair)}: {place_text(pair.left)} at {producer}, "
        f"{place_text(pair.right)} at {consumer}"
        for pair in pairs
    ]


def _called(pair: Pair) -> str:
    """Return what both ends call a signal: a remedy at one end names it as that end does."""
    left, right = pair.left.name, pair.right.name
    return left if left == right else f"{left} / {right}"


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


def content(map_: Map, start: int, end: int, own: Signal | None = None) -> str:
    """Return what a map has at a run of bits, in words; ``own`` is the signal this is about."""
    if start >= map_.size_bits:
        return "ends its data before that"
    inside = [entry for entry in map_.entries if entry.start < end and start < entry.end]
    signals = [entry for entry in inside if isinstance(entry, Signal) and entry is not own]
    if signals:
        names = " and ".join(dict.fromkeys(signal.name for signal in signals[:3]))
        more = f" and {len(signals) - 3} more" if len(signals) > 3 else ""
        return f"has {names}{more} there"
    if any(entry is own for entry in inside):
        return "has a part of it already"
    if not inside:
        return "declares nothing there"
    first = owner(map_, start)
    if end > map_.size_bits or first is None or _declared(inside, start, end) < end - start:
        return "has them only partly reserved"
    return "has these bits reserved"


def _declared(entries: Iterable[Signal | Reserved], start: int, end: int) -> int:
    return sum(min(entry.end, end) - max(entry.start, start) for entry in entries)


def the_signals(view: View, pairs: tuple[Pair, ...], end: End) -> str:
    """Return displaced signals as an end calls them: one or two by name, more by their number."""
    if len(pairs) <= 2:
        left, doubled = end is view.direction.producer, doubled_at(view, end)
        return " and ".join(which(pair.left if left else pair.right, doubled) for pair in pairs)
    return f"the {len(pairs)} displaced signals"


def placed(view: View, cause: Cause, end: End, other: End) -> str:
    """Say in words that an end places the signals of a cause as the other one does."""
    return f"place {the_signals(view, cause.pairs, end)} at {end.name} as at {other.name}"


def alignments(
    view: View, cause: Cause, does: Callable[[View, Cause, End, End], str]
) -> Iterator[Remedy]:
    """Yield the two ways to bring the ends into line as far as a cause goes.

    ``does`` says in words what to do at the first end to have things as at the second one. What
    happens to the reserve there is added.
    """
    (producer, sent), (consumer, received) = view.sides
    for end, here, other, there, left in (
        (consumer, received, producer, sent, False),
        (producer, sent, consumer, received, True),
    ):
        try:
            entries = adopted(here, there, cause, left=left)
        except UsageError:
            continue  # A signal cannot stand there, by its width or order.
        changes = reserve_changes(here, entries)
        text = does(view, cause, end, other) + (f" ({changes} at {end.name})" if changes else "")
        yield Remedy(text, map_changed(end.name, sends=left, entries=entries))
