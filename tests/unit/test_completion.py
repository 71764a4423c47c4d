"""Completion, help and pages come from the parsers; the scripts are run by the shells."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from safeframe._cli import COMMANDS, completion, main
from tests.generators import command_pages

ASK = """
source /dev/stdin <<'SCRIPT'
{script}
SCRIPT
compopt() {{ :; }}
COMP_WORDS=({words}) COMP_CWORD={last}
_shtab_safeframe
echo "${{COMPREPLY[*]}}"
"""


def ask(*words: str) -> list[str]:
    """Return what bash offers for the last word."""
    quoted = " ".join(f"'{word}'" for word in ("safeframe", *words))
    text = ASK.format(script=completion.script("bash"), words=quoted, last=len(words))
    done = subprocess.run(
        ["bash", "--norc", "-c", text], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return done.stdout.split()


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["ch"], ["check"]),
        (["help", "sh"], ["show"]),
        (["check", "--fo"], ["--force", "--format"]),
        (["check", "--format", "j"], ["json", "junit"]),
        (["edit", "in"], ["insert"]),
        (["edit", "insert", "a.toml", "--aft"], ["--after"]),
        (["completion", "p"], ["powershell"]),
        (["check", "--no-such"], []),
    ],
)
def test_bash_offers(words: list[str], offered: list[str]) -> None:
    assert ask(*words) == offered


def test_bash_offers_every_command() -> None:
    assert ask("") == [*COMMANDS, "help"]


@pytest.mark.parametrize("words", [["check", "--baseline", ""], ["check", "--details", ""]])
def test_bash_offers_files(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "known.json").touch()
    monkeypatch.chdir(tmp_path)
    assert ask(*words) == ["known.json"]


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_shells_can_read_the_script(shell: str, tmp_path: Path) -> None:
    found = shutil.which(shell)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{shell} must be installed in CI")
        pytest.skip(f"{shell} is not installed")
    path = tmp_path / "script"
    path.write_text(completion.script(shell), encoding="utf-8")
    done = subprocess.run([found, "-n", str(path)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("shell", completion.SHELLS)
def test_every_shell_is_told_every_command(shell: str) -> None:
    text = completion.script(shell)
    for name in COMMANDS:
        assert name in text
    assert "write-baseline" in text


def test_without_the_library(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "shtab", None)
    assert main(["completion", "bash"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: completion needs the library shtab: pip install 'safeframe[completion]'\n"
    )


@pytest.mark.parametrize("shell", completion.SHELLS)
def test_the_command_prints_a_script(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    assert capsys.readouterr().out == completion.script(shell)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", name]) == 0
    told = capsys.readouterr().out
    assert main([name, "--help"]) == 0
    assert capsys.readouterr().out == told
    assert "safeframe" in told.partition("example")[2], "an example must be shown"


def test_help_of_an_action(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", "edit", "insert"]) == 0
    assert capsys.readouterr().out.startswith("usage: safeframe edit insert")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["check"],
            "check: the following arguments are required: MAP\n"
            "safeframe: see: safeframe help check",
        ),
        (
            ["edit", "insert", "--nothing"],
            "edit insert: the following arguments are required: MAP, --name\n"
            "safeframe: see: safeframe help edit insert",
        ),
        (["schema", "\x1b[2J"], "schema: argument NAME: invalid choice: "),
    ],
)
def test_wrong_use_says_what_to_read(
    words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    captured = capsys.readouterr()
    assert captured.err.startswith(f"safeframe: {message}")
    assert "\x1b" not in captured.err
    assert captured.out == ""


def test_help_of_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", "chekc"]) == 2
    assert "did you mean check?" in capsys.readouterr().err


def test_pages_are_not_stale() -> None:
    """After a change of a parser: ``python -m tests.generators.command_pages``."""
    written = {
        path.name: path.read_text(encoding="utf-8") for path in command_pages.FOLDER.glob("*.md")
    }
    made = command_pages.pages()
    if sys.version_info >= (3, 13):  # Its argparse writes ``-o, --output FILE``, others FILE twice.
        written, made = (
            {name: _without_what_is_twice(text) for name, text in pages.items()}
            for pages in (written, made)
        )
    assert written == made


def _without_what_is_twice(page: str) -> str:
    return " ".join(re.sub(r"(-\w) \S+, (--\S+)", r"\1, \2", page).split())
