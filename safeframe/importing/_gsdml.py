"""GSDML: the data of a submodule, with the message trailer of FSCP 3/1 taken off.

Items stand one behind the other without gap; values travel high octet first. Sources: OPC 30144
quoting the GSDML specification, two public device descriptions, two public programs.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from .._bits import MAX_OCTETS
from ._candidates import Candidate
from ._decisions import Decisions
from ._numbers import integer, number
from ._placing import Dropped, Part, PlacedTypes
from ._refusals import Refusals, shown
from ._source import DeviceFile
from ._texts import Texts
from ._xml import Element, parse, unread

_KEEP = frozenset(
    (
        *("ISO15745Profile", "ProfileBody", "ApplicationProcess", "DeviceAccessPointList"),
        *("DeviceAccessPointItem", "ModuleList", "ModuleItem", "VirtualSubmoduleList"),
        *("VirtualSubmoduleItem", "SubmoduleList", "SubmoduleItem", "RecordDataList"),
        *("F_ParameterRecordDataItem", "F_CRC_Length", "IOData", "Input", "Output", "DataItem"),
        *("BitDataItem", "ExternalTextList", "PrimaryLanguage", "Language", "Text"),
    )
)
_OF_IO = ("IOPS_Length", "IOCS_Length", "F_IO_StructureDescVersion")
_READ: Mapping[str, Collection[str]] = {
    "F_CRC_Length": ("DefaultValue", "Changeable", "Visible"),
    "IOData": (*_OF_IO, "Input", "Output"),
    **dict.fromkeys(("Input", "Output"), ("Consistency", "DataItem")),
    "DataItem": ("DataType", "Length", "TextId", "UseAsBits", "BitDataItem"),
    "BitDataItem": ("BitOffset", "TextId"),
}
"""What is read of what is placed, or tells of no data."""
_OWNERS = {"DeviceAccessPointItem": "dap", "ModuleItem": "module"}
_SIDES = {"Input": "sends", "Output": "receives"}
_TYPES: Mapping[str, tuple[tuple[int, str], ...]] = {
    **{f"Unsigned{width}": ((width, ""),) for width in (8, 16, 32, 64)},
    **{f"Integer{width}": ((width, "int"),) for width in (8, 16, 32, 64)},
    "Float32": ((32, "float"),),
    "Float64": ((64, "float"),),
    "Unsigned8+Unsigned8": ((8, ""), (8, "")),
    "Float32+Unsigned8": ((32, "float"), (8, "")),
}
_STRINGS = ("OctetString", "VisibleString")
_TRAILER, _OTHER_TRAILER = "F_MessageTrailer4Byte", "F_MessageTrailer5Byte"
_CRC = "3-Byte-CRC"
_TRAILERS = {_TRAILER: 32, _OTHER_TRAILER: 40}
_OF_NO_BITS = (*_STRINGS, *_TRAILERS, *(k for k in _TYPES if "+" in k or k[0] != "U"))


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every submodule that has data."""
    root = parse(
        source,
        ("ISO15745Profile",),
        refusals,
        keep=_KEEP,
        encoding=decisions.encoding,
        optional=("PROFIsafeSupported", "UseAsBits", "Length", "DefaultValue"),
    )
    texts = Texts(root, ("TextId", "Value"), decisions.language, refusals)
    return [
        Candidate(
            path=path,
            line=item.line,
            side="both",
            look=_Submodule(item, path, texts).look,
            place=_Submodule(item, path, texts).place,
        )
        for item, path in _submodules(root)
        if item.first("IOData") is not None
    ]


def _submodules(root: Element) -> Iterator[tuple[Element, str]]:
    """Yield every submodule with its path."""
    for element in root.walk(*_OWNERS, "SubmoduleList"):
        if element.tag == "SubmoduleList":
            for item in element.all("SubmoduleItem"):
                yield item, f"submodule:{item.get('ID') or '-'}"
            continue
        owner = f"{_OWNERS[element.tag]}:{element.get('ID') or '-'}"
        for inner in element.all("VirtualSubmoduleList"):
            for item in inner.all("VirtualSubmoduleItem"):
                yield item, f"{owner}/submodule:{item.get('ID') or '-'}"


@dataclass(frozen=True)
class _Submodule:
    """One submodule and its two directions."""

    item: Element
    path: str
    texts: Texts

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        if self.item.true("PROFIsafeSupported", Refusals("")):
            return "", None, "F submodule, FSCP 3/1"
        return "", None, "no F submodule"

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layouts of both directions."""
        data = self.item.only(refusals, "IOData", where=self.path)
        assert data is not None
        unpack = self.item.true("PROFIsafeSupported", refusals) and decisions.container == "auto"
        for length in self.item.walk("F_CRC_Length") if unpack else ():
            stated = length.get("DefaultValue")
            if stated is not None and stated.strip() != _CRC:
                refusals.add(
                    "unsupported-trailer",
                    length.line,
                    f"the CRC of {_TRAILER} must be a {_CRC}, not {shown(stated)}",
                    "the profile fscp-3-1 does not cover a CRC of 32 bits: not offered",
                    self.path,
                )
        found = []
        sides = {side.tag for side in data.all(*_SIDES)}
        for tag in sorted(_SIDES.keys() - sides) if unpack else ():
            refusals.add(
                "no-container",
                data.line,
                f"an F submodule must have a trailer in both directions, not be without {tag}",
                "--container none takes the items as plain data",
                self.path,
            )
        for side in data.all(*_SIDES):
            layout = _Side(self, side, unpack, decisions, refusals).layout()
            found.append((_SIDES[side.tag], layout))
        return found


class _Side:
    """Places the items of one direction."""

    def __init__(
        self,
        owner: _Submodule,
        side: Element,
        unpack: bool,
        decisions: Decisions,
        refusals: Refusals,
    ) -> None:
        self.owner, self.side, self.unpack = owner, side, unpack
        self.decisions, self.refusals = decisions, refusals
        self.parts: list[Part] = []
        self.dropped: list[Dropped] = []
        self.position = 0

    def layout(self) -> PlacedTypes:
        """Return the layout; the problems are kept."""
        items = list(self.side.all("DataItem"))
        kinds = [item.get("DataType") for item in items]
        if self.unpack and _OTHER_TRAILER in kinds:
            self.refusals.add(
                "unsupported-trailer",
                items[kinds.index(_OTHER_TRAILER)].line,
                f"the trailer must be {_TRAILER}, not {_OTHER_TRAILER}",
                "the profile fscp-3-1 does not cover a CRC of 32 bits: not offered",
                self.owner.path,
            )
        elif self.unpack and (kinds[-1:] != [_TRAILER] or kinds.count(_TRAILER) != 1):
            self.refusals.add(
                "no-container",
                self.side.line,
                f"the last item of {self.side.tag}, and no other, must be {_TRAILER}",
                "--container none takes the items as plain data",
                self.owner.path,
            )
        for item in items:
            self.item(item)
        return PlacedTypes(
            path=self.owner.path,
            line=self.side.line,
            title=self.side.tag,
            total_bits=self.position + sum(gone.width for gone in self.dropped),
            parts=tuple(self.parts),
            dropped=tuple(self.dropped),
            profile="fscp-3-1" if self.unpack else "",
            gaps="reserve",  # Only bits of an item whose other bits are listed.
            notes=unread(
                (
                    *self.owner.item.walk("F_CRC_Length"),
                    *self.owner.item.all("IOData"),
                    self.side,
                    *self.side.walk("DataItem", "BitDataItem"),
                ),
                _READ,
            ),
        )

    def item(self, item: Element) -> None:
        """Place one item."""
        kind, where = item.get("DataType") or "", f"{self.owner.path} {self.side.tag}"
        name = self.owner.texts.of(item.get("TextId"), item.line, where)
        bits, as_bits = list(item.all("BitDataItem")), item.true("UseAsBits", self.refusals)
        self.length(item, kind, where)
        if kind in _OF_NO_BITS and (bits or as_bits):
            self.refusals.add(
                "ambiguous-bits",
                item.line,
                f"an item that is used as bits must be unsigned, not {kind}",
                "which of its octets holds a bit is not told: not offered",
                where,
            )
        elif kind in _TRAILERS:
            width = _TRAILERS[kind]
            if self.unpack:
                what = "status or control octet and CRC"
                self.dropped.append(Dropped(name=name, width=width, line=item.line, what=what))
            elif self.decisions.container == "auto":
                self.refusals.add(
                    "no-container",
                    item.line,
                    f"a submodule with {kind} must say PROFIsafeSupported, not leave it out",
                    "--container none takes the items as plain data",
                    where,
                )
            else:
                self.value(item, name, where, width, "")
        elif kind in _STRINGS:
            self.string(item, name, where)
        elif kind not in _TYPES:
            self.refusals.add(
                "unknown-type",
                item.line,
                f"a type must have a known number of octets, not {shown(kind)}",
                element=where,
            )
        elif bits and not as_bits:
            self.refusals.add(
                "ambiguous-bits",
                item.line,
                "an item with bits must say UseAsBits, not leave it out",
                "the file contradicts itself: ask for a mended one",
                where,
            )
        elif as_bits:
            self.bits(item, bits, name, where, sum(width for width, _ in _TYPES[kind]))
        else:
            fields = _TYPES[kind]
            for number, (width, type_) in enumerate(fields, 1):
                suffix = f" ({number} of {len(fields)})" if len(fields) > 1 else ""
                self.value(item, name + suffix, where, width, type_)

    def length(self, item: Element, kind: str, where: str) -> None:
        """Keep a problem of a type of fixed size that states another one."""
        bits = sum(width for width, _ in _TYPES.get(kind, ())) or _TRAILERS.get(kind)
        stated = item.get("Length")
        if bits and stated is not None and number(stated) != bits // 8:
            self.refusals.add(
                "size-differs",
                item.line,
                f"Length must be {bits // 8} for {kind}, not {shown(stated)}",
                element=where,
            )

    def value(self, item: Element, name: str, where: str, width: int, type_: str) -> None:
        """Place one value of whole octets."""
        self.parts.append(
            Part(
                start=self.position,
                width=width,
                name=name,
                type=type_,
                order="big" if width > 8 else "little",
                line=item.line,
                element=where,
                group=self.side.tag,
            )
        )
        self.position += width

    def string(self, item: Element, name: str, where: str) -> None:
        """Place a string of octets as one unsigned value."""
        if item.get("Length") is None:
            self.refusals.add(
                "missing-length", item.line, "Length must be stated for a string", element=where
            )
            return
        octets = integer(item.get("Length"), "Length", item.line, self.refusals, where)
        if octets is None:
            return
        if not octets >= 1 or self.position // 8 + octets > MAX_OCTETS:
            rule = "too-big" if octets else "bad-length"
            message = f"the data must be 1..{MAX_OCTETS} octets, not {octets} more"
            self.refusals.add(rule, item.line, message, element=where)
            return
        self.value(item, name, where, 8 * octets, "")

    def bits(self, item: Element, bits: list[Element], name: str, where: str, width: int) -> None:
        """Place the bits of an item; those that are not listed beside others are reserve."""
        if width > 8 and self.decisions.word_bits != "big":
            self.refusals.add(
                "ambiguous-bits",
                item.line,
                f"the place of a bit in a value of {width} bits must be stated",
                "--word-bits big: bit 0 is the least significant, the high octet comes first",
                where,
            )
        if not bits:
            if not self.decisions.number_names:
                self.refusals.add(
                    "unnamed",
                    item.line,
                    f"the {width} bits of {shown(name) or 'an item'} must have names, not none",
                    "--number-names names such bits by their item and number",
                    where,
                )
            for offset in range(width):
                self.bit(item, "", where, offset, width, name)
        for bit in bits:
            if bit.get("BitOffset") is None:
                self.refusals.add(
                    "missing-offset", bit.line, "BitOffset must be stated", element=where
                )
                continue
            place = integer(bit.get("BitOffset"), "BitOffset", bit.line, self.refusals, where)
            if place is not None and place >= width:
                self.refusals.add(
                    "beyond-end",
                    bit.line,
                    f"BitOffset must be 0..{width - 1}, not {place}",
                    element=where,
                )
            elif place is not None:
                text = self.owner.texts.of(bit.get("TextId"), bit.line, where)
                self.bit(bit, text, where, place, width, name)
        self.position += width

    def bit(
        self, item: Element, name: str, where: str, offset: int, width: int, group: str
    ) -> None:
        """Place one bit: the octet of the high bits comes first."""
        place = 8 * (width // 8 - 1 - offset // 8) + offset % 8
        self.parts.append(
            Part(
                start=self.position + place,
                width=1,
                name=name,
                line=item.line,
                element=where,
                group=group or self.side.tag,
                number=offset,
            )
        )
