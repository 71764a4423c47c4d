"""What catches each communication error in frames of LIFT 6."""

from __future__ import annotations

from dataclasses import replace

from safeframe.protocols.aspects import FaultTraits
from safeframe.protocols.link import Link

__all__ = ["FAULTS"]

_CAUGHT_BY = ("crc", "counter", "counter", "counter", "watchdog", "station", "counter", "station")


def _neighbour(link: Link, side: int, error: str) -> Link:
    first, second = link.settings["stations"]
    return replace(link, settings={"stations": (first + 100, second + 100)})


FAULTS = FaultTraits(
    caught_by=lambda link, data_octets: _CAUGHT_BY,
    neighbour=_neighbour,
    data_at=2,
    measures={"station": "the station in the frame"},
)
