"""Signals over time: as SVG, readable in black and white and without a script, and as text.

One row for each signal, grouped by direction. A bit is a line at two heights, a value a line
between its extremes; a bar shows that a signal changed within what one point of the picture
stands for. A dashed second row appears only where the consumer reads something else. As text it
is one column for each step of time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from math import ceil, floor, log10
from sys import float_info
from typing import NamedTuple

from .._words import count, way
from ..capture import Examination, Timeline
from ..capture._strips import Bin
from .document import CAUTION, Drawing
from .text import PLAIN, clean, columns

__all__ = ["STYLE", "drawing", "svg"]

_WIDTH = 1000
_LEFT, _RIGHT, _TOP, _BOTTOM = 230, 90, 88, 62
_ROW, _HIGH = 26, 15
"""Distance between rows and height of a line's swing, in points."""
_HEAD = 34
_TICKS = 8
_LABEL_CHARS = 28
_LEGEND = "_ is 0, # is 1, | a change within the column,"
_MOST = float_info.max / 4
"""The largest number that is drawn: differences of such numbers are still numbers."""
_LEAST = 24
"""Columns that a line of text has for time at least."""
_DIGIT = 7.2
"""Width of a small character, in points."""

STYLE = """\
.tl-page{fill:#fff}
.tl{font-family:"DejaVu Sans",Verdana,Arial,sans-serif;font-size:13px;fill:#1b2430}
.tl-title{font-size:17px;font-weight:600}.tl-small{font-size:12px;fill:#46505c}
.tl-group{font-weight:600}.tl-grid{stroke:#dedede;stroke-width:1}
.tl-base{stroke:#c4c4c4;stroke-width:1}.tl-axis{stroke:#1b2430;stroke-width:1}
.tl-line{stroke:#1b2430;stroke-width:1.5;fill:none;stroke-linejoin:round}
.tl-other{stroke:#1b2430;stroke-width:1.5;fill:none;stroke-dasharray:4 3}
.tl-busy{fill:#8c8c8c}.tl-mark{stroke:#1b2430;stroke-width:1;stroke-dasharray:1 3}
@media (prefers-color-scheme:dark){@media screen{.tl-page{fill:#14191f}.tl{fill:#e8edf2}
.tl-small{fill:#b4bec8}.tl-grid{stroke:#2b353f}.tl-base{stroke:#4a5663}
.tl-axis,.tl-line,.tl-other,.tl-mark{stroke:#e8edf2}.tl-busy{fill:#7d8994}}}
"""


class _Plot(NamedTuple):
    """What a drawing spans: microseconds from left to right, its height, its right margin."""

    span_us: int
    height: int
    right: float

    @property
    def edge(self) -> float:
        """Where the axis of time ends."""
        return _WIDTH - self.right

    def x(self, time_us: float) -> float:
        """Return where a time since the start stands."""
        return _LEFT + time_us / self.span_us * (self.edge - _LEFT)


def drawing(found: Examination, width: int = PLAIN.width) -> Drawing:
    """Return the timelines for a page and, in lines of ``width`` columns, for a text."""
    return Drawing(svg(found, alone=False), tuple(_lines(found, width)), STYLE)


def svg(found: Examination, *, alone: bool = True) -> str:
    """Return the timelines of an examination as SVG, with its style where it stands ``alone``."""
    rows = list(_rows(found))
    bins = max((len(each.bins) for each in found.timelines), default=1)
    longest = max((columns(_range(each)) for each in found.timelines), default=0)
    plot = _Plot(
        span_us=bins * found.timeline_width_us,
        height=_TOP + sum(size for size, _, _ in rows) + _BOTTOM,
        right=max(_RIGHT, 20 + longest * _DIGIT),
    )
    title = f"{clean(found.connection)}: signals over time"
    style = f"<style>{STYLE}</style>" if alone else ""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {plot.height}" '
        f'width="{_WIDTH}" height="{plot.height}" role="img" aria-labelledby="t d">',
        f'<title id="t">{escape(title)}</title>',
        f'<desc id="d">{escape(clean(_subtitle(found)))}</desc>',
        f'{style}<rect class="tl-page" width="{_WIDTH}" height="{plot.height}"/>',
        _text(24, 32, title, "title"),
        _text(24, 53, _subtitle(found), "small"),
        *_axis(plot),
        *_mark(found, plot),
    ]
    top = _TOP
    for size, heading, each in rows:
        if each is None:
            parts.append(_text(24, top + size - 10, heading, "group"))
        else:
            parts += _row(each, top, found, plot)
        top += size
    if not found.timelines:
        parts.append(_text(24, _TOP + 20, "no safety data with a time in this recording", "small"))
    parts.append(_text(24, plot.height - 12, CAUTION, "small"))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _subtitle(found: Examination) -> str:
    point = _time(found.timeline_width_us)
    return (
        f"{found.profile}, {count(found.frames, 'frame')}; one point of a line stands for {point}"
    )


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


def _axis(plot: _Plot) -> list[str]:
    """Return the time axis with ticks at round times."""
    rough = plot.span_us / _TICKS
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    bottom = plot.height - _BOTTOM + 6
    parts = [f'<path class="tl-axis" d="M{_LEFT} {bottom}H{plot.edge:.1f}"/>']
    unit, size = ("s", 1e6) if plot.span_us >= 1e6 else ("ms", 1e3)
    for number in range(floor(plot.span_us / step) + 1):
        x = plot.x(number * step)
        parts += [
            f'<path class="tl-grid" d="M{x:.1f} {_TOP}V{bottom}"/>',
            _text(x, bottom + 17, f"{number * step / size:g}", "small", "middle"),
        ]
    parts.append(_text(plot.edge + 12, bottom + 17, unit, "small"))
    return parts


def _mark(found: Examination, plot: _Plot) -> list[str]:
    """Return a line at the first frame that the two ends read differently."""
    if found.difference is None or found.difference.note.time_us is None:
        return []
    x = plot.x(found.difference.note.time_us - found.timeline_start_us)
    return [
        f'<path class="tl-mark" d="M{x:.1f} {_TOP - 8}V{plot.height - _BOTTOM + 6}"/>',
        _text(x, _TOP - 12, "first difference", "small", "end" if x > _WIDTH / 2 else "start"),
    ]


def _row(each: Timeline, top: int, found: Examination, plot: _Plot) -> list[str]:
    base = top + _ROW - 5
    is_other = each.reader != each.side
    label = each.signal.name
    if is_other:
        label = f"… as {found.sides[each.reader].name} reads it"
    whole = f"<title>{escape(clean(label))}</title>"
    if len(label) > _LABEL_CHARS:
        label = label[: _LABEL_CHARS - 1] + "…"
    low, high = _extremes(each)
    parts = [
        f"<g>{whole}{_text(_LEFT - 12, base - 3, label, 'small' if is_other else '', 'end')}</g>",
        f'<path class="tl-base" d="M{_LEFT} {base}H{plot.edge:.1f}"/>',
        _text(plot.edge + 8, base - 3, _range(each), "small") if _range(each) else "",
    ]
    line, bars = _trace(each.bins, (low, high), base, found.timeline_width_us, plot)
    if bars:
        parts.append(f'<path class="tl-busy" d="{bars}"/>')
    parts.append(f'<path class="tl-{"other" if is_other else "line"}" d="{line}"/>')
    return parts


def _range(each: Timeline) -> str:
    """Return between which numbers a value runs, in its unit; empty for a bit."""
    if each.signal.width == 1:
        return ""
    scale = float(each.signal.scale)
    if _MOST in map(abs, _extremes(each)):
        return f"{each.signal.width} bits"
    low, high = (f"{number * scale:.6g}" for number in _extremes(each))
    return f"{low}..{high} {each.signal.unit}".rstrip()


def _extremes(each: Timeline) -> tuple[float, float]:
    """Return the numbers at the bottom and at the top of a row."""
    if each.signal.width == 1:
        return 0.0, 1.0
    numbers = [
        _drawn(number)
        for each_bin in each.bins
        if each_bin
        for number in each_bin
        if _is_finite(number)
    ]
    return min(numbers, default=0.0), max(numbers, default=0.0)


def _is_finite(number: float) -> bool:
    """Tell whether a number is one, and not infinite; integers of any length are."""
    return number - number == 0


def _drawn(number: float) -> float:
    """Return a number as it can be drawn: an integer of very many bits is only a large one."""
    return float(max(-_MOST, min(number, _MOST)))


def _trace(
    bins: Sequence[Bin | None],
    extremes: tuple[float, float],
    base: float,
    width_us: int,
    plot: _Plot,
) -> tuple[str, str]:
    """Return the path of the line, and that of the bars where a bin holds more than one change."""
    low, high = extremes

    def y(number: float) -> float:
        if not _is_finite(number):
            return base
        share = (_drawn(number) - low) / (high - low) if high > low else 0.0
        return base - share * _HIGH

    line, bars = "", ""
    last: float | None = None
    for at, found in enumerate(bins):
        if found is None:
            continue
        x = plot.x(at * width_us)
        level = y(found.last)
        if last is None:
            line = f"M{x:.1f} {level:.1f}"
        elif level != last:
            line += f"H{x:.1f}V{level:.1f}"
        top, bottom = y(found.high), y(found.low)
        # One step from the last level to this one is a change, not unrest.
        if bottom - top > abs(level - (level if last is None else last)) + 0.05:
            right = plot.x((at + 1) * width_us)
            bars += f"M{x:.1f} {top:.1f}H{right:.1f}V{bottom:.1f}H{x:.1f}Z"
        last = level
    return f"{line}H{plot.x(len(bins) * width_us):.1f}", bars


def _text(x: float, y: float, text: str, kind: str = "", anchor: str = "start") -> str:
    style = f' class="tl tl-{kind}"' if kind else ' class="tl"'
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{style} x="{x:.1f}" y="{y:.1f}"{place}>{escape(clean(text))}</text>'


def _lines(found: Examination, width: int) -> Iterator[str]:
    """Yield a line of text for each signal; nothing where the recording has no times."""
    if not found.timelines:
        return
    names = [_label(found, each) for each in found.timelines]
    margin = min(max(map(columns, names)), max(width - _LEAST - 4, 1)) + 2
    bins = max(len(each.bins) for each in found.timelines)
    step = ceil(bins / max(width - margin - 2, _LEAST))
    yield f"{step * found.timeline_width_us / 1000:g} ms for each column; {_LEGEND}"
    yield "0..9 a value between its extremes"
    last = None
    for name, each in zip(names, found.timelines, strict=True):
        if each.side != last:
            yield way(found.sides[each.side].name, found.sides[1 - each.side].name)
            last = each.side
        if columns(name) + 2 > margin:  # The line of such a name is the next one.
            yield f"  {name}"
            name = ""
        strip = f"{name}{' ' * (margin - columns(name))}{_strip(each, step)}"
        yield f"  {strip}".rstrip()


def _label(found: Examination, each: Timeline) -> str:
    name = each.signal.name
    if each.reader != each.side:
        name += f" as {found.sides[each.reader].name} reads it"
    return clean(f"{name} {_range(each)}".rstrip())


def _strip(each: Timeline, step: int) -> str:
    low, high = _extremes(each)
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
    return str(round(9 * (_drawn(number) - low) / (high - low))) if high > low else "0"
