"""Open safety profiles as data: legal sizes, frame parts, CRC recipes, limits, sources."""

from ._facts import (
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
from ._reading import load, load_file, loads, names

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
