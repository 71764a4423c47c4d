"""errors, source, bits, model, findings: the values everything else is made of."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe._bits import (
    Layout,
    Place,
    mirror_in_octets,
    mirror_in_words,
    octets_of_bits,
    reverse_field,
    swap_octets,
    to_bitstring,
)
from safeframe._errors import FrameError, InputError, Problem, UsageError
from safeframe._findings import Finding, Report, at_or_above
from safeframe._model import Connection, ConnectionTable, Direction, End, Map, Reserved, Signal
from safeframe._source import NOWHERE, Location, TextEdit, apply_edits


class TestErrors:
    def test_problem_names_file_line_key_and_remedy(self) -> None:
        problem = Problem(
            path="lx.toml", line=7, key="sends[1].width", message="must be 1", remedy="write 1"
        )
        assert str(problem) == "lx.toml:7: sends[1].width: must be 1 (write 1)"
        assert str(Problem(path="lx.toml", message="must exist")) == "lx.toml: must exist"

    def test_input_error_shows_every_problem(self) -> None:
        error = InputError(Problem(path="a", message="x"), Problem(path="b", message="y"))
        assert str(error) == "a: x\nb: y"
        with pytest.raises(ValueError, match="at least one problem"):
            InputError()

    def test_frame_error_names_the_check(self) -> None:
        assert FrameError("no", check="crc_0").check == "crc_0"


class TestSource:
    def test_location(self) -> None:
        assert str(Location(path="a.toml", line=3)) == "a.toml:3"
        assert str(NOWHERE) == "<memory>"

    def test_edits_apply_in_any_order(self) -> None:
        edits = [TextEdit(start=4, end=5, text="X"), TextEdit(start=0, end=0, text="> ")]
        assert apply_edits("abcdef", edits) == "> abcdXf"

    def test_overlap_is_refused(self) -> None:
        edits = [TextEdit(start=0, end=3, text=""), TextEdit(start=2, end=4, text="")]
        with pytest.raises(UsageError, match="must not overlap, not twice at offset 2"):
            apply_edits("abcdef", edits)

    def test_edit_beyond_the_text_is_refused(self) -> None:
        with pytest.raises(UsageError, match="inside the 3 characters, not end at 4"):
            apply_edits("abc", [TextEdit(start=1, end=4, text="")])
        with pytest.raises(UsageError, match=r"0 <= start <= end, not 3\.\.2"):
            TextEdit(start=3, end=2, text="")


class TestPlaces:
    def test_parse_and_print(self) -> None:
        assert Place.parse("12.7") == Place(12, 7)
        assert str(Place.at(10)) == "1.2"
        assert Place(1, 2).index == 10

    @pytest.mark.parametrize("text", ["1", "1.8", "01.0", "-1.0", "1.2 ", "", "1,2", "1.٢"])
    def test_anything_else_is_refused(self, text: str) -> None:
        with pytest.raises(UsageError, match=r'a place must be "octet.bit" with bit 0\.\.7'):
            Place.parse(text)

    def test_range(self) -> None:
        with pytest.raises(UsageError, match=r"octet number must be 0\.\.65535, not 65536"):
            Place(65536, 0)
        with pytest.raises(UsageError, match=r"bit number must be 0\.\.7, not 8"):
            Place(0, 8)

    def test_octets_of_bits(self) -> None:
        assert [octets_of_bits(bits) for bits in (0, 1, 8, 9)] == [0, 1, 1, 2]


class TestPermutations:
    def test_mirror(self) -> None:
        assert mirror_in_octets(9, 1) == 14
        assert mirror_in_octets(10, 3) == 11
        assert mirror_in_octets(8, 16) == 8
        assert mirror_in_octets(6, 4) is None

    def test_mirror_in_words(self) -> None:
        assert mirror_in_words(0, 1, 2) == 15
        assert mirror_in_words(19, 4, 2) == 25
        assert mirror_in_words(14, 4, 2) is None

    def test_swap(self) -> None:
        assert swap_octets(3, 2, 2) == 11
        assert swap_octets(0, 16, 2) == 0
        assert swap_octets(0, 16, 4) == 16
        assert swap_octets(6, 4, 2) is None
        assert swap_octets(8, 16, 2) is None
        # Neither whole octets nor inside one: 9, 12 and 17 bits have no place of their own.
        assert [swap_octets(0, width, 4) for width in (9, 12, 17)] == [None, None, None]
        assert [swap_octets(7, width, 4) for width in (9, 17)] == [None, None]
        assert swap_octets(4, 12, 4) is None
        assert swap_octets(8, 24, 4) == 0

    @given(st.integers(0, 200), st.integers(1, 8))
    def test_mirror_is_its_own_inverse(self, index: int, width: int) -> None:
        there = mirror_in_octets(index, width)
        if there is not None:
            assert mirror_in_octets(there, width) == index

    @given(st.integers(0, 200), st.integers(1, 24), st.sampled_from((2, 4, 8)))
    def test_swap_is_its_own_inverse(self, index: int, width: int, word: int) -> None:
        there = swap_octets(index, width, word)
        if there is not None:
            assert swap_octets(there, width, word) == index

    def test_reverse_field(self) -> None:
        assert reverse_field(0b0011, 4) == 0b1100
        assert reverse_field(1, 1) == 1


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    fields, index = [], 0
    for _ in range(draw(st.integers(0, 12))):
        index += draw(st.integers(0, 9))
        width = draw(st.integers(1, 40))
        fields.append((index, width))
        index += width
    order = draw(st.permutations(fields))
    return Layout(octets_of_bits(index) + draw(st.integers(0, 2)), order)


class TestLayout:
    """Packing and unpacking MUST agree with bitstring for every layout."""

    @given(layouts(), st.data())
    def test_agrees_with_bitstring(self, layout: Layout, data: st.DataObject) -> None:
        values = [data.draw(st.integers(0, (1 << width) - 1)) for _, width in layout.fields]
        octets = layout.pack(values)
        assert list(layout.unpack(octets)) == values
        shown = to_bitstring(octets)
        for (index, width), value in zip(layout.fields, values, strict=True):
            # Place o.b is index 8 * o + 7 - b of bitstring, whose index 0 is the top bit.
            places = [8 * (i >> 3) + 7 - (i & 7) for i in range(index, index + width)]
            assert sum(shown[place] << number for number, place in enumerate(places)) == value
        used = sum(width for _, width in layout.fields)
        assert shown.count(1) == sum(value.bit_count() for value in values)
        assert len(shown) >= used

    def test_worked_example(self) -> None:
        layout = Layout(2, [(0, 1), (8, 2), (10, 1)])
        assert layout.pack([1, 3, 1]).hex() == "0107"
        assert list(layout.unpack(b"\x01\x07")) == [1, 3, 1]

    @pytest.mark.parametrize(
        ("size", "fields", "message"),
        [
            (1, [(0, 0)], "a field must be at least 1 bit wide, not 0"),
            (1, [(0, 2), (1, 1)], "fields must not overlap, not twice at 0.1"),
            (1, [(-1, 1)], "fields must not overlap, not twice at 0.0"),
            (1, [(7, 2)], "fields must end within 8 bits, not at bit 9"),
        ],
    )
    def test_bad_layouts(self, size: int, fields: list[tuple[int, int]], message: str) -> None:
        with pytest.raises(UsageError, match=message):
            Layout(size, fields)

    def test_bad_values(self) -> None:
        layout = Layout(1, [(0, 1), (1, 2)])
        with pytest.raises(UsageError, match=r"the value at 0.1 must be 0\.\.3, not 4"):
            layout.pack([0, 4])
        with pytest.raises(UsageError, match=r"the value at 0.0 must be 0\.\.1, not -1"):
            layout.pack([-1, 0])
        with pytest.raises(UsageError, match="values must be 2, not 1"):
            layout.pack([0])
        with pytest.raises(UsageError, match="data must be 1 octets, not 2"):
            layout.unpack(b"\0\0")


def end(name: str = "SC1", peer: str = "LX") -> End:
    return End(
        name=name, peer=peer, connection_table=ConnectionTable(name="SC1-LX", profile="plain")
    )


class TestModel:
    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"width": 0}, r"width must be 1\.\.524288 bits, not 0"),
            ({"type": "text"}, "type must be one of bool, uint, int, float, code, not 'text'"),
            ({"width": 2}, "a bool must be 1 bit wide, not 2"),
            ({"type": "float", "width": 8}, "a float must be 16, 32 or 64 bits wide, not 8"),
            ({"edge": "up"}, "edge must be rising, falling or both, not 'up'"),
            ({"order": "middle"}, "order must be little or big, not 'middle'"),
            ({"type": "uint", "width": 12, "order": "big"}, "must fill whole octets, not 12 bits"),
        ],
    )
    def test_local_nonsense_is_refused(self, change: dict[str, object], message: str) -> None:
        with pytest.raises(UsageError, match=message):
            replace(Signal(name="a", at=Place(0, 0)), **change)  # type: ignore[arg-type]

    def test_reserved(self) -> None:
        run = Reserved(at=Place(1, 2), width=6)
        assert (run.start, run.end) == (10, 16)
        with pytest.raises(UsageError, match=r"reserved must be 1\.\.524288 bits, not 0"):
            Reserved(at=Place(0, 0), width=0)
        with pytest.raises(UsageError, match="value must fit 2 reserved bits, not 4"):
            Reserved(at=Place(0, 0), width=2, value=4)

    def test_map_sizes(self) -> None:
        map_ = Map(entries=(Signal(name="a", at=Place(0, 0)), Reserved(at=Place(1, 0), width=2)))
        assert (map_.size_bits, map_.size_octets) == (10, 2)
        assert [signal.name for signal in map_.signals] == ["a"]
        assert [run.width for run in map_.reserved] == [2]
        assert Map().size_bits == 0

    def test_where_does_not_count(self) -> None:
        signal = Signal(name="a", at=Place(0, 0))
        assert signal == replace(signal, where=Location(path="x", line=1))

    def test_end_locates_keys(self) -> None:
        placed = replace(
            end(), where=Location(path="a.toml"), lines=(("connection.id", 2), ("end", 3))
        )
        assert str(placed.locate("connection.id")) == "a.toml:2"
        assert str(placed.locate("connection.edition")) == "a.toml"
        assert placed.locate("end.address") == Location(path="a.toml", line=3, key="end")

    def test_connection(self) -> None:
        connection = Connection(first=end(), second=end("LX", "SC1"))
        there, back = connection.directions()
        assert (connection.name, there.name, back.name) == ("SC1-LX", "SC1 -> LX", "LX -> SC1")
        assert there == Direction(producer=connection.first, consumer=connection.second)
        assert there.sent is connection.first.sends
        assert there.received is connection.second.receives
        assert connection.ends == (connection.first, connection.second)


def finding(severity: str) -> Finding:
    return Finding(rule="hole", severity=severity, message="m", remedy="r", spots=())


class TestFindings:
    def test_threshold(self) -> None:
        assert at_or_above("error", "warning")
        assert not at_or_above("note", "warning")
        report = Report(findings=(finding("warning"),))
        assert report.fails("warning")
        assert not report.fails("error")

    def test_worst(self) -> None:
        assert Report().worst() == ""
        assert Report(findings=(finding("note"), finding("error"))).worst() == "error"
