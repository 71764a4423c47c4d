"""Rules about whole octets, words or maps read in another order."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from .._findings import Finding, Rule
from .._pairing import Cause
from .._words import count, ranges
from .phrases import (
    WIRE,
    alignments,
    joined,
    moves,
    names_of,
    of_kind,
    pair_culprits,
    pair_spots,
    placed,
    rows,
)
from .registry import CAUSE_CHECKS, Check, Context, Finder, View, registering
from .remedies import Remedy
from .shape import size_consequence

_PATTERNS = {
    "octet-order": ("octet order", "octet order"),
    "bit-numbering": ("bit numbering", "bit numbering"),
    "nibble-order": ("nibbles", "nibble order"),
    "bit-per-octet": ("granularity", "bit per octet"),
    "rearranged-signals": ("rearranged", "rearranged"),
}
"""The kind of causes that a rule tells, and what its findings call the cause."""


def _pattern_check(tell: Callable[[Context, View, Cause], str], rule: Rule) -> Check:
    """Return the check that tells each pattern of one kind, and the ways to mend it if known."""
    kind, name = _PATTERNS[rule.name]

    def check(context: Context, find: Finder) -> Iterator[Finding]:
        for view, cause in of_kind(context, kind):
            yield find(
                tell(context, view, cause),
                pair_spots(view, cause.pairs),
                direction=view.direction,
                cause=name,
                details=moves(view, cause.pairs),
                counterexample=find.witness(view.direction, rows(cause)),
                culprits=pair_culprits(view, cause.pairs[1:]),
                remedies=() if kind == "rearranged" else _as_there(view, cause, rule.remedy),
            )

    return check


_pattern_rule = registering(CAUSE_CHECKS, _pattern_check, "direction")
"""Registers what says in words which pattern displaces the signals."""


@_pattern_rule(
    name="octet-order",
    severity="error",
    title="Octets are exchanged at one end",
    why="One end counts the octets of a word from the other side (least versus most "
    f"significant octet first): {WIRE}.",
    remedy="number the octets in wire order at both ends: octet 0 is sent first",
)
def octet_order(context: Context, view: View, cause: Cause) -> str:
    """Find maps that agree once the octets of each word are exchanged."""
    consumer = view.direction.consumer.name
    how = f"the octets of {_words(cause)} are exchanged at {consumer}"
    if not cause.word_octets:
        how = f"{_words(cause)} stand in another order at {consumer}"
    return f"{how}; that explains {_explained(view, cause)}"


@_pattern_rule(
    name="bit-numbering",
    severity="error",
    title="Bits are numbered from the other side at one end",
    why="One end counts bit 0 as the most significant bit of an octet, the other as the least "
    f"significant: {WIRE}.",
    remedy="number bits from the least significant (bit 0) at both ends",
)
def bit_numbering(context: Context, view: View, cause: Cause) -> str:
    """Find maps that agree once the bits of each octet are counted from the other side."""
    return (
        f"the bits of {_words(cause)} are numbered from the other side at "
        f"{view.direction.consumer.name}; that explains {_explained(view, cause)}"
    )


@_pattern_rule(
    name="nibble-order",
    severity="error",
    title="The halves of octets are exchanged at one end",
    why=f"The upper half of an octet at one end is the lower half at the other: {WIRE}.",
    remedy="put bits 0 to 3 into the lower half of the octet at both ends",
)
def nibble_order(context: Context, view: View, cause: Cause) -> str:
    """Find octets that agree once their halves are exchanged."""
    return (
        f"the halves of {_words(cause)} are exchanged at {view.direction.consumer.name}; that "
        f"explains {_explained(view, cause)}"
    )


@_pattern_rule(
    name="bit-per-octet",
    severity="error",
    title="One end gives every bit an octet of its own",
    why="One end was written for a device that takes a whole octet for each bit, the other "
    f"packs them: {WIRE}.",
    remedy="pack the bits in the same way at both ends",
)
def bit_per_octet(context: Context, view: View, cause: Cause) -> str:
    """Find maps of which one has each bit in an octet of its own and the other packs them."""
    ends = [end.name for end, _ in view.sides]
    packed, spread = ends if cause.word_octets else ends[::-1]
    alone = view.matching.right_only if cause.word_octets else view.matching.left_only
    which = f"each bit that {packed} has too" if alone else "each bit"
    return joined(
        f"{spread} has {which} in an octet of its own, {packed} packs them; that "
        f"explains {_explained(view, cause)}",
        size_consequence(view, context.profile, cause._replace(delta=1)),
    )


@_pattern_rule(
    name="rearranged-signals",
    severity="error",
    title="Most signals stand elsewhere at one end",
    why="No single mistake explains the two orders; one of the files may belong to another "
    "release.",
    remedy="check that both files are of the same release, then compare them row by row",
)
def rearranged_signals(context: Context, view: View, cause: Cause) -> str:
    """Find maps whose differences need too many causes to be one mistake."""
    extra = cause.left + cause.right
    return joined(
        f"{len(cause.pairs)} of {len(view.matching.pairs)} signals stand elsewhere at "
        f"{view.direction.consumer.name}, and no single mistake explains it",
        f"at one end only: {names_of(extra)}" if extra else "",
    )


def _words(cause: Cause) -> str:
    """Return the octets or words that a pattern is about."""
    if not cause.octets:
        octets = cause.word_octets
        return "every octet" if octets == 1 else f"every word of {octets} octets"
    runs = [
        str(run.start) if len(run) == 1 else f"{run.start} to {run.stop - 1}"
        for run in ranges(cause.octets)
    ]
    word = "octet" if len(cause.octets) == 1 else "octets"
    if cause.word_octets < 2 or len(cause.octets) == cause.word_octets:
        return f"{word} {' and '.join(runs)}"
    return f"the words of {cause.word_octets} octets in {word} {' and '.join(runs)}"


def _explained(view: View, cause: Cause) -> str:
    displaced = sum(pair.shift != 0 for pair in view.matching.pairs)
    if len(cause.pairs) == displaced:
        return f"all {count(displaced, 'displaced signal')}"
    return f"{len(cause.pairs)} of {count(displaced, 'displaced signal')}"


def _as_there(view: View, cause: Cause, advice: str) -> Iterator[Remedy]:
    """Yield the two ways to place the signals alike, the first one after the advice."""
    for number, remedy in enumerate(alignments(view, cause, placed)):
        yield remedy if number else remedy._replace(text=f"{advice}: {remedy.text}")
