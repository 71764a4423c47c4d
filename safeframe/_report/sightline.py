"""What a recording shows of one step, as a small picture: the signal, and what answered it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from .._words import milliseconds, moment
from ..record import EvidenceAct, EvidenceSight
from .document import Drawing
from .text import clean
from .timeline import STYLE, strip_svg

_ROW, _HIGH = 34, 12
_LEFT = 12.0
"""Share of the picture before the signal changes, per cent."""
_MOST_ANSWERS = 4


def drawing(acts: Sequence[EvidenceAct], step: str) -> Drawing | None:
    """Return the first sight of a step that has times, one without others first; None without one.

    Drawn from what the record holds: how long the signal held, and when others changed.
    """
    found = [
        (act.recording, sight)
        for act in acts
        for row in act.findings
        if row.step == step
        for sight in row.sights
        if sight.time_us is not None and (sight.held_us or sight.answers)
    ]
    if not found:
        return None
    best = next((one for one in found if not one[1].others), found[0])
    return Drawing(_svg(step, *best), (), STYLE, "timeline")


def _svg(step: str, recording: str, sight: EvidenceSight) -> str:
    answers = sight.answers[:_MOST_ANSWERS]
    longest = max([sight.held_us or 0, *(each.after_us for each in answers)], default=0) or 1
    title = f"{step} in {recording}: {sight.what} at {moment(sight.time_us or 0)}"

    def x(time_us: int) -> float:
        return _LEFT + (96 - _LEFT) * time_us / longest

    label, path = f"{step}: {sight.what}", f"M0 {_HIGH}H{_LEFT}V1"
    if sight.held_us:
        label += f", {milliseconds(sight.held_us)}"
    if sight.held_us is not None:
        path += f"H{x(sight.held_us):.2f}V{_HIGH}"
    rows = [(label, f"{path}H100")]
    rows += [
        (
            f"{each.signal} {each.before} -> {each.after} after {milliseconds(each.after_us)}",
            f"M0 {_HIGH}H{x(each.after_us):.2f}V1H100",
        )
        for each in answers
    ]
    drawn = "".join(_drawn(at * _ROW, *row) for at, row in enumerate(rows))
    height = len(rows) * _ROW
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="tl-root" width="300" height="{height}" '
        f'role="img"><title>{escape(clean(title))}</title>'
        f'<line class="tl-grid" x1="{_LEFT}%" x2="{_LEFT}%" y1="0" y2="{height}"/>{drawn}</svg>'
    )


def _drawn(top: int, label: str, path: str) -> str:
    words = f'<text class="tl tl-small" x="0" y="{top + 12}">{escape(clean(label))}</text>'
    line = f'<path class="tl-line" d="{path}"/>'
    return words + strip_svg(line, top + 17, _HIGH, 100, _HIGH)
