"""The way of a signal as SVG: ends as boxes from top to bottom, connections as arrows between.

What breaks is told by a dashed line and by words; what is found at an end by a shape and by the
names of the rules. Colour only helps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import NamedTuple

from .._findings import Finding
from .._timing import Timing
from .._tracing import Trace
from .document import Drawing
from .svg import STYLE as _SHARED
from .text import Look, clean, cut, wrap
from .trace import Stop, changes_at, kind_of, stops, stops_of_signal, told_at

_WIDTH, _EDGE, _LINE, _PAD = 760, 16, 17, 12
_ARROW = 66
"""Height of the arrow between two boxes."""
_CHARS = 96
"""Characters of a line inside a box, at the size it has; checked by sight."""

STYLE = (
    _SHARED
    + """\
.ch-box { fill: #ffffff; stroke: #1b2430; stroke-width: 1.5 }
.ch-found { stroke-width: 3 }
.ch-way { stroke: #1b2430; stroke-width: 2; fill: none }
.ch-broken { stroke-dasharray: 6 5 }
.ch-tip { fill: #1b2430 }
.ch-line { font-size: 11.5px }
@media (prefers-color-scheme: dark) { @media screen {
.ch-box { fill: #1e262f; stroke: #e8edf2 }
.ch-way { stroke: #e8edf2 }
.ch-tip { fill: #e8edf2 }
} }
"""
)


class _Box(NamedTuple):
    """One end: its name, the lines of each signal there, the rules that are broken there."""

    name: str
    lines: tuple[tuple[str, str], ...]
    found: tuple[str, ...]

    @property
    def height(self) -> int:
        return 2 * _PAD + _LINE * (1 + len(self.lines) + bool(self.found))


class _Arrow(NamedTuple):
    """One connection: its words, and whether the way breaks here."""

    words: str
    broken: bool


def drawings(given: Trace) -> tuple[Drawing, ...]:
    """Return a picture of each way for a page."""
    made = []
    for number, (title, boxes, arrows) in enumerate(_ways(given)):
        body, height = _way(boxes, arrows, 0)
        made.append(
            Drawing(
                f'<svg viewBox="0 0 {_WIDTH} {height}" role="img" aria-labelledby="way{number}">'
                f'<title id="way{number}">{_text(title)}</title>{body}</svg>',
                (),
                STYLE,
            )
        )
    return tuple(made)


def document(given: Trace) -> str:
    """Return a whole SVG file: one way below the other."""
    parts, y = [], _EDGE
    ways = _ways(given)
    for title, boxes, arrows in ways:
        parts.append(_words(_EDGE, y + 14, cut(clean(title), 84), "sf-title"))
        body, height = _way(boxes, arrows, y + 26)
        parts.append(body)
        y += 26 + height + _EDGE
    described = "; ".join(title for title, _, _ in ways)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{y}" '
        f'viewBox="0 0 {_WIDTH} {y}" role="img" aria-labelledby="title desc">\n'
        f'<title id="title">{_text(f"Way of {given.asked}")}</title>\n'
        f'<desc id="desc">{_text(described)}</desc>\n'
        f'<style>{STYLE}</style>\n<rect class="sf-page" width="{_WIDTH}" height="{y}"/>\n'
        f"{chr(10).join(parts)}\n</svg>\n"
    )


def _ways(given: Trace) -> list[tuple[str, list[_Box], list[_Arrow]]]:
    ways = [
        (
            route.followed.route.name,
            *_boxes(list(stops(route.followed)), route.time.stretches, route.findings),
        )
        for route in given.routes
    ]
    if given.signal is not None:
        rows = list(stops_of_signal(given.signal.stretch))
        made = _boxes(rows, [given.signal.time], given.signal.findings)
        ways.append((f"{given.signal.name}: no route names it", *made))
    return ways


def _boxes(
    rows: Sequence[Stop], times: Sequence[Timing], found: Iterable[Finding]
) -> tuple[list[_Box], list[_Arrow]]:
    """Return boxes and arrows of one way: two stops for each arrow."""
    at: dict[str, list[str]] = {}
    for finding in found:
        for end in dict.fromkeys(spot.end for spot in finding.spots):
            rules = at.setdefault(end, [])
            if finding.rule not in rules:
                rules.append(finding.rule)
    shares = {time.connection: time.reaction for time in times}
    boxes, arrows = [], []
    groups = [rows[:1], *(rows[n : n + 2] for n in range(1, len(rows), 2))]
    for group in groups:
        lines = [line for stop in group for line in _lines(stop)]
        boxes.append(_Box(group[0].name, tuple(lines), tuple(at.get(group[0].name, ()))))
    for sending, receiving in zip(rows[::2], rows[1::2], strict=True):
        if sending.stretch is None:
            arrows.append(_Arrow("the way breaks here", True))
            continue
        name = sending.stretch.lane.connection.name
        share = shares[name]
        least = "at least" if share.missing else "at most"
        lost = sending.signal is None or receiving.signal is None
        words = f"{name}, {least} {share.known_ms} ms"
        arrows.append(_Arrow(f"{words}: known at one end only" if lost else words, lost))
    return boxes, arrows


def _lines(stop: Stop) -> list[tuple[str, str]]:
    """Return the lines of a stop in a box, each with its kind; long ones are broken."""
    told = [(f"on purpose: {one}", "ch-line sf-free") for one in changes_at(stop.step)]
    if stop.signal is None:
        lost = "nothing that is known" if stop.stretch is None else "no such signal"
        told.append((f"{stop.does} {lost}", "ch-line sf-free"))
    else:
        signal = stop.signal
        bind = signal.bind or "variable not stated"
        line = f"{stop.does} {signal.name}, {signal.at}, {kind_of(signal)}, {bind}"
        told += [(line, "sf-name"), (told_at(signal), "ch-line")]
    look = Look(width=_CHARS)
    return [(line, kind) for text, kind in told for line in wrap(text, look, hard=True)]


def _way(boxes: Sequence[_Box], arrows: Sequence[_Arrow], y: int) -> tuple[str, int]:
    """Return one way from a height on, and how high it is."""
    parts, start = [], y
    inside = _WIDTH - 2 * _EDGE
    for number, box in enumerate(boxes):
        look = " ch-found" if box.found else ""
        parts.append(
            f'<rect class="ch-box{look}" x="{_EDGE}" y="{y + 2}" rx="4" width="{inside}" '
            f'height="{box.height}"/>'
        )
        line = y + 2 + _PAD + 12
        parts.append(_words(_EDGE + _PAD, line, box.name, "sf-title"))
        for text, kind in box.lines:
            line += _LINE
            parts.append(_words(_EDGE + _PAD, line, text, kind))
        if box.found:
            line += _LINE
            left = _EDGE + _PAD
            parts.append(
                f'<path class="sf-shape" transform="translate({left + 6},{line - 4})" '
                'd="M-6,5 L0,-6 L6,5 Z"/>'
            )
            parts.append(
                _words(left + 18, line, cut(clean(", ".join(box.found)), _CHARS), "sf-told")
            )
        y += box.height + 4
        if number < len(arrows):
            parts.append(_arrow(arrows[number], y))
            y += _ARROW
    return "".join(parts), y - start


def _arrow(arrow: _Arrow, y: int) -> str:
    x, tip = 3 * _EDGE, y + _ARROW - 2
    look = " ch-broken" if arrow.broken else ""
    return (
        f'<path class="ch-way{look}" d="M{x},{y + 2} V{tip - 9}"/>'
        f'<path class="ch-tip" d="M{x - 6},{tip - 10} H{x + 6} L{x},{tip} Z"/>'
        + _words(x + 16, y + _ARROW // 2 + 4, cut(clean(arrow.words), _CHARS), "sf-head")
    )


def _words(x: int, y: int, text: str, kind: str) -> str:
    return f'<text class="sf-text {kind}" x="{x}" y="{y}">{_text(text)}</text>'


def _text(text: str) -> str:
    return escape(clean(text), quote=False)
