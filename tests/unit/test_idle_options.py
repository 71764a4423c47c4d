"""Options that play no part: each changes what comes out in a mode of its command, or is refused.

Nobody may take an answer for theirs that an option had no part in.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from safeframe import _demo as demo
from safeframe._cli import COMMANDS, main, parser_of

NEW = ("after/sc1-lx.toml", "after/lx-sc1.toml")
OLD = ("before/sc1-lx.toml", "before/lx-sc1.toml")
WRONG = ("after/sc1-lx.toml", "before/lx-sc1.toml")
RUN = ("run.jsonl", *NEW)
INSERT = (*OLD, "--name=b", "--after=speed_level", "--bind=SC1=a", "--bind=LX=b")
SELECT = ("--select=device:0x7:2/rx:0x1610", "--select=device:0x7:2/tx:0x1a10", "--as=device")
NAMES = ("--connection=SC1-LX", "--end=LX", "--peer=SC1", "--role=slave")
ESI = ("esi", "device-files/lx.xml")
CSV = ("table", "device-files/lift-bits.csv")
COLUMNS = "--columns=device-files/columns.toml"
SHEET = (
    *CSV,
    COLUMNS,
    "--connection=C",
    "--end=SC1",
    "--peer=LX",
    "--profile=plain",
    "--safe=zero",
)

MODES: dict[str, tuple[tuple[str, ...], ...]] = {
    "capture": (
        RUN,
        ("--format=json", *RUN),
        ("--format=markdown", *RUN),
        ("--frames", "--format=json", *RUN),
        ("--coverage", *RUN),
    ),
    "check": (
        WRONG,
        ("--format=json", *WRONG),
        ("--format=junit", *WRONG),
        ("--format=markdown", *WRONG),
        ("--write-baseline=new.json", *WRONG),
        ("--propose", *WRONG),
    ),
    "crc": (("--list",), ("--algorithm=fscp-12-1/crc16", "3132")),
    "diff": (
        (OLD[0], NEW[0]),
        NEW,
        (*OLD, *NEW),
        ("--format=json", *OLD, *NEW),
        ("before", "after"),
        ("--format=json", "before", "after"),
        ("--format=markdown", "before", "after"),
        ("--format=html", "before", "after"),
    ),
    "edit insert": (INSERT, ("--format=patch", *INSERT)),
    "fingerprint": (NEW, ("--canonical=wire", NEW[0])),
    "fixtures": (
        ("--set=states", *NEW),
        ("--set=identification", *NEW),
        ("--set=mistakes", "-o", "m", *NEW),
    ),
    "frame build": (("--map", NEW[0]), ("--map", NEW[0], "--format=json")),
    "frame derive parameter-record": (
        (),
        ("sil=3", "source_address=1", "destination_address=1", "watchdog_ms=125"),
    ),
    "frame explain": (
        ("--profile=fscp-12-1", "36010089a50700"),
        ("--profile=fscp-12-1", "--format=json", "36010089a50700"),
    ),
    "import": (
        (*ESI, "--list"),
        (*ESI, *SELECT, *NAMES),
        (*ESI, *SELECT, "--compare", NEW[1]),
        (*CSV, "--list"),
        SHEET,
    ),
    "record new": ((*OLD, *NEW, "-o", "r2.json"),),
    "record show": (("r.json",), ("--markdown=new.md", "r.json")),
    "record verify": (("r.json", *NEW),),
    "relations": ((NEW[0],),),
    "residual": (
        ("--poly=0x5", "--width=4", "--data-bits=8"),
        ("--profile=fscp-12-1", "--octets=2"),
        ("--map", NEW[0]),
    ),
    "rules": ((), ("hole",)),
    "show": ((NEW[0],), ("--format=toml", NEW[0]), ("--format=csv", COLUMNS, NEW[0])),
    "timing": (NEW,),
    "trace": (("permit_up", "plant.toml"), ("--format=json", "permit_up", "plant.toml")),
    "verify": (("plant.toml",), ("--format=json", "plant.toml"), ("--format=html", "plant.toml")),
    "watch": (RUN, ("--format=jsonl", *RUN)),
}
"""The modes in which each command is run; the files are those of the demo."""

VALUES = {
    "-o": "new.out",
    "--algorithm": "fscp-12-1/crc16",
    "--asked-by": "n",
    "--at": "7.7",
    "--baseline": "known.json",
    "--ber": "1e-3",
    "--before": "fault_ack",
    "--bind": "SC1=q",
    "--bind-prefix": "p.",
    "--code": "0=a",
    "--columns": "device-files/columns.toml",
    "--compare": "after/lx-sc1.toml",
    "--connection": "X",
    "--count": "7",
    "--crc": "fscp-12-1/crc16",
    "--cycle-ms": "7",
    "--data": "0200",
    "--data-bits": "9",
    "--direction": "receives",
    "--end": "Y",
    "--fail-under": "100",
    "--file": "r.json",
    "--from": "SC1",
    "--hazard": "h",
    "--histogram": "new.svg",
    "--html": "new.html",
    "--id": "9",
    "--idle": "1",
    "--init": "1",
    "--language": "1031",
    "--map": "before/lx-sc1.toml",
    "--markdown": "new2.md",
    "--messages-per-hour": "100",
    "--note": "n",
    "--octets": "3",
    "--one-means": "on",
    "--pages": "new-pages",
    "--peer": "Z",
    "--plot": "new.svg",
    "--poly": "0x1021",
    "--range": "A1:B2",
    "--reaction": "torque_off = 1 of permit_torque = 0",
    "--reason": "r",
    "--recording": "run.jsonl",
    "--role": "master",
    "--scale": "2",
    "--scope": "normal",
    "--seed": "3",
    "--select": "device:0x7:2/rx:0x1610",
    "--set": "sequence=9",
    "--sheet": "S",
    "--signal": "permit_up",
    "--signed-by": "a",
    "--since": "no-such-revision",
    "--sinks": "2",
    "--svg": "new.svg",
    "--timeout": "0.1",
    "--unit": "m",
    "--until": "permit_up = 1",
    "--valid-by": "permit_up",
    "--value": "seed_a=7",
    "--width": "2",
    "--window": "0.1..0.2",
    "--write-baseline": "new2.json",
    "--write-coverage": "new.json",
    "--xorout": "1",
}
"""Values of options that are no choice; a value of a choice is another one than the default."""

BY_DATA = {
    "--also": "tried only where the data contradict the maps",
    "--at": "where frames are; the recording of this test names their senders",
    "--backward": "octets that read the same backwards",
    "--before": "the maps of the record, which are the same here",
    "--cache": "the place where work is kept, which changes no figure",
    "--container": "whether the file has one",
    "--despite": "whether the edit causes findings",
    "--direction": "says what counts without it, too",
    "--encoding": "whether the file is in it",
    "--ends": "says how both files are taken without it, too",
    "--ethertype": "packets, which lines are not",
    "--fail-on": "which findings there are",
    "--follow": "waits for a file to grow",
    "--force": "whether there is a file to be overwritten",
    "--fresh": "whether the history is known without it",
    "--from": "packets, which lines are not",
    "--gaps": "whether there is a gap",
    "--jobs": "time only",
    "--limit-s": "refuses long work only",
    "--lines": "what a terminal would show",
    "--no-cache": "time only",
    "--number-names": "whether a name stands twice",
    "--padding-after-crc": "whether there is padding",
    "--processes": "time only",
    "--profile": "whether a map or a file names it",
    "--safe": "whether the profile says it already",
    "--signers": "whether there are signatures",
    "--udp-port": "packets, which lines are not",
    "--versions": "says how both files are taken without it, too",
    ("import", "--color"): "whether there is anything in the list that a terminal would stress",
    ("import", "--id"): "the map, which a report as JSON has not in it",
    ("frame build", "--map"): "a second map, which agrees with the first",
}
"""Options whose part hangs on the data, and on what: in another run they change the answer."""


class Outcome(NamedTuple):
    """What a run leaves: exit code, both streams, and the files that it wrote."""

    code: int
    out: str
    err: str
    files: dict[str, bytes]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("site")
    for name, files in (
        ("before", demo.before()),
        ("after", demo.after()),
        ("device-files", demo.device_files()),
    ):
        (folder / name).mkdir()
        for file, text in files.items():
            (folder / name / file).write_text(text, encoding="utf-8")
    (folder / "plant.toml").write_text(
        'format = "safeframe-plant/1"\nname = "Hall"\n'
        'connections = [ { ends = ["after/sc1-lx.toml", "after/lx-sc1.toml"] } ]\n',
        encoding="utf-8",
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(folder)
        main(["fixtures", "--set=states", "--format=jsonl", "-o", "run.jsonl", *NEW])
        main(["check", "--write-baseline=known.json", *WRONG])
        main(["record", "new", *OLD, *NEW, "-o", "r.json"])
        yield folder


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def outcome(site: Path, capsys: pytest.CaptureFixture[str], *command: str) -> Outcome:
    before = files_of(site)
    capsys.readouterr()
    try:
        code = main([*command])
    except SystemExit as left:
        code = int(left.code or 0)
    shown = capsys.readouterr()
    after = files_of(site)
    written = {name: data for name, data in after.items() if before.get(name) != data}
    for name in after.keys() - before.keys():
        Path(name).unlink()
    for name in before:
        if after.get(name) != before[name]:
            Path(name).write_bytes(before[name])
    for folder in sorted(site.rglob("*"), reverse=True):
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    return Outcome(code, shown.out, shown.err, written)


def leaves(
    parser: argparse.ArgumentParser, words: tuple[str, ...]
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Yield each action of a command with its parser, the command itself where it has none."""
    below = [each for each in parser._actions if isinstance(each, argparse._SubParsersAction)]
    if not below:
        yield " ".join(words), parser
    for each in below:
        for name, one in each.choices.items():
            yield from leaves(one, (*words, name))


PARSERS = dict(leaf for name in COMMANDS for leaf in leaves(parser_of(name)[0], (name,)))
WITHOUT_MODES = {
    "completion": "no option",
    "demo": "one way to run",
    "edit bind": "the options of edit insert",
    "edit declare": "the options of edit insert",
    "edit move": "the options of edit insert",
    "edit recover": "no edit is broken off here",
    "edit remove": "the options of edit insert",
    "edit rename": "the options of edit insert",
    "edit resize": "the options of edit insert",
    **dict.fromkeys(
        (
            "frame derive configuration-checksum",
            "frame derive default-identifiers",
            "frame derive spdu-ids",
            "frame derive structure-signature",
        ),
        "the options of the other number",
    ),
    "frame values": "no option",
    "record done": "every option is entered",
    "record evidence": "every option is entered",
    "record fill": "every option is entered",
    "record request": "every option is entered",
    "record seal": "no option",
    "record sign": "every option is entered",
    "record withdraw": "every option is entered",
    "schema": "no option",
    "selftest": "no option",
}
"""Commands that are not run here, and why none of their options can be idle."""


def test_every_command_is_looked_at() -> None:
    assert set(PARSERS) == {*MODES, *WITHOUT_MODES}
    assert not set(MODES) & set(WITHOUT_MODES)
    for name in [name for name, why in WITHOUT_MODES.items() if why == "no option"]:
        flags = [each.option_strings for each in PARSERS[name]._actions if each.option_strings]
        assert flags == [["-h", "--help"]]


def samples(command: str, option: argparse.Action) -> list[tuple[str, ...]]:
    """Return how an option may be written; a choice once for each value but the default."""
    flag = next((one for one in option.option_strings if one in VALUES), option.option_strings[-1])
    if option.nargs == 0:
        return [(flag,)]
    if option.choices:
        return [(flag, str(one)) for one in option.choices if one != option.default]
    if option.nargs == 2:
        return [(flag, *OLD)]
    return [(flag, VALUES[flag])]


@pytest.mark.no_cover
@pytest.mark.parametrize(
    ("command", "mode"),
    [(command, mode) for command, modes in MODES.items() for mode in modes],
    ids=lambda given: given if isinstance(given, str) else " ".join(given),
)
def test_every_option_has_a_part_or_is_refused(
    site: Path, capsys: pytest.CaptureFixture[str], command: str, mode: tuple[str, ...]
) -> None:
    """MUST: an option changes what comes out, or the run ends with 2 and the reason."""
    words = command.split()
    plain = outcome(site, capsys, *words, *mode)
    assert plain.code in (0, 1), plain.err
    idle = []
    for option in PARSERS[command]._actions:
        flags = option.option_strings
        stated = {word.partition("=")[0] for word in mode}
        if not flags or "--help" in flags or option.required or stated.intersection(flags):
            continue
        if any(flag in BY_DATA or (command, flag) in BY_DATA for flag in flags):
            continue
        for sample in samples(command, option):
            found = outcome(site, capsys, *words, *sample, *mode)
            if found != plain:
                break
        else:
            idle.append(flags[-1])
    assert idle == []


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (
            ("capture", "--timeline", "--format=json", *RUN),
            "--timeline must stand without --format json, which has no use for it",
        ),
        (
            ("capture", "--window=0..1", *RUN),
            "--window must stand with --timeline, --plot, --frames or --format json: without it "
            "nothing changes",
        ),
        (
            ("capture", "--signal=permit_up", "--format=html", *RUN),
            "--signal must stand with --timeline, --plot, --frames or --format json: without it "
            "nothing changes",
        ),
        (
            ("check", "--color=always", "--format=json", *WRONG),
            "--color always must stand without --format json, which has no colours",
        ),
        (
            ("fingerprint", "--color=always", "--canonical=wire", NEW[0]),
            "--color always must stand without --canonical, which has no colours",
        ),
        (
            ("timing", "--cycle-ms=7", *NEW),
            "--cycle-ms must stand with a profile whose formula has a cycle time in it: that of "
            "fscp-12-1 has none",
        ),
        (
            ("check", "--details", "--format=json", *WRONG),
            "--details must stand without --format json, which has no use for it",
        ),
        (
            ("check", "--fail-on=error", "--write-baseline=new.json", *WRONG),
            "--fail-on must stand without --write-baseline, which has no use for it",
        ),
        (
            ("check", "--force", *WRONG),
            "--force must stand with --write-baseline or --html or --svg: without it no file is "
            "overwritten",
        ),
        (
            ("diff", "--all", *NEW),
            "--all must stand with four map files or two folders: without it nothing changes",
        ),
        (
            ("diff", "--all", "--format=json", *OLD, *NEW),
            "--all must stand without --format json, which has no use for it",
        ),
        (
            ("diff", "--all", "--format=html", "before", "after"),
            "--all must stand without --format html of folders, which has no use for it",
        ),
        (
            ("edit", "insert", "--all", "--format=patch", *INSERT),
            "--all must stand without --format patch, which has no use for it",
        ),
        *(
            (
                ("fixtures", "--set=mistakes", "-o", "m", option, *NEW),
                f"{option.partition('=')[0]} must stand without --set mistakes, which has no use "
                "for it",
            )
            for option in ("--seed=3", "--count=7", "--format=jsonl", "--value=seed_a=7")
        ),
        (
            ("fixtures", "--set=mistakes", "-o", "m", "--force", *NEW),
            "--force must stand without --set mistakes, which overwrites no file",
        ),
        (
            ("fixtures", "--set=faults", "--count=7", *NEW),
            "--count must stand with --set states: without it nothing changes",
        ),
        (
            ("fixtures", "--set=faults", "--count=0", *NEW),
            "--count must stand with --set states: without it nothing changes",
        ),
        (
            ("frame", "derive", "parameter-record", "--format=json"),
            "--format must stand with the values that the number is derived from: without it "
            "nothing changes",
        ),
        *(
            (
                ("import", *ESI, "--list", option),
                f"{option.partition('=')[0]} must stand without --list, which has no use for it",
            )
            for option in (
                "-o=new.toml",
                "--compare=x.toml",
                "--select=a",
                "--end=LX",
                "--as=device",
            )
        ),
        (
            ("import", *CSV, "--list", "--format=json"),
            "--format must stand without --list of a sheet, which has no use for it",
        ),
        (
            ("import", *CSV, "--list", "--sheet=S"),
            "--sheet must stand with a workbook, not with a CSV file",
        ),
        *(
            (
                ("import", *ESI, *SELECT, *NAMES, option),
                f"{option.partition('=')[0]} must stand without a file of esi, which has no use "
                "for it",
            )
            for option in (COLUMNS, "--sheet=S", "--range=A1:B2", "--separator=tab")
        ),
        (
            ("import", *ESI, *SELECT, *NAMES, "--format=html"),
            "--format must stand with -o where it is html, as standard output is a map: without "
            "it nothing changes",
        ),
        (
            ("import", *ESI, *SELECT, *NAMES, "--layout=bits"),
            "--layout must stand without a file of esi, which has no use for it",
        ),
        (
            ("import", *ESI, *SELECT, "--compare", NEW[1], "--end=SC1"),
            "--end must be that of the map to compare, which states the end LX, not SC1",
        ),
        (
            ("import", *ESI, *SELECT, "--compare", NEW[1], "--id=9"),
            "--id must be that of the map to compare, which states the id 263, not 9",
        ),
        (
            ("import", *SHEET, "--direction=sends"),
            "--direction must be left out: the mapping names a column for it",
        ),
        (
            ("import", *SHEET, "--select=a"),
            "--select must stand without table, which has no use for it",
        ),
        (
            ("record", "show", "--paper=letter", "r.json"),
            "--paper must stand with --html: without it nothing changes",
        ),
        (
            ("record", "new", "--force", *OLD, *NEW, "-o", "r2.json"),
            "--force must stand with --html or --markdown: without it no file is overwritten",
        ),
        (
            ("show", "--direction=sends", NEW[0]),
            "--direction must stand with --svg or --columns: without it nothing changes",
        ),
        (
            ("verify", "--details", "--format=json", "plant.toml"),
            "--details must stand without --format json, which has no use for it",
        ),
        (
            ("watch", "--lines", "--format=jsonl", *RUN),
            "--lines must stand without --format jsonl, which has no use for it",
        ),
    ],
)
def test_what_is_refused_and_why(
    site: Path, capsys: pytest.CaptureFixture[str], command: tuple[str, ...], said: str
) -> None:
    found = outcome(site, capsys, *command)
    assert (found.code, found.out, found.files) == (2, "", {})
    assert found.err == f"safeframe: {said}\n"


@pytest.mark.parametrize(
    "command",
    [
        ("check", "--fail-on=error", "--format=junit", "--write-baseline=new.json", *WRONG),
        ("check", "--force", "--svg=new.svg", *WRONG),
        ("diff", "--all", "--format=json", "--html=new.html", *OLD, *NEW),
        ("import", *ESI, *SELECT, *NAMES, "--id=0x107", "--compare", NEW[1]),
        ("show", "--direction=sends", "--svg=new.svg", NEW[0]),
        ("record", "show", "--paper=letter", "--html=new.html", "r.json"),
        ("verify", "--force", "--pages=new-pages", "plant.toml"),
        ("frame", "build", "--map", NEW[0], "--profile=fscp-12-1"),
    ],
)
def test_what_has_a_part_is_taken(
    site: Path, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    assert outcome(site, capsys, *command).code in (0, 1)
