"""The device files of the tests, the command line that imports each, and how to run it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import safeframe
from safeframe._cli import main

EXPECTED = Path(__file__).parents[1] / "data" / "importing"
DATA = Path(safeframe.__file__).parent / "_demo" / "device-files"


@dataclass(frozen=True)
class Case:
    """One format: its file and the options of section "worked examples" of docs/import.md."""

    format: str
    file: str
    options: tuple[str, ...]

    @property
    def text(self) -> str:
        return (DATA / self.file).read_text(encoding="utf-8")


def case(format: str, file: str, options: str) -> Case:  # noqa: A002
    return Case(format, file, tuple(options.split()))


_LX = "--connection SC1-LX --end LX --peer SC1"
_SC1 = "--connection SC1-LX --profile plain --end SC1 --peer LX --safe zero --direction sends"
CASES = {
    one.format: one
    for one in (
        case(
            "esi",
            "esi.xml",
            "--select device:0x1:1/rx:0x1601 --select device:0x1:1/tx:0x1a01 --as device "
            f"{_LX} --role slave",
        ),
        case("eds", "srdo.eds", f"--select srdo:1 --as device {_LX} --profile plain --safe zero"),
        case(
            "xdd",
            "container.xdd",
            f"--select group:TX --select group:RX --as device --order little {_LX} --safe zero",
        ),
        case(
            "gsdml",
            "gsdml.xml",
            f"--select module:M1/submodule:S1 --as device {_LX} --role device --safe zero",
        ),
        case("iodd", "iodd.xml", f"--as device {_LX} --profile plain --safe zero"),
        case("st", "lift.st", f"--select ST_ToDrive --layout octet-bool --order little {_SC1}"),
        case("tc6", "tc6.xml", f"--select ST_ToDrive --layout bits --order little {_SC1}"),
        case(
            "nodeset", "nodeset.xml", f"--select LiftData --direction sends {_LX} --role provider"
        ),
        case(
            "cip-eds",
            "cip.eds",
            f"--select Assem100 --direction sends {_LX} --profile fscp-2-1 --safe zero",
        ),
    )
}


@dataclass(frozen=True)
class Run:
    """What one run of the command gave."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found

    @property
    def problems(self) -> list[tuple[str, int]]:
        return [(one["rule"], one["line"]) for one in self.document["problems"]]


Importer = Callable[..., Run]


def importer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Importer:
    """Return a function that writes content to a file and imports it."""

    def run(given: Case, content: str | bytes | None = None, *options: str) -> Run:
        path = tmp_path / given.file
        octets = given.text if content is None else content
        path.write_bytes(octets if isinstance(octets, bytes) else octets.encode("utf-8"))
        capsys.readouterr()
        code = main(["import", given.format, str(path), *(options or given.options)])
        shown = capsys.readouterr()
        return Run(code, shown.out, shown.err)

    return run


LX = ["--connection", "SC1-LX", "--end", "LX", "--peer", "SC1", "--profile", "fscp-12-1"]


class Sheet:
    """Runs the command on content in a folder of its own."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.capsys = folder, capsys

    def run(
        self, content: str | bytes, columns: str, *more: str, name: str = "t.csv"
    ) -> tuple[int, str, str]:
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        self.capsys.readouterr()
        options = ["--columns", columns] if columns else []
        code = main(["import", "table", str(path), *options, *LX, *more])
        shown = self.capsys.readouterr()
        return code, shown.out, shown.err

    def end(
        self, content: str | bytes, columns: str, *more: str, name: str = "t.csv"
    ) -> safeframe.End:
        code, out, err = self.run(content, columns, *more, name=name)
        assert code == 0, err
        return safeframe.loads(out)
