"""Reading recordings: lines, JSON Lines, pcap and pcapng, and every way to spoil them."""

from __future__ import annotations

import bz2
import gzip
import io
import json
import lzma
import struct
from typing import Any

import pytest
from dpkt import ethernet, ip, ip6, pcap, pcapng, sll, udp
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe._errors import UsageError
from safeframe.capture import Packet, Skipped, Trouble, Wanted, read_recording
from safeframe.capture._lines import MAX_LINE_OCTETS
from safeframe.capture._pcap import MAX_BLOCK_OCTETS

PAYLOAD = bytes(range(20))
STATION = b"\x02\x00\x00\x00\x00\x01"


def read(octets: bytes, **wanted: int) -> list[Any]:
    return list(read_recording(io.BytesIO(octets), Wanted(**wanted)))


def one(octets: bytes, **wanted: int) -> Packet:
    found = read(octets, **wanted)[0]
    assert isinstance(found, Packet)
    return found


def trouble(octets: bytes) -> Trouble:
    found = read(octets)[-1]
    assert isinstance(found, Trouble)
    return found


def packed(*packets: bytes, link: int = 1, nano: bool = False) -> bytes:
    """Return a pcap file with one packet for each millisecond."""
    out = io.BytesIO()
    make: Any = pcap.Writer
    writer = make(out, linktype=link, nano=nano)
    for number, packet in enumerate(packets):
        writer.writepkt(packet, number / 1000)
    return out.getvalue()


def blocks(*packets: bytes, link: int = 1) -> bytes:
    """Return a pcapng file with one packet for each millisecond."""
    out = io.BytesIO()
    make: Any = pcapng.Writer
    writer = make(out, linktype=link)
    for number, packet in enumerate(packets):
        writer.writepkt(packet, number / 1000)
    return out.getvalue()


def ethernet_ii(kind: int, payload: bytes, tag: bytes = b"") -> bytes:
    return bytes(6) + STATION + tag + struct.pack(">H", kind) + payload


def datagram(payload: bytes, port: int = 2222) -> Any:
    make: Any = udp.UDP
    return make(sport=port, dport=port, ulen=8 + len(payload), data=payload)


def over_ip(payload: bytes, port: int = 2222) -> bytes:
    make: Any = ip.IP
    inner = datagram(payload, port)
    return bytes(make(src=b"\x0a\0\0\1", dst=b"\x0a\0\0\2", p=17, len=20 + len(inner), data=inner))


class TestLines:
    @pytest.mark.parametrize(
        ("line", "packet"),
        [
            ("0102", Packet(1, 1, None, b"\x01\x02")),
            ("01 0203", Packet(1, 1, None, b"\x01\x02\x03")),
            ("@12 0a", Packet(1, 1, 12, b"\x0a")),
            ("SC1: 0A", Packet(1, 1, None, b"\x0a", "SC1")),
            ("@7\tstorage lift : 0a  # why", Packet(1, 1, 7, b"\x0a", "storage lift")),
            ("\ufeff0a", Packet(1, 1, None, b"\x0a")),
            ("@7 LX: 0x0a, 0x0b", Packet(1, 1, 7, b"\x0a\x0b", "LX")),
            ("LX: 0a-0b", Packet(1, 1, None, b"\x0a\x0b", "LX")),
            ("0a:0b:0c", Packet(1, 1, None, b"\x0a\x0b\x0c")),
            ("@8 \\x0a\\x0b", Packet(1, 1, 8, b"\x0a\x0b")),
        ],
    )
    def test_lines(self, line: str, packet: Packet) -> None:
        assert read(line.encode()) == [packet]

    def test_comments_and_empty_lines(self) -> None:
        assert read(b"\n# only this\n   \n0a\n") == [Packet(4, 4, None, b"\x0a")]
        assert read(b"") == []

    @pytest.mark.parametrize("line", ["0", "xyz", "@12", "@x 0a", "SC1:", "a:b:0a", "0a 0"])
    def test_what_is_no_line(self, line: str) -> None:
        assert trouble(line.encode()) == Trouble(
            1,
            1,
            "line",
            f"a line must be [@TIME_US] [NAME:] hexadecimal octets, not {line!r}",
        )

    def test_troubles_lose_nothing_behind_them(self) -> None:
        long = b"00" * MAX_LINE_OCTETS
        found = read(b"0a\n" + long + b"\n\xff\n0b\n")
        assert found == [
            Packet(1, 1, None, b"\x0a"),
            Trouble(2, 2, "line", "the line is longer than 65536 octets"),
            Trouble(3, 3, "line", "a line must be UTF-8, not octet 0xff at column 1"),
            Packet(4, 4, None, b"\x0b"),
        ]

    @pytest.mark.parametrize(
        "line", [b"0a\r0b", b"# note\r0b", b"0a\r0b\r", b'{}\r{"octets":"0a"}']
    )
    def test_a_carriage_return_alone_joins_and_hides_no_octets(self, line: bytes) -> None:
        found = read(line + b"\n0c\r\n" if line[:1] != b"{" else line + b'\n{"octets":"0c"}\r\n')
        assert found == [
            Trouble(
                1, 1, "line", "a line must end with a line feed, not with a carriage return alone"
            ),
            Packet(2, 2, None, b"\x0c"),
        ]

    def test_a_long_line_at_the_end(self) -> None:
        assert trouble(b"00" * MAX_LINE_OCTETS).text == "the line is longer than 65536 octets"


class TestJson:
    def test_rows(self) -> None:
        rows = [
            {"format": "safeframe-cases/1"},
            {"octets": "0a"},
            {"octets": "0b", "time_us": 5, "sender": "SC1"},
            {"octets": "0c", "inputs": {"time_us": 6, "sender": "LX"}},
            # What stands beside the inputs is not lost, and a frame is one whatever else is said.
            {"octets": "0d", "time_us": 7, "sender": "SC1", "inputs": {"data": "00"}},
            {"octets": "0e", "sender": "LX", "inputs": {"time_us": 8, "sender": "LX"}},
            {"octets": "0f", "format": "hex", "time_us": 9},
        ]
        text = "\n\n".join(map(json.dumps, rows))
        assert read(text.encode()) == [
            Packet(3, 3, None, b"\x0a"),
            Packet(5, 5, 5, b"\x0b", "SC1"),
            Packet(7, 7, 6, b"\x0c", "LX"),
            Packet(9, 9, 7, b"\x0d", "SC1"),
            Packet(11, 11, 8, b"\x0e", "LX"),
            Packet(13, 13, 9, b"\x0f"),
        ]

    @pytest.mark.parametrize(
        ("row", "text"),
        [
            ("{", "JSON: Expecting property name enclosed in double quotes"),
            ("[]", "a line must hold an object"),
            ('{"inputs": 1}', "inputs must be an object"),
            ('{"octets": "0a", "time_us": true}', "time_us must be an integer"),
            ('{"octets": "0a", "time_us": 1.5}', "time_us must be an integer"),
            ('{"octets": "0a", "sender": 1}', "sender must be a text"),
            (
                '{"octets": "0a", "time_us": 1, "inputs": {"time_us": 2}}',
                "time_us must be the same in inputs and beside it",
            ),
            (
                '{"octets": "0a", "sender": "", "inputs": {"sender": "LX"}}',
                "sender must be the same in inputs and beside it",
            ),
            ('{"octets": 1}', "octets must be hexadecimal octets"),
            ('{"octets": "0"}', "octets must be hexadecimal octets"),
            ("{}", "octets must be hexadecimal octets"),
            ("[" * 20_000, "JSON: too deep or long"),
            (
                '{"octets": "0a", "octets": "0b"}',
                "JSON: the key 'octets' must stand once in its object",
            ),
            ('{"octets": "0a", "time_us": ' + "9" * 5000 + "}", "JSON: too deep or long"),
        ],
    )
    def test_wrong_rows(self, row: str, text: str) -> None:
        found = read(b'{"octets": "0a"}\n' + row.encode() + b"\n\xff\n")
        assert found[:2] == [Packet(1, 1, None, b"\x0a"), Trouble(2, 2, "line", text)]
        assert isinstance(found[2], Trouble)


class TestPackets:
    def test_pcap(self) -> None:
        packet = ethernet_ii(0x88B5, PAYLOAD)
        found = read(packed(packet, packet))
        source = "02:00:00:00:00:01"
        assert found == [
            Packet(1, 24, 0, PAYLOAD, "", source, 0x88B5),
            Packet(2, 24 + 16 + 34, 1000, PAYLOAD, "", source, 0x88B5),
        ]
        assert [each[2] for each in read(packed(packet, packet, nano=True))] == [0, 1000]

    def test_pcapng(self) -> None:
        packet = ethernet_ii(0x88B5, PAYLOAD)
        found = read(blocks(packet, packet))
        assert [(each.number, each.offset, each[2]) for each in found] == [
            (1, 48, 0),
            (2, 116, 1000),
        ]
        assert one(blocks(packet)).octets == PAYLOAD

    def test_tags(self) -> None:
        tagged = ethernet_ii(0x88B5, PAYLOAD, b"\x81\x00\x00\x05")
        assert one(packed(tagged)).octets == PAYLOAD
        assert one(packed(tagged), ethertype=0x88B5).octets == PAYLOAD
        twice = ethernet_ii(0x88B5, PAYLOAD, b"\x88\xa8\x00\x05\x81\x00\x00\x06")
        assert one(packed(twice), ethertype=0x88B5).octets == PAYLOAD

    @pytest.mark.parametrize(
        ("wanted", "found"),
        [
            ({}, True),
            ({"ethertype": 0x88B5}, True),
            ({"ethertype": 0x88AB}, False),
            ({"udp_port": 1}, False),
        ],
    )
    def test_wanted_packets(self, wanted: dict[str, int], found: bool) -> None:
        octets = one(packed(ethernet_ii(0x88B5, PAYLOAD)), **wanted).octets
        assert octets == (PAYLOAD if found else b"")

    @pytest.mark.parametrize(
        ("wanted", "found"),
        [
            ({}, True),
            ({"udp_port": 2222}, True),
            ({"udp_port": 9}, False),
            ({"ethertype": 0x800}, False),
        ],
    )
    def test_datagrams(self, wanted: dict[str, int], found: bool) -> None:
        packet = one(packed(ethernet_ii(0x0800, over_ip(PAYLOAD))), **wanted)
        assert packet.octets == (PAYLOAD if found else b"")
        assert packet.source == ("10.0.0.1" if found else "")

    def test_other_links(self) -> None:
        assert one(packed(over_ip(PAYLOAD), link=101)).octets == PAYLOAD
        make: Any = ip6.IP6
        six = make(src=b"\xfe\x80" + bytes(13) + b"\1", nxt=17, data=datagram(PAYLOAD))
        six.plen = len(six.data)
        packet = one(packed(bytes(six), link=101))
        assert (packet.octets, packet.source) == (PAYLOAD, "fe80::1")
        cooked: Any = sll.SLL
        odd = bytes(cooked(hdr=STATION + b"\0\0", ethtype=0x88B5, data=PAYLOAD))
        packet = one(packed(odd, link=113), ethertype=0x88B5)
        assert (packet.octets, packet.source) == (PAYLOAD, "02:00:00:00:00:01")
        assert one(packed(PAYLOAD, link=147)) == Packet(1, 24, 0, PAYLOAD)

    def test_packets_that_are_no_frames(self) -> None:
        tcp = bytes(over_ip(PAYLOAD)).replace(b"\x40\x11", b"\x40\x06", 1)
        for packet in (b"", b"\x01", tcp[:20], ethernet_ii(0x0800, b"\x45" + bytes(3))):
            assert one(packed(packet, link=101)).octets == b""
        assert one(packed(ethernet_ii(0x0800, tcp))).octets == b""
        assert one(packed(b"\x01\x02")).octets == b""

    def test_many_addresses(self) -> None:
        many = [
            bytes(6) + number.to_bytes(6, "big") + b"\x88\xb5" + PAYLOAD for number in range(4100)
        ]
        found = read(packed(*many, many[0]))
        assert [each.source for each in (found[0], found[-1]) if isinstance(each, Packet)] == [
            "00:00:00:00:00:00"
        ] * 2

    def test_what_is_not_looked_into_is_counted(self) -> None:
        tcp = bytearray(ethernet_ii(0x0800, over_ip(PAYLOAD)))
        tcp[14 + 9] = 6
        part = bytearray(ethernet_ii(0x0800, over_ip(PAYLOAD)))
        part[14 + 6] = 0x20
        six: Any = ip6.IP6
        behind = b"\x11\x00" + bytes(6) + bytes(datagram(PAYLOAD))
        cut = bytes(six(src=bytes(16), nxt=44, plen=len(behind), data=behind))
        options = bytes(six(src=bytes(16), nxt=60, plen=len(behind), data=behind))
        for link_layer in (b"", b"\x81\x00\x00\x05"):
            packets = [
                packet[:12] + link_layer + packet[12:]
                for packet in (
                    bytes(tcp),
                    bytes(part),
                    ethernet_ii(0x86DD, cut),
                    ethernet_ii(0x86DD, options),
                )
            ]
            found = read(packed(*packets))
            assert [each.octets for each in found[:4] if isinstance(each, Packet)] == [
                b"",
                b"",
                b"",
                PAYLOAD,
            ]
            assert found[4:] == [
                Skipped("TCP segments, in which no frames are looked for", 1),
                Skipped("IP fragments, which are not put together", 2),
            ]
        assert read(packed(bytes(tcp)), udp_port=1)[1:] == []

    def test_ports_and_loopback(self) -> None:
        assert one(packed(over_ip(PAYLOAD, 99), link=101)).channel == (99, 99)
        assert one(packed(b"\x02\0\0\0" + over_ip(PAYLOAD), link=0)).octets == PAYLOAD
        cooked = b"\x88\xb5" + bytes(9) + b"\x06" + STATION + b"\0\0" + PAYLOAD
        packet = one(packed(cooked, link=276))
        assert (packet.octets, packet.source) == (PAYLOAD, "02:00:00:00:00:01")
        assert one(packed(b"\x88\xb5", link=276)).octets == b""
        assert one(packed(b"\x50" + bytes(30), link=101)).octets == b""

    @given(octets=st.binary(max_size=60), link=st.sampled_from((1, 101, 113)), seed=st.data())
    @settings(max_examples=400)
    def test_as_another_library(self, octets: bytes, link: int, seed: Any) -> None:
        """Where the other library finds the payload of a UDP packet or EtherType, so do we."""
        heads = (b"", ethernet_ii(0x0800, over_ip(octets)), ethernet_ii(0x88B5, octets))
        packet = seed.draw(st.sampled_from(heads)) + octets
        parts: dict[int, Any] = {1: ethernet.Ethernet, 101: ip.IP, 113: sll.SLL}
        try:
            outer = parts[link](packet)
            inner = outer if link == 101 else outer.data
            assert isinstance(inner, ip.IP)
            assert isinstance(inner.data, udp.UDP)
        except Exception:  # the other library does not read it: nothing to compare.
            return
        found = read(packed(packet, link=link))[0]
        assert isinstance(found, Packet)
        if inner.data.ulen >= 8 and not inner.mf and not inner.offset:
            size = inner.data.ulen - 8
            assert found.octets == bytes(inner.data.data)[:size]


class TestInterfaces:
    """Packets of several interfaces MUST come by their times, each with its own clock and link."""

    SECTION = bytes.fromhex("0a0d0d0a1c0000004d3c2b1a01000000ffffffffffffffff1c000000")

    @staticmethod
    def block(kind: int, body: bytes, order: str = "<") -> bytes:
        size = 12 + len(body) + -len(body) % 4
        padded = body + bytes(-len(body) % 4)
        return struct.pack(order + "II", kind, size) + padded + struct.pack(order + "I", size)

    def interface(self, link: int = 1, options: bytes = b"", order: str = "<") -> bytes:
        return self.block(1, struct.pack(order + "HHI", link, 0, 0) + options, order)

    def packet(self, number: int, stamp: int, payload: bytes, order: str = "<") -> bytes:
        data = ethernet_ii(0x88B5, payload)
        head = (number, stamp >> 32, stamp & 0xFFFFFFFF, len(data), len(data))
        return self.block(6, struct.pack(order + "5I", *head) + data, order)

    def test_merged_by_time(self) -> None:
        rows = [(0, 10, b"a"), (0, 30, b"c"), (0, 50, b"e"), (1, 20, b"b"), (1, 40, b"d")]
        whole = self.SECTION + 2 * self.interface()
        whole += b"".join(self.packet(*row) for row in rows)
        found = read(whole)
        assert [(each[2], each[3]) for each in found] == [
            (10, b"a"),
            (20, b"b"),
            (30, b"c"),
            (40, b"d"),
            (50, b"e"),
        ]

    def test_time_backwards_within_one_interface_stays(self) -> None:
        rows = [(0, 10, b"a"), (1, 30, b"b"), (0, 40, b"c"), (0, 20, b"d")]
        whole = self.SECTION + 2 * self.interface()
        whole += b"".join(self.packet(*row) for row in rows)
        assert [each[3] for each in read(whole)] == [b"a", b"b", b"c", b"d"]

    def test_a_file_longer_than_the_window(self) -> None:
        whole = self.SECTION + 2 * self.interface()
        whole += b"".join(self.packet(n & 1, 2 * n + 3 * (n & 1), b"x") for n in range(5000))
        times = [each[2] for each in read(whole)]
        assert len(times) == 5000
        assert times == sorted(times, key=lambda time: time or 0)

    def test_clocks(self) -> None:
        nano = bytes((9, 0, 1, 0, 9, 0, 0, 0))
        binary = bytes((9, 0, 1, 0, 0x8A, 0, 0, 0))
        later = struct.pack("<HHq", 14, 8, 7) + bytes(4)
        whole = self.SECTION + self.interface(options=nano + later)
        whole += self.interface(options=binary) + self.interface(options=b"\x09\0\x02\0\0\0\0\0")
        whole += self.packet(0, 5_000_000, b"a") + self.packet(1, 2048, b"b")
        whole += self.packet(2, 9, b"c")
        assert [(each[2], each[3]) for each in read(whole)] == [
            (9, b"c"),
            (2_000_000, b"b"),
            (7_005_000, b"a"),
        ]

    def test_sections_and_octet_orders(self) -> None:
        other = bytes.fromhex("0a0d0d0a0000001c1a2b3c4d00010000ffffffffffffffff0000001c")
        whole = self.SECTION + self.interface() + self.packet(0, 1, b"a")
        whole += other + self.interface(order=">") + self.packet(0, 2, b"b", ">")
        assert [(each[0], each[2], each[3]) for each in read(whole)] == [(1, 1, b"a"), (2, 2, b"b")]

    def test_old_and_simple_packets(self) -> None:
        data = ethernet_ii(0x88B5, b"z")
        old = struct.pack("<HHIIII", 0, 0, 0, 77, len(data), len(data)) + data
        simple = struct.pack("<I", len(data)) + data
        whole = self.SECTION + self.interface() + self.block(2, old) + self.block(3, simple)
        assert [(each[2], each[3]) for each in read(whole)] == [(77, b"z"), (None, b"z")]

    def test_blocks_of_other_kinds_and_links(self) -> None:
        whole = self.SECTION + self.interface() + self.interface(127) + self.block(5, bytes(8))
        found = read(whole + self.packet(1, 1, b"a") + self.packet(0, 2, b"b"))
        assert [each[3] for each in found[:2]] == [b"", b"b"]
        assert found[2] == Skipped("packets of link type 127, which is not read", 1)

    @pytest.mark.parametrize(
        ("spoilt", "text"),
        [
            (struct.pack("<5I", 3, 0, 0, 0, 0), "malformed: interface 3 is not declared"),
            (struct.pack("<5I", 0, 0, 0, 9, 9), "malformed: 9 octets in a block with room for 0"),
            (bytes(4), "malformed: the block is too short"),
        ],
    )
    def test_malformed(self, spoilt: bytes, text: str) -> None:
        whole = self.SECTION + self.interface() + self.block(6, spoilt) + self.packet(0, 1, b"a")
        found = read(whole)
        assert found[0] == Trouble(1, 48, "packet", text)
        assert found[1][3] == b"a"

    def test_no_interface(self) -> None:
        assert read(self.SECTION + self.block(3, bytes(8))) == [
            Trouble(1, 28, "packet", "malformed: no interface")
        ]
        assert read(self.SECTION) == []

    def test_a_section_without_octet_order(self) -> None:
        assert trouble(self.SECTION[:8] + bytes(20)) == Trouble(
            0, 0, "file", "the octet order of a section cannot be told"
        )


class TestCompressed:
    @pytest.mark.parametrize("module", [gzip, bz2, lzma])
    def test_unpacked(self, module: Any) -> None:
        for octets in (b"@1 SC1: 0a\n", packed(ethernet_ii(0x88B5, PAYLOAD)), b'{"octets": "0a"}'):
            assert read(module.compress(octets)) == read(octets)

    def test_torn(self) -> None:
        whole = gzip.compress(b"".join(b"%02x\n" % random for random in range(256)))
        for size in range(6, len(whole) - 1):
            found = read(whole[:size])
            assert isinstance(found[-1], Trouble)
            assert found[-1].kind == "file"
        spoilt = bytearray(whole)
        spoilt[40] ^= 0x55
        assert isinstance(read(bytes(spoilt))[-1], Trouble)

    @pytest.mark.parametrize(
        ("magic", "text"),
        [
            (b"\x28\xb5\x2f\xfd", "packed with zstd is not read: unpack it (zstd -d)"),
            (b"\x04\x22\x4d\x18", "packed with lz4 is not read: unpack it (lz4 -d)"),
            (b"PK\x03\x04", "packed with zip is not read: unpack it (unzip)"),
        ],
    )
    def test_others_are_refused(self, magic: bytes, text: str) -> None:
        with pytest.raises(UsageError) as caught:
            read(magic + bytes(20))
        assert str(caught.value) == f"a recording {text}"


class TestSpoiltFiles:
    def test_every_truncation_of_pcap(self) -> None:
        """Whole packets are read, the torn one is named with its place."""
        packet = ethernet_ii(0x88B5, PAYLOAD)
        whole = packed(packet, packet, packet)
        for size in range(4, len(whole)):
            found = read(whole[:size])
            count, rest = divmod(size - 24, 16 + len(packet))
            if size < 24:
                assert found == [
                    Trouble(0, 0, "file", f"the file ends {24 - size} octets too early")
                ]
                continue
            assert len([each for each in found if isinstance(each, Packet)]) == count
            if rest:
                last = found[-1]
                assert isinstance(last, Trouble)
                assert (last.number, last.kind) == (count + 1, "file")
                assert last.offset == 24 + count * (16 + len(packet))

    def test_every_truncation_of_pcapng(self) -> None:
        packet = ethernet_ii(0x88B5, PAYLOAD)
        whole = blocks(packet, packet)
        ends = {28: 0, 48: 0, 116: 1, 184: 2}
        for size in range(4, len(whole)):
            found = read(whole[:size])
            if size in ends:
                assert len(found) == ends[size]
            else:
                assert isinstance(found[-1], Trouble)

    def test_absurd_lengths(self) -> None:
        packet = ethernet_ii(0x88B5, PAYLOAD)
        whole = bytearray(packed(packet, packet))
        whole[32:36] = (0x7FFFFFFF).to_bytes(4, "little")
        assert read(bytes(whole)) == [
            Trouble(1, 24, "file", "a length of 2147483647 octets makes no sense")
        ]
        spoilt = bytearray(blocks(packet))
        spoilt[52:56] = (4).to_bytes(4, "little")
        assert read(bytes(spoilt)) == [
            Trouble(1, 48, "file", "a length of -8 octets makes no sense")
        ]
        assert MAX_BLOCK_OCTETS == 4194304

    def test_a_malformed_block_does_not_hide_the_next(self) -> None:
        packet = ethernet_ii(0x88B5, PAYLOAD)
        spoilt = bytearray(blocks(packet, packet))
        spoilt[112:116] = bytes(4)  # the second length of the first packet
        found = read(bytes(spoilt))
        assert found[0] == Trouble(1, 48, "packet", "malformed: the two lengths of a block differ")
        assert isinstance(found[1], Packet)
        assert (found[1].number, found[1].octets) == (2, PAYLOAD)

    def test_wrong_link_type(self) -> None:
        assert read(packed(PAYLOAD, link=127)) == [
            Trouble(
                0,
                24,
                "file",
                "the link type must be Ethernet, Linux cooked, raw IP, loopback, CAN or user-"
                "defined, not 127",
            )
        ]

    @given(octets=st.binary(max_size=400), kind=st.sampled_from(("pcap", "pcapng", "json", "hex")))
    @settings(max_examples=300)
    def test_any_octets(self, octets: bytes, kind: str) -> None:
        head = {
            "pcap": packed(b"")[:24],
            "pcapng": blocks(b"")[:48],
            "json": b'{"a": 1}\n',
            "hex": b"00\n",
        }[kind]
        for found in read(head + octets):
            assert isinstance(found, Packet | Trouble | Skipped)


def test_ethernet_without_type_is_no_frame() -> None:
    """IEEE 802.3 with a length instead of a type; the library may trip over what follows."""
    assert one(packed(bytes(6) + STATION + b"\x00\x04" + PAYLOAD)).octets in (b"", PAYLOAD[:4])
    assert ethernet.ETH_HDR_LEN == 14
