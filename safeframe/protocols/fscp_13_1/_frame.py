"""FSCP 13/1: two subframes with the same data, a CRC each, domain and manager id by XOR.

Sources of every rule: the profile's page.
"""

from __future__ import annotations

from functools import cache

from ..._engine.parts import Sum, crc_check, expected, hex_of, lacking, missing
from ..._engine.recipe import (
    Check,
    FrameLayout,
    Outcome,
    Recipe,
    Seen,
    Unknown,
    Value,
    Values,
)
from ..._errors import FrameError, UsageError
from ...crc import CATALOGUE, Algorithm, compute
from . import _access as access
from . import _management as management

IDS = {
    48: "data, connection not valid",
    49: "data, connection valid",
    50: "data with time request, connection not valid",
    51: "data with time request, connection valid",
    52: "data with time response, connection not valid",
    53: "data with time response, connection valid",
    56: "service request",
    57: "service response",
    58: "slim service request",
    59: "slim service response",
}
MANAGEMENT = {
    40: "unique id asked for",
    41: "unique id",
    42: "address assigned to the node with this unique id",
    43: "address taken",
    44: "request with a command",
    45: "response with a command",
    47: "guarding to be started again",
}
"""Ids of management frames, which are never under the manager id."""
_KNOWN_IDS = MANAGEMENT | IDS
DATA = frozenset((48, 49))
"""Ids of frames without a receiver: the target address is 0."""
SLIM = frozenset((58, 59))
"""Ids of frames whose second subframe carries no data."""
SERVICES = frozenset((56, 57, 58, 59))
"""Ids whose ``address`` is that of the receiver; the sender stands in ``target``."""

RESET_GUARDING = 47
"""Id of the frame with which a node asks for guarding to be started again."""

_MASKED = 6
_CRC8 = CATALOGUE["fscp-13-1/crc8"]
_CRC16 = CATALOGUE["fscp-13-1/crc16"]
_CRC16_SLIM = CATALOGUE["fscp-13-1/crc16-slim"]


def sender_value(identity: int) -> str:
    """Return which value of a frame is the address of its sender: ``address`` or ``target``.

    Empty for id 47, both values of which are 1 in the only source there is.
    """
    if identity == RESET_GUARDING:
        return ""
    return "target" if identity in SERVICES or identity in MANAGEMENT else "address"


def kind_of(identity: int) -> str:
    """Return the kind of frame that an id stands for."""
    if identity in SLIM:
        return "slim"
    return "management" if identity in MANAGEMENT else "data"


def _algorithm(data_octets: int, kind: str) -> Algorithm:
    if data_octets <= 8:
        return _CRC8
    return _CRC16_SLIM if kind == "slim" else _CRC16


@cache
def _shape(data_octets: int, kind: str = "data") -> FrameLayout:
    if not 0 <= data_octets <= 254:
        raise UsageError(f"data must be 0..254 octets, not {data_octets}")
    crc = _algorithm(data_octets, kind).octets
    first = ("address_1", 2), ("length", 1), ("ct_low", 1), ("data_1", data_octets), ("crc_1", crc)
    second = ("address_2", 2), ("ct_high", 1), ("target", 2)
    again = () if kind == "slim" else (("data_2", data_octets),)
    return FrameLayout(kind, data_octets, (*first, *second, *again, ("crc_2", crc)))


def _find(octets: bytes, known: Values) -> FrameLayout:
    size = len(octets)
    if size < 11:
        raise FrameError(f"the length must be at least 11 octets, not {size}", check="length")
    claimed = octets[2]
    if claimed > 254:
        raise FrameError(f"the length octet must be 0..254, not {claimed}", check="length")
    where = _shape(claimed, kind_of(octets[1] >> 2))
    if size != where.size_octets:
        raise FrameError(
            f"the length must be {where.size_octets} octets for {claimed} data octets, not {size}",
            check="length",
        )
    return where


def _unmasked(octets: bytes, where: FrameLayout, known: Values) -> bytes:
    """Return the second subframe before the manager id was XORed in, as carried if unknown."""
    start = where.slices["address_2"].start
    second = octets[start:]
    key = None if where.kind == "management" else known.get("manager_id")
    return second if key is None else _mask(second, key)


def _second(seen: Seen) -> bytes:
    """Return the second subframe of a frame being judged, before the manager id."""
    if seen.scratch is None:
        seen.scratch = _unmasked(seen.octets, seen.layout, seen.known)
    second: bytes = seen.scratch
    return second


def _mask(second: bytes, key: bytes) -> bytes:
    """Return a second subframe with the manager id XORed over its first octets, or taken off."""
    if not any(key):
        return second
    size = len(second)
    wide = key + bytes(size - _MASKED)
    return (int.from_bytes(second, "big") ^ int.from_bytes(wide, "big")).to_bytes(size, "big")


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    address = octets[0] | (octets[1] & 3) << 8
    values = {
        "id": octets[1] >> 2,
        "address": address,
        "data": octets[4 : 4 + where.data_octets],
    }
    if "manager_id" in known or where.kind == "management":
        second = _unmasked(octets, where, known)
        values |= {
            "domain": address ^ (second[0] | (second[1] & 3) << 8),
            "consecutive_time": octets[3] | second[2] << 8,
            "target": second[3] | (second[4] & 3) << 8,
            "request": second[4] >> 2,
        }
    return values


def _write(values: Values) -> bytes:
    missing(values, "data", "address", "domain")
    data: bytes = values["data"]
    identity, address = values["id"], values["address"]
    if identity not in _KNOWN_IDS:
        raise UsageError(f"id must be one of {', '.join(map(str, _KNOWN_IDS))}, not {identity}")
    if (identity in DATA) == bool(values["target"]):
        rule = "0" if identity in DATA else "1..1023"
        raise UsageError(f"target must be {rule} with id {identity}, not {values['target']}")
    kind = kind_of(identity)
    algorithm = _algorithm(_shape(len(data), kind).data_octets, kind)
    time, target = values["consecutive_time"], values["target"]
    first = bytes((address & 255, identity << 2 | address >> 8, len(data), time & 255)) + data
    other = address ^ values["domain"]
    tail = time >> 8, target & 255, values["request"] << 2 | target >> 8
    second = bytes((other & 255, identity << 2 | other >> 8, *tail))
    second += b"" if kind == "slim" else data
    crcs = [
        compute(algorithm, part).to_bytes(algorithm.octets, "little") for part in (first, second)
    ]
    key = bytes(_MASKED) if kind == "management" else values["manager_id"]
    return first + crcs[0] + _mask(second + crcs[1], key)


def _check_known_id(seen: Seen) -> Outcome:
    identity = seen.values["id"]
    if identity in _KNOWN_IDS:
        return None
    return f"id must be one of {', '.join(map(str, _KNOWN_IDS))}, not {identity}"


def _check_second_id(seen: Seen) -> Outcome:
    first = seen.values["id"]
    second = _second(seen)[1] >> 2
    return None if first == second else f"id is {first} in subframe 1, {second} in subframe 2"


def _check_address(seen: Seen) -> Outcome:
    return None if seen.values["address"] else "address must be 1..1023, not 0"


def _check_target(seen: Seen) -> Outcome:
    values = seen.values
    if not values["domain"]:
        return "domain must be 1..1023, not 0"
    if (values["id"] in DATA) == bool(values["target"]):
        rule = "0" if values["id"] in DATA else "1..1023"
        return f"target must be {rule} with id {values['id']}, not {values['target']}"
    return None


def _check_zeros(seen: Seen) -> Outcome:
    for name in ("consecutive_time", "request"):
        if seen.values[name]:
            return f"{name} must be 0 in management frames, not {seen.values[name]}"
    return None


def _check_payload(seen: Seen) -> Outcome:
    return management.problem(seen.values["id"], seen.values["data"])


def _check_copies(seen: Seen) -> Outcome:
    second = _second(seen)
    if seen.layout.kind == "slim":
        return None
    same = seen.values["data"] == second[5 : 5 + seen.layout.data_octets]
    return None if same else "the data of the two subframes differ"


def _under_manager_id(check: Check) -> Check:
    """Return the check for what lies under the manager id: unknown where that is not known."""

    def run(seen: Seen) -> Outcome:
        absent = lacking(seen.known, "manager_id")
        return Unknown(absent) if absent else check.run(seen)

    return Check(name=check.name, title=check.title, run=run, compares=check.compares)


def _sum_1(seen: Seen) -> Sum:
    where, octets = seen.layout, seen.octets
    end = 4 + where.data_octets
    return Sum(
        algorithm=_algorithm(where.data_octets, where.kind),
        feeds=(
            ("address and id", octets[:2]),
            ("length", octets[2:3]),
            ("consecutive time, low octet", octets[3:4]),
            ("data", octets[4:end]),
        ),
        carried=int.from_bytes(octets[where.slices["crc_1"]], "little"),
    )


def _sum_2(seen: Seen) -> Sum:
    where = seen.layout
    second = _second(seen)
    end = len(second) - _algorithm(where.data_octets, where.kind).octets
    return Sum(
        algorithm=_algorithm(where.data_octets, where.kind),
        feeds=(
            ("address XOR domain, and id", second[:2]),
            ("consecutive time, high octet", second[2:3]),
            ("target and time request", second[3:5]),
            ("data", second[5:end]),
        ),
        carried=int.from_bytes(second[end:], "little"),
        unknown="" if where.kind == "management" else lacking(seen.known, "manager_id"),
    )


def _mean(name: str, octets: bytes) -> str:
    if name == "address_1":
        identity = octets[1] >> 2
        address = octets[0] | (octets[1] & 3) << 8
        whose = {"address": "sender", "target": "receiver"}.get(sender_value(identity))
        of = f" of the {whose}" if whose and identity in _KNOWN_IDS else ""
        return f"address {address}{of}, id {identity}: {_KNOWN_IDS.get(identity, 'not offered')}"
    if name == "length":
        return f"{octets[0]} data octets"
    texts = {
        "address_2": "address XOR domain, and id (under the manager id)",
        "ct_low": "consecutive time, low octet",
        "ct_high": "consecutive time, high octet (under the manager id)",
        "target": "target and time request (under the manager id)",
        "data_1": "data",
        "data_2": "data again (octet 0 under the manager id)",
    }
    return texts.get(name) or hex_of(int.from_bytes(octets, "little"), len(octets))


def _explain(name: str, seen: Seen) -> str | None:
    """Return what the octets of management and service frames mean; None for other parts."""
    identity = seen.values["id"]
    if name == "data_1":
        if identity in MANAGEMENT:
            return management.explain(identity, seen.values["data"])
        if identity in SERVICES:
            return access.explain(seen.values["data"], asks=identity % 2 == 0)
    if seen.layout.kind == "management":
        return _PLAIN.get(name)
    if identity in SERVICES and name in ("ct_low", "ct_high"):
        return _ACCESS_NUMBER[name]
    return None


_PLAIN = {
    "address_2": "address XOR domain, and id",
    "ct_low": "0 in management frames",
    "ct_high": "0 in management frames",
    "target": "address of the sender; time request 0",
    "data_2": "data again",
}
_ACCESS_NUMBER = {
    "ct_low": "number of the access, low octet",
    "ct_high": "number of the access, high octet (under the manager id)",
}
_ID = Check(name="id", title="a known message id", run=_check_known_id)
_ID_2 = Check(name="id_2", title="the same id in the second subframe", run=_check_second_id)
_ADDRESS = Check(name="address_range", title="the address in its range", run=_check_address)
_TARGET = Check(name="target_range", title="domain and target in their ranges", run=_check_target)
_COPIES = Check(name="copies", title="the same data in both subframes", run=_check_copies)
_CRCS = (
    crc_check("crc_1", "the CRC of the first subframe", _sum_1),
    crc_check("crc_2", "the CRC of the second subframe", _sum_2),
)
_CHECKS = (
    _ID,
    _under_manager_id(_ID_2),
    _ADDRESS,
    _under_manager_id(_TARGET),
    _under_manager_id(expected("domain")),
    expected("address", required=False),
    _under_manager_id(expected("target", required=False)),
    *_CRCS,
    _under_manager_id(_COPIES),
)
_MANAGEMENT_CHECKS = (
    *(_ID, _ID_2, _ADDRESS, _TARGET),
    Check(name="zeros", title="no consecutive time, no time request", run=_check_zeros),
    expected("domain"),
    expected("address", required=False),
    expected("target", required=False),
    *(*_CRCS, _COPIES),
    Check(name="payload", title="the octets that the id and command say", run=_check_payload),
)

RECIPE = Recipe(
    name="fscp-13-1",
    kinds=("data", "slim", "management"),
    values=(
        Value(name="data", meaning="safety data, 0..254 octets", octets=-1),
        Value(name="id", meaning="message id, 40..45, 47..53 or 56..59", default=49, most=63),
        Value(
            name="address",
            meaning="address of the sender; in service and management frames of the receiver",
            least=1,
            most=1023,
        ),
        Value(
            name="domain",
            meaning="safety domain number",
            least=1,
            most=1023,
            under="manager_id",
        ),
        Value(
            name="consecutive_time",
            meaning="time of the sender",
            default=0,
            most=65535,
            under="manager_id",
        ),
        Value(
            name="target",
            meaning="other address: 0 in data-only, the sender in service and management frames",
            default=0,
            most=1023,
            under="manager_id",
        ),
        Value(
            name="request",
            meaning="time-request counter",
            default=0,
            most=63,
            under="manager_id",
        ),
        Value(
            name="manager_id",
            meaning="6 octets of the domain's manager; all zero means none",
            carried=False,
            default=bytes(_MASKED),
            octets=_MASKED,
        ),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={"data": _CHECKS, "slim": _CHECKS, "management": _MANAGEMENT_CHECKS},
    covers=lambda seen: (_sum_1(seen).cover("crc_1"), _sum_2(seen).cover("crc_2")),
    mean=_mean,
    explain=_explain,
    shape=_shape,
    identity=frozenset(("address", "domain")),
    order="length, id, address ranges, first CRC, second CRC, equal data as in the open stack; "
    "comparisons with what the receiver expects follow the address ranges",
)
