"""Off-line checks of matched bit maps and frames of functional-safety connections.

The names below are the library; everything else may change. They are looked up when first used,
so that ``import safeframe`` costs nothing a program does not need.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .bits import Place
    from .checks import check, check_all
    from .crc import Algorithm
    from .diff import (
        Change,
        classify,
        compare_connection,
        compare_edits,
        compare_ends,
        mixed_versions,
    )
    from .errors import FrameError, InputError, SafeframeError, UsageError
    from .findings import Finding, Report, Rule
    from .fingerprint import end_fingerprint, wire_fingerprint
    from .mapfile import dumps, load, loads
    from .model import Connection, End, Map, Reserved, Signal, Terms
    from .profiles import Profile
    from .reading import read, write

__version__ = "0.1.0"

__all__ = [
    "__version__",
    "Algorithm",
    "Change",
    "Connection",
    "End",
    "Finding",
    "FrameError",
    "InputError",
    "Map",
    "Place",
    "Profile",
    "Report",
    "Reserved",
    "Rule",
    "SafeframeError",
    "Signal",
    "Terms",
    "UsageError",
    "check",
    "check_all",
    "classify",
    "compare_connection",
    "compare_edits",
    "compare_ends",
    "dumps",
    "end_fingerprint",
    "load",
    "loads",
    "mixed_versions",
    "read",
    "wire_fingerprint",
    "write",
]

_HOMES = {
    name: home
    for home, names in {
        "bits": "Place",
        "checks": "check check_all",
        "crc": "Algorithm",
        "diff": "Change classify compare_connection compare_edits compare_ends mixed_versions",
        "errors": "FrameError InputError SafeframeError UsageError",
        "findings": "Finding Report Rule",
        "fingerprint": "end_fingerprint wire_fingerprint",
        "mapfile": "dumps load loads",
        "model": "Connection End Map Reserved Signal Terms",
        "profiles": "Profile",
        "reading": "read write",
    }.items()
    for name in names.split()
}
"""Which module each public name comes from."""


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
