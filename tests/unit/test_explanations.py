"""Every explanation true, every remedy good: the smallest pairs that once were told wrongly."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

import safeframe
from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe._checks import trial
from safeframe._findings import Finding
from safeframe._model import Connection, End
from tests.second import parameter_crc_3_1, signature_ua
from tests.unit.test_checks import end, messages, only, pair

PAIRS = Path(__file__).parents[1] / "data" / "pairs"
ASK = "find out which end is right, then bring the other one into line"


def connection(name: str) -> Connection:
    first, second = (safeframe.load(str(PAIRS / name / f"{one}.toml")) for one in ("sc1", "lx"))
    return Connection(first=first, second=second)


def found(name: str) -> list[Finding]:
    return list(checks.check(connection(name)).findings)


class TestNothingRightIsNamed:
    """A finding MUST NOT name a signal that stands right at both ends as displaced."""

    def test_ring_around_a_signal_that_stands_right(self) -> None:
        (finding,) = found("false-swap")
        assert finding.rule == "rotated-signals"
        assert finding.message == (
            "3 signals changed places among themselves: permit_torque 0.2, brake1_release 0.3, "
            "fault_ack 0.5 at SC1, brake1_release 0.2, fault_ack 0.3, permit_torque 0.5 at LX"
        )
        assert finding.remedy == (
            "place the 3 displaced signals at LX as at SC1, or place the 3 displaced signals at "
            "SC1 as at LX"
        )
        assert not any("door1_locked" in line for line in finding.details)

    def test_more_than_six_in_a_ring(self) -> None:
        names = [f"s{number}" for number in range(8)]
        rows = [
            "\n".join(f"0.{n} {name}" for n, name in enumerate(order))
            for order in (names, [*names[3:], *names[:3]])
        ]
        message = only(checks.check(pair(*rows))).message
        assert message.startswith("8 signals changed places among themselves: s0 0.0, s1 0.1,")
        assert message.endswith("s3 0.0, s4 0.1, s5 0.2, s6 0.3, s7 0.4, s0 0.5 ... at LX")


class TestEveryDisplacedSignalIsTold:
    """Every displaced signal MUST be told by exactly one cause."""

    def test_shift_with_a_signal_moved_out_of_it(self) -> None:
        shift, moved = found("untold")
        assert shift.message.startswith(
            "7 of the 8 signals from zone1_free (0.0 at SC1) on are 1 bit later at LX; "
        )
        told = [line.split(":")[0] for line in shift.details]
        assert told == [f"zone{number}_free" for number in (1, 2, 3, 5, 6, 7, 8)]
        assert moved.message.startswith("zone4_free is at 0.3 at SC1 but at 1.1 at LX")


class TestNames:
    """In doubt two names MUST be two signals; the near name is mentioned."""

    @pytest.mark.parametrize("name", ["opposite-names", "joined-numbers"])
    def test_in_one_place(self, name: str) -> None:
        (finding,) = found(name)
        assert (finding.rule, finding.severity) == ("renamed-signal", "error")
        assert finding.remedy == (
            "find out which signal the bits carry, then have that one there at both ends"
        )

    def test_in_two_places(self) -> None:
        first, second = found("opposite-names-moved")
        assert first.message == (
            "gate_east_locked (1 bit at 0.0) exists at SC1 only; LX has these bits reserved; LX "
            "has the similar name gate_west_locked at 0.5"
        )
        assert second.message.endswith("SC1 has the similar name gate_east_locked at 0.0")
        assert {first.remedy, second.remedy} == {ASK}

    def test_one_name_twice(self) -> None:
        twice, bound = found("duplicate-name")
        assert twice.message == (
            "brake2_release is declared 2 times, at 0.0 and 0.2; the other end has permit_torque "
            "at 0.0"
        )
        assert twice.remedy == "call the signal at 0.0 permit_torque, as the other end does"
        assert bound.rule == "binding-reused"

    def test_one_name_twice_and_allowed(self) -> None:
        allow = '\nallow = [{ rule = "duplicate-name", signal = "b", reason = "old drawing" }]'
        one, two = "0.0 a\n0.1 b\n0.2 reserved 6", "0.0 b\n0.1 b\n0.2 reserved 6"
        connection = Connection(
            first=end("SC1", sends=one),
            second=end("LX", receives=two, more=f" }}{allow}\n# {{"),
        )
        report = checks.check(connection)
        assert [waived.finding.rule for waived in report.waived] == ["duplicate-name"]
        assert messages(report) == ["the bits at 0.0 are called a at SC1 and b at LX"]

    def test_a_second_one_elsewhere(self) -> None:
        report = checks.check(
            pair("0.0 a\n0.1 b\n0.2 reserved 6", "0.0 a\n0.1 b\n0.2 reserved 5\n0.7 b")
        )
        (twice,) = report.findings
        assert twice.details == (
            "one-sided-signal: a second b (1 bit at 0.7) stands at LX; SC1 has these bits reserved",
        )
        assert twice.remedy == "remove the one at 0.7 (reserve 6 bits at 0.2 instead of 5)"


class TestRemediesAreTried:
    """A remedy MUST be told only where it removes the finding and adds none."""

    def test_overlap(self) -> None:
        (overlap,) = found("overlap-remedy")
        assert overlap.remedy == "remove horn_on"
        assert overlap.details == (
            "one-sided-signal: horn_on (1 bit at 0.0) exists at LX only; SC1 has permit_torque "
            "there",
        )

    def test_both_reserves_at_once(self) -> None:
        (finding,) = found("reserve-twice")
        assert finding.remedy == (
            "place brake1_release and brake2_release at LX as at SC1 (reserve 2 bits at 0.1 "
            "instead of 3, 11 bits at 0.5 instead of 10 at 0.6 at LX), or place brake1_release and "
            "brake2_release at SC1 as at LX (reserve 3 bits at 0.1 instead of 2, 10 bits at 0.6 "
            "instead of 11 at 0.5 at SC1)"
        )

    def test_sizes_do_not_contradict(self) -> None:
        shift, reserve = found("size-contradiction")
        assert "the size stays the same" not in shift.message
        assert reserve.message.startswith("reserve 23 bits at LX instead of 7 as at SC1")

    def test_a_part_of_its_own_place(self) -> None:
        value = 'load3 width = 4, valid_by = "ok"'
        finding = only(
            checks.check(
                pair(
                    f"0.0 ok\n0.1 {value}\n0.5 reserved 3",
                    f"0.0 ok\n0.1 reserved 2\n0.3 {value}\n0.7 reserved 1",
                )
            )
        )
        assert finding.message == (
            "load3 is at 0.1-0.4 at SC1 but at 0.3-0.6 at LX, where SC1 has a part of it already"
        )

    def test_reserve_twice(self) -> None:
        report = checks.check(
            pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7\n0.1 reserved 7")
        )
        assert only(report).remedy == "drop the second reserve at 0.1"

    def test_reserve_over_a_signal(self) -> None:
        report = checks.check(pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.0 reserved 8"))
        assert only(report).remedy == "reserve 7 bits at 0.1 instead of 8 at 0.0"

    def test_many_findings_in_large_maps_ask(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(trial, "_MOST_ENTRIES", 0)
        rows = [f"{n // 8}.{n % 8} s{n}" for n in range(32)]
        sent = "\n".join(rows)
        received = "\n".join(
            row if n % 8 else f"{n // 8}.0 reserved 1" for n, row in enumerate(rows)
        )
        remedies = [finding.remedy for finding in checks.check(pair(sent, received)).findings]
        assert remedies == [
            "insert s0 at 0.0 at LX as well and take 1 bit from the reserve there (its 1 bit is "
            "used up), or remove it at SC1 (reserve 1 bit at 0.0 there)",
            "insert s8 at 1.0 at LX as well and take 1 bit from the reserve there (its 1 bit is "
            "used up), or remove it at SC1 (reserve 1 bit at 1.0 there)",
            ASK,
            ASK,
        ]

    def test_nothing_is_tried_while_directions_are_exchanged(self) -> None:
        rows = "0.0 a\n0.1 b\n0.2 c\n0.3 reserved 5"
        first = end("SC1", sends=rows, receives="0.0 x\n0.1 reserved 7")
        second = end("LX", sends=f"{rows[:-1]}4\n0.7 d", receives="0.0 x\n0.1 reserved 7")
        report = checks.check(Connection(first=first, second=second))
        assert [finding.rule for finding in report.findings] == [
            "one-sided-signal",
            "directions-exchanged",
        ]
        assert report.findings[0].remedy == ASK

    def test_names_alone_are_exchanged(self) -> None:
        means = ('one_means = "on"', 'one_means = "off"')
        report = checks.check(
            pair(
                f"0.0 a {means[0]}\n0.1 b {means[1]}\n0.2 reserved 6",
                f"0.0 b {means[0]}\n0.1 a {means[1]}\n0.2 reserved 6",
            )
        )
        assert only(report).rule == "swapped-signals"


class TestPatterns:
    """Compound patterns MUST be one finding each."""

    def test_halves_of_octets(self) -> None:
        finding = only(
            checks.check(
                pair(
                    "0.0 a\n0.1 b\n0.2 c\n0.3 reserved 1\n0.4 d\n0.5 reserved 3",
                    "0.0 d\n0.1 reserved 3\n0.4 a\n0.5 b\n0.6 c\n0.7 reserved 1",
                )
            )
        )
        assert finding.message == (
            "the halves of every octet are exchanged at LX; that explains all 4 displaced signals"
        )

    def test_one_of_two_octets_mirrored(self) -> None:
        head = "\n".join(f"0.{n} h{n}" for n in range(8))
        rows = [
            head + "".join(f"\n1.{n} {name}" for n, name in enumerate(order))
            for order in ("abcdefgh", "hgfedcba")
        ]
        finding = only(checks.check(pair(*rows)))
        assert finding.message == (
            "the bits of octet 1 are numbered from the other side at LX; that explains all 8 "
            "displaced signals"
        )

    def test_two_of_three_octets_mirrored_and_a_signal_moved(self) -> None:
        def rows(first: str, second: str, third: str) -> str:
            return "\n".join(
                f"{octet}.{n} {name}{octet}"
                for octet, names in enumerate((first, second, third))
                for n, name in enumerate(names)
            )

        left = rows("abcdefgh", "abcdefgh", "abcdefgh")
        right = rows("hgfedcba", "hgfedcba", "bacdefgh")
        mirrored, swap = sorted(checks.check(pair(left, right)).findings, key=lambda f: f.rule)
        assert mirrored.message == (
            "the bits of octets 0 to 1 are numbered from the other side at LX; that explains 16 of "
            "18 displaced signals"
        )
        assert swap.rule == "swapped-signals"

    def test_words_exchanged_in_a_part(self) -> None:
        def rows(*octets: str) -> str:
            return "\n".join(
                f"{octet}.{n} signal_{ord(name)}"
                for octet, names in enumerate(octets)
                for n, name in enumerate(names)
            )

        left = rows("abcdefgh", "ijklmnop", "qrstuvwx", "ABCDEFGH", "IJKLMNOP", "QRSTUVWX")
        right = rows("ijklmnop", "abcdefgh", "ABCDEFGH", "qrstuvwx", "JIKLMNOP", "QRSTUVWX")
        order, swap = sorted(checks.check(pair(left, right)).findings, key=lambda f: f.rule)
        assert order.message == (
            "the octets of the words of 2 octets in octets 0 to 3 are exchanged at LX; that "
            "explains 32 of 34 displaced signals"
        )
        assert swap.rule == "swapped-signals"

    @pytest.mark.parametrize("turned", [False, True])
    def test_a_bit_in_each_octet(self, turned: bool) -> None:
        packed = "\n".join(f"0.{n} {name}" for n, name in enumerate("abcd")) + "\n0.4 reserved 28"
        spread = "\n".join(f"{n}.0 {name}\n{n}.1 reserved 7" for n, name in enumerate("abcd"))
        rows = (spread, packed) if turned else (packed, spread)
        finding = only(checks.check(pair(*rows)))
        wide, narrow = ("SC1", "LX") if turned else ("LX", "SC1")
        assert finding.message == (
            f"{wide} has each bit in an octet of its own, {narrow} packs them; that explains all 3 "
            "displaced signals"
        )

    def test_a_bit_inserted_in_each_octet(self) -> None:
        names = [f"s{number}" for number in range(21)]
        left = "\n".join(f"{n // 8}.{n % 8} {name}" for n, name in enumerate(names))
        right = [f"{n // 7}.{n % 7 + 1} {name}" for n, name in enumerate(names)]
        right += [f"{n}.0 status{n}" for n in range(3)]
        finding = only(checks.check(pair(f"{left}\n2.5 reserved 3", "\n".join(sorted(right)))))
        assert finding.message == (
            "all 21 signals from s0 (0.0 at SC1) on are 1 to 3 bits later, more from octet to "
            "octet, at LX; status0 (1 bit at 0.0), status1 (1 bit at 1.0), status2 (1 bit at 2.0) "
            "stand at LX only"
        )


class TestOrderOfFiles:
    """The order of the two files MUST NOT change a finding."""

    @pytest.mark.parametrize("name", sorted(path.name for path in PAIRS.iterdir()))
    def test_pairs(self, name: str) -> None:
        made = connection(name)
        turned = Connection(first=made.second, second=made.first)
        assert checks.check(turned) == checks.check(made)

    def test_two_profiles(self) -> None:
        report = checks.check(connection("profile-order"))
        assert [finding.rule for finding in report.findings] == ["profile-differs"]
        reasons = {entry.reason for entry in report.not_judged if entry.rule == "illegal-size"}
        assert reasons == {"the ends name two profiles"}

    def test_signals_both_ways_where_one_is_carried(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        back = "0.0 b\n0.1 reserved 7"
        ends: list[End] = [
            end("SC1", sends=rows, receives=back, profile="fscp-2-1"),
            end("LX", sends=back, receives=rows, profile="fscp-2-1"),
        ]
        for first, second in (ends, ends[::-1]):
            report = checks.check(Connection(first=first, second=second))
            assert [f.message for f in report.findings if f.rule == "one-way"] == [
                "FSCP 2/1 (IEC 61784-3-2) carries safety data in one direction, but SC1 and LX "
                "both send signals"
            ]


class TestTexts:
    def test_neighbours_of_unequal_width(self) -> None:
        value = 'width = 3, valid_by = "ok"'
        finding = only(
            checks.check(
                pair(
                    f"0.0 ok\n0.1 a\n0.2 b {value}\n0.5 reserved 3",
                    f"0.0 ok\n0.1 b {value}\n0.4 a\n0.5 reserved 3",
                )
            )
        )
        assert finding.message == (
            "a and b stand in the opposite order: 0.1 and 0.2-0.4 at SC1, 0.4 and 0.1-0.3 at LX"
        )

    def test_swap_in_a_displaced_region(self) -> None:
        left = "\n".join(f"0.{n} {name}" for n, name in enumerate("abcd"))
        right = "\n".join(f"0.{n} {name}" for n, name in enumerate("xyacbd"))
        found = checks.check(pair(f"{left}\n0.4 reserved 4", f"{right}\n0.6 reserved 2"))
        assert messages(found) == [
            "2 of the 4 signals from a (0.0 at SC1) on are 2 bits later at LX; x (1 bit at 0.0), y "
            "(1 bit at 0.1) stand at LX only",
            "b and c stand in the opposite order: 0.1 and 0.2 at SC1, 0.4 and 0.3 at LX (what is "
            "around them is 2 bits later there)",
        ]

    def test_wider_and_elsewhere(self) -> None:
        kind = 'type = "uint", valid_by = "ok"'
        found = checks.check(
            pair(
                f"0.0 ok\n0.1 a\n0.2 b width = 2, {kind}\n0.4 reserved 4",
                f"0.0 ok\n0.1 x\n0.2 a\n0.3 b width = 3, {kind}\n0.6 reserved 2",
            )
        )
        assert any(
            text == "b is 2 bits wide at 0.2 at SC1 and 3 bits wide at 0.3 at LX"
            for text in messages(found)
        )

    def test_validity_bit_that_is_wider_here(self) -> None:
        value = 'width = 4, valid_by = "ok"'
        found = checks.check(
            pair(
                f"0.0 ok\n0.1 reserved 3\n0.4 v {value}",
                f"0.0 ok width = 2\n0.2 reserved 2\n0.4 v {value}",
            )
        )
        assert messages(found) == ["ok at 0.0 is 1 bit wide at SC1 and 2 bits at LX"]

    def test_validity_bit_that_is_called_otherwise_there(self) -> None:
        value = 'width = 4, valid_by = "sensor_healthy"'
        rows = f"0.0 sensor_healthy\n0.1 reserved 3\n0.4 v {value}"
        found = only(
            checks.check(pair(rows, rows.replace("0.0 sensor_healthy", "0.0 sensor_halthy")))
        )
        # The other way round the value at SC1 would name a validity bit that LX calls otherwise.
        assert found.remedy == "spell it sensor_healthy at LX, as at SC1"

    def test_partly_declared(self) -> None:
        value = 'v width = 4, valid_by = "ok"'
        found = checks.check(
            pair("0.0 ok\n0.1 reserved 4\n0.7 z", f"0.0 ok\n0.1 reserved 2\n0.3 {value}\n0.7 z")
        )
        assert any("SC1 has them only partly reserved" in text for text in messages(found))

    def test_a_big_endian_value_cannot_stand_everywhere(self) -> None:
        big = 'v width = 16, order = "big", valid_by = "ok"'
        little = 'v width = 16, valid_by = "ok"'
        moved = [
            finding
            for finding in checks.check(
                pair(
                    f"0.0 ok\n0.1 reserved 7\n1.0 {big}\n3.0 reserved 8",
                    f"0.0 ok\n0.1 reserved 11\n1.4 {little}\n3.4 reserved 4",
                )
            ).findings
            if finding.rule == "moved-signal"
        ]
        assert [finding.remedy for finding in moved] == [
            "move v to 1.0 at LX (reserve 7 bits at 0.1 instead of 11, 8 bits at 3.0 instead of 4 "
            "at 3.4 at LX)"
        ]

    def test_a_repair_that_cannot_stand_there(self) -> None:
        big = 'v width = 24, order = "big", valid_by = "ok"'
        rows = f"0.0 ok\n0.1 reserved 7\n1.0 {big}\n3.0 w width = 2\n3.2 reserved 6\n4.0 reserved 7"
        found = checks.check(pair(rows, rows)).findings
        overlap = next(finding for finding in found if finding.rule == "overlap")
        assert overlap.remedy == (
            "move w to 0.1 (reserve 5 bits at 0.3 instead of 7 at 0.1, drop the reserve at 3.2)"
        )


class TestRepairs:
    """What is told of both ends MUST be good for both."""

    def test_other_reserves_at_the_two_ends(self) -> None:
        rows = 'a width = 4, valid_by = "c"\n0.2 b width = 2, valid_by = "c"\n0.4 c\n'
        found = checks.check(
            pair(f"0.0 {rows}0.5 d\n0.6 reserved 2", f"0.0 {rows}0.5 reserved 2\n0.7 d")
        )
        overlap = next(finding for finding in found.findings if finding.rule == "overlap")
        assert overlap.remedy == (
            "find out which of the two the bits carry, then place or remove the other one"
        )

    def test_other_last_reserves_at_the_two_ends(self) -> None:
        found = checks.check(
            pair(
                "0.0 a\n0.1 reserved 23",
                "0.0 a\n0.1 reserved 7\n1.0 b\n1.1 reserved 15",
                "fscp-12-1",
            )
        )
        size = next(finding for finding in found.findings if finding.rule == "illegal-size")
        assert size.remedy == "reserve 8 bits more (4 octets)"

    def test_a_value_goes_to_the_next_free_block(self) -> None:
        value = 'v width = 12, valid_by = "ok"'
        rows = f"0.0 ok\n0.1 reserved 7\n1.0 {value}\n2.4 b\n2.5 reserved 27"
        finding = only(checks.check(pair(rows, rows, "fscp-12-1")))
        assert finding.remedy == (
            "start it at 4.0 (reserve 19 bits at 0.1 instead of 7, 11 bits at 2.5 instead of 27, "
            "4 bits at 5.4)"
        )

    def test_no_free_block(self) -> None:
        value = 'v width = 12, valid_by = "ok"'
        rows = f"0.0 ok\n0.1 reserved 7\n1.0 {value}\n2.4 b\n2.5 reserved 11"
        finding = only(checks.check(pair(rows, rows, "fscp-12-1")))
        assert finding.remedy == "move the value so that it starts at a block"

    def test_an_octet_order_that_cannot_stand_there(self) -> None:
        big = 'v width = 16, order = "big", valid_by = "ok"'
        rows = f"0.0 ok\n0.1 reserved 7\n1.0 {big}\n2.0 w\n3.0 x\n3.1 reserved 23"
        found = checks.check(pair(rows, rows)).findings
        overlap = next(finding for finding in found if finding.rule == "overlap")
        assert overlap.remedy == "move w to 0.1 (reserve 6 bits at 0.2 instead of 7 at 0.1)"

    def test_a_pattern_that_explains_no_more(self) -> None:
        rows = "0.0 {0}\n0.1 reserved 6\n0.7 {1}\n1.0 {2}\n1.1 reserved 2\n1.3 {3}\n1.4 reserved 4"
        left, right = rows.format(*"abcd"), rows.format(*"badc")
        assert [finding.rule for finding in checks.check(pair(left, right)).findings] == [
            "swapped-signals",
            "swapped-signals",
        ]


class TestConsequences:
    """What a mistake brings along hangs below it; another mistake MUST stay a finding."""

    def test_a_row_at_a_wrong_place(self) -> None:
        rows = "0.0 a\n{0} b\n0.2 c\n0.3 reserved 5"
        (moved,) = checks.check(pair(rows.format("0.1"), rows.format("0.2"))).findings
        assert moved.rule == "moved-signal"
        assert moved.details == (
            "hole at LX: 1 bit at 0.1 is not declared",
            "overlap at LX: b and c share 1 bit at 0.2",
        )
        assert moved.remedy == "move b to 0.1 at LX"

    def test_a_row_lost(self) -> None:
        (lost,) = checks.check(
            pair("0.0 a\n0.1 b\n0.2 reserved 6", "0.0 a\n0.2 reserved 6")
        ).findings
        assert (lost.rule, lost.details) == (
            "one-sided-signal",
            ("hole at LX: 1 bit at 0.1 is not declared",),
        )
        assert lost.remedy == "insert b at 0.1 at LX as well"

    def test_the_last_signal_strayed(self) -> None:
        left, right = "0.0 a\n0.1 reserved 14\n1.7 b", "0.0 a\n0.1 b\n0.2 reserved 6"
        for one, other in ((left, right), (right, left)):
            (moved,) = checks.check(pair(one, other)).findings
            assert moved.rule == "moved-signal"
            assert "the data are" in moved.message

    def test_an_allowance_hides_nothing_else(self) -> None:
        allow = '\nallow = [{ rule = "moved-signal", reason = "old drawing" }]'
        rows = "0.0 a\n{0} b\n0.2 c\n0.3 reserved 5"
        report = checks.check(
            Connection(
                first=end("SC1", sends=rows.format("0.1")),
                second=end("LX", receives=rows.format("0.2"), more=f" }}{allow}\n# {{"),
            )
        )
        assert [waived.finding.rule for waived in report.waived] == ["moved-signal"]
        (overlap,) = report.findings
        assert overlap.rule == "overlap"
        assert overlap.details == ("hole at LX: 1 bit at 0.1 is not declared",)

    def test_no_signal_at_one_end(self) -> None:
        rows = "0.0 a\n0.1 b\n0.2 reserved 6"
        for one, other, here, there in ((rows, "", "SC1", "LX"), ("", rows, "LX", "SC1")):
            (alone,) = checks.check(pair(one, other)).findings
            assert alone.message == (
                f"none of the 2 signals of {here} exists at {there}, which declares no signal in "
                f"this direction; the data are {8 if one else 0} bits at SC1 and "
                f"{0 if one else 8} at LX"
            )
            assert alone.details == (f"a: 0.0 at {here}", f"b: 0.1 at {here}")

    def test_no_signal_at_one_end_and_one_of_them_allowed(self) -> None:
        allow = '\nallow = [{ rule = "one-sided-signal", signal = "a", reason = "later" }]'
        report = checks.check(
            Connection(
                first=end("SC1", sends="0.0 a\n0.1 b\n0.2 reserved 6", more=f" }}{allow}\n# {{"),
                second=end("LX", receives="0.0 reserved 8"),
            )
        )
        assert [waived.finding.rule for waived in report.waived] == ["one-sided-signal"]
        assert [finding.rule for finding in report.findings] == ["one-sided-signal"]


class TestOrders:
    """A run in another order, or octets elsewhere, MUST be one finding."""

    def rows(self, names: str) -> str:
        return "\n".join(f"0.{bit} {name}" for bit, name in enumerate(names)) + "\n0.7 reserved 1"

    def test_a_run_reversed(self) -> None:
        (found,) = checks.check(pair(self.rows("abcdefg"), self.rows("agfedcb"))).findings
        assert found.rule == "rotated-signals"
        assert len(found.details) == 6
        (found,) = checks.check(pair(self.rows("abcdefg"), self.rows("edcbafg"))).findings
        assert found.rule == "rotated-signals"
        assert len(found.details) == 4

    def test_exchanges_of_no_common_run(self) -> None:
        found = checks.check(pair(self.rows("abcdefg"), self.rows("gbedcfa"))).findings
        assert [one.rule for one in found] == ["swapped-signals", "swapped-signals"]

    def test_a_run_of_several_widths_reversed(self) -> None:
        more = "\n1.0 reserved 8"
        left = '0.0 a\n0.1 b\n0.2 c\n0.3 d\n0.4 e width = 2, valid_by = "z"\n0.6 z\n0.7 y'
        right = '0.0 e width = 2, valid_by = "z"\n0.2 d\n0.3 c\n0.4 b\n0.5 a\n0.6 z\n0.7 y'
        (found,) = checks.check(pair(left + more, right + more)).findings
        assert found.rule == "rotated-signals"
        assert len(found.details) == 5

    def test_octets_elsewhere(self) -> None:
        rows = [
            "0.0 a\n0.1 reserved 8\n1.1 d\n1.2 e\n1.3 reserved 13\n3.0 f\n3.1 reserved 6\n3.7 g",
            "0.0 a\n0.1 reserved 7\n1.0 f\n1.1 reserved 6\n1.7 g\n2.0 reserved 9\n3.1 d\n3.2 e\n"
            "3.3 reserved 5",
        ]
        (found,) = checks.check(pair(*rows)).findings
        assert found.message == (
            "octets 1 and 3 stand in another order at LX; that explains all 4 displaced signals"
        )

    def test_one_bit_in_each_octet_up_to_the_end(self) -> None:
        packed = "\n".join(f"{n // 8}.{n % 8} s{n}" for n in range(22)) + "\n2.6 reserved 26"
        spread = [f"{n // 7}.{n % 7 + 1} s{n}" for n in range(22)]
        spread += [f"{octet}.0 ok{octet}x" for octet in range(6)]
        spread += ["3.2 reserved 6", "4.1 reserved 7", "5.1 reserved 7"]
        spread.sort(key=lambda row: tuple(map(int, row.split()[0].split("."))))
        rows = "\n".join(spread)
        for one, other in ((packed, rows), (rows, packed)):
            found = checks.check(pair(one, other)).findings
            assert [finding.rule for finding in found] == ["shifted-signals"]
            assert "ok5x (1 bit at 5.0)" in found[0].message


class TestEdges:
    """What is rare MUST still be told in words that hold."""

    def test_a_reserve_that_another_mistake_hides(self) -> None:
        five = "0.0 a\n0.1 b\n0.2 c\n0.3 d\n0.4 e\n0.5 reserved 1\n0.6 f\n0.7 g\n"
        tail = "hijklmnop"
        left = five + '1.0 reserved 1\n1.1 t width = 2, valid_by = "a"\n'
        left += '1.3 v width = 4, valid_by = "a"\n1.7 u\n2.0 reserved 3\n2.3 x\n2.4 reserved 4\n'
        right = five + '1.0 u\n1.1 v width = 4, valid_by = "a"\n'
        right += '1.5 t width = 2, valid_by = "a"\n1.7 reserved 5\n2.4 x\n2.5 reserved 4\n'
        for number, name in enumerate(tail):
            left += f"{3 + number // 8}.{number % 8} {name}\n"
            right += f"{3 + (number + 1) // 8}.{(number + 1) % 8} {name}\n"
        found = checks.check(pair(left + "4.1 reserved 7", right + "4.2 reserved 6")).findings
        assert [one.message for one in found if one.rule == "reserve-differs"] == [
            "9 signals from h on are 1 bit later at LX"
        ]

    def test_no_signal_and_another_size(self) -> None:
        rows = "0.0 a\n0.1 b\n0.2 reserved 6"
        (found,) = checks.check(pair(rows, "0.0 reserved 24")).findings
        assert "the data are 8 bits at SC1 and 24 at LX" in found.message

    def test_more_overlaps_than_are_listed(self) -> None:
        rows = "\n".join(f'{n // 8}.{n % 8} s{n}q width = 2, valid_by = "ok"' for n in range(110))
        found = checks.check(pair(rows + "\n14.0 ok", rows + "\n14.0 ok")).findings
        told = [one for one in found if one.rule == "overlap"]
        assert len(told) == 101
        assert told[-1].message.startswith("more than 100 findings")

    def test_signals_of_one_octet_that_went_to_two(self) -> None:
        left = "0.0 a\n0.1 b\n0.2 c\n0.3 reserved 29"
        right = (
            "0.0 reserved 8\n1.0 a\n1.1 reserved 8\n2.1 b\n2.2 reserved 8\n3.2 c\n3.3 reserved 5"
        )
        rules = {one.rule for one in checks.check(pair(left, right)).findings}
        assert "octet-order" not in rules

    def test_bits_moved_alike_around_others_are_no_order_of_octets(self) -> None:
        left = "0.0 a\n0.1 reserved 11\n1.4 x\n1.5 reserved 3\n"
        left += "2.0 b\n2.1 reserved 11\n3.4 y\n3.5 reserved 3"
        right = "0.0 reserved 8\n1.0 a\n1.1 reserved 3\n1.4 x\n1.5 reserved 11\n"
        right += "3.0 b\n3.1 reserved 3\n3.4 y\n3.5 reserved 3"
        rules = [one.rule for one in checks.check(pair(left, right)).findings]
        assert rules == ["moved-signal", "moved-signal"]

    def test_a_signal_that_only_a_part_of_the_reserve_can_take(self) -> None:
        left = "0.0 a\n0.1 reserved 3\n0.4 reserved 2\n1.0 b\n1.1 reserved 7"
        right = "0.0 a\n0.1 reserved 4\n0.5 c width = 2\n0.7 reserved 1\n1.0 b\n1.1 reserved 7"
        (told,) = [
            one
            for one in checks.check(pair(left, right)).findings
            if one.rule == "one-sided-signal"
        ]
        assert "used up" not in told.remedy

    def test_two_overlaps_with_reserves(self) -> None:
        rows = "0.0 a width = 4\n0.3 reserved 5\n1.0 b width = 4\n1.3 reserved 5"
        found = checks.check(pair(rows, rows)).findings
        told = [one.message for one in found if one.rule == "overlap"]
        assert len(told) >= 2


class TestValuesStatedAlike:
    """What differs in an attribute or table MUST be told with both ways that were tried."""

    def test_a_type_and_its_codes(self) -> None:
        codes = 'type = "code", codes = { 0 = "off", 1 = "on", 2 = "fast", 3 = "test" }'
        rows = '0.0 ok\n0.1 v width = 2, {0}valid_by = "ok"\n0.3 reserved 5'
        (found,) = checks.check(pair(rows.format(f"{codes}, "), rows.format(""))).findings
        assert found.rule == "type-differs"
        assert found.remedy == (
            "state the type code (with the code table) of v at LX, as at SC1, or state the type "
            "uint (without a code table) of v at SC1, as at LX"
        )

    def test_what_no_file_could_say(self) -> None:
        codes = 'codes = { 0 = "off", 1 = "on", 2 = "fast", 3 = "test" }'
        rows = '0.0 ok\n0.1 v width = {0}, type = "code", {1}\n0.{2} reserved {3}'
        two = 'codes = { 0 = "off", 1 = "on" }'
        (found,) = checks.check(
            pair(rows.format(2, codes, 3, 5), rows.format(1, two, 2, 6))
        ).findings
        assert found.rule == "width-differs"
        assert "at SC1" not in found.remedy.partition(", as at")[0]
        number = (
            '0.0 ok\n0.1 v width = 3, type = "{0}", safe = {1}, valid_by = "ok"\n0.4 reserved 4'
        )
        found_two = checks.check(pair(number.format("int", -1), number.format("uint", 0))).findings
        (kind,) = [one for one in found_two if one.rule == "type-differs"]
        assert kind.remedy == "state the type int of v at LX, as at SC1"
        floats = '0.0 ok\n0.1 reserved 7\n1.0 v width = 16, type = "{0}", safe = 1, valid_by = "ok"'
        (kind,) = checks.check(pair(floats.format("float"), floats.format("uint"))).findings
        assert kind.remedy.startswith("state the type float of v at LX")

    def test_what_one_end_leaves_out(self) -> None:
        rows = '0.0 ok\n0.1 v width = 2, {0}valid_by = "ok"\n0.3 reserved 5'
        (found,) = checks.check(pair(rows.format('unit = "mm", '), rows.format(""))).findings
        assert found.remedy == "state the unit mm of v at LX, as at SC1"

    def test_sizes_and_parameters(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        made = pair(rows, rows)
        table = replace(made.first.connection_table, legal_octets=(1, 2))
        first = replace(made.first, connection_table=table, parameters=(("seed", 7),))
        table = replace(table, legal_octets=(1, 4))
        second = replace(made.second, connection_table=table)
        found = checks.check(Connection(first=first, second=second)).findings
        assert [finding.remedy for finding in found] == [
            "state the list of legal sizes 1, 2 at LX, as at SC1, or state the list of legal sizes "
            "1, 4 at SC1, as at LX",
            "state the parameter seed 7 at LX, as at SC1",
        ]


class TestContradictions:
    """One thing stated in two places MUST be stated alike."""

    def end_3_1(self, role: str, parameters: str, *, watchdog: str = "") -> End:
        made = end("SC1", profile="fscp-3-1", more=f', role = "{role}", address = 11')
        text = f"parameters = {{ {parameters} }}"
        connection = made.connection_table
        table = f"{watchdog}" and f", watchdog_ms = {watchdog}"
        return mapfile.loads(
            'format = "safeframe-map/1"\n'
            f'connection = {{ name = "{connection.name}", profile = "fscp-3-1"{table} }}\n'
            f'end = {{ name = "SC1", peer = "LX", role = "{role}", address = 11 }}\n{text}\n',
            path="sc1.toml",
        )

    def found(self, one: End) -> list[str]:
        profile = one.connection_table.profile
        connection = Connection(first=one, second=end("LX", profile=profile))
        return [
            finding.message
            for finding in checks.check(connection).findings
            if finding.rule == "parameter-contradicts"
        ]

    def test_address(self) -> None:
        assert self.found(self.end_3_1("host", "source_address = 99")) == [
            "the address of SC1 is 11, but as host it has the source_address 99"
        ]
        assert self.found(self.end_3_1("device", "source_address = 99")) == []
        assert self.found(self.end_3_1("device", "destination_address = 12")) == [
            "the address of SC1 is 11, but as device it has the destination_address 12"
        ]

    ALL = "sil = 3, source_address = 11, destination_address = 12"

    def test_computed_number(self) -> None:
        (text,) = self.found(
            self.end_3_1("host", f"{self.ALL}, parameter_crc = 4711", watchdog="100")
        )
        assert text.startswith(
            "the parameter_crc of SC1 is 0x1267, but from its sil, addresses and watchdog follows "
        )
        assert text.endswith(" with one or both check flags)")
        assert self.found(self.end_3_1("host", f"{self.ALL}, parameter_crc = 4711")) == []

    def test_with_a_device_parameter(self) -> None:
        more = "device_parameter_crc = 5, parameter_crc = 4711"
        assert len(self.found(self.end_3_1("host", f"{self.ALL}, {more}", watchdog="100"))) == 1

    @pytest.mark.parametrize("device", [None, 0, 0xFFFFFFFF])
    def test_every_number_that_follows_and_no_other(self, device: int | None) -> None:
        """The flags that no map states may be set or not; a second implementation computes."""
        right = [
            parameter_crc_3_1(3, 11, 12, 100, device, *flags)
            for flags in product((False, True), repeat=2)
        ]
        more = self.ALL if device is None else f"{self.ALL}, device_parameter_crc = {device}"
        told = {
            number: self.found(
                self.end_3_1("host", f"{more}, parameter_crc = {number}", watchdog="100")
            )
            for number in (*right, *(number ^ 1 for number in right), 0, 65535)
        }
        assert sorted(number for number, found in told.items() if not found) == sorted(right)
        first, *others = [f"0x{number:04X}" for number in right]
        assert told[0] == [
            "the parameter_crc of SC1 is 0x0000, but from its sil, addresses and watchdog follows "
            f"{first} (or {', '.join(others)} with one or both check flags)"
        ]

    @pytest.mark.parametrize("absent", range(5))
    def test_what_is_not_stated_contradicts_nothing(self, absent: int) -> None:
        rows = [*self.ALL.split(", "), "parameter_crc = 4711", ""]
        watchdog = "100" if rows[absent] else ""
        stated = ", ".join(row for at, row in enumerate(rows) if row and at != absent)
        assert self.found(self.end_3_1("host", stated, watchdog=watchdog)) == []

    def test_out_of_range_is_another_finding(self) -> None:
        wrong = self.ALL.replace("sil = 3", "sil = 9")
        one = self.end_3_1("host", f"{wrong}, parameter_crc = 1", watchdog="100")
        assert self.found(one) == []

    @pytest.mark.parametrize(
        ("timeout_us", "watchdog_ms", "fits"),
        [
            (100_000, 100, True),
            (99_001, 100, True),
            (99_000, 100, False),
            (100_001, 100, False),
            (100_000, None, True),
            ('"x"', 100, True),
        ],
    )
    def test_the_timeout_is_the_watchdog(
        self, timeout_us: object, watchdog_ms: int | None, fits: bool
    ) -> None:
        """The reaction time MUST NOT be computed from less than the consumer waits."""
        more = f', role = "consumer" }}\nparameters = {{ consumer_timeout_us = {timeout_us}'
        one = end("SC1", profile="opcua-safety", receives="0.0 a\n0.1 reserved 7", more=more)
        one = replace(one, connection_table=replace(one.connection_table, watchdog_ms=watchdog_ms))
        assert self.found(one) == [
            f"the timeout of SC1 is {timeout_us} us, its watchdog {watchdog_ms} ms"
        ] * (not fits)

    @pytest.mark.parametrize("turned", [False, True])
    @pytest.mark.parametrize(
        ("delay", "timeout", "fits"),
        [(9, 10, True), (10, 10, False), ('"x"', 10, True), (10, '"x"', True)],
    )
    def test_the_timeout_is_more_than_the_delay(
        self, delay: object, timeout: object, fits: bool, turned: bool
    ) -> None:
        """What never comes in time MUST NOT pass."""
        stated = {
            "provider": f"provider_delay_us = {delay}",
            "consumer": f"consumer_timeout_us = {timeout}",
        }
        ends = [
            end(name, profile="opcua-safety", more=f', role = "{role}" }}\nparameters = {{ {row}')
            for name, (role, row) in zip(("SC1", "LX"), stated.items(), strict=True)
        ][:: -1 if turned else 1]
        report = checks.check(Connection(first=ends[0], second=ends[1]))
        found = [f.message for f in report.findings if f.rule == "parameters-do-not-fit"]
        assert found == [
            "SC1 may take 10 us to answer, LX waits 10 us for the answer and its way"
        ] * (not fits)

    @pytest.mark.parametrize("role", ["provider", "consumer"])
    def test_signature_of_several_types(self, role: str) -> None:
        """Identifier, types and their order enter, by a second implementation."""
        rows = (
            '0.0 a width = 16, type = "int"\n2.0 b width = 32, type = "float"\n'
            '6.0 c width = 8, type = "uint"\n7.0 d\n7.1 reserved 7'
        )
        right = signature_ua("Lift", (4, 10, 3, 1))
        for number in (right, right ^ 1, signature_ua("Lift", (10, 4, 3, 1))):
            stated = f'structure_identifier = "Lift", structure_signature = {number}'
            more = f', role = "{role}" }}\nparameters = {{ {stated}'
            way = {"sends" if role == "provider" else "receives": rows}
            one = end("SC1", profile="opcua-safety", more=more, **way)
            assert self.found(one) == [
                f"the structure_signature of SC1 is 0x{number:08X}, but from its "
                "structure_identifier and the types of its 4 signals follows "
                f"0x{right:08X}"
            ] * (number != right)

    @pytest.mark.parametrize(
        ("rows", "parameters", "number"),
        [
            ("0.0 a\n0.1 reserved 7", 'structure_identifier = "s", structure_signature = 1', 1),
            ("0.0 a\n0.1 reserved 7", "structure_signature = 1", 0),
            ("0.0 a\n0.1 reserved 7", 'structure_identifier = "s"', 0),
            (
                '0.0 a width = 8, type = "code"',
                'structure_identifier = "s", structure_signature = 1',
                0,
            ),
            ("0.0 a width = 3", 'structure_identifier = "s", structure_signature = 1', 0),
        ],
    )
    @pytest.mark.parametrize("role", ["provider", "consumer"])
    def test_signature(self, rows: str, parameters: str, number: int, role: str) -> None:
        way = {"sends" if role == "provider" else "receives": rows}
        more = f', role = "{role}" }}\nparameters = {{ {parameters}'
        one = end("SC1", profile="opcua-safety", more=more, **way)
        connection = Connection(first=one, second=end("LX", profile="opcua-safety"))
        found = [
            finding.message
            for finding in checks.check(connection).findings
            if finding.rule == "parameter-contradicts"
        ]
        assert len(found) == number
        assert all(
            "from its structure_identifier and the types of its 1 signal follows" in one
            for one in found
        )

    def test_a_profile_without_such_numbers(self) -> None:
        one = end("SC1", profile="fscp-13-1", more=" }\nparameters = { domain = 3")
        connection = Connection(first=one, second=end("LX", profile="fscp-13-1"))
        rules = {finding.rule for finding in checks.check(connection).findings}
        assert "parameter-contradicts" not in rules
