"""The record of a change as one HTML file to read, print and keep: no script, nothing external."""

from __future__ import annotations

import re
from html import escape

from .record_page import OPEN, Block, RecordPage, Table
from .text import clean

__all__ = ["PAPERS", "html"]

PAPERS = {"a4": "A4", "letter": "letter"}
"""Paper by its option word, with the name that CSS gives it."""

_SHORT_TABLE, _SHORT_PART = 12, 6
"""Tables and parts of up to so many rows stay on one printed page; larger ones would leave gaps."""

_ONE_LINE = 12
"""Codes of up to so many characters are never broken: places, and data of four octets."""

_NO_DIGIT = re.compile(r"[^0-9a-f]")
_BREAKS = re.compile(r"(?<=[._-])(?=\w)")

_STYLE = """\
:root { color-scheme: light }
body { font: 9.5pt/1.4 "Helvetica Neue", Helvetica, Arial, sans-serif; color: #000;
  background: #fff; max-width: 52rem; margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 8pt }
h2 { font-size: 12pt; margin: 18pt 0 4pt; padding-top: 4pt; border-top: 1.2pt solid #000 }
p { margin: 4pt 0 }
p.lead { font-weight: 700 }
.status { border: 1.5pt solid #000; padding: 6pt 8pt; margin: 0 0 6pt }
.status p { font-size: 11pt; font-weight: 700; margin: 0 }
.status.open { border-style: dashed }
.status ul { margin: 4pt 0 0; padding-left: 14pt }
table { border-collapse: collapse; width: 100%; margin: 6pt 0 10pt; font-size: 8.5pt }
caption { text-align: left; font-weight: 700; padding: 2pt 0 }
th, td { text-align: left; vertical-align: top; padding: 2pt 5pt; border-bottom: .4pt solid #777;
  overflow-wrap: break-word }
thead th { border-bottom: 1pt solid #000; font-weight: 600; white-space: nowrap }
code { font: 8pt/1.4 Menlo, Consolas, "DejaVu Sans Mono", monospace }
code span { margin-right: .35em }
code.line { white-space: nowrap }
tr.marked { font-weight: 700 }
tr.marked > :first-child { border-left: 3pt solid #000 }
td.pen { height: 26pt; border: .4pt solid #000 }
.todo { color: #555; font-style: italic }
footer { margin-top: 18pt; padding-top: 4pt; border-top: .4pt solid #777; font-size: 8pt }
@media screen and (max-width: 40rem) { td { overflow-wrap: anywhere } }
@media print {
  body { margin: 0; padding: 0; max-width: none }
  h2, caption, .lead { break-after: avoid }
  tr, .status, .short { break-inside: avoid }
  thead { display: table-header-group }
  tbody tr:first-child, section:last-of-type { break-before: avoid }
  p { orphans: 3; widows: 3 }
}
"""


def html(given: RecordPage, *, paper: str = "a4") -> str:
    """Return a record as one HTML page; ``paper`` is a word of PAPERS."""
    # Inside a style sheet nothing is escaped: only what a fingerprint consists of gets there.
    foot = f"computed part {_NO_DIGIT.sub('', given.short)}"
    sheet = (
        f"@page {{ size: {PAPERS[paper]}; margin: 15mm 15mm 18mm;\n"
        f'  @bottom-left {{ content: "{foot}"; font: 7.5pt sans-serif }}\n'
        '  @bottom-right { content: "page " counter(page) " of " counter(pages);'
        " font: 7.5pt sans-serif } }\n"
    )
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        '<head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width">',
        f"<title>{_text(given.title)}</title>",
        f"<style>\n{_STYLE}{sheet}</style></head>",
        "<body><main>",
        f"<h1>{_text(given.title)}</h1>",
        f'<div class="status{"" if given.good else " open"}"><p>{_text(given.status)}</p>',
    ]
    if given.points:
        parts.append(f"<ul>{''.join(f'<li>{_text(point)}</li>' for point in given.points)}</ul>")
    parts.append("</div>")
    for number, part in enumerate(given.parts, start=1):
        short = _class("short", sum(map(_rows, part.blocks)) <= _SHORT_PART)
        parts.append(f"<section{short}><h2>{number}. {_text(part.title)}</h2>")
        parts += map(_block, part.blocks)
        parts.append("</section>")
    footer = "".join(f"<p>{_text(line)}</p>" for line in given.footer)
    return "\n".join([*parts, f"</main><footer>{footer}</footer></body></html>"]) + "\n"


def _block(block: Block) -> str:
    if isinstance(block, Table):
        return _table(block)
    text = f"{_text(block.text)} {_code(block.code)}" if block.code else _text(block.text)
    return f"<p{_class('lead', block.strong)}>{text}</p>"


def _table(block: Table) -> str:
    head = "".join(f'<th scope="col">{_text(cell)}</th>' for cell in block.head)
    widths = "".join(f'<col style="width: {width}%">' for width in block.widths)
    short = _class("short", _rows(block) <= _SHORT_TABLE)
    lines = [
        f"<table{short}><caption>{_text(block.caption)}</caption>",
        f"<colgroup>{widths}</colgroup>" if widths else "",
        f"<thead><tr>{head}</tr></thead><tbody>",
    ]
    for number, row in enumerate(block.rows):
        cells = "".join(map(_cell, block.kinds, row))
        marked = bool(block.marked) and block.marked[number]
        lines.append(f"<tr{_class('marked', marked)}>{cells}</tr>")
    return "\n".join([*lines, "</tbody></table>"])


def _rows(block: Block) -> int:
    return len(block.rows) if isinstance(block, Table) else 0


def _class(name: str, applies: bool) -> str:
    return f' class="{name}"' if applies else ""


def _cell(kind: str, cell: str) -> str:
    if kind == "pen":
        return '<td class="pen"></td>'
    if kind == "entry" and cell == OPEN:
        return f'<td><span class="todo">{OPEN}</span></td>'
    return f"<td>{_code(cell) if kind == 'code' else _text(cell)}</td>"


def _code(text: str) -> str:
    """Return a code; 64 hexadecimal digits in groups that an eye can compare, copied as one."""
    if len(text) == 64:
        groups = (text[start : start + 8] for start in range(0, 64, 8))
        return f"<code>{'<wbr>'.join(f'<span>{_text(group)}</span>' for group in groups)}</code>"
    if len(text) <= _ONE_LINE:
        return f'<code class="line">{_text(text)}</code>'
    # A long name of a step may break after a dot, an underscore or a hyphen, and nowhere else.
    return f"<code>{_BREAKS.sub('<wbr>', _text(text))}</code>"


def _text(text: str) -> str:
    return escape(clean(text))
