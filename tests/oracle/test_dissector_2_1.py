"""FSCP 2/1 judged by an independent dissector (tshark 4.0), good frames and faulty ones.

The dissector judges a CRC only after it saw the connection being opened, so the capture starts
with that exchange. It takes the start of the rollover count from there and follows the wraps of
the time stamp. A frame counts as good when every CRC of its kind is good and no expert line
objects: version 4.0 recomputes CRC-S5 of a long frame from the first copy of the data, so a fault
in the second copy shows only as an expert line.
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
from safeframe.protocols.fscp_2_1._frame import ack_octet, mode_octet

from .capture import SIDE_A, SIDE_B, dissect, tcp, udp, write_capture

pytestmark = pytest.mark.oracle

STATUS = [
    "cipsafety.crc_s1.status",
    "cipsafety.crc_s2.status",
    "cipsafety.crc_s3.status",
    "cipsafety.complement_crc_s3.status",
    "cipsafety.crc_s5.status",
]
EXPERT = "_ws.expert.message"
JUDGED = {
    "base-short": [0, 1],
    "base-long": [0, 2, 3],
    "extended-short": [4],
    "extended-long": [2, 4],
    "base-time": [2],
    "extended-time": [4],
}
"""Which of STATUS the dissector fills for each kind (CRC-S1 counts its first occurrence)."""

ORIGINATOR = (0x1001, 0x11223344, 0x0C01)
TARGET = (0x2002, 0x55667788, 0x0D02)
TO_TARGET, TO_ORIGINATOR = 0x11110001, 0x22220002
FIRST_ROLLOVER, FIRST_STAMP = 7, 1000
NAMES = ("vendor_id", "device_serial", "connection_serial")


def _segment(extended: bool) -> bytes:
    """Return the safety segment of the connection path; only its format octet matters here."""
    timing = struct.pack("<HHHBB", 100, 1, 100, 2, 1)
    body = bytes([2 if extended else 0, 0]) + bytes(36) + timing
    body += (bytes(2) if extended else b"") + bytes(8)
    body += struct.pack("<HH", FIRST_STAMP, FIRST_ROLLOVER) if extended else b""
    return bytes([0x50, len(body) // 2]) + body


def _message(payload: bytes) -> bytes:
    items = struct.pack("<IHHHHHH", 0, 0, 2, 0, 0, 0xB2, len(payload)) + payload
    return struct.pack("<HHII8sI", 0x6F, len(items), 0x1234, 0, b"contextX", 0) + items


def opening(extended: bool, *, sends: bool = False, number: int = 0) -> list[bytes]:
    """Return the request that opens the connection, and its answer.

    ``sends`` makes the side that opens it the one that sends the data; under another ``number``
    it is opened anew, and the dissector forgets what it knew of it.
    """
    path = bytes.fromhex("20042401") + _segment(extended)
    triad = struct.pack("<HHI", ORIGINATOR[2], ORIGINATOR[0], ORIGINATOR[1])
    ids = struct.pack("<II", TO_TARGET + number, TO_ORIGINATOR + number)
    rates = struct.pack("<IHIHB", 10000, 0x4014, 10000, 0x4014, 0x80 * sends)
    request = bytes.fromhex("5402200624010a0a") + ids + triad + bytes([1, 0, 0, 0]) + rates
    request += bytes([len(path) // 2]) + path
    answer = struct.pack("<HHIH", 1, *TARGET)
    answer += struct.pack("<HH", FIRST_STAMP, FIRST_ROLLOVER) if extended else b""
    reply = bytes.fromhex("d4000000") + ids + triad + struct.pack("<II", 10000, 10000)
    reply += bytes([len(answer) // 2, 0]) + answer
    return [
        tcp(_message(request), (50000 + number, 44818), 1, SIDE_A, SIDE_B),
        tcp(_message(reply), (44818, 50000 + number), 1, SIDE_B, SIDE_A),
    ]


def renumbered(packet: bytes, number: int) -> bytes:
    """Return a packet of ``cyclic`` as it is on the connection opened under this number."""
    place = packet.index(struct.pack("<HH", 0x8002, 8)) + 4
    (connection,) = struct.unpack_from("<I", packet, place)
    return packet[:place] + struct.pack("<I", connection + number) + packet[place + 4 :]


def cyclic(octets: bytes, number: int, to_originator: bool) -> bytes:
    """Return a cyclic datagram of the connection."""
    connection = TO_ORIGINATOR if to_originator else TO_TARGET
    head = struct.pack("<HHHII", 2, 0x8002, 8, connection, number)
    sides = (SIDE_B, SIDE_A) if to_originator else (SIDE_A, SIDE_B)
    return udp(head + struct.pack("<HH", 0xB1, len(octets)) + octets, 2222, *sides)


@pytest.mark.parametrize("style", ["base", "extended"])
def test_three_thousand_frames(tmp_path: Path, style: str) -> None:
    """Good frames are all good, frames with one flipped bit all bad, as the package says."""
    draw = random.Random(f"21 {style}")
    producer = {"format": style, **dict(zip(NAMES, TARGET, strict=True))}
    consumer = {"format": style, **dict(zip(NAMES, ORIGINATOR, strict=True))}
    stamp, rollover = FIRST_STAMP, FIRST_ROLLOVER
    wire, sent = opening(style == "extended"), []
    for number in range(3_000):
        if number % 8 == 7:
            known: dict[str, Any] = dict(consumer)
            values: dict[str, Any]
            ack = ack_octet(ping_count=draw.randrange(4), response=bool(draw.randrange(2)))
            values = {"ack": ack, "consumer_time": draw.randrange(65536)}
        else:
            last, stamp = stamp, (stamp + draw.randrange(1, 500)) % 65536
            rollover += stamp < last
            known = producer | ({"rollover": rollover} if style == "extended" else {})
            size = draw.choice((1, 2, draw.randrange(3, 251)))
            mode = mode_octet(run=bool(draw.randrange(2)), ping_count=draw.randrange(4))
            values = {"data": draw.randbytes(size), "mode": mode, "time_stamp": stamp}
        octets = bytearray(frame.build("fscp-2-1", **values, **known))
        kind = frame.inspect("fscp-2-1", bytes(octets), **known).kind
        faulty = bool(draw.randrange(2))
        if faulty:
            # A changed stamp would move the dissector's rollover count, and it does not look at
            # the second acknowledge; no CRC covers the ping count of a short extended frame.
            where = frame.layout("fscp-2-1", len(values.get("data", b"")), kind).slices
            kept: set[int] = set()
            for name in ("time_stamp", "ack_2"):
                if name in where:
                    kept |= set(range(8 * where[name].start, 8 * where[name].stop))
            if kind == "extended-short":
                kept |= {8 * where["mode"].start, 8 * where["mode"].start + 1}
            bit = draw.choice(sorted(set(range(8 * len(octets))) - kept))
            octets[bit >> 3] ^= 1 << (bit & 7)
        try:
            frame.verify("fscp-2-1", bytes(octets), **known)
            assert not faulty
        except FrameError:
            assert faulty
        wire.append(cyclic(bytes(octets), number + 1, kind[-4:] != "time"))
        sent.append((kind, faulty, bytes(octets)))
    write_capture(tmp_path / "stream.pcap", wire)
    rows = dissect(tmp_path / "stream.pcap", [*STATUS, EXPERT])[2:]
    assert len(rows) == len(sent)
    shown: Counter[str] = Counter()
    for (kind, faulty, raw), row in zip(sent, rows, strict=True):
        verdicts = [row[STATUS[place]] for place in JUDGED[kind]]
        good = set(verdicts) == {"1"} and not row[EXPERT]
        assert good is not faulty, (kind, faulty, raw.hex(), row)
        shown[f"{kind} {'bad' if faulty else 'good'}"] += 1
    kinds = [kind for kind in JUDGED if kind.startswith(style)]
    assert set(shown) == {f"{kind} {word}" for kind in kinds for word in ("good", "bad")}
    assert min(shown.values()) > 150


def test_a_wrong_rollover_count_is_seen(tmp_path: Path) -> None:
    """Frames built with the next rollover count are bad for the dissector as well."""
    known = {"format": "extended", **dict(zip(NAMES, TARGET, strict=True))}
    frames = [
        frame.build("fscp-2-1", data=data, time_stamp=1100 + count, rollover=8, **known)
        for count, data in enumerate((b"\1", b"\1\2\3"))
    ]
    wire = opening(True) + [cyclic(octets, at + 1, True) for at, octets in enumerate(frames)]
    write_capture(tmp_path / "rollover.pcap", wire)
    rows = dissect(tmp_path / "rollover.pcap", STATUS)[2:]
    assert [row["cipsafety.crc_s5.status"] for row in rows] == ["0", "0"]


def test_the_ping_count_of_a_short_extended_frame_is_covered_by_nothing(tmp_path: Path) -> None:
    """The dissector as well calls such a frame good with a flipped ping count."""
    known = {"format": "extended", "rollover": 7, **dict(zip(NAMES, TARGET, strict=True))}
    octets = bytearray(frame.build("fscp-2-1", data=b"\1", time_stamp=1100, mode=0x86, **known))
    octets[1] ^= 1
    wire = [*opening(True), cyclic(bytes(octets), 1, True)]
    write_capture(tmp_path / "ping.pcap", wire)
    row = dissect(tmp_path / "ping.pcap", [*STATUS, EXPERT])[2]
    assert (row["cipsafety.crc_s5.status"], row[EXPERT]) == ("1", "")
    frame.verify("fscp-2-1", bytes(octets), **known)
