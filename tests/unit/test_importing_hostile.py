"""Hostile and doubtful device files: exit code, rule and line of each; nothing is written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from safeframe import importing
from tests.unit.importing_files import CASES, importer

Change = Callable[[str], str]


def swap(old: str, new: str, count: int = 1) -> Change:
    def change(text: str) -> str:
        assert old in text
        return text.replace(old, new, count)

    return change


def both(*changes: Change) -> Change:
    def change(text: str) -> str:
        for one in changes:
            text = one(text)
        return text

    return change


def after_line(line: int, more: str) -> Change:
    def change(text: str) -> str:
        lines = text.splitlines(keepends=True)
        return "".join((*lines[:line], more, *lines[line:]))

    return change


def without_lines(first: int, last: int) -> Change:
    def change(text: str) -> str:
        lines = text.splitlines(keepends=True)
        return "".join((*lines[: first - 1], *lines[last:]))

    return change


def line(number: int, old: str, new: str) -> Change:
    def change(text: str) -> str:
        lines = text.splitlines(keepends=True)
        assert old in lines[number - 1], lines[number - 1]
        lines[number - 1] = lines[number - 1].replace(old, new, 1)
        return "".join(lines)

    return change


def again(first: int, last: int) -> Change:
    def change(text: str) -> str:
        lines = text.splitlines(keepends=True)
        return "".join((*lines[:last], *lines[first - 1 : last], *lines[last:]))

    return change


LOL = (
    '<!DOCTYPE x [<!ENTITY a "lol">'
    + "".join(
        f'<!ENTITY {name} "{f"&{before};" * 10}">'
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>\n"
)
EXTERNAL = '<!DOCTYPE x SYSTEM "file:///etc/passwd">\n'
DOCTYPE = after_line(1, LOL)
PERMIT = "<Name>permit_torque</Name>"
PLACES: dict[str, list[tuple[str, Change, str, int]]] = {
    "esi": [
        ("nested entities", DOCTYPE, "doctype", 2),
        ("external entity", after_line(1, EXTERNAL), "doctype", 2),
        ("no BitLen", line(22, "<BitLen>1</BitLen>", ""), "missing-length", 22),
        ("BitLen -1", line(22, "<BitLen>1<", "<BitLen>-1<"), "bad-number", 22),
        ("absurd padding", line(25, ">5<", ">2147483647<"), "too-big", 25),
        ("short padding", line(25, ">5<", ">4<"), "no-container", 21),
        ("repeated name", line(24, "brake2_release", "brake1_release"), "duplicate-name", 24),
        ("no name", line(24, "<Name>brake2_release</Name>", ""), "unnamed", 24),
        (
            "names exchanged",
            both(line(28, "CRC_0", "speed_limit"), line(29, "speed_limit", "CRC_0")),
            "no-container",
            28,
        ),
        (
            "one more bit",
            after_line(
                22,
                "<Entry><Index>#x6641</Index><BitLen>1</BitLen><Name>more</Name>"
                "<DataType>BOOL</DataType></Entry>\n",
            ),
            "no-container",
            21,
        ),
        (
            "no dictionary",
            both(without_lines(11, 17), after_line(10, "\n")),
            "ambiguous-continuation",
            38,
        ),
        ("two PDOs", again(18, 32), "ambiguous-selection", 18),
        ("type and length", line(22, "BOOL", "USINT"), "type-length", 22),
        (
            "swapped",
            line(29, "<DataType>UINT", '<DataType SwapData="1">UINT'),
            "swapped",
            29,
        ),
        (
            "too many entries",
            lambda text: text.replace(text.splitlines()[21], text.splitlines()[21] * 200_000),
            "too-big",
            18,
        ),
        (
            "deep",
            lambda _: f"<EtherCATInfo>{'<Device>' * 100_000}",
            "too-deep",
            1,
        ),
        ("cut", lambda text: text[:900], "not-xml", 21),
    ],
    "eds": [
        ("section twice", lambda text: text + "[1381]\n", "duplicate-section", 117),
        ("key twice", after_line(58, "DefaultValue=0x62000108\n"), "duplicate-key", 59),
        ("no value", line(82, "DefaultValue=0x62100010", ""), "missing-value", 77),
        ("width 0", line(58, "0x62000108", "0x62000100"), "bad-length", 58),
        ("odd", line(52, "6", "5"), "odd-mapping", 52),
        (
            "inverted differs",
            line(88, "0x62110010", "0x62110008"),
            "inverted-differs",
            88,
        ),
        ("object missing", swap("[6210]", "[6219]"), "not-found", 82),
        ("part of an object", line(58, "0x62000108", "0x62000104"), "type-length", 58),
        (
            "80 bits",
            both(
                swap("0x62100010", "0x62100040"),
                swap("0x62110010", "0x62110040"),
                swap(
                    "[6210]\nParameterName=speed_limit\nObjectType=0x7\nDataType=0x0003",
                    "[6210]\nParameterName=speed_limit\nObjectType=0x7\nDataType=0x0015",
                ),
            ),
            "too-big",
            52,
        ),
        ("no direction", line(36, "=2", "=0"), "no-direction", 36),
        ("absurd count", line(52, "6", "4294967294"), "odd-mapping", 52),
        ("node id", line(58, "0x62000108", "$NODEID+0x62000108"), "bad-number", 58),
        ("no equals", lambda text: text + "nonsense\n", "bad-line", 117),
        (
            "equal names",
            swap("[6210]\nParameterName=speed_limit", "[6210]\nParameterName=drive_state"),
            "duplicate-name",
            82,
        ),
    ],
    "xdd": [
        ("doctype", DOCTYPE, "doctype", 2),
        ("no offset", line(19, ' bitOffset="40"', ""), "missing-offset", 19),
        ("overlap", line(17, '"48"', '"47"'), "overlap", 17),
        ("hole", without_lines(19, 19), "hole", 17),
        ("dangling", line(19, '"P2"', '"P9"'), "dangling-reference", 19),
        ("no type", line(8, "<USINT/>", ""), "missing-length", 8),
        ("size", line(20, '"144"', '"136"'), "no-container", 20),
        ("equal labels", line(8, "no_fault", "torque_off"), "duplicate-name", 19),
        ("two groups", again(16, 21), "ambiguous-selection", 16),
        (
            "too many references",
            lambda text: text.replace(text.splitlines()[18], text.splitlines()[18] * 12_001),
            "too-big",
            16,
        ),
        ("absurd footer", line(20, '"144"', '"4294967288"'), "no-container", 20),
        ("only the footer", without_lines(23, 24), "unnamed", 22),
    ],
    "gsdml": [
        ("doctype", DOCTYPE, "doctype", 2),
        ("no bits", without_lines(12, 14), "unnamed", 11),
        ("bit twice", line(13, '"0"', '"1"'), "overlap", 14),
        ("bit 8", line(12, '"4"', '"8"'), "beyond-end", 12),
        (
            "trailer first",
            both(
                without_lines(17, 17),
                after_line(10, '<DataItem DataType="F_MessageTrailer4Byte" TextId="T_TRAIL"/>\n'),
            ),
            "no-container",
            10,
        ),
        ("no trailer", without_lines(17, 17), "no-container", 10),
        ("long trailer", line(17, "4Byte", "5Byte"), "unsupported-trailer", 17),
        ("bits of a word", line(11, "Unsigned8", "Unsigned16"), "ambiguous-bits", 11),
        ("no text", line(12, "T_PV", "T_XX"), "dangling-reference", 12),
        ("equal texts", line(14, "T_NF", "T_TO"), "duplicate-name", 14),
        (
            "string without length",
            line(16, "Integer16", "OctetString"),
            "missing-length",
            16,
        ),
        ("submodule twice", again(8, 27), "ambiguous-selection", 8),
        ("bits without leave", line(11, ' UseAsBits="true"', ""), "ambiguous-bits", 11),
    ],
    "iodd": [
        ("doctype", DOCTYPE, "doctype", 2),
        ("two at 0", line(13, '"9"', '"0"'), "overlap", 13),
        ("beyond", line(12, '"24"', '"32"'), "beyond-end", 12),
        ("not expressible", line(14, '"18"', '"13"'), "not-expressible", 14),
        ("no length", line(12, ' bitLength="16"', ""), "missing-length", 12),
        ("41 bits", line(9, '"40"', '"41"'), "not-whole-octets", 9),
        ("absurd", line(9, '"40"', '"4294967288"'), "too-big", 9),
        (
            "condition",
            after_line(
                21, '<ProcessData id="Q"><Condition variableId="V" value="1"/></ProcessData>\n'
            ),
            "ambiguous-selection",
            8,
        ),
        ("text missing", line(12, "T_POS", "T_XX"), "dangling-reference", 12),
        ("equal texts", line(11, "T_S1", "T_S2"), "duplicate-name", 11),
        ("no type", line(11, '"D_Bit"', '"D_X"'), "dangling-reference", 11),
        ("no offset", line(13, ' bitOffset="9"', ""), "missing-offset", 13),
        ("empty text", swap('value="door_closed"', 'value=""'), "unnamed", 13),
    ],
    "st": [
        ("own type", line(11, "ST_Level", "ST_ToDrive"), "recursive-type", 6),
        ("case", after_line(7, "PERMIT_torque : BOOL;\n"), "duplicate-name", 8),
        ("TIME", line(12, "INT", "TIME"), "unknown-type", 12),
        ("STRING", line(12, "INT", "STRING[80]"), "unknown-type", 12),
        ("absurd array", line(9, "0..1", "0..999999999"), "too-big", 9),
        ("backward array", line(9, "0..1", "1..0"), "bad-length", 9),
        ("located", line(12, "limit :", "limit AT %IW4 :"), "located", 12),
        ("endless comment", line(1, "comment *)", "comment"), "bad-line", 1),
        (
            "nested comments",
            lambda text: "(*" * 200_000 + "*)" * 200_000 + text,
            "too-deep",
            1,
        ),
        (
            "type twice",
            after_line(13, "  ST_ToDrive : STRUCT\n a : BOOL;\n END_STRUCT;\n"),
            "duplicate-name",
            14,
        ),
        (
            "chain",
            lambda _: (
                "TYPE\n"
                + "".join(
                    f"{'ST_ToDrive' if not n else f'T{n}'} : STRUCT a : T{n + 1}; b : T{n + 1}; "
                    "END_STRUCT;\n"
                    for n in range(40)
                )
                + "T40 : STRUCT a : BOOL; END_STRUCT;\nEND_TYPE\n"
            ),
            "too-deep",
            0,
        ),
        (
            "type not in the file",
            swap("ST_ToDrive", "ST_Other"),
            "not-found",
            0,
        ),
        (
            "doublings",
            lambda _: (
                "TYPE\n"
                + "".join(
                    f"{'ST_ToDrive' if not n else f'T{n}'} : STRUCT a : T{n + 1}; b : T{n + 1}; "
                    "END_STRUCT;\n"
                    for n in range(14)
                )
                + "T14 : STRUCT a : ARRAY[0..63] OF LWORD; END_STRUCT;\nEND_TYPE\n"
            ),
            "too-big",
            16,
        ),
    ],
    "tc6": [
        ("doctype", DOCTYPE, "doctype", 2),
        (
            "own type",
            line(8, "<BOOL/>", '<derived name="ST_ToDrive"/>'),
            "recursive-type",
            7,
        ),
        ("no type", line(11, "<type><UINT/></type>", ""), "missing-length", 11),
        ("absurd bound", line(10, '"6"', '"99999999"'), "too-big", 10),
        ("case", line(11, "limit", "Permit_Torque"), "duplicate-name", 11),
        ("located", line(11, 'name="limit"', 'name="limit" address="%IW4"'), "located", 11),
        ("23 bits", line(10, '"6"', '"5"'), "not-whole-octets", 11),
        ("TIME", line(11, "<UINT/>", "<TIME/>"), "unknown-type", 11),
        (
            "root",
            both(swap("<project ", "<projekt "), swap("</project>", "</projekt>")),
            "wrong-root",
            2,
        ),
    ],
    "nodeset": [
        ("doctype", DOCTYPE, "doctype", 2),
        (
            "optional",
            line(20, 'Name="load"', 'Name="load" IsOptional="true"'),
            "optional-field",
            20,
        ),
        ("array", line(20, 'Name="load"', 'Name="load" ValueRank="1"'), "array", 20),
        ("union", line(18, "<Definition ", '<Definition IsUnion="true" '), "union", 18),
        ("string", line(20, "i=10", "i=12"), "unknown-type", 20),
        ("own type", line(20, "i=10", "ns=1;i=3003"), "recursive-type", 16),
        ("circle", line(17, "ns=1;i=3002", "ns=1;i=3003"), "recursive-type", 16),
        ("no base", line(17, "ns=1;i=3002", "ns=1;i=3999"), "dangling-reference", 16),
        ("name of the base", line(19, "position", "torque_off"), "duplicate-name", 19),
        ("node twice", line(16, "ns=1;i=3003", "ns=1;i=3002"), "duplicate-name", 16),
        ("no DataType", line(20, ' DataType="i=10"', ""), "unknown-type", 20),
        (
            "200 Doubles",
            line(
                19,
                '<Field Name="position" DataType="Int16"/>',
                "".join(f'<Field Name="d{n}" DataType="i=11"/>' for n in range(200)),
            ),
            "too-big",
            19,
        ),
    ],
    "cip-eds": [
        ("no semicolon", line(20, '"20 04";', '"20 04"'), "bad-line", 20),
        ("size", line(13, " 4,", " 16,"), "size-differs", 13),
        ("no parameter", line(15, "Param2", "Param9"), "dangling-reference", 15),
        ("no size of a bit", line(14, "1,", ","), "missing-length", 14),
        ("0 bits", line(16, "6,", "0,"), "bad-length", 16),
        ("-6 bits", line(16, "6,", "-6,"), "bad-number", 16),
        ("absurd", line(16, "6,", "4294967295,"), "too-big", 16),
        ("equal names", line(8, "no_fault", "torque_off"), "duplicate-name", 15),
        (
            "assembly twice",
            after_line(18, '  Assem100 = "x", "", 1, 0, ,, 8, ;\n'),
            "duplicate-key",
            19,
        ),
        ("assembly in it", line(15, "Param2", "Assem101"), "nested-assembly", 15),
        ("type and length", line(18, "16,", "12,"), "type-length", 18),
        ("endless string", line(7, '"torque_off"', '"torque_off'), "bad-line", 7),
        ("parameter twice", line(15, "Param2", "Param1"), "duplicate-name", 15),
        (
            "many fields",
            after_line(20, "[Other]\nKey = " + "," * 60_000 + ";\n"),
            "too-big",
            22,
        ),
    ],
}
HOSTILE = [
    pytest.param(format_, change, rule, place, id=f"{format_}: {name}")
    for format_, rows in PLACES.items()
    for name, change, rule, place in rows
]


@pytest.mark.parametrize(("name", "change", "rule", "place"), HOSTILE)
def test_hostile_files_are_refused(
    name: str,
    change: Change,
    rule: str,
    place: int,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    run = importer(tmp_path, capsys)
    output = tmp_path / "map.toml"
    content = change(case.text)
    found = run(case, content, *case.options, "-o", str(output), "--format", "json")
    assert (rule, place) in found.problems
    assert found.code == (1 if {r for r, _ in found.problems} <= importing.OPEN_RULES else 2)
    assert not output.exists()
    assert found.document["written"] == ""
    assert "Traceback" not in found.err
    assert "internal error" not in found.err


def test_the_octet_string_of_65535_octets_is_read_and_check_reports_its_size(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["gsdml"]
    change = line(16, 'DataType="Integer16"', 'DataType="OctetString" Length="65535"')
    found = importer(tmp_path, capsys)(case, change(case.text), *case.options, "--format", "json")
    assert found.code == 0
    assert found.document["sum"][0] == (
        "524320 bits = 524283 data in 4 signals + 5 reserve + 32 status or control octet and CRC"
    )
