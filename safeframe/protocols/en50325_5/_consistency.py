"""What one end of EN 50325-5 states about its identifiers, its mapping and its checksum."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..._errors import UsageError
from ..._model import End


def _consistency(end: End) -> Iterator[tuple[str, str, str]]:
    """Yield key, sentence and remedy of each value that contradicts a rule or another value."""
    from . import _checksum as config  # deferred: few maps are of this protocol.
    from ._frame import identifier_problem

    stated: dict[str, Any] = dict(end.parameters)
    first, second = stated.get("identifier_1"), stated.get("identifier_2")
    if (
        type(first) is int
        and type(second) is int
        and (problem := identifier_problem(first, second))
    ):
        yield _said(end, "identifier_1", problem, "use an odd identifier and the next one")
    for name in ("sct_ms", "srvt_ms"):
        if type(time := stated.get(name)) is int and not time:
            text = f"{name} must be longer than 0 ms: within 0 ms no message follows another"
            yield _said(end, name, text, "state the time that the device is configured with")
    direction, map_ = ("send", end.sends) if end.sends.entries else ("receive", end.receives)
    sct, watchdog = stated.get("sct_ms"), end.connection_table.watchdog_ms
    if direction == "receive" and type(sct) is int and watchdog not in (None, sct):
        text = f"the SCT of the receiver is {sct} ms, its watchdog {watchdog} ms"
        yield _said(end, "sct_ms", text, "state the SCT of the receiver as the watchdog")
    exchange = end.connection_table.exchange_ms
    if type(sct) is int and exchange is not None and exchange > sct:
        text = f"the exchange time is {exchange} ms, longer than the SCT of {sct} ms"
        yield _said(end, "sct_ms", text, "send a pair within every SCT")
    mapping = stated.get("mapping")
    if not isinstance(mapping, str):
        return
    try:
        entries = config.entries_of(mapping)
    except UsageError as error:
        yield _said(end, "mapping", str(error), "write index, sub-index and length of each entry")
        return
    if problem := config.mapping_problem(entries):
        yield _said(end, "mapping", problem, "map each object and its inverted copy in turn")
    elif (bits := sum(entry.bits for entry in entries[::2])) != map_.size_bits:
        text = f"the plain entries of the mapping have {bits} bits, the map {map_.size_bits}"
        yield _said(end, "mapping", text, "state the mapping the map was made from")
    names = "sct_ms", "srvt_ms", "identifier_1", "identifier_2"
    numbers: dict[str, Any] = {name: stated.get(name) for name in names}
    claimed = stated.get("checksum")
    if type(claimed) is not int or any(type(value) is not int for value in numbers.values()):
        return
    try:
        covered = config.steps(direction=direction, entries=entries, **numbers)
    except UsageError:
        return  # A value out of its range has a finding of its own.
    if (computed := config.checksum(covered)) != claimed:
        text = f"the checksum is 0x{claimed:04X}, but from the parameters follows 0x{computed:04X}"
        yield _said(end, "checksum", text, "state the parameters and the checksum of one release")


def _said(end: End, name: str, problem: str, remedy: str) -> tuple[str, str, str]:
    return f"parameters.{name}", f"{end.name}: {problem}", remedy


CONSISTENCY = _consistency
