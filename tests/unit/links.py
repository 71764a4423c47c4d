"""Connections of every profile with frames, for the tests of fixtures and recordings."""

from __future__ import annotations

import dataclasses
from typing import Any

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe._bits import Place
from safeframe._link import Link, link_of
from safeframe._model import Connection, ConnectionTable, End, Map, Reserved, Signal

__all__ = ["CASES", "ONE_WAY", "demo_connection", "make"]


def demo_connection() -> Connection:
    """Return SC1 and LX of the demo after the change."""
    site = demo.after()
    return Connection(
        first=mapfile.loads(site["sc1-lx.toml"], path="sc1-lx.toml"),
        second=mapfile.loads(site["lx-sc1.toml"], path="lx-sc1.toml"),
    )


def _map(size_octets: int, prefix: str) -> Map:
    signals: list[Signal | Reserved] = [
        Signal(name=f"{prefix}_{bit}", at=Place(0, bit), one_means=f"{prefix} {bit}")
        for bit in range(7)
    ]
    signals.append(Reserved(at=Place(0, 7), width=1))
    signals += [
        Signal(name=f"{prefix}_level_{octet}", at=Place(octet, 0), width=8, type="uint")
        for octet in range(1, size_octets)
    ]
    return Map(entries=tuple(signals[: 8 + size_octets - 1]))


_PARAMETERS: dict[str, tuple[tuple[str, Any], ...]] = {
    "fscp-13-1": (("domain", 0x101), ("manager_id", "0060650012ab")),
    "fscp-3-1": (("parameter_crc", 0x22FF),),
    "en50325-5": (
        ("identifier_1", 0x111),
        ("identifier_2", 0x112),
        ("sct_ms", 100),
        ("srvt_ms", 20),
    ),
    "opcua-safety": (
        ("base_id", "72962b91-fa75-4ae6-8d28-b404dc7daf63"),
        ("consumer_id", 0x10203040),
        ("provider_id", 0x3A2C01DB),
        ("provider_level", 3),
        ("structure_identifier", "Lift"),
        ("structure_signature", 0x12345678),
    ),
}
_ROLES = {
    "fscp-12-1": ("master", "slave"),
    "fscp-13-1": ("", ""),
    "fscp-2-1": ("originator", "target"),
    "en50325-5": ("", ""),
    "fscp-3-1": ("host", "device"),
    "opcua-safety": ("consumer", "provider"),
}
CASES: tuple[tuple[str, int, int, dict[str, Any]], ...] = (
    ("fscp-12-1", 1, 1, {}),
    ("fscp-12-1", 2, 2, {}),
    ("fscp-12-1", 8, 12, {}),
    ("fscp-13-1", 2, 4, {}),
    ("fscp-13-1", 10, 12, {}),
    ("fscp-2-1", 0, 2, {"format": "base"}),
    ("fscp-2-1", 4, 0, {"format": "base"}),
    ("fscp-2-1", 0, 1, {"format": "extended"}),
    ("fscp-2-1", 0, 6, {"format": "extended"}),
    ("fscp-3-1", 2, 4, {}),
    ("opcua-safety", 0, 3, {}),
)
"""Profile, octets sent by the first and by the second end, settings the maps cannot give."""
ONE_WAY: tuple[tuple[str, int, int, dict[str, Any]], ...] = (
    ("en50325-5", 3, 0, {}),
    ("en50325-5", 0, 8, {}),
)
"""Connections in which the other end sends nothing back, and two messages carry the data."""


def make(profile: str, first: int, second: int, settings: dict[str, Any]) -> Link:
    """Return the exchange of a connection of a profile with data of these sizes."""
    connection_table = ConnectionTable(
        name="SC1-LX", profile=profile, id=0x0107, watchdog_ms=100, exchange_ms=12
    )
    down, up = _map(first, "order") if first else Map(), _map(second, "state") if second else Map()
    roles = _ROLES[profile]
    ends = []
    for number, (name, peer) in enumerate((("SC1", "LX"), ("LX", "SC1"))):
        parameters = _PARAMETERS.get(profile, ())
        if profile == "fscp-2-1":
            parameters = (
                ("connection_serial", 0x0C01 + number),
                ("device_serial", 0x11223344 + number),
                ("vendor_id", 0x1001 + number),
            )
        ends.append(
            End(
                name=name,
                peer=peer,
                connection_table=connection_table,
                role=roles[number],
                address=0x23 + number,
                parameters=parameters,
                sends=(down, up)[number],
                receives=(up, down)[number],
            )
        )
    return link_of(Connection(first=ends[0], second=ends[1]), **settings)


def end_with(end: End, **values: Any) -> End:
    """Return an end with other terms."""
    return dataclasses.replace(
        end, connection_table=dataclasses.replace(end.connection_table, **values)
    )
