"""EDS and DCF (CiA 306): EN 50325-5 objects, their mapping, identifiers and times.

Odd subindices of a mapping object list the plain objects, the following even ones their inverted
copies. Sources: public EDS files, an open stack with EN 50325-5, two public device manuals.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ._candidates import Candidate
from ._decisions import Decisions
from ._encoding import bom_of, text_of
from ._numbers import number as plain_number
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown, twice
from ._source import DeviceFile

_FIRST, _MAPPING = 0x1301, 0x1381
_CHECKSUMS = 0x13FF
_STATED = {2: "sct_ms", 3: "srvt_ms", 5: "identifier_1", 6: "identifier_2"}
"""Subindices of the communication object that are parameters of a map."""
_DEFAULTS = {5: 0xFF, 6: 0x100}
"""Identifiers that stand for a default: twice the node is added to them."""
_OBJECTS = 64
_MOST_BITS = 64
"""Plain data of one object travel in one CAN frame of 8 octets."""
_MOST_ENTRIES = 128
_READ = frozenset(
    (
        *("parametername", "objecttype", "datatype", "accesstype", "defaultvalue", "pdomapping"),
        *("subnumber", "compactsubobj", "parametervalue", "lowlimit", "highlimit", "objflags"),
        *("denotation", "paramrefd"),
    )
)
"""Keys of an object that are read, or say nothing of its place and width (CiA 306)."""
_MOST_LINES = 1_000_000
_SECTION = re.compile(r"\[([^\]]{1,64})\]\s*(?:;.*)?")
_ZERO = re.compile(r"0[0-9]+", re.ASCII)
_OBJECT = re.compile(r"([0-9a-f]{1,8})(?:sub([0-9a-f]{1,8}))?")
# Widths of basic data types: CiA 301, from memory; a mapping entry states the width once more.
_TYPES: Mapping[int, tuple[int, str]] = {
    0x0001: (1, "bool"),
    0x0002: (8, "int"),
    0x0003: (16, "int"),
    0x0004: (32, "int"),
    0x0005: (8, ""),
    0x0006: (16, ""),
    0x0007: (32, ""),
    0x0008: (32, "float"),
    0x0010: (24, "int"),
    0x0011: (64, "float"),
    0x0015: (64, "int"),
    0x0016: (24, ""),
    0x001B: (64, ""),
}


def number(text: str | None) -> int | None:
    """Return the number of a value, None where it is one in two ways.

    That a leading zero makes a number octal is from memory, and so is that it does not.
    """
    found = plain_number(text)
    digits = (text or "").strip().lstrip("+-")
    if found is not None and _ZERO.fullmatch(digits) and found > 7:
        return None
    return found


class _File:
    """The sections of a file: each key with its value and line."""

    def __init__(self, text: str, refusals: Refusals) -> None:
        self.sections: dict[str, dict[str, tuple[str, int]]] = {}
        self.lines: dict[str, int] = {}
        self.notes: tuple[str, ...] = ()
        section: dict[str, tuple[str, int]] | None = None
        rows = text.split("\n")
        if len(rows) > _MOST_LINES:
            refusals.stop("too-big", 0, f"the file must have at most {_MOST_LINES} lines, not more")
        for line, row in enumerate(rows, 1):
            stripped = row.strip()
            if not stripped or stripped.startswith(";"):
                continue
            head = _SECTION.fullmatch(stripped)
            if head is not None:
                name = _section_name(head[1])
                if name in self.sections:
                    refusals.add(
                        "duplicate-section",
                        line,
                        f"a section must stand once, not again after line {self.lines[name]}: "
                        f"[{shown(head[1])}]",
                    )
                section = self.sections[name] = {}
                self.lines[name] = line
                continue
            key, equals, value = stripped.partition("=")
            key = key.strip().lower()
            if not equals or not key or section is None:
                refusals.add(
                    "bad-line",
                    line,
                    f"a line must be [section] or key=value, not {shown(stripped)}",
                )
            elif key in section:
                refusals.add(
                    "duplicate-key",
                    line,
                    f"a key must stand once in its section, not again after line "
                    f"{section[key][1]}: {shown(key)}",
                )
            else:
                section[key] = (value.strip(), line)

    def get(self, section: str, key: str) -> tuple[str, int] | None:
        """Return value and line of a key, None where it does not stand or is empty."""
        found = self.sections.get(section, {}).get(key)
        return found if found is not None and found[0] else None

    def line(self, section: str) -> int:
        """Return the line of a section, 0 where it is not there."""
        return self.lines.get(section, 0)


def _section_name(text: str) -> str:
    """Return a section name in small letters, an object by its numbers without leading zeros."""
    found = _OBJECT.fullmatch(text.strip().lower())
    if found is None:
        return text.strip().lower()
    subindex = "" if found[2] is None else f"sub{int(found[2], 16):x}"
    return f"{int(found[1], 16):x}{subindex}"


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every EN 50325-5 object that has a mapping."""
    encoding = decisions.encoding or _encoding(source.octets)
    file = _File(text_of(source.octets, encoding, refusals), refusals)
    refusals.refuse()
    if encoding and not decisions.encoding:
        file.notes = (f"no UTF-8: names are read as {encoding}, since the format states none",)
    return [
        Candidate(
            path=f"srdo:{count + 1}",
            line=file.line(f"{_FIRST + count:x}") or file.line(f"{_MAPPING + count:x}"),
            side=_Object(file, count).side(),
            look=_Object(file, count).look,
            place=_Object(file, count).place,
        )
        for count in range(_OBJECTS)
        if f"{_MAPPING + count:x}" in file.sections or f"{_FIRST + count:x}" in file.sections
    ]


def _encoding(octets: bytes) -> str:
    """Return the encoding of what is neither UTF-8 nor marked, empty for any other text."""
    try:
        octets.decode("utf-8")
    except UnicodeDecodeError:
        return "" if bom_of(octets) else "iso-8859-1"
    return ""


@dataclass(frozen=True)
class _Object:
    """One EN 50325-5 object: communication 0x1301 + count, mapping 0x1381 + count."""

    file: _File
    count: int

    def value(self, index: int, subindex: int) -> tuple[str, int, str] | None:
        """Return value, line and key of an object; the value of a configuration comes first."""
        names = [f"{index:x}sub{subindex:x}", *([f"{index:x}"] if subindex == 0 else [])]
        for name in names:
            for key in ("parametervalue", "defaultvalue"):
                found = self.file.get(name, key)
                if found is not None:
                    return (*found, key)
        compact = self.file.get(f"{index:x}value", str(subindex))
        return None if compact is None else (*compact, "defaultvalue")

    def stated(self, index: int, subindex: int) -> dict[int, tuple[str, int]]:
        """Return what each place that may state an object says of it: value and line."""
        found: dict[int, tuple[str, int]] = {}
        names = [f"{index:x}sub{subindex:x}", *([f"{index:x}"] if subindex == 0 else [])]
        for at, name in enumerate(names):
            for key in ("parametervalue", "defaultvalue"):
                value = self.file.get(name, key)
                if value is not None:
                    found.setdefault(at, value)
        compact = self.file.get(f"{index:x}value", str(subindex))
        return found if compact is None else {**found, len(names): compact}

    def _compare(self, refusals: Refusals) -> None:
        """Keep the problem of each object that two places state differently: none is taken."""
        communication, mapping = _FIRST + self.count, _MAPPING + self.count
        counts = [number(value) or 0 for value, _ in self.stated(mapping, 0).values()]
        places = [(communication, subindex) for subindex in (1, *_STATED)]
        places += [
            (mapping, subindex)
            for subindex in range(min(max(counts, default=0), _MOST_ENTRIES) + 1)
        ]
        places.append((_CHECKSUMS, self.count + 1))
        for index, subindex in places:
            said = list(self.stated(index, subindex).values())
            values = [value if number(value) is None else number(value) for value, _ in said]
            other = next((at for at, one in enumerate(values) if one != values[0]), None)
            if other is not None:
                early, late = sorted((said[0], said[other]), key=lambda found: found[1])
                text, lines = f"{early[0]} and {late[0]}", (early[1], late[1])
                name = f"{index:X}sub{subindex:X}"
                twice(refusals, "the value of an object", text, lines, name)

    def side(self) -> str:
        """Return what the object is to the device: subindex 1 tells, the index does not."""
        found = self.value(_FIRST + self.count, 1)
        return {1: "sends", 2: "receives"}.get(number(found[0]) or 0, "both") if found else "both"

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        found = self.value(_MAPPING + self.count, 0)
        entries = number(found[0]) if found else None
        name = self.file.get(f"{_MAPPING + self.count:x}", "parametername")
        note = "EN 50325-5" if self.side() != "both" else "EN 50325-5, without direction"
        return name[0] if name else "", None, f"{note}, {shown(entries)} entries"

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layout of the plain entries, or keep the problems."""
        communication, mapping = _FIRST + self.count, _MAPPING + self.count
        self._compare(refusals)
        side = self.value(communication, 1)
        if side is None or number(side[0]) not in (1, 2):
            line = side[1] if side else self._section_line(communication, 1)
            refusals.add(
                "no-direction",
                line,
                f"the information direction must be 1 (sends) or 2 (receives), not "
                f"{shown(side[0]) if side else 'left out'}",
                element=f"{communication:X}sub1",
            )
        counted = self.value(mapping, 0)
        count = self._count(mapping, refusals)
        parts: list[Part] = []
        position = 0
        origins = set()
        listed: list[int] = []
        pairs: list[tuple[_EdsEntry, _EdsEntry]] = []
        strange = list(self._strange(*self._own_sections()))
        for entry in range(1, (count or 0) + 1, 2):
            plain = self._entry(mapping, entry, refusals)
            copy = self._entry(mapping, entry + 1, refusals)
            if plain is None or copy is None:
                continue
            if plain.width != copy.width:
                refusals.add(
                    "inverted-differs",
                    copy.line,
                    f"the inverted copy must have the {plain.width} bits of the plain object, not "
                    f"{copy.width}",
                    element=f"{mapping:X}sub{entry + 1:X}",
                )
            origins |= {plain.key, copy.key}
            listed += (entry.number for entry in (plain, copy))
            index = f"{plain.index:X}"
            strange += self._strange(index, f"{index}sub{plain.subindex:X}")
            part = self._part(plain, position, refusals)
            inverted = self._part(copy, position, refusals)
            if part is not None:
                parts.append(part)
            if part is not None and inverted is not None:
                pairs.append((plain, copy))
            position += plain.width
        for plain, copy in pairs:
            if not _is_pair(plain, copy, pairs):
                refusals.add(
                    "inverted-differs",
                    copy.line,
                    f"the inverted copy of {plain.index:04X}sub{plain.subindex:X} must be an "
                    f"object of its own, and that of a dummy entry a dummy, not "
                    f"{copy.index:04X}sub{copy.subindex:X}",
                    element=copy.where,
                )
        if position > _MOST_BITS:
            refusals.add(
                "too-big",
                counted[1] if counted else 0,
                f"the plain objects must have at most {_MOST_BITS} bits, not {position}",
                element=f"{mapping:X}",
            )
        if len(refusals):
            return []
        words = [word for word in ("ParameterValue", "DefaultValue") if word.lower() in origins]
        note = f"mapping taken from {' and '.join(words)}; most devices let it be changed"
        shared, own, left = self._stated(listed)
        left += self.file.notes
        if strange:
            left.append(f"not read: {', '.join(strange)}")
        more = [
            f"{mapping:X}sub{subindex:X}"
            for subindex in range((count or 0) + 1, _MOST_ENTRIES + 1)
            if number((self.value(mapping, subindex) or ("0",))[0]) != 0
        ]
        if more:
            left.append(f"not mapped, since sub0 counts {count} entries: {', '.join(more)}")
        layout = PlacedTypes(
            path=f"srdo:{self.count + 1}",
            line=self.file.line(f"{communication:x}"),
            title=f"{mapping:X}",
            total_bits=position,
            parts=tuple(parts),
            lost=(
                "inverted copies, which the second CAN frame carries",
                "access types of the objects, which are held against no direction",
            ),
            notes=(note, *left),
            usual_profile="en50325-5",
            shared=tuple(shared.items()),
            own=tuple(own.items()),
        )
        return [(self.side(), layout)]

    def _stated(
        self, entries: list[int]
    ) -> tuple[dict[str, int | str], dict[str, int | str], list[str]]:
        """Return parameters of both ends, those of the device alone, and words on what is left out.

        Subindices 2, 3, 5 and 6, the entries, and the checksum where a configuration states one.
        """
        communication = _FIRST + self.count
        numbers: dict[str, int] = {}
        left = []
        for subindex, name in _STATED.items():
            found = self.value(communication, subindex)
            if found is None:
                continue
            value, where = number(found[0]), f"{name} ({communication:X}sub{subindex})"
            if value is None or not 0 <= value < 1 << 32:
                left.append(f"{where} is left out: {shown(found[0])} is no number by itself")
            elif value == _DEFAULTS.get(subindex):
                left.append(f"{where} is left out: it is the default, to which 2 x node is added")
            else:
                numbers[name] = value
        shared: dict[str, int | str] = {
            name: value for name, value in numbers.items() if name != "sct_ms"
        }
        own: dict[str, int | str] = {}
        if "sct_ms" in numbers:
            own["sct_ms"] = numbers["sct_ms"]
        own["mapping"] = " ".join(f"{value:08X}" for value in entries)
        claimed = self.value(_CHECKSUMS, self.count + 1)
        checksum = number(claimed[0]) if claimed is not None else None
        if claimed is not None and claimed[2] == "parametervalue" and checksum is not None:
            own["checksum"] = checksum
        return shared, own, left

    def _section_line(self, index: int, subindex: int) -> int:
        return self.file.line(f"{index:x}sub{subindex:x}") or self.file.line(f"{index:x}")

    def _count(self, mapping: int, refusals: Refusals) -> int | None:
        found = self.value(mapping, 0)
        line = found[1] if found else self._section_line(mapping, 0)
        if found is None:
            text = "the number of entries must be stated"
            refusals.add("missing-value", line, text, element=f"{mapping:X}sub0")
            return None
        count = number(found[0])
        if count is None or count % 2 or not 2 <= count <= _MOST_ENTRIES:
            refusals.add(
                "odd-mapping",
                line,
                f"the number of entries must be even and 2..{_MOST_ENTRIES}, not {shown(found[0])}",
                element=f"{mapping:X}sub0",
            )
            return None
        return count

    def _entry(self, mapping: int, subindex: int, refusals: Refusals) -> _EdsEntry | None:
        """Return one mapping entry: index 16 bits, subindex 8, width in bits 8."""
        found = self.value(mapping, subindex)
        line = found[1] if found else self._section_line(mapping, subindex)
        where = f"{mapping:X}sub{subindex:X}"
        if found is None:
            refusals.add("missing-value", line, "a mapping entry must have a value", element=where)
            return None
        value = number(found[0])
        if value is None or not 0 <= value < 1 << 32:
            refusals.add(
                "bad-number",
                line,
                f"a mapping entry must be a number of 32 bits, not {shown(found[0])}",
                "a value that depends on the node id gives another map for another node",
                where,
            )
            return None
        if not value & 0xFF:
            text = "a mapping entry must have at least 1 bit, not 0"
            refusals.add("bad-length", line, text, element=where)
            return None
        return _EdsEntry(value, value >> 16, value >> 8 & 0xFF, value & 0xFF, line, found[2], where)

    def _part(self, entry: _EdsEntry, start: int, refusals: Refusals) -> Part | None:
        """Return the part of a plain entry, or keep the problem."""
        if entry.index <= 0x0007 and entry.subindex == 0:
            return self._dummy(entry, start, refusals)
        section, whole = f"{entry.index:x}sub{entry.subindex:x}", f"{entry.index:x}"
        if section not in self.file.sections and entry.subindex == 0:
            section = whole
        stated = self.file.get(section, "datatype")
        also = self.file.get(whole, "datatype") if entry.subindex == 0 else None
        kind = number(stated[0]) if stated is not None else None
        if stated is not None and also is not None and number(also[0]) != kind:
            early, late = sorted((stated, also), key=lambda found: found[1])
            text, lines = f"{early[0]} and {late[0]}", (early[1], late[1])
            twice(refusals, "the data type of an object", text, lines, section)
        if kind is None:
            refusals.add(
                "not-found",
                entry.line,
                f"a mapped object must be in the file with its data type, not only its number "
                f"{entry.index:04X}sub{entry.subindex:X}",
                element=entry.where,
            )
            return None
        name = self.file.get(section, "parametername")
        return self._placed(entry, start, kind, name[0] if name else "", refusals)

    def _own_sections(self) -> Iterator[str]:
        """Yield the sections of the communication object and of the mapping object."""
        for name in self.file.sections:
            found = _OBJECT.fullmatch(name)
            if found and int(found[1], 16) in (_FIRST + self.count, _MAPPING + self.count):
                yield found[1].upper() + (f"sub{found[2].upper()}" if found[2] else "")

    def _strange(self, *names: str) -> Iterator[str]:
        """Yield what sections of objects say and nobody reads."""
        for name in names:
            for key, (value, line) in self.file.sections.get(name.lower(), {}).items():
                if key not in _READ:
                    yield f"{shown(key)} of {name} = {shown(value)} (line {line})"

    def _dummy(self, entry: _EdsEntry, start: int, refusals: Refusals) -> Part | None:
        used = self.file.get("dummyusage", f"dummy{entry.index:04x}")
        if used is None or number(used[0]) != 1:
            refusals.add(
                "not-found",
                entry.line,
                f"a dummy entry must be allowed by Dummy{entry.index:04X}=1 in [DummyUsage]",
                element=entry.where,
            )
            return None
        return self._placed(entry, start, entry.index, None, refusals)

    def _placed(
        self, entry: _EdsEntry, start: int, kind: int, name: str | None, refusals: Refusals
    ) -> Part | None:
        if kind not in _TYPES:
            refusals.add(
                "unknown-type",
                entry.line,
                f"a data type must have a fixed width, not be 0x{kind:04X}",
                element=entry.where,
            )
            return None
        width, type_ = _TYPES[kind]
        if width != entry.width:
            refusals.add(
                "type-length",
                entry.line,
                f"the width must be the {width} bits of the data type, not {entry.width}",
                element=entry.where,
            )
        elif entry.width % 8:
            refusals.add(
                "ambiguous-bits",
                entry.line,
                f"an entry must fill whole octets, not {entry.width} bits",
                "the order of single bits rests on no source: not offered",
                entry.where,
            )
        return Part(
            start=start,
            width=entry.width,
            name=name,
            type=type_ if name is not None else "",
            line=entry.line,
            element=entry.where,
            group=entry.where,
        )


def _is_pair(
    plain: _EdsEntry, copy: _EdsEntry, pairs: Iterable[tuple[_EdsEntry, _EdsEntry]]
) -> bool:
    """Tell whether an entry may be the inverted copy of another one, and of no third."""
    if plain.index <= 0x0007 or copy.index <= 0x0007:
        return plain.index == copy.index
    return all(
        one.object != copy.object and (two.object != copy.object or one.object == plain.object)
        for one, two in pairs
    )


@dataclass(frozen=True, slots=True)
class _EdsEntry:
    """One entry of a mapping object, ``key`` the key that its value stands in."""

    number: int
    index: int
    subindex: int
    width: int
    line: int
    key: str
    where: str

    @property
    def object(self) -> tuple[int, int]:
        """Index and subindex of the object that is mapped."""
        return self.index, self.subindex
