"""Standard streams: UTF-8, no command for a build system, full, closed, interrupted."""

from __future__ import annotations

import errno
import gc
import importlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _cli
from safeframe import _demo as demo
from safeframe._cli import main, streams
from safeframe._errors import UsageError
from tests.unit.written import ROOT

MAPS = ["sc1-lx.toml", "lx-sc1.toml"]
COMMAND = re.compile(r"(?m)^\s*::|##[\w.\- ]*\[")
HOSTILE = [
    "::error file=a::owned",
    "##vso[task.setvariable variable=a]b",
    "##[section]a",
    "##teamcity[buildStatus text='a']",
]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in MAPS:
        (tmp_path / name).write_bytes(demo.after()[name].encode())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str, **environ: str) -> subprocess.CompletedProcess[bytes]:
    given_environ = {**os.environ, "PYTHONPATH": str(ROOT), **environ}
    return subprocess.run(
        [sys.executable, "-m", "safeframe", *words],
        env=given_environ,
        capture_output=True,
        check=False,
    )


@cache
def as_usual(form: str) -> bytes:
    """Return what ``check`` prints of the maps of this folder, which are the same in each test."""
    return run("check", "--format", form, *MAPS).stdout


def shell(line: str) -> subprocess.CompletedProcess[str]:
    program = f"{sys.executable} -m safeframe"
    return subprocess.run(
        ["sh", "-c", line.replace("safeframe", program, 1)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )


class TestEncoding:
    @pytest.mark.parametrize(
        "environ",
        [
            {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
            {"PYTHONIOENCODING": "cp1252"},
            {"PYTHONIOENCODING": "ascii:strict"},
            {"PYTHONUTF8": "1"},
        ],
        ids=str,
    )
    @pytest.mark.parametrize("form", ["text", "json", "sarif", "junit", "markdown"])
    def test_what_programs_read_is_utf_8(
        self, site: Path, environ: dict[str, str], form: str
    ) -> None:
        for name in MAPS:
            text = (site / name).read_text("utf-8").replace("fault_ack", "größe_☃")
            (site / name).write_text(text, encoding="utf-8")
        text = (site / MAPS[1]).read_text("utf-8").replace('at = "0.1"', 'at = "1.7"')
        (site / MAPS[1]).write_text(text, encoding="utf-8")
        done = run("check", "--format", form, *MAPS, **environ)
        assert done.returncode == 1
        found = done.stdout.decode("utf-8")
        assert done.stdout == as_usual(form)
        if form == "junit":
            assert ElementTree.fromstring(done.stdout).tag == "testsuites"
        assert "\r" not in found
        if form == "text":
            shown = run("show", *MAPS[:1], **environ).stdout
            assert "größe_☃".encode() in shown

    def test_crlf_maps_make_the_same_patch_everywhere(self, site: Path) -> None:
        for name in MAPS:
            octets = (site / name).read_bytes()
            (site / name).write_bytes(octets.replace(b"\n", b"\r\n"))
        done = run("edit", "remove", *MAPS, "--name", "fault_ack", "--write")
        assert done.returncode == 0
        assert b"\r\r" not in done.stdout
        for name in MAPS:
            octets = (site / name).read_bytes()
            assert octets.count(b"\n") == octets.count(b"\r\n")
        assert run("check", *MAPS).returncode == 0


class TestCommandsOfBuildSystems:
    """MUST: no line of output is a command for a hosted build system, in no format."""

    @pytest.mark.parametrize("word", HOSTILE)
    @pytest.mark.parametrize("form", ["text", "json", "sarif", "junit", "markdown"])
    def test_a_name_or_a_note(
        self, site: Path, capsys: pytest.CaptureFixture[str], word: str, form: str
    ) -> None:
        for number, name in enumerate(MAPS):
            text = demo.after()[name].replace('"fault_ack"', f'"{word}{number}"')
            hostile = f"{word}{name}"
            Path(hostile).write_text(text, encoding="utf-8")
        paths = [f"{word}{name}" for name in MAPS]
        details = ["--details"] if form == "text" else []
        for line, code in (([paths[0], f"{word}missing"], 2), ([*details, *paths], 1)):
            assert main(["check", "--format", form, *line]) == code
            out, err = capsys.readouterr()
            assert not COMMAND.search(out), out
            assert not COMMAND.search(err), err
            if form in ("json", "sarif"):
                assert word in str(json.loads(out))

    def test_annotations_are_their_own_commands_only(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        text = demo.after()[MAPS[1]].replace('"fault_ack"', '"##[error]a"')
        (site / MAPS[1]).write_text(text, encoding="utf-8")
        assert main(["check", "--format", "workflow-commands", *MAPS]) == 1
        out = capsys.readouterr().out
        assert out.startswith("::error file=")
        assert "##" not in out
        assert "#\\x23[error]a" in out

    @pytest.mark.parametrize("form", ["csv", "toml", "text"])
    def test_a_map_shown(self, site: Path, capsys: pytest.CaptureFixture[str], form: str) -> None:
        text = demo.after()[MAPS[0]].replace('"fault_ack"', '"##vso[a]b"')
        (site / MAPS[0]).write_text(text, encoding="utf-8")
        code = main(["show", "--format", form, MAPS[0]])
        out, err = capsys.readouterr()
        if form == "csv":
            assert (code, out) == (2, "")
            assert "of the output would be read as a command by a hosted build system" in err
        else:
            assert code == 0
            assert {"toml": '"#\\u0023vso[a]b"', "text": "#\\x23vso[a]b"}[form] in out

    @given(
        st.lists(
            st.text(alphabet=" \t#:[]ab\n\x1b[0m-.", max_size=12)
            | st.sampled_from(HOSTILE)
            | st.sampled_from(["\n", " ", "::", "##", "[", "##a["]),
            max_size=12,
        ),
        st.sampled_from(["text", "markdown", "junit", "toml", "json", "csv", "none"]),
    )
    def test_any_text_in_any_pieces(self, pieces: list[str], form: str) -> None:
        out = io.StringIO()
        before = sys.stdout
        sys.stdout = out
        try:
            with streams.guarded():
                streams.set_format(form)
                for piece in pieces:
                    sys.stdout.write(piece)
                sys.stdout.flush()
        except UsageError:
            assert form == "csv"
            assert COMMAND.search(re.sub(r"\x1b\[[0-9;]*m", "", "".join(pieces)))
        finally:
            sys.stdout = before
        text = out.getvalue()
        assert not re.search(r"##[\w.\- ]*\[", text)
        if form != "json":
            assert not COMMAND.search(re.sub(r"\x1b\[[0-9;]*m", "", text))
        if "::" not in "".join(pieces) and "##" not in "".join(pieces):
            assert text == "".join(pieces)


class TestStreams:
    """MUST: a stream that is closed or full never changes what an exit code means."""

    @pytest.mark.parametrize("closed", [">&-", "2>&-", "<&-", ">&- 2>&-", "<&- >&- 2>&-"])
    def test_closed(self, site: Path, closed: str) -> None:
        names = " ".join(MAPS)
        assert shell(f"safeframe check {names} {closed}").returncode == 0
        assert shell(f"safeframe check {MAPS[0]} missing.toml {closed}").returncode == 2
        assert shell(f"safeframe help check {closed}").returncode == 0
        before = (site / MAPS[0]).read_bytes()
        done = shell(f"safeframe edit remove {names} --name fault_ack --write {closed}")
        assert (done.returncode, "Traceback" in done.stderr) == (0, False)
        assert (site / MAPS[0]).read_bytes() != before
        assert main(["check", *MAPS]) == 0

    @pytest.mark.parametrize("words", ["check a b", "--help", "help check", "rules", "--version"])
    def test_full(self, site: Path, words: str) -> None:
        line = f"safeframe {words} >/dev/full".replace("a b", " ".join(MAPS))
        done = shell(line)
        assert done.returncode == 3
        assert done.stderr == (
            "safeframe: standard output cannot be written: No space left on device\n"
        )
        assert shell(f"{line} 2>/dev/full").returncode == 3

    @pytest.mark.parametrize("words", ["check - lx-sc1.toml", f"watch - {' '.join(MAPS)}"])
    def test_closed_input(
        self,
        site: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
        words: str,
    ) -> None:
        """It is wrong use where it is asked for, and nothing otherwise."""
        monkeypatch.setattr(sys, "stdin", None)
        assert main(words.split()) == 2
        assert capsys.readouterr().err == (
            "safeframe: standard input (-) must be open, and is closed\n"
        )
        assert main(["check", *MAPS]) == 0
        assert sys.stdin is None

    def test_full_error_output(self, site: Path) -> None:
        assert shell("safeframe check a b 2>/dev/full").returncode == 2
        assert shell("safeframe 2>/dev/full").returncode == 2
        assert shell("safeframe check --wrong 2>/dev/full").returncode == 2

    def test_a_pipe_that_closes(self, site: Path) -> None:
        done = shell("safeframe rules | head -c 1")
        assert done.stderr == ""
        done = shell(f"safeframe check {MAPS[0]} missing.toml 2>&1 >/dev/null | true")
        assert done.stderr == ""


class Failing(io.StringIO):
    """A stream that fails on its way out."""

    def __init__(self, error: BaseException) -> None:
        super().__init__()
        self.error = error

    def flush(self) -> None:
        raise self.error


class Left(io.StringIO):
    """A stream whose reader has left."""

    def write(self, text: str) -> int:
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")


class TestFailingStreams:
    @pytest.mark.parametrize(
        ("error", "code", "told"),
        [
            (BrokenPipeError(), 141, ""),
            (KeyboardInterrupt(), 130, ""),
            (
                OSError(errno.ENOSPC, "No space left on device"),
                3,
                "safeframe: standard output cannot be written: No space left on device\n",
            ),
            (
                ValueError("I/O operation on closed file"),
                3,
                "safeframe: standard output cannot be written: I/O operation on closed file\n",
            ),
        ],
        ids=repr,
    )
    def test_output(
        self,
        error: BaseException,
        code: int,
        told: str,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.setattr(sys, "stdout", Failing(error))
        assert main(["--version"]) == code
        assert capsys.readouterr().err == told

    @pytest.mark.parametrize("words", ["watch --lines", "capture --frames"])
    def test_a_reader_who_leaves_is_no_matter_of_the_recording(
        self,
        words: str,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.chdir(tmp_path)
        maps = ("sc1-lx.toml", "lx-sc1.toml")
        for name in maps:
            Path(name).write_text(demo.after()[name], encoding="utf-8")
        Path("run.hex").write_text(
            "@0 SC1: 36 00 00 5b 07 00 00\nno octets\n" * 9, encoding="utf-8"
        )
        command, option = words.split()
        monkeypatch.setattr(sys, "stdout", Left())
        assert main([command, option, "run.hex", *maps]) == 141
        assert capsys.readouterr().err == ""

    @pytest.mark.parametrize("error", [BrokenPipeError(), OSError(), ValueError()], ids=repr)
    def test_errors_that_nobody_reads(
        self,
        error: Exception,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.setattr(sys, "stderr", Failing(error))
        assert main(["--version"]) == 0
        assert capsys.readouterr().out.startswith("safeframe ")

    def test_a_last_line_that_must_not_be_printed(
        self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def command(_: list[str]) -> int:
            streams.set_format("csv")
            sys.stdout.write("a::b\n::error::c")
            return 0

        monkeypatch.setattr(_cli, "_dispatch", command)
        assert main([]) == 2
        shown = capsys.readouterr()
        assert shown.out == "a::b\n"
        assert shown.err.startswith("safeframe: line 1 of the output would be read as a command")

    def test_no_format_without_a_guard(self, capsys: pytest.CaptureFixture[str]) -> None:
        streams.set_format("csv")
        sys.stdout.write("::a\n")
        assert not hasattr(sys.stdout, "style")
        assert capsys.readouterr().out == "::a\n"


class TestProcess:
    @pytest.fixture
    def process(self) -> Iterator[ModuleType]:
        """The module that runs the process, with what it changes there put back."""
        before = signal.getsignal(signal.SIGINT)
        yield importlib.import_module("safeframe.__main__")
        signal.signal(signal.SIGINT, before)
        gc.unfreeze()
        gc.enable()

    def test_interrupted_before_the_command(
        self, process: ModuleType, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def interrupted() -> int:
            raise KeyboardInterrupt

        monkeypatch.setattr(_cli, "main", interrupted)
        assert process.run() == 130

    @pytest.mark.parametrize("listening", [True, False])
    def test_the_key_is_listened_to_while_the_command_runs_only(
        self, process: ModuleType, monkeypatch: pytest.MonkeyPatch, listening: bool
    ) -> None:
        def command() -> int:
            during.append(signal.getsignal(signal.SIGINT))
            return 1

        during: list[object] = []
        monkeypatch.setattr(process, "_LISTENING", listening)
        monkeypatch.setattr(_cli, "main", command)
        signal.signal(signal.SIGINT, process._leave)
        assert process.run() == 1
        assert during == [signal.default_int_handler if listening else process._leave]
        after = signal.SIG_IGN if listening else process._leave
        assert signal.getsignal(signal.SIGINT) == after

    @pytest.mark.parametrize("ignored", [True, False])
    def test_a_key_that_is_ignored_stays_so(self, process: ModuleType, ignored: bool) -> None:
        before = signal.SIG_IGN if ignored else signal.default_int_handler
        signal.signal(signal.SIGINT, before)
        again = importlib.reload(process)
        after = signal.SIG_IGN if ignored else again._leave
        assert signal.getsignal(signal.SIGINT) == after

    def test_interrupted_while_nothing_runs(
        self, process: ModuleType, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        codes: list[int] = []
        monkeypatch.setattr(os, "_exit", codes.append)
        process._leave(signal.SIGINT, None)
        assert codes == [130]

    def test_closed_streams_are_opened_as_nothing(
        self, process: ModuleType, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def closed(descriptor: int) -> None:
            if descriptor != 1:
                raise OSError(errno.EBADF, "Bad file descriptor")

        opened: list[tuple[str, int]] = []
        with monkeypatch.context() as patch:
            patch.setattr(os, "fstat", closed)
            patch.setattr(os, "open", lambda *given: opened.append(given))
            process._open_missing()
        assert opened == [(os.devnull, os.O_RDWR)] * 2


class TestInterrupts:
    """MUST: the interrupt key ends with 130, whenever it is pressed, and leaves nothing behind."""

    def test_at_any_time(self, site: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
        """From the first line on: before it the interpreter still starts, and nothing is ours."""
        hook = tmp_path_factory.mktemp("hook")
        # The child says itself that the command line is being imported, however slow it starts.
        (hook / "sitecustomize.py").write_text(
            "import os, sys\n"
            "def told(event, given, name=os.path.join('safeframe', '_cli', '__init__.py')):\n"
            "    if event == 'exec' and given[0].co_filename.endswith(name):\n"
            "        os.write(int(os.environ['BEGUN']), b'!')\n"
            "sys.addaudithook(told)\n"
        )
        environ = {**os.environ, "PYTHONPATH": os.pathsep.join([str(hook), str(ROOT)])}
        line = [sys.executable, "-m", "safeframe", "check", "--html", "page.html", *MAPS]

        def interrupted(after_s: float | None) -> tuple[int, float]:
            """Return the exit code, and how long the command ran once it had begun."""
            begun, told = os.pipe()
            process = subprocess.Popen(
                line,
                env=environ | {"BEGUN": str(told)},
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                pass_fds=(told,),
                # A suite that runs in the background ignores the signal, and so would the command.
                preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
            )
            os.close(told)
            assert os.read(begun, 1) == b"!"
            os.close(begun)
            started = time.monotonic()
            if after_s is not None:
                time.sleep(after_s)
                process.send_signal(signal.SIGINT)
            _, err = process.communicate()
            assert b"Traceback" not in err
            return process.returncode, time.monotonic() - started

        code, longest_s = interrupted(None)
        assert code == 0
        (site / "page.html").unlink()
        codes = []
        for number in range(16):
            codes.append(interrupted(longest_s * number / 14)[0])
            left = {path.name for path in site.iterdir()} - set(MAPS)
            assert left <= {"page.html"}
        assert codes[0] == 130
        assert set(codes) <= {0, 130}

    def test_ignored_in_the_background(self, site: Path) -> None:
        script = (
            "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN); "
            "from safeframe import __main__; "
            "assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN; "
            "import sys; sys.argv = ['safeframe', '--version']; __main__.run(); "
            "assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN"
        )
        done = subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            check=False,
            capture_output=True,
        )
        assert (done.returncode, done.stderr) == (0, b"")

    def test_while_the_command_line_is_imported(self) -> None:
        script = (
            "import sys, types; from safeframe import __main__; "
            "module = types.ModuleType('safeframe._cli'); "
            "module.__getattr__ = lambda name: (_ for _ in ()).throw(KeyboardInterrupt); "
            "sys.modules['safeframe._cli'] = module; sys.exit(__main__.run())"
        )
        done = subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            check=False,
            capture_output=True,
        )
        assert (done.returncode, done.stderr) == (130, b"")

    def test_inside_code_made_from_a_string(self, tmp_path: Path) -> None:
        """There CPython marks the interrupt as not handled, whoever handles it afterwards."""
        (tmp_path / "sitecustomize.py").write_text(
            "import sys, types\n"
            "module = types.ModuleType('safeframe._cli')\n"
            "module.__getattr__ = lambda name: exec('raise KeyboardInterrupt')\n"
            "sys.modules['safeframe._cli'] = module\n"
        )
        done = subprocess.run(
            [sys.executable, "-m", "safeframe"],
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT)])},
            check=False,
            capture_output=True,
        )
        assert (done.returncode, done.stderr) == (130, b"")
