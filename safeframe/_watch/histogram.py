"""Reaction times as bars: lines of a text, a picture, and a page with the numbers beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from itertools import count
from typing import NamedTuple

from .._report.document import CAUTION, SEEN, Block, Document, Drawing, Paragraph, Section, Table
from .._report.text import clean
from .._words import milliseconds
from ..capture import Examination
from .reaction import Reaction, Spread, known_ms, resolution_us

_MOST_BARS = 16
_FACTORS = (1, 2, 5)
_WIDTH, _LEFT, _RIGHT, _TOP = 1000, 190, 90, 44
_ROW, _BAR = 24, 16
"""Distance between bars and height of one, in points."""
_HEAD = 62
"""Height of the words above the bars of one reaction, in points."""
_LABEL_CHARS = 105
_LEAST = 8
"""Columns that the longest bar of a text has at least."""
_STYLE = """\
.hg-page{fill:#fff}
.hg{font-family:"DejaVu Sans",Verdana,Arial,sans-serif;font-size:13px;fill:#1b2430}
.hg-title{font-size:17px;font-weight:600}.hg-head{font-weight:600}
.hg-small{font-size:12px;fill:#46505c}.hg-bar{fill:#46505c}
.hg-base{stroke:#1b2430;stroke-width:1}
@media (prefers-color-scheme:dark){@media screen{.hg-page{fill:#14191f}.hg{fill:#e8edf2}
.hg-small{fill:#b4bec8}.hg-bar{fill:#b4bec8}.hg-base{stroke:#e8edf2}}}
"""


class HistogramBar(NamedTuple):
    """How many times (``number``) are at least ``from_us`` and below ``to_us``."""

    from_us: int
    to_us: int
    number: int


def bars(times: Spread) -> tuple[HistogramBar, ...]:
    """Return times in few bars of one round width, from the smallest to the largest.

    No time is in the wrong bar: a bar is a whole number of the bins in which times were counted.
    """
    if times.smallest_us is None or times.largest_us is None:
        return ()
    steps = (times.width_us * factor * 10**power for power in count() for factor in _FACTORS)
    span = times.smallest_us, times.largest_us
    step = next(each for each in steps if span[1] // each - span[0] // each < _MOST_BARS)
    first, last = (each // step for each in span)
    counts = [0] * (last - first + 1)
    for at, number in times.bins.items():
        counts[at * times.width_us // step - first] += number
    return tuple(
        HistogramBar(at * step, (at + 1) * step, number) for at, number in enumerate(counts, first)
    )


def _label(bar: HistogramBar) -> str:
    return f"{milliseconds(bar.from_us).removesuffix(' ms')} to {milliseconds(bar.to_us)}"


def lines(reaction: Reaction, width: int) -> Iterator[str]:
    """Yield a line for each bar, of ``width`` columns at most; none for less than two times."""
    if reaction.times.count < 2:
        return
    shown = bars(reaction.times)
    labels = [_label(bar) for bar in shown]
    most = max(bar.number for bar in shown)
    left, right = max(map(len, labels)), len(str(most))
    room = max(width - left - right - 6, _LEAST)
    for label, bar in zip(labels, shown, strict=True):
        # What was seen once is never nothing.
        stars = "#" * max(bar.number * room // most, bar.number > 0)
        yield f"  {label:>{left}}  {bar.number:>{right}}  {stars}".rstrip()


def _text(x: float, y: float, words: str, kind: str = "", anchor: str = "start") -> str:
    looks = f"hg hg-{kind}" if kind else "hg"
    return (
        f'<text class="{looks}" x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(words)}</text>'
    )


def svg(found: Examination, reactions: Sequence[Reaction], *, alone: bool = True) -> str:
    """Return the reaction times as SVG, with its style where it stands ``alone``."""
    parts: list[str] = []
    top = _TOP if alone else 0
    for reaction in reactions:
        parts += _block(reaction, resolution_us(found), top)
        top += _HEAD + _ROW * max(len(bars(reaction.times)), 1)
    height = top + (52 if alone else 8)
    title = f"{clean(found.connection)}: reaction times"
    head = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" '
        f'width="{_WIDTH}" height="{height}" role="img" aria-label="{escape(title)}">',
        f"<title>{escape(title)}</title>",
        f"<style>{_STYLE}</style>" if alone else "",
        f'<rect class="hg-page" width="{_WIDTH}" height="{height}"/>',
        _text(24, 32, title, "title") if alone else "",
    ]
    foot = [_text(24, height - 30, SEEN, "small"), _text(24, height - 12, CAUTION, "small")]
    return "\n".join([*head, *parts, *(foot if alone else ()), "</svg>"]) + "\n"


def _block(reaction: Reaction, gap_us: int | None, top: int) -> Iterator[str]:
    """Yield the bars of one reaction, below what it is."""
    words = clean(reaction.text)
    shown = words if len(words) <= _LABEL_CHARS else f"{words[: _LABEL_CHARS - 1]}…"
    yield f"<g><title>{escape(words)}</title>{_text(24, top + 22, shown, 'head')}</g>"
    yield _text(24, top + 42, "; ".join(map(": ".join, _facts(reaction, gap_us))), "small")
    rows = bars(reaction.times)
    base = top + _HEAD - 8
    most = max((bar.number for bar in rows), default=1)
    for number, bar in enumerate(rows):
        y = base + _ROW * number
        size = bar.number / most * (_WIDTH - _LEFT - _RIGHT)
        yield _text(_LEFT - 10, y + 13, _label(bar), "", "end")
        if bar.number:
            yield f'<rect class="hg-bar" x="{_LEFT}" y="{y}" width="{size:.1f}" height="{_BAR}"/>'
        yield _text(_LEFT + size + 8, y + 13, str(bar.number))
    yield f'<path class="hg-base" d="M{_LEFT} {base - 4}V{base + _ROW * max(len(rows), 1) - 4}"/>'


def _facts(reaction: Reaction, gap_us: int | None) -> list[tuple[str, str]]:
    """Return what was measured, as words and values."""
    times = reaction.times
    facts = [("answered", str(times.count))]
    if times.count:
        median = known_ms(times.median_us)
        if times.width_us > 1:
            median += f" (from bins of {known_ms(times.width_us)})"
        facts += [
            ("smallest", known_ms(times.smallest_us)),
            ("median", median),
            ("largest", known_ms(times.largest_us)),
        ]
    facts += [(word, str(number)) for word, number in reaction.others if number]
    facts.append(("resolution", "unknown" if gap_us is None else milliseconds(gap_us)))
    return facts


def document(found: Examination, reactions: Sequence[Reaction]) -> Document:
    """Return the reaction times as a page: the numbers, and the bars below them."""
    gap_us = resolution_us(found)
    title = f"{found.connection} ({found.profile}): reaction times"
    blocks: list[Block] = [
        Paragraph(
            "From each beginning of a command to the beginning of its answer, both as their "
            "receivers read them. The longest gap of the frames is the resolution: no time is "
            "known more exactly."
        )
    ]
    for each in reactions:
        picture = Drawing(svg(found, [each], alone=False), (), _STYLE)
        table = Table(tuple(_facts(each, gap_us)), ("what", "value"))
        blocks.append(Section(each.text, (table, picture)))
    return Document(title, tuple(blocks), footer=(SEEN, CAUTION))
