"""FSCP 3/1 layouts against a public packet library: it knows the places, not the CRCs."""

from __future__ import annotations

import random
import warnings
from importlib import import_module
from typing import Any

import pytest

from safeframe import frame
from safeframe.protocols.fscp_3_1 import _frame as fscp_3_1

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # importing the library warns about things it deprecates.
    pnio: Any = import_module("scapy.contrib.pnio")
    pnio_rpc: Any = import_module("scapy.contrib.pnio_rpc")


@pytest.mark.parametrize("size", range(13))
def test_frames(size: int) -> None:
    """Data, status or control octet and CRC are where the library sees and puts them."""
    draw = random.Random(size)
    for role, name in ((pnio.PROFIsafeStatus, "status"), (pnio.PROFIsafeControl, "control")):
        layer = role.build_PROFIsafe_class(role, size)
        data, octet = draw.randbytes(size), draw.randrange(256)
        octets = frame.build(
            "fscp-3-1", data=data, status=octet, number=draw.randrange(1 << 24), parameter_crc=9
        )
        crc = int.from_bytes(octets[-3:], "big")
        seen = layer(octets)
        assert (seen.data, int(getattr(seen, name)), seen.crc) == (data, octet, crc)
        assert bytes(layer(data=data, crc=crc, **{name: octet})) == octets


def test_status_bits() -> None:
    """Each status bit has the library's name where we describe it."""
    layer = pnio.PROFIsafeStatus.build_PROFIsafe_class(pnio.PROFIsafeStatus, 0)
    toggle = frame.build("fscp-3-1", data=b"", status=0x20, parameter_crc=0)
    reset = frame.build("fscp-3-1", data=b"", status=0x40, parameter_crc=0)
    assert str(layer(toggle).status) == "Toggle_d"
    assert str(layer(reset).status) == "cons_nr_R"
    assert "toggle" in frame.inspect("fscp-3-1", toggle).parts[1].meaning
    assert "number reset" in frame.inspect("fscp-3-1", reset).parts[1].meaning


@pytest.mark.parametrize("sil", [0, 1, 2, 3])
@pytest.mark.parametrize("device", [None, 0x437A2FDC])
@pytest.mark.parametrize("flags", [(False, False), (True, False), (False, True)])
def test_parameter_records(sil: int, device: int | None, flags: tuple[bool, bool]) -> None:
    """Every field of the record reads back from the library as it was given."""
    record = fscp_3_1.parameter_record(
        sil=sil,
        source_address=0x1234,
        destination_address=0x5678,
        watchdog_ms=500,
        device_parameter_crc=device,
        check_number=flags[0],
        check_device_parameters=flags[1],
    )
    seen = pnio_rpc.FParametersBlock(record)
    assert bytes(seen) == record
    assert sil == (seen.F_SIL + 1) % 4
    assert (seen.F_Source_Add, seen.F_Dest_Add, seen.F_WD_Time) == (0x1234, 0x5678, 500)
    assert (bool(seen.F_Check_SeqNr), bool(seen.F_Check_iPar)) == flags
    assert (seen.F_CRC_Length, seen.F_CRC_Seed, seen.F_Par_Version) == (0, 0, 1)
    assert seen.F_iPar_CRC == device
    assert seen.F_Par_CRC == fscp_3_1.parameter_crc(record)
