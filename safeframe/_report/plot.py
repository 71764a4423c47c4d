"""Line plots on logarithmic axes as SVG, readable in black and white and without a script.

Curves differ by dash pattern and carry their label at their left end, so no legend has to be
matched by colour. The vertical axis stands at the right, where the curves end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor

_WIDTH, _HEIGHT = 960, 620
_LEFT, _RIGHT, _TOP, _BOTTOM = 190, 100, 84, 96
"""Margins around the curves: labels, axis numbers, title, axis text and notes."""
_LABEL_STEP = 17
_SAMPLE = 34
_TICKS = 10
_STEPS = (1, 2, 5, 10, 20, 50, 100)
_BELOW_STARTS = 2
"""Decades shown below the lowest left end: what falls deeper leaves the picture."""
_DASHES = ("", "9 4", "3 3", "14 4 3 4", "6 3 1.5 3 1.5 3", "1.5 3", "20 5", "10 3 3 3 3 3")
_STYLE = """
.page{fill:#fff}
text{font-family:"DejaVu Sans",Verdana,Arial,sans-serif;font-size:13px;fill:#1a1a1a}
.title{font-size:17px;font-weight:600}.small{font-size:12px;fill:#444444}
.grid{stroke:#d9d9d9;stroke-width:1}.axis{stroke:#1a1a1a;stroke-width:1;fill:none}
.curve{stroke:#1a1a1a;stroke-width:1.8;fill:none;stroke-linejoin:round}
.lead{stroke:#8a8a8a;stroke-width:1}
@media (prefers-color-scheme:dark){@media screen{.page{fill:#141414}text{fill:#e8e8e8}
.small{fill:#b4b4b4}.grid{stroke:#333333}.axis,.curve{stroke:#e8e8e8}.lead{stroke:#7d7d7d}}}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One curve: its label and its points as decimal logarithms, from left to right."""

    label: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """The plotted range in decimal logarithms, and how it maps to the picture."""

    left: float
    right: float
    bottom: float
    top: float

    def x(self, value: float) -> float:
        return _LEFT + (value - self.left) / (self.right - self.left) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        share = (value - self.bottom) / (self.top - self.bottom)
        return _HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM)


def log_log(
    series: Sequence[Series],
    *,
    title: str,
    subtitle: str,
    x_label: str,
    y_label: str,
    notes: Sequence[str] = (),
) -> str:
    """Return the plot of up to eight curves as an SVG document.

    Each curve has two points at least, and its first one at the left end of the axis.
    """
    xs = [x for curve in series for x, _ in curve.points]
    ys = [y for curve in series for _, y in curve.points]
    lowest = min(curve.points[0][1] for curve in series) - _BELOW_STARTS
    bottom = floor(max(min(ys), lowest))
    frame = _Frame(left=min(xs), right=max(xs), bottom=bottom, top=ceil(max(ys) + 0.2))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        f'width="{_WIDTH}" height="{_HEIGHT}" role="img" aria-labelledby="t d">',
        f'<title id="t">{escape(title)}</title><desc id="d">{escape(subtitle)}</desc>',
        f'<clipPath id="c"><rect x="{_LEFT}" y="{_TOP}" width="{_WIDTH - _LEFT - _RIGHT}" '
        f'height="{_HEIGHT - _TOP - _BOTTOM}"/></clipPath>',
        f'<style>{_STYLE}</style><rect class="page" width="{_WIDTH}" height="{_HEIGHT}"/>',
        _text(24, 32, title, kind="title"),
        _text(24, 53, subtitle, kind="small"),
        *_axes(frame, x_label, y_label),
    ]
    parts += _curves(frame, series)
    first = _HEIGHT - 16 * len(notes)
    parts += [_text(24, first + 16 * row, note, kind="small") for row, note in enumerate(notes)]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _axes(frame: _Frame, x_label: str, y_label: str) -> list[str]:
    parts = []
    low, high = _HEIGHT - _BOTTOM, _WIDTH - _RIGHT
    for decade in range(ceil(frame.left), floor(frame.right) + 1):
        x = frame.x(decade)
        parts += [
            _line(x, _TOP, x, low, kind="grid"),
            _power(x, low + 19, decade, anchor="middle"),
        ]
    span = frame.top - frame.bottom
    step = next((step for step in _STEPS if span <= step * _TICKS), _STEPS[-1])
    for decade in range(ceil(frame.bottom), floor(frame.top) + 1):
        if decade % step == 0:
            y = frame.y(decade)
            parts += [
                _line(_LEFT, y, high, y, kind="grid"),
                _power(high + 8, y + 4, decade, anchor="start"),
            ]
    parts += [
        f'<path class="axis" d="M{_LEFT} {low}H{high}V{_TOP}"/>',
        _text((_LEFT + high) / 2, low + 42, x_label, anchor="middle"),
        f'<text transform="translate({_WIDTH - 22} {(_TOP + low) / 2}) rotate(-90)" '
        f'text-anchor="middle">{escape(y_label)}</text>',
    ]
    return parts


def _curves(frame: _Frame, series: Sequence[Series]) -> list[str]:
    """Return the curves with their labels, spread so that no label covers another."""
    starts = [frame.y(curve.points[0][1]) for curve in series]
    order = sorted(range(len(series)), key=lambda index: (starts[index], index))
    heights = [starts[index] for index in order]
    for row in range(1, len(heights)):
        heights[row] = max(heights[row], heights[row - 1] + _LABEL_STEP)
    # Labels pushed below the frame are pushed up again from the bottom.
    limit = _HEIGHT - _BOTTOM
    for row in range(len(heights) - 1, -1, -1):
        heights[row] = min(heights[row], limit - _LABEL_STEP * (len(heights) - 1 - row))
    parts = []
    for index, height in zip(order, heights, strict=True):
        curve = series[index]
        points = " ".join(f"{frame.x(x):.1f},{frame.y(y):.1f}" for x, y in curve.points)
        dash = _DASHES[index % len(_DASHES)]
        style = f' stroke-dasharray="{dash}"' if dash else ""
        begin = frame.x(curve.points[0][0])
        parts += [
            f'<polyline class="curve"{style} points="{points}" clip-path="url(#c)"/>',
            _line(_LEFT - 34, height, begin - 2, starts[index], kind="lead"),
            f'<path class="curve"{style} d="M{_LEFT - 34 - _SAMPLE} {height:.1f}h{_SAMPLE}"/>',
            _text(_LEFT - 42 - _SAMPLE, height + 4, curve.label, anchor="end"),
        ]
    return parts


def _line(x1: float, y1: float, x2: float, y2: float, *, kind: str) -> str:
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _text(x: float, y: float, text: str, *, kind: str = "", anchor: str = "start") -> str:
    style = f' class="{kind}"' if kind else ""
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{style} x="{x:.1f}" y="{y:.1f}"{place}>{escape(text)}</text>'


def _power(x: float, y: float, exponent: int, *, anchor: str) -> str:
    """Return a power of ten; the exponent is shifted because few viewers know baseline-shift."""
    raised = f'<tspan dy="-5" font-size="10">{exponent}</tspan>'
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x:.1f}" y="{y:.1f}"{place}>10{raised}</text>'
