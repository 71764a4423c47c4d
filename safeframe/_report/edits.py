"""An edit of both ends: patch, class, mixed versions, findings."""

from __future__ import annotations

from .._findings import Report
from ..edit import Edit
from . import changes, findings
from .document import Block, CodeBlock, Document, Paragraph, Section, StyledText, Words

_LOOKS = {"+": "good", "-": "error", "@": "note"}


def document(given: Edit, *, all_rows: bool = False) -> Document:
    """Return what an edit does to both files and what follows from it."""
    name = given.before.name
    if not given.changed:
        nothing = f"{name}: nothing to change, both ends are so already"
        return Document(f"Edit of {name}", verdict=nothing, footer=())
    blocks: list[Block] = [
        patch(given.patch),
        changes.classes(given.classes),
        *changes.mixes(given.mixes, all_rows=all_rows),
    ]
    verdict: Words
    if given.caused:
        report = findings.document(Report(findings=given.caused, connections=(name,)))
        blocks += [Section(f"{name}: what the edit causes"), *report.blocks]
        verdict = report.verdict
    else:
        left = len(given.report.findings)
        verbs = "was there before remains" if left == 1 else "were there before remain"
        rest = f"; {left} that {verbs}" if left else ""
        verdict = StyledText(f"{name}: the edit causes no finding{rest}", "good")
    left_open = tuple(map(Paragraph, findings.not_judged(given.report)))
    return Document(f"Edit of {name}", tuple(blocks), verdict, below=left_open)


def patch(given: str) -> CodeBlock:
    """Return a patch line by line, coloured."""
    lines = given.removesuffix("\n").split("\n")
    return CodeBlock(
        tuple(StyledText(line.removesuffix("\r"), _LOOKS.get(line[:1], "")) for line in lines)
    )
