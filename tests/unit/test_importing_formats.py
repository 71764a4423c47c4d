"""The rest of every format: what each further construct becomes, or why it is refused."""

# ruff: noqa: E501  (rows of tables)

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import safeframe
from safeframe import importing
from safeframe._cli import main
from safeframe.importing import _placing
from tests.unit.importing_files import CASES, DATA, importer
from tests.unit.schemas import validate
from tests.unit.test_importing_hostile import Change, after_line, both, line, swap, without_lines

Refused = tuple[str, Change, str, str]

ST = "TYPE\n T : STRUCT\n{}\n END_STRUCT;\nEND_TYPE\n"


def same(text: str) -> str:
    return text


def whole(text: str) -> Change:
    return lambda _: text


def members(text: str) -> Change:
    return whole(ST.format(text).replace(" T :", " ST_ToDrive :"))


CHANGES: list[Refused] = [
    ("st", members("a : ARRAY[0..1, 0..1] OF BOOL;"), "", "an array must have one dimension"),
    ("st", members("a : ARRAY[x..1] OF BOOL;"), "", "a bound of an array must be a number, not x"),
    ("st", members("a : (x, y);"), "", "not an enumeration without a stated type"),
    ("st", members("a : USINT (x := 0, y := 1);"), "", "not an enumeration of USINT"),
    ("st", members("a : REF_TO INT;"), "", "not a reference"),
    (
        "st",
        members("a : Other;"),
        "",
        "a type must have a fixed width or stand in the file, not Other",
    ),
    ("st", members("a : BOOL"), "", "a declaration must end with a semicolon"),
    ("st", whole("TYPE\n a : BOOL"), "", "2: a declaration must end with a semicolon"),
    (
        "st",
        whole("TYPE\n a : BOOL := 1"),
        "",
        "2: a declaration must end with a semicolon, not with the file",
    ),
    ("st", members("a : STRING[80;"), "", "a bracket must be closed"),
    *(
        ("st", members(f"{first}\n b : BOOL; c : BOOL;"), "", f":3: {message}")
        for first, message in (
            ("a : INT", "a declaration must end with a semicolon, not go on with b [bad-line]"),
            ("a : BOOL := TRUE", "a declaration must end with a semicolon, not go on with b"),
            ("a : INT := 1 + NOT x", "a declaration must end with a semicolon, not go on with b"),
            ("a : TIME := T#5s", "a declaration must end with a semicolon, not go on with b"),
            ("a : STRING[80] := 'x'", "a declaration must end with a semicolon, not go on with b"),
            ("a : INT (0..100)", "a declaration must end with a semicolon, not go on with b"),
            ("a : (x, y)", "a declaration must end with a semicolon, not go on with b"),
            ("a : (x, y) INT", "a declaration must end with a semicolon, not go on with b"),
            ("a : ARRAY[0..1] OF INT", "a declaration must end with a semicolon, not go on"),
            ("a : ARRAY[0..1] OF INT := [2(0)]", "a declaration must end with a semicolon, not go"),
            ("a : ARRAY[0..1] OF INT := [2(0)", "a bracket must be closed"),
            ("a : BOOL := 1)", "a bracket must be closed"),
            ("a : STRUCT x : BOOL; END_STRUCT", "a declaration must end with a semicolon, not go"),
            ("a : REF_TO INT", "a declaration must end with a semicolon, not go on with b"),
            ("a : POINTER TO INT", "a declaration must end with a semicolon, not go on with b"),
            ("a : REFERENCE TO INT", "a declaration must end with a semicolon, not go on with b"),
            ("a : lib.T", "a declaration must end with a semicolon, not go on with b"),
            ("a : BOOL = TRUE;", "a declaration must end with a semicolon, not go on with ="),
            (
                "a : BOOL := x := TRUE;",
                "a declaration must end with a semicolon, not go on with :=",
            ),
            ("a : BYTE[4];", "a declaration must end with a semicolon, not go on with ["),
            ("a : BOOL, ", "a declaration must end with a semicolon, not go on with ,"),
            ("a : STRING := 'text;", "a text or pragma must end: 'text;"),
            ("{attribute 'x' a : BOOL; {y}", "a text or pragma must end: {attribute 'x' a"),
            ("{IF defined (X)} a : BOOL;", "types must be declared without conditions, not with"),
            ("a : BOOL; {else}", "types must be declared without conditions, not with the pragma"),
            ("a : {ELSIF defined (X)} BOOL;", "types must be declared without conditions, not"),
            ("a : BOOL {END_IF}", "types must be declared without conditions, not with the pragma"),
        )
    ),
    (
        "st",
        members("a : BOOL := 5,\n b : BOOL;"),
        "",
        ":4: a declaration must end with a semicolon",
    ),
    ("st", members("a :\n b : BOOL;"), "", ":4: a declaration must end with a semicolon"),
    ("st", members("a : BOOL;\n b : BOOL := TRUE"), "", ":4: a declaration must end with"),
    ("st", members("a : INT (0..100;\n b : INT);"), "", "a bracket must be closed"),
    ("st", members("a : (x, y\n b : INT);"), "", "a bracket must be closed"),
    (
        "st",
        both(members("a : BOOL;"), swap("TYPE\n", "TYPE U : INT\n V : INT;\n")),
        "",
        ":1: a declaration must end with a semicolon, not go on with V",
    ),
    (
        "st",
        both(members("a : T2;"), swap("TYPE\n", "TYPE T2 : UNION x : INT; y : WORD; END_UNION;\n")),
        "",
        "not a union",
    ),
    (
        "st",
        both(members("a : BOOL;"), swap("TYPE\n", "{IF defined (X)}{IF y}{END_IF} TYPE\n")),
        "",
        ":1: types must be declared without conditions, not with the pragma {IF ...} (which branch "
        "is compiled is not told by the file: remove the others from a copy) [not-offered]",
    ),
    ("st", members("1 : BOOL;"), "", "the name of a member must stand here, not 1"),
    ("st", members("a = BOOL;"), "", ": must stand here, not ="),
    ("st", members("a : 'text"), "", "a text or pragma must end: 'text"),
    ("st", members("a : BOOL; {pragma"), "", "a text or pragma must end: {pragma"),
    ("st", members("a : " + "ARRAY[0..0] OF " * 17 + "BOOL;"), "", "nested at most 16 deep"),
    ("st", members(""), "", "a structure must have members, not none"),
    ("st", whole("TYPE"), "", "the name of a type must follow, not the end of the file"),
    ("st", whole("VAR x : BOOL; END_VAR"), "", "the file must describe data that can be selected"),
    (
        "st",
        both(
            members("a : A0;"),
            swap(
                "TYPE\n",
                "TYPE\n" + "".join(f"A{n} : A{n + 1};\n" for n in range(40)) + "A40 : BOOL;\n",
            ),
        ),
        "",
        "structures must be nested at most 16 deep",
    ),
    (
        "st",
        members("a : BOOL; b : INT; c : ARRAY[1..7] OF BOOL;"),
        "--layout bits --order big",
        "a value with its high octet first must begin on an octet, not at bit 1",
    ),
    (
        "tc6",
        both(swap("<project ", "<Project "), swap("</project>", "</Project>")),
        "",
        "the file must be TC6 XML, not IEC 61131-10",
    ),
    (
        "tc6",
        line(7, 'dataType name="ST_ToDrive"', "dataType"),
        "",
        "a data type must have a name and a base type",
    ),
    (
        "tc6",
        after_line(12, '<dataType name="ST_TODRIVE"><baseType><BOOL/></baseType></dataType>\n'),
        "",
        "a type must be declared once",
    ),
    (
        "tc6",
        both(
            line(11, "<UINT/>", '<derived name="Masse"/>'),
            after_line(12, '<dataType name="Maße"><baseType><UINT/></baseType></dataType>\n'),
        ),
        "",
        "a type must have a fixed width or stand in the file, not Masse",
    ),
    ("tc6", line(11, "<UINT/>", "<enum/>"), "", "not an enumeration"),
    (
        "tc6",
        line(11, "<UINT/>", '<array><dimension lower="0" upper="1"/></array>'),
        "",
        "an array must have one dimension and a base type",
    ),
    ("tc6", line(10, 'lower="1"', 'lower="x"'), "", "the bounds of an array must be numbers"),
    (
        "tc6",
        line(
            11,
            "<UINT/>",
            "<subrangeSigned>"
            + "<baseType><subrangeSigned>" * 20
            + "</subrangeSigned></baseType>" * 20
            + "</subrangeSigned>",
        ),
        "",
        "nested at most 16 deep",
    ),
    (
        "gsdml",
        line(16, "Integer16", "Unsigned16_S"),
        "",
        "a type must have a known number of octets, not Unsigned16_S",
    ),
    (
        "gsdml",
        line(16, 'DataType="Integer16"', 'DataType="OctetString" Length="0"'),
        "",
        "the data must be 1..65536 octets, not 0 more",
    ),
    (
        "gsdml",
        line(16, 'DataType="Integer16"', 'DataType="OctetString" Length="x"'),
        "",
        "Length must be a number of 0 or more, not 'x'",
    ),
    (
        "gsdml",
        line(16, 'DataType="Integer16"', 'DataType="OctetString" Length="65536"'),
        "",
        "the data must be 1..65536 octets, not 65536 more",
    ),
    ("gsdml", line(12, ' BitOffset="4"', ""), "", "BitOffset must be stated"),
    (
        "gsdml",
        line(12, 'BitOffset="4"', 'BitOffset="-4"'),
        "",
        "BitOffset must be a number of 0 or more, not '-4'",
    ),
    ("gsdml", same, "--language de", "the texts must be there in language de"),
    ("iodd", line(12, "IntegerT", "TimeT"), "", "a type must be one of BooleanT, UIntegerT"),
    (
        "iodd",
        line(10, 'bitLength="40"', 'bitLength="32"'),
        "",
        "the record must have the 40 bits of its process data, not 32",
    ),
    (
        "iodd",
        line(12, '"16"', '"12"'),
        "",
        "must fill whole octets, not 12 bits at offset 24 (--split-unaligned",
    ),
    (
        "iodd",
        both(line(12, "IntegerT", "Float32T"), line(12, '"24"', '"4"')),
        "",
        "a map cannot hold it: not offered",
    ),
    ("iodd", line(13, '"9"', '"x"'), "", "bitOffset must be a number of 0 or more, not 'x'"),
    (
        "iodd",
        line(19, '<Datatype xsi:type="UIntegerT" bitLength="8"/>', ""),
        "",
        "a data type must be in the file, not none",
    ),
    ("iodd", line(9, ' bitLength="40"', ""), "", "bitLength must be stated"),
    (
        "iodd",
        line(18, '"8"', '"80"'),
        "",
        "the value must have the 80 bits of its process data, not 8",
    ),
    (
        "iodd",
        line(19, '"8"', '"7"'),
        "",
        "the value must have the 8 bits of its process data, not 7",
    ),
    ("iodd", line(10, '"40"', '"x"'), "", "bitLength must be a number of 0 or more, not 'x'"),
    ("iodd", line(10, '"RecordT"', '"x"'), "", "a type must be one of BooleanT, UIntegerT"),
    (
        "nodeset",
        without_lines(18, 22),
        "--select LiftData",
        "a selection must be in the file, not LiftData",
    ),
    ("nodeset", line(16, "1:LiftData", "1:Lift\u202eData"), "--select @16", ""),
    ("eds", swap("DefaultValue=6", "X=6"), "", "the number of entries must be stated"),
    ("eds", swap("Dummy0005=1", "Dummy0005=0"), "", "a dummy entry must be allowed by Dummy0005=1"),
    (
        "eds",
        swap(
            "[6210]\nParameterName=speed_limit\nObjectType=0x7\nDataType=0x0003",
            "[6210]\nParameterName=speed_limit\nObjectType=0x7\nDataType=0x0009",
        ),
        "",
        "a data type must have a fixed width, not be 0x0009",
    ),
    (
        "eds",
        both(
            swap("0x62000108", "0x62000101"),
            swap("0x62010108", "0x62010101"),
            swap(
                "[6200sub1]\nParameterName=drive_state\nObjectType=0x7\nDataType=0x0005",
                "[6200sub1]\nParameterName=drive_state\nObjectType=0x7\nDataType=0x0001",
            ),
        ),
        "",
        "an entry must fill whole octets, not 1 bits",
    ),
    (
        "eds",
        swap("[1301sub1]", "[1301sub9]"),
        "",
        "must be 1 (sends) or 2 (receives), not left out",
    ),
    ("eds", swap("EDSVersion=4.0", "EDSVersion 4.0"), "", "a line must be [section] or key=value"),
    ("xdd", without_lines(17, 20), "--select group:TX", "a group must list parameters, not none"),
    (
        "xdd",
        both(line(17, '"48"', '"44"'), line(9, "<INT/>", "<USINT/>")),
        "",
        "a value must begin on an octet, not at bit 44",
    ),
    (
        "xdd",
        line(18, '"32"', '"28"'),
        "",
        "torque_off must be data or none, not lie across bit 32 or 64",
    ),
    ("xdd", line(19, '"40"', '"x"'), "", "bitOffset must be a number of 0 or more, not 'x'"),
    (
        "cip-eds",
        swap("[File]", "File = 1;\n[File]"),
        "",
        "an entry must stand in a section, not before the first",
    ),
    ("cip-eds", swap("[Params]", "[Params"), "", "the name of a section must end with ]"),
    (
        "cip-eds",
        swap("VendCode", "Vend;Code"),
        "",
        "an entry must be keyword = fields; not Vend;Code",
    ),
    ("cip-eds", swap('"LX";', '"LX"'), "", "an entry must end with a semicolon"),
    (
        "cip-eds",
        both(line(17, "Param4,", "Param"), line(18, "16, Param3", "3")),
        "",
        ":18: Assem100: a field must be one value, not also 3: a comma is missing [bad-line]",
    ),
    (
        "cip-eds",
        line(5, '0; ProdName = "LX";', '0 "LX";'),
        "",
        ":5: VendCode: a field must be one value, not also a string: a comma is missing [bad-line]",
    ),
    (
        "cip-eds",
        line(5, '"LX";', '"LX" 5;'),
        "",
        ":5: ProdName: a field must be one value, not also 5: a comma is missing [bad-line]",
    ),
    (
        "cip-eds",
        line(16, "6, ,", ", ,"),
        "",
        "a member must have a size or a reference, not neither",
    ),
    (
        "cip-eds",
        line(9, "0xC3", "0xDA"),
        "",
        "the type of Param3 must have a fixed width, not be 0xDA",
    ),
    ("cip-eds", line(18, "16,", "x,"), "", "the size must be a number of 0 or more, not 'x'"),
    ("esi", line(24, "brake2_release", "brake\u202e2"), "", "a name must be printable text"),
    (
        "esi",
        whole("<EtherCATInfo><Descriptions/></EtherCATInfo>"),
        "",
        "the file must describe data that can be selected, not none",
    ),
    (
        "esi",
        line(20, "Safety outputs", "x" * 70_000),
        "",
        "the text of an element must have at most 65536 characters",
    ),
    (
        "esi",
        whole("<EtherCATInfo>" + "<Other>" * 100 + "</Other>" * 100 + "</EtherCATInfo>"),
        "",
        "nested at most 64 deep",
    ),
    (
        "esi",
        same,
        "--select @18 --select @18",
        "@18 must be selected once, not twice",
    ),
]


def options_with(given: tuple[str, ...], more: str) -> list[str]:
    """Return options with others in their place."""
    words = more.split()
    replaced = {word for word in words if word.startswith("--")}
    kept: list[str] = []
    skip = False
    for word in given:
        if skip:
            skip = False
        elif word in replaced:
            skip = True
        else:
            kept.append(word)
    return kept + words


@pytest.mark.parametrize(("name", "change", "more", "message"), CHANGES)
def test_refused(
    name: str,
    change: Change,
    more: str,
    message: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    found = importer(tmp_path, capsys)(case, change(case.text), *options_with(case.options, more))
    if message:
        assert found.code in (1, 2), found.out
        assert message in found.err
    else:
        assert found.code in (0, 1, 2)
    assert "internal error" not in found.err


TWICE: list[tuple[str, Change, str, str]] = [
    (
        "iodd",
        after_line(5, '<Datatype id="D_Bit" xsi:type="UIntegerT" bitLength="8"/>\n'),
        "",
        ":6: a data type must stand once, not again after line 5: D_Bit (remove one of them from "
        "the file) [duplicate-name]",
    ),
    (
        "iodd",
        line(26, '<Text id="T_LVL"', '<Text id="T_POS" value="other"/><Text id="T_LVL"'),
        "",
        ":26: a text must stand once, not again after line 26: T_POS",
    ),
    (
        "iodd",
        line(14, '<Name textId="T_LVL"/>', '<Name textId="T_LVL"/><Name textId="T_POS"/>'),
        "",
        ":14: ProcessDataIn PI: an element RecordItem must hold one Name, not also Name after line "
        "14 (remove one of them from the file) [duplicate-element]",
    ),
    (
        "iodd",
        line(11, "<Name ", '<SimpleDatatype xsi:type="UIntegerT" bitLength="8"/><Name '),
        "",
        ":11: ProcessDataIn PI: an element RecordItem must hold one DatatypeRef, not also "
        "SimpleDatatype after line 11",
    ),
    (
        "iodd",
        line(
            14,
            'bitLength="6"/>',
            'bitLength="6"><SingleValue value="1"/>\n<SingleValue value="1"/></SimpleDatatype>',
        ),
        "--codes",
        ":15: ProcessDataIn PI: a value must stand once, not again after line 14: 1",
    ),
    (
        "gsdml",
        line(33, '<Text TextId="T_OUT"', '<Text TextId="T_TO" Value="other"/><Text TextId="T_OUT"'),
        "",
        ":34: a text must stand once, not again after line 33: T_TO",
    ),
    (
        "gsdml",
        line(26, "</IOData>", "</IOData><IOData/>"),
        "",
        ":26: module:M1/submodule:S1: an element VirtualSubmoduleItem must hold one IOData, not "
        "also IOData after line 9",
    ),
    (
        "xdd",
        after_line(
            9, '<parameter uniqueID="P1"><label lang="en">other</label><UINT/></parameter>\n'
        ),
        "",
        ":10: a parameter must stand once, not again after line 7: P1",
    ),
    (
        "xdd",
        line(7, "<USINT/>", "<USINT/><UINT/>"),
        "",
        ":7: parameter P1: an element parameter must hold one USINT, not also UINT after line 7",
    ),
    (
        "xdd",
        line(7, "<USINT/>", '<label lang="en">other</label><USINT/>'),
        "",
        ":7: a label of one language must stand once, not again after line 7: other",
    ),
    (
        "xdd",
        after_line(16, '<label lang="en">RxSPDO</label>\n'),
        "",
        ":17: a label of one language must stand once, not again after line 16: RxSPDO",
    ),
    (
        "nodeset",
        after_line(6, '<Alias Alias="Int16">i=6</Alias>\n'),
        "",
        ":7: an alias must stand once, not again after line 5: Int16",
    ),
    (
        "nodeset",
        line(
            9,
            "</References>",
            '<Reference ReferenceType="i=45" IsForward="false">i=5</Reference></References>',
        ),
        "",
        ":8: Flags: a type must have one base type, not i=3 and i=5 (remove one of the references",
    ),
    (
        "nodeset",
        line(14, "</Definition>", "</Definition><Definition/>"),
        "",
        ":14: Base: an element UADataType must hold one Definition, not also Definition after line",
    ),
    (
        "nodeset",
        line(10, "</Definition>", '</Definition><Definition IsOptionSet="true"/>'),
        "",
        ":10: flags: an element UADataType must hold one Definition, not also Definition after",
    ),
    (
        "tc6",
        line(8, "<BOOL/>", "<BOOL/><INT/>"),
        "",
        ":8: an element type must hold one BOOL, not also INT after line 8",
    ),
    (
        "tc6",
        line(8, "</type>", "</type><type><INT/></type>"),
        "",
        ":8: permit_torque: an element variable must hold one type, not also type after line 8",
    ),
    (
        "tc6",
        line(10, "</baseType>", "</baseType><baseType><INT/></baseType>"),
        "",
        ":10: an element array must hold one baseType, not also baseType after line 10",
    ),
    (
        "tc6",
        line(12, "</baseType>", "</baseType><baseType><INT/></baseType>"),
        "",
        ":12: ST_ToDrive: an element dataType must hold one baseType, not also baseType after",
    ),
    (
        "tc6",
        line(
            11,
            "<UINT/>",
            "<subrangeSigned><baseType><UINT/></baseType><baseType><INT/></baseType></subrangeSigned>",
        ),
        "",
        ":11: an element subrangeSigned must hold one baseType, not also baseType after line 11",
    ),
    (
        "esi",
        line(22, "<BitLen>1</BitLen>", "<BitLen>1</BitLen><BitLen>8</BitLen>"),
        "",
        ":22: RxPdo #x1601 entry 2: an element Entry must hold one BitLen, not also BitLen after",
    ),
    (
        "esi",
        line(24, "</Name>", "</Name><Name>other</Name>"),
        "",
        ":24: a name of one language must stand once, not again after line 24: other",
    ),
    (
        "esi",
        after_line(
            15, "<Objects><Object><Index>#x6611</Index><BitSize>16</BitSize></Object></Objects>\n"
        ),
        "",
        ":16: object 0x6611:0: the dictionary must state one width, not 16 bits after 32 bits in "
        "line 15 (remove one of them from the file) [duplicate-name]",
    ),
    (
        "esi",
        both(
            line(
                14,
                "</DataTypes>",
                "<DataType><Name>T</Name><BitSize>1</BitSize></DataType>"
                "\n<DataType><Name>T</Name><BitSize>2</BitSize></DataType></DataTypes>",
            ),
            swap("<DataType>BOOL</DataType>", "<DataType>T</DataType>"),
        ),
        "",
        ":15: type T: the dictionary must state one width, not 2 bits after 1 bits in line 14",
    ),
    (
        "esi",
        both(
            line(
                14,
                "</DataTypes>",
                "<DataType><Name>R</Name><SubItem><SubIdx>0</SubIdx><BitSize>32</BitSize></SubItem>"
                "\n<SubItem><SubIdx>0</SubIdx><BitSize>16</BitSize></SubItem></DataType></DataTypes>",
            ),
            swap("<Type>DINT</Type>", "<Type>R</Type>"),
        ),
        "",
        ":15: object 0x6611:0: the dictionary must state one width, not 16 bits after 32 bits in "
        "line 14",
    ),
    (
        "eds",
        lambda text: text + "[01381Sub01]\nDefaultValue=0\n",
        "",
        "a section must stand once, not again after line 53: [01381Sub01] [duplicate-section]",
    ),
    *(
        (
            "eds",
            lambda text, more=more: text.replace("[1381]\n", f"[1381]\n{more}", 1),
            "",
            ":53: 1381sub0: the value of an object must stand once, not again after line 44: "
            f"{said} and 6",
        )
        for more, said in (
            ("DefaultValue=4\n", "4"),
            ("ParameterValue=8\n", "8"),
            ("DefaultValue=$NODEID+6\n", "$NODEID+6"),
        )
    ),
    (
        "eds",
        lambda text: text + "[1381Value]\n1=0x20000101\n",
        "",
        "1381sub1: the value of an object must stand once, not again after line",
    ),
    (
        "eds",
        lambda text: text + "[1301Value]\n1=1\n",
        "",
        "1301sub1: the value of an object must stand once, not again after line",
    ),
    (
        "esi",
        lambda text: text.replace(
            "<Index>#x1a01</Index>", "<Index>#x1a01</Index>\n<Index>#x1a02</Index>"
        ),
        "",
        "must hold one Index, not also Index after line",
    ),
]


@pytest.mark.parametrize(("name", "change", "more", "message"), TWICE)
def test_what_stands_twice_is_refused_with_both_places(
    name: str,
    change: Change,
    more: str,
    message: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    test_refused(name, change, more, message, tmp_path, capsys)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("iodd", after_line(25, '<Text id="T_POS" value="position"/>\n')),
        ("gsdml", after_line(32, '<Text TextId="T_TO" Value="torque_off"/>\n')),
        ("xdd", line(7, "<USINT/>", '<label lang="en">torque_off</label><USINT/>')),
        ("nodeset", after_line(6, '<Alias Alias="Int16">i=4</Alias>\n')),
        (
            "esi",
            line(
                17,
                "</Profile>",
                "</Profile><Profile><Dictionary><DataTypes><DataType><Name>DINT</Name>"
                "<BitSize>32</BitSize></DataType></DataTypes><Objects><Object><Index>#x6611</Index>"
                "<BitSize>32</BitSize></Object></Objects></Dictionary></Profile>",
            ),
        ),
        (
            "esi",
            both(
                line(
                    14,
                    "</DataTypes>",
                    "<DataType><Name>R</Name><SubItem><SubIdx>0</SubIdx><BitSize>32</BitSize>"
                    "</SubItem></DataType></DataTypes></Dictionary><Dictionary>",
                ),
                swap("<Type>DINT</Type>", "<Type>R</Type>"),
            ),
        ),
    ],
)
def test_what_stands_twice_and_says_the_same_is_read(
    name: str, change: Change, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    run = importer(tmp_path, capsys)
    usual, found = run(case), run(case, change(case.text))
    assert found.code == 0, found.err
    assert [one for one in found.out.splitlines() if " at = " in one] == [
        one for one in usual.out.splitlines() if " at = " in one
    ]


Read = tuple[str, Change, str, str]
READ: list[Read] = [
    (
        "st",
        members("a : UINT (0..100); b : T2; c : ARRAY[0..0] OF STRUCT d : USINT; END_STRUCT;"),
        "--select @2",
        "",
    ),
    (
        "st",
        both(members("a : T2;"), swap("TYPE\n", "TYPE T2 : USINT := 3; \n")),
        "--order little",
        '"0.0", name = "a", width = 8',
    ),
    (
        "st",
        members("a : INT; {x} b : ARRAY[-1..+0] OF USINT; (* 'quote *)"),
        "--order big",
        'name = "b[-1]", width = 8',
    ),
    *(
        (
            "st",
            members(f"a : {kind}; t : USINT;"),
            "--order little --layout bits",
            f'"{at}", name = "t"',
        )
        for kind, at in (
            ("INT := 16#FF", "2.0"),
            ("INT := -5 + 3 * lib.x", "2.0"),
            ("INT := UINT#16#FF", "2.0"),
            ("INT := NOT x AND y", "2.0"),
            ("INT := MAX(IN1 := a^, IN2 := b)", "2.0"),
            ("ARRAY[0..1] OF INT := [2(0)]", "4.0"),
            ("ARRAY[0..1] OF INT := 1, 2", "4.0"),
            ("INT (INT#0..INT#100) := INT#5", "2.0"),
            ("ARRAY[0..1] OF STRUCT x : BYTE := 1; END_STRUCT := [(x := 1), (x := 2)]", "2.0"),
            ("INT {attribute 'x' := 'y'} := 1", "2.0"),
            ("{region} INT {iffy}", "2.0"),
        )
    ),
    (
        "st",
        both(
            members("a : BYTE;"),
            swap(
                "TYPE\n",
                "{IF x} VAR END_VAR {ELSE} {END_IF} {END_IF} TYPE\n"
                "T : TIME := T#-1h_30m5.5s; D : DT := DT#2020-01-01-12:00:00.5; E : (x, y) INT := x;\n"
                "P : POINTER TO POINTER TO INT := 0; R : REFERENCE TO lib.T; S : STRING(80) := 'a;b';\n"
                "F : REF_TO INT := REF(y);\n",
            ),
        ),
        "",
        'name = "a", width = 8',
    ),
    (
        "st",
        members("a : BOOL := TRUE; t : INT := (1 + [2]);"),
        "--order big",
        'width = 16, type = "int", order = "big"',
    ),
    (
        "tc6",
        line(11, "<UINT/>", "<subrangeUnsigned><baseType><UINT/></baseType></subrangeUnsigned>"),
        "",
        'name = "limit", width = 16',
    ),
    (
        "tc6",
        line(
            11,
            "<UINT/>",
            '<array><dimension lower="0" upper="0"/><baseType><struct><variable name="x"><type><UINT/></type></variable></struct></baseType></array>',
        ),
        "",
        'name = "limit[0].x", width = 16',
    ),
    (
        "gsdml",
        line(16, "Integer16", "Float32+Unsigned8"),
        "",
        'name = "position (2 of 2)", width = 8',
    ),
    ("gsdml", without_lines(12, 14), "--number-names", 'name = "Safe inputs 7"'),
    (
        "gsdml",
        line(11, "Unsigned8", "Unsigned16"),
        "--word-bits big",
        '{ at = "1.0", name = "torque_off" }',
    ),
    (
        "gsdml",
        same,
        "--container none --profile plain",
        'name = "Trailer", width = 32',
    ),
    (
        "gsdml",
        swap(' PROFIsafeSupported="true"', ""),
        "--container none --profile plain",
        'name = "Trailer", width = 32',
    ),
    ("gsdml", swap("<ModuleList>", "<SubmoduleList/><ModuleList>"), "", "torque_off"),
    (
        "iodd",
        line(12, '"16"', '"12"'),
        "--split-unaligned",
        'name = "position (high)", width = 4, type = "int"',
    ),
    (
        "iodd",
        both(line(12, '"24"', '"28"'), line(12, '"16"', '"12"')),
        "--split-unaligned",
        'name = "position (low)", width = 4',
    ),
    (
        "iodd",
        line(
            12,
            'xsi:type="IntegerT" bitLength="16"/>',
            'xsi:type="UIntegerT" bitLength="12"><SingleValue value="4095"><Name textId="T_ON"/>'
            "</SingleValue></SimpleDatatype>",
        ),
        "--split-unaligned --codes",
        "#   texts of values: 4095 on",
    ),
    (
        "iodd",
        line(
            14,
            '<SimpleDatatype xsi:type="UIntegerT" bitLength="6"/>',
            '<SimpleDatatype xsi:type="UIntegerT" bitLength="6"><SingleValue value="0"><Name textId="T_ON"/></SingleValue></SimpleDatatype>',
        ),
        "--codes",
        'codes = { 0 = "on" }',
    ),
    (
        "iodd",
        line(12, 'xsi:type="IntegerT" bitLength="16"', 'xsi:type="OctetStringT" fixedLength="2"'),
        "",
        'name = "position", width = 16, order = "big"',
    ),
    (
        "iodd",
        line(12, 'xsi:type="IntegerT" bitLength="16"', 'xsi:type="StringT" fixedLength="2"'),
        "",
        'name = "position", width = 16, order = "big"',
    ),
    (
        "iodd",
        both(
            line(9, '"40"', '"56"'),
            line(10, '"40"', '"56"'),
            line(12, 'xsi:type="IntegerT" bitLength="16"', 'xsi:type="Float32T"'),
        ),
        "",
        'type = "float", order = "big"',
    ),
    (
        "iodd",
        swap("<ProcessDataIn ", '<Condition variableId="V" value="1"/><ProcessDataIn '),
        "",
        "in_range",
    ),
    (
        "iodd",
        same,
        "--language en",
        "in_range",
    ),
    ("nodeset", same, "", "load"),
    ("eds", swap("DefaultValue=6", "ParameterValue=6"), "", "speed_limit"),
    ("eds", lambda text: text.replace("DefaultValue=0x", "ParameterValue=0x"), "", "speed_limit"),
    (
        "eds",
        swap(
            "[1381sub0]\nParameterName=Number of entries\nObjectType=0x7\nAccessType=rw\nDataType=0x0005\nDefaultValue=6",
            "[1381Value]\n0=6",
        ),
        "",
        "speed_limit",
    ),
    (
        "xdd",
        swap(
            '<label lang="en">footer</label><USINT/></parameter>\n          <parameter uniqueID="Q1"',
            '<USINT/></parameter>\n          <parameter uniqueID="Q1"',
        ),
        "",
        "torque_off",
    ),
    ("xdd", same, "--order big", 'type = "int", order = "big"'),
    ("cip-eds", line(18, "16, Param3;", "16, Param3, ,;"), "", "position"),
    (
        "esi",
        swap(
            "<Object><Index>#x6611</Index>",
            "<Object><Name>x</Name></Object><Object><Index>#x6611</Index>",
        ),
        "",
        "safe_position",
    ),
    (
        "esi",
        swap(
            "<DataType><Name>DINT</Name><BitSize>32</BitSize></DataType>",
            "<DataType><Name>X</Name></DataType><DataType><SubItem/></DataType>",
        ),
        "",
        "safe_position",
    ),
    ("esi", same, "--id 0x0107", "id = 0x0107"),
]


@pytest.mark.parametrize(("name", "change", "more", "shown"), READ)
def test_read(
    name: str,
    change: Change,
    more: str,
    shown: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    found = importer(tmp_path, capsys)(case, change(case.text), *options_with(case.options, more))
    if shown:
        assert found.code == 0, found.err
        assert shown in found.out
    else:
        assert found.code in (1, 2)


def test_encodings_of_a_format_that_states_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case, run = CASES["eds"], importer(tmp_path, capsys)
    right = run(case)
    marked = run(case, case.text.encode("utf-16"))
    assert (marked.code, marked.err) == (0, right.err)
    assert "speed_limit" in right.out
    signals = [line for line in right.out.splitlines() if "{ at = " in line]
    assert signals == [line for line in marked.out.splitlines() if "{ at = " in line]
    old = f"; Größe\n{case.text}".encode("iso-8859-1")
    assert run(case, old).code == 0
    stated = run(case, old, *case.options, "--encoding", "utf-8")
    assert stated.code == 1  # An open decision: which encoding it really is.
    assert "srdo.eds:1: the text must be utf-8, not octet 0xF6" in stated.err


def test_a_nested_structure_and_an_enumeration_of_a_node_set(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["nodeset"]
    enumeration = (
        '<UADataType NodeId="ns=1;i=3005" BrowseName="1:Mode"><References>'
        '<Reference ReferenceType="HasSubtype" IsForward="false">i=29</Reference></References>'
        "</UADataType>\n"
    )
    text = both(
        line(20, "i=10", "ns=1;i=3002"),
        line(19, "Int16", "ns=1;i=3005"),
        after_line(7, enumeration),
    )(case.text)
    text = text.replace(
        '<Reference ReferenceType="HasSubtype" IsForward="false">ns=1;i=3002',
        '<Reference ReferenceType="HasSubtype" IsForward="false">i=22',
    )
    found = importer(tmp_path, capsys)(case, text)
    assert found.code == 0, found.err
    assert 'name = "position", width = 32, type = "int"' in found.out
    assert 'name = "load.torque_off"' in found.out
    assert "nested structures are written member by member (from memory" in found.err


def test_a_deep_nest_of_structures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    types = "".join(
        f'<UADataType NodeId="ns=1;i={n}" BrowseName="1:{n or "LiftData"}"><References>'
        f'<Reference ReferenceType="HasSubtype" IsForward="false">i=22</Reference></References>'
        f'<Definition Name="x"><Field Name="f" DataType="ns=1;i={n + 1}"/></Definition></UADataType>'
        for n in range(40)
    )
    text = f"<UANodeSet><Aliases/>{types}</UANodeSet>"
    found = importer(tmp_path, capsys)(CASES["nodeset"], text)
    assert found.code == 2
    assert "structures must be nested at most 16 deep" in found.err


class TestNotRead:
    """What a file says of places and no reader here knows MUST be told: it may move them."""

    @pytest.mark.parametrize(
        ("name", "change", "text"),
        [
            (
                "esi",
                line(18, "<RxPdo ", '<RxPdo OSFac="4" Virtual="1" '),
                "OSFac of RxPdo = 4 (line 18), Virtual of RxPdo = 1 (line 18)",
            ),
            ("esi", line(22, "<Entry", '<Entry Step="2"'), "Step of Entry = 2 (line 22)"),
            (
                "esi",
                swap("<DataType>BOOL<", '<DataType DScale="x">BOOL<'),
                "DScale of DataType = x (line 22)",
            ),
            (
                "gsdml",
                swap("<DataItem ", '<DataItem Count="2" '),
                "Count of DataItem = 2 (line 11)",
            ),
            (
                "gsdml",
                swap("<BitDataItem ", '<BitDataItem BitLength="3" ', 5),
                "BitLength of BitDataItem = 3 (line 12) and 2 more",
            ),
            (
                "iodd",
                swap("<RecordItem ", '<RecordItem factor="2" '),
                "factor of RecordItem = 2 (line 11)",
            ),
            (
                "iodd",
                swap("<SimpleDatatype ", '<SimpleDatatype count="2" '),
                "count of SimpleDatatype = 2 (line 12)",
            ),
            ("iodd", swap('id="D_Bit"', 'id="D_Bit" gap="1"'), "gap of Datatype = 1 (line 5)"),
            (
                "nodeset",
                swap('Name="position"', 'Name="position" Offset="4"'),
                "Offset of Field = 4 (line 19)",
            ),
            (
                "nodeset",
                swap('<Definition Name="1:Base"', '<Definition Name="1:Base" Packing="1"'),
                "Packing of Definition = 1 (line 14)",
            ),
            (
                "xdd",
                swap('uniqueIDRef="P3"', 'uniqueIDRef="P3" bitLength="4"'),
                "bitLength of parameterRef = 4 (line 17)",
            ),
            (
                "xdd",
                swap('uniqueID="P3"', 'uniqueID="P3" offset="40"'),
                "offset of parameter = 40 (line 9)",
            ),
            ("xdd", swap("<INT/>", '<INT count="2"/>'), "count of INT = 2 (line 9)"),
            (
                "eds",
                swap("=speed_limit\n", "=speed_limit\nFactor=10\n"),
                "factor of 6210 = 10 (line 109)",
            ),
            (
                "eds",
                swap("[1381sub1]\n", "[1381sub1]\nStep=2\n"),
                "step of 1381sub1 = 2 (line 54)",
            ),
            ("eds", swap("[1301]\n", "[1301]\nStep=2\n"), "step of 1301 = 2 (line 28)"),
            (
                "cip-eds",
                swap("0x0000, 0xC3", "0x0002, 0xC3"),
                "descriptor 0x0002 of Param3 (line 9)",
            ),
            (
                "eds",
                swap("=drive_state\n", "=drive_state\nStep=2\n"),
                "step of 6200sub1 = 2 (line 95)",
            ),
            (
                "tc6",
                swap("<dimension ", '<dimension step="2" '),
                "step of dimension = 2 (line 10)",
            ),
            (
                "tc6",
                swap('name="limit"', 'name="limit" packed="1"'),
                "packed of variable = 1 (line 11)",
            ),
            ("tc6", swap("<UINT/>", '<UINT order="big"/>'), "order of UINT = big (line 11)"),
            (
                "esi",
                swap("<BitLen>1<", '<BitLen Octets="1">1<'),
                "Octets of BitLen = 1 (line 22)",
            ),
            (
                "esi",
                swap("<BitLen>1<", "<BitOffs>7</BitOffs><BitLen>1<"),
                "element BitOffs in Entry (line 22)",
            ),
            (
                "esi",
                swap("<BitLen>1<", '<x:Gap xmlns:x="urn:x"><y/></x:Gap><BitLen>1<'),
                "element x:Gap in Entry (line 22)",
            ),
            (
                "esi",
                swap("<BitLen>1<", "<Entry><BitLen>9</BitLen></Entry><BitLen>1<", 2),
                "element Entry in Entry (line 22) and 1 more",
            ),
            (
                "esi",
                line(
                    20, "<Name>", "<Exclude>#x1602</Exclude><ExcludedSm>3</ExcludedSm><Gap/><Name>"
                ),
                "element Gap in RxPdo (line 20)",
            ),
            (
                "gsdml",
                swap(
                    "</IOData>",
                    "</IOData><RecordDataList><F_ParameterRecordDataItem>"
                    '<F_CRC_Length AllowedValues="4-Byte-CRC"/>'
                    "</F_ParameterRecordDataItem></RecordDataList>",
                ),
                "AllowedValues of F_CRC_Length = 4-Byte-CRC (line 26)",
            ),
            (
                "gsdml",
                swap("</Input>", '<Channel><Data BitOffset="3"/></Channel><Channel/></Input>'),
                "element Channel in Input (line 18) and 1 more",
            ),
            (
                "gsdml",
                swap("<BitDataItem ", '<DataItem DataType="Unsigned8"/><BitDataItem '),
                "element DataItem in DataItem (line 12)",
            ),
            (
                "gsdml",
                swap('CRC="1">', 'CRC="1" Gap="1"><Layout/>'),
                "Gap of IOData = 1 (line 9), element Layout in IOData (line 9)",
            ),
            (
                "iodd",
                swap("<ProcessDataIn ", "<Layout/><ProcessDataIn "),
                "element Layout in ProcessData (line 9)",
            ),
            (
                "iodd",
                swap('"BooleanT"/>', '"BooleanT"><Order/></SimpleDatatype>'),
                "element Order in SimpleDatatype (line 13)",
            ),
            (
                "iodd",
                swap(
                    '"UIntegerT" bitLength="8"/>', '"UIntegerT" bitLength="8"><Order/></Datatype>'
                ),
                "element Order in Datatype (line 19)",
            ),
            (
                "nodeset",
                swap('DataType="Int16"/>', 'DataType="Int16"><Offset>4</Offset></Field>'),
                "element Offset in Field (line 19)",
            ),
            (
                "nodeset",
                swap("</Definition>", "</Definition><Extensions/>", 3),
                "element Extensions in UADataType (line 14) and 1 more",
            ),
            (
                "xdd",
                swap("<INT/>", '<INT/><substituteValue value="7"/>'),
                "element substituteValue in parameter (line 9)",
            ),
            (
                "xdd",
                swap(
                    "</parameterGroup>",
                    '<parameterGroup><parameterRef uniqueIDRef="Q1"/></parameterGroup>'
                    "</parameterGroup>",
                ),
                "element parameterGroup in parameterGroup (line 21)",
            ),
            (
                "tc6",
                swap("<UINT/>", "<UINT><BOOL/></UINT>"),
                "element BOOL in UINT (line 11)",
            ),
            (
                "tc6",
                swap("<type><UINT/>", "<alignment/><type><UINT/>"),
                "element alignment in variable (line 11)",
            ),
        ],
    )
    def test_attributes_and_elements(
        self,
        name: str,
        change: Change,
        text: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        case = CASES[name]
        run = importer(tmp_path, capsys)
        usual = run(case, None, *case.options, "--format", "json").document
        result = run(case, change(case.text), *case.options, "--format", "json")
        found = result.document
        assert (result.code, found["problems"]) == (0, [])
        more = [note for note in found["notes"] if note not in usual["notes"]]
        assert any(f"not read: {text}" in note or f", {text}" in note for note in more), more
        assert len(set(found["notes"])) == len(found["notes"])

    @pytest.mark.parametrize(
        ("change", "text"),
        [
            (
                swap('"RecordT" bitLength="40"', '"UIntegerT" bitLength="40"'),
                "iodd.xml:11: ProcessDataIn PI: a UIntegerT must hold no RecordItem, which a "
                "RecordT has [unknown-type]",
            ),
            (
                swap('"UIntegerT" bitLength="8"', '"RecordT" bitLength="8"'),
                "iodd.xml:19: ProcessDataOut PO: a record must have items, not none [unnamed]",
            ),
        ],
    )
    def test_a_record_and_its_items(
        self, change: Change, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = importer(tmp_path, capsys)(CASES["iodd"], change(CASES["iodd"].text))
        assert (found.code > 0, text in found.err) == (True, True), found.err

    @pytest.mark.parametrize("kind", ["FSoEMultipleSlave", "FSoEMultipleMaster"])
    def test_several_connections(
        self, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        case, run = CASES["esi"], importer(tmp_path, capsys)
        found = run(case, case.text.replace('"FSoESlave"', f'"{kind}"', 1))
        told = f"rx:0x1601: the PDO may hold several connections: {kind}"
        assert (found.code, told in " ".join(found.err.split())) == (0, True)
        assert "several connections" not in run(case).err

    def test_a_descriptor(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        case = CASES["cip-eds"]
        change = swap(", 4, 0x0000, ,,", ", 4, 0x0010, ,,")
        found = importer(tmp_path, capsys)(case, change(case.text))
        assert (found.code, "not read: descriptor 0x0010" in found.err) == (0, True)
        assert "not read" not in importer(tmp_path, capsys)(case).err

    def test_what_a_tool_added(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        case, run = CASES["tc6"], importer(tmp_path, capsys)
        added = '<addData><data name="x"><packed xmlns="urn:x"/></data></addData>'
        change = swap("</baseType></dataType>", f"</baseType>{added}</dataType>")
        found = run(case, change(case.text))
        told = "what a tool added is passed over, also what changes the layout: line 12"
        assert (found.code, told in " ".join(found.err.split())) == (0, True)
        far = swap("<pous/>", f"<pous/></types>{added}<types>")
        assert "passed over" not in run(case, far(case.text)).err

    @pytest.mark.parametrize(
        ("name", "old", "new", "wrong", "right"),
        [
            ("st", "limit : INT", "limit : {} (0..3)", "ST_Level", "INT"),
            (
                "tc6",
                "<type><UINT/></type>",
                '<type><subrangeSigned><range lower="0" upper="3"/><baseType>{}</baseType>'
                "</subrangeSigned></type>",
                '<array><dimension lower="0" upper="1"/><baseType><BYTE/></baseType></array>',
                "<UINT/>",
            ),
        ],
    )
    def test_ranges(
        self,
        name: str,
        old: str,
        new: str,
        wrong: str,
        right: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        """A range narrows a number; behind anything else nobody knows what it is."""
        case, run = CASES[name], importer(tmp_path, capsys)
        found = run(case, swap(old, new.format(wrong))(case.text))
        assert found.code == 2
        text = "limit: a range must be of the values of a number, not of a structure or an array"
        assert text in found.err
        found = run(case, swap(old, new.format(right))(case.text))
        assert (found.code, "#   ranges of values\n" in found.out) == (0, True)
        usual = run(case)
        assert "ranges" not in usual.out
        assert safeframe.loads(found.out).sends == safeframe.loads(usual.out).sends


class TestListing:
    """What a listing says of things that cannot be imported as they are."""

    @pytest.mark.parametrize(
        ("name", "change", "text"),
        [
            ("esi", line(22, "<BitLen>1</BitLen>", ""), "not readable: BitLen must be stated"),
            ("esi", line(25, ">5<", ">4<"), "no container of FSCP 12/1"),
            ("gsdml", swap(' PROFIsafeSupported="true"', ""), "no F submodule"),
            ("xdd", line(20, '"144"', '"136"'), "no container of FSCP 13/1"),
            (
                "iodd",
                swap("<ProcessDataIn ", '<Condition variableId="V" value="1"/><ProcessDataIn '),
                "only while V is 1",
            ),
            ("eds", line(36, "=2", "=0"), "EN 50325-5, without direction"),
        ],
    )
    def test_notes(
        self,
        name: str,
        change: Change,
        text: str,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        case = CASES[name]
        found = importer(tmp_path, capsys)(case, change(case.text), "--list")
        assert found.code == 0
        shown = " ".join(found.out.split())
        assert all(word in shown for word in text.split()), found.out

    def test_json(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        found = importer(tmp_path, capsys)(CASES["esi"], None, "--list", "--format", "json")
        validate("selections", found.document)
        first = found.document["selections"][0]
        assert first == {
            "path": "device:0x1:1/rx:0x1601",
            "line": 18,
            "side": "receives",
            "bits": 88,
            "title": "Safety outputs",
            "note": "FSCP 12/1, 4 data octets",
        }

    def test_from_python(self) -> None:
        found = importing.list_file("esi", DATA / "esi.xml")
        assert [one.path for one in found] == ["device:0x1:1/rx:0x1601", "device:0x1:1/tx:0x1a01"]
        identity = importing.Identity(connection="SC1-LX", end="LX", peer="SC1")
        made = importing.read_file(
            "esi", DATA / "esi.xml", ["@18"], identity, importing.Decisions(viewpoint="device")
        )
        assert made.directions == ("receives",)


class TestDocuments:
    """The JSON document of every outcome."""

    def test_comparison(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        map_ = str(DATA.parent / "after" / "lx-sc1.toml")
        words = ["import", "esi", str(DATA / "lx.xml"), "--as", "device", "--compare", map_]
        assert main([*words, "--format", "json"]) == 0
        document = json.loads(capsys.readouterr().out)
        validate("import", document)
        assert document["differences"] == []
        other = str(DATA.parent / "after" / "sc1-lx.toml")
        assert main([*words[:-1], other, "--format", "json"]) == 1
        validate("import", json.loads(capsys.readouterr().out))
        assert main([*words, "--select", "@12"]) == 0
        assert "not compared: what LX sends: nothing was selected for it" in " ".join(
            capsys.readouterr().out.split()
        )

    def test_a_file_that_is_not_there(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["import", "esi", "none.xml", "--list", "--format", "json"]) == 2
        document = json.loads(capsys.readouterr().out)
        validate("import", document)
        assert document["problems"][0]["rule"] == "unreadable"


def test_two_selections_of_one_direction(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["st"]
    more = options_with(case.options, "--select ST_ToDrive")
    found = importer(tmp_path, capsys)(case, None, *more, "--select", "ST_Level")
    assert found.code == 1
    assert "one selection must be what this end sends, not those of lines 6 and 3" in found.err


def test_a_hundred_problems_are_enough(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = ST.format("\n".join(f"a{n} : TIME;" for n in range(300))).replace(
        " T :", " ST_ToDrive :"
    )
    found = importer(tmp_path, capsys)(CASES["st"], text)
    assert found.code == 2
    assert len(re.findall("unknown-type", found.err)) == 100


def test_layouts_that_do_not_add_up_are_a_fault_of_the_program() -> None:
    part = importing.Part(start=1, width=7, name="a")
    layout = importing.PlacedTypes(path="x", line=1, title="x", total_bits=8, parts=(part,))
    with pytest.raises(AssertionError, match="x: not every bit of 8 has one owner"):
        _placing.prove([part], layout)


def test_an_unknown_profile_asks_for_the_values_on_loss(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["st"]
    options = [word for word in case.options if word not in ("--safe", "zero")]
    found = importer(tmp_path, capsys)(case, None, *options_with(tuple(options), "--profile own"))
    assert found.code == 1
    assert "own gives none, and the map would state 0 for 9 signals" in found.err


def test_a_name_that_no_map_can_hold() -> None:
    identity = importing.Identity(connection="c", end="E", peer="", profile="plain")
    source = importing.read_source(str(DATA / "lift.st"))
    decisions = importing.Decisions(
        direction="sends", layout="octet-bool", order="little", safe="zero"
    )
    with pytest.raises(safeframe.InputError, match=r"lift\.st: peer must be stated"):
        importing.imported(importing.find_format("st"), source, ["ST_ToDrive"], identity, decisions)


MORE: list[tuple[str, Change, str, int, str]] = [
    ("cip-eds", line(18, "16, Param3;", "16, Param3, 8;"), "", 2, "size-differs"),
    ("eds", lambda text: "\n" * 1_000_001 + text, "", 2, "at most 1000000 lines"),
    ("esi", swap('encoding="UTF-8"', 'encoding="no-such-code"'), "", 1, "bad-encoding"),
    (
        "esi",
        swap(
            "<BitLen>6</BitLen></Entry>\n          <Entry><Index>#xe700</Index><SubIndex>3",
            "<BitLen>11990</BitLen></Entry>\n          <Entry><Index>#xe700</Index><SubIndex>3",
        ),
        "",
        2,
        "a PDO must have at most 12000 bits, not 12072",
    ),
    (
        "esi",
        both(line(28, "#xe700", "#x0"), line(29, "#x6695", "#x6695")),
        "",
        1,
        "no object of 16 bits begins at bit 24, where the CRC belongs",
    ),
    (
        "gsdml",
        both(
            swap(
                "<ModuleList>",
                "<SubmoduleList><SubmoduleItem ID='S9'/></SubmoduleList><ModuleList>",
            ),
            same,
        ),
        "",
        0,
        "",
    ),
    (
        "iodd",
        line(
            14,
            '<SimpleDatatype xsi:type="UIntegerT" bitLength="6"/>',
            '<SimpleDatatype xsi:type="UIntegerT" bitLength="6"><SingleValue value="x"/></SimpleDatatype>',
        ),
        "--codes",
        2,
        "value must be a number of 0 or more",
    ),
    ("iodd", both(line(10, ' bitLength="40"', ""), same), "", 0, ""),
    ("nodeset", without_lines(9, 9), "--select Flags", 2, "not Flags"),
    (
        "nodeset",
        without_lines(14, 14),
        "",
        1,
        "must have its definition in the file, not none: Base",
    ),
    (
        "nodeset",
        line(10, 'Value="2"', 'Value="8"'),
        "",
        2,
        "the bit of an option set must be a number of 0 to 7, not '8'",
    ),
    (
        "nodeset",
        line(10, 'Value="2"', 'Value="0"'),
        "",
        2,
        "a bit of an option set must have one name, not also door_closed",
    ),
    ("nodeset", line(10, ' Value="2"', ""), "", 2, "the bit of an option set must be a number"),
    ("tc6", line(10, 'name="spare"', 'name=" "'), "", 1, "a member must have a name, not none"),
    (
        "nodeset",
        line(13, 'IsForward="false"', 'IsForward="true"'),
        "",
        1,
        "the base type must be in the file or i=22, not none",
    ),
    (
        "nodeset",
        without_lines(13, 13),
        "",
        1,
        "the base type must be in the file or i=22, not none",
    ),
    ("gsdml", line(11, ' TextId="T_IN"', ""), "", 0, ""),
    ("gsdml", line(16, ' TextId="T_POS"', ""), "", 1, "data must have a name, not none (16 bits)"),
    (
        "gsdml",
        swap(
            "</ExternalTextList>",
            '<Language xml:lang="de"><Text TextId="T_IN" Value="x"/></Language></ExternalTextList>',
        ),
        "",
        0,
        "",
    ),
    ("tc6", line(11, "<UINT/>", ""), "", 2, "a member must have a type"),
    ("tc6", line(11, "<UINT/>", '<subrangeSigned lower="0"/>'), "", 2, "a member must have a type"),
    ("st", members("a : ARRAY[0..0] OF (x, y);"), "", 2, "an enumeration"),
    (
        "xdd",
        swap('<label lang="en">TxSPDO</label>', '<label lang="en">Other</label>'),
        "--select group:RX",
        0,
        "",
    ),
    (
        "xdd",
        swap('<label lang="en">position</label>', ""),
        "",
        1,
        "data must have a name, not none",
    ),
]


@pytest.mark.parametrize(("name", "change", "more", "code", "shown"), MORE)
def test_the_last_branches(
    name: str,
    change: Change,
    more: str,
    code: int,
    shown: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    found = importer(tmp_path, capsys)(case, change(case.text), *options_with(case.options, more))
    assert found.code == code, found.err
    assert shown in found.err


def test_a_total_that_no_map_can_hold() -> None:
    refusals = importing.Refusals("x")
    layout = importing.PlacedTypes(path="x", line=3, title="x", total_bits=8 * 65537, parts=())
    assert _placing.placed(layout, importing.Decisions(), refusals).entries == ()
    assert [(one.rule, one.line) for one in refusals.problems] == [("too-big", 3)]


def test_a_part_beyond_the_end_and_padding_between_numbered_names() -> None:
    refusals = importing.Refusals("x")
    parts = (
        importing.Part(start=0, width=4, name=""),
        importing.Part(start=4, width=4),
        importing.Part(start=8, width=4, name="a"),
    )
    layout = importing.PlacedTypes(path="x", line=1, title="x", total_bits=8, parts=parts)
    _placing.placed(layout, importing.Decisions(number_names=True), refusals)
    assert [one.message for one in refusals.problems] == ["a must end within 8 bits, not at bit 12"]


def test_more_elements_than_any_file_has(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("safeframe.importing._xml._MOST_ELEMENTS", 10)
    with pytest.raises(safeframe.InputError, match="must hold at most 10 elements, not more"):
        importing.list_file("esi", DATA / "esi.xml")


def test_more_words_than_any_text_has(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("safeframe.importing._sttokens._MOST_TOKENS", 20)
    with pytest.raises(safeframe.InputError, match="must have at most 20 words, not more"):
        importing.list_file("st", DATA / "lift.st")


@pytest.mark.parametrize("text", ["'$" * 100_000, "{" * 100_000, '"$' * 100_000])
def test_a_text_that_never_ends_is_looked_at_once(text: str, tmp_path: Path) -> None:
    path = tmp_path / "x.st"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(safeframe.InputError, match="a text or pragma must end"):
        importing.list_file("st", path)


def test_an_abstract_base_without_fields(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["nodeset"]
    change = both(without_lines(14, 14), line(12, "<UADataType ", '<UADataType IsAbstract="true" '))
    found = importer(tmp_path, capsys)(case, change(case.text))
    assert found.code == 0, found.err
    assert "torque_off" not in found.out
    assert "Base is abstract and states no fields: taken as having none" in found.out + found.err
