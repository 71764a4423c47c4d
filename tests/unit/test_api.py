"""The public names: frozen here, found lazily, round trips through them."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given

import safeframe
from tests.strategies import ends
from tests.test_docs import blocks_of

ROOT = Path(__file__).resolve().parent.parent.parent

NAMES = """
Algorithm Change Connection ConnectionTable End Finding FrameError InputError Map Place Profile
Report Reserved Rule SafeframeError Signal UsageError __version__ check check_all classify
compare_edits compare_ends compare_versions decode dumps encode end_fingerprint load loads
mixed_versions wire_fingerprint
"""


def test_names_are_frozen() -> None:
    assert sorted(safeframe.__all__) == NAMES.split()
    assert dir(safeframe) == sorted(safeframe.__all__)


@pytest.mark.parametrize("name", [name for name in NAMES.split() if name != "__version__"])
def test_every_name_is_there_with_an_example(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Examples run in a folder with the two maps of the README."""
    monkeypatch.chdir(tmp_path)
    for block in blocks_of((ROOT / "README.md").read_text(encoding="utf-8")):
        if block.language == "toml map":
            (tmp_path / block.file).write_text(block.text, encoding="utf-8")
    finder = doctest.DocTestFinder(recurse=False)
    (example,) = finder.find(getattr(safeframe, name), name, globs={"safeframe": safeframe})
    result = doctest.DocTestRunner().run(example)
    assert result.attempted > 0
    assert result.failed == 0


def test_unknown_name() -> None:
    with pytest.raises(AttributeError, match="module 'safeframe' has no attribute 'nothing'"):
        _ = safeframe.nothing


def test_import_is_cheap() -> None:
    code = "import sys, safeframe; print(sorted(m for m in sys.modules if 'safeframe' in m))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "['safeframe']\n"


class TestRoundTrip:
    """Reading what was written MUST give the same end, for every legal end."""

    @given(ends())
    def test_toml(self, end: safeframe.End) -> None:
        assert safeframe.loads(safeframe.dumps(end)) == end

    @given(ends())
    def test_csv(self, end: safeframe.End) -> None:
        assert safeframe.loads(safeframe.dumps(end, format="csv"), format="csv") == end
