"""``safeframe record``: the whole way from request to release, and its refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe import record
from safeframe._cli import main
from tests.unit.record_maps import FRESH, SIGNED, TESTED

MAPS = ["before/sc1-lx.toml", "before/lx-sc1.toml", "after/sc1-lx.toml", "after/lx-sc1.toml"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for state, files in (("before", demo.before()), ("after", demo.after())):
        (tmp_path / state).mkdir()
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            (tmp_path / state / name).write_text(files[name], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for name, made in (("tested.json", TESTED), ("signed.json", SIGNED)):
        (tmp_path / name).write_text(record.dumps(made), encoding="utf-8")
    return tmp_path


def test_new(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--reason", "second holding brake", "--asked-by", "A. Berg", "--hazard", "load drops"]
    pages = ["--html", "r.html", "--markdown", "r.md", "--paper", "letter"]
    assert main(["record", "new", *MAPS, "-o", "r.json", *words, *pages]) == 0
    assert capsys.readouterr().out == "r.json: not complete and signed: 34 points open\n"
    assert record.load("r.json") == FRESH
    assert "size: letter" in (folder / "r.html").read_text(encoding="utf-8")
    assert (
        (folder / "r.md")
        .read_text(encoding="utf-8")
        .startswith("<!-- safeframe record -->\n## Record of a change: SC1-LX")
    )
    assert not (folder / "r.json.new").exists()
    assert main(["record", "new", *MAPS, "-o", "r.json"]) == 2
    assert capsys.readouterr().err == (
        "safeframe: --output must name a new file, not r.json, which exists\n"
    )


@pytest.mark.usefixtures("folder")
class TestActions:
    def test_wrong_order(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["record", "new", *MAPS[::2], *MAPS[1::2], "-o", "r.json"]) == 2
        assert "not SC1, SC1, LX, LX" in capsys.readouterr().err

    def test_fill_done_sign_verify(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert (
            main(
                [
                    "record",
                    "new",
                    *MAPS,
                    "-o",
                    "r.json",
                    "--reason",
                    "x",
                    "--asked-by",
                    "y",
                    "--hazard",
                    "z",
                ]
            )
            == 0
        )
        for end in ("SC1", "LX"):
            assert (
                main(
                    [
                        "record",
                        "fill",
                        "r.json",
                        "--end",
                        end,
                        "--who",
                        "A. Berg",
                        "--when",
                        "2026-03-02",
                        "--serial",
                        "1",
                    ]
                )
                == 0
            )
            assert (
                main(
                    [
                        "record",
                        "fill",
                        "r.json",
                        "--end",
                        end,
                        "--who",
                        "B. Chen",
                        "--when",
                        "2026-03-03",
                        "--checksum",
                        "4F",
                        "--expected",
                        "4f",
                    ]
                )
                == 0
            )
        steps = [step.id for step in record.load("r.json").computed.checklist]
        assert main(["record", "done", "r.json", *steps, "--who", "B", "--when", "2026-03-02"]) == 0
        assert capsys.readouterr().out.endswith("r.json: not complete and signed: 1 point open\n")
        assert main(["record", "verify", "r.json", *MAPS[2:]]) == 1
        assert "  open: approvals: 0 of 2\n" in capsys.readouterr().out
        for who in ("C. Dahl", "D. Evans"):
            assert (
                main(
                    [
                        "record",
                        "sign",
                        "r.json",
                        "--who",
                        who,
                        "--role",
                        "engineer",
                        "--when",
                        "2026-03-03",
                    ]
                )
                == 0
            )
        assert main(["record", "verify", "r.json", *MAPS[2:], "--before", *MAPS[:2]]) == 0
        assert "SC1-LX: the record fits the maps, is complete and signed" in capsys.readouterr().out

    def test_interrupted_once_it_is_written(
        self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """MUST: an entry that is made is told, whenever the key comes: again would be twice."""

        def interrupted(_: record.Record) -> record.Assessment:
            raise KeyboardInterrupt

        monkeypatch.setattr(record, "assess", interrupted)
        fill = ["record", "fill", "tested.json", "--end", "SC1", "--serial", "7"]
        assert main([*fill, "--who", "A. Berg", "--when", "2026-03-02"]) == 130
        assert capsys.readouterr().err == "safeframe: interrupted: tested.json holds the entry\n"
        assert len(record.load("tested.json").history) == len(TESTED.history) + 1

    def test_verify_after_an_edit(self, capsys: pytest.CaptureFixture[str]) -> None:
        path = Path(MAPS[3])
        text = path.read_text(encoding="utf-8")
        path.write_text(f"# remark\n{text}", encoding="utf-8")
        assert main(["record", "verify", "signed.json", *MAPS[2:]]) == 0
        path.write_text(text.replace("Drive.Brake2Release", "Drive.Brake1"), encoding="utf-8")
        assert main(["record", "verify", "--format", "json", "signed.json", *MAPS[2:]]) == 1
        out = capsys.readouterr().out
        document = json.loads(out[out.index("{") :])
        assert document["complete_and_signed"] is False
        assert document["faults"] == [
            "the maps are not those of the record, which is void for them:",
            "LX: binding of brake2_release Drive.Brake2Release -> Drive.Brake1, "
            "after/lx-sc1.toml:28",
        ]
        assert any(note.startswith("the seals show an entry that") for note in document["notes"])

    def test_a_record_that_is_corrected_can_be_signed_again(
        self, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def run(action: str, *words: str) -> int:
            return main(["record", action, "signed.json", *words, "--when", "2026-03-04"])

        fill = ("--end", "LX", "--who", "A. Berg", "--serial", "2002", "--checksum", "4F2A0011")
        assert run("fill", *fill) == 0
        assert main(["record", "verify", "signed.json", *MAPS[2:]]) == 1
        sign = ("--who", "C. Dahl", "--role", "safety engineer")
        assert run("sign", *sign) == 2
        assert "must be withdrawn first" in capsys.readouterr().err
        for name in ("C.Dahl", "D. EVANS"):
            reason = ("--approval", name, "--who", "D. Evans", "--reason", "device replaced")
            assert run("withdraw", *reason) == 0
        assert run("sign", *sign) == 0
        assert run("sign", "--who", "D. Evans", "--role", "head of service") == 0
        assert main(["record", "verify", "signed.json", *MAPS[2:]]) == 0
        made = record.load("signed.json")
        assert made.history[: len(SIGNED.history)] == SIGNED.history
        assert made.people.read_backs[1].who == "A. Berg"
        assert run("request", "--who", "A. Berg", "--hazard", "load drops", "--hazard", "x") == 0
        assert record.load("signed.json").people.request.hazards == ("load drops", "x")
        assert record.load("signed.json").people.request.reason == "second holding brake"
        assert run("request", "--who", "A. Berg", "--reason", "y") == 0
        assert record.load("signed.json").people.request.hazards == ("load drops", "x")

    def test_seal(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["record", "seal", "signed.json"]) == 0
        assert capsys.readouterr().out == record.seal_text(SIGNED)
        words = ["record", "verify", "signed.json", *MAPS[2:], "--signed-by", "x"]
        assert main(words) == 2
        assert "--signed-by must come with --signers" in capsys.readouterr().err
        Path("signers").write_text("", encoding="utf-8")
        assert main([*words, "--signers", "signers"]) == 1
        out = capsys.readouterr().out
        assert "  open: signature: none by x over all that was entered\n" in out
        assert "  note: not cryptographically signed: there is no signature file\n" in out

    def test_show(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["record", "show", "signed.json"]) == 0
        assert "**COMPLETE AND SIGNED" in capsys.readouterr().out
        assert main(["record", "show", "signed.json", "--html", "s.html"]) == 0
        assert capsys.readouterr().out == ""
        assert "size: A4" in Path("s.html").read_text(encoding="utf-8")

    def test_refusals(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["record"]) == 2
        assert main(["record", "load"]) == 2
        assert main(["record", "show", "missing.json"]) == 2
        assert "missing.json: the file must be readable" in capsys.readouterr().err
        assert main(["record", "show", "after"]) == 2
        assert "the path must lead to a record, not to a directory" in capsys.readouterr().err
        assert (
            main(["record", "sign", "tested.json", "--who", "A", "--role", "r", "--when", "w"]) == 0
        )
        assert (
            main(["record", "sign", "tested.json", "--who", "a", "--role", "r", "--when", "w"]) == 2
        )
        assert "an approval must be by another person" in capsys.readouterr().err
        assert main(["record", "fill", "tested.json", "--end", "LX", "--serial", "1"]) == 2
        assert "--who, --when" in capsys.readouterr().err
