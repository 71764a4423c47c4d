"""The one file of ``.ci/single_file.py``, run with nothing installed and nothing in the path."""

from __future__ import annotations

import os
import runpy
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from safeframe.protocols._registry import Room

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    script = ROOT / ".ci" / "single_file.py"
    if not script.exists():
        pytest.skip("the script is in a checkout only")
    target = tmp_path_factory.mktemp("one") / "safeframe.pyz"
    runpy.run_path(str(script))["build"](target)
    return target


def run(archive: Path, *args: str, code: int = 0) -> str:
    found = subprocess.run(
        [os.path.realpath(sys.executable), "-I", "-S", str(archive), *args],
        cwd=archive.parent,
        env={"PATH": "", "LC_ALL": "C.UTF-8"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert found.returncode == code, found.stderr
    return found.stdout


def test_selftest_finds_its_vectors_and_facts(archive: Path) -> None:
    text = run(archive, "selftest")
    assert "CRC engine: crcmod (pure Python)\n" in text
    assert "bitstring not installed, construct 2." in text
    assert text.endswith("all passed\n")
    here = len(list((ROOT / "vectors" / "published").glob("*.json")))
    assert text.count(" published\n") == here


def test_demo_check_and_schemas(archive: Path) -> None:
    run(archive, "demo")
    assert "both ends agree bit for bit" in run(archive, "check", "demo-lift/after")
    found = run(
        archive, "check", "demo-lift/before/sc1-lx.toml", "demo-lift/after/lx-sc1.toml", code=1
    )
    assert "error" in found
    assert '"title": "safeframe-map/1"' in run(archive, "schema", "map")


def test_nothing_in_it_is_compiled_or_a_test(archive: Path) -> None:
    names = zipfile.ZipFile(archive).namelist()
    assert not [name for name in names if name.endswith((".so", ".pyd", ".pyc"))]
    assert {name.split("/")[0] for name in names if "dist-info" not in name} == {
        "__main__.py",
        "construct",
        "crcmod",
        "safeframe",
    }


def test_a_protocol_of_its_own_may_stand_in_an_archive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with zipfile.ZipFile(tmp_path / "boxed.zip", "w") as box:
        box.writestr("boxed_room/__init__.py", "")
        text = (ROOT / "tests" / "unit" / "sixth" / "facts.toml").read_text(encoding="utf-8")
        box.writestr("boxed_room/facts.toml", text)
    monkeypatch.syspath_prepend(str(tmp_path / "boxed.zip"))
    assert Room("lift-6", "boxed_room").facts.name == "lift-6"
