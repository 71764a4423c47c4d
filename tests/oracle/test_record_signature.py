"""Signatures of a record as docs/record.md shows them, made and judged by the real ssh-keygen."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from safeframe import record
from safeframe._cli import main
from tests.test_docs import ROOT, blocks_of
from tests.unit.record_maps import AFTER, SIGNED, with_acts

pytestmark = pytest.mark.oracle

SCRIPTS = [
    block.text
    for block in blocks_of((ROOT / "docs" / "record.md").read_text(encoding="utf-8"))
    if block.language == "sh script"
]
ALLOW = SCRIPTS[1].partition("\n")[0]


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the maps of the demo, a record signed as the page shows, and the key."""
    if shutil.which("ssh-keygen") is None:
        if os.environ.get("CI"):
            pytest.fail("ssh-keygen must be installed")
        pytest.skip("needs ssh-keygen")
    folder = tmp_path_factory.mktemp("signed")
    with pytest.MonkeyPatch.context() as patch:
        enter(folder, patch)
        programs = folder / "programs"
        programs.mkdir()
        program = programs / "safeframe"
        text = f'#!/bin/sh\nexec "{sys.executable}" -m safeframe "$@"\n'
        program.write_text(text, encoding="utf-8")
        program.chmod(0o755)
        assert main(["demo"]) == 0
        record.create("brake2.json", SIGNED)
        key("c-dahl")
        assert run(SCRIPTS[0]).returncode == 0
    return folder


@pytest.fixture
def site(signed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that folder."""
    folder = tmp_path / "site"
    shutil.copytree(signed, folder)
    enter(folder, monkeypatch)
    return folder


def enter(folder: Path, patch: pytest.MonkeyPatch) -> None:
    patch.chdir(folder)
    patch.setenv("PATH", os.pathsep.join((str(folder / "programs"), os.environ["PATH"])))
    patch.setenv("PYTHONPATH", str(ROOT))


def key(name: str) -> None:
    words = ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "", "-f", name]
    subprocess.run(words, check=True)


def run(script: str) -> subprocess.CompletedProcess[str]:
    words = ["bash", "-euo", "pipefail", "-c", script]
    return subprocess.run(words, capture_output=True, text=True, check=False)


def judged(
    signers: str = "allowed-signers", made: record.Record = SIGNED, asked: tuple[str, ...] = ()
) -> record.Assessment:
    found = record.verify(made, AFTER)
    return record.with_signatures(found, "brake2.json", made, signers=signers, signed_by=asked)


@pytest.mark.usefixtures("site")
class TestAsThePageShows:
    def test_sign_and_verify(self) -> None:
        _, allow, by_hand = SCRIPTS
        found = run(allow)
        assert (found.returncode, found.stderr) == (0, "")
        words = " ".join(found.stdout.split())
        assert "accepted by ssh-keygen for c.dahl@site (ED25519 key SHA256:" in words
        assert f"over all {len(SIGNED.history)} entries; allowed signers: allowed-signers" in words
        assert "not cryptographically signed" not in words
        assert 'Good "safeframe-record" signature for c.dahl@site' in run(by_hand).stdout

    @pytest.mark.parametrize("names", ["old@site,c.dahl@site", "*@site"])
    def test_a_line_of_several_names(self, names: str) -> None:
        _, allow, _ = SCRIPTS
        assert run(allow.replace('"c.dahl@site name', f'"{names} name')).returncode == 0
        for asked in ("c.dahl@site", "old@site"):
            found = judged(asked=(asked,))
            assert (found.faults, found.missing) == ((), ())
        assert judged(asked=("c.dahl@site", "old@site")).unsigned == ("c.dahl@site", "old@site")
        assert judged(asked=("c.dahl@other",)).unsigned == ("c.dahl@other",)

    def test_what_is_not_accepted(self) -> None:
        assert run(ALLOW).returncode == 0
        seal, _, sign = SCRIPTS[0].partition("|")
        assert run(f"{seal} > sealed").returncode == 0
        sign = f"cat sealed | {sign}"
        good = Path("brake2.json.c-dahl.sig").read_text(encoding="utf-8")
        key("other")
        for edit, reason in (
            (sign.replace("-f c-dahl", "-f other"), "no allowed signer has its key"),
            (sign.replace("-n safeframe-record", "-n file"), "not accepted for this record"),
            ("echo text > brake2.json.c-dahl.sig", "no allowed signer has its key"),
            (sign.replace("cat sealed", "echo x"), "incorrect signature"),
        ):
            assert run(edit).returncode == 0
            (fault,) = judged().faults
            assert reason in fault, edit
        Path("brake2.json.c-dahl.sig").unlink()
        numbers = range(30, len(good) - 40, 17)
        for number in numbers:
            broken = f"{good[:number]}{'B' if good[number] == 'A' else 'A'}{good[number + 1 :]}"
            Path(f"brake2.json.{number}.sig").write_text(broken, encoding="utf-8")
        for name, fault in zip(sorted(map(str, numbers)), judged().faults, strict=True):
            assert fault.startswith(f"signature brake2.json.{name}.sig: not accepted")

    def test_a_tail_cut_off_and_a_history_made_anew(self) -> None:
        assert run(ALLOW).returncode == 0
        acts = [entry.act for entry in SIGNED.history]
        (*rest, _) = acts
        for made in (with_acts(SIGNED, *rest), with_acts(SIGNED, *acts[1:])):
            assert any("not accepted" in fault for fault in judged(made=made).faults)
        later = record.done(
            SIGNED, "wrong-device", who="A. Berg", when="2026-03-04", result="passed"
        )
        total = len(SIGNED.history)
        notes = judged(made=later).notes
        assert any(f"over entries 1 to {total} of {total + 1}" in note for note in notes)
