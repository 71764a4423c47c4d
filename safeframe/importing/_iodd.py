"""IODD 1.1: the process data of a device, plain; values travel high octet first.

Bit offset 0 is the least significant bit of the last octet. Sources: example files of the format's
community, two public device manuals. How a device with safety extensions lists its safety parts was
found in no public file: not offered.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from ._candidates import Candidate
from ._decisions import Decisions
from ._numbers import integer, number, width_of
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown, twice
from ._source import DeviceFile
from ._texts import Texts
from ._xml import Element, by_id, parse, unread

_KEEP = frozenset(
    (
        *("IODevice", "ProfileBody", "DeviceFunction", "DatatypeCollection", "Datatype"),
        *("ProcessDataCollection", "ProcessData", "Condition", "ProcessDataIn", "ProcessDataOut"),
        *("DatatypeRef", "RecordItem", "SimpleDatatype", "SingleValue", "ValueRange", "Name"),
        *("ExternalTextCollection", "PrimaryLanguage", "Language", "Text"),
    )
)
_SIDES = {"ProcessDataIn": "sends", "ProcessDataOut": "receives"}
_KINDS: Mapping[str, str] = {
    "BooleanT": "bool",
    "UIntegerT": "",
    "IntegerT": "int",
    "Float32T": "float",
    "OctetStringT": "",
    "StringT": "",
}
_OF_TYPE = (
    *("id", "type", "bitLength", "fixedLength", "subindexAccessSupported"),
    *("SingleValue", "ValueRange", "Name"),
)
_READ: Mapping[str, Collection[str]] = {
    "ProcessData": ("id", "Condition", *_SIDES),
    **dict.fromkeys(_SIDES, ("id", "bitLength", "Datatype", "DatatypeRef", "Name")),
    "RecordItem": ("subindex", "bitOffset", "SimpleDatatype", "DatatypeRef", "Name", "Description"),
    "Datatype": (*_OF_TYPE, "RecordItem"),
    "SimpleDatatype": _OF_TYPE,
    "DatatypeRef": ("datatypeId",),
}
"""What is read of what is placed, or says only who may read it, or is for a person."""
_WIDTHS = {"BooleanT": 1, "Float32T": 32}


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every set of process data, one for each condition."""
    root = parse(
        source,
        ("IODevice",),
        refusals,
        keep=_KEEP,
        encoding=decisions.encoding,
        optional=("bitLength", "subindex"),
    )
    texts = Texts(root, ("id", "value"), decisions.language, refusals)
    kinds = (one for group in root.walk("DatatypeCollection") for one in group.all("Datatype"))
    types = by_id(kinds, "id", "a data type", refusals)
    return [
        Candidate(
            path=f"process:{data.get('id') or '-'}",
            line=data.line,
            side="both",
            look=_Process(data, types, texts).look,
            place=_Process(data, types, texts).place,
        )
        for data in root.walk("ProcessData")
    ]


@dataclass(frozen=True)
class _Process:
    """One set of process data."""

    data: Element
    types: Mapping[str, Element]
    texts: Texts

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        sizes = [
            f"{side.get('bitLength') or '?'} bits {_SIDES[side.tag]}"
            for side in self.data.all(*_SIDES)
        ]
        condition = self.data.first("Condition")
        if condition is not None:
            words = condition.get("variableId"), condition.get("value")
            sizes.append(f"only while {shown(words[0])} is {shown(words[1])}")
        return "", None, ", ".join(sizes)

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layouts of both directions."""
        found = []
        for side in self.data.all(*_SIDES):
            layout = _IoddSide(self, side, decisions, refusals).layout()
            if layout is not None:
                found.append((_SIDES[side.tag], layout))
        return found


class _IoddSide:
    """Places the items of one direction."""

    def __init__(
        self, owner: _Process, side: Element, decisions: Decisions, refusals: Refusals
    ) -> None:
        self.owner, self.side, self.decisions, self.refusals = owner, side, decisions, refusals
        self.where = f"{side.tag} {side.get('id') or '-'}"
        self.parts: list[Part] = []
        self.lost: list[str] = []
        self.seen = [owner.data, side]
        self.total = 0

    def layout(self) -> PlacedTypes | None:
        """Return the layout, or keep the problems."""
        line = self.side.line
        total = width_of(self.side.get("bitLength"), "bitLength", line, self.refusals, self.where)
        if total is None:
            return None
        if total % 8:
            self.refusals.add(
                "not-whole-octets",
                line,
                f"the data must fill whole octets, not {total} bits",
                "how the master pads them is not told by the file: not offered",
                self.where,
            )
            return None
        self.total = total
        kind = self.type_of(self.side, self.side.line)
        if kind is None:
            return None
        if (kind.get("type") or "").rpartition(":")[2] == "RecordT":
            length = kind.get("bitLength")
            if length is not None:
                stated = integer(length, "bitLength", kind.line, self.refusals, self.where)
                self.whole(kind.line, "record", total if stated is None else stated)
            subindices: dict[int, int] = {}
            for item in kind.all("RecordItem"):
                self.item(item)
                place = number(item.get("subindex"))
                if place in subindices:
                    lines = subindices[place], item.line
                    twice(self.refusals, "a subindex", place, lines, self.where)
                elif place is not None:
                    subindices[place] = item.line
            if kind.first("RecordItem") is None:
                text = "a record must have items, not none"
                self.refusals.add("unnamed", kind.line, text, element=self.where)
        else:
            self.value(self.side, kind, 0, self.name(self.side))
            if self.parts:
                self.whole(kind.line, "value", sum(part.width for part in self.parts))
        condition = self.owner.data.first("Condition")
        note = "holds only while the condition of the process data holds"
        return PlacedTypes(
            path=f"process:{self.owner.data.get('id') or '-'}",
            line=line,
            title=self.where,
            total_bits=total,
            parts=tuple(self.parts),
            gaps="reserve",
            lost=tuple(self.lost),
            notes=(*(note,) * (condition is not None), *unread(self.seen, _READ)),
        )

    def whole(self, line: int, what: str, bits: int) -> None:
        """Keep a problem where what fills the process data has other bits than they."""
        if bits != self.total:
            self.refusals.add(
                "size-differs",
                line,
                f"the {what} must have the {self.total} bits of its process data, not {bits}",
                element=self.where,
            )

    def type_of(self, holder: Element, line: int) -> Element | None:
        """Return the type inside an element, or the one it refers to."""
        words = ("Datatype", "SimpleDatatype", "DatatypeRef")
        found = holder.only(self.refusals, *words, where=self.where)
        self.seen += () if found is None else (found,)
        if found is not None and found.tag != "DatatypeRef":
            return found
        key = found.get("datatypeId") if found is not None else None
        if key is None or key not in self.owner.types:
            rule, what = (
                ("missing-length", "none")
                if key is None
                else ("dangling-reference", f"only its id {shown(key)}")
            )
            message = f"a data type must be in the file, not {what}"
            self.refusals.add(rule, line, message, "ask for a whole file", self.where)
            return None
        self.seen.append(self.owner.types[key])
        return self.owner.types[key]

    def name(self, holder: Element) -> str:
        """Return the text of the name of an element."""
        name = holder.only(self.refusals, "Name", where=self.where)
        key = name.get("textId") if name is not None else None
        return self.owner.texts.of(key, holder.line, self.where)

    def item(self, item: Element) -> None:
        """Place one item of a record."""
        self.seen.append(item)
        name = self.name(item)
        kind = self.type_of(item, item.line)
        if item.get("bitOffset") is None:
            self.refusals.add(
                "missing-offset", item.line, "bitOffset must be stated", element=self.where
            )
            return
        offset = integer(item.get("bitOffset"), "bitOffset", item.line, self.refusals, self.where)
        if kind is not None and offset is not None:
            self.value(item, kind, offset, name)

    def value(self, item: Element, kind: Element, offset: int, name: str) -> None:
        """Place one value at its offset from the last bit."""
        word = (kind.get("type") or "").rpartition(":")[2]
        if word not in _KINDS:
            self.refusals.add(
                "unknown-type",
                item.line,
                f"a type must be one of {', '.join(_KINDS)}, not {shown(word)}",
                element=self.where,
            )
            return
        inner = kind.first("RecordItem")
        if inner is not None:
            text = f"a {word} must hold no RecordItem, which a RecordT has"
            self.refusals.add("unknown-type", inner.line, text, element=self.where)
        width = self.width(word, kind, item.line)
        if width is None:
            return
        if offset + width > self.total:
            self.refusals.add(
                "beyond-end",
                item.line,
                f"{width} bits at offset {offset} must end within {self.total} bits",
                element=self.where,
            )
            return
        type_ = _KINDS[word]
        inside, octets = offset % 8 + width <= 8, offset % 8 == 0 and width % 8 == 0
        codes = self.codes(kind, word, whole=inside or octets)
        if inside:
            self.part(item, name, type_, offset, width, codes=codes)
        elif octets:
            self.part(item, name, type_, offset, width, "big", codes)
        else:
            self.split(item, name, type_, offset, width)

    def width(self, word: str, kind: Element, line: int) -> int | None:
        """Return the width of a simple type, or keep the problem."""
        at = line, self.refusals, self.where
        if word in ("OctetStringT", "StringT"):
            octets = width_of(kind.get("fixedLength"), "fixedLength", *at)
            width = None if octets is None else 8 * octets
        else:
            width = _WIDTHS.get(word) or width_of(kind.get("bitLength"), "bitLength", *at)
        stated = kind.get("bitLength")
        if width is not None and stated is not None and number(stated) != width:
            self.refusals.add(
                "size-differs",
                line,
                f"bitLength must be {width} for this {word}, not {shown(stated)}",
                element=self.where,
            )
        return width

    def split(self, item: Element, name: str, type_: str, offset: int, width: int) -> None:
        """Place a value across octets as two signals, where that was asked for and is possible."""
        low = 8 - offset % 8 if offset % 8 else width // 8 * 8
        high = width - low
        possible = type_ != "float" and (high <= 8 or (high % 8 == 0 and offset % 8 > 0))
        if not possible or not self.decisions.split_unaligned:
            self.refusals.add(
                "not-expressible",
                item.line,
                f"a value with its high octet first must fill whole octets, not {width} bits at "
                f"offset {offset}",
                "--split-unaligned makes two signals of it, (high) and (low)"
                if possible
                else "a map cannot hold it: not offered",
                self.where,
            )
            return
        order = "big" if low > 8 else "little"
        self.part(item, f"{name} (low)", "", offset, low, order)
        order = "big" if high > 8 else "little"
        kind = type_ if high > 1 else ""
        self.part(item, f"{name} (high)", kind, offset + low, high, order)

    def part(
        self,
        item: Element,
        name: str,
        type_: str,
        offset: int,
        width: int,
        order: str = "little",
        codes: tuple[tuple[int, str], ...] = (),
    ) -> None:
        """Keep one part at its place: offset 0 is the last octet."""
        if width > 8 or order == "big":
            start = self.total - offset - width
        else:
            start = 8 * (self.total // 8 - 1 - offset // 8) + offset % 8
        self.parts.append(
            Part(
                start=start,
                width=width,
                name=name,
                type="code" if codes else type_,
                order=order if width > 8 else "little",
                codes=codes,
                line=item.line,
                element=self.where,
                group=self.side.tag,
                number=offset,
            )
        )

    def codes(self, kind: Element, word: str, *, whole: bool) -> tuple[tuple[int, str], ...]:
        """Return the named values where they are a complete list and codes are asked for.

        The two halves of a value that is not ``whole`` have none.
        """
        values = list(kind.all("SingleValue"))
        if not values:
            return ()
        wanted = self.decisions.codes and whole and word == "UIntegerT"
        if not wanted or kind.first("ValueRange") is not None:
            texts = [f"{shown(value.get('value'))} {shown(self.name(value))}" for value in values]
            self.lost.append(f"texts of values: {', '.join(texts)}")
            return ()
        found: dict[int, str] = {}
        lines: dict[int, int] = {}
        for value in values:
            code = integer(value.get("value"), "value", value.line, self.refusals, self.where)
            if code in lines:
                twice(self.refusals, "a value", code, (lines[code], value.line), self.where)
            if code is not None:
                found[code], lines[code] = self.name(value), value.line
        return tuple(sorted(found.items()))
