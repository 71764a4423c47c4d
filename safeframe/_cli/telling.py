"""One line on standard error: what is told beside the result, and every complaint."""

from __future__ import annotations

import sys


def say(text: str) -> None:
    """Print one line; a name of a file may hold line ends and terminal escapes, shown as such."""
    from .._document.characters import escaped  # deferred: most runs have nothing to tell.

    sys.stderr.write(f"safeframe: {escaped(text)}\n")
