"""File names with line ends and terminal escapes: each complaint stays one line that shows them."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._cli import main
from safeframe._document.characters import escaped

NASTY = ("a\nb", "a\rb", "a\r\nb", "a\u2028b", "a\x85b", "a\x0bb", "a\x1b[31mb")

SC1, LX = demo.after()["sc1-lx.toml"], demo.after()["lx-sc1.toml"]
BAD = 'format = "safeframe-map/1"\nx = 1\ny = 2\n'

pytestmark = pytest.mark.skipif(os.name == "nt", reason="such names cannot be given to a file")


def folder(name: str) -> list[str]:
    Path(name).mkdir()
    return ["check", name]


def unlisted(name: str) -> list[str]:
    Path(name).mkdir()
    rows = '{ ends = ["sc1.toml", "lx.toml"] }'
    plant = f'format = "safeframe-plant/1"\nname = "x"\nconnections = [{rows}]\n'
    files = {"sc1.toml": SC1, "lx.toml": LX, f"{name}.toml": SC1, "plant.toml": plant}
    for file, text in files.items():
        (Path(name) / file).write_text(text, encoding="utf-8")
    return ["check", name]


def alone(name: str) -> list[str]:
    Path(f"{name}.toml").write_text(SC1, encoding="utf-8")
    return ["check", f"{name}.toml"]


def unpaired(name: str) -> list[str]:
    Path("maps").mkdir()
    Path("maps", f"{name}.toml").write_text(SC1, encoding="utf-8")
    return ["check", "maps"]


def unreadable(name: str) -> list[str]:
    Path(f"{name}.toml").write_text(BAD, encoding="utf-8")
    return ["show", f"{name}.toml"]


def existing(name: str) -> list[str]:
    Path("sc1.toml").write_text(SC1, encoding="utf-8")
    Path(f"{name}.xlsx").write_text("mine", encoding="utf-8")
    return ["show", "sc1.toml", "--format", "xlsx", "-o", f"{name}.xlsx"]


def recording(name: str) -> list[str]:
    for file, text in (("sc1.toml", SC1), ("lx.toml", LX)):
        Path(file).write_text(text, encoding="utf-8")
    return ["capture", f"{name}.hex", "sc1.toml", "lx.toml"]


WORDS: list[Callable[[str], list[str]]] = [
    folder,
    unlisted,
    alone,
    unreadable,
    existing,
    lambda name: ["check", f"{name}.toml", "lx.toml"],
    lambda name: ["show", f"{name}.toml"],
    lambda name: ["diff", f"{name}.toml", "x.toml"],
    lambda name: ["trace", "x", f"{name}plant.toml"],
    lambda name: ["verify", f"{name}plant.toml"],
    recording,
    unpaired,
    lambda name: ["record", "show", f"{name}.json"],
    lambda name: ["import", f"{name}.xml"],
    lambda name: ["fingerprint", f"{name}.toml"],
    lambda name: ["crc", "--algorithm", name],
    lambda name: ["rules", name],
    lambda name: ["schema", name],
    lambda name: [name],
]


@pytest.mark.parametrize("name", NASTY, ids=ascii)
@pytest.mark.parametrize("words", WORDS, ids=range(len(WORDS)))
def test_each_complaint_is_one_line(
    words: Callable[[str], list[str]],
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    asked = words(name)
    capsys.readouterr()
    assert main(asked) == 2
    err = capsys.readouterr().err
    lines = err.split("\n")
    assert lines.pop() == ""
    assert all(line.startswith("safeframe: ") and line.isprintable() for line in lines)
    assert any(escaped(name) in line or repr(name)[1:-1] in line for line in lines)


@pytest.mark.parametrize("name", NASTY, ids=ascii)
def test_what_is_told_of_a_written_file_is_one_line(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    for file, text in (("sc1.toml", SC1), ("lx.toml", LX)):
        Path(file).write_text(text, encoding="utf-8")
    main(["check", "sc1.toml", "lx.toml", "--html", f"{name}.html"])
    err = capsys.readouterr().err
    assert err == f"safeframe: {escaped(name)}.html written (page of check)\n"


def test_one_place_says_it() -> None:
    """Whatever a command tells beside its result MUST go through the place that escapes it."""
    from safeframe import _cli

    here = Path(_cli.__file__).parent
    written = {
        path.name
        for path in here.glob("*.py")
        if 'stderr.write(f"safeframe: ' in path.read_text(encoding="utf-8")
    }
    assert written == {"telling.py"}
