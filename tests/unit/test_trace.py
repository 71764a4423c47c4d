"""``safeframe trace``: the way of one signal, its picture, its JSON, names that mean several."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from safeframe import _demo as demo
from safeframe._cli import main
from safeframe._errors import UsageError
from safeframe._report import chain, html, markdown, text
from safeframe._report.trace import document, json_text
from safeframe._tracing import Trace, trace
from tests.unit.route_sites import CLEAR, NAME, PERMIT, ROUTE, Link, Place, Row, step, two
from tests.unit.schemas import validate


def traced(site: Place, name: str) -> Trace:
    return trace(site.plant(), name)


def shown(found: Trace) -> str:
    return text.render(document(found))


def stops(found: Trace) -> list[tuple[str, str, str]]:
    """Return end, what it does and the signal of every stop, as the JSON has them."""
    data = json.loads(json_text(found))
    validate("trace", data)
    ways = [one["stops"] for one in [*data["routes"], data["signal"]] if one]
    return [
        (stop["end"], stop["does"], stop["signal"]["name"] if stop["signal"] else "")
        for way in ways
        for stop in way
    ]


class TestRoutes:
    def test_a_route_in_full(self) -> None:
        words = 'bind = "Cell.Clear", out = "Cell.Up", inverts = true, on_loss = 0'
        leaving = replace(PERMIT, sent="Cell.Up", one_means="field is not clear")
        site = two(CLEAR, leaving, step(words, 300), cycles=(("SC1", 10),))
        found = traced(site, "field_clear")
        assert found.findings == ()
        assert shown(found) == (
            f"{NAME}\n"
            "  end  does      signal       place  bits         variable\n"
            "  LC1  sends     field_clear  0.0    1 bit, bool  Port.Clear\n"
            "         1 means 'field is clear'; safe value 0; 0-a.toml:5\n"
            "  SC1  receives  field_clear  0.0    1 bit, bool  Cell.Clear\n"
            "         1 means 'field is clear'; safe value 0; 0-b.toml:7\n"
            "  SC1  sends     permit_up    0.0    1 bit, bool  Cell.Up\n"
            "         inverted; made of Cell.Clear by the program; 0 while the connection\n"
            "           before is lost; 1 means 'field is not clear'; safe value 0;\n"
            "           1-a.toml:5\n"
            "  LX   receives  permit_up    0.0    1 bit, bool  Drive.PermitUp\n"
            "         1 means 'field is not clear'; safe value 0; 1-b.toml:7\n"
            "  share             time    formula\n"
            "  CURTAIN           110 ms  watchdog (100 ms) + exchange (10 ms)\n"
            "  LIFT              110 ms  watchdog (100 ms) + exchange (10 ms)\n"
            "  program of SC1    20 ms   2 x cycle time of SC1 (10 ms)\n"
            "  the way, at most  240 ms\n"
            "  permitted         300 ms\n"
            "  not judged: program at SC1 (no map says how Cell.Up is made of Cell.Clear)\n"
            "  not judged: legal sizes of CURTAIN (no end states legal_octets)\n"
            "  not judged: legal sizes of LIFT (no end states legal_octets)\n"
            "\n"
            "field_clear: 1 route; nothing found on the way, 3 not judged\n"
            "Off-line aid, not certified: replaces neither review nor validation; local codes\n"
            "and licensed practice come first.\n"
        )
        (route,) = json.loads(json_text(found))["routes"]
        assert route["stops"][2]["changes"] == {
            "inverts": True,
            "bind": "Cell.Clear",
            "out": "Cell.Up",
            "on_loss": 0,
            "converts": {},
            "codes": {},
        }
        assert (route["known_ms"], route["permitted_ms"], route["complete"]) == (240, 300, True)

    @pytest.mark.parametrize(
        "name",
        [
            *("field_clear", "permit_up", "LC1.field_clear", "SC1.field_clear", "LX.permit_up"),
            *("CURTAIN.field_clear", "LIFT.SC1.permit_up"),
        ],
    )
    def test_every_name_of_a_stretch_leads_to_the_route(self, name: str) -> None:
        assert stops(traced(two(), name)) == [
            ("LC1", "sends", "field_clear"),
            ("SC1", "receives", "field_clear"),
            ("SC1", "sends", "permit_up"),
            ("LX", "receives", "permit_up"),
        ]

    def test_a_name_that_goes_all_the_way(self) -> None:
        site = two(
            CLEAR, replace(PERMIT, name="field_clear"), ROUTE.replace("permit_up", "field_clear")
        )
        assert len(stops(traced(site, "field_clear"))) == 4

    def test_all_routes_of_a_source(self) -> None:
        site = two()
        twin = Link("LIFT2", "SC1", "LX2", (replace(PERMIT, received="Drive2.Up"),))
        site = replace(
            site, links=(*site.links, twin), routes=(ROUTE.replace("LX.", "LX2."), ROUTE)
        )
        found = traced(site, "LC1.field_clear")
        assert [one.followed.route.name for one in found.routes] == [
            NAME,
            NAME.replace("LX.", "LX2."),
        ]
        # One reaction time for each route, and three connections, one of which both routes share.
        assert "field_clear: 2 routes; nothing found on the way, 5 not judged\n" in shown(found)
        assert [one.followed.route.name for one in traced(site, "LX2.permit_up").routes] == [
            NAME.replace("LX.", "LX2.")
        ]

    def test_a_broken_route(self) -> None:
        found = traced(two(route=ROUTE.replace("field_clear", "none")), "permit_up")
        assert stops(found)[:2] == [("LC1", "sends", ""), ("SC1", "receives", "")]
        assert "  LC1  sends     (the way breaks)\n" in shown(found)
        assert "  the way, at least  110 ms\n" in shown(found)
        assert "permit_up: 1 route; 1 finding, 1 not judged\n" in shown(found)
        (route,) = json.loads(json_text(found))["routes"]
        assert route["breaks"] == ["LC1 sends no none to SC1 (CURTAIN)"]
        assert not route["complete"]

    def test_a_route_that_breaks_in_another_connection_does_not_name_it(self) -> None:
        """A route over C1 says nothing of a signal of C2, though both join the same ends."""
        links = (
            Link("C1", "A", "B", (Row("other", "q", "w"),)),
            Link("C2", "A", "B", (Row("s", "p", "v"),)),
            Link("D", "B", "Z", (Row("s", "v", "z"),)),
        )
        words = 'from = "A.s", through = [{ end = "B", bind = "v" }], to = "Z.s"'
        for name, named in (("C1", False), ("C2", True), ("C3", True)):
            found = traced(Place(links, (f'{words}, connections = ["{name}", "D"]',)), "C2.A.s")
            assert bool(found.routes) == named
            assert (found.signal is None) == named

    @pytest.mark.parametrize(
        ("file", "name", "signal"),
        [
            ("0-b.toml", "field_clear", "field_clear"),
            ("0-b.toml", "permit_up", "field_clear"),
            ("1-a.toml", "permit_up", "permit_up"),
        ],
    )
    def test_a_route_that_breaks_at_the_signal_names_it(
        self, file: str, name: str, signal: str
    ) -> None:
        site = two()
        lines = site.files()[file].splitlines()
        gone = "\n".join(
            '  { at = "0.0", reserved = 1 },' if f'"{signal}"' in one else one for one in lines
        )
        found = traced(replace(site, more={file: gone}), name)
        (route,) = found.routes
        assert not route.complete
        assert "route-broken" in [one.rule for one in found.findings]

    @pytest.mark.parametrize("name", ["field_clear", "permit_up"])
    def test_a_route_over_an_unknown_end_names_its_source_and_target(self, name: str) -> None:
        (route,) = traced(two(route=ROUTE.replace('"SC1"', '"SC9"')), name).routes
        assert [one.message for one in route.followed.breaks] == [
            "no end of the plant is called SC9; the nearest is SC1"
        ]

    def test_what_is_wrong_at_a_connection_is_on_the_way(self) -> None:
        site = two()
        other = site.files()["1-b.toml"].replace('one_means = "field is clear"', 'one_means = "x"')
        found = traced(replace(site, more={"1-b.toml": other}), "field_clear")
        assert [(one.rule, one.connection) for one in found.findings] == [
            ("meaning-differs", "LIFT")
        ]
        assert "error: meaning-differs [LIFT]: the meaning of 1 of permit_up" in shown(found)

    def test_what_two_routes_share_is_counted_once(self) -> None:
        twin = Link("LIFT2", "SC1", "LX2", (replace(PERMIT, received="Drive2.Up"),))
        site = two()
        site = replace(
            site, links=(*site.links, twin), routes=(ROUTE.replace("LX.", "LX2."), ROUTE)
        )
        other = site.files()["0-b.toml"].replace('one_means = "field is clear"', 'one_means = "x"')
        found = traced(replace(site, more={"0-b.toml": other}), "LC1.field_clear")
        assert len(found.routes) == 2
        assert [one.rule for one in found.findings].count("meaning-differs") == 1

    @pytest.mark.parametrize("route", [ROUTE, ""])
    def test_what_a_connection_allows_is_told(self, route: str) -> None:
        """Nothing is found, and that is no wonder: the map says so."""
        site = two(route=route)
        other = site.files()["0-b.toml"].replace('one_means = "field is clear"', 'one_means = "x"')
        other += 'allow = [{ rule = "meaning-differs", reason = "as ordered" }]\n'
        found = traced(replace(site, more={"0-b.toml": other}), "field_clear")
        if route:  # A route finds the other meaning a second time, and nobody allows that.
            assert [one.rule for one in found.findings] == ["route-meaning-differs"]
        told = " ".join(shown(found).split())
        assert "allowed: meaning-differs [CURTAIN]: the meaning of 1 of field_clear" in told
        line = other.count("\n")
        assert f"; allowed in 0-b.toml:{line}: as ordered not judged:" in told
        assert ", 1 allowed, " in told.partition("route; ")[2]
        data = json.loads(json_text(found))
        validate("trace", data)
        (way,) = data["routes"] or [data["signal"]]
        assert [(one["finding"]["rule"], one["reason"], one["line"]) for one in way["allowed"]] == [
            ("meaning-differs", "as ordered", line)
        ]
        assert {
            "connection": "CURTAIN",
            "rule": "illegal-size",
            "subject": "legal sizes",
            "reason": "no end states legal_octets",
        } in way["not_judged"]

    def test_a_circle_with_another_route(self) -> None:
        from tests.unit.test_routes import TestLoops

        ring = TestLoops().ring("P.X")
        for name in ("P.go", "Q.go2"):
            rules = [one.rule for one in traced(ring, name).findings]
            assert [rule for rule in rules if rule.startswith("route-")] == ["route-loop"]
        other = Link("LONE", "A", "B", (Row("lone", "A.L", "B.L", one_means="m"),))
        last = Link("END", "B", "C", (Row("fin", "B.L", "C.L", one_means="m"),))
        route = 'from = "A.lone", through = [{ end = "B" }], to = "C.fin"'
        site = replace(ring, links=(*ring.links, other, last), routes=(*ring.routes, route))
        assert traced(site, "lone").findings == ()

    def test_what_lies_beyond(self) -> None:
        site = two()
        further = Link("FAR", "LX", "HMI", (Row("shown", "DRIVE.permitup", "Hmi.Up"),))
        feeder = Link("FEED", "X1", "LC1", (Row("raw", "X1.Raw", "Port.CLEAR"),))
        found = traced(replace(site, links=(*site.links, further, feeder)), "field_clear")
        assert shown(found).partition("Candidates")[2].splitlines()[:6] == [
            ": they share a variable, no route names them",
            "  - may come from FEED.X1.raw (X1 -> LC1): raw has the variable Port.Clear of",
            "    LC1 too (3-b.toml:7)",
            "  - may go on as FAR.LX.shown (LX -> HMI): shown has the variable Drive.PermitUp",
            "    of LX too (2-a.toml:5)",
            "",
        ]

    def test_no_time_and_no_limit(self) -> None:
        site = two()
        bare = tuple(replace(link, watchdog_ms=None, exchange_ms=None) for link in site.links)
        lines = shown(traced(replace(site, links=bare), "field_clear")).splitlines()
        assert "  the way, at least  0 ms" in lines
        assert "  permitted          not stated" in lines


class TestWithoutRoutes:
    def test_one_connection_and_its_candidates(self) -> None:
        found = traced(two(route=""), "field_clear")
        assert (found.routes, found.findings) == ((), ())
        assert stops(found) == [
            ("LC1", "sends", "field_clear"),
            ("SC1", "receives", "field_clear"),
        ]
        told = shown(found)
        assert told.startswith("CURTAIN.LC1.field_clear: no route names it\n")
        assert "may go on as LIFT.SC1.permit_up (SC1 -> LX)" in told
        assert told.partition("no route; ")[2].split("\nOff-line")[0] == (
            "nothing found at its connection, 1 not\njudged"
        )
        (one,) = json.loads(json_text(found))["candidates"]
        assert (one["relation"], one["end"], one["variable"]) == ("onward", "SC1", "Cell.Clear")
        back = json.loads(json_text(traced(two(route=""), "permit_up")))["candidates"]
        assert [(one["relation"], one["name"]) for one in back] == [
            ("before", "CURTAIN.LC1.field_clear")
        ]

    def test_a_connection_of_which_all_is_judged(self) -> None:
        site = two(route="")
        sized = {
            name: words.replace('"plain", ', '"plain", legal_octets = [2], ')
            for name, words in site.files().items()
        }
        found = traced(replace(site, more=sized), "field_clear")
        told = shown(found)
        assert "not judged" not in told
        assert "field_clear: one connection, no route; nothing found at its connection\n" in told
        assert json.loads(json_text(found))["signal"]["not_judged"] == []

    @pytest.mark.parametrize(
        ("file", "name", "expected"),
        [
            ("0-b.toml", "field_clear", [("LC1", "sends", "field_clear"), ("SC1", "receives", "")]),
            ("0-a.toml", "field_clear", [("LC1", "sends", ""), ("SC1", "receives", "field_clear")]),
        ],
    )
    def test_a_signal_of_one_end(
        self, file: str, name: str, expected: list[tuple[str, str, str]]
    ) -> None:
        site = two(route="")
        lines = site.files()[file].splitlines()
        gone = "\n".join('  { at = "0.0", reserved = 1 },' if name in one else one for one in lines)
        found = traced(replace(site, more={file: gone}), name)
        assert stops(found) == expected
        assert "(no such signal)" in shown(found)
        assert "one-sided-signal" in [one.rule for one in found.findings]
        assert "known at one end only" in chain.document(found)
        assert "no such signal" in chain.document(found)

    def test_renamed_signals_are_followed_by_their_bits(self) -> None:
        rows = Row("alpha"), Row("beta", width=2, type="uint")
        site = Place((Link("X", "A", "B", rows),))
        other = site.files()["0-b.toml"].replace("alpha", "oven").replace("beta", "lamp")
        site = replace(site, more={"0-b.toml": other})
        for name in ("alpha", "oven"):
            assert stops(traced(site, name)) == [("A", "sends", "alpha"), ("B", "receives", "oven")]
        route = 'from = "A.alpha", through = [{ end = "B" }], to = "C.x"'
        twice = replace(
            site, links=(*site.links, Link("Y", "B", "C", (Row("x"),))), routes=(route,)
        )
        assert len(stops(traced(twice, "alpha"))) == 4

    def test_without_a_variable(self) -> None:
        row = replace(CLEAR, sent="", received="")
        found = traced(two(row, PERMIT, route=""), "field_clear")
        assert found.candidates == ()
        assert "not stated" in shown(found)
        assert "variable not stated" in chain.document(found)


class TestNames:
    def test_unknown(self) -> None:
        for name, near in (("field_cler", "field_clear"), ("LX.permit_dn", "permit_up")):
            with pytest.raises(UsageError) as caught:
                traced(two(), name)
            assert str(caught.value) == (
                f"the name must be a signal of the plant, not '{name}' (did you mean {near}?)"
            )
        with pytest.raises(UsageError, match=r"not '#'$"):
            traced(two(), "#")

    def test_several(self) -> None:
        site = two(route="")
        twin = Link("LIFT2", "SC1", "LX2", (PERMIT,), (PERMIT,))
        site = replace(site, links=(*site.links, twin))
        with pytest.raises(UsageError) as caught:
            traced(site, "permit_up")
        assert str(caught.value) == (
            "the name must mean one signal, not 'permit_up': LIFT.SC1.permit_up or "
            "LIFT2.LX2.permit_up or LIFT2.SC1.permit_up"
        )
        for name in ("LIFT.SC1.permit_up", "LIFT2.LX2.permit_up", "LIFT2.SC1.permit_up"):
            signal = traced(site, name).signal
            assert signal is not None
            assert signal.name == name

    def test_connections_of_one_name_and_ends(self) -> None:
        """Two machines of one series: neither connection may pass for the only one."""
        near = Link("LIFT", "SC1", "LX", (PERMIT,))
        far = replace(near, there=(replace(PERMIT, sent="Cell.Other"),))
        for links, files in (((near, far), "01"), ((far, near), "01"), ((near, near), "01")):
            site = Place(links)
            one, two = (f"{at}-a.toml and {at}-b.toml" for at in files)
            with pytest.raises(UsageError) as caught:
                traced(site, "permit_up")
            assert str(caught.value) == (
                "the name must mean one signal, not 'permit_up': "
                f"LIFT.SC1.permit_up (in {one}) or LIFT.SC1.permit_up (in {two})"
            )
        # One pair that is listed again, its ends the other way round, is one connection.
        site = Place((near,))
        listed = site.files()["plant.toml"].replace(
            '{ ends = ["0-a.toml", "0-b.toml"] }',
            '{ ends = ["0-a.toml", "0-b.toml"] },\n  { ends = ["0-b.toml", "0-a.toml"] }',
        )
        assert traced(replace(site, more={"plant.toml": listed}), "permit_up").signal is not None

    def test_candidates_of_connections_of_one_name(self) -> None:
        lifts = (Link("LIFT", "SC1", "LX", (PERMIT,)),) * 2
        site = Place((Link("CURTAIN", "LC1", "SC1", (CLEAR,)), *lifts))
        found = traced(site, "field_clear")
        assert [one.stretch.lane.connection.name for one in found.candidates] == ["LIFT", "LIFT"]

    def test_one_on_a_route_and_one_that_is_not(self) -> None:
        site = two()
        twin = Link("LIFT2", "SC1", "LX2", (replace(PERMIT, received="Drive2.Up"),))
        with pytest.raises(UsageError, match="the name must mean one signal, not 'permit_up'"):
            traced(replace(site, links=(*site.links, twin)), "permit_up")

    def test_very_many(self) -> None:
        links = tuple(Link(f"L{n:02}", f"A{n}", f"B{n}", (Row("x"),)) for n in range(23))
        with pytest.raises(UsageError, match=r"L19.A19.x or one of 3 more$"):
            traced(Place(links), "x")

    def test_dots(self) -> None:
        link = Link("A.B", "C.D", "E", (Row("f.g"),))
        for name in ("f.g", "C.D.f.g", "E.f.g", "A.B.f.g", "A.B.C.D.f.g"):
            assert traced(Place((link,)), name).signal is not None


VALUES = Place(
    (
        Link(
            "IN",
            "P",
            "G",
            (
                Row(
                    "v", "P.V", "G.V", type="uint", width=16, unit="mm", scale="0.1", valid_by="ok"
                ),
                Row("ok", "P.Ok", "G.Ok", edge="rising"),
                Row(
                    "m",
                    "P.M",
                    "G.M",
                    type="code",
                    width=2,
                    codes=((0, "off"), (1, "on"), (2, "b"), (3, "c")),
                ),
            ),
        ),
        Link("OUT", "G", "Q", (Row("w", "G.V", "Q.W", type="uint", width=8, unit="mm"),)),
    ),
    ('from = "P.v", through = [{ end = "G", converts = { width = [16, 8] } }], to = "Q.w"',),
)


class TestPictures:
    def test_one_box_for_each_end_and_one_arrow_for_each_connection(self) -> None:
        found = traced(VALUES, "v")
        root = ElementTree.fromstring(chain.document(found))
        space = "{http://www.w3.org/2000/svg}"
        boxes = [one for one in root.iter(f"{space}rect") if "ch-box" in one.get("class", "")]
        arrows = [one for one in root.iter(f"{space}path") if "ch-way" in one.get("class", "")]
        assert (len(boxes), len(arrows)) == (3, 2)
        words = [one.text or "" for one in root.iter(f"{space}text")]
        assert [one for one in words if one in ("P", "G", "Q")] == ["P", "G", "Q"]
        assert "on purpose: width 16 -> 8" in words
        assert "route-scale-differs, route-validity-lost" in " ".join(words)
        assert [one.get("class") for one in boxes] == [
            *("ch-box", "ch-box ch-found", "ch-box ch-found")
        ]
        tops = [int(one.get("y", "")) for one in boxes]
        ends = [int(one.get("y", "")) + int(one.get("height", "")) for one in boxes]
        assert all(end < top for end, top in zip(ends, tops[1:], strict=False))

    def test_a_break_is_told_by_a_dashed_line_and_words(self) -> None:
        found = traced(two(route=ROUTE.replace("field_clear", "none")), "permit_up")
        drawn = chain.document(found)
        assert "ch-broken" in drawn.partition("</style>")[2]
        assert "the way breaks here" in drawn
        assert "sends nothing that is known" in drawn

    def test_a_rule_is_named_once_at_an_end(self) -> None:
        rows = tuple(Row(f"w{n}", type="uint", width=16) for n in range(2))
        found = traced(Place((Link("X", "A", "B", rows),)), "w0")
        rules = [one.rule for one in found.findings]
        assert rules.count("value-without-validity") == 2
        assert chain.document(found).count("value-without-validity") == 2  # Once at each end.

    def test_long_names_are_broken_and_titles_cut(self) -> None:
        row = Row("n" * 90, "P." + "v" * 120, "X")
        found = traced(Place((Link("L" * 120, "A" * 90, "B", (row,)),)), "n" * 90)
        root = ElementTree.fromstring(chain.document(found))
        words = [one.text or "" for one in root.iter("{http://www.w3.org/2000/svg}text")]
        assert max(map(len, words)) <= 97
        assert any(one.endswith("…") for one in words)

    def test_the_page_shows_the_same(self) -> None:
        found = traced(VALUES, "m")
        page = html.render(document(found, chain.drawings(found)))
        assert page.count("<svg") == 1
        assert "no route names it" in page
        assert "<svg" not in markdown.render(document(found))
        assert "0 is off, 1 is on, 2 is b, 3 is c; safe" in shown(found)
        assert "acts on the rising edge" in shown(traced(VALUES, "ok"))
        told = shown(traced(VALUES, "v"))
        assert "unit mm; scale 0.1; valid by ok" in told
        assert max(map(len, told.splitlines())) <= 80


class TestCommand:
    @pytest.fixture
    def site(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        for name, words in two().files().items():
            (tmp_path / name).write_text(words, encoding="utf-8")
        for name, words in demo.after().items():
            (tmp_path / "demo").mkdir(exist_ok=True)
            (tmp_path / "demo" / name).write_text(words, encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        return tmp_path

    @pytest.mark.parametrize("path", ["plant.toml", "."])
    def test_a_plant(self, site: Path, path: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["trace", "field_clear", path]) == 0
        assert capsys.readouterr().out.startswith(f"{NAME}\n")

    def test_maps_without_a_plant(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["trace", "curtain_ok", "demo"]) == 0
        assert "no route names it" in capsys.readouterr().out

    @pytest.mark.parametrize("chosen", ["json", "markdown", "html", "text"])
    def test_formats(self, site: Path, chosen: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["trace", "--format", chosen, "curtain_ok", "demo"]) == 0
        out = capsys.readouterr().out
        assert "curtain_ok" in out
        assert ("<svg" in out) == (chosen == "html")

    def test_files(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["trace", "curtain_ok", "demo", "--svg", "way.svg", "--html", "way.html"]
        assert main(words) == 0
        assert capsys.readouterr().err == (
            "safeframe: way.svg written (picture of trace)\n"
            "safeframe: way.html written (page of trace)\n"
        )
        assert "ch-box" in (site / "way.svg").read_text(encoding="utf-8")
        assert "ch-box" in (site / "way.html").read_text(encoding="utf-8")

    def test_refusals(self, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["trace", "x", "plant.toml", "demo"]) == 2
        assert main(["trace", "x", "plant.toml", "plant.toml"]) == 2
        assert main(["trace", "permit_torque", "demo"]) == 2
        assert capsys.readouterr().err == (
            "safeframe: a plant file must stand alone, not with other maps or plants\n"
            * 2
            + "safeframe: the name must mean one signal, not 'permit_torque': "
            "SC1-LX.SC1.permit_torque or SC1-LX2.SC1.permit_torque\n"
        )


@pytest.mark.no_cover
class TestFortyEdits:
    """A site of 12 connections under 40 random edits: a model of its own follows every source.

    The model keeps chains of (connection, producer, name, variable there, variable here) and
    finds the way by equal names alone; it knows nothing of maps.
    """

    @pytest.mark.parametrize("seed", range(3))
    def test_after_each_edit(self, seed: int) -> None:
        draw = random.Random(seed)
        site = _chains()
        for _ in range(40):
            edit: Callable[[random.Random, Place], Place] = draw.choice(_EDITS)
            site = edit(draw, site)
            plant = site.plant()
            for route, expected in zip(site.routes, _model(site), strict=True):
                source = route.split('"')[1].rpartition(".")[2]
                known = [one for one in site.links if any(r.name == source for r in one.there)]
                if not known:
                    with pytest.raises(UsageError):
                        trace(plant, source)
                    continue
                found = trace(plant, source)
                data: dict[str, Any] = json.loads(json_text(found))
                (way,) = data["routes"] or [data["signal"]]
                assert data["routes"] or expected[0] is None, route
                told = [
                    (one["connection"], one["signal"]["name"] if one["signal"] else None)
                    for one in way["stops"][::2]
                ]
                if data["routes"]:
                    assert told == [pair or (None, None) for pair in expected], route
                    broken = None in expected
                    assert way["complete"] is not broken
                    rules = {one["rule"] for one in way["findings"]}
                    assert ("route-broken" in rules) is broken


def _chains() -> Place:
    """Return four chains of three connections each."""
    links, routes = [], []
    for chain_ in range(4):
        for part in range(3):
            here, there = f"E{chain_}{part}", f"E{chain_}{part + 1}"
            row = Row(f"s{chain_}{part}", f"V{part}", f"V{part + 1}", one_means=f"m{chain_}")
            links.append(Link(f"C{chain_}{part}", here, there, (row,)))
        middle = ", ".join(
            f'{{ end = "E{chain_}{part}", signal = "s{chain_}{part}" }}' for part in (1, 2)
        )
        routes.append(
            f'from = "E{chain_}0.s{chain_}0", through = [{middle}], to = "E{chain_}3.s{chain_}2"'
        )
    return Place(tuple(links), tuple(routes))


def _swap(site: Place, at: int, link: Link) -> Place:
    return replace(site, links=(*site.links[:at], link, *site.links[at + 1 :]))


def _renamed(draw: random.Random, site: Place) -> Place:
    at = draw.randrange(len(site.links))
    link = site.links[at]
    row = replace(link.there[0], name=f"{link.there[0].name}x")
    return _swap(site, at, replace(link, there=(row, *link.there[1:])))


def _restored(draw: random.Random, site: Place) -> Place:
    at = draw.randrange(len(site.links))
    link = site.links[at]
    row = replace(link.there[0], name=link.there[0].name.rstrip("x"))
    return _swap(site, at, replace(link, there=(row, *link.there[1:])))


def _widened(draw: random.Random, site: Place) -> Place:
    at = draw.randrange(len(site.links))
    link = site.links[at]
    row = replace(link.there[0], type="uint", width=draw.choice((2, 8, 16)))
    return _swap(site, at, replace(link, there=(row, *link.there[1:])))


def _added(draw: random.Random, site: Place) -> Place:
    at = draw.randrange(len(site.links))
    link = site.links[at]
    return _swap(site, at, replace(link, there=(*link.there, Row(f"n{at}_{len(link.there)}"))))


def _unbound(draw: random.Random, site: Place) -> Place:
    at = draw.randrange(len(site.links))
    link = site.links[at]
    row = replace(link.there[0], received=draw.choice(("", "Other", link.there[0].received)))
    return _swap(site, at, replace(link, there=(row, *link.there[1:])))


def _shuffled(draw: random.Random, site: Place) -> Place:
    return replace(site, links=tuple(draw.sample(site.links, len(site.links))))


_EDITS = (_renamed, _restored, _restored, _widened, _added, _unbound, _shuffled)


def _model(site: Place) -> list[list[tuple[str, str] | None]]:
    """Return, for each route, connection and signal of each stretch, None where it breaks."""
    found = []
    for number in range(4):
        way: list[tuple[str, str] | None] = []
        for part in range(3):
            (link,) = [one for one in site.links if one.name == f"C{number}{part}"]
            name = f"s{number}{part}"
            way.append((link.name, name) if any(r.name == name for r in link.there) else None)
        found.append(way)
    return found
