"""An edit of both ends for a human at a terminal: patch, class, mixed versions, findings."""

from __future__ import annotations

from .._findings import Report
from ..edit import Edit
from . import changes, text
from .text import PLAIN, Look, clean

__all__ = ["edit", "patch"]

_PAINT = {"+": "good", "-": "error", "@": "note"}


def edit(given: Edit, *, look: Look = PLAIN, all_rows: bool = False) -> str:
    """Return what an edit does to both files and what follows from it."""
    name = clean(given.before.name)
    if not given.changed:
        return f"{name}: nothing to change, both ends are so already\n"
    parts = [
        patch(given.patch, look=look),
        changes.classes(given.classes, look=look),
        changes.mixes(given.mixes, look=look, all_rows=all_rows),
    ]
    if given.caused:
        parts += [
            look.paint("strong", f"{name}: what the edit causes") + "\n",
            text.report(Report(findings=given.caused, connections=(given.before.name,)), look=look),
        ]
    else:
        count = len(given.report.findings)
        verbs = "was there before remains" if count == 1 else "were there before remain"
        rest = f"; {count} that {verbs}" if count else ""
        good = look.paint("good", f"{name}: the edit causes no finding{rest}")
        parts.append(f"{good}\n{text.CAUTION}\n")
    return "\n".join(parts)


def patch(given: str, *, look: Look = PLAIN) -> str:
    """Return a patch line by line, cleaned and coloured."""
    lines = []
    for line in given.removesuffix("\n").split("\n"):
        kind = _PAINT.get(line[:1])
        shown = clean(line.removesuffix("\r"))
        lines.append(look.paint(kind, shown) if kind else shown)
    return "\n".join(lines) + "\n"
