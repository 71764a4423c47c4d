"""``diff`` of two sites as a user runs it, and which connection is which."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from safeframe import ConnectionChange, SiteComparison, compare_sites, read_site
from safeframe import _demo as demo
from safeframe._cli import main
from safeframe._report import changesjson

from .schemas import fits

MAPS = ("sc1-lx.toml", "lx-sc1.toml")


class TwoSites:
    """The folders ``before`` and ``after`` of the current folder."""

    def put(self, state: str, files: dict[str, str]) -> None:
        for name, text in files.items():
            path = Path(state, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")

    def both(self, files: dict[str, str]) -> None:
        for state in ("before", "after"):
            self.put(state, files)

    def compare(self) -> SiteComparison:
        return compare_sites(read_site("before"), read_site("after"))

    def rows(self) -> dict[str, ConnectionChange]:
        return {row.name: row for row in self.compare().rows}

    def changes(self) -> list[tuple[str, str]]:
        return [(row.name, row.change) for row in self.compare().rows]


@pytest.fixture
def sites(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> TwoSites:
    monkeypatch.chdir(tmp_path)
    for state in ("before", "after"):
        Path(state).mkdir()
    return TwoSites()


def pair(
    name: str = "SC1-LX", end: str = "LX", number: int | None = 0x107, folder: str = "", **new: str
) -> dict[str, str]:
    """Return both maps of a connection; ``new`` are texts put in the place of others, by key."""
    files = {}
    for old in MAPS:
        text = demo.before()[old].replace('"SC1-LX"', f'"{name}"').replace('"LX"', f'"{end}"')
        text = text.replace("id = 0x0107, ", f"id = {number}, " if number else "")
        for key, value in new.items():
            text = text.replace(f'"{key}"', f'"{value}"')
        files[f"{folder}{old}"] = text
    return files


def renamed(files: dict[str, str], start: str) -> dict[str, str]:
    return {f"{start}{name.rpartition('/')[2]}": text for name, text in files.items()}


class TestFollowing:
    """A connection MUST be followed where something tells which one it is, and only there."""

    def test_another_name_and_other_files_but_one_id(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        sites.put("after", renamed(pair(name="HALL-7"), "x-"))
        row = sites.rows()["HALL-7"]
        assert (row.change, row.was, row.level) == ("edited identically", "SC1-LX", "name")
        assert len(row.moved) == 2

    def test_another_end_and_other_files_but_one_id(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        sites.put("after", renamed(pair(end="LY"), "x-"))
        row = sites.rows()["SC1-LX"]
        assert [(end.name, end.was) for end in row.ends] == [("LY", "LX"), ("SC1", "")]

    def test_another_end_without_an_id(self, sites: TwoSites) -> None:
        sites.put("before", pair(number=None))
        sites.put("after", renamed(pair(end="LY", number=None), "x-"))
        assert sites.changes() == [("SC1-LX", "edited identically")]

    @pytest.mark.parametrize(
        "after",
        [
            pair(end="LY", number=9),
            pair(name="HALL-7", number=9),
            pair(name="HALL-7", end="LY"),
        ],
    )
    def test_the_same_files_and_one_thing_more(
        self, sites: TwoSites, after: dict[str, str]
    ) -> None:
        sites.put("before", pair())
        sites.put("after", after)
        ((_, change),) = sites.changes()
        assert change == "edited identically"

    def test_all_names_are_others_but_the_content_is_the_same(self, sites: TwoSites) -> None:
        sites.put("before", pair(number=None))
        sites.put("after", renamed(pair("HALL-7", "LY", None, SC1="SC2"), "x-"))
        (row,) = sites.compare().rows
        assert (row.change, row.was) == ("edited identically", "SC1-LX")
        assert [(end.name, end.was) for end in row.ends] == [("LY", "LX"), ("SC2", "SC1")]

    def test_ends_whose_roles_alone_tell(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        after = {n: t.replace('"LX"', '"P"').replace('"SC1"', '"Q"') for n, t in pair().items()}
        sites.put("after", renamed(after, "x-"))
        (row,) = sites.compare().rows
        assert [(end.name, end.was) for end in row.ends] == [("P", "LX"), ("Q", "SC1")]

    def test_ends_that_nothing_tells_apart(self, sites: TwoSites) -> None:
        text = (
            'format = "safeframe-map/1"\n'
            'connection = { name = "C", profile = "plain", id = 7 }\n'
            'end = { name = "%s", peer = "%s" }\n'
            'sends = [{ at = "0.0", name = "ready" }, { at = "0.1", reserved = 7 }]\n'
            'receives = [{ at = "0.0", name = "ready" }, { at = "0.1", reserved = 7 }]\n'
        )
        sites.put("before", {"a.toml": text % ("A", "B"), "b.toml": text % ("B", "A")})
        sites.put("after", {"c.toml": text % ("X", "Y"), "d.toml": text % ("Y", "X")})
        (row,) = sites.compare().rows
        assert row.change == "not judged"
        assert row.notes == ("which end was which cannot be told",)

    def test_a_name_that_was_given_to_something_else(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        other = {
            name.replace("lx", "lc").replace("sc1", "zz"): text.replace(
                '"SC1-LC1"', '"SC1-LX"'
            ).replace('"SC1"', '"ZZ"')
            for name, text in demo.before().items()
            if "lc1" in name
        }
        sites.put("after", other)
        assert sorted(change for _, change in sites.changes()) == ["new", "removed"]

    def test_two_that_could_be_meant(self, sites: TwoSites) -> None:
        sites.put("before", pair(folder="a/"))
        for folder in ("b/", "c/"):
            sites.put("after", pair(folder=folder))
        rows = sites.compare().rows
        assert [row.change for row in rows] == ["not judged"] * 3
        assert "it could be the same as after/b/lx-sc1.toml and after/b/sc1-lx.toml" in str(
            [row.notes for row in rows]
        )
        assert sites.compare().fails()

    def test_copies_beside_the_one_that_stayed(self, sites: TwoSites) -> None:
        sites.both(pair(folder="a/"))
        sites.put("after", pair(folder="b/"))
        assert sites.changes() == [("SC1-LX", "unchanged"), ("SC1-LX", "new")]

    def test_one_of_two_with_the_same_names_is_gone(self, sites: TwoSites) -> None:
        sites.both(pair(folder="a/"))
        sites.put("before", pair(folder="b/"))
        assert sites.changes() == [("SC1-LX", "unchanged"), ("SC1-LX", "removed")]

    def test_names_sort_as_people_count(self, sites: TwoSites) -> None:
        for number in (10, 9, 100, 2):
            sites.both(renamed(pair(f"VB{number}", f"D{number}", number), f"{number}-"))
        assert [name for name, _ in sites.changes()] == ["VB2", "VB9", "VB10", "VB100"]


class TestOneEndOnly:
    def test_an_end_that_is_lost_and_found(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        sites.put("after", pair())
        Path("after", "lx-sc1.toml").unlink()
        (row,) = sites.compare().rows
        assert (row.change, row.notes) == ("only one end", ("no map of LX, its partner, is there",))
        assert [end.files for end in row.ends] == [
            ("before/sc1-lx.toml", "after/sc1-lx.toml"),
            ("before/lx-sc1.toml", None),
        ]
        assert row.fails("wire")
        (row,) = compare_sites(read_site("after"), read_site("before")).rows
        assert (row.change, row.notes) == ("new", ("before, only the map of SC1 was there",))

    def test_what_changed_in_a_lone_end(self, sites: TwoSites) -> None:
        sites.put("before", {"a.toml": demo.before()["sc1-lx.toml"]})
        sites.put("after", {"b.toml": demo.after()["sc1-lx.toml"]})
        (row,) = sites.compare().rows
        assert (row.change, row.level, len(row.changes)) == ("only one end", "wire", 2)

    def test_a_lone_end_without_an_id(self, sites: TwoSites) -> None:
        sites.both({"a.toml": pair(number=None)["sc1-lx.toml"].replace("id = 0x0107, ", "")})
        assert sites.changes() == [("SC1-LX", "only one end")]

    def test_a_lone_end_that_is_gone(self, sites: TwoSites) -> None:
        sites.put("before", {"a.toml": demo.before()["sc1-lx.toml"]})
        (row,) = sites.compare().rows
        assert (row.change, row.notes) == ("removed", ("before, only the map of SC1 was there",))

    def test_a_lone_end_whose_connection_got_another_name(self, sites: TwoSites) -> None:
        sites.put("before", pair())
        sites.put("after", {"x.toml": pair(name="HALL-7")["sc1-lx.toml"]})
        (row,) = sites.compare().rows
        assert (row.name, row.was, row.change) == ("HALL-7", "SC1-LX", "only one end")

    def test_several_maps_of_one_end(self, sites: TwoSites) -> None:
        sites.both(pair())
        copy = demo.after()["sc1-lx.toml"]
        sites.put("after", {"copy.toml": copy})
        (row,) = sites.compare().rows
        assert row.change == "not judged"
        assert row.notes == (
            "after/copy.toml and after/lx-sc1.toml and after/sc1-lx.toml do not make one pair of "
            "two ends",
        )
        wires = {end.files[1]: end.wire[0] == end.wire[1] for end in row.ends}
        assert wires == {
            "after/copy.toml": False,
            "after/lx-sc1.toml": True,
            "after/sc1-lx.toml": True,
        }

    def test_a_partner_that_cannot_be_read(self, sites: TwoSites) -> None:
        sites.both(pair())
        sites.put("before", {"old.toml": pair("OLD", "LY", 9)["sc1-lx.toml"]})
        Path("after", "lx-sc1.toml").write_text("broken")
        rows = sites.rows()
        assert [row.change for row in rows.values()] == ["not judged", "not judged"]
        assert rows["SC1-LX"].notes == ("the map of LX may be in a file that cannot be read",)


class TestJudging:
    def test_ends_that_differ_without_an_edit(self, sites: TwoSites) -> None:
        sites.both({MAPS[0]: demo.after()[MAPS[0]], MAPS[1]: demo.before()[MAPS[1]]})
        (row,) = sites.compare().rows
        assert (row.change, len(row.disagree), row.level) == ("unchanged", 2, "")
        assert row.fails()

    def test_fail_on(self, sites: TwoSites) -> None:
        sites.both(pair())
        sites.put(
            "after", {MAPS[0]: pair()[MAPS[0]].replace("exchange_ms = 12", "exchange_ms = 11")}
        )
        (row,) = sites.compare().rows
        assert row.change == "only one end edited"
        assert (row.fails("value"), row.level) == (True, "value")

    def test_ids_of_the_whole_site(self, sites: TwoSites) -> None:
        sites.both(pair())
        sites.put("after", renamed(pair("SC1-LY", "LY"), "y-"))
        comparison = sites.compare()
        assert [one.rule for one in comparison.findings] == [
            "connection-id-reused",
            "address-reused",
        ]
        assert comparison.fails()

    def test_two_connections_of_one_name_are_checked_apart(self, sites: TwoSites) -> None:
        files = pair() | renamed(pair("SC1-LX", "LY", 9), "y-")
        files["y-lx-sc1.toml"] = files["y-lx-sc1.toml"].replace(
            "watchdog_ms = 100", "watchdog_ms = 9"
        )
        sites.both(files)
        found = {
            row.ends[0].name: bool(row.report and row.report.findings)
            for row in sites.compare().rows
        }
        assert found == {"LX": False, "LY": True}

    def test_own_parts(self, sites: TwoSites, capsys: pytest.CaptureFixture[str]) -> None:
        sites.both(pair())
        sites.put("after", {MAPS[0]: pair()[MAPS[0]].replace("Lift.PermitUp", "Lift.Up")})
        (row,) = sites.compare().rows
        assert (row.change, row.level, row.fails()) == ("own parts edited", "text", False)
        assert main(["diff", "--format", "markdown", "before", "after"]) == 0
        out = capsys.readouterr().out
        assert "- SC1-LX, SC1: text: permit\\_up at 0.4" in out or "Lift.PermitUp to Lift.Up" in out

    def test_a_lone_end_and_a_new_one_that_differs_in_a_comment(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        maps = {MAPS[0]: demo.after()[MAPS[0]], MAPS[1]: demo.before()[MAPS[1]]}
        sites.put("before", {"a.toml": pair("LONE", "LQ", 11)[MAPS[0]]})
        sites.put("after", {"a.toml": pair("LONE", "LQ", 11, permit_up="up_permit")[MAPS[0]]})
        sites.put("after", maps)
        for form in ("text", "markdown"):
            assert main(["diff", "--format", form, "before", "after"]) == 1
            out = capsys.readouterr().out
            assert "SC1-LX: new, but the ends differ" in out or form == "markdown"
            assert "LONE" in out

    def test_folders_of_long_names_are_checked_as_a_whole(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        folder = "a folder of a name that is long/"
        maps = {MAPS[0]: demo.after()[MAPS[0]], MAPS[1]: demo.before()[MAPS[1]]}
        sites.both({f"{folder}{name}": text for name, text in maps.items()})
        assert main(["diff", "before", "after"]) == 1
        assert f"\n    safeframe check 'after/{folder[:-1]}'\n" in capsys.readouterr().out

    def test_comments_alone(self, sites: TwoSites) -> None:
        sites.both(pair())
        sites.put("after", {name: f"# reviewed\n{text}" for name, text in pair().items()})
        (row,) = sites.compare().rows
        assert (row.change, row.level, row.fails()) == ("unchanged", "", False)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["diff", *words])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


class TestCommand:
    def test_what_the_check_leaves_open(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """It MUST be told of a connection that was edited, and of a new one."""
        sites.put("before", pair())
        new = pair(name="SC1-LY", end="LY", number=0x109)
        sites.put("after", pair() | renamed(new, "y-"))
        for name in MAPS:
            sites.put("after", {name: demo.after()[name]})
        _, out, _ = run(capsys, "before", "after")
        told = "check: not judged: application_parameters at both ends (no end states it)"
        assert " ".join(out.split()).count(told) == 2
        _, out, _ = run(capsys, "before", "after", "--format", "markdown")
        told = told.removeprefix("check: ")
        for name in ("SC1-LX", "SC1-LY"):
            assert f"- {name}: {told}\n" in out

    def test_many_unchanged(self, sites: TwoSites, capsys: pytest.CaptureFixture[str]) -> None:
        for number in range(1, 14):
            sites.both(renamed(pair(f"C{number}", f"D{number}", number, LX_="x"), f"{number}-"))
        for path in Path("after").iterdir():  # One address for each device.
            text = path.read_text().replace("address = 7", f"address = {path.name.split('-')[0]}")
            path.write_text(text)
            Path("before", path.name).write_text(text)
        code, out, _ = run(capsys, "before", "after")
        assert code == 0, out
        assert out.startswith("13 connections unchanged (--all lists them)\n\nbefore -> after: 13 ")
        code, out, _ = run(capsys, "--all", "before", "after")
        assert out.count(" unchanged  -      2+2     ") == 13

    def test_text_is_80_columns_wide(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sites.both(pair())
        sites.put("after", {MAPS[0]: demo.after()[MAPS[0]]})
        sites.put("before", renamed(pair("A-CONNECTION-OF-A-LONG-NAME-HERE", "LY", 9), "y-"))
        sites.put("after", renamed(pair("OTHER", "LZ", 10), "a-folder-of-a-long-name/and-more/x-"))
        sites.put("after", {"lone.toml": pair("LONE", "LQ", 11)[MAPS[0]], "other.toml": "x = 1\n"})
        code, out, _ = run(capsys, "before", "after")
        assert code == 1
        assert [line for line in out.splitlines() if len(line) > 80] == []
        assert "\nopen: " not in out
        assert "  open: LONE, SC1-LX\n" in out
        assert "not judged, since they are no maps: other.toml\n" in out
        assert "1 with one end only, 1 edited at one end only, 1 removed, 1 new" in out

    def test_json(self, sites: TwoSites, capsys: pytest.CaptureFixture[str]) -> None:
        sites.both(pair())
        sites.put("after", {MAPS[0]: demo.after()[MAPS[0]], "bad.toml": "x ="})
        code, out, err = run(capsys, "--format", "json", "before", "after")
        document = json.loads(out)
        fits("diff", document)
        assert (code, document["mode"], document["verdict"]) == (2, "sites", "open")
        (row,) = document["site"]["connections"]
        assert (row["change"], row["settled"], row["level"]) == (
            "only one end edited",
            False,
            "wire",
        )
        assert len(row["differences"]) == 2
        assert document["problems"][0]["path"] == "after/bad.toml"
        assert err == (
            "safeframe: 1 thing could not be read, see above; of all else this is the answer\n"
        )

    def test_what_changed_in_a_plant_file_is_told(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """Of a plant file only the connections are compared; all else MUST be told."""
        sites.both(pair())
        head = 'format = "safeframe-plant/1"\nname = "h"\n'
        row = 'ends = ["sc1-lx.toml", "lx-sc1.toml"]'
        told = (
            "not judged: what changed in plant.toml besides which maps are connected (records, "
            "demands, serial numbers, routes)"
        )

        def plant(state: str, text: str, name: str = "plant.toml") -> None:
            sites.put(state, {name: text})

        plant("before", f"{head}connections = [{{ {row} }}]\n")
        for text, changed in (
            (f"# A remark.\n{head}connections = [{{ {row} }}]\n", False),
            (f'{head}connections = [{{ record = "r.json", {row} }}]\n', True),
            (f"{head}connections = [{{ {row} }}]\ncycle_ms = {{ SC1 = 10 }}\n", True),
            (f"{head}connections = [{{ {row} }}]\nx = 2026-03-02\n", True),
            (f"{head}connections = [{{ {row} }}]\nx = [0x{'f' * 9000}, nan]\n", True),
        ):
            plant("after", text)
            code, out, _ = run(capsys, "before", "after")
            assert code == 0
            assert (told in " ".join(out.split())) is changed
            assert sites.compare().plants == (("plant.toml",) if changed else ())
            words = ("before/plant.toml", "after/plant.toml", "--format", "json")
            found = json.loads(run(capsys, *words)[1])
            fits("diff", found)
            assert found["site"]["plants"] == (["plant.toml"] if changed else [])
        for number in range(20):
            plant("after", f"{head}connections = [{{ {row} }}]\n", f"{number}/plant.toml")
            sites.put("after", pair(f"C{number}", f"L{number}", number + 1, f"{number}/"))
        found = sites.compare()
        assert len(found.plants) == 21
        for format_ in ("text", "markdown", "html"):
            out = " ".join(run(capsys, "before", "after", "--format", format_)[1].split())
            assert " more besides which maps are connected" in out

    def test_json_comes_piece_by_piece(self, sites: TwoSites) -> None:
        for number in range(3):
            sites.put("before", pair(f"C{number}", f"L{number}", number + 1, f"{number}/"))
            more = {"torque permitted": "torque asked for"} if number else {}
            sites.put("after", pair(f"C{number}", f"L{number}", number + 1, f"{number}/", **more))
        found = sites.compare()
        pieces = list(changesjson.sites(found, fail_on="text"))
        assert len(pieces) == len(found.rows) + 2
        whole = "".join(pieces)
        assert whole == json.dumps(json.loads(whole), indent=2) + "\n"
        rows = json.loads(whole)["site"]["connections"]
        assert [row["connection"] for row in rows] == ["C0", "C1", "C2"]
        assert [len(row["mixes"]) for row in rows] == [0, 2, 2]
        assert [len(row.mixed) for row in found.rows] == [0, 2, 2]

    def test_markdown_is_bounded(self, sites: TwoSites, capsys: pytest.CaptureFixture[str]) -> None:
        long = "N" * 3000
        for number in range(1, 70):
            sites.both(renamed(pair(f"C{number}{long}", f"D{number}", number), f"{number}-"))
        for path in Path("after").glob("*-sc1-lx.toml"):
            path.write_text(path.read_text().replace('"permit_up"', f'"{long}"'))
        for number in range(20):
            sites.put("after", {f"bad{number}.toml": "x =", f"odd{number}.toml": "x = 1"})
        code, out, _ = run(capsys, "--format", "markdown", "before", "after")
        assert code == 2
        assert len(out) < 60_000
        assert len(out.splitlines()) < 160
        assert "left out here: 29 connections and 78 changes; the same command with" in out
        assert "and 8 more" in out

    def test_markdown_of_names_that_changed(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sites.both(pair(folder="a/"))
        assert run(capsys, "--format", "markdown", "before", "after")[1] == (
            "## Changes from before to after\n\n**before -\\> after: 1 unchanged**\n\n"
            "_Off-line aid, not certified: replaces neither review nor validation; local codes and "
            "licensed practice come first._\n"
        )
        sites.put("after", pair(folder="b/"))
        sites.put("before", renamed(pair("OLD", "LY", 9), "b/y-"))
        sites.put("after", renamed(pair("NAMED", "LY", 9), "b/y-"))
        sites.put("before", renamed(pair("SAME", "LZ", 10), "b/z-"))
        sites.put("after", renamed(pair("SAME", "LZZ", 10), "b/z-"))
        out = run(capsys, "--format", "markdown", "before", "after")[1]
        assert "| SC1-LX (b) | new | wire |" in out
        assert "renamed, it was OLD" in out
        assert "end LZZ was LZ" in out

    def test_pages(self, sites: TwoSites, capsys: pytest.CaptureFixture[str]) -> None:
        sites.both(pair())
        sites.put("after", pair() | {MAPS[0]: demo.after()[MAPS[0]]})
        sites.put("after", renamed(pair("NEW", "LY", 9), "y-"))
        code, out, err = run(capsys, "--html", "page.html", "before", "after")
        assert (code, err) == (1, "safeframe: page.html written (page of diff)\n")
        page = Path("page.html").read_text(encoding="utf-8")
        assert '<th scope="row">SC1-LX</th>' in page
        assert page.count("<figure>") == 4
        assert "<summary>SC1-LX: LX and SC1 were not edited identically" in page
        code, out, _ = run(capsys, "--format", "html", "before", "after")
        assert "What changed" in out
        code, _, err = run(capsys, "--html", "after/sc1-lx.toml", "--force", "before", "after")
        assert (code, err.startswith("safeframe: --html must not overwrite")) == (2, True)

    def test_a_single_map_since_a_revision(
        self, sites: TwoSites, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sites.both(pair())
        assert run(capsys, "--since", "HEAD", "after/sc1-lx.toml") == (
            2,
            "",
            "safeframe: --since must stand with a folder or a plant file, not with the file "
            "after/sc1-lx.toml; name the folder of both ends\n",
        )

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            (["before", "before/x.toml"], "two folders or plant files must be named, not before/x"),
            (["--ends", "before", "after"], "--ends must stand with two map files, not with fold"),
            (["--since", "HEAD", "a", "b"], "--since must stand with one folder or plant file at"),
            (["--since", "HEAD", "-"], "--since must stand with one folder or plant file at most"),
            (["before", "after"], "before: one of both states must hold map files (*.toml or *.c"),
            (["before", "none"], "two folders or plant files must be named, not none as one"),
            ([], "map files must be two or four, not 1"),
        ],
    )
    def test_wrong_use(
        self,
        sites: TwoSites,
        capsys: pytest.CaptureFixture[str],
        words: list[str],
        message: str,
    ) -> None:
        code, out, err = run(capsys, *words)
        assert (code, out) == (2, "")
        assert err.startswith(f"safeframe: {message}")
