"""The gate of a plant: what it must say of every connection, whatever is wrong with the others."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from safeframe import Connection, load, protocols, record
from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe._cli import main
from safeframe._document.reader import holds
from safeframe._errors import UsageError
from safeframe._findings import Finding
from safeframe._plant.gaterow import GateCell, GateRow
from safeframe._plant.verify import GateReport, natural
from safeframe._report import junit
from safeframe._report.document import CAUTION
from safeframe._source import NOWHERE
from safeframe.record import Record
from tests.unit.record_maps import AFTER, BEFORE, FRESH, SIGNED, TESTED, signed
from tests.unit.record_maps import tested as all_tested
from tests.unit.route_sites import NAME, two
from tests.unit.schemas import validate
from tests.unit.test_record_editions import FIRST, NOTE, first_edition

LX = 'ends = ["maps/sc1-lx.toml", "maps/lx-sc1.toml"]'
LX2 = 'ends = ["maps/sc1-lx2.toml", "maps/lx2-sc1.toml"]'
ASKED: Any = {"reason": "new drive", "asked_by": "A. Berg", "hazards": ("none",)}
Out = pytest.CaptureFixture[str]


def plant_text(*rows: str, more: str = "") -> str:
    listed = "".join(f"  {{ {row} }},\n" for row in rows)
    return f'format = "safeframe-plant/1"\nname = "hall 3"\nconnections = [\n{listed}]\n{more}'


class Site:
    """A folder with the demo maps, records and a plant file."""

    def __init__(self, folder: Path, out: Out) -> None:
        self.folder, self.out = folder, out
        for name, text in demo.after().items():
            self.write(f"maps/{name}", text)
        self.record("lx.json", SIGNED)

    def write(self, name: str, text: str) -> None:
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def record(self, name: str, made: Record) -> None:
        self.write(f"records/{name}", record.dumps(made))

    def plant(self, *rows: str, more: str = "") -> None:
        self.write("plant.toml", plant_text(*rows, more=more))

    def verify(self, *words: str, code: int | None = None) -> Any:
        """Run the gate and return its JSON."""
        found = main(["verify", "plant.toml", "--format", "json", *words])
        given = json.loads(self.out.readouterr().out)
        validate("verify", given)
        assert found == (0 if given["in_order"] else 1)
        assert code in (None, found)
        return given

    def row(self, *words: str) -> Any:
        (row,) = self.verify(*words)["connections"]
        return row


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Out) -> Site:
    monkeypatch.chdir(tmp_path)
    made = Site(tmp_path, capsys)
    made.plant(f'{LX}, record = "records/lx.json"')
    return made


def cells(row: Any) -> list[str]:
    return [row[name]["text"] for name in ("agree", "read_back", "tested", "signed", "valid")]


def points(row: Any, aspect: str = "") -> list[str]:
    return [point["text"] for point in row["points"] if aspect in ("", point["aspect"])]


IN_ORDER = """\
connection  agree  read back  tested    signed          valid
SC1-LX      yes    both ends  31 of 31  2 of 2, no key  until edited

hall 3: 1 connection, all in order
  not looked at: device files of 2 of 2 ends: the plant file names none
  not looked at: evidence: the plant file asks for no recordings
  not looked at: map files that no connection lists: maps/lc1-sc1.toml and
  maps/lx2-sc1.toml and maps/sc1-lc1.toml and maps/sc1-lx2.toml
  not judged: application_parameters at both ends (no end states it)
  not cryptographically signed: 1 record
Off-line aid, not certified: replaces neither review nor validation; local codes
and licensed practice come first.
"""


def test_a_plant_in_order(site: Site) -> None:
    assert main(["verify", "plant.toml"]) == 0
    assert site.out.readouterr().out == IN_ORDER
    assert main(["verify", "."]) == 0
    assert site.out.readouterr().out.startswith("connection  agree")


def test_check_says_what_it_did_not_look_at(site: Site) -> None:
    site.record("lx.json", TESTED)
    assert main(["check", "plant.toml"]) == 0
    told = " ".join(site.out.readouterr().out.split())
    assert (
        "not looked at: whether 1 record of plant.toml is whole, complete, tested and signed, and "
        "what else it asks for: safeframe verify plant.toml"
    ) in told
    site.plant(f'{LX}, record = "records/lx.json"', LX2)
    assert main(["check", "plant.toml", "--format", "json"]) == 1
    given = json.loads(site.out.readouterr().out)
    assert given["not_looked_at"] == [
        "signals that cross several connections, through SC1: plant.toml declares no routes",
        "whether 1 record of plant.toml is whole, complete, tested and signed, and what else it "
        "asks for: safeframe verify plant.toml; 1 connection of it without any",
    ]
    site.plant(LX, LX2)
    assert main(["check", "plant.toml", "--format", "json"]) == 1
    given = json.loads(site.out.readouterr().out)
    assert given["not_looked_at"][1].startswith("whether 0 records of plant.toml are whole, ")
    site.plant(*[f'{LX}, record = "records/lx.json"'] * 2)
    assert main(["check", "plant.toml", "--format", "junit"]) == 1
    assert 'name="not looked at"' in site.out.readouterr().out
    assert main(["check", "maps/sc1-lx.toml", "maps/lx-sc1.toml"]) == 0
    assert "not looked at" not in site.out.readouterr().out


class TestRoutesThatNobodyDeclares:
    """Where signals could cross several connections and nothing says which, that MUST be told."""

    TOLD = "signals that cross several connections, through SC1: no plant file declares routes"

    def told(self, site: Site, *words: str) -> list[str]:
        assert main(["check", *words, "--format", "json"]) in (0, 1)
        found: list[str] = json.loads(site.out.readouterr().out)["not_looked_at"]
        return found

    def test_a_folder_without_a_plant_file(self, site: Site) -> None:
        assert self.told(site, "maps") == [self.TOLD]
        pairs = [f"maps/{name}.toml" for name in ("sc1-lx", "lx-sc1", "lc1-sc1", "sc1-lc1")]
        assert self.told(site, *pairs) == [self.TOLD]
        assert self.told(site, *pairs[:2], *pairs[:2]) == []

    @pytest.mark.parametrize("format_", ["sarif", "workflow-commands", "code-quality-json"])
    def test_formats_without_room_for_it(self, site: Site, format_: str) -> None:
        assert main(["check", "maps", "--format", format_]) == 0
        assert site.out.readouterr().err == (
            "safeframe: not judged of SC1-LC1, SC1-LX, SC1-LX2: application_parameters at both "
            f"ends (no end states it)\nsafeframe: not looked at: {self.TOLD}\n"
        )

    def test_a_plant_without_routes(self, site: Site) -> None:
        site.plant(LX, LX2)
        told = "signals that cross several connections, through SC1: the plant file declares no "
        assert f"{told}routes" in site.verify()["not_looked_at"]
        site.plant(LX)
        assert not any("cross" in text for text in site.verify()["not_looked_at"])

    def test_a_plant_beside_other_maps(self, site: Site) -> None:
        site.plant(LX)
        maps = [f"maps/{name}.toml" for name in ("sc1-lx2", "lx2-sc1", "sc1-lc1", "lc1-sc1")]
        assert self.told(site, "plant.toml", *maps)[0] == self.TOLD


class TestSharedRecords:
    """That two connections may name one record allows nothing else that is wrong with it."""

    ALLOW = '\n[[allow]]\nrule = "record-shared"\nreason = "a twin"\n'

    def found(self, site: Site, *rows: str) -> list[str]:
        site.plant(*rows)
        main(["check", "plant.toml", "--format", "json"])
        told = json.loads(site.out.readouterr().out)["findings"]
        devices = ("record-", "read-back-", "serial-")
        return sorted(one["rule"] for one in told if one["rule"].startswith(devices))

    def test_a_sister_that_it_does_not_fit(self, site: Site) -> None:
        rows = [f'{one}, record = "records/lx.json"' for one in (LX, LX2)]
        assert self.found(site, *rows) == ["record-shared"]
        for name in ("sc1-lx2.toml", "lx2-sc1.toml"):
            site.write(f"maps/{name}", demo.after()[name] + self.ALLOW)
        assert self.found(site, *rows) == ["record-outdated"]

    @pytest.mark.parametrize("name", ["sc1-lx.toml", "lx-sc1.toml"])
    @pytest.mark.parametrize("rule", ["record-shared", "record-missing", "record-outdated"])
    def test_allowed_at_either_end(self, site: Site, rule: str, name: str) -> None:
        """What is about a connection MUST be allowed by an allowance at either of its ends."""
        allow = f'\n[[allow]]\nrule = "{rule}"\nreason = "known"\n'
        site.write(f"maps/{name}", demo.after()[name] + allow)
        other = LX2 if rule == "record-shared" else LX
        path = "lx.json"
        if rule == "record-outdated":
            path = "old.json"
            site.record(path, record.new(BEFORE, BEFORE))
        rows = [LX, other] if rule == "record-missing" else [f'{LX}, record = "records/{path}"']
        if rule == "record-shared":
            rows.append(f'{LX2}, record = "records/{path}"')
        told = self.found(site, *rows)
        assert "unused-allowance" not in self.every(site)
        assert rule not in told

    def every(self, site: Site) -> list[str]:
        main(["check", "plant.toml", "--format", "json"])
        told = json.loads(site.out.readouterr().out)["findings"]
        return [one["rule"] for one in told]

    def test_an_allowance_that_the_plant_does_not_need(self, site: Site) -> None:
        site.write("maps/lx-sc1.toml", demo.after()["lx-sc1.toml"] + self.ALLOW)
        site.plant(LX)
        assert "unused-allowance" in self.every(site)
        main(["verify", "plant.toml"])
        told = "LX allows record-shared, but there is no such finding"
        assert told in " ".join(site.out.readouterr().out.split())
        # Of the maps by themselves nobody can tell.
        assert main(["check", "maps/sc1-lx.toml", "maps/lx-sc1.toml"]) == 0
        told = "the allowance of record-shared at LX (no plant file lists the connection)"
        assert told in " ".join(site.out.readouterr().out.split())

    def test_allowed_by_the_last_of_many(self, site: Site) -> None:
        rows = [f'{LX}, record = "records/lx.json"'] * 24
        rows.append(f'{LX2}, record = "records/lx.json"')
        assert "record-shared" in self.found(site, *rows)
        site.write("maps/lx2-sc1.toml", demo.after()["lx2-sc1.toml"] + self.ALLOW)
        assert "record-shared" not in self.found(site, *rows)
        assert "unused-allowance" not in self.every(site)

    @pytest.mark.parametrize(
        ("one", "two", "told"),
        [
            ("SN 7", "SN 7", ["SN 7"]),
            ("SN 7", "sn-7", ["SN 7 or sn-7"]),
            ("SN 7", "SN 8", []),
            ("-", "-", []),
        ],
    )
    def test_one_serial_number_typed_in_two_ways(
        self, site: Site, one: str, two: str, told: list[str]
    ) -> None:
        site.plant(f'{LX}, serials = {{ LX = "{one}" }}', f'{LX2}, serials = {{ LX2 = "{two}" }}')
        found = [row["message"] for row in site.verify()["findings"]]
        assert [text for text in found if "serial" in text] == [
            f"the serial number {number} is that of LX and LX2" for number in told
        ]

    def test_allowed_by_another_map_of_the_device(self, site: Site) -> None:
        """A device of several connections has several maps, and each of them can allow."""
        rows = [f'{LX}, serials = {{ SC1 = "7" }}', f'{LX2}, serials = {{ SC1 = "7", LX2 = "7" }}']
        assert "serial-reused" in self.found(site, *rows)
        allow = '\n[[allow]]\nrule = "serial-reused"\nreason = "one box"\n'
        site.write("maps/sc1-lx2.toml", demo.after()["sc1-lx2.toml"] + allow)
        assert "serial-reused" not in self.found(site, *rows)
        site.write("maps/sc1-lx2.toml", demo.after()["sc1-lx2.toml"])
        for name in ("sc1-lx2.toml", "lx2-sc1.toml"):
            text = demo.after()[name].replace("address = 8", "address = 7")
            site.write(f"maps/{name}", text)
            text = text.replace("0x0108", "0x0208").replace('"SC1-LX2"', '"SC1-LX2 b"')
            site.write(f"maps/b-{name}", text)
        rows = [LX, LX2, LX2.replace("maps/", "maps/b-")]
        site.plant(*rows)
        assert "address-reused" in self.every(site)
        site.write("maps/b-lx2-sc1.toml", text + allow.replace("serial-", "address-"))
        found = self.every(site)
        assert "address-reused" not in found
        assert "unused-allowance" not in found

    def test_none_that_it_fits(self, site: Site) -> None:
        site.record("lx.json", record.new(BEFORE, BEFORE))
        rows = [f'{one}, record = "records/lx.json"' for one in (LX, LX2)]
        assert self.found(site, *rows).count("record-outdated") == 2

    def test_devices_of_those_that_it_fits(self, site: Site) -> None:
        rows = [f'{one}, record = "records/lx.json"' for one in (LX, LX2)]
        rows[0] += ', serials = { LX = "7" }'
        assert self.found(site, *rows) == ["record-shared", "serial-differs"]
        site.record("lx.json", FRESH)
        assert self.found(site, *rows) == ["read-back-missing"] * 2 + ["record-shared"]


class TestPathsThroughLinks:
    """What is read and shown MUST be what the system opens: behind a link, `..` leads elsewhere."""

    @pytest.fixture
    def linked(self, site: Site) -> Site:
        far = site.folder / "far" / "inner"
        far.mkdir(parents=True)
        for name, text in demo.before().items():
            site.write(f"far/{name}", text)
            site.write(name, demo.after()[name])
        (site.folder / "link").symlink_to(far)
        site.plant('ends = ["link/../sc1-lx.toml", "link/../lx-sc1.toml"]')
        return site

    def test_check_and_gate(self, linked: Site) -> None:
        (row,) = linked.verify()["connections"]
        assert row["maps"] == ["link/../sc1-lx.toml", "link/../lx-sc1.toml"]
        (linked.folder / "far/lx-sc1.toml").write_text(
            demo.before()["lx-sc1.toml"].replace("Drive.", "Drives."), encoding="utf-8"
        )
        linked.record("lx.json", record.new(BEFORE, BEFORE))
        rows = 'ends = ["link/../sc1-lx.toml", "link/../lx-sc1.toml"], record = "records/lx.json"'
        linked.plant(rows)
        main(["check", "plant.toml", "--format", "json"])
        found = json.loads(linked.out.readouterr().out)["findings"]
        (told,) = (one for one in found if one["rule"] == "record-outdated")
        assert "another map of LX" in told["message"]
        assert told["spots"][0]["path"] == "link/../lx-sc1.toml"

    def test_no_map_is_left_out_that_is_listed(self, linked: Site) -> None:
        given = linked.verify()
        (text,) = (one for one in given["not_looked_at"] if "map files" in one)
        listed = [name for name in demo.before() if f"link/../{name}" in text]
        assert "lc1-sc1.toml" in listed
        assert not {"sc1-lx.toml", "lx-sc1.toml"} & set(listed)

    def test_a_path_without_links_is_short(self, site: Site) -> None:
        site.plant('ends = ["maps/../maps/sc1-lx.toml", "./maps//lx-sc1.toml"]')
        (row,) = site.verify()["connections"]
        assert row["maps"] == ["maps/sc1-lx.toml", "maps/lx-sc1.toml"]


class TestStates:
    """Each state of a record, and what the row, the points and the exit code say."""

    def test_nothing_tested(self, site: Site) -> None:
        site.record("lx.json", FRESH)
        row = site.row()
        assert cells(row) == ["yes", "no", "0 of 31", "0 of 2, no key", "not yet"]
        assert [row[name]["state"] for name in ("agree", "read_back", "valid")] == [
            "good",
            "open",
            "open",
        ]
        assert [(point["aspect"], point["machine"]) for point in row["points"]] == [
            ("read back", "SC1"),
            ("read back", "LX"),
            ("approvals", ""),
            ("tests", "SC1"),
            ("tests", "LX"),
            ("tests", ""),
        ]
        assert not any(point["fault"] for point in row["points"])
        assert row["points"][0]["command"] == (
            "safeframe record fill records/lx.json --end SC1 --who NAME --when DATE "
            "--serial TEXT --checksum TEXT --expected TEXT"
        )
        assert row["points"][5]["command"] == (
            "safeframe record done records/lx.json wrong-device --who NAME --when DATE"
        )

    def test_an_end_whose_name_begins_with_that_of_the_other(self, site: Site) -> None:
        """A step MUST NOT be listed at another device than that at which it is tried."""
        relation = (
            '\n[[relations]]\nname = "up or down"\nwhen = { permit_up = 1 }\n'
            'excludes = { permit_down = 1 }\nreason = "one way at a time"\n'
        )
        for name in ("lx-sc1.toml", "sc1-lx.toml"):
            text = demo.after()[name].replace('"SC1"', '"LX.B"')
            site.write(f"maps/{name}", text + relation * (name == "sc1-lx.toml"))
            before = demo.before()[name].replace('"SC1"', '"LX.B"')
            site.write(f"before/{name}", before)
        ends = [
            Connection(
                first=load(site.folder / folder / "lx-sc1.toml"),
                second=load(site.folder / folder / "sc1-lx.toml"),
            )
            for folder in ("before", "maps")
        ]
        site.record("lx.json", record.new(*ends))
        tests = {
            point["machine"]: point["step"].partition(": ")[2].split(", ")
            for point in site.row()["points"]
            if point["aspect"] == "tests"
        }
        assert {end: len(steps) for end, steps in tests.items()} == {"LX": 15, "LX.B": 16, "": 1}
        assert "LX.B.up or down.relation" in tests["LX.B"]
        assert not any(step.startswith("LX.B.") for step in tests["LX"])

    def test_commands_quote_names_of_files(self, site: Site) -> None:
        site.record("of LX.json", FRESH)
        site.plant(f'{LX}, record = "records/of LX.json"')
        commands = {point["command"] for point in site.row()["points"]}
        assert {tuple(shlex.split(command)[:4]) for command in commands} == {
            ("safeframe", "record", act, "records/of LX.json") for act in ("fill", "sign", "done")
        }
        for one in ("sc1-lx", "lx-sc1"):
            (site.folder / "maps" / f"{one}.toml").rename(site.folder / "maps" / f"of {one}.toml")
        site.plant(LX.replace("maps/", "maps/of "))
        (point,) = site.row()["points"]
        assert shlex.split(point["command"])[5:7] == ["maps/of sc1-lx.toml", "maps/of lx-sc1.toml"]

    def test_one_end_read_back(self, site: Site) -> None:
        half = record.fill(FRESH, "LX", who="A", when="d", serial="7", checksum="1", expected="1")
        site.record("lx.json", half)
        assert cells(site.row())[1] == "only LX"

    def test_a_read_back_that_differs(self, site: Site) -> None:
        site.record("lx.json", record.fill(TESTED, "LX", who="A", when="d", checksum="0"))
        row = site.row()
        assert cells(row) == ["yes", "LX differs", "31 of 31", "0 of 2, no key", "no"]
        assert points(row, "read back") == [
            "read-back of LX: the device shows 0, expected is 4F2A0011"
        ]
        assert row["findings"] == []  # Its record says it.

    def test_a_failed_step(self, site: Site) -> None:
        made = record.done(TESTED, "wrong-device", who="B", when="d", result="failed", remark="x")
        made = record.done(made, "LX.no_fault.other", who="B", when="d", result="failed")
        site.record("lx.json", made)
        row = site.row()
        assert cells(row)[2] == "29 of 31, 2 failed"
        assert points(row, "tests") == [
            "step LX.no_fault.other failed",
            "step wrong-device failed: x",
        ]

    def test_a_failed_and_an_open_step_at_one_end(self, site: Site) -> None:
        site.record(
            "lx.json", record.done(FRESH, "LX.no_fault.other", who="B", when="d", result="failed")
        )
        assert points(site.row(), "tests")[0] == "step LX.no_fault.other failed; 15 steps open"

    def test_one_approval(self, site: Site) -> None:
        made = record.sign(TESTED, who="C. Dahl", role="engineer", when="d")
        site.record("lx.json", made)
        row = site.row()
        assert cells(row)[3:] == ["1 of 2, no key", "not yet"]
        (point,) = row["points"]
        assert point["person"] == "who approves, other than C. Dahl"
        assert point["command"] == (
            "safeframe record sign records/lx.json --who NAME --role TEXT --when DATE"
        )

    def test_an_approval_before_the_last_entry(self, site: Site) -> None:
        made = record.done(SIGNED, "wrong-device", who="B", when="later", result="passed")
        site.record("lx.json", made)
        row = site.row()
        assert row["signed"] == {"state": "fault", "text": "2 of 2, no key"}
        assert [point["person"] for point in row["points"]] == ["C. Dahl", "D. Evans"]
        assert '--approval "C. Dahl"' in row["points"][0]["command"].replace("'", '"')

    def test_an_incomplete_request(self, site: Site) -> None:
        made = record.request(TESTED, who="A", when="d", reason="")
        site.record("lx.json", made)
        (point, _) = site.row()["points"]
        assert (point["aspect"], point["person"]) == ("request", "A. Berg")

    def test_a_record_of_no_change(self, site: Site) -> None:
        made = record.new(AFTER, AFTER, reason="r", asked_by="A", hazards=("none",))
        for end in made.ends:
            made = record.fill(
                made, end, who="A", when="d", serial=f"1-{end}", checksum="1", expected="1"
            )
        site.record("lx.json", signed(made))
        given = site.verify(code=0)
        assert given["connections"][0]["tested"]["text"] == "0 of 0"
        told = "tests of {}: the record is about no change, so it asks for none"
        assert told.format("SC1-LX") in given["not_looked_at"]
        site.plant(*[f'{LX}, record = "records/lx.json"'] * 13)
        assert told.format("13 connections") in site.verify(code=1)["not_looked_at"]

    def test_an_edited_computed_part(self, site: Site) -> None:
        text = record.dumps(SIGNED).replace('"restart"', '"restart "', 1)
        site.write("records/lx.json", text)
        row = site.row()
        assert row["valid"] == {"state": "fault", "text": "no"}
        assert points(row, "record")[-1].startswith("the computed part was edited")

    def test_a_map_edited_after_the_approvals(self, site: Site) -> None:
        text = demo.after()["lx-sc1.toml"].replace("Drive.Brake2Release", "Drive.Spare")
        site.write("maps/lx-sc1.toml", text)
        row = site.row()
        assert cells(row) == ["yes", "void", "void, 0 of 31", "void", "void"]
        (point,) = row["points"]
        assert "binding of brake2_release Drive.Brake2Release -> Drive.Spare" in point["text"]
        assert point["command"] == (
            "safeframe record new BEFORE BEFORE maps/sc1-lx.toml maps/lx-sc1.toml -o RECORD.json"
        )

    def test_maps_that_disagree(self, site: Site) -> None:
        site.write("maps/lx-sc1.toml", demo.before()["lx-sc1.toml"])
        row = site.row()
        assert row["agree"] == {"state": "fault", "text": "2 findings"}
        assert {finding["severity"] for finding in row["findings"]} == {"error"}
        assert row["valid"]["text"] == "void"

    def test_no_record(self, site: Site) -> None:
        site.plant(LX)
        row = site.row()
        assert cells(row) == ["yes", *["no record"] * 4]
        assert row["findings"] == []
        assert points(row) == ["the plant file names no record"]


class TestUnreadable:
    """A file that cannot be read is a fault of its connection and stops nothing."""

    @pytest.mark.parametrize(
        ("spoil", "aspect", "valid"),
        [
            (lambda site: (site.folder / "records/lx2.json").unlink(), "record", "unreadable"),
            (lambda site: site.write("records/lx2.json", "{"), "record", "unreadable"),
            (lambda site: site.write("records/lx2.json", "[]"), "record", "unreadable"),
            (lambda site: (site.folder / "maps/lx2-sc1.toml").unlink(), "maps", "not judged"),
            (lambda site: site.write("maps/lx2-sc1.toml", "x = ["), "maps", "not judged"),
            (
                lambda site: (site.folder / "maps/lx2-sc1.toml").write_bytes(b"\xff"),
                "maps",
                "not judged",
            ),
        ],
    )
    def test_of_one_connection(
        self, spoil: Callable[[Site], None], aspect: str, valid: str, site: Site
    ) -> None:
        site.record("lx2.json", FRESH)
        site.plant(f'{LX}, record = "records/lx.json"', f'{LX2}, record = "records/lx2.json"')
        spoil(site)
        good, bad = site.verify(code=1)["connections"]
        assert good["in_order"]
        assert bad["valid"] == {"state": "fault", "text": valid}
        assert points(bad, aspect)
        assert bad["name"] == "SC1-LX2"
        assert bad["ends"] == ([] if aspect == "maps" else ["SC1", "LX2"])
        if aspect == "maps":
            assert bad["agree"]["text"] == "not judged"
            assert bad["tested"]["text"] == "0 of 31"

    def test_of_all_files(self, site: Site) -> None:
        shutil.rmtree(site.folder / "maps")
        (site.folder / "records/lx.json").unlink()
        row = site.row()
        assert row["name"] == "maps/sc1-lx.toml and maps/lx-sc1.toml"
        assert len(points(row)) == 3
        assert main(["verify", "plant.toml", "--format", "html"]) == 1
        assert "maps not readable" in site.out.readouterr().out

    def test_a_map_that_is_named_as_the_record(self, site: Site) -> None:
        site.plant(f'{LX}, record = "maps/lx-sc1.toml"')
        row = site.row()
        text = "maps/lx-sc1.toml:1: the text must be valid JSON at column 1: Expecting value"
        assert points(row) == points(row, "record") == [text]
        assert cells(row) == ["yes", *["not judged"] * 3, "unreadable"]
        assert main(["check", "plant.toml"]) == 2
        assert site.out.readouterr().err == f"safeframe: {text}\n"

    def test_a_record_that_is_named_as_a_map(self, site: Site) -> None:
        site.plant('ends = ["records/lx.json", "maps/lx-sc1.toml"], record = "records/lx.json"')
        row = site.row()
        text = "records/lx.json: the name of a map file must end in .toml or .csv"
        assert points(row) == points(row, "maps") == [text]

    def test_the_record_names_the_connection(self, site: Site) -> None:
        shutil.rmtree(site.folder / "maps")
        assert site.row()["name"] == "SC1-LX"

    def test_a_map_in_a_record_that_is_none(self, site: Site) -> None:
        made = json.loads(record.dumps(SIGNED))
        made["computed"]["before"][0]["map"] = "x = ["
        site.write("records/lx.json", json.dumps(made))
        assert any("in the record" in text for text in points(site.row(), "record"))

    def test_what_is_raised_over_one_connection(
        self, site: Site, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def refused(*_: object, **__: object) -> None:
            raise UsageError("not this one")

        monkeypatch.setattr(checks, "judged_maps", refused)
        row = site.row()
        assert points(row)[0] == "the maps cannot be judged: not this one"
        assert row["agree"] == {"state": "fault", "text": "not judged"}

    def test_no_program_to_judge_signatures(
        self, site: Site, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        site.write("allowed", "")
        site.write("records/lx.json.sig", "")
        monkeypatch.setenv("PATH", "")
        row = site.row("--signers", "allowed")
        assert points(row) == [
            "the record cannot be judged: ssh-keygen must be installed to check signatures "
            "(OpenSSH 8.2 or newer)"
        ]

    def test_a_serial_of_nobody(self, site: Site) -> None:
        site.plant(f'{LX}, record = "records/lx.json", serials = {{ LX9 = "1" }}')
        assert points(site.row(), "serials")

    def test_the_plant_file_itself(self, site: Site) -> None:
        site.write("plant.toml", "x = [")
        assert main(["verify", "plant.toml"]) == 2
        assert main(["verify", "none.toml"]) == 2
        site.plant(LX, more="[require]\nsignature = 1\n")
        assert main(["verify", "plant.toml"]) == 2
        assert "did you mean signatures?" in site.out.readouterr().err

    def test_signers_that_cannot_be_read(self, site: Site) -> None:
        assert main(["verify", "plant.toml", "--signers", "none"]) == 2

    @pytest.mark.parametrize("jobs", ["0", "65"])
    def test_jobs(self, jobs: str, site: Site) -> None:
        assert main(["verify", "plant.toml", "--jobs", jobs]) == 2
        assert site.out.readouterr().err == f"safeframe: --jobs must be 1..64, not {jobs}\n"


def test_a_record_of_an_older_release(site: Site) -> None:
    """What nobody can judge of it is told below the verdict, too."""
    site.write("records/lx.json", first_edition(SIGNED))
    given = site.verify(code=0)
    texts = [f"all that the record of SC1-LX tells: {text}" for text in (NOTE, FIRST)]
    assert [text for text in given["not_looked_at"] if text in texts] == texts


@pytest.mark.parametrize("command", ["check", "verify"])
def test_an_older_record_of_maps_by_an_own_profile(site: Site, command: str) -> None:
    """What both ends share by it MUST count in the maps of the record as in those of today."""
    site.write(
        "own.toml",
        'format = "safeframe-profile/1"\nname = "own"\ntitle = "Own"\nsizes = [{ first = 2 }]\n'
        '[[parameters]]\nname = "hall"\ntype = "hex"\nshared = true\n',
    )
    own = {"own": protocols.load_file("own.toml")}
    old = 'profile = "fscp-12-1", edition = "2010"'
    for name in ("sc1-lx.toml", "lx-sc1.toml"):
        text = demo.after()[name]
        assert old in text
        text = text.replace(old, 'profile = "own"')
        site.write(f"maps/{name}", f'{text}\n[parameters]\nhall = "00 1A"\n')
    first, second = (load(f"maps/{name}") for name in ("sc1-lx.toml", "lx-sc1.toml"))
    maps = Connection(first=first, second=second)
    made = signed(all_tested(record.new(maps, maps, own_profiles=own, **ASKED)))
    site.write("records/lx.json", first_edition(made))
    assert main([command, "plant.toml", "--profile", "own.toml"]) == 0


class TestDemands:
    """What the plant file asks for is looked at, or the exit code says that it was not."""

    def test_evidence(self, site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
        site.plant(f'{LX}, record = "records/lx.json"', more="[require]\nevidence = true\n")
        given = site.verify(code=1)
        (text,) = points(given["connections"][0])
        assert text.startswith("31 steps that no recording shows: SC1.brake2_release.non-safe")
        monkeypatch.setattr(record, "steps_without_evidence", lambda made: ())
        site.plant(f'{LX}, record = "records/lx.json"', more="[require]\nevidence = true\n")
        assert points(site.verify(code=0)["connections"][0]) == []
        site.plant(LX, more="[require]\nevidence = true\n")
        assert points(site.row(), "evidence") == [
            "evidence is asked for, and there is no record that could hold any"
        ]
        assert not any("evidence" in text for text in given["not_looked_at"])

    def test_how_far_evidence_goes(self, site: Site, capsys: Out) -> None:
        """Evidence that is asked for is not computed anew, and MUST be said not to be."""
        words = ["fixtures", "--set", "states", "--count", "20", "--seed", "7", "--format", "jsonl"]
        maps = ["maps/sc1-lx.toml", "maps/lx-sc1.toml"]
        assert main([*words, "-o", "run.jsonl", *maps]) == 0
        capsys.readouterr()
        rows = (site.folder / "run.jsonl").read_text(encoding="utf-8").splitlines()
        bad = [
            row.replace('octets": "', 'octets": "5') if at == 30 else row
            for at, row in enumerate(rows)
        ]
        site.write("a is not clean: b.jsonl", "\n".join(bad))
        made = TESTED
        for name in ("run.jsonl", "a is not clean: b.jsonl"):
            made = record.add_evidence(made, site.folder / name, AFTER, fresh=True)
        site.record("lx.json", made)
        told = (
            "evidence of 1 record: not computed anew from its recordings (safeframe record verify "
            "--recording)",
            "what is wrong in recordings that are not clean: a is not clean: b.jsonl of SC1-LX",
        )
        assert not set(told) & set(site.verify(code=1)["not_looked_at"])
        site.plant(f'{LX}, record = "records/lx.json"', more="[require]\nevidence = true\n")
        assert set(told) <= set(site.verify(code=1)["not_looked_at"])

    def test_one_recording_for_two_connections(self, site: Site, capsys: Out) -> None:
        """A recording of one connection MUST NOT be evidence for its sister."""
        words = ["fixtures", "--set", "states", "--count", "20", "--seed", "7", "--format", "jsonl"]
        assert main([*words, "-o", "run.jsonl", "maps/sc1-lx.toml", "maps/lx-sc1.toml"]) == 0
        capsys.readouterr()
        for name in ("lx", "sister"):
            made = record.fill(FRESH, "LX", who="A", when="d", serial=name)
            made = record.add_evidence(made, site.folder / "run.jsonl", AFTER, fresh=True)
            site.record(f"{name}.json", made)
        rows = [f'{LX}, record = "records/{name}.json"' for name in ("lx", "sister")]
        site.plant(*rows)
        assert not any(points(row, "evidence") for row in site.verify()["connections"])
        site.plant(f"{rows[0]}, require = {{ evidence = true }}", rows[1])
        one, two = (points(row, "evidence") for row in site.verify()["connections"])
        assert one[1:] == [
            "run.jsonl is evidence in records/sister.json of SC1-LX (#2) too, whose maps are the "
            "same: nobody can tell which of them it is a recording of"
        ]
        assert two == []
        site.plant(f"{rows[0]}, require = {{ evidence = true }}")
        assert len(points(site.row(), "evidence")) == 1

    def test_a_connection_over_the_site(self, site: Site) -> None:
        row = f'{LX}, record = "records/lx.json", require = {{ serials = false }}'
        site.plant(row, more="[require]\nserials = true\n")
        site.verify(code=0)

    def test_serials(self, site: Site) -> None:
        row = f'{LX}, record = "records/lx.json"'
        site.plant(f'{row}, serials = {{ SC1 = "SC1-1001" }}', more="[require]\nserials = true\n")
        (point,) = site.row()["points"]
        assert point["text"] == "the plant file states no serial number of LX"
        assert (point["machine"], point["serial"]) == ("LX", "LX-1001")
        site.plant(
            f'{row}, serials = {{ SC1 = "SC1-1001", LX = "9" }}', more="[require]\nserials = true\n"
        )
        (finding,) = site.row()["findings"]
        assert finding["rule"] == "serial-differs"
        site.plant(
            f'{row}, serials = {{ SC1 = "SC1-1001", LX = "-" }}', more="[require]\nserials = true\n"
        )
        assert points(site.row()) == ["the plant file states no serial number of LX"]

    def test_device_files(self, site: Site) -> None:
        site.write("lx.xml", demo.device_files()["lx.xml"])
        device = 'LX = { format = "esi", file = "lx.xml", options = ["--as device"] }'
        row = f'{LX}, record = "records/lx.json", device_files = {{ {device} }}'
        site.plant(row)
        given = site.verify(code=0)
        assert "device files of 1 of 2 ends: the plant file names none" in given["not_looked_at"]
        site.plant(row, more="[require]\ndevice_files = true\n")
        found = site.row()
        assert found["agree"] == {"state": "open", "text": "no device file"}
        assert points(found) == ["the plant file names no device file of SC1"]
        (site.folder / "lx.xml").unlink()
        found = site.row()
        assert found["agree"] == {"state": "fault", "text": "device file"}
        assert len(points(found, "device files")) == 2
        site.write("lx.xml", demo.device_files()["lx.xml"].replace("brake1_applied", "b1"))
        assert site.row()["agree"]["state"] == "fault"
        both = device + ", " + device.replace("LX = ", "SC1 = ")
        site.plant(f"{LX}, device_files = {{ {both} }}")
        assert not any("device files" in text for text in site.verify()["not_looked_at"])

    def test_a_device_file_of_one_direction(self, site: Site) -> None:
        """A demand for device files MUST NOT be met by half of a map."""
        text = demo.device_files()["lx.xml"].replace("torque_off", "ss1_x")
        site.write("lx.xml", text)
        site.write("sc1.xml", f"{text}<!-- of the controller -->\n")
        select = 'select = ["device:0x7:2/rx:0x1610"], options'
        device = f'LX = {{ format = "esi", file = "lx.xml", {select} = ["--as device"] }}'
        own = device.replace("LX", "SC1").replace("lx.xml", "sc1.xml")
        both = f"{device}, " + own.replace('device"', 'controller"')
        row = f'{LX}, record = "records/lx.json", device_files = {{ {both} }}'
        site.plant(row)
        found = site.row()
        assert [(one["subject"], one["reason"]) for one in found["not_judged"]][-2:] == [
            ("what SC1 receives", "nothing is selected for it in sc1.xml"),
            ("what LX sends", "nothing is selected for it in lx.xml"),
        ]
        site.plant(row, more="[require]\ndevice_files = true\n")
        found = site.row()
        assert found["agree"] == {"state": "open", "text": "no device file"}
        assert sorted(points(found)) == [
            "what LX sends is held against no device file",
            "what SC1 receives is held against no device file",
        ]

    def test_one_device_file_for_both_ends(self, site: Site) -> None:
        """A file of one device MUST NOT count as that of both ends."""
        site.write("lx.xml", demo.device_files()["lx.xml"])
        device = 'LX = { format = "esi", file = "lx.xml", options = ["--as device"] }'
        both = f"{device}, " + device.replace("LX", "SC1").replace('device"', 'controller"')
        site.plant(f'{LX}, record = "records/lx.json", device_files = {{ {both} }}')
        found = site.row()
        assert found["agree"]["state"] == "fault"
        (told,) = [one for one in found["findings"] if one["rule"] == "ends-of-one-file"]
        assert told["message"].startswith("both ends are held against one device file, lx.xml")

    def test_one_serial_number_in_two_records(self, site: Site) -> None:
        """The plant file need not state it: what was read back counts as well."""
        texts = demo.after()
        for name in ("sc1-lx", "lx-sc1"):
            other = name.replace("lx", "lx2")
            text = texts[f"{name}.toml"].replace("SC1-LX", "SC1-LX2").replace('"LX"', '"LX2"')
            site.write(f"maps/{other}.toml", text.replace("0x0107", "0x0108"))
        after = Connection(
            first=load(site.folder / "maps/sc1-lx2.toml"),
            second=load(site.folder / "maps/lx2-sc1.toml"),
        )
        made = record.new(after, after, reason="r", asked_by="A", hazards=("none",))
        for end, serial in (("SC1", "SC1-1001"), ("LX2", "LX-1001")):
            made = record.fill(
                made, end, who="A", when="d", serial=serial, checksum="1", expected="1"
            )
        site.record("lx2.json", signed(made))
        rows = [f'{LX}, record = "records/lx.json"', f'{LX2}, record = "records/lx2.json"']
        site.plant(*rows)
        found = site.verify()["findings"]
        assert [one["message"] for one in found if one["rule"] == "serial-reused"] == [
            "the serial number LX-1001 is that of LX and LX2"
        ]

    def test_two_signers_of_whom_one_begins_like_the_other(self, site: Site) -> None:
        site.plant(
            f'{LX}, record = "records/lx.json"', more='[require]\nsignatures = ["c", "c over"]\n'
        )
        assert points(site.row(), "signatures") == [
            f"signature: none by {name} over all that was entered; --signers names no file to "
            "judge by"
            for name in ("c", "c over")
        ]

    def test_a_signature_without_signers(self, site: Site) -> None:
        site.plant(
            f'{LX}, record = "records/lx.json"', more='[require]\nsignatures = ["c.dahl@site"]\n'
        )
        site.write("records/lx.json.c-dahl.sig", "")
        site.write("records/lx.json.sig", "")
        site.write("records/lx2.json.sig", "")
        given = site.verify(code=1)
        (row,) = given["connections"]
        (point,) = row["points"]
        assert point["text"] == (
            "signature: none by c.dahl@site over all that was entered; --signers names no file to "
            "judge by"
        )
        assert point["person"] == "c.dahl@site"
        assert [note for note in row["notes"] if note.startswith("signature ")] == [
            f"signature records/{name}: not checked: no file of allowed signers was named "
            "(--signers)"
            for name in ("lx.json.c-dahl.sig", "lx.json.sig")
        ]
        assert "the signature files of 1 record: --signers names no file" in given["not_looked_at"]


@pytest.mark.oracle
@pytest.mark.skipif(
    shutil.which("ssh-keygen") is None and not os.environ.get("CI"), reason="no ssh-keygen"
)
def test_a_demanded_signature(site: Site) -> None:
    site.plant(
        f'{LX}, record = "records/lx.json"', more='[require]\nsignatures = ["c.dahl@site"]\n'
    )

    def keygen(*words: str) -> None:
        subprocess.run(["ssh-keygen", "-q", *words], check=True, capture_output=True)

    keygen("-t", "ed25519", "-N", "", "-f", "key")
    public = (site.folder / "key.pub").read_text(encoding="utf-8")
    site.write("allowed", f'c.dahl@site namespaces="safeframe-record" {public}')
    site.write("text", record.seal_text(SIGNED))
    keygen("-Y", "sign", "-f", "key", "-n", "safeframe-record", "text")
    (site.folder / "text.sig").rename(site.folder / "records/lx.json.c-dahl.sig")
    row = site.row("--signers", "allowed")
    assert row["in_order"]
    assert row["signed"] == {"state": "good", "text": "2 of 2, key of c.dahl@site"}
    # A signature over what came first says nothing of what was entered since.
    site.write("text", record.seal_text(FRESH))
    (site.folder / "text.sig").unlink(missing_ok=True)
    keygen("-Y", "sign", "-f", "key", "-n", "safeframe-record", "text")
    (site.folder / "text.sig").rename(site.folder / "records/lx.json.c-dahl.sig")
    row = site.row("--signers", "allowed")
    assert row["signed"]["text"] == "2 of 2, no key over all"
    assert points(row) == ["signature: none by c.dahl@site over all that was entered"]
    main(["verify", "plant.toml", "--signers", "allowed"])
    assert "\n  not cryptographically signed: 1 record\n" in site.out.readouterr().out
    site.write("records/lx.json.c-dahl.sig", "nothing")
    row = site.row("--signers", "allowed")
    assert row["signed"]["state"] == "fault"
    assert len(points(row, "signatures")) == 2


class TestTogether:
    """What only all connections together show."""

    def test_evidence_that_some_are_asked_for(self, site: Site) -> None:
        site.plant(f'{LX}, record = "records/lx.json", require = {{ evidence = true }}', LX2)
        told = site.verify(code=1)["not_looked_at"]
        assert "evidence of 1 of 2 connections: the plant file asks for no recordings" in told
        site.plant(LX, more="[require]\nevidence = true\n")
        assert not any("evidence" in text for text in site.verify(code=1)["not_looked_at"])

    def test_a_record_that_is_a_copy(self, site: Site) -> None:
        """What was done at one connection MUST NOT count for another."""
        (site.folder / "records/link.json").symlink_to("lx.json")
        site.record("copy.json", SIGNED)
        rows = [f'{LX}, record = "records/{name}.json"' for name in ("lx", "link", "copy")]
        site.plant(*rows)
        found = site.verify(code=1)["connections"]
        assert [row["valid"] for row in found] == [{"state": "fault", "text": "no"}] * 3
        assert points(found[0]) == [
            "records/lx.json holds the very entries of records/link.json of SC1-LX (#2) and "
            "records/copy.json of SC1-LX (#3): what was read back and tried at one connection says "
            "nothing about another"
        ]
        # Nor MUST it when the copy was worked on.
        made = SIGNED
        for who in ("C. Dahl", "D. Evans"):
            made = record.withdraw(made, who, who="A", when="d", reason="a sister")
        again = {"serial": "LX-1002", "checksum": "4F2A0011"}
        made = signed(record.fill(made, "LX", who="A", when="d", **again))
        site.record("copy.json", made)
        assert record.verify(made, AFTER).complete_and_signed
        found = site.verify(code=1)["connections"]
        assert [row["valid"]["text"] for row in found] == ["no"] * 3
        # Two that begin alike are no copies: a request says nothing of a device.
        for name in ("lx", "link", "copy"):
            (site.folder / f"records/{name}.json").unlink()
            site.record(f"{name}.json", record.fill(FRESH, "LX", who="A", when="d", serial=name))
        found = site.verify(code=1)["connections"]
        assert not any("entries" in text for row in found for text in points(row, "record"))
        bare = record.new(AFTER, AFTER)
        for name in ("lx", "copy"):
            site.record(f"{name}.json", bare)
        found = site.verify(code=1)["connections"]
        assert not any("entries" in text for row in found for text in points(row, "record"))

    def test_records_that_nobody_lists(self, site: Site) -> None:
        told = "records that no connection lists: records/lx2.json and records/lx10.json"
        assert not any("records" in text for text in site.verify(code=0)["not_looked_at"])
        site.record("lx10.json", FRESH)
        site.record("lx2.json", FRESH)
        site.write("records/other.json", "{}")
        (site.folder / "records/same.json").symlink_to("lx.json")
        assert told in site.verify(code=0)["not_looked_at"]

    def test_ids_and_records_used_twice(self, site: Site) -> None:
        site.plant(*[f'{LX}, record = "records/lx.json"'] * 2)
        given = site.verify(code=1)
        assert [row["name"] for row in given["connections"]] == ["SC1-LX (#1)", "SC1-LX (#2)"]
        assert all(row["in_order"] for row in given["connections"])
        assert [finding["rule"] for finding in given["findings"]] == [
            "record-shared",
            "connection-id-reused",
        ]

    def test_an_allowance_of_another_connection_of_its_name(self, site: Site) -> None:
        allow = '\n[[allow]]\nrule = "unbound-signal"\nreason = "known"\n'
        bound = ', bind = "Lift.FaultAck"'
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            text = demo.after()[name]
            assert name != "sc1-lx.toml" or bound in text
            site.write(f"maps/{name}", text.replace(bound, ""))
            more = allow if name == "sc1-lx.toml" else ""
            site.write(f"more/{name}", text.replace(bound, "") + more)
        there = LX.replace("maps/", "more/")
        assert there != LX
        site.plant(there, LX)
        rows = {row["name"]: row["findings"] for row in site.verify(code=1)["connections"]}
        found = {name: [one["rule"] for one in told] for name, told in rows.items()}
        assert found == {"SC1-LX (#1)": [], "SC1-LX (#2)": ["unbound-signal"]}
        site.write("maps/lx-sc1.toml", demo.after()["lx-sc1.toml"])
        site.write("more/sc1-lx.toml", demo.after()["sc1-lx.toml"] + allow)
        site.plant(LX, there)
        rows = {row["name"]: row["findings"] for row in site.verify(code=1)["connections"]}
        found = {name: [one["rule"] for one in told] for name, told in rows.items()}
        assert found == {"SC1-LX (#1)": ["unbound-signal"], "SC1-LX (#2)": ["unused-allowance"]}

    def test_an_allowance_is_used_or_told(self, site: Site) -> None:
        allow = '\n[[allow]]\nrule = "record-shared"\nreason = "a twin"\n'
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            site.write(f"maps/{name}", demo.after()[name] + allow)
        site.plant(f'{LX}, record = "records/lx.json"')
        (row,) = site.verify(code=1)["connections"]
        assert [finding["rule"] for finding in row["findings"]] == ["unused-allowance"] * 2
        site.plant(*[f'{LX}, record = "records/lx.json"'] * 2)
        given = site.verify(code=1)
        assert given["allowed"] == 1

    def test_map_files_that_nobody_lists(self, site: Site) -> None:
        site.write("maps/notes.toml", "x = 1")
        site.write("maps/other.csv", "a,b")
        (site.folder / "maps/twin.toml").symlink_to("sc1-lx.toml")
        (site.folder / "maps/folder.toml").mkdir()
        os.mkfifo(site.folder / "maps/pipe.toml")
        (left,) = [text for text in site.verify()["not_looked_at"] if text.startswith("map files")]
        assert left == (
            "map files that no connection lists: maps/lc1-sc1.toml and maps/lx2-sc1.toml and "
            "maps/sc1-lc1.toml and maps/sc1-lx2.toml"
        )

    def test_files_that_nobody_lists_by_any_name_and_with_any_head(self, site: Site) -> None:
        """A head of any length, and a suffix in capitals, MUST NOT hide a map or a record."""
        note = "# one line of a licence, which is as long as lawyers make it\n" * 2000
        site.write("maps/headed.toml", note + demo.after()["sc1-lx.toml"])
        site.write("maps/LOUD.TOML", demo.after()["sc1-lx.toml"])
        data = json.loads(record.dumps(FRESH))
        data["format"] = data.pop("format")
        assert list(data)[-1] == "format"
        site.write("records/LAST.JSON", json.dumps(data))
        site.write("records/none.json", json.dumps({"x": "y" * 100_000}))
        told = site.verify(code=0)["not_looked_at"]
        assert "records that no connection lists: records/LAST.JSON" in told
        (maps,) = [text for text in told if text.startswith("map files")]
        assert "maps/headed.toml" in maps
        assert "maps/LOUD.TOML" in maps
        site.write("maps/edge.txt", "#" * ((1 << 16) - 5) + "safeframe-map/")
        assert holds(site.folder / "maps/edge.txt", b"safeframe-map/")
        # What is more than any reader takes is no file of its kind.
        assert not holds(site.folder / "maps/headed.toml", b"safeframe-map/", limit=1000)
        assert holds(site.folder / "maps/headed.toml", b"safeframe-map/", limit=200_000)

    def test_a_file_that_nobody_can_look_into(
        self, site: Site, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        site.write("maps/secret.toml", "")
        really = Path.open

        def refused(path: Path, *words: Any, **named: Any) -> Any:
            if path.name == "secret.toml":
                raise PermissionError
            return really(path, *words, **named)

        monkeypatch.setattr(Path, "open", refused)
        (left,) = [text for text in site.verify()["not_looked_at"] if text.startswith("map files")]
        assert left.endswith(" and maps/secret.toml")

    def test_what_is_allowed_is_counted(self, site: Site) -> None:
        allow = '\n[[allow]]\nrule = "connection-id-reused"\nreason = "a twin"\n'
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            site.write(f"maps/{name}", demo.after()[name] + allow)
        site.plant(LX, LX)
        assert main(["verify", "plant.toml", "--html", "site.html"]) == 1
        assert "\n  allowed by the maps: 1 finding\n" in site.out.readouterr().out
        assert main(["verify", "plant.toml", "--format", "junit"]) == 1
        cases = ET.fromstring(site.out.readouterr().out).iter("testcase")
        (case,) = (one for one in cases if one.get("name") == "allowed by the maps")
        assert [(part.tag, part.text) for part in case] == [("system-out", "1 finding")]
        page = (site.folder / "site.html").read_text(encoding="utf-8")
        assert '<tr class="warning" id="c1"><th scope="row">SC1-LX (#1)</th>' in page


class TestRoutes:
    """Signals over several connections are followed; what breaks is a finding of the whole."""

    def routed(self, site: Site, **changes: str) -> Any:
        for name, text in two(cycles=(("SC1", 10),)).files().items():
            for old, new in changes.items() if name == "0-b.toml" else ():
                text = text.replace(f'bind = "{old}"', f'bind = "{new}"')
            site.write(name, text)
        return site.verify()

    def test_followed(self, site: Site) -> None:
        given = self.routed(site)
        assert given["findings"] == []
        (route,) = given["routes"]
        assert route.startswith(f"{NAME}: 2 connections, at most ")

    def test_broken(self, site: Site) -> None:
        first = two().links[0].there[0].received
        given = self.routed(site, **{first: "Cell.Nobody"})
        assert [finding["rule"] for finding in given["findings"]] == ["route-binding-differs"]

    def test_a_map_that_cannot_be_read(self, site: Site) -> None:
        self.routed(site)
        (site.folder / "1-b.toml").unlink()
        given = site.verify(code=1)
        assert [finding["rule"] for finding in given["findings"]] == ["route-broken"]


class TestOutputs:
    """One table and one list of steps, in every format."""

    def test_text(self, site: Site) -> None:
        site.record("lx.json", FRESH)
        site.plant(f'{LX}, record = "records/lx.json", serials = {{ LX = "2001" }}', LX2)
        assert main(["verify", "plant.toml", "--details"]) == 1
        out = site.out.readouterr().out
        assert max(map(len, out.splitlines())) <= 80
        assert "\n  LX (serial 2001)\n    - [ ] SC1-LX: read back serial number and checksum" in out
        assert "\n    safeframe record done records/lx.json wrong-device --who NAME \\\n" in out
        assert "hall 3: 0 of 2 connections in order; 7 open steps\n" in out

    def test_a_path_with_blanks_stays_whole(self, site: Site) -> None:
        name = "of the second holding brake of the lift, hall 3, as it was asked for.json"
        site.record(name, record.new(BEFORE, AFTER))
        site.plant(f'{LX}, record = "records/{name}"')
        assert main(["verify", "plant.toml", "--details"]) == 1
        out = site.out.readouterr().out
        assert f"\n    safeframe record sign \\\n        'records/{name}' \\\n        --who" in out
        # It completes who asked and what is affected.
        assert out.count("safeframe record request") == 1

    def test_steps_of_a_sister_are_not_at_the_device_that_is_known(self, site: Site) -> None:
        site.record("lx.json", FRESH)
        site.record("sister.json", FRESH)
        site.plant(
            f'{LX}, record = "records/lx.json", serials = {{ LX = "2001" }}',
            f'{LX}, record = "records/sister.json"',
        )
        assert main(["verify", "plant.toml"]) == 1
        out = site.out.readouterr().out
        known = "\n  LX (serial 2001)\n    - [ ] SC1-LX (#1): read back serial number and checksum"
        assert known in out
        assert "\n  LX\n    - [ ] SC1-LX (#2): read back serial number and checksum" in out

    def test_markdown(self, site: Site) -> None:
        assert main(["verify", "plant.toml", "--format", "markdown"]) == 0
        out = site.out.readouterr().out
        assert out.startswith("## hall 3: 1 connection\n\n**hall 3: 1 connection, all in order**")
        assert "| SC1-LX | yes | both ends | 31 of 31 | 2 of 2, no key | until edited |" in out

    def test_junit_tells_notes_and_fails_nothing_for_them(self) -> None:
        cell = GateCell("good", "yes")
        note = Finding(rule="spare", severity="note", message="told only", remedy="", spots=())
        row = GateRow(
            number=1,
            name="SC1-LX",
            ends=("SC1", "LX"),
            maps=(),
            where=NOWHERE,
            record="",
            findings=(note,),
            points=(),
            read_back=cell,
            tested=cell,
            signed=cell,
            valid=cell,
        )
        given = GateReport(
            plant="hall 3",
            where=NOWHERE,
            rows=(row,),
            findings=(),
            routes=(),
            not_judged=(),
            allowed=0,
            not_looked_at=(),
        )
        root = ET.fromstring(junit.gate(given))
        assert root.get("failures") == "0"
        (told,) = root.findall("testsuite/testcase/system-out")
        assert told.text is not None
        assert "told only" in told.text

    def test_junit(self, site: Site) -> None:
        site.write("lx.xml", demo.device_files()["lx.xml"])
        device = 'LX = { format = "esi", file = "lx.xml", options = ["--as device"] }'
        site.record(
            "lx.json", record.done(FRESH, "wrong-device", who="B", when="d", result="failed")
        )
        site.plant(
            f'{LX}, record = "records/lx.json", device_files = {{ {device} }}',
            LX2,
            'ends = ["maps/sc1-lx2.toml", "maps/lc1-sc1.toml"]',
        )
        assert main(["verify", "plant.toml", "--format", "junit"]) == 1
        root = ET.fromstring(site.out.readouterr().out)
        suites = {suite.get("name"): suite for suite in root}
        assert list(suites)[-1] == "all connections"
        found = {
            case.get("name"): [child.get("type") or child.tag for child in case]
            for case in suites["SC1-LX"]
        }
        assert found == {
            "maps agree": [],
            "device files agree": [],
            "record fits": [],
            "read back": ["open"],
            "tested": ["wrong"],
            "signed": ["open"],
            "evidence": ["skipped"],
            "not judged": ["skipped"],
        }
        names = [str(case.get("name")) for case in root.iter("testcase")]
        assert sum(not name.startswith("not ") for name in names) == 22
        (told,) = suites["SC1-LX"].findall("testcase[@name='read back']/failure")
        assert told.text is not None
        assert told.text.splitlines()[1] == "step: read back serial number and checksum"

    def junit(self, site: Site, *words: str) -> dict[str, dict[str, list[str]]]:
        """Return what became of each case, and why, by suite."""
        main(["verify", "plant.toml", "--format", "junit", *words])
        found: dict[str, dict[str, list[str]]] = {}
        for suite in ET.fromstring(site.out.readouterr().out):
            cases = found.setdefault(str(suite.get("name")), {})
            for case in suite:
                told = [f"{one.tag}: {one.get('message')}" for one in case]
                cases.setdefault(str(case.get("name")), []).extend(told)
        return found

    def test_no_case_of_junit_passes_unseen(self, site: Site) -> None:
        """What nobody could look at MUST NOT be a case that passes."""
        (site.folder / "maps/sc1-lx2.toml").unlink()
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            text = demo.after()[name].replace("watchdog_ms = 100", "watchdog_ms = 101")
            site.write(f"maps/other-{name}", text)
        other = LX.replace("maps/", "maps/other-")
        device = 'LX2 = { format = "esi", file = "lx.xml" }'
        site.plant(
            LX,
            f'{LX}, record = "records/none.json"',
            f'{other}, record = "records/lx.json"',
            f'{LX2}, record = "records/lx.json", device_files = {{ {device} }}',
        )
        found = self.junit(site)
        titles = ("read back", "tested", "signed")
        rows = {name: [cases.get(title) for title in titles] for name, cases in found.items()}
        assert rows["SC1-LX (#1)"] == [["failure: no record"]] * 3
        assert rows["SC1-LX (#2)"] == [["failure: not judged"]] * 3
        assert rows["SC1-LX (#3)"] == [
            ["failure: void"],
            ["failure: void, 0 of 31"],
            ["failure: void"],
        ]
        unread = found["SC1-LX2"]
        assert unread["record fits"] == ["failure: not judged"]
        assert unread["device files agree"] == ["skipped: not judged"]
        assert found["SC1-LX (#1)"]["device files agree"] == ["skipped: the plant file names none"]

    def test_junit_tells_what_was_not_looked_at(self, site: Site) -> None:
        found = self.junit(site)
        assert found["all connections"]["not looked at"] == [
            f"skipped: {text}" for text in site.verify(code=0)["not_looked_at"]
        ]
        assert found["SC1-LX"]["not judged"] == [
            "skipped: application_parameters at both ends (no end states it)"
        ]
        site.record("lx.json", signed(all_tested(record.new(AFTER, AFTER, **ASKED))))
        assert self.junit(site)["SC1-LX"]["tested"] == [
            "skipped: the record is about no change, so it asks for none"
        ]

    def test_junit_tells_what_routes_leave_open(self, site: Site) -> None:
        for name, text in two(cycles=(("SC1", 10),)).files().items():
            site.write(name, text)
        told = site.verify()["not_judged"]
        assert told
        assert self.junit(site)["all connections"]["not judged"] == [
            f"skipped: {one['route']}: {one['subject']} ({one['reason']})" for one in told
        ]

    def test_junit_tells_below_what_the_text_does(self, site: Site) -> None:
        """How far routes were followed, records without a key, and what this is not."""
        for name, text in two(cycles=(("SC1", 10),)).files().items():
            site.write(name, text)
        (route,) = site.verify()["routes"]
        for command in ("verify", "check"):
            main([command, "plant.toml", "--format", "junit"])
            root = ET.fromstring(site.out.readouterr().out)
            assert [one.text for one in root.findall("testsuite/system-out")] == [
                f"route {route}\n{CAUTION}"
            ]
        site.plant(f'{LX}, record = "records/lx.json"')
        assert self.junit(site)["all connections"]["not cryptographically signed"] == [
            "skipped: 1 record"
        ]

    def test_evidence_that_is_asked_for_and_there_is_a_case(
        self, site: Site, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(record, "steps_without_evidence", lambda made: ())
        site.plant(f'{LX}, record = "records/lx.json"')
        assert self.junit(site)["SC1-LX"]["evidence"] == ["skipped: the plant file asks for none"]
        site.plant(f'{LX}, record = "records/lx.json"', more="[require]\nevidence = true\n")
        assert self.junit(site)["SC1-LX"]["evidence"] == []

    def test_a_device_file_that_differs_fails_its_own_case(self, site: Site) -> None:
        text = demo.device_files()["lx.xml"]
        site.write("lx.xml", text.replace("brake1_applied", "b1"))
        device = 'LX = { format = "esi", file = "lx.xml", options = ["--as device"] }'
        site.plant(f'{LX}, record = "records/lx.json", device_files = {{ {device} }}')
        found = self.junit(site)["SC1-LX"]
        assert found["maps agree"] == []
        assert found["device files agree"] == [
            "failure: the bits at 0.6 are called brake1_applied at LX and b1 at lx.xml"
        ]

    def test_a_name_that_reads_like_a_comparison(self, site: Site) -> None:
        """What was looked at MUST be told by values, whatever words names hold."""
        for name in ("sc1-lx.toml", "lx-sc1.toml"):
            text = demo.after()[name].replace('"LX"', '"LX against SC2"')
            site.write(f"maps/{name}", text)
        site.plant(LX)
        (suite,) = (cases for name, cases in self.junit(site).items() if name.startswith("SC1"))
        assert suite["device files agree"] == ["skipped: the plant file names none"]

    def test_a_device_file_that_is_called_like_an_end(self, site: Site) -> None:
        site.write("SC1", demo.device_files()["lx.xml"])
        text = demo.after()["lx-sc1.toml"].replace("brake1_applied", "b1")
        site.write("maps/lx-sc1.toml", text)
        device = 'LX = { format = "esi", file = "SC1", options = ["--as device"] }'
        site.plant(f"{LX}, device_files = {{ {device} }}")
        found = self.junit(site)["SC1-LX"]
        assert [text for text in found["maps agree"] if "b1" in text]
        assert [text for text in found["device files agree"] if "b1" in text]

    def test_jobs_change_nothing(self, site: Site) -> None:
        site.plant(f'{LX}, record = "records/lx.json"', *[LX2] * 40)
        alone = site.verify()
        assert site.verify("--jobs", "2") == alone


class TestPages:
    def test_pages(self, site: Site) -> None:
        site.plant(f'{LX}, record = "records/lx.json"', f'{LX2}, record = "records/none.json"')
        (site.folder / "out").mkdir()
        words = ["verify", "plant.toml", "--html", "out/site.html", "--pages", "out/each"]
        assert main(words) == 1
        assert site.out.readouterr().err == (
            "safeframe: out/each: 2 pages written (page of verify)\n"
            "safeframe: out/site.html written (page of verify)\n"
        )
        page = (site.folder / "out/site.html").read_text(encoding="utf-8")
        assert "<title>hall 3: 2 connections</title>" in page
        assert '<tr id="c1"><th scope="row"><a href="each/sc1-lx-1.html">SC1-LX</a></th>' in page
        assert '<tr class="error" id="c2">' in page
        assert '<a href="#c2"><g><title>SC1-LX2: wrong</title>' in page
        assert "<script" not in page
        one = (site.folder / "out/each/sc1-lx-1.html").read_text(encoding="utf-8")
        assert '<a href="../site.html">all connections</a>' in one
        assert one.count("<svg") == 4
        assert "SC1 -&gt; LX, bit by bit" in one
        # Written again over its own pages; what is left of an earlier run is told.
        site.plant(f'{LX}, record = "records/lx.json"')
        assert main(words) == 0
        assert "out/each also holds sc1-lx2-2.html, which this run did not write" in (
            site.out.readouterr().err
        )

    def test_a_page_says_what_the_site_says(self, site: Site) -> None:
        site.write("maps/lx-sc1.toml", demo.before()["lx-sc1.toml"])
        (row,) = site.verify("--pages", "each")["connections"]
        number = len(row["findings"])
        page = (site.folder / "each/sc1-lx-1.html").read_text(encoding="utf-8")
        assert f"not in order: {number} findings, 1 open step" in page
        assert f"SC1-LX: {number} errors" in page
        assert "record-outdated" not in page

    def test_a_page_speaks_for_its_connection_alone(self, site: Site) -> None:
        """What only all connections show is known when all are judged, not on the page of one."""
        site.record("copy.json", SIGNED)
        site.plant(*[f'{LX}, record = "records/{name}.json"' for name in ("lx", "copy")])
        assert not any(row["in_order"] for row in site.verify("--pages", "each")["connections"])
        for number in (1, 2):
            page = (site.folder / f"each/sc1-lx-{number}.html").read_text(encoding="utf-8")
            assert (
                "in order by itself; what only several connections show stands in the report on "
                "all of them<"
            ) in page

    def test_a_device_that_was_exchanged(self, site: Site) -> None:
        """It was never read back, though the maps agree all the same."""
        site.plant(f'{LX}, record = "records/lx.json", serials = {{ LX = "77" }}')
        told = (
            "LX has the serial number 77 in the plant file and LX-1001 in the record "
            "records/lx.json"
        )
        (row,) = site.verify("--pages", "each", code=1)["connections"]
        assert cells(row) == ["yes", "another device", "31 of 31", "2 of 2, no key", "no"]
        page = (site.folder / "each/sc1-lx-1.html").read_text(encoding="utf-8")
        assert f"error serial-differs: {told}" in page
        assert main(["verify", "plant.toml", "--format", "junit"]) == 1
        failed = {
            case.get("name")
            for case in ET.fromstring(site.out.readouterr().out).iter("testcase")
            if case.find("failure") is not None
        }
        assert failed == {"read back"}
        allow = '\n[[allow]]\nrule = "serial-differs"\nreason = "a new label"\n'
        site.write("maps/lx-sc1.toml", demo.after()["lx-sc1.toml"] + allow)
        assert cells(site.row()) == ["yes", "void", "void, 0 of 31", "void", "void"]
        site.write("maps/lx-sc1.toml", demo.before()["lx-sc1.toml"])
        assert cells(site.row())[1:] == ["void", "void, 0 of 31", "void", "void"]

    def test_a_map_that_cannot_be_read_has_a_page(self, site: Site) -> None:
        (site.folder / "maps/lx-sc1.toml").unlink()
        assert main(["verify", "plant.toml", "--pages", "each", "--format", "markdown"]) == 1
        assert "| [SC1-LX](<each/sc1-lx-1.html>) | not judged |" in site.out.readouterr().out
        page = (site.folder / "each/sc1-lx-1.html").read_text(encoding="utf-8")
        assert "No such file or directory" in page

    def test_no_foreign_page_is_overwritten(self, site: Site) -> None:
        site.write("each/sc1-lx-1.html", "<p>mine</p>")
        assert main(["verify", "plant.toml", "--pages", "each"]) == 2
        assert "must not overwrite each/sc1-lx-1.html" in site.out.readouterr().err
        assert (site.folder / "each/sc1-lx-1.html").read_text(encoding="utf-8") == "<p>mine</p>"
        assert main(["verify", "plant.toml", "--pages", "each", "--force"]) == 0
        assert main(["verify", "plant.toml", "--pages", "plant.toml"]) == 2

    def test_many_connections_are_folded(self, site: Site) -> None:
        site.plant(*[LX2] * 41)
        assert main(["verify", "plant.toml", "--format", "html"]) == 1
        page = site.out.readouterr().out
        assert "<details><summary>LX2: 41 connections</summary>" in page


def test_natural_order() -> None:
    names = ["VB10", "VB2", "vb1", "", "10", "9", "VB2b", "²", "VB02"]
    assert sorted(names, key=natural) == ["", "9", "10", "vb1", "VB02", "VB2", "VB2b", "VB10", "²"]
    digits = "1" * 700
    assert natural(digits) == natural(digits)
