"""EN 50325-5: a pair of CAN messages, the second with every bit inverted.

A pair is written as its two messages one behind the other: identifier (2 octets, high octet first),
number of data octets, data. Sources of every rule: the profile's page.
"""

from __future__ import annotations

from functools import cache

from ..._engine.parts import expected, invert, lacking, missing
from ..._engine.recipe import (
    Check,
    Cover,
    FrameLayout,
    Outcome,
    Recipe,
    Seen,
    Unknown,
    Value,
    Values,
)
from ..._errors import FrameError, UsageError
from ._checksum import default_identifiers

__all__ = ["FIRST", "LAST", "MOST_OCTETS", "RECIPE", "identifier_problem"]

FIRST, LAST = 0x101, 0x17F
"""Least and largest first identifier; it is odd."""
MOST_OCTETS = 8
_HEAD = 3


def identifier_problem(first: int, second: int) -> str:
    """Return what is wrong with the identifiers of a pair, empty where nothing is."""
    if not FIRST <= first <= LAST or not first % 2:
        return f"the first identifier must be odd, 0x{FIRST:X}..0x{LAST:X}, not 0x{first:X}"
    if second != first + 1:
        return f"the second identifier must be 0x{first + 1:X}, one more, not 0x{second:X}"
    return ""


@cache
def _pair(first: int, second: int) -> FrameLayout:
    parts = []
    for number, size in ((1, first), (2, second)):
        name = "data" if number == 1 else "inverted"
        parts += [(f"identifier_{number}", 2), (f"length_{number}", 1), (name, size)]
    return FrameLayout("pair", first, tuple(parts))


def _shape(data_octets: int, kind: str = "pair") -> FrameLayout:
    if not 0 <= data_octets <= MOST_OCTETS:
        raise UsageError(f"data must be 0..{MOST_OCTETS} octets, not {data_octets}")
    return _pair(data_octets, data_octets)


def _find(octets: bytes, known: Values) -> FrameLayout:
    lengths, at = [], 0
    for number in (1, 2):
        if len(octets) < at + _HEAD:
            least = at + _HEAD * (3 - number)
            raise FrameError(
                f"the length must be at least {least} octets, not {len(octets)}", check="length"
            )
        size = octets[at + 2]
        if size > MOST_OCTETS:
            raise FrameError(
                f"the length of message {number} must be 0..{MOST_OCTETS}, not {size}",
                check="length",
            )
        lengths.append(size)
        at += _HEAD + size
    if len(octets) != at:
        raise FrameError(
            f"the length must be {at} octets by the two messages, not {len(octets)}", check="length"
        )
    return _pair(*lengths)


def _expected_octets(known: Values, where: FrameLayout) -> int:
    size: int = known.get("mapped_octets", where.data_octets)
    return size


def _read(octets: bytes, where: FrameLayout, known: Values) -> Values:
    cut = where.cut(octets)
    return {
        "data": cut["data"][: _expected_octets(known, where)],
        "identifier_1": int.from_bytes(cut["identifier_1"], "big"),
        "identifier_2": int.from_bytes(cut["identifier_2"], "big"),
    }


def _write(values: Values) -> bytes:
    missing(values, "data")
    data: bytes = values["data"]
    _shape(len(data))
    first, second = values.get("identifier_1"), values.get("identifier_2")
    if first is None:
        if "node" not in values:
            raise UsageError("building this frame needs the value identifier_1 or node")
        first = default_identifiers(values["node"])[0]
    second = first + 1 if second is None else second
    if found := identifier_problem(first, second):
        raise UsageError(found)
    size = bytes((len(data),))
    return first.to_bytes(2, "big") + size + data + second.to_bytes(2, "big") + size + invert(data)


def _check_identifiers(seen: Seen) -> Outcome:
    return identifier_problem(seen.values["identifier_1"], seen.values["identifier_2"]) or None


def _check_first(seen: Seen) -> Outcome:
    """Compare the first identifier with the one that is known, or with the default of the node."""
    found, node = seen.values["identifier_1"], seen.known.get("node")
    wanted, whose = seen.known.get("identifier_1"), ""
    if wanted is None:
        if node is None:
            return Unknown("identifier_1 and node are not known")
        wanted, whose = default_identifiers(node)[0], f", the default of node {node}"
    if found == wanted:
        return None
    return f"identifier_1 is 0x{found:X}, expected 0x{wanted:X}{whose}"


def _check_lengths(seen: Seen) -> Outcome:
    least = _expected_octets(seen.known, seen.layout)
    for number, name in enumerate(("data", "inverted"), 1):
        size = len(seen.parts[name])
        if size < least:
            return f"message {number} has {size} octets, {least} are mapped"
    return None


def _check_inverted(seen: Seen) -> Outcome:
    """Compare what is mapped; a surplus is ignored."""
    plain = seen.values["data"]
    copy = seen.parts["inverted"][: len(plain)]
    for at, (one, two) in enumerate(zip(plain, copy, strict=False)):
        if one ^ two != 0xFF:
            return f"octet {at} is 0x{one:02X}, its copy 0x{two:02X} and not 0x{one ^ 255:02X}"
    return None


def _within(measured: str, limit: str, what: str) -> Check:
    """Return the check of a time; it passes unjudged where neither limit nor time is known."""

    def run(seen: Seen) -> Outcome:
        known = seen.known
        if measured not in known and limit not in known:
            return None
        absent = lacking(known, measured, limit)
        if absent:
            return Unknown(absent)
        if known[measured] <= known[limit]:
            return None
        return f"{what} took {known[measured]} ms, {known[limit]} ms are allowed"

    return Check(
        name=limit.removesuffix("_ms"), title=f"{what} within {limit}, where given", run=run
    )


def _covers(seen: Seen) -> tuple[Cover, ...]:
    return ()


def _mean(name: str, octets: bytes) -> str:
    if name.startswith("identifier"):
        which = "plain" if name.endswith("1") else "inverted"
        return f"identifier 0x{int.from_bytes(octets, 'big'):X} of the {which} message"
    if name.startswith("length"):
        return f"{octets[0]} data octets"
    return "safety data" if name == "data" else "the same octets, every bit inverted"


RECIPE = Recipe(
    name="en50325-5",
    kinds=("pair",),
    values=(
        Value(name="data", meaning="safety data, 0..8 octets, low octet first", octets=-1),
        Value(
            name="identifier_1",
            meaning="identifier of the plain message, odd, 0x101..0x17F; default by the node",
            most=0x7FF,
        ),
        Value(
            name="identifier_2",
            meaning="identifier of the inverted message; default one more",
            most=0x7FF,
        ),
        Value(name="node", meaning="node of the sender, 1..64", carried=False, least=1, most=64),
        Value(
            name="mapped_octets",
            meaning="octets the receiver maps; default those of the plain message",
            carried=False,
            most=MOST_OCTETS,
        ),
        Value(name="sct_ms", meaning="refresh time (SCT)", carried=False, most=65535),
        Value(name="srvt_ms", meaning="validation time (SRVT)", carried=False, most=255),
        Value(
            name="cycle_ms",
            meaning="measured: time since the pair before",
            carried=False,
            most=1 << 31,
        ),
        Value(
            name="validation_ms",
            meaning="measured: time from plain to inverted message",
            carried=False,
            most=1 << 31,
        ),
    ),
    find=_find,
    read=_read,
    write=_write,
    checks={
        "pair": (
            Check(name="identifiers", title="legal identifiers", run=_check_identifiers),
            Check(
                name="identifier_1",
                title="identifier_1 as expected",
                run=_check_first,
                compares="identifier_1",
            ),
            expected("identifier_2", required=False),
            Check(name="too_short", title="all mapped octets in both", run=_check_lengths),
            Check(name="inverted", title="every bit inverted", run=_check_inverted),
            _within("validation_ms", "srvt_ms", "the time between the two messages"),
            _within("cycle_ms", "sct_ms", "the time since the pair before"),
        )
    },
    covers=_covers,
    mean=_mean,
    shape=_shape,
    identity=frozenset(("identifier_1", "identifier_2")),
    order="by choice: what can be seen in the two messages, then the two times; the errors are "
    "those an open stack tells apart",
)
