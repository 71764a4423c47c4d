"""Which mistake displaced what: all displacements reduced to as few named causes as possible.

Two rules hold for every list of causes. No signal that stands right at both ends is among the
displaced ones of any cause; and every displaced signal is among those of exactly one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .._model import Map
from .cause import Cause
from .match import Matching, Pair

_MOST_MOVES = 12
"""Causes of displacement up to which they are told one by one."""
_MOST_SWAPS = 1000
"""Exchanges among which runs in the opposite order are looked for."""


def explain(matching: Matching, left: Map, right: Map) -> tuple[Cause, ...]:
    """Return the fewest named causes that explain every difference of place, width and size."""
    if (
        left.size_bits == right.size_bits
        and not matching.left_only
        and not matching.right_only
        and all(
            pair.left.at == pair.right.at and pair.left.width == pair.right.width
            for pair in matching.pairs
        )
    ):
        return ()  # The common case, twice per clean connection.
    from .causes import Walk  # deferred, as what is imported below, for that reason.

    best = Walk(matching, left, right, None).causes()
    if _moves(best) > 1:
        from .patterns import patterns

        for pattern in patterns(matching.pairs, max(left.size_octets, right.size_octets)):
            other = Walk(matching, left, right, pattern).causes()
            if len(other) < len(best):
                best = other
    if sum(cause.kind in ("swap", "rotation") for cause in best) > 1:
        # Rings within a run of several widths are chance: the run stands in another order.
        other = Walk(matching, left, right, None, rings_too=False).causes()
        if len(other) < len(best) and any(map(_of_several_widths, other)):
            best = other
    best = _with_runs(best, matching.pairs)
    moves = [cause for cause in best if cause.pairs and cause.kind != "width"]
    mostly = len(moves) > 3 and 2 * len(moves) > len(matching.pairs)
    if mostly or len(moves) > _MOST_MOVES:
        return _rearranged(best, moves)
    return tuple(best)


def _with_runs(causes: list[Cause], pairs: Sequence[Pair]) -> list[Cause]:
    """Return causes with exchanges around one middle made one."""
    swaps = [cause for cause in causes if cause.kind == "swap"]
    if not 1 < len(swaps) <= _MOST_SWAPS:
        return causes
    from .cycles import reversed_runs

    runs = list(reversed_runs(((cause.delta, cause.pairs) for cause in swaps), pairs))
    told = {id(pair) for run in runs for pair in run}
    whole = [
        Cause(kind="rotation", pairs=tuple(run), delta=cause.delta)
        for run in runs
        for cause in swaps
        if cause.pairs[0] is run[0]
    ]
    kept = [one for one in causes if one.kind != "swap" or id(one.pairs[0]) not in told]
    return [*whole, *kept]


def _of_several_widths(cause: Cause) -> bool:
    return cause.kind == "rotation" and len({pair.left.width for pair in cause.pairs}) > 1


def _moves(causes: Iterable[Cause]) -> int:
    return sum(1 for cause in causes if cause.pairs and cause.kind != "width")


def _rearranged(causes: Sequence[Cause], moves: Sequence[Cause]) -> tuple[Cause, ...]:
    displaced = sorted(
        (pair for cause in moves for pair in cause.pairs), key=lambda pair: pair.left.start
    )
    left = tuple(signal for cause in moves for signal in cause.left)
    right = tuple(signal for cause in moves for signal in cause.right)
    told = set(map(id, moves))
    rest = tuple(cause for cause in causes if id(cause) not in told)
    whole = Cause(kind="rearranged", pairs=tuple(displaced), left=left, right=right)
    return (whole, *rest)
