"""Signals over time as lines of text, one column for each step of time."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, isfinite

from ..capture import Examination, Timeline
from ..capture._strips import Bin
from .text import PLAIN, Look, clean, columns

__all__ = ["timelines"]

_LEGEND = "_ is 0, # is 1, 0..9 a value between its extremes, | a change within the column"
_LEAST = 20


def timelines(found: Examination, *, look: Look = PLAIN) -> str:
    """Return one line for each signal; empty where the recording has no times."""
    rows = []
    for each in found.timelines:
        names = found.sides[each.side].name, found.sides[1 - each.side].name
        label = f"{names[0]} -> {names[1]}  {each.signal.name}"
        if each.reader != each.side:
            label += f" as {names[1]} reads it"
        rows.append((clean(label), each))
    if not rows:
        return ""
    margin = max(columns(label) for label, _ in rows) + 4
    bins = max(len(each.bins) for _, each in rows)
    step = ceil(bins / max(look.width - margin, _LEAST))
    column_ms = step * found.timeline_width_us / 1000
    lines = [
        look.paint("strong", f"Signals over time, {column_ms:g} ms for each column"),
        f"  {_LEGEND}",
    ]
    for label, each in rows:
        blank = " " * (margin - 2 - columns(label))
        lines.append(f"  {label}{blank}{_line(each, step)}".rstrip())
    return "\n".join(lines) + "\n"


def _line(each: Timeline, step: int) -> str:
    numbers = [
        float(number)
        for found in each.bins
        if found
        for number in (found.low, found.high)
        if isfinite(number)
    ]
    low, high = min(numbers, default=0.0), max(numbers, default=0.0)
    return "".join(
        _column(each.bins[at : at + step], low, high, is_bit=each.signal.width == 1)
        for at in range(0, len(each.bins), step)
    )


def _column(bins: Sequence[Bin | None], low: float, high: float, *, is_bit: bool) -> str:
    known = [found for found in bins if found is not None]
    if not known:
        return " "
    number = known[0].low
    if any(found.low != number or found.high != number for found in known):
        return "|"
    if is_bit:
        return "#" if number else "_"
    return str(round(9 * (number - low) / (high - low))) if high > low else "0"
