"""ESI: the container of FSCP 12/1 against built frames and a second unpacker."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import safeframe
from safeframe import frame, importing
from tests.unit.importing_files import CASES, importer

IDENTITY = importing.Identity(connection="SC1-LX", end="LX", peer="SC1")


class Bits(NamedTuple):
    """One entry of a generated PDO: its name (empty for padding), first bit in the PDO, width."""

    name: str
    start: int
    width: int


def entry(index: int, width: int, name: str = "", kind: str = "") -> str:
    texts = f"<Index>#x{index:x}</Index><BitLen>{width}</BitLen>"
    texts += f"<Name>{name}</Name>" if name else ""
    return f"<Entry>{texts}{f'<DataType>{kind}</DataType>' if kind else ''}</Entry>\n"


def document(entries: str, more: str = "", dictionary: str = "") -> str:
    return (
        '<EtherCATInfo Version="1.14"><Descriptions><Devices><Device>'
        f'<Type ProductCode="#x1" RevisionNo="1">LX</Type>{dictionary}'
        f'<TxPdo Fixed="1"><Index>#x1a00</Index><Name>In</Name>\n{entries}</TxPdo>{more}'
        "</Device></Devices></Descriptions></EtherCATInfo>"
    )


def read(text: str, **decisions: str) -> importing.Imported:
    """Import the only PDO of a text."""
    stated = importing.Decisions(viewpoint="device", **decisions)  # type: ignore[arg-type]
    source = importing.DeviceFile("lx.xml", text.encode("utf-8"))
    return importing.imported(importing.find_format("esi"), source, (), IDENTITY, stated)


@st.composite
def containers(draw: st.DrawFn) -> tuple[str, list[Bits], int]:
    """Return a PDO with a container of 1 to 30 data octets, its data entries, and its octets."""
    octets = draw(st.sampled_from([1, *range(2, 31, 2)]))
    block = 8 if octets == 1 else 16
    text, entries, position, number = entry(0xE600, 8, "Command", "USINT"), [], 8, 0
    for _ in range(8 * octets // block):
        left = block
        while left:
            width = draw(st.integers(1, min(left, draw(st.sampled_from([1, 8, 16])))))
            padding = draw(st.integers(0, 3)) == 0 and left < block  # A block begins with data.
            name = "" if padding else f"signal {number}"
            kind = "BOOL" if width == 1 else ""
            text += entry(0 if padding else 0x6000 + number, width, name, kind if name else "")
            entries.append(Bits(name, position, width))
            position, left, number = position + width, left - width, number + 1
        text += entry(0xE600, 16, "CRC", "UINT")
        position += 16
    return text + entry(0xE600, 16, "ConnID", "UINT"), entries, octets


def second_unpacker(position: int, octets: int) -> int:
    """Return the data bit that a bit of the frame carries, by octets alone."""
    octet, bit = divmod(position, 8)
    carried = [1] if octets == 1 else [1 + 4 * (n // 2) + n % 2 for n in range(octets)]
    return 8 * carried.index(octet) + bit


class TestContainer:
    """Every data bit of a container MUST stand in a built frame where the file has its entry."""

    @settings(max_examples=40, deadline=None)
    @given(container=containers())
    def test_every_bit(self, container: tuple[str, list[Bits], int]) -> None:
        text, entries, octets = container
        made = read(document(text))
        signals = {signal.name: signal for signal in made.end.sends.signals}
        assert set(signals) == {one.name for one in entries if one.name}
        assert made.end.sends.size_octets == octets
        assert made.end.connection_table.profile == "fscp-12-1"
        known = {"connection_id": 0x0107}
        empty = frame.build("fscp-12-1", data=bytes(octets), **known)
        assert made.selected[0].layout.total_bits == 8 * len(empty)
        for one in entries:
            for bit in range(one.width):
                place = second_unpacker(one.start + bit, octets)
                if one.name:
                    assert place == signals[one.name].start + bit
                    data = (1 << place).to_bytes(octets, "little")
                    built = frame.build("fscp-12-1", data=data, **known)
                    position = one.start + bit
                    assert built[position // 8] ^ empty[position // 8] == 1 << position % 8

    @settings(max_examples=20, deadline=None)
    @given(container=containers(), data=st.data())
    def test_two_entries_exchanged_are_another_map(
        self, container: tuple[str, list[Bits], int], data: st.DataObject
    ) -> None:
        text = container[0]
        lines = text.splitlines(keepends=True)
        same = [place for place, line in enumerate(lines) if "signal" in line and ">1<" in line]
        if len(same) < 2:
            return
        first, second = data.draw(
            st.lists(st.sampled_from(same), min_size=2, max_size=2, unique=True)
        )
        lines[first], lines[second] = lines[second], lines[first]
        before, after = read(document(text)).end, read(document("".join(lines))).end
        assert before.sends != after.sends
        assert [one.width for one in before.sends.signals] == [
            one.width for one in after.sends.signals
        ]


def wide(second: str = "", dictionary: str = "") -> str:
    """Return a PDO of 4 data octets in which 16 bits end at the first CRC."""
    rest = second or entry(0, 16)
    return document(
        entry(0xE600, 8, "Command")
        + entry(0x6611, 16, "position", "")
        + entry(0xE600, 16, "CRC_0")
        + rest
        + entry(0xE600, 16, "CRC_1")
        + entry(0xE600, 16, "ConnID"),
        dictionary=dictionary,
    )


def dictionary(bits: int) -> str:
    return (
        "<Profile><Dictionary><Objects><Object><Index>#x6611</Index><Type>T</Type>"
        f"<BitSize>{bits}</BitSize></Object></Objects></Dictionary></Profile>"
    )


def shape(made: importing.Imported) -> list[tuple[str, int]]:
    return [(getattr(one, "name", ""), one.width) for one in made.end.sends.entries]


class TestContinuation:
    """An entry without object behind a CRC is padding or the rest of a value: never a guess."""

    @pytest.mark.parametrize(
        ("bits", "expected"),
        [(32, [("position", 32)]), (16, [("position", 16), ("", 16)])],
    )
    def test_the_dictionary_decides(self, bits: int, expected: list[tuple[str, int]]) -> None:
        assert shape(read(wide(dictionary=dictionary(bits)))) == expected

    def test_a_value_that_ends_inside_a_block(self) -> None:
        made = read(wide(entry(0, 8) + entry(0, 8), dictionary(24)))
        assert shape(made) == [("position", 24), ("", 8)]

    def test_a_rest_of_the_wrong_width_contradicts_the_dictionary(self) -> None:
        with pytest.raises(safeframe.InputError) as caught:
            read(wide(entry(0, 4) + entry(0, 12), dictionary(24)))
        assert not isinstance(caught.value, importing.OpenDecisionError)
        assert (
            "position must go on with 8 bits here, since the dictionary gives it 24, not with 4"
            in str(caught.value)
        )

    @pytest.mark.parametrize(
        "text", [wide(), wide(dictionary=dictionary(32).replace("6611", "6612"))]
    )
    def test_no_width_in_the_file_asks(self, text: str) -> None:
        with pytest.raises(
            importing.OpenDecisionError, match="no dictionary tells its width"
        ) as caught:
            read(text)
        assert "--padding-after-crc reserve or --padding-after-crc continue" in str(caught.value)

    @pytest.mark.parametrize(
        ("word", "expected"),
        [("continue", [("position", 32)]), ("reserve", [("position", 16), ("", 16)])],
    )
    def test_the_user_decides(self, word: str, expected: list[tuple[str, int]]) -> None:
        assert shape(read(wide(), padding_after_crc=word)) == expected

    def test_width_of_a_part_of_an_object(self) -> None:
        types = (
            "<Profile><Dictionary><DataTypes><DataType><Name>T</Name><BitSize>48</BitSize>"
            "<SubItem><SubIdx>0</SubIdx><BitSize>32</BitSize></SubItem></DataType></DataTypes>"
        )
        text = dictionary(48).replace("<Profile><Dictionary>", types)
        assert shape(read(wide(dictionary=text))) == [("position", 32)]

    def test_a_single_bit_or_a_bool_is_never_continued(self) -> None:
        text = wide(entry(0, 1) + entry(0, 15))
        assert shape(read(text)) == [("position", 16), ("", 16)]
        boolean = wide().replace(
            entry(0x6611, 16, "position"), entry(1, 15, "a") + entry(2, 1, "b", "BOOL")
        )
        assert shape(read(boolean)) == [("a", 15), ("b", 1), ("", 16)]


class TestSelections:
    """Devices, revisions and modules are told apart, or both are named."""

    def test_two_devices(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        case = CASES["esi"]
        start = case.text.index("      <Device ")
        end = case.text.index("    </Devices>")
        other = case.text[start:end].replace('RevisionNo="1"', 'RevisionNo="2"')
        text = case.text[:end] + other + case.text[end:]
        run = importer(tmp_path, capsys)
        assert run(case, text).code == 0
        found = run(case, text, "--list")
        assert "device:0x1:2/rx:0x1601" in found.out
        found = run(case, text, *case.options[4:])
        assert found.code == 1
        assert "what to import must name one thing, not 4" in found.err
        same = text.replace('RevisionNo="2"', 'RevisionNo="1"')
        found = run(case, same)
        assert found.code == 1
        assert (
            "device:0x1:1/rx:0x1601 (line 18), device:0x1:1/rx:0x1601 (line 59)"
            in " ".join(found.err.split())
            or "must name one thing, not 2" in found.err
        )

    def test_modules(self) -> None:
        text = document(entry(1, 8, "x")).replace(
            "</Descriptions>",
            '<Modules><Module><Type ModuleIdent="#x7">M</Type><RxPdo Fixed="1">'
            f"<Index>#x1600</Index><Name>Out</Name>{entry(2, 8, 'y')}</RxPdo></Module></Modules>"
            "</Descriptions>",
        )
        source = importing.DeviceFile("lx.xml", text.encode())
        found = importing.candidates_of(importing.find_format("esi"), source, importing.Decisions())
        assert [one.path for one in found] == ["device:0x1:1/tx:0x1a00", "module:0x7/rx:0x1600"]

    def test_a_pdo_that_a_module_overwrites(self) -> None:
        text = wide(dictionary=dictionary(32)).replace(
            "<TxPdo ", '<TxPdo OverwrittenByModule="true" '
        )
        with pytest.raises(safeframe.InputError, match="select the PDO of the module"):
            read(text)

    def test_a_pdo_that_is_not_fixed(self) -> None:
        text = wide(dictionary=dictionary(32)).replace(' Fixed="1"', "")
        note, _ = read(text).notes
        assert note.endswith("not fixed: the project may have changed it")

    def test_named_padding_is_told(self) -> None:
        text = wide(dictionary=dictionary(16)).replace(entry(0, 16), entry(0, 16, "Padding"))
        note, other = read(text).notes
        assert note.endswith("named padding taken as reserve: Padding")
        assert other.endswith("taken as unsigned, since the type does not tell: position (none)")

    def test_padding_with_a_name_and_a_type_may_be_data(self) -> None:
        text = wide(dictionary=dictionary(16)).replace(entry(0, 16), entry(0, 16, "a", "UINT"))
        with pytest.raises(importing.OpenDecisionError, match="a may be padding or data"):
            read(text)
        note, _ = read(text, gaps="reserve").notes
        assert note.endswith("named padding taken as reserve: a")

    @pytest.mark.parametrize(
        ("old", "new", "message"),
        [
            (
                "<Index>#x6611</Index><BitLen>",
                "<Index>#x16611</Index><BitLen>",
                "Index must be a number of 0 to 65",
            ),
            (
                "<BitLen>",
                "<SubIndex>256</SubIndex><BitLen>",
                "SubIndex must be a number of 0 to 25",
            ),
        ],
    )
    def test_an_object_that_there_cannot_be(self, old: str, new: str, message: str) -> None:
        text = wide(dictionary=dictionary(16))
        assert old in text
        with pytest.raises(safeframe.InputError, match=message):
            read(text.replace(old, new))


class TestPlain:
    """--container none takes the entries as they stand."""

    def test_entries(self) -> None:
        text = document(entry(1, 8, "a", "USINT") + entry(0, 4) + entry(2, 4, "b"))
        with pytest.raises(importing.OpenDecisionError, match="16 bits are no size of one"):
            read(text)
        identity = importing.Identity(connection="c", end="LX", peer="SC1", profile="plain")
        source = importing.DeviceFile("lx.xml", text.encode())
        decisions = importing.Decisions(viewpoint="device", container="none", safe="zero")
        made = importing.imported(importing.find_format("esi"), source, (), identity, decisions)
        assert shape(made) == [("a", 8), ("", 4), ("b", 4)]
        (note,) = made.notes
        assert note.endswith("taken as unsigned, since the type does not tell: b (none)")

    def test_repeated_and_missing_names_are_numbered(self) -> None:
        text = document(entry(1, 4, "a") + entry(2, 4, "a") + entry(3, 4, "a 1") + entry(4, 4, ""))
        identity = importing.Identity(connection="c", end="LX", peer="SC1", profile="plain")
        source = importing.DeviceFile("lx.xml", text.encode())
        decisions = importing.Decisions(
            viewpoint="device", container="none", safe="zero", number_names=True
        )
        made = importing.imported(importing.find_format("esi"), source, (), identity, decisions)
        assert shape(made) == [("a 2", 4), ("a 3", 4), ("a 1", 4), ("In 12", 4)]


def test_many_entries_are_refused_while_reading() -> None:
    import tracemalloc

    text = document("\n".join([entry(1, 1, "permit_torque", "BOOL")] * 200_000))
    source = importing.DeviceFile("lx.xml", text.encode())
    tracemalloc.start()
    with pytest.raises(safeframe.InputError, match="at most 2048 elements, not more"):
        importing.imported(
            importing.find_format("esi"), source, (), IDENTITY, importing.Decisions()
        )
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8 << 20


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be", "cp1252", "iso8859-15"])
def test_what_is_read_later_is_read_in_the_encoding_of_the_file(encoding: str) -> None:
    text = wide(dictionary=dictionary(32)).replace("position", "Höhe").replace("<T", "\n<T")
    text = text.replace("<RxPdo", '<RxPdo Fixed="1"/><RxPdo')
    mark = {"utf-8-sig": "", "utf-16": "", "utf-16-be": "\ufeff"}.get(encoding)
    if mark is None:
        text = f'<?xml version="1.0" encoding="{codecs.lookup(encoding).name}"?>\n{text}'
    source = importing.DeviceFile("lx.xml", f"{mark or ''}{text}".encode(encoding))
    stated = importing.Decisions(viewpoint="device")
    made = importing.imported(importing.find_format("esi"), source, (), IDENTITY, stated)
    assert shape(made) == [("Höhe", 32)]


def test_a_pdo_without_anything_in_it() -> None:
    source = importing.DeviceFile("lx.xml", document("", "<RxPdo/>").encode())
    listed = importing.candidates_of(importing.find_format("esi"), source, importing.Decisions())
    none = "no container of FSCP 12/1"
    assert [one.look() for one in listed] == [("In", 0, none), ("", 0, none)]
