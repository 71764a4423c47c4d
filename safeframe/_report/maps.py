"""One end's map for a human: a bit table per direction and a grid of octets."""

from __future__ import annotations

from collections.abc import Sequence

from .._bits import Place
from .._model import End, Map, Reserved, Signal
from .text import PLAIN, Look, clean, columns, table

__all__ = ["end"]

_CELL = 8
"""Columns of a grid cell: eight of them and the octet number fit 80 columns."""

_HEAD = ("place", "width", "type", "signal", "safe", "meaning", "binding")


def end(given: End, *, look: Look = PLAIN) -> str:
    """Return everything that one map file says."""
    connection_table = given.connection_table
    profile = (
        f"{connection_table.profile} ({connection_table.edition})"
        if connection_table.edition
        else connection_table.profile
    )
    facts = [
        ("connection", connection_table.name),
        ("profile", profile),
        (
            "id",
            ""
            if connection_table.id is None
            else f"{connection_table.id} ({connection_table.id:#06x})",
        ),
        ("watchdog", _milliseconds(connection_table.watchdog_ms)),
        ("exchange", _milliseconds(connection_table.exchange_ms)),
        ("permitted reaction", _milliseconds(connection_table.permitted_reaction_ms)),
        ("legal sizes", ", ".join(map(str, connection_table.legal_octets))),
        ("network", connection_table.network),
        ("role", given.role),
        ("address", "" if given.address is None else str(given.address)),
        *((name, str(value)) for name, value in given.parameters),
        *(("relation", f"{relation.name}: {relation}") for relation in given.relations),
        *((f"allows {a.rule}", f"{a.signal}: {a.reason}") for a in given.allowances),
        ("note", given.note),
    ]
    title = f"{clean(given.name)}, peer {clean(given.peer)}"
    lines = [look.paint("strong", title), *table((f for f in facts if f[1]), indent="  ")]
    for verb, data in (("sends", given.sends), ("receives", given.receives)):
        lines += ["", *_direction(f"{clean(given.name)} {verb}", data, look)]
    return "\n".join(lines) + "\n"


def _milliseconds(time: int | None) -> str:
    return "" if time is None else f"{time} ms"


def _direction(title: str, data: Map, look: Look) -> list[str]:
    size, signals = data.size_octets, len(data.signals)
    head = f"{title}: {size} octet{'s'[: size != 1]}, {signals} signal{'s'[: signals != 1]}"
    if not data.entries:
        return [look.paint("strong", head)]
    rows = [_HEAD, *(_row(entry) for entry in data.entries)]
    return [look.paint("strong", head), *table(rows, indent="  "), "", *_grid(data, look)]


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


def _grid(data: Map, look: Look) -> list[str]:
    """Return the octets as rows, bit 7 on the left as in most data sheets, and a legend."""
    short = _abbreviations([signal.name for signal in data.signals])
    cells = ["?"] * (8 * data.size_octets)
    for entry in data.entries:
        label = "-" if isinstance(entry, Reserved) else short[entry.name]
        for index in range(entry.start, entry.end):
            cells[index] = label if cells[index] == "?" else "!"
    head = ["octet", *(f"bit {bit}" for bit in range(7, -1, -1))]
    rows = [
        [str(octet), *reversed(cells[8 * octet : 8 * octet + 8])]
        for octet in range(data.size_octets)
    ]
    legend = [f"{label} is {clean(name)}" for name, label in short.items() if label != name]
    signs = {"-": "- is reserved", "?": "? is declared by nobody", "!": "! is declared twice"}
    legend += [text for sign, text in signs.items() if sign in cells]
    return [
        *table([head, *rows], indent="  "),
        *look.wrap(", ".join(legend), first="  where ", rest="        "),
    ]


def _abbreviations(names: Sequence[str]) -> dict[str, str]:
    """Return a label of at most eight columns for every name, different for different names."""
    labels: dict[str, str] = {}
    numbers = iter(range(1, 2 * len(names) + 1))
    for name in names:
        label = labels.get(name) or _abbreviate(clean(name))
        while name not in labels and label in labels.values():
            label = f"#{next(numbers)}"
        labels[name] = label
    return labels


def _abbreviate(name: str) -> str:
    """Leave out vowels inside words, then separators, from the right until the name fits."""
    for droppable in ("aeiouAEIOU", "_-. "):
        for index in range(len(name) - 1, 0, -1):
            if columns(name) <= _CELL:
                return name
            if name[index] in droppable and name[index - 1] not in "_-. ":
                name = name[:index] + name[index + 1 :]
    while columns(name) > _CELL:
        name = name[:-1]
    return name
