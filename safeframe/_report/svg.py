"""Bit grids as SVG: octets as rows, bit 7 on the left, places and absolute bits in every cell.

What differs from the other end is told by outline, by a shape and by words; colour only helps.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from html import escape
from itertools import groupby, pairwise

from .._grids import BitGrid, GridCell
from .._words import count
from .text import clean, columns, cut

_CELL, _ROW, _LEFT, _HEAD, _GAP, _EDGE = 96, 66, 56, 58, 44, 16
_WIDTH = _LEFT + 8 * _CELL
_MOST_ALIKE = 4
"""Octets of one long value or gap that are drawn one by one."""
_LINE = 12
"""Characters of a name in one line of a cell that is one bit wide, at the size it has."""

STYLE = """\
.sf-page { fill: #ffffff }
.sf-text { font-family: "DejaVu Sans", Verdana, Arial, sans-serif; fill: #1b2430 }
.sf-title { font-size: 16px; font-weight: bold }
.sf-head { font-size: 12px }
.sf-name { font-size: 11.5px; font-weight: bold }
.sf-free { font-weight: normal; font-style: italic }
.sf-small { font-size: 10px; fill: #46505c }
.sf-told { font-size: 10.5px; font-weight: bold }
.sf-cell { stroke: #5d6874; stroke-width: 1; fill: #e9eef2 }
.sf-reserved { fill: #ffffff }
.sf-undeclared, .sf-twice { fill: #ffffff; stroke-width: 2; stroke-dasharray: 2 3 }
.sf-tick { stroke: #5d6874; stroke-width: 1; stroke-dasharray: 1 3 }
.sf-mark { fill: #fbe9bf; stroke: #1b2430; stroke-width: 3 }
.sf-only { fill: #fbe9bf; stroke: #1b2430; stroke-width: 3; stroke-dasharray: 9 5 }
.sf-shape { fill: #1b2430 }
.sf-join { stroke: #e9eef2; stroke-width: 3 }
.sf-join-mark { stroke: #fbe9bf; stroke-width: 5 }
.sf-part { font-size: 10.5px }
"""
_DARK = """\
@media (prefers-color-scheme: dark) { @media screen {
.sf-page { fill: #14191f }
.sf-text { fill: #e8edf2 }
.sf-small { fill: #b4bec8 }
.sf-cell { stroke: #8b97a3; fill: #252e38 }
.sf-reserved, .sf-undeclared, .sf-twice { fill: #14191f }
.sf-tick { stroke: #8b97a3 }
.sf-mark, .sf-only { fill: #4a3c10; stroke: #f2d98a }
.sf-shape { fill: #f2d98a }
.sf-join { stroke: #252e38 }
.sf-join-mark { stroke: #4a3c10 }
} }
"""
STYLE += _DARK

# Drawn in a box of 12 by 12 around its centre.
_SHAPES = {
    "moved": "M-6,5 L0,-6 L6,5 Z",
    "width differs": "M-6,-5 H6 V5 H-6 Z",
    "octet order differs": "M-6,-5 L6,5 V-5 L-6,5 Z",
    "name differs": "M0,-6 L6,0 L0,6 L-6,0 Z",
    "only here": "M-6,-2 H-2 V-6 H2 V-2 H6 V2 H2 V6 H-2 V2 H-6 Z",
}
KEY = {
    "moved": "triangle",
    "width differs": "square",
    "octet order differs": "bow tie",
    "name differs": "diamond",
    "only here": "cross and broken outline",
}
"""The shape of each mark, in words."""


def document(grids: Sequence[Sequence[BitGrid]], title: str) -> str:
    """Return a whole SVG file: each row of grids side by side, the rows below each other."""
    parts: list[str] = []
    y = _EDGE
    for row in grids:
        for number, one in enumerate(row):
            x = _EDGE + number * (_WIDTH + _GAP)
            parts.append(f'<g transform="translate({x},{y})">{_grid(one)}</g>')
        y += max(map(_height, row)) + _GAP
    found = {cell.mark for row in grids for one in row for cell in one.marked}
    if found:
        shapes = ", ".join(f"{KEY[mark]}: {mark}" for mark in KEY if mark in found)
        words = f"Thick outline, {shapes}; the words in the cell say what the other one has."
        parts.append(_words(_EDGE, y - _GAP // 2, words, "sf-head"))
    across = max(map(len, grids), default=1)
    width = 2 * _EDGE + across * (_WIDTH + _GAP) - _GAP
    described = "; ".join(_told(one) for row in grids for one in row)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{y}" '
        f'viewBox="0 0 {width} {y}" role="img" aria-labelledby="title desc">\n'
        f'<title id="title">{_text(title)}</title>\n<desc id="desc">{_text(described)}</desc>\n'
        f'<style>{STYLE}</style>\n<rect class="sf-page" width="{width}" height="{y}"/>\n'
        f"{chr(10).join(parts)}\n</svg>\n"
    )


def picture(given: BitGrid, name: str) -> str:
    """Return one grid as an SVG element of a page that holds STYLE; ``name`` is a unique id."""
    width, height = _WIDTH + 4, _height(given) + 4
    return (
        f'<svg viewBox="-2 -2 {width} {height}" role="img" aria-labelledby="{name}">'
        f'<title id="{name}">{_text(_told(given))}</title>{_grid(given)}</svg>'
    )


def differences(grids: Sequence[BitGrid]) -> tuple[tuple[str, ...], ...]:
    """Return what is marked: signal, map, place, bits there, difference, what the other end has."""
    return tuple(
        (cell.label, one.title, str(cell.first), str(cell.width), cell.mark, cell.elsewhere)
        for one in grids
        for cell in one.marked
        # The consumer's half of a pair says the same the other way round.
        if one is grids[0] or not cell.elsewhere
    )


def caption(grids: Sequence[BitGrid], name: str) -> str:
    """Return what grids side by side show, and the shape of each mark in them."""
    found = {cell.mark for one in grids for cell in one.marked}
    scope = f"{name}: " if name else ""
    if not found:
        same = "every signal stands at the same place at both ends."
        return f"{scope}{same}" if len(grids) > 1 else f"{name}."
    shapes = ", ".join(f"{KEY[mark]}: {mark}" for mark in KEY if mark in found)
    return f"{scope}what differs has a thick outline, a shape and words. Shapes: {shapes}."


def _told(given: BitGrid) -> str:
    """Return a picture in one sentence."""
    octets = count(given.octets, "octet")
    marked = [
        " ".join(filter(None, (cell.label, "at", str(cell.first), cell.mark, cell.elsewhere)))
        for cell in given.marked
    ]
    return f"{given.title}: {octets}" + (f", marked: {', '.join(marked)}" if marked else "")


def _height(given: BitGrid) -> int:
    return _HEAD + _ROW * max(len(_rows(given)), 1)


def _rows(given: BitGrid) -> list[list[GridCell] | range]:
    """Return the cells of each octet; many equal octets are folded to a range of octet numbers."""
    octets: list[list[GridCell]] = [[] for _ in range(given.octets)]
    for cell in given.cells:
        octets[cell.first.octet].append(cell)
    rows: list[list[GridCell] | range] = []
    for _, run in groupby(octets, key=_alike):
        same = list(run)
        if len(same) > _MOST_ALIKE:
            first, last = same[0][0].first.octet, same[-1][0].first.octet
            rows += [same[0], range(first + 1, last), same[-1]]
        else:
            rows += same
    return rows


def _alike(cells: list[GridCell]) -> Hashable:
    first = cells[0]
    # An octet of several cells is like no other one.
    alone = first.first.octet if len(cells) > 1 else None
    return first.label, first.kind, first.mark, first.elsewhere, alone


def _grid(given: BitGrid) -> str:
    parts = [_words(0, 16, given.title, "sf-title")]
    for bit in range(8):
        middle = _LEFT + (7 - bit) * _CELL + _CELL // 2
        parts.append(_words(middle, _HEAD - 10, f"bit {bit}", "sf-head", "middle"))
    if not given.octets:
        parts.append(_words(_LEFT, _HEAD + 20, "no data", "sf-head"))
    if given.octets:
        parts.append(_words(_LEFT - 8, _HEAD - 10, "octet", "sf-head", "end"))
    cells: list[tuple[GridCell, int]] = []
    for number, row in enumerate(_rows(given)):
        y = _HEAD + number * _ROW
        if isinstance(row, range):
            text = f"octets {row[0]} to {row[-1]} as those above and below"
            parts.append(_words(_LEFT + 4 * _CELL, y + 37, text, "sf-head", "middle"))
            continue
        parts.append(_words(_LEFT - 8, y + 37, str(row[0].first.octet), "sf-head", "end"))
        cells += [(cell, y) for cell in row]
    # Marked cells last, so that no neighbour covers their outline.
    parts += [_cell(cell, y) for cell, y in sorted(cells, key=lambda pair: bool(pair[0].mark))]
    # Octets of one value are one box: the border between them goes.
    parts += [
        f'<line class="sf-join{"-mark" * bool(cell.mark)}" x1="{_LEFT + 2}" y1="{y + _ROW}" '
        f'x2="{_LEFT + 8 * _CELL - 2}" y2="{y + _ROW}"/>'
        for (cell, y), (below, _) in pairwise(cells)
        if cell.joined and below.width == 8 and below.first.octet == cell.first.octet + 1
    ]
    return "".join(parts)


def _cell(cell: GridCell, y: int) -> str:
    x = _LEFT + (7 - cell.last.bit) * _CELL
    width = cell.width * _CELL
    look = {"": "", "only here": " sf-only"}.get(cell.mark, " sf-mark")
    parts = [
        f"<g><title>{_text(_tip(cell))}</title>",
        f'<rect class="sf-cell sf-{cell.kind}{look}" x="{x}" y="{y}" '
        f'width="{width}" height="{_ROW}"/>',
    ]
    for number in range(cell.width):
        left = x + number * _CELL
        bit = cell.last.bit - number
        if number:
            parts.append(f'<line class="sf-tick" x1="{left}" y1="{y}" x2="{left}" y2="{y + 16}"/>')
        octet = cell.first.octet
        parts.append(_words(left + 5, y + 13, f"{octet}.{bit}", "sf-small"))
        parts.append(_words(left + _CELL - 5, y + 13, str(8 * octet + bit), "sf-small", "end"))
    if cell.part:
        parts.append(_words(x + width - 5, y + _ROW - 7, cell.part, "sf-part", "end"))
    free = "" if cell.kind == "signal" else " sf-free"
    lines = _broken(clean(cell.label), _LINE * cell.width)
    middle = x + width // 2
    top = y + (33 if len(lines) == 1 else 28)
    for number, line in enumerate(lines):
        parts.append(_words(middle, top + 13 * number, line, f"sf-name{free}", "middle"))
    if cell.mark:
        told = cell.elsewhere or cell.mark
        room = (_LINE + 1) * cell.width - 3 - len(cell.part)
        parts += [
            f'<path class="sf-shape" transform="translate({x + 12},{y + _ROW - 11})" '
            f'd="{_SHAPES[cell.mark]}"/>',
            _words(x + 22, y + _ROW - 7, cut(clean(told), room), "sf-told"),
        ]
    return "".join([*parts, "</g>"])


def _tip(cell: GridCell) -> str:
    places = str(cell.first) if cell.width == 1 else f"{cell.first} to {cell.last}"
    text = f"{cell.label}, {places}"
    if cell.part:
        text += f", {cell.part}"
    if cell.mark:
        text += f", {cell.mark}{f': {cell.elsewhere}' if cell.elsewhere else ''}"
    return text


def _broken(name: str, room: int) -> list[str]:
    """Return a name in at most two lines, broken at a separator where there is one."""
    if columns(name) <= room:
        return [name]
    breaks = [n for n, c in enumerate(name, start=1) if c in "_-. " and columns(name[:n]) <= room]
    at = breaks[-1] if breaks else room
    return [name[:at], cut(name[at:], room)]


def _words(x: int, y: int, text: str, kind: str, anchor: str = "start") -> str:
    at = f' text-anchor="{anchor}"' if anchor != "start" else ""
    return f'<text class="sf-text {kind}" x="{x}" y="{y}"{at}>{_text(text)}</text>'


def _text(text: str) -> str:
    return escape(clean(text), quote=False)
