"""What catches each communication error in frames of FSCP 3/1."""

from __future__ import annotations

from dataclasses import replace

from ..aspects import FaultTraits
from ..link import Link

_CAUGHT_BY = ("crc2", "crc2", "crc2", "crc2", "watchdog", "crc2", "crc2", "crc2")


def _neighbour(link: Link, side: int, error: str) -> Link:
    """Return the connection with another parameter record."""
    other = {"parameter_crc": link.settings["parameter_crc"] ^ 1}
    return replace(link, settings={**link.settings, **other})


FAULTS = FaultTraits(
    caught_by=lambda link, data_octets: _CAUGHT_BY,
    neighbour=_neighbour,
)
