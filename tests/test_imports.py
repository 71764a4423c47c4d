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


TABLE = {
    "_errors": row(0, "_value"),
    "_octets": row(0, "_errors"),
    "_routes": row(0, "_errors _source _value"),
    "_source": row(0, "_errors _value"),
    "_typed": row(0, "_errors"),
    "_value": row(0),
    "_words": row(0),
    "_workers": row(0),
    "_bits": row(1, "_errors _value", "bitstring"),
    "_document": row(1, "_errors _source _value _words"),
    "crc": row(1, "_errors _value", "crcmod numpy"),
    "_engine": row(2, "_errors _words crc", "construct"),
    "_findings": row(2, "_errors _source _value _words _bits"),
    "_model": row(2, "_errors _routes _source _typed _value _words _bits"),
    "residual": row(2, "_errors _workers _document", "numpy"),
    "_baseline": row(3, "_errors _document _findings"),
    "_codec": row(3, "_errors _value _bits _model"),
    "_demo": row(3),
    "_mapfile": row(3, "_errors _source _value _bits _document _model"),
    "_pairing": row(3, "_errors _value _bits _model"),
    "protocols": row(3, "_errors _value _words _document crc _engine _model residual", "numpy"),
    "_canonical": row(4, "_value _model protocols"),
    "_checklist": row(4, "_bits _model _codec protocols _canonical _diff _timing"),
    "_checks": row(
        4,
        "_errors _value _words _bits _findings _model _codec _pairing protocols _canonical "
        "_fingerprint _following _timing relations",
    ),
    "_diff": row(
        4, "_errors _source _words _bits _model _codec _pairing protocols _canonical relations"
    ),
    "_fingerprint": row(4, "_source _bits _model protocols _canonical"),
    "_following": row(4, "_errors _routes _words _model _pairing protocols _canonical _timing"),
    "_grids": row(4, "_words _bits _model _pairing"),
    "_history": row(
        4,
        "_errors _source _words _document _findings _model _mapfile _pairing protocols "
        "_checks _diff _fingerprint",
    ),
    "_timing": row(4, "_model protocols"),
    "_tracing": row(4, "_findings _model protocols _checks _following _timing"),
    "cases": row(4, "_errors _document"),
    "frame": row(4, "_errors _bits _engine _model _codec protocols", "bitstring construct"),
    "relations": row(4, "_errors _words _model _codec"),
    "_coverage": row(
        5,
        "_errors _words _bits _document _model _codec protocols _fingerprint relations _link "
        "capture fixtures",
    ),
    "_link": row(5, "_errors _words _model protocols frame"),
    "capture": row(
        5,
        "_errors _octets _words _bits _document _engine _model _codec protocols frame "
        "relations _link",
    ),
    "edit": row(
        5,
        "_errors _source _words _bits _document _findings _model _mapfile _pairing "
        "protocols _checks _diff",
    ),
    "fixtures": row(
        5, "_errors _bits _engine _model _codec protocols cases frame relations _link", "dpkt"
    ),
    "importing": row(
        5, "_errors _source _bits _document _findings _model _mapfile protocols _checks", "openpyxl"
    ),
    "record": row(
        5,
        "_errors _typed _words _bits _document _findings _model _codec _mapfile protocols "
        "_canonical _checklist _checks _diff _fingerprint _timing frame _link capture",
    ),
    "_plant": row(
        6,
        "_errors _routes _source _words _workers _bits _document _findings _model _mapfile "
        "protocols _checks importing record",
    ),
    "_report": row(
        6,
        "_errors _routes _source _value _words _bits _document crc _findings _model residual "
        "_baseline _codec _canonical _checklist _checks _diff _following _grids _history "
        "_timing _tracing frame relations _coverage capture edit importing record _plant "
        "__init__",
    ),
    "_watch": row(
        6,
        "_errors _words _document _model _codec relations _link capture _report",
        "prompt_toolkit",
    ),
    "testing": row(6, "_errors _bits _document _model protocols _link fixtures", "hypothesis"),
    "_cli": row(
        7,
        "_errors _octets _source _value _words _bits _document crc _findings _model residual "
        "_baseline _codec _demo _mapfile _pairing protocols _checks _diff _fingerprint _grids "
        "_history _timing _tracing cases frame relations _coverage _link capture edit "
        "fixtures importing record _plant _report _watch __init__",
        "shtab",
    ),
    "pytest_plugin": row(7, "_model _mapfile _link fixtures", "pytest"),
    "__init__": row(
        7,
        "_errors _source _bits crc _findings _model residual _codec _mapfile protocols "
        "_checks _diff _fingerprint _history cases frame relations capture edit fixtures "
        "importing record testing",
    ),
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
        if isinstance(node, ast.Import):
            names = [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = parents[: len(parents) - node.level + 1] if node.level else []
            base = base + (node.module.split(".") if node.module else [])
            names = [[*base, alias.name] for alias in node.names]
        else:
            continue
        where = f"{path.relative_to(ROOT)}:{node.lineno}"
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


def test_the_table_lists_exactly_the_imports_in_use() -> None:
    """An edge that is not in the table, and one that nobody uses any more, both fail."""
    edges: dict[str, set[str]] = {unit: set() for unit in TABLE}
    libraries: dict[str, set[str]] = {unit: set() for unit in TABLE}
    where = {}
    for found in all_imports():
        (libraries if found.library else edges)[found.unit].add(found.target)
        where[found.unit, found.target] = found.where
    wrong = [
        f"{where.get((unit, target), 'nowhere')}: {unit} -> {target}"
        for unit, entry in TABLE.items()
        for target in sorted((edges[unit] ^ entry.may) | (libraries[unit] ^ entry.libraries))
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
        "slow = {'construct', 'bitstring', 'numpy', 'crcmod', 'json', 'csv', 'asyncio',"
        " 'dataclasses', 'inspect', 'hypothesis', 'dpkt', 'openpyxl', 'shtab', 'tomllib', 'typing',"
        " 'contextlib', 'heapq', 'struct'};"
        "sys.exit(f'{code} {sorted(slow & set(sys.modules))}')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *pair], capture_output=True, text=True, check=False
    )
    assert done.stderr == "0 []\n"
