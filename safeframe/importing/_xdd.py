"""XDD of an FSCP 13/1 device: the safety data inside the container that a parameter group lists.

The container of n data octets has 2 n + 11 octets (n up to 8) or 2 n + 13; data begin at bit 32.
Source: one public device description of a demonstration device; the start at octet 4 is computed
from built frames. An OSDD file, which the XDD names, is not read: how its elements nest was not
found.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from ._candidates import Candidate
from ._decisions import Decisions
from ._numbers import integer
from ._placing import Dropped, Part, PlacedTypes
from ._refusals import Refusals, shown, twice
from ._source import DeviceFile
from ._texts import in_language
from ._xml import Element, by_id, parse, unread

_SIDES = {"txspdo": "sends", "rxspdo": "receives"}
_TYPES: Mapping[str, tuple[int, str]] = {
    **dict.fromkeys(("USINT", "BYTE"), (8, "")),
    **dict.fromkeys(("UINT", "WORD"), (16, "")),
    **dict.fromkeys(("UDINT", "DWORD"), (32, "")),
    **dict.fromkeys(("ULINT", "LWORD"), (64, "")),
    **{name: (width, "int") for name, width in (("SINT", 8), ("INT", 16), ("DINT", 32))},
    "LINT": (64, "int"),
    "REAL": (32, "float"),
    "LREAL": (64, "float"),
}
_OF_NO_WIDTH = ("BOOL", "BITSTRING", "CHAR", "STRING", "WSTRING", "dataTypeIDRef", "variableRef")
"""Other types of a parameter, from memory: beside one of those above they contradict it."""
_LOST = ("unit", "allowedValues", "defaultValue")
_READ: Mapping[str, Collection[str]] = {
    "parameterGroup": ("uniqueID", "label", "description", "parameterRef"),
    "parameterRef": ("uniqueIDRef", "bitOffset"),
    "parameter": ("uniqueID", "access", "label", "description", *_TYPES, *_LOST),
    **dict.fromkeys(_TYPES, ()),
}
"""What is read of what is placed, is for a person, or is told as lost."""
_HEADER_BITS = 32
_MOST_BITS = 8 * (2 * 254 + 13)


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return the groups that list a container."""
    root = parse(
        source,
        ("ISO15745ProfileContainer",),
        refusals,
        most={"parameterGroup": _MOST_BITS},
        known=("parameterList", "parameter", "parameterGroup", "parameterRef", "label", *_TYPES),
        encoding=decisions.encoding,
    )
    listed = (one for group in root.walk("parameterList") for one in group.all("parameter"))
    parameters = by_id(listed, "uniqueID", "a parameter", refusals)
    found = []
    for group in root.walk("parameterGroup"):
        titles = [text for text in _labels(group, refusals).values() if text.lower() in _SIDES]
        sides = sorted({_SIDES[title.lower()] for title in titles})
        if len(sides) > 1:
            text = f"a group must be one of {' and '.join(titles)}, not both"
            refusals.add("duplicate-name", group.line, text, "remove one of them from the file")
        for side in sides[:1]:
            one = _XddGroup(group, side, titles[0], parameters)
            found.append(
                Candidate(path=one.path, line=group.line, side=side, look=one.look, place=one.place)
            )
    return found


def _labels(element: Element, refusals: Refusals) -> dict[str, str]:
    """Return the labels by their languages."""
    labels: dict[str, str] = {}
    for label in element.all("label"):
        if labels.setdefault((label.get("lang") or "").lower(), label.text) != label.text:
            twice(refusals, "a label of one language", label.text, (element.line, label.line))
    return labels


def _label(element: Element, language: str, refusals: Refusals) -> str:
    """Return the label in the language asked for, else in English, else the only one."""
    labels = _labels(element, refusals)
    return in_language(labels, language.lower(), "en", element.line, refusals)


@dataclass(frozen=True, slots=True)
class _Reference:
    """One parameter at its bit of the container."""

    name: str
    start: int
    width: int
    type: str
    line: int


def _data_octets(octets: int) -> int | None:
    """Return how many data octets a container holds, None for a size that none has."""
    short, rest = divmod(octets - 11, 2)
    if not rest and 1 <= short <= 8:
        return short
    long, rest = divmod(octets - 13, 2)
    return long if not rest and long > 8 else None


@dataclass(frozen=True)
class _XddGroup:
    """One parameter group that lists a container."""

    group: Element
    side: str
    title: str
    parameters: Mapping[str, Element]

    @property
    def path(self) -> str:
        """How the group is selected."""
        return f"group:{self.group.get('uniqueID') or '-'}"

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        quiet = Refusals("")
        found = self._references(Decisions(), quiet)
        bits = max((one.start + one.width for one in found), default=0)
        octets = None if bits % 8 else _data_octets(bits // 8)
        note = "no container of FSCP 13/1"
        if octets is not None:
            note = f"FSCP 13/1, {octets} data octet{'s'[: octets != 1]}"
        return self.title, bits, note

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layout of the safety data, or keep the problems."""
        found = self._references(decisions, refusals)
        if len(refusals):
            return []
        if not found:
            refusals.add(
                "unnamed",
                self.group.line,
                "a group must list parameters, not none",
                element=self.path,
            )
            return []
        last = max(found, key=lambda one: one.start + one.width)
        bits = last.start + last.width
        octets = _data_octets(bits // 8) if bits % 8 == 0 else None
        plain = decisions.container == "none"
        if (octets is None and not plain) or bits > _MOST_BITS:
            refusals.add(
                "no-container",
                last.line,
                f"the last parameter must end a container of 2 n + 11 or 2 n + 13 octets, not end "
                f"at bit {bits}",
                "--container none takes the parameters as plain data",
                self.path,
            )
            return []
        first, end = (0, bits) if plain else (_HEADER_BITS, _HEADER_BITS + 8 * (octets or 0))
        data = [one for one in found if first <= one.start and one.start + one.width <= end]
        for one in found:
            inside = first <= one.start and one.start + one.width <= end
            if not inside and one.start < end and one.start + one.width > first:
                refusals.add(
                    "overlap",
                    one.line,
                    f"{shown(one.name)} must be data or none, not lie across bit {first} or {end}",
                    element=self.path,
                )
        if not data:
            refusals.add(
                "unnamed",
                self.group.line,
                f"the {octets} data octets of the container must have names, not none",
                "the parameters are in another file: not offered",
                self.path,
            )
            return []
        rest = [one for one in found if one.start < first or one.start >= end]
        for one in rest:
            if one.start > first and one.start < bits - 8:
                refusals.add(
                    "no-container",
                    one.line,
                    f"behind the data, which end at bit {end}, only the last octet may be listed, "
                    f"not {shown(one.name)} at bit {one.start}: it may be data",
                    "--container none takes the parameters as plain data",
                    self.path,
                )
        dropped = (
            ()
            if plain
            else (
                Dropped(name="header", width=first, line=self.group.line, what="header"),
                Dropped(
                    name=", ".join(one.name for one in rest),
                    width=bits - end,
                    line=last.line,
                    what="CRCs and second subframe",
                ),
            )
        )
        layout = PlacedTypes(
            path=self.path,
            line=self.group.line,
            title=self.title,
            total_bits=bits,
            parts=tuple(self._part(one, first, decisions, refusals) for one in data),
            dropped=dropped,
            profile="" if plain else "fscp-13-1",
            lost=(
                "units, limits, factors and default values of the parameters",
                "access of the parameters, which is held against no direction",
            ),
            notes=(
                "octet order and bit numbers inside an octet rest on memory",
                *unread(self._placed(), _READ),
            ),
        )
        return [(self.side, layout)]

    def _references(self, decisions: Decisions, refusals: Refusals) -> list[_Reference]:
        """Return the parameters of the group, keeping the problems of each."""
        found = []
        for reference in self.group.all("parameterRef"):
            key = reference.get("uniqueIDRef") or ""
            if reference.get("bitOffset") is None:
                refusals.add(
                    "missing-offset", reference.line, "bitOffset must be stated", element=self.path
                )
                continue
            offset = integer(
                reference.get("bitOffset"), "bitOffset", reference.line, refusals, self.path
            )
            parameter = self.parameters.get(key)
            if parameter is None:
                refusals.add(
                    "dangling-reference",
                    reference.line,
                    f"a parameter must be in the file, not only its id {shown(key)}",
                    "ask for a whole file",
                    self.path,
                )
                continue
            where = f"parameter {key}"
            kind = parameter.only(refusals, *_TYPES, *_OF_NO_WIDTH, where=where)
            if kind is None or kind.tag not in _TYPES:
                refusals.add(
                    "missing-length",
                    parameter.line,
                    "a parameter must have a type of fixed width",
                    element=where,
                )
                continue
            if offset is not None:
                width, type_ = _TYPES[kind.tag]
                name = _label(parameter, decisions.language, refusals)
                found.append(_Reference(name, offset, width, type_, reference.line))
        return found

    def _placed(self) -> Iterator[Element]:
        """Yield the elements from which places and widths come."""
        yield self.group
        for reference in self.group.all("parameterRef"):
            parameter = self.parameters[reference.get("uniqueIDRef") or ""]
            yield from (reference, parameter, *parameter.all(*_TYPES))

    def _part(self, one: _Reference, first: int, decisions: Decisions, refusals: Refusals) -> Part:
        if one.start % 8:
            refusals.add(
                "ambiguous-bits",
                one.line,
                f"a value must begin on an octet, not at bit {one.start}",
                "bit numbers inside an octet rest on no source: not offered",
                self.path,
            )
        if one.width > 8 and not decisions.order:
            refusals.add(
                "ambiguous-order",
                one.line,
                f"the octet order of {shown(one.name)} must be stated ({one.width} bits)",
                "--order little or --order big",
                self.path,
            )
        big = one.width > 8 and decisions.order == "big" and not one.start % 8
        return Part(
            start=one.start - first,
            width=one.width,
            name=one.name,
            type=one.type,
            order="big" if big else "little",
            line=one.line,
            element=self.path,
            group=self.path,
        )
