"""ESI (ETG.2000): PDOs of devices and modules, with the container of FSCP 12/1 unpacked."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from . import _fscp_12_1 as fscp_12_1
from ._candidates import Candidate
from ._decisions import Decisions
from ._esientries import entries_of, label_of, title_of
from ._esiwidths import KNOWN_WIDTHS, DictionaryWidths, Whole
from ._fscp_12_1 import ContainerEntry
from ._numbers import number
from ._placing import Dropped, Part, PlacedTypes
from ._refusals import Refusals, shown
from ._source import DeviceFile
from ._xml import Element, parse_in_parts, unread

_KEEP = frozenset(
    (
        *("EtherCATInfo", "Descriptions", "Devices", "Device", "Modules", "Module", "Type", "Name"),
        *("Profile", "Dictionary", "DataTypes", "DataType", "SubItem", "SubIdx", "BitSize"),
        *("Objects", "Object", "Index", "SubIndex", "RxPdo", "TxPdo", "Entry", "BitLen"),
    )
)
_OPTIONAL = ("Fixed", "OverwrittenByModule", "SafetyConnNumber", "SwapData", "LcId")
_OF_PDO = ("Fixed", "OverwrittenByModule", "SafetyConnNumber", "SafetyPdoType", "Sm")
_IN_PDO = ("Index", "Name", "Entry", "Exclude", "ExcludedSm")
_READ: Mapping[str, Collection[str]] = {
    **dict.fromkeys(("RxPdo", "TxPdo"), (*_OF_PDO, *_IN_PDO)),
    "Entry": ("SafetyConnNumber", "Index", "SubIndex", "BitLen", "Name", "DataType", "Comment"),
    "DataType": ("SwapData",),
    **dict.fromkeys(("Index", "SubIndex"), ("DependOnSlot", "DependOnSlotGroup")),
    "Name": ("LcId",),
}
"""What is read of what is placed, or tells only which sync manager carries a PDO, which
index an object has in a slot, or what a person reads."""
_MOST_ENTRIES = 2048
"""Entries of one PDO: a mapping object has at most 254 of them (from memory); by choice."""
_KINDS: Mapping[str, str] = {
    **dict.fromkeys(("SINT", "INT", "DINT", "LINT"), "int"),
    **dict.fromkeys(("REAL", "LREAL"), "float"),
}
_SIDES = {"RxPdo": ("rx", "receives"), "TxPdo": ("tx", "sends")}


def candidates(source: DeviceFile, decisions: Decisions, refusals: Refusals) -> list[Candidate]:
    """Return every PDO of every device and module of the file."""
    root, whole = parse_in_parts(
        source,
        ("EtherCATInfo",),
        refusals,
        keep=_KEEP,
        parts=(*_SIDES, "Profile"),
        later=("Entry", "Dictionary"),
        optional=_OPTIONAL,
        most=dict.fromkeys(_SIDES, _MOST_ENTRIES),
        encoding=decisions.encoding,
    )
    found = []
    for owner, path in _owners(root, refusals):
        widths = DictionaryWidths(owner, whole, refusals)
        found += [_candidate(pdo, path, widths, decisions, refusals) for pdo in owner.all(*_SIDES)]
    return found


def _owners(root: Element, refusals: Refusals) -> Iterator[tuple[Element, str]]:
    """Yield devices and modules with the first part of their paths."""
    owners = [
        *root.along("Descriptions", "Devices", "Device"),
        *root.along("Descriptions", "Modules", "Module"),
    ]
    for element in owners:
        kind = element.only(refusals, "Type")
        if element.tag == "Device":
            words = [_word(kind, "ProductCode"), _word(kind, "RevisionNo")]
            yield element, ":".join(["device", *words])
        else:
            yield element, f"module:{_word(kind, 'ModuleIdent')}"


def _word(element: Element | None, name: str) -> str:
    """Return a number as a path shows it: as written, with 0x for hexadecimal."""
    text = (element.get(name) if element is not None else None) or "-"
    return text.strip().lower().replace("#x", "0x")


def _candidate(
    pdo: Element,
    owner: str,
    widths: DictionaryWidths,
    decisions: Decisions,
    refusals: Refusals,
) -> Candidate:
    side, direction = _SIDES[pdo.tag]
    index = pdo.text_of("Index", refusals, owner) or "-"
    path = f"{owner}/{side}:{index.lower().replace('#x', '0x')}"
    return Candidate(
        path=path,
        line=pdo.line,
        side=direction,
        look=_Look(pdo, widths.whole, decisions),
        place=_Placing(pdo, path, widths).place,
    )


@dataclass(frozen=True)
class _Look:
    """What a listing says of a PDO; a file may have hundreds that nobody lists."""

    pdo: Element
    whole: Whole
    decisions: Decisions

    def __call__(self) -> tuple[str, int | None, str]:
        """Return title, bits and note."""
        quiet = Refusals("")
        entries = entries_of(self.whole(self.pdo, quiet), self.decisions, quiet)
        title, bits = title_of(self.pdo), entries[-1].end if entries else 0
        if len(quiet):
            return title, None, f"not readable: {quiet.problems[0].message}"
        if fscp_12_1.mismatch(entries):
            return title, bits, "no container of FSCP 12/1"
        taken = sum(width for width, _ in fscp_12_1.check_fields(bits).values())
        octets = (bits - taken) // 8
        return title, bits, f"FSCP 12/1, {octets} data octet{'s'[: octets != 1]}"


@dataclass(frozen=True)
class _Placing:
    """Places the data of one PDO."""

    pdo: Element
    path: str
    widths: DictionaryWidths

    @property
    def _label(self) -> str:
        return label_of(self.pdo, Refusals(""))

    def place(self, decisions: Decisions, refusals: Refusals) -> list[tuple[str, PlacedTypes]]:
        """Return the layout of the data, or keep the problems."""
        layout = self._layout_of(decisions, refusals)
        return [] if layout is None else [(_SIDES[self.pdo.tag][1], layout)]

    def _layout_of(self, decisions: Decisions, refusals: Refusals) -> PlacedTypes | None:
        if self.pdo.true("OverwrittenByModule", refusals):
            refusals.add(
                "overwritten",
                self.pdo.line,
                "a PDO must hold its own entries, not be overwritten by a module",
                "select the PDO of the module",
                self.path,
            )
        whole = self.widths.whole(self.pdo, refusals)
        entries = entries_of(whole, decisions, refusals)
        if len(refusals):
            return None
        holders = (self.pdo, *whole.all("Entry"))
        numbers = {number(one.get("SafetyConnNumber")) for one in holders} - {None}
        if len(numbers) > 1:
            refusals.add(
                "no-container",
                self.pdo.line,
                f"a PDO must have one SafetyConnNumber, not {len(numbers)} of them",
                "several connections in one PDO are not offered",
                self.path,
            )
            return None
        total = entries[-1].end if entries else 0
        if total > 8 * 1500:
            message = f"a PDO must have at most {8 * 1500} bits, not {total}"
            refusals.add("too-big", self.pdo.line, message, element=self.path)
            return None
        fixed = self.pdo.true("Fixed", refusals)
        notes = ("not fixed: the project may have changed it",) * (not fixed)
        kind = self.pdo.get("SafetyPdoType") or ""
        notes += (f"the PDO may hold several connections: {shown(kind)}",) * ("Multiple" in kind)
        notes += unread((whole, *whole.walk()), _READ)
        if decisions.container == "none":
            parts = [self._part(entry, entry.start) for entry in entries]
            self._types(entries, {}, decisions, refusals)
            return self._layout(total, parts, (), "", notes, entries)
        wrong = fscp_12_1.mismatch(entries)
        if wrong:
            refusals.add(
                "no-container",
                entries[0].line if entries else self.pdo.line,
                f"the entries must be a container of FSCP 12/1: {wrong}",
                "--container none takes them as plain data",
                self.path,
            )
            return None
        for entry, text in fscp_12_1.contradictions(entries):
            refusals.add(
                "no-container",
                entry.line,
                f"a name must agree with its place, not be {shown(entry.name)} where {text}",
                "--container none takes the entries as plain data",
                self.path,
            )
        return self._unpacked(entries, total, notes, decisions, refusals)

    def _unpacked(
        self,
        entries: list[ContainerEntry],
        total: int,
        notes: tuple[str, ...],
        decisions: Decisions,
        refusals: Refusals,
    ) -> PlacedTypes:
        fields = fscp_12_1.check_fields(total)
        dropped: list[Dropped] = []
        parts: list[Part] = []
        widths: dict[int, int] = {}  # Start of an object to its width with what continues it.
        last: ContainerEntry | None = None  # The object whose bits end at the CRC just passed.
        for entry in entries:
            if entry.start in fields:
                width, what = fields[entry.start]
                name = entry.name or what
                dropped.append(Dropped(name=name, width=width, line=entry.line, what=what))
                continue
            behind_crc = fields.get(entry.start - 16, (0, ""))[1] == "CRC"
            if (
                last is not None
                and not entry.object
                and behind_crc
                and self._continues(entry, last, widths[last.start], decisions, refusals)
            ):
                parts[-1] = replace(parts[-1], width=parts[-1].width + entry.width)
                widths[last.start] += entry.width
            else:
                parts.append(self._part(entry, entry.start - sum(gone.width for gone in dropped)))
                last = entry if entry.object else None
                widths[entry.start] = entry.width
            if fields.get(entry.end, (0, ""))[1] != "CRC":
                last = None
        if not len(refusals):
            self._types(entries, widths, decisions, refusals)
        return self._layout(total, parts, tuple(dropped), "fscp-12-1", notes, entries)

    def _continues(
        self,
        entry: ContainerEntry,
        last: ContainerEntry,
        have: int,
        decisions: Decisions,
        refusals: Refusals,
    ) -> bool:
        """Tell whether an entry without index behind a CRC belongs to the object before it."""
        where = self._label
        known = self.widths.of_object(last.object, last.subindex)
        if known is not None:
            rest = min(16, known - have)
            if rest > 0 and entry.width != rest:
                refusals.add(
                    "type-length",
                    entry.line,
                    f"{shown(last.name)} must go on with {rest} bits here, since the dictionary "
                    f"gives it {known}, not with {entry.width}",
                    element=where,
                )
            return rest > 0
        if entry.width == 1 or last.type == "BOOL":
            return False
        if not decisions.padding_after_crc:
            refusals.add(
                "ambiguous-continuation",
                entry.line,
                f"{entry.width} bits without an object behind a CRC may be padding or the rest of "
                f"{shown(last.name) or 'the value before'}: no dictionary tells its width",
                "--padding-after-crc reserve or --padding-after-crc continue",
                where,
            )
        return decisions.padding_after_crc == "continue"

    def _types(
        self,
        entries: list[ContainerEntry],
        other: Mapping[int, int],
        decisions: Decisions,
        refusals: Refusals,
    ) -> None:
        """Hold the width of each entry against that of its type, which padding has none of."""
        for entry in entries if decisions.gaps != "reserve" else ():
            if not entry.object and entry.name and entry.type:
                refusals.add(
                    "ambiguous-padding",
                    entry.line,
                    f"an entry with a name and a DataType must have an object, not index 0: "
                    f"{shown(entry.name)} may be padding or data",
                    "--gaps reserve takes it as padding",
                    self.path,
                )
        for entry in entries:
            width = self.widths.of_type(entry.type) if entry.object and entry.type else None
            stated = other.get(entry.start, entry.width)
            where = f"{self.pdo.tag} {shown(entry.name)}"
            if width is not None and width != stated:
                refusals.add(
                    "type-length",
                    entry.line,
                    f"BitLen must be the {width} bits of its DataType {shown(entry.type)}, "
                    f"not {stated}",
                    element=where,
                )
            known = self.widths.of_object(entry.object, entry.subindex) if entry.object else None
            if known is not None and known != stated:
                refusals.add(
                    "type-length",
                    entry.line,
                    f"BitLen must be the {known} bits that the dictionary gives object "
                    f"0x{entry.object:04x}:{entry.subindex}, not {stated}",
                    element=where,
                )

    def _part(self, entry: ContainerEntry, start: int) -> Part:
        name = entry.name if entry.object else None
        return Part(
            start=start,
            width=entry.width,
            name=name,
            type=_KINDS.get(entry.type, "") if entry.object else "",
            line=entry.line,
            element=self._label,
            group=title_of(self.pdo),
        )

    def _layout(
        self,
        total: int,
        parts: list[Part],
        dropped: tuple[Dropped, ...],
        profile: str,
        notes: tuple[str, ...],
        entries: list[ContainerEntry],
    ) -> PlacedTypes:
        fields = fscp_12_1.check_fields(total) if profile else {}
        objects: dict[tuple[int, int], list[str]] = {}
        for entry in entries:
            if entry.object and entry.start not in fields:
                objects.setdefault((entry.object, entry.subindex), []).append(shown(entry.name))
        notes += tuple(
            f"object 0x{index:04x}:{subindex} stands in {len(names)} entries: {', '.join(names)}"
            for (index, subindex), names in objects.items()
            if len(names) > 1
        )
        named = [entry for entry in entries if not entry.object and entry.name]
        if named:
            notes += (f"named padding taken as reserve: {', '.join(shown(e.name) for e in named)}",)
        untyped = [
            shown(f"{entry.name} ({entry.type or 'none'})")
            for entry in entries
            if entry.object
            and entry.width > 1
            and entry.start not in fields
            and entry.type not in KNOWN_WIDTHS
        ]
        if untyped:
            notes += (f"taken as unsigned, since the type does not tell: {', '.join(untyped)}",)
        return PlacedTypes(
            path=self.path,
            line=self.pdo.line,
            title=title_of(self.pdo),
            total_bits=total,
            parts=tuple(parts),
            dropped=dropped,
            profile=profile,
            notes=notes,
        )
