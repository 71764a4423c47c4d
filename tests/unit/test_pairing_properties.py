"""Mutations of random legal connections must be found, and named, as what they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from safeframe._bits import Place, mirror_in_octets, swap_octets
from safeframe._checks import check
from safeframe._findings import Finding
from safeframe._model import Connection, Map, Reserved, Signal
from tests.strategies import clean_connections

pytestmark = pytest.mark.no_cover

DISPLACEMENT = {
    "one-sided-signal",
    "shifted-signals",
    "swapped-signals",
    "rotated-signals",
    "moved-signal",
    "octet-order",
    "nibble-order",
    "bit-per-octet",
    "bit-numbering",
    "rearranged-signals",
    "width-differs",
    "reserve-differs",
    "size-differs",
    "renamed-signal",
    "near-miss-name",
}
ONE_MOVE = {
    "swapped-signals",
    "rotated-signals",
    "nibble-order",
    "moved-signal",
    "shifted-signals",
    "reserve-differs",
}
"""What a permutation of a whole map may amount to on a map with few signals."""

Entries = tuple[Signal | Reserved, ...]


def found(connection: Connection) -> list[Finding]:
    """Return the findings apart from values without validity bits, which the maps have."""
    findings = check(connection).findings
    return [finding for finding in findings if finding.rule != "value-without-validity"]


def displaced(connection: Connection) -> list[Finding]:
    return [finding for finding in found(connection) if finding.rule in DISPLACEMENT]


def with_received(connection: Connection, entries: Entries) -> Connection:
    """Return the connection with other entries in the map the second end receives with."""
    ordered = tuple(sorted(entries, key=lambda entry: entry.start))
    second = replace(connection.second, receives=Map(entries=ordered))
    return replace(connection, second=second)


def moved(entry: Signal | Reserved, start: int) -> Signal | Reserved:
    return replace(entry, at=Place.at(start))


class TestIdentityIsSilent:
    """Two ends that agree MUST give no finding."""

    @given(clean_connections())
    def test_fscp(self, connection: Connection) -> None:
        assert found(connection) == []

    @given(clean_connections("plain"))
    def test_plain(self, connection: Connection) -> None:
        assert found(connection) == []

    @given(clean_connections())
    def test_ends_in_the_other_order(self, connection: Connection) -> None:
        assert found(Connection(first=connection.second, second=connection.first)) == []


class TestOneSidedBit:
    """A bit taken from a reserve at one end only MUST be named as that, and alone."""

    @given(clean_connections(), st.data())
    def test_named(self, connection: Connection, data: st.DataObject) -> None:
        entries = connection.second.receives.entries
        runs = [entry for entry in entries if isinstance(entry, Reserved)]
        assume(runs)
        run = data.draw(st.sampled_from(runs))
        extra = Signal(name="gate_unlock", at=run.at, bind="Drive.GateUnlock")
        rest: Entries = tuple(entry for entry in entries if entry is not run)
        if run.width > 1:
            rest += (Reserved(at=Place.at(run.start + 1), width=run.width - 1),)
        mutated = with_received(connection, (*rest, extra))
        assert [finding.rule for finding in found(mutated)] == ["one-sided-signal"]
        finding = found(mutated)[0]
        assert finding.message.startswith(f"gate_unlock (1 bit at {run.at}) exists at LX only")
        assert finding.cause == "one-sided bit"


class TestShift:
    """A bit inserted without shrinking the gap MUST be named as one shift from its place on."""

    @given(clean_connections(), st.data())
    def test_named(self, connection: Connection, data: st.DataObject) -> None:
        entries = connection.second.receives.entries
        cut = data.draw(st.integers(0, len(entries) - 1))
        start = entries[cut].start
        later = [moved(entry, entry.start + 1) for entry in entries[cut:]]
        # Keep legal signals only: whole-octet values would be reported for their order as well.
        extra = Signal(name="gate_unlock", at=Place.at(start), bind="Drive.GateUnlock")
        mutated = with_received(connection, (*entries[:cut], extra, *later))
        behind = [entry for entry in later if isinstance(entry, Signal)]
        findings = displaced(mutated)
        assert len(findings) == 1
        assert findings[0].rule == ("shifted-signals" if behind else "one-sided-signal")
        assert "gate_unlock" in findings[0].message
        if behind:
            assert "1 bit later at LX" in findings[0].message
            followed = ("value-across-blocks at LX: ", "overlap at LX: ")
            moves = [line for line in findings[0].details if not line.startswith(followed)]
            assert len(moves) == len(behind)


class TestSwap:
    """Two signals of one width in each other's place MUST be named as a swap."""

    @given(clean_connections(), st.data())
    def test_named(self, connection: Connection, data: st.DataObject) -> None:
        entries = connection.second.receives.entries
        signals = [entry for entry in entries if isinstance(entry, Signal)]
        pairs = [
            (a, b) for a in signals for b in signals if a.start < b.start and a.width == b.width
        ]
        assume(pairs)
        a, b = data.draw(st.sampled_from(pairs))
        rest = tuple(entry for entry in entries if entry is not a and entry is not b)
        mutated = with_received(connection, (*rest, moved(a, b.start), moved(b, a.start)))
        findings = displaced(mutated)
        assert [finding.rule for finding in findings] == ["swapped-signals"]
        assert f"{a.name} and {b.name} stand in each other's place" in findings[0].message


def permuted(entries: Entries, where: Callable[[int, int], int | None]) -> Entries | None:
    result = []
    for entry in entries:
        parts = [entry]
        if isinstance(entry, Reserved):  # reserved runs are cut to single bits to follow
            parts = [Reserved(at=Place.at(i), width=1) for i in range(entry.start, entry.end)]
        for part in parts:
            start = where(part.start, part.width)
            if start is None:
                return None
            result.append(moved(part, start))
    return tuple(result)


class TestOctetOrder:
    """Octets exchanged at one end MUST be one finding, named so or as one simpler move."""

    @given(clean_connections(), st.sampled_from((2, 4)))
    def test_named(self, connection: Connection, word: int) -> None:
        received = connection.second.receives
        assume(received.size_octets % word == 0)
        entries = permuted(received.entries, lambda index, width: swap_octets(index, width, word))
        assume(entries is not None and len(entries) > 0)
        assert entries is not None
        findings = displaced(with_received(connection, entries))
        same = all(
            signal.start == other.start
            for signal, other in zip(
                sorted(received.signals, key=lambda s: s.name),
                sorted(Map(entries=entries).signals, key=lambda s: s.name),
                strict=True,
            )
        )
        if same:
            assert findings == []
        else:
            assert len(findings) == 1
            assert findings[0].rule in {"octet-order", *ONE_MOVE}


class TestBitNumbering:
    """Bits numbered from the other side MUST be one finding, named so or as one simpler move."""

    @given(clean_connections())
    def test_named(self, connection: Connection) -> None:
        received = connection.second.receives
        entries = permuted(received.entries, mirror_in_octets)
        assume(entries is not None)
        assert entries is not None
        findings = displaced(with_received(connection, entries))
        unmoved = {(s.name, s.start) for s in received.signals} == {
            (s.name, s.start) for s in Map(entries=entries).signals
        }
        if unmoved:
            assert findings == []
        else:
            assert len(findings) == 1
            assert findings[0].rule in {"bit-numbering", *ONE_MOVE}


class TestWidth:
    """A width changed at one end MUST be named as that, whatever it displaces."""

    @given(clean_connections(), st.data(), st.booleans())
    def test_named(self, connection: Connection, data: st.DataObject, shrink_gap: bool) -> None:
        entries = connection.second.receives.entries
        wide = [
            index
            for index, entry in enumerate(entries)
            if isinstance(entry, Signal) and entry.type == "uint"
        ]
        assume(wide)
        index = data.draw(st.sampled_from(wide))
        signal = entries[index]
        assert isinstance(signal, Signal)
        narrow = replace(signal, width=signal.width - 1)
        later: Entries
        if shrink_gap:
            later = (Reserved(at=Place.at(narrow.end), width=1), *entries[index + 1 :])
        else:
            later = tuple(moved(entry, entry.start - 1) for entry in entries[index + 1 :])
        mutated = with_received(connection, (*entries[:index], narrow, *later))
        findings = displaced(mutated)
        assert [finding.rule for finding in findings] == ["width-differs"]
        assert f"{signal.width} bits wide at SC1" in findings[0].message


class TestSafeValue:
    """An inverted safe value MUST be named, with a witness that shows it."""

    @given(clean_connections("plain"), st.data())
    def test_named(self, connection: Connection, data: st.DataObject) -> None:
        entries = connection.second.receives.entries
        bits = [entry for entry in entries if isinstance(entry, Signal) and entry.width == 1]
        assume(bits)
        bit = data.draw(st.sampled_from(bits))
        rest = tuple(entry for entry in entries if entry is not bit)
        mutated = with_received(connection, (*rest, replace(bit, safe=1)))
        findings = found(mutated)
        assert [finding.rule for finding in findings] == ["safe-value-differs"]
        assert findings[0].cause == "inverted safe value"


class TestWholeFiles:
    """Exchanged directions and wrong files MUST be named, not reported bit by bit."""

    @given(clean_connections())
    def test_directions(self, connection: Connection) -> None:
        second = connection.second
        turned = replace(second, sends=second.receives, receives=second.sends)
        findings = found(replace(connection, second=turned))
        assert [finding.rule for finding in findings] == ["directions-exchanged"]

    @given(clean_connections())
    def test_wrong_file(self, connection: Connection) -> None:
        findings = found(replace(connection, second=replace(connection.second, name="LX2")))
        assert [finding.rule for finding in findings] == ["wrong-file"]

    @given(clean_connections())
    def test_one_end_twice(self, connection: Connection) -> None:
        findings = found(Connection(first=connection.first, second=connection.first))
        assert findings[0].rule == "wrong-file"
        assert "both files describe the end SC1" in findings[0].message
        assert not [f for f in findings if f.rule in DISPLACEMENT]


def decode(map_: Map, octets: bytes) -> dict[str, tuple[str, ...]]:
    """Decode data bit by bit, independently of safeframe.reading."""
    bits = [octets[index // 8] >> index % 8 & 1 for index in range(8 * len(octets))]
    meanings: dict[str, tuple[str, ...]] = {}
    for signal in map_.signals:
        chosen = bits[signal.start : signal.end]
        value = sum(bit << number for number, bit in enumerate(chosen))
        text = dict(signal.codes).get(value, signal.one_means if value else "")
        meanings[signal.name] = (str(value), text, str(value == signal.safe))
    return meanings


MUTATIONS = ("insert", "swap", "width", "safe", "codes", "mirror")


class TestWitness:
    """A witness MUST be data the producer can send and the two ends MUST read it differently."""

    @pytest.mark.parametrize("mutation", MUTATIONS)
    @given(clean_connections("plain"), st.data())
    def test_read_differently(
        self, mutation: str, connection: Connection, data: st.DataObject
    ) -> None:
        entries = list(connection.second.receives.entries)
        kinds = {"width": ("uint",), "codes": ("code",)}.get(mutation)
        fitting = [
            number
            for number, entry in enumerate(entries)
            if kinds is None or (isinstance(entry, Signal) and entry.type in kinds)
        ]
        assume(fitting)
        index = data.draw(st.sampled_from(fitting))
        entry = entries[index]
        if mutation == "insert":
            entries = [
                *entries[:index],
                Signal(name="gate_unlock", at=entry.at, bind="Drive.GateUnlock"),
                *(moved(later, later.start + 1) for later in entries[index:]),
            ]
        elif mutation == "mirror":
            turned = permuted(tuple(entries), mirror_in_octets)
            assume(turned is not None)
            assert turned is not None
            entries = list(turned)
        else:
            assume(isinstance(entry, Signal))
            assert isinstance(entry, Signal)
            if mutation == "width":
                entries[index] = replace(entry, width=entry.width - 1)
            elif mutation == "safe":
                entries[index] = replace(entry, safe=1)
            elif mutation == "codes":
                codes = (*entry.codes[:-1], (entry.codes[-1][0], "another level"))
                entries[index] = replace(entry, codes=codes)
            else:
                other = next(
                    (e for e in entries if isinstance(e, Signal) and e.width == entry.width), entry
                )
                assume(other is not entry)
                entries[index] = moved(other, entry.start)
                entries[entries.index(other)] = moved(entry, other.start)
        mutated = with_received(connection, tuple(entries))
        sent, received = mutated.first.sends, mutated.second.receives
        for finding in found(mutated):
            if finding.rule not in DISPLACEMENT | {"safe-value-differs", "codes-differ"}:
                continue
            shown = finding.counterexample
            if shown is None:
                assert finding.rule in ("reserve-differs", "size-differs")
                continue
            assert len(shown.octets) == sent.size_octets
            outside = int.from_bytes(shown.octets, "little")
            for signal in sent.signals:
                outside &= ~(((1 << signal.width) - 1) << signal.start)
            assert outside == 0, "only the producer's signals may be set"
            padded = shown.octets.ljust(received.size_octets, b"\0")
            left, right = decode(sent, shown.octets), decode(received, padded)
            assert any(left.get(name) != right.get(name) for name in left.keys() | right.keys())
            assert shown.rows
