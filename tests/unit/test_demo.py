"""The demo site, its fifteen mistakes, the demo and the self-test."""

from __future__ import annotations

import dataclasses
from importlib import metadata
from pathlib import Path

import pytest

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import cases, crc
from safeframe._cli import main
from safeframe._cli import selftest as selftest_command
from safeframe._pairing.gather import gather

VARIANTS = {variant.name: variant for variant in demo.variants()}


def found_in(site: dict[str, str]) -> list[str]:
    ends = [mapfile.loads(text, path=name) for name, text in site.items()]
    return sorted({finding.rule for finding in checks.check_all(gather(ends)).findings})


@pytest.mark.parametrize("site", [demo.before(), demo.after()], ids=["before", "after"])
def test_the_site_is_clean(site: dict[str, str]) -> None:
    assert found_in(site) == []


@pytest.mark.parametrize("name", VARIANTS)
def test_each_mistake_is_found_as_what_it_is(name: str) -> None:
    assert found_in(VARIANTS[name].site) == list(VARIANTS[name].expect)


def test_there_are_fifteen_mistakes() -> None:
    assert len(VARIANTS) == 15


def test_the_change_takes_one_bit_from_the_gap_at_the_same_place() -> None:
    for name in ("sc1-lx.toml", "lx-sc1.toml"):
        old, new = (mapfile.loads(site[name]) for site in (demo.before(), demo.after()))
        for before, after in ((old.sends, new.sends), (old.receives, new.receives)):
            (added,) = set(after.signals) - set(before.signals)
            assert (str(added.at), added.width) == ("1.2", 1)
            assert (before.size_bits, after.size_bits) == (16, 16)
            assert before.reserved[0].width - after.reserved[0].width == 1


def test_a_patch_must_fit_exactly_once() -> None:
    entry = {"name": "x", "patch": [{"file": "a.toml", "old": "b", "new": ""}]}
    with pytest.raises(ValueError, match=r"the patch of x must fit a.toml exactly once: 'b'"):
        demo._variant(entry, {"a.toml": "bb"})


def test_the_demo_runs_and_leaves_its_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["demo"]) == 0
    captured = capsys.readouterr()
    assert captured.err == (
        "safeframe: demo-lift/brake2.json written (record)\n"
        "safeframe: demo-lift/brake2.html written (page of record)\n"
    )
    assert "$ safeframe check demo-lift/before\n" in captured.out
    for name in VARIANTS:
        assert f"{name}: " in captured.out
    assert main(["check", "demo-lift/after"]) == 0
    assert main(["check", "demo-lift/variants/shifted"]) == 1


def test_the_demo_never_overwrites(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep", encoding="utf-8")
    (tmp_path / "file").write_text("keep", encoding="utf-8")
    for name in ("mine", "file"):
        assert main(["demo", "--into", name]) == 2
        assert capsys.readouterr().err == (
            f"safeframe: the folder of the demo must be new or empty, not {name} as it is "
            "(name another one, or remove it)\n"
        )
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_the_demo_fails_when_a_mistake_goes_unseen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    harmless = dataclasses.replace(VARIANTS["shifted"], site=demo.after())
    monkeypatch.setattr(demo, "variants", lambda: (harmless,))
    assert main(["demo", "--into", str(tmp_path / "play")]) == 1


def test_selftest_passes_here(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["selftest"]) == 0
    out = capsys.readouterr().out
    assert f"CRC engine: {crc.engine()}\n" in out
    assert "FAIL" not in out
    assert out.endswith("all passed\n")


def test_selftest_reports_a_wrong_check_value(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    name, algorithm = next(iter(crc.CATALOGUE.items()))
    assert algorithm.check is not None
    wrong = dataclasses.replace(algorithm, check=algorithm.check ^ 1)
    monkeypatch.setitem(crc.CATALOGUE, name, wrong)
    assert main(["selftest"]) == 1
    out = capsys.readouterr().out
    assert f"FAIL  {len(crc.CATALOGUE)} CRC check values: {name}\n" in out
    assert out.endswith("1 failed\n")


def test_selftest_recomputes_every_published_vector(
    capsys: pytest.CaptureFixture[str],
) -> None:
    main(["selftest"])
    out = capsys.readouterr().out
    files = sorted((Path(__file__).parents[2] / "vectors" / "published").glob("*.json"))
    assert files
    for file in map(cases.load, files):
        line = f"PASS  {file.profile}: {file.title}, {len(file.cases)} published\n"
        assert line in out


def test_selftest_names_each_wrong_vector(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(__file__).parents[2] / "vectors" / "published"
    for path in folder.glob("*.json"):
        file = cases.load(path)
        first, *rest = file.cases
        if first.result:
            first = dataclasses.replace(first, result=(first.result[0] ^ 1,))
        else:
            broken = first.octets[:3] + bytes([first.octets[3] ^ 1]) + first.octets[4:]
            first = dataclasses.replace(first, octets=broken)
        cases.save(dataclasses.replace(file, cases=(first, *rest)), tmp_path / path.name)
    monkeypatch.setattr(selftest_command, "_VECTORS", (tmp_path / "none", tmp_path))
    assert main(["selftest"]) == 1
    out = capsys.readouterr().out
    count = len(list(folder.glob("*.json")))
    assert out.count("FAIL") == out.count(": wrong ") == count
    assert (
        "FAIL  fscp-12-1: Recorded exchange: 15 frames with 74 CRCs, 15 published: wrong M0\n"
        in out
    )


def test_selftest_accepts_a_case_that_must_be_rejected() -> None:
    file = cases.load(
        Path(__file__).parents[2] / "vectors" / "published" / "fscp-12-1-exchange.json"
    )
    case = file.cases[0]
    rejected = dataclasses.replace(case, octets=bytes(19), verdict="reject")
    assert selftest_command._holds(file, rejected)
    assert not selftest_command._holds(file, dataclasses.replace(case, verdict="reject"))


def test_selftest_fails_without_vectors(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(selftest_command, "_VECTORS", ())
    assert main(["selftest"]) == 1
    assert "FAIL  published vectors: not installed\n" in capsys.readouterr().out


def test_selftest_names_a_missing_library(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> str:
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", missing)
    assert selftest_command._version("numpy") == "numpy not installed"
