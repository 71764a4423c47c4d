"""The public names: frozen here, found lazily, round trips through them."""

from __future__ import annotations

import ast
import doctest
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given

import safeframe
from tests.generators import api_page
from tests.strategies import ends
from tests.test_docs import blocks_of

ROOT = Path(__file__).resolve().parent.parent.parent

EXAMPLES = """
Algorithm Change Connection ConnectionTable End Finding FrameError InputError Map Place Profile
Report Reserved Rule SafeframeError Signal UsageError check check_all classify
compare_edits compare_ends compare_versions decode dumps encode end_fingerprint load loads
mixed_versions wire_fingerprint
"""


def test_names_are_frozen() -> None:
    """The public names are those of the pinned list, module by module."""
    pinned: dict[str, list[str]] = {}
    for line in (ROOT / "tests" / "data" / "public_names.txt").read_text("utf-8").splitlines():
        module, *names = line.split()
        pinned[module] = names
    assert {module: sorted(api_page.names_of(module)) for module in api_page.modules()} == pinned
    assert dir(safeframe) == sorted(safeframe.__all__)


def test_public_values_hold_public_values() -> None:
    """No annotation of a public name may send a reader to a class that is not public."""
    public = api_page.public_classes()
    assert [(name, cls) for name, cls in api_page.referenced() if cls not in public] == []


def test_the_page_lists_every_attribute() -> None:
    """After a change: ``python -m tests.generators.api_page``."""
    assert api_page.PAGE.read_text(encoding="utf-8") == api_page.page()


def test_modules_are_reachable_and_lazy() -> None:
    code = (
        "import sys, safeframe\n"
        "assert [m for m in sys.modules if m.startswith('safeframe')] == ['safeframe']\n"
        "print(safeframe.crc.compute.__name__, safeframe.frame.build.__name__)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "compute build\n"


def test_the_script_of_the_page_is_typed(tmp_path: Path) -> None:
    """The scripts that docs/embedding.md teaches pass ``mypy --strict``."""
    blocks = [
        block.text
        for block in blocks_of(api_page.PAGE.read_text(encoding="utf-8"))
        if block.language.split()[0] == "python"
    ]
    assert blocks
    paths = []
    for number, text in enumerate(blocks):
        paths.append(tmp_path / f"taught_{number}.py")
        paths[-1].write_text(text, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--config-file", "", "--cache-dir", os.devnull,
         *map(str, paths)],
        capture_output=True, text=True, check=False, env={**os.environ, "MYPYPATH": str(ROOT)},
        cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("name", EXAMPLES.split())
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


def test_no_two_classes_share_a_name() -> None:
    """A name of a class MUST stand once in the whole package."""
    found = Counter(
        node.name
        for path in sorted((ROOT / "safeframe").rglob("*.py"))
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef)
    )
    assert [name for name, count in found.items() if count > 1] == []
