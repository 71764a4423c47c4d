"""Nothing in a terminal of 80 columns is wider, and names that hold an arrow are shown rightly."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._cli import COMMANDS as COMMAND_NAMES
from safeframe._cli import main

PAIR = ["after/sc1-lx.toml", "before/lx-sc1.toml"]
SAME = ["after/sc1-lx.toml", "after/lx-sc1.toml"]
FOUR = ["before/sc1-lx.toml", "before/lx-sc1.toml", *SAME]
COMMANDS = [
    ["check", *PAIR],
    ["check", "--details", *SAME],
    ["check", "after"],
    ["diff", "before/sc1-lx.toml", "after/sc1-lx.toml"],
    ["diff", *PAIR],
    ["diff", "--all", *FOUR],
    ["show", "after/sc1-lx.toml"],
    ["show", "wide.toml"],
    ["timing", *SAME],
    ["relations", "after/sc1-lx.toml"],
    ["fingerprint", *SAME],
    ["rules"],
    ["rules", "octet-order"],
    ["crc", "--list"],
    ["crc", "--algorithm", "fscp-12-1/crc16", "--explain", "01 02"],
    ["frame", "values", "fscp-3-1"],
    ["frame", "explain", "--map", "after/sc1-lx.toml", "36 03 00 d6 a4 07 01"],
    ["residual", "--profile", "fscp-12-1", "--octets", "1", "--no-cache"],
    ["residual", "--crc", "fscp-13-1/crc16-slim", "--data-bits", "99", "--hd-table", "--no-cache"],
    ["record", "new", *FOUR, "-o", "record.json"],
    ["record", "verify", "made.json", *SAME],
    ["fixtures", "--set", "mistakes", "-o", "mistakes", *SAME],
    ["fixtures", "--set", "states", "--format", "jsonl", "-o", "states.jsonl", *SAME],
    ["verify", "plant.toml"],
    ["verify", "--details", "plant.toml"],
    ["capture", "--fresh", "--timeline", "run.jsonl", *SAME],
]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo site with a map of wide texts, a record and a recording."""
    folder = tmp_path_factory.mktemp("site")
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (folder / state).mkdir()
        for name, text in files.items():
            (folder / state / name).write_text(text, encoding="utf-8")
    text = demo.after()["sc1-lx.toml"].replace("torque permitted", "torque is permitted " * 9)
    (folder / "wide.toml").write_text(text, encoding="utf-8")
    row = '{ ends = ["after/sc1-lx.toml", "after/lx-sc1.toml"], record = "made.json" }'
    (folder / "plant.toml").write_text(
        f'format = "safeframe-plant/1"\nname = "hall 3"\nconnections = [{row}]\n',
        encoding="utf-8",
    )
    old = Path.cwd()
    os.chdir(folder)
    try:
        assert main(["record", "new", *FOUR, "-o", "made.json"]) == 0
        output = ["--format", "jsonl", "-o", "run.jsonl", "--count", "40"]
        assert main(["fixtures", "--set", "states", *output, *SAME]) == 0
    finally:
        os.chdir(old)
    return folder


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_no_line_is_wider_than_the_window(
    command: list[str],
    site: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(site)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((80, 24)))
    monkeypatch.setenv("NO_COLOR", "1")
    assert main(command) in (0, 1)
    lines = capsys.readouterr().out.splitlines()
    assert lines
    assert [line for line in lines if len(line) > 80] == []


@pytest.mark.parametrize("name", COMMAND_NAMES)
def test_no_line_of_a_help_is_wider(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", name]) == 0
    assert [line for line in capsys.readouterr().out.splitlines() if len(line) > 80] == []


FORMATS = ["text", "json", "markdown", "html", "sarif", "junit"]


@pytest.mark.parametrize("form", [*FORMATS, "workflow-commands", "code-quality-json"])
def test_a_name_with_an_arrow_is_told_apart_from_the_direction(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    texts = {"sc1.toml": demo.after()["sc1-lx.toml"], "lx.toml": demo.before()["lx-sc1.toml"]}
    for name, text in texts.items():
        changed = text.replace('"SC1"', '"A -> B"').replace('"LX"', '"C"')
        (tmp_path / name).write_text(changed, encoding="utf-8")
    assert main(["check", "--format", form, "--svg", "grids.svg", "sc1.toml", "lx.toml"]) == 1
    out = capsys.readouterr().out
    drawn = (tmp_path / "grids.svg").read_text(encoding="utf-8")
    assert "A -&gt; B sends" in drawn
    assert "C receives" in drawn
    if form == "text":
        assert '[C -> "A -> B"]' in out
        assert '["A -> B" -> C]' in out
        assert "A -> B sends                  C reads\n" in out
    elif form == "json":
        found = json.loads(out)["findings"]
        assert {(one["producer"], one["consumer"]) for one in found} == {
            ("A -> B", "C"),
            ("C", "A -> B"),
        }
    elif form == "sarif":
        found = [one["properties"] for one in json.loads(out)["runs"][0]["results"]]
        assert {(one["producer"], one["consumer"]) for one in found} == {
            ("A -> B", "C"),
            ("C", "A -> B"),
        }
    elif form == "markdown":
        assert '["A -\\> B" -\\> C\\]' in out.replace("\\[", "[")
        assert "| signal | A -\\> B sends | C reads |" in out
    elif form == "html":
        assert "&quot;A -&gt; B&quot; -&gt; C" in out
        assert "A -&gt; B sends</th>" in out
    elif form == "junit":
        assert "A -&gt; B  1.2  brake2_release" in out
    else:  # These formats name places, not directions.
        assert "exists at A -> B only" in out.replace("\\u003e", ">")
