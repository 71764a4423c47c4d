"""The rule about signals that one end alone has."""

from __future__ import annotations

from collections.abc import Iterator

from .._findings import Finding
from .._model import Reserved, Signal, owner
from .._pairing import Cause, alike
from .phrases import ASK, WIRE, content, joined, of_kind, place_text, rows
from .registry import Context, Finder, View, cause_rule, count, spot
from .remedies import Remedy, adopted, map_changed, reserve_changes
from .shape import size_consequence


@cause_rule(
    name="one-sided-signal",
    severity="error",
    title="A signal exists at one end only",
    why=f"One end sends or expects a bit the other does not know: {WIRE}.",
    remedy=ASK,
)
def one_sided_signal(context: Context, find: Finder) -> Iterator[Finding]:
    """Find signals that only one end has and that displace nothing else."""
    allowed = any(
        one.rule == find.rule.name and one.signal
        for end in context.connection.ends
        for one in end.allowances
    )  # What is allowed one by one is told one by one.
    for view in context.views:
        if view.is_empty_at_one_end and not allowed:
            yield _whole_map(view, context, find)
    for view, cause in of_kind(context, "one-sided"):
        if view.is_empty_at_one_end and not allowed:
            continue
        (here, _), (there, there_map) = view.sides if cause.left else view.sides[::-1]
        for signal in cause.left + cause.right:
            bits = count(signal.width, "bit")
            size = size_consequence(view, context.profile, cause)
            similar = _similar(view, signal, left=bool(cause.left))
            what = f"{signal.name} ({bits} at {place_text(signal)})"
            alone = f"{what} exists at {here.name} only"
            if any(other.name == signal.name for other in there_map.signals):
                alone = f"a second {what} stands at {here.name}"
            yield find(
                joined(
                    f"{alone}; {there.name} {content(there_map, signal.start, signal.end)}",
                    f"{there.name} has the similar name {similar.name} at {place_text(similar)}"
                    if similar
                    else "",
                    size,
                ),
                [spot(here, signal), spot(there, owner(there_map, signal.start), signal.at)],
                direction=view.direction,
                cause="one-sided bit",
                counterexample=find.witness(view.direction, rows(cause)),
                remedies=() if similar else _completions(view, cause, signal),
            )


def _whole_map(view: View, context: Context, find: Finder) -> Finding:
    """Return the one finding about an end that has no signal of a direction."""
    (here, map_), (there, _) = view.sides
    if not map_.signals:
        (there, _), (here, map_) = view.sides
    size = size_consequence(view, context.profile, Cause(kind="one-sided", delta=1))
    signals = map_.signals
    return find(
        joined(
            f"none of the {len(signals)} signals of {here.name} exists at {there.name}, which "
            "declares no signal in this direction",
            size,
        ),
        [spot(here, signals[0]), spot(there, None)],
        remedy=f"see whether rows were lost in the file of {there.name}, or {here.name} has the "
        "map of another connection",
        direction=view.direction,
        cause="one-sided map",
        details=[f"{signal.name}: {place_text(signal)} at {here.name}" for signal in signals],
        culprits=[(here.name, signal.name) for signal in signals[1:]],
    )


def _similar(view: View, signal: Signal, *, left: bool) -> Signal | None:
    """Return the signal of the other end alone that a reader may take for this one."""
    others = view.matching.right_only if left else view.matching.left_only
    return next((other for other in others if alike(signal.name, other.name)), None)


def _completions(view: View, cause: Cause, signal: Signal) -> Iterator[Remedy]:
    """Yield the two ways to agree about a signal: it comes in at one end, or it goes."""
    left = bool(cause.left)
    (here, here_map), (there, there_map) = view.sides if left else view.sides[::-1]
    entries = adopted(there_map, here_map, cause, left=not left)
    gap = owner(there_map, signal.start)
    text = f"insert {signal.name} at {signal.at} at {there.name} as well"
    alone = sum(run.start <= signal.start < run.end for run in there_map.reserved) == 1
    within = isinstance(gap, Reserved) and alone and signal.end <= gap.end
    if there_map.size_bits == here_map.size_bits and isinstance(gap, Reserved) and within:
        text += f" and take {count(signal.width, 'bit')} from the reserve there "
        rest = gap.width - signal.width
        if not rest:
            text += f"(its {count(gap.width, 'bit')} {'is' if gap.width == 1 else 'are'} used up)"
        elif signal.start in (gap.start, gap.end - signal.width):
            text += f"(reserve {count(rest, 'bit')} instead of {gap.width})"
        else:
            text += f"({reserve_changes(there_map, entries)})"
    elif changes := reserve_changes(there_map, entries):
        text += f" ({changes} at {there.name})"
    if all(other.name != signal.name for other in there_map.signals):  # No name twice anew.
        yield Remedy(text, map_changed(there.name, sends=not left, entries=entries))
    entries = adopted(here_map, there_map, cause, left=left)
    text = f"remove it at {here.name}"
    if changes := reserve_changes(here_map, entries):
        text += f" ({changes} there)"
    yield Remedy(text, map_changed(here.name, sends=left, entries=entries))
