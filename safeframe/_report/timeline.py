"""Signals over time as SVG, readable in black and white and without a script.

One row for each signal, grouped by direction. A bit is a line at two heights, a value a line
between its extremes; a bar shows that a signal changed within what one point of the picture
stands for. A dashed second row appears only where the consumer reads something else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from math import floor, isfinite, log10

from ..capture import Examination, Timeline
from ..capture._strips import Bin
from .text import CAUTION, clean

__all__ = ["html", "svg"]

_WIDTH = 1000
_LEFT, _RIGHT, _TOP, _BOTTOM = 230, 90, 88, 62
_ROW, _HIGH = 26, 15
"""Distance between rows and height of a line's swing, in points."""
_HEAD = 34
_TICKS = 8
_LABEL_CHARS = 28
_STYLE = (
    "text{font-family:system-ui,Segoe UI,Helvetica,Arial,sans-serif;font-size:13px;fill:#1a1a1a}"
    ".title{font-size:17px;font-weight:600}.small{font-size:12px;fill:#444}"
    ".group{font-weight:600}.grid{stroke:#dedede;stroke-width:1}.base{stroke:#c4c4c4;stroke-width:1}"
    ".axis{stroke:#1a1a1a;stroke-width:1}"
    ".line{stroke:#1a1a1a;stroke-width:1.5;fill:none;stroke-linejoin:round}"
    ".other{stroke:#1a1a1a;stroke-width:1.5;fill:none;stroke-dasharray:4 3}"
    ".busy{fill:#8c8c8c}.mark{stroke:#1a1a1a;stroke-width:1;stroke-dasharray:1 3}"
)


def svg(found: Examination) -> str:
    """Return the timelines of an examination as an SVG document."""
    rows = list(_rows(found))
    height = _TOP + sum(size for size, _, _ in rows) + _BOTTOM
    span_us = max((len(each.bins) for each in found.timelines), default=1)
    span_us *= found.timeline_width_us
    title = f"{clean(found.connection)}: signals over time"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" '
        f'width="{_WIDTH}" height="{height}" role="img" aria-labelledby="t d">',
        f'<title id="t">{escape(title)}</title>',
        f'<desc id="d">{escape(_subtitle(found))}</desc>',
        f'<style>{_STYLE}</style><rect width="{_WIDTH}" height="{height}" fill="#fff"/>',
        _text(24, 32, title, "title"),
        _text(24, 53, _subtitle(found), "small"),
        *_axis(span_us, height),
        *_mark(found, span_us, height),
    ]
    top = _TOP
    for size, heading, each in rows:
        if each is None:
            parts.append(_text(24, top + size - 10, heading, "group"))
        else:
            parts += _row(each, top, found, span_us)
        top += size
    if not found.timelines:
        parts.append(_text(24, _TOP + 20, "no safety data with a time in this recording", "small"))
    parts.append(_text(24, height - 12, CAUTION, "small"))
    return "\n".join([*parts, "</svg>"]) + "\n"


def html(found: Examination) -> str:
    """Return a page that holds nothing but the picture."""
    title = escape(f"{clean(found.connection)}: signals over time")
    style = (
        "body{margin:0;background:#fff}svg{display:block;max-width:100%;height:auto;margin:auto}"
    )
    return (
        f'<!doctype html>\n<html lang="en">\n<meta charset="utf-8">\n<title>{title}</title>\n'
        f"<style>{style}</style>\n{svg(found)}</html>\n"
    )


def _subtitle(found: Examination) -> str:
    point = _time(found.timeline_width_us)
    return f"{found.profile}, {found.frames} frames; one point of a line stands for {point}"


def _time(time_us: float) -> str:
    for unit, size in (("s", 1e6), ("ms", 1e3)):
        if time_us >= size:
            return f"{time_us / size:g} {unit}"
    return f"{time_us:g} µs"


def _rows(found: Examination) -> Iterator[tuple[int, str, Timeline | None]]:
    """Yield the height, and either the heading of a direction or a timeline."""
    last = None
    for each in found.timelines:
        if each.side != last:
            names = found.sides[each.side].name, found.sides[1 - each.side].name
            yield _HEAD, f"{clean(names[0])} → {clean(names[1])}", None
            last = each.side
        yield _ROW, "", each


def _axis(span_us: int, height: int) -> list[str]:
    """Return the time axis with ticks at round times."""
    rough = span_us / _TICKS
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    bottom = height - _BOTTOM + 6
    parts = [f'<path class="axis" d="M{_LEFT} {bottom}H{_WIDTH - _RIGHT}"/>']
    unit, size = ("s", 1e6) if span_us >= 1e6 else ("ms", 1e3)
    for count in range(floor(span_us / step) + 1):
        x = _x(count * step, span_us)
        parts += [
            f'<path class="grid" d="M{x:.1f} {_TOP}V{bottom}"/>',
            _text(x, bottom + 17, f"{count * step / size:g}", "small", "middle"),
        ]
    parts.append(_text(_WIDTH - _RIGHT + 12, bottom + 17, unit, "small"))
    return parts


def _mark(found: Examination, span_us: int, height: int) -> list[str]:
    """Return a line at the first frame that the two ends read differently."""
    if found.difference is None or found.difference.note.time_us is None:
        return []
    x = _x(found.difference.note.time_us - found.timeline_start_us, span_us)
    return [
        f'<path class="mark" d="M{x:.1f} {_TOP - 8}V{height - _BOTTOM + 6}"/>',
        _text(x, _TOP - 12, "first difference", "small", "end" if x > _WIDTH / 2 else "start"),
    ]


def _x(time_us: float, span_us: int) -> float:
    return _LEFT + time_us / span_us * (_WIDTH - _LEFT - _RIGHT)


def _row(each: Timeline, top: int, found: Examination, span_us: int) -> list[str]:
    base = top + _ROW - 5
    is_other = each.reader != each.side
    label = clean(each.signal.name)
    if is_other:
        label = f"… as {clean(found.sides[each.reader].name)} reads it"
    if len(label) > _LABEL_CHARS:
        label = label[: _LABEL_CHARS - 1] + "…"
    low, high = _extremes(each)
    parts = [
        _text(_LEFT - 12, base - 3, label, "small" if is_other else "", "end"),
        f'<path class="base" d="M{_LEFT} {base}H{_WIDTH - _RIGHT}"/>',
    ]
    if each.signal.width > 1:
        parts.append(_text(_WIDTH - _RIGHT + 8, base - 3, f"{low:g}..{high:g}", "small"))
    line, bars = _trace(each.bins, low, high, base, found.timeline_width_us, span_us)
    if bars:
        parts.append(f'<path class="busy" d="{bars}"/>')
    parts.append(f'<path class="{"other" if is_other else "line"}" d="{line}"/>')
    return parts


def _extremes(each: Timeline) -> tuple[float, float]:
    """Return the numbers at the bottom and at the top of a row."""
    if each.signal.width == 1:
        return 0.0, 1.0
    numbers = [
        float(number)
        for each_bin in each.bins
        if each_bin
        for number in each_bin
        if isfinite(number)
    ]
    return min(numbers, default=0.0), max(numbers, default=0.0)


def _trace(
    bins: Sequence[Bin | None], low: float, high: float, base: float, width_us: int, span_us: int
) -> tuple[str, str]:
    """Return the path of the line, and that of the bars where a bin holds more than one change."""

    def y(number: float) -> float:
        if not isfinite(number):
            return base
        share = (number - low) / (high - low) if high > low else 0.0
        return base - share * _HIGH

    line, bars = "", ""
    last: float | None = None
    for at, found in enumerate(bins):
        if found is None:
            continue
        x = _x(at * width_us, span_us)
        level = y(found.last)
        if last is None:
            line = f"M{x:.1f} {level:.1f}"
        elif level != last:
            line += f"H{x:.1f}V{level:.1f}"
        top, bottom = y(found.high), y(found.low)
        # One step from the last level to this one is a change, not unrest.
        if bottom - top > abs(level - (level if last is None else last)) + 0.05:
            right = _x((at + 1) * width_us, span_us)
            bars += f"M{x:.1f} {top:.1f}H{right:.1f}V{bottom:.1f}H{x:.1f}Z"
        last = level
    return f"{line}H{_x(len(bins) * width_us, span_us):.1f}", bars


def _text(x: float, y: float, text: str, kind: str = "", anchor: str = "start") -> str:
    style = f' class="{kind}"' if kind else ""
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{style} x="{x:.1f}" y="{y:.1f}"{place}>{escape(text)}</text>'
