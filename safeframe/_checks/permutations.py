"""Rules about whole octets, words or maps read in another order."""

from __future__ import annotations

from collections.abc import Iterator

from .._findings import Finding
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
from .registry import Context, Finder, View, cause_rule
from .remedies import Remedy
from .shape import size_consequence


@cause_rule(
    name="octet-order",
    severity="error",
    scope="direction",
    title="Octets are exchanged at one end",
    why="One end counts the octets of a word from the other side (least versus most "
    f"significant octet first): {WIRE}.",
    remedy="number the octets in wire order at both ends: octet 0 is sent first",
)
def octet_order(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps that agree once the octets of each word are exchanged."""
    for view, cause in of_kind(context, "octet order"):
        consumer = view.direction.consumer.name
        how = f"the octets of {_words(cause)} are exchanged at {consumer}"
        if not cause.word_octets:
            how = f"{_words(cause)} stand in another order at {consumer}"
        yield find(
            f"{how}; that explains {_explained(view, cause)}",
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="octet order",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            culprits=pair_culprits(view, cause.pairs[1:]),
            remedies=_as_there(view, cause, find.rule.remedy),
        )


@cause_rule(
    name="bit-numbering",
    severity="error",
    scope="direction",
    title="Bits are numbered from the other side at one end",
    why="One end counts bit 0 as the most significant bit of an octet, the other as the least "
    f"significant: {WIRE}.",
    remedy="number bits from the least significant (bit 0) at both ends",
)
def bit_numbering(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps that agree once the bits of each octet are counted from the other side."""
    for view, cause in of_kind(context, "bit numbering"):
        yield find(
            f"the bits of {_words(cause)} are numbered from the other side at "
            f"{view.direction.consumer.name}; that explains {_explained(view, cause)}",
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="bit numbering",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            culprits=pair_culprits(view, cause.pairs[1:]),
            remedies=_as_there(view, cause, find.rule.remedy),
        )


@cause_rule(
    name="nibble-order",
    severity="error",
    scope="direction",
    title="The halves of octets are exchanged at one end",
    why=f"The upper half of an octet at one end is the lower half at the other: {WIRE}.",
    remedy="put bits 0 to 3 into the lower half of the octet at both ends",
)
def nibble_order(context: Context, find: Finder) -> Iterator[Finding]:
    """Find octets that agree once their halves are exchanged."""
    for view, cause in of_kind(context, "nibbles"):
        yield find(
            f"the halves of {_words(cause)} are exchanged at {view.direction.consumer.name}; that "
            f"explains {_explained(view, cause)}",
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="nibble order",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            culprits=pair_culprits(view, cause.pairs[1:]),
            remedies=_as_there(view, cause, find.rule.remedy),
        )


@cause_rule(
    name="bit-per-octet",
    severity="error",
    scope="direction",
    title="One end gives every bit an octet of its own",
    why="One end was written for a device that takes a whole octet for each bit, the other "
    f"packs them: {WIRE}.",
    remedy="pack the bits in the same way at both ends",
)
def bit_per_octet(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps of which one has each bit in an octet of its own and the other packs them."""
    for view, cause in of_kind(context, "granularity"):
        ends = [end.name for end, _ in view.sides]
        packed, spread = ends if cause.word_octets else ends[::-1]
        alone = view.matching.right_only if cause.word_octets else view.matching.left_only
        which = f"each bit that {packed} has too" if alone else "each bit"
        yield find(
            joined(
                f"{spread} has {which} in an octet of its own, {packed} packs them; that "
                f"explains {_explained(view, cause)}",
                size_consequence(view, context.profile, cause._replace(delta=1)),
            ),
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="bit per octet",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            culprits=pair_culprits(view, cause.pairs[1:]),
            remedies=_as_there(view, cause, find.rule.remedy),
        )


@cause_rule(
    name="rearranged-signals",
    severity="error",
    scope="direction",
    title="Most signals stand elsewhere at one end",
    why="No single mistake explains the two orders; one of the files may belong to another "
    "release.",
    remedy="check that both files are of the same release, then compare them row by row",
)
def rearranged_signals(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps whose differences need too many causes to be one mistake."""
    for view, cause in of_kind(context, "rearranged"):
        extra = cause.left + cause.right
        yield find(
            joined(
                f"{len(cause.pairs)} of {len(view.matching.pairs)} signals stand elsewhere at "
                f"{view.direction.consumer.name}, and no single mistake explains it",
                f"at one end only: {names_of(extra)}" if extra else "",
            ),
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="rearranged",
            details=moves(view, cause.pairs),
            counterexample=find.witness(view.direction, rows(cause)),
            culprits=pair_culprits(view, cause.pairs[1:]),
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
