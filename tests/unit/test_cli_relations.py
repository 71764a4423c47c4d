"""The command ``relations``: tables, what is wrong, exit codes."""

from __future__ import annotations

from pathlib import Path

import pytest

from safeframe._cli import main

HEAD = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "plain" }
end = { name = "SC1", peer = "LX" }
sends = [
  { at = "0.0", name = "permit_torque" },
  { at = "0.1", name = "brake1_release" },
  { at = "0.2", name = "up", safe = 1 },
  { at = "0.3", name = "down" },
]
"""


def run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], *rows: str, color: str = "never"
) -> tuple[int, str]:
    lines = "".join(f"  {{ {row} }},\n" for row in rows)
    path = tmp_path / "sc1.toml"
    path.write_text(f"{HEAD}relations = [\n{lines}]\n", encoding="utf-8")
    code = main(["relations", str(path), "--color", color])
    return code, capsys.readouterr().out


def test_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    row = 'name = "a", when = { up = 1 }, excludes = { down = 1 }, reason = "one way"'
    assert run(tmp_path, capsys, row) == (
        0,
        "SC1: 1 relation\n"
        "  a: up = 1 excludes down = 1\n"
        "      because: one way\n"
        "\n"
        "  up  down\n"
        "  0   0     legal\n"
        "  0   1     legal\n"
        "  1   0     legal; all at their safe values\n"
        "  1   1     forbidden by a\n"
        "  3 of 4 states are legal\n",
    )


def test_values_without_a_code_point(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "sc1.toml"
    mode = '{ at = "1.0", name = "m", width = 2, type = "code", codes = { 1 = "a", 2 = "b" } }'
    row = 'name = "a", when = { up = 1 }, requires = { m = [1, 2] }, reason = "r"'
    signals = HEAD.replace("]\n", f"  {mode},\n]\n")
    path.write_text(f"{signals}relations = [{{ {row} }}]\n", encoding="utf-8")
    assert main(["relations", str(path), "--color", "never"]) == 0
    assert capsys.readouterr().out.endswith(
        "  up  m\n"
        "  0   0      legal\n"
        "  0   1      legal\n"
        "  0   2      legal\n"
        "  0   other  legal\n"
        "  1   0      forbidden by a; all at their safe values\n"
        "  1   1      legal\n"
        "  1   2      legal\n"
        "  1   other  forbidden by a\n"
        "  6 of 8 states are legal\n"
    )


def test_an_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    row = 'name = "a", when = { permit_torque = 0 }, follows = { brake1_release = 0 }, reason = "r"'
    code, out = run(tmp_path, capsys, row)
    assert code == 0
    assert out.endswith("  4 of 4 states are legal\n  and their order: a\n")


def test_what_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = run(
        tmp_path,
        capsys,
        'name = "a", when = { upp = 1 }, requires = { down = 1 }, reason = "r"',
        'name = "b", when = { down = 2 }, requires = { up = 1 }, reason = "r"',
        'name = "c", when = { up = 1 }, excludes = { up = 1 }, reason = "r"',
        color="always",
    )
    assert code == 1
    assert out.endswith(
        "\n\n"
        "  error: \x1b[1;31ma cannot be judged: upp is no signal of SC1 (did you mean up?)\x1b[0m\n"
        "  error: \x1b[1;31mb cannot be judged: down must be 0..1, not 2\x1b[0m\n"
        "  error: \x1b[1;31mup can never be 1 (c)\x1b[0m\n"
    )
    assert "\x1b[1;31m  1   forbidden by c; all at their safe values\x1b[0m\n" in out


def test_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(tmp_path, capsys) == (0, "SC1: 0 relations\n")


def test_names_are_spelt_as_in_the_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two relations whose names differ in case MUST NOT look like one in any format."""
    rows = [f'name = "{name}", when = {{ up = 1 }}, requires = {{ down = 1 }}' for name in "rR"]
    run(tmp_path, capsys, *(f'{row}, reason = "x"' for row in rows))
    for form, marked in (("text", "{}:"), ("markdown", "**{}**:"), ("html", "<strong>{}</strong>")):
        assert main(["relations", str(tmp_path / "sc1.toml"), "--format", form]) == 0
        out = capsys.readouterr().out
        assert [out.count(marked.format(name)) for name in "rR"] == [1, 1], form
