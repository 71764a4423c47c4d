"""Whatever is handed in: a clear error or a finding, never a traceback, a hang or an escape."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from safeframe import _demo as demo
from safeframe._cli import main

GOOD = demo.after()["sc1-lx.toml"]
PEER = demo.after()["lx-sc1.toml"]


def edited(old: str, new: str) -> bytes:
    assert old in GOOD
    return GOOD.replace(old, new, 1).encode()


NAME = 'name = "permit_torque"'
UNREADABLE: dict[str, bytes] = {
    "empty": b"",
    "blank": b"\n\n  \n",
    "binary": bytes(range(256)) * 40,
    "zero octets": b"\0" * 100,
    "50 MB": b"#" * (50 << 20),
    "deep nesting": b"x = " + b"[" * 100_000 + b"]" * 100_000,
    "deep tables": b"[" + b".".join([b"a"] * 50_000) + b"]\n",
    "dotted key": b".".join([b"a"] * 50_000) + b" = 1\n",
    "invalid UTF-8": GOOD.encode().replace(b"Lift", b"L\xffft"),
    "UTF-16": GOOD.encode("utf-16"),
    "duplicate key": edited("end = {", 'format = "safeframe-map/1"\nend = {'),
    "negative width": edited(NAME, f"{NAME}, width = -1"),
    "huge width": edited(NAME, f'{NAME}, width = {10**30}, type = "uint"'),
    "huge number": edited("id = 0x0107", f"id = {'9' * 5000}"),
    "escape in a name": edited(NAME, 'name = "permit\\u001b[2J"'),
    "control character": edited(NAME, 'name = "permit\\u0007"'),
    "unknown key": edited(NAME, f"{NAME}, wdith = 1"),
    "wrong type": edited("watchdog_ms = 100", "watchdog_ms = true"),
    "other format": edited("safeframe-map/1", "safeframe-map/9"),
    "no TOML": b"<xml/>",
    "infinite": edited("watchdog_ms = 100", "watchdog_ms = inf"),
    "million signals": b"sends = [" + b'{at="0.0",name="a"},' * 1_000_000 + b"]",
}
READABLE: dict[str, bytes] = {
    "byte order mark": b"\xef\xbb\xbf" + GOOD.encode(),
    "CRLF": GOOD.replace("\n", "\r\n").encode(),
    "no last line end": GOOD.rstrip("\n").encode(),
}


@pytest.fixture
def run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[[bytes, str], tuple[int, str, str]]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    (tmp_path / "lx.toml").write_text(PEER, encoding="utf-8")

    def check(octets: bytes, name: str = "sc1.toml") -> tuple[int, str, str]:
        (tmp_path / name).write_bytes(octets)
        capsys.readouterr()
        code = main(["check", name, "lx.toml"])
        captured = capsys.readouterr()
        for text in (captured.out, captured.err):
            assert all(line.isprintable() for line in text.split("\n"))
            assert "Traceback" not in text
        return code, captured.out, captured.err

    return check


Run = Callable[..., tuple[int, str, str]]


@pytest.mark.parametrize("name", UNREADABLE)
def test_unreadable_is_said_with_the_file(name: str, run: Run) -> None:
    code, out, err = run(UNREADABLE[name])
    assert code == 2
    assert out == ""
    assert err.startswith("safeframe: sc1.toml")


@pytest.mark.parametrize("name", READABLE)
def test_what_editors_do_to_files_is_readable(name: str, run: Run) -> None:
    code, out, err = run(READABLE[name])
    assert (code, err) == (0, "")
    assert out.startswith("SC1-LX: both ends agree bit for bit\n")


def test_lookalike_letters_are_a_finding(run: Run) -> None:
    code, out, _ = run(edited(NAME, 'name = "permit_t\u043erque"'))
    assert code == 1
    assert "name" in out


def test_a_bidirectional_mark_never_reaches_the_terminal(run: Run) -> None:
    code, out, err = run(edited('bind = "Lift.PermitTorque"', 'bind = "Lift\\u202e.x"'))
    assert code in (1, 2)
    assert "\u202e" not in out + err


@pytest.mark.parametrize("name", ["gone.toml", ".", "no\0name.toml", "x" * 5000 + ".toml", ""])
def test_paths_that_lead_nowhere(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lx.toml").write_text(PEER, encoding="utf-8")
    assert main(["check", name, "lx.toml"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("safeframe: ")
    assert "internal" not in captured.err


def test_a_directory_named_like_a_map(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sc1.toml").mkdir()
    assert main(["show", "sc1.toml"]) == 2
    assert "sc1.toml: the path must lead to a map file, not to a directory" in (
        capsys.readouterr().err
    )


def test_a_pipe_is_no_map_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("sc1.toml")
    assert main(["show", "sc1.toml"]) == 2
    assert "must lead to a map file, not to a pipe" in capsys.readouterr().err


class TestAnyOctets:
    """No input of any kind ends in an internal error or in unprintable output."""

    @given(st.binary(max_size=200))
    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_random_octets(self, run: Run, octets: bytes) -> None:
        code, _, _ = run(octets)
        assert code == 2

    @given(st.integers(0, len(GOOD) - 1), st.text(max_size=3), st.integers(0, 3))
    @settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_a_good_map_with_an_accident(self, run: Run, at: int, text: str, cut: int) -> None:
        damaged = GOOD[:at] + text + GOOD[at + cut :]
        code, _, _ = run(damaged.encode("utf-8", "surrogatepass"))
        assert code in (0, 1, 2)


@pytest.mark.parametrize(
    "words",
    [
        ["check", "loop", "b.toml"],
        ["check", "--html", "loop", "a.toml", "b.toml"],
        ["edit", "recover", "loop", "b.toml"],
        ["record", "done", "loop", "check", "--who", "A. Berg", "--when", "2026-11-02"],
        ["record", "show", "loop"],
        ["watch", "run.jsonl", "a.toml", "b.toml", "--histogram", "loop"],
        ["verify", "loop/plant.toml"],
    ],
    ids=" ".join,
)
def test_links_in_a_circle(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.toml").write_text(GOOD, encoding="utf-8")
    Path("b.toml").write_text(PEER, encoding="utf-8")
    Path("run.jsonl").touch()
    Path("loop").symlink_to("loop")
    assert main(words) == 2
    assert "internal error" not in capsys.readouterr().err
    assert Path("loop").is_symlink()
