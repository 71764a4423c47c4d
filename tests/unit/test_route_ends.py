"""Routes over several gateways each of which is right: what they make of a signal together."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe._model import Map
from safeframe._report import chain, html, markdown, text
from safeframe._report.trace import document, json_text
from safeframe._tracing import trace
from tests.unit.route_sites import Link, Place, Row
from tests.unit.schemas import validate

RULE = "route-ends-differ"

EN = ((0, "off"), (1, "slow"), (2, "fast"), (3, "halt"))
DE = ((0, "aus"), (1, "schnell"), (2, "langsam"), (3, "stop"))
BACK = ((0, "halt"), (1, "fast"), (2, "slow"), (3, "off"))
SAME = "codes = { 0 = 0, 1 = 1, 2 = 2, 3 = 3 }"
SWAP = "codes = { 0 = 0, 1 = 2, 2 = 1, 3 = 3 }"
TO_UINT = 'converts = { type = ["code", "uint"] }'
TO_CODE = 'converts = { type = ["uint", "code"] }'

TO_UINT_1 = 'converts = { type = ["code", "uint"], width = [2, 1] }'
TO_CODE_2 = 'converts = { type = ["uint", "code"], width = [1, 2] }'

Fields = dict[str, Any]


def code(codes: tuple[tuple[int, str], ...] = (), **more: Any) -> Fields:
    return {"type": "code", "width": 2, "codes": codes} | more


def bit(one_means: str = "", **more: Any) -> Fields:
    return {"one_means": one_means} | more


def value(unit: str = "", **more: Any) -> Fields:
    return {"type": "uint", "width": 16, "unit": unit} | more


def site(rows: Sequence[Fields], steps: Sequence[str]) -> Place:
    """Return a chain S -> G1 -> G2 ... -> D whose connections carry one signal as ``rows`` say."""
    ends = ["S", *(f"G{number}" for number in range(1, len(rows))), "D"]
    links = [
        Link(f"C{number}", here, there, (Row("x", f"{here}.X", f"{there}.X", **row),))
        for number, ((here, there), row) in enumerate(zip(pairwise(ends), rows, strict=True), 1)
    ]
    through = ", ".join(
        f'{{ end = "{end}"{", " if words else ""}{words} }}'
        for end, words in zip(ends[1:-1], steps, strict=True)
    )
    route = f'from = "S.x", through = [{through}], to = "D.x", permitted_reaction_ms = 999'
    return Place(tuple(links), (route,), tuple((end, 1) for end in ends[1:-1]))


def told(place: Place) -> list[str]:
    """Return what the rule tells, without the name of the route; no other route rule has spoken."""
    found = place.told()
    assert {rule for rule, _ in found} <= {RULE}
    return [re.sub(r"^on the route .*?: ", "", message) for _, message in found]


def left(place: Place) -> list[tuple[str, str]]:
    return [(subject, reason) for rule, subject, reason in place.open() if rule == RULE]


CODES = (
    "the code points contradict each other between x (0.0), which G1 receives, and x (0.0), which "
    "G2 sends: "
)
SLOW_IS_FAST = (
    f"{CODES}1 (slow) leaves as 2 (fast), not as 1; 2 (fast) leaves as 1 (slow), not as 2"
)
ONES = (
    "G1 receives x (0.0) with the meaning of 1 'may move', and G2 sends x (0.0) with the meaning "
)
MOVE, STOP = bit("may move"), bit("must stop", safe=1)
INVERTS = "inverts = true"


class TestCodes:
    """A code point of one name at two ends of a way MUST be one and the same."""

    @pytest.mark.parametrize(
        ("rows", "steps", "message"),
        [
            ((code(EN), code(DE), code(EN)), (SAME, SWAP), SLOW_IS_FAST),
            (
                (code(EN), value(width=2), code(BACK)),
                (TO_UINT, TO_CODE),
                f"{CODES}0: off / halt; 1: slow / fast; 2: fast / slow; 3: halt / off",
            ),
            (
                (code(EN), code(), code(((0, "off"), (1, "slow"), (2, "full")))),
                ("", ""),
                f"{CODES}2: fast / full; 3: halt / not named",
            ),
            (
                (code(((0, "off"), (1, "slow"))), code(), code(EN)),
                ("", ""),
                f"{CODES}2: not named / fast; 3: not named / halt",
            ),
            (
                (code(EN), code(DE), code(), code((*EN[:3], (3, "drift")))),
                (SWAP, "", ""),
                "",
            ),
            (
                (code(EN), code(), code(EN)),
                ("codes = { 0 = 0, 1 = 1, 2 = 1, 3 = 3 }", ""),
                f"{CODES}2 (fast) leaves as 1 (slow), not as 2; 2 (fast) never leaves",
            ),
            (
                (code(EN), code(), code((*EN[:2], *EN[3:]))),
                ("codes = { 0 = 0, 1 = 1, 2 = 1, 3 = 2 }", ""),
                f"{CODES}3 (halt) leaves as 2 (not named), not as 3; 3 (halt) never leaves",
            ),
        ],
    )
    def test_over_two_gateways(
        self, rows: tuple[Fields, ...], steps: tuple[str, ...], message: str
    ) -> None:
        if not message:
            # Renamed on purpose at G1, then renamed without a word between G1 and G3.
            (found,) = told(site(rows, steps))
            assert found.endswith(
                "which G2 receives, and x (0.0), which G3 sends: 0: aus / off; 1: schnell / slow; "
                "2: langsam / fast; 3: stop / drift"
            )
            return
        assert told(site(rows, steps)) == [message]

    @pytest.mark.parametrize(
        ("rows", "steps"),
        [
            ((code(EN), code(DE), code(EN)), (SWAP, SWAP)),
            ((code(EN), value(width=2), code(EN)), (TO_UINT, TO_CODE)),
            ((code(EN), code(), code(EN)), ("", "")),
            (
                (code(EN), {"type": "float", "width": 16}, code(EN)),
                (
                    'converts = { type = ["code", "float"], width = [2, 16] }',
                    'converts = { type = ["float", "code"], width = [16, 2] }',
                ),
            ),
            (
                (code(EN), {"type": "int", "width": 3}, code(EN)),
                (
                    'converts = { type = ["code", "int"], width = [2, 3] }',
                    'converts = { type = ["int", "code"], width = [3, 2] }',
                ),
            ),
            (
                (code(EN), code(DE), code(BACK, safe=3)),
                (SAME, "codes = { 0 = 3, 1 = 2, 2 = 1, 3 = 0 }"),
            ),
            (
                (code(EN), code(((0, "rest"), (1, "motion"))), code(((0, "a"), (1, "b")))),
                ("codes = { 0 = 0, 1 = 1, 2 = 1, 3 = 0 }", "codes = { 0 = 0, 1 = 1 }"),
            ),
        ],
    )
    def test_right_all_the_way(self, rows: tuple[Fields, ...], steps: tuple[str, ...]) -> None:
        assert told(site(rows, steps)) == []

    def test_the_shortest_part_is_told_and_what_is_around_the_same_end_goes_with_it(self) -> None:
        place = site((code(EN), code(DE), code(EN), code(DE)), (SWAP, SAME, SWAP))
        assert told(place) == [SLOW_IS_FAST]
        (found,) = [one for one in place.report().findings if one.rule == RULE]
        (detail,) = found.details
        assert "which G2 receives" in detail
        assert "which G3 sends: 1 (schnell) leaves as 2 (langsam), not as 1" in detail
        assert [(spot.end, spot.where.line) for spot in found.spots] == [
            ("G1", 7),
            ("G2", 5),
            ("", 11),
        ]

    def test_a_cause_that_is_told_at_a_gateway_is_told_once(self) -> None:
        rows = (code(EN), code((*EN[:1], (1, "fast"), (2, "slow"), *EN[3:])), code(DE), code(EN))
        place = site(rows, ("", SAME, SAME))
        assert [rule for rule, _ in place.told()] == ["route-meaning-differs", RULE]
        assert "which G2 receives" in place.told()[1][1]
        place = site(rows[:2] + rows[3:], ("", SWAP))
        assert [rule for rule, _ in place.told()] == ["route-meaning-differs"]
        assert left(place) == [
            ("code points from G1 to G2", "what is found in between comes first")
        ]

    def test_a_connection_that_tells_it_cuts_the_way(self) -> None:
        place = site((code(EN), code(DE), code(EN)), (SAME, SWAP))
        files = place.files()
        files["1-b.toml"] = files["1-b.toml"].replace("langsam", "mittel")
        place = replace(place, more={"1-b.toml": files["1-b.toml"]})
        assert place.told() == []
        assert "codes-differ" in {one.rule for one in place.report().findings}
        assert ("code points from G1 to G2", "what is found in between comes first") in left(place)

    def test_a_break_cuts_the_way(self) -> None:
        place = site((code(EN), code(DE), code(EN), code(DE)), (SAME, SWAP, SWAP))
        assert told(place) == [SLOW_IS_FAST]
        route = place.routes[0].replace('"S.x"', '"S.y"')
        broken = replace(place, routes=(route.replace('"G1"', '"G1", bind = "G1.X"'),))
        assert [rule for rule, _ in broken.told()] == ["route-broken"]
        route = place.routes[0].replace('"G2"', '"G2", signal = "y"')
        broken = replace(place, routes=(route,))
        assert RULE not in {rule for rule, _ in broken.told()}

    def test_both_sides_of_a_break_are_judged(self) -> None:
        rows = [code(DE if number % 2 else EN) for number in range(8)]
        place = site(rows, (SAME, SWAP, SAME, SAME, SAME, SAME, SWAP))
        words = '"G4", signal = "y"', '"G5", bind = "G5.X"'
        route = place.routes[0].replace('"G4"', words[0]).replace('"G5"', words[1])
        found = replace(place, routes=(route,)).told()
        assert [rule for rule, _ in found] == [RULE, RULE, "route-broken"]
        assert ["G1 receives" in found[0][1], "G6 receives" in found[1][1]] == [True, True]

    def test_routes_that_branch_tell_it_once(self) -> None:
        place = site((code(EN), code(DE), code(EN)), (SAME, SWAP))
        twin = Link("C4", "G2", "E", (Row("x", "G2.X", "E.X", **code(EN)),))
        other = place.routes[0].replace('"D.x"', '"E.x"')
        both = replace(place, links=(*place.links, twin), routes=(*place.routes, other))
        assert len(told(both)) == 2  # Two signals leave G2.
        tail = Link("C4", "D", "E", (Row("y", "D.X", "E.Y", **code(EN)),))
        longer = place.routes[0].replace(" }]", ' }, { end = "D" }]').replace('"D.x"', '"E.y"')
        both = replace(place, links=(*place.links, tail), routes=(*place.routes, longer))
        ((_, message),) = both.told()
        assert message == (
            "on the routes S.x -> G1 -> G2 -> D -> E.y and S.x -> G1 -> G2 -> D.x: " + SLOW_IS_FAST
        )

    @pytest.mark.parametrize(
        ("rows", "steps", "open_"),
        [
            (
                (code(EN), value(width=2)),
                (TO_UINT,),
                [("code points at G1", "x is of type uint: no map names its numbers")],
            ),
            (
                (code(EN), value(width=1), value(width=1), code(EN)),
                (TO_UINT_1, "", TO_CODE_2),
                [("code points from G1 to G3", "no map says what becomes of 2, 3")],
            ),
            (
                (code(EN), code(DE), value(width=1), code(EN)),
                (SWAP, TO_UINT_1, TO_CODE_2),
                [("code points from G2 to G3", "no map says what becomes of 2, 3")],
            ),
            (
                (value(width=2), code(EN), code(EN)),
                (TO_CODE, ""),
                [("code points at G1", "x is of type uint: no map names its numbers")],
            ),
            ((code(EN), value(width=2), code(EN)), (TO_UINT, TO_CODE), []),
            (
                (code(EN), value(width=1), code(EN)),
                (TO_UINT_1, TO_CODE_2),
                [("code points from G1 to G2", "no map says what becomes of 2, 3")],
            ),
            (
                (
                    code(tuple((n, f"n{n}") for n in range(16)), width=4),
                    value(width=3),
                    code(tuple((n, f"n{n}") for n in range(16)), width=4),
                ),
                (
                    'converts = { type = ["code", "uint"], width = [4, 3] }',
                    'converts = { type = ["uint", "code"], width = [3, 4] }',
                ),
                [
                    (
                        "code points from G1 to G2",
                        "no map says what becomes of 8, 9, 10, 11, 12, 13, ...",
                    )
                ],
            ),
        ],
    )
    def test_what_stays_open(
        self, rows: tuple[Fields, ...], steps: tuple[str, ...], open_: list[tuple[str, str]]
    ) -> None:
        assert left(site(rows, steps)) == open_

    def test_a_type_that_is_told_leaves_nothing_open(self) -> None:
        place = site((code(EN), value(width=2), value(width=2)), ("", ""))
        assert [rule for rule, _ in place.told()] == ["route-type-differs"]
        assert left(place) == []

    @pytest.mark.parametrize("scale", ["tenth", "0"])
    def test_a_scale_that_no_file_can_state(self, scale: str) -> None:
        """A plant that a program has built may hold no number there: nothing must fail."""
        plant = site((MOVE, bit(), bit("door open")), ("", "")).plant()

        def scaled(map_: Map) -> Map:
            entries = (replace(one, scale=scale) for one in map_.signals)
            return replace(map_, entries=tuple(entries))

        connections = tuple(
            replace(
                one,
                first=replace(one.first, sends=scaled(one.first.sends)),
                second=replace(one.second, receives=scaled(one.second.receives)),
            )
            for one in plant.connections
        )
        report = checks.check_site(connections, (replace(plant, connections=connections),))
        assert RULE not in {one.rule for one in report.findings}
        reason = "no map says what becomes of a 0 and a 1"
        assert reason in [one.reason for one in report.not_judged if one.rule == RULE]


class TestMeanings:
    """A text MUST stand for one value at both ends, and one value for one text unless declared."""

    @pytest.mark.parametrize(
        ("rows", "steps", "message"),
        [
            (
                (MOVE, STOP, bit("door open")),
                (INVERTS, INVERTS),
                f"{ONES}of 1 'door open', but a 1 leaves as a 1",
            ),
            (
                (MOVE, bit(safe=1), bit("may  MOVE", safe=1)),
                (INVERTS, ""),
                f"{ONES}of 1 'may  MOVE', but a 0 leaves as 1 and a 1 as 0",
            ),
            (
                (MOVE, bit(), bit("door open")),
                ("", ""),
                f"{ONES}of 1 'door open', but a 1 leaves as a 1",
            ),
            (
                (MOVE, bit("it runs"), bit("may move", safe=1)),
                ('converts = { one_means = ["may move", "it runs"] }', INVERTS),
                f"{ONES}of 1 'may move', but a 0 leaves as 1 and a 1 as 0",
            ),
            (
                (
                    MOVE,
                    code(((0, "a"), (1, "b"))),
                    code(((0, "b"), (1, "a")), safe=1),
                    bit("may move", safe=1),
                ),
                (
                    'converts = { type = ["bool", "code"], width = [1, 2] }',
                    "codes = { 0 = 1, 1 = 0 }",
                    'converts = { type = ["code", "bool"], width = [2, 1] }',
                ),
                f"{ONES.replace('G2', 'G3')}of 1 'may move', but a 0 leaves as 1 and a 1 as 0",
            ),
        ],
    )
    def test_over_several_gateways(
        self, rows: tuple[Fields, ...], steps: tuple[str, ...], message: str
    ) -> None:
        assert told(site(rows, steps)) == [message]

    @pytest.mark.parametrize(
        ("rows", "steps"),
        [
            ((MOVE, STOP, MOVE), (INVERTS, INVERTS)),
            ((MOVE, STOP, STOP), (INVERTS, "")),
            ((MOVE, bit("it runs"), bit("door open")),
             ('converts = { one_means = ["may move", "it runs"] }',
              'converts = { one_means = ["it runs", "door open"] }')),
            ((MOVE, bit("it runs"), MOVE),
             ('converts = { one_means = ["may move", "it runs"] }',
              'converts = { one_means = ["it runs", "may move"] }')),
        ],
    )  # fmt: skip
    def test_right_all_the_way(self, rows: tuple[Fields, ...], steps: tuple[str, ...]) -> None:
        place = site(rows, steps)
        assert (told(place), left(place)) == ([], [])

    def test_a_gateway_that_is_told_cuts_the_way(self) -> None:
        place = site((MOVE, bit("it runs"), MOVE), ("", ""))
        assert [rule for rule, _ in place.told()] == ["route-meaning-differs"] * 2
        hidden = ("meaning of 1 from G1 to G2", "what is found in between comes first")
        assert left(place) == [hidden]
        place = site((MOVE, MOVE, STOP), (INVERTS, INVERTS))
        assert "route-inversion-unfounded" in {rule for rule, _ in place.told()}
        assert hidden in left(place)
        words = 'converts = { one_means = ["x", "it runs"] }'
        place = site((MOVE, bit("it runs"), STOP), (words, INVERTS))
        assert [rule for rule, _ in place.told()] == ["route-conversion-unfounded"]
        assert hidden in left(place)

    def test_a_gateway_that_changes_nothing_hides_nothing(self) -> None:
        place = site((MOVE, bit("it runs"), bit("it runs")), ("", ""))
        assert [rule for rule, _ in place.told()] == ["route-meaning-differs"]
        assert left(place) == []

    @pytest.mark.parametrize(
        ("rows", "steps", "reason"),
        [
            (
                (MOVE, bit("must stop", safe=1), bit("brake shut", safe=1), bit("door open")),
                (INVERTS, 'converts = { one_means = ["must stop", "brake shut"] }', INVERTS),
                "the route gives 'may move' another meaning and inverts it",
            ),
            (
                (MOVE, bit("may move", unit="V"), bit("may move", unit="A")),
                ("", 'converts = { unit = ["V", "A"] }'),
                "no map says what becomes of a 0 and a 1",
            ),
        ],
    )
    def test_what_stays_open(
        self, rows: tuple[Fields, ...], steps: tuple[str, ...], reason: str
    ) -> None:
        place = site(rows, steps)
        assert told(place) == []
        ends = f"from G1 to G{len(rows) - 1}"
        assert (f"meaning of 1 {ends}", reason) in left(place)


class TestEdgesAndUnits:
    """An edge and a unit that come back MUST be those that went, unless declared."""

    LEVEL = 'converts = { edge = ["rising", ""] }'

    @pytest.mark.parametrize(
        ("last", "words", "wrong"),
        [
            ({"edge": "rising"}, 'converts = { edge = ["", "rising"] }', False),
            ({"edge": "falling"}, 'converts = { edge = ["", "falling"] }', True),
            (
                {"edge": "falling", "safe": 1},
                'inverts = true, converts = { edge = ["", "falling"] }',
                False,
            ),
        ],
    )
    def test_an_edge_that_is_a_level_between(self, last: Fields, words: str, wrong: bool) -> None:
        place = site((bit(edge="rising"), bit(), bit(**last)), (self.LEVEL, words))
        message = (
            "G1 receives x (0.0) with the acting edge 'rising', and G2 sends x (0.0) with the "
            "acting edge 'falling'"
        )
        assert told(place) == [message] * wrong

    def test_an_edge_that_is_declared_directly(self) -> None:
        rows = (bit(edge="rising"), bit(edge="falling"), bit(edge="falling"))
        assert told(site(rows, ('converts = { edge = ["rising", "falling"] }', ""))) == []

    @pytest.mark.parametrize(
        ("rows", "steps", "message"),
        [
            (
                (value("mm"), value(), value("m")),
                ("", ""),
                "G1 receives x (0.0) with the unit 'mm', and G2 sends x (0.0) with the unit 'm'",
            ),
            (
                (value("cm"), value("mm"), value(), value("m")),
                ('converts = { unit = ["cm", "mm"] }', "", ""),
                "G2 receives x (0.0) with the unit 'mm', and G3 sends x (0.0) with the unit 'm'",
            ),
            ((value("mm"), value(), value("mm")), ("", ""), ""),
            (
                (value("mm"), value("m"), value("mm")),
                ('converts = { unit = ["mm", "m"] }', 'converts = { unit = ["m", "mm"] }'),
                "",
            ),
        ],
    )
    def test_units(self, rows: tuple[Fields, ...], steps: tuple[str, ...], message: str) -> None:
        assert told(site(rows, steps)) == [message] * bool(message)

    def test_what_is_told_at_a_gateway_cuts_the_way(self) -> None:
        place = site((value("mm"), value("m"), value("cm")), ("", ""))
        assert {rule for rule, _ in place.told()} == {"route-unit-differs"}
        assert left(place) == [("unit from G1 to G2", "what is found in between comes first")]
        words = 'converts = { unit = ["mm", "km"] }'
        place = site((value("mm"), value("m"), value("m")), (words, ""))
        assert [rule for rule, _ in place.told()] == ["route-conversion-unfounded"]
        rows = (bit(edge="rising"), bit(), bit(edge="falling"))
        place = site(rows, ("", 'converts = { edge = ["", "falling"] }'))
        assert [rule for rule, _ in place.told()] == ["route-meaning-differs"]
        cut = ("acting edge from G1 to G2", "what is found in between comes first")
        assert cut in left(place)


class TestSafeValues:
    """What is sent while a connection is lost MUST arrive as the safe value of each one behind."""

    def test_an_end_with_a_value_of_its_own_knows_of_its_own_connection_only(self) -> None:
        place = site((MOVE, MOVE, bit("must stop")), ("", "inverts = true, on_loss = 0"))
        assert told(place) == [
            "while C1 is lost, G1 sends 0 as x (0.0), and G2 sends it on as 1 of x (0.0), whose "
            "safe value is 0"
        ]
        assert told(site((MOVE, bit("must stop")), ("inverts = true, on_loss = 0",))) == []

    def test_the_value_of_the_first_end(self) -> None:
        rows = (MOVE, bit("must stop", safe=0), bit("must stop"))
        assert told(site(rows, ("inverts = true, on_loss = 0", ""))) == []

    @pytest.mark.parametrize(("safe", "wrong"), [(100, False), (10, True)])
    def test_a_unit_that_comes_back(self, safe: int, wrong: bool) -> None:
        place = site(
            (value("mm", safe=100), value("m"), value("mm", safe=safe)),
            ('converts = { unit = ["mm", "m"] }', 'converts = { unit = ["m", "mm"] }'),
        )
        message = (
            "while C1 is lost, G1 takes 100 for x (0.0), and G2 sends it on as 100 of x (0.0), "
            "whose safe value is 10"
        )
        assert told(place) == [message] * wrong

    def test_a_float_is_what_its_width_holds(self) -> None:
        kind = {"type": "float", "width": 32}
        place = site(
            (
                value("mm", **kind, safe=0.1),
                value("m", **kind),
                value("mm", **kind, safe=0.10000000149011612),
            ),
            ('converts = { unit = ["mm", "m"] }', 'converts = { unit = ["m", "mm"] }'),
        )
        assert told(place) == []

    @pytest.mark.parametrize(
        ("rows", "steps", "subjects"),
        [
            (
                (value("mm"), value("mm"), value("m")),
                ("", 'converts = { unit = ["mm", "m"] }, on_loss = 0'),
                ["safe value from G1 to G2"],
            ),
            (
                (value("mm"), value("m"), value("cm")),
                ('converts = { unit = ["mm", "m"] }', 'converts = { unit = ["m", "cm"] }'),
                [],  # Open at each of both.
            ),
            (
                (
                    code(EN[:3], safe=3),
                    code(DE[:3]),
                    code(DE[:3]),
                ),
                ("codes = { 0 = 0, 1 = 1, 2 = 2 }", "on_loss = 0"),
                [],  # Open at G1.
            ),
            (
                (MOVE, bit("may move", safe=1), bit("may move", safe=1)),
                ("", "on_loss = 1"),
                ["safe value from G1 to G2"],  # Told at G1.
            ),
        ],
    )
    def test_what_stays_open(
        self, rows: tuple[Fields, ...], steps: tuple[str, ...], subjects: list[str]
    ) -> None:
        place = site(rows, steps)
        assert [one for one, _ in left(place)] == subjects
        assert RULE not in {rule for rule, _ in place.told()}


class TestShown:
    """``check``, ``trace``, its JSON and its page MUST tell what the ends show together."""

    def test_everywhere(self) -> None:
        place = site((code(EN), code(DE), code(EN)), (SAME, SWAP))
        way = "on the route S.x -> G1 -> G2 -> D.x: "
        found = trace(place.plant(), "S.x")
        assert [one.message for one in found.findings if one.rule == RULE] == [way + SLOW_IS_FAST]
        shown = text.render(document(found))
        assert f"  error: {RULE}: " in shown
        assert "leaves as 2 (fast), not as 1" in " ".join(shown.split())
        assert "S.x: 1 route; 1 finding, 3 not judged\n" in shown
        data = json.loads(json_text(found))
        validate("trace", data)
        (row,) = data["routes"][0]["findings"]
        assert (row["rule"], row["message"]) == (RULE, way + SLOW_IS_FAST)
        page = html.render(document(found, chain.drawings(found)))
        assert page.count("leaves as 2 (fast), not as 1") == 1
        assert RULE in page
        assert RULE in markdown.render(document(found))

    def test_what_stays_open(self) -> None:
        shown = text.render(document(trace(site((code(EN), value()), (TO_UINT,)).plant(), "S.x")))
        reason = "not judged: code points at G1 (x is of type uint: no map names its numbers)"
        assert reason in " ".join(shown.split())


Spans = set[tuple[int, int]]
"""Gateways, counted from 1, between which something contradicts."""


def shortest(spans: Spans) -> Spans:
    """Return the spans that hold no other one."""
    return {
        one
        for one in spans
        if not any(one != other and one[0] <= other[0] and other[1] <= one[1] for other in spans)
    }


def spans_told(place: Place, word: str) -> list[tuple[int, int]]:
    """Return the gateways of every contradiction that is told, each time; ``trace`` agrees."""
    findings = [one for one in place.report().findings if one.rule.startswith("route-")]
    assert {one.rule for one in findings} <= {RULE}
    traced = [one for one in trace(place.plant(), "S.x").findings if one.rule == RULE]
    assert [one.message for one in traced] == [one.message for one in findings]
    texts = [told for one in findings for told in (one.message.partition(": ")[2], *one.details)]
    gates = [re.findall(r"\bG(\d)", told) for told in texts if word in told]
    return sorted((int(one[0]), int(one[-1])) for one in gates)


def spans_left(place: Place, subject: str) -> Spans:
    found = [re.fullmatch(f"{subject} from G(.) to G(.)", one) for one, _ in left(place)]
    return {(int(one[1]), int(one[2])) for one in found if one}


@st.composite
def code_chains(draw: st.DrawFn) -> tuple[Place, Spans, set[int]]:
    """Draw a chain whose gateways are right, what contradicts in it and where names are lost."""
    count = draw(st.integers(3, 5))
    words = [draw(st.sampled_from(("a", "b", ""))) for _ in range(count)]
    # Number -> thing on each connection; 0 stays 0, so that no safe value changes.
    things = [(0, *draw(st.permutations((1, 2, 3)))) for _ in range(count)]
    rows = [
        code(tuple((n, f"{word}{thing}") for n, thing in enumerate(means)))
        if word
        else value(width=2)
        for word, means in zip(words, things, strict=True)
    ]
    steps, tables, declared = [], [], []
    for here, there in pairwise(range(count)):
        table: tuple[int, ...] = (0, 1, 2, 3)
        words_ = ""
        if words[here] and words[there]:
            table = (0, *draw(st.permutations((1, 2, 3))))
            if words[here] == words[there]:
                table = tuple(things[there].index(thing) for thing in things[here])
            if words[here] != words[there] or table != (0, 1, 2, 3):
                words_ = f"codes = {{ {', '.join(f'{n} = {to}' for n, to in enumerate(table))} }}"
        elif words[here]:
            words_ = TO_UINT
        elif words[there]:
            words_ = TO_CODE
        steps.append(words_)
        tables.append(table)
        declared.append(words_.startswith("codes"))
    wrong: Spans = set()
    compared: Spans = set()
    for start, end in combinations(range(count - 1), 2):
        if not (words[start] and words[end + 1]):
            continue
        compared.add((start, end))
        for number, thing in enumerate(things[start]):
            to = number
            for table in tables[start : end + 1]:
                to = table[to]
            other_words = words[start] != words[end + 1]
            # Nobody has declared other words; or the same word has become another thing.
            undeclared = other_words and not any(declared[start : end + 1])
            if undeclared or (not other_words and things[end + 1][to] != thing):
                wrong.add((start + 1, end + 1))
    lost = {
        at + 1
        for at, (here, there) in enumerate(pairwise(words))
        if bool(here) != bool(there) and not any(one <= at <= two for one, two in compared)
    }
    return site(rows, steps), shortest(wrong), lost


@st.composite
def bit_chains(draw: st.DrawFn) -> tuple[Place, Spans, Spans, Spans]:
    """Draw a chain of bits: where meanings contradict or stay open, where safe values do."""
    count = draw(st.integers(3, 5))
    texts = [draw(st.sampled_from(("", "p", "q", "r"))) for _ in range(count)]
    safes = [draw(st.integers(0, 1)) for _ in range(count)]
    inverts, meant, lost, steps = [], [], [], []
    for here, there in pairwise(range(count)):
        both = bool(texts[here] and texts[there])
        differ = both and texts[here] != texts[there]
        inverts.append(draw(st.booleans()) and (differ or not both))
        meant.append(differ and (not inverts[-1] or draw(st.booleans())))
        own = safes[here] ^ inverts[-1] != safes[there] or draw(st.booleans())
        lost.append(safes[there] if own else None)
        words = ["inverts = true"] * inverts[-1]
        words += [f'converts = {{ one_means = ["{texts[here]}", "{texts[there]}"] }}'] * meant[-1]
        words += [f"on_loss = {safes[there]}"] * own
        steps.append(", ".join(words))
    wrong: Spans = set()
    open_: Spans = set()
    unsafe: Spans = set()
    for start, end in combinations(range(count - 1), 2):
        span = slice(start, end + 1)
        odd = sum(inverts[span]) % 2
        before, after = texts[start], texts[end + 1]
        if before and after and (before == after) == odd:
            if odd or not any(meant[span]):
                wrong.add((start + 1, end + 1))
            elif any(inverts[span]):
                open_.add((start + 1, end + 1))
        stated = lost[start]
        sent = safes[start] ^ inverts[start] if stated is None else stated
        if sent ^ sum(inverts[start + 1 : end + 1]) % 2 != safes[end + 1]:
            unsafe.add((start + 1, end + 1))
    rows = [bit(text, safe=safe) for text, safe in zip(texts, safes, strict=True)]
    return site(rows, steps), shortest(wrong), shortest(open_), shortest(unsafe)


@pytest.mark.no_cover
class TestAgainstAComposition:
    """Any two ends of a random way MUST be told apart exactly where a composition tells them so."""

    @given(code_chains())
    def test_codes(self, drawn: tuple[Place, Spans, set[int]]) -> None:
        place, wrong, lost = drawn
        assert spans_told(place, "code points") == sorted(wrong)
        named = [re.fullmatch(r"code points at G(.)", one) for one, _ in left(place)]
        assert sorted(int(one[1]) for one in named if one) == sorted(lost)

    @given(bit_chains())
    def test_bits(self, drawn: tuple[Place, Spans, Spans, Spans]) -> None:
        place, wrong, open_, unsafe = drawn
        assert spans_told(place, "meaning of 1") == sorted(wrong)
        assert spans_left(place, "meaning of 1") == open_
        assert spans_told(place, "is lost") == sorted(unsafe)
