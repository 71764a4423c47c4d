"""Relations: conditions that cannot be judged, broken states, contradictions, order over time."""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from math import nan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import relations as relations_package
from safeframe._bits import Place
from safeframe._codec import decode
from safeframe._errors import UsageError
from safeframe._mapfile import loads
from safeframe._model import ConnectionTable, End, Map, Relation, Signal
from safeframe.relations import (
    Watch,
    contradictions,
    faults,
    find_signals,
    truth_tables,
    violations,
)
from safeframe.relations import (
    _states as states,
)

HEAD = """\
format = "safeframe-map/1"
connection = { name = "SC1-LX", profile = "plain" }
end = { name = "SC1", peer = "LX" }
sends = [
  { at = "0.0", name = "permit_torque" },
  { at = "0.1", name = "brake1_release" },
  { at = "0.2", name = "brake2_release" },
  { at = "0.3", name = "up" },
  { at = "0.4", name = "down" },
  { at = "0.5", name = "level", width = 2, type = "code", codes = { 0 = "a", 1 = "b", 2 = "c" } },
  { at = "1.0", name = "limit", width = 8 },
  { at = "2.0", name = "torque", width = 1, type = "int" },
]
receives = [
  { at = "0.0", name = "brake1_applied" },
  { at = "0.1", name = "up" },
  { at = "1.0", name = "speed", width = 16, type = "float" },
]
"""


def end_with(*rows: str) -> End:
    lines = [
        f'  {{ name = "{chr(97 + number)}", {row}, reason = "r" }},'
        for number, row in enumerate(rows)
    ]
    return loads("\n".join([HEAD, "relations = [", *lines, "]"]))


def told(end: End) -> list[tuple[str, str]]:
    return [
        ("".join(relation.name for relation in found.relations), "; ".join(found.facts))
        for found in contradictions(end)
    ]


class TestFaults:
    def test_a_plain_and_a_full_name(self) -> None:
        end = end_with("when = { permit_torque = 1 }, requires = { receives.up = 1 }")
        assert faults(end) == ()
        assert [name for name, _ in find_signals(end, "up")] == ["sends", "receives"]
        assert [name for name, _ in find_signals(end, "receives.up")] == ["receives"]

    @pytest.mark.parametrize(
        ("row", "message", "remedy"),
        [
            (
                "when = { permit_torqe = 1 }, requires = { down = 1 }",
                "permit_torqe is no signal of SC1",
                "did you mean permit_torque?",
            ),
            (
                "when = { sends.brake1_applied = 1 }, requires = { down = 1 }",
                "sends.brake1_applied is no signal of SC1",
                "did you mean brake1_applied?",
            ),
            ("when = { zzz = 1 }, requires = { down = 1 }", "zzz is no signal of SC1", ""),
            (
                "when = { up = 1 }, requires = { down = 1 }",
                "up is more than one signal of SC1",
                "write sends.up or receives.up",
            ),
            (
                "when = { down = 2 }, requires = { permit_torque = 1 }",
                "down must be 0..1, not 2",
                "",
            ),
            (
                "when = { level = [0, 3] }, requires = { down = 1 }",
                "level has no code point 3",
                "",
            ),
            (
                "when = { speed = [2048, 2049] }, requires = { down = 1 }",
                "speed of 16 bits cannot be 2049, only 2048.0",
                "",
            ),
        ],
    )
    def test_each_fault(self, row: str, message: str, remedy: str) -> None:
        end = end_with(row)
        (fault,) = faults(end)
        assert (fault.message, fault.remedy) == (message, remedy)
        assert fault.relation == end.relations[0]
        # What cannot be judged is told as a fault and takes no part in anything else.
        assert contradictions(end) == ()
        assert truth_tables(end) == ()
        assert violations(end, sends={"permit_torque": 0, "down": 1, "level": 0}) == ()


class TestViolations:
    END = end_with(
        "when = { brake1_release = 1 }, requires = { permit_torque = 1 }",
        "when = { sends.up = 1 }, excludes = { down = 1, level = [1, 2] }",
        "when = { permit_torque = 0 }, requires = { brake1_applied = 1 }",
    )

    def test_a_broken_requirement(self) -> None:
        found = violations(self.END, sends={"permit_torque": 0, "brake1_release": 1})
        assert [one.message for one in found] == [
            "a: brake1_release = 1 requires permit_torque = 1, "
            "but brake1_release is 1, permit_torque is 0"
        ]
        assert found[0].relation is self.END.relations[0]

    def test_what_is_not_known_is_not_judged(self) -> None:
        assert violations(self.END, sends={"brake1_release": 1}) == ()
        assert violations(self.END, sends={"up": 1, "down": 1}) == ()
        assert violations(self.END) == ()

    @pytest.mark.parametrize(
        ("values", "told"),
        [
            (
                {"sends": {"brake1_releas": 1}},
                "SC1 sends, not of 'brake1_releas' (did you mean brake1_release?)",
            ),
            (
                {"receives": {"zzz": decode(END.sends, bytes(3))["up"]}},
                "SC1 receives, not of 'zzz'",
            ),
        ],
    )
    def test_a_name_that_is_no_signal_is_refused(self, values: dict[str, Any], told: str) -> None:
        message = re.escape(f"a value must be of a signal that {told}") + "$"
        with pytest.raises(UsageError, match=message):
            violations(self.END, **values)
        with pytest.raises(UsageError, match=message):
            Watch(self.END).feed(0, **values)

    def test_one_known_condition_can_settle_it(self) -> None:
        end = end_with("when = { down = 1 }, requires = { permit_torque = 1, brake1_applied = 1 }")
        assert len(violations(end, sends={"down": 1, "permit_torque": 0})) == 1
        assert violations(end, sends={"down": 1, "permit_torque": 1}) == ()

    def test_exclusion(self) -> None:
        values = {"up": 1, "down": 1, "permit_torque": 1, "brake1_release": 0}
        assert violations(self.END, sends={**values, "level": 0}) == ()
        (found,) = violations(self.END, sends={**values, "level": 2})
        assert found.message == (
            "b: sends.up = 1 excludes down = 1 and level = 1 or 2, "
            "but down is 1, level is 2, up is 1"
        )

    def test_both_directions_as_read_from_data(self) -> None:
        sends = decode(self.END.sends, bytes(3))
        assert violations(self.END, sends=sends) == ()
        for data, expected in ((bytes(3), ["c"]), (b"\x01\0\0", [])):
            found = violations(self.END, sends=sends, receives=decode(self.END.receives, data))
            assert [one.relation.name for one in found] == expected

    def test_data_that_end_before_a_signal_do_not_judge_it(self) -> None:
        receives = decode(self.END.receives, b"")
        assert violations(self.END, sends={"permit_torque": 0}, receives=receives) == ()


class TestContradictions:
    def test_none(self) -> None:
        end = end_with(
            "when = { brake1_release = 1 }, requires = { permit_torque = 1 }",
            "when = { sends.up = 1 }, excludes = { down = 1 }",
            "when = { permit_torque = 0 }, follows = { brake1_release = 0 }, after_ms = 150",
            "when = { speed = 5 }, requires = { limit = 200 }",
            "when = { torque = 0 }, requires = { limit = 200 }",
        )
        assert told(end) == []

    def test_a_bit_that_can_never_be_1(self) -> None:
        end = end_with(
            "when = { down = 1 }, requires = { permit_torque = 1 }",
            "when = { brake1_release = 1 }, requires = { permit_torque = 1 }",
            "when = { permit_torque = 1 }, excludes = { brake1_release = 1 }",
        )
        assert told(end) == [("bc", "brake1_release can never be 1")]

    def test_a_bit_that_can_never_be_0(self) -> None:
        assert told(end_with("when = { down = 0 }, requires = { down = 1 }")) == [
            ("a", "down can never be 0")
        ]

    def test_no_legal_state(self) -> None:
        end = end_with(
            "when = { down = 0 }, requires = { down = 1 }",
            "when = { down = 1 }, requires = { sends.up = 1 }",
            "when = { permit_torque = 1, down = 1 }, requires = { sends.up = 1 }",
            "when = { sends.up = [0, 1] }, excludes = { down = 1 }",
        )
        assert told(end) == [("ad", "no state is legal")]

    def test_a_value_that_can_never_be(self) -> None:
        end = end_with(
            "when = { level = [1, 2] }, requires = { brake1_release = 1 }",
            "when = { level = 2 }, excludes = { brake1_release = 1 }",
            "when = { limit = 7 }, requires = { limit = [8, 9] }",
        )
        assert told(end) == [("ab", "level can never be 2"), ("c", "limit can never be 7")]

    def test_an_order_that_can_never_begin(self) -> None:
        end = end_with(
            "when = { permit_torque = 0 }, requires = { brake1_release = 1 }",
            "when = { permit_torque = 0 }, follows = { brake1_release = 0 }",
            "when = { down = 0, brake2_release = 1 }, follows = { down = 1 }",
        )
        assert told(end) == [("ab", "b can never begin"), ("c", "c can never begin")]

    @pytest.mark.parametrize(
        ("order", "rows", "culprits"),
        [
            ("when = { up = 1 }, follows = { up = 1 }", (), "a"),
            ("when = { up = 1 }, follows = { up = 1, down = 1 }", (), "a"),
            ("when = { up = 1, down = 1 }, follows = { up = 1 }", (), ""),
            ("when = { up = 1, down = 1 }, follows = { brake1_release = 1 }", "u", ""),
            ("when = { up = 1, down = 1 }, follows = { brake1_release = 1 }", "ud", "bca"),
        ],
    )
    def test_a_wait_for_what_does_not_hold_alone(
        self, order: str, rows: Sequence[str], culprits: str
    ) -> None:
        """What must have held for a time MUST be possible without what waits for it."""
        needs = {"u": "up", "d": "down"}
        static = [
            f"when = {{ brake1_release = 1 }}, requires = {{ sends.{needs[row]} = 1 }}"
            for row in rows
        ]
        order = order.replace("up", "sends.up").replace("down", "sends.down")
        found = told(end_with(f"{order}, after_ms = 1", *static))
        assert [("".join(sorted(names)), text) for names, text in found] == [
            ("".join(sorted(culprits)), "a can never begin")
        ] * bool(culprits)
        assert told(end_with(order, *static)) == []  # At once, both may begin together.

    def test_the_same_signal_named_twice(self) -> None:
        end = end_with("when = { down = 1, sends.down = 0 }, requires = { permit_torque = 1 }")
        assert told(end) == []
        assert violations(end, sends={"down": 1, "permit_torque": 0}) == ()

    def test_names_that_need_their_direction(self) -> None:
        end = end_with("when = { sends.up = 1 }, excludes = { sends.up = 1 }")
        assert told(end) == [("a", "sends.up can never be 1")]

    def test_too_entangled(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(states, "_MAX_STEPS", 2)
        end = end_with("when = { down = 1 }, requires = { permit_torque = 1, brake1_release = 1 }")
        with pytest.raises(
            UsageError,
            match=re.escape(
                "relations between 3 signals must be decided within 2 steps, not more "
                "(simplify them)"
            ),
        ):
            contradictions(end)


class TestCodes:
    """What no code point names makes nothing possible; the safe value is there all the same."""

    def test_a_value_without_a_code_point_makes_nothing_possible(self) -> None:
        end = end_with(
            "when = { level = [0, 1, 2] }, requires = { sends.up = 1 }",
            "when = { level = [0, 1, 2] }, requires = { down = 1 }",
            "when = { sends.up = 1 }, excludes = { down = 1 }",
        )
        assert told(end) == [("abc", "no state is legal")]

    def test_the_safe_value_is_possible(self) -> None:
        text = HEAD.replace('codes = { 0 = "a", 1 = "b", 2 = "c" }', 'codes = { 1 = "b" }')
        row = "when = { level = 1 }, requires = { down = 1 }"
        end = loads(f'{text}relations = [{{ name = "a", {row}, reason = "r" }}]\n')
        assert told(end) == []

    def test_only_what_is_named_must_be_possible(self) -> None:
        text = HEAD.replace('codes = { 0 = "a", 1 = "b", 2 = "c" }', 'codes = { 1 = "b" }')
        row = "when = { down = [0, 1] }, requires = { level = 1 }"
        end = loads(f'{text}relations = [{{ name = "a", {row}, reason = "r" }}]\n')
        assert told(end) == []  # That the safe state is forbidden is a finding of its own.


class TestTruthTables:
    def test_groups_and_rows(self) -> None:
        end = end_with(
            "when = { brake1_release = 1 }, requires = { permit_torque = 1 }",
            "when = { level = 2 }, requires = { limit = 200 }",
            "when = { permit_torque = 0 }, follows = { brake1_release = 0 }, after_ms = 150",
        )
        brakes, level = sorted(truth_tables(end), key=lambda table: table.columns, reverse=True)
        assert brakes.columns == ("permit_torque", "brake1_release")
        assert [(row.values, row.broken, row.is_safe) for row in brakes.rows] == [
            (("0", "0"), (), True),
            (("0", "1"), ("a",), False),
            (("1", "0"), (), False),
            (("1", "1"), (), False),
        ]
        assert brakes.relations == (end.relations[0],)
        assert brakes.orders == (end.relations[2],)
        assert level.columns == ("level", "limit")
        assert [(row.values, row.broken) for row in level.rows] == [
            (("0", "200"), ()),
            (("0", "other"), ()),
            (("1", "200"), ()),
            (("1", "other"), ()),
            (("2", "200"), ()),
            (("2", "other"), ("b",)),
            (("other", "200"), ()),
            (("other", "other"), ()),
        ]
        assert [row.is_safe for row in level.rows] == [False, True] + [False] * 6

    @pytest.mark.parametrize(
        ("level", "cells", "safe"),
        [
            ('type = "code", codes = { 1 = "a", 2 = "b" }', "0 1 2 other", "0"),
            ('type = "code", codes = { 2 = "a", 1 = "b" }, safe = 3', "1 2 3 other", "3"),
            ('type = "code", codes = { 1 = "a", 0 = "b" }', "0 1 other", "0"),
            ('type = "uint", safe = 3', "1 other", "other"),
            ('type = "int", safe = -2', "1 other", "other"),
            ('type = "uint", safe = 1', "1 other", "1"),
        ],
    )
    def test_the_safe_state_has_a_row(self, level: str, cells: str, safe: str) -> None:
        text = re.sub(r'type = "code", codes = \{.*?\}', level, HEAD, count=1)
        row = "when = { down = [0, 1] }, requires = { level = 1 }"
        end = loads(f'{text}relations = [{{ name = "a", {row}, reason = "r" }}]\n')
        (table,) = truth_tables(end)
        assert [row.values for row in table.rows if row.values[0] == "0"] == [
            ("0", cell) for cell in cells.split()
        ]
        (found,) = (row for row in table.rows if row.is_safe)
        assert found.values == ("0", safe)
        values = {each.name: each.safe for each in end.sends.signals}
        assert bool(found.broken) == bool(violations(end, sends=values))

    def test_a_code_without_another_value(self) -> None:
        text = HEAD.replace('2 = "c" }', '2 = "c", 3 = "d" }')
        row = "when = { level = 2 }, requires = { permit_torque = 1 }"
        (table,) = truth_tables(
            loads(f'{text}relations = [{{ name = "a", {row}, reason = "r" }}]\n')
        )
        assert [row.values[1] for row in table.rows[:5]] == ["0", "1", "2", "3", "0"]

    def test_a_safe_value_that_is_no_number(self) -> None:
        end = end_with("when = { speed = 1 }, requires = { sends.up = 1 }")
        entries = tuple(
            replace(each, safe=nan) if each.name == "speed" else each
            for each in end.receives.signals
        )
        (table,) = truth_tables(replace(end, receives=replace(end.receives, entries=entries)))
        assert {row.values[1] for row in table.rows} == {"1", "other"}

    def test_a_safe_value_is_the_number_that_data_carry(self) -> None:
        end = end_with("when = { speed = 2048 }, requires = { sends.up = 1 }")
        entries = tuple(
            replace(each, safe=2049) if each.name == "speed" else each
            for each in end.receives.signals
        )
        (table,) = truth_tables(replace(end, receives=replace(end.receives, entries=entries)))
        (found,) = (row for row in table.rows if row.is_safe)
        assert (found.values, found.broken) == (("0", "2048"), ("a",))

    def test_a_number_below_zero_is_another_one(self) -> None:
        (table,) = truth_tables(end_with("when = { torque = 0 }, requires = { permit_torque = 1 }"))
        assert [row.values for row in table.rows][:2] == [("0", "0"), ("0", "other")]

    def test_every_number_named(self) -> None:
        (table,) = truth_tables(
            end_with("when = { torque = [-1, 0] }, requires = { permit_torque = 1 }")
        )
        assert {row.values[1] for row in table.rows} == {"-1", "0"}

    def test_too_many_rows(self) -> None:
        bits = tuple(Signal(name=f"b{number}", at=Place.at(number)) for number in range(13))
        relation = Relation(
            name="all",
            when=(("b0", (1,)),),
            requires=tuple((bit.name, (1,)) for bit in bits[1:]),
            reason="r",
        )
        connection_table = ConnectionTable(name="SC1-LX", profile="plain")
        end = End(
            name="SC1",
            peer="LX",
            connection_table=connection_table,
            sends=Map(entries=bits),
            relations=(relation,),
        )
        with pytest.raises(
            UsageError,
            match=re.escape(
                "a truth table must have at most 4096 rows, not 8192 "
                "(13 signals hang together through all)"
            ),
        ):
            truth_tables(end)
        assert contradictions(end) == ()


BITS = ("permit_torque", "brake1_release", "brake2_release", "down")


@st.composite
def bit_relations(draw: st.DrawFn) -> list[Relation]:
    found = []
    for number in range(draw(st.integers(1, 5))):
        sides = [
            tuple(
                sorted(
                    (name, (draw(st.integers(0, 1)),))
                    for name in draw(
                        st.lists(st.sampled_from(BITS), min_size=1, max_size=2, unique=True)
                    )
                )
            )
            for _ in range(2)
        ]
        kind = draw(st.sampled_from(("requires", "excludes")))
        found.append(
            Relation(name=str(number), when=sides[0], reason="r", **{kind: sides[1]})  # type: ignore[arg-type]
        )
    return found


class TestSearch:
    @given(bit_relations())
    def test_it_agrees_with_trying_every_state(self, drawn: list[Relation]) -> None:
        """MUST: a state is legal exactly if no relation is broken; search and table agree."""
        bits = tuple(Signal(name=name, at=Place.at(number)) for number, name in enumerate(BITS))
        end = End(
            name="SC1",
            peer="LX",
            connection_table=ConnectionTable(name="SC1-LX", profile="plain"),
            sends=Map(entries=bits),
            relations=tuple(drawn),
        )
        legal = [
            dict(zip(BITS, values, strict=True))
            for values in itertools.product((0, 1), repeat=len(BITS))
            if not violations(end, sends=dict(zip(BITS, values, strict=True)))
        ]
        facts = [fact for found in contradictions(end) for fact in found.facts]
        named = {name for relation in drawn for name, _ in relation.when + relation.then}
        # Groups are independent: legal states overall are those of each group, multiplied.
        tables = truth_tables(end)
        count = 2 ** (len(BITS) - len(named))
        for table in tables:
            count *= sum(not row.broken for row in table.rows)
        assert count == len(legal)
        if legal:
            impossible = {
                f"{name} can never be {value}"
                for name in named
                for value in (0, 1)
                if not any(state[name] == value for state in legal)
            }
            assert sorted(facts) == sorted(impossible)
        else:
            assert "no state is legal" in facts

    @given(bit_relations())
    def test_every_culprit_is_needed(self, drawn: list[Relation]) -> None:
        """MUST: without any one of the relations named, the fact is no longer so."""
        bits = tuple(Signal(name=name, at=Place.at(number)) for number, name in enumerate(BITS))
        connection_table = ConnectionTable(name="SC1-LX", profile="plain")
        for found in contradictions(
            End(
                name="A",
                peer="B",
                connection_table=connection_table,
                sends=Map(entries=bits),
                relations=tuple(drawn),
            )
        ):
            for spared in found.relations:
                kept = tuple(one for one in found.relations if one != spared)
                end = End(
                    name="A",
                    peer="B",
                    connection_table=connection_table,
                    sends=Map(entries=bits),
                    relations=kept,
                )
                facts = {fact for other in contradictions(end) for fact in other.facts}
                assert not facts & set(found.facts)


RUN = {"permit_torque": 1, "brake1_release": 1}
BRAKE = {"permit_torque": 1, "brake1_release": 0}
OFF = {"permit_torque": 0, "brake1_release": 0}
SWAPPED = {"permit_torque": 0, "brake1_release": 1}


class TestWatch:
    STOP = end_with(
        "when = { permit_torque = 0 }, follows = { brake1_release = 0 }, after_ms = 150, "
        "within_ms = 400",
        "when = { brake1_release = 1 }, requires = { permit_torque = 1 }",
    )

    def run(self, end: End, *steps: tuple[float, dict[str, int]]) -> list[tuple[float, str]]:
        watch = Watch(end)
        return [
            (time, found.message)
            for time, values in steps
            for found in watch.feed(time, sends=values)
        ]

    TEXT = "a: permit_torque = 0 follows brake1_release = 0 after 150 ms within 400 ms, but "

    def test_brakes_first(self) -> None:
        steps = [(0, RUN), (10, BRAKE), (160, OFF), (900, OFF)]
        assert self.run(self.STOP, *steps) == []

    @pytest.mark.parametrize("start", [6.1, 6.4])
    def test_times_are_exact(self, start: float) -> None:
        """Times whose floats have no exact difference MUST be judged by what they are."""
        text = "when = { permit_torque = 0 }, follows = { brake1_release = 0 }, "
        end = end_with(f"{text}after_ms = 10, within_ms = 10")
        steps = [(start - 1, RUN), (start, BRAKE), (round(start + 10, 3), OFF)]
        assert self.run(end, *steps) == []

    def test_too_early(self) -> None:
        steps = [(0, RUN), (10, BRAKE), (30, OFF), (40, OFF)]
        assert self.run(self.STOP, *steps) == [(30, self.TEXT + "it came after 20 ms")]

    def test_at_once(self) -> None:
        assert self.run(self.STOP, (0, RUN), (10, OFF)) == [(10, self.TEXT + "it came after 0 ms")]

    def test_too_late_is_told_once_and_again_after_a_new_start(self) -> None:
        steps = [(0, RUN), (10, BRAKE), (410, BRAKE), (411, BRAKE)]
        late = self.TEXT + "it has not come after 401 ms"
        assert self.run(self.STOP, *steps) == [(411, late)]
        more = [*steps, (500, BRAKE), (510, RUN), (520, BRAKE), (921, BRAKE)]
        assert self.run(self.STOP, *more) == [(411, late), (921, late)]

    def test_the_wrong_way_round(self) -> None:
        wrong = {"permit_torque": 0, "brake1_release": 1}
        assert self.run(self.STOP, (0, RUN), (10, wrong), (20, wrong)) == [
            (10, self.TEXT + "it came first"),
            (
                10,
                "b: brake1_release = 1 requires permit_torque = 1, "
                "but brake1_release is 1, permit_torque is 0",
            ),
        ]

    def test_a_static_relation_is_told_each_time_it_begins(self) -> None:
        wrong = {"permit_torque": 0, "brake1_release": 1}
        end = end_with("when = { brake1_release = 1 }, requires = { permit_torque = 1 }")
        steps = [(0, OFF), (1, wrong), (2, wrong), (3, OFF), (4, wrong)]
        assert [time for time, _ in self.run(end, *steps)] == [1, 4]

    def test_what_held_from_the_start_has_held_for_long(self) -> None:
        assert self.run(self.STOP, (0, BRAKE), (10, OFF)) == []
        assert self.run(self.STOP, (0, BRAKE), (9000, BRAKE)) == []

    def test_directions_may_come_one_by_one(self) -> None:
        end = end_with("when = { permit_torque = 0 }, follows = { brake1_applied = 1 }")
        watch = Watch(end)
        assert watch.feed(0, sends={"permit_torque": 1}) == ()
        assert watch.feed(1, receives={"brake1_applied": 0}) == ()
        (found,) = watch.feed(2, sends={"permit_torque": 0})
        assert found.message == (
            "a: permit_torque = 0 follows brake1_applied = 1, but it came first"
        )
        assert watch.feed(3, sends={"permit_torque": 1}) == ()
        assert watch.feed(4, receives={"brake1_applied": 1}) == ()
        assert watch.feed(5, sends={"permit_torque": 0}) == ()

    def test_nothing_known_breaks_nothing(self) -> None:
        end = end_with("when = { permit_torque = 0 }, follows = { brake1_applied = 1 }")
        watch = Watch(end)
        assert watch.feed(0, sends={"permit_torque": 1}) == ()
        assert watch.feed(1, sends={"permit_torque": 0}) == ()

    IN_TIME = end_with(
        "when = { brake1_release = 1 }, follows = { permit_torque = 1 }, within_ms = 200"
    )
    LATE = "a: brake1_release = 1 follows permit_torque = 1 within 200 ms, but "

    def test_what_begins_late_is_late_without_a_frame_between(self) -> None:
        steps = [(0, OFF), (100, BRAKE), (600, RUN), (700, RUN), (800, BRAKE), (900, RUN)]
        assert self.run(self.IN_TIME, *steps) == [(600, self.LATE + "it came after 500 ms")]

    def test_what_came_in_time_may_end_and_come_again(self) -> None:
        steps = [(0, OFF), (100, BRAKE), (200, RUN), (1000, BRAKE), (1100, BRAKE), (1200, RUN)]
        assert self.run(self.IN_TIME, *steps) == []

    def test_what_ends_after_its_time_without_the_other_is_late(self) -> None:
        steps = [(0, OFF), (100, BRAKE), (301, OFF), (400, BRAKE), (600, OFF)]
        assert self.run(self.IN_TIME, *steps) == [(301, self.LATE + "it has not come after 201 ms")]

    def test_a_late_one_hides_no_other_violation(self) -> None:
        steps = [(0, OFF), (100, BRAKE), (400, BRAKE), (410, SWAPPED)]
        assert self.run(self.IN_TIME, *steps) == [
            (400, self.LATE + "it has not come after 300 ms"),
            (410, self.LATE + "it came first"),
        ]

    def test_what_held_before_the_other_began_needs_no_new_beginning(self) -> None:
        steps = [(0, SWAPPED), (100, RUN), (150, BRAKE), (900, BRAKE)]
        assert self.run(self.IN_TIME, *steps) == []

    def test_relations_of_one_name_are_told_each(self) -> None:
        (rule,) = self.IN_TIME.relations
        twice = dataclasses.replace(self.IN_TIME, relations=(rule, rule))
        steps = [(0, OFF), (100, BRAKE), (600, RUN)]
        assert len(self.run(twice, *steps)) == 2

    def test_an_unknown_time_is_not_judged(self) -> None:
        end = end_with(
            "when = { brake1_applied = 1 }, follows = { permit_torque = 1 }, within_ms = 200"
        )
        watch = Watch(end)
        for time, torque in ((0, 0), (100, 1), (600, 1)):
            assert watch.feed(time, sends={"permit_torque": torque}) == ()
        # It may have come in time: nobody saw it.
        assert watch.feed(700, receives={"brake1_applied": 0}) == ()
        both = end_with(
            "when = { down = 1 }, follows = { brake1_applied = 1, permit_torque = 1 }, "
            "after_ms = 50, within_ms = 200"
        )
        watch = Watch(both)
        assert watch.feed(0, sends={"permit_torque": 0, "down": 0}) == ()
        assert watch.feed(100, sends={"permit_torque": 1}) == ()
        assert watch.feed(600, receives={"brake1_applied": 1}) == ()
        assert watch.feed(610, sends={"down": 1}) == ()

    def untimed(
        self, end: End, *steps: tuple[float | None, dict[str, int]]
    ) -> tuple[list[tuple[float | None, str]], list[str]]:
        """Return what is broken and which relations had a time that nobody knows."""
        watch = Watch(end)
        found = [
            (time, each.message)
            for time, values in steps
            for each in watch.feed(time, sends=values)
        ]
        return found, [relation.name for relation in watch.untimed]

    def test_without_times_no_time_is_judged(self) -> None:
        assert self.untimed(self.STOP, (None, RUN), (None, BRAKE), (None, OFF)) == ([], ["a"])
        # The time from a frame that has one to a frame that has none is not known either.
        assert self.untimed(self.STOP, (0, RUN), (10, BRAKE), (None, OFF)) == ([], ["a"])
        assert self.untimed(self.STOP, (0, RUN), (None, BRAKE), (30, OFF)) == ([], ["a"])
        assert self.untimed(self.STOP, (0, RUN), (10, BRAKE), (None, RUN)) == ([], ["a"])
        assert self.untimed(self.STOP, (0, RUN), (None, BRAKE), (20, BRAKE)) == ([], ["a"])

    def test_what_needs_no_time_is_judged_without_one(self) -> None:
        wrong = {"permit_torque": 0, "brake1_release": 1}
        found, untimed = self.untimed(self.STOP, (None, RUN), (None, wrong))
        assert [text.rpartition(", but ")[2] for _, text in found] == [
            "it came first",
            "brake1_release is 1, permit_torque is 0",
        ]
        assert untimed == []
        early = (None, self.TEXT + "it came after 0 ms")
        assert self.untimed(self.STOP, (None, RUN), (None, OFF)) == ([early], [])

    def test_a_time_between_others_may_be_missing(self) -> None:
        steps = [(0, RUN), (10, BRAKE), (None, BRAKE), (411, BRAKE)]
        late = (411, self.TEXT + "it has not come after 401 ms")
        assert self.untimed(self.STOP, *steps) == ([late], [])

    def test_only_times_that_are_stated_can_be_unknown(self) -> None:
        steps = [(None, RUN), (None, BRAKE), (None, OFF), (None, RUN)]
        plain = end_with("when = { permit_torque = 0 }, follows = { brake1_release = 0 }")
        assert self.untimed(plain, *steps) == ([], [])
        after = end_with(
            "when = { permit_torque = 0 }, follows = { brake1_release = 0 }, after_ms = 150"
        )
        assert self.untimed(after, *steps[:2], steps[3]) == ([], [])
        assert self.untimed(after, *steps) == ([], ["a"])

    def test_a_time_that_was_not_needed_is_not_missed(self) -> None:
        steps = [(0, OFF), (100, BRAKE), (200, RUN), (None, BRAKE), (None, OFF)]
        assert self.untimed(self.IN_TIME, *steps) == ([], [])
        # What held from the first frame on has held for long.
        assert self.untimed(self.STOP, (None, BRAKE), (None, OFF)) == ([], [])


Sample = tuple[int, bool | None, bool | None]


@st.composite
def timed_samples(draw: st.DrawFn) -> tuple[int, int | None, list[Sample]]:
    after = draw(st.integers(0, 6))
    within = draw(st.none() | st.integers(after, 12))
    time, samples = 0, []
    unknown = [draw(st.integers(0, 2)), draw(st.integers(0, 2))]
    for number in range(draw(st.integers(1, 12))):
        when, then = (None if number < first else draw(st.booleans()) for first in unknown)
        samples.append((time, when, then))
        time += draw(st.integers(1, 15))
    return after, within, samples


def by_definition(after: int, within: int | None, samples: list[Sample]) -> list[tuple[int, str]]:
    """Return what is broken and when it is seen, from the values in every single millisecond."""
    last = samples[-1][0]

    def at(time: int) -> tuple[bool | None, bool | None]:
        return next(row[1:] for row in reversed(samples) if row[0] <= time)

    found: dict[int, str] = {}
    for start in range(1, last + 1):
        if not (at(start)[1] is True and at(start - 1)[1] is False) or within is None:
            continue
        spell = [at(time) for time in range(start, min(start + within, last) + 1)]
        seen = [time for time, _, _ in samples if time > start + within]
        if seen and all(row == (False, True) for row in spell):
            found[seen[0]] = "late"
    for now in range(1, last + 1):
        if not (at(now)[0] is True and at(now - 1)[0] is False):
            continue
        if at(now)[1] is False:
            found[now] = "first"
        elif at(now)[1] is True and now not in found:
            held = [at(time)[1] for time in range(now, -1, -1)]
            spell_length = next((n for n, value in enumerate(held) if value is not True), None)
            is_known = spell_length is not None and held[spell_length] is False
            if is_known and spell_length is not None and spell_length - 1 < after:
                found[now] = "early"
    return sorted(found.items())


class TestOrderOverTime:
    @given(timed_samples())
    def test_it_agrees_with_the_definition(
        self, drawn: tuple[int, int | None, list[Sample]]
    ) -> None:
        """MUST: ``when`` begins only after ``follows`` has held, and once in time."""
        after, within, samples = drawn
        relation = Relation(
            name="a",
            when=(("w", (1,)),),
            follows=(("t", (1,)),),
            after_ms=after,
            within_ms=within,
            reason="r",
        )
        bits = tuple(Signal(name=name, at=Place.at(number)) for number, name in enumerate("wt"))
        end = End(
            name="SC1",
            peer="LX",
            connection_table=ConnectionTable(name="SC1-LX", profile="plain"),
            sends=Map(entries=bits),
            relations=(relation,),
        )
        watch = Watch(end)
        found = []
        for time, when, then in samples:
            values = {"w": when, "t": then}
            known = {name: int(value) for name, value in values.items() if value is not None}
            for violation in watch.feed(time, sends=known):
                words = violation.message.rpartition("but it ")[2]
                passed = int(words.split()[-2]) if words.endswith("ms") else 0
                is_late = within is not None and passed > within
                kind = "first" if words == "came first" else "late" if is_late else "early"
                found.append((time, kind))
        assert found == by_definition(after, within, samples)


def test_the_package_exports_what_it_lists() -> None:
    assert all(hasattr(relations_package, name) for name in relations_package.__all__)
