"""FSCP 13/1 judged by an independent dissector (tshark 4.0), good frames and faulty ones.

The dissector recognises a frame by its first CRC, so a fault in the first subframe shows as "not
recognised"; it does not compare the two payload copies, the order of times, or ranges. Quirks of
version 4.0 that the frames here keep clear of: it leaves the second CRC unjudged where
address XOR domain is 256 or more, where the time-request counter is 48 or more, and where both
CRCs are 0; it does not recognise a cyclic frame whose length octet is one less than the octet
before it, a service frame without data, nor a slim frame of more than 22 data octets.
"""

from __future__ import annotations

import random
import struct
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from safeframe import frame
from safeframe._errors import FrameError
from safeframe.protocols.fscp_13_1 import COMMANDS, command
from safeframe.protocols.fscp_13_1._frame import IDS, SLIM

from .capture import dissect, ethernet, write_capture

pytestmark = pytest.mark.oracle

FIELDS = [
    "opensafety.crc.valid",
    "opensafety.crc2.valid",
    "opensafety.crc.type",
    "opensafety.length",
]
MANAGER = bytes.fromhex("0060650012ab")
DATA_IDS = (48, 49, 50, 51, 52, 53)
AREAS = ("good", "first subframe", "second CRC", "second data", "second time")


def over_ethernet(octets: bytes) -> bytes:
    """Return the frame in a cyclic response of the open Ethernet protocol (type 0x88AB)."""
    body = bytes(4) + octets
    head = bytes.fromhex("04FF20FD00011000") + struct.pack("<H", len(body))
    return ethernet(head + body, 0x88AB)


def acyclic(octets: bytes) -> bytes:
    """Return the frame in an asynchronous message of the same protocol."""
    return ethernet(bytes.fromhex("06FF20FD00000000") + octets, 0x88AB)


class Sample:
    """One random frame, good or with one flipped bit, and what the receiver knows."""

    def __init__(
        self,
        draw: random.Random,
        ids: tuple[int, ...],
        *,
        manager_id: bytes = bytes(6),
        sizes: range = range(255),
    ) -> None:
        identity = draw.choice(ids)
        self.size = draw.choice(sizes)
        self.slim = identity in SLIM
        address = draw.randrange(1, 1024)
        while True:
            domain = address ^ draw.randrange(256)
            if 1 <= domain <= 1023:
                break
        self.known: dict[str, Any] = {"domain": domain, "manager_id": manager_id}
        if identity << 2 | address >> 8 == self.size + 1:
            self.size -= 1
        target = 0 if identity in (48, 49) else draw.randrange(1, 1024)
        good = frame.build(
            "fscp-13-1",
            data=draw.randbytes(self.size),
            id=identity,
            address=address,
            consecutive_time=draw.randrange(65536),
            target=target,
            request=draw.randrange(48),
            **self.known,
        )
        where = frame.layout("fscp-13-1", self.size, "slim" if self.slim else "data").slices
        areas = {
            "good": (),
            "first subframe": range(3, where["crc_1"].stop),
            "second CRC": range(where["crc_2"].start, len(good)),
            "second data": range(where["target"].stop, where["crc_2"].start),
            "second time": range(where["ct_high"].start, where["ct_high"].stop),
        }
        self.area = draw.choice([name for name, run in areas.items() if name == "good" or run])
        octets = bytearray(good)
        if self.area != "good":
            octets[draw.choice(areas[self.area])] ^= 1 << draw.randrange(8)
        self.octets = bytes(octets)
        # 1: 8-bit CRC, 2: 16-bit CRC, 8: the 16-bit CRC of slim frames.
        self.type = "1" if self.size <= 8 else "8" if self.slim else "2"

    def judged_good(self, row: dict[str, str]) -> bool:
        """Return the strict verdict: both CRCs right, and the frame is the one we wrote."""
        return list(row.values()) == ["1", "1", self.type, str(self.size)]


def judge(
    path: Path, samples: list[Sample], over: Any, *options: str, missed: int = 0
) -> Counter[str]:
    """Compare the dissector with the package on every sample; return how faults showed.

    Up to ``missed`` good frames may be not recognised at all: in short slim frames an 8-bit CRC
    also fits elsewhere by chance, and the dissector then looks in the wrong place.
    """
    write_capture(path, (over(sample.octets) for sample in samples))
    rows = dissect(path, FIELDS, *options)
    assert len(rows) == len(samples)
    shown: Counter[str] = Counter()
    for sample, row in zip(samples, rows, strict=True):
        good = sample.area == "good"
        if good and missed and not any(row.values()):
            missed -= 1
        else:
            assert sample.judged_good(row) is good, (sample.area, sample.octets.hex(), row)
        try:
            frame.verify("fscp-13-1", sample.octets, **sample.known)
            accepted = True
        except FrameError:
            accepted = False
        assert accepted is good
        recognised, second = row["opensafety.crc.valid"], row["opensafety.crc2.valid"]
        verdict = "not recognised" if not recognised else f"second CRC {second or 'unjudged'}"
        shown[f"{sample.area}: {verdict}"] += 1
    return shown


def test_twenty_thousand_data_frames(tmp_path: Path) -> None:
    draw = random.Random(131)
    samples = [Sample(draw, DATA_IDS) for _ in range(20_000)]
    shown = judge(tmp_path / "data.pcap", samples, over_ethernet)
    assert shown["good: second CRC 1"] > 3500
    for area in ("second CRC", "second data", "second time"):
        assert shown[f"{area}: second CRC 0"] > 3000
    # What is wrong in the first subframe is not recognised, but for a few chance locks.
    assert shown["first subframe: not recognised"] > 3500
    assert sum(shown.values()) - sum(count for _, count in shown.most_common(5)) < 40


def test_two_thousand_frames_under_a_manager_id(tmp_path: Path) -> None:
    draw = random.Random(132)
    samples = [Sample(draw, DATA_IDS, manager_id=MANAGER) for _ in range(2_000)]
    option = f"opensafety.scm_udid:{MANAGER.hex(':')}"
    shown = judge(tmp_path / "manager.pcap", samples, over_ethernet, "-o", option)
    assert shown["good: second CRC 1"] > 300


@pytest.mark.parametrize(("ids", "last"), [((56, 57), 254), ((58, 59), 22)])
def test_two_thousand_service_frames(tmp_path: Path, ids: tuple[int, ...], last: int) -> None:
    draw = random.Random(133)
    samples = [Sample(draw, ids, sizes=range(1, last + 1)) for _ in range(2_000)]
    shown = judge(tmp_path / "service.pcap", samples, acyclic, missed=3 if last == 22 else 0)
    assert shown["good: second CRC 1"] > 300


def _payload(draw: random.Random, identity: int) -> bytes:
    """Return a payload that a management frame may carry."""
    if identity in (40, 47):
        return b""
    if identity < 44:
        return draw.randbytes(6)
    number = draw.choice([number for number in COMMANDS if number % 2 == identity % 2])
    fields: dict[str, Any] = {
        name: draw.randbytes(size) if name in ("manager_id", "time") else draw.randrange(256)
        for name, size in COMMANDS[number].fields
    }
    return command(number, **fields)


def test_four_thousand_management_frames(tmp_path: Path) -> None:
    """Good ones have both CRCs right there too, and the same addresses; spoilt ones have not."""
    draw = random.Random(134)
    rows, octets_of = [], []
    for _ in range(4_000):
        identity = draw.choice((40, 41, 42, 43, 44, 45, 47))
        address = draw.randrange(1, 1024)
        domain = address ^ draw.randrange(256) or 1
        if address ^ domain > 255:
            domain = address
        data, target = _payload(draw, identity), draw.randrange(1, 1024)
        values: dict[str, Any] = {"address": address, "target": target, "domain": domain}
        octets = bytearray(frame.build("fscp-13-1", id=identity, data=data, **values))
        area = draw.choice(("good", "first", "second"))
        half = 5 + len(data)
        if area != "good":
            # In the second subframe from the time on: what is before it only says who it is for.
            span = range(3, half) if area == "first" else range(half + 2, len(octets))
            octets[draw.choice(span)] ^= 1 << draw.randrange(8)
        rows.append((area, identity, address, target, domain))
        octets_of.append(bytes(octets))
    write_capture(tmp_path / "management.pcap", map(acyclic, octets_of))
    fields = [*FIELDS[:2], "opensafety.msg.id", "opensafety.msg.sender", "opensafety.msg.receiver"]
    found = dissect(tmp_path / "management.pcap", fields)
    verdicts: Counter[str] = Counter()
    for (area, _, address, target, domain), sent, row in zip(rows, octets_of, found, strict=True):
        ours = frame.inspect("fscp-13-1", sent, domain=domain, address=address, target=target)
        theirs = [row["opensafety.crc.valid"], row["opensafety.crc2.valid"]] == ["1", "1"]
        verdicts[f"{area} {ours.accepted} {theirs}"] += 1
        if area == "good" and theirs:
            shown = [row["opensafety.msg.sender"], row["opensafety.msg.receiver"]]
            verdicts[f"addresses {shown == [f'0x{target:04x}', f'0x{address:04x}']}"] += 1
    assert verdicts["addresses True"] == verdicts["good True True"] > 1200
    assert verdicts["first False False"] > 1200
    assert verdicts["second False False"] > 1200
    assert sum(verdicts.values()) - verdicts["addresses True"] == 4_000
    assert len(verdicts) == 4


def test_every_length(tmp_path: Path) -> None:
    known = {"domain": 0x101, "manager_id": bytes(6)}
    frames = [
        frame.build("fscp-13-1", data=bytes(range(size)), address=0x123, **known)
        for size in range(255)
    ]
    write_capture(tmp_path / "lengths.pcap", map(over_ethernet, frames))
    rows = dissect(tmp_path / "lengths.pcap", FIELDS)
    assert [row["opensafety.length"] for row in rows] == list(map(str, range(255)))
    assert {row["opensafety.crc.valid"] + row["opensafety.crc2.valid"] for row in rows} == {"11"}
    types = [row["opensafety.crc.type"] for row in rows]
    assert types == ["1"] * 9 + ["2"] * 246


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"address": 0x123, "domain": 0x2FF}, "address XOR domain above 255"),
        ({"address": 0x123, "domain": 0x101, "request": 48}, "time-request counter above 47"),
    ],
)
def test_known_quirks(tmp_path: Path, change: dict[str, Any], reason: str) -> None:
    """Version 4.0 leaves the second CRC of these good frames unjudged; others may not."""
    octets = frame.build("fscp-13-1", data=b"\1\2\3\4", **change)
    write_capture(tmp_path / "quirk.pcap", [over_ethernet(octets)])
    (row,) = dissect(tmp_path / "quirk.pcap", FIELDS)
    assert row["opensafety.crc.valid"] == "1", reason
    assert row["opensafety.crc2.valid"] != "1", reason


def test_the_samples_cover_every_id_and_area() -> None:
    draw = random.Random(1)
    samples = [Sample(draw, tuple(IDS)) for _ in range(400)]
    assert {sample.area for sample in samples} == set(AREAS)
    assert {sample.octets[1] >> 2 for sample in samples if sample.area == "good"} == set(IDS)
