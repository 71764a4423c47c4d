"""What is read while only one end is updated."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from safeframe import protocols
from safeframe._bits import Place
from safeframe._diff import VERDICTS, ArrivingBits, MixedRow, MixedTable, mixed_versions
from safeframe._model import Connection, Map, Signal
from tests.unit.diff_maps import (
    ONE_BRAKE,
    TERMS,
    TWO_BRAKES,
    gap,
    map_of,
    pair_of,
    sig,
    with_entry,
)


def reads(sent: Map, received: Map) -> MixedTable:
    """Return what a consumer with one map reads from a producer with another."""
    updated_first, _ = mixed_versions(pair_of(received, received), pair_of(sent, sent))
    return updated_first.tables[0]


def only(sent: Map, received: Map) -> MixedRow:
    (row,) = reads(sent, received).affected
    return row


def word(name: str, **fields: Any) -> Signal:
    return sig(name, "0.0", **{"width": 16, "type": "uint", **fields})


def test_both_mixes_and_both_directions_in_order() -> None:
    before, after = pair_of(ONE_BRAKE, ONE_BRAKE, ONE_BRAKE), pair_of(TWO_BRAKES, TWO_BRAKES)
    mixes = mixed_versions(before, replace(after, first=replace(after.first, receives=ONE_BRAKE)))
    assert [(mix.updated, mix.outdated) for mix in mixes] == [("SC1", "LX"), ("LX", "SC1")]
    assert [[table.direction for table in mix.tables] for mix in mixes] == [
        ["SC1 -> LX", "LX -> SC1"],
        ["SC1 -> LX", "LX -> SC1"],
    ]


def test_a_new_consumer_reads_the_old_reserve() -> None:
    row = only(ONE_BRAKE, TWO_BRAKES)
    assert row == MixedRow(
        at=Place(1, 2),
        width=1,
        signal="brake2",
        gets=(ArrivingBits(kind="reserved", at=Place(1, 2), width=1),),
        verdict="constant",
        consequence='always 0, its safe value: never "brake 2 released"',
    )
    assert str(row.gets[0]) == "reserved, always 0"


def test_an_old_consumer_does_not_read_the_new_signal() -> None:
    assert only(TWO_BRAKES, ONE_BRAKE) == MixedRow(
        at=Place(1, 2),
        width=1,
        signal="brake2",
        gets=(),
        verdict="nobody reads it",
        consequence='LX has reserve there: "brake 2 released" goes unnoticed',
    )


def test_a_new_signal_without_meaning_where_the_old_consumer_declares_nothing() -> None:
    row = only(with_entry(TWO_BRAKES, 5, one_means=""), map_of(*ONE_BRAKE.entries[:5]))
    assert row.consequence == "LX has nothing declared there"


def test_everything_else_is_the_same() -> None:
    table = reads(ONE_BRAKE, TWO_BRAKES)
    assert [row.verdict for row in table.rows] == ["same"] * 4 + ["constant"]
    assert [str(row.gets[0]) for row in table.rows[:4]] == ["permit", "brake1", "ack", "level"]
    assert table.accepted


@pytest.mark.parametrize(
    ("signal", "carried", "consequence"),
    [
        (sig("x", "0.0"), 0, "always 0, its safe value"),
        (sig("x", "0.0", safe=1), 0, "always 0, not its safe value 1"),
        (sig("x", "0.0", one_means="on"), 1, "always 1 (on), not its safe value 0"),
        (sig("x", "0.0", edge="rising"), 0, "always 0, its safe value: an edge never comes"),
        (
            sig("x", "0.0", width=2, type="code", codes=((0, "stop"), (2, "half"))),
            2,
            "always 2 (half), not its safe value 0",
        ),
        (
            sig("x", "0.0", width=8, type="int", unit="mm", scale="0.5"),
            0xFE,
            "always -1.0 mm, not its safe value 0",
        ),
        (sig("x", "0.0", width=65, type="uint"), 1, "always a 65-bit value, not its safe value 0"),
        (
            sig("x", "0.0", width=16, type="uint", order="big"),
            0x0100,
            "always 1, not its safe value 0",
        ),
    ],
)
def test_what_a_constant_means(signal: Signal, carried: int, consequence: str) -> None:
    sent = map_of(gap("0.0", signal.width, value=carried))
    row = only(sent, map_of(signal))
    assert (row.verdict, row.consequence) == ("constant", consequence)
    assert str(row.gets[0]) == f"reserved, always {hex(carried) if carried else 0}"


def test_two_signals_exchanged() -> None:
    swapped = with_entry(with_entry(ONE_BRAKE, 0, at=Place(0, 1)), 1, at=Place(0, 0))
    assert [
        (row.signal, str(row.gets[0]), row.verdict) for row in reads(swapped, ONE_BRAKE).affected
    ] == [
        ("permit", "brake1", "wrong signal"),
        ("brake1", "permit", "wrong signal"),
    ]
    assert reads(swapped, ONE_BRAKE).affected[0].consequence == (
        "brake1 = 1 (brake 1 released) is read as 1 (torque permitted)"
    )


def test_a_value_one_bit_later_is_partly_another_signal() -> None:
    sent = map_of(
        *ONE_BRAKE.entries[:4],
        sig("pump", "1.0"),
        replace(ONE_BRAKE.signals[3], at=Place(1, 1)),
        gap("1.3", 5),
    )
    (row,) = reads(sent, ONE_BRAKE).affected
    assert list(map(str, row.gets)) == ["pump", "level bit 0"]
    assert (row.verdict, row.consequence) == ("wrong signal", "pump = 1 is read as 1 (creep)")


def test_a_wrong_signal_whose_bits_never_differ_from_the_own_ones() -> None:
    sent = map_of(sig("a", "0.0"), sig("b", "0.0"), gap("0.1", 7))
    row = reads(sent, map_of(sig("a", "0.0"), gap("0.1", 7))).rows[0]
    assert (str(row.gets[0]), row.verdict) == ("a and b at once", "wrong signal")
    assert row.consequence == "b = 1 is read as 1"
    sent = map_of(sig("a", "0.0"), gap("0.0", 8))
    row = reads(sent, map_of(sig("a", "0.0"), gap("0.1", 7))).rows[0]
    assert str(row.gets[0]) == "a and reserved 0.0 at once"
    assert row.consequence == "reads bits that SC1 gives two meanings"


def test_bits_of_a_strange_signal_under_reserve_of_ones() -> None:
    sent = map_of(sig("b", "0.0"), gap("0.0", 8, value=0xFF))
    row = reads(sent, map_of(sig("a", "0.0", width=8, type="uint"))).rows[0]
    assert row.consequence == "reads bits that SC1 gives two meanings"


def test_borders_of_other_entries_of_the_consumer_cut_nothing() -> None:
    wide = sig("a", "0.0", width=8, type="uint")
    read = map_of(wide, gap("0.3", 2))
    assert list(map(str, reads(map_of(wide), read).rows[0].gets)) == ["a"]
    assert list(map(str, reads(map_of(gap("1.0", 8)), read).rows[0].gets)) == ["undeclared bits"]
    row = reads(Map(), read).rows[0]
    assert list(map(str, row.gets)) == ["nothing: past the data"]


class TestOtherMeaning:
    """The right bits read in another way are shown by an example or by the field."""

    def test_a_field_that_differs(self) -> None:
        row = only(ONE_BRAKE, with_entry(ONE_BRAKE, 1, one_means="brake 1 applied", safe=1))
        assert row.verdict == "other meaning"
        assert row.consequence == (
            "safe is 0 at SC1, 1 at LX; one_means is brake 1 released at SC1, brake 1 applied at LX"
        )

    def test_a_validity_bit_under_another_name_is_no_other_meaning(self) -> None:
        sent = map_of(sig("pos", "0.0", width=7, type="uint", valid_by="ok"), sig("ok", "0.7"))
        read = map_of(sig("pos", "0.0", width=7, type="uint", valid_by="good"), sig("good", "0.7"))
        row = only(sent, read)
        assert (row.signal, row.verdict, row.consequence) == (
            "good",
            "other name",
            "SC1 calls it ok",
        )

    @pytest.mark.parametrize(
        ("sent", "read", "text"),
        [
            ("ok", "fresh", "valid_by is ok at SC1, fresh at LX"),
            ("ok", "", "valid_by is ok at SC1, not stated at LX"),
            ("", "ok", "valid_by is not stated at SC1, ok at LX"),
        ],
    )
    def test_another_validity_bit(self, sent: str, read: str, text: str) -> None:
        bits = sig("ok", "1.0"), sig("fresh", "1.1"), gap("1.2", 6)
        row = only(
            map_of(sig("pos", "0.0", width=8, type="uint", valid_by=sent), *bits),
            map_of(sig("pos", "0.0", width=8, type="uint", valid_by=read), *bits),
        )
        assert (row.signal, row.verdict, row.consequence) == ("pos", "other meaning", text)

    def test_a_narrower_value(self) -> None:
        level = replace(ONE_BRAKE.signals[3], width=1)
        row = only(ONE_BRAKE, map_of(*ONE_BRAKE.entries[:4], level, gap("1.1", 7)))
        assert (str(row.gets[0]), row.verdict) == ("level bit 0", "other meaning")
        assert row.consequence == "2 (half) is read as 0 (stop)"

    def test_a_wider_value_of_equal_numbers(self) -> None:
        sent = map_of(sig("n", "0.0", width=5, type="uint"), gap("0.5", 3))
        row = only(sent, map_of(sig("n", "0.0", width=8, type="uint")))
        assert list(map(str, row.gets)) == ["n", "reserved, always 0"]
        assert row.consequence == "reads 8 bits where 5 bits are sent"

    def test_octets_exchanged(self) -> None:
        row = only(map_of(word("n")), map_of(word("n", order="big")))
        assert (str(row.gets[0]), row.verdict) == ("n", "other meaning")
        assert row.consequence == "1 is read as 256"

    def test_part_of_a_big_endian_value(self) -> None:
        sent = map_of(word("n", order="big"))
        row = reads(sent, map_of(word("n", width=12), gap("1.4", 4))).rows[0]
        assert list(map(str, row.gets)) == ["n bits 8-15", "n bits 0-3"]
        assert row.consequence == "1 is read as 256"

    def test_named_code_points_serve_as_examples(self) -> None:
        codes = ((0, "off"), (6, "on"), (99, "never fits"))
        sent = map_of(sig("c", "0.0", width=5, type="code", codes=codes), gap("0.5", 3))
        read = map_of(sig("c", "0.0", width=3, type="code", codes=codes), gap("0.3", 5))
        assert only(sent, read).consequence == "16 (no such code point) is read as 0 (off)"


class TestUndeclared:
    """Bits that the producer does not declare are never taken for 0."""

    def test_a_hole(self) -> None:
        row = only(map_of(*ONE_BRAKE.entries[:5]), TWO_BRAKES)
        assert (str(row.gets[0]), row.verdict, row.consequence) == (
            "undeclared bits",
            "undeclared",
            "SC1 says nothing about 1 bit of it",
        )

    def test_half_reserve_half_hole(self) -> None:
        sent = map_of(gap("0.0", 2), sig("b", "0.7"))
        row = reads(sent, map_of(sig("a", "0.0", width=4, type="uint"), sig("b", "0.7"))).rows[0]
        assert list(map(str, row.gets)) == ["reserved, always 0", "undeclared bits"]
        assert row.consequence == "SC1 says nothing about 2 bits of it"


class TestNoFrame:
    """Data of another length are not accepted, whatever the places say."""

    def test_longer_data(self) -> None:
        table = reads(ONE_BRAKE, map_of(*ONE_BRAKE.entries, sig("pump", "2.0", safe=1)))
        assert (table.sent_octets, table.expected_octets, table.accepted) == (2, 3, False)
        assert {row.verdict for row in table.rows} == {"no frame"}
        pump = table.rows[-1]
        assert str(pump.gets[0]) == "nothing: past the data"
        assert pump.consequence == "falls back to its safe value 1"

    def test_a_value_across_the_end_of_the_data(self) -> None:
        sent = map_of(gap("0.0", 4))
        table = reads(sent, map_of(word("n", width=12)))
        assert [piece.kind for piece in table.rows[0].gets] == [
            "reserved",
            "undeclared",
            "beyond",
        ]

    def test_an_unread_signal_keeps_its_text(self) -> None:
        table = reads(map_of(*ONE_BRAKE.entries, sig("pump", "2.0")), ONE_BRAKE)
        assert (table.rows[-1].verdict, table.rows[-1].consequence) == (
            "no frame",
            "LX has nothing declared there",
        )


def test_terms_that_the_mix_holds_differently() -> None:
    before = pair_of(ONE_BRAKE, ONE_BRAKE)
    connection_table = replace(TERMS, id=0x0108, watchdog_ms=50, name="new")
    after = replace(
        before,
        first=replace(before.first, connection_table=connection_table),
        second=replace(before.second, connection_table=connection_table),
    )
    first, second = mixed_versions(before, after)
    assert first.disagreeing == (
        ("id", "0x0108 at SC1, 0x0107 at LX"),
        ("watchdog_ms", "50 ms at SC1, 100 ms at LX"),
    )
    assert second.disagreeing[0] == ("id", "0x0107 at SC1, 0x0108 at LX")


class TestNotJudged:
    """What goes into frames at one end alone MUST never be told as unchanged."""

    def watched(self, profile: str, crc: int, watchdog_ms: int | None) -> Connection:
        pair = pair_of(ONE_BRAKE, ONE_BRAKE)
        table = replace(TERMS, profile=profile, watchdog_ms=watchdog_ms)
        first, second = (
            replace(
                end, connection_table=table, parameters=(("parameter_crc", crc),) if crc else ()
            )
            for end in pair.ends
        )
        return replace(pair, first=first, second=second)

    @pytest.mark.parametrize("watchdog_ms", [150, None])
    @pytest.mark.parametrize("crc", [0, 0x22FF])
    def test_a_watchdog_that_enters_every_crc(self, crc: int, watchdog_ms: int | None) -> None:
        """One parameter CRC cannot be right with two watchdogs."""
        old = self.watched("fscp-3-1", crc, 100)
        new = self.watched("fscp-3-1", crc, watchdog_ms)
        for mix in mixed_versions(old, new):
            ((field, text),) = mix.disagreeing
            assert field == "watchdog_ms"
            assert text.endswith("; it enters the CRC of every frame")
            for table in mix.tables:
                assert table.not_judged == ("watchdog_ms",)
            there = [row.verdict for table in mix.tables for row in table.rows]
            assert set(there) == {"not judged"}

    def test_a_watchdog_beside_what_is_refused_or_in_no_frame(self) -> None:
        old, new = self.watched("fscp-3-1", 0x22FF, 100), self.watched("fscp-3-1", 0x0BAD, 150)
        for mix in mixed_versions(old, new):
            assert {row.verdict for table in mix.tables for row in table.rows} == {"no frame"}
        old, new = self.watched("plain", 0, 100), self.watched("plain", 0, 150)
        for mix in mixed_versions(old, new):
            assert {row.verdict for table in mix.tables for row in table.rows} == {"same"}
            assert mix.disagreeing[0][1].endswith(" ms at LX")

    @pytest.mark.parametrize(
        ("stated", "text", "verdict"),
        [
            (None, "no facts tell whether it enters the CRC of a frame", "not judged"),
            ("", "no facts tell whether it enters the CRC of a frame", "not judged"),
            ("watchdog_sealed = true\n", "it enters the CRC of every frame", "not judged"),
            ("watchdog_sealed = false\n", "100 ms at LX", "same"),
        ],
    )
    def test_a_watchdog_of_which_nobody_says_where_it_enters(
        self, stated: str | None, text: str, verdict: str
    ) -> None:
        """What a profile of one's own leaves out, or no profile tells, MUST NOT be guessed."""
        old, new = self.watched("hall3", 0, 100), self.watched("hall3", 0, 150)
        head = 'format = "safeframe-profile/1"\nname = "hall3"\ntitle = "t"\n'
        own = {} if stated is None else {"hall3": protocols.loads(head + stated)}
        for mix in mixed_versions(old, new, own_profiles=own):
            assert mix.disagreeing[0][0] == "watchdog_ms"
            assert mix.disagreeing[0][1].replace("150 ms at LX", "100 ms at LX").endswith(text)
            assert {row.verdict for table in mix.tables for row in table.rows} == {verdict}

    @pytest.mark.parametrize("side", ["first", "second"])
    @pytest.mark.parametrize(
        ("profile", "old", "new", "field"),
        [
            ("fscp-13-1", {"address": 5}, {"address": 9}, "address"),
            ("fscp-13-1", {}, {"address": 9}, "address"),
            ("plain", {"role": "master"}, {"role": "slave"}, "role"),
            (
                "fscp-2-1",
                {"parameters": (("vendor_id", 1), ("device_serial", 2))},
                {"parameters": (("vendor_id", 1), ("device_serial", 99))},
                "parameter device_serial",
            ),
            ("fscp-2-1", {"parameters": (("vendor_id", 1),)}, {}, "parameter vendor_id"),
        ],
    )
    def test_of_one_end(
        self, side: str, profile: str, old: dict[str, Any], new: dict[str, Any], field: str
    ) -> None:
        pair = pair_of(ONE_BRAKE, ONE_BRAKE)
        table = replace(TERMS, profile=profile)
        ends = {
            name: replace(getattr(pair, name), connection_table=table)
            for name in ("first", "second")
        }
        before = Connection(**{**ends, side: replace(ends[side], **old)})
        after = Connection(**{**ends, side: replace(ends[side], **new)})
        mixes = mixed_versions(before, after)
        changed, kept = mixes if side == "first" else mixes[::-1]
        assert (changed.untold, kept.untold) == ((field,), ())
        assert kept.disagreeing == ()
        ((name, text),) = changed.disagreeing
        assert name == field
        assert text.endswith(f": {changed.outdated} must know the new one")
        for given in changed.tables:
            assert given.not_judged == (field,)
            assert {row.verdict for row in given.rows} <= {"not judged"}
        assert "same" in {row.verdict for given in kept.tables for row in given.rows}

    @pytest.mark.parametrize(
        "change",
        [
            {"connection_table": replace(TERMS, edition="other")},
            {"parameters": (("of_no_profile", 1),)},
        ],
    )
    def test_of_both_ends(self, change: dict[str, Any]) -> None:
        before = pair_of(ONE_BRAKE, ONE_BRAKE)
        after = Connection(
            first=replace(before.first, **change), second=replace(before.second, **change)
        )
        for mix in mixed_versions(before, after):
            assert mix.untold == ()
            assert all(len(table.not_judged) == 1 for table in mix.tables)

    def test_what_would_be_misread_is_still_told(self) -> None:
        before = pair_of(ONE_BRAKE, ONE_BRAKE)
        renamed = map_of(sig("horn", "0.0", one_means="horn sounds"), gap("0.1", 15))
        first = replace(before.first, sends=renamed, address=9)
        mix, _ = mixed_versions(before, replace(before, first=first))
        assert "wrong signal" in {row.verdict for row in mix.tables[0].rows}


def test_verdicts_run_from_worst_to_mildest() -> None:
    assert VERDICTS[0] == "no frame"
    assert VERDICTS[-1] == "same"


class TestReplaced:
    """Another name on the same bits is another signal, whatever is said about it."""

    @pytest.mark.parametrize(
        ("sent", "read", "text"),
        [
            (
                "brake released",
                "horn sounds",
                "brake = 1 (brake released) is read as 1 (horn sounds)",
            ),
            ("", "", "brake = 1 is read as 1"),
            ("brake released", "", "brake = 1 (brake released) is read as 1"),
        ],
    )
    def test_wrong_signal(self, sent: str, read: str, text: str) -> None:
        row = only(
            map_of(sig("brake", "0.0", one_means=sent), gap("0.1", 7)),
            map_of(sig("horn", "0.0", one_means=read), gap("0.1", 7)),
        )
        assert (row.verdict, row.consequence) == ("wrong signal", text)

    def test_one_meaning_under_two_names(self) -> None:
        row = only(
            map_of(sig("brake", "0.0", one_means="brake released"), gap("0.1", 7)),
            map_of(sig("holder", "0.0", one_means="Brake released"), gap("0.1", 7)),
        )
        assert (row.verdict, row.consequence) == ("other name", "SC1 calls it brake")
