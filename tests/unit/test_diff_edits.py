"""Were both ends edited identically, and what class of change is it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from safeframe import record
from safeframe._bits import Place
from safeframe._checklist import checklist
from safeframe._diff import (
    CLASSES,
    EditComparison,
    EditStep,
    classify,
    classify_changes,
    compare_edits,
    compare_versions,
    mixed_versions,
)
from safeframe._diff.classes import _BY_FIELD
from safeframe._diff.levels import FIELDS
from safeframe._model import Connection, Map
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

BEFORE = pair_of(ONE_BRAKE, ONE_BRAKE)


def edits(sent: Map, received: Map, before: Connection = BEFORE) -> EditComparison:
    return compare_edits(before, pair_of(sent, received))


def messages(comparison: EditComparison) -> list[tuple[str, str, str]]:
    return [
        (difference.level, difference.field, difference.message)
        for difference in comparison.differences
    ]


def later(place: Place) -> Map:
    """Return the map with brake2 at another place of the gap."""
    brake2 = replace(TWO_BRAKES.signals[4], at=place)
    return map_of(*ONE_BRAKE.entries[:5], gap("1.2", 1), brake2, gap("1.4", 4))


def test_the_same_edit_at_both_ends_is_identical() -> None:
    comparison = edits(TWO_BRAKES, with_entry(TWO_BRAKES, 5, bind="Drive.B2", note="n"))
    assert comparison.verdict == "identical"
    assert comparison.differences == ()
    assert comparison.disagreed == comparison.disagree == ()
    assert not comparison.fails("text")
    assert comparison.ends == ("SC1", "LX")
    assert [[change.subject for change in own] for own in comparison.edits] == [
        ["brake2"],
        ["brake2"],
    ]


def turned(given: Connection) -> Connection:
    return replace(given, first=given.second, second=given.first)


@pytest.mark.parametrize("rename", [False, True])
def test_the_order_of_the_ends_changes_no_answer(rename: bool) -> None:
    """One end may have a new name; the other one then tells which is which."""
    after = pair_of(TWO_BRAKES, ONE_BRAKE)
    if rename:
        after = replace(after, second=replace(after.second, name="NEW"))
    other = turned(after)
    assert compare_edits(BEFORE, other) == compare_edits(BEFORE, after)
    assert compare_edits(BEFORE, other).verdict == "different"
    assert classify(BEFORE, other) == classify(BEFORE, after)
    assert mixed_versions(BEFORE, other) == mixed_versions(BEFORE, after)
    assert checklist(BEFORE, other) == checklist(BEFORE, after) != ()
    assert record.compute(BEFORE, other) == record.compute(BEFORE, after)


def test_ends_that_both_have_new_names_keep_their_order() -> None:
    after = pair_of(TWO_BRAKES, TWO_BRAKES)
    first, second = replace(after.first, name="ONE"), replace(after.second, name="TWO")
    renamed = replace(after, first=first, second=second)
    assert compare_edits(BEFORE, renamed).ends == ("ONE", "TWO")
    assert [mix.updated for mix in mixed_versions(BEFORE, renamed)] == ["ONE", "TWO"]


def test_nothing_changed_that_both_share() -> None:
    comparison = edits(ONE_BRAKE, with_entry(ONE_BRAKE, 0, bind="V"))
    assert comparison.verdict == "nothing changed"
    assert [len(own) for own in comparison.edits] == [0, 1]


def test_an_edit_at_one_end_only() -> None:
    comparison = edits(TWO_BRAKES, ONE_BRAKE)
    assert comparison.verdict == "different"
    (difference,) = comparison.differences
    assert difference.steps == (
        EditStep(end="SC1", did="added brake2 at 1.2", where=Location(path="map", line=6)),
        EditStep(end="LX", did="did not add brake2", where=Location(path="map", key="sends")),
    )
    assert difference.message == "SC1 added brake2 at 1.2; LX did not add brake2"
    assert (difference.level, difference.section, difference.subject) == (
        "wire",
        "SC1 -> LX",
        "brake2",
    )
    assert [change.kind for change in comparison.disagree] == ["removed"]
    assert comparison.fails("wire")


def test_the_same_signal_at_two_places() -> None:
    comparison = edits(TWO_BRAKES, later(Place(1, 3)))
    assert messages(comparison) == [
        ("wire", "at", "SC1 added brake2 at 1.2; LX added brake2 at 1.3"),
    ]


def test_a_new_signal_with_another_meaning() -> None:
    comparison = edits(TWO_BRAKES, with_entry(TWO_BRAKES, 5, one_means="applied"))
    assert messages(comparison) == [
        (
            "value",
            "one_means",
            "SC1 added brake2 with one_means brake 2 released; "
            "LX added brake2 with one_means applied",
        )
    ]
    assert not comparison.fails("wire")
    assert comparison.fails("value")


def test_a_new_signal_with_another_name() -> None:
    comparison = edits(TWO_BRAKES, with_entry(TWO_BRAKES, 5, name="pump"))
    assert messages(comparison) == [("name", "name", "SC1 added brake2; LX added pump")]


def test_a_signal_that_one_end_had_all_along() -> None:
    comparison = edits(TWO_BRAKES, TWO_BRAKES, pair_of(ONE_BRAKE, TWO_BRAKES))
    assert messages(comparison) == [
        ("wire", "", "SC1 added brake2 at 1.2; LX left brake2 as it is")
    ]
    assert [len(comparison.disagreed), len(comparison.disagree)] == [1, 0]


def test_a_removal_at_one_end_only() -> None:
    two = pair_of(TWO_BRAKES, TWO_BRAKES)
    touched = with_entry(TWO_BRAKES, 5, safe=1, one_means="")
    assert messages(edits(ONE_BRAKE, touched, two)) == [
        (
            "wire",
            "",
            "SC1 removed brake2 (1.2, bool, 1 bit); LX changed safe, one_means of brake2",
        )
    ]


def test_a_removal_of_what_the_other_end_never_had() -> None:
    assert messages(edits(ONE_BRAKE, ONE_BRAKE, pair_of(TWO_BRAKES, ONE_BRAKE))) == [
        (
            "wire",
            "",
            "SC1 removed brake2 (1.2, bool, 1 bit); LX had no brake2 to remove",
        )
    ]


def test_a_touched_signal_that_the_other_end_does_not_have() -> None:
    comparison = edits(with_entry(TWO_BRAKES, 5, safe=1), ONE_BRAKE, pair_of(TWO_BRAKES, ONE_BRAKE))
    assert messages(comparison) == [("wire", "", "SC1 changed safe of brake2; LX has no brake2")]


def test_an_old_disagreement_that_nobody_touched_is_no_difference_of_edits() -> None:
    before = pair_of(TWO_BRAKES, ONE_BRAKE)
    after = with_entry(TWO_BRAKES, 1, safe=1), with_entry(ONE_BRAKE, 1, safe=1)
    comparison = edits(*after, before)
    assert comparison.verdict == "identical"
    assert [len(comparison.disagreed), len(comparison.disagree)] == [1, 1]
    assert comparison.outcome == "ends differ"
    assert comparison.fails("wire")


def test_ends_that_differ_in_names_only_fail_at_that_level() -> None:
    before = pair_of(ONE_BRAKE, with_entry(ONE_BRAKE, 1, name="brake_1"))
    comparison = compare_edits(before, before)
    assert (comparison.verdict, comparison.outcome) == ("nothing changed", "ends differ")
    assert not comparison.fails("value")
    assert comparison.fails("name")


def test_the_outcome_is_the_verdict_where_the_ends_agree_or_the_edits_differ() -> None:
    for sent, received in (
        (ONE_BRAKE, ONE_BRAKE),
        (TWO_BRAKES, TWO_BRAKES),
        (TWO_BRAKES, ONE_BRAKE),
    ):
        comparison = edits(sent, received)
        assert comparison.outcome == comparison.verdict


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"at": Place(0, 5)}, "SC1 moved brake1 from 0.1 to 0.5; LX left brake1 at 0.1"),
        (
            {"name": "pump"},
            "SC1 renamed brake1 to pump; LX left name of brake1 at brake1",
        ),
        (
            {"edge": "both"},
            "SC1 changed edge of brake1 from not stated to both; "
            "LX left edge of brake1 at not stated",
        ),
    ],
)
def test_a_change_at_one_end_only(fields: dict[str, Any], message: str) -> None:
    comparison = edits(with_entry(ONE_BRAKE, 1, **fields), ONE_BRAKE)
    assert message in [found[2] for found in messages(comparison)]


def test_a_width_changed_differently() -> None:
    wide = map_of(*ONE_BRAKE.entries[:4], replace(ONE_BRAKE.signals[3], width=3), gap("1.3", 5))
    wider = map_of(*ONE_BRAKE.entries[:4], replace(ONE_BRAKE.signals[3], width=4), gap("1.4", 4))
    assert messages(edits(wide, wider)) == [
        (
            "wire",
            "width",
            "SC1 resized level from 2 bits to 3 bits; LX resized level from 2 bits to 4 bits",
        )
    ]


def test_a_healing_edit_differs_by_nature_and_ends_in_agreement() -> None:
    before = pair_of(TWO_BRAKES, later(Place(1, 3)))
    comparison = edits(TWO_BRAKES, TWO_BRAKES, before)
    assert comparison.verdict == "different"
    assert comparison.disagree == ()


def test_signals_are_followed_through_a_name_that_differs_between_the_ends() -> None:
    other = with_entry(ONE_BRAKE, 1, name="brake_1")
    before = pair_of(ONE_BRAKE, other)
    comparison = edits(with_entry(ONE_BRAKE, 1, safe=1), with_entry(other, 1, safe=1), before)
    assert comparison.verdict == "identical"


class TestReserve:
    """Reserve counts where no signal that came or went at one end explains it."""

    def test_a_gap_that_shrank_at_one_end_only(self) -> None:
        grown = map_of(*TWO_BRAKES.entries[:6], gap("1.3", 6))
        assert messages(edits(TWO_BRAKES, grown)) == [
            (
                "wire",
                "reserved",
                "SC1 left 2.0 not reserved; LX changed 2.0 from not reserved to reserved",
            )
        ]

    def test_reserve_dropped_at_one_end_names_the_old_run(self) -> None:
        comparison = edits(map_of(*ONE_BRAKE.entries[:5]), ONE_BRAKE)
        (difference,) = comparison.differences
        assert difference.message == (
            "SC1 changed 1.2-1.7 from reserved to not reserved; LX left 1.2-1.7 reserved"
        )

    def test_touching_segments_are_one_difference_unless_they_carry_values(self) -> None:
        split = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 2), gap("1.4", 4))
        bare = map_of(*ONE_BRAKE.entries[:5])
        joined = edits(bare, split)
        assert [found.subject for found in joined.differences] == ["reserved 1.2-1.7"]
        carrying = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 2, value=1), gap("1.4", 4, value=1))
        apart = edits(carrying, split)
        assert [found.steps[0].did for found in apart.differences] == [
            "changed 1.2-1.3 from reserved to reserved, carrying 0x1",
            "changed 1.4-1.7 from reserved to reserved, carrying 0x1",
        ]

    def test_a_run_that_contradicts_another_at_one_end_only(self) -> None:
        """MUST: what one end states twice, as 0 and as 1, is no identical edit."""
        twice = map_of(*ONE_BRAKE.entries, gap("1.3", 1, value=1))
        comparison = edits(ONE_BRAKE, twice)
        assert comparison.verdict != "identical"
        (difference,) = comparison.differences
        assert difference.message == (
            "SC1 left 1.3 reserved; LX changed 1.3 from reserved to reserved, overlapping: 0x1 is "
            "stated as 0 and as 1"
        )

    def test_no_run_anywhere_points_at_the_map(self) -> None:
        comparison = edits(
            ONE_BRAKE,
            map_of(*ONE_BRAKE.entries, gap("2.0", 8)),
        )
        first, second = comparison.differences[0].steps
        assert first.where == Location(path="map", key="sends")
        assert second.did == "changed 2.0-2.7 from not reserved to reserved"


class TestTerms:
    """The connection tables and the names of the ends are edited at both ends too."""

    def test_a_time_changed_at_one_end_only(self) -> None:
        after = pair_of(ONE_BRAKE, ONE_BRAKE)
        first = replace(after.first, connection_table=replace(TERMS, watchdog_ms=50))
        comparison = compare_edits(BEFORE, replace(after, first=first))
        assert messages(comparison) == [
            (
                "value",
                "watchdog_ms",
                "SC1 changed connection watchdog_ms from 100 ms to 50 ms; "
                "LX left connection watchdog_ms at 100 ms",
            )
        ]

    def test_the_same_id_at_both_ends(self) -> None:
        connection_table = replace(TERMS, id=1)
        after = Connection(
            first=replace(BEFORE.first, connection_table=connection_table),
            second=replace(BEFORE.second, connection_table=connection_table),
        )
        assert compare_edits(BEFORE, after).verdict == "identical"

    def test_a_new_name_must_reach_the_other_end(self) -> None:
        alone = replace(BEFORE, second=replace(BEFORE.second, name="LX9"))
        assert messages(compare_edits(BEFORE, alone)) == [
            ("name", "name", "SC1 left end peer at LX; LX9 changed end name from LX to LX9")
        ]
        both = replace(alone, first=replace(BEFORE.first, peer="LX9"))
        assert compare_edits(BEFORE, both).verdict == "identical"


class TestClasses:
    """Each class follows from named facts, worst first."""

    def test_every_field_with_a_shared_or_wire_level_belongs_to_a_class(self) -> None:
        for table in ("Signal", "ConnectionTable", "End"):
            for field, rule in FIELDS[table].items():
                known = (rule.kind, field) in _BY_FIELD or (rule.kind, "") in _BY_FIELD
                assert known == (rule.level != "text"), field
        assert set(_BY_FIELD.values()) <= set(CLASSES)

    def test_taken_from_a_gap_at_both_ends(self) -> None:
        found = classify(BEFORE, pair_of(TWO_BRAKES, TWO_BRAKES))
        assert found.names == ("taken from a gap",)
        (reason,) = found.reasons
        assert (reason.subject, reason.why, reason.ends) == (
            "brake2",
            "from the gap at 1.2: reserve 6 -> 5 bits",
            ("SC1", "LX"),
        )

    def test_at_two_places_of_a_gap_each_end_has_a_reason_of_its_own(self) -> None:
        found = classify(BEFORE, pair_of(TWO_BRAKES, later(Place(1, 3))))
        assert [(reason.why, reason.ends) for reason in found.reasons] == [
            ("from the gap at 1.2: reserve 6 -> 5 bits", ("SC1",)),
            ("at 1.3 from the gap at 1.2: reserve 6 -> 5 bits", ("LX",)),
        ]

    def test_signals_of_one_name_in_two_directions_have_reasons_of_their_own(self) -> None:
        # Each end adds brake2 to what it sends, and neither to what it receives.
        before = pair_of(ONE_BRAKE, ONE_BRAKE, ONE_BRAKE)
        after = Connection(
            first=replace(before.first, sends=TWO_BRAKES),
            second=replace(before.second, sends=TWO_BRAKES),
        )
        assert [reason.ends for reason in classify(before, after).reasons] == [("SC1",), ("LX",)]

    def test_the_same_in_both_directions_is_told_once(self) -> None:
        both = pair_of(TWO_BRAKES, TWO_BRAKES, TWO_BRAKES)
        found = classify(pair_of(ONE_BRAKE, ONE_BRAKE, ONE_BRAKE), both)
        assert [reason.ends for reason in found.reasons] == [("SC1", "LX")]

    def test_at_one_end_only_the_reason_says_so(self) -> None:
        assert classify(BEFORE, pair_of(ONE_BRAKE, TWO_BRAKES)).reasons[0].ends == ("LX",)

    def test_no_shared_fact_no_class(self) -> None:
        assert classify(BEFORE, pair_of(ONE_BRAKE, with_entry(ONE_BRAKE, 0, bind="V"))).names == ()

    @pytest.mark.parametrize(
        ("before", "after", "name", "why"),
        [
            (
                ONE_BRAKE,
                with_entry(ONE_BRAKE, 1, at=Place(0, 5)),
                "relocating",
                "at 0.1 -> 0.5",
            ),
            (ONE_BRAKE, with_entry(ONE_BRAKE, 1, safe=1), "semantic", "safe 0 -> 1"),
            (ONE_BRAKE, with_entry(ONE_BRAKE, 1, name="x"), "semantic", "name brake1 -> x"),
            (
                TWO_BRAKES,
                ONE_BRAKE,
                "semantic",
                "its bits at 1.2, bool, 1 bit lose their meaning",
            ),
            (
                with_entry(ONE_BRAKE, 5, value=1),
                TWO_BRAKES,
                "semantic",
                "the gap at 1.2 carried 0x1 on these bits",
            ),
            (
                map_of(*ONE_BRAKE.entries[:5]),
                TWO_BRAKES,
                "semantic",
                "the bits at 1.2 were not declared: nothing says that they carried 0",
            ),
            (
                ONE_BRAKE,
                map_of(*ONE_BRAKE.entries[:4], sig("pump", "1.0"), gap("1.1", 7)),
                "semantic",
                "its bits at 1.0 belonged to level",
            ),
            (
                ONE_BRAKE,
                map_of(*ONE_BRAKE.entries, sig("pump", "2.0")),
                "resizing",
                "the bits at 2.0 lie beyond the old data",
            ),
            (
                ONE_BRAKE,
                map_of(*ONE_BRAKE.entries, gap("2.0", 8)),
                "resizing",
                "not reserved -> 8 bits reserved",
            ),
            (
                ONE_BRAKE,
                map_of(*ONE_BRAKE.entries[:5]),
                "semantic",
                "6 bits reserved -> not reserved",
            ),
            (
                ONE_BRAKE,
                with_entry(ONE_BRAKE, 5, value=1),
                "semantic",
                "6 bits reserved -> 6 bits reserved, carrying 0x1",
            ),
            (
                ONE_BRAKE,
                map_of(*ONE_BRAKE.entries, gap("2.0", 8)),
                "resizing",
                "2 octets -> 3 octets",
            ),
        ],
    )
    def test_reasons(self, before: Map, after: Map, name: str, why: str) -> None:
        found = classify_changes([("SC1", compare_versions(end_of(before), end_of(after)))])
        assert (name, why) in [(reason.name, reason.why) for reason in found.reasons]

    def test_runs_written_otherwise_belong_to_no_class(self) -> None:
        split = map_of(*ONE_BRAKE.entries[:5], gap("1.2", 2), gap("1.4", 4))
        changes = compare_versions(end_of(ONE_BRAKE), end_of(split))
        assert classify_changes([("SC1", changes)]).reasons == ()

    def test_identity_timing_and_parameters(self) -> None:
        new = end_of(
            ONE_BRAKE,
            connection_table=replace(TERMS, id=1, watchdog_ms=50),
            address=3,
            parameters=(("seed", 1),),
        )
        found = classify_changes([("SC1", compare_versions(end_of(ONE_BRAKE), new))])
        assert found.names == ("identity", "timing")
        assert [(reason.subject, reason.why) for reason in found.reasons] == [
            ("connection", "id 0x0107 -> 0x0001"),
            ("end", "address not stated -> 3"),
            ("seed", "not stated -> 1"),
            ("connection", "watchdog_ms 100 ms -> 50 ms"),
        ]

    def test_several_classes_stand_worst_first(self) -> None:
        moved = with_entry(with_entry(TWO_BRAKES, 1, at=Place(0, 5)), 2, edge="both")
        found = classify_changes([("SC1", compare_versions(end_of(ONE_BRAKE), end_of(moved)))])
        assert found.names == ("relocating", "semantic", "taken from a gap")
