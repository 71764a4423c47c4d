"""EDS of CIP-type devices: an assembly of application data, without the fields of the protocol.

Sources: a public sample file of an open stack, the test suite of a public reader, design notes of
two readers, public manuals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from ._candidates import Candidate
from ._decisions import Decisions
from ._encoding import text_of
from ._numbers import integer, number, width_of
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown
from ._source import DeviceFile

_MOST_FIELDS = 20_000
"""Fields of one entry: an assembly has two for each member; by choice."""
_HEAD = 6
"""Fields of an assembly before its members."""
_TYPES: Mapping[int, tuple[int, str]] = {
    0xC1: (1, "bool"),
    **{0xC2 + step: (8 << step, "int") for step in range(4)},
    **{0xC6 + step: (8 << step, "") for step in range(4)},
    0xCA: (32, "float"),
    0xCB: (64, "float"),
    **{0xD1 + step: (8 << step, "") for step in range(4)},
}
_BOOL = 0xC1


class _Field(NamedTuple):
    """One field of an entry: its text without quotes, the line of its first character."""

    text: str
    line: int
    quoted: bool


class _CipEntry(NamedTuple):
    """One entry: keyword as written, line, fields."""

    keyword: str
    line: int
    fields: tuple[_Field, ...]

    def text(self, place: int) -> str:
        """Return a field, empty where there is none."""
        return self.fields[place].text if place < len(self.fields) else ""


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every assembly of the file."""
    text = text_of(source.octets, decisions.encoding, refusals)
    sections = _Scanner(text, refusals).sections()
    refusals.refuse()
    parameters = sections.get("params", {})
    return [
        Candidate(
            path=entry.keyword,
            line=entry.line,
            look=_CipAssembly(entry, parameters).look,
            place=_CipAssembly(entry, parameters).place,
        )
        for key, entry in sections.get("assembly", {}).items()
        if key.startswith("assem")
    ]


class _Scanner:
    """Reads sections and entries out of a text."""

    def __init__(self, text: str, refusals: Refusals) -> None:
        self.text, self.refusals = text, refusals
        self.position, self.line = 0, 1

    def sections(self) -> dict[str, dict[str, _CipEntry]]:
        """Return the entries of every section, names in small letters."""
        found: dict[str, dict[str, _CipEntry]] = {}
        section: dict[str, _CipEntry] | None = None
        while self.blank():
            if self.text[self.position] == "[":
                section = found.setdefault(self.head(), {})
                continue
            entry = self.entry()
            if section is None:
                text = "an entry must stand in a section, not before the first"
                self.refusals.stop("bad-line", entry.line, text)
            key = entry.keyword.lower()
            if key in section:
                self.refusals.add(
                    "duplicate-key",
                    entry.line,
                    f"an entry must stand once in its section, not again after line "
                    f"{section[key].line}: {shown(entry.keyword)}",
                )
            section.setdefault(key, entry)
        return found

    def blank(self) -> bool:
        """Pass over blanks and comments; return whether anything follows."""
        text = self.text
        while self.position < len(text):
            character = text[self.position]
            if character == "$":
                end = text.find("\n", self.position)
                self.position = len(text) if end < 0 else end
            elif character.isspace():
                self.line += character == "\n"
                self.position += 1
            else:
                return True
        return False

    def head(self) -> str:
        """Return the name of a section."""
        end = self.text.find("]", self.position)
        name = self.text[self.position + 1 : end]
        if end < 0 or "\n" in name:
            self.refusals.stop("bad-line", self.line, "the name of a section must end with ]")
        self.position = end + 1
        return " ".join(name.split()).lower()

    def entry(self) -> _CipEntry:
        """Return one entry up to its semicolon."""
        line = self.line
        end = self.text.find("=", self.position)
        keyword = self.text[self.position : end].strip() if end >= 0 else ""
        if not keyword.replace("_", "").isalnum():
            text = f"an entry must be keyword = fields; not {shown(keyword)}"
            self.refusals.stop("bad-line", line, text)
        self.position = end + 1
        return _CipEntry(keyword, line, tuple(self.fields(keyword, line)))

    def fields(self, keyword: str, line: int) -> Iterator[_Field]:
        """Yield the fields of an entry."""
        parts: list[str] = []
        quoted, start, count = False, 0, 0
        while self.blank():
            character = self.text[self.position]
            if character == '"':
                start = start or self.line
                if parts and not quoted:
                    text = "a field must be one value, not also a string: a comma is missing"
                    self.refusals.stop("bad-line", self.line, text, element=keyword)
                parts.append(self.string())
                quoted = True
                continue
            if character in ",;":
                count += 1
                if count > _MOST_FIELDS:
                    message = f"an entry must have at most {_MOST_FIELDS} fields, not more"
                    self.refusals.stop("too-big", self.line, message, element=keyword)
                yield _Field("".join(parts).strip(), start or self.line, quoted)
                parts, quoted, start = [], False, 0
                self.position += 1
                if character == ";":
                    return
                continue
            if character in "[=":
                break  # The semicolon is missing and the next entry or section has begun.
            start = start or self.line
            if parts:  # Only strings go on in the next one; joined words would name another thing.
                text = (
                    f"a field must be one value, not also {shown(self.word())}: a comma is missing"
                )
                self.refusals.stop("bad-line", self.line, text, element=keyword)
            parts.append(self.word())
        self.refusals.stop("bad-line", line, "an entry must end with a semicolon", element=keyword)

    def word(self) -> str:
        """Return characters up to the next sign."""
        begin = self.position
        while self.position < len(self.text) and self.text[self.position] not in ',;"$\n[=':
            self.position += 1
        return self.text[begin : self.position]

    def string(self) -> str:
        """Return the inside of quotes; a backslash keeps the next character."""
        begin = self.position + 1
        end = begin
        while end < len(self.text) and self.text[end] not in '"\n':
            end += 2 if self.text[end] == "\\" else 1
        if end >= len(self.text) or self.text[end] != '"':
            self.refusals.stop("bad-line", self.line, "a string must end on its line")
        self.position = end + 1
        return self.text[begin:end].replace('\\"', '"')


@dataclass(frozen=True)
class _CipAssembly:
    """One assembly with the parameters that its members refer to."""

    entry: _CipEntry
    parameters: Mapping[str, _CipEntry]

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        octets = number(self.entry.text(2))
        members = max(0, len(self.entry.fields) - _HEAD) // 2
        bits = None if octets is None else 8 * octets
        return self.entry.text(0), bits, f"{members} members"

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layout of the members, or keep the problems."""
        parts = []
        position = 0
        if self.entry.text(4) or self.entry.text(5):
            refusals.add(
                "bad-line",
                self.entry.line,
                f"the two fields before the members must be empty, not "
                f"{shown(self.entry.text(4) or self.entry.text(5))}",
                element=self.entry.keyword,
            )
        for part in self._members(position, refusals):
            parts.append(part)
            position = part.end
        name, descriptor = self.entry.keyword, self.entry.text(3)
        octets = integer(self.entry.text(2) or "0", "the size", self.entry.line, refusals, name)
        stated = bool(self.entry.text(2)) and not len(refusals)
        if stated and octets is not None and 8 * octets != position:
            refusals.add(
                "size-differs",
                self.entry.line,
                f"the assembly must have the {position} bits of its members, not {octets} octets",
                element=name,
            )
        strange = [f"descriptor {shown(descriptor)}"] if number(descriptor) else []
        named = dict.fromkeys(field.text.lower() for field in self.entry.fields[_HEAD + 1 :: 2])
        strange += [
            f"descriptor {shown(one.text(3))} of {one.keyword} (line {one.line})"
            for one in map(self.parameters.get, named)
            if one is not None and number(one.text(3))
        ]
        layout = PlacedTypes(
            path=name,
            line=self.entry.line,
            title=self.entry.text(0),
            total_bits=position,
            parts=tuple(parts),
            lost=("units, limits, factors and texts of values of the parameters",),
            notes=(f"not read: {', '.join(strange)}",) if strange else (),
        )
        return [] if len(refusals) else [("", layout)]

    def _members(self, position: int, refusals: Refusals) -> Iterator[Part]:
        """Yield the members one behind the other."""
        fields = self.entry.fields[_HEAD:]
        if len(fields) % 2:
            fields = (*fields, _Field("", self.entry.line, False))
        pairs = list(zip(fields[::2], fields[1::2], strict=True))
        for place, (size, reference) in enumerate(pairs):
            if not size.text and not reference.text:
                if place < len(pairs) - 1:
                    refusals.add(
                        "missing-length",
                        size.line,
                        "a member must have a size or a reference, not neither",
                        element=self.entry.keyword,
                    )
                continue
            part = self._member(size, reference, position, refusals)
            if part is not None:
                position = part.end
                yield part

    def _member(
        self, size: _Field, reference: _Field, start: int, refusals: Refusals
    ) -> Part | None:
        """Return one member: data with a reference, padding without."""
        name = self.entry.keyword
        where = f"{name} member at bit {start}"
        line = size.line if size.text else reference.line
        if not reference.text:
            width = width_of(size.text, "the size", line, refusals, where)
            return (
                None if width is None else Part(start=start, width=width, line=line, element=where)
            )
        key = reference.text.lower()
        if key.startswith("assem"):
            refusals.add(
                "nested-assembly",
                reference.line,
                f"a member must be a parameter, not an assembly: {shown(reference.text)}",
                "nested assemblies are not offered",
                where,
            )
            return None
        parameter = self.parameters.get(key)
        if parameter is None or not key.startswith("param"):
            refusals.add(
                "dangling-reference",
                reference.line,
                f"a member must refer to a parameter of the file, not to {shown(reference.text)}",
                "ask for a whole file",
                where,
            )
            return None
        code = number(parameter.text(4))
        if code is None or code not in _TYPES:
            refusals.add(
                "unknown-type",
                reference.line,
                f"the type of {shown(parameter.keyword)} must have a fixed width, not be "
                f"{shown(parameter.text(4) or 'left out')}",
                element=where,
            )
            return None
        width, kind = _TYPES[code]
        if not size.text and code == _BOOL:
            refusals.add(
                "missing-length",
                reference.line,
                "the size of a BOOL must be stated: its parameter says octets",
                element=where,
            )
            return None
        octets = parameter.text(5)
        if octets and number(octets) != max(1, width // 8):
            refusals.add(
                "type-length",
                parameter.line,
                f"the data size of its type must be {max(1, width // 8)}, not {shown(octets)}",
                element=parameter.keyword,
            )
        stated: int | None = width
        if size.text:
            stated = width_of(size.text, "the size", line, refusals, where)
        if stated is None:
            return None
        if stated != width:
            refusals.add(
                "type-length",
                line,
                f"the size must be the {width} bits of the type of {shown(parameter.keyword)}, "
                f"not {stated}",
                element=where,
            )
        return Part(
            start=start,
            width=stated,
            name=parameter.text(6),
            type=kind,
            line=line,
            element=where,
            group=name,
        )
