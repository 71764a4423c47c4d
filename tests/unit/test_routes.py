"""Routes of a plant file: how they are written, where they break, what an end may change."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from math import inf, nan
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from safeframe import _checks as checks
from safeframe._checks.handing_on import decimal_text
from safeframe._cli import main
from safeframe._errors import InputError, UsageError
from safeframe._findings import Finding
from safeframe._following import RouteTime
from safeframe._model import Connection, ConnectionTable, End, Map
from safeframe._plant import file as plantfile
from safeframe._report import junit
from safeframe._report.trace import changes_at
from safeframe._routes import Route, RouteStep
from safeframe._timing import Input, timing
from tests.unit.route_sites import (
    CLEAR,
    NAME,
    PERMIT,
    ROUTE,
    Link,
    Place,
    Row,
    step,
    two,
)

ON = f"on the route {NAME}: "
VALUE = Row("speed", "Port.V", "Cell.V", type="uint", width=16, unit="mm/s")
LIMIT = Row("limit", "Cell.V", "Drive.V", type="uint", width=16, unit="mm/s")
VALUES = 'from = "LC1.speed", through = [{ end = "SC1" }], to = "LX.limit"'
ALONG = "on the route LC1.speed -> SC1 -> LX.limit: "


def values(arriving: Row = VALUE, leaving: Row = LIMIT, words: str = "") -> Place:
    text = VALUES.replace('end = "SC1"', f'end = "SC1", {words}' if words else 'end = "SC1"')
    return two(arriving, leaving, text)


class TestReading:
    def test_a_route_in_full(self) -> None:
        text = (
            'from = ["LC1", "field_clear"], through = [{ end = "SC1", bind = "Cell.Clear", '
            'out = "Cell.Up", signal = "permit_up", inverts = true, on_loss = 0, '
            'converts = { width = [16, 8], type = ["uint", "int"] } }], to = "LX.permit_up", '
            'connections = ["CURTAIN", "LIFT"], permitted_reaction_ms = 300'
        )
        plant = two(route=text, cycles=(("SC1", 10),)).plant()
        assert plant.cycles == (("SC1", 10),)
        assert plant.routes == (
            Route(
                source=("LC1", "field_clear"),
                steps=(
                    RouteStep(
                        end="SC1",
                        bind="Cell.Clear",
                        out="Cell.Up",
                        signal="permit_up",
                        inverts=True,
                        on_loss=0,
                        converts=(("type", "uint", "int"), ("width", 16, 8)),
                    ),
                ),
                target=("LX.permit_up",),
                connections=("CURTAIN", "LIFT"),
                permitted_reaction_ms=300,
            ),
        )
        (route,) = plant.routes
        assert str(route.where) == "plant.toml:9"
        assert route.steps[0].where.key == "routes[0].through[0]"
        assert route.name == NAME
        assert route.near == {"LC1", "SC1", "LX"}
        assert plantfile.schema_text().count('"on_loss"') == 1

    def test_an_arrow_in_a_name_is_quoted(self) -> None:
        route = Route(source=("A", "x->y"), steps=(RouteStep(end="B"),), target=("C.z",))
        assert route.name == '"A.x->y" -> B -> C.z'

    @pytest.mark.parametrize(
        ("route", "message"),
        [
            ("", "plant.toml:8: routes[0].from: from must be stated"),
            (
                ROUTE.replace("LC1.field_clear", "field_clear"),
                "plant.toml:8: routes[0].from: from must be an end and its signal such as "
                "\"LC1.field_clear\", not 'field_clear'",
            ),
            (
                ROUTE.replace('"LC1.field_clear"', '["LC1", 7]'),
                "plant.toml:8: routes[0].from: from must be a text, not 7",
            ),
            (
                ROUTE.replace('[{ end = "SC1" }]', "[]"),
                "plant.toml:8: routes[0]: through must name 1..64 ends, not 0",
            ),
            (
                ROUTE.replace('[{ end = "SC1" }]', "1"),
                'plant.toml:8: routes[0].through: through must be an array such as [{ end = "SC1" '
                "}], not 1",
            ),
            (
                step('binds = "X"'),
                "plant.toml:8: routes[0].through[0].binds: a key must be one that an end of a "
                "route knows, not 'binds' (did you mean bind?)",
            ),
            (
                step('out = "X"'),
                "plant.toml:8: routes[0].through[0]: out must stand with bind, not alone",
            ),
            (
                step("converts = 1"),
                "plant.toml:8: routes[0].through[0].converts: converts must be a table such as "
                "{ width = [16, 8] }, not 1",
            ),
            (
                step("converts = { wdth = [1, 2] }"),
                "plant.toml:8: routes[0].through[0].converts.wdth: a key must be one that a "
                "conversion knows, not 'wdth' (did you mean width?)",
            ),
            (
                step("converts = { width = [1] }"),
                "plant.toml:8: routes[0].through[0].converts.width: width must be an array of two "
                "values, before and after, not an array",
            ),
            (
                step("converts = { width = [1, 0] }"),
                "plant.toml:8: routes[0].through[0].converts.width[1]: an entry of width must be "
                "1..524288, not 0",
            ),
            (
                f'{ROUTE}, connections = ["LIFT"]',
                "plant.toml:8: routes[0]: connections must name 2 connections, one for each "
                "stretch, not 1",
            ),
        ],
    )
    def test_refusals(self, route: str, message: str) -> None:
        site = two()
        files = replace(site, routes=(route,)).files()
        with pytest.raises(InputError) as caught:
            plantfile.loads(files["plant.toml"], path="plant.toml", read=files.__getitem__)
        assert message in map(str, caught.value.problems)

    def test_a_route_is_listed_once(self) -> None:
        with pytest.raises(InputError, match=re.escape(f"listed once, not again: {NAME}")):
            replace(two(), routes=(ROUTE, ROUTE)).plant()

    def test_cycle_times(self) -> None:
        with pytest.raises(InputError, match=r"cycle_ms.SC2: a cycle time must be of an end"):
            two(cycles=(("SC2", 10),)).plant()
        files = two().files()
        text = "cycle_ms = { SC1 = 0 }\n" + files["plant.toml"]
        with pytest.raises(InputError, match=r"cycle_ms.SC1: SC1 must be 1\.\."):
            plantfile.loads(text, path="plant.toml", read=files.__getitem__)
        text = "cycle_ms = 1\n" + files["plant.toml"]
        with pytest.raises(InputError, match=r"cycle_ms must be a table such as { SC1 = 10 }"):
            plantfile.loads(text, path="plant.toml", read=files.__getitem__)

    def test_the_schema_takes_what_the_reader_takes(self) -> None:
        import json
        import tomllib

        schema = json.loads(plantfile.schema_text())
        jsonschema.validate(tomllib.loads(two().files()["plant.toml"]), schema)
        for bad in (step('out = "X"'), ROUTE.replace("LC1.field_clear", "x"), "to = 1"):
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate(tomllib.loads(two(route=bad).files()["plant.toml"]), schema)

    def test_values_refuse_local_nonsense(self) -> None:
        with pytest.raises(UsageError, match=r"1..64 ends, not 0"):
            Route(source=("A.x",), steps=(), target=("B.y",))


class TestBreaks:
    @pytest.mark.parametrize(
        ("route", "message"),
        [
            (
                ROUTE.replace("LC1.", "LC2."),
                "no end of the plant is called LC2; the nearest is LC1",
            ),
            (ROUTE.replace('"SC1"', '"Q"'), "no end of the plant is called Q"),
            (
                ROUTE.replace("field_clear", "field_cler"),
                "LC1 sends no field_cler to SC1 (CURTAIN); the nearest is field_clear",
            ),
            (
                ROUTE.replace("permit_up", "zz"),
                "LX receives no zz from SC1 (LIFT)",
            ),
            (
                ROUTE.replace("LC1.field_clear", "LC1.restart"),
                "LC1 receives restart from SC1 and does not send it (CURTAIN)",
            ),
            (
                ROUTE.replace("LX.permit_up", "LX.torque_off"),
                "LX sends torque_off to SC1 and does not receive it (LIFT)",
            ),
            (
                'from = "LC1.field_clear", through = [{ end = "LX" }], to = "SC1.torque_off"',
                "no connection joins LC1 and LX",
            ),
            (
                f'{ROUTE}, connections = ["CURTAIN", "LIFT2"]',
                "no connection of SC1 and LX is called LIFT2; there is LIFT",
            ),
            (
                step('signal = "permit_dn"'),
                "SC1 sends no permit_dn to LX (LIFT); the nearest is permit_up",
            ),
            (
                step('signal = "other"'),
                "other, which SC1 sends, is other at LX, not permit_up",
            ),
        ],
    )
    def test_where_the_chain_breaks(self, route: str, message: str) -> None:
        site = two(route=route)
        site = replace(
            site,
            links=(
                replace(site.links[0], back=(Row("restart", "Cell.Restart", "Port.Restart"),)),
                replace(
                    site.links[1],
                    there=(PERMIT, Row("other", "Cell.Other", "Drive.Other")),
                    back=(Row("torque_off", "Drive.Off", "Cell.Off"),),
                ),
            ),
        )
        told = site.told()
        name = site.plant().routes[0].name
        assert ("route-broken", f"on the route {name}: {message}") in told
        assert {rule for rule, _ in told} == {"route-broken"}

    def test_both_breaks_are_told(self) -> None:
        told = two(route=ROUTE.replace("_clear", "_open").replace("permit_", "permits_")).told()
        assert [rule for rule, _ in told] == ["route-broken"] * 2

    def test_two_connections_of_two_ends(self) -> None:
        site = two()
        twin = replace(site.links[0], name="CURTAIN2", there=(replace(CLEAR, received="Cell.Two"),))
        site = replace(site, links=(*site.links, twin))
        assert site.told() == [
            (
                "route-broken",
                f"{ON}LC1 sends field_clear in CURTAIN and CURTAIN2: connections must say which",
            )
        ]
        chosen = f'{ROUTE}, connections = ["CURTAIN", "LIFT"]'
        assert replace(site, routes=(chosen,)).told() == []

    def test_one_of_two_connections_has_the_signal(self) -> None:
        site = two()
        twin = replace(site.links[0], name="CURTAIN2", there=(replace(CLEAR, name="b"),))
        twin = replace(twin, there=(replace(twin.there[0], received="Cell.Two"),))
        assert replace(site, links=(*site.links, twin)).told() == []

    def test_a_name_that_stands_twice(self) -> None:
        site = two()
        rows = CLEAR, replace(CLEAR, sent="Port.Two", received="Cell.Two")
        site = replace(site, links=(replace(site.links[0], there=rows), site.links[1]))
        assert site.told() == [
            (
                "route-broken",
                f"{ON}LC1 sends 2 signals of the name field_clear in CURTAIN: the route does not "
                "say which",
            )
        ]

    @pytest.mark.parametrize(
        ("file", "name", "message"),
        [
            (
                "0-b.toml",
                "field_clear",
                "LC1 sends field_clear (0.0) in CURTAIN, SC1 expects no such signal",
            ),
            (
                "1-a.toml",
                "permit_up",
                "LX expects permit_up (0.0) in LIFT, SC1 sends no such signal",
            ),
        ],
    )
    def test_one_end_lost_the_signal(self, file: str, name: str, message: str) -> None:
        site = two()
        text = site.files()[file]
        gone = re.sub(rf"\n.*{name}.*", '\n  { at = "0.0", reserved = 1 },', text)
        assert gone != text
        assert replace(site, more={file: gone}).told() == [("route-broken", ON + message)]

    def test_a_renamed_signal_is_followed(self) -> None:
        """Another name for the same bits is a finding of the connection, and no break."""
        site = two()
        text = site.files()["0-b.toml"].replace("field_clear", "all_free")
        report = replace(site, more={"0-b.toml": text}).report()
        assert "renamed-signal" in [one.rule for one in report.findings]
        assert not [one for one in report.findings if one.rule.startswith("route-")]

    def test_dots_in_names(self) -> None:
        first = Link("C", "A.B", "SC1", (replace(CLEAR, name="c.d"),))
        last = Link("D", "SC1", "LX", (PERMIT,))
        route = 'from = "A.B.c.d", through = [{ end = "SC1" }], to = "LX.permit_up"'
        assert Place((first, last), (route,)).told() == []
        other = Link("E", "A", "SC1", (replace(CLEAR, name="B.c.d", received="Cell.Two"),))
        (told,) = Place((first, last, other), (route,)).told()
        assert told[1].endswith(
            'A.B.c.d may be B.c.d of A or c.d of A.B: write it as ["END", "SIGNAL"]'
        )
        exact = route.replace('"A.B.c.d"', '["A.B", "c.d"]')
        assert Place((first, last, other), (exact,)).told() == []

    def test_one_file_given_as_both_ends_is_no_way(self) -> None:
        site = two()
        same = Link("X", "Q", "Q", (replace(CLEAR, name="q"),))
        route = 'from = "Q.q", through = [{ end = "Q" }], to = "Q.q"'
        told = replace(site, links=(*site.links, same), routes=(route,)).told()
        assert ("route-broken", "on the route Q.q -> Q -> Q.q: no connection joins Q and Q") in told


GATES = Place(
    (
        Link("IN", "LC1", "G1", (CLEAR,)),
        Link(
            "BUS",
            "G1",
            "G2",
            (Row("relay", "Cell.Clear", "Far.Clear", one_means="field is clear"),),
        ),
        Link("OUT", "G2", "LX", (replace(PERMIT, sent="Far.Clear"),)),
    ),
    ('from = "LC1.field_clear", through = [{ end = "G1" }, { end = "G2" }], to = "LX.permit_up"',),
)


class TestThreeConnections:
    def test_the_variable_tells_the_signal_between(self) -> None:
        assert GATES.told() == []
        assert GATES.report().facts[-1] == (
            "route",
            "LC1.field_clear -> G1 -> G2 -> LX.permit_up: 3 connections, at least 330 ms",
        )

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            ('bind = "Cell.Nowhere"', "G1 sends nothing from Cell.Nowhere to G2 (BUS)"),
            ('signal = "rely"', "G1 sends no rely to G2 (BUS); the nearest is relay"),
        ],
    )
    def test_a_signal_between_that_is_not_there(self, words: str, message: str) -> None:
        route = GATES.routes[0].replace('end = "G1"', f'end = "G1", {words}')
        told = replace(GATES, routes=(route,)).told()
        assert [one.partition(": ")[2] for _, one in told if message in one] == [message]

    def test_several_signals_of_the_variable(self) -> None:
        twice = GATES.links[1].there[0]
        bus = replace(
            GATES.links[1], there=(twice, replace(twice, name="relay2", received="Far.2"))
        )
        site = replace(GATES, links=(GATES.links[0], bus, GATES.links[2]))
        (told,) = site.told()
        assert told[1].endswith(
            "G1 sends 2 signals of the variable Cell.Clear in BUS: the route does not say which"
        )
        route = GATES.routes[0].replace('end = "G1"', 'end = "G1", signal = "relay2"')
        (told,) = replace(site, routes=(route,)).told()
        assert told[0] == "route-binding-differs"

    def test_nothing_tells_the_signal_between(self) -> None:
        first = replace(GATES.links[0], there=(replace(CLEAR, received=""),))
        (told,) = replace(GATES, links=(first, *GATES.links[1:])).told()
        assert told[1].endswith(
            "nothing says which signal G1 sends on to G2: state bind or signal of G1"
        )

    def test_a_break_before_leaves_the_rest_to_be_judged(self) -> None:
        route = (
            GATES.routes[0]
            .replace("field_clear", "field_open")
            .replace('end = "G1"', 'end = "G1", bind = "Cell.Clear"')
        )
        out = replace(
            GATES.links[2], there=(replace(PERMIT, sent="Far.Clear", width=2, type="uint"),)
        )
        told = replace(GATES, links=(*GATES.links[:2], out), routes=(route,)).told()
        assert sorted(rule for rule, _ in told) == ["route-broken", "route-width-differs"]


class TestHandovers:
    def test_a_good_route_says_what_it_did_not_judge(self) -> None:
        site = two(route=step('bind = "cell.CLEAR"', 300), cycles=(("SC1", 10),))
        assert (site.told(), site.open()) == ([], [])
        assert site.report().facts[-1] == (
            "route",
            f"{NAME}: 2 connections, at most 240 ms of 300 ms permitted",
        )

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words", "rule", "message"),
        [
            (
                replace(CLEAR, received="Cell.Other"),
                PERMIT,
                "",
                "route-binding-differs",
                "SC1 delivers field_clear (0.0) into Cell.Other and takes permit_up (0.0) from "
                "Cell.Clear",
            ),
            (
                replace(CLEAR, received="Cell.Other"),
                replace(PERMIT, sent="Cell.Third"),
                'bind = "Cell.Clear"',
                "route-binding-differs",
                "SC1 delivers field_clear (0.0) into Cell.Other, and the route names Cell.Clear; "
                "SC1 takes permit_up (0.0) from Cell.Third, and the route names Cell.Clear",
            ),
            (
                CLEAR,
                PERMIT,
                'bind = "Cell.Clear", out = "Cell.Up"',
                "route-binding-differs",
                "SC1 takes permit_up (0.0) from Cell.Clear, and the route names Cell.Up",
            ),
            (
                CLEAR,
                replace(PERMIT, one_means="Something in the field"),
                "",
                "route-meaning-differs",
                "SC1 receives field_clear (0.0) with the meaning of 1 'field is clear' and sends "
                "permit_up (0.0) with the meaning of 1 'Something in the field': it is inverted or "
                "another one",
            ),
            (
                replace(CLEAR, edge="rising"),
                PERMIT,
                "",
                "route-meaning-differs",
                "SC1 receives field_clear (0.0) with the acting edge rising and sends permit_up "
                "(0.0) with the acting edge none (a level)",
            ),
            (
                replace(CLEAR, edge="rising"),
                replace(PERMIT, edge="rising", one_means="blocked", safe=1),
                "inverts = true",
                "route-meaning-differs",
                "SC1 receives field_clear (0.0) with the acting edge rising and sends permit_up "
                "(0.0) with the acting edge rising",
            ),
            (
                CLEAR,
                PERMIT,
                "inverts = true",
                "route-inversion-unfounded",
                "an inversion is declared at SC1, but a 1 means 'field is clear' as field_clear "
                "(0.0) arrives and as permit_up (0.0) leaves",
            ),
            (
                CLEAR,
                replace(PERMIT, one_means="blocked"),
                "inverts = true",
                "route-safe-value-differs",
                "while CURTAIN is lost, SC1 takes 0 for field_clear (0.0) and sends it on, "
                "inverted, as permit_up (0.0), whose safe value is 0",
            ),
            (
                CLEAR,
                replace(PERMIT, safe=1),
                "",
                "route-safe-value-differs",
                "while CURTAIN is lost, SC1 takes 0 for field_clear (0.0) and sends it on as "
                "permit_up (0.0), whose safe value is 1",
            ),
            (
                CLEAR,
                PERMIT,
                "on_loss = 1",
                "route-safe-value-differs",
                "while CURTAIN is lost, SC1 sends 1 as permit_up (0.0) by the route, but its safe "
                "value is 0",
            ),
            (
                CLEAR,
                replace(PERMIT, type="uint"),
                "",
                "route-type-differs",
                "SC1 receives field_clear (0.0) with the type bool and sends permit_up (0.0) with "
                "the type uint",
            ),
            (
                CLEAR,
                PERMIT,
                'converts = { edge = ["", "rising"] }',
                "route-conversion-unfounded",
                "the conversion edge none -> 'rising' at SC1 is declared, but field_clear (0.0) "
                "arrives with none and permit_up (0.0) leaves with none",
            ),
            (
                replace(CLEAR, valid_by="curtain_ok"),
                PERMIT,
                "",
                "route-validity-lost",
                "SC1 receives field_clear (0.0) with the validity bit curtain_ok and sends "
                "permit_up (0.0) without one",
            ),
        ],
    )
    def test_bits(self, arriving: Row, leaving: Row, words: str, rule: str, message: str) -> None:
        assert two(arriving, leaving, step(words)).told() == [(rule, ON + message)]

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words"),
        [
            (CLEAR, PERMIT, ""),
            (CLEAR, replace(PERMIT, one_means="  FIELD is  Clear"), ""),
            (CLEAR, replace(PERMIT, one_means="blocked", safe=1), "inverts = true"),
            (CLEAR, replace(PERMIT, one_means="blocked"), "inverts = true, on_loss = 0"),
            (
                replace(CLEAR, edge="rising"),
                replace(PERMIT, edge="falling", one_means="blocked", safe=1),
                "inverts = true",
            ),
            (
                replace(CLEAR, edge="both"),
                replace(PERMIT, edge="both", one_means="blocked", safe=1),
                "inverts = true",
            ),
            (
                CLEAR,
                replace(PERMIT, one_means="up is permitted"),
                'converts = { one_means = ["field is clear", "Up is permitted"] }',
            ),
            (
                CLEAR,
                replace(PERMIT, sent="Cell.Up"),
                'bind = "Cell.Clear", out = "CELL.UP"',
            ),
            (CLEAR, replace(PERMIT, edge="rising"), 'converts = { edge = ["", "rising"] }'),
            (CLEAR, replace(PERMIT, type="uint"), 'converts = { type = ["bool", "uint"] }'),
        ],
    )
    def test_good_bits(self, arriving: Row, leaving: Row, words: str) -> None:
        assert two(arriving, leaving, step(words)).told() == []

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words", "rule", "message"),
        [
            (
                VALUE,
                replace(LIMIT, width=8),
                "",
                "route-width-differs",
                "SC1 receives speed (0.0) with the width 16 bits and sends limit (0.0) with the "
                "width 8 bits",
            ),
            (
                VALUE,
                replace(LIMIT, type="int"),
                "",
                "route-type-differs",
                "SC1 receives speed (0.0) with the type uint and sends limit (0.0) with the type "
                "int",
            ),
            (
                replace(VALUE, type="bool", width=1),
                LIMIT,
                "",
                "route-width-differs",
                "SC1 receives speed (0.0) with the width 1 bit and sends limit (0.0) with the "
                "width 16 bits",
            ),
            (
                VALUE,
                replace(LIMIT, unit="m/s"),
                "",
                "route-unit-differs",
                "SC1 receives speed (0.0) with the unit mm/s and sends limit (0.0) with the unit "
                "m/s",
            ),
            (
                VALUE,
                replace(LIMIT, scale="0.1"),
                "",
                "route-scale-differs",
                "SC1 receives speed (0.0) with the scale 1 and sends limit (0.0) with the scale "
                "0.1",
            ),
            (
                VALUE,
                replace(LIMIT, width=8),
                "converts = { width = [16, 8] }",
                "route-range-exceeded",
                "speed (0.0) may arrive at SC1 as 0 to 65535 mm/s, and limit (0.0) holds 0 to 255 "
                "mm/s",
            ),
            (
                replace(VALUE, scale="0.1"),
                replace(LIMIT, width=8, type="int", scale="-10"),
                'converts = { width = [16, 8], type = ["uint", "int"], scale = ["0.1", "-10"] }',
                "route-range-exceeded",
                "speed (0.0) may arrive at SC1 as 0 to 6553.5 mm/s, and limit (0.0) holds -1270 to "
                "1280 mm/s",
            ),
            (
                replace(VALUE, width=120, unit="", scale="0.1"),
                replace(LIMIT, unit="", scale="0.1"),
                "converts = { width = [120, 16] }",
                "route-range-exceeded",
                "speed (0.0) may arrive at SC1 as 0 to 132922799578491587290380706028034457.5, "
                "and limit (0.0) holds 0 to 6553.5",
            ),
            (
                replace(VALUE, unit="", scale="1e-99"),
                replace(LIMIT, width=8, unit="", scale="1.00000000000000000000000000001e-99"),
                'converts = { width = [16, 8], scale = ["1e-99", '
                '"1.00000000000000000000000000001e-99"] }',
                "route-range-exceeded",
                f"speed (0.0) may arrive at SC1 as 0 to 0.{'0' * 94}65535, and limit (0.0) holds "
                f"0 to 0.{'0' * 96}25500000000000000000000000000255",
            ),
            (
                replace(VALUE, width=256, unit=""),
                replace(LIMIT, unit=""),
                "converts = { width = [256, 16] }",
                "route-range-exceeded",
                "speed (0.0) may arrive at SC1 as 0 to about 2^255, and limit (0.0) holds 0 to "
                "65535",
            ),
            (
                VALUE,
                LIMIT,
                "inverts = true",
                "route-inversion-unfounded",
                "an inversion is declared at SC1, but speed (0.0) is 16 bits wide",
            ),
            (
                VALUE,
                replace(LIMIT, safe=5),
                "",
                "route-safe-value-differs",
                "while CURTAIN is lost, SC1 takes 0 for speed (0.0) and sends it on as limit (0.0)"
                ", whose safe value is 5",
            ),
            (
                replace(VALUE, scale="0.1", safe=100),
                replace(LIMIT, safe=100),
                'converts = { scale = ["0.1", "1"] }',
                "route-safe-value-differs",
                "while CURTAIN is lost, SC1 takes 100 for speed (0.0) and sends it on, scaled, as "
                "limit (0.0), whose safe value is 100",
            ),
            (
                VALUE,
                LIMIT,
                "converts = { width = [16, 8] }",
                "route-conversion-unfounded",
                "the conversion width 16 -> 8 at SC1 is declared, but speed (0.0) arrives with 16 "
                "and limit (0.0) leaves with 16",
            ),
            (
                VALUE,
                LIMIT,
                'converts = { scale = ["1", "1.0"] }',
                "route-conversion-unfounded",
                "the conversion scale '1' -> '1.0' at SC1 changes nothing",
            ),
        ],
    )
    def test_values(self, arriving: Row, leaving: Row, words: str, rule: str, message: str) -> None:
        assert values(arriving, leaving, words).told() == [(rule, ALONG + message)]

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words"),
        [
            (VALUE, LIMIT, ""),
            (replace(VALUE, scale="0.10"), replace(LIMIT, scale="0.1"), ""),
            (VALUE, replace(LIMIT, width=32), "converts = { width = [16, 32] }"),
            (
                replace(VALUE, scale="0.1", safe=100),
                replace(LIMIT, safe=10),
                'converts = { scale = ["0.1", "1"] }',
            ),
            (VALUE, replace(LIMIT, unit="m/s"), 'converts = { unit = ["mm/s", "m/s"] }'),
        ],
    )
    def test_good_values(self, arriving: Row, leaving: Row, words: str) -> None:
        assert values(arriving, leaving, words).told() == []

    def test_codes(self) -> None:
        one = replace(
            CLEAR,
            type="code",
            width=2,
            one_means="",
            codes=((0, "stop"), (1, "creep"), (2, "full")),
        )
        two_ = replace(PERMIT, type="code", width=2, one_means="", codes=one.codes)
        assert two(one, two_).told() == []
        other = replace(two_, codes=((0, "Stop"), (1, "full"), (3, "creep")))
        assert two(one, other).told() == [
            (
                "route-meaning-differs",
                f"{ON}the code points differ between field_clear (0.0), which SC1 receives, and "
                "permit_up (0.0), which it sends: 1: creep / full, 2: full / not named, 3: not "
                "named / creep",
            )
        ]
        bare = replace(two_, codes=())
        assert ("route-meaning-differs", "code points at SC1", "none are stated on one side") in (
            two(one, bare).open()
        )


class TestTranslatedCodes:
    """A gateway may translate code points; what the route says of it MUST fit both maps."""

    MODE = replace(
        CLEAR,
        type="code",
        width=2,
        one_means="",
        codes=((0, "stop"), (1, "creep"), (2, "half"), (3, "full")),
    )
    LEVEL = replace(
        PERMIT,
        type="code",
        width=2,
        one_means="",
        codes=((0, "Stop"), (1, "full"), (2, "creep"), (3, "half")),
    )
    GOOD = "codes = { 0 = 0, 1 = 2, 0x2 = 3, 3 = 1 }"
    MEANING, SAFE = "route-meaning-differs", "route-safe-value-differs"
    UNFOUNDED = "route-conversion-unfounded"

    def test_as_the_maps_say(self) -> None:
        found = two(self.MODE, self.LEVEL, step(self.GOOD))
        assert found.told() == []
        assert found.open() == two(self.MODE, self.MODE_OUT).open()
        assert [rule for rule, _ in two(self.MODE, self.LEVEL).told()] == [self.MEANING]
        assert found.plant().routes[0].steps[0].codes == ((0, 0), (1, 2), (2, 3), (3, 1))

    MODE_OUT = replace(PERMIT, type="code", width=2, one_means="", codes=MODE.codes)

    @pytest.mark.parametrize(
        ("table", "rule", "message"),
        [
            (
                "{ 0 = 0, 1 = 2, 3 = 1 }",
                MEANING,
                "SC1 translates code points: nothing leaves for 2 (half) of field_clear (0.0); "
                "3 (half) of permit_up (0.0) never leaves",
            ),
            (
                "{ 0 = 0, 1 = 2, 2 = 1, 3 = 3 }",
                MEANING,
                "SC1 translates code points: 2 (half) leaves as 1 (full), not as 3; 3 (full) "
                "leaves as 3 (half), not as 1",
            ),
            (
                "{ 0 = 1, 1 = 2, 2 = 3, 3 = 0 }",
                MEANING,
                "SC1 translates code points: 0 (stop) leaves as 1 (full), not as 0; 3 (full) "
                "leaves as 0 (stop), not as 1",
            ),
            (
                "{ 0 = 1, 1 = 2, 2 = 3, 3 = 0 }",
                SAFE,
                "while CURTAIN is lost, SC1 takes 0 for field_clear (0.0) and sends it on, "
                "translated, as permit_up (0.0), whose safe value is 0",
            ),
            (
                "{ 0 = 0, 1 = 2, 2 = 3, 3 = 1, 5 = 0 }",
                UNFOUNDED,
                "code points are translated at SC1, but field_clear (0.0), which arrives there, "
                "does not name 5",
            ),
            (
                "{ 0 = 0, 1 = 2, 2 = 3, 3 = 9 }",
                UNFOUNDED,
                "code points are translated at SC1, but permit_up (0.0), which leaves there, does "
                "not name 9",
            ),
        ],
    )
    def test_against_the_maps(self, table: str, rule: str, message: str) -> None:
        assert (rule, ON + message) in two(self.MODE, self.LEVEL, step(f"codes = {table}")).told()

    def test_several_become_one_only_where_fewer_are_named(self) -> None:
        fewer = replace(self.LEVEL, codes=((0, "stop"), (1, "slow"), (2, "full")))
        good = "codes = { 0 = 0, 1 = 1, 2 = 1, 3 = 2 }"
        assert two(self.MODE, fewer, step(good)).told() == []
        bad = "codes = { 0 = 0, 1 = 2, 2 = 2, 3 = 2 }"
        ((rule, text),) = two(self.MODE, fewer, step(bad)).told()
        assert rule == self.MEANING
        assert text.endswith(": 1 (slow) of permit_up (0.0) never leaves")

    def test_numbers_that_no_map_names_stay_open(self) -> None:
        some = replace(self.MODE, codes=self.MODE.codes[:3])
        to = replace(self.LEVEL, codes=((0, "stop"), (2, "creep"), (3, "half")))
        told = two(some, to, step("codes = { 0 = 0, 1 = 2, 2 = 3 }"))
        assert told.told() == []
        assert (
            self.MEANING,
            "code points at SC1",
            "no map names every number that field_clear can hold",
        ) in told.open()

    def test_the_safe_value(self) -> None:
        late = replace(self.LEVEL, safe=2)
        assert [rule for rule, _ in two(self.MODE, late, step(self.GOOD)).told()] == [self.SAFE]
        stated = step(f"{self.GOOD}, on_loss = 2")
        assert two(self.MODE, late, stated).told() == []
        odd = replace(self.MODE, safe=3, codes=self.MODE.codes[:3])
        fewer = replace(self.LEVEL, codes=((0, "stop"), (2, "creep"), (3, "half")))
        told = two(odd, fewer, step("codes = { 0 = 0, 1 = 2, 2 = 3 }"))
        assert told.told() == []
        reason = "the route does not say what leaves for 3"
        assert (self.SAFE, "safe value at SC1", reason) in told.open()

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words", "message"),
        [
            (
                MODE,
                PERMIT,
                GOOD,
                "code points are translated at SC1, but permit_up (0.0), which leaves there, is of "
                "type bool",
            ),
            (
                CLEAR,
                LEVEL,
                GOOD,
                "code points are translated at SC1, but field_clear (0.0), which arrives there, is "
                "of type bool",
            ),
            (
                MODE,
                MODE_OUT,
                "codes = { 0 = 0, 1 = 1, 2 = 2, 3 = 3 }",
                "the translation of code points at SC1 changes nothing",
            ),
        ],
    )
    def test_what_is_no_translation(
        self, arriving: Row, leaving: Row, words: str, message: str
    ) -> None:
        assert (self.UNFOUNDED, ON + message) in two(arriving, leaving, step(words)).told()

    def test_other_names_for_the_same_numbers(self) -> None:
        named = replace(self.LEVEL, codes=((0, "halt"), (1, "crawl"), (2, "mid"), (3, "top")))
        assert two(self.MODE, named).told() != []
        same = "codes = { 0 = 0, 1 = 1, 2 = 2, 3 = 3 }"
        assert two(self.MODE, named, step(same)).told() == []

    def test_codes_that_nobody_names(self) -> None:
        bare = replace(self.LEVEL, codes=())
        told = two(self.MODE, bare, step(self.GOOD))
        assert told.told() == []
        reason = "none are stated on one side"
        assert (self.MEANING, "code points at SC1", reason) in told.open()

    def test_a_trace_tells_them(self) -> None:
        told = changes_at(RouteStep(end="SC1", codes=((0, 0), (1, 2))))
        assert told == ["codes 0 -> 0, 1 -> 2"]

    def test_another_width(self) -> None:
        wide = replace(self.LEVEL, width=8)
        site = two(self.MODE, wide, step(f"{self.GOOD}, converts = {{ width = [2, 8] }}"))
        assert site.told() == []
        assert not any(rule == "route-range-exceeded" for rule, _, _ in site.open())

    @pytest.mark.parametrize(
        ("words", "message"),
        [
            ("codes = {}", "codes must be a table such as { 0 = 0, 1 = 2 }, not a table"),
            ("codes = 1", "codes must be a table such as { 0 = 0, 1 = 2 }, not 1"),
            ("codes = { a = 1 }", "codes must be a table whose keys are integers (decimal or 0x)"),
            ("codes = { 1 = 1, 0x1 = 2 }", "codes must be a table that states each code once"),
            (
                "codes = { 1 = -1 }",
                "codes must be a table whose values are integers from 0, not -1",
            ),
            ("codes = { 1 = true }", "codes must be a table whose values are integers from 0"),
            ("codes = { 1 = 1 }, inverts = true", "codes must stand without inverts"),
        ],
    )
    def test_how_it_is_written(self, words: str, message: str) -> None:
        with pytest.raises(InputError, match=re.escape(message)):
            two(self.MODE, self.LEVEL, step(words)).plant()


WIDE: dict[str, Any] = {"type": "float", "width": 64}
NARROW: dict[str, Any] = {"type": "float", "width": 32}
WIDTHS = "converts = { width = [64, 32] }"


class TestOpen:
    """What stays open at an end is told."""

    @pytest.mark.parametrize(
        ("site", "expected"),
        [
            (
                two(replace(CLEAR, received=""), PERMIT),
                ("route-binding-differs", "binding at SC1", "no variable is stated of field_clear"),
            ),
            (
                two(
                    CLEAR,
                    replace(PERMIT, sent="Cell.Up"),
                    step('bind = "Cell.Clear", out = "Cell.Up"'),
                ),
                (
                    "route-binding-differs",
                    "program at SC1",
                    "no map says how Cell.Up is made of Cell.Clear",
                ),
            ),
            (
                two(CLEAR, replace(PERMIT, one_means="")),
                (
                    "route-meaning-differs",
                    "meaning of 1 at SC1",
                    "no one_means is stated of permit_up",
                ),
            ),
            (
                two(replace(CLEAR, one_means=""), replace(PERMIT, one_means="")),
                (
                    "route-meaning-differs",
                    "meaning of 1 at SC1",
                    "no one_means is stated of field_clear and permit_up",
                ),
            ),
            (
                two(CLEAR, replace(PERMIT, one_means="", safe=1), step("inverts = true")),
                (
                    "route-inversion-unfounded",
                    "inversion at SC1",
                    "the meaning of 1 is not stated on both sides",
                ),
            ),
            (
                values(replace(VALUE, unit=""), LIMIT),
                ("route-unit-differs", "unit at SC1", "none is stated of speed"),
            ),
            (
                values(VALUE, replace(LIMIT, unit="m/s"), 'converts = { unit = ["mm/s", "m/s"] }'),
                (
                    "route-safe-value-differs",
                    "safe value at SC1",
                    "the unit changes, and no map says by which rule",
                ),
            ),
            (
                values(
                    VALUE,
                    replace(LIMIT, unit="m/s", width=32),
                    'converts = { unit = ["mm/s", "m/s"], width = [16, 32] }',
                ),
                (
                    "route-range-exceeded",
                    "range at SC1",
                    "the unit or a type changes in a way that no map describes",
                ),
            ),
            (
                values(
                    VALUE,
                    replace(LIMIT, type="float", width=32),
                    'converts = { type = ["uint", "float"], width = [16, 32] }',
                ),
                (
                    "route-range-exceeded",
                    "range at SC1",
                    "the unit or a type changes in a way that no map describes",
                ),
            ),
            (
                values(replace(VALUE, valid_by="ok"), replace(LIMIT, valid_by="ok")),
                ("route-validity-lost", "validity at SC1", "no variable links ok to ok"),
            ),
            (
                two(),
                (
                    "route-too-slow",
                    "reaction time",
                    "the route states no permitted_reaction_ms",
                ),
            ),
            (
                two(route=step("", 300)),
                ("route-too-slow", "reaction time", "not stated: cycle time of SC1"),
            ),
        ],
    )
    def test_what_cannot_be_judged(self, site: Place, expected: tuple[str, str, str]) -> None:
        assert expected in site.open()
        assert site.told() == []
        assert all(one.route for one in site.report().not_judged if one.rule == expected[0])

    def test_a_validity_bit_that_goes_along(self) -> None:
        site = values(replace(VALUE, valid_by="ok"), replace(LIMIT, valid_by="ok"))
        first, last = site.links
        bit = Row("ok", "Port.Ok", "Cell.Ok")
        first = replace(first, there=(*first.there, bit))
        last = replace(last, there=(*last.there, Row("ok", "CELL.OK", "Drive.Ok")))
        rules = {rule for rule, _, _ in replace(site, links=(first, last)).open()}
        assert "route-validity-lost" not in rules

    def test_the_same_on_several_routes_is_told_once(self) -> None:
        site = two(CLEAR, replace(PERMIT, width=2, type="uint"))
        other = Link("LIFT2", "SC1", "LX2", (replace(PERMIT, received="Drive2.Up"),))
        more = ROUTE.replace("LX.", "LX2.")
        wrong = replace(CLEAR, received="Cell.Other")
        site = replace(
            site,
            links=(
                replace(site.links[0], there=(wrong,)),
                replace(site.links[1], there=(PERMIT,)),
                other,
            ),
            routes=(ROUTE, more),
        )
        told = site.told()
        assert [rule for rule, _ in told] == ["route-binding-differs"] * 2  # Two leaving signals.
        bus = replace(GATES.links[1], there=(replace(GATES.links[1].there[0], edge="both"),))
        out = Link("OUT2", "G2", "LX2", (replace(PERMIT, sent="Far.Clear"),))
        site = replace(
            GATES,
            links=(GATES.links[0], bus, GATES.links[2], out),
            routes=(GATES.routes[0], GATES.routes[0].replace("LX.", "LX2.")),
        )
        messages = [one for _, one in site.told() if " G1 receives " in one]
        assert messages == [
            "on the routes LC1.field_clear -> G1 -> G2 -> LX.permit_up and LC1.field_clear -> G1 "
            "-> G2 -> LX2.permit_up: G1 receives field_clear (0.0) with the acting edge none (a "
            "level) and sends relay (0.0) with the acting edge both"
        ]

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words", "rules"),
        [
            ({"safe": 7}, {"one_means": "blocked"}, "inverts = true", []),
            (
                {"type": "float", "width": 32, "safe": nan},
                {"type": "float", "width": 32, "safe": nan},
                "",
                [],
            ),
            (
                {"type": "float", "width": 32, "safe": inf},
                {"type": "float", "width": 32, "safe": 0.0},
                "",
                ["route-safe-value-differs"],
            ),
            (
                {"type": "float", "width": 32, "safe": 1e300},
                {"type": "float", "width": 32, "safe": 1e300},
                "",
                [],
            ),
            (
                {"type": "uint", "width": 32, "scale": "tenth"},
                {"type": "uint", "width": 8},
                'converts = { scale = ["0.1", "1"], width = [32, 8] }',
                ["route-conversion-unfounded"],
            ),
            (
                {"type": "float", "width": 32, "safe": nan, "scale": "0.1"},
                {"type": "float", "width": 32},
                'converts = { scale = ["0.1", "1"] }',
                [],
            ),
        ],
    )
    def test_safe_values_that_no_file_can_state(
        self, arriving: dict[str, Any], leaving: dict[str, Any], words: str, rules: list[str]
    ) -> None:
        """Values built by a program may be out of range or no numbers: nothing must fail."""
        found = self.found(arriving, leaving, words)
        assert [one.rule for one in found] == rules

    def found(self, arriving: dict[str, Any], leaving: dict[str, Any], words: str) -> list[Finding]:
        plant = two(route=step(words)).plant()

        def put(map_: Map, fields: dict[str, Any]) -> Map:
            return Map(entries=tuple(replace(one, **fields) for one in map_.signals))

        first, last = plant.connections
        changed = (
            Connection(
                first=replace(first.first, sends=put(first.first.sends, arriving)),
                second=replace(first.second, receives=put(first.second.receives, arriving)),
            ),
            Connection(
                first=replace(last.first, sends=put(last.first.sends, leaving)),
                second=replace(last.second, receives=put(last.second.receives, leaving)),
            ),
        )
        report = checks.check_site(changed, (replace(plant, connections=changed),))
        return [one for one in report.findings if one.rule.startswith("route-")]

    @pytest.mark.parametrize(
        ("arriving", "leaving", "words"),
        [
            ({**WIDE, "safe": 0.1}, {**NARROW, "safe": 0.1}, WIDTHS),
            ({**WIDE, "safe": 0.1}, {**NARROW, "safe": 0.10000000149011612}, WIDTHS),
            ({**NARROW, "safe": 0.10000000149011612}, {**NARROW, "safe": 0.1}, ""),
            (NARROW, {**NARROW, "safe": 0.10000000149011612}, "on_loss = 0.1"),
            (
                {"type": "uint", "width": 8, "safe": 1, "scale": "0.1"},
                {**NARROW, "safe": 0.1},
                'converts = { type = ["uint", "float"], width = [8, 32], scale = ["0.1", "1"] }',
            ),
        ],
    )
    def test_safe_values_are_compared_as_they_are_carried(
        self, arriving: dict[str, Any], leaving: dict[str, Any], words: str
    ) -> None:
        assert [one.message for one in self.found(arriving, leaving, words)] == []

    def test_a_safe_value_that_the_width_before_cannot_hold(self) -> None:
        words = "converts = { width = [32, 64] }"
        (found,) = self.found({**NARROW, "safe": 0.1}, {**WIDE, "safe": 0.1}, words)
        assert found.rule == "route-safe-value-differs"
        assert "takes 0.1 (0.10000000149011612 in 32 bits) for" in found.message
        assert found.message.endswith("whose safe value is 0.1")


class TestSharedVariables:
    def test_another_connection_delivers_into_it(self) -> None:
        site = two()
        other = Link("GATE", "DG1", "SC1", (replace(CLEAR, name="closed", received="CELL.clear"),))
        assert replace(site, links=(*site.links, other)).told() == [
            (
                "route-binding-shared",
                f"{ON}at SC1, closed of GATE is delivered into Cell.Clear too",
            )
        ]

    def test_several(self) -> None:
        site = two()
        more = tuple(
            Link(name, f"D{name}", "SC1", (replace(CLEAR, name="shut", sent="D.S"),))
            for name in ("GATE2", "GATE1")
        )
        (told,) = replace(site, links=(*site.links, *more)).told()
        assert told[1].endswith(
            "at SC1, shut of GATE1 and shut of GATE2 are delivered into Cell.Clear too"
        )

    def test_at_the_target(self) -> None:
        site = two()
        other = Link("BOX", "SB1", "LX", (replace(PERMIT, sent="Box.Up"),))
        assert replace(site, links=(*site.links, other)).told() == [
            (
                "route-binding-shared",
                f"{ON}at LX, permit_up of BOX is delivered into Drive.PermitUp too",
            )
        ]

    @pytest.mark.parametrize("exact", [False, True])
    def test_the_gate_of_the_plant_sees_it_too(
        self, exact: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """At the target and at the source other connections than those of the route count."""
        route = ROUTE.replace('"LX.permit_up"', '["LX", "permit_up"]') if exact else ROUTE
        site = two(route=route)
        other = Link("BOX", "SB1", "LX", (replace(PERMIT, sent="Box.Up"),))
        for name, text in replace(site, links=(*site.links, other)).files().items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        for command in ("check", "verify"):
            main([command, "--format", "json", str(tmp_path / "plant.toml")])
            assert (
                "permit_up of BOX is delivered into Drive.PermitUp too" in capsys.readouterr().out
            )


class TestLoops:
    def test_an_end_that_is_passed_twice(self) -> None:
        first, _ = two().links
        back = replace(first, back=(replace(PERMIT, received="Port.Up"),))
        route = 'from = "LC1.field_clear", through = [{ end = "SC1" }], to = "LC1.permit_up"'
        assert Place((back,), (route,)).told() == [
            (
                "route-loop",
                "on the route LC1.field_clear -> SC1 -> LC1.permit_up: it passes LC1 twice",
            )
        ]

    def ring(self, variable: str) -> Place:
        """Two routes over one gateway: there from P to Q, and back from Q to P."""
        there = Row("go", "P.X", "G.X", one_means="m"), Row("on", "G.X", "Q.Y", one_means="m")
        back = Row("go2", "Q.Y", "G.Z", one_means="m"), Row("on2", "G.Z", variable, one_means="m")
        return Place(
            (
                Link("ONE", "P", "G", (there[0],), (back[1],)),
                Link("TWO", "G", "Q", (there[1],), (back[0],)),
            ),
            (
                'from = "P.go", through = [{ end = "G" }], to = "Q.on"',
                'from = "Q.go2", through = [{ end = "G" }], to = "P.on2"',
            ),
        )

    def test_two_routes_that_make_a_circle(self) -> None:
        assert self.ring("p.x").told() == [
            (
                "route-loop",
                "on the routes P.go -> G -> Q.on and Q.go2 -> G -> P.on2: together they lead back "
                "to where they begin, over G g.x, G g.z, P p.x, Q q.y",
            )
        ]
        assert self.ring("P.Else").told() == []

    def test_a_long_circle_is_cut(self) -> None:
        count = 5
        links = []
        routes = []
        for number in range(count):
            here, there = f"E{number}", f"E{(number + 1) % count}"
            gate = f"G{number}"
            links += [
                Link(f"A{number}", here, gate, (Row("a", "V", "W", one_means="m"),)),
                Link(f"B{number}", gate, there, (Row("b", "W", "V", one_means="m"),)),
            ]
            routes.append(f'from = "{here}.a", through = [{{ end = "{gate}" }}], to = "{there}.b"')
        (told,) = Place(tuple(links), tuple(routes)).told()
        assert told[0] == "route-loop"
        assert told[1].endswith("over E0 v, E1 v, E2 v, E3 v, E4 v, G0 w and 4 more")


def plain_end(name: str, peer: str) -> End:
    table = ConnectionTable(name="C", profile="plain", watchdog_ms=100, exchange_ms=10)
    return End(name=name, peer=peer, connection_table=table)


class TestTimes:
    def test_too_slow(self) -> None:
        site = two(route=step("", 239), cycles=(("SC1", 10),))
        assert site.told() == [
            (
                "route-too-slow",
                f"{ON}the reaction time is 240 ms = CURTAIN (110 ms) + LIFT (110 ms) + 2 x cycle "
                "time of SC1 (10 ms), 1 ms more than the permitted 239 ms",
            )
        ]
        assert two(route=step("", 240), cycles=(("SC1", 10),)).told() == []

    def test_a_lower_bound_may_be_too_much_already(self) -> None:
        (told,) = two(route=step("", 219)).told()
        assert told[1] == (
            f"{ON}the reaction time is at least 220 ms = CURTAIN (110 ms) + LIFT (110 ms) + 2 x "
            "cycle time of SC1 (not stated), 1 ms more than the permitted 219 ms"
        )

    def test_what_is_missing_is_named(self) -> None:
        site = two(route=step("", 900))
        bare = replace(site.links[0], watchdog_ms=None)
        assert (
            "route-too-slow",
            "reaction time",
            "not stated: watchdog of CURTAIN, cycle time of SC1",
        ) in replace(site, links=(bare, site.links[1])).open()

    def test_the_cycle_of_the_consumer_where_the_profile_counts_it(self) -> None:
        site = two(route=step("", 900), cycles=(("LX", 4), ("SC1", 10)))
        links = tuple(replace(link, profile="opcua-safety") for link in site.links)
        facts = replace(site, links=links).report().facts
        # 2 x 100 + 10 at SC1, 2 x 100 + 4 at LX, and the program of SC1.
        assert facts[-1][1] == f"{NAME}: 2 connections, at most 434 ms of 900 ms permitted"

    def test_no_margin_while_a_part_of_the_sum_is_missing(self) -> None:
        """MUST: what is left of the permitted time is stated only where all is in the sum."""
        stated = timing(
            Connection(first=plain_end("SC1", "LX"), second=plain_end("LX", "SC1")),
        )
        known = Input(name="cycle time of SC1", time_ms=10, factor=2)
        open_ = replace(known, time_ms=None)
        assert stated.reaction.known_ms == 110

        def margin(program: Input, permitted_ms: int | None, *, whole: bool = True) -> int | None:
            return RouteTime((stated, stated), (program,), permitted_ms, whole).margin_ms

        assert (margin(known, 240), margin(known, 239), margin(known, None)) == (0, -1, None)
        for permitted_ms, left in ((900, None), (220, None), (219, -1)):
            assert margin(open_, permitted_ms) == left
        assert (margin(known, 900, whole=False), margin(known, 239, whole=False)) == (None, -1)

    def test_a_broken_route_has_no_sum(self) -> None:
        site = two(route=step("", 1).replace("field_clear", "none"))
        assert [rule for rule, _ in site.told()] == ["route-broken"]
        assert (
            site.report()
            .facts[-1][1]
            .endswith("broken, 1 of 2 followed, at least 110 ms of 1 ms permitted")
        )


class TestWithoutRoutes:
    def test_variables_that_no_route_names_are_said(self) -> None:
        assert two(route="").open() == [
            (
                "route-broken",
                "signals that one connection delivers and another takes from the same variable",
                "no route names them: 1 at SC1",
            )
        ]
        assert two(CLEAR, replace(PERMIT, sent="Cell.Else"), route="").open() == []

    def test_many_ends(self) -> None:
        links = []
        for number in range(8):
            links += [
                replace(link, name=f"{link.name}{number}", **{side: f"SC{number}"})  # type: ignore[arg-type]
                for link, side in zip(two().links, ("second", "first"), strict=True)
            ]
        (told,) = Place(tuple(links)).open()
        assert told[2] == (
            "no route names them: 1 at SC0, 1 at SC1, 1 at SC2, 1 at SC3, 1 at SC4, 1 at SC5 and "
            "at 2 more ends"
        )

    def test_junit_does_not_say_that_rules_without_a_route_passed(self) -> None:
        for route, expected in (("", 16), (step("", 300), 0)):
            text = junit.report(two(route=route).report(), fail_on="note")
            # What a route leaves open is told by the rule that would have judged it.
            reasons = re.findall(r'name="(route-[a-z-]+)">\s*<skipped message="([^"]*)"', text)
            assert [one for _, one in reasons].count("no route is declared") == expected
            route = "LC1.field_clear -&gt; SC1 -&gt; LX.permit_up: reaction time"
            told = ("route-too-slow", f"{route} (not stated: cycle time of SC1)")
            assert told in reasons or expected

    def test_an_echo_is_no_chain(self) -> None:
        link = Link("X", "A", "B", (Row("x", "A.X", "B.X"),), (Row("y", "B.X", "A.Y"),))
        assert Place((link,)).open() == []


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(5, 2), "2.5"),
        (Fraction(-1, 10**30), "-0." + "0" * 29 + "1"),
        (Fraction(10**30), "1" + "0" * 30),
        (Fraction(1, 3), "about 0."),
        (Fraction(2**200), "about 2^"),
    ],
)
def test_numbers_in_messages_are_exact_or_said_to_be_near(value: Fraction, text: str) -> None:
    told = decimal_text(value)
    assert told.startswith(text) if text.startswith("about") else told == text
