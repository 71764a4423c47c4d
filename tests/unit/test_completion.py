"""Completion, help and pages come from the parsers; the scripts are run by the shells."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from safeframe._cli import COMMANDS, completion, main
from tests.generators import command_pages

ASK = """
source /dev/stdin <<'SCRIPT'
{script}
SCRIPT
COMP_WORDS=({words}) COMP_CWORD={last}
_safeframe
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
        (["check", "--fo"], ["--format"]),
        (["check", "--format", "j"], ["json", "junit"]),
        (["check", "--baseline", ""], []),
        (["check", "--details", "maps"], []),
        (["edit", "in"], ["insert"]),
        (["edit", "insert", "a.toml", "--aft"], ["--after"]),
        (["schema", "ma"], ["map"]),
        (["completion", ""], ["bash", "zsh", "fish"]),
        (["nothing", "--he"], ["--help"]),
    ],
)
def test_bash_offers(words: list[str], offered: list[str]) -> None:
    assert ask(*words) == offered


def test_bash_offers_every_command() -> None:
    assert ask("") == [*COMMANDS, "help"]


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


def test_zsh_offers(tmp_path: Path) -> None:
    found = shutil.which("zsh")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("zsh must be installed in CI")
        pytest.skip("zsh is not installed")
    # The line editor is not there, so its functions are replaced by ones that print.
    text = (
        "compdef() { : }; compadd() { shift; print -r -- $* }; _files() { print files }\n"
        f"{completion.script('zsh')}\n"
        "words=(safeframe check --format j) CURRENT=4; _safeframe\n"
        "words=(safeframe edit insert --aft) CURRENT=4; _safeframe\n"
        "words=(safeframe check maps) CURRENT=3; _safeframe\n"
    )
    done = subprocess.run([found, "-f", "-c", text], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    formats, edits, files = [line for line in done.stdout.splitlines() if line != "files"] + ["-"]
    assert formats.split()[:3] == ["text", "json", "sarif"]
    assert "--after" in edits.split()
    assert done.stdout.count("files") == 2
    assert files == "-"


def test_fish_is_told_every_option() -> None:
    text = completion.script("fish")
    rule = "complete -c safeframe -n '__fish_seen_subcommand_from check'"
    assert f"{rule} -l format -x -a 'text json sarif" in text
    assert f"{rule} -l baseline -r\n" in text
    assert f"{rule} -l details\n" in text
    assert f"{rule} -s h\n" in text
    edit = "'__fish_seen_subcommand_from edit; and __fish_seen_subcommand_from insert'"
    assert f"-n {edit} -l after -r" in text


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
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
    assert written == command_pages.pages()
