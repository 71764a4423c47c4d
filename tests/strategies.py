"""The strategies of ``safeframe.testing`` that draw maps, under the name that all tests use."""

from __future__ import annotations

from safeframe.testing._maps import (
    clean_connections,
    ends,
    lines,
    maps,
    names,
    notes,
    places,
    relations,
    reserved,
    signals,
)

__all__ = [
    "clean_connections",
    "ends",
    "lines",
    "maps",
    "names",
    "notes",
    "places",
    "relations",
    "reserved",
    "signals",
]
