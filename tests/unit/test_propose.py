"""Findings turned into edits: which, how, and what is left to people."""

from __future__ import annotations

from pathlib import Path

import pytest

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe._cli import main
from safeframe._cli.edit import command
from safeframe._findings import Finding, Spot
from safeframe._model import Connection
from safeframe._source import NOWHERE
from safeframe.edit import MapText, Proposal, edit, propose

AFTER = demo.after()
SC1, LX = AFTER["sc1-lx.toml"], AFTER["lx-sc1.toml"]


def proposals(sc1: str = SC1, lx: str = LX) -> tuple[Proposal, ...]:
    sources = (MapText(path="sc1.toml", text=sc1), MapText(path="lx.toml", text=lx))
    connection = Connection(
        first=mapfile.loads(sc1, path="sc1.toml"), second=mapfile.loads(lx, path="lx.toml")
    )
    return propose(connection, sources, checks.check(connection).findings)


def patched(text: str, *pairs: tuple[str, str]) -> str:
    for old, new in pairs:
        assert text.count(old) == 1
        text = text.replace(old, new)
    return text


BRAKE2 = (
    '{ at = "1.2", name = "brake2_release", one_means = "holding brake 2 released", bind = "{}" }'
)
SC1_ROW = BRAKE2.replace("{}", "Lift.Brake2Release")
LX_ROW = BRAKE2.replace("{}", "Drive.Brake2Release")
LX_TAIL = f'  {LX_ROW},\n  {{ at = "1.3", reserved = 5 }},\n'

CASES = {
    "one-sided-signal": (SC1, patched(LX, (LX_TAIL, '  { at = "1.2", reserved = 6 },\n'))),
    "moved-signal": (
        SC1,
        patched(
            LX,
            (
                LX_TAIL,
                '  { at = "1.2", reserved = 5 },\n' + f"  {LX_ROW},\n".replace("1.2", "1.7"),
            ),
        ),
    ),
    "near-miss-name": (SC1, patched(LX, ('"brake2_release"', '"brake2_relase"'))),
    "renamed-signal": (SC1, patched(LX, ('"brake2_release"', '"holding_force"'))),
    "width-differs": (
        patched(
            SC1,
            ('name = "speed_range", width = 2', 'name = "speed_range", width = 3'),
            (
                '{ at = "1.2", name = "brake2_applied", one_means = "holding brake 2 is applied", '
                'bind = "Lift.Back.Brake2Applied" },\n  { at = "1.3", reserved = 5 }',
                '{ at = "1.3", reserved = 5 }',
            ),
        ),
        patched(
            LX,
            (
                '{ at = "1.2", name = "brake2_applied", one_means = "holding brake 2 is applied", '
                'bind = "Drive.Brake2Applied" },\n  { at = "1.3", reserved = 5 }',
                '{ at = "1.2", reserved = 6 }',
            ),
        ),
    ),
    "padding-as-signal": (
        patched(SC1, ('"brake2_release"', '"spare_1"')),
        patched(LX, ('"brake2_release"', '"spare_1"')),
    ),
    "hole": (
        patched(SC1, (f"  {SC1_ROW},\n", "")),
        patched(LX, (f"  {LX_ROW},\n", "")),
    ),
}
COMMANDS = {
    "one-sided-signal": "insert --name brake2_release --width 1 --at 1.2 --from SC1",
    "moved-signal": "move --name brake2_release --at 1.2 --from SC1",
    "near-miss-name": "rename --name brake2_relase --to brake2_release --from SC1",
    "renamed-signal": "rename --name holding_force --to brake2_release --from SC1",
    "width-differs": "resize --name speed_range --width 2 --from LX",
    "padding-as-signal": "remove --name spare_1 --from SC1",
    "hole": "declare --width 1 --at 1.2 --from SC1",
}


@pytest.mark.parametrize("rule", CASES)
def test_each_remedy(rule: str) -> None:
    sc1, lx = CASES[rule]
    (proposal,) = proposals(sc1, lx)
    assert proposal.finding.rule == rule
    operation, *words = COMMANDS[rule].split(" ", 1)
    assert command(["a", "b"], proposal.operation) == f"safeframe edit {operation} a b {words[0]}"
    assert proposal.edit == edit(
        MapText(path="sc1.toml", text=sc1), MapText(path="lx.toml", text=lx), proposal.operation
    )
    assert proposal.unbound == (("LX",) if rule == "one-sided-signal" else ())
    assert rule not in {finding.rule for finding in proposal.edit.report.findings}


def test_the_edit_of_the_near_miss_is_the_right_text() -> None:
    (proposal,) = proposals(*CASES["near-miss-name"])
    assert [new.text for new in proposal.edit.new] == [SC1, LX]


def test_a_clean_connection_needs_none() -> None:
    assert proposals() == ()


def test_the_receiver_may_have_what_the_sender_lacks() -> None:
    sc1 = patched(
        SC1,
        (f'  {SC1_ROW},\n  {{ at = "1.3", reserved = 5 }},', '  { at = "1.2", reserved = 6 },'),
    )
    (proposal,) = proposals(sc1, LX)
    assert proposal.unbound == ("SC1",)


@pytest.mark.parametrize("name", ["level-one-bit", "shifted", "brakes-swapped"])
def test_what_no_edit_can_remove(name: str) -> None:
    (site,) = [variant.site for variant in demo.variants() if variant.name == name]
    assert proposals(site["sc1-lx.toml"], site["lx-sc1.toml"]) == ()


def test_an_edit_that_causes_another_finding_is_not_proposed() -> None:
    sc1, lx = CASES["padding-as-signal"]
    relation = (
        'relations = [ { name = "a", when = { spare_1 = 1 }, requires = { permit_up = 1 }, '
        'reason = "r" } ]\n'
    )
    assert proposals(sc1 + relation, lx) == ()


def finding(rule: str, direction: str = "SC1 -> LX", signal: str = "zzz") -> Finding:
    spot = Spot(end="SC1", where=NOWHERE, signal=signal)
    return Finding(
        rule=rule,
        severity="error",
        message="m",
        remedy="r",
        spots=(spot, spot),
        producer=direction.split()[0],
        consumer=direction.split()[-1],
    )


@pytest.mark.parametrize("rule", sorted(CASES))
def test_findings_that_do_not_fit_the_maps(rule: str) -> None:
    sources = (MapText(path="sc1.toml", text=SC1), MapText(path="lx.toml", text=LX))
    connection = Connection(first=mapfile.loads(SC1), second=mapfile.loads(LX))
    for strange in (finding(rule), finding(rule, "SC1 -> LX2"), finding("overlap")):
        assert propose(connection, sources, [strange]) == ()


def test_what_changes_no_file_is_not_proposed() -> None:
    """A finding about other maps is none that an edit of these could remove."""
    moved = CASES["moved-signal"]
    wrong = Connection(
        first=mapfile.loads(moved[0], path="sc1.toml"),
        second=mapfile.loads(moved[1], path="lx.toml"),
    )
    right = Connection(
        first=mapfile.loads(SC1, path="sc1.toml"), second=mapfile.loads(LX, path="lx.toml")
    )
    sources = MapText(path="sc1.toml", text=SC1), MapText(path="lx.toml", text=LX)
    assert propose(right, sources, checks.check(wrong).findings) == ()


class TestCommand:
    def write(self, folder: Path, rule: str, name: str = "lx.toml") -> list[str]:
        paths = [folder / "sc1.toml", folder / name]
        for path, text in zip(paths, CASES[rule], strict=True):
            path.write_text(text, encoding="utf-8")
        return [path.name for path in paths]

    def test_a_proposal(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.chdir(tmp_path)
        paths = self.write(tmp_path, "one-sided-signal")
        assert main(["check", "--propose", *paths]) == 1
        out = capsys.readouterr().out
        assert (
            "\nproposed for one-sided-signal  [SC1 -> LX]\n"
            "  safeframe edit insert sc1.toml lx.toml --name brake2_release --width 1 --at 1.2 "
            "--from SC1\n"
            "  then bind it at LX: add --bind END=VARIABLE for each\n"
            "  --- lx.toml\n"
        ) in out
        assert '  +  { at = "1.3", reserved = 5 },\n' in out
        assert "\n1 edit proposed, each by itself. A signal of one end only is completed," in out
        words = ["insert", *paths, "--name", "brake2_release", "--at", "1.2", "--from", "SC1"]
        assert main(["edit", *words, "--bind", "LX=Drive.Brake2Release", "--write"]) == 0
        assert (tmp_path / "lx.toml").read_text(encoding="utf-8") == LX
        assert main(["check", "--propose", *paths]) == 0
        assert capsys.readouterr().out.endswith(
            "\nNo finding can be removed by an edit of its own; see the remedies.\n"
        )

    def test_several_of_them(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.chdir(tmp_path)
        paths = self.write(tmp_path, "hole")
        lx = tmp_path / "lx.toml"
        text = lx.read_text(encoding="utf-8").replace('"brake2_applied"', '"brake2_aplied"')
        lx.write_text(text, encoding="utf-8")
        assert main(["check", "--propose", *paths]) == 1
        out = capsys.readouterr().out
        assert "--from SC1\n  --- sc1.toml\n" in out
        assert "\n2 edits proposed, each by itself." in out

    def test_connections_of_one_name_get_their_own(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        """What is wrong in one network is not to be edited in another one."""
        monkeypatch.chdir(tmp_path)
        given: list[str] = []
        for network, rule in (("n1", "one-sided-signal"), ("n2", ""), ("n3", "moved-signal")):
            folder = tmp_path / network
            folder.mkdir()
            for name, text in zip(("sc1.toml", "lx.toml"), CASES.get(rule, (SC1, LX)), strict=True):
                told = text.replace('profile = "', f'network = "{network}", profile = "', 1)
                assert told != text
                (folder / name).write_text(told, encoding="utf-8")
                given.append(f"{network}/{name}")
        # One pair that is given twice is edited once.
        assert main(["check", "--propose", *given, *given[:2]]) == 1
        words = [line.split() for line in capsys.readouterr().out.splitlines()]
        commands = [line[2:5] for line in words if line[:2] == ["safeframe", "edit"]]
        assert [(name, Path(path).parent.name) for name, path, _ in commands] == [
            ("insert", "n1"),
            ("move", "n3"),
        ]

    def test_standard_input_gets_none(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.chdir(tmp_path)
        paths = self.write(tmp_path, "one-sided-signal")
        with open(paths[1], encoding="utf-8") as file:
            monkeypatch.setattr("sys.stdin", file)
            assert main(["check", "--propose", paths[0], "-"]) == 1
        assert "No finding can be removed" in capsys.readouterr().out

    def test_only_for_people(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", "--propose", "--format", "json", "a.toml", "b.toml"]) == 2
        assert capsys.readouterr().err == (
            "safeframe: --propose must stand with --format text, not with json\n"
        )
