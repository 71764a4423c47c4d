"""Strategies for maps, ends and connections.

``ends()`` draws any End that a map file can hold, wrong ones included; ``clean_connections()``
draws two ends that agree bit for bit, in which a check finds no error.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any, NamedTuple

from hypothesis import strategies as st

from .. import protocols
from .._bits import MAX_OCTETS, Place
from .._document.characters import is_visible
from .._errors import UsageError
from .._model import (
    EDGES,
    RELATION_KINDS,
    Allowance,
    Conditions,
    Connection,
    ConnectionTable,
    End,
    Map,
    Relation,
    Reserved,
    Scalar,
    Signal,
)

_PRINTABLE = st.characters(exclude_categories=("C", "Z"), include_characters=" ")
_FLOAT_BITS = (16, 32, 64)


# A strategy is examined before it is drawn from for the first time, which costs far more than the
# drawing. So those that many values share are made once and stand here.
_NAMES = (
    st.text("abcdefghijklmnopqrstuvwxyz_0123456789.\"'\\#[]{}=,; ", min_size=1, max_size=12)
    | st.text(_PRINTABLE, min_size=1, max_size=12)
).filter(lambda text: is_visible(text) and not text.isspace())
_LINES = st.just("") | _NAMES
_TRICKY = st.sampled_from(["[[sends]]", "# no comment", '"""', "'''", '{ at = "0.0" },', "\t"])
_NOTES = st.just("") | st.lists(_LINES | _TRICKY, max_size=4).map("\n".join)
_FLOATS = {
    width: st.floats(width=width, allow_nan=False, allow_infinity=False)  # type: ignore[arg-type]
    for width in _FLOAT_BITS
}
_WIDTHS = st.integers(1, 32) | st.sampled_from((64, 128, 1000))
_KINDS = st.sampled_from(("bool", "uint", "int", "float", "code"))
_SCALES = st.sampled_from(("1", "0.1", "-2.50", "1e-3", "1000", "0.0000001"))
_UNITS = st.sampled_from(("", "mm/s", "°C"))


@cache
def _integers(low: int, high: int) -> st.SearchStrategy[int]:
    return st.integers(low, high)


@cache
def _one_of(*values: Any) -> st.SearchStrategy[Any]:
    return st.sampled_from(values)


def names() -> st.SearchStrategy[str]:
    """Draw one line of text to be seen, neither empty nor blank, any script, plain ASCII often."""
    return _NAMES


def lines() -> st.SearchStrategy[str]:
    """Draw one line of printable text, often empty."""
    return _LINES


def notes() -> st.SearchStrategy[str]:
    """Draw a text of several lines, often empty."""
    return _NOTES


@cache
def _codes(high: int) -> st.SearchStrategy[tuple[tuple[int, str], ...]]:
    drawn = st.dictionaries(_integers(0, high), _NAMES, max_size=4)
    return drawn.map(lambda codes: tuple(sorted(codes.items())))


@cache
def _places(max_octets: int) -> st.SearchStrategy[Place]:
    return st.integers(0, 8 * max_octets - 1).map(Place.at)


def places(max_octets: int = 64) -> st.SearchStrategy[Place]:
    """Draw a place within ``max_octets`` octets."""
    return _places(max_octets)


@st.composite
def signals(draw: st.DrawFn) -> Signal:
    """Draw one legal signal at any place."""
    kind = draw(_KINDS)
    at = draw(places())
    width, order = 1, "little"
    codes: tuple[tuple[int, str], ...] = ()
    safe: int | float = 0
    if kind == "float":
        width = draw(_one_of(*_FLOAT_BITS))
        safe = draw(_FLOATS[width])
    elif kind != "bool":
        width = draw(_WIDTHS)
    if kind != "bool" and width % 8 == 0 and at.bit == 0:
        order = draw(_one_of("little", "big"))
    high = (1 << width) - 1
    if kind == "int":
        safe = draw(_integers(-(high + 1) // 2, high // 2))
    elif kind != "float":
        safe = draw(_integers(0, high))
    if kind == "code":
        codes = draw(_codes(high))
    return Signal(
        name=draw(_NAMES),
        at=at,
        width=width,
        type=kind,
        order=order,
        safe=safe,
        codes=codes,
        edge=draw(_one_of(*EDGES)),
        scale=draw(_SCALES),
        one_means=draw(_LINES),
        unit=draw(_UNITS),
        valid_by=draw(_LINES),
        mirrors=draw(_LINES),
        bind=draw(_LINES),
        note=draw(_NOTES),
    )


@st.composite
def reserved(draw: st.DrawFn) -> Reserved:
    """Draw one reserved run at any place."""
    width = draw(_integers(1, 70))
    return Reserved(
        at=draw(places(MAX_OCTETS // 2)),
        width=width,
        value=draw(_reserved_values(width)),
        note=draw(_NOTES),
    )


@cache
def _reserved_values(width: int) -> st.SearchStrategy[int]:
    return st.just(0) | st.integers(0, (1 << width) - 1)


def maps(max_size: int = 6) -> st.SearchStrategy[Map]:
    """Draw any map: holes, overlaps, wrong order and repeated names included."""
    return _maps(max_size)


@cache
def _maps(max_size: int) -> st.SearchStrategy[Map]:
    entries = st.lists(signals() | reserved(), max_size=max_size)
    return entries.map(lambda drawn: Map(entries=tuple(drawn)))


_SCALARS: st.SearchStrategy[Scalar] = (
    _LINES
    | st.booleans()
    | st.integers(-(1 << 63), (1 << 64) - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
)
_CONDITIONS: st.SearchStrategy[Conditions] = st.dictionaries(
    _NAMES | _NAMES.map("receives.{}".format),
    st.lists(st.integers(-(1 << 40), 1 << 70), min_size=1, max_size=3, unique=True)
    .map(sorted)
    .map(tuple),
    min_size=1,
    max_size=3,
).map(lambda table: tuple(sorted(table.items())))


@cache
def _until(after_ms: int) -> st.SearchStrategy[int | None]:
    return st.none() | st.integers(after_ms, 2000)


@st.composite
def relations(draw: st.DrawFn) -> Relation:
    """Draw any relation that a map file can hold."""
    kind = draw(_one_of(*RELATION_KINDS))
    if kind == "follows":
        after_ms = draw(_integers(0, 1000))
        within_ms = draw(_until(after_ms))
    else:
        after_ms, within_ms = 0, None
    stated: dict[str, Any] = {kind: draw(_CONDITIONS)}
    return Relation(
        name=draw(_NAMES),
        when=draw(_CONDITIONS),
        after_ms=after_ms,
        within_ms=within_ms,
        reason=draw(_NAMES),
        **stated,
    )


_NUMBERS = st.none() | st.integers(0, (1 << 64) - 1)
_MILLISECONDS = st.none() | st.integers(0, (1 << 32) - 1)
_LEGAL_OCTETS = st.lists(st.integers(1, MAX_OCTETS), max_size=4)
_RELATIONS = st.lists(relations(), max_size=3, unique_by=lambda relation: relation.name)
_PARAMETERS = st.dictionaries(_NAMES, _SCALARS, max_size=4)
_ALLOWANCES = st.lists(st.builds(Allowance, rule=_NAMES, reason=_NAMES, signal=_LINES), max_size=3)


@st.composite
def ends(draw: st.DrawFn) -> End:
    """Draw any End that a map file can hold."""
    connection_table = ConnectionTable(
        name=draw(_NAMES),
        profile=draw(_NAMES),
        edition=draw(_LINES),
        id=draw(_NUMBERS),
        watchdog_ms=draw(_MILLISECONDS),
        exchange_ms=draw(_MILLISECONDS),
        permitted_reaction_ms=draw(_MILLISECONDS),
        legal_octets=tuple(draw(_LEGAL_OCTETS)),
        network=draw(_LINES),
    )
    return End(
        name=draw(_NAMES),
        peer=draw(_NAMES),
        connection_table=connection_table,
        role=draw(_LINES),
        address=draw(_NUMBERS),
        sends=draw(maps()),
        receives=draw(maps()),
        relations=tuple(draw(_RELATIONS)),
        parameters=tuple(sorted(draw(_PARAMETERS).items())),
        allowances=tuple(draw(_ALLOWANCES)),
        note=draw(_NOTES),
    )


_LARGEST_OCTETS = 12
_LARGEST_FREE_OCTETS = 8
"""Largest data sizes that are drawn, for a protocol with legal sizes and for one without."""


class _CleanFacts(NamedTuple):
    """What makes a connection clean: legal data sizes in octets, edition, ranges, roles."""

    profile: str
    sizes: tuple[int, ...]
    legal_octets: tuple[int, ...]
    edition: str
    ids: tuple[int, int]
    addresses: tuple[int, int]
    roles: tuple[str, str]


def _clean_facts(profile: str | None) -> _CleanFacts:
    """Return what makes a connection of a protocol clean; None: the first one with frames."""
    if profile is None:
        profile = next(name for name in protocols.names() if protocols.load(name).recipe)
    facts = protocols.load(profile)
    if facts.member_types or facts.one_way:
        raise UsageError(f"clean connections of {profile} are not drawn: its maps are restricted")
    free = facts.sizes.from_map
    most = _LARGEST_FREE_OCTETS if free else _LARGEST_OCTETS
    sizes = tuple(size for size in range(1, most + 1) if facts.sizes.is_legal(size))
    addresses = facts.address_range or (1, 65535)
    return _CleanFacts(
        profile=profile,
        sizes=sizes,
        legal_octets=sizes if free else (),
        edition=facts.editions[0] if facts.editions else "",
        ids=facts.id_range or (1, 65535),
        addresses=(max(1, addresses[0]), addresses[1]),
        roles=(facts.roles[0], facts.roles[1]) if facts.roles else ("", ""),
    )


_FILLINGS = st.sampled_from(("bool", "bool", "bool", "uint", "code", "reserved"))


@st.composite
def _clean_map(draw: st.DrawFn, size_octets: int, prefix: str) -> tuple[Map, Map]:
    """Draw one direction as its producer and as its consumer see it, filled without a gap."""
    entries: list[Signal | Reserved] = []
    consumed: list[Signal | Reserved] = []
    index, size_bits = 0, 8 * size_octets
    while index < size_bits:
        left = size_bits - index
        kind = draw(_FILLINGS)
        if left == 1 and not any(isinstance(entry, Signal) for entry in entries):
            kind = "bool"  # a direction holds at least one signal
        at, number = Place.at(index), len(entries)
        if kind == "reserved":
            run = Reserved(at=at, width=draw(_integers(1, min(max(left - 1, 1), 16))))
            entries.append(run)
            consumed.append(run)
            index = run.end
            continue
        # No value crosses an octet border or, if it fills two octets, a block of two octets.
        free = 8 - index % 8
        widths = list(range(2, min(free, 3 if kind == "code" else 8) + 1))
        if kind == "uint" and index % 16 == 0 and left >= 16:
            widths.append(16)
        if not widths:
            kind = "bool"
        width = 1 if kind == "bool" else draw(_one_of(*widths))
        coded = range(1 << width) if kind == "code" else ()
        signal = Signal(
            name=f"{prefix}_{number}",
            at=at,
            width=width,
            type=kind,
            codes=tuple((code, f"level {code}") for code in coded),
            one_means=f"{prefix} {number} is on" if kind == "bool" else "",
            bind=f"Producer.{prefix.title()}{number}",
        )
        entries.append(signal)
        consumed.append(dataclasses.replace(signal, bind=f"Consumer.{prefix.title()}{number}"))
        index = signal.end
    return Map(entries=tuple(entries)), Map(entries=tuple(consumed))


@cache
def _directions(size_octets: int, prefix: str) -> st.SearchStrategy[tuple[Map, Map]]:
    return _clean_map(size_octets, prefix)


@cache
def _two_of(low: int, high: int) -> st.SearchStrategy[list[int]]:
    return st.lists(st.integers(low, high), min_size=2, max_size=2, unique=True)


@st.composite
def clean_connections(draw: st.DrawFn, profile: str | None = None) -> Connection:
    """Draw two ends that agree: legal sizes, no holes, unique names and bindings, safe 0.

    Without a profile it is the first one with frames. UsageError names a profile whose maps are
    restricted to one way or to few types.
    """
    clean = _clean_facts(profile)
    connection_table = ConnectionTable(
        name="SC1-LX",
        profile=clean.profile,
        edition=clean.edition,
        id=draw(_integers(*clean.ids)),
        watchdog_ms=draw(_integers(100, 500)),
        exchange_ms=draw(_integers(4, 20)),
        legal_octets=clean.legal_octets,
    )
    addresses = draw(_two_of(*clean.addresses))
    down = draw(_directions(draw(_one_of(*clean.sizes)), "order"))
    up = draw(_directions(draw(_one_of(*clean.sizes)), "state"))
    first = End(
        name="SC1",
        peer="LX",
        connection_table=connection_table,
        role=clean.roles[0],
        address=addresses[0],
        sends=down[0],
        receives=up[1],
    )
    second = End(
        name="LX",
        peer="SC1",
        connection_table=connection_table,
        role=clean.roles[1],
        address=addresses[1],
        sends=up[0],
        receives=down[1],
    )
    return Connection(first=first, second=second)
