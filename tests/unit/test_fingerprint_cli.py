"""``safeframe fingerprint``, and the fingerprint in a clean ``safeframe check``."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._cli import main
from tests.unit.schemas import validate
from tests.unit.test_fingerprint import WIRE


@pytest.fixture
def pair(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    names = ["sc1-lx.toml", "lx-sc1.toml"]
    for name in names:
        (tmp_path / name).write_text(demo.after()[name], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return names


def test_text(pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fingerprint", *pair]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "sc1-lx.toml: SC1 of SC1-LX"
    assert lines[1] == lines[6] == f"  wire  {WIRE}"
    octets = Path("sc1-lx.toml").read_bytes()
    assert lines[-1] == "The files share their wire fingerprint"
    assert lines[3] == f"  file  {hashlib.sha256(octets).hexdigest()}"


def test_json(pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fingerprint", "--format", "json", *pair]) == 0
    document = json.loads(capsys.readouterr().out)
    validate("fingerprints", document)
    assert document["format"] == "safeframe-fingerprints/1"
    assert [(f["path"], f["end"], f["connection"], f["wire"]) for f in document["files"]] == [
        ("sc1-lx.toml", "SC1", "SC1-LX", WIRE),
        ("lx-sc1.toml", "LX", "SC1-LX", WIRE),
    ]
    assert document["files"][0]["own"] != document["files"][1]["own"]


@pytest.mark.parametrize("which", ["wire", "end"])
def test_canonical_text(which: str, pair: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fingerprint", "--canonical", which, pair[0]]) == 0
    text = capsys.readouterr().out
    document = json.loads(text)
    assert (document["format"], document["covers"]) == ("safeframe-canonical/2", which)
    if which == "wire":
        assert hashlib.sha256(text.encode()).hexdigest() == WIRE


def test_canonical_text_in_another_format(
    pair: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["fingerprint", "--canonical", "wire", "--format", "json", pair[0]]) == 2
    told = "safeframe: --canonical must go without --format json\n"
    assert capsys.readouterr() == ("", told)


def test_different_wire_fingerprints_exit_1(pair: list[str]) -> None:
    Path("lx-sc1.toml").write_text(
        demo.after()["lx-sc1.toml"].replace("= 12 }", "= 13 }"), encoding="utf-8"
    )
    assert main(["fingerprint", *pair]) == 1


def test_check_shows_it_when_nothing_is_wrong(
    pair: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--details", *pair]) == 0
    assert f"  SC1-LX wire fingerprint  {WIRE[:16]}\n" in capsys.readouterr().out
    Path("lx-sc1.toml").write_text(demo.before()["lx-sc1.toml"], encoding="utf-8")
    assert main(["check", "--details", *pair]) == 1
    assert "fingerprint" not in capsys.readouterr().out


def test_check_computes_none_that_is_not_shown(
    pair: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    for more, shown in (([], False), (["--format", "json"], True)):
        assert main(["check", *more, *pair]) == 0
        assert ("wire fingerprint" in capsys.readouterr().out) is shown
