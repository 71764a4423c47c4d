"""Published numbers of FSCP 12/1 that are no frames: the CRC of one block."""

from __future__ import annotations

from types import MappingProxyType

from ._frame import block_crc

RECOMPUTED = MappingProxyType({"block crc": lambda octets, inputs: block_crc(octets, **inputs)})
