"""Signals over time: as SVG, readable in black and white and without a script, and as text.

One row for each signal, grouped by direction. A bit is a line at two heights, a value a line
between its extremes; a bar shows that a signal changed within what one point of the picture
stands for. A dashed second row appears only where the consumer reads something else. What was
rejected, and when no data were in use, has rows of its own, and is hatched behind the signals. As
text it is one column for each step of time. The picture is as wide as its page.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from html import escape
from math import ceil, floor, log10
from sys import float_info
from typing import NamedTuple

from .._codec import value_text
from .._model import Signal
from .._words import count, milliseconds, seconds, way
from ..capture import Examination, Timeline
from ..capture._strips import Bin
from .document import CAUTION, SEEN, Drawing
from .text import PLAIN, clean, columns

_WIDTH = 1000
_TOP_ALONE, _TOP = 92, 26
_LABEL, _HIGH, _HIGHER, _GAP = 16, 14, 32, 9
"""Height of a label, the swing of a bit and of a value, what is free below, in points."""
_HEAD = 36
_AXIS = 30
_TICKS = 7
_LABEL_CHARS, _TEXT_CHARS = 46, 58
"""Characters of a label and of a line of text that fit 400 points."""
_EXACT_CHARS = 18
"""Longer numbers are rounded in a label, and said to be."""
_LEGEND = "_ is 0, # is 1, | a change within the column,"
_MOST = float_info.max / 4
"""The largest number that is drawn: differences of such numbers are still numbers."""
_LEAST = 24
"""Columns that a line of text has for time at least."""
_BUSY = 0.5
"""Share of columns with changes from which a narrower window is advised."""

STYLE = """\
.tl-root{width:100%}
.tl-page{fill:#fff}
.tl{font-family:"DejaVu Sans",Verdana,Arial,sans-serif;font-size:13px;fill:#1b2430}
.tl-title{font-size:17px;font-weight:600}.tl-small{font-size:12px;fill:#46505c}
.tl-group{font-weight:600}
.tl-root path,.tl-root line{vector-effect:non-scaling-stroke}
.tl-grid{stroke:#dedede;stroke-width:1}
.tl-base{stroke:#c4c4c4;stroke-width:1}.tl-axis{stroke:#1b2430;stroke-width:1}
.tl-line{stroke:#1b2430;stroke-width:1.5;fill:none;stroke-linejoin:round}
.tl-other{stroke:#1b2430;stroke-width:1.5;fill:none;stroke-dasharray:4 3}
.tl-busy{fill:#8c8c8c;stroke:#8c8c8c;stroke-width:1}
.tl-mark{stroke:#1b2430;stroke-width:1;stroke-dasharray:1 3}
.tl-event{fill:#1b2430;stroke:#1b2430;stroke-width:1.5}.tl-off{fill:#ececec}
@media (prefers-color-scheme:dark){@media screen{.tl-page{fill:#14191f}.tl{fill:#e8edf2}
.tl-small{fill:#b4bec8}.tl-grid{stroke:#2b353f}.tl-base{stroke:#4a5663}
.tl-axis,.tl-line,.tl-other,.tl-mark{stroke:#e8edf2}.tl-busy{fill:#7d8994;stroke:#7d8994}
.tl-event{fill:#e8edf2;stroke:#e8edf2}.tl-off{fill:#262f38}}}
"""


class _Row(NamedTuple):
    """One row of a picture: its text, in short as well, and a timeline or bins that are marked."""

    text: str
    short: str
    height: int
    line: Timeline | None = None
    marked: tuple[bool, ...] = ()


def drawing(found: Examination, width: int = PLAIN.width) -> Drawing:
    """Return the timelines for a page and, in lines of ``width`` columns, for a text."""
    return Drawing(svg(found, alone=False), tuple(_lines(found, width)), STYLE, "timeline")


def svg(found: Examination, *, alone: bool = True) -> str:
    """Return the timelines of an examination as SVG, with title and style where it is ``alone``."""
    groups = [list(_rows(found, side)) for side in (0, 1)]
    bins = _bins(found)
    title = f"{clean(found.connection)}: signals over time"
    subtitle = clean(_subtitle(found))
    parts: list[str] = []
    top = _TOP_ALONE if alone else _TOP
    first = top
    for side, rows in enumerate(groups):
        if not rows:
            continue
        parts.append(_text(0, top + _HEAD - 12, _direction(found, side), "group"))
        top += _HEAD
        inside = "".join(_drawn_row(row, at, bins) for at, row in _placed(rows, top))
        height = sum(row.height for row in rows)
        parts += [_shade(found, side, top, height, bins), inside]
        top += height
    if not found.timelines:
        parts.append(_text(0, top + 20, "no safety data with a time in this recording", "small"))
        top += 34
    axis = _axis(found, bins, first, top)
    mark = _mark(found, bins, first, top)
    top += _AXIS
    below = textwrap.wrap(f"{SEEN} {CAUTION}", _TEXT_CHARS) if alone else []
    below_text = [_text(0, top + 14 + 16 * at, line, "small") for at, line in enumerate(below)]
    height = top + 16 * len(below) + 12
    head = []
    if alone:
        head = [_text(0, 30, title, "title")]
        lines = textwrap.wrap(subtitle, _TEXT_CHARS)
        head += [_text(0, 50 + 16 * at, line, "small") for at, line in enumerate(lines)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="tl-root" width="{_WIDTH}" '
        f'height="{height}" role="img" aria-labelledby="t d">\n'
        f'<title id="t">{escape(title)}</title>\n<desc id="d">{escape(subtitle)}</desc>\n'
        f"{f'<style>{STYLE}</style>' if alone else ''}"
        f'<rect class="tl-page" width="100%" height="{height}"/>\n'
        f'<svg x="2%" width="96%" height="{height}" overflow="visible">\n'
        + "\n".join(part for part in (*head, *axis, *parts, *mark, *below_text) if part)
        + "\n</svg>\n</svg>\n"
    )


def _bins(found: Examination) -> int:
    strips = [*(each.bins for each in found.timelines), *(each.use for each in found.marks)]
    return max((len(strip) for strip in strips), default=0) or 1


def _direction(found: Examination, side: int) -> str:
    names = found.sides[side].name, found.sides[1 - side].name
    return f"{clean(names[0])} → {clean(names[1])}"


def _rows(found: Examination, side: int) -> Iterator[_Row]:
    """Yield what is drawn of a direction, first what is not as usual."""
    lines = [each for each in found.timelines if each.side == side]
    if not lines and found.timelines:
        return  # Cut to signals of the other direction.
    for text, short, marked in _marked(found, side):
        yield _Row(text, short, _LABEL + _HIGH + _GAP, marked=marked)
    for each in lines:
        high = _HIGH if each.signal.width == 1 else _HIGHER
        label = _label(found, each)
        yield _Row(label, label, _LABEL + high + _GAP, each)


def _marked(found: Examination, side: int) -> Iterator[tuple[str, str, tuple[bool, ...]]]:
    """Yield what is marked in a direction, and in which bins; nothing that never was."""
    marks, receiver = found.marks[side], found.sides[1 - side].name
    rejected = tuple(each is not None and each.high > 0 for each in marks.rejected)
    unused = tuple(each is not None and 1 in each for each in marks.use)
    silent = tuple(each is not None and 2 in each for each in marks.use)
    for text, short, marked in (
        ("frames rejected", "rejected", rejected),
        (f"data that {receiver} does not use", f"not used by {receiver}", unused),
        ("no new frame for longer than the watchdog", "silence", silent),
    ):
        if any(marked):
            yield clean(text), clean(short), marked


def _placed(rows: Sequence[_Row], top: int) -> Iterator[tuple[int, _Row]]:
    for row in rows:
        yield top, row
        top += row.height


def _subtitle(found: Examination) -> str:
    point = _time(found.timeline_width_us)
    text = (
        f"{found.profile}, {count(found.frames, 'frame')}; one point of a line stands for {point}"
    )
    if since := _since_us(found):
        text += f"; from {_time(since)} on"
    return text


def _since_us(found: Examination) -> int:
    """Return where the picture begins, counted from the first packet."""
    return found.timeline_start_us - (found.start_us or 0)


def _time(time_us: int) -> str:
    if time_us >= 1_000_000:
        return seconds(time_us)
    return milliseconds(time_us) if time_us >= 1000 else f"{time_us} µs"


def _axis(found: Examination, bins: int, first: int, bottom: int) -> list[str]:
    """Return the time axis with ticks at round times since the recording began."""
    span, since = bins * found.timeline_width_us, _since_us(found)
    rough = span / _TICKS
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    parts = [f'<line class="tl-axis" x1="0" x2="100%" y1="{bottom}" y2="{bottom}"/>']
    unit, size = ("s", 1e6) if since + span >= 1e6 else ("ms", 1e3)
    for number in range(ceil(since / step), floor((since + span) / step) + 1):
        x = _percent(number * step - since, span)
        parts += [
            f'<line class="tl-grid" x1="{x}" x2="{x}" y1="{first}" y2="{bottom}"/>',
            _text(x, bottom + 16, f"{number * step / size:.9g}", "small", "middle"),
        ]
    parts.append(_text("100%", bottom + 28, unit, "small", "end"))
    return parts


def _percent(part: float, whole: float) -> str:
    return f"{100 * part / whole:.3f}%"


def _mark(found: Examination, bins: int, first: int, bottom: int) -> list[str]:
    """Return a line at the first frame that the two ends read differently."""
    if found.difference is None or found.difference.note.time_us is None:
        return []
    share = (found.difference.note.time_us - found.timeline_start_us) / (
        bins * found.timeline_width_us
    )
    if not 0 <= share <= 1:
        return []
    x = _percent(share, 1)
    return [
        f'<line class="tl-mark" x1="{x}" x2="{x}" y1="{first - 4}" y2="{bottom}"/>',
        _text(x, first - 6, "first difference", "small", "end" if share > 0.5 else "start"),
    ]


def _shade(found: Examination, side: int, top: int, height: int, bins: int) -> str:
    """Return what lies behind the signals of a direction while none of them is in use."""
    off = [each is not None and each.high > 0 for each in found.marks[side].use]
    return strip_svg(f'<path class="tl-off" d="{_blocks(off, 0, 1)}"/>', top, height, bins, 1)


def strip_svg(inside: str, top: int, height: int, bins: int, units: int) -> str:
    """Return a picture of so many bins and units of height, as wide as the page."""
    return (
        f'<svg y="{top}" width="100%" height="{height}" viewBox="0 0 {bins} {units}" '
        f'preserveAspectRatio="none" overflow="visible">{inside}</svg>'
    )


def _blocks(marked: Sequence[bool], top: int, bottom: int) -> str:
    """Return a path of a block for each run of marked bins."""
    path, begun = "", -1
    for at, each in enumerate((*marked, False)):
        if each and begun < 0:
            begun = at
        elif not each and begun >= 0:
            path += f"M{begun} {top}H{at}V{bottom}H{begun}Z"
            begun = -1
    return path


def _drawn_row(row: _Row, top: int, bins: int) -> str:
    high = row.height - _LABEL - _GAP
    text = row.text if len(row.text) <= _LABEL_CHARS else f"{row.text[: _LABEL_CHARS - 1]}…"
    is_other = row.line is not None and row.line.reader != row.line.side
    kind = "small" if is_other or row.line is None else ""
    label = f"<g><title>{escape(row.text)}</title>{_text(0, top + 12, text, kind)}</g>"
    if row.line is None:
        drawn = f'<path class="tl-event" d="{_blocks(row.marked, 2, high)}"/>'
    else:
        line, bars = _trace(row.line.bins, _extremes(row.line), high)
        drawn = f'<path class="tl-base" d="M0 {high}H{bins}"/>'
        drawn += f'<path class="tl-busy" d="{bars}"/>' if bars else ""
        drawn += f'<path class="tl-{"other" if is_other else "line"}" d="{line}"/>'
    return label + strip_svg(drawn, top + _LABEL, high, bins, high)


def _label(found: Examination, each: Timeline) -> str:
    """Return what both ends call a row, and between which numbers it runs."""
    producer, consumer = each.names
    names = found.sides[each.side].name, found.sides[1 - each.side].name
    if not consumer:
        text = f"{producer}, only in the map of {names[0]}"
    elif not producer:
        text = f"{consumer}, only in the map of {names[1]}"
    elif each.reader != each.side:
        text = f"{producer} as {names[1]} reads it"
        text += f" ({consumer})" if consumer != producer else ""
    else:
        text = f"{producer} ({names[1]}: {consumer})" if consumer != producer else producer
    return clean(f"{text} {_range(each)}".rstrip())


def _range(each: Timeline) -> str:
    """Return between which numbers a value runs, in its unit; empty for a bit.

    They are exact, or marked as rounded where they are too long for a label.
    """
    if each.signal.width == 1:
        return ""
    if _MOST in map(abs, _extremes(each)):
        return f"{each.signal.width} bits"
    numbers = _numbers(each)
    ends = min(numbers, default=0), max(numbers, default=0)
    low, high = (_shown(each.signal, number) for number in ends)
    return f"{low}..{high} {each.signal.unit}".rstrip()


def _shown(signal: Signal, number: float) -> str:
    """Return a value, a rounded one with the word for it."""
    text = value_text(signal, number).removesuffix(".0")
    if len(text) <= _EXACT_CHARS:
        return text
    return f"about {number * float(signal.scale):.6g}"


def _numbers(each: Timeline) -> list[float]:
    """Return the numbers before scaling that a row runs through, as they were read."""
    return [
        number for each_bin in each.bins if each_bin for number in each_bin if _is_finite(number)
    ]


def _extremes(each: Timeline) -> tuple[float, float]:
    """Return the numbers at the bottom and at the top of a row."""
    if each.signal.width == 1:
        return 0.0, 1.0
    numbers = [_drawn(number) for number in _numbers(each)]
    return min(numbers, default=0.0), max(numbers, default=0.0)


def _is_finite(number: float) -> bool:
    """Tell whether a number is one, and not infinite; integers of any length are."""
    return number - number == 0


def _drawn(number: float) -> float:
    """Return a number as it can be drawn: an integer of very many bits is only a large one."""
    return float(max(-_MOST, min(number, _MOST)))


def _trace(bins: Sequence[Bin | None], extremes: tuple[float, float], high: int) -> tuple[str, str]:
    """Return the path of the line, and that of the bars where a bin holds more than one change."""
    low, most = extremes

    def y(number: float) -> float:
        if not _is_finite(number):
            return high
        share = (_drawn(number) - low) / (most - low) if most > low else 0.0
        return high - share * (high - 1)

    line, bars = "", ""
    last: float | None = None
    for at, found in enumerate(bins):
        if found is None:
            continue
        level = y(found.last)
        if last is None:
            line = f"M{at} {level:.1f}"
        elif level != last:
            line += f"H{at}V{level:.1f}"
        top, bottom = y(found.high), y(found.low)
        # One step from the last level to this one is a change, not unrest.
        if bottom - top > abs(level - (level if last is None else last)) + 0.05:
            bars += f"M{at} {top:.1f}H{at + 1}V{bottom:.1f}H{at}Z"
        last = level
    return f"{line}H{len(bins)}", bars


def _text(x: float | str, y: float, text: str, kind: str = "", anchor: str = "start") -> str:
    style = f' class="tl tl-{kind}"' if kind else ' class="tl"'
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{style} x="{x}" y="{y}"{place}>{escape(clean(text))}</text>'


def _lines(found: Examination, width: int) -> Iterator[str]:
    """Yield a line of text for each row; nothing where the recording has no times."""
    rows = [(side, row) for side in (0, 1) for row in _rows(found, side)]
    if not rows:
        return
    margin = min(max(columns(row.short) for _, row in rows), max(width - _LEAST - 4, 1)) + 2
    step = ceil(_bins(found) / max(width - margin - 2, _LEAST))
    if since := _since_us(found):
        yield f"from {_time(since)} on"
    yield f"{milliseconds(step * found.timeline_width_us)} for each column; {_LEGEND}"
    yield "0..9 a value between its extremes"
    last, busy, drawn = None, 0, 0
    for side, row in rows:
        if side != last:
            yield way(found.sides[side].name, found.sides[1 - side].name)
            last = side
        name = row.short
        if columns(name) + 2 > margin:  # The line of such a name is the next one.
            yield f"  {name}"
            name = ""
        if row.line is None:
            strip = "".join("x" if any(part) else " " for part in _steps(row.marked, step))
        else:
            strip = _strip(row.line, step)
            busy, drawn = busy + strip.count("|"), drawn + len(strip)
        yield f"  {name}{' ' * (margin - columns(name))}{strip}".rstrip()
    if busy > _BUSY * drawn:
        yield "more changes than columns: --window and --signal cut the picture"


def _steps(marked: Sequence[bool], step: int) -> Iterator[Sequence[bool]]:
    for at in range(0, len(marked), step):
        yield marked[at : at + step]


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
