"""Random connections of a storage lift whose two ends agree bit for bit."""

from __future__ import annotations

import copy
from collections.abc import Callable
from random import Random
from typing import Any

from .tiny import Pair, Row, Rows, Side

# Every profile with what a clean connection of it states; the numbers are those of its page.
PROFILES: dict[str, dict[str, Any]] = {
    "plain": {"sizes": (1, 2, 3, 4, 6, 8), "roles": ("", ""), "id": (1, 9999), "address": None},
    "fscp-12-1": {
        "sizes": (1, 2, 4, 6, 8, 12),
        "roles": ("master", "slave"),
        "id": (1, 65535),
        "address": (0, 65535),
        "edition": "2010",
        "block": 16,
    },
    "fscp-13-1": {
        "sizes": (1, 2, 3, 5, 8, 10),
        "roles": ("", ""),
        "id": None,
        "address": (1, 1023),
    },
    "fscp-2-1": {
        "sizes": (1, 2, 3, 6, 8),
        "roles": ("originator", "target"),
        "id": None,
        "address": None,
        "one_way": True,
    },
    "fscp-3-1": {
        "sizes": (1, 2, 4, 8, 12),
        "roles": ("host", "device"),
        "id": None,
        "address": None,
    },
    "opcua-safety": {
        "sizes": (2, 4, 6, 9),
        "roles": ("provider", "consumer"),
        "id": None,
        "address": None,
        "edition": "1.05",
        "one_way": True,
        "octets": True,
    },
}

_THINGS = [
    "brake",
    "gate",
    "door",
    "estop",
    "torque",
    "tray",
    "shaft",
    "belt",
    "lift",
    "fork",
    "hoist",
    "clamp",
    "curtain",
    "drive",
    "pump",
    "zone",
    "bridge",
    "cover",
    "latch",
    "buffer",
]
_STATES = [
    "release",
    "unlock",
    "permit",
    "ready",
    "closed",
    "applied",
    "locked",
    "healthy",
    "request",
    "active",
    "free",
    "stopped",
    "moving",
    "reached",
    "enable",
    "fault",
]
_VALUES = ["position", "speed", "load", "pressure", "height", "force", "current", "angle"]
_UNITS = ("mm", "mm/s", "kg", "bar", "N")


def _names(random: Random) -> Callable[[str], str]:
    used: set[str] = set()

    def draw(kind: str) -> str:
        while True:
            thing = random.choice(_THINGS)
            state = random.choice(_VALUES if kind == "value" else _STATES)
            number = random.choice(("", "1", "2", "3", "4", "10", "11"))
            name = f"{thing}{number}_{state}"
            if name not in used:
                used.add(name)
                return name

    return draw


def _rows(random: Random, bits: int, facts: dict[str, Any], draw: Callable[[str], str]) -> Rows:
    """Return rows that fill some bits without a gap; reserved runs are likelier at the end."""
    at, block = 0, facts.get("block", 0)
    style = random.random()
    if style < 0.5 and bits > 4 and not facts.get("octets"):
        if style < 0.25:
            return _packed_rows(random, bits, draw)
        return _merged(_aligned_rows(random, bits, block, draw))
    rows: Rows = []
    valid = ""
    while at < bits:
        left = bits - at
        roll = random.random()
        if facts.get("octets"):
            at = _octet_member(random, rows, at, left, draw)
            continue
        if valid and roll < 0.12 and at % 8 == 0 and left >= 16 and not (block and at % block):
            width = 16
            rows.append(_number(random, draw, at, width, valid))
        elif valid and roll < 0.2 and at % 8 + 4 <= 8 and left >= 4:
            width = random.choice((2, 3, 4))
            rows.append(_number(random, draw, at, width, valid))
        elif roll < 0.27 and at % 8 + 2 <= 8 and left >= 2:
            width = 2
            rows.append(Row(at, 2, draw("bit"), "code", codes=_levels()))
        elif roll < 0.35 and rows:
            width = random.randint(1, min(5, left))
            rows.append(Row(at, width))
        elif rows and at > bits * 0.6 and roll < 0.6:
            width = left
            rows.append(Row(at, width))
        else:
            width = 1
            rows.append(_bit_row(random, at, draw))
            valid = valid or rows[-1].name
        at += width
    return _merged(rows)


def _merged(rows: Rows) -> Rows:
    """Return rows with neighbouring reserved runs made one."""
    merged: Rows = []
    for row in rows:
        if merged and not row.name and not merged[-1].name:
            merged[-1].width += row.width
        else:
            merged.append(row)
    return merged


def _packed_rows(random: Random, bits: int, draw: Callable[[str], str]) -> Rows:
    """Return single bits from the first place on, without a gap, and one reserve behind them."""
    few, many = range(3, min(bits, 9)), range(16, bits)
    number = random.choice(many if many and random.random() < 0.5 else few)
    rows = [_bit_row(random, at, draw) for at in range(number)]
    return [*rows, Row(number, bits - number)]


def _aligned_rows(random: Random, bits: int, block: int, draw: Callable[[str], str]) -> Rows:
    """Return fields that stand within halves of octets or fill whole ones, big-endian ones too."""
    rows: Rows = [_bit_row(random, 0, draw)]
    valid, at = rows[0].name, 1
    while at < bits:
        wide = [width for width in (8, 16, 32) if at % 8 == 0 and at + width <= bits]
        wide = [width for width in wide if not block or at % block + width <= block]
        short = [width for width in (1, 1, 2, 3, 4) if at % 4 + width <= 4]
        width = random.choice(wide if wide and random.random() < 0.4 else short)
        roll = random.random()
        if roll < 0.15:
            rows.append(Row(at, width))
        elif width == 1:
            rows.append(_bit_row(random, at, draw))
        elif width == 2 and roll < 0.6:
            rows.append(Row(at, 2, draw("bit"), "code", codes=_levels()))
        else:
            rows.append(_number(random, draw, at, width, valid))
            if width == 32 and roll < 0.5:
                rows[-1].type = "float"
            if width >= 16 and roll > 0.6:
                rows[-1].order = "big"
        at += width
    return rows


def _bit_row(random: Random, at: int, draw: Callable[[str], str]) -> Row:
    name = draw("bit")
    means = f"{name.replace('_', ' ')} is on" if random.random() < 0.6 else ""
    return Row(at, 1, name, one_means=means, edge="rising" if random.random() < 0.05 else "")


def _levels() -> dict[int, str]:
    return dict(enumerate(("halt", "creep", "half", "full")))


def _number(random: Random, draw: Callable[[str], str], at: int, width: int, valid: str) -> Row:
    kind = random.choice(("uint", "int"))
    scale = random.choice(("1", "1", "0.1", "10"))
    return Row(
        at, width, draw("value"), kind, unit=random.choice(_UNITS), scale=scale, valid_by=valid
    )


def _octet_member(
    random: Random, rows: Rows, at: int, left: int, draw: Callable[[str], str]
) -> int:
    valid = next((row.name for row in rows if row.name and row.type == "bool"), "")
    if valid and left >= 16 and random.random() < 0.4:
        rows.append(_number(random, draw, at, 16, valid))
        return at + 16
    rows += [Row(at, 1, draw("bit")), Row(at + 1, 7)]
    return at + 8


def connection(random: Random, profile: str = "") -> Pair:
    """Return a clean connection of a profile, or of a random one."""
    profile = profile or random.choice(list(PROFILES))
    facts = PROFILES[profile]
    draw = _names(random)
    table: dict[str, Any] = {"name": "SC1-LX", "profile": profile}
    if "edition" in facts:
        table["edition"] = facts["edition"]
    if facts["id"]:
        table["id"] = random.randint(*facts["id"])
    table["watchdog_ms"] = random.randint(60, 400)
    table["exchange_ms"] = random.randint(2, 40)
    if profile == "plain":
        table["legal_octets"] = list(facts["sizes"])
    ends = []
    for number, (name, peer) in enumerate((("SC1", "LX"), ("LX", "SC1"))):
        end: dict[str, Any] = {"role": facts["roles"][number]} if facts["roles"][number] else {}
        if facts["address"]:
            end["address"] = random.randint(1, 500) * 2 + number
        ends.append(Side(name, peer, copy.deepcopy(table), end, [], []))
    pair = Pair((ends[0], ends[1]))
    _parameters(random, profile, pair)
    for direction in (0,) if facts.get("one_way") else (0, 1):
        rows = _rows(random, 8 * random.choice(facts["sizes"]), facts, draw)
        for side in (0, 1):
            own = copy.deepcopy(rows)
            for row in own:
                if row.name:
                    word = "Out" if not side else "In"
                    row.bind = f"{pair.ends[direction ^ side].name}.{word}.{row.name}"
            pair.set_rows(direction, side, own)
    return pair


def _parameters(random: Random, profile: str, pair: Pair) -> None:
    shared: dict[str, Any] = {}
    if profile == "fscp-3-1":
        source = random.randint(1, 900)
        shared = {"sil": 3, "source_address": source, "destination_address": source + 1}
    elif profile == "fscp-13-1":
        shared = {"domain": random.randint(1, 1023)}
    elif profile == "opcua-safety":
        shared = {
            "provider_id": random.randint(1, 9999),
            "base_id": "72962b91-fa75-4ae6-8d28-b404dc7daf63",
            "provider_level": 3,
        }
    for number, end in enumerate(pair.ends):
        end.parameters = dict(shared)
        if profile == "opcua-safety" and number:
            end.parameters["consumer_id"] = 77
