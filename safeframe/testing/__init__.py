"""Hypothesis strategies for maps, connections, frames and faults; needs the library hypothesis."""

try:
    from ._frames import faults, links, safety_data, streams
    from ._maps import clean_connections, ends, maps, reserved, signals
except ImportError as _error:
    raise ImportError("safeframe.testing needs hypothesis: pip install hypothesis") from _error

__all__ = [
    "clean_connections",
    "ends",
    "links",
    "faults",
    "maps",
    "reserved",
    "safety_data",
    "signals",
    "streams",
]
