"""The work of a check grows with the rows of its files, not with their bits or squares."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from types import FrameType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import Connection, End, Map, Place, Reserved, Signal, check, check_all, encode
from safeframe._canonical import reserve
from safeframe._checks.remedies import Remedy, settled
from safeframe._checks.trial import tried
from safeframe._codec import meaning
from safeframe._findings import Report
from safeframe._grids import _grid, grid
from safeframe._model import ConnectionTable, Relation
from safeframe._words import MOST_LISTED
from safeframe.relations import contradictions, faults, find_signals, violations
from tests.strategies import maps

Entry = Signal | Reserved
MOST = 524288
TABLE = ConnectionTable(name="A-B", profile="fscp-12-1", id=5, watchdog_ms=50)


def wide(at: int, width: int, name: str = "") -> Entry:
    if name:
        return Signal(name=name, at=Place.at(at), width=width, type="uint")
    return Reserved(at=Place.at(at), width=width)


def pair(sent: list[Entry], received: list[Entry]) -> Connection:
    first = End(name="A", peer="B", role="master", connection_table=TABLE)
    second = End(name="B", peer="A", role="slave", address=7, connection_table=TABLE)
    return Connection(
        first=replace(first, sends=Map(entries=tuple(sent))),
        second=replace(second, receives=Map(entries=tuple(received))),
    )


def stairs(count: int, name: str) -> list[Entry]:
    return [wide(8 * at, MOST - 8 * at, f"{name}{at}" if name else "") for at in range(count)]


SHAPES: dict[str, Callable[[int], Connection]] = {
    "the same at both ends": lambda count: pair(stairs(count, "s"), stairs(count, "s")),
    "other names": lambda count: pair(stairs(count, "s"), stairs(count, "t")),
    "in the other order": lambda count: pair(
        stairs(count, "s"), [wide(8 * at, MOST - 8 * at, f"s{count - at}") for at in range(count)]
    ),
    "all at one place": lambda count: pair(
        [wide(0, MOST, f"s{at}") for at in range(count)],
        [wide(0, MOST - 8, f"s{at}") for at in range(count)],
    ),
    "reserve": lambda count: pair(stairs(count, ""), stairs(count, "")),
}


def lines(run: Callable[[], object], most: int) -> int:
    """Return how many lines of Python a run takes; fails beyond a bound instead of waiting."""
    count = 0

    def entered(_frame: FrameType, _event: str, _of: object) -> object:
        return line

    def line(_frame: FrameType, _event: str, _of: object) -> None:
        """Count a line, or the end of a function."""
        nonlocal count
        count += 1
        if count > most:
            sys.settrace(None)
            pytest.fail(f"more than {most} lines")

    before = sys.gettrace()
    sys.settrace(entered)  # type: ignore[arg-type]  # A tracer returns that of the lines.
    try:
        run()
    finally:
        sys.settrace(before)
    return count


@pytest.mark.parametrize("name", SHAPES)
def test_rows_of_half_a_million_bits_are_judged_by_row(name: str) -> None:
    connection = SHAPES[name](4)
    assert lines(lambda: check(connection), MOST) < MOST


def test_a_remedy_for_each_of_many_rows_walks_through_no_map(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Hundreds of findings with two remedies each: what all of them need is looked for once."""
    walks = 0

    def signals(map_: Map) -> tuple[Signal, ...]:
        nonlocal walks
        walks += 1
        return tuple(entry for entry in map_.entries if isinstance(entry, Signal))

    rows = [wide(8 * at, 8, f"s{at}") for at in range(800)]
    sent, received = (
        [replace(row, unit=unit) for row in rows if isinstance(row, Signal)]
        for unit in ("mm", "cm")
    )
    connection = pair([*sent], [*received])
    monkeypatch.setattr(Map, "signals", property(signals))
    found = [one for one in check(connection).findings if one.rule == "unit-differs"]
    assert len(found) > 10
    assert walks < 1000


def test_values_of_ten_thousand_bits_have_a_text() -> None:
    signal = Signal(name="x", at=Place(0, 0), width=20000, type="uint")
    assert meaning(signal, 0) == "0x0"
    assert meaning(signal, 5) == "0x5"
    assert meaning(signal, 5 << 16000) == "0x5 * 2^16000"
    scaled = replace(signal, scale="0.1", unit="mm", type="int")
    assert meaning(scaled, (1 << 20000) - 4) == "-0x1 * 2^2 * 0.1 mm"
    assert meaning(replace(signal, width=1024), 1 << 1023) == str(1 << 1023)


def test_two_rows_over_the_whole_data_are_an_overlap_and_no_place_beyond() -> None:
    both = [wide(0, MOST, "one"), wide(0, MOST, "two")]
    report = check(pair(both, [wide(0, MOST, "one")]))
    found = next(one for one in report.findings if one.rule == "overlap")
    assert found.message == "one and two share 524288 bits at 0.0-65535.7"
    assert found.remedy == "remove two"


def test_reserve_over_reserve_counts_once() -> None:
    once = Map(entries=(Reserved(at=Place(0, 0), width=8, value=3),))
    twice = Map(entries=(*once.entries, Reserved(at=Place(0, 4), width=4)))
    assert reserve(once) == reserve(twice)
    assert reserve(once)[:3] == ((0, 1), (1, 1), (2, 0))
    other = Map(entries=(*once.entries, Reserved(at=Place(0, 0), width=1)))
    assert reserve(other)[:3] == ((0, 0), (0, 1), (1, 1))


def test_reserve_is_settled_around_signals_that_reach_over_holes() -> None:
    x, y = wide(6, 8, "x"), wide(14, 2, "y")
    map_ = Map(entries=(x, wide(0, 4), wide(4, 4), wide(10, 8), y))
    assert isinstance(x, Signal)
    assert isinstance(y, Signal)
    assert settled(map_, [x], 24) == (wide(0, 4), wide(4, 2), x, wide(14, 10))
    assert settled(map_, [x, y], 18) == (wide(0, 4), wide(4, 2), x, y, wide(16, 2))
    assert settled(map_, [y], 16) == (wide(0, 4), wide(4, 10), y)


def judged(times: int) -> Report:
    made = pair([wide(0, 8, "a")], [wide(0, 8, "b")])
    return check_all([replace(made) for _ in range(times)])


def test_a_pair_that_is_listed_many_times_is_judged_once() -> None:
    few, many = judged(1), judged(500)
    assert [one.rule for one in many.findings if one.rule != "connection-id-reused"] == [
        one.rule for one in few.findings
    ]
    assert many.connections == ("A-B",) * 500
    found = next(one for one in many.findings if one.rule == "connection-id-reused")
    assert found.message.endswith(f"and A-B (A and B) and {500 - MOST_LISTED} more")
    assert len(found.spots) == 2 * MOST_LISTED
    assert lines(lambda: judged(500), 10**7) < 4 * lines(lambda: judged(50), 10**7)


def test_the_witness_of_a_wide_value_is_one_of_its_outer_bits() -> None:
    report = check(pair([wide(0, 4096, "a")], [wide(0, 4096, "a"), wide(4096, 8, "b")]))
    assert report.findings
    moved = check(pair([wide(0, 4096, "a"), wide(4096, 8)], [wide(0, 8), wide(8, 4096, "a")]))
    shown = next(one.counterexample for one in moved.findings if one.counterexample)
    assert shown.octets == encode(Map(entries=(wide(0, 4096, "a"), wide(4096, 8))), {"a": 1})
    assert shown.rows == (("a", "0x1", "0x0"),)


def related(*texts: str) -> End:
    """Return an end with relations such as ``a>b`` (requires) and ``a!b`` (excludes)."""
    relations = [
        Relation(
            name=f"r{number}",
            when=((text[0], (1,)),),
            requires=((text[2:], (1,)),) if text[1] == ">" else (),
            excludes=((text[2:], (1,)),) if text[1] == "!" else (),
            reason="x",
        )
        for number, text in enumerate(texts)
    ]
    signals = tuple(Signal(name=name, at=Place.at(at)) for at, name in enumerate("abcdefgh"))
    end = pair([*signals], [*signals]).first
    return replace(end, relations=tuple(relations))


def told(*texts: str) -> list[str]:
    return [
        " ".join(relation.name for relation in found.relations)
        for found in contradictions(related(*texts))
    ]


def test_of_relations_that_contradict_each_other_none_can_be_spared() -> None:
    assert told("a>b", "b>c", "c!a") == ["r0 r1 r2"]
    assert told("a>b", "d>e", "b>c", "a>c", "c!a", "e>d") == ["r3 r4"]
    apart = told("a>b", "e!f", "b!a", "c>d", "e>f", "d!c", "g>h")
    assert apart == ["r0 r2", "r1 r4", "r3 r5"]


def test_a_relation_joins_groups_in_the_order_of_their_last_rows() -> None:
    assert told("a>b", "c>d", "e>f", "b>c", "d!a", "f!e") == ["r0 r1 r3 r4", "r2 r5"]


def test_twice_the_relations_take_twice_the_work() -> None:
    def work(count: int) -> int:
        texts = [f"{'abcd'[n % 4]}>{'efgh'[n // 4 % 4]}" for n in range(count - 1)]
        end = related(*texts, "a!e")
        return lines(lambda: contradictions(end), 10**7)

    assert work(800) < 2.5 * work(400)


def test_a_remedy_that_cannot_be_carried_out_is_not_told() -> None:
    connection = pair([wide(0, 8, "a")], [wide(0, 8, "b")])
    found = check(connection).findings[0]

    def beyond(_: Connection) -> Connection:
        return pair([wide(MOST, 8, "a")], [])

    offers = [(found, (Remedy("move a", beyond), Remedy("agree", lambda given: given)))]
    assert tried(connection, [found], offers, lambda _: []) == [replace(found, remedy="agree")]


def work_of(made: Callable[[int], Connection], count: int) -> int:
    connection = made(count)
    return lines(lambda: check(connection), 10**8)


def test_each_row_over_every_other_costs_as_much_as_one() -> None:
    def rows(count: int) -> Connection:
        over = [wide(0, 16 + at, f"s{at}") for at in range(count)]
        return pair(over, over)

    assert work_of(rows, 1200) < 2.4 * work_of(rows, 600)


def test_relations_of_many_signals_are_found_by_name() -> None:
    def ends(count: int, named: str = "signal") -> End:
        signals = [wide(at, 1, f"signal{at}") for at in range(count)]
        relations = tuple(
            Relation(
                name=f"r{at}",
                when=((f"{named}{at}", (1,)),),
                excludes=((f"sends.{named}{(7 * at + 1) % count}", (1,)),),
                reason="x",
            )
            for at in range(0, count, 10)
        )
        return replace(pair(signals, []).first, relations=relations)

    def work(act: Callable[[End], object], count: int, named: str = "signal") -> int:
        end = ends(count, named)
        return lines(lambda: act(end), 10**8)

    for act in (faults, contradictions, violations):
        assert work(act, 2000) < 2.4 * work(act, 1000)
    told = faults(ends(400, "singal"))
    assert len(told) == 80
    assert [bool(one.remedy) for one in told] == [True] * 20 + [False] * 60


def test_a_name_may_be_a_place_in_the_other_direction() -> None:
    signals = [wide(0, 1, "a"), wide(1, 1, "receives.b"), wide(2, 1, "a")]
    end = replace(pair(signals, []).first, receives=Map(entries=(wide(0, 1, "b"),)))
    assert [way for way, _ in find_signals(end, "a")] == ["sends"]
    assert find_signals(end, "a")[0][1] is signals[0]
    assert [way for way, _ in find_signals(end, "receives.b")] == ["sends", "receives"]
    assert [one.name for _, one in find_signals(end, "b")] == ["b"]
    assert find_signals(end, "sends.b") == ()
    assert [way for way, _ in find_signals(replace(end, sends=Map()), "b")] == ["receives"]
    assert find_signals(replace(end, sends=Map()), "a") == ()
    assert len(find_signals(end, "a")) == 1


def test_a_grid_of_rows_over_each_other_is_drawn_by_row() -> None:
    def work(width: int) -> int:
        data = Map(entries=tuple(wide(0, width - at, f"s{at}") for at in range(200)))
        return lines(lambda: grid("t", data), 10**7)

    # A line for each octet, none for each bit of each row.
    assert work(80_000) - work(40_000) < 40 * 5000


@given(maps(max_size=9), st.integers(0, 511))
def test_a_grid_is_what_its_bits_are(data: Map, chosen: int) -> None:
    """Bits beside each other are one cell if the same entries own them, within one octet."""
    # Near the beginning: every bit is looked at.
    near = (
        replace(entry, at=Place(entry.at.octet % 16, entry.at.bit))
        for entry in data.entries
        if entry.width <= 256
    )
    data = Map(entries=tuple(near))
    marks = {
        id(entry): ("moved", f"X {at}") for at, entry in enumerate(data.entries) if chosen >> at & 1
    }
    found = [
        (cell.first, cell.width, cell.kind, cell.label, cell.mark, cell.elsewhere, cell.joined)
        for cell in _grid("t", data, marks).cells
    ]
    expected: list[tuple[object, ...]] = []
    owners = [
        [entry for entry in data.entries if entry.start <= bit < entry.end]
        for bit in range(8 * data.size_octets)
    ]
    start = 0
    for bit in range(1, len(owners) + 1):
        if (
            bit < len(owners)
            and bit % 8
            and list(map(id, owners[bit])) == list(map(id, owners[start]))
        ):
            continue
        own = owners[start]
        names = [one.name if isinstance(one, Signal) else "reserved" for one in own]
        shown = names[:8] + ([f"{len(names) - 8} more"] if len(names) > 8 else [])
        kind = "undeclared" if not own else "signal" if isinstance(own[0], Signal) else "reserved"
        mark = next((marks[id(one)] for one in own if id(one) in marks), ("", ""))
        goes_on = len(own) == 1 and kind == "signal" and bit - start == 8
        goes_on = goes_on and own[0].end >= bit + 8
        place, label = Place.at(start), " + ".join(shown) or "undeclared"
        kind = "twice" if len(own) > 1 else kind
        expected.append((place, bit - start, kind, label, *mark, goes_on))
        start = bit
    assert found == expected


def test_of_many_owners_of_one_bit_eight_are_named() -> None:
    data = Map(entries=tuple(wide(0, 8, f"s{at}") for at in range(11)))
    (cell,) = grid("t", data).cells
    assert cell.kind == "twice"
    assert cell.label == "s0 + s1 + s2 + s3 + s4 + s5 + s6 + s7 + 3 more"
