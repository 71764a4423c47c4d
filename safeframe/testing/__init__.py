"""Hypothesis strategies for maps, connections, frames and faults; needs the library hypothesis."""

try:
    from .frames import exchanges, faults, safety_data, streams
    from .maps import clean_connections, ends, maps, reserved, signals
except ImportError as error:
    raise ImportError("safeframe.testing needs hypothesis: pip install hypothesis") from error

__all__ = [
    "clean_connections",
    "ends",
    "exchanges",
    "faults",
    "maps",
    "reserved",
    "safety_data",
    "signals",
    "streams",
]
