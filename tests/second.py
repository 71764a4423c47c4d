"""Second implementations of the frame recipes, without any import from the package.

Written from the facts alone, one bit at a time, as plain functions from values to octets. The
tests compare them with the package and with every vector, so that one wrong table or one wrong
order cannot hide on both sides.
"""

from __future__ import annotations

import struct
import uuid
from functools import cache


@cache
def _divided(width: int, poly: int, octet: int) -> int:
    """Divide one octet at the top bit by bit: what it leaves is the same each time."""
    register = octet << width - 8
    for _ in range(8):
        top = register >> width - 1
        register = (register << 1 & (1 << width) - 1) ^ (poly if top else 0)
    return register


def crc(width: int, poly: int, octets: bytes, register: int = 0) -> int:
    """Divide bit by bit, most significant bit first, no reflection, no final XOR."""
    mask = (1 << width) - 1
    for octet in octets:
        register = (register << 8 & mask) ^ _divided(width, poly, register >> width - 8 ^ octet)
    return register


def frame_12_1(
    data: bytes, command: int, connection_id: int, peer_crc0: int, sequence: int
) -> bytes:
    """FSCP 12/1 by the two-table formulation: each block is multiplied by x^40, not by zeros."""
    size = 1 if len(data) == 1 else 2
    words = struct.pack("<HHH", peer_crc0, connection_id, sequence)
    out = bytes([command])
    for index in range(len(data) // size):
        block = data[index * size : index * size + size]
        fed = words + bytes([command]) + (struct.pack("<H", index) if index else b"") + block
        register = 0
        for octet in fed:
            # register * x^8 + octet * x^40, both modulo the generator.
            register = crc(16, 0x39B7, b"\0", register) ^ crc(16, 0x39B7, bytes([octet, 0, 0, 0]))
        out += block + struct.pack("<H", register)
    return out + struct.pack("<H", connection_id)


def frame_13_1(
    data: bytes,
    id: int,  # noqa: A002 - the name of the value.
    address: int,
    domain: int,
    consecutive_time: int = 0,
    target: int = 0,
    request: int = 0,
    manager_id: bytes = bytes(6),
) -> bytes:
    """FSCP 13/1: two subframes; slim ones carry the data once, management has no manager id."""
    if id in (40, 41, 42, 43, 44, 45, 47):
        manager_id = bytes(6)
    slim = id in (58, 59)
    width, poly = (8, 0x2F) if len(data) <= 8 else (16, 0x5935 if slim else 0x755B)

    def head(number: int) -> bytes:
        return struct.pack("<H", number | id << 10)

    def closed(part: bytes) -> bytes:
        return part + crc(width, poly, part).to_bytes(width // 8, "little")

    first = closed(head(address) + bytes([len(data), consecutive_time % 256]) + data)
    second = head(address ^ domain) + bytes([consecutive_time // 256])
    second = closed(second + struct.pack("<H", target | request << 10) + (b"" if slim else data))
    masked = bytes(octet ^ key for octet, key in zip(second, manager_id, strict=False))
    return first + masked + second[6:]


def _identity(vendor_id: int, device_serial: int, connection_serial: int) -> bytes:
    return struct.pack("<HIH", vendor_id, device_serial, connection_serial)


def frame_2_1(
    data: bytes,
    format: str,  # noqa: A002 - the name of the value.
    mode: int,
    time_stamp: int,
    vendor_id: int,
    device_serial: int,
    connection_serial: int,
    rollover: int = 0,
) -> bytes:
    """FSCP 2/1 data frames; the identity is folded into a start register first."""
    identity = _identity(vendor_id, device_serial, connection_serial)
    stamp = struct.pack("<H", time_stamp)
    inverse = bytes(octet ^ 255 for octet in data)
    high, low, other = bytes([mode & 0xE0]), bytes([mode & 0x1F]), bytes([mode & 0xE0 ^ 0xE0])
    seed_1 = crc(8, 0x37, identity)
    seed_3 = crc(16, 0x080F, identity)
    seed_5 = crc(24, 0x5D6DCB, identity)
    count = struct.pack("<H", rollover)
    closing = bytes([crc(8, 0x37, low + stamp, seed_1)])
    body = data + bytes([mode])
    if format == "base" and len(data) < 3:
        pair = crc(8, 0x37, high + data, seed_1), crc(8, 0x3B, other + inverse, seed_1)
        return body + bytes(pair) + stamp + closing
    if format == "base":
        one = struct.pack("<H", crc(16, 0x080F, high + data, seed_3))
        two = struct.pack("<H", crc(16, 0x080F, other + inverse, seed_3))
        return body + one + inverse + two + stamp + closing
    if len(data) < 3:
        five = crc(24, 0x5D6DCB, count + high + data + stamp, seed_5).to_bytes(3, "little")
        return body + five[:2] + stamp + five[2:]
    one = struct.pack("<H", crc(16, 0x080F, count + high + data, seed_3))
    five = crc(24, 0x5D6DCB, count + low + inverse + stamp, seed_5).to_bytes(3, "little")
    return body + one + inverse + five[:2] + stamp + five[2:]


def rollover_2_1(
    data: bytes, mode: int, time_stamp: int, octets: bytes, known: dict[str, int]
) -> int:
    """Return the rollover count under which the last CRC of an extended frame may be right.

    The register is run backwards from the CRC over everything behind the count; what then stands
    in it is the start register after the count, whose octets are found one by one.
    """
    seed = crc(24, 0x5D6DCB, _identity(**known))
    stamp = struct.pack("<H", time_stamp)
    inverse = bytes(octet ^ 255 for octet in data)
    short = len(data) < 3
    behind = bytes([mode & 0xE0]) + data if short else bytes([mode & 0x1F]) + inverse
    at = len(data) + 1 if short else 2 * len(data) + 3
    five = int.from_bytes(octets[at : at + 2] + octets[-1:], "little")
    after = _backwards(five, behind + stamp)
    after_low = {crc(24, 0x5D6DCB, bytes([low]), seed): low for low in range(256)}
    for high in range(256):
        before = _backwards(after, bytes([high]))
        if before in after_low:
            return after_low[before] | high << 8
    return 0


def _backwards(register: int, octets: bytes) -> int:
    """Undo the division of octets by the 24-bit polynomial, last bit first."""
    for octet in reversed(octets):
        for place in range(8):
            top = register & 1 ^ octet >> place & 1
            if register & 1:
                register ^= 0x5D6DCB
            register = register >> 1 | top << 23
    return register


def time_2_1(
    format: str,  # noqa: A002 - the name of the value.
    ack: int,
    consumer_time: int,
    vendor_id: int,
    device_serial: int,
    connection_serial: int,
) -> bytes:
    """FSCP 2/1 time coordination."""
    identity = _identity(vendor_id, device_serial, connection_serial)
    front = struct.pack("<BH", ack, consumer_time)
    if format == "extended":
        return front + crc(24, 0x5D6DCB, identity + front).to_bytes(3, "little")
    second = sum((ack >> bit & 1 ^ (bit + 1) % 2) << bit for bit in range(8))
    return front + bytes([second]) + struct.pack("<H", crc(16, 0x080F, identity + front))


def frame_3_1(data: bytes, status: int, number: int, parameter_crc: int) -> bytes:
    """FSCP 3/1 with 24-bit CRC: the string 00, number, data, status read backwards."""
    text = b"\0" + number.to_bytes(3, "big") + data + bytes([status])
    value = crc(24, 0x5D6DCB, bytes(reversed(text)), parameter_crc)
    return data + bytes([status]) + value.to_bytes(3, "big")


def parameter_crc_3_1(
    sil: int,
    source_address: int,
    destination_address: int,
    watchdog_ms: int,
    device_parameter_crc: int | None = None,
    check_number: bool = False,
    check_device_parameters: bool = False,
    crc_octets: int = 3,
) -> int:
    """FSCP 3/1 parameter CRC for version 1; bits 5..4 hold the length of the frame CRC."""
    device = b"" if device_parameter_crc is None else struct.pack(">I", device_parameter_crc)
    first = (sil - 1) % 4 * 4 + {3: 0x00, 4: 0x20}[crc_octets]
    first += (1 if check_number else 0) + (2 if check_device_parameters else 0)
    flags = bytes([first, 0x48 if device else 0x40])
    words = struct.pack(">HHH", source_address, destination_address, watchdog_ms)
    return crc(16, 0x4EAB, device + flags + words)


def backward_ua(octets: bytes) -> int:
    """OPC UA Safety: last octet first, start 1, a result of 0 becomes 1."""
    register = 1
    for octet in reversed(octets):
        register = crc(32, 0xF4ACFB13, bytes([octet]), register)
    return register or 1


def response_ua(
    data: bytes,
    flags: int,
    spdu_id_1: int,
    spdu_id_2: int,
    spdu_id_3: int,
    consumer_id: int,
    monitoring_number: int,
) -> bytes:
    """OPC UA Safety response in logical order."""
    words = (spdu_id_1, spdu_id_2, spdu_id_3, consumer_id, monitoring_number)
    covered = data + bytes([flags]) + b"".join(struct.pack("<I", word) for word in words)
    return covered + struct.pack("<I", backward_ua(covered))


def signature_ua(identifier: str, type_ids: tuple[int, ...]) -> int:
    """OPC UA Safety structure signature, version 1."""
    octets = identifier.encode("utf-8") + b"\x01\x00"
    for type_id in type_ids:
        octets += bytes([type_id % 256, type_id // 256, 0, 0])
    return backward_ua(octets)


def spdu_ids_ua(base_id: str, level: int, signature: int, provider_id: int) -> tuple[int, ...]:
    """OPC UA Safety SPDU_ID words."""
    fields = uuid.UUID(base_id)
    tail = fields.bytes[8:]
    words = (
        fields.time_low,
        fields.time_mid | fields.time_hi_version << 16,
        int.from_bytes(tail[:4], "little") ^ int.from_bytes(tail[4:], "little"),
    )
    constants = (0, 0x11912881, 0x647C4654, 0xDEAA9DEE, 0xAB47F33B)
    return words[0] ^ constants[level], words[1] ^ signature, words[2] ^ provider_id


def pair_en(data: bytes, identifier_1: int, identifier_2: int) -> bytes:
    """EN 50325-5: both messages as identifier (high octet first), length and data."""
    out = b""
    for number, mask in ((identifier_1, 0x00), (identifier_2, 0xFF)):
        out += struct.pack(">HB", number, len(data)) + bytes(octet ^ mask for octet in data)
    return out


def checksum_en(
    direction: str, sct_ms: int, srvt_ms: int, identifier_1: int, identifier_2: int, entries: str
) -> int:
    """EN 50325-5 configuration checksum of one end."""
    words = entries.split()
    covered = struct.pack(
        "<BHBII",
        ("off", "send", "receive").index(direction),
        sct_ms,
        srvt_ms,
        identifier_1,
        identifier_2,
    ) + bytes([len(words)])
    for number, word in enumerate(words, 1):
        covered += bytes([number]) + bytes.fromhex(word)[::-1]
    return crc(16, 0x1021, covered)
