"""Device files that contradict themselves, or say what no reader looked at: never a map of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.unit.importing_files import CASES, importer
from tests.unit.test_importing_formats import members, options_with, whole
from tests.unit.test_importing_hostile import Change, after_line, both, line, swap

FORWARD = (
    '<UADataType NodeId="ns=1;i=3005" BrowseName="1:Other"><References>'
    '<Reference ReferenceType="HasSubtype" IsForward="false">i=22</Reference>'
    '<Reference ReferenceType="HasSubtype">ns=1;i=3003</Reference></References>'
    '<Definition><Field Name="x" DataType="Boolean"/></Definition></UADataType></UANodeSet>'
)
ENUMERATION = (
    '<UADataType NodeId="ns=1;i=3005" BrowseName="1:Mode"><References>'
    '<Reference ReferenceType="HasSubtype" IsForward="false">i=29</Reference></References>'
    '<Definition><Field Name="off" Value="0"/><Field Name="on" Value="{}"/></Definition>'
    "</UADataType></UANodeSet>"
)


def enumerated(value: str) -> Change:
    """Return a change that makes a member of the node set an enumeration."""
    return both(
        swap("</UANodeSet>", ENUMERATION.format(value)),
        swap('"position" DataType="Int16"', '"position" DataType="ns=1;i=3005"'),
    )


def boolean(name: str, word: str, message: str) -> tuple[str, Change, str, str]:
    """Return the case of an attribute that is neither true nor false."""
    text = CASES[name].text
    assert word in text
    return name, swap(word, message.split()[0] + '="True" ' + word), "", message


def second_device(text: str) -> str:
    """Return the device of an ESI file once more, in its next revision."""
    found = text[text.index("<Device ") : text.index("</Device>") + len("</Device>")]
    return found.replace('RevisionNo="1"', 'RevisionNo="2"')


REFUSED: list[tuple[str, Change, str, str]] = [
    # Elements that stand twice.
    *(
        (
            "esi",
            line(number, old, f"{old}{new}"),
            "",
            f"an element {inside} must hold one {tag}, not also {tag} after line {number}",
        )
        for number, old, new, inside, tag in (
            (15, "<Type>DINT</Type>", "<Type>SINT</Type>", "Object", "Type"),
            (15, "32</BitSize>", "<BitSize>16</BitSize>", "Object", "BitSize"),
            (15, "<Index>#x6611</Index>", "<Index>#x6612</Index>", "Object", "Index"),
            (14, "<Name>DINT</Name>", "<Name>INT</Name>", "DataType", "Name"),
            (14, "32</BitSize>", "<BitSize>16</BitSize>", "DataType", "BitSize"),
            (8, ">LX</Type>", '<Type ProductCode="#x2"/>', "Device", "Type"),
        )
    ),
    (
        "esi",
        line(
            14,
            "</DataTypes>",
            "<DataType><Name>R</Name><SubItem><SubIdx>0</SubIdx><SubIdx>1</SubIdx>"
            "<BitSize>32</BitSize></SubItem></DataType></DataTypes>",
        ),
        "",
        ":14: Dictionary: an element SubItem must hold one SubIdx, not also SubIdx after line 14",
    ),
    # Widths of one thing.
    (
        "esi",
        line(14, "<BitSize>32", "<BitSize>16"),
        "",
        ":14: type DINT: the dictionary must give DINT its 32 bits, not 16",
    ),
    (
        "esi",
        line(15, "<BitSize>32", "<BitSize>16"),
        "",
        ":15: object 0x6611:0: the dictionary must state one width, not 16 bits after 32 bits",
    ),
    (
        "esi",
        both(
            line(
                15, "</Objects>", "<Object><Index>#x6695</Index><Type>D</Type></Object></Objects>"
            ),
            line(
                14,
                "</DataTypes>",
                "<DataType><Name>D</Name><BitSize>32</BitSize></DataType></DataTypes>",
            ),
        ),
        "",
        ":29: RxPdo speed_limit: BitLen must be the 32 bits that the dictionary gives object "
        "0x6695:0, not 16 [type-length]",
    ),
    (
        "gsdml",
        line(20, 'DataType="Unsigned8"', 'DataType="Unsigned8" Length="2"'),
        "",
        ":20: module:M1/submodule:S1 Output: Length must be 1 for Unsigned8, not 2 [size-differs]",
    ),
    (
        "gsdml",
        line(17, 'TextId="T_TRAIL"', 'Length="5" TextId="T_TRAIL"'),
        "",
        ":17: module:M1/submodule:S1 Input: Length must be 4 for F_MessageTrailer4Byte, not 5",
    ),
    *(
        (
            "iodd",
            line(number, old, new),
            "",
            f":{number}: ProcessDataIn PI: bitLength must be {bits} for this {kind}, not 8",
        )
        for number, old, new, bits, kind in (
            (13, '"BooleanT"', '"BooleanT" bitLength="8"', 1, "BooleanT"),
            (
                12,
                '"IntegerT" bitLength="16"',
                '"StringT" fixedLength="2" bitLength="8"',
                16,
                "StringT",
            ),
        )
    ),
    (
        "cip-eds",
        swap('0xC3, 2, "position"', '0xC3, 4, "position"'),
        "",
        ":9: Param3: the data size of its type must be 2, not 4 [type-length]",
    ),
    (
        "cip-eds",
        swap('0xC1, 1, "no_fault"', '0xC1, 2, "no_fault"'),
        "",
        ":8: Param2: the data size of its type must be 1, not 2 [type-length]",
    ),
    # Numbers that stand twice.
    (
        "iodd",
        line(14, 'subindex="2"', 'subindex="1"'),
        "",
        ":14: ProcessDataIn PI: a subindex must stand once, not again after line 12: 1",
    ),
    # Truth values in other words.
    boolean("esi", "Fixed=", "OverwrittenByModule must be true, 1, false or 0, not True"),
    ("esi", line(18, 'Fixed="1"', 'Fixed="yes"'), "", "Fixed must be true, 1, false or 0, not yes"),
    (
        "esi",
        line(29, "<DataType>", '<DataType SwapData="TRUE">'),
        "",
        ":29: DataType: SwapData must be true, 1, false or 0, not TRUE [bad-value]",
    ),
    ("gsdml", line(8, '"true"', '"TRUE"'), "", ":8: VirtualSubmoduleItem: PROFIsafeSupported must"),
    ("gsdml", line(11, '"true"', '"True"'), "", ":11: DataItem: UseAsBits must be true, 1, false"),
    boolean("nodeset", 'Name="load"', "IsOptional must be true, 1, false or 0, not True"),
    (
        "nodeset",
        line(18, "<Definition ", '<Definition IsUnion="True" '),
        "",
        ":18: Definition: IsUnion must be true, 1, false or 0, not True",
    ),
    ("nodeset", line(17, '"false"', '"False"'), "", ":17: Reference: IsForward must be true, 1,"),
    # Names of elements and attributes that only look like those that are read.
    *(
        ("esi", both(line(25, "<Entry>", f"<{new}>"), line(25, "</Entry>", f"</{end}>")), "", said)
        for new, end, said in (
            (
                'v:Entry xmlns:v="urn:v"',
                "v:Entry",
                ":25: an element must be written Entry here, not v:Entry (case and prefix tell "
                "elements of other formats from those that are read) [wrong-name]",
            ),
            ("entry", "entry", ":25: an element must be written Entry here, not entry"),
            (
                'Entry xmlns="urn:v"',
                "Entry",
                ":25: an element must have the namespace of the root, not urn:v [wrong-name]",
            ),
        )
    ),
    ("xdd", swap("parameterRef", "ParameterRef"), "", "must be written parameterRef here, not"),
    ("tc6", line(7, "dataType", "DataType"), "", ":7: an element must be written dataType here"),
    (
        "tc6",
        line(11, "<variable", '<Variable name="x"><type><BYTE/></type></Variable><variable'),
        "",
        ":11: a structure must hold variables only, not Variable [wrong-name]",
    ),
    (
        "iodd",
        line(14, "<SimpleDatatype", '<SimpleDatatype type="IntegerT"'),
        "",
        ":14: an attribute must stand once, not with two prefixes: type [duplicate-name]",
    ),
    *(
        (name, swap(old, f"{old} {written}"), "", f"an attribute must be written {usual}, not")
        for name, old, written, usual in (
            ("esi", "<RxPdo", 'overwrittenByModule="1"', "OverwrittenByModule"),
            ("esi", "<Entry", 'SafetyConnnumber="1"', "SafetyConnNumber"),
            ("gsdml", 'DataType="Integer16"', 'useAsBits="true"', "UseAsBits"),
            ("nodeset", '<Field Name="load"', 'isOptional="true"', "IsOptional"),
            ("tc6", '<variable name="limit"', 'Address="%IX0.0"', "address"),
        )
    ),
    (
        "iodd",
        line(13, '"BooleanT"/', '"BooleanT" bitlength="8"/'),
        "",
        ":13: an attribute must be written bitLength, not bitlength [wrong-name]",
    ),
    # Text beside elements.
    (
        "esi",
        line(26, "<BitLen>2", "<BitLen>1<x/>2"),
        "",
        ":26: an element BitLen must hold text or",
    ),
    ("esi", line(26, "<BitLen>2", "<BitLen><x/>2"), "", ":26: an element BitLen must hold text or"),
    ("tc6", line(8, "<type>", "<type>INT"), "", ":8: an element type must hold text or elements"),
    ("tc6", line(8, "</type>", "INT</type>"), "", ":8: an element type must hold text or elements"),
    # Bits and trailers of GSDML.
    *(
        (
            "gsdml",
            line(20, "Unsigned8", kind),
            "--word-bits big",
            f":20: module:M1/submodule:S1 Output: an item that is used as bits must be unsigned, "
            f"not {shown}",
        )
        for kind, shown in (
            ('OctetString" Length="1', "OctetString"),
            ("Float32", "Float32"),
            ("Integer16", "Integer16"),
            ("Unsigned8+Unsigned8", "Unsigned8+Unsigned8"),
            ("F_MessageTrailer4Byte", "F_MessageTrailer4Byte"),
        )
    ),
    (
        "gsdml",
        swap(' PROFIsafeSupported="true"', ""),
        "--profile fscp-3-1",
        ":17: module:M1/submodule:S1 Input: a submodule with F_MessageTrailer4Byte must say "
        "PROFIsafeSupported, not leave it out (--container none takes the items as plain data) "
        "[no-container]",
    ),
    (
        "gsdml",
        lambda text: text[: text.index("<Output")] + text[text.index("</IOData>") :],
        "",
        ":9: module:M1/submodule:S1: an F submodule must have a trailer in both directions, not be "
        "without Output (--container none takes the items as plain data) [no-container]",
    ),
    (
        "gsdml",
        line(
            26,
            "</IOData>",
            '</IOData><RecordDataList><F_ParameterRecordDataItem><F_CRC_Length DefaultValue="4-Byte'
            '-CRC"/></F_ParameterRecordDataItem></RecordDataList>',
        ),
        "",
        ":26: module:M1/submodule:S1: the CRC of F_MessageTrailer4Byte must be a 3-Byte-CRC, not "
        "4-Byte-CRC",
    ),
    # Several connections.
    (
        "esi",
        both(
            line(22, "<Entry>", '<Entry SafetyConnNumber="1">'),
            line(23, "<Entry>", '<Entry SafetyConnNumber="2">'),
        ),
        "",
        ":18: device:0x1:1/rx:0x1601: a PDO must have one SafetyConnNumber, not 2 of them (several "
        "connections in one PDO are not offered) [no-container]",
    ),
    # Types beside types, data taken for check fields.
    ("xdd", line(7, "<USINT/>", "<USINT/><BOOL/>"), "", "must hold one USINT, not also BOOL after"),
    ("xdd", line(7, "<USINT/>", "<BOOL/>"), "", "a parameter must have a type of fixed width"),
    (
        "xdd",
        line(20, '"144"', '"96"'),
        "",
        ":17: group:TX: behind the data, which end at bit 40, only the last octet may be listed, "
        "not position at bit 48: it may be data",
    ),
    (
        "xdd",
        line(8, '<label lang="en">', '<label lang="fr">rien</label><label lang="de">'),
        "",
        ":8: the language of the names must be chosen: de, fr (--language fr) [ambiguous-language]",
    ),
    (
        "xdd",
        line(8, 'lang="en"', 'lang="de"'),
        "--language en",
        ":8: a name must be there in language en, not only in de (--language de) [dangling-refer",
    ),
    (
        "xdd",
        line(8, "<USINT/>", '<label lang="EN">other</label><USINT/>'),
        "",
        ":8: a label of one language must stand once, not again after line 8: other",
    ),
    (
        "xdd",
        line(16, "</label>", '</label><label lang="de">RxSPDO</label>'),
        "",
        ":16: a group must be one of TxSPDO and RxSPDO, not both (remove one of them from the",
    ),
    # Types of a node set.
    (
        "nodeset",
        swap("</UANodeSet>", FORWARD),
        "",
        ":16: LiftData: a type must have one base type, not ns=1;i=3002 and ns=1;i=3005",
    ),
    (
        "nodeset",
        swap('"Boolean">i=1<', '"Boolean">i=6<'),
        "",
        ":5: the alias Boolean must be the built-in type i=1, not i=6 [bad-value]",
    ),
    (
        "nodeset",
        swap(
            "<UADataType",
            '<UADataType NodeId="i=1" BrowseName="Boolean"><References><Reference IsForward="0" '
            'ReferenceType="i=45">i=6</Reference></References></UADataType><UADataType',
        ),
        "",
        ":8: i=1: a built-in type must not be derived from another one: i=6 [bad-value]",
    ),
    (
        "nodeset",
        line(9, "i=3<", "i=10<"),
        "",
        ":10: flags: an option set must be of an unsigned type, not Float [unknown-type]",
    ),
    ("nodeset", enumerated("0"), "", "a value of an enumeration must have one name, not also off"),
    (
        "nodeset",
        line(16, "BrowseName", 'IsAbstract="true" BrowseName'),
        "",
        ":16: LiftData: a structure must have values of its own, not be abstract",
    ),
    (
        "nodeset",
        whole(
            '<UANodeSet><UADataType NodeId="ns=1;i=1" BrowseName="1:LiftData"><References>'
            '<Reference ReferenceType="HasSubtype" IsForward="false">i=22</Reference></References>'
            "<Definition/></UADataType></UANodeSet>"
        ),
        "",
        ":1: LiftData: a structure must have members, not none [unnamed]",
    ),
    # Assemblies.
    (
        "cip-eds",
        swap("4, 0x0000, ,,", "4, 0x0000, 8, Param4,"),
        "",
        ":13: Assem100: the two fields before the members must be empty, not 8 [bad-line]",
    ),
    ("cip-eds", swap("0x0000, ,,", "0x0000, ,x,"), "", "before the members must be empty, not x"),
    # Mappings.
    *(
        ("eds", swap("=0x62010108", f"={value}"), "", f":64: 1381sub2: {said}")
        for value, said in (
            ("0x62990108", "a mapped object must be in the file with its data type"),
            (
                "0x62000108",
                "the inverted copy of 6200sub1 must be an object of its own, and that of a dummy "
                "entry a dummy, not 6200sub1 [inverted-differs]",
            ),
            ("0x00050008", "the inverted copy of 6200sub1 must be an object of its own, and that"),
        )
    ),
    *(
        (
            "eds",
            lambda text, plain=plain, copy=copy: (
                text.replace("=0x00050008", f"={plain}", 1).replace("=0x00050008", f"={copy}", 1)
                + "[6202sub1]\nParameterName=other\nDataType=0x0005\n"
            ),
            "",
            ":64: 1381sub2: the inverted copy of 6200sub1 must be an object of its own, and that "
            "of a dummy entry a dummy, not 6201sub1",
        )
        for plain, copy in (("0x62020108", "0x62010108"), ("0x62010108", "0x62020108"))
    ),
    (
        "eds",
        swap("[6211]", "[6210sub0]\nParameterName=other\nDataType=0x0006\n[6211]"),
        "",
        ":114: 6210sub0: the data type of an object must stand once, not again after line 110: "
        "0x0003 and 0x0006",
    ),
    (
        "eds",
        lambda text: text + "[1302]\nParameterName=without mapping\n",
        "--select srdo:2",
        "1382sub0: the number of entries must be stated",
    ),
    (
        "eds",
        line(52, "=6", "=010"),
        "",
        ":52: 1381sub0: the number of entries must be even and 2..128, not 010 [odd-mapping]",
    ),
    # Types with the names of others.
    *(
        (
            "st",
            both(members("x : USINT;"), swap("TYPE\n", f"TYPE\n{name} : ARRAY[0..3] OF BYTE;\n")),
            "",
            ":2: a type must not have the name of one that the standard or the safety library "
            f"has: {name}",
        )
        for name in ("SafeInt", "word")
    ),
]


@pytest.mark.parametrize(("name", "change", "more", "message"), REFUSED)
def test_refused(
    name: str,
    change: Change,
    more: str,
    message: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    assert change(case.text) != case.text
    found = importer(tmp_path, capsys)(case, change(case.text), *options_with(case.options, more))
    assert found.code in (1, 2), found.out
    assert message in found.err


@pytest.mark.parametrize(
    ("name", "change", "more", "told"),
    [
        (
            "eds",
            swap("=0x62000108", "=0x62000108\nParameterValue=0x62000108"),
            "",
            "mapping taken from ParameterValue and DefaultValue",
        ),
        (
            "eds",
            line(52, "=6", "=4"),
            "",
            "not mapped, since sub0 counts 4 entries: 1381sub5, 1381",
        ),
        (
            "st",
            swap("TYPE\n", "{attribute 'pack_mode' := '8'}\nTYPE {x}\n"),
            "",
            "pragmas are passed over, also those that change the layout: line 2, 3",
        ),
        (
            "st",
            swap("TYPE\n", "TYPE\n" + "{x}\n" * 9),
            "",
            "layout: line 3, 4, 5, 6, 7, 8, 9, 10 ...",
        ),
        (
            "esi",
            line(24, "<SubIndex>2</SubIndex>", "<SubIndex>1</SubIndex>"),
            "",
            "object 0x6660:1 stands in 2 entries: brake1_release, brake2_release",
        ),
        (
            "esi",
            lambda text: text.replace("</Device>", f"</Device>{second_device(text)}"),
            "--select device:0x1:1/rx:0x1601 --select device:0x1:2/tx:0x1a01",
            "the map is of one end, but the selections are of device:0x1:1 and device:0x1:2",
        ),
        ("nodeset", enumerated("7"), "", "names of the values of position: 0 off, 7 on"),
        ("xdd", lambda text: text + "\n", "", "units, limits, factors and default values of the"),
        *(
            (name, lambda text: text + "\n", "", "held against no direction")
            for name in ("xdd", "eds")
        ),
        ("cip-eds", lambda text: text + "\n", "", "factors and texts of values of the parameters"),
    ],
)
def test_what_was_not_taken_is_said(
    name: str,
    change: Change,
    more: str,
    told: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = CASES[name]
    found = importer(tmp_path, capsys)(case, change(case.text), *options_with(case.options, more))
    assert found.code == 0, found.err
    assert told in " ".join(found.err.split())


def test_pragmas_behind_types_change_no_layout(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["st"]
    found = importer(tmp_path, capsys)(case, f"{{x}} VAR a : INT; END_VAR {case.text} {{y}}")
    assert found.code == 0
    assert "passed over" not in found.err


def test_an_encoding_that_nobody_stated_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES["eds"]
    octets = case.text.replace("=drive_state\n", "=drive_stäte\n").encode("iso-8859-1")
    run = importer(tmp_path, capsys)
    found, stated = (
        run(case, octets, *case.options, *more) for more in ((), ("--encoding", "iso-8859-1"))
    )
    note = "no UTF-8: names are read as iso-8859-1, since the format states none"
    assert (found.code, stated.code) == (0, 0)
    assert note in " ".join(found.err.split())
    assert "no UTF-8" not in stated.err


@pytest.mark.parametrize(
    ("name", "change"),
    [
        (
            "iodd",
            lambda text: text.replace(
                "<Name ", '<Name xmlns="http://www.io-link.com/IODD/2010/10" '
            ),
        ),
        ("iodd", line(14, ' subindex="2"', "")),
        ("nodeset", line(10, ' IsOptionSet="true"', "")),
        ("eds", line(52, "=6", "=06")),
        (
            "xdd",
            line(
                15,
                "<parameterGroupList>",
                '<parameterGroupList><parameterGroup><label lang="fr">a</label><label lang="de">b'
                "</label></parameterGroup>",
            ),
        ),
        *(
            ("gsdml", line(26, "</IOData>", f"</IOData><RecordDataList>{one}</RecordDataList>"))
            for one in ('<F_CRC_Length DefaultValue="3-Byte-CRC"/>', "<F_CRC_Length/>")
        ),
        (
            "nodeset",
            swap(
                "<UADataType",
                '<UADataType NodeId="i=1" BrowseName="Boolean"><References><Reference '
                'IsForward="0" ReferenceType="i=45">i=24</Reference></References></UADataType>'
                "<UADataType",
            ),
        ),
        ("nodeset", after_line(2, "<!-- <Field/> --><Extensions>text<x/>text</Extensions>")),
        (
            "nodeset",
            line(
                13,
                "</References>",
                "<Reference ReferenceType='i=45'>ns=1;i=3003</Reference></References>",
            ),
        ),
    ],
)
def test_what_contradicts_nothing_is_read(
    name: str, change: Change, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = CASES[name]
    found = importer(tmp_path, capsys)(case, change(case.text))
    assert found.code == 0, found.err
