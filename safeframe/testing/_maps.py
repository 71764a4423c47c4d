"""Strategies for maps, ends and connections.

``ends()`` draws any End that a map file can hold, wrong ones included; ``clean_connections()``
draws two ends that agree bit for bit, in which a check finds no error.
"""

from __future__ import annotations

import dataclasses
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

__all__ = [
    "clean_connections",
    "ends",
    "lines",
    "maps",
    "names",
    "notes",
    "places",
    "relations",
    "reserved",
    "signals",
]

_PRINTABLE = st.characters(exclude_categories=("C", "Z"), include_characters=" ")
_FLOAT_BITS = (16, 32, 64)


def names() -> st.SearchStrategy[str]:
    """Draw one line of text to be seen, neither empty nor blank, any script, plain ASCII often."""
    plain = st.text("abcdefghijklmnopqrstuvwxyz_0123456789.\"'\\#[]{}=,; ", min_size=1, max_size=12)
    drawn = plain | st.text(_PRINTABLE, min_size=1, max_size=12)
    return drawn.filter(lambda text: is_visible(text) and not text.isspace())


def lines() -> st.SearchStrategy[str]:
    """Draw one line of printable text, often empty."""
    return st.just("") | names()


def notes() -> st.SearchStrategy[str]:
    """Draw a text of several lines, often empty."""
    tricky = st.sampled_from(["[[sends]]", "# no comment", '"""', "'''", '{ at = "0.0" },', "\t"])
    return st.just("") | st.lists(lines() | tricky, max_size=4).map("\n".join)


def places(max_octets: int = 64) -> st.SearchStrategy[Place]:
    """Draw a place within ``max_octets`` octets."""
    return st.integers(0, 8 * max_octets - 1).map(Place.at)


@st.composite
def signals(draw: st.DrawFn) -> Signal:
    """Draw one legal signal at any place."""
    kind = draw(st.sampled_from(("bool", "uint", "int", "float", "code")))
    at = draw(places())
    width, order, codes = 1, "little", ()
    safe: int | float = 0
    if kind == "float":
        width = draw(st.sampled_from(_FLOAT_BITS))
        safe = draw(
            st.floats(width=width, allow_nan=False, allow_infinity=False)  # type: ignore[arg-type]
        )
    elif kind != "bool":
        width = draw(st.integers(1, 32) | st.sampled_from((64, 128, 1000)))
    if kind != "bool" and width % 8 == 0 and at.bit == 0:
        order = draw(st.sampled_from(("little", "big")))
    high = (1 << width) - 1
    if kind == "int":
        safe = draw(st.integers(-(high + 1) // 2, high // 2))
    elif kind != "float":
        safe = draw(st.integers(0, high))
    if kind == "code":
        codes = tuple(  # type: ignore[assignment]
            sorted(draw(st.dictionaries(st.integers(0, high), names(), max_size=4)).items())
        )
    return Signal(
        name=draw(names()),
        at=at,
        width=width,
        type=kind,
        order=order,
        safe=safe,
        codes=codes,
        edge=draw(st.sampled_from(EDGES)),
        scale=draw(st.sampled_from(("1", "0.1", "-2.50", "1e-3", "1000", "0.0000001"))),
        one_means=draw(lines()),
        unit=draw(st.sampled_from(("", "mm/s", "°C"))),
        valid_by=draw(lines()),
        mirrors=draw(lines()),
        bind=draw(lines()),
        note=draw(notes()),
    )


@st.composite
def reserved(draw: st.DrawFn) -> Reserved:
    """Draw one reserved run at any place."""
    width = draw(st.integers(1, 70))
    return Reserved(
        at=draw(places(MAX_OCTETS // 2)),
        width=width,
        value=draw(st.just(0) | st.integers(0, (1 << width) - 1)),
        note=draw(notes()),
    )


def maps(max_size: int = 6) -> st.SearchStrategy[Map]:
    """Draw any map: holes, overlaps, wrong order and repeated names included."""
    entries = st.lists(signals() | reserved(), max_size=max_size)
    return entries.map(lambda drawn: Map(entries=tuple(drawn)))


def _scalars() -> st.SearchStrategy[Scalar]:
    return (
        lines()
        | st.booleans()
        | st.integers(-(1 << 63), (1 << 64) - 1)
        | st.floats(allow_nan=False, allow_infinity=False)
    )


def _conditions() -> st.SearchStrategy[Conditions]:
    numbers = st.lists(st.integers(-(1 << 40), 1 << 70), min_size=1, max_size=3, unique=True)
    named = names() | names().map("receives.{}".format)
    tables = st.dictionaries(named, numbers.map(sorted).map(tuple), min_size=1, max_size=3)
    return tables.map(lambda table: tuple(sorted(table.items())))


@st.composite
def relations(draw: st.DrawFn) -> Relation:
    """Draw any relation that a map file can hold."""
    kind = draw(st.sampled_from(RELATION_KINDS))
    if kind == "follows":
        after_ms = draw(st.integers(0, 1000))
        within_ms = draw(st.none() | st.integers(after_ms, 2000))
    else:
        after_ms, within_ms = 0, None
    stated: dict[str, Any] = {kind: draw(_conditions())}
    return Relation(
        name=draw(names()),
        when=draw(_conditions()),
        after_ms=after_ms,
        within_ms=within_ms,
        reason=draw(names()),
        **stated,
    )


@st.composite
def ends(draw: st.DrawFn) -> End:
    """Draw any End that a map file can hold."""
    number = st.none() | st.integers(0, (1 << 64) - 1)
    milliseconds = st.none() | st.integers(0, (1 << 32) - 1)
    connection_table = ConnectionTable(
        name=draw(names()),
        profile=draw(names()),
        edition=draw(lines()),
        id=draw(number),
        watchdog_ms=draw(milliseconds),
        exchange_ms=draw(milliseconds),
        permitted_reaction_ms=draw(milliseconds),
        legal_octets=tuple(draw(st.lists(st.integers(1, MAX_OCTETS), max_size=4))),
        network=draw(lines()),
    )
    allowances = st.builds(Allowance, rule=names(), reason=names(), signal=lines())
    return End(
        name=draw(names()),
        peer=draw(names()),
        connection_table=connection_table,
        role=draw(lines()),
        address=draw(number),
        sends=draw(maps()),
        receives=draw(maps()),
        relations=tuple(
            draw(st.lists(relations(), max_size=3, unique_by=lambda relation: relation.name))
        ),
        parameters=tuple(sorted(draw(st.dictionaries(names(), _scalars(), max_size=4)).items())),
        allowances=tuple(draw(st.lists(allowances, max_size=3))),
        note=draw(notes()),
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


@st.composite
def _clean_map(draw: st.DrawFn, size_octets: int, prefix: str) -> tuple[Map, Map]:
    """Draw one direction as its producer and as its consumer see it, filled without a gap."""
    entries: list[Signal | Reserved] = []
    consumed: list[Signal | Reserved] = []
    index, size_bits = 0, 8 * size_octets
    while index < size_bits:
        left = size_bits - index
        kind = draw(st.sampled_from(("bool", "bool", "bool", "uint", "code", "reserved")))
        if left == 1 and not any(isinstance(entry, Signal) for entry in entries):
            kind = "bool"  # a direction holds at least one signal
        at, number = Place.at(index), len(entries)
        if kind == "reserved":
            run = Reserved(at=at, width=draw(st.integers(1, min(max(left - 1, 1), 16))))
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
        width = 1 if kind == "bool" else draw(st.sampled_from(widths))
        codes = tuple((code, f"level {code}") for code in range(1 << width))
        signal = Signal(
            name=f"{prefix}_{number}",
            at=at,
            width=width,
            type=kind,
            codes=codes if kind == "code" else (),
            one_means=f"{prefix} {number} is on" if kind == "bool" else "",
            bind=f"Producer.{prefix.title()}{number}",
        )
        entries.append(signal)
        consumed.append(dataclasses.replace(signal, bind=f"Consumer.{prefix.title()}{number}"))
        index = signal.end
    return Map(entries=tuple(entries)), Map(entries=tuple(consumed))


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
        id=draw(st.integers(*clean.ids)),
        watchdog_ms=draw(st.integers(100, 500)),
        exchange_ms=draw(st.integers(4, 20)),
        legal_octets=clean.legal_octets,
    )
    addresses = draw(st.lists(st.integers(*clean.addresses), min_size=2, max_size=2, unique=True))
    down = draw(_clean_map(draw(st.sampled_from(clean.sizes)), "order"))
    up = draw(_clean_map(draw(st.sampled_from(clean.sizes)), "state"))
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
