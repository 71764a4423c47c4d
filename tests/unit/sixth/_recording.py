"""How a recording shows the frames of LIFT 6."""

from __future__ import annotations

from safeframe.protocols._aspects import Link, RecordingTraits, passes

from ._frame import RECIPE

__all__ = ["RECORDING"]


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    size, station = link.sizes[side], link.settings["stations"][link.senders[side] == "cabin"]
    return [
        start
        for start in range(len(octets) - size + 1)
        if passes(RECIPE, octets[start : start + size], {"station": station})
    ]


RECORDING = RecordingTraits(search=_search)
