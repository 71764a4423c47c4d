"""Open safety profiles as data: legal sizes, frame parts, CRC recipes, limits, sources."""

from .reading import load, load_file, loads, names
from .record import (
    CONFIDENCES,
    CrcUse,
    FrameKind,
    ParameterRule,
    PartRow,
    Profile,
    SizeRange,
    Sizes,
    Source,
)

__all__ = [
    "CONFIDENCES",
    "CrcUse",
    "FrameKind",
    "ParameterRule",
    "PartRow",
    "Profile",
    "SizeRange",
    "Sizes",
    "Source",
    "load",
    "load_file",
    "loads",
    "names",
]
