"""A site as a picture and as an index: ends as boxes, connections as lines with their state."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from html import escape

from .._plant.gaterow import GateRow
from .._plant.verify import GateReport, natural
from .._words import count
from .document import Block, Drawing, Fold, Items, Paragraph, Section, StyledText, Words
from .text import clean

_ROW, _GAP, _TOP = 30, 8, 4
_BOX, _LINE = 96, 128
_WIDTH = 2 * _BOX + _LINE + 2
_LETTERS = 12
_OPEN_AT_ONCE = 40
"""Connections up to which the pictures stand open; more are folded, one for each end."""
_SIGN = {"good": "✓", "open": "…", "fault": "✗"}
_WORD = {"good": "in order", "open": "open steps", "fault": "wrong"}
_LEGEND = Paragraph(", ".join(f"{sign} {_WORD[state]}" for state, sign in _SIGN.items()))
_STYLE = """
.site svg { min-width: 0; max-width: 100%; height: auto; width: auto }
.site rect { fill: var(--tint); stroke: var(--ink) }
.site text { font: 13px "DejaVu Sans", Verdana, Arial, sans-serif; fill: var(--ink) }
.site line { stroke: var(--ink); stroke-width: 2 }
.site line.open { stroke-dasharray: 7 4 }
.site line.fault { stroke-dasharray: 2 4; stroke-width: 3 }
.site circle { fill: var(--paper); stroke: var(--ink) }
"""


def anchor(row: GateRow) -> str:
    """Return the name of the row of a connection on the page."""
    return f"c{row.number}"


def state(row: GateRow) -> str:
    """Return ``good``, ``open`` or ``fault``."""
    if row.in_order:
        return "good"
    return "fault" if row.failing or any(point.fault for point in row.points) else "open"


def blocks(given: GateReport) -> Iterator[Block]:
    """Yield the pictures, one for each end that others hang on, and the index by end."""
    hubs = _hubs(given)
    drawn = [
        (hub, rows, Drawing(picture(hub, rows), (), _STYLE, "site")) for hub, rows in hubs.items()
    ]
    if len(given.rows) <= _OPEN_AT_ONCE:
        yield Section("Picture", (_LEGEND, *(one for _, _, one in drawn)), kind="long")
    else:
        folds = (
            Fold(f"{hub}: {count(len(rows), 'connection')}", (one,)) for hub, rows, one in drawn
        )
        yield Section("Pictures by end", (_LEGEND, *folds), kind="long")
    index: dict[str, list[GateRow]] = defaultdict(list)
    for row in given.rows:
        for end in row.ends:
            index[end].append(row)
    items = tuple(_entry(end, index[end]) for end in sorted(index, key=natural))
    yield Section("Index by end", (Fold(count(len(items), "end"), (Items(items),)),), kind="long")


def _entry(end: str, rows: list[GateRow]) -> Words:
    links: list[str | StyledText] = [f"{end}: "]
    for number, row in enumerate(rows):
        links += [", "] * bool(number)
        links.append(StyledText(row.name, "", f"#{anchor(row)}"))
    return tuple(links)


def _hubs(given: GateReport) -> dict[str, list[tuple[str, GateRow]]]:
    """Return every connection once, with the other end, below the end that has more of them."""
    degree = Counter(end for row in given.rows for end in row.ends)
    found: dict[str, list[tuple[str, GateRow]]] = defaultdict(list)
    for row in given.rows:
        if row.ends:
            first, second = sorted(row.ends, key=lambda end: (-degree[end], natural(end)))
            found[first].append((second, row))
        else:
            found["maps not readable"].append(("", row))
    order = sorted(found, key=natural)
    return {hub: sorted(found[hub], key=lambda one: natural(one[0])) for hub in order}


def picture(hub: str, rows: list[tuple[str, GateRow]]) -> str:
    """Return the picture of one end and those that it is connected to; signs tell the states."""
    height = _TOP * 2 + len(rows) * (_ROW + _GAP) - _GAP
    parts = [_box(1, _TOP, height - 2 * _TOP, hub)]
    for number, (other, row) in enumerate(rows):
        top = _TOP + number * (_ROW + _GAP)
        middle = top + _ROW // 2
        left, right = _BOX + 1, _BOX + _LINE + 1
        told = state(row)
        name, words = _text(row.name), escape(f"{clean(row.name)}: {_WORD[told]}")
        parts.append(
            f'<a href="#{anchor(row)}"><g><title>{words}</title>'
            f'<line class="{told}" x1="{left}" y1="{middle}" x2="{right}" y2="{middle}"/>'
            f'<circle cx="{left + 16}" cy="{middle}" r="9"/>'
            f'<text x="{left + 16}" y="{middle + 5}" text-anchor="middle">{_SIGN[told]}</text>'
            f'<text x="{left + 30}" y="{middle - 4}">{name}</text></g></a>'
        )
        if other:
            parts.append(_box(right, top, _ROW, other))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{height}" '
        f'viewBox="0 0 {_WIDTH} {height}" role="group" '
        f'aria-label="{escape(clean(hub))} and its connections">{"".join(parts)}</svg>'
    )


def _box(x: int, y: int, height: int, name: str) -> str:
    return (
        f'<g><title>{escape(clean(name))}</title><rect x="{x}" y="{y}" width="{_BOX}" '
        f'height="{height}" rx="4"/><text x="{x + _BOX // 2}" y="{y + height // 2 + 5}" '
        f'text-anchor="middle">{_text(name)}</text></g>'
    )


def _text(name: str) -> str:
    """Return a name as it fits its box; the whole one is its title."""
    shown = clean(name)
    return escape(shown if len(shown) <= _LETTERS else f"{shown[: _LETTERS - 1]}…")
