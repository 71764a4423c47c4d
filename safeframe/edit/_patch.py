"""The difference of two texts as a unified patch."""

from __future__ import annotations

import re
from collections.abc import Iterator
from difflib import unified_diff


def unified_patch(path: str, old: str, new: str) -> str:
    """Return a unified patch of one file, empty where nothing changes; line ends are kept."""
    lines = unified_diff(_lines(old), _lines(new), path, path, lineterm="\n")
    return "".join(_ended(lines))


def _lines(text: str) -> list[str]:
    # Not str.splitlines: that one also splits where a patch program does not.
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def _ended(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        yield line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n"
