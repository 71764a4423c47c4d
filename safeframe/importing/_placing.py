"""Bits on one line of the source, each with one owner; the proof of their sum; the map of them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from .._bits import MAX_OCTETS, Place
from .._document.characters import is_visible
from .._model import Map, Reserved, Signal
from .._source import Location
from ._decisions import Decisions
from ._refusals import Refusals, shown

_FOLD = re.compile(r"\s+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One run of bits that the file declares, in safety data: ``name`` None means padding.

    ``group`` is the name that nameless data get by ``--number-names``, with ``number``, else with
    the number of their first bit; ``element`` the path of the element in the file.
    """

    start: int
    width: int
    name: str | None = None
    type: str = ""
    order: str = "little"
    codes: tuple[tuple[int, str], ...] = ()
    line: int = 0
    element: str = ""
    group: str = ""
    number: int | None = None
    bind: str = ""
    extra: tuple[tuple[str, Any], ...] = ()

    @property
    def end(self) -> int:
        """Index after the last bit."""
        return self.start + self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A field of the safety protocol that the file lists and a map leaves out."""

    name: str
    width: int
    line: int
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedTypes:
    """What one selection says: ``total_bits`` of the source, its parts, the fields left out.

    ``profile`` is the safety profile that the container shows, empty for none,
    ``usual_profile`` the one that such objects belong to where nobody states another; ``gaps`` says
    whether bits that nobody declares are reserve (``reserve``) or a problem (``refuse``);
    ``fold_case`` whether names that differ in case only are equal; ``joined`` whether neighbouring
    padding becomes one run; ``lost`` what the file says and
    a map cannot. ``shared`` are parameters that both ends of the usual profile state, ``own`` those
    of the device alone.
    """

    path: str
    line: int
    title: str
    total_bits: int
    parts: tuple[Part, ...]
    dropped: tuple[Dropped, ...] = ()
    profile: str = ""
    usual_profile: str = ""
    gaps: str = "refuse"
    fold_case: bool = False
    joined: bool = True
    lost: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    shared: tuple[tuple[str, int | str], ...] = ()
    own: tuple[tuple[str, int | str], ...] = ()

    @property
    def data_bits(self) -> int:
        """Bits of the safety data: the total without the fields of the protocol."""
        return self.total_bits - sum(entry.width for entry in self.dropped)


def placed(layout: PlacedTypes, decisions: Decisions, refusals: Refusals) -> Map:
    """Return the map of a layout in which every bit has one owner, or keep the problems."""
    before = len(refusals)
    if layout.data_bits > 8 * MAX_OCTETS:
        message = f"the data must have at most {MAX_OCTETS} octets, not {layout.data_bits // 8}"
        refusals.add("too-big", layout.line, message, element=layout.path)
        return Map()
    parts = sorted(layout.parts, key=lambda part: (part.start, part.line))
    parts = _named(parts, layout, decisions, refusals)
    _refuse_overlaps(parts, layout, refusals)
    if len(refusals) == before:
        parts = _filled(parts, layout, decisions, refusals)
    if layout.data_bits % 8:
        message = f"the data must fill whole octets, not {layout.data_bits} bits"
        line = max([layout.line, *(part.line for part in layout.parts)])
        refusals.add("not-whole-octets", line, message, element=layout.path)
    if len(refusals) > before:
        return Map()
    prove(parts, layout)
    where = Location(path=refusals.path, line=layout.line, key=layout.path)
    return Map(entries=tuple(_entries(parts, refusals.path, joined=layout.joined)), where=where)


def sum_text(layout: PlacedTypes, entries: Iterable[Signal | Reserved]) -> str:
    """Return the sum of all bits: ``88 bits = 8 command + 21 data in 5 signals + ...``."""
    signals = [entry for entry in entries if isinstance(entry, Signal)]
    data = sum(signal.width for signal in signals)
    reserve = sum(entry.width for entry in entries) - data
    terms: dict[str, int] = {}
    order = [entry.what for entry in layout.dropped]
    for entry in layout.dropped:
        terms[entry.what] = terms.get(entry.what, 0) + entry.width
    count = f"{data} data in {len(signals)} signal{'s'[: len(signals) != 1]}"
    middle = [count, *([f"{reserve} reserve"] if reserve else [])]
    texts = [f"{terms[what]} {what}" for what in dict.fromkeys(order)]
    first = texts[:1] if order[:1] in (["command"], ["header"]) else []
    return f"{layout.total_bits} bits = {' + '.join([*first, *middle, *texts[len(first) :]])}"


def _named(
    parts: list[Part], layout: PlacedTypes, decisions: Decisions, refusals: Refusals
) -> list[Part]:
    """Fold the names; number or refuse those that are missing or repeated."""
    parts = [
        part if part.name is None else replace(part, name=_FOLD.sub(" ", part.name).strip())
        for part in parts
    ]
    if decisions.number_names:
        parts = _numbered(parts, layout)
    seen: dict[str, Part] = {}
    for part in parts:
        if part.name is None:
            continue
        name = part.name.lower() if layout.fold_case else part.name
        if not name:
            refusals.add(
                "unnamed",
                part.line,
                f"data must have a name, not none ({_bits(part.width)})",
                "--number-names names such bits by their group and number",
                part.element,
            )
        elif not is_visible(part.name):
            message = f"a name must be printable text, not {shown(ascii(part.name))}"
            refusals.add("bad-name", part.line, message, element=part.element)
        elif name in seen:
            refusals.add(
                "duplicate-name",
                part.line,
                f"a name must stand once in a direction, not again after line {seen[name].line}: "
                f"{shown(part.name)}",
                "--number-names appends numbers in the order of places",
                part.element,
            )
        seen.setdefault(name, part)
    return parts


def _numbered(parts: list[Part], layout: PlacedTypes) -> list[Part]:
    """Give nameless data the name of their group, then number every name that is repeated."""

    def plain(part: Part) -> str:
        if part.name:
            return part.name
        number = part.start if part.number is None else part.number
        return f"{part.group or layout.title or 'bit'} {number}"

    def key(name: str) -> str:
        return name.lower() if layout.fold_case else name

    data = [part for part in parts if part.name is not None]
    count = Counter(key(plain(part)) for part in data)
    taken = {key(plain(part)) for part in data}
    used: Counter[str] = Counter()
    named = []
    for part in parts:
        if part.name is None:
            named.append(part)
            continue
        name = plain(part)
        if count[key(name)] > 1:
            base = name
            while True:  # "x 1" may be the name of another signal already.
                used[key(base)] += 1
                name = f"{base} {used[key(base)]}"
                if key(name) not in taken:
                    break
        named.append(replace(part, name=name))
    return named


def _refuse_overlaps(parts: list[Part], layout: PlacedTypes, refusals: Refusals) -> None:
    end = 0
    last: Part | None = None
    for part in parts:
        if last is not None and part.start < end:
            refusals.add(
                "overlap",
                part.line,
                f"a bit must have one owner, not two: {_whose(part)} begins at bit {part.start}, "
                f"but {_whose(last)} of line {last.line} ends at bit {end}",
                element=part.element,
            )
        if part.end > layout.data_bits:
            refusals.add(
                "beyond-end",
                part.line,
                f"{_whose(part)} must end within {layout.data_bits} bits, not at bit {part.end}",
                element=part.element,
            )
        if part.end > end:
            end, last = part.end, part


def _filled(
    parts: list[Part], layout: PlacedTypes, decisions: Decisions, refusals: Refusals
) -> list[Part]:
    """Put padding where nobody declares bits, where the format or the user says so."""
    filled: list[Part] = []
    position = 0
    for part in [*parts, Part(start=layout.data_bits, width=0, line=layout.line)]:
        if part.start > position:
            gap = part.start - position
            if layout.gaps != "reserve" and decisions.gaps != "reserve":
                refusals.add(
                    "hole",
                    part.line,
                    f"every bit must be declared, not left out: {_bits(gap)} from bit {position} "
                    "of the data on",
                    "--gaps reserve takes what nobody declares as reserve",
                    layout.path,
                )
            filled.append(Part(start=position, width=gap, line=part.line, element=layout.path))
        if part.width:
            filled.append(part)
        position = part.end
    return filled


def prove(parts: list[Part], layout: PlacedTypes) -> None:
    """Raise where the parts are not exactly the data: a fault of this program, never of a file."""
    ends = [0, *(part.end for part in parts)]
    if ends[:-1] != [part.start for part in parts] or ends[-1] != layout.data_bits:
        raise AssertionError(f"{layout.path}: not every bit of {layout.data_bits} has one owner")


def _entries(parts: list[Part], path: str, *, joined: bool) -> list[Signal | Reserved]:
    """Return the entries of a map, neighbouring padding joined where that is asked for."""
    entries: list[Signal | Reserved] = []
    for part in parts:
        where = Location(path=path, line=part.line, key=part.element)
        last = entries[-1] if entries else None
        if part.name is not None:
            entries.append(
                Signal(
                    name=part.name,
                    at=Place.at(part.start),
                    width=part.width,
                    type=part.type or ("bool" if part.width == 1 else "uint"),
                    order=part.order,
                    codes=part.codes,
                    bind=part.bind,
                    where=where,
                    **dict(part.extra),
                )
            )
        elif joined and isinstance(last, Reserved):
            entries[-1] = replace(last, width=last.width + part.width)
        else:
            at = Place.at(part.start)
            entries.append(Reserved(at=at, width=part.width, where=where, **dict(part.extra)))
    return entries


def _whose(part: Part) -> str:
    return shown(part.name) if part.name else ("padding" if part.name is None else "data")


def _bits(count: int) -> str:
    return f"{count} bit{'s'[: count != 1]}"
