"""The import table: every module may import only what its row names."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "safeframe"


@dataclass(frozen=True)
class Row:
    """One unit (a module or a package): its layer, the units it may import, its libraries."""

    layer: int
    may: frozenset[str]
    libraries: frozenset[str] = field(default_factory=frozenset)


def row(layer: int, may: str = "", libraries: str = "") -> Row:
    return Row(layer, frozenset(may.split()), frozenset(libraries.split()))


BASE = "_errors _source _words _bits crc _model _findings"
MIDDLE = f"{BASE} residual protocols _pairing _codec"
UPPER = (
    f"{MIDDLE} _mapfile _demo frame relations _checks _diff cases _fingerprint "
    "_checklist _timing record _plant edit _document _link fixtures capture _baseline _grids "
    "importing"
)
TABLE = {
    "_errors": row(0),
    "_octets": row(0, "_errors"),
    "_source": row(0, "_errors"),
    "_words": row(0),
    "_document": row(1, "_errors _source"),
    "_bits": row(1, "_errors _source", "bitstring"),
    "crc": row(1, "_errors _source", "crcmod numpy"),
    "_model": row(2, "_errors _source _bits _words"),
    "_findings": row(2, "_errors _source _bits _words"),
    "residual": row(2, "_errors _document crc", "numpy"),
    "_engine": row(2, "_errors crc", "construct"),
    "_mapfile": row(3, f"{BASE} _document"),
    "protocols": row(3, "_errors _words _document _model crc residual _engine", "numpy"),
    "_canonical": row(4, "_model protocols"),
    "_baseline": row(3, "_errors _document _findings"),
    "_pairing": row(3, "_errors _bits _model"),
    "_codec": row(3, "_errors _bits _model"),
    "_demo": row(3),
    "frame": row(4, "_errors _bits _model _codec _engine protocols", "bitstring construct"),
    "relations": row(4, "_errors _model _codec"),
    "_grids": row(4, "_bits _model _pairing _words"),
    "_checks": row(4, f"{MIDDLE} relations _timing _canonical _fingerprint"),
    "_diff": row(4, f"{MIDDLE} _canonical"),
    "edit": row(5, f"{MIDDLE} _mapfile _pairing _diff _checks _document"),
    "cases": row(4, "_errors _document"),
    "_fingerprint": row(4, "_source _bits _model _canonical protocols"),
    "_checklist": row(4, "_bits _model _canonical _codec _diff protocols"),
    "_timing": row(4, "_model protocols"),
    "_link": row(5, "_errors _model protocols frame"),
    "fixtures": row(
        5, "_errors _bits _model _codec _engine relations cases _link protocols frame", "dpkt"
    ),
    "capture": row(5, "_errors _bits _model _codec _octets relations _link protocols frame"),
    "importing": row(
        5, "_errors _source _bits _model _findings _mapfile protocols _checks _document", "openpyxl"
    ),
    "record": row(
        5, f"{MIDDLE} _document _mapfile _checks _diff _canonical _fingerprint _checklist _timing"
    ),
    "_plant": row(6, "_errors _source _document _model _mapfile importing record"),
    "_report": row(6, f"{UPPER} __init__"),
    "_cli": row(7, f"{UPPER} _octets _report __init__", "shtab"),
    "testing": row(6, "_errors _bits _document _model protocols _link fixtures", "hypothesis"),
    "pytest_plugin": row(7, "_model _mapfile _link fixtures", "pytest"),
    # The strategies of testing are a public name that is looked up when it is used.
    "__init__": row(7, f"{UPPER} testing"),
    "__main__": row(7, "_cli"),
}


@dataclass(frozen=True)
class Import:
    """One import statement: who imports, which unit or library, where."""

    unit: str
    target: str
    library: bool
    where: str


def unit_of(path: Path) -> str:
    """Return the unit a source file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports_of(path: Path, text: str) -> Iterator[Import]:
    """Yield every import of a source file that leaves its unit and the standard library."""
    unit = unit_of(path)
    parents = ["safeframe", *path.relative_to(PACKAGE).parts[:-1]]
    for node in ast.walk(ast.parse(text)):
        where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
        names: list[list[str]] = []
        if isinstance(node, ast.Import):
            names = [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = parents[: len(parents) - node.level + 1] if node.level else []
            base = base + (node.module.split(".") if node.module else [])
            names = [[*base, alias.name] for alias in node.names]
        for name in names:
            if name[0] != "safeframe":
                if name[0] not in sys.stdlib_module_names:
                    yield Import(unit, name[0], True, where)
                continue
            target = name[1] if len(name) > 1 else "__init__"
            if not (PACKAGE / target).exists() and not (PACKAGE / f"{target}.py").exists():
                target = "__init__"  # a name such as __version__
            if target != unit:
                yield Import(unit, target, False, where)


def all_imports() -> list[Import]:
    return [
        found
        for path in sorted(PACKAGE.rglob("*.py"))
        for found in imports_of(path, path.read_text(encoding="utf-8"))
    ]


def test_every_module_has_a_row() -> None:
    units = {unit_of(path) for path in PACKAGE.rglob("*.py")}
    assert units == set(TABLE)


def test_imports_follow_the_table() -> None:
    wrong = [
        f"{found.where}: {found.unit} must not import {found.target}"
        for found in all_imports()
        if found.target
        not in (TABLE[found.unit].libraries if found.library else TABLE[found.unit].may)
    ]
    assert wrong == []


@pytest.mark.parametrize("unit", TABLE)
def test_the_table_itself_only_goes_downwards(unit: str) -> None:
    for target in TABLE[unit].may - {"__init__"}:
        assert TABLE[target].layer <= TABLE[unit].layer
        assert unit not in TABLE[target].may, f"{unit} and {target} import each other"


@pytest.mark.parametrize(
    ("unit", "target"),
    [
        ("_model", "protocols"),
        ("_findings", "_model"),
        ("crc", "protocols"),
        ("frame", "_mapfile"),
    ],
)
def test_forbidden_edges_are_not_in_the_table(unit: str, target: str) -> None:
    assert target not in TABLE[unit].may


def test_only_the_command_itself_imports_cli() -> None:
    assert [unit for unit, entry in TABLE.items() if "_cli" in entry.may] == ["__main__"]


@pytest.mark.parametrize(
    ("name", "text", "target", "library"),
    [
        ("_model.py", "from .protocols import load", "protocols", False),
        ("_model.py", "from . import protocols", "protocols", False),
        ("_model.py", "import safeframe.protocols", "protocols", False),
        ("_checks/shape.py", "from .._mapfile.files import read_text", "_mapfile", False),
        ("_checks/shape.py", "def f():\n    from .. import _mapfile", "_mapfile", False),
        ("_cli/__init__.py", "from .. import __version__", "__init__", False),
        ("crc/__init__.py", "import numpy as np", "numpy", True),
        ("_checks/shape.py", "from construct.core import Struct", "construct", True),
    ],
)
def test_the_reader_sees_each_way_to_import(
    name: str, text: str, target: str, library: bool
) -> None:
    (found,) = imports_of(PACKAGE / name, text)
    assert (found.target, found.library) == (target, library)


def test_the_reader_skips_the_standard_library_and_the_own_unit() -> None:
    text = "import os.path\nfrom .registry import rule\nfrom json import dumps"
    assert list(imports_of(PACKAGE / "_checks" / "shape.py", text)) == []


def test_developers_guide_shows_this_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = {
        cells[1].strip("` "): (int(cells[0]), cells[3].strip("` "))
        for line in text.splitlines()
        if line.startswith("| ") and (cells := line.strip("| ").split(" | "))[0].isdigit()
    }
    expected = {
        unit: (entry.layer, " ".join(sorted(entry.libraries)) or "—")
        for unit, entry in TABLE.items()
        if not unit.startswith("__")
    }
    assert shown == expected
    layers = [layer for layer, _ in shown.values()]
    assert layers == sorted(layers)


def test_check_starts_without_the_slow_libraries() -> None:
    pair = [str(PACKAGE / "_demo" / "after" / name) for name in ("sc1-lx.toml", "lx-sc1.toml")]
    script = (
        "import sys; from safeframe._cli import main; code = main(['check', *sys.argv[1:]]);"
        "slow = {'construct', 'bitstring', 'numpy', 'crcmod', 'csv', 'asyncio'};"
        "sys.exit(f'{code} {sorted(slow & set(sys.modules))}')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *pair], capture_output=True, text=True, check=False
    )
    assert done.stderr == "0 []\n"
