"""diff as a user runs it."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe import compare_sites, read_site
from safeframe import protocols as profiles
from safeframe._cli import main
from safeframe._report.document import CAUTION
from safeframe._report.text import wrap
from tests.unit.schemas import validate

SHOWN = "\n".join(wrap(CAUTION))
PAIR = ["sc1-lx.toml", "lx-sc1.toml"]
BEFORE = [f"before/{name}" for name in PAIR]
AFTER = [f"after/{name}" for name in PAIR]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo site in the folders before and after of the current folder."""
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (tmp_path / state).mkdir()
        for name, text in files.items():
            (tmp_path / state / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def edit(site: Path, name: str, old: str, new: str) -> None:
    path = site / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_one_end_before_and_after(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", BEFORE[0], AFTER[0]]) == 1
    out = capsys.readouterr().out
    assert out.startswith("wire: brake2_release  [sends]\n    added: 1.2, bool, 1 bit\n")
    assert "\nSC1: 2 differences (2 wire)\n" in out
    assert out.endswith(f"{SHOWN}\n")


def test_end_against_end(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", *AFTER]) == 0
    assert capsys.readouterr().out == f"SC1 and LX: no difference\n{SHOWN}\n"
    assert main(["diff", AFTER[0], BEFORE[1]]) == 1
    assert "only SC1 has it: 1.2, bool, 1 bit" in capsys.readouterr().out


def test_four_files_alike(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", *BEFORE, *AFTER]) == 0
    out = capsys.readouterr().out
    assert out.startswith("SC1-LX: SC1 and LX were edited identically\n")
    assert "check finds" not in out
    # What the check of the new pair leaves open MUST NOT pass for judged.
    assert "\n  check: not judged: application_parameters at both ends (no end states it)\n" in out
    assert "9 other signals arrive unchanged" in out
    assert main(["diff", "--all", *BEFORE, *AFTER]) == 0
    assert "permit_torque" in capsys.readouterr().out


def test_a_new_address_of_one_end_is_not_judged(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An address that the other end may have to be told MUST NOT count as settled."""
    before = (site / "before/sc1-lx.toml").read_text(encoding="utf-8")
    edit(site, "before/sc1-lx.toml", 'name = "SC1",', 'name = "SC1", address = 9,')
    new = (site / "before/sc1-lx.toml").read_text(encoding="utf-8")
    assert new != before
    (site / "new.toml").write_text(new, encoding="utf-8")
    (site / "before/sc1-lx.toml").write_text(before, encoding="utf-8")
    assert main(["diff", *BEFORE, "new.toml", BEFORE[1]]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "Change class: identity" in told
    assert "address 9 at SC1, before" in told
    assert "not judged whether any frame is taken (address)" in told
    assert "signals are not judged" in told
    assert main(["diff", "--format", "json", *BEFORE, "new.toml", BEFORE[1]]) == 1
    document = json.loads(capsys.readouterr().out)
    validate("diff", document)
    tables = [table for mix in document["mixes"] for table in mix["tables"]]
    assert [table["not_judged"] for table in tables] == [["address"], ["address"], [], []]
    (site / "after").rename(site / "kept")
    (site / "after").mkdir()
    (site / "after/sc1-lx.toml").write_text(new, encoding="utf-8")
    (site / "after/lx-sc1.toml").write_text(
        (site / "before/lx-sc1.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    comparison = compare_sites(read_site("before"), read_site("after"))
    (row,) = (each for each in comparison.rows if each.name == "SC1-LX")
    assert row.fails()


def test_four_files_with_a_one_sided_edit(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", *BEFORE, AFTER[0], BEFORE[1]]) == 1
    out = capsys.readouterr().out
    assert "SC1: added brake2_release at 1.2  after/sc1-lx.toml:15\n" in out
    assert "LX: did not add brake2_release  before/lx-sc1.toml:" in out


def test_edits_alike_to_an_illegal_size_are_no_approval(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in AFTER:
        run = '{ at = "1.3", reserved = 5 },'
        edit(site, name, run, run + ' { at = "2.0", reserved = 8 },')
    assert main(["diff", "--fail-on", "wire", *BEFORE, *AFTER]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[:4] == [
        "SC1-LX: SC1 and LX were edited identically",
        "  before the edits  the ends agree",
        "  after the edits   the ends agree",
        "  check finds 2 errors in the new pair: illegal-size; to see them, run",
    ]
    assert main(["diff", "--format", "json", *BEFORE, *AFTER]) == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["verdict"], document["check_after"]) == (
        "identical",
        {
            "errors": 2,
            "warnings": 0,
            "rules": ["illegal-size"],
            "not_judged": [
                {
                    "rule": "parameter-differs",
                    "reason": "no end states it",
                    "subject": "application_parameters at both ends",
                }
            ],
        },
    )
    assert main(["diff", "--format", "markdown", *BEFORE, *AFTER]) == 1
    out = capsys.readouterr().out
    assert "**check finds 2 errors in the new pair: illegal" in out


def test_ends_that_differ_before_and_after_edits_alike(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in (BEFORE[0], AFTER[0]):
        edit(site, name, "watchdog_ms = 100", "watchdog_ms = 90")
    assert main(["diff", *BEFORE, *AFTER]) == 1
    out = capsys.readouterr().out
    assert out.startswith("SC1-LX: SC1 and LX were edited identically, but the ends differ\n")


def test_a_profile_of_ones_own(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (Path(profiles.__file__).parent / "fscp_12_1" / "facts.toml").read_text("utf-8")
    (site / "own.toml").write_text(text.replace('"fscp-12-1"', '"own"', 1), encoding="utf-8")
    for name in (*BEFORE, *AFTER):
        edit(site, name, 'profile = "fscp-12-1"', 'profile = "own"')
    assert main(["diff", *BEFORE, *AFTER]) == 1
    assert "unknown-profile" in capsys.readouterr().out
    assert main(["diff", "--profile", "own.toml", *BEFORE, *AFTER]) == 0
    assert "check finds" not in capsys.readouterr().out
    edit(site, AFTER[0], "exchange_ms = 12", "exchange_ms = 13")
    assert main(["diff", "--profile", "own.toml", *BEFORE, *AFTER]) == 1
    again = "  safeframe check after/sc1-lx.toml after/lx-sc1.toml --profile own.toml\n"
    assert again in capsys.readouterr().out


def test_four_files_with_the_bit_at_two_places(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edit(
        site,
        "after/lx-sc1.toml",
        '{ at = "1.2", name = "brake2_release"',
        '{ at = "1.2", reserved = 1 },\n  { at = "1.3", name = "brake2_release"',
    )
    edit(
        site,
        "after/lx-sc1.toml",
        'bind = "Drive.Brake2Release" },\n  { at = "1.3", reserved = 5 }',
        'bind = "Drive.Brake2Release" },\n  { at = "1.4", reserved = 4 }',
    )
    assert main(["diff", *BEFORE, *AFTER]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "SC1: added brake2_release at 1.2 after/sc1-lx.toml:15 " in out
    assert "LX: added brake2_release at 1.3 after/lx-sc1.toml:29 " in out


@pytest.mark.parametrize(
    ("old", "new", "level"),
    [
        ('at = "0.6", name = "brake1_release"', 'at = "1.5", name = "brake1_release"', "wire"),
        ("watchdog_ms = 100", "watchdog_ms = 90", "value"),
        ('"permit_up"', '"up_permit"', "name"),
        ("Lift.PermitUp", "Lift.Up", "text"),
    ],
)
def test_fail_on(site: Path, old: str, new: str, level: str) -> None:
    edit(site, "after/sc1-lx.toml", old, new)
    (site / "old.toml").write_text(demo.after()["sc1-lx.toml"], encoding="utf-8")
    levels = ["wire", "value", "name", "text"]
    codes = [main(["diff", "--fail-on", at, "old.toml", AFTER[0]]) for at in levels]
    assert codes == [int(levels.index(at) >= levels.index(level)) for at in levels]


def test_json(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for files, mode, code in (
        ([BEFORE[0], AFTER[0]], "versions", 1),
        (AFTER, "ends", 0),
        ([*BEFORE, *AFTER], "edits", 0),
    ):
        assert main(["diff", "--format", "json", *files]) == code
        document = json.loads(capsys.readouterr().out)
        assert (document["format"], document["mode"]) == ("safeframe-diff/2", mode)


def test_markdown_and_a_page(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for files, code, title in (
        ([BEFORE[0], AFTER[0]], 1, "Differences of SC1"),
        (AFTER, 0, "Differences of SC1 and LX"),
        ([*BEFORE, *AFTER], 0, "SC1-LX: SC1 and LX were edited identically"),
    ):
        assert main(["diff", "--format", "markdown", "--html", "page.html", *files]) == code
        out = capsys.readouterr().out
        assert out.startswith(f"## {title}\n")
        assert "Check of the new pair" not in out
        assert f"<h1>{title}</h1>" in (site / "page.html").read_text(encoding="utf-8")
    assert main(["diff", "--html", "page.html", *BEFORE, *AFTER]) == 0
    assert capsys.readouterr().out.startswith("SC1-LX: SC1 and LX were edited identically\n")


def test_unreadable_input_as_markdown(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(site, AFTER[0], "watchdog_ms = 100", "watchdog = 100")
    assert main(["diff", "--format", "markdown", *AFTER]) == 2
    assert "watchdog" in capsys.readouterr().out


def test_standard_input(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    octets = (site / AFTER[1]).read_bytes()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(octets)))
    assert main(["diff", BEFORE[0], "-"]) == 1
    assert "<stdin>:" in capsys.readouterr().out


def test_the_mode_can_be_forced(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", "--versions", "before/sc1-lx.toml", "before/sc1-lx2.toml"]) == 1
    assert "SC1: " in capsys.readouterr().out
    assert main(["diff", "--ends", BEFORE[0], "before/lx2-sc1.toml"]) == 1
    assert "SC1 and LX2: " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([BEFORE[0]], "map files must be two or four, not 1"),
        ([*BEFORE, AFTER[0]], "map files must be two or four, not 3"),
        (["-", "-"], "standard input (-) must be given once, not twice"),
        (["--ends", *BEFORE, *AFTER], "--ends must stand with two map files, not four"),
        (
            [BEFORE[1], "before/lx2-sc1.toml"],
            "two map files must be one end before and after, or two ends that name each other, "
            "not LX (peer SC1) and LX2 (peer SC1); --versions or --ends decides",
        ),
        (
            [BEFORE[0], AFTER[0], BEFORE[1], AFTER[1]],
            "four map files must be both ends before, then both ends after in the same order, "
            "not SC1, SC1, LX, LX",
        ),
        (
            [*BEFORE, AFTER[1], AFTER[0]],
            "four map files must be both ends before, then both ends after in the same order, "
            "not SC1, LX, LX, SC1",
        ),
    ],
)
def test_wrong_use_exits_2(
    site: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], message: str
) -> None:
    assert main(["diff", *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.err == f"safeframe: {message}\n"
    assert captured.out == ""


def test_an_end_that_names_itself_is_ambiguous(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edit(site, AFTER[0], 'peer = "LX"', 'peer = "SC1"')
    assert main(["diff", BEFORE[0], AFTER[0]]) == 2
    assert "--versions or --ends decides" in capsys.readouterr().err


def test_unreadable_input_exits_2(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edit(site, AFTER[0], "watchdog_ms = 100", "watchdog = 100")
    assert main(["diff", BEFORE[0], AFTER[0]]) == 2
    captured = capsys.readouterr()
    assert "after/sc1-lx.toml:3" in captured.err
    assert captured.out == ""
    assert main(["diff", "--format", "json", BEFORE[0], AFTER[0]]) == 2
    document = json.loads(capsys.readouterr().out)
    assert (document["mode"], document["problems"][0]["line"]) == ("unreadable", 3)


def test_help_shows_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diff", "--help"]) == 0
    out = capsys.readouterr().out
    assert "safeframe diff before/sc1-lx.toml after/sc1-lx.toml\n" in out
    assert "exit codes: 0 nothing differs" in out
