"""What catches each communication error in frames of FSCP 12/1."""

from __future__ import annotations

from dataclasses import replace

from ..aspects import FaultTraits
from ..link import Link

_CAUGHT_BY = ("crc", "crc", "crc", "crc", "watchdog", "connection_id", "crc", "connection_id")


def _neighbour(link: Link, side: int, error: str) -> Link:
    """Return the connection with the next id."""
    number = link.settings["connection_id"]
    other = {"connection_id": 1 if number == 65535 else number + 1}
    return replace(link, settings={**link.settings, **other})


FAULTS = FaultTraits(
    caught_by=lambda link, data_octets: _CAUGHT_BY,
    neighbour=_neighbour,
    measures={"connection_id": "the connection id in the frame"},
    data_at=1,
)
