"""Off-line checks of matched bit maps and frames of functional-safety connections.

The names below are the library; everything else may change. They are looked up when first used,
so that ``import safeframe`` costs nothing a program does not need.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ._bits import Place
    from ._checks import check, check_all
    from ._codec import decode, encode
    from ._diff import (
        Change,
        classify,
        compare_edits,
        compare_ends,
        compare_versions,
        mixed_versions,
    )
    from ._errors import FrameError, InputError, SafeframeError, UsageError
    from ._findings import Finding, Report, Rule
    from ._fingerprint import end_fingerprint, wire_fingerprint
    from ._mapfile import dumps, load, loads
    from ._model import Connection, ConnectionTable, End, Map, Reserved, Signal
    from .crc import Algorithm
    from .protocols import Profile

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
    "ConnectionTable",
    "UsageError",
    "check",
    "check_all",
    "classify",
    "compare_ends",
    "compare_edits",
    "compare_versions",
    "dumps",
    "end_fingerprint",
    "load",
    "loads",
    "mixed_versions",
    "decode",
    "wire_fingerprint",
    "encode",
]

_HOMES = {
    name: home
    for home, names in {
        "_bits": "Place",
        "_checks": "check check_all",
        "crc": "Algorithm",
        "_diff": "Change classify compare_edits compare_ends compare_versions mixed_versions",
        "_errors": "FrameError InputError SafeframeError UsageError",
        "_findings": "Finding Report Rule",
        "_fingerprint": "end_fingerprint wire_fingerprint",
        "_mapfile": "dumps load loads",
        "_model": "Connection ConnectionTable End Map Reserved Signal",
        "protocols": "Profile",
        "_codec": "decode encode",
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
