"""One end's map: what it states, and for each direction a bit table and a grid of octets."""

from __future__ import annotations

from .._bits import Place
from .._grids import grid
from .._model import End, Map, Reserved, Signal
from .._words import count
from .document import Document, Facts, Grids, Section, Table

_HEAD = ("place", "width", "type", "signal", "safe", "meaning", "binding")


def document(given: End) -> Document:
    """Return everything that one map file says."""
    stated = given.connection_table
    edition = f" ({stated.edition})" if stated.edition else ""
    facts = (
        ("connection", stated.name),
        ("profile", f"{stated.profile}{edition}"),
        ("id", "" if stated.id is None else f"{stated.id:#06x} ({stated.id})"),
        ("watchdog", _milliseconds(stated.watchdog_ms)),
        ("exchange", _milliseconds(stated.exchange_ms)),
        ("permitted reaction", _milliseconds(stated.permitted_reaction_ms)),
        ("legal sizes", ", ".join(map(str, stated.legal_octets))),
        ("network", stated.network),
        ("role", given.role),
        ("address", "" if given.address is None else str(given.address)),
        *((name, str(value) or '""') for name, value in given.parameters),
        *(
            ("relation", f"{relation.name}: {relation}, because: {relation.reason}")
            for relation in given.relations
        ),
        *(
            (f"allows {one.rule}", f"{one.signal or 'anywhere'}: {one.reason}")
            for one in given.allowances
        ),
        ("note", given.note),
        ("imported from", _origin(given)),
    )
    return Document(
        f"{given.name}, peer {given.peer}",
        (
            Facts(tuple(fact for fact in facts if fact[1])),
            _direction(f"{given.name} sends", given.sends),
            _direction(f"{given.name} receives", given.receives),
        ),
        footer=(),
    )


def _origin(given: End) -> str:
    origin = given.imported
    if origin is None:
        return ""
    taken = "".join(f", {word}" for word in (*origin.select, *origin.options))
    return f"{origin.file} ({origin.format}{taken}), SHA-256 {origin.sha256}"


def _milliseconds(time: int | None) -> str:
    return "" if time is None else f"{time} ms"


def _direction(title: str, data: Map) -> Section:
    sizes = f"{count(data.size_octets, 'octet')}, {count(len(data.signals), 'signal')}"
    if not data.entries:
        return Section(f"{title}: {sizes}")
    return Section(
        f"{title}: {sizes}",
        (Table(tuple(map(_row, data.entries)), _HEAD), Grids((grid(title, data),), title)),
        kind="long",
    )


def _row(entry: Signal | Reserved) -> tuple[str, ...]:
    place = str(entry.at)
    if entry.width > 1:
        place = f"{place}-{Place.at(entry.end - 1)}"
    if isinstance(entry, Reserved):
        return place, str(entry.width), "", "(reserved)", str(entry.value), entry.note, ""
    kind = entry.type if entry.order == "little" else f"{entry.type}, big-endian"
    return (
        place,
        str(entry.width),
        kind,
        entry.name,
        _safe(entry),
        _meaning(entry),
        entry.bind or "(unbound)",
    )


def _safe(signal: Signal) -> str:
    name = dict(signal.codes).get(int(signal.safe)) if signal.codes else None
    return str(signal.safe) if name is None else f"{signal.safe} ({name})"


def _meaning(signal: Signal) -> str:
    parts = [
        f"1 = {signal.one_means}" if signal.one_means else "",
        ", ".join(f"{value} = {name}" for value, name in signal.codes),
        f"{signal.edge} edge" if signal.edge else "",
        f"times {signal.scale}" if signal.scale != "1" else "",
        f"in {signal.unit}" if signal.unit else "",
        f"valid by {signal.valid_by}" if signal.valid_by else "",
        f"mirrors {signal.mirrors}" if signal.mirrors else "",
        signal.note,
    ]
    return "; ".join(part for part in parts if part)
