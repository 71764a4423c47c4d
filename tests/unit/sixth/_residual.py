"""In which bits of a frame of LIFT 6 an error can be missed."""

from __future__ import annotations

from safeframe.protocols.aspects import FrameScope
from safeframe.residual import contiguous

__all__ = ["SCOPES"]

SCOPES = (
    FrameScope(
        name="frame",
        title="errors anywhere in the frame",
        left_out="that the station is compared",
        build=lambda generators, octets: contiguous(generators["v41"], 8 * (octets + 4)),
        source="L",
    ),
)
