"""The record of a change as Markdown: the text alternative of the printed page."""

from __future__ import annotations

import re

from .record_page import Block, RecordPage, Table
from .text import clean

__all__ = ["markdown"]

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~&!])")


def markdown(given: RecordPage) -> str:
    """Return a record as Markdown, ending in a line feed."""
    lines = [f"# {_text(given.title)}", "", f"**{_text(given.status)}**", ""]
    lines += [f"- {_text(point)}" for point in given.points]
    for number, part in enumerate(given.parts, start=1):
        lines += ["", f"## {number}. {_text(part.title)}"]
        for block in part.blocks:
            lines += ["", *_block(block)]
    return "\n".join([*lines, "", "---", "", *map(_text, given.footer)]) + "\n"


def _block(block: Block) -> list[str]:
    if isinstance(block, Table):
        return _table(block)
    text = f"**{_text(block.text)}**" if block.strong else _text(block.text)
    return [f"{text} {_code(block.code)}" if block.code else text]


def _table(block: Table) -> list[str]:
    head = f"| {' | '.join(map(_text, block.head))} |"
    lines = [f"*{_text(block.caption)}*", "", head, f"|{'---|' * len(block.head)}"]
    for row in block.rows:
        cells = [
            _code(cell) if kind == "code" and cell else _text(cell)
            for kind, cell in zip(block.kinds, row, strict=True)
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def _text(text: str) -> str:
    return _SPECIAL.sub(r"\\\1", clean(text))


def _code(text: str) -> str:
    """Return a code span; what would end it or the table cell is written as plain text."""
    return _text(text) if "`" in text or "|" in text else f"`{clean(text)}`"
