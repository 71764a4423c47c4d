"""Published numbers of FSCP 3/1 that are no frames: the CRC of a parameter record."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ._frame import parameter_crc, parameter_record


def _parameter_crc(octets: bytes, inputs: dict[str, Any]) -> int:
    return parameter_crc(parameter_record(**inputs))


RECOMPUTED = MappingProxyType({"parameter record": _parameter_crc})
