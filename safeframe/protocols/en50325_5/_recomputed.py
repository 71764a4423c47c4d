"""Published numbers of EN 50325-5 that are no frames: the configuration checksum."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from . import _checksum as config


def _configuration(octets: bytes, inputs: dict[str, Any]) -> int:
    entries = config.entries_of(str(inputs["entries"]))
    return config.checksum(config.steps(**{**inputs, "entries": entries}))


RECOMPUTED = MappingProxyType({"configuration checksum": _configuration})
