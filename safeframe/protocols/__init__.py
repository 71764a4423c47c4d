"""Open safety protocols, one room each: facts as data, and what is peculiar to their frames.

``load`` returns the facts: legal sizes, frame parts, CRC recipes, limits, sources. ``room``
returns the whole room, whose other aspects are read when first used.
"""

from ._facts import (
    CONFIDENCES,
    PROOFS,
    CrcUse,
    FrameKind,
    ParameterRule,
    PartRow,
    Profile,
    Proof,
    ReactionShare,
    SizeRange,
    Sizes,
    Source,
    TestedUpTo,
)
from ._facts_file import load_file, loads
from ._registry import Room, load, names, register, room, unregister

TYPE_CHECKING = False

__all__ = [
    "CONFIDENCES",
    "PROOFS",
    "CrcUse",
    "FrameKind",
    "ParameterRule",
    "PartRow",
    "Profile",
    "Proof",
    "ReactionShare",
    "Room",
    "SizeRange",
    "Sizes",
    "Source",
    "TestedUpTo",
    "load",
    "load_file",
    "loads",
    "names",
    "register",
    "room",
    "unregister",
]

if not TYPE_CHECKING:  # pragma: no branch - a type checker knows the packages of the rooms.

    def __getattr__(name):
        """Open a room of this package by its module name, such as ``fscp_12_1``."""
        if name.replace("_", "-") in names():
            from importlib import import_module

            return import_module(f"{__name__}.{name}")
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
