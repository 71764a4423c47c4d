"""What every edit must keep, whatever the maps look like."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from safeframe import _checks as checks
from safeframe._bits import Place
from safeframe._errors import UsageError
from safeframe._findings import at_or_above
from safeframe._mapfile import dumps, loads
from safeframe._model import Connection, End, Map, Signal
from safeframe.edit import (
    Bind,
    Declare,
    Edit,
    Insert,
    MapText,
    Move,
    Operation,
    Remove,
    Rename,
    Resize,
    edit,
)
from tests.strategies import clean_connections, ends, names, places

from .test_mapfile_patch import as_tables

pytestmark = pytest.mark.no_cover

STYLES: dict[str, Callable[[End], str]] = {
    "rows.toml": dumps,
    "tables.toml": as_tables,
    "sheet.csv": lambda end: dumps(end, format="csv"),
}


def read(source: MapText) -> End:
    return loads(source.text, format=source.path[-4:].lstrip("."))


@st.composite
def pairs(draw: st.DrawFn) -> tuple[Connection, tuple[MapText, MapText]]:
    """Draw a clean connection and its files, each in a style and with line ends of its own."""
    connection = draw(clean_connections())
    sources = []
    for end in connection.ends:
        style, line_end = (
            draw(st.sampled_from(sorted(STYLES))),
            draw(st.sampled_from(("\n", "\r\n"))),
        )
        text = STYLES[style](end).replace("\n", line_end)
        sources.append(MapText(path=f"{end.name} in {style}", text=text))
    return connection, (sources[0], sources[1])


def names_of(connection: Connection) -> list[str]:
    return [signal.name for one in connection.directions() for signal in one.sent.signals]


def rules_of(connection: Connection) -> set[str]:
    found = checks.check(connection).findings
    return {finding.rule for finding in found if at_or_above(finding.severity, "warning")}


def bits(map_: Map) -> list[str]:
    """Return who owns each bit: the name of a signal, or nothing for reserve."""
    owners = ["?"] * map_.size_bits
    for entry in map_.entries:
        for index in range(entry.start, entry.end):
            assert owners[index] == "?", "an entry overlaps another"
            owners[index] = entry.name if isinstance(entry, Signal) else ""
    assert "?" not in owners
    return owners


def maps_of(connection: Connection) -> dict[tuple[str, str], Map]:
    return {
        (one.producer.name, end.name): map_
        for one in connection.directions()
        for end, map_ in ((one.producer, one.sent), (one.consumer, one.received))
    }


def judge(done: Edit, sender: str, expected: dict[str, list[str]], changed: str) -> None:
    """Check everything that an edit must keep; ``expected`` are the bits of the edited direction.

    ``changed`` is the only signal whose row may differ.
    """
    # The result is what the new texts say.
    assert done.after == Connection(first=read(done.new[0]), second=read(done.new[1]))
    before, after = maps_of(done.before), maps_of(done.after)
    for (producer, end), map_ in after.items():
        old = before[producer, end]
        assert map_.size_bits == old.size_bits
        if producer != sender:
            assert map_ == old
            continue
        assert bits(map_) == expected[end]
        kept = [signal for signal in old.signals if signal.name != changed]
        assert [signal for signal in map_.signals if signal.name != changed] == kept
        starts = [entry.start for entry in map_.entries]
        assert starts == sorted(starts)
    for old_end, new_end in zip(done.before.ends, done.after.ends, strict=True):
        assert (
            dataclasses.replace(new_end, sends=old_end.sends, receives=old_end.receives) == old_end
        )
    # Line ends stay what they were.
    for old_text, new_text in zip(done.old, done.new, strict=True):
        assert ("\r\n" in old_text.text) == ("\r\n" in new_text.text)
        assert new_text.text.count("\n") == new_text.text.count("\r\n") or "\r" not in new_text.text
    # An accepted edit adds no finding but notes, so a clean connection stays clean.
    if done.accepted:
        assert rules_of(done.after) <= rules_of(done.before)


def codes(width: int) -> dict[str, object]:
    points = tuple((code, f"level {code}") for code in range(1 << width))
    return {"type": "code", "codes": points} if width > 1 else {"one_means": "it is on"}


class TestInsert:
    @given(pairs(), st.data())
    def test_insert_and_remove(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: the width comes out of the reserve at both ends, and removing gives it back."""
        connection, sources = drawn
        direction = data.draw(st.sampled_from(tuple(connection.directions())))
        sender = direction.producer.name
        width = data.draw(st.integers(1, 3))
        start = data.draw(st.integers(0, max(direction.sent.size_bits - 1, 0)))
        owners = bits(direction.sent)
        free = owners[start : start + width] == [""] * width
        operation = Insert(
            name="added",
            width=width,
            at=Place.at(start),
            sender=sender,
            fields=codes(width),
            binds={"SC1": "Lift.Added", "LX": "Drive.Added"},
        )
        if not free:
            reach = next((at for at in range(start, len(owners)) if owners[at]), len(owners))
            with pytest.raises(UsageError) as caught:
                edit(*sources, operation)
            bit = f"{width} bit{'s'[: width != 1]}"
            said = f"added needs {bit} at {Place.at(start)}, {reach - start} free there ("
            assert str(caught.value).startswith(said)
            return
        done = edit(*sources, operation)
        expected = owners[:start] + ["added"] * width + owners[start + width :]
        judge(done, sender, dict.fromkeys(("SC1", "LX"), expected), "added")
        for map_ in (
            next(one for one in done.after.directions() if one.producer.name == sender).sent,
            next(one for one in done.after.directions() if one.producer.name == sender).received,
        ):
            reserve = sum(run.width for run in map_.reserved)
            assert reserve == sum(run.width for run in direction.sent.reserved) - width
        back = edit(*done.new, Remove(name="added"))
        judge(back, sender, dict.fromkeys(("SC1", "LX"), owners), "added")
        for old, new in zip(sources, back.new, strict=True):
            if not self.loses_a_border(direction.sent, start, start + width, old.path):
                assert new.text == old.text

    @staticmethod
    def loses_a_border(map_: Map, start: int, end: int, path: str) -> bool:
        """Tell whether nothing in the edited text can say how the reserve was divided before.

        That is so where two runs met at the new bits, and where a row with comments (the style
        of tables) was used up.
        """
        edges = {run.start for run in map_.reserved} & {run.end for run in map_.reserved}
        used_up = any(start <= run.start and run.end <= end for run in map_.reserved)
        return any(start <= edge <= end for edge in edges) or (used_up and "tables" in path)

    @given(pairs(), st.data())
    def test_a_signal_that_one_end_has_is_completed(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: removing a signal at one end and inserting it again makes both ends agree."""
        connection, sources = drawn
        name = data.draw(st.sampled_from(names_of(connection)))
        which = data.draw(st.integers(0, 1))
        removed = edit(*sources, Remove(name=name)).new
        gone = (sources[0], removed[1]) if which else (removed[0], sources[1])
        direction = next(
            one
            for one in connection.directions()
            if any(signal.name == name for signal in one.sent.signals)
        )
        signal = next(signal for signal in direction.sent.signals if signal.name == name)
        operation = Insert(
            name=name,
            width=signal.width,
            at=signal.at,
            sender=direction.producer.name,
            binds={connection.ends[which].name: "Again"},
        )
        done = edit(*gone, operation)
        assert done.new[1 - which] == sources[1 - which]
        assert rules_of(done.after) <= rules_of(connection)


class TestRemove:
    @given(pairs(), st.data())
    def test_its_bits_are_reserve(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: only the bits of the signal change, from it to reserve."""
        connection, sources = drawn
        name = data.draw(st.sampled_from(names_of(connection)))
        direction = next(one for one in connection.directions() if name in bits(one.sent))
        done = edit(*sources, Remove(name=name))
        expected = ["" if owner == name else owner for owner in bits(direction.sent)]
        judge(done, direction.producer.name, dict.fromkeys(("SC1", "LX"), expected), name)


class TestMove:
    @given(pairs(), st.data())
    def test_only_one_signal_moves(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: the signal leaves reserve behind and stands on what was reserve or its own."""
        connection, sources = drawn
        name = data.draw(st.sampled_from(names_of(connection)))
        direction = next(one for one in connection.directions() if name in bits(one.sent))
        signal = next(signal for signal in direction.sent.signals if signal.name == name)
        owners = bits(direction.sent)
        start = data.draw(st.integers(0, len(owners) - signal.width))
        place = range(start, start + signal.width)
        operation = Move(name=name, at=Place.at(start))
        if any(owners[index] not in ("", name) for index in place):
            with pytest.raises(UsageError, match=f"^{name} needs {signal.width} bit"):
                edit(*sources, operation)
            return
        done = edit(*sources, operation)
        expected = ["" if owner == name else owner for owner in owners]
        expected[start : start + signal.width] = [name] * signal.width
        judge(done, direction.producer.name, dict.fromkeys(("SC1", "LX"), expected), name)
        if start == signal.start:
            assert done.new == sources


class TestResize:
    @given(pairs(), st.data())
    def test_the_bits_after_it_are_taken_or_given(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: the signal stays at its place and grows or shrinks into the reserve after it."""
        connection, sources = drawn
        name = data.draw(st.sampled_from(names_of(connection)))
        direction = next(one for one in connection.directions() if name in bits(one.sent))
        signal = next(signal for signal in direction.sent.signals if signal.name == name)
        assume(signal.type != "code")
        owners = bits(direction.sent)
        width = data.draw(st.integers(1, 9))
        end = signal.start + width
        operation = Resize(name=name, width=width)
        if any(owner != "" for owner in owners[signal.end : end]) or end > len(owners):
            with pytest.raises(UsageError, match=f"^{name} needs {width - signal.width} bit"):
                edit(*sources, operation)
            return
        done = edit(*sources, operation)
        expected = ["" if owner == name else owner for owner in owners]
        expected[signal.start : end] = [name] * width
        judge(done, direction.producer.name, dict.fromkeys(("SC1", "LX"), expected), name)


class TestRename:
    @given(pairs(), st.data())
    def test_there_and_back(
        self, drawn: tuple[Connection, tuple[MapText, MapText]], data: st.DataObject
    ) -> None:
        """MUST: a rename changes no bit, and renaming back restores every byte."""
        connection, sources = drawn
        name = data.draw(st.sampled_from(names_of(connection)))
        direction = next(one for one in connection.directions() if name in bits(one.sent))
        done = edit(*sources, Rename(name=name, to="renamed"))
        assert done.caused == ()
        expected = ["renamed" if owner == name else owner for owner in bits(direction.sent)]
        maps = maps_of(done.after)
        for end in ("SC1", "LX"):
            assert bits(maps[direction.producer.name, end]) == expected
        assert edit(*done.new, Rename(name="renamed", to=name)).new == sources


@st.composite
def any_pair(draw: st.DrawFn) -> tuple[MapText, MapText]:
    """Draw two files of any two ends: holes, overlaps, repeated names, any order."""
    first = draw(ends())
    second = draw(ends())
    second = dataclasses.replace(
        second,
        receives=first.sends if draw(st.booleans()) else second.receives,
        sends=first.receives if draw(st.booleans()) else second.sends,
    )
    styles = [draw(st.sampled_from(sorted(STYLES))) for _ in range(2)]
    return (
        MapText(path=styles[0], text=STYLES[styles[0]](first)),
        MapText(path=styles[1], text=STYLES[styles[1]](second)),
    )


class TestWrongMaps:
    @given(any_pair(), st.data())
    def test_an_edit_is_done_or_refused(
        self, sources: tuple[MapText, MapText], data: st.DataObject
    ) -> None:
        """MUST: whatever the maps are, an edit is refused in words, or keeps sizes and signals."""
        before = [read(source) for source in sources]
        known = [signal.name for end in before for signal in end.sends.signals]
        known += [signal.name for end in before for signal in end.receives.signals]
        name = data.draw(st.sampled_from(known) if known else names())
        other = data.draw(st.sampled_from(known) if known else names())
        place = data.draw(
            st.fixed_dictionaries({"at": places()})
            | st.sampled_from(({"after": other}, {"before": other}))
        )
        sender = data.draw(st.sampled_from(("", *(end.name for end in before))))
        width = data.draw(st.integers(1, 20))
        operations: tuple[Operation, ...] = (
            Insert(name="added", width=width, sender=sender, **place),
            Remove(name=name, sender=sender),
            Rename(name=name, to="renamed", sender=sender),
            Rename(name=name, to=other, sender=sender),
            Resize(name=name, width=width, sender=sender),
            Move(name=name, sender=sender, **place),
            Bind(name=name, binds={before[0].name: "x"}, sender=sender),
            Declare(at=Place.at(width), width=width, sender=before[0].name),
        )
        operation = data.draw(st.sampled_from(operations))
        try:
            done = edit(*sources, operation)
        except UsageError:
            return
        for old, new in zip(before, done.after.ends, strict=True):
            for old_map, new_map in ((old.sends, new.sends), (old.receives, new.receives)):
                assert old_map.size_bits == new_map.size_bits
                kept = [one.at for one in new_map.signals if one.name not in (name, "added", other)]
                if not isinstance(operation, Rename):
                    assert kept == [
                        one.at for one in old_map.signals if one.name not in (name, other)
                    ]
