"""The command line as a whole: choice of command, exit codes, errors, pipes."""

from __future__ import annotations

import argparse
import gc
import importlib
import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

import safeframe
from safeframe import __main__ as process
from safeframe import _cli as cli
from safeframe import _demo as demo
from safeframe._errors import InputError, Problem, UsageError, WriteError
from tests.generators import command_pages


def stub(monkeypatch: pytest.MonkeyPatch, outcome: object) -> None:
    """Make ``check`` raise or return ``outcome``."""

    def run(_args: argparse.Namespace) -> int:
        if isinstance(outcome, BaseException):
            raise outcome
        assert isinstance(outcome, int)
        return outcome

    module = SimpleNamespace(configure=lambda _parser: None, run=run)
    monkeypatch.setattr(importlib, "import_module", lambda *_: module)


def test_no_command_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("usage: safeframe COMMAND [options]\n")


@pytest.mark.parametrize("word", ["-h", "--help", "help"])
def test_help_lists_every_command(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([word]) == 0
    out = capsys.readouterr().out
    for name, text in cli.COMMANDS.items():
        assert f"  {name:8}"[: len(name) + 2] in out
        assert text in out
    assert "not certified" in out
    assert "example: " in out


@pytest.mark.parametrize("word", ["-V", "--version", "version"])
def test_version(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([word]) == 0
    assert capsys.readouterr().out == f"safeframe {safeframe.__version__}\n"


def test_unknown_command_names_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["chek"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.endswith(
        "not 'chek' (did you mean check?)\nsafeframe: see: safeframe --help\n"
    )


def test_unknown_command_without_neighbour(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["\x1b[2Jqq"]) == 2
    err = capsys.readouterr().err
    assert r"not '\x1b[2Jqq'" in err
    assert "\x1b" not in err


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_helps_with_an_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([name, "--help"]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"usage: safeframe {name}")
    assert "example" in out


@pytest.mark.parametrize("name", sorted(cli.COMMANDS))
def test_every_example_of_a_help_can_be_pasted(name: str) -> None:
    """It goes on behind a backslash, never within quotes, and the parser MUST take it whole."""
    text = cli.parser_of(name)[0].format_help()
    examples = re.findall(r"^ {2}safeframe (?:.*\\\n)*.*", text, re.MULTILINE)
    assert examples
    for example in examples:
        parts = [part.strip() for part in example.split("\\\n")]
        assert all(shlex.split(part) for part in parts)
        command = re.split(r" {2,}| [|<>] ", " ".join(parts))[0]
        _, called, *words = shlex.split(command)
        cli.parser_of(called)[0].parse_args(words)


@pytest.mark.parametrize("name", sorted(cli.COMMANDS))
def test_every_parser_takes_whole_options_and_helps_in_one_width(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of the operations of a command as well."""
    for parser in command_pages.parsers(cli.parser_of(name)[0]):
        helps = []
        for columns in ("40", "200"):
            monkeypatch.setenv("COLUMNS", columns)
            helps.append(parser.format_help())
        assert helps[0] == helps[1], parser.prog
        assert not parser.allow_abbrev, parser.prog


@pytest.mark.parametrize(
    ("command", "flag", "others"),
    [
        ("check", "--baseline", ["a.toml", "b.toml"]),
        ("verify", "--signers", ["plant.toml"]),
        ("record show", "--signers", ["r.json"]),
        ("edit rename", "--from", ["a.toml", "b.toml", "--name", "x", "--to", "y"]),
        ("show", "--columns", ["a.csv"]),
        ("frame build", "--profile", ["--data", "00"]),
        ("residual", "--cache", ["--map", "a.toml"]),
        ("import", "--role", ["esi", "a.xml"]),
    ],
)
@pytest.mark.parametrize("joined", [False, True], ids=["apart", "joined"])
@pytest.mark.parametrize("value", ["", " \t"], ids=["empty", "blank"])
def test_an_empty_value_is_none(
    command: str,
    flag: str,
    others: list[str],
    joined: bool,
    value: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A script whose variable was never set MUST NOT learn that nothing is wrong."""
    given = [f"{flag}={value}"] if joined else [flag, value]
    assert cli.main([*command.split(), *given, *others]) == 2
    first = capsys.readouterr().err.partition("\n")[0]
    assert first == f"safeframe: {command}: {flag} must have a value, not an empty one"


def test_a_text_that_looks_like_an_empty_option_is_a_text(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ["--approval", "A. Berg", "--who", "A. Berg", "--when", "2026-11-02"]
    words += ["--reason", "- as agreed, torque ="]
    assert cli.main(["record", "withdraw", "none.json", *words]) == 2
    assert capsys.readouterr().err.startswith("safeframe: none.json: the file must be readable")


def test_wrong_option_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", "--nonsense", "a", "b"]) == 2
    assert "unrecognized arguments: --nonsense" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("outcome", "code", "err"),
    [
        (7, 7, ""),
        (UsageError("two\nlines"), 2, "safeframe: two\\nlines\n"),
        (UsageError(""), 2, "safeframe: \n"),
        (
            InputError(Problem(path="a", line=1, message="m\x1b"), Problem(path="b", message="n")),
            2,
            "safeframe: a:1: m\\x1b\nsafeframe: b: n\n",
        ),
        (FileNotFoundError(2, "No such file", "x.toml"), 2, "safeframe: x.toml: No such file\n"),
        (OSError("broken"), 2, "safeframe: input or output: broken\n"),
        (KeyboardInterrupt(), 130, ""),
        (KeyboardInterrupt("all as it was"), 130, "safeframe: interrupted: all as it was\n"),
        (WriteError("a is old"), 3, "safeframe: a is old\n"),
        (SystemExit("text"), 2, ""),
    ],
)
def test_every_end_has_its_exit_code(
    outcome: object,
    code: int,
    err: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    stub(monkeypatch, outcome)
    assert cli.main(["check"]) == code
    assert capsys.readouterr().err == err


def test_a_folder_that_is_gone_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in demo.after().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    maps = [str(tmp_path / name) for name in ("sc1-lx.toml", "lx-sc1.toml")]
    assert cli.main(["check", "--html", "page.html", *maps]) == 2
    error = capsys.readouterr().err
    assert error == "safeframe: the current folder: No such file or directory\n"


def test_an_internal_error_is_3_and_asks_for_a_report(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    stub(monkeypatch, ValueError("oops"))
    monkeypatch.delenv("SAFEFRAME_TRACEBACK", raising=False)
    assert cli.main(["check"]) == 3
    err = capsys.readouterr().err
    assert err.startswith("safeframe: internal error: ValueError: oops\n")
    assert "Traceback" not in err
    monkeypatch.setenv("SAFEFRAME_TRACEBACK", "1")
    assert cli.main(["check"]) == 3
    assert capsys.readouterr().err.startswith("Traceback (most recent call last):\n")


@pytest.fixture
def collecting() -> Iterator[None]:
    """Leave the garbage collector as it was, whatever the test did to it."""
    yield
    gc.unfreeze()
    gc.enable()


@pytest.mark.usefixtures("collecting")
def test_the_process_runs_without_garbage_collection(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["safeframe", "--version"])
    assert process.run() == 0
    assert not gc.isenabled()
    assert gc.get_freeze_count() > 0
    assert capsys.readouterr().out.startswith("safeframe ")


@pytest.mark.usefixtures("collecting")
def test_the_module_run_as_a_program_exits_with_the_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["safeframe"])
    monkeypatch.delitem(sys.modules, "safeframe.__main__")
    # Not runpy: with the plugin installed, pytest's own import hook holds the package.
    path = Path(str(safeframe.__file__)).with_name("__main__.py")
    code = compile(path.read_text(encoding="utf-8"), str(path), "exec")
    with pytest.raises(SystemExit) as caught:
        exec(code, {"__name__": "__main__", "__package__": "safeframe"})
    assert caught.value.code == 2
    assert capsys.readouterr().err.startswith("usage: safeframe COMMAND")


def test_a_closed_pipe_is_quiet() -> None:
    script = "import sys; from safeframe._cli import main; sys.exit(main(['rules']))"
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-c", script], stdout=writer, stderr=subprocess.PIPE, check=False
    )
    os.close(writer)
    assert done.returncode == 141
    assert done.stderr == b""


def test_broken_pipe_in_process(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    stub(monkeypatch, BrokenPipeError())
    with open(tmp_path / "out", "w", encoding="utf-8") as file:
        monkeypatch.setattr(sys, "stdout", file)
        assert cli.main(["check"]) == 141


def test_names_beyond_the_terminals_encoding_are_escaped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    stub(monkeypatch, 0)
    assert cli.main(["check"]) == 0
    sys.stdout.write("gelöst")
    sys.stdout.flush()
    assert raw.getvalue() == rb"gel\xf6st"


def test_arguments_come_from_the_process(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["safeframe", "--version"])
    assert cli.main() == 0
    assert capsys.readouterr().out.startswith("safeframe ")


def test_python_dash_m() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "safeframe", "--version"], capture_output=True, check=False
    )
    assert (done.returncode, done.stdout.split()[0]) == (0, b"safeframe")
