"""Rules about whole maps read in another order: octets, bits, everything."""

from __future__ import annotations

from collections.abc import Iterator

from .._findings import Finding, Rule
from .counterexample import counterexample
from .phrases import WIRE, joined, moves, names_of, of_kind, pair_spots, rows
from .registry import Context, Finder, rule

__all__: list[str] = []


@rule(
    Rule(
        name="octet-order",
        severity="error",
        scope="direction",
        title="Octets are exchanged at one end",
        why="One end counts the octets of a word from the other side (least versus most "
        f"significant octet first): {WIRE}.",
        remedy="number the octets in wire order at both ends: octet 0 is sent first",
    )
)
def octet_order(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps that agree once the octets of each word are exchanged."""
    for view, cause in of_kind(context, "octet order"):
        yield find(
            f"the octets of every word of {cause.word_octets} octets are exchanged at "
            f"{view.direction.consumer.name}; that explains all "
            f"{len(cause.pairs)} displaced signals",
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="octet order",
            details=moves(view, cause.pairs),
            counterexample=counterexample(view.direction, rows(cause)),
        )


@rule(
    Rule(
        name="bit-numbering",
        severity="error",
        scope="direction",
        title="Bits are numbered from the other side at one end",
        why="One end counts bit 0 as the most significant bit of an octet, the other as the least "
        f"significant: {WIRE}.",
        remedy="number bits from the least significant (bit 0) at both ends",
    )
)
def bit_numbering(context: Context, find: Finder) -> Iterator[Finding]:
    """Find maps that agree once the bits of each octet are counted from the other side."""
    for view, cause in of_kind(context, "bit numbering"):
        yield find(
            f"the bits of every {_word(cause.word_octets)} are numbered from the other side at "
            f"{view.direction.consumer.name}; that explains all "
            f"{len(cause.pairs)} displaced signals",
            pair_spots(view, cause.pairs),
            direction=view.direction,
            cause="bit numbering",
            details=moves(view, cause.pairs),
            counterexample=counterexample(view.direction, rows(cause)),
        )


@rule(
    Rule(
        name="rearranged-signals",
        severity="error",
        scope="direction",
        title="Most signals stand elsewhere at one end",
        why="No single mistake explains the two orders; one of the files may belong to another "
        "release.",
        remedy="check that both files are of the same release, then compare them row by row",
    )
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
            counterexample=counterexample(view.direction, rows(cause)),
        )


def _word(octets: int) -> str:
    return "octet" if octets == 1 else f"word of {octets} octets"
