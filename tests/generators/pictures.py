"""The pictures of the documentation: ``python -m tests.generators.pictures``."""

from __future__ import annotations

from pathlib import Path

from safeframe import _mapfile as mapfile
from safeframe._grids import compare
from safeframe._model import Connection
from safeframe._report import svg
from tests.test_docs import ROOT, blocks_of

FOLDER = ROOT / "docs" / "pictures"


def pictures() -> dict[str, str]:
    """Return file name -> text: the two maps of the README, the direction that disagrees."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    maps = [block.text for block in blocks_of(text) if block.language == "toml map"]
    first, second = (mapfile.loads(text) for text in maps)
    direction = next(Connection(first=first, second=second).directions())
    title = "Both ends side by side: the two brake releases have exchanged their places"
    return {"swapped.svg": svg.document([compare(direction)], title)}


def main() -> None:
    """Write the pictures."""
    FOLDER.mkdir(exist_ok=True)
    for name, text in pictures().items():
        Path(FOLDER / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
