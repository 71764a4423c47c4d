"""Structures of IEC 61131-3 laid out as the user says: declaration order is no memory layout.

The standard leaves size and alignment to the implementer, so the layout is an option. ``bits``:
BOOL and BIT take one bit, nothing is aligned. ``octet-bool``: BOOL takes an octet with its value in
bit 0, BIT takes one bit beside its neighbours, all else begins on an octet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ._decisions import Decisions
from ._numbers import MOST_BITS
from ._placing import Part, PlacedTypes
from ._refusals import Refusals, shown

_MOST_DEPTH = 16
"""Structures inside structures; by choice."""
_WIDTHS: Mapping[str, tuple[int, str]] = {
    "BOOL": (1, "bool"),
    "BIT": (1, "bool"),
    **dict.fromkeys(("USINT", "BYTE"), (8, "uint")),
    **dict.fromkeys(("UINT", "WORD"), (16, "uint")),
    **dict.fromkeys(("UDINT", "DWORD"), (32, "uint")),
    **dict.fromkeys(("ULINT", "LWORD"), (64, "uint")),
    **{name: (width, "int") for name, width in (("SINT", 8), ("INT", 16), ("DINT", 32))},
    "LINT": (64, "int"),
    "REAL": (32, "float"),
    "LREAL": (64, "float"),
}


@dataclass(frozen=True, slots=True)
class Elementary:
    """A type that the standard names, or one that nobody can place."""

    name: str


@dataclass(frozen=True, slots=True)
class Named:
    """A type that stands elsewhere in the file."""

    name: str


@dataclass(frozen=True, slots=True)
class ArrayOf:
    """Elements ``low`` to ``high`` of one type."""

    low: int
    high: int
    element: Spec


@dataclass(frozen=True, slots=True)
class Ranged:
    """Some of the values of a type: it is as wide as that."""

    spec: Spec


@dataclass(frozen=True, slots=True)
class Member:
    """One member of a structure; ``located`` where it has an address of its own."""

    name: str
    spec: Spec | None
    line: int
    located: bool = False


@dataclass(frozen=True, slots=True)
class Struct:
    """The members of a structure in the order of declaration."""

    members: tuple[Member, ...]
    line: int


Spec = Elementary | Named | ArrayOf | Ranged | Struct


def laid_out(
    name: str,
    struct: Struct,
    types: Mapping[str, Spec],
    decisions: Decisions,
    refusals: Refusals,
) -> PlacedTypes | None:
    """Return the layout of a structure, or keep the problems; ``types`` by small name."""
    if not decisions.layout:
        refusals.add(
            "layout-not-stated",
            struct.line,
            "the layout of the structure in memory must be stated: the standard leaves it to the "
            "implementer",
            "--layout bits or --layout octet-bool",
            name,
        )
        return None
    walk = _TypeWalk(name, types, decisions, refusals)
    walk.struct(struct, "", (name.lower(),))
    if decisions.layout == "octet-bool":
        walk.align(struct.line)
    if not walk.parts and not len(refusals):
        refusals.add(
            "unnamed", struct.line, "a structure must have members, not none", element=name
        )
    return PlacedTypes(
        path=name,
        line=struct.line,
        title=name,
        total_bits=walk.position,
        parts=tuple(walk.parts),
        fold_case=True,
        lost=(
            *("initial values, which are no values on loss",) * bool(walk.parts),
            *("ranges of values",) * walk.ranged,
        ),
    )


class _TypeWalk:
    """Places members one behind the other."""

    def __init__(
        self, owner: str, types: Mapping[str, Spec], decisions: Decisions, refusals: Refusals
    ) -> None:
        self.owner, self.types, self.decisions, self.refusals = owner, types, decisions, refusals
        self.octets = decisions.layout == "octet-bool"
        self.parts: list[Part] = []
        self.position = 0
        self.asked = self.ranged = False

    def struct(self, struct: Struct, prefix: str, inside: tuple[str, ...]) -> None:
        """Place all members of a structure."""
        if len(inside) > _MOST_DEPTH:
            self.too_deep()
        if self.octets:
            self.align(struct.line)
        for member in struct.members:
            name = f"{prefix}{member.name}"
            if member.located:
                self.refusals.add(
                    "located",
                    member.line,
                    "a member must have no address of its own",
                    "the meaning of such addresses is the implementer's: not offered",
                    name,
                )
            elif member.spec is None:
                self.refusals.add(
                    "missing-length", member.line, "a member must have a type", element=name
                )
            else:
                self.spec(member.spec, name, member.line, inside, struct.line)
        if self.octets:
            self.align(struct.line)

    def spec(
        self, spec: Spec, name: str, line: int, inside: tuple[str, ...], owner_line: int
    ) -> None:
        """Place a value of any type."""
        match spec:
            case Struct():
                self.struct(spec, f"{name}.", (*inside, ""))
            case ArrayOf():
                self.array(spec, name, line, inside, owner_line)
            case Ranged():
                self.range(spec.spec, name, line, inside, owner_line)
            case Named():
                key = spec.name.lower()
                found = self.types.get(key)
                if key in inside:
                    self.refusals.stop(
                        "recursive-type",
                        owner_line,
                        f"a structure must not hold itself: {shown(' > '.join((*inside, key)))}",
                        element=name,
                    )
                if found is None:
                    self.unknown(spec.name, name, line)
                elif len(inside) > _MOST_DEPTH:
                    self.too_deep()
                elif isinstance(found, Struct):
                    self.struct(found, f"{name}.", (*inside, key))
                else:  # Another name for a type; a circle of names ends above.
                    self.spec(found, name, line, (*inside, key), owner_line)
            case _:
                self.elementary(spec.name, name, line)

    def range(
        self, spec: Spec, name: str, line: int, inside: tuple[str, ...], owner_line: int
    ) -> None:
        """Place a value of a type with a range: of one value, whatever its name stands for."""
        self.ranged = True
        before = len(self.parts)
        self.spec(spec, name, line, inside, owner_line)
        if any(part.name != name for part in self.parts[before:] if part.name is not None):
            self.refusals.add(
                "unknown-type",
                line,
                "a range must be of the values of a number, not of a structure or an array",
                element=name,
            )

    def array(
        self, spec: ArrayOf, name: str, line: int, inside: tuple[str, ...], owner_line: int
    ) -> None:
        """Place the elements of an array, each with its number behind its name."""
        count = spec.high - spec.low + 1
        if count < 1:
            self.refusals.add(
                "bad-length",
                line,
                f"an array must have at least 1 element, not {spec.low}..{spec.high}",
                element=name,
            )
            return
        if count > MOST_BITS:
            self.too_big(name, line)
        for number in range(spec.low, spec.high + 1):
            self.spec(spec.element, f"{name}[{number}]", line, inside, owner_line)

    def elementary(self, kind: str, name: str, line: int) -> None:
        """Place one value of a type that the standard names."""
        plain = kind.upper().removeprefix("SAFE")
        if plain not in _WIDTHS:
            self.unknown(kind, name, line)
            return
        width, type_ = _WIDTHS[plain]
        if self.octets and plain != "BIT":
            self.align(line)
        if self.position + width > MOST_BITS:
            self.too_big(name, line)
        if width > 8 and not self.decisions.order and not self.asked:
            self.asked = True
            self.refusals.add(
                "ambiguous-order",
                line,
                f"the octet order of values wider than an octet must be stated ({width} bits here)",
                "--order little or --order big",
                name,
            )
        order = "big" if width > 8 and self.decisions.order == "big" else "little"
        if order == "big" and self.position % 8:
            self.refusals.add(
                "not-expressible",
                line,
                f"a value with its high octet first must begin on an octet, not at bit "
                f"{self.position}",
                "--layout octet-bool, where that is how the members lie",
                name,
            )
            order = "little"
        prefix = self.decisions.bind_prefix
        self.parts.append(
            Part(
                start=self.position,
                width=width,
                name=name,
                type=type_,
                order=order,
                line=line,
                element=self.owner,
                bind="" if prefix is None else f"{prefix}{name}",
            )
        )
        self.position += width
        if self.octets and plain == "BOOL":
            self.align(line)

    def align(self, line: int) -> None:
        """Go on to the next octet, over reserve."""
        gap = -self.position % 8
        if gap:
            self.parts.append(Part(start=self.position, width=gap, line=line, element=self.owner))
            self.position += gap

    def unknown(self, kind: str, name: str, line: int) -> None:
        """Keep the problem of a type without a fixed width."""
        self.refusals.add(
            "unknown-type",
            line,
            f"a type must have a fixed width or stand in the file, not {shown(kind)}",
            element=name,
        )

    def too_deep(self) -> None:
        """Refuse types that refer to types again and again."""
        self.refusals.stop(
            "too-deep",
            0,
            f"structures must be nested at most {_MOST_DEPTH} deep, not deeper",
            element=self.owner,
        )

    def too_big(self, name: str, line: int) -> None:
        """Refuse a structure that no safety data can hold."""
        self.refusals.stop(
            "too-big",
            line,
            f"a structure must have at most {MOST_BITS} bits, not more",
            element=name,
        )
