"""A document as one HTML page: no script, nothing from elsewhere, for screen, print and dark."""

from __future__ import annotations

import re
from collections.abc import Iterable

from . import shell, svg
from .document import (
    SIGNS,
    Block,
    CodeBlock,
    Document,
    Drawing,
    Facts,
    Fold,
    Grids,
    Items,
    Paragraph,
    Points,
    Section,
    StyledText,
    Table,
    Words,
    body,
    plain,
    point_row,
    spans,
)
from .shell import text

_ONE_LINE = 12
"""Codes of up to so many characters are never broken: places, and data of four octets."""
_SHORT_TABLE = 12
"""Tables of up to so many rows stay on one printed page; larger ones would leave gaps."""
_BREAKS = re.compile(r"(?<=[._-])(?=\w)")


def render(given: Document, *, sheet: str = "") -> str:
    """Return a document as a page; ``sheet`` is added to its style."""
    writer = _HtmlWriter()
    below = writer.blocks(given.below, 2)
    blocks = writer.blocks(body(given), 2)
    verdict = _words(given.verdict)
    if verdict or below:
        mark = next((span.look for span in spans(given.verdict) if span.look in _STATES), "")
        verdict = f'<div class="verdict {mark}"><p>{verdict}</p>{below}</div>'
    return shell.page(
        plain(given.title),
        verdict,
        writer.contents,
        blocks,
        footer=given.footer,
        style=f"{svg.STYLE if writer.draws else ''}{writer.style}{sheet}",
    )


_STATES = ("good", "error", "warning", "note")


class _HtmlWriter:
    """Writes blocks, and collects the titles of the sections and the style they need."""

    def __init__(self) -> None:
        self.contents: list[tuple[str, str]] = []
        self.style = ""
        self.draws = False
        self._grids = 0
        self._labels: dict[str, int] = {}

    def _wide(self, label: str) -> str:
        """Return the opening tag of what may be wider than a window; the keyboard can scroll it.

        It is a landmark, and the name of one stands once on a page.
        """
        name, key = label, label.casefold()
        while not self._is_new(name):
            self._labels[key] += 1
            name = f"{label} {self._labels[key]}"
        return f'<div class="wide" role="region" tabindex="0" aria-label="{text(name)}">'

    def _is_new(self, label: str) -> bool:
        """Note the name of a landmark; return whether it is the first one of that name."""
        key = label.casefold()
        if key in self._labels:
            return False
        self._labels[key] = 1
        return True

    def blocks(self, given: Iterable[Block], level: int) -> str:
        return "\n".join(self._block(block, level) for block in given)

    def _block(self, block: Block, level: int) -> str:
        if isinstance(block, Section):
            return self._section(block, level)
        if isinstance(block, Paragraph):
            kind = f' class="{block.kind}"' if block.kind else ""
            label = f"{block.label[:1].upper()}{block.label[1:]}:" if block.label else ""
            strong = f"<strong>{text(label)}</strong> " if label else ""
            return f"<p{kind}>{strong}{_words(block.words)}</p>"
        if isinstance(block, Items):
            label = f"<p><strong>{text(block.label)}</strong></p>" if block.label else ""
            return f"{label}<ul>{''.join(f'<li>{_words(item)}</li>' for item in block.items)}</ul>"
        if isinstance(block, Table):
            for picture in filter(None, block.pictures):
                self._take_style(picture)
            return self._table(block)
        if isinstance(block, Points):
            points = tuple(point_row(point, len(block.head)) for point in block.points)
            return self._table(Table(points, block.head))
        if isinstance(block, Facts):
            rows = (f"<dt>{text(label)}</dt><dd>{_words(said)}</dd>" for label, said in block.rows)
            return f"<dl>{''.join(rows)}</dl>"
        if isinstance(block, CodeBlock):
            lines = "\n".join(map(_words, block.lines))
            return f"{self._wide('text')}<pre>{lines}</pre></div>"
        if isinstance(block, Fold):
            inside = self.blocks(block.blocks, level)
            return f"<details><summary>{text(block.title)}</summary>{inside}</details>"
        if isinstance(block, Grids):
            return self._pair(block)
        return self._drawing(block)

    def _section(self, block: Section, level: int) -> str:
        title = plain(block.title)
        kind = f' class="{block.kind}"' if block.kind else ""
        if not title:
            return f"<section{kind}>{self.blocks(block.blocks, level)}</section>"
        sign = next((SIGNS[span.look] for span in spans(block.title) if span.look in SIGNS), "")
        told = f"{sign} {title}" if sign else title
        if level > 2:
            return f"<h{min(level, 6)}>{text(told)}</h{min(level, 6)}>\n" + self.blocks(
                block.blocks, level + 1
            )
        name = f"part-{len(self.contents) + 1}"
        self.contents.append((name, told))
        named = f' aria-labelledby="{name}-h"' if self._is_new(told) else ""
        return (
            f'<section id="{name}"{named}{kind}>'
            f'<h2 id="{name}-h">{text(told)}</h2>\n{self.blocks(block.blocks, 3)}</section>'
        )

    def _pair(self, block: Grids) -> str:
        self.draws = True
        self._grids += 1
        drawn = "".join(
            f"{self._wide(one.title)}{svg.picture(one, f'g{self._grids}-{side}')}</div>"
            for side, one in enumerate(block.grids)
        )
        caption = svg.caption(block.grids, block.name)
        figure = f'<figure><div class="pair">{drawn}</div><figcaption>{text(caption)}</figcaption>'
        rows = svg.differences(block.grids)
        if not rows:
            return f"{figure}</figure>"
        head = ("signal", "map", "from place", "bits here", "difference", "the other end has")
        name = f"{block.name}: differences" if block.name else "Differences"
        return f"{figure}</figure>{self._table(Table(rows, head=head, caption=name))}"

    def _table(self, block: Table) -> str:
        return f"{self._wide(block.caption or 'table')}{_rows_of(block)}</div>"

    def _take_style(self, drawing: Drawing) -> None:
        if drawing.style not in self.style:
            self.style += drawing.style

    def _drawing(self, block: Drawing) -> str:
        self._take_style(block)
        return (
            f"<figure>{self._wide('picture')}"
            f'<div class="{block.kind}">{block.svg}</div></div></figure>'
        )


def _words(words: Words) -> str:
    return "".join(map(_span, spans(words)))


def _span(span: StyledText) -> str:
    if span.href:
        return f'<a href="{text(span.href)}">{text(span.text)}</a>'
    if span.look == "code":
        return _code(span.text)
    inside = text(span.text)
    if span.look == "strong":
        return f"<strong>{inside}</strong>"
    if span.look == "entry":
        return f'<span class="todo">{inside}</span>'
    return f'<span class="{span.look}">{inside}</span>' if span.look else inside


def _code(words: str) -> str:
    """Return a code; 64 hexadecimal digits in groups that an eye can compare, copied as one."""
    if len(words) == 64:
        groups = (words[start : start + 8] for start in range(0, 64, 8))
        return f"<code>{'<wbr>'.join(f'<span>{text(group)}</span>' for group in groups)}</code>"
    if len(words) <= _ONE_LINE:
        return f'<code class="line">{text(words)}</code>'
    # A long name of a step may break after a dot, an underscore or a hyphen, and nowhere else.
    return f"<code>{_BREAKS.sub('<wbr>', text(words))}</code>"


def _rows_of(block: Table) -> str:
    kinds = block.kinds or ("text",) * len(block.rows[0] if block.rows else block.head)
    below = bool(block.pictures)
    head = [*block.head, *([block.note_head] if block.notes and not below else [])]
    names = "".join(f'<th scope="col">{text(cell)}</th>' for cell in head)
    widths = "".join(f'<col width="{width}%">' for width in block.widths)
    body = ""
    for number, row in enumerate(block.rows):
        cells = [_cell(kind, cell) for kind, cell in zip(kinds, row, strict=True)]
        inside = cells[0].removesuffix("</td>")
        if block.links and block.links[number]:
            lead, _, said = inside.partition(">")
            inside = f'{lead}><a href="{text(block.links[number])}">{said}</a>'
        first = inside.replace("<td", '<th scope="row"', 1) + "</th>"
        note = [f"<td>{text(block.notes[number])}</td>"] if block.notes and not below else []
        look = block.looks[number] if block.looks else ""
        mark = f' class="{look}"' if look else ""
        mark += f' id="{text(block.anchors[number])}"' if block.anchors else ""
        body += f"<tr{mark}>{first}{''.join([*cells[1:], *note])}</tr>\n"
        if below:
            body += _below(block, number, len(cells) - 1)
    short = ' class="short"' if len(block.rows) <= _SHORT_TABLE else ""
    caption = f"<caption>{text(block.caption)}</caption>" if block.caption else ""
    columns = f"<colgroup>{widths}</colgroup>" if widths else ""
    top = f"<thead><tr>{names}</tr></thead>\n" if any(head) else ""
    return f"<table{short}>{caption}{columns}{top}<tbody>{body}</tbody></table>"


def _below(block: Table, number: int, columns: int) -> str:
    """Return what stands below a row: what there is to say about it, and its picture."""
    picture = block.pictures[number]
    drawn = f'<div class="{picture.kind}">{picture.svg}</div>' if picture is not None else ""
    said = f"<p><b>{text(block.note_head)}</b>: {text(block.notes[number])}</p>"
    return f'<tr class="below"><td></td><td colspan="{columns}">{said}{drawn}</td></tr>\n'


def _cell(kind: str, cell: str) -> str:
    if kind == "pen":
        return '<td class="pen"></td>'
    if kind == "entry" and cell == "open":
        return f'<td><span class="todo">{cell}</span></td>'
    return f"<td>{_code(cell) if kind == 'code' and cell else text(cell)}</td>"
