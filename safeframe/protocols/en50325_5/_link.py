"""What the maps of a connection say about messages of EN 50325-5: one data object, one direction.

The refresh time (SCT) of the receiver is its watchdog, that of the sender its longest cycle.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._engine.parts import check_given
from ..._errors import UsageError
from ..._model import Connection, End
from ..link import LinkTraits, agreed, shared_parameter
from ._checksum import default_identifiers
from ._frame import RECIPE, identifier_problem

_SENDER, _RECEIVER = "sender", "receiver"
_APART_US = 1000
"""Time from the plain to the inverted message of a pair that is built, or the SRVT; by choice."""


def _senders(connection: Connection) -> tuple[str, str]:
    sending = [bool(end.sends.entries) for end in connection.ends]
    if sum(sending) != 1:
        names = " and ".join(end.name for end in connection.ends)
        raise UsageError(
            f"{connection.name} must have one end that sends, because a data object has one "
            f"direction: {names} {'both send' if all(sending) else 'send nothing'}"
        )
    return (_SENDER, _RECEIVER) if sending[0] else (_RECEIVER, _SENDER)


def _ends(connection: Connection) -> tuple[End, End]:
    """Return the sender and the receiver."""
    first, second = connection.ends
    return (first, second) if _senders(connection)[0] == _SENDER else (second, first)


def _number(name: str, value: Any) -> int:
    """Return a number that a map or somebody states; UsageError for anything else."""
    check_given(RECIPE, {name: value})
    return int(value)


def _identifier(connection: Connection, given: Mapping[str, Any]) -> int:
    """Return the first identifier: the stated one, or the default of the sender's node."""
    if "identifier_1" in given:
        return _number("identifier_1", given["identifier_1"])
    sender = _ends(connection)[0]
    places = []
    for name, less in (("identifier_1", 0), ("identifier_2", 1)):
        stated = [(end, dict(end.parameters).get(name)) for end in connection.ends]
        found = agreed(name, [(end, value) for end, value in stated if value is not None])
        if found is not None:
            places.append(_number(name, found) - less)
    if len(set(places)) == 2:
        raise UsageError(identifier_problem(places[0], places[1] + 1))
    if places:
        return places[0]
    if sender.address is None:
        raise UsageError(
            f"{sender.name} must state the parameter identifier_1, or its node as address, "
            "for messages to be known"
        )
    return default_identifiers(sender.address)[0]


def _refresh_ms(receiver: End) -> int | None:
    """Return how long the receiver waits for the next pair, None where its map does not say."""
    stated, watchdog = (
        dict(receiver.parameters).get("sct_ms"),
        receiver.connection_table.watchdog_ms,
    )
    if stated is not None and watchdog is not None and stated != watchdog:
        raise UsageError(
            f"{receiver.name} ({receiver.where}) must state one time, not sct_ms {stated} and "
            f"watchdog_ms {watchdog}: its watchdog is its SCT"
        )
    return watchdog if stated is None else _number("sct_ms", stated)


def _settings(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    receiver = _ends(connection)[1]
    found: dict[str, Any] = {
        "identifier_1": _identifier(connection, given),
        "mapped_octets": receiver.receives.size_octets,
    }
    validation = given.get("srvt_ms")
    if validation is None:
        validation = shared_parameter(connection, "srvt_ms")
    found["srvt_ms"] = _number("srvt_ms", validation)
    refresh = given.get("sct_ms")
    found["sct_ms"] = _refresh_ms(receiver) if refresh is None else _number("sct_ms", refresh)
    return found


def _data_of(octets: bytes) -> bytes | None:
    """Return the data that are complete with a message: those of an inverted one, or of a pair."""
    size = octets[2]
    if len(octets) > 3 + size:
        return octets[3 : 3 + size]
    return None if octets[1] & 1 else bytes(octet ^ 0xFF for octet in octets[3:])


def _cycle_ms(connection: Connection) -> int | None:
    found: Any = dict(_ends(connection)[0].parameters).get("sct_ms")
    return None if found is None else _number("sct_ms", found)


def _stated(end: End) -> dict[str, Any]:
    stated: dict[str, Any] = dict(end.parameters)
    found: dict[str, Any] = {
        name: _number(name, stated[name])
        for name in ("identifier_1", "identifier_2")
        if name in stated
    }
    if not found and end.sends.entries and end.address is not None:
        found["node"] = end.address
    return found


LINK = LinkTraits(
    senders=_senders,
    settings=_settings,
    values=lambda carries, data, time_us: {"data": data},
    data_of=_data_of,
    first=_SENDER,
    kind=lambda data_octets, settings: "plain",
    stated=_stated,
    mute=frozenset((_RECEIVER,)),
    spacing=lambda settings: (0, min(_APART_US, 1000 * int(settings["srvt_ms"]))),
    watchdog="sct_ms",
    cycle_ms=_cycle_ms,
)
