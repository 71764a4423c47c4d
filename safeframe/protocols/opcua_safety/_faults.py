"""What catches each communication error in frames of OPC UA Safety."""

from __future__ import annotations

from dataclasses import replace

from ..aspects import FaultTraits
from ..link import Link

_CAUGHT_BY = (
    "crc",
    "monitoring_number",
    "monitoring_number",
    "watchdog",
    "watchdog",
    "spdu_id_3",
    "monitoring_number",
    "spdu_id_3",
)


def _neighbour(link: Link, side: int, error: str) -> Link:
    """Return the connection to another provider."""
    first, second, third = link.settings["spdu_ids"]
    return replace(link, settings={**link.settings, "spdu_ids": (first, second, third ^ 1)})


FAULTS = FaultTraits(
    caught_by=lambda link, data_octets: _CAUGHT_BY,
    neighbour=_neighbour,
    measures={
        "monitoring_number": "the monitoring number of the request",
        "spdu_id_3": "the ids of the provider in the frame",
    },
)
