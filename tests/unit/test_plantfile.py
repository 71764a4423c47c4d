"""Plant files: what they list, what is refused, what ``safeframe check`` makes of them."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import record
from safeframe._baseline import BaselineKey, key_of
from safeframe._cli import main
from safeframe._errors import InputError, Problem
from safeframe._model import Connection, End, Installed, Provenance
from safeframe._plant import file as plantfile
from safeframe._source import Location
from tests.rules.examples import FOLDER
from tests.unit.record_maps import AFTER, BEFORE, SIGNED, TESTED, with_acts

HEAD = 'format = "safeframe-plant/1"\nname = "hall 3"\n'
LIFT = '{ ends = ["maps/sc1-lx.toml", "maps/lx-sc1.toml"]'
SCHEMA = Path(plantfile.__file__).parent.parent / "schemas" / "plant.schema.json"


def plant_text(*rows: str) -> str:
    return HEAD + "connections = [\n" + "".join(f"  {row},\n" for row in rows) + "]\n"


def files(**more: str) -> dict[str, str]:
    found = {f"site/maps/{name}": text for name, text in demo.after().items()}
    found["site/lx.json"] = record.dumps(SIGNED)
    return found | more


def loaded(text: str, given: dict[str, str] | None = None) -> tuple[Connection, ...]:
    known = files() if given is None else given

    def read(path: str) -> str:
        if path not in known:
            raise InputError(Problem(path=path, message="the file must be readable: no such file"))
        return known[path]

    return plantfile.loads(text, path="site/plant.toml", read=read).connections


def rules(text: str, given: dict[str, str] | None = None) -> list[str]:
    return [finding.rule for finding in checks.check_all(loaded(text, given)).findings]


ROW = "site/plant.toml:4: connections[0]"
SERIALS = 'serials = { SC1 = "SC1-1001", LX = "LX-1001" }'


def test_a_connection_with_its_record() -> None:
    (found,) = loaded(plant_text(f'{LIFT}, record = "lx.json", {SERIALS} }}'))
    states = SIGNED.computed.after
    assert found == replace(
        AFTER,
        record="site/lx.json",
        installed=tuple(
            Installed(
                end=state.end,
                serial=f"{state.end}-1001",
                wire=state.wire,
                own=state.own,
                recorded_serial=f"{state.end}-1001",
                read_back="matches",
            )
            for state in states
        ),
    )
    assert found.entry == Location(path="site/plant.toml", line=4, key="connections[0]")
    assert found.first.where.path == "site/maps/sc1-lx.toml"
    assert checks.check_all((found,)).findings == ()


def test_a_connection_without_a_record() -> None:
    (found,) = loaded(plant_text(f"{LIFT} }}"))
    assert found.installed == (Installed(end="SC1"), Installed(end="LX"))
    assert rules(plant_text(f"{LIFT} }}")) == ["record-missing"]


def test_the_plant() -> None:
    given = plantfile.loads(
        plant_text(f"{LIFT} }}"), path="site/plant.toml", read=files().__getitem__
    )
    assert (given.name, given.where) == ("hall 3", Location(path="site/plant.toml"))


def test_read_backs() -> None:
    text = plant_text(f'{LIFT}, record = "lx.json" }}')
    for entry, rule in (
        ({"checksum": "0"}, "read-back-differs"),
        ({"expected": ""}, "read-back-missing"),
    ):
        made = record.dumps(record.fill(TESTED, "LX", **entry))
        assert rules(text, files(**{"site/lx.json": made})) == [rule]


def test_a_record_of_another_connection_is_one_finding() -> None:
    text = plant_text('{ ends = ["maps/sc1-lx2.toml", "maps/lx2-sc1.toml"], record = "lx.json" }')
    (found,) = checks.check_all(loaded(text)).findings
    assert found.rule == "record-outdated"
    assert found.message == (
        "the record site/lx.json of SC1-LX2 (SC1 and LX2) is about another map of SC1 and LX2"
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"format": "eds"},
        {"file": "b.xml"},
        {"sha256": "0" * 64},
        {"select": ("x", "y")},
        {"options": ("--as device",)},
        {"version": "0.0.1"},
        None,
    ],
)
def test_where_a_map_came_from_is_part_of_it(changes: dict[str, Any] | None) -> None:
    """The plant checks MUST count every edit of a map that the gate counts."""
    origin = Provenance(format="esi", file="a.xml", sha256="ab" * 32, select=("x, y",))
    imported = replace(AFTER.second, imported=origin)
    made = record.new(BEFORE, replace(AFTER, second=imported))
    text = plant_text(f'{LIFT}, record = "lx.json" }}')

    def found(end: End, made: record.Record = made) -> list[str]:
        given = {"site/maps/lx-sc1.toml": mapfile.dumps(end), "site/lx.json": record.dumps(made)}
        return [name for name in rules(text, files(**given)) if name == "record-outdated"]

    assert found(imported) == []
    other = None if changes is None else replace(origin, **changes)
    edited = replace(imported, imported=other)
    assert found(edited) == ["record-outdated"]
    assert record.verify(made, replace(AFTER, second=edited)).faults[0] == record.VOID
    spoilt = [replace(state, map=f"imported{state.map}") for state in made.computed.after]
    broken = replace(made, computed=replace(made.computed, after=tuple(spoilt)))
    assert found(edited, broken) == ([] if other is None else ["record-outdated"])


def test_the_order_of_the_ends_changes_nothing() -> None:
    """What is told, and what a baseline knows it by, MUST NOT hang on which end is listed first."""
    same_id = demo.after()["sc1-lx2.toml"].replace("0x0108", "0x0107")
    assert same_id != demo.after()["sc1-lx2.toml"]
    given = files(
        **{
            "site/maps/sc1-lx2.toml": same_id,
            "site/maps/lx-sc1.toml": demo.before()["lx-sc1.toml"],
            "site/b.json": record.dumps(record.fill(TESTED, "LX", checksum="0")),
        }
    )
    entries = [
        ("sc1-lx", "lx-sc1", 'record = "lx.json", serials = { LX = "9" }'),
        ("sc1-lx2", "lx2-sc1", 'record = "lx.json", serials = { LX2 = "9" }'),
        ("sc1-lc1", "lc1-sc1", ""),
        ("sc1-lx", "lx-sc1", 'record = "b.json", serials = { LX = "7" }'),
    ]

    def told(*, turned: bool) -> set[tuple[str, str, BaselineKey]]:
        rows = []
        for first, second, more in entries:
            names = [second, first] if turned else [first, second]
            ends = ", ".join(f'"maps/{name}.toml"' for name in names)
            rows.append(f"{{ ends = [{ends}], {more} }}" if more else f"{{ ends = [{ends}] }}")
        found = checks.check_all(loaded(plant_text(*rows), given)).findings
        return {(one.rule, one.message, key_of(one)) for one in found}

    usual = told(turned=False)
    assert {rule for rule, _, _ in usual} >= {
        *("connection-id-reused", "record-shared", "record-outdated", "record-missing"),
        *("read-back-differs", "serial-differs", "serial-reused"),
    }
    assert told(turned=True) == usual


def test_a_record_without_the_rows_of_an_end() -> None:
    bare = with_acts(TESTED)
    text = plant_text(f'{LIFT}, record = "lx.json", {SERIALS} }}')
    found = rules(text, files(**{"site/lx.json": record.dumps(bare)}))
    assert found == ["read-back-missing", "read-back-missing"]


def test_one_shared_end_is_no_clone() -> None:
    other = '{ ends = ["maps/sc1-lx2.toml", "maps/lx2-sc1.toml"], serials = { SC1 = "SC1-1001" } }'
    text = plant_text(f'{LIFT}, record = "lx.json", {SERIALS} }}', other)
    assert rules(text) == ["record-missing"]


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        (
            "",
            [
                'site/plant.toml: format must be stated as "safeframe-plant/1"',
                "site/plant.toml: name: name must be stated",
                "site/plant.toml: connections must hold at least one connection",
            ],
        ),
        (
            'format = "safeframe-map/1"',
            [
                'site/plant.toml:1: format: format must be "safeframe-plant/1", not '
                "'safeframe-map/1'"
            ],
        ),
        ("x = [", ["site/plant.toml:1: the text must be valid TOML: Invalid value"]),
        (
            plant_text('{ ends = ["a.toml"] }'),
            [
                f"{ROW}.ends: ends must be an array of two map files, not an array",
            ],
        ),
        (
            plant_text('{ ends = ["a.toml", 7], serials = 1 }'),
            [
                f"{ROW}.ends: ends must be a text, not 7",
                f"{ROW}.serials: serials must be a table such as {{ SC1 = "
                '"1001", LX = "2001" }, not 1',
            ],
        ),
        (
            plant_text(f"{LIFT}, record_file = 1 }}"),
            [
                f"{ROW}.record_file: a key must be one that a connection "
                "knows, not 'record_file' (did you mean record?)",
            ],
        ),
        (
            plant_text(f"{LIFT} }}") + "town = 1\n",
            [
                "site/plant.toml:6: town: a key must be one that a plant file knows, not 'town' "
                "(known are format, name, connections, require, cycle_ms, routes)"
            ],
        ),
        (
            plant_text(f'{LIFT}, serials = {{ LX2 = "7" }} }}'),
            [f"{ROW}.serials.LX2: a serial must be of SC1 or LX, not of LX2"],
        ),
        (
            plant_text('{ ends = ["a.toml", "b.toml"], record = "c.json" }'),
            [
                f"site/{name}: the file must be readable: no such file"
                for name in ("a.toml", "b.toml", "c.json")
            ],
        ),
    ],
)
def test_refusals(text: str, messages: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        loaded(text)
    assert sorted(map(str, caught.value.problems)) == sorted(messages)


def test_a_broken_file_is_told_once() -> None:
    given = files(**{"site/maps/sc1-lx.toml": "format = 1"})
    text = plant_text(f"{LIFT} }}", f"{LIFT} }}")
    with pytest.raises(InputError) as caught:
        loaded(text, given)
    assert len(caught.value.problems) == 1


def test_schema() -> None:
    assert SCHEMA.read_text(encoding="utf-8") == plantfile.schema_text()
    described = json.loads(plantfile.schema_text())
    jsonschema.Draft202012Validator.check_schema(described)
    examples = tomllib.loads((FOLDER / "examples.toml").read_text(encoding="utf-8"))
    jsonschema.validate(tomllib.loads(examples["base"]["plant"]), described)
    for row in ("{ }", '{ ends = ["a"] }', f"{LIFT}, serial = 1 }}"):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(tomllib.loads(plant_text(row)), described)


class TestCommand:
    @pytest.fixture
    def site(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            (tmp_path / name).write_text(demo.after()[name], encoding="utf-8")
        (tmp_path / "lx.json").write_text(record.dumps(SIGNED), encoding="utf-8")
        row = '{ ends = ["sc1-lx.toml", "lx-sc1.toml"], record = "lx.json" }'
        (tmp_path / "plant.toml").write_text(plant_text(row), encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        return tmp_path

    @pytest.mark.parametrize("path", ["plant.toml", "."])
    def test_check(self, site: Path, path: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", path]) == 0
        text = (site / "lx-sc1.toml").read_text(encoding="utf-8")
        text = text.replace("Drive.Brake2Release", "Drive.Spare")
        (site / "lx-sc1.toml").write_text(text, encoding="utf-8")
        assert main(["check", path]) == 1
        assert "error: record-outdated\n" in capsys.readouterr().out

    def test_a_folder_leaves_no_map_out(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        for name in ("sc1-lc1.toml", "lc1-sc1.toml"):
            (site / name).write_text(demo.after()[name], encoding="utf-8")
        assert main(["check", "."]) == 2
        assert capsys.readouterr().err == (
            "safeframe: plant.toml: a plant must list every map file of its folder, not leave "
            "lc1-sc1.toml, sc1-lc1.toml out\n"
        )

    def test_maps_in_folders_below_are_told(
        self, site: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        below = site / "older" / "2025"
        below.mkdir(parents=True)
        (below / "notes.toml").write_text("a = 1\n", encoding="utf-8")
        (below / "readme.txt").write_text("safeframe-map/1", encoding="utf-8")
        (site / ".hidden").mkdir()
        (site / ".hidden" / "x.toml").write_text(demo.after()["sc1-lx.toml"], encoding="utf-8")
        assert main(["check", str(site)]) == 0
        assert "folders below" not in capsys.readouterr().out
        for name in ("sc1-lc1.TOML", "lc1-sc1.csv"):
            (below / name).write_text(demo.after()["sc1-lc1.toml"], encoding="utf-8")
        told = f"{below / 'lc1-sc1.csv'} and 1 more: map files in folders below"
        for format_ in ("json", "markdown", "html", "junit", "text"):
            assert main(["check", str(site), "--format", format_]) == 0
            found = capsys.readouterr()
            assert "not looked at" in found.out.replace("_", " ")
            assert _plain(told) in _plain(found.out)
            assert found.err == ""
        assert main(["check", str(site), "--format", "sarif"]) == 0
        assert f"safeframe: not looked at: {told}" in capsys.readouterr().err
        assert main(["trace", "torque_off", str(site / "plant.toml")]) == 0
        assert capsys.readouterr().err == ""
        assert main(["trace", "torque_off", str(site)]) == 0
        assert f"safeframe: not looked at: {told}" in capsys.readouterr().err
        (site / "up").symlink_to(site)
        below.rename(site.parent / "elsewhere")
        (site / "older" / "2025").symlink_to(site.parent / "elsewhere")
        assert main(["check", str(site)]) == 0
        assert _plain(told) in _plain(capsys.readouterr().out)
        (site / "older" / "2025").unlink()
        (site.parent / "elsewhere").rename(below)
        (below / "sc1-lc1.TOML").unlink()
        opened: Any = Path.open

        def refuse(path: Path, *more: str) -> Any:
            if path.parent == below:
                raise PermissionError(13, "Permission denied")
            return opened(path, *more)

        monkeypatch.setattr(Path, "open", refuse)
        assert main(["check", str(site)]) == 0
        # What cannot be read was not looked at either: the notes are named, too.
        assert _plain("lc1-sc1.csv and 1 more: map files") in _plain(capsys.readouterr().out)

    def test_a_map_below_long_comments_is_told(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (site / "older").mkdir()
        text = "# terms of use\n" * 5000 + demo.after()["sc1-lc1.toml"]
        (site / "older" / "sc1-lc1.toml").write_text(text, encoding="utf-8")
        assert main(["check", str(site)]) == 0
        told = f"{site / 'older' / 'sc1-lc1.toml'}: map files in folders below"
        assert _plain(told) in _plain(capsys.readouterr().out)

    def test_files_named_like_plants_are_told(
        self, site: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """A name that ends so keeps a file from being read as a map: that has to be said."""
        plant = (site / "plant.toml").read_text(encoding="utf-8")
        (site / "notes-plant.toml").write_text("a = 1\n", encoding="utf-8")
        (site / "gone-plant.toml").symlink_to("nowhere.toml")
        (site / ".old-plant.toml").write_text(demo.after()["sc1-lc1.toml"], encoding="utf-8")
        assert main(["check", str(site)]) == 0
        assert "named like" not in capsys.readouterr().out
        for name in ("a-plant.toml", "b-plant.toml"):
            (site / name).write_text(demo.after()["sc1-lc1.toml"], encoding="utf-8")
        told = f"{site / 'a-plant.toml'} and 1 more: named like plant files in {site} (name a"
        for there in (True, False):
            assert main(["check", str(site)]) == 0
            assert _plain(told) in _plain(capsys.readouterr().out)
            if there:
                (site / "plant.toml").unlink()
        (site / "a-plant.toml").unlink()
        (site / "b-plant.toml").unlink()
        other = site / "hall-plant.toml"
        other.write_text(plant, encoding="utf-8")
        assert main(["check", str(site)]) == 0
        assert _plain(f"{other}: named like plant files") in _plain(capsys.readouterr().out)
        main(["check", str(site), str(other)])
        assert "named like" not in capsys.readouterr().out

    def test_far_too_many_files_below_are_not_searched(
        self, site: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A link may lead to a whole disk."""
        monkeypatch.setattr("safeframe._cli.inputs._MOST_BELOW", 9)
        (site / "a" / "b").mkdir(parents=True)
        (site / "a" / "sc1-lc1.toml").write_text(demo.after()["sc1-lc1.toml"], encoding="utf-8")
        (site / "a" / "b" / "top").symlink_to("/")
        assert main(["check", str(site)]) == 0
        found = _plain(capsys.readouterr().out)
        assert _plain(f"folders below {site} beyond 9 files: not searched for maps") in found
        assert _plain(f"{site / 'a' / 'sc1-lc1.toml'}: map files in folders below") in found

    def test_a_name_in_capitals_is_a_map(self, site: Path) -> None:
        (site / "plant.toml").unlink()
        (site / "sc1-lx.toml").rename(site / "SC1-LX.TOML")
        assert main(["check", str(site)]) == 0

    def test_from_the_disk(self, site: Path) -> None:
        assert plantfile.load(site / "plant.toml").connections[0].record == str(site / "lx.json")


DEVICE = 'LX = { format = "esi", file = "lx.xml", options = ["--as device"] }'
DEVICES = f"{LIFT}, device_files = {{ {DEVICE} }} }}"


NAMES = [
    *("torque_off", "ss1_done", "sos_holds", "sls_holds", "up_blocked", "down_blocked"),
    *("brake1_applied", "no_fault"),
]


class TestDeviceFiles:
    """A plant file may name the device file of an end: every check holds the map against it."""

    def given(self, **changes: str) -> dict[str, str]:
        text = demo.device_files()["lx.xml"]
        for old, new in changes.items():
            assert old in text
            text = text.replace(old, new)
        return files(**{"site/lx.xml": text})

    def test_a_map_that_agrees(self) -> None:
        report = checks.check_all(loaded(plant_text(DEVICES), self.given()))
        assert [finding.rule for finding in report.findings] == ["record-missing"]
        assert ("LX against lx.xml", "places, widths, types, order and names agree") in report.facts

    def test_a_map_that_differs(self) -> None:
        given = self.given(brake1_applied="brake9_applied")
        report = checks.check_all(loaded(plant_text(DEVICES), given))
        finding = report.findings[0]
        assert (finding.rule, finding.connection) == ("renamed-signal", "SC1-LX")
        assert [str(spot.where) for spot in finding.spots] == [
            *("site/maps/lx-sc1.toml:12", "site/lx.xml:40"),
        ]
        assert ("LX against lx.xml", "1 difference") in report.facts

    def test_a_map_that_is_held_against_one_direction_only(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """What the file was not asked about is no part of the agreement, in any format."""
        device = DEVICE.replace(
            'file = "lx.xml"', 'file = "lx.xml", select = ["device:0x7:2/rx:0x1610"]'
        )
        given = self.given(brake1_applied="brake9_applied")
        plant = loaded(plant_text(f"{LIFT}, device_files = {{ {device} }} }}"), given)
        report = checks.check_all(plant)
        assert [finding.rule for finding in report.findings] == ["record-missing"]
        fact = "places, widths, types, order and names of what LX receives agree"
        assert ("LX against lx.xml", fact) in report.facts
        (open_,) = [entry for entry in report.not_judged if not entry.rule]
        assert open_ == (
            *("SC1-LX", "", "nothing is selected for it in lx.xml", "what LX sends", ""),
        )
        for name, text in (demo.after() | {"lx.xml": demo.device_files()["lx.xml"]}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        path = tmp_path / "plant.toml"
        text = plant_text(f"{LIFT.replace('maps/', '')}, device_files = {{ {device} }} }}")
        path.write_text(text, encoding="utf-8")
        for form in ("text", "json", "junit", "markdown"):
            assert main(["check", "--fail-on", "error", "--format", form, str(path)]) == 0
            shown = " ".join(capsys.readouterr().out.split()).replace("\\", "")
            assert "what LX sends" in shown, form
            assert "nothing is selected for it in lx.xml" in shown, form

    def test_what_a_file_leaves_to_its_reader_is_not_judged(self) -> None:
        report = checks.check_all(loaded(plant_text(DEVICES), self.given(**{' Fixed="1"': ""})))
        assert [entry for entry in report.not_judged if not entry.rule] == [
            (
                *("SC1-LX", ""),
                f"device:0x7:2/{pdo}: not fixed: the project may have changed it",
                *("what lx.xml leaves to its reader", ""),
            )
            for pdo in ("rx:0x1610", "tx:0x1a10")
        ]

    def test_a_sheet_and_a_program(self) -> None:
        columns = "octet=O;bit=B;name=N;bit_zero=least;first_octet=0;first_bit=0;reserve=-"
        rows = [
            *(f"{place // 8},{place % 8},{name}" for place, name in enumerate(NAMES)),
            "1,0-1,speed_range",
            "1,2,brake2_applied",
            "1,3-7,-",
        ]
        given = files(**{"site/bits.csv": "\n".join(("O,B,N", *rows))})
        device = (
            'LX = { format = "table", file = "bits.csv", options = '
            f'["--columns {columns}", "--direction sends"] }}'
        )
        assert rules(plant_text(f"{LIFT}, device_files = {{ {device} }} }}"), given) == [
            "record-missing"
        ]

    @pytest.mark.parametrize(
        ("device", "message"),
        [
            ("LX = 1", "LX must be a table, not 1"),
            ('LX = { format = "esi" }', "file must be stated"),
            (
                'LY = { format = "esi", file = "lx.xml" }',
                "a device file must be of SC1 or LX, not of LY",
            ),
            ('LX = { format = "esi", file = "no.xml" }', "site/no.xml: the file must be readable"),
            ('LX = { format = "odd", file = "lx.xml" }', "a format must be one of esi, eds"),
            ('LX = { format = "esi", file = "lx.xml" }', "--as device or --as controller must be"),
            (
                DEVICE.replace("--as device", "as device"),
                "an option must be one of safeframe import",
            ),
            (DEVICE.replace("--as device", "--force"), "an option must be one of safeframe import"),
            (DEVICE.replace("--as device", "--as"), "--as must have a value, not be '--as'"),
            (DEVICE.replace("--as device", "--codes yes"), "--codes must stand alone, not be"),
            (DEVICE.replace("esi", "table"), "a table must have one option --columns"),
            (
                DEVICE.replace('file = "lx.xml"', 'file = "lx.xml", select = ["rx"]'),
                "a selection must be in the file, not rx",
            ),
        ],
    )
    def test_refusals(self, device: str, message: str) -> None:
        with pytest.raises(InputError, match=re.escape(message)):
            loaded(plant_text(f"{LIFT}, device_files = {{ {device} }} }}"), self.given())

    def test_no_table(self) -> None:
        with pytest.raises(InputError, match="device_files must be a table such as"):
            loaded(plant_text(f"{LIFT}, device_files = 1 }}"))

    def test_on_disk(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        for name, text in (demo.after() | {"lx.xml": demo.device_files()["lx.xml"]}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        plant = tmp_path / "plant.toml"
        plant.write_text(plant_text(DEVICES.replace("maps/", "")), encoding="utf-8")
        assert main(["check", "--fail-on", "error", str(plant)]) == 0
        other = (tmp_path / "lx.xml").read_text(encoding="utf-8").replace("no_fault", "fault")
        (tmp_path / "lx.xml").write_text(other, encoding="utf-8")
        assert main(["check", "--fail-on", "error", str(plant)]) == 1
        assert "no_fault at LX and fault at lx.xml" in " ".join(capsys.readouterr().out.split())


def _plain(text: str) -> str:
    """Return a text without breaks of lines and escapes of a format."""
    return re.sub(r"[^a-z0-9]+", "", text.lower())
