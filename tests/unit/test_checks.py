"""Texts, numbers and corners of the rules beyond their own example maps."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from typing import Any, ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe import _mapfile as mapfile
from safeframe._bits import Place
from safeframe._errors import UsageError
from safeframe._findings import Finding, Report, each_one
from safeframe._fingerprint import wire_fingerprint
from safeframe._model import Allowance, Connection, End, Map, Reserved, Scalar, Signal
from safeframe._source import Location
from safeframe.protocols import ParameterRule, load, loads
from tests.strategies import clean_connections

HEAD = """\
format = "safeframe-map/1"
connection = {{ name = "SC1-LX", profile = "{profile}", id = 263 }}
end = {{ name = "{name}", peer = "{peer}"{more} }}
"""


def end(
    name: str, *, sends: str = "", receives: str = "", profile: str = "plain", more: str = ""
) -> End:
    """Build an end from rows, each `at name[:width] key = value ...` or `at reserved N`."""
    peer = "LX" if name == "SC1" else "SC1"
    text = HEAD.format(name=name, peer=peer, profile=profile, more=more)
    for key, rows in (("sends", sends), ("receives", receives)):
        text += f"{key} = [\n"
        for row in rows.strip().splitlines():
            at, what, *rest = row.split(None, 2)
            if what == "reserved":
                text += f'  {{ at = "{at}", reserved = {rest[0]} }},\n'
            else:
                extra = f", {rest[0]}" if rest else ""
                bind = "" if "bind" in extra else f', bind = "{name}.{key}.{what}{at}"'
                text += f'  {{ at = "{at}", name = "{what}"{extra}{bind} }},\n'
        text += "]\n"
    return mapfile.loads(text, path=f"{name.lower()}.toml")


def pair(sent: str, received: str, profile: str = "plain") -> Connection:
    """Build a connection with these rows one way and, where it must hold data, one bit back."""
    back = "0.0 alive\n0.1 reserved 7" if profile == "fscp-12-1" else ""
    return Connection(
        first=end("SC1", sends=sent, receives=back, profile=profile),
        second=end("LX", sends=back, receives=received, profile=profile),
    )


def messages(report: Report) -> list[str]:
    return [finding.message for finding in report.findings]


def only(report: Report) -> Finding:
    assert len(report.findings) == 1, messages(report)
    return report.findings[0]


class TestPlaces:
    def test_inserted_without_shrinking_the_gap(self) -> None:
        found = only(
            checks.check(
                pair(
                    "0.0 permit_torque\n0.1 reserved 15",
                    "0.0 permit_torque\n0.1 brake2_release\n0.2 reserved 15",
                    "fscp-12-1",
                )
            )
        )
        assert found.message == (
            "brake2_release (1 bit at 0.1) exists at LX only; SC1 has these bits reserved; the "
            "data are 16 bits at SC1 and 17 at LX; 17 bits are no legal size at LX (next legal "
            "sizes: 4, 6, 8 octets)"
        )
        assert found.remedy == (
            "remove it at LX (reserve 15 bits at 0.1 instead of 15 at 0.2 there)"
        )

    def test_last_reserved_bits_are_used_up(self) -> None:
        found = only(
            checks.check(pair("0.0 a\n0.1 reserved 7", '0.0 a\n0.1 b width = 7, valid_by = "a"'))
        )
        assert "its 7 bits are used up" in found.remedy

    def test_content_at_the_other_end(self) -> None:
        partly = checks.check(
            pair(
                "0.0 a\n0.1 reserved 1\n0.2 b\n0.3 reserved 5",
                '0.0 a\n0.1 x width = 7, valid_by = "a"',
            )
        )
        assert any("LX only; SC1 has b there" in m for m in messages(partly))
        eight = "\n".join(f"0.{bit} s{bit}" for bit in range(8))
        beyond = only(checks.check(pair(eight, f"{eight}\n1.0 b\n1.1 reserved 7")))
        assert "SC1 ends its data before that" in beyond.message
        hole = checks.check(pair("0.0 a\n0.2 c", "0.0 a\n0.1 b\n0.2 c"))
        assert any("SC1 declares nothing there" in message for message in messages(hole))

    def test_overlapping_one_sided_signal(self) -> None:
        found = checks.check(
            pair(
                '0.0 a width = 2, valid_by = "a"\n0.2 reserved 6',
                '0.0 a width = 2, valid_by = "a"\n0.1 b\n0.2 reserved 6',
            )
        )
        finding, _ = found.findings
        assert finding.rule == "overlap"
        assert finding.details == (
            "one-sided-signal: b (1 bit at 0.1) exists at LX only; SC1 has a there",
        )
        assert finding.remedy == "remove b"

    def test_shift_up_to_a_gap(self) -> None:
        found = only(
            checks.check(
                pair(
                    "0.0 a\n0.1 b\n0.2 reserved 5\n0.7 z",
                    "0.0 x\n0.1 a\n0.2 b\n0.3 reserved 4\n0.7 z",
                )
            )
        )
        assert found.message == (
            "all 2 signals from a (0.0 at SC1) to b (0.1) are 1 bit later at LX; x (1 bit at 0.0) "
            "stands at LX only; a gap takes the shift up again, so the size stays the same"
        )
        assert found.remedy == (
            "remove x at LX and place a and b at LX as at SC1 (reserve 5 bits at 0.2 instead of 4 "
            "at 0.3 at LX), or insert x at 0.0 at SC1 as well and place a and b at SC1 as at LX "
            "(reserve 4 bits at 0.3 instead of 5 at 0.2 at SC1)"
        )
        assert found.details == ("a: 0.0 at SC1, 0.1 at LX", "b: 0.1 at SC1, 0.2 at LX")
        assert found.cause == "shift by 1 bit later from 0.0 on"

    def test_one_shifted_signal(self) -> None:
        found = only(
            checks.check(pair("0.0 x\n0.1 y\n0.2 a\n0.3 reserved 5", "0.0 a\n0.1 reserved 7"))
        )
        assert found.message == (
            "a (0.2 at SC1) is 2 bits earlier at LX; x (1 bit at 0.0), y (1 bit at 0.1) stand at "
            "SC1 only"
        )
        assert found.remedy == (
            "insert x at 0.0 and y at 0.1 at LX as well and place a at LX as at SC1 (reserve 5 "
            "bits at 0.3 instead of 7 at 0.1 at LX), or remove x and y at SC1 and place a at SC1 "
            "as at LX (reserve 7 bits at 0.1 instead of 5 at 0.3 at SC1)"
        )

    def test_reserve_in_the_middle(self) -> None:
        found = only(
            checks.check(
                pair(
                    "0.0 a\n0.1 reserved 6\n0.7 b\n1.0 c\n1.1 reserved 7",
                    "0.0 a\n0.1 reserved 5\n0.6 b\n0.7 c\n1.0 reserved 8",
                )
            )
        )
        assert found.message == (
            "reserve 5 bits at LX instead of 6 as at SC1 (0.1-0.5 against 0.1-0.6); 2 signals "
            "from b on are 1 bit earlier at LX"
        )
        assert found.remedy == (
            "place b and c at LX as at SC1 (reserve 6 bits at 0.1 instead of 5, 7 bits at 1.1 "
            "instead of 8 at 1.0 at LX), or place b and c at SC1 as at LX (reserve 5 bits at 0.1 "
            "instead of 6, 8 bits at 1.0 instead of 7 at 1.1 at SC1)"
        )

    def test_reserve_before_one_signal(self) -> None:
        found = checks.check(
            pair(
                "0.0 a\n0.1 reserved 6\n0.7 b\n1.0 reserved 8",
                "0.0 a\n0.1 reserved 4\n0.5 b\n0.6 reserved 10",
            )
        )
        assert messages(found) == [
            "b is at 0.7 at SC1 but at 0.5 at LX, where SC1 has these bits reserved"
        ]

    def test_width_with_followers(self) -> None:
        found = only(
            checks.check(
                pair(
                    '0.0 a width = 2, valid_by = "b"\n0.2 b\n0.3 c\n0.4 reserved 4',
                    '0.0 a width = 3, valid_by = "b"\n0.3 b\n0.4 c\n0.5 reserved 3',
                )
            )
        )
        assert found.message == (
            "a at 0.0 is 2 bits wide at SC1 and 3 bits at LX; 2 signals behind it are 1 bit later "
            "at LX"
        )

    def test_rearranged_with_extras(self) -> None:
        found = checks.check(
            pair(
                "\n".join(f"0.{bit} {name}" for bit, name in enumerate("abcdefgh")),
                "0.0 b\n0.1 c\n0.2 x\n0.3 a\n0.4 d\n0.5 h\n0.6 e\n0.7 f\n1.0 g\n1.1 reserved 7",
            )
        )
        rearranged = [f for f in found.findings if f.rule == "rearranged-signals"]
        assert "at one end only: x (1 bit at 0.2)" in rearranged[0].message


class TestSizes:
    def test_whole_octets_of_an_illegal_number(self) -> None:
        rows = "0.0 a\n0.1 reserved 23"
        found = only(checks.check(pair(rows, rows, "fscp-12-1")))
        assert found.message.startswith("the safety data are 24 bits = 3 octets long; legal are ")
        assert found.message.endswith("next legal sizes: 4, 6, 8 octets")
        assert found.remedy == (
            "reserve 15 bits instead of 23 at 0.1 (2 octets), or reserve 8 bits more (4 octets)"
        )

    def test_sizes_from_the_map(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 31", "0.0 a\n0.1 reserved 31")
        limited = Connection(
            first=replace(
                connection.first,
                connection_table=replace(connection.first.connection_table, legal_octets=(1, 2)),
            ),
            second=replace(
                connection.second,
                connection_table=replace(connection.second.connection_table, legal_octets=(1, 2)),
            ),
        )
        found = only(checks.check(limited))
        assert found.message == (
            "the safety data are 32 bits = 4 octets long; legal are 1, 2 octets (from the map)"
        )
        assert found.remedy == "reserve 15 bits instead of 31 at 0.1 (2 octets)"

    def test_nothing_to_shorten(self) -> None:
        rows = "\n".join(f"{n // 8}.{n % 8} s{n}" for n in range(24))
        both = pair(rows, rows).ends
        ends = [
            replace(one, connection_table=replace(one.connection_table, legal_octets=(1, 2)))
            for one in both
        ]
        found = only(checks.check(Connection(first=ends[0], second=ends[1])))
        assert found.remedy == "change the size of the data until it is legal"

    def test_signals_leave_no_room_to_shorten(self) -> None:
        rows = "\n".join(f"{n // 8}.{n % 8} s{n}" for n in range(17)) + "\n2.1 reserved 7"
        found = only(checks.check(pair(rows, rows, "fscp-12-1")))
        assert found.remedy == "reserve 8 bits more (4 octets)"

    def test_a_direction_without_data(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        connection = Connection(
            first=end("SC1", sends=rows, profile="fscp-12-1"),
            second=end("LX", receives=rows, profile="fscp-12-1"),
        )
        found = only(checks.check(connection))
        assert found.direction == "LX -> SC1"
        assert found.message.startswith("the safety data are 0 bits = 0 octets long")

    def test_the_legal_end_is_right(self) -> None:
        long, short = "0.0 a\n0.1 reserved 23", "0.0 a\n0.1 reserved 15"
        assert only(checks.check(pair(long, short, "fscp-12-1"))).remedy == (
            "have the reserve at SC1 as at LX (reserve 15 bits at 0.1 instead of 23 at SC1)"
        )
        assert only(checks.check(pair(short, long, "fscp-12-1"))).remedy == (
            "have the reserve at LX as at SC1 (reserve 15 bits at 0.1 instead of 23 at LX)"
        )

    def test_no_whole_octet_without_any_legal_sizes(self) -> None:
        found = only(checks.check(pair("0.0 a", "0.0 a")))
        assert found.message.endswith("; next legal size: 1 octet")
        assert found.remedy == "reserve 7 bits more (1 octet)"

    def test_both_ends_wrong_in_their_own_way(self) -> None:
        found = checks.check(pair("0.0 a\n0.1 reserved 2", "0.0 a\n0.1 reserved 4", "fscp-12-1"))
        sizes = [f.message for f in found.findings if f.rule == "illegal-size"]
        assert [text.partition(" long")[0] for text in sizes] == [
            "the safety data are 3 bits",
            "the safety data are 5 bits",
        ]

    def test_no_larger_size_in_a_difference(self) -> None:
        profile = load("opcua-safety")
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 12100", "opcua-safety")
        report = checks.check(connection, own_profiles={"opcua-safety": profile})
        text = next(f.message for f in report.findings if f.rule == "reserve-differs")
        assert text.endswith("12101 bits are no legal size at LX")


class TestShape:
    def test_two_bit_hole(self) -> None:
        rows = "0.0 a\n0.3 reserved 5"
        found = only(checks.check(pair(rows, rows)))
        assert found.message == "2 bits at 0.1-0.2 are not declared"
        assert found.remedy == 'declare { at = "0.1", reserved = 2 }'
        assert [str(spot.where) for spot in found.spots] == ["sc1.toml:6", "lx.toml:8"]

    def test_overlap_of_signals(self) -> None:
        rows = '0.0 a width = 4, valid_by = "c"\n0.2 b width = 2, valid_by = "c"\n'
        rows += "0.4 c\n0.5 reserved 3"
        found = only(checks.check(pair(rows, rows)))
        assert found.message == "a and b share 2 bits at 0.2-0.3"
        assert found.remedy == "move b to 0.5 (reserve 1 bit at 0.7 instead of 3 at 0.5)"

    def test_wide_value_may_start_at_a_block(self) -> None:
        rows = '0.0 a width = 32, valid_by = "b"\n4.0 b\n4.1 reserved 15'
        assert checks.check(pair(rows, rows, "fscp-12-1")).findings == ()


@pytest.mark.parametrize(
    "word",
    [
        *("reserve", "reserved", "res", "resv", "spare", "pad", "padding", "unused", "dummy"),
        *("filler", "f\u0131ller", "gap", "free", "notused", "not_used"),
    ],
)
def test_every_word_for_padding_is_found(word: str) -> None:
    """MUST: what is looked at first, how a name begins, leaves no name out."""
    rest = Reserved(at=Place(0, 1), width=7)
    for name in (word, word.upper(), word.title(), f"{word}_12", f"{word}-", f"{word} 3"):
        map_ = Map(entries=(Signal(name=name, at=Place(0, 0)), rest))
        given = pair("", "")
        given = Connection(
            first=replace(given.first, sends=map_), second=replace(given.second, receives=map_)
        )
        assert "padding-as-signal" in {one.rule for one in checks.check(given).findings}


class TestMeaning:
    def test_edges_that_differ_on_the_way_back(self) -> None:
        found = only(
            checks.check(
                pair(
                    '0.0 ack edge = "rising"\n0.1 reserved 7',
                    '0.0 ack edge = "both"\n0.1 reserved 7',
                )
            )
        )
        assert found.counterexample is not None
        assert (found.counterexample.before, found.counterexample.octets) == (b"\x01", b"\x00")
        assert found.counterexample.rows == (("ack", "1 to 0: no action", "1 to 0: acts"),)

    def test_edge_against_level(self) -> None:
        found = only(
            checks.check(pair('0.0 ack edge = "rising"\n0.1 reserved 7', "0.0 ack\n0.1 reserved 7"))
        )
        assert found.message == (
            "the acting edge of ack (0.0) is rising at SC1 and none (a level) at LX"
        )
        assert found.counterexample is not None
        assert found.counterexample.rows == (("ack", "0 to 1: acts", "0 to 1: read as a level"),)

    def test_code_witness_needs_two_ones(self) -> None:
        codes = '0.0 lvl width = 2, type = "code", '
        codes += 'codes = {{ 0 = "a", 1 = "b", 2 = "c", 3 = "{}" }}\n0.2 reserved 6'
        found = only(checks.check(pair(codes.format("d"), codes.format("e"))))
        assert found.message == (
            "the code points of lvl (0.0-0.1) differ between SC1 and LX: 3: d / e"
        )
        assert found.counterexample is not None
        assert found.counterexample.octets == b"\x03"

    def test_code_points_of_one_end_only(self) -> None:
        row = '0.0 lvl width = 2, type = "code", codes = {{ 0 = "a", 1 = "b"{} }}\n0.2 reserved 6'
        found = checks.check(pair(row.format(""), row.format(', 2 = "c", 3 = "d"')))
        assert any("2: not named / c" in message for message in messages(found))

    def test_lookalike_across_the_ends_shows_code_points(self) -> None:
        found = only(checks.check(pair("0.0 brake\n0.1 reserved 7", "0.0 brаke\n0.1 reserved 7")))
        assert found.rule == "near-miss-name"
        assert "(as code points: 'brake' and 'br\\u0430ke')" in found.message

    def test_lookalike_in_ascii(self) -> None:
        rows = "0.0 torque_on\n0.1 TorqueOn\n0.2 reserved 6"
        found = only(checks.check(pair(rows, rows)))
        assert found.message == "torque_on and TorqueOn look alike"

    def test_many_unbound_signals_are_one_finding(self) -> None:
        rows = "\n".join(f'0.{bit} s{bit} bind = ""' for bit in range(7)) + "\n0.7 reserved 1"
        found = checks.check(pair(rows, rows)).findings
        assert [f.message for f in found] == [
            f"7 signals of 7 are bound to no variable at {name}: s0 (0.0), s1 (0.1), s2 (0.2), "
            "s3 (0.3), s4 (0.4) and 2 more"
            for name in ("SC1", "LX")
        ]

    def test_wide_code_lists_the_first_missing_values(self) -> None:
        rows = '0.0 lvl width = 4, type = "code", codes = { 0 = "a" }\n0.4 reserved 4'
        found = only(checks.check(pair(rows, rows)))
        assert found.message == (
            "lvl (0.0-0.3) can carry 16 values, 15 of them without a name: "
            "1, 2, 3, 4, 5, 6, 7, 8 ..."
        )

    def test_validity_bit_that_does_not_exist(self) -> None:
        rows = '0.0 height width = 8, valid_by = "height_ok"'
        found = only(checks.check(pair(rows, rows)))
        assert found.message == (
            "the validity bit height_ok of height (0.0-0.7) is not in this direction"
        )

    def test_validity_bits_spelt_differently(self) -> None:
        sent = '0.0 height width = 8, valid_by = "height_ok"\n1.0 height_ok\n1.1 reserved 7'
        received = '0.0 height width = 8, valid_by = "heightok"\n1.0 heightok\n1.1 reserved 7'
        assert [f.rule for f in checks.check(pair(sent, received)).findings] == ["near-miss-name"]

    def test_type_of_a_narrowed_bit_is_the_widths_fault(self) -> None:
        found = checks.check(
            pair(
                '0.0 a width = 2, valid_by = "b"\n0.2 b\n0.3 reserved 5',
                "0.0 a\n0.1 reserved 1\n0.2 b\n0.3 reserved 5",
            )
        )
        assert "type-differs" not in [f.rule for f in found.findings]

    def test_mirror_of_nothing(self) -> None:
        rows = '0.0 on mirrors = "go"\n0.1 reserved 7'
        found = checks.check(pair(rows, rows)).findings
        assert [f.message for f in found] == [
            f"on (0.0) mirrors go, which {name} does not have in the opposite direction"
            for name in ("SC1", "LX")
        ]

    @pytest.mark.parametrize(
        ("echo", "of", "unlike"),
        [
            ("", "go", ""),
            ("width = 8", "go", "width and another type"),
            ('width = 8, unit = "mm"', 'go width = 8, unit = "m"', "unit"),
            ('width = 8, unit = "mm"', "go width = 8", ""),
            ('width = 8, scale = "1.0"', 'go width = 8, scale = "1"', ""),
            ('width = 8, scale = "0.1"', 'go width = 8, type = "int"', "type and another scale"),
        ],
    )
    def test_mirror_of_something_unlike(self, echo: str, of: str, unlike: str) -> None:
        """What cannot be repeated MUST NOT be taken for repeated."""
        on = f'0.0 on mirrors = "go"{echo and f", {echo}"}'
        connection = Connection(
            first=end("SC1", sends=on, receives=f"0.0 {of}"),
            second=end("LX", sends=f"0.0 {of}", receives=on),
        )
        found = [f for f in checks.check(connection).findings if f.rule == "assumed-mirror"]
        assert [f.message.partition(" which ")[2] for f in found] == [
            f"has another {unlike} at {name}" for name in ("SC1", "LX") if unlike
        ]
        words = "name the signal that is repeated as it is, or remove mirrors"
        assert {f.remedy for f in found} <= {words}

    def test_mirror_of_something_else(self) -> None:
        connection = Connection(
            first=end(
                "SC1",
                sends="0.0 go\n0.1 run\n0.2 reserved 6",
                receives='0.0 on mirrors = "go"\n0.1 reserved 7',
            ),
            second=end(
                "LX",
                sends='0.0 on mirrors = "run"\n0.1 reserved 7',
                receives="0.0 go\n0.1 run\n0.2 reserved 6",
            ),
        )
        assert messages(checks.check(connection)) == [
            "SC1 takes on (0.0) for the echo of go; LX, which produces it, says it mirrors run"
        ]

    def test_channels_are_not_misspelt(self) -> None:
        rows = "{}\n1.0 a_valid\n1.1 b_valid\n1.2 reserved 6"
        found = checks.check(
            pair(
                rows.format('0.0 height width = 8, valid_by = "a_valid"'),
                rows.format('0.0 height width = 8, valid_by = "b_valid"'),
            )
        )
        assert messages(found) == [
            "the validity bit of height (0.0-0.7) is a_valid at SC1 and b_valid at LX"
        ]

    def test_meaning_at_one_end_only(self) -> None:
        found = only(
            checks.check(pair('0.0 a one_means = "go"\n0.1 reserved 7', "0.0 a\n0.1 reserved 7"))
        )
        assert found.message == "the meaning of 1 of a (0.0) is 'go' at SC1 and not stated at LX"

    def test_swapped_names_are_one_finding(self) -> None:
        sent = '0.0 a one_means = "x"\n0.1 b one_means = "y"\n0.2 reserved 6'
        received = '0.0 b one_means = "x"\n0.1 a one_means = "y"\n0.2 reserved 6'
        assert only(checks.check(pair(sent, received))).rule == "swapped-signals"

    def test_numbers_differ_by_more_than_zero(self) -> None:
        rows = '0.0 height width = 8, unit = "{}", valid_by = "ok"\n1.0 ok\n1.1 reserved 7'
        found = only(checks.check(pair(rows.format("mm"), rows.format("cm"))))
        assert found.counterexample is not None
        assert found.counterexample.rows == (("height", "1 mm, not valid", "1 cm, not valid"),)


class TestWitness:
    def test_part_of_another_signal(self) -> None:
        found = checks.check(
            pair(
                '0.0 a width = 2, valid_by = "c"\n0.2 c\n0.3 reserved 5',
                "0.0 a\n0.1 b\n0.2 c\n0.3 reserved 5",
            )
        )
        rows = [row for f in found.findings if f.counterexample for row in f.counterexample.rows]
        assert ("b", "part of a = 1, not valid", "0") in rows

    def test_undeclared_and_missing_bits(self) -> None:
        hole = checks.check(
            pair("0.0 a\n0.2 c\n0.3 reserved 5", "0.0 a\n0.1 b\n0.2 c\n0.3 reserved 5")
        )
        rows = [row for f in hole.findings if f.counterexample for row in f.counterexample.rows]
        assert rows == [("b", "nothing declared", "0")]
        eight = "\n".join(f"0.{bit} s{bit}" for bit in range(8))
        beyond = only(checks.check(pair(eight, f"{eight}\n1.0 b\n1.1 reserved 7")))
        assert beyond.counterexample is None, "the frame is too short to be read at all"

    def test_names_of_both_ends(self) -> None:
        report = checks.check(
            pair(
                '0.0 door one_means = "open"\n0.1 reserved 7',
                '0.0 gate one_means = "shut"\n0.1 reserved 7',
            )
        )
        (found,) = [f for f in report.findings if f.rule == "renamed-signal"]
        assert found.counterexample is not None
        assert found.counterexample.rows == (("door / gate", "1 (open)", "1 (shut)"),)

    def test_an_allowed_name_hides_no_other_meaning(self) -> None:
        """Two names may be wanted; that they mean the opposite is another thing."""
        sent = '0.0 door one_means = "open"\n0.1 reserved 7'
        received = '0.0 gate one_means = "shut"\n0.1 reserved 7'
        connection = pair(sent, received)
        assert "meaning-differs" not in {one.rule for one in checks.check(connection).findings}
        first, second = (
            replace(one, allowances=(Allowance(rule="renamed-signal", reason="r", signal=name),))
            for one, name in zip(connection.ends, ("door", "gate"), strict=True)
        )
        for changed in (replace(connection, first=first), replace(connection, second=second)):
            assert [one.rule for one in checks.check(changed).findings] == ["meaning-differs"]
        same = pair(sent, received.replace("shut", "open"))
        named = replace(same.first, allowances=first.allowances)
        assert not checks.check(replace(same, first=named)).findings

    def test_reserved_values_are_part_of_what_is_sent(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 b\n0.2 reserved 6")
        entry = connection.first.sends.entries[1]
        assert isinstance(entry, Reserved)
        sends = Map(entries=(connection.first.sends.entries[0], replace(entry, value=1)))
        report = checks.check(replace(connection, first=replace(connection.first, sends=sends)))
        (found,) = [f for f in report.findings if f.rule == "one-sided-signal"]
        assert found.counterexample is not None
        assert found.counterexample.octets == b"\x02"
        assert found.counterexample.rows == (("b", "reserved", "1"),)

    def test_no_witness_where_names_are_all(self) -> None:
        found = only(checks.check(pair("0.0 door\n0.1 reserved 7", "0.0 gate\n0.1 reserved 7")))
        assert found.rule == "renamed-signal"
        assert found.counterexample is None


class TestTerms:
    def test_one_end_twice(self) -> None:
        first = end("SC1", sends="0.0 a\n0.1 reserved 7")
        found = only(checks.check(Connection(first=first, second=first)))
        assert found.message == "both files describe the end SC1"
        assert found.remedy == (
            "give one file per end; to compare two versions of one end use diff"
        )

    def test_edition_the_facts_do_not_cover(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        connection = pair(rows, rows, "fscp-12-1")
        later = [
            replace(one, connection_table=replace(one.connection_table, edition="2031"))
            for one in connection.ends
        ]
        found = only(checks.check(Connection(first=later[0], second=later[1])))
        assert found.message.endswith("hold for edition 2010, 2010+A1:2019, not for 2031")

    def test_role_the_profile_does_not_know(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7", "fscp-12-1")
        odd = replace(connection, first=replace(connection.first, role="chief"))
        assert messages(checks.check(odd)) == ["the role of SC1 must be master or slave, not chief"]

    def test_missing_id(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7", "fscp-12-1")
        first = replace(
            connection.first, connection_table=replace(connection.first.connection_table, id=None)
        )
        found = only(checks.check(replace(connection, first=first)))
        assert found.message == "the connection id must be 1..65535, but SC1 states none"
        second = replace(
            connection.second,
            connection_table=replace(connection.second.connection_table, id=70000),
        )
        assert messages(checks.check(Connection(first=first, second=second))) == [
            "the connection id must be 1..65535, but SC1 states none and LX states 70000 (0x11170)"
        ]

    def test_different_ids_are_shown_as_both_tools_may_show_them(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7")
        second = replace(
            connection.second, connection_table=replace(connection.second.connection_table, id=264)
        )
        assert only(checks.check(replace(connection, second=second))).message == (
            "the connection id is 263 (0x0107) at SC1 and 264 (0x0108) at LX"
        )

    def test_watchdog_out_of_range(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7", "fscp-12-1")
        zero = [
            replace(one, connection_table=replace(one.connection_table, watchdog_ms=0))
            for one in connection.ends
        ]
        found = only(checks.check(Connection(first=zero[0], second=zero[1])))
        assert found.message == "the watchdog must be 1..65535 ms, not 0"
        assert len(found.spots) == 2

    def test_different_lists_of_sizes(self) -> None:
        connection = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7")
        first = replace(
            connection.first,
            connection_table=replace(connection.first.connection_table, legal_octets=(1, 2)),
        )
        assert messages(checks.check(replace(connection, first=first))) == [
            "the list of legal sizes is 1, 2 at SC1 and not stated at LX"
        ]

    @pytest.mark.parametrize(
        ("key", "value", "text"),
        [
            ("provider_id", "x", "the parameter provider_id of SC1 must be of type int, not x"),
            ("provider_id", 0, "must be configured (0 means not configured), not 0"),
            ("provider_id", -1, "must be 0..4294967295, not -1"),
            ("provider_id", 1 << 32, "must be 0..4294967295, not 4294967296"),
            ("provider_level", 5, "must be one of 1, 2, 3, 4, not 5"),
            ("base_id", "7", "must be a GUID such as 72962b91-fa75-4ae6-8d28-b404dc7daf63, not 7"),
        ],
    )
    def test_parameter_values(self, key: str, value: int | str, text: str) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        first = end("SC1", sends=rows, profile="opcua-safety", more=', role = "provider"')
        second = end("LX", receives=rows, profile="opcua-safety", more=', role = "consumer"')
        good: dict[str, Scalar] = {
            "provider_id": 42,
            "base_id": "72962b91-fa75-4ae6-8d28-b404dc7daf63",
            "provider_level": 3,
        }
        first = replace(first, parameters=tuple(sorted((good | {key: value}).items())))
        second = replace(second, parameters=tuple(sorted((good | {"consumer_id": 7}).items())))
        report = checks.check(Connection(first=first, second=second))
        assert any(text in message for message in messages(report)), messages(report)

    @pytest.mark.parametrize("value", [0, 1, 0xFFFFFFFF])
    def test_parameters_at_the_ends_of_their_range(self, value: int) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        made = replace(end("SC1", sends=rows, profile="opcua-safety"), parameters=())
        stated = replace(made, parameters=(("provider_id", value),))
        report = checks.check(Connection(first=stated, second=end("LX", receives=rows)))
        assert [text for text in messages(report) if "provider_id of SC1 must be 0" in text] == []

    def test_listed_parameters_that_both_ends_must_hold_alike(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        ends = [
            replace(end("SC1", sends=rows, profile="fscp-3-1"), parameters=(("sil", 2),)),
            replace(end("LX", receives=rows, profile="fscp-3-1"), parameters=(("sil", 3),)),
        ]
        told = messages(checks.check(Connection(first=ends[0], second=ends[1])))
        assert "the parameter sil is 2 at SC1 and 3 at LX" in told
        alike = [replace(one, parameters=(("sil", 3),)) for one in ends]
        told = messages(checks.check(Connection(first=alike[0], second=alike[1])))
        assert not [text for text in told if "parameter sil is" in text]

    def test_parameters_that_no_profile_lists_must_be_equal(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        first = replace(end("SC1", sends=rows), parameters=(("domain", 1), ("x", True)))
        second = replace(end("LX", receives=rows), parameters=(("domain", 2), ("x", 1), ("y", 3)))
        assert messages(checks.check(Connection(first=first, second=second))) == [
            "the parameter domain is 1 at SC1 and 2 at LX",
            "the parameter x is true at SC1 and 1 at LX",
            "the parameter y is not stated at SC1 and 3 at LX",
        ]

    def test_unknown_profile_has_no_limits(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        assert messages(checks.check(pair(rows, rows, "my-link"))) == [
            "no profile is called my-link"
        ]
        own = {"my-link": replace(load("plain"), name="my-link")}
        assert checks.check(pair(rows, rows, "my-link"), own_profiles=own).findings == ()


class TestParametersOfAnOwnProfile:
    """What a profile says of parameters MUST be judged, whoever wrote it."""

    def told(self, rules: str, *stated: dict[str, Scalar], more: str = "") -> list[str]:
        profile = loads(
            'format = "safeframe-profile/1"\nname = "hall3"\ntitle = "Hall 3"\n'
            f'roles = ["leader", "follower"]\n{more}parameters = [{{ name = "seed", {rules} }}]'
        )
        rows = "0.0 a\n0.1 reserved 7"
        connection = Connection(
            first=end("SC1", sends=rows, profile="hall3", more=', role = "leader "'),
            second=end("LX", receives=rows, profile="hall3", more=', role = "follower"'),
        )
        first, second = (
            replace(one, parameters=tuple(given.items()))
            for one, given in zip(connection.ends, stated, strict=True)
        )
        connection = Connection(first=first, second=second)
        return messages(checks.check(connection, own_profiles={"hall3": profile}))

    @pytest.mark.parametrize("more", ["", "sizes = [{ first = 0 }]\n"], ids=["free", "sized"])
    def test_without_sizes_as_with_them(self, more: str) -> None:
        rules = 'type = "int", minimum = 1, maximum = 9, required = true, shared = true'
        assert self.told(rules, {"seed": 1}, {"seed": 1}, more=more) == []
        assert self.told(rules, {"seed": 10}, {}, more=more) == [
            "the parameter seed of LX is missing",
            "the parameter seed of SC1 must be 1..9, not 10",
        ]
        assert self.told(rules, {"seed": 1}, {"seed": 1, "sed": 2}, more=more) == [
            "a parameter of LX must be one of seed, not sed"
        ]

    @pytest.mark.parametrize(
        ("rules", "value", "told"),
        [
            ('type = "int", minimum = -5', -6, "must be -5 or more, not -6"),
            ('type = "int", maximum = 5', 6, "must be at most 5, not 6"),
            ('type = "int"', True, "must be of type int, not true"),
        ],
    )
    def test_one_limit_alone_and_words(self, rules: str, value: int, told: str) -> None:
        assert self.told(rules, {"seed": value}, {"seed": value}) == [
            f"the parameter seed of {name} {told}" for name in ("LX", "SC1")
        ]

    def test_a_truth_value_is_told_as_a_map_has_it(self) -> None:
        rules = 'type = "bool", shared = true'
        assert self.told(rules, {"seed": True}, {"seed": False}) == [
            "the parameter seed is false at LX and true at SC1"
        ]

    def test_one_that_both_roles_share(self) -> None:
        rules = 'type = "int", shared = true, roles = ["leader", "follower"]'
        assert self.told(rules, {"seed": 1}, {"seed": 2}) == [
            "the parameter seed is 2 at LX and 1 at SC1"
        ]

    def test_blanks_around_a_role_say_nothing(self) -> None:
        rules = 'type = "int", required = true, roles = ["leader"]'
        assert self.told(rules, {}, {}) == ["the parameter seed of SC1 is missing"]

    @pytest.mark.parametrize(
        ("roles", "who"),
        [(("", ""), "LX and SC1 state no role"), (("provider", " "), "LX states no role")],
    )
    def test_an_end_without_a_role(self, roles: tuple[str, str], who: str) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        ends = end("SC1", sends=rows, profile="opcua-safety"), end("LX", receives=rows)
        profile = ends[0].connection_table
        first, second = (
            replace(one, role=role, connection_table=profile)
            for one, role in zip(ends, roles, strict=True)
        )
        report = checks.check(Connection(first=first, second=second))
        (open_point,) = [one for one in report.not_judged if one.rule == "parameter-invalid"]
        assert open_point.reason == who
        assert open_point.subject == "consumer_id of one role"
        first = replace(first, role="provider")
        second = replace(second, role="consumer")
        report = checks.check(Connection(first=first, second=second))
        assert not [one for one in report.not_judged if one.rule == "parameter-invalid"]


class TestPlant:
    def test_networks_keep_ids_and_addresses_apart(self) -> None:
        rows = "0.0 a\n0.1 reserved 7"
        one, two = (
            Connection(
                first=replace(
                    first,
                    connection_table=replace(first.connection_table, network=hall),
                    address=address,
                ),
                second=replace(
                    second,
                    connection_table=replace(second.connection_table, network=hall),
                    address=address,
                ),
            )
            for hall, address in (("hall 4", None), ("hall 3", 1))
            for first, second in [pair(rows, rows).ends]
        )
        assert messages(checks.check_all([one, two])) == [
            "the safety address 1 is used by SC1 and LX in network hall 3"
        ]
        assert messages(checks.check_all([two, two]))[0] == (
            "the connection id 263 (0x0107) is used by SC1-LX (SC1 and LX) and SC1-LX (SC1 and LX) "
            "in network hall 3"
        )

    def placed(self, name: str, peer: str, network: str, address: int | None = None) -> Connection:
        """Build a connection of two ends that state a network or leave it open."""
        one = pair("0.0 a\n0.1 reserved 7", "0.0 a\n0.1 reserved 7")
        connection_table = replace(one.first.connection_table, name=name, network=network)
        first = replace(one.first, connection_table=connection_table, peer=peer, address=1)
        second = replace(one.second, connection_table=connection_table, name=peer, address=address)
        return Connection(first=first, second=second)

    def test_a_network_nobody_states_may_be_any(self) -> None:
        known, open_ = self.placed("A", "LX", "hall 3", 7), self.placed("B", "LX2", "", 7)
        report = checks.check_all([known, open_])
        assert messages(report) == [
            "the connection id 263 (0x0107) is used by A (SC1 and LX) and B (SC1 and LX2); "
            "B states no network",
            "the safety address 7 is used by LX and LX2; LX2 states no network",
        ]
        assert len(report.findings[0].spots) == 4
        also = self.placed("C", "LX3", "")
        assert messages(checks.check_all([known, open_, also]))[0].endswith(
            "; B and C state no network"
        )
        assert messages(checks.check_all([open_, also])) == [
            "the connection id 263 (0x0107) is used by B (SC1 and LX2) and C (SC1 and LX3)"
        ]

    def test_what_either_end_states_may_be_on_the_wire(self) -> None:
        """MUST: which map was named first decides nothing about ids that are used twice."""

        def ended(name: str, *stated: tuple[int | None, str, int]) -> Connection:
            made = self.placed(name, f"{name}X", "")
            first, second = (
                replace(
                    one,
                    connection_table=replace(
                        one.connection_table, profile="en50325-5", id=number, network=network
                    ),
                    address=None,
                    parameters=(("identifier_1", 257 + 2 * value),),
                )
                for one, (number, network, value) in zip(made.ends, stated, strict=True)
            )
            return Connection(first=first, second=second)

        def told(*given: Connection) -> list[tuple[str, list[str]]]:
            found = checks.check_all(given).findings
            return sorted(
                (one.message, [spot.end for spot in one.spots])
                for one in found
                if one.rule == "connection-id-reused"
            )

        def turned(one: Connection) -> Connection:
            return Connection(first=one.second, second=one.first)

        one = ended("A", (7, "hall 3", 1), (8, "hall 3", 2))
        for number, value in ((7, 1), (8, 2)):
            two = ended("B", (number, "hall 3", value), (number, "hall 3", value))
            found = told(one, two)
            assert [message.partition(" is used")[0] for message, _ in found] == [
                f"the connection id {number} (0x{number:04x})",
                f"the parameter identifier_1 {257 + 2 * value} (0x{257 + 2 * value:04x})",
            ]
            only = "SC1" if number == 7 else "AX"
            assert [ends for _, ends in found] == [[only, "SC1", "BX"]] * 2
            assert len(told(turned(one), two)) == 2
            assert len(told(one, turned(two))) == 2
        # Nothing keeps a connection apart that leaves its network open at one end.
        half = ended("A", (7, "", 1), (7, "hall 3", 1))
        two = ended("B", (7, "hall 4", 1), (7, "hall 4", 1))
        for each in (half, turned(half)):
            assert [message.rpartition("; ")[2] for message, _ in told(each, two)] == [
                "A states no network"
            ] * 2
        assert told(one) == told(half) == []

    def test_a_device_of_several_connections_does_not_clash_with_itself(self) -> None:
        connections = [self.placed("A", "LX", "hall 3"), self.placed("B", "LX2", "")]
        found = checks.check_all(connections).findings
        assert [finding.rule for finding in found] == ["connection-id-reused"]

    @given(st.lists(st.sampled_from(["", "hall 3", "hall 4"]), max_size=5))
    def test_ids_clash_unless_all_networks_are_stated_and_differ(self, networks: list[str]) -> None:
        """Two connections with one id MUST be found unless both state different networks."""
        connections = [
            self.placed(f"C{number}", f"L{number}", network)
            for number, network in enumerate(networks)
        ]
        found = checks.check_all(connections).findings
        clash = any(
            not left or not right or left == right for left, right in combinations(networks, 2)
        )
        assert bool(found) == clash


class TestAllowances:
    def allowed(self, *allowances: Allowance) -> Report:
        connection = pair('0.0 a bind = ""\n0.1 reserved 7', "0.0 a\n0.1 reserved 7")
        return checks.check(
            replace(connection, first=replace(connection.first, allowances=allowances))
        )

    def test_waives_with_its_reason(self) -> None:
        where = Location(path="sc1.toml", line=4)
        report = self.allowed(
            Allowance(rule="unbound-signal", signal="a", reason="kept for spare", where=where)
        )
        assert report.findings == ()
        assert report.waived[0].reason == "kept for spare"
        assert report.waived[0].where == where

    def test_what_keeps_all_else_from_being_judged_is_never_allowed(self) -> None:
        given = pair("0.0 a\n0.1 b\n0.2 reserved 6", "0.0 b\n0.1 a\n0.2 reserved 6")
        allowance = Allowance(rule="wrong-file", reason="a nickname")
        first = replace(given.first, peer="LX9", allowances=(allowance,))
        report = checks.check(replace(given, first=first))
        assert [found.rule for found in report.findings] == ["wrong-file"]
        assert report.waived == ()
        # Every other rule about one connection is told not to have judged it, the first in words.
        of_one = {rule.name for rule in checks.RULES if rule.scope != "plant"}
        left = [entry.rule for entry in report.not_judged]
        assert sorted(left) == sorted(of_one - {"wrong-file", "unused-allowance"})
        assert [entry.subject for entry in report.not_judged if entry.subject] == [
            "all else between the two files"
        ]

    def test_unused_ones_are_findings(self) -> None:
        report = self.allowed(
            Allowance(rule="unbound-signal", signal="b", reason="r"),
            Allowance(rule="no-such-rule", reason="r"),
        )
        assert messages(report)[1:] == [
            "SC1 allows unbound-signal of b, but there is no such finding",
            "SC1 allows no-such-rule, but no rule has that name",
        ]

    def test_one_signal_does_not_cover_another(self) -> None:
        rows = '0.0 a bind = ""\n0.1 b bind = ""\n0.2 reserved 6'
        connection = pair(rows, "0.0 a\n0.1 b\n0.2 reserved 6")
        allowance = Allowance(rule="unbound-signal", signal="a", reason="spare")
        first = replace(connection.first, allowances=(allowance,))
        report = checks.check(replace(connection, first=first))
        assert messages(report) == ["1 signal of 2 is bound to no variable at SC1: b (0.1)"]
        assert [waived.finding.message for waived in report.waived] == [
            "1 signal of 2 is bound to no variable at SC1: a (0.0)"
        ]

    def test_one_signal_does_not_cover_a_shift(self) -> None:
        connection = pair("0.0 a\n0.1 b\n0.2 reserved 6", "0.0 x\n0.1 a\n0.2 b\n0.3 reserved 5")
        allowance = Allowance(rule="shifted-signals", signal="a", reason="known")
        first = replace(connection.first, allowances=(allowance,))
        found = checks.check(replace(connection, first=first)).findings
        assert [f.rule for f in found] == ["shifted-signals", "unused-allowance"]
        words = "SC1 allows shifted-signals of a, but no such finding is about a alone"
        assert found[-1].message == words

    @pytest.mark.parametrize("side", ["sends", "receives"])
    def test_a_name_that_is_sent_and_received(self, side: str) -> None:
        """One signal that is allowed MUST NOT cover another one, whichever way it goes."""
        rows, bare = "0.0 a\n0.1 reserved 7", '0.0 a bind = ""\n0.1 reserved 7'
        given = end("SC1", sends=bare, receives=bare)
        second = end("LX", sends=rows, receives=rows)

        def report(name: str) -> Report:
            allowance = Allowance(rule="unbound-signal", signal=name, reason="spare")
            first = replace(given, allowances=(allowance,))
            return checks.check(Connection(first=first, second=second))

        found = report("a")
        assert [one.rule for one in found.findings] == [
            "unbound-signal",
            "unbound-signal",
            "unused-allowance",
        ]
        assert found.findings[-1].message == (
            f"{given.name} allows unbound-signal of a, but a is more than one signal of "
            f"{given.name}"
        )
        assert found.findings[-1].remedy == "write sends.a or receives.a"
        found = report(f"{side}.a")
        (kept,), (waived,) = found.findings, found.waived
        assert (waived.finding.producer == given.name) == (side == "sends")
        assert (kept.producer == given.name) == (side == "receives")

    def test_a_finding_about_both_signals_of_a_name(self) -> None:
        rows, bound = "0.0 a\n0.1 reserved 7", '0.0 a bind = "X"\n0.1 reserved 7'
        given = end("SC1", sends=bound, receives=bound)
        second = end("LX", sends=rows, receives=rows)

        def rules(name: str) -> list[str]:
            allowance = Allowance(rule="binding-reused", signal=name, reason="one variable")
            first = replace(given, allowances=(allowance,))
            found = checks.check(Connection(first=first, second=second)).findings
            return [one.rule for one in found]

        assert rules("") == []
        for name in ("a", "sends.a", "receives.a"):
            assert rules(name) == ["binding-reused", "unused-allowance"]

    @pytest.mark.parametrize(
        ("signal", "words"),
        [
            ("", "unbound-signal, but no such finding is about LX"),
            ("a", "unbound-signal of a, but no such finding is about a at LX"),
            (
                "receives.a",
                "unbound-signal of receives.a, but no such finding is about receives.a at LX",
            ),
            ("b", "unbound-signal of b, but there is no such finding"),
        ],
    )
    def test_of_the_other_end_does_not_count(self, signal: str, words: str) -> None:
        """What is said of the allowance MUST be true: the finding is there, at the other end."""
        connection = pair('0.0 a bind = ""\n0.1 reserved 7', "0.0 a\n0.1 reserved 7")
        allowance = Allowance(rule="unbound-signal", reason="r", signal=signal)
        second = replace(connection.second, allowances=(allowance,))
        found = checks.check(replace(connection, second=second)).findings
        assert [f.rule for f in found] == ["unbound-signal", "unused-allowance"]
        assert found[-1].message == f"LX allows {words}"

    def test_of_what_had_nothing_to_look_at(self) -> None:
        """Where only a plant, or other connections, would show a finding, none is missing."""
        rows = "0.0 a\n0.1 reserved 7"
        allowances = tuple(
            Allowance(rule=rule, reason="r")
            for rule in ("record-shared", "route-too-slow", "address-reused", "place-order")
        )
        given = pair(rows, rows)
        given = replace(given, first=replace(given.first, allowances=allowances))
        plant = "no plant file lists the connection"
        for report, unused, why in (
            (checks.check(given), ["place-order"], "only one connection was given"),
            (checks.check_all((given, pair(rows, rows))), ["address-reused", "place-order"], ""),
        ):
            told = [one.message for one in report.findings if one.rule == "unused-allowance"]
            assert sorted(told) == [
                f"SC1 allows {rule}, but there is no such finding" for rule in unused
            ]
            assert [
                (one.subject, one.reason)
                for one in report.not_judged
                if one.rule == "unused-allowance"
            ] == [
                (f"the allowance of {rule} at SC1", reason)
                for rule, reason in (
                    ("record-shared", plant),
                    ("route-too-slow", plant),
                    ("address-reused", why),
                )
                if reason
            ]


class TestAbsurdInput:
    """Files that have nothing in common MUST give an answer, and not one page per signal."""

    def test_list_is_cut_with_a_word(self) -> None:
        rows = "\n".join(f"{number // 8}.{number % 8} s{number}" for number in range(120))
        connection = pair(f"{rows} safe = 1".replace("\n", " safe = 1\n"), rows)
        found = [f for f in checks.check(connection).findings if f.rule == "safe-value-differs"]
        assert len(found) == 101
        assert found[-1].message == "more than 100 findings of this rule; the rest is not listed"

    def many(self, extra: tuple[str, str]) -> Connection:
        rows = "\n".join(f"{number // 8}.{number % 8} s{number}" for number in range(520))
        left = f"{rows} safe = 1".replace("\n", " safe = 1\n")
        return pair(f"{left}\n{extra[0]}", f"{rows}\n{extra[1]}")

    def test_an_allowance_for_what_was_not_looked_for_is_not_called_unused(self) -> None:
        connection = self.many(("65.0 reserved 8", "65.0 reserved 8"))
        allowances = tuple(
            Allowance(rule=rule, signal=name, reason="known")
            for rule, name in (
                ("safe-value-differs", "s3"),
                ("safe-value-differs", "s110"),
                ("hole", "s111"),
            )
        )
        report = checks.check(
            replace(connection, first=replace(connection.first, allowances=allowances))
        )
        assert [one.finding.spots[0].signal for one in report.waived] == ["s3"]
        unused = [one.message for one in report.findings if one.rule == "unused-allowance"]
        assert unused == ["SC1 allows hole of s111, but there is no such finding"]

    @pytest.mark.parametrize(("signal", "left"), [("s110", 119), ("s121", 120), ("", 0)])
    def test_what_is_not_listed_is_allowed_like_all_others(self, signal: str, left: int) -> None:
        rows = "\n".join(f"{number // 8}.{number % 8} s{number}" for number in range(120))
        connection = pair(f"{rows} safe = 1".replace("\n", " safe = 1\n"), rows)
        allowance = Allowance(rule="safe-value-differs", signal=signal, reason="known")
        first = replace(connection.first, allowances=(allowance,))
        report = checks.check(replace(connection, first=first))
        found = [one for one in report.findings if one.rule == "safe-value-differs"]
        assert len([*each_one(found)]) == left
        assert bool(found) == bool(left)
        unused = [one for one in report.findings if one.rule == "unused-allowance"]
        assert len(unused) == (signal == "s121")

    def test_no_remedy_is_good_where_not_all_is_looked_for(self) -> None:
        scales = [f'65.0 v width = 8, scale = "{scale}", valid_by = "s0"' for scale in ("1", "2")]
        remedies = [
            next(one.remedy for one in checks.check(given).findings if one.rule == "scale-differs")
            for given in (
                self.many((scales[0], scales[1])),
                pair(
                    '0.0 s0\n0.1 reserved 7\n1.0 v width = 8, valid_by = "s0"',
                    '0.0 s0\n0.1 reserved 7\n1.0 v width = 8, scale = "2", valid_by = "s0"',
                ),
            )
        ]
        assert remedies == [
            "find out which factor is right, then state it at both ends",
            "state the scale 1 of v at LX, as at SC1, or state the scale 2 of v at SC1, as at LX",
        ]


def test_find_rule() -> None:
    assert checks.find_rule("hole").title == "Bits nobody declared"
    with pytest.raises(UsageError, match="not 'holes'; nearest: hole"):
        checks.find_rule("holes")
    with pytest.raises(UsageError, match=r"not 'xyzzy'$"):
        checks.find_rule("xyzzy")


class TestCleanMeansEqual:
    """Two ends without a finding MUST have the same wire fingerprint."""

    @given(clean_connections(), st.data())
    def test_one_field_changed(self, connection: Connection, data: st.DataObject) -> None:
        received = connection.second.receives
        signal = data.draw(st.sampled_from(received.signals))
        changes: dict[str, Any] = {
            "name": "other_name",
            "safe": 1,
            "one_means": "something else",
            "edge": "rising",
            "unit": "mm",
            "scale": "0.5",
            "valid_by": received.signals[0].name,
            "codes": ((0, "another"),),
        }
        key = data.draw(st.sampled_from(sorted(changes)))
        changed = replace(signal, **{key: changes[key]})
        entries = tuple(changed if entry is signal else entry for entry in received.entries)
        second = replace(connection.second, receives=Map(entries=entries))
        mutated = replace(connection, second=second)
        prints = {wire_fingerprint(end) for end in mutated.ends}
        found = [f for f in checks.check(mutated).findings if f.rule != "value-without-validity"]
        assert found or len(prints) == 1


def test_facts_say_what_was_compared() -> None:
    rows = "0.0 a\n0.1 reserved 7"
    assert checks.check(pair(rows, rows)).facts == (
        ("SC1 -> LX", "1 signal paired, 8 bits in 1 octet"),
        ("LX -> SC1", "0 signals paired, 0 bits in 0 octets"),
    )


class TestRoles:
    """One mistake about roles MUST be one finding, with the edits that mend it."""

    OWN = (
        'format = "safeframe-profile/1"\nname = "hall3"\ntitle = "t"\nroles = ["one", "two"]\n'
        'parameters = [{ name = "p", type = "int", roles = ["one"], required = true }]'
    )

    def made(self, profile: str, *roles: str, stated: str = "") -> Connection:
        """Return a connection with these roles; the ends in ``stated`` state a parameter."""
        rows = "0.0 a\n0.1 reserved 7"
        first = end("SC1", sends=rows, profile=profile, more=f', role = "{roles[0]}"')
        second = end("LX", receives=rows, profile=profile, more=f', role = "{roles[1]}"')
        ends = (
            replace(one, parameters=(("p", 1),) if one.name in stated else ())
            for one in (first, second)
        )
        first, second = ends
        return Connection(first=first, second=second)

    def told(self, connection: Connection) -> list[tuple[str, str, tuple[str, ...]]]:
        report = checks.check(connection, own_profiles={"hall3": loads(self.OWN)})
        return [(one.rule, one.remedy, one.details) for one in report.findings]

    def test_what_hangs_on_a_wrong_role_hangs_below_it(self) -> None:
        missing = "parameter-invalid at SC1: the parameter p of SC1 is missing"
        assert self.told(self.made("hall3", "one", "one", stated="LX")) == [
            ("role-conflict", "give SC1 the role two", (missing,))
        ]

    def test_what_is_missing_at_both_ends_is_left_at_one(self) -> None:
        told = self.told(self.made("hall3", "one", "one"))
        assert [rule for rule, _, _ in told].count("parameter-invalid") == 1
        assert [rule for rule, _, _ in told].count("role-conflict") == 1

    def test_two_ways_to_tell_the_ends_apart(self) -> None:
        text = "give SC1 the role target, or give LX the role target"
        told = self.told(self.made("fscp-2-1", "originator", "originator"))
        assert ("role-conflict", text, ()) in told

    def test_a_role_that_no_end_can_have_at_both(self) -> None:
        found = checks.check(self.made("fscp-2-1", "boss", "boss")).findings
        assert [one.message for one in found if one.rule == "role-conflict"] == [
            "the role of SC1 must be originator or target, not boss",
            "the role of LX must be originator or target, not boss",
        ]

    def test_a_protocol_without_roles_of_its_own(self) -> None:
        told = self.told(self.made("plain", "boss", "boss"))
        assert told == [("role-conflict", "give each end its role", ())]


class TestSignalsOfOneName:
    """A remedy MUST say which of two signals it is about where both have one name."""

    @pytest.mark.parametrize(
        ("sent", "received", "rule", "remedy"),
        [
            (
                '0.0 a one_means = "x"\n0.1 b\n0.2 reserved 6',
                '0.0 a one_means = "y"\n0.1 b\n0.2 reserved 5\n0.7 a one_means = "y"',
                "meaning-differs",
                "state the meaning of 1 'x' of a (0.0) at LX, as at SC1, or state the meaning of 1 "
                "'y' of a at SC1, as at LX (0.0)",
            ),
            (
                "0.0 a\n0.1 b\n0.2 reserved 6",
                "0.0 b\n0.1 a\n0.2 reserved 5\n0.7 a",
                "swapped-signals",
                "place a (0.1) and b at LX as at SC1, or place a and b at SC1 as at LX",
            ),
            (
                "0.0 a\n0.1 b width = 2\n0.3 reserved 5",
                "0.0 a\n0.1 b width = 3\n0.4 reserved 2\n0.6 b width = 2",
                "width-differs",
                "make b (0.1) 2 bits wide at LX, as at SC1 (reserve 3 bits at 0.3 instead of 2 at "
                "0.4 at LX), or make b 3 bits wide at SC1, as at LX (reserve 4 bits at 0.4 instead "
                "of 5 at 0.3 at SC1)",
            ),
            (
                "0.0 a\n0.1 c\n0.2 reserved 6",
                "0.0 a\n0.0 c\n0.2 reserved 5\n0.7 c",
                "moved-signal",
                "move c (0.0) to 0.1 at LX",
            ),
            (
                "0.0 a\n0.1 c\n0.2 reserved 6",
                "0.0 a\n0.0 c\n0.2 reserved 5\n0.7 c",
                "duplicate-name",
                "remove the one at 0.0, or remove the one at 0.7 (reserve 6 bits at 0.2 instead "
                "of 5)",
            ),
            (
                "0.0 a\n0.1 reserved 7",
                "0.0 a\n0.0 d\n0.2 reserved 5\n0.7 d",
                "overlap",
                "move d (0.0) to 0.1",
            ),
        ],
    )
    def test_its_place_is_told(self, sent: str, received: str, rule: str, remedy: str) -> None:
        found = {one.rule: one.remedy for one in checks.check(pair(sent, received)).findings}
        assert found[rule] == remedy


class TestNotJudged:
    """What a clean verdict does not speak for MUST be named."""

    ROWS = "0.0 a\n0.1 reserved 7"

    def open_at(self, connection: Connection) -> list[tuple[str, str, str]]:
        report = checks.check(connection)
        assert {entry.connection for entry in report.not_judged} == {connection.name}
        return [(e.rule, e.subject, e.reason) for e in report.not_judged if e.subject]

    def stated(self, profile: str, **connection_table: object) -> Connection:
        connection = pair(self.ROWS, self.ROWS, profile)
        first = replace(
            connection.first,
            connection_table=replace(connection.first.connection_table, **connection_table),  # type: ignore[arg-type]
        )
        return replace(connection, first=first)

    def test_plain_without_sizes(self) -> None:
        assert self.open_at(self.stated("plain")) == [
            ("illegal-size", "legal sizes", "no end states legal_octets"),
            ("watchdog-too-short", "watchdog", "no end states watchdog_ms"),
        ]
        timed = self.stated("plain", legal_octets=(1,), watchdog_ms=100, exchange_ms=12)
        assert self.open_at(timed) == []

    def test_edition_and_exchange(self) -> None:
        assert self.open_at(self.stated("fscp-12-1", watchdog_ms=100)) == [
            ("edition-differs", "edition", "no end states an edition"),
            ("watchdog-too-short", "watchdog against exchange", "no end states exchange_ms"),
            ("parameter-differs", "application_parameters at both ends", "no end states it"),
            ("role-conflict", "roles", "LX and SC1 state no role"),
        ]
        full = self.stated("fscp-12-1", edition="2010", watchdog_ms=100, exchange_ms=12)
        first = replace(full.first, parameters=(("application_parameters", "00"),))
        full = replace(full, first=replace(first, role="master"))
        assert self.open_at(full) == [("role-conflict", "roles", "LX states no role")]
        both = replace(full, second=replace(full.second, role="slave"))
        assert self.open_at(both) == []

    def test_an_edition_where_the_profile_lists_none(self) -> None:
        """Whether facts hold for an edition MUST NOT be taken for granted."""
        connection = self.stated("fscp-3-1", edition="2.6.1")
        second = replace(connection.second, connection_table=connection.first.connection_table)
        told = ("edition-differs", "edition", "the profile lists no edition")
        assert told in self.open_at(replace(connection, second=second))
        assert told not in self.open_at(self.stated("fscp-3-1"))

    WHOLE = (
        'format = "safeframe-profile/1"\nname = "hall3"\ntitle = "t"\nid_range = [1, 2]\n'
        'address_range = [1, 2]\nwatchdog_range_ms = [1, 2]\nroles = ["one", "two"]\n'
        'block_octets = 2\nmember_types = [{ type = "bool", width = 1 }]\nfail_safe = "zero"\n'
        'parameters = [{ name = "p", type = "int", minimum = 1, maximum = 2, shared = false }]\n'
        'one_way = true\ntested = [{ what = "data", octets = 9, stated_in = "s" }]\n'
    )
    OF_KEYS: ClassVar = {
        "id_range": "connection-id-missing",
        "address_range": "address-range",
        "watchdog_range_ms": "watchdog-too-short",
        "roles": "role-conflict",
        "block_octets": "value-across-blocks",
        "member_types": "member-type",
        "parameters": "parameter-invalid",
        "fail_safe": "nonzero-safe-value",
        "one_way": "one-way",
        "tested": "above-tested-size",
    }

    OF_PARAMETERS: ClassVar = {
        "minimum": "parameter-invalid",
        "maximum": "parameter-invalid",
        "shared": "parameter-differs",
    }

    def left_out(self, text: str) -> list[tuple[str, str]]:
        report = checks.check(
            self.stated("hall3", id=1, watchdog_ms=1), own_profiles={"hall3": loads(text)}
        )
        return [(e.rule, e.subject) for e in report.not_judged if e.reason == "not in the profile"]

    def test_what_a_profile_of_ones_own_leaves_out(self) -> None:
        """A key whose absence takes a rule away MUST be told, as a value that is missing is."""
        assert self.left_out(self.WHOLE) == []
        for key, rule in self.OF_KEYS.items():
            text = re.sub(rf"(?m)^{key} = .*\n", "", self.WHOLE)
            assert self.left_out(text) == [(rule, key)]
        for key, rule in self.OF_PARAMETERS.items():
            text = re.sub(rf", {key} = \w+", "", self.WHOLE)
            assert self.left_out(text) == [(rule, f"parameters.p.{key}")]
        text = self.WHOLE.replace("minimum = 1, maximum = 2", "choices = [1]")
        assert self.left_out(text) == []
        bare = "".join(self.WHOLE.splitlines(keepends=True)[:3])
        (first, *others) = self.left_out(bare)
        assert first == ("connection-id-missing", ", ".join(self.OF_KEYS))
        assert others == [(rule, "") for rule in list(self.OF_KEYS.values())[1:]]
        # What is stated as none or no is known.
        told = "roles = []\nmember_types = []\none_way = false\nparameters = []\ntested = []\n"
        assert [rule for rule, _ in self.left_out(bare + told)] == [
            *("connection-id-missing", "address-range", "watchdog-too-short"),
            *("value-across-blocks", "nonzero-safe-value"),
        ]
        # With sizes, every parameter is one too many: that is judged.
        sized = self.left_out(f"{bare}sizes = [{{ first = 1 }}]")
        assert "parameter-invalid" not in dict(sized)

    def test_who_carries_data_where_no_role_is_stated(self) -> None:
        told = {rule: what for rule, what, _ in self.open_at(self.stated("opcua-safety"))}
        assert told["one-way"] == "who carries data, the provider only"
        assert told["role-conflict"] == "roles"

    def test_shared_parameters_that_no_end_states(self) -> None:
        """What seeds every checksum MUST NOT be left out without a word."""
        open_points = self.open_at(self.stated("fscp-3-1", watchdog_ms=100, exchange_ms=12))
        (subject,) = [what for rule, what, _ in open_points if rule == "parameter-differs"]
        assert subject == (
            "sil, source_address, destination_address, device_parameter_crc, parameter_crc at "
            "both ends"
        )

    def test_what_an_unknown_profile_leaves_open(self) -> None:
        report = checks.check(self.stated("my-link", watchdog_ms=1, exchange_ms=1))
        assert "unknown-profile" in {finding.rule for finding in report.findings}
        subjects = {entry.rule: entry.subject for entry in report.not_judged if entry.subject}
        assert subjects == {
            "illegal-size": "what a profile asks of sizes, types, values on loss, roles, editions, "
            "ids, addresses, watchdogs and parameters"
        }
        assert {"role-conflict", "edition-differs"} <= {one.rule for one in report.not_judged}
        reasons = {entry.rule: entry.reason for entry in report.not_judged}
        assert reasons["illegal-size"] == "the profile is not known"

    def test_what_asks_the_profile_is_told_where_there_is_none(self) -> None:
        """What a rule of these finds with a profile, it MUST NOT pass without one."""
        asks = {
            *("above-tested-size", "address-range", "connection-id-missing", "edition-differs"),
            *("illegal-size", "member-type", "nonzero-safe-value", "one-way", "role-conflict"),
            *("parameter-contradicts", "parameter-invalid", "parameters-do-not-fit"),
            *("value-across-blocks", "watchdog-too-short"),
        }
        unknown = self.stated("my-link", watchdog_ms=100, exchange_ms=1)
        one, two = self.stated("plain", watchdog_ms=100, exchange_ms=1).ends
        table = replace(two.connection_table, profile="fscp-12-1")
        both = Connection(first=one, second=replace(two, connection_table=table))
        for connection, reason in (
            (unknown, "the profile is not known"),
            (both, "the ends name two profiles"),
        ):
            open_ = checks.check(connection).not_judged
            assert {entry.rule for entry in open_ if entry.reason == reason} == asks


class TestLimitsOfParameters:
    """What seeds checksums MUST be inside its limits, and the same at both ends."""

    def found(self, rule: str, sent: int, received: int) -> list[str]:
        ends = [
            replace(end(name, profile="fscp-3-1"), parameters=(("source_address", value),))
            for name, value in (("SC1", sent), ("LX", received))
        ]
        report = checks.check(Connection(first=ends[0], second=ends[1]))
        return [finding.message for finding in report.findings if finding.rule == rule]

    @pytest.mark.parametrize(
        ("limits", "good", "bad", "told"),
        [
            ((6, 6), ["00 60 65 0012ab"], ["0060", "00" * 7], "6"),
            ((1, 2), ["00", "00 01"], ["", "000102"], "1..2"),
            ((None, None), ["", "00"], [], ""),
        ],
    )
    def test_how_many_octets(
        self, limits: tuple[int | None, int | None], good: list[str], bad: list[str], told: str
    ) -> None:
        """An id of a wrong length MUST NOT pass: nobody can build a frame with it."""
        rule = ParameterRule("key", "hex", *limits)
        own = {"mine": replace(load("plain"), name="mine", parameters=(rule,))}
        for value in good + bad:
            first = replace(end("SC1", profile="mine"), parameters=(("key", value),))
            connection = Connection(first=first, second=end("LX", profile="mine"))
            found = checks.check(connection, own_profiles=own).findings
            assert [f.message for f in found if f.rule == "parameter-invalid"] == [
                f"the parameter key of SC1 must be {told} octets, not {value or 'empty'}"
            ] * (value in bad)

    def test_the_ids_of_fscp_13_1_have_6_octets(self) -> None:
        rules = {rule.name: rule for rule in load("fscp-13-1").parameters}
        for name in ("manager_id", "unique_id"):
            assert (rules[name].minimum, rules[name].maximum) == (6, 6)

    def test_the_largest_is_right_and_one_more_is_not(self) -> None:
        assert self.found("parameter-invalid", 65535, 65535) == []
        assert len(self.found("parameter-invalid", 65536, 65536)) == 2
        (above,) = self.found("parameter-invalid", 65536, 1)
        assert "must be 0..65535, not 65536" in above

    def test_a_shared_one_that_differs(self) -> None:
        assert self.found("parameter-differs", 7, 7) == []
        (differs,) = self.found("parameter-differs", 7, 8)
        assert "source_address" in differs


class TestValidityOfItsOwn:
    """A value cannot vouch for itself, neither directly nor in a circle, nor can a number."""

    @pytest.mark.parametrize(
        ("entries", "text"),
        [
            (
                [("a", "0.0", 8, "a")],
                "a (0.0-0.7) is named as its own validity bit: nothing says whether it holds",
            ),
            (
                [("a", "0.0", 8, "b"), ("b", "1.0", 8, "a")],
                "a (0.0-0.7) and b (1.0-1.7) are named as each other's validity: nothing says "
                "whether they hold",
            ),
            (
                [("a", "0.0", 8, "b"), ("b", "1.0", 8, "c"), ("c", "2.0", 1, "")],
                "the validity bit b of a (0.0-0.7) is no bit but a number of 8 bits",
            ),
            (
                [("a", "0.0", 8, "b"), ("b", "1.0", 1, "c"), ("c", "1.1", 1, "b")],
                "b (1.0) and c (1.1) are named as each other's validity: nothing says whether "
                "they hold",
            ),
        ],
    )
    def test_it_is_found_once(self, entries: list[tuple[str, str, int, str]], text: str) -> None:
        map_ = Map(
            entries=tuple(
                Signal(
                    name=name,
                    at=Place.parse(at),
                    width=width,
                    type="uint" if width > 1 else "bool",
                    valid_by=valid_by,
                    bind=f"V.{name}",
                )
                for name, at, width, valid_by in entries
            )
        )
        first, second = end("SC1"), end("LX")
        both = Connection(first=replace(first, sends=map_), second=replace(second, receives=map_))
        found = [f for f in checks.check(both).findings if f.rule == "value-without-validity"]
        assert [finding.message for finding in found] == [text]


class TestNothingStated:
    def test_a_watchdog_of_0_in_every_profile(self) -> None:
        for profile in ("plain", "fscp-3-1", "fscp-12-1", "opcua-safety"):
            first, second = (
                replace(
                    one,
                    connection_table=replace(
                        one.connection_table, profile=profile, watchdog_ms=0, exchange_ms=None
                    ),
                )
                for one in (end("SC1"), end("LX"))
            )
            rules = [f.rule for f in checks.check(Connection(first=first, second=second)).findings]
            assert rules.count("watchdog-too-short") == 1, profile

    def test_an_exchange_of_0(self) -> None:
        """No frame comes within 0 ms: a watchdog longer than that says nothing."""
        for watchdog in (None, 100):
            first, second = (
                replace(
                    one,
                    connection_table=replace(
                        one.connection_table, watchdog_ms=watchdog, exchange_ms=0
                    ),
                )
                for one in (end("SC1"), end("LX"))
            )
            found = checks.check(Connection(first=first, second=second)).findings
            assert [f.message for f in found if f.rule == "watchdog-too-short"] == [
                "the exchange must be longer than 0 ms: within 0 ms no frame comes"
            ]

    @pytest.mark.parametrize(
        ("stated", "short"),
        [
            (((100, 12), (10, None)), "LX"),
            (((10, None), (10, 12)), "SC1 LX"),
            (((None, 12), (10, None)), "LX"),
            (((100, None), (None, 200)), "SC1"),
            (((10, None), (10, 9)), ""),
        ],
    )
    def test_the_exchange_that_one_end_states(
        self, stated: tuple[tuple[int | None, int | None], ...], short: str
    ) -> None:
        """A watchdog MUST be held against the exchange, whichever end states that."""
        first, second = (
            replace(
                one,
                allowances=(Allowance(rule="watchdog-differs", reason="r"),),
                connection_table=replace(
                    one.connection_table, watchdog_ms=watchdog, exchange_ms=exchange
                ),
            )
            for one, (watchdog, exchange) in zip((end("SC1"), end("LX")), stated, strict=True)
        )
        found = checks.check(Connection(first=first, second=second)).findings
        told = [f.spots for f in found if f.rule == "watchdog-too-short"]
        assert " ".join(spot.end for spots in told for spot in spots) == short

    def test_one_variable_in_two_spellings(self) -> None:
        entries = tuple(
            Signal(name=name, at=Place(0, bit), bind=bind)
            for bit, (name, bind) in enumerate((("a", "Lift.A"), ("b", "lift.a "), ("c", " ")))
        )
        first = replace(end("SC1"), sends=Map(entries=entries))
        found = checks.check(Connection(first=first, second=end("LX"))).findings
        told = [f.message for f in found if f.rule in ("binding-reused", "unbound-signal")]
        assert told == [
            "1 signal of 3 is bound to no variable at SC1: c (0.2)",
            "the variable Lift.A = lift.a (letter case does not tell variables apart) of SC1 is "
            "bound to a (0.0) and b (0.1)",
        ]


class TestSizesOfConformanceTests:
    """What lies above the sizes of the conformance tests is said, what lies at them is not."""

    @staticmethod
    def sized(sent: int, received: int, *parameters: str) -> Report:
        """Check two ends whose safety data and parameters have these sizes."""
        ends = []
        names = "SC1", "LX"
        for number, name in enumerate(names):
            text = HEAD.format(name=name, peer=names[1 - number], profile="fscp-12-1", more="")
            if parameters:
                text += f'parameters = {{ application_parameters = "{parameters[number]}" }}\n'
            for key, octets in (("sends", sent), ("receives", received)):
                size = octets if not number else sent + received - octets
                rows = f'{{ at = "0.0", name = "bit_{size}", bind = "{name}.{key}" }}'
                text += f'{key} = [\n  {rows},\n  {{ at = "0.1", reserved = {8 * size - 1} }},\n]\n'
            ends.append(mapfile.loads(text, path=f"{name.lower()}.toml"))
        return checks.check(Connection(first=ends[0], second=ends[1]))

    def test_data(self) -> None:
        assert messages(self.sized(252, 250)) == []
        found = self.sized(254, 256).findings
        assert sorted(each.message for each in found) == [
            f"the safety data are {octets} octets long; the conformance tests use up to 252 "
            "(ETG.2200, table 31)"
            for octets in (254, 256)
        ]
        assert {each.severity for each in found} == {"warning"}
        assert [len(each.spots) for each in found] == [2, 2]

    def test_parameters(self) -> None:
        most = " ".join(["00"] * 256)
        assert messages(self.sized(2, 4, most, most)) == []
        found = self.sized(2, 4, f"{most} 01", f"{most} 01")
        assert only(found).message == (
            "the parameter application_parameters has 257 octets; the conformance tests use up "
            "to 256 (ETG.2200, table 31)"
        )
        assert [each.end for each in only(found).spots] == ["SC1", "LX"]
        one = self.sized(2, 4, "00", f"{most} 01").findings
        assert {each.rule: [spot.end for spot in each.spots] for each in one} == {
            "parameter-differs": ["SC1", "LX"],
            "above-tested-size": ["LX"],
        }
