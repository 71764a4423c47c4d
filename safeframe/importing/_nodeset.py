"""OPC UA NodeSet2: a structure whose members are the safety data of OPC UA Safety.

Fields stand in the order of their elements, those of the base structure first; a Boolean fills an
octet. Sources: OPC 10000-6 UANodeSet.xsd, OPC 10000-15 6.2.5, OPC 10000-3 5.8.3 and 8.51.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from .. import protocols
from ._candidates import Candidate
from ._decisions import Decisions
from ._numbers import integer, number
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown, twice
from ._source import DeviceFile
from ._xml import Element, by_id, parse, unread

_KEEP = frozenset(
    (
        *("UANodeSet", "Aliases", "Alias", "UADataType", "References", "Reference"),
        *("Definition", "Field"),
    )
)
_OPTIONAL = (
    *("IsForward", "IsAbstract", "IsUnion", "IsOptionSet", "IsOptional", "AllowSubTypes"),
    *("ValueRank", "ArrayDimensions", "Value"),
)
_READ: Mapping[str, Collection[str]] = {
    "UADataType": (
        *("NodeId", "BrowseName", "IsAbstract", "References", "Definition", "SymbolicName"),
        *("DisplayName", "Description", "Category", "Documentation", "ReleaseStatus", "Purpose"),
        *("WriteMask", "UserWriteMask", "AccessRestrictions", "RolePermissions"),
    ),
    "Definition": ("Name", "IsUnion", "IsOptionSet", "Field"),
    "Field": (
        *("Name", "DataType", "ValueRank", "ArrayDimensions", "IsOptional", "AllowSubTypes"),
        *("Value", "DisplayName", "Description"),
    ),
}
"""What is read of what is placed, is for a person, or says only who may change it."""
_PROFILE = "opcua-safety"
_MOST_OCTETS = 1500
"""Largest safety data: OPC 10000-15 6.2.5."""
_MOST_DEPTH = 16
_STRUCTURE, _ENUMERATION, _NO_TYPE = "i=22", "i=29", "i=24"
_BUILT_IN: Mapping[str, tuple[str, int, str]] = {
    "i=1": ("Boolean", 8, "bool"),
    "i=2": ("SByte", 8, "int"),
    "i=3": ("Byte", 8, ""),
    "i=4": ("Int16", 16, "int"),
    "i=5": ("UInt16", 16, ""),
    "i=6": ("Int32", 32, "int"),
    "i=7": ("UInt32", 32, ""),
    "i=8": ("Int64", 64, "int"),
    "i=9": ("UInt64", 64, ""),
    "i=10": ("Float", 32, "float"),
    "i=11": ("Double", 64, "float"),
}
_REFUSED = (
    ("IsOptional", "optional-field", "a field must always be there, not be optional"),
    ("AllowSubTypes", "subtypes", "a field must have one type, not allow subtypes"),
)


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every structure that the file defines."""
    root = parse(
        source,
        ("UANodeSet",),
        refusals,
        keep=_KEEP,
        encoding=decisions.encoding,
        optional=_OPTIONAL,
    )
    nodes = _Nodes(root, refusals)
    return [
        Candidate(
            path=_plain(element.get("BrowseName")),
            line=element.line,
            look=_Structure(element, nodes).look,
            place=_Structure(element, nodes).place,
        )
        for node, element in nodes.types.items()
        if nodes.is_structure(node)
    ]


def _plain(browse_name: str | None) -> str:
    """Return a browse name without its namespace number."""
    return (browse_name or "-").rpartition(":")[2]


class _Nodes:
    """The data types of a file by node id, with its aliases."""

    def __init__(self, root: Element, refusals: Refusals) -> None:
        self.refusals = refusals
        self.aliases: dict[str, str] = {}
        lines: dict[str, int] = {}
        for alias in root.along("Aliases", "Alias"):
            name = alias.get("Alias") or ""
            if self.aliases.setdefault(name, alias.text) != alias.text:
                twice(refusals, "an alias", name, (lines[name], alias.line))
            lines.setdefault(name, alias.line)
            known = next((node for node, row in _BUILT_IN.items() if row[0] == name), alias.text)
            if alias.text != known:
                text = f"the alias {name} must be the built-in type {known}, not {alias.text}"
                refusals.add("bad-value", alias.line, text)
        self.types = by_id(root.all("UADataType"), "NodeId", "a node id", refusals)
        self.roots: dict[str, str] = {}
        self.subtypes: dict[str, list[str]] = {}  # What is said at the base: its subtypes.
        for node, element in self.types.items():
            for reference in element.along("References", "Reference"):
                kind = self.resolved(reference.get("ReferenceType"))
                if kind in ("HasSubtype", "i=45") and self.forward(reference):
                    self.subtypes.setdefault(self.resolved(reference.text), []).append(node)
        for element in root.all("UADataType"):
            bases = list(dict.fromkeys(self.bases(element)))
            if element.get("NodeId") in _BUILT_IN and _BUILT_IN.keys() & set(bases):
                text = f"a built-in type must not be derived from another one: {bases[0]}"
                refusals.add("bad-value", element.line, text, element=element.get("NodeId") or "")
            if len(bases) > 1:
                refusals.add(
                    "duplicate-element",
                    element.line,
                    f"a type must have one base type, not {shown(' and '.join(bases))}",
                    "remove one of the references from the file",
                    _plain(element.get("BrowseName")),
                )

    def resolved(self, name: str | None) -> str:
        """Return the node id that an alias or a node id names."""
        text = (name or _NO_TYPE).strip()
        return self.aliases.get(text, text)

    def base(self, element: Element) -> str:
        """Return the node id of the base type, empty where the file states none."""
        return next(self.bases(element), "")

    def bases(self, element: Element) -> Iterator[str]:
        """Yield the node ids of all base types that the file states."""
        for reference in element.along("References", "Reference"):
            kind = self.resolved(reference.get("ReferenceType"))
            if kind in ("HasSubtype", "i=45") and not self.forward(reference):
                yield self.resolved(reference.text)
        yield from self.subtypes.get(element.get("NodeId") or "", ())

    def forward(self, reference: Element) -> bool:
        """Tell whether a reference leads from its node to the other one, as it does by itself."""
        return reference.get("IsForward") is None or reference.true("IsForward", self.refusals)

    def root_of(self, node: str) -> str:
        """Return the type from which a type of the file descends; itself in a circle."""
        seen: dict[str, None] = {}
        ends = (seen, self.roots, _BUILT_IN)
        while node in self.types and not any(node in end for end in ends):
            seen[node] = None
            node = self.base(self.types[node])
        found = self.roots.get(node, node)
        self.roots.update(dict.fromkeys(seen, found))  # Long chains are walked once.
        return found

    def is_structure(self, node: str) -> bool:
        """Tell whether a type has fields and descends from no simple type."""
        definition = self.types[node].first("Definition")
        root = self.root_of(node)
        return (
            definition is not None
            and not definition.true("IsOptionSet", self.refusals)
            and root not in _BUILT_IN
            and root != _ENUMERATION
        )


@dataclass(frozen=True)
class _Structure:
    """One structure of the file."""

    element: Element
    nodes: _Nodes

    def look(self) -> tuple[str, int | None, str]:
        """Return what a listing says."""
        definition = self.element.first("Definition")
        count = len(definition.children) if definition is not None else 0
        return "", None, f"{count} field{'s'[: count != 1]} of its own"

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layout of the members, or keep the problems."""
        walk = _NodeWalk(self.nodes, refusals)
        node = self.element.get("NodeId") or ""
        walk.whole(node, "", (node,), self.element.line)
        name = _plain(self.element.get("BrowseName"))
        if not walk.parts and not len(refusals):
            text = "a structure must have members, not none"
            refusals.add("unnamed", self.element.line, text, element=name)
        notes = [*walk.notes, *unread(walk.seen, _READ)]
        if not len(refusals):
            signature = _signature(name, walk.members)
            notes.append(
                f"structure signature of {name} with {len(walk.members)} members: {signature}; "
                "it must be the same at both ends"
            )
        return [
            (
                "",
                PlacedTypes(
                    path=name,
                    line=self.element.line,
                    title=name,
                    total_bits=walk.position,
                    parts=tuple(walk.parts),
                    profile=_PROFILE,
                    lost=tuple(walk.lost),
                    notes=tuple(notes),
                ),
            )
        ]


def _signature(identifier: str, members: list[str]) -> str:
    """Return the number that both ends can compare."""
    made = {one.name: one.make for one in protocols.room(_PROFILE).derivations}
    given = {"identifier": identifier, "members": ", ".join(members)}
    return made["structure-signature"](given)["structure_signature"]


class _NodeWalk:
    """Places fields one behind the other."""

    def __init__(self, nodes: _Nodes, refusals: Refusals) -> None:
        self.nodes, self.refusals = nodes, refusals
        self.parts: list[Part] = []
        self.members: list[str] = []
        self.lost: list[str] = []
        self.notes: list[str] = []
        self.seen: list[Element] = []
        self.position = 0

    def whole(self, node: str, prefix: str, inside: tuple[str, ...], line: int) -> None:
        """Place a structure that is no base: values never have an abstract type."""
        element = self.nodes.types[node]
        if element.true("IsAbstract", self.refusals):
            self.refusals.add(
                "subtypes",
                line,
                "a structure must have values of its own, not be abstract",
                "places would depend on the value: not offered",
                _plain(element.get("BrowseName")),
            )
        self.structure(node, prefix, inside, line)

    def structure(self, node: str, prefix: str, inside: tuple[str, ...], line: int) -> None:
        """Place the fields of the base structure, then those of its own."""
        element = self.nodes.types[node]
        if len(inside) > _MOST_DEPTH:
            message = f"structures must be nested at most {_MOST_DEPTH} deep, not deeper"
            self.refusals.stop("too-deep", line, message)
        base = self.nodes.base(element)
        if base in inside:
            self.recursive(element)
        elif base in self.nodes.types:
            self.structure(base, prefix, (*inside, base), line)
        elif base != _STRUCTURE:
            self.refusals.add(
                "dangling-reference",
                element.line,
                f"the base type must be in the file or {_STRUCTURE}, not {shown(base or 'none')}",
                "export the base type into the same file",
                _plain(element.get("BrowseName")),
            )
        where = _plain(element.get("BrowseName"))
        definition = element.only(self.refusals, "Definition", where=where)
        if definition is None:
            self.undefined(element)
            return
        if definition.true("IsUnion", self.refusals):
            self.refusals.add(
                "union",
                definition.line,
                "a structure must hold all its fields, not be a union",
                "places would depend on the value: not offered",
            )
            return
        self.seen += (element, definition, *definition.all("Field"))
        for field in definition.all("Field"):
            self.field(field, prefix, inside, element)

    def undefined(self, element: Element) -> None:
        """Take an abstract base that states no fields as one that has none; refuse any other."""
        name = shown(_plain(element.get("BrowseName")))
        if element.true("IsAbstract", self.refusals):
            self.notes.append(f"{name} is abstract and states no fields: taken as having none")
            return
        self.refusals.add(
            "dangling-reference",
            element.line,
            f"a base type must have its definition in the file, not none: {name}",
            "export its fields into the same file",
            name,
        )

    def recursive(self, element: Element) -> None:
        """Refuse a structure inside itself."""
        self.refusals.stop(
            "recursive-type",
            element.line,
            "a structure must not hold or extend itself",
            element=_plain(element.get("BrowseName")),
        )

    def field(self, field: Element, prefix: str, inside: tuple[str, ...], owner: Element) -> None:
        """Place one field."""
        name = f"{prefix}{field.get('Name') or ''}"
        for attribute, rule, text in _REFUSED:
            if field.true(attribute, self.refusals):
                remedy = "places would depend on the value: not offered"
                self.refusals.add(rule, field.line, text, remedy, name)
        if number(field.get("ValueRank") or "-1") != -1 or field.get("ArrayDimensions"):
            self.refusals.add(
                "array",
                field.line,
                "a field must be a scalar, not an array",
                "safety data hold no arrays (OPC 10000-15 6.2.5)",
                name,
            )
        node = self.nodes.resolved(field.get("DataType"))
        if node in inside:
            self.recursive(owner)
        if node in self.nodes.types and self.nodes.is_structure(node):
            note = (
                "nested structures are written member by member (from memory: how the signature "
                "treats them was not found)"
            )
            if note not in self.notes:
                self.notes.append(note)
            self.whole(node, f"{name}.", (*inside, node), field.line)
            return
        root = self.nodes.root_of(node)
        enumeration = root == _ENUMERATION
        root = "i=6" if enumeration else root
        if root not in _BUILT_IN:
            self.refusals.add(
                "unknown-type",
                field.line,
                f"a field must have a simple type of fixed width, not "
                f"{shown(field.get('DataType') or 'no DataType')}",
                element=name,
            )
            return
        built_in = _BUILT_IN[root]
        self.names(node, name, enumeration, built_in)
        self.value(name, field, *built_in)

    def names(
        self, node: str, name: str, enumeration: bool, built_in: tuple[str, int, str]
    ) -> None:
        """Keep the names of values, or of the bits of an option set: the map holds none of them."""
        definition = (
            self.nodes.types[node].only(self.refusals, "Definition", where=name)
            if node in self.nodes.types
            else None
        )
        if definition is None:
            return
        if not definition.true("IsOptionSet", self.refusals) and not enumeration:
            return
        one, most = ("value of an enumeration", 2**31 - 1)
        if not enumeration:
            one, most = ("bit of an option set", built_in[1] - 1)
            if built_in[2]:
                message = f"an option set must be of an unsigned type, not {built_in[0]}"
                self.refusals.add("unknown-type", definition.line, message, element=name)
        found: dict[int, str] = {}
        for field in definition.all("Field"):
            text, at = field.get("Value"), (field.line, self.refusals, name)
            place = integer(text, f"the {one}", *at, most=most)
            if place in found:
                self.refusals.add(
                    "overlap",
                    field.line,
                    f"a {one} must have one name, not also {shown(found[place])}",
                    element=name,
                )
            if place is not None:
                found[place] = field.get("Name") or "no name"
        told = ", ".join(f"{place} {text}" for place, text in found.items())
        what = "values" if enumeration else "bits"
        self.lost.append(f"names of the {what} of {shown(name)}: {shown(told)}")

    def value(self, name: str, field: Element, member: str, width: int, kind: str) -> None:
        """Place a value; a Boolean is bit 0 of an octet of its own."""
        if self.position + width > 8 * _MOST_OCTETS:
            message = f"the structure must have at most {_MOST_OCTETS} octets, not more"
            self.refusals.stop("too-big", field.line, message, element=name)
        bits = 1 if kind == "bool" else width
        part = Part(
            start=self.position,
            width=bits,
            name=name,
            type=kind,
            line=field.line,
            element=name,
            group="field",
        )
        self.parts.append(part)
        if bits < width:
            rest = Part(start=self.position + 1, width=width - 1, line=field.line, element=name)
            self.parts.append(rest)
        self.members.append(member)
        self.position += width
