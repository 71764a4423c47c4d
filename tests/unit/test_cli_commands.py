"""check, show and rules as a user runs them."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from pathlib import Path

import jsonschema
import pytest

import safeframe
from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe._cli import inputs, main, options
from safeframe._errors import UsageError

SCHEMA = json.loads(
    (Path(safeframe.__file__).parent / "schemas" / "report.schema.json").read_text("utf-8")
)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo site in the folders before and after of the current folder."""
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (tmp_path / state).mkdir()
        for name, text in files.items():
            (tmp_path / state / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def standard_input(monkeypatch: pytest.MonkeyPatch, octets: bytes) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(octets)))


def test_a_clean_pair_exits_0_and_says_so(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "after/sc1-lx.toml", "after/lx-sc1.toml"]) == 0
    captured = capsys.readouterr()
    assert captured.out.startswith("SC1-LX: both ends agree bit for bit\n")
    assert captured.err == ""


def test_one_end_edited_exits_1(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "after/sc1-lx.toml", "before/lx-sc1.toml"]) == 1
    out = capsys.readouterr().out
    assert out.startswith("error: one-sided-signal  [SC1 -> LX]\n  brake2_release (1 bit at 1.2)")
    assert "after/sc1-lx.toml:15" in out
    assert "reserve 5 bits instead of 6" in " ".join(out.split())


def test_several_pairs_and_folders(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pair = ["after/sc1-lx.toml", "after/lx-sc1.toml"]
    assert main(["check", *pair, "after/sc1-lc1.toml", "after/lc1-sc1.toml"]) == 0
    assert capsys.readouterr().out.startswith("SC1-LX, SC1-LC1: both ends agree bit for bit\n")
    assert main(["check", "before"]) == 0
    assert capsys.readouterr().out.startswith("SC1-LC1, SC1-LX, SC1-LX2: both ends agree")


def test_a_folder_skips_what_is_no_map(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("hall-plant.toml", ".hidden.toml", "readme.txt"):
        (site / "after" / name).write_text("nothing", encoding="utf-8")
    assert main(["check", "after"]) == 0
    assert capsys.readouterr().err == ""


def test_an_empty_folder_is_unreadable(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (site / "empty").mkdir()
    assert main(["check", "empty"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: empty: a folder must hold map files (*.toml or *.csv), not none "
        "(safeframe demo writes a folder to start from)\n"
    )


def test_fail_on_moves_the_threshold(site: Path) -> None:
    wrong = ["after/sc1-lx.toml", "before/lx-sc1.toml"]
    assert main(["check", "--fail-on", "error", *wrong]) == 1
    text = (site / "after/lx-sc1.toml").read_text("utf-8")
    assert main(["check", "--fail-on", "note", "after"]) == 0
    allowance = 'allow = [ { rule = "hole", reason = "left over" } ]\n'
    (site / "after/lx-sc1.toml").write_text(text + allowance, encoding="utf-8")
    assert main(["check", "after"]) == 1  # unused-allowance is a warning.
    assert main(["check", "--fail-on", "error", "after"]) == 0


def test_details_show_the_symptoms(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (variant,) = (v for v in demo.variants() if v.name == "shifted")
    (site / "lx.toml").write_text(variant.site["lx-sc1.toml"], encoding="utf-8")
    assert main(["check", "after/sc1-lx.toml", "lx.toml"]) == 1
    assert "(shown with --details)" in capsys.readouterr().out
    assert main(["check", "--details", "after/sc1-lx.toml", "lx.toml"]) == 1
    assert "  - " in capsys.readouterr().out


def test_json_follows_its_schema(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = ["after/sc1-lx.toml", "before/lx-sc1.toml"]
    assert main(["check", "--format", "json", *wrong]) == 1
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    assert [finding["rule"] for finding in document["findings"]] == ["one-sided-signal"] * 2


def test_unreadable_input_in_json(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--format", "json", "missing.toml", "gone.toml"]) == 2
    captured = capsys.readouterr()
    document = json.loads(captured.out)
    jsonschema.validate(document, SCHEMA)
    assert [problem["path"] for problem in document["problems"]] == ["missing.toml", "gone.toml"]
    assert captured.err.startswith("safeframe: missing.toml: ")


def test_unreadable_input_in_text(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "missing.toml", "gone.toml"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("safeframe: ") == 2


def test_an_odd_number_of_files(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "after/sc1-lx.toml"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: map files must be given in pairs, one for each end, not 1 (after/sc1-lx.toml); "
        "name the map of the other end too, or the folder of both\n"
    )


def test_one_end_from_standard_input(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    standard_input(monkeypatch, (site / "before/sc1-lx.toml").read_bytes())
    assert main(["check", "-", "after/lx-sc1.toml"]) == 1
    assert "<stdin>" in capsys.readouterr().out


def test_standard_input_must_be_text(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    standard_input(monkeypatch, b"ab\xff")
    assert main(["show", "-"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: <stdin>:1: a map must be UTF-8 text, not octet 0xff at offset 2 "
        "(save it as UTF-8)\n"
    )


def test_standard_input_is_one_map() -> None:
    with pytest.raises(UsageError, match="must be given once, not twice"):
        inputs.connections(["-", "-"])


def test_a_profile_of_ones_own(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = Path(safeframe.__file__).parent / "protocols" / "fscp_12_1" / "facts.toml"
    text = listed.read_text("utf-8").replace('name = "fscp-12-1"', 'name = "own"', 1)
    (site / "own.toml").write_text(text, encoding="utf-8")
    for name in ("sc1-lx.toml", "lx-sc1.toml"):
        path = site / "after" / name
        map_text = path.read_text("utf-8").replace('profile = "fscp-12-1"', 'profile = "own"')
        path.write_text(map_text, encoding="utf-8")
    pair = ["after/sc1-lx.toml", "after/lx-sc1.toml"]
    assert main(["check", *pair]) == 1
    assert "unknown-profile" in capsys.readouterr().out
    assert main(["check", "--profile", "own.toml", *pair]) == 0
    assert capsys.readouterr().err == ""
    # Twice the same says the same, two of one name do not: neither of them counts.
    (site / "other.toml").write_text(text.replace("65535", "255"), encoding="utf-8")
    assert main(["check", "--profile", "own.toml", "--profile", "./own.toml", *pair]) == 0
    capsys.readouterr()
    for first, second in (("own", "other"), ("other", "own")):
        given = ["--profile", f"{first}.toml", "--profile", f"{second}.toml"]
        assert main(["check", *given, *pair]) == 2
        found = capsys.readouterr()
        assert found.out == ""
        assert found.err == (
            f"safeframe: --profile must state a profile once, not own in {first}.toml and "
            f"otherwise in {second}.toml\n"
        )


def test_a_profile_that_stands_in_for_a_listed_one(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = 'format = "safeframe-profile/1"\nname = "fscp-12-1"\ntitle = "Lenient"\n'
    (site / "lenient.toml").write_text(text, encoding="utf-8")
    pair = ["after/sc1-lx.toml", "after/lx-sc1.toml"]
    assert main(["check", "--profile", "lenient.toml", *pair]) == 0
    assert capsys.readouterr().err == (
        "safeframe: lenient.toml: stands in for the package's own profile fscp-12-1\n"
    )


def test_show_prints_both_directions(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["show", "after/sc1-lx.toml"]) == 0
    out = capsys.readouterr().out
    assert "SC1 sends: 2 octets, 10 signals\n" in out
    assert "SC1 receives: 2 octets, 10 signals\n" in out


@pytest.mark.parametrize("notation", ["toml", "csv"])
def test_show_rewrites_the_map(
    notation: str, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["show", "--format", notation, "after/lx-sc1.toml"]) == 0
    (site / f"again.{notation}").write_text(capsys.readouterr().out, encoding="utf-8")
    assert main(["check", "after/sc1-lx.toml", f"again.{notation}"]) == 0


def test_rules_lists_every_rule(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules"]) == 0
    out = capsys.readouterr().out
    words = " ".join(out.split())
    for rule in checks.RULES:
        assert f"  {rule.name} " in out
        assert set(rule.title.split()) <= set(words.split())


@pytest.mark.parametrize("name", [rule.name for rule in checks.RULES])
def test_every_rule_has_a_page(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", name]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"{name}: ")
    for label in ("  why ", "  remedy ", "  source ", "  allow "):
        assert label in out


def test_a_page_shows_the_example_of_the_demo(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "octet-order"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "LX reads the two octets in the opposite order" in out


def test_an_unknown_rule_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "shifted-signal"]) == 2
    assert "nearest: shifted-signals" in capsys.readouterr().err


def test_a_terminal_gives_its_width(monkeypatch: pytest.MonkeyPatch) -> None:
    args = argparse.Namespace(color="never")
    assert options.look(args).width == 80
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((72, 20)))
    assert options.look(args).width == 72
    monkeypatch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((300, 20)))
    assert options.look(args).width == 110


def test_forced_color_reaches_the_report(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert main(["check", "after"]) == 0
    assert capsys.readouterr().out.startswith("\x1b[1;32mSC1-LC1")
    monkeypatch.setenv("NO_COLOR", "1")
    assert main(["check", "after"]) == 0
    assert "\x1b" not in capsys.readouterr().out
