"""Pairing of signals and the causes of displacement, example by example."""

from __future__ import annotations

import pytest

from safeframe._bits import Place
from safeframe._model import Map, Reserved, Signal
from safeframe._pairing import Cause, Matching, alike, explain, match, near_names, skeleton
from safeframe._pairing.patterns import patterns


def build(*entries: tuple[str, str, int]) -> Map:
    """Build a map from (name, place, width); an empty name is a reserved run."""
    made: list[Signal | Reserved] = []
    for name, at, width in entries:
        if name:
            kind = "bool" if width == 1 else "uint"
            made.append(Signal(name=name, at=Place.parse(at), width=width, type=kind))
        else:
            made.append(Reserved(at=Place.parse(at), width=width))
    return Map(entries=tuple(made))


def causes(left: Map, right: Map) -> tuple[Cause, ...]:
    return explain(match(left, right), left, right)


def summary(left: Map, right: Map) -> list[tuple[str, list[str], int]]:
    return [
        (
            cause.kind,
            [pair.left.name for pair in cause.pairs]
            + [signal.name for signal in cause.left + cause.right],
            cause.delta,
        )
        for cause in causes(left, right)
    ]


def row(text: str) -> Map:
    """Build a map of entries one behind the other: ``a:8 -:1`` are a signal and a reserved bit."""
    entries, start = [], 0
    for word in text.split():
        name, width = word.split(":")
        entries.append((name.strip("-"), str(Place.at(start)), int(width)))
        start += int(width)
    return build(*entries)


LETTERS = [a + b for a in "bcdfghjk" for b in "lmnpqrst"]


class TestNames:
    @pytest.mark.parametrize(
        ("left", "right"),
        [
            ("brake2_release", "Brake2.Release"),
            ("brake2_release", "brake2_relase"),
            ("brake2_release", "brаke2_release"),
            ("torque_on", "torqueon"),
            ("ﬁlter", "filter"),
            ("limit_１０", "limit_10"),
            ("limit_10²", "Limit_10²"),
            ("permit_torque", "permti_torque"),
            ("gate_unlock", "gate_unlcok"),
            ("door_closed", "door_clossed"),
            ("brake_release", "brake_releas"),
            ("brake_release", "brake_relesse"),
            ("stopped_x", "stooped_x"),
            ("torque_stopped", "torque_stoped"),
            ("tray_qwrtzing", "tray_qwrttzing"),
            ("tray_qwrtzing", "tray_qwtzing"),
            ("qwrtzmp_x", "qwrtmp_x"),
        ],
    )
    def test_near(self, left: str, right: str) -> None:
        assert near_names(left, right) is True

    @pytest.mark.parametrize(
        ("left", "right"),
        [
            ("permit_torque", "permit_toqrux"),
            ("permit_torque", "permit_turque"),
            ("permit_torque", "permit_torzue"),
            ("tray_qwrtzing", "tray_qwrtzung"),
            ("brake1_release", "brake2_release"),
            ("brake_a_release", "brake_b_release"),
            ("permit_up", "permit_down"),
            ("drive_ok", "drive_nok"),
            ("door_open", "door_open_n"),
            ("position_valid", "position_invalid"),
            ("brake_release", "brake_released"),
            ("channel1200", "channel1300"),
            ("zone1_1", "zone11"),
            ("gate_east", "gate_west"),
            ("rear_on", "gear_on"),
            ("motor_on", "rotor_on"),
            ("tension_low", "pension_low"),
            ("on_stop", "on_step"),
            ("internal_ok", "external_ok"),
            ("falling_edge", "failing_edge"),
            ("tilted_x", "titled_x"),
            ("tripped_x", "trapped_x"),
            ("unlocked_a", "unblocked_a"),
            ("stopped_x", "stepped_x"),
            ("tray_scrapped", "tray_scraped"),
            ("permit_torque_on", "permti_torqeu_on"),
            ("permit_torque", "torque"),
            ("release_x", "releasxing_x"),
            ("pressure_x", "préssure_x"),
            ("table_x", "tabledth_x"),
            ("qwrtz_x", "qwtz_x"),
            ("qwrtzp_x", "qwrtz_x"),
            ("release_on", "relxasq_on"),
            ("present_x", "prebent_x"),
            ("limit_10²", "limit_102"),
            ("limit_½", "limit_1⁄2"),
            ("limit_2₅", "limit_25"),
        ],
    )
    def test_not_near(self, left: str, right: str) -> None:
        assert near_names(left, right) is False

    @pytest.mark.parametrize(
        ("left", "right", "expected"),
        [
            ("gate_east_locked", "gate_west_locked", True),
            ("bay1_1", "bay11", True),
            ("zone1_free", "zone2_free", False),
            ("gate_east", "gate_east_locked", False),
            ("east", "west", False),
            ("gate_east", "gate_west", True),
            ("gate_east", "horn_on", False),
        ],
    )
    def test_alike(self, left: str, right: str, expected: bool) -> None:
        assert alike(left, right) is expected

    def test_skeleton(self) -> None:
        assert skeleton("Brake_2-Re.lease X") == "brake2releasex"


class TestMatch:
    def test_by_name_near_name_and_place(self) -> None:
        left = build(("a", "0.0", 1), ("level_up", "0.1", 1), ("b", "0.2", 1), ("c", "0.3", 1))
        right = build(("a", "0.5", 1), ("levelup", "0.1", 1), ("z", "0.2", 1), ("y", "0.7", 1))
        matching = match(left, right)
        assert [(p.left.name, p.right.name, p.how) for p in matching.pairs] == [
            ("a", "a", "name"),
            ("level_up", "levelup", "near-name"),
            ("b", "z", "place"),
        ]
        assert [s.name for s in matching.left_only] == ["c"]
        assert [s.name for s in matching.right_only] == ["y"]

    def test_near_name_elsewhere(self) -> None:
        matching = match(build(("level_up", "0.1", 1)), build(("levelup", "0.6", 1)))
        assert [(p.how, p.shift) for p in matching.pairs] == [("near-name", 5)]

    @pytest.mark.parametrize(
        ("right", "pairs", "told"),
        [
            (
                [("b", "0.2", 1), ("c", "0.3", 1), ("permti_torque", "1.0", 2)],
                [("permti_torque", "near-name", 8)],
                [("moved", ["permit_torque"], 8)],
            ),
            (
                [("x", "0.0", 1), ("permti_torque", "0.1", 2), ("b", "0.3", 1), ("c", "0.4", 1)],
                [("permti_torque", "near-name", 1), ("b", "name", 1), ("c", "name", 1)],
                [("shift", ["permit_torque", "b", "c", "x"], 1)],
            ),
            (
                [("permti_torque", "0.0", 3), ("b", "0.3", 1), ("c", "0.4", 1)],
                [("permti_torque", "near-name", 0), ("b", "name", 1), ("c", "name", 1)],
                [("width", ["permit_torque", "b", "c"], 1)],
            ),
        ],
    )
    def test_a_name_misspelt_and_its_signal_moved_shifted_or_widened(
        self,
        right: list[tuple[str, str, int]],
        pairs: list[tuple[str, str, int]],
        told: list[tuple[str, list[str], int]],
    ) -> None:
        left, other = (
            build(("permit_torque", "0.0", 2), ("b", "0.2", 1), ("c", "0.3", 1)),
            build(*right),
        )
        matching = match(left, other)
        found = [(each.right.name, each.how, each.shift) for each in matching.pairs]
        assert found[: len(pairs)] == pairs
        assert {each.left.name for each in matching.pairs} == {"permit_torque", "b", "c"}
        assert [row for row in summary(left, other) if row[0] != "size"] == told

    def test_misspelt_moved_and_widened_at_once_are_two_signals(self) -> None:
        left = build(("permit_torque", "0.0", 2), ("b", "0.2", 1))
        right = build(("b", "0.2", 1), ("permti_torque", "1.0", 3))
        matching = match(left, right)
        assert [each.name for each in matching.left_only] == ["permit_torque"]
        assert [each.name for each in matching.right_only] == ["permti_torque"]

    def test_two_candidates_are_nobodys(self) -> None:
        left = build(("level_up", "0.1", 1))
        right = build(("levelup", "0.6", 1), ("level.up", "0.7", 1))
        assert match(left, right) == Matching(
            pairs=(), left_only=left.signals, right_only=right.signals
        )

    def test_one_candidate_of_two_is_nobodys(self) -> None:
        left = build(("levelup", "0.6", 1), ("level.up", "0.7", 1))
        assert match(left, build(("level_up", "0.1", 1))).pairs == ()

    def test_names_of_many_leftovers_are_not_guessed(self) -> None:
        left = build(*((f"level_{letter}_up", f"{n}.0", 1) for n, letter in enumerate(LETTERS)))
        right = build(*((f"level_{letter}_upp", f"{n}.1", 1) for n, letter in enumerate(LETTERS)))
        assert match(left, right).pairs == ()

    def test_repeated_names_pair_by_place_first(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("b", "0.3", 1), ("b", "0.5", 1))
        right = build(("b", "0.2", 1), ("a", "0.0", 1), ("b", "0.3", 1), ("b", "0.6", 1))
        assert [(pair.left.name, pair.shift) for pair in match(left, right).pairs] == [
            ("a", 0),
            ("b", 1),
            ("b", 0),
            ("b", 1),
        ]

    def test_repeated_names_pair_in_order(self) -> None:
        twice = build(("a", "0.0", 1), ("a", "0.1", 1))
        assert [pair.shift for pair in match(twice, twice).pairs] == [0, 0]

    @pytest.mark.parametrize("order", [1, -1])
    def test_a_name_that_stands_twice_pairs_by_its_meaning(self, order: int) -> None:
        """A wrong name MUST NOT take the partner of the signal that is right but for its place."""

        def stopped(*rows: tuple[str, int, str]) -> Map:
            return Map(
                entries=tuple(
                    Signal(
                        name="stopped",
                        at=Place.parse(at),
                        width=width,
                        type="uint",
                        one_means=means,
                    )
                    for at, width, means in rows[::order]
                )
            )

        sent = stopped(("0.6", 1, "cover stopped"))
        for wrong in (("0.0", 1, "belt on"), ("0.1", 2, "cover stopped")):
            read = stopped(wrong, ("0.5", 1, "cover stopped"))
            for left, right in ((sent, read), (read, sent)):
                (pair,) = match(left, right).pairs
                assert abs(pair.shift) == 1


BASE = build(("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 2), ("d", "0.4", 1), ("", "0.5", 11))


class TestExplain:
    def test_equal_maps(self) -> None:
        assert causes(BASE, BASE) == ()

    def test_shift_absorbed_by_a_gap(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("", "0.2", 5), ("d", "0.7", 1))
        right = build(
            ("x", "0.0", 1), ("a", "0.1", 1), ("b", "0.2", 1), ("", "0.3", 4), ("d", "0.7", 1)
        )
        (cause,) = causes(left, right)
        assert (cause.kind, cause.delta, cause.absorbed) == ("shift", 1, True)
        assert [signal.name for signal in cause.right] == ["x"]

    def test_two_mistakes_that_cancel_out(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("y", "0.2", 1), ("d", "0.3", 1))
        right = build(("x", "0.0", 1), ("a", "0.1", 1), ("b", "0.2", 1), ("d", "0.3", 1))
        assert summary(left, right) == [("shift", ["a", "b", "x"], 1), ("one-sided", ["y"], -1)]

    def test_displacements_are_told_from_the_true_place(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 1), ("", "0.3", 5))
        right = build(
            ("x", "0.0", 1),
            ("a", "0.1", 1),
            ("y", "0.2", 1),
            ("b", "0.3", 1),
            ("c", "0.4", 1),
            ("", "0.5", 3),
        )
        assert summary(left, right) == [("shift", ["a", "x"], 1), ("shift", ["b", "c", "y"], 2)]

    def test_three_signals_rotated(self) -> None:
        left = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("abcdef")))
        right = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("cabdef")))
        assert summary(left, right) == [("rotation", ["a", "b", "c"], 0)]

    def test_width_taken_up_by_another_width(self) -> None:
        left = build(("a", "0.0", 2), ("b", "0.2", 1), ("c", "0.3", 3), ("d", "0.6", 1))
        right = build(("a", "0.0", 3), ("b", "0.3", 1), ("c", "0.4", 2), ("d", "0.6", 1))
        assert summary(left, right) == [("width", ["a", "b", "c"], 1), ("width", ["c"], -1)]

    def test_width_displaces_the_rest(self) -> None:
        right = build(
            ("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 3), ("d", "0.5", 1), ("", "0.6", 11)
        )
        assert summary(BASE, right) == [("width", ["c", "d"], 1)]

    def test_width_out_of_the_gap(self) -> None:
        left = build(("a", "0.0", 2), ("", "0.2", 6))
        right = build(("a", "0.0", 3), ("", "0.3", 5))
        assert summary(left, right) == [("width", ["a"], 1)]

    def test_width_at_the_end_without_a_gap(self) -> None:
        assert summary(build(("a", "0.0", 2)), build(("a", "0.0", 3))) == [("width", ["a"], 1)]

    def test_lone_signal_moves(self) -> None:
        right = build(
            ("a", "0.0", 1),
            ("", "0.1", 1),
            ("c", "0.2", 2),
            ("d", "0.4", 1),
            ("b", "1.0", 1),
            ("", "1.1", 7),
            ("", "0.5", 3),
        )
        assert summary(BASE, right) == [("moved", ["b"], 7)]

    @pytest.mark.parametrize(
        ("right", "told"),
        [
            (
                [("a", "0.0", 3), ("x", "0.3", 1), ("b", "0.4", 1), ("c", "0.5", 1)],
                [("shift", ["b", "c", "x"], 2), ("width", ["a"], 1)],
            ),
            (
                [("x", "0.0", 1), ("a", "0.1", 3), ("b", "0.4", 1), ("c", "0.5", 1)],
                [("shift", ["a", "x"], 1), ("width", ["a", "b", "c"], 1)],
            ),
            (
                [("a", "0.0", 2), ("x", "0.2", 1), ("b", "0.3", 2), ("c", "0.5", 1)],
                [("shift", ["b", "x"], 1), ("width", ["b", "c"], 1)],
            ),
        ],
    )
    def test_an_insertion_beside_a_widened_signal(
        self, right: list[tuple[str, str, int]], told: list[tuple[str, list[str], int]]
    ) -> None:
        left = build(("a", "0.0", 2), ("b", "0.2", 1), ("c", "0.3", 1))
        assert summary(left, build(*right)) == told

    @pytest.mark.parametrize(
        ("right", "told"),
        [
            (
                [("", "0.1", 4), ("x", "0.5", 1), ("b", "0.6", 1), ("c", "0.7", 1)],
                [("shift", ["b", "c", "x"], 2)],
            ),
            (
                [("x", "0.1", 1), ("", "0.2", 3), ("b", "0.5", 1), ("c", "0.6", 1)],
                [("shift", ["b", "c", "x"], 1)],
            ),
            (
                [("", "0.1", 2), ("x", "0.3", 1), ("b", "0.4", 1), ("c", "0.5", 1)],
                [("one-sided", ["x"], 1)],
            ),
            (
                [("", "0.1", 4), ("b", "0.5", 1), ("c", "0.6", 1)],
                [("reserve", ["b", "c"], 1)],
            ),
        ],
    )
    def test_an_insertion_beside_a_reserve(
        self, right: list[tuple[str, str, int]], told: list[tuple[str, list[str], int]]
    ) -> None:
        left = build(("a", "0.0", 1), ("", "0.1", 3), ("b", "0.4", 1), ("c", "0.5", 1))
        assert summary(left, build(("a", "0.0", 1), *right)) == told

    @pytest.mark.parametrize(
        ("left", "right", "told"),
        [
            ([("", "0.2", 6)], [("b", "1.0", 1), ("", "1.1", 7)], [("b", 7), ("", 8)]),
            ([("", "0.2", 6)], [("b", "0.5", 1), ("", "0.6", 10)], [("b", 4), ("", 8)]),
            ([("", "0.2", 6)], [("b", "0.5", 1), ("", "0.6", 2)], [("b", 4)]),
            ([], [("b", "0.5", 1), ("", "0.6", 10)], [("b", 4)]),
        ],
    )
    def test_the_size_beside_a_moved_last_signal(
        self,
        left: list[tuple[str, str, int]],
        right: list[tuple[str, str, int]],
        told: list[tuple[str, int]],
    ) -> None:
        kinds = [("moved", [name], delta) for name, delta in told if name]
        kinds += [("size", [], delta) for name, delta in told if not name]
        assert (
            summary(
                build(("a", "0.0", 1), ("b", "0.1", 1), *left),
                build(("a", "0.0", 1), *right),
            )
            == kinds
        )

    def test_last_signal_moves_out_of_the_data(self) -> None:
        left, right = (
            build(("a", "0.0", 1), ("b", "0.1", 1)),
            build(("a", "0.0", 1), ("b", "1.0", 1)),
        )
        assert summary(left, right) == [("moved", ["b"], 7)]

    def test_reserve_in_the_middle(self) -> None:
        left = build(("a", "0.0", 1), ("", "0.1", 3), ("b", "0.4", 1), ("c", "0.5", 1))
        right = build(("a", "0.0", 1), ("", "0.1", 2), ("b", "0.3", 1), ("c", "0.4", 1))
        assert summary(left, right) == [("reserve", ["b", "c"], -1)]

    def test_reserve_at_the_end(self) -> None:
        right = build(
            *[("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 2), ("d", "0.4", 1)], ("", "0.5", 3)
        )
        assert summary(BASE, right) == [("reserve", [], -8)]

    def test_size_without_a_reserve(self) -> None:
        assert summary(build(("a", "0.0", 1)), build(("a", "0.0", 1), ("", "0.1", 7))) == [
            ("size", [], 7)
        ]

    def test_two_bits_added_behind_everything(self) -> None:
        right = build(("a", "0.0", 1), ("x", "0.1", 1), ("y", "0.2", 1))
        assert summary(build(("a", "0.0", 1)), right) == [
            ("one-sided", ["x"], 1),
            ("one-sided", ["y"], 1),
        ]

    def test_bit_added_with_its_own_padding(self) -> None:
        right = build(("a", "0.0", 8), ("x", "1.0", 1), ("", "1.1", 7))
        assert summary(build(("a", "0.0", 8)), right) == [("one-sided", ["x"], 1)]

    def test_bit_removed_behind_everything(self) -> None:
        assert summary(build(("a", "0.0", 1), ("x", "0.1", 1)), build(("a", "0.0", 1))) == [
            ("one-sided", ["x"], -1)
        ]

    def test_bit_in_the_middle_out_of_the_gap(self) -> None:
        left = build(("a", "0.0", 1), ("", "0.1", 2), ("b", "0.3", 1))
        right = build(("a", "0.0", 1), ("x", "0.1", 1), ("", "0.2", 1), ("b", "0.3", 1))
        assert summary(left, right) == [("one-sided", ["x"], 1)]

    def test_neighbours_of_unequal_width_change_order(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 3), ("c", "0.4", 1))
        right = build(("b", "0.0", 3), ("a", "0.3", 1), ("c", "0.4", 1))
        assert summary(left, right) == [("swap", ["a", "b"], 0)]

    def test_swap_behind_a_shift(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 1), ("d", "0.3", 1))
        right = build(
            ("x", "0.0", 1), ("a", "0.1", 1), ("c", "0.2", 1), ("b", "0.3", 1), ("d", "0.4", 1)
        )
        # The signal c stands right at both ends: nobody names it.
        assert summary(left, right) == [("moved", ["b"], 2), ("shift", ["a", "d", "x"], 1)]

    def test_swap_behind_a_shift_by_two(self) -> None:
        left = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("abcd")))
        right = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("xyacbd")))
        assert summary(left, right) == [
            ("swap", ["b", "c"], 2),
            ("shift", ["a", "d", "x", "y"], 2),
        ]

    def test_bit_numbering_with_a_one_sided_bit(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.2", 2), ("d", "1.0", 8))
        right = build(
            ("", "0.0", 3),
            ("x", "0.3", 1),
            ("c", "0.4", 2),
            ("b", "0.6", 1),
            ("a", "0.7", 1),
            ("d", "1.0", 8),
        )
        assert [cause.kind for cause in causes(left, right)] == ["bit numbering", "one-sided"]

    def test_bits_of_a_word_numbered_from_the_other_side(self) -> None:
        places = [
            (name, octet, bit)
            for octet, names in enumerate(("ab", "cd", "ef", "gh"))
            for bit, name in enumerate(names)
        ]
        left = build(*((name, f"{octet}.{bit}", 1) for name, octet, bit in places))
        right = build(*((name, f"{octet ^ 1}.{7 - bit}", 1) for name, octet, bit in places))
        causes_found = [cause for cause in causes(left, right) if cause.kind == "bit numbering"]
        assert [cause.word_octets for cause in causes_found] == [2]

    def test_two_widths_in_the_other_order_and_nothing_else(self) -> None:
        left, right = (
            build(("a", "0.0", 2), ("b", "0.2", 3)),
            build(("b", "0.0", 3), ("a", "0.3", 2)),
        )
        assert summary(left, right) == [("swap", ["a", "b"], 0)]

    def test_halves_of_octets_with_a_whole_octet_between(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.5", 1), ("w", "1.0", 8), ("c", "2.2", 2))
        right = build(("b", "0.1", 1), ("a", "0.4", 1), ("w", "1.0", 8), ("c", "2.6", 2))
        found = [one for one in patterns(match(left, right).pairs, 3) if one.kind == "nibbles"]
        assert [([p.left.name for p in one.pairs], one.octets) for one in found] == [
            (["a", "b", "c"], ())
        ]

    def test_a_field_over_the_middle_of_an_octet_has_no_other_half(self) -> None:
        left = build(("a", "0.3", 2), ("b", "1.0", 1), ("c", "2.1", 1))
        right = build(("a", "0.7", 2), ("b", "1.4", 1), ("c", "2.5", 1))
        (found,) = [one for one in patterns(match(left, right).pairs, 3) if one.kind == "nibbles"]
        assert ([p.left.name for p in found.pairs], found.octets) == (["b", "c"], (1, 2))

    def test_octets_of_words_of_four(self) -> None:
        left = build(("a", "0.0", 1), ("b", "1.1", 1), ("c", "2.2", 1), ("d", "3.3", 1))
        right = build(("d", "0.3", 1), ("c", "1.2", 1), ("b", "2.1", 1), ("a", "3.0", 1))
        (cause,) = [cause for cause in causes(left, right) if cause.kind == "octet order"]
        assert cause.word_octets == 4

    def test_a_pile_of_moves_is_one_cause(self) -> None:
        left = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("abcdefgh")))
        right = build(
            *((name, f"{octet}.{octet % 3}", 1) for octet, name in enumerate("cgaebhdf", start=2)),
            ("", "10.0", 8),
        )
        (first, *rest) = causes(left, right)
        assert (first.kind, len(first.pairs)) == ("rearranged", 8)
        assert [cause.kind for cause in rest] == ["size"]

    def test_two_signals_in_one_place_are_no_ring(self) -> None:
        left = build(("a", "0.0", 1), ("b", "0.1", 1), ("c", "0.1", 1), ("d", "0.2", 1))
        right = build(("a", "0.1", 1), ("b", "0.2", 1), ("c", "0.2", 1), ("d", "0.1", 1))
        assert all(cause.kind != "rotation" for cause in causes(left, right))

    def test_a_width_before_and_one_behind_a_step(self) -> None:
        left = build(("a", "0.0", 2), ("b", "0.2", 1), ("c", "0.3", 2), ("d", "0.5", 1))
        right = build(("a", "0.0", 4), ("b", "0.3", 1), ("c", "0.4", 3), ("d", "0.7", 1))
        assert [cause.kind for cause in causes(left, right)].count("width") == 2

    def test_every_displaced_signal_of_crossed_ones(self) -> None:
        left = build(*((name, f"{octet}.0", 1) for octet, name in enumerate("abcdef")))
        right = build(("a", "0.0", 1), ("d", "1.1", 1), ("c", "2.2", 1), ("b", "3.3", 1))
        right = Map(entries=right.entries + build(("e", "4.0", 1), ("f", "5.0", 1)).entries)
        found = causes(left, right)
        assert sorted(pair.left.name for cause in found for pair in cause.pairs) == ["b", "c", "d"]

    def test_a_signal_that_strayed_inside_a_shift(self) -> None:
        right = build(
            *((name, f"0.{bit}", 1) for bit, name in enumerate("ab")),
            *(("c", "0.7", 1), ("d", "1.0", 1), ("e", "1.3", 1)),
        )
        left = build(
            *(("x", "0.0", 1), ("a", "0.1", 1), ("b", "0.2", 1)),
            *(("c", "0.3", 1), ("d", "1.1", 1), ("e", "1.4", 1)),
        )
        assert summary(left, right) == [("shift", [*"abde", "x"], -1), ("moved", ["c"], 4)]

    def test_eight_signals_in_three_rings(self) -> None:
        left = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("abcdefgh")))
        right = build(*((name, f"0.{bit}", 1) for bit, name in enumerate("cgaebhdf")))
        assert summary(left, right) == [
            ("swap", ["a", "c"], 0),
            ("rotation", [*"bdeg"], 0),
            ("swap", ["f", "h"], 0),
        ]

    def test_few_moves_stay_apart(self) -> None:
        left = build(*((name, f"{octet}.0", 1) for octet, name in enumerate("abcdefgh")))
        right = build(
            *((name, f"{octet}.{int(name in 'cg')}", 1) for octet, name in enumerate("abcdefgh"))
        )
        assert summary(left, right) == [("moved", ["c"], 1), ("moved", ["g"], 1)]

    def test_many_moves_are_one_cause(self) -> None:
        names = [f"s{number}" for number in range(60)]
        left = build(*((name, f"{octet}.0", 1) for octet, name in enumerate(names)))
        right = build(
            *((name, f"{octet}.{octet % 4 == 1:d}", 1) for octet, name in enumerate(names))
        )
        (cause,) = causes(left, right)
        assert (cause.kind, len(cause.pairs)) == ("rearranged", 15)


class TestSmallMaps:
    """Every cause of a difference of a few signals, as (kind, signals, bits)."""

    @pytest.mark.parametrize(
        ("left", "right", "told"),
        [
            # The one that grew stands first: it moved by what is in front of it, not by its own.
            ("-:8 a:8", "a:16 -:8", [("width", "a", -8), ("size", "", 8)]),
            ("a:8 b:8", "b:16 a:8", [("moved", "a", 16), ("width", "b", -8)]),
            ("a:8 b:4", "b:1 a:8", [("moved", "a", 1), ("moved", "b", -8), ("width", "b", -3)]),
            # A signal that takes up a shift again is a second mistake, no gap.
            ("a:1 b:1 c:1", "b:1 n:1 c:1", [("shift", "b a", -1), ("one-sided", "n", 1)]),
            # What stands in a ring already is in no other one.
            (
                "a:1 b:1 c:1 d:1 e:1",
                "d:1 c:1 b:1 e:1 a:1",
                [("rotation", "a d e", 0), ("swap", "b c", 0)],
            ),
            # The one in the middle did not move.
            ("a:1 -:1 b:2 c:2", "c:2 b:2 -:1 a:1", [("swap", "a c", 0)]),
            ("a:1 b:8 c:1 d:8", "c:1 b:8 d:8 a:1", [("rotation", "a c d", 0)]),
            # A signal that one end has alone stands beside the exchange, not in it.
            ("m:1 a:1 b:8 c:2", "a:1 c:2 b:8", [("swap", "b c", -1), ("shift", "a m", -1)]),
            # Behind the exchange, right at its end, it is not in it either.
            ("a:1 b:4", "b:4 a:1 n:1", [("swap", "a b", 0), ("one-sided", "n", 1)]),
            (
                "a:1 b:1 c:1 d:8",
                "-:8 a:1 c:1 b:1 n:1 d:8",
                [("swap", "b c", 8), ("shift", "a", 8), ("shift", "d n", 9)],
            ),
            # Nor in front of it.
            (
                "a:2 m:8 d:8 e:1",
                "a:2 -:8 e:1 d:8",
                [("swap", "d e", 0), ("one-sided", "m", -8)],
            ),
            # Three that moved over a fourth went together.
            ("a:2 b:2 c:1 d:1 -:10", "-:5 d:1 -:2 a:2 b:2 c:1 -:3", [("shift", "a b c", 8)]),
            # Nothing stands at both ends: what each has alone is all of the difference.
            ("m:8", "n:16", [("one-sided", "m", -8), ("one-sided", "n", 16)]),
            ("m:16", "n:8", [("one-sided", "m", -16), ("one-sided", "n", 8)]),
            # Two signals in octets of their own are no other packing yet, nor is one of two bits.
            ("-:1 a:1 b:1", "-:8 a:1 -:7 b:1", [("reserve", "a", 7), ("moved", "b", 14)]),
            ("a:1 b:2 c:1", "a:1 -:7 b:2 -:14 c:1", [("shift", "b", 7), ("moved", "c", 21)]),
            # An octet is numbered from the other side only if all in it are as wide as before.
            (
                "a:1 b:1 c:1 d:2 -:3",
                "-:3 d:1 -:1 c:1 b:1 a:1",
                [("moved", "a", 7), ("moved", "b", 5), ("moved", "c", 3), ("width", "d", -1)],
            ),
            # Two of three kept their order, so the third moved, the last in either map or not.
            (
                "-:8 a:1 b:1 c:1 -:21",
                "-:20 c:1 -:9 a:1 b:1",
                [("moved", "c", 10), ("shift", "a b", 22)],
            ),
            (
                "p:1 q:1 r:1 s:1 t:1 -:3 a:1 b:1 c:1 d:1 -:29",
                "p:1 q:1 r:1 s:1 t:1 -:7 c:1 -:7 a:1 -:9 b:1 -:9 d:1",
                [("moved", "c", 2), ("shift", "a", 12), ("shift", "b", 21), ("moved", "d", 29)],
            ),
            # As far, but not side by side: two moved.
            (
                "c:2 b:2 a:2 -:1 d:1 -:8",
                "-:2 b:2 c:2 -:1 d:1 a:2 -:6",
                [("moved", "c", 4), ("moved", "a", 4)],
            ),
            # One step in every octet goes on behind the last signal, at either end or at none.
            (
                "a:7 x:1 b:7 y:1 c:7 z:1 d:7 w:1",
                "a:7 b:7 c:7 d:7",
                [("shift", "b c d x y z w", -1)],
            ),
            (
                "a:7 b:7 c:7 d:7",
                "a:7 x:1 b:7 y:1 c:7 z:1 d:7 w:1",
                [("shift", "b c d x y z w", 1)],
            ),
            (
                "p:8 a:1 b:1 -:3 e:1 f:16 -:21",
                "p:8 -:7 a:1 -:7 b:1 -:10 e:1 f:16",
                [("shift", "a b e f", 7)],
            ),
            # A single step does not.
            ("a:7 x:1 b:7 y:1", "a:7 b:7", [("shift", "b x", -1), ("one-sided", "y", -1)]),
        ],
    )
    def test_told(self, left: str, right: str, told: list[tuple[str, str, int]]) -> None:
        found = summary(row(left), row(right))
        assert [(kind, " ".join(names), bits) for kind, names, bits in found] == told

    def test_of_two_blocks_each_is_one(self) -> None:
        left = row("a:1 b:1 -:2 c:1 e:1 f:1 g:1 h:1 -:7")
        right = build(
            *(("a", "0.0", 1), ("e", "0.2", 1), ("f", "0.3", 1), ("c", "0.4", 1)),
            *(("b", "0.5", 1), ("n", "0.5", 1), ("", "0.6", 2), ("", "1.2", 6)),
            *(("g", "1.4", 1), ("h", "1.5", 1)),
        )
        assert summary(left, right) == [
            ("moved", ["b"], 4),
            ("shift", ["e", "f"], -3),
            ("shift", ["g", "h", "n"], 5),
        ]

    def test_a_gap_is_taken_up_where_nothing_else_differs(self) -> None:
        (shift, *_) = causes(row("a:1 b:1 c:1"), row("b:1 n:1 c:1"))
        assert not shift.absorbed
        (shift,) = causes(row("a:1 -:1 b:1 d:1 -:2 c:1"), row("a:1 -:2 b:1 d:1 -:1 c:1"))
        assert (shift.kind, shift.absorbed) == ("shift", True)

    def test_octets_that_moved_and_where_they_went(self) -> None:
        left, right = row("a:16 b:16 m:8 c:8"), row("b:16 c:8 a:16")
        (order, *_) = causes(left, right)
        assert (order.kind, order.octets) == ("octet order", (0, 1, 2, 3, 4, 5))

    @pytest.mark.parametrize("packed", ["left", "right"])
    def test_one_bit_in_each_octet_from_the_first_on(self, packed: str) -> None:
        dense = row("-:3 a:1 b:1 c:1 d:1 -:1")
        wide = row("a:1 -:7 b:1 -:7 c:1 -:7 d:1 -:7")
        maps = (dense, wide) if packed == "left" else (wide, dense)
        found = causes(*maps)
        assert (found[0].kind, bool(found[0].word_octets)) == ("granularity", packed == "left")
