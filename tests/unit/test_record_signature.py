"""Detached signatures: the text that is signed, and what is said of the files that are found.

The program is a stand-in here; tests/oracle/test_record_signature.py asks the real one.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import record
from safeframe._cli import main
from safeframe._errors import InputError, UsageError
from tests.unit.record_maps import FRESH, SIGNED, TESTED, acts_of, with_acts

WHOLE = record.assess(SIGNED)
TOTAL = len(SIGNED.history)

PROGRAM = """\
#!{python} -IS
import sys
words = sys.argv[1:]
given = sys.stdin.buffer.read()
value = dict(zip(words[::2], words[1::2]))
signature = open(value["-s"], "rb").read().decode()
signers = open(value["-f"], "rb").read().decode()
who, _, text = signature.partition("\\n")
if words[1] == "find-principals":
    keys = [line for line in signers.splitlines() if who in line.strip('"').split(",")]
    print(*keys[0].strip('"').split(",") if keys else (), sep="\\n")
    sys.exit(not keys)
assert value["-n"] == "safeframe-record", words
lines = [line.strip('"').split(",") for line in signers.splitlines()]
allowed = {{name for names in lines if who in names for name in names}}
if value["-I"] not in allowed - {{"git"}}:
    sys.exit("the key is not permitted for this namespace")
if text.encode() != given:
    sys.exit("Signature verification failed: incorrect signature\\nmore")
print(f'Good "safeframe-record" signature for {{who}} with ED25519 key K-{{who}}')
"""
"""Accepts a "signature" that holds a known name and the very text."""


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    programs = tmp_path / "bin"
    programs.mkdir()
    program = programs / "ssh-keygen"
    program.write_text(PROGRAM.format(python=sys.executable), encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", str(programs))
    folder = tmp_path / "site"
    folder.mkdir()
    record.create(folder / "r.json", SIGNED)
    (tmp_path / "signers").write_text("a@site\nb@site\n", encoding="utf-8")
    return folder


def sign(folder: Path, name: str, who: str, made: record.Record = SIGNED) -> Path:
    path = folder / name
    path.write_bytes(f"{who}\n{record.seal_text(made)}".encode())
    return path


def judged(
    folder: Path, signers: str = "../signers", *by: str, made: record.Record = SIGNED
) -> record.Assessment:
    where = str(folder / signers) if signers else ""
    return record.with_signatures(WHOLE, folder / "r.json", made, signers=where, signed_by=by)


class TestText:
    def test_what_is_signed(self) -> None:
        assert record.seal_text(SIGNED) == (
            "safeframe-record-seal/1\n"
            'connection "SC1-LX"\n'
            f"computed {SIGNED.computed_sha256}\n"
            f"entries {TOTAL}\n"
            f"last {SIGNED.history[-1].seal}\n"
            'approval "C. Dahl", "safety engineer", "2026-03-03"\n'
            'approval "D. Evans", "head of service", "2026-03-03"\n'
        )
        bare = with_acts(FRESH)
        assert f"entries 0\nlast {FRESH.computed_sha256}\n" in record.seal_text(bare)

    @given(st.text(max_size=9))
    def test_any_name_is_one_ascii_line_that_no_build_obeys(self, name: str) -> None:
        made = with_acts(TESTED, record.ApprovalAct(who=name, role="##[x]::", when="d"))
        text = record.seal_text(made)
        assert text.isascii()
        assert text.count("\n") == 6
        assert "##" not in text
        assert not any(line.startswith("::") for line in text.splitlines())

    def test_every_entry_changes_it(self) -> None:
        texts = {record.seal_text(with_acts(SIGNED, *acts_of(SIGNED)[:n])) for n in range(TOTAL)}
        assert len(texts) == TOTAL

    def test_what_is_broken_is_not_signed(self) -> None:
        with pytest.raises(UsageError, match="must be whole to be signed, not: entry 1 "):
            record.seal_text(replace(SIGNED, history=SIGNED.history[1:]))
        edited = replace(SIGNED, computed=replace(SIGNED.computed, edition="x"))
        with pytest.raises(UsageError, match="not: the computed part was edited"):
            record.seal_text(edited)


class TestFiles:
    def test_none(self, site: Path) -> None:
        assert judged(site, "") == judged(site)
        assert judged(site).notes == ("not cryptographically signed: there is no signature file",)
        assert judged(site).complete_and_signed
        assert judged(site, "../signers", "a@site").missing == (
            "signature: none by a@site over all that was entered",
        )

    def test_accepted(self, site: Path) -> None:
        path = sign(site, "r.json.a.sig", "a@site")
        found = judged(site, "../signers", "a@site")
        assert (found.faults, found.missing) == ((), ())
        (note,) = found.notes
        assert note.startswith(
            f"signature {path}: accepted by ssh-keygen for a@site (ED25519 key K-a@site), over all "
            f"{TOTAL} entries; allowed signers: {site}/../signers, SHA-256 "
        )
        assert "comes with the record" not in note
        assert judged(site, "../signers", "b@site").missing == (
            "signature: none by b@site over all that was entered",
        )

    def test_not_accepted(self, site: Path) -> None:
        sign(site, "r.json.a.sig", "a@site", TESTED).write_text("a@site\nother\n", encoding="utf-8")
        sign(site, "r.json.sig", "x@site")
        one, two = judged(site).faults
        assert (
            "r.json.a.sig: not accepted for this record (Signature verification failed: incorrect "
            "signature); allowed signers: " in one
        )
        assert "r.json.sig: not accepted: no allowed signer has its key; allowed signers: " in two
        assert judged(site).notes == (
            "not cryptographically signed: none of the signature files was accepted",
        )

    def test_the_page_is_no_better_than_what_verify_says(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """A record MUST NOT be shown as signed while one of its signatures is refused."""
        words = ["record", "show", str(site / "r.json"), "--signers", str(site.parent / "signers")]
        sign(site, "r.json.a.sig", "a@site")
        assert main(words) == 0
        assert "**COMPLETE AND SIGNED: compare " in capsys.readouterr().out
        path = sign(site, "r.json.x.sig", "x@site")
        assert main(words) == 0
        out = capsys.readouterr().out
        assert "**NOT COMPLETE AND SIGNED: 1 FAULT**" in out
        assert f"- signature {path}: not accepted: no allowed signer has its key; " in out

    @pytest.mark.parametrize("other", ["git,a@site", '"git,a@site"'])
    def test_a_key_that_is_listed_for_something_else_first(self, site: Path, other: str) -> None:
        """Of a key that is listed more than once, each line MUST be asked."""
        signers = site.parent / "signers"
        sign(site, "r.json.a.sig", "a@site")
        for text in (f"{other}\n\na@site\n", f"{other}\n"):
            signers.write_text(text, encoding="utf-8")
            (row,) = record.signatures(site / "r.json", SIGNED, signers=str(signers))
            assert (row.by, row.entries, row.accepted) == ("a@site", TOTAL, True)

    @pytest.mark.parametrize("text", ["old@site,a@site\n", "old@site\nold@site,a@site\n"])
    def test_a_key_of_several_names(self, site: Path, text: str) -> None:
        """A signature MUST count for whom it is accepted, wherever the name stands in a line."""
        (site.parent / "signers").write_text(text, encoding="utf-8")
        path = sign(site, "r.json.a.sig", "old@site")
        for name in ("a@site", "old@site"):
            found = judged(site, "../signers", name)
            assert (found.missing, found.unsigned) == ((), ())
        assert "accepted by ssh-keygen for old@site, a@site (ED25519 " in found.notes[0]
        found = judged(site, "../signers", "a@site", "old@site")
        assert found.unsigned == ("a@site", "old@site")
        assert found.notes[1] == (
            f"signature {path}: its key is that of a@site and old@site, so that it counts for none "
            "of them"
        )
        assert judged(site, "../signers", "b@site").unsigned == ("b@site",)

    def test_not_asked(self, site: Path) -> None:
        path = sign(site, "r.json.a.sig", "a@site")
        found = judged(site, "")
        assert found.complete_and_signed
        assert found.notes == (
            f"signature {path}: not checked: no file of allowed signers was named (--signers)",
            "not cryptographically signed: none of the signature files was accepted",
        )

    def test_an_earlier_state(self, site: Path) -> None:
        """A signature stays what it was when entries follow, a withdrawal included."""
        first = with_acts(SIGNED, *acts_of(SIGNED)[:-1])
        sign(site, "r.json.a.sig", "a@site", first)
        found = judged(site, "../signers", "a@site")
        assert f"over entries 1 to {TOTAL - 1} of {TOTAL}, not over those after" in found.notes[0]
        assert found.missing == ()  # What came later is an approval.
        withdrawn = record.withdraw(SIGNED, "C. Dahl", who="x", when="y", reason="z")
        later = record.fill(withdrawn, "LX", who="A. Berg", when="d", serial="9")
        found = judged(site, "../signers", "a@site", made=later)
        assert f"over entries 1 to {TOTAL - 1} of {TOTAL + 2}" in found.notes[0]
        assert found.notes[1] == (
            f"not cryptographically signed: entry {TOTAL + 2} and those after it"
        )
        assert found.missing == ("signature: none by a@site over all that was entered",)
        sign(site, "r.json.a.sig", "a@site", with_acts(SIGNED, *acts_of(SIGNED)[:5]))
        assert "over entries 1 to 5 of" in judged(site).notes[0]

    def test_a_tail_cut_off_is_seen_by_a_signature_over_it(self, site: Path) -> None:
        sign(site, "r.json.a.sig", "a@site", record.fill(SIGNED, "LX", serial="9"))
        assert "not accepted for this record" in judged(site).faults[0]

    def test_signers_that_came_with_the_record_are_told(self, site: Path) -> None:
        sign(site, "r.json.a.sig", "a@site")
        told = "which comes with the record: who can edit the one can edit the other"
        (site / "allowed").write_text("a@site\n", encoding="utf-8")
        assert judged(site, "allowed").notes[0].endswith(told)
        (site.parent / ".git").mkdir()
        with pytest.raises(UsageError, match="ssh-keygen must be that of the system, not "):
            judged(site)
        (site.parent / "bin").rename(site.parent.parent / f"{site.parent.name}-bin")
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("PATH", str(site.parent.parent / f"{site.parent.name}-bin"))
            assert judged(site).notes[0].endswith(told)

    def test_the_program_is_asked_for_files_only(
        self, site: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("PATH", "")
        assert judged(site).notes != ()
        sign(site, "r.json.a.sig", "a@site")
        with pytest.raises(UsageError, match=r"ssh-keygen must be installed .*OpenSSH 8\.2"):
            judged(site)

    def test_a_program_in_the_current_folder_is_none(
        self, site: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        sign(site, "r.json.a.sig", "a@site")
        monkeypatch.chdir(site.parent / "bin")
        with pytest.raises(UsageError, match="must be that of the system"):
            judged(site)

    def test_a_program_that_does_not_run(self, site: Path) -> None:
        sign(site, "r.json.a.sig", "a@site")
        (site.parent / "bin" / "ssh-keygen").write_text("#!/nowhere/python\n", encoding="utf-8")
        with pytest.raises(UsageError, match="ssh-keygen must run: No such file"):
            judged(site)

    def test_a_program_that_does_not_answer(
        self, site: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        sign(site, "r.json.a.sig", "a@site")
        text = f"#!{sys.executable}\nimport sys, time\n"
        text += "print('a@site') if 'find-principals' in sys.argv else time.sleep(60)\n"
        (site.parent / "bin" / "ssh-keygen").write_text(text, encoding="utf-8")
        monkeypatch.setattr("safeframe.record._signature._PATIENCE_S", 0.3)
        monkeypatch.setattr("safeframe.record._signature._MOST_STATES", 1)
        (fault,) = judged(site).faults
        assert "not accepted for this record (no answer within 0 s)" in fault

    def test_a_program_that_answers_in_other_words(self, site: Path) -> None:
        sign(site, "r.json.a.sig", "a@site")
        program = site.parent / "bin" / "ssh-keygen"
        program.write_text("#!/bin/sh\necho a@site\n", encoding="utf-8")
        assert "accepted by ssh-keygen for a@site ()" in judged(site).notes[0]
        program.write_text('#!/bin/sh\necho a@site\n[ "$2" != verify ]\n', encoding="utf-8")
        (fault,) = judged(site).faults
        assert "not accepted for this record; allowed" in fault

    def test_what_is_no_signature_of_this_record(self, site: Path) -> None:
        for name in ("r.jsonx.sig", "q.json.sig", "r.json.sig.txt", "r.json"):
            if name != "r.json":
                sign(site, name, "a@site")
        assert record.signatures(site / "r.json", SIGNED) == ()

    def test_hostile_files(self, site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (site / "r.json.a.sig").mkdir()
        with pytest.raises(InputError, match="directory"):
            judged(site)
        (site / "r.json.a.sig").rmdir()
        with pytest.raises(InputError, match="must be readable"):
            judged(site, "missing")
        monkeypatch.chdir(site)
        for number in range(101):
            (site / f"r.json.{number}.sig").touch()
        with pytest.raises(UsageError, match="at most 100 signatures, not 101"):
            record.signatures("r.json", SIGNED)
