"""A map held against what a device file says of the same end, by the rules for two ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from .._canonical import parameters
from .._findings import Finding, Report, Spot
from .._model import Connection, DeviceMap, End, Map, Reserved, Scalar, Signal
from .._value import replace

__all__ = ["COMPARED", "against", "not_compared"]

COMPARED = frozenset(
    (
        *("one-sided-signal", "shifted-signals", "swapped-signals", "moved-signal"),
        *("width-differs", "reserve-differs", "size-differs", "type-differs", "order-differs"),
        *("octet-order", "bit-numbering", "rearranged-signals", "field-bit-order"),
        *("renamed-signal", "near-miss-name", "codes-differ", "directions-exchanged"),
        *("profile-differs", "overlap", "hole", "duplicate-name", "wrong-file"),
    )
)
"""The rules whose findings count: what a device file can say."""

_RULES_OF = {
    "safe": "safe-value-differs",
    "one_means": "meaning-differs",
    "edge": "edge-differs",
    "unit": "unit-differs",
    "scale": "scale-differs",
    "valid_by": "validity-differs",
}
"""Keys that a sheet may have columns for, and the rule that compares each."""
_OF_SIGNALS = (*_RULES_OF, "mirrors", "bind", "note")
_WORDS = {
    "safe": "value on loss",
    "one_means": "meaning of 1",
    "valid_by": "validity",
    "bind": "binding",
    "note": "remarks",
}


def against(map_: End, told: DeviceMap, check: Callable[[Connection], Report]) -> Report:
    """Return the findings between a map and the other end as its device file describes it.

    Keys that no device file holds are taken from the map, so that they cannot differ.
    """
    name = told.file if told.file != map_.name else f"file {told.file}"
    here = replace(
        map_,
        peer=name,
        allowances=(),
        relations=(),
        sends=map_.sends if "sends" in told.directions else Map(),
        receives=map_.receives if "receives" in told.directions else Map(),
    )
    there = replace(
        told.end,
        name=name,
        peer=map_.name,
        role="",
        connection_table=replace(map_.connection_table, profile=told.end.connection_table.profile),
        parameters=_parameters(map_, told.end),
        sends=_like(told.end.receives, map_.receives, told.held),
        receives=_like(told.end.sends, map_.sends, told.held),
    )
    connection = Connection(first=here, second=there)
    report = check(connection)
    rules = COMPARED | {rule for key, rule in _RULES_OF.items() if key in told.held}
    if told.end.parameters:
        rules |= {"parameter-differs"}
    kept = (
        *(finding for finding in report.findings if finding.rule in rules),
        *_of_this_end_alone(connection, told),
    )
    return replace(report, findings=kept, not_judged=(), waived=())


def not_compared(map_: End, told: DeviceMap) -> tuple[str, ...]:
    """Return what stays open although a map agrees with the file."""
    words = [_WORDS.get(key, key) for key in _OF_SIGNALS if key not in told.held]
    file = "the file does not hold them"
    if told.end.parameters:
        file = "not held by the file, but for its parameters"
    stated = dict(map_.parameters)
    unstated = ", ".join(name for name, _ in told.end.parameters if name not in stated)
    return (
        f"{', '.join(words)}, relations, ids, times and addresses: {file}",
        *((f"{unstated}: {map_.name} does not state what the file holds",) if unstated else ()),
        *(
            f"what {map_.name} {side}: nothing was selected for it"
            for side in ("sends", "receives")
            if side not in told.directions and getattr(map_, side).entries
        ),
    )


def _parameters(map_: End, told: End) -> tuple[tuple[str, Any], ...]:
    """Return the parameters of the map, with what the file says of those that it states, too."""
    said = dict(told.parameters)
    return tuple((name, said.get(name, value)) for name, value in map_.parameters)


def _of_this_end_alone(connection: Connection, told: DeviceMap) -> Iterator[Finding]:
    """Find parameters that the other end does not share and the file says otherwise than the map.

    The rules for two ends take these as they are; here both are of one end.
    """
    map_, there = connection.ends
    said = {found.name: found for found in parameters(told.end)}
    for stated in parameters(map_):
        theirs = said.get(stated.name)
        if stated.shared or theirs is None or _spelt(stated.value) == _spelt(theirs.value):
            continue
        key = f"parameters.{stated.name}"
        yield Finding(
            rule="parameter-differs",
            severity="error",
            message=f"the parameter {stated.name} is {stated.value} at {map_.name}, "
            f"{theirs.value} in {told.file}",
            remedy="find out which value is right, then state it in the map or load it into the "
            "device",
            spots=(
                Spot(end=map_.name, where=map_.locate(key)),
                Spot(end=there.name, where=there.locate(key)),
            ),
            connection=connection.name,
        )


def _spelt(value: Scalar) -> Any:
    """Return words of hexadecimal digits, or a number, however they are written."""
    if not isinstance(value, str):
        return type(value), value
    return [word.removeprefix("0x") for word in value.casefold().replace(",", " ").split()]


def _like(told: Map, written: Map, held: tuple[str, ...]) -> Map:
    """Return the file's map with what the file cannot say taken from the written one."""
    by_name = {signal.name: signal for signal in written.signals}
    by_place = {(signal.start, signal.width): signal for signal in written.signals}
    entries: list[Signal | Reserved] = []
    for entry in told.entries:
        if isinstance(entry, Signal):
            twin = by_name.get(entry.name) or by_place.get((entry.start, entry.width))
            if twin is not None:
                entry = _with(entry, twin, held)
        entries.append(entry)
    return replace(told, entries=tuple(entries))


def _with(entry: Signal, twin: Signal, held: tuple[str, ...]) -> Signal:
    same: dict[str, Any] = {key: getattr(twin, key) for key in _OF_SIGNALS if key not in held}
    if twin.type == "code" and entry.type in ("uint", "bool") and "codes" not in held:
        same |= {"type": "code", "codes": twin.codes}
    return replace(entry, **same)
