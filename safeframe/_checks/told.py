"""A map held against what a device file says of the same end, by the rules for two ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from .._canonical import parameters
from .._findings import Finding, NotJudged, Report, Spot, each_one
from .._model import Connection, DeviceMap, End, Map, Reserved, Scalar, Signal
from .._value import replace
from .._words import count
from .connection_table import shown
from .registry import PLANT_CHECKS

_NOT_OF_A_FILE = frozenset(
    (
        *("connection-name-differs", "edition-differs", "unknown-profile", "role-conflict"),
        *("connection-id-missing", "connection-id-differs", "address-range", "relations-differ"),
        *("parameter-contradicts", "parameters-do-not-fit", "parameter-invalid"),
        *("watchdog-differs", "watchdog-too-short", "watchdog-too-long", "assumed-mirror"),
        *("relation-unknown-signal", "relation-contradicts", "safe-state-forbidden"),
        *("unbound-signal", "binding-reused", "ends-of-one-file"),
    )
)
"""Rules about what no device file says: it is taken from the map, and ``check`` judges that."""
_OF_ONE_MAP = frozenset(
    (
        *("illegal-size", "no-signals", "place-order", "padding-as-signal", "member-type"),
        *("value-across-blocks", "above-tested-size", "one-way", "unnormalised-name"),
        *("nonzero-safe-value", "missing-code-points", "value-without-validity"),
        "reserved-not-zero",
    )
)
"""Rules that a map breaks by itself, and a file that agrees with it as well."""

LEFT_OUT = _NOT_OF_A_FILE | _OF_ONE_MAP
"""Rules about one connection whose findings are no difference between a map and a file.

Any other counts.
"""

_RULES_OF = {
    "safe": "safe-value-differs",
    "one_means": "meaning-differs",
    "edge": "edge-differs",
    "unit": "unit-differs",
    "scale": "scale-differs",
    "valid_by": "validity-differs",
}
"""Keys of signals that a sheet may have columns for, and the rule that compares each."""
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
    left_out = LEFT_OUT | {rule.name for rule, _ in PLANT_CHECKS}
    left_out |= {rule for key, rule in _RULES_OF.items() if key not in told.held}
    if not told.end.parameters:
        left_out |= {"parameter-differs"}
    kept = (
        *(finding for finding in report.findings if finding.rule not in left_out),
        *_of_this_end_alone(connection, told),
        *_reserve_values(map_, told),
    )
    return replace(report, findings=kept, not_judged=(), waived=())


def not_compared(map_: End, told: DeviceMap) -> tuple[str, ...]:
    """Return what stays open although a map agrees with the file."""
    words = [_WORDS.get(key, key) for key in _OF_SIGNALS if key not in told.held]
    if "value" not in told.held and any(
        entry.value
        for side in told.directions
        for entry in _of(map_, side).entries
        if isinstance(entry, Reserved)
    ):
        words.append("values of reserve")
    if any(_nameless(map_, told)):
        words.append("names of values")
    file = "the file does not hold them"
    if told.end.parameters:
        file = "not held by the file, but for its parameters"
    unstated = _unstated(map_, told)
    return (
        f"{', '.join(words)}, relations, ids, times and addresses: {file}",
        *((f"{unstated}: {map_.name} does not state what the file holds",) if unstated else ()),
        *(
            f"what {map_.name} {side}: nothing was selected for it"
            for side in unselected(map_, told)
        ),
    )


def fact(told: DeviceMap, report: Report) -> str:
    """Return what the comparison with a device file came to."""
    if report.findings:
        least = "at least " * any(one.unlisted is None for one in report.findings)
        return f"{least}{count(len(list(each_one(report.findings))), 'difference')}"
    part = ""
    if len(told.directions) == 1:
        part = f" of what {told.end.name} {told.directions[0]}"
    return f"places, widths, types, order and names{part} agree"


def left_open(connection: str, map_: End, told: DeviceMap) -> Iterator[NotJudged]:
    """Yield data and parameters that map and file do not both tell, and notes about the file."""
    parts = [f"what {map_.name} {side}" for side in unselected(map_, told)]
    if parts:
        reason = f"nothing is selected for it in {told.file}"
        yield NotJudged(connection, "", reason, " and ".join(parts))
    if names := _unstated(map_, told):
        reason = f"{map_.name} does not state what {told.file} holds"
        yield NotJudged(connection, "", reason, names)
    for note in told.notes:
        yield NotJudged(connection, "", note, f"what {told.file} leaves to its reader")


def _unstated(map_: End, told: DeviceMap) -> str:
    stated = dict(map_.parameters)
    return ", ".join(name for name, _ in told.end.parameters if name not in stated)


def unselected(map_: End, told: DeviceMap) -> tuple[str, ...]:
    """Return the directions in which the map has data and nothing of the file was selected."""
    return tuple(
        side
        for side in ("sends", "receives")
        if side not in told.directions and _of(map_, side).entries
    )


def _of(end: End, side: str) -> Map:
    found: Map = getattr(end, side)
    return found


def _nameless(map_: End, told: DeviceMap) -> Iterator[Signal]:
    """Yield codes of the map whose values the file does not name: these are taken from the map."""
    if "codes" not in told.held:
        for side in told.directions:
            find = _twins(_of(map_, side))
            for entry in _of(told.end, side).signals:
                twin = find(entry)
                if twin is not None and twin.type == "code" and entry.type != "code":
                    yield twin


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
            message=f"the parameter {stated.name} is {shown(stated.value)} at "
            f"{map_.name}, {shown(theirs.value)} in {told.file}",
            remedy="find out which value is right, then state it in the map or load it into the "
            "device",
            spots=(
                Spot(end=map_.name, where=map_.locate(key)),
                Spot(end=there.name, where=there.locate(key)),
            ),
            connection=connection.name,
            culprits=(("", key),),
        )


def _reserve_values(map_: End, told: DeviceMap) -> Iterator[Finding]:
    """Find reserve that both have, and to which map and file give different values."""
    for side in told.directions if "value" in told.held else ():
        theirs, values = 0, 0
        for entry in _of(told.end, side).entries:
            if isinstance(entry, Reserved):
                theirs |= ((1 << entry.width) - 1) << entry.start
                values |= entry.value << entry.start
        for entry in _of(map_, side).entries:
            if not isinstance(entry, Reserved):
                continue
            mask = (theirs >> entry.start) & ((1 << entry.width) - 1)
            said = (values >> entry.start) & mask
            if said != entry.value & mask:
                yield Finding(
                    rule="reserved-not-zero",
                    severity="error",
                    message=f"the reserve of {entry.width} bits at {entry.at} is {entry.value} at "
                    f"{map_.name}, {said} in {told.file}",
                    remedy="find out which value the device takes; reserved bits should be 0",
                    spots=(
                        Spot(end=map_.name, where=entry.where, place=entry.at),
                        Spot(end=told.file, where=told.end.where, place=entry.at),
                    ),
                    connection=map_.connection_table.name,
                )


def _spelt(value: Scalar) -> Any:
    """Return words of hexadecimal digits, or a number, however they are written."""
    if not isinstance(value, str):
        return type(value), value
    return [word.removeprefix("0x") for word in value.casefold().replace(",", " ").split()]


def _like(told: Map, written: Map, held: tuple[str, ...]) -> Map:
    """Return the file's map with what the file cannot say taken from the written one."""
    twin = _twins(written)
    entries: list[Signal | Reserved] = []
    for entry in told.entries:
        if isinstance(entry, Signal):
            same = twin(entry)
            if same is not None:
                entry = _with(entry, same, held)
        entries.append(entry)
    return replace(told, entries=tuple(entries))


def _twins(written: Map) -> Callable[[Signal], Signal | None]:
    """Return what finds the signal of a map that one of a file is: by its name, else its place."""
    by_name = {signal.name: signal for signal in written.signals}
    by_place = {(signal.start, signal.width): signal for signal in written.signals}
    return lambda one: by_name.get(one.name) or by_place.get((one.start, one.width))


def _with(entry: Signal, twin: Signal, held: tuple[str, ...]) -> Signal:
    same: dict[str, Any] = {key: getattr(twin, key) for key in _OF_SIGNALS if key not in held}
    if twin.type == "code" and entry.type in ("uint", "bool") and "codes" not in held:
        same |= {"type": "code", "codes": twin.codes}
    return replace(entry, **same)
