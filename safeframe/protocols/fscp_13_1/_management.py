"""Payloads of FSCP 13/1 management frames: what a manager and its nodes say before data.

Source: two versions of a public open stack, one of them compiled and run; the dissector reads the
payloads alike. What the error codes stand for is not told: the two differ.
"""

from __future__ import annotations

from typing import NamedTuple

from ..._engine.recipe import Unknown
from ..._errors import UsageError

REQUEST, RESPONSE = 44, 45
"""Ids of frames with a command octet."""
_LENGTHS = {40: 0, 41: 6, 42: 6, 43: 6, 47: 0}


class Command(NamedTuple):
    """One command: its name, the octets of its fields by name, who may answer with what.

    ``answers`` are the commands of the response; none where a node does not answer.
    """

    name: str
    fields: tuple[tuple[str, int], ...] = ()
    answers: tuple[int, ...] = ()


_STATES = (1, 3, 9)
_ADDRESSES = (("address", 2), ("data_set", 2))
_ERROR = (("error_group", 1), ("error_code", 1))
COMMANDS = {
    0: Command("set to pre-operational", (), (1,)),
    1: Command("pre-operational"),
    2: Command("set to operational", (("time_stamp", 4),), (3, 9, 7)),
    3: Command("operational"),
    4: Command("stop the manager"),
    5: Command("additional address taken", _ADDRESSES),
    6: Command("start the manager"),
    7: Command("failure", _ERROR),
    8: Command("guard", (), _STATES),
    9: Command("busy"),
    10: Command("additional address", _ADDRESSES, (5,)),
    12: Command("acknowledge a failure", _ERROR),
    14: Command("assign the manager id", (("manager_id", 6),), (15,)),
    15: Command("manager id taken", (("manager_id", 6),)),
    16: Command("set the 40-bit time", (("time", 5),), (17,)),
}
"""Commands by their octet; requests are even, responses odd. The answer 17 is not known."""
ERROR_GROUPS = (
    "device",
    "application",
    "parameter",
    "vendor",
    "stack",
    "additional parameters",
)
"""Error groups by number: the open stack; the dissector agrees on 2 and 5."""
_HEX = frozenset(("manager_id", "time"))


def command(number: int, **fields: int | bytes) -> bytes:
    """Return the payload of a request or response: the command octet, then its fields.

    Numbers go low octet first, ``manager_id`` and ``time`` are octets. Raises UsageError for an
    unknown command, for fields that are not the command's, and for values that do not fit.
    """
    known = COMMANDS.get(number)
    if known is None:
        raise UsageError(f"command must be one of {', '.join(map(str, COMMANDS))}, not {number}")
    names = [name for name, _ in known.fields]
    if sorted(names) != sorted(fields):
        wanted, found = ", ".join(names) or "none", ", ".join(sorted(fields)) or "none"
        raise UsageError(f"the fields of command {number} must be {wanted}, not {found}")
    out = bytes((number,))
    for name, size in known.fields:
        value = fields[name]
        if name in _HEX:
            if not isinstance(value, bytes) or len(value) != size:
                raise UsageError(f"{name} must be {size} octets, not {value!r}")
            out += value
            continue
        if not isinstance(value, int) or not 0 <= value < 1 << 8 * size:
            raise UsageError(f"{name} must be 0..{(1 << 8 * size) - 1}, not {value!r}")
        out += value.to_bytes(size, "little")
    return out


def problem(identity: int, payload: bytes) -> str | None:
    """Return what is wrong with the payload of a management frame, None where nothing is."""
    wanted = _LENGTHS.get(identity)
    if wanted is not None:
        if len(payload) == wanted:
            return None
        return f"id {identity} must carry {wanted} octets, not {len(payload)}"
    if not payload:
        return f"id {identity} must carry a command octet"
    number = payload[0]
    if number % 2 != identity % 2:
        kind, parity = ("request", "even") if identity == REQUEST else ("response", "odd")
        return f"the command of a {kind} must be {parity}, not {number}"
    known = COMMANDS.get(number)
    if known is None:
        return Unknown(f"the fields of command {number} are not known")
    size = 1 + sum(octets for _, octets in known.fields)
    if len(payload) == size:
        return None
    return f"command {number} must carry {size} octets, not {len(payload)}"


def is_refusal(identity: int, payload: bytes) -> bool:
    """Tell whether a response refuses what was asked: an address of 0, an id of six zeros."""
    if identity != RESPONSE or payload[:1] not in (b"\x05", b"\x0f"):
        return False
    return not any(payload[1:3] if payload[0] == 5 else payload[1:])


def explain(identity: int, payload: bytes) -> str:
    """Return what the payload of a management frame says, in words."""
    found = problem(identity, payload)
    if isinstance(found, Unknown):
        return f"command {payload[0]}, not offered"
    if found:
        return found
    if identity not in (REQUEST, RESPONSE):
        return f"unique id {payload.hex(' ')}" if payload else "no data"
    number, at, words = payload[0], 1, []
    for name, size in COMMANDS[number].fields:
        octets = payload[at : at + size]
        at += size
        shown = octets.hex(" ") if name in _HEX else str(int.from_bytes(octets, "little"))
        if name == "error_group" and octets[0] < len(ERROR_GROUPS):
            shown += f" ({ERROR_GROUPS[octets[0]]})"
        words.append(f"{name} {shown}")
    if is_refusal(identity, payload):
        words.append("refused")
    return ", ".join([f"command {number}: {COMMANDS[number].name}", *words])
