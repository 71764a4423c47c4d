"""Changes between two maps: levels, kinds, and what becomes of the reserve."""

from __future__ import annotations

import itertools
import math
from dataclasses import fields, replace
from typing import Any

import pytest

from safeframe import _model as model
from safeframe._bits import Place
from safeframe._canonical import reserve
from safeframe._diff import (
    FIELDS,
    LEVELS,
    Change,
    Ground,
    any_at_or_above,
    classify,
    compare_ends,
    compare_versions,
    fails,
)
from safeframe._diff.changes import NOT_STATED
from safeframe._diff.levels import PARTS
from safeframe._model import Allowance, ConnectionTable, Map, Relation, Signal
from safeframe._source import Location
from tests.unit.diff_maps import (
    ONE_BRAKE,
    TERMS,
    TWO_BRAKES,
    end_of,
    gap,
    map_of,
    pair_of,
    sig,
    with_entry,
)


def brief(change: Change) -> tuple[str, ...]:
    return (change.level, change.kind, change.subject, change.field, change.before, change.after)


def terms_with(field: str, value: Any) -> ConnectionTable:
    return replace(TERMS, **{field: value})


def between(before: Map, after: Map) -> list[tuple[str, ...]]:
    return [brief(change) for change in compare_versions(end_of(before), end_of(after))]


@pytest.mark.parametrize("name", FIELDS)
def test_every_field_has_a_level_or_is_compared_in_parts(name: str) -> None:
    known = {field.name for field in fields(getattr(model, name))}
    assert known == set(FIELDS[name]) | set(PARTS.get(name, ()))
    assert not set(FIELDS[name]) & set(PARTS.get(name, ()))
    assert {rule.level for rule in FIELDS[name].values()} <= set(LEVELS)


def test_every_part_of_a_map_file_is_in_the_tables() -> None:
    assert set(FIELDS) | set(PARTS) == {
        "Signal",
        "Reserved",
        "Map",
        "ConnectionTable",
        "End",
        "Relation",
        "Allowance",
    }


def test_levels_run_from_worst_to_mildest() -> None:
    assert LEVELS == ("wire", "value", "name", "text")
    assert any_at_or_above(["wire"], "text")
    assert any_at_or_above(["text", "name"], "name")
    assert not any_at_or_above(["text"], "name")


def test_one_end_equals_itself() -> None:
    assert compare_versions(end_of(ONE_BRAKE), end_of(ONE_BRAKE)) == ()
    assert not fails((), "text")


def test_a_signal_from_the_gap_is_one_change_that_tells_the_reserve() -> None:
    (change,) = compare_versions(end_of(ONE_BRAKE), end_of(TWO_BRAKES))
    assert change == Change(
        level="wire",
        kind="added",
        section="sends",
        subject="brake2",
        after="1.2, bool, 1 bit",
        values=(None, TWO_BRAKES.signals[4]),
        places=(None, Place(1, 2)),
        after_where=Location(path="map", line=6),
        taken=(Ground(kind="gap", at=Place(1, 2), bits=1, reserve=(6, 5)),),
    )
    assert fails((change,), "wire")


def test_a_removed_signal_gives_its_bits_back() -> None:
    (change,) = compare_versions(end_of(TWO_BRAKES), end_of(ONE_BRAKE))
    assert change == Change(
        level="wire",
        kind="removed",
        section="sends",
        subject="brake2",
        before="1.2, bool, 1 bit",
        values=(TWO_BRAKES.signals[4], None),
        places=(Place(1, 2), None),
        before_where=Location(path="map", line=6),
        left=(Ground(kind="gap", at=Place(1, 2), bits=1, reserve=(5, 6)),),
    )


def test_moved_is_moved_and_tells_both_grounds() -> None:
    brake2 = replace(TWO_BRAKES.entries[5], at=Place(1, 3))
    after = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 1), brake2, gap("1.4", 4))
    (change,) = compare_versions(end_of(TWO_BRAKES), end_of(after))
    assert brief(change) == ("wire", "moved", "brake2", "at", "1.2", "1.3")
    assert change.places == (Place(1, 2), Place(1, 3))
    assert change.taken == (Ground(kind="gap", at=Place(1, 3), bits=1, reserve=(5, 4)),)
    assert change.left == (Ground(kind="gap", at=Place(1, 2), bits=1, reserve=(0, 1)),)


def test_two_signals_that_change_places_are_two_moves() -> None:
    after = with_entry(with_entry(ONE_BRAKE, 0, at=Place(0, 1)), 1, at=Place(0, 0))
    changes = compare_versions(end_of(ONE_BRAKE), end_of(after))
    assert [brief(change)[1:] for change in changes] == [
        ("moved", "permit", "at", "0.0", "0.1"),
        ("moved", "brake1", "at", "0.1", "0.0"),
    ]
    assert changes[0].taken == (Ground(kind="signal", at=Place(0, 1), bits=1, name="brake1"),)


def test_a_resized_signal_tells_the_bits_it_gained_only() -> None:
    after = map_of(*ONE_BRAKE.entries[:4], replace(ONE_BRAKE.signals[3], width=3), gap("1.3", 5))
    (change,) = compare_versions(end_of(ONE_BRAKE), end_of(after))
    assert brief(change) == ("wire", "resized", "level", "width", "2 bits", "3 bits")
    assert change.taken == (Ground(kind="gap", at=Place(1, 2), bits=1, reserve=(6, 5)),)
    assert change.left == ()


def test_moved_and_resized_tells_its_grounds_once() -> None:
    level = replace(ONE_BRAKE.signals[3], at=Place(1, 1), width=3)
    changes = compare_versions(
        end_of(ONE_BRAKE),
        end_of(map_of(*ONE_BRAKE.entries[:4], gap("1.0", 1), level, gap("1.4", 4))),
    )
    assert [change.kind for change in changes] == ["moved", "resized"]
    assert changes[0].taken == (Ground(kind="gap", at=Place(1, 2), bits=2, reserve=(6, 4)),)
    assert changes[0].left == (Ground(kind="gap", at=Place(1, 0), bits=1, reserve=(0, 1)),)
    assert (changes[1].taken, changes[1].left) == ((), ())


def test_a_new_name_at_the_same_place_is_renamed() -> None:
    assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 1, name="pump")) == [
        ("name", "renamed", "pump", "name", "brake1", "pump")
    ]


@pytest.mark.parametrize(
    ("field", "value", "level", "before", "after"),
    [
        ("type", "uint", "wire", "bool", "uint"),
        ("safe", 1, "value", "0", "1"),
        ("one_means", "", "value", "brake 1 released", "not stated"),
        ("edge", "both", "value", "not stated", "both"),
        ("unit", "mm", "value", "not stated", "mm"),
        ("scale", "0.1", "value", "1", "0.1"),
        ("valid_by", "ack", "value", "not stated", "ack"),
        ("mirrors", "x", "text", "not stated", "x"),
        ("bind", "Lift.B", "text", "not stated", "Lift.B"),
        ("note", "n", "text", "not stated", "n"),
    ],
)
def test_other_fields_are_attributes_with_their_level(
    field: str, value: object, level: str, before: str, after: str
) -> None:
    assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 1, **{field: value})) == [
        (level, "attribute", "brake1", field, before, after)
    ]


def test_octet_order_is_seen_on_the_wire() -> None:
    little = map_of(sig("speed", "0.0", width=16, type="uint"))
    assert between(little, with_entry(little, 0, order="big")) == [
        ("wire", "attribute", "speed", "order", "little", "big")
    ]


def test_of_code_points_only_the_different_ones_are_told() -> None:
    codes = ((0, "stop"), (1, "creep"), (2, "fast"))
    assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 4, codes=codes)) == [
        ("value", "attribute", "level", "codes", "2 = half, 3 = full", "2 = fast")
    ]
    assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 4, codes=codes[:2])) == [
        ("value", "attribute", "level", "codes", "2 = half, 3 = full", "not stated")
    ]


def test_a_reference_follows_its_signal_to_a_new_name() -> None:
    before = map_of(sig("pos", "0.0", width=4, type="uint", valid_by="ok"), sig("ok", "0.4"))
    after = map_of(sig("pos", "0.0", width=4, type="uint", valid_by="good"), sig("good", "0.4"))
    assert between(before, after) == [("name", "renamed", "good", "name", "ok", "good")]


def test_not_a_number_equals_itself() -> None:
    first = map_of(sig("x", "0.0", width=32, type="float", safe=math.nan))
    second = map_of(sig("x", "0.0", width=32, type="float", safe=float("nan"), note="n"))
    assert [change[3] for change in between(first, second)] == ["note"]


def test_changes_of_several_levels_stand_worst_first() -> None:
    after = with_entry(TWO_BRAKES, 0, bind="V")
    after = with_entry(after, 1, name="pump", safe=1)
    levels = [change[0] for change in between(ONE_BRAKE, after)]
    assert levels == ["wire", "value", "name", "text"]


class TestGrounds:
    """What a signal stands on is told for every kind of ground."""

    def test_bits_of_another_signal(self) -> None:
        after = map_of(*ONE_BRAKE.entries[:4], sig("pump", "1.0"), gap("1.1", 7))
        added = compare_versions(end_of(ONE_BRAKE), end_of(after))[1]
        assert added.subject == "pump"
        assert added.taken == (Ground(kind="signal", at=Place(1, 0), bits=1, name="level"),)

    def test_bits_nobody_declared_and_bits_beyond_the_data(self) -> None:
        before = map_of(sig("a", "0.0"))
        after = map_of(sig("a", "0.0"), sig("b", "0.6", width=4, type="uint"))
        size, added = compare_versions(end_of(before), end_of(after))
        assert brief(size) == ("wire", "size", "data size", "", "1 octet", "2 octets")
        assert added.taken == (
            Ground(kind="undeclared", at=Place(0, 6), bits=2),
            Ground(kind="beyond", at=Place(1, 0), bits=2),
        )

    def test_what_the_gap_carried(self) -> None:
        before = map_of(gap("0.0", 8, value=0b0110_0000))
        after = map_of(gap("0.0", 4), sig("a", "0.4", width=3, type="uint"), gap("0.7", 1))
        (added,) = compare_versions(end_of(before), end_of(after))
        assert added.taken == (
            Ground(kind="gap", at=Place(0, 0), bits=3, value=0b110, reserve=(8, 5)),
        )

    def test_two_signals_from_one_gap(self) -> None:
        after = map_of(*TWO_BRAKES.entries[:6], sig("pump", "1.3"), gap("1.4", 4))
        first, second = compare_versions(end_of(ONE_BRAKE), end_of(after))
        assert first.taken[0].reserve == second.taken[0].reserve == (6, 4)

    def test_of_overlapping_owners_the_signal_counts(self) -> None:
        before = map_of(gap("0.0", 8), sig("a", "0.2"))
        after = map_of(gap("0.0", 8), sig("a", "0.2"), sig("b", "0.2"))
        added = compare_versions(end_of(before), end_of(after))[0]
        assert added.taken == (Ground(kind="signal", at=Place(0, 2), bits=1, name="a"),)


class TestReserve:
    """Reserve is a change of its own only where no signal explains it."""

    def test_reserve_that_is_no_longer_declared(self) -> None:
        (change,) = compare_versions(end_of(ONE_BRAKE), end_of(map_of(*ONE_BRAKE.entries[:5])))
        assert brief(change) == (
            "wire",
            "reserve",
            "reserved 1.2",
            "",
            "6 bits reserved",
            "not reserved",
        )
        assert change.places == (Place(1, 2), None)
        assert change.left == (Ground(kind="undeclared", at=Place(1, 2), bits=6),)

    def test_reserve_that_makes_the_data_longer(self) -> None:
        size, change = compare_versions(
            end_of(ONE_BRAKE), end_of(map_of(*ONE_BRAKE.entries, gap("2.0", 16)))
        )
        assert brief(size) == ("wire", "size", "data size", "", "2 octets", "4 octets")
        assert brief(change)[4:] == ("not reserved", "16 bits reserved")
        assert change.taken == (Ground(kind="beyond", at=Place(2, 0), bits=16),)

    def test_another_value_in_the_reserve(self) -> None:
        assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 5, value=0x20)) == [
            (
                "wire",
                "reserve",
                "reserved 1.2",
                "",
                "6 bits reserved",
                "6 bits reserved, carrying 0x20",
            )
        ]

    def test_a_gap_that_did_not_shrink_is_told_beside_the_signal(self) -> None:
        after = map_of(*TWO_BRAKES.entries[:6], gap("1.3", 6))
        kinds = [change[1] for change in between(ONE_BRAKE, after)]
        assert kinds == ["size", "added", "reserve"]

    def test_runs_that_touch_one_run_are_told_once(self) -> None:
        before = map_of(gap("0.0", 8), sig("a", "1.0"), sig("b", "1.1"))
        after = map_of(gap("0.0", 8), gap("0.2", 3), sig("a", "1.0"), sig("b", "1.1"))
        bare = map_of(sig("a", "1.0"), sig("b", "1.1"))
        assert [change[2:] for change in between(bare, before)] == [
            ("reserved 0.0", "", "not reserved", "8 bits reserved")
        ]
        assert [change[2:] for change in between(bare, after)] == [
            ("reserved 0.0", "", "not reserved", "8 bits reserved")
        ]

    @pytest.mark.parametrize("over", [(), (sig("a", "0.0"), sig("b", "0.0"))], ids=["bare", "two"])
    def test_runs_that_contradict_each_other(self, over: tuple[Signal, ...]) -> None:
        """MUST: bits that are stated both as 0 and as 1 are no plain reserve of either."""
        for value in (0, 1):
            plain = map_of(*over, gap("0.0", 1, value=value), gap("0.1", 7))
            twice = map_of(
                *over, gap("0.0", 1, value=value), gap("0.1", 7), gap("0.0", 1, value=1 - value)
            )
            old = "1 bit reserved" + ", carrying 0x1" * value
            new = "1 bit reserved, overlapping: 0x1 is stated as 0 and as 1"
            told = ("wire", "reserve", "reserved 0.0", "")
            assert between(plain, twice) == [(*told, old, new)]
            assert between(twice, plain) == [(*told, new, old)]
            assert between(twice, map_of(*reversed(twice.entries))) == []

    def test_a_remark_on_overlapping_runs(self) -> None:
        """MUST: maps with two fingerprints of their end are told apart."""
        once = map_of(sig("a", "0.0"), gap("0.1", 7, note="spare"))
        twice = map_of(*once.entries, gap("0.1", 7, note="spare"))
        part = map_of(*once.entries, gap("0.2", 2, note="spare"))
        told, more = ("text", "reserve"), "spare, by runs that overlap"
        assert between(once, twice) == [(*told, "reserved 0.1", "note", "not stated", more)]
        assert between(part, once) == [(*told, "reserved 0.2", "note", more, "not stated")]
        assert between(twice, map_of(*reversed(twice.entries))) == []
        assert compare_ends(pair_of(once, twice)) == ()

    def test_no_overlap_of_reserves_is_lost(self) -> None:
        """MUST: maps with two wire fingerprints are told apart, however their reserves overlap."""
        rows = [
            gap("0.0", 2, value=1),
            gap("0.0", 2),
            gap("0.1", 2, value=1),
            gap("0.0", 3, value=6),
        ]
        maps = [
            map_of(sig("last", "0.7"), *chosen)
            for size in range(5)
            for chosen in itertools.combinations(rows, size)
        ]
        for one, two in itertools.product(maps, repeat=2):
            assert bool(between(one, two)) == (reserve(one) != reserve(two))

    def test_the_same_bits_in_two_runs_are_no_change(self) -> None:
        after = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 2), gap("1.4", 4))
        assert between(ONE_BRAKE, after) == []

    def test_a_note_on_a_part_of_a_run_is_told_where_it_begins(self) -> None:
        spare = [replace(gap(place, 1), note="spare") for place in ("1.3", "1.4")]
        after = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 1), *spare, gap("1.5", 1), gap("1.6", 2))
        assert between(ONE_BRAKE, after) == [
            ("text", "reserve", "reserved 1.3", "note", "not stated", "spare")
        ]
        before, edited = pair_of(ONE_BRAKE, ONE_BRAKE), pair_of(after, after)
        assert classify(before, edited).reasons == ()

    def test_a_note_is_text(self) -> None:
        assert between(ONE_BRAKE, with_entry(ONE_BRAKE, 5, note="spare")) == [
            ("text", "reserve", "reserved 1.2", "note", "not stated", "spare")
        ]

    def test_the_order_in_the_file_means_nothing(self) -> None:
        assert between(ONE_BRAKE, map_of(*reversed(ONE_BRAKE.entries))) == []


class TestEnd:
    """What a file says outside its maps is compared too."""

    @pytest.mark.parametrize(
        ("field", "value", "level", "before", "after"),
        [
            ("profile", "plain", "wire", "fscp-12-1", "plain"),
            ("edition", "2022", "wire", "2010", "2022"),
            ("id", None, "wire", "0x0107", "not stated"),
            ("legal_octets", (2, 4), "wire", "not stated", "2, 4"),
            ("watchdog_ms", 50, "value", "100 ms", "50 ms"),
            ("exchange_ms", None, "value", "12 ms", "not stated"),
            ("permitted_reaction_ms", 250, "value", "not stated", "250 ms"),
            ("name", "SC1-LX3", "name", "SC1-LX", "SC1-LX3"),
            ("network", "hall", "name", "not stated", "hall"),
        ],
    )
    def test_terms(self, field: str, value: object, level: str, before: str, after: str) -> None:
        old = end_of(ONE_BRAKE)
        new = end_of(
            ONE_BRAKE,
            connection_table=terms_with(field, value),
            lines=((f"connection.{field}", 3),),
        )
        (change,) = compare_versions(old, new)
        assert brief(change) == (level, "attribute", "connection", field, before, after)
        assert change.after_where == Location(path="<memory>", line=3, key=f"connection.{field}")

    @pytest.mark.parametrize(
        ("field", "value", "level"),
        [
            ("role", "master", "wire"),
            ("address", 0, "wire"),
            ("name", "SC2", "name"),
            ("peer", "LX2", "name"),
            ("note", "n", "text"),
        ],
    )
    def test_end(self, field: str, value: Any, level: str) -> None:
        old = end_of(ONE_BRAKE)
        (change,) = compare_versions(old, end_of(ONE_BRAKE, **{field: value}))
        assert (change.level, change.section, change.field) == (level, "end", field)
        assert change.after == str(value)

    def test_parameters_keep_their_types_apart(self) -> None:
        old = end_of(ONE_BRAKE, parameters=(("a", 1), ("b", True), ("c", "x")))
        new = end_of(ONE_BRAKE, parameters=(("a", True), ("b", True), ("d", 2.5)))
        changes = compare_versions(old, new)
        assert [brief(change) for change in changes] == [
            ("wire", "parameter", "a", "", "1", "true"),
            ("wire", "parameter", "c", "", '"x"', "not stated"),
            ("wire", "parameter", "d", "", "not stated", "2.5"),
        ]
        assert [change.before_where is None for change in changes] == [False, False, True]
        assert [change.after_where is None for change in changes] == [False, True, False]

    def test_allowances(self) -> None:
        old = end_of(
            ONE_BRAKE,
            allowances=(
                Allowance(rule="hole", reason="old"),
                Allowance(rule="unbound-signal", signal="ack", reason="same"),
                Allowance(rule="overlap", reason="gone"),
            ),
        )
        new = replace(
            old,
            allowances=(
                Allowance(rule="hole", reason="new"),
                old.allowances[1],
                Allowance(rule="swap", signal="ack", reason="fresh"),
            ),
        )
        assert [brief(change) for change in compare_versions(old, new)] == [
            ("text", "allowance", "hole", "", "old", "new"),
            ("text", "allowance", "overlap", "", "gone", "not stated"),
            ("text", "allowance", "swap", "ack", "not stated", "fresh"),
        ]

    def test_relations(self) -> None:
        def relation(name: str, number: int, reason: str = "r") -> Relation:
            when, requires = (("ack", (1,)),), (("permit", (number,)),)
            return Relation(name=name, when=when, requires=requires, reason=reason)

        kept = relation("kept", 1)
        old = end_of(
            ONE_BRAKE, relations=(relation("a", 0), relation("b", 0), relation("c", 0), kept)
        )
        new = end_of(
            ONE_BRAKE,
            relations=(kept, relation("b", 1, "s"), relation("c", 0, "s"), relation("d", 0)),
        )
        assert [brief(change) for change in compare_versions(old, new)] == [
            ("text", "relation", "a", "", "ack = 1 requires permit = 0", "not stated"),
            (
                "text",
                "relation",
                "b",
                "",
                "ack = 1 requires permit = 0",
                "ack = 1 requires permit = 1",
            ),
            ("text", "relation", "c", "reason", "r", "s"),
            ("text", "relation", "d", "", "not stated", "ack = 1 requires permit = 0"),
        ]

    def test_the_receiving_map_is_its_own_section(self) -> None:
        changes = compare_versions(end_of(Map(), ONE_BRAKE), end_of(Map(), TWO_BRAKES))
        assert [change.section for change in changes] == ["receives"]


class TestConnection:
    """End against end, only what both must share counts."""

    def test_agreement_is_silent_whatever_each_end_adds(self) -> None:
        received = with_entry(TWO_BRAKES, 1, bind="Drive.B1", note="n", mirrors="m")
        received = with_entry(received, 3, note="spare")
        connection = pair_of(TWO_BRAKES, received)
        second = replace(
            connection.second,
            role="slave",
            address=7,
            note="x",
            allowances=(Allowance(rule="hole", reason="r"),),
        )
        assert compare_ends(replace(connection, second=second)) == ()

    def test_each_side_carries_the_name_of_its_end(self) -> None:
        (change,) = compare_ends(pair_of(TWO_BRAKES, ONE_BRAKE))
        assert (change.kind, change.section, change.sides) == (
            "removed",
            "SC1 -> LX",
            ("SC1", "LX"),
        )

    def test_the_second_direction_is_told_from_its_producer(self) -> None:
        connection = pair_of(Map(), Map())
        connection = replace(
            connection,
            first=replace(connection.first, receives=TWO_BRAKES),
            second=replace(connection.second, sends=ONE_BRAKE),
        )
        (change,) = compare_ends(connection)
        assert (change.kind, change.section, change.sides) == (
            "added",
            "LX -> SC1",
            ("LX", "SC1"),
        )

    def test_terms_and_names(self) -> None:
        connection = pair_of(ONE_BRAKE, ONE_BRAKE)
        second = replace(
            connection.second, connection_table=replace(TERMS, id=0x0108), name="LX2", peer="SC1"
        )
        changes = compare_ends(replace(connection, second=second))
        assert [brief(change) for change in changes] == [
            ("wire", "attribute", "connection", "id", "0x0107", "0x0108"),
            ("name", "attribute", "LX2", "peer", "LX", "LX2"),
        ]
        assert changes[0].sides == ("SC1", "LX2")


def test_a_million_bits_of_overlap_are_no_trap() -> None:
    wide = tuple(
        Signal(name=f"s{number}", at=Place.at(number), width=4000, type="uint")
        for number in range(400)
    )
    changes = compare_versions(end_of(Map()), end_of(Map(entries=wide)))
    assert len(changes) == 401


def test_each_allowance_of_one_rule_counts() -> None:
    """Of several for one signal each has a reason of its own, and none hides another."""
    one, two, new = (
        Allowance(rule="hole", signal="a", reason=reason) for reason in ("first", "second", "new")
    )

    def changes(before: tuple[Allowance, ...], after: tuple[Allowance, ...]) -> list[object]:
        ends = [replace(end_of(ONE_BRAKE), allowances=each) for each in (before, after)]
        return [(change.before, change.after) for change in compare_versions(*ends)]

    assert changes((one, two), (two, one)) == []
    assert changes((one, two), (new, two)) == [("first", "new")]
    assert changes((one, one), (one,)) == [("first", NOT_STATED)]
    assert changes((two,), (two, one, new)) == [(NOT_STATED, "first"), (NOT_STATED, "new")]
