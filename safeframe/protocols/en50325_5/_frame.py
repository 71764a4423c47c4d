"""EN 50325-5: a pair of CAN messages, the second with every bit inverted.

A pair is written as its two messages one behind the other: identifier (2 octets, high octet first),
number of data octets, data. Sources of every rule: the profile's page.
"""

from __future__ import annotations

from functools import cache

from ..._engine.parts import expected, invert, lacking, missing
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
from ._checksum import default_identifiers

FIRST, LAST = 0x101, 0x17F
"""Least and largest first identifier; it is odd."""
MOST_OCTETS = 8
_HEAD = 3
_KINDS = ("pair", "plain", "inverted")


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


@cache
def _message(number: int, size: int) -> FrameLayout:
    """Return the layout of one message of a pair, the first or the second."""
    kind = _KINDS[number]
    name = "data" if number == 1 else kind
    parts = (f"identifier_{number}", 2), (f"length_{number}", 1), (name, size)
    return FrameLayout(kind, size, parts)


def _shape(data_octets: int, kind: str = "pair") -> FrameLayout:
    if not 0 <= data_octets <= MOST_OCTETS:
        raise UsageError(f"data must be 0..{MOST_OCTETS} octets, not {data_octets}")
    if kind != "pair":
        return _message(_KINDS.index(kind), data_octets)
    return _pair(data_octets, data_octets)


def _find(octets: bytes, known: Values) -> FrameLayout:
    lengths, at = [], 0
    for number in (1, 2):
        if len(octets) < at + _HEAD:
            least = at + _HEAD
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
        if len(octets) == at and number == 1:
            # One message alone: the odd identifiers are those of plain messages.
            return _message(1 if octets[1] & 1 else 2, size)
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
    data = invert(cut["inverted"]) if where.kind == "inverted" else cut["data"]
    found: Values = {"data": data[: _expected_octets(known, where)]}
    for name in ("identifier_1", "identifier_2"):
        if name in cut:
            found[name] = int.from_bytes(cut[name], "big")
    return found


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


def _check_lone(seen: Seen) -> Outcome:
    """Judge the identifier of one message alone by that of its pair."""
    name = f"identifier_{_KINDS.index(seen.layout.kind)}"
    found = seen.values[name]
    first = found if name.endswith("1") else found - 1
    return identifier_problem(first, first + 1) or None


def _wanted(seen: Seen, place: int) -> tuple[int | None, str]:
    """Return the identifier that is known, or the default of the node, and whose it is."""
    node = seen.known.get("node")
    wanted = seen.known.get(f"identifier_{place}")
    other = seen.known.get(f"identifier_{3 - place}")
    if wanted is None and node is not None:
        return default_identifiers(node)[place - 1], f", the default of node {node}"
    if wanted is None and other is not None and seen.layout.kind != "pair":
        return other + 2 * place - 3, ""  # One message alone is known by either identifier.
    return wanted, ""


def _check_first(seen: Seen) -> Outcome:
    """Compare the first identifier with the one that is known, or with the default of the node."""
    return _compare(seen, 1)


def _check_other(seen: Seen) -> Outcome:
    """Compare the identifier that the other message of this pair would have, where it is known."""
    place = _KINDS.index(seen.layout.kind)
    known, found = seen.known.get(f"identifier_{3 - place}"), seen.values[f"identifier_{place}"]
    wanted = found + 3 - 2 * place
    if known in (None, wanted):
        return None
    return f"identifier_{3 - place} would be 0x{wanted:X}, expected 0x{known:X}"


def _compare(seen: Seen, place: int) -> Outcome:
    found = seen.values[f"identifier_{place}"]
    wanted, whose = _wanted(seen, place)
    if wanted is None:
        return Unknown(f"identifier_{place} and node are not known")
    if found == wanted:
        return None
    return f"identifier_{place} is 0x{found:X}, expected 0x{wanted:X}{whose}"


def _check_lengths(seen: Seen) -> Outcome:
    least, plain = _expected_octets(seen.known, seen.layout), seen.known.get("plain")
    if seen.layout.kind == "inverted" and plain is not None and "mapped_octets" not in seen.known:
        least = len(plain)
    parts = seen.parts
    for number, name in enumerate(("data", "inverted"), 1):
        size = len(parts.get(name, bytes(least)))
        if size < least:
            return f"message {number} has {size} octets, {least} are mapped"
    return None


def _check_complete(seen: Seen) -> Outcome:
    """Return that a plain message alone is never enough."""
    return Unknown("the inverted message is not there")


def _check_inverted(seen: Seen) -> Outcome:
    """Compare what is mapped; a surplus is ignored."""
    plain = seen.known.get("plain") if seen.layout.kind == "inverted" else seen.values["data"]
    if plain is None:
        return Unknown("plain is not known")
    plain = plain[: seen.known.get("mapped_octets", len(plain))]
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


_LONE = Check(name="identifiers", title="a legal identifier", run=_check_lone)
_AS_EXPECTED = Check(
    name="identifier_1", title="identifier_1 as expected", run=_check_first, compares="identifier_1"
)
_INVERTED = (
    Check(name="inverted", title="every bit inverted", run=_check_inverted),
    _within("validation_ms", "srvt_ms", "the time between the two messages"),
    _within("cycle_ms", "sct_ms", "the time since the pair before"),
)


def _mean(name: str, octets: bytes) -> str:
    if name.startswith("identifier"):
        which = "plain" if name.endswith("1") else "inverted"
        return f"identifier 0x{int.from_bytes(octets, 'big'):X} of the {which} message"
    if name.startswith("length"):
        return f"{octets[0]} data octets"
    return "safety data" if name == "data" else "the same octets, every bit inverted"


RECIPE = Recipe(
    name="en50325-5",
    kinds=_KINDS,
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
        Value(
            name="plain",
            meaning="data of the plain message before, for an inverted message alone",
            carried=False,
            octets=-1,
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
            _AS_EXPECTED,
            expected("identifier_2", required=False),
            Check(name="too_short", title="all mapped octets in both", run=_check_lengths),
            *_INVERTED,
        ),
        "plain": (
            _LONE,
            _AS_EXPECTED,
            Check(
                name="identifier_2",
                title="identifier_2 to match",
                run=_check_other,
                compares="identifier_2",
            ),
            Check(name="too_short", title="all mapped octets", run=_check_lengths),
            Check(name="complete", title="both messages are there", run=_check_complete),
        ),
        "inverted": (
            _LONE,
            Check(
                name="identifier_2",
                title="identifier_2 as expected",
                run=lambda seen: _compare(seen, 2),
                compares="identifier_2",
            ),
            Check(
                name="identifier_1",
                title="identifier_1 to match",
                run=_check_other,
                compares="identifier_1",
            ),
            Check(name="too_short", title="all mapped octets", run=_check_lengths),
            *_INVERTED,
        ),
    },
    covers=lambda seen: (),
    mean=_mean,
    shape=_shape,
    identity=frozenset(("identifier_1", "identifier_2")),
    order="by choice: what can be seen in the two messages, then the two times; the errors are "
    "those an open stack tells apart",
)
