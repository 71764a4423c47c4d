"""Off-line checks of matched bit maps and frames of functional-safety connections.

The names below and the public modules are the library; everything else starts with an underscore
and may change. They are looked up when first used, so that ``import safeframe`` costs nothing a
program does not need.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # typing would cost more than all the rest of this module.
if TYPE_CHECKING:
    from typing import Any

    from . import (
        capture,
        cases,
        crc,
        edit,
        fixtures,
        frame,
        importing,
        protocols,
        record,
        relations,
        residual,
        testing,
    )
    from ._bits import Place
    from ._checks import check, check_all
    from ._codec import MapCodec, Reading, decode, encode
    from ._diff import (
        ArrivingBits,
        Change,
        ChangeClass,
        ClassReason,
        EditComparison,
        EditDifference,
        EditStep,
        Ground,
        MixedRow,
        MixedState,
        MixedTable,
        classify,
        compare_edits,
        compare_ends,
        compare_versions,
        mixed_versions,
    )
    from ._errors import FrameError, InputError, Problem, SafeframeError, UsageError, WriteError
    from ._findings import Counterexample, Finding, NotJudged, Report, Rule, Spot, Waived
    from ._fingerprint import end_fingerprint, wire_fingerprint
    from ._history import (
        ConnectionChange,
        EndState,
        MapFile,
        SiteComparison,
        SiteState,
        compare_sites,
        read_site,
    )
    from ._mapfile import dumps, load, loads
    from ._model import (
        Allowance,
        Connection,
        ConnectionTable,
        DeviceMap,
        Direction,
        End,
        Installed,
        Map,
        Provenance,
        Relation,
        Reserved,
        Signal,
    )
    from ._source import Location
    from .crc import Algorithm
    from .protocols import Profile

__version__ = "0.1.0"

__all__ = [
    "__version__",
    "Algorithm",
    "Allowance",
    "ArrivingBits",
    "Change",
    "ChangeClass",
    "ClassReason",
    "Connection",
    "ConnectionChange",
    "ConnectionTable",
    "Counterexample",
    "DeviceMap",
    "Direction",
    "EditComparison",
    "EditDifference",
    "EditStep",
    "End",
    "EndState",
    "Finding",
    "FrameError",
    "Ground",
    "InputError",
    "Installed",
    "Location",
    "Map",
    "MapCodec",
    "MapFile",
    "MixedRow",
    "MixedState",
    "MixedTable",
    "NotJudged",
    "Place",
    "Problem",
    "Profile",
    "Provenance",
    "Reading",
    "Relation",
    "Report",
    "Reserved",
    "Rule",
    "SafeframeError",
    "Signal",
    "SiteComparison",
    "SiteState",
    "Spot",
    "UsageError",
    "Waived",
    "WriteError",
    "capture",
    "cases",
    "check",
    "check_all",
    "classify",
    "compare_edits",
    "compare_ends",
    "compare_sites",
    "compare_versions",
    "crc",
    "decode",
    "dumps",
    "edit",
    "encode",
    "end_fingerprint",
    "fixtures",
    "frame",
    "importing",
    "load",
    "loads",
    "mixed_versions",
    "protocols",
    "read_site",
    "record",
    "relations",
    "residual",
    "testing",
    "wire_fingerprint",
]

_MODULES = (
    "capture",
    "cases",
    "crc",
    "edit",
    "fixtures",
    "frame",
    "importing",
    "protocols",
    "record",
    "relations",
    "residual",
    "testing",
)
"""Public modules, each with an ``__all__`` of its own."""

_HOMES = {
    name: home
    for home, names in {
        "_bits": "Place",
        "_checks": "check check_all",
        "_codec": "MapCodec Reading decode encode",
        "_diff": (
            "ArrivingBits Change ChangeClass ClassReason EditComparison EditDifference EditStep "
            "Ground MixedRow MixedState MixedTable classify compare_edits compare_ends "
            "compare_versions mixed_versions"
        ),
        "_errors": "FrameError InputError Problem SafeframeError UsageError WriteError",
        "_findings": "Counterexample Finding NotJudged Report Rule Spot Waived",
        "_fingerprint": "end_fingerprint wire_fingerprint",
        "_history": (
            "ConnectionChange EndState MapFile SiteComparison SiteState compare_sites read_site"
        ),
        "_mapfile": "dumps load loads",
        "_model": (
            "Allowance Connection ConnectionTable DeviceMap Direction End Installed Map Provenance "
            "Relation Reserved Signal"
        ),
        "_source": "Location",
        "crc": "Algorithm",
        "protocols": "Profile",
    }.items()
    for name in names.split()
}
"""Which module each public name comes from."""


def __getattr__(name: str) -> Any:
    if name in _MODULES:
        return import_module(f".{name}", __name__)
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOMES[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
