"""A map against what a device file says of its end: agreement is said only where it is true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import Map, Reserved, Signal, loads
from safeframe import _checks as checks
from safeframe import _demo as demo
from safeframe._bits import Place
from safeframe._checks import told
from safeframe._model import Connection, DeviceMap, End, Provenance
from tests.strategies import clean_connections

Row = tuple[object, ...]


def rows(map_: Map) -> set[Row]:
    """Return what a device file tells of a map, one row for each entry."""
    return {
        (each.start, each.width, each.name, each.type, each.order, each.codes)
        if isinstance(each, Signal)
        else (each.start, each.width)
        for each in map_.entries
    }


def placed(entries: list[Signal | Reserved]) -> Map:
    return Map(entries=tuple(sorted(entries, key=lambda each: each.start)))


def moved(signal: Signal, start: int) -> Signal:
    return replace(signal, at=Place.at(start))


def permuted(map_: Map, chance: Random) -> Map:
    """Let some signals of one width change places among themselves."""
    width = chance.choice(sorted({each.width for each in map_.signals}))
    alike = [each for each in map_.signals if each.width == width]
    some = chance.sample(alike, min(len(alike), chance.choice((2, 3, 3, 5))))
    starts = [each.start for each in some]
    chance.shuffle(starts)
    rest = [each for each in map_.entries if each not in some]
    return placed([*rest, *map(moved, some, starts)])


def by_bits(map_: Map, chance: Random) -> Map:
    """Number the bits of every octet otherwise: from the other side, or its halves exchanged."""
    turn = chance.choice((7, 4))
    return placed(
        [
            replace(each, at=Place.at(each.start ^ turn)) if each.width == 1 else each
            for each in map_.entries
        ]
    )


def spread(map_: Map, chance: Random) -> Map:
    """Give every bit an octet of its own, the rest of which is reserve."""
    entries: list[Signal | Reserved] = []
    for at, each in enumerate(map_.signals):
        entries.append(moved(replace(each, width=1, type="bool", codes=()), 8 * at))
        entries.append(Reserved(at=Place.at(8 * at + 1), width=7))
    return placed(entries)


def changed(map_: Map, chance: Random) -> Map:
    """Change one word of one signal."""
    at = chance.randrange(len(map_.signals))
    one = map_.signals[at]
    others: list[Signal | Reserved] = [
        replace(one, name=f"{one.name}_x"),
        replace(one, name=one.name.replace("o", "\u043e")),
        replace(one, type="int" if one.type == "uint" else one.type),
        Reserved(at=one.at, width=one.width),
    ]
    other = chance.choice(others)
    return placed([other if each is one else each for each in map_.entries])


class TestAgreement:
    """A map MUST be told to agree with a device file exactly where both say the same."""

    @given(
        change=st.sampled_from([permuted, by_bits, spread, changed]),
        connection=clean_connections(),
        seed=st.integers(0, 2**32),
    )
    def test_only_where_it_is_true(
        self, change: Callable[[Map, Random], Map], connection: Connection, seed: int
    ) -> None:
        map_, chance = connection.first, Random(seed)
        if chance.random() < 0.5:
            other = replace(map_, sends=change(map_.sends, chance))
        else:
            other = replace(map_, receives=change(map_.receives, chance))
        found = told.against(map_, DeviceMap(end=other, file="device"), checks.check)
        same = all(
            rows(one) == rows(two)
            for one, two in ((map_.sends, other.sends), (map_.receives, other.receives))
        )
        assert (not found.findings) is same, [finding.rule for finding in found.findings]

    @pytest.mark.parametrize(
        ("rule", "turn"),
        [
            ("rotated-signals", lambda at: {0: 1, 1: 2, 2: 0}.get(at, at)),
            ("swapped-signals", lambda at: {0: 2, 2: 0}.get(at, at)),
            ("nibble-order", lambda at: at ^ 4),
            ("bit-numbering", lambda at: at ^ 7),
            ("octet-order", lambda at: at ^ 8),
            ("bit-per-octet", lambda at: 8 * at),
        ],
    )
    def test_one_cause_for_all(self, rule: str, turn: Callable[[int], int]) -> None:
        """What several signals have in common is told as one cause, and that cause counts."""
        bits = [Signal(name=f"bit{at}", at=Place.at(at), width=1, type="bool") for at in range(16)]
        end = replace(loads(demo.after()["lx-sc1.toml"]), receives=Map(), address=None)
        end = replace(end, sends=Map(entries=tuple(bits)))
        other = replace(end, sends=placed([moved(each, turn(each.start)) for each in bits]))
        device = DeviceMap(end=other, file="device", directions=("sends",))
        found = [finding.rule for finding in told.against(end, device, checks.check).findings]
        assert rule in found
        assert not told.against(end, replace(device, end=end), checks.check).findings

    def test_every_rule_has_been_thought_about(self) -> None:
        """A rule left out must exist: what is misspelt would be counted again."""
        names = {rule.name for rule in checks.RULES}
        assert names >= told.LEFT_OUT


class TestOneFileForBothEnds:
    """A file of one device MUST not count as what both ends really have."""

    SUMS = ("a1" * 32, "b2" * 32)

    def told(self, made: str, held: str) -> list[str]:
        """Return what is told of ends made of and held against files, each named by 0, 1 or -."""

        def origin(word: str) -> Provenance | None:
            if word == "-":
                return None
            sums = self.SUMS[int(word)]
            return Provenance(format="esi", file=f"{word}.xml", sha256=sums)

        site = demo.after()
        ends = [
            replace(loads(site[name]), imported=origin(word))
            for name, word in zip(("sc1-lx.toml", "lx-sc1.toml"), made, strict=True)
        ]
        devices = [
            DeviceMap(end=replace(end, imported=origin(word)), file=f"{word}.xml")
            for end, word in zip(ends, held, strict=True)
            if word != "-"
        ]
        found: list[list[str]] = []
        for first, second in (ends, ends[::-1]):
            both = Connection(first=first, second=second, devices=tuple(devices))
            report = checks.check_site((both,), ())
            found.append([one.message for one in report.findings])
            assert {one.rule for one in report.findings} <= {"ends-of-one-file"}
        assert found[0] == found[1]
        return found[0]

    def test_one_file_for_both(self) -> None:
        by = f"one device file, 0.xml (SHA-256 {self.SUMS[0][:16]}...): it is of one device, and"
        assert self.told("--", "00") == [f"both ends are held against {by} tells one end"]
        assert self.told("01", "00") == [f"both ends are held against {by} tells one end"]
        assert self.told("0-", "-0") == [
            f"LX is held against what SC1 was imported from, {by} tells one end"
        ]

    def test_a_file_for_each(self) -> None:
        for made, held in (("--", "01"), ("01", "01"), ("0-", "0-"), ("--", "0-"), ("01", "--")):
            assert self.told(made, held) == []

    def test_one_file_is_told_once(self) -> None:
        (told,) = self.told("00", "00")
        assert told.startswith("both ends were imported from one file")


class TestWhatStaysOpen:
    SIGNAL = Signal(name="brake", at=Place(0, 0), width=1, type="bool")

    def map_with(self, *, value: int = 0, width: int = 7) -> Map:
        return Map(entries=(self.SIGNAL, Reserved(at=Place(0, 1), width=width, value=value)))

    def device(self, end: End, *held: str) -> DeviceMap:
        return DeviceMap(end=end, file="sheet.csv", directions=("sends",), held=held)

    @pytest.fixture
    def end(self) -> End:
        return replace(loads(demo.after()["lx-sc1.toml"]), sends=self.map_with(), receives=Map())

    def test_more_differences_than_are_looked_for(self, end: End) -> None:
        device = self.device(replace(end, sends=self.map_with(value=3)), "value")
        report = told.against(end, device, checks.check)
        assert told.fact(device, report) == "1 difference"
        rest = replace(report.findings[0], unlisted=None)
        more = replace(report, findings=(*report.findings, rest))
        assert told.fact(device, more) == "at least 1 difference"

    def test_values_of_reserve(self, end: End) -> None:
        other = replace(end, sends=self.map_with(value=3))
        device = self.device(other, "value")
        (finding,) = told.against(end, device, checks.check).findings
        assert finding.rule == "reserved-not-zero"
        assert finding.message == "the reserve of 7 bits at 0.1 is 0 at LX, 3 in sheet.csv"
        assert not told.against(other, device, checks.check).findings
        assert not told.against(end, self.device(other), checks.check).findings
        assert "values of reserve" in told.not_compared(other, self.device(other))[0]
        assert "values of reserve" not in told.not_compared(end, self.device(end))[0]
        assert "values of reserve" not in told.not_compared(other, device)[0]

    def test_values_of_reserve_where_one_has_a_signal(self, end: End) -> None:
        lamp = Signal(name="lamp", at=Place(0, 1), width=1, type="bool")
        rest = Reserved(at=Place(0, 2), width=6, value=1)
        other = replace(end, sends=Map(entries=(self.SIGNAL, lamp, rest)))
        found = told.against(end, self.device(other, "value"), checks.check).findings
        assert {finding.rule for finding in found} >= {"one-sided-signal", "reserved-not-zero"}
        assert found[-1].message == "the reserve of 7 bits at 0.1 is 0 at LX, 2 in sheet.csv"

    def test_names_of_values(self, end: End) -> None:
        code = Signal(
            name="level", at=Place(0, 0), width=2, type="code", codes=((0, "off"), (1, "on"))
        )
        plain = replace(code, type="uint", codes=())
        rest = Reserved(at=Place(0, 2), width=6)
        coded = replace(end, sends=Map(entries=(code, rest)))
        bare = replace(end, sends=Map(entries=(plain, rest)))
        assert not told.against(coded, self.device(bare), checks.check).findings
        assert "names of values" in told.not_compared(coded, self.device(bare))[0]
        assert "names of values" not in told.not_compared(coded, self.device(coded))[0]
        assert "names of values" not in told.not_compared(bare, self.device(bare))[0]
        renamed = replace(plain, name="speed", at=Place(1, 0))
        lost = replace(end, sends=Map(entries=(renamed, rest)))
        assert "names of values" not in told.not_compared(coded, self.device(lost))[0]

    def test_parameters_that_the_map_does_not_state(self, end: End) -> None:
        given = replace(end, parameters=(("node", 1), ("guard_ms", 5)))
        bare = replace(end, parameters=(("node", 1),))
        device = replace(self.device(given), directions=("sends", "receives"))
        assert [entry[2:4] for entry in told.left_open("C", bare, device)] == [
            ("LX does not state what sheet.csv holds", "guard_ms")
        ]
        assert list(told.left_open("C", given, device)) == []
