"""The command ``edit``: dry run, writing, refusals, recovery, and the words of its commands."""

from __future__ import annotations

import os
import shlex
from pathlib import Path

import pytest

from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._cli import main
from safeframe._cli.edit import command
from safeframe._document import replace, whole
from safeframe.edit import Declare, Edit, Insert, Move, Operation, Remove, Rename, Resize, save

FILES = ["sc1-lx.toml", "lx-sc1.toml"]
BRAKE = [
    *("--name", "brake2_release", "--after", "speed_level"),
    *("--one-means", "holding brake 2 released"),
    *("--bind", "SC1=Lift.Brake2Release", "--bind", "LX=Drive.Brake2Release"),
]
LEFT_OPEN = "  not judged: application_parameters at both ends (no end states it)\n"
DRY = "nothing written, this was a dry run; --write writes both files\n"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in FILES:
        (tmp_path / name).write_text(demo.before()[name], encoding="utf-8", newline="")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    return tmp_path


def unchanged(folder: Path) -> bool:
    return all((folder / name).read_text(encoding="utf-8") == demo.before()[name] for name in FILES)


def run(capsys: pytest.CaptureFixture[str], operation: str, *words: str) -> tuple[int, str, str]:
    code = main(["edit", operation, *FILES, *words])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize("written", [True, False])
def test_an_interrupt_beside_the_writing(
    written: bool, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """MUST: an edit that is written is told as such, and no other one."""

    def interrupted(done: Edit) -> None:
        if written:
            save(done)
        raise KeyboardInterrupt

    monkeypatch.setattr("safeframe._cli.edit.save", interrupted)
    code, _, err = run(capsys, "insert", *BRAKE, "--write")
    told = "safeframe: interrupted: written: sc1-lx.toml and lx-sc1.toml\n"
    assert (code, err, unchanged(folder)) == (130, told if written else "", not written)


def test_an_interrupt_of_a_recovery(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(_paths: object, **_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("safeframe._cli.edit.recover", interrupted)
    told = "safeframe: interrupted: safeframe edit recover sc1-lx.toml lx-sc1.toml says what is "
    assert run(capsys, "recover", "--undo") == (130, "", f"{told}left to do\n")


def test_a_dry_run_shows_everything(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "insert", *BRAKE)
    assert (code, err) == (0, "")
    assert out.endswith(f"come first.\n{DRY}")
    for part in (
        "--- sc1-lx.toml\n+++ sc1-lx.toml\n",
        "--- lx-sc1.toml\n+++ lx-sc1.toml\n",
        '+  { at = "1.3", reserved = 5 },\n',
        "\nChange class: taken from a gap\n",
        "\nWhile only SC1 is updated and LX is still old\n",
        "\nWhile only LX is updated and SC1 is still old\n",
        "    9 other signals arrive unchanged\n",
        f"\nSC1-LX: the edit causes no finding\n{LEFT_OPEN}Off-line aid, not certified",
    ):
        assert part in out
    assert unchanged(folder)
    assert "0.1    permit_no_ss1   permit_no_ss1 " in run(capsys, "insert", *BRAKE, "--all")[1]


def test_the_patch_alone(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "insert", *BRAKE, "--format", "patch")
    assert (code, err) == (0, DRY)
    assert out.startswith("--- sc1-lx.toml\n+++ sc1-lx.toml\n@@ ")
    assert "class" not in out


def test_write(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "insert", *BRAKE, "--write")
    assert (code, err) == (0, "")
    assert out.endswith("\nwritten: sc1-lx.toml and lx-sc1.toml\n")
    assert "brake2_release" in (folder / "lx-sc1.toml").read_text(encoding="utf-8")
    assert main(["check", *FILES]) == 0
    capsys.readouterr()
    assert run(capsys, "remove", "--name", "brake2_release", "--write")[0] == 0
    assert unchanged(folder)


def test_what_causes_findings_is_not_written(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--name", "level", "--width", "2", "--after", "speed_level", "--write")
    code, out, err = run(capsys, "insert", *words)
    assert (code, err) == (1, "")
    assert out.endswith(
        "\nnothing written, the edit causes unbound-signal, value-without-validity\n"
    )
    assert "\nSC1-LX: what the edit causes\n" in out
    assert f"\nSC1-LX: 2 errors, 1 warning\n{LEFT_OPEN}" in out
    assert "is bound to no variable at SC1: level (1.2-1.3)" in out
    assert unchanged(folder)
    binds = ("--bind", "SC1=Lift.L", "--bind", "LX=Drive.L")
    code, out, _ = run(capsys, "insert", *words, *binds, "--despite", "value-without-validity")
    assert code == 0
    assert out.endswith("\nwritten: sc1-lx.toml and lx-sc1.toml\n")


def test_what_was_there_before_is_told_and_stops_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = demo.before()[FILES[0]].replace(', bind = "Lift.FaultAck"', "")
    (folder / FILES[0]).write_text(text, encoding="utf-8")
    code, out, _ = run(capsys, "insert", *BRAKE)
    assert code == 0
    assert "\nSC1-LX: the edit causes no finding; 1 that was there before remains\n" in out
    text = text.replace(', bind = "Lift.Back.NoFault"', "")
    (folder / FILES[0]).write_text(text, encoding="utf-8")
    out = run(capsys, "insert", *BRAKE)[1]
    assert "\nSC1-LX: the edit causes no finding; 2 that were there before remain\n" in out


def test_nothing_to_change(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--name", "fault_ack", "--at", "0.7", "--write")
    code, out, err = run(capsys, "move", *words)
    assert (code, err) == (0, "")
    assert out == (
        "SC1-LX: nothing to change, both ends are so already\n"
        "nothing written, there is nothing to change\n"
    )


def test_every_field(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(
        capsys,
        "insert",
        *("--name", "mode", "--width", "2", "--at", "1.4", "--from", "SC1", "--safe", "0x1"),
        *("--code", "0=off", "--code", "0x1=a", "--code", "2=b", "--code", "3=c"),
        *("--note", "two bits", "--bind", "SC1=Lift.Mode", "--bind", "LX=Drive.Mode"),
    )
    assert (
        '+  { at = "1.4", name = "mode", width = 2, type = "code", safe = 1, '
        'codes = { 0 = "off", 1 = "a", 2 = "b", 3 = "c" }, bind = "Lift.Mode", '
        'note = "two bits" },\n'
    ) in out
    assert code == 1  # a safe value other than 0


def test_a_float(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--name", "speed", "--width", "16", "--type", "float", "--after", "speed_level")
    code, _, err = run(capsys, "insert", *words, "--safe", "0.5")
    assert code == 2
    assert err.startswith("safeframe: speed needs 16 bits at 1.2, 6 free there ")


@pytest.mark.parametrize(
    ("operation", "words", "message"),
    [
        (
            "insert",
            "--name x --width 7 --after speed_level",
            "x needs 7 bits at 1.2, 6 free there (2.0 is beyond the data at SC1 and LX); "
            "free runs: 1.2-1.7 (6 bits)",
        ),
        ("insert", "--name x --at 1", "a place must be \"octet.bit\" with bit 0..7, not '1'"),
        (
            "insert",
            "--name x --at 1.2 --from SC1 --bind SC1",
            "a binding must be stated as END=VARIABLE, not 'SC1'",
        ),
        (
            "insert",
            "--name x --at 1.2 --bind SC1=a --bind SC1=b",
            "a binding must be stated as END=VARIABLE once for each, not again for SC1",
        ),
        (
            "insert",
            "--name x --at 1.2 --safe one",
            "safe must be an integer, not 'one'",
        ),
        (
            "insert",
            "--name x --at 1.2 --type float --safe one",
            "safe must be a number, not 'one'",
        ),
        (
            "insert",
            "--name x --at 1.2 --code one=a",
            "a code must be an integer, not 'one'",
        ),
        (
            "insert",
            "--name x --width 2 --at 1.2 --from SC1 --code 1=a --code 2=b --code 0x1=c",
            "a code must be stated once, not 2 times: 1",
        ),
        ("rename", "--name x --to y", "x must be a signal of SC1-LX"),
        (
            "remove",
            "--name fault_ack --despite holes",
            "a rule must be listed by `safeframe rules`, not 'holes'; nearest: hole",
        ),
        (
            "resize",
            "--name fault_ack --width 2 --type int",
            "fault_ack needs 1 bit at 1.0, 0 free there (1.0 is speed_level at SC1 and LX); "
            "free runs: 1.2-1.7 (6 bits)",
        ),
        ("bind", "--name fault_ack --bind X=y", "an end must be SC1 or LX, not X"),
        (
            "declare",
            "--at 1.2 --width 8 --from LX",
            "bits to declare must lie within the 16 bits of SC1, not 1.2-2.1",
        ),
    ],
)
def test_what_is_not_possible(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    operation: str,
    words: str,
    message: str,
) -> None:
    code, out, err = run(capsys, operation, *words.split())
    assert (code, out, err) == (2, "", f"safeframe: {message}\n")
    assert unchanged(folder)


def test_all_problems_of_both_files(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in FILES:
        (folder / name).write_bytes(b"\xff")
    code, _, err = run(capsys, "remove", "--name", "x")
    assert code == 2
    assert err.count("must be UTF-8 text") == 2


def test_nothing_to_recover(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "recover") == (
        2,
        "",
        "safeframe: there must be a broken-off edit to recover, not none of sc1-lx.toml\n",
    )


NOTED = (
    "safeframe: the note of an edit that was broken off lies beside {}: what is read may be of two "
    "versions; safeframe edit recover, with the maps of both ends, shows the state\n"
)


def broken_off(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Write the insertion of the demo and break off before the second file is replaced."""
    real = whole.put

    def put(made: Path, target: Path, *more: object, **names: object) -> None:
        if target.name == FILES[1]:
            os._exit(9)
        real(made, target, *more, **names)  # type: ignore[arg-type]

    process = os.fork()
    if not process:
        monkeypatch.setattr(replace, "put", put)
        main(["edit", "insert", *FILES, *BRAKE, "--write"])
        os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == 9


def test_recover_shows_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    broken_off(folder, monkeypatch)
    capsys.readouterr()
    assert run(capsys, "remove", "--name", "fault_ack") == (
        2,
        "",
        "safeframe: an earlier edit of sc1-lx.toml and lx-sc1.toml was broken off, as a note "
        "beside them says; look at it first: safeframe edit recover sc1-lx.toml lx-sc1.toml\n",
    )
    code, out, err = run(capsys, "recover")
    assert (code, err) == (1, "")
    assert out.startswith(
        "The edit was broken off between the two files; nothing is decided.\n\n"
        "sc1-lx.toml: as after the edit\nlx-sc1.toml: as before the edit\n\n"
        "--finish would change\n--- lx-sc1.toml\n+++ lx-sc1.toml\n"
    )
    assert "\n--undo would change\n--- sc1-lx.toml\n+++ sc1-lx.toml\n" in out
    assert out.endswith(
        "\nsafeframe edit recover sc1-lx.toml lx-sc1.toml --finish (or --undo) does it\n"
    )
    (folder / f".{FILES[1]}.safeframe-new").write_text("altered", encoding="utf-8")
    (folder / f".{FILES[0]}.safeframe-old").touch()
    out = run(capsys, "recover")[1]
    assert "--finish would change\n  nothing in lx-sc1.toml: what the edit left there was" in out
    assert run(capsys, "recover", "--finish")[0] == 2
    assert run(capsys, "recover", "--undo")[0] == 2


@pytest.mark.parametrize("way", ["--finish", "--undo"])
def test_recover_as_asked(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    broken_off(folder, monkeypatch)
    told = {
        "--finish": "finished: both files hold the edit\n",
        "--undo": "undone: both files are as they were before the edit\n",
    }
    capsys.readouterr()
    assert run(capsys, "recover", way) == (0, told[way], "")
    assert unchanged(folder) is (way == "--undo")
    assert main(["check", *FILES]) == 0
    assert capsys.readouterr().err == ""
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)


@pytest.mark.parametrize(
    "words",
    [
        ["check", *FILES],
        ["check", "."],
        ["check", "plant.toml"],
        ["diff", *FILES],
        ["fingerprint", *FILES],
        ["fixtures", "--set", "states", *FILES],
        ["record", "new", *FILES, *FILES, "-o", "r.json"],
        ["timing", *FILES],
    ],
)
def test_every_command_tells_of_an_edit_that_was_broken_off(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    """Between the two replacements the ends disagree; whoever reads them then is told why."""
    (folder / "plant.toml").write_text(
        'format = "safeframe-plant/1"\nname = "hall 3"\n[[connections]]\n'
        f'ends = ["{FILES[0]}", "{FILES[1]}"]\n',
        encoding="utf-8",
    )
    main(words)
    assert "broken off" not in capsys.readouterr().err
    (folder / "r.json").unlink(missing_ok=True)
    for name in FILES:
        (folder / f".{name}.safeframe-edit").touch()
    main(words)
    err = capsys.readouterr().err
    if words[0] == "fingerprint":
        assert err == NOTED.format(FILES[0]) + NOTED.format(FILES[1])
    else:
        assert (
            NOTED.format(" and ".join(FILES)) in err
            or NOTED.format(" and ".join(reversed(FILES))) in err
        )


@pytest.mark.parametrize(
    "words",
    [["show"], ["relations"], ["frame", "build", "--map"]],
    ids=" ".join,
)
def test_so_do_the_commands_of_one_map(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    (folder / f".{FILES[0]}.safeframe-edit").touch()
    main([*words, FILES[0]])
    assert capsys.readouterr().err.startswith(NOTED.format(FILES[0]))


def test_a_patch_obeys_no_escape_sequence(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in FILES:
        row = '  { at = "0.0", name = "permit_torque"'
        text = demo.before()[name].replace(row, f"  # \u202e\n{row}")
        (folder / name).write_text(text, encoding="utf-8", newline="")
    code, out, _ = run(capsys, "rename", "--name", "permit_torque", "--to", "torque")
    assert code == 0
    assert "   # \\u202e\n" in out
    assert "\u202e" not in out


def test_colours(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, "remove", "--name", "fault_ack", "--color", "always")[1]
    assert '\x1b[1;32m+  { at = "0.7", reserved = 1 },\x1b[0m' in out


@pytest.mark.parametrize(
    ("operation", "words"),
    [
        (
            Insert(name="b", at=Place(1, 2), sender="SC1", binds={"LX": "Drive.B 2"}),
            "insert a.toml c.toml --name b --width 1 --at 1.2 --from SC1 --bind 'LX=Drive.B 2'",
        ),
        (Insert(name="b", width=2, after="c"), "insert a.toml c.toml --name b --width 2 --after c"),
        (Remove(name="b c"), "remove a.toml c.toml --name 'b c'"),
        (Rename(name="b", to="c"), "rename a.toml c.toml --name b --to c"),
        (
            Resize(name="b", width=2, type="int"),
            "resize a.toml c.toml --name b --width 2 --type int",
        ),
        (Move(name="b", before="c"), "move a.toml c.toml --name b --before c"),
        (
            Declare(at=Place(0, 1), width=3, sender="LX"),
            "declare a.toml c.toml --width 3 --at 0.1 --from LX",
        ),
    ],
)
def test_the_command_of_an_operation(operation: Operation, words: str) -> None:
    told = command(["a.toml", "c.toml"], operation)
    assert told == f"safeframe edit {words}"
    assert shlex.split(told)[3:5] == ["a.toml", "c.toml"]
