"""Published numbers of FSCP 12/1 that are no frames: the CRC of one block."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from ._frame import block_crc


def _block_crc(octets: bytes, inputs: dict[str, Any]) -> int:
    return block_crc(octets, **inputs)


RECOMPUTED = MappingProxyType({"block crc": _block_crc})
