"""Capture files for the dissector, and running it."""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
from collections.abc import Iterable
from pathlib import Path

import pytest

__all__ = ["dissect", "ethernet", "need_tshark", "tcp", "udp", "write_capture"]

SIDE_A = bytes([10, 0, 0, 1])
SIDE_B = bytes([10, 0, 0, 2])


def need_tshark() -> str:
    """Return the path of tshark; skip where it is absent, but fail in CI."""
    found = shutil.which("tshark")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("tshark must be installed in CI: the oracle tests cannot be left out")
        pytest.skip("tshark is not installed")
    return found


def ethernet(payload: bytes, kind: int) -> bytes:
    """Return an Ethernet frame, padded to its shortest legal length."""
    return (bytes.fromhex("01111e00000202000000000a") + struct.pack(">H", kind) + payload).ljust(
        60, b"\0"
    )


def _ip(payload: bytes, protocol: int, source: bytes, target: bytes) -> bytes:
    head = struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(payload), 0, 0, 64, protocol, 0)
    return ethernet(head + source + target + payload, 0x0800)


def udp(payload: bytes, port: int, source: bytes, target: bytes) -> bytes:
    """Return a UDP datagram in an Ethernet frame (checksum 0: none)."""
    return _ip(struct.pack(">HHHH", port, port, 8 + len(payload), 0) + payload, 17, source, target)


def tcp(
    payload: bytes, ports: tuple[int, int], sequence: int, source: bytes, target: bytes
) -> bytes:
    """Return a TCP segment in an Ethernet frame, without any handshake around it."""
    head = struct.pack(">HHIIBBHHH", *ports, sequence, 1, 0x50, 0x18, 8192, 0, 0)
    return _ip(head + payload, 6, source, target)


def write_capture(path: Path, frames: Iterable[bytes]) -> None:
    """Write a capture file with one frame for each millisecond."""
    with path.open("wb") as file:
        file.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 1))
        for count, octets in enumerate(frames):
            stamp = count // 1000, count % 1000 * 1000
            file.write(struct.pack("<IIII", *stamp, len(octets), len(octets)) + octets)


def dissect(path: Path, fields: list[str], *options: str) -> list[dict[str, str]]:
    """Return the first occurrence of the fields in every frame as text."""
    shape = ["-T", "fields", "-E", "separator=/t", "-E", "occurrence=f"]
    command = [need_tshark(), "-n", "-r", str(path), *shape, *options]
    for field in fields:
        command += ["-e", field]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    rows = [line.split("\t") for line in done.stdout.splitlines()]
    return [dict(zip(fields, row, strict=True)) for row in rows]
