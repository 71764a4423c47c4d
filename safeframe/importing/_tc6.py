"""TC6 XML 2.01: the structures of the data types of a project."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from ._candidates import Candidate
from ._decisions import Decisions
from ._numbers import number
from ._refusals import Refusals, shown
from ._source import DeviceFile
from ._st import found_structs
from ._types import ArrayOf, Elementary, Member, Named, Ranged, Spec, Struct
from ._xml import Element, parse, unread

_DROPPED = frozenset(("addData", "documentation", "pous", "instances", "initialValue"))
_READ = ("dataTypes", "dataType", "baseType", "type", "array", "dimension", "derived")
_KNOWN: Mapping[str, Collection[str]] = {
    "dataType": ("name", "baseType", *_DROPPED),
    "variable": ("name", "address", "type", *_DROPPED),
    "dimension": ("lower", "upper"),
    "derived": ("name", *_DROPPED),
    "array": ("dimension", "baseType"),
    "struct": ("variable", *_DROPPED),
    **dict.fromkeys(("subrangeSigned", "subrangeUnsigned"), ("range", "baseType")),
}
"""What is read of the elements from which places and widths come, or is told or for a person."""
_FAR = ("project", "fileHeader", "contentHeader", "types")
"""Elements above the data types: what tools add there is of no type."""
_FEW = 8
"""Lines that are shown of many; by choice."""
_MOST_DEPTH = 16


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every structure among the data types of the project."""
    root = parse(
        source,
        ("project", "Project"),
        refusals,
        skip=_DROPPED,
        encoding=decisions.encoding,
        known=_READ,
        optional=("address",),
    )
    if root.tag == "Project":
        refusals.stop(
            "not-offered",
            root.line,
            "the file must be TC6 XML, not IEC 61131-10",
            "export it as TC6 XML 2.01; its element names were not at hand",
        )
    lines = sorted(
        line
        for holder in (root, *root.walk())
        for tag, (line, _) in holder.passed.items()
        if tag.rpartition(":")[2] == "addData" and holder.tag not in _FAR
    )
    added = ", ".join(map(str, lines[:_FEW])) + " ..." * (len(lines) > _FEW)
    note = f"what a tool added is passed over, also what changes the layout: line {added}"
    notes: tuple[str, ...] = (note,) if lines else ()
    types: dict[str, tuple[str, Spec, int]] = {}
    for data_types in root.walk("dataTypes"):
        for kind in data_types.all("dataType"):
            name = kind.get("name") or ""
            inner = kind.only(refusals, "baseType", where=name)
            spec = _spec(inner, kind.line, refusals, 1) if inner is not None else None
            key = name.lower()
            if not name or spec is None:
                refusals.add(
                    "missing-length", kind.line, "a data type must have a name and a base type"
                )
            elif key in types:
                refusals.add(
                    "duplicate-name",
                    kind.line,
                    f"a type must be declared once, not again after line {types[key][2]}: "
                    f"{shown(name)}",
                    "remove one of them from the file",
                )
            else:
                types[key] = (name, spec, kind.line)
    groups = list(root.walk("dataTypes"))
    holders = (one for group in groups for one in group.walk("type", "baseType"))
    kinds = (kind for holder in holders for kind in holder.children)
    others = (one for group in groups for one in group.walk("dataType", "variable", "dimension"))
    notes += unread((*others, *kinds), _KNOWN)
    return found_structs(types, notes)


def _spec(holder: Element, line: int, refusals: Refusals, depth: int) -> Spec | None:
    """Return the type that the only child of ``type`` or ``baseType`` names."""
    if depth > _MOST_DEPTH:
        refusals.stop("too-deep", line, f"types must be nested at most {_MOST_DEPTH} deep")
    kind = holder.only(refusals)
    if kind is None:
        return None
    match kind.tag:
        case "struct":
            other = next((child for child in kind.children if child.tag != "variable"), None)
            if other is not None:
                text = f"a structure must hold variables only, not {shown(other.tag)}"
                refusals.add("wrong-name", other.line, text)
            return Struct(
                tuple(_member(variable, refusals, depth) for variable in kind.all("variable")), line
            )
        case "array":
            return _array(kind, line, refusals, depth)
        case "derived":
            return Named(kind.get("name") or "")
        case "subrangeSigned" | "subrangeUnsigned":
            inner = kind.only(refusals, "baseType")
            spec = _spec(inner, line, refusals, depth + 1) if inner is not None else None
            return None if spec is None else Ranged(spec)
        case "enum":
            return Elementary("an enumeration")
        case tag:
            return Elementary(tag)


def _member(variable: Element, refusals: Refusals, depth: int) -> Member:
    kind = variable.only(refusals, "type", where=variable.get("name") or "")
    spec = None if kind is None else _spec(kind, variable.line, refusals, depth + 1)
    name, located = (variable.get("name") or "").strip(), variable.get("address") is not None
    if not name:
        refusals.add("unnamed", variable.line, "a member must have a name, not none")
    return Member(name, spec, variable.line, located)


def _array(kind: Element, line: int, refusals: Refusals, depth: int) -> Spec | None:
    dimensions = list(kind.all("dimension"))
    inner = kind.only(refusals, "baseType")
    if len(dimensions) != 1 or inner is None:
        refusals.stop(
            "array",
            kind.line,
            f"an array must have one dimension and a base type, not {len(dimensions)} dimensions",
            "the order of their elements in memory is the implementer's: not offered",
        )
    low, high = (number(dimensions[0].get(name)) for name in ("lower", "upper"))
    if low is None or high is None:
        refusals.stop("bad-number", kind.line, "the bounds of an array must be numbers")
    element = _spec(inner, line, refusals, depth + 1)
    return None if element is None else ArrayOf(low, high, element)
