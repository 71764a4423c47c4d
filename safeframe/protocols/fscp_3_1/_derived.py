"""Numbers of FSCP 3/1 that both ends must hold: the parameter record with its CRC."""

from __future__ import annotations

from typing import Any

from ..aspects import Derivation, DerivedInput
from ._frame import parameter_record


def _parameter_record(given: dict[str, Any]) -> dict[str, str]:
    record = parameter_record(**given)
    return {"record": record.hex(" "), "parameter_crc": f"0x{record[-2:].hex().upper()}"}


DERIVATIONS = (
    Derivation(
        name="parameter-record",
        title="FSCP 3/1: the parameter record with its CRC",
        inputs=(
            DerivedInput("sil", int),
            DerivedInput("source_address", int),
            DerivedInput("destination_address", int),
            DerivedInput("watchdog_ms", int),
            DerivedInput("device_parameter_crc", int, optional=True),
            DerivedInput("check_number", bool, optional=True),
            DerivedInput("check_device_parameters", bool, optional=True),
            DerivedInput("crc_octets", int, optional=True),
        ),
        make=_parameter_record,
    ),
)
