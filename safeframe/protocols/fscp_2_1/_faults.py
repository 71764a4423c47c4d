"""What catches each communication error in frames of FSCP 2/1."""

from __future__ import annotations

from dataclasses import replace

from ..aspects import FaultTraits
from ..link import Link

# "order": a time stamp that is not newer. "+": the CRC whose name hangs on size and format.
_CAUGHT_BY = ("+", "order", "order", "watchdog", "watchdog", "+", "order", "+")
_CRC_OF_KIND = {"base-short": "crc_s1", "extended-short": "crc_s5"}


def _caught_by(link: Link, data_octets: int) -> tuple[str, ...]:
    format_ = link.settings["format"]
    kind = f"{format_}-{'short' if data_octets <= 2 else 'long'}"
    crc = _CRC_OF_KIND.get(kind, "crc_s3")
    # An old stamp looks like a new round of the counter, which enters the extended CRCs.
    swapped = {"+": crc} | ({"order": crc} if format_ == "extended" else {})
    return tuple(swapped.get(name, name) for name in _CAUGHT_BY)


def _neighbour(link: Link, side: int, error: str) -> Link:
    """Return the connection with the next serial number of the producer."""
    vendor, device, connection = link.settings["producer"]
    other = vendor, device, (connection + 1) % 65536
    return replace(link, settings={**link.settings, "producer": other})


FAULTS = FaultTraits(
    caught_by=_caught_by,
    neighbour=_neighbour,
    timed=True,
)
