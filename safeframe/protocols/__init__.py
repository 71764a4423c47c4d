"""Open safety protocols, one room each: facts as data, and what is peculiar to their frames.

``load`` returns the facts: legal sizes, frame parts, CRC recipes, limits, sources. ``room``
returns the whole room, whose other aspects are read when first used.
"""

from ._facts import (
    CONFIDENCES,
    CrcUse,
    FrameKind,
    ParameterRule,
    PartRow,
    Profile,
    ReactionShare,
    SizeRange,
    Sizes,
    Source,
)
from ._facts_file import load_file, loads
from ._registry import Room, load, names, register, room, unregister

__all__ = [
    "CONFIDENCES",
    "CrcUse",
    "FrameKind",
    "ParameterRule",
    "PartRow",
    "Profile",
    "ReactionShare",
    "Room",
    "SizeRange",
    "Sizes",
    "Source",
    "load",
    "load_file",
    "loads",
    "names",
    "register",
    "room",
    "unregister",
]
