"""A document as Markdown: for the page of a build, a review or a ticket."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from .document import (
    Block,
    CodeBlock,
    Document,
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
from .paths import uri
from .text import clean

_RULES = (
    (re.compile(r"[\\`*\[\]<>|~#&!$]"), r"\\\g<0>"),
    # An underscore between letters marks nothing, and names are full of them.
    (re.compile(r"(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])"), r"\\_"),
    (re.compile(r"^(\s*)([-+=])"), r"\1\\\2"),
    (re.compile(r"^(\s*\d+)([.)])(?=\s|$)"), r"\1\\\2"),
    # Mentions and bare addresses are links in common dialects and know no backslash.
    (re.compile(r"@"), "&#64;"),
    (re.compile(r":(?=//)"), "&#58;"),
    (re.compile(r"(?i)(www)\."), r"\1&#46;"),
)
"""What could mean something in Markdown or HTML, and how it is written instead."""


def escape(text: str) -> str:
    """Return clean text in which no character has a meaning in Markdown or HTML."""
    text = clean(text).strip()
    for pattern, written in _RULES:
        text = pattern.sub(written, text)
    return text


def table(rows: Iterable[Sequence[str]]) -> list[str]:
    """Return rows of plain text as a table; the first one is the head."""
    return _lines([[escape(cell) for cell in row] for row in rows])


def _lines(rows: Sequence[Sequence[str]]) -> list[str]:
    head, *body = rows
    return [f"| {' | '.join(line)} |" for line in (head, ["---"] * len(head), *body)]


def render(given: Document) -> str:
    """Return a document as Markdown: title, verdict, sections, cautions."""
    lines = [f"## {escape(plain(given.title))}"]
    if plain(given.verdict):
        lines += ["", f"**{escape(plain(given.verdict))}**"]
    lines += _blocks((*given.below, *body(given)), "###")
    for line in given.footer:
        lines += ["", f"_{escape(line)}_"]
    return "\n".join(lines) + "\n"


def _blocks(given: Iterable[Block], level: str) -> list[str]:
    lines: list[str] = []
    for block in given:
        shown = _block(block, level)
        if shown:
            lines += shown if not shown[0] else ["", *shown]
    return lines


def _block(block: Block, level: str) -> list[str]:
    if isinstance(block, Section):
        title = [f"{level} {escape(plain(block.title))}"] if plain(block.title) else []
        return title + _blocks(block.blocks, f"{level}#" if title and level < "######" else level)
    if isinstance(block, Paragraph):
        label = f"**{escape(block.label[:1].upper() + block.label[1:])}:** " if block.label else ""
        return [f"{label}{_words(block.words)}"]
    if isinstance(block, Items):
        label = f"{escape(block.label)}: " if block.label else ""
        return [f"- {label}{_words(item)}" for item in block.items]
    if isinstance(block, Facts):
        rows = [[escape(label), _words(words)] for label, words in block.rows]
        return _lines([["what", "seen"], *rows]) if rows else []
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Points):
        return table([block.head, *(point_row(point, len(block.head)) for point in block.points)])
    if isinstance(block, Fold):
        return [f"{escape(block.title)}:", *_blocks(block.blocks, level)]
    if isinstance(block, Grids):
        return _grids(block)
    lines = [clean(plain(line)) for line in block.lines]
    runs = [len(run) for line in lines for run in re.findall("`+", line)]
    fence = "`" * max(3, *(run + 1 for run in runs), 3)
    return [f"{fence}{'' if isinstance(block, CodeBlock) else 'text'}", *lines, fence]


def _words(words: Words) -> str:
    """Return words, with what stands out in bold and codes as such."""
    shown = ""
    for span in spans(words):
        text = span.text.strip()
        if not text:
            shown += span.text
            continue
        before = " " if span.text[:1] == " " else ""
        after = " " if span.text[-1:] == " " else ""
        told = _span(StyledText(text, span.look))
        told = f"[{told}](<{uri(span.href)}>)" if span.href else told
        shown += f"{before}{told}{after}"
    return shown.strip()


def _span(span: StyledText) -> str:
    if span.look == "code":
        return _code(span.text)
    return escape(span.text) if span.look in ("", "entry") else f"**{escape(span.text)}**"


def _code(text: str) -> str:
    """Return a code span; what would end it or the table cell is written as plain text."""
    return escape(text) if not text or "`" in text or "|" in text else f"`{clean(text)}`"


def _table(block: Table) -> list[str]:
    caption = [f"*{escape(block.caption)}*", ""] if block.caption else []
    kinds = block.kinds or ("text",) * len(block.rows[0] if block.rows else block.head)
    head = [escape(cell) for cell in block.head] or [""] * len(kinds)
    rows = [
        [
            _code(cell) if kind == "code" else escape(cell)
            for kind, cell in zip(kinds, row, strict=True)
        ]
        for row in block.rows
    ]
    for row, link in zip(rows, block.links, strict=False):
        row[0] = f"[{row[0]}](<{uri(link)}>)" if link else row[0]
    if block.notes:
        head.append(escape(block.note_head))
        rows = [[*row, escape(note)] for row, note in zip(rows, block.notes, strict=True)]
    return caption + _lines([head, *rows])


def _grids(block: Grids) -> list[str]:
    """Return each grid as a table of places: in a narrow column a picture of text is none."""
    lines: list[str] = []
    for one in block.grids:
        rows = [("place", "bits", "what", "difference")]
        for cell in one.cells:
            what = f"{cell.label}, {cell.part}" if cell.part else cell.label
            told = " ".join(filter(None, (cell.mark, cell.elsewhere)))
            rows.append((str(cell.first), str(cell.width), what, told))
        lines += [*([""] if lines else []), f"*{escape(one.title)}*", "", *table(rows)]
    return lines
