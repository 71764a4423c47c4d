"""CAN recordings: logs of messages, SocketCAN packets, and what is said of all else on the bus."""

from __future__ import annotations

import io
import json
import struct
import subprocess
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from safeframe import _mapfile as mapfile
from safeframe import capture, fixtures
from safeframe._cli import main
from safeframe._errors import UsageError
from safeframe._report import capture as render
from safeframe._report import text
from safeframe.capture import Examination, Packet, Skipped, Trouble, Wanted
from safeframe.cases import loads
from tests import second
from tests.unit.links import ONE_WAY, make

EXTENDED, REMOTE, ERROR = 0x80000000, 0x40000000, 0x20000000
ALL = Wanted()
START_US = 1_700_000_000_000_000


def can_packet(identifier: int, data: bytes, *, flags: int = 0, size: int | None = None) -> bytes:
    """Return a SocketCAN packet by the public header."""
    length = len(data) if size is None else size
    return struct.pack(">IBBBB", identifier, length, flags, 0, 0) + data


def pcap(rows: list[tuple[int, bytes]], link: int = 227) -> bytes:
    """Return a pcap file of packets with their times in microseconds."""
    out = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, link)
    for time_us, octets in rows:
        out += struct.pack("<IIII", time_us // 10**6, time_us % 10**6, len(octets), len(octets))
        out += octets
    return out


def log(rows: list[tuple[int, str]], interface: str = "can0") -> bytes:
    """Return a log of messages, each as ID#DATA."""
    lines = (
        f"({time_us // 10**6}.{time_us % 10**6:06}) {interface} {message}\n"
        for time_us, message in rows
    )
    return "".join(lines).encode()


def read(octets: bytes, wanted: Wanted = ALL) -> list[Packet | Trouble | Skipped]:
    return list(capture.read_recording(io.BytesIO(octets), wanted))


def pairs(count: int, first: int = 0x111) -> list[tuple[int, int, bytes]]:
    """Return time, identifier and data of a good run by the second recipe."""
    rows = []
    for number in range(count):
        pair = second.pair_en(bytes((number % 128, 0x5A, number)), first, first + 1)
        for part in (0, 1):
            identifier, data = (
                struct.unpack(">H", pair[6 * part : 6 * part + 2])[0],
                pair[6 * part + 3 : 6 * part + 6],
            )
            rows.append((START_US + 12_000 * number + 400 * part, identifier, data))
    return rows


def as_log(rows: list[tuple[int, int, bytes]]) -> bytes:
    return log([(time_us, f"{number:03X}#{data.hex().upper()}") for time_us, number, data in rows])


def as_pcap(rows: list[tuple[int, int, bytes]]) -> bytes:
    return pcap([(time_us, can_packet(number, data)) for time_us, number, data in rows])


def examined(octets: bytes, *, fresh: bool = False, **more: Any) -> Examination:
    packets = capture.read_recording(io.BytesIO(octets))
    return capture.examine(packets, make(*ONE_WAY[0]), fresh=fresh, **more)


def told(found: Examination) -> list[tuple[str, bool]]:
    return [(event.kind, event.is_wrong) for event in found.events]


def shown(found: Examination) -> str:
    return text.render(render.document(found))


class TestReading:
    def test_a_log(self) -> None:
        assert read(b"(1700000000.000400) Can0 111#00aBff\n\n(0.5) vcan1 7FF#\r\n") == [
            Packet(1, 1, START_US + 400, bytes.fromhex("01110300abff"), "", "can0", 0x111),
            Packet(3, 3, 500_000, bytes.fromhex("07ff00"), "", "vcan1", 0x7FF),
        ]

    @pytest.mark.parametrize(
        ("message", "kind"),
        [
            ("00000111#00", "CAN messages with an identifier of 29 bits"),
            ("1FFFFFFF#00", "CAN messages with an identifier of 29 bits"),
            ("111#R", "remote frames of the CAN bus, which carry no data"),
            ("111#R8", "remote frames of the CAN bus, which carry no data"),
            ("111#R8_F", "remote frames of the CAN bus, which carry no data"),
            ("20000004#0000000000000000", "error frames of the CAN bus"),
            ("20000111#R", "error frames of the CAN bus"),
            ("111##0001122", "CAN messages of another format than the classical one (FD, XL)"),
            ("111#P0", "CAN messages of another format than the classical one (FD, XL)"),
            ("800#00", "malformed CAN messages"),
        ],
    )
    def test_what_is_no_data_message_of_11_bits_is_counted(self, message: str, kind: str) -> None:
        assert read(log([(7, message), (9, message)])) == [
            Packet(1, 1, 7, b""),
            Packet(2, 2, 9, b""),
            Skipped(kind, 2),
        ]

    @pytest.mark.parametrize("data", ["1122334455667788_F", "11.22.33.44.55.66.77.88"])
    def test_other_spellings_of_8_octets(self, data: str) -> None:
        (found,) = read(log([(0, f"111#{data}")]))
        assert isinstance(found, Packet)
        assert found.octets == bytes.fromhex("0111081122334455667788")

    @pytest.mark.parametrize("direction", ["R", "T"])
    def test_a_direction_behind_the_message(self, direction: str) -> None:
        (found,) = read(log([(0, f"111#01 {direction}")]))
        assert isinstance(found, Packet)
        assert found.octets == b"\x01\x11\x01\x01"

    @pytest.mark.parametrize(
        "line",
        [
            "(1.0) can0 111#1",
            "(1.0) can0 111#112233445566778899",
            "(1.0) can0 1111#11",
            "(1.0) can0 111 11",
            "(1.0) can0 111#11_F",
            "(1,0) can0 111#11",
            "(x) can0 111#11",
            "  can0  111   [1]  11",
            "(1.0) can0 111#zz",
        ],
    )
    def test_lines_that_are_none(self, line: str) -> None:
        (first, found) = read(f"(0.0) can0 111#00\n{line}\n".encode())
        assert isinstance(first, Packet)
        reason = "a line must be (SECONDS.FRACTION) INTERFACE ID#DATA"
        shown_line = line.strip()[:40]
        assert found == Trouble(2, 2, "line", f"{reason}, not {shown_line!r}")

    def test_octets_that_are_no_text(self) -> None:
        found = read(b"(0.0) can0 111#00\n(0.0) can0 \xff\n")[1]
        assert isinstance(found, Trouble)
        assert found.text == "a line must be UTF-8, not octet 0xff at column 12"

    def test_socketcan_packets(self) -> None:
        padded = can_packet(0x112, b"\x01\x02" + bytes(6), size=2)
        assert read(pcap([(5, can_packet(0x111, b"\x00\xab")), (6, padded)])) == [
            Packet(1, 24, 5, bytes.fromhex("01110200ab"), "", "can", 0x111),
            Packet(2, 50, 6, bytes.fromhex("0112020102"), "", "can", 0x112),
        ]

    @pytest.mark.parametrize(
        ("octets", "kind"),
        [
            (can_packet(EXTENDED | 0x111, b"\0"), "CAN messages with an identifier of 29 bits"),
            (can_packet(REMOTE | 0x111, b""), "remote frames of the CAN bus, which carry no data"),
            (
                can_packet(REMOTE | 0x111, b"", size=8),
                "remote frames of the CAN bus, which carry no data",
            ),
            (can_packet(ERROR | 4, bytes(8)), "error frames of the CAN bus"),
            (
                can_packet(0x111, bytes(12)),
                "CAN messages of another format than the classical one (FD, XL)",
            ),
            (
                can_packet(0x111, bytes(2), flags=4),
                "CAN messages of another format than the classical one (FD, XL)",
            ),
            (can_packet(0x111, b"\0", size=2), "malformed CAN messages"),
            (can_packet(0x800, b"\0"), "malformed CAN messages"),
            (can_packet(0x111, b"")[:7], "malformed CAN messages"),
            (struct.pack(">IBBBB", 0x111, 1, 0, 1, 0) + b"\0", "malformed CAN messages"),
            (struct.pack(">IBBBB", 0x111, 1, 0, 0, 9) + b"\0", "malformed CAN messages"),
            (struct.pack(">IBBBB", 0x111, 8, 0, 0, 8) + bytes(8), "malformed CAN messages"),
        ],
    )
    def test_other_packets_are_counted(self, octets: bytes, kind: str) -> None:
        found = read(pcap([(5, octets)]))
        assert found == [Packet(1, 24, 5, b""), Skipped(kind, 1)]

    def test_a_raw_length_code_of_8_octets(self) -> None:
        octets = struct.pack(">IBBBB", 0x111, 8, 0, 0, 15) + bytes(8)
        assert read(pcap([(0, octets)]))[0] == Packet(
            1, 24, 0, b"\x01\x11\x08" + bytes(8), "", "can", 0x111
        )

    @pytest.mark.parametrize("wanted", [Wanted(ethertype=0x88B5), Wanted(udp_port=2222)])
    def test_who_wants_other_packets_gets_no_messages(self, wanted: Wanted) -> None:
        assert read(pcap([(0, can_packet(0x111, b"\0"))]), wanted) == [Packet(1, 24, 0, b"")]

    def test_messages_in_a_cooked_capture_are_said(self) -> None:
        cooked = bytes(14) + b"\x00\x0c" + can_packet(0x111, b"\0")
        text_ = "CAN messages in a cooked capture, which are not read"
        assert read(pcap([(0, cooked)], link=113))[-1] == Skipped(text_, 1)

    @given(octets=st.binary(max_size=40))
    @settings(max_examples=200)
    def test_any_packet(self, octets: bytes) -> None:
        """A packet is a message of at most 8 octets, or is counted: nothing raises."""
        found = read(pcap([(0, octets)]))
        packet = found[0]
        assert isinstance(packet, Packet)
        if packet.octets:
            assert len(packet.octets) == 3 + packet.octets[2] <= 11
            assert len(found) == 1
        else:
            assert isinstance(found[1], Skipped)

    @given(line=st.text(max_size=60))
    @settings(max_examples=200)
    def test_any_line(self, line: str) -> None:
        for found in read(f"(0.0) can0 111#\n{line}".encode())[1:]:
            assert isinstance(found, Packet | Trouble | Skipped)


FORMS = pytest.mark.parametrize("form", [as_log, as_pcap])


class TestExamining:
    @FORMS
    @pytest.mark.parametrize("fresh", [True, False])
    def test_a_good_recording(self, form: Any, fresh: bool) -> None:
        found = examined(form(pairs(20)), fresh=fresh)
        assert found.is_clean, shown(found)
        (side, other) = found.sides
        assert (side.results, side.data_frames, side.used_frames) == ({"accepted": 40}, 20, 20)
        assert side.longest_gap_us == 12_000
        assert (other.results, other.sends) == ({}, False)
        assert told(found) == [("in use", False)]
        # Every number from 0 to 19 in the first and the last octet, 0x5A between.
        assert side.ones == 0x1F_5A_1F
        assert side.zeros == 0xFF_A5_FF
        assert found.not_judged == ()
        assert "  LX" not in shown(found)

    @FORMS
    def test_other_traffic_changes_nothing(self, form: Any) -> None:
        rows = pairs(20)
        others = [
            (time_us + 100, number, data)
            for time_us, number, data in pairs(20, 0x113) + pairs(20, 0x17D)
        ]
        found = examined(form(sorted(rows + others, key=lambda row: row[0])))
        assert found.is_clean
        assert found.packets == 120
        assert found.sides[0].results == {"accepted": 40}

    def test_one_interface_of_two(self) -> None:
        rows = pairs(5)
        lines = as_log(rows).decode().splitlines()
        both = "\n".join(f"{line}\n{line.replace('can0', 'can1')}" for line in lines).encode()
        assert not examined(both).is_clean
        found = examined(both, sources={0: "can1"})
        assert found.is_clean
        # What nobody has named was not judged, and that is said.
        assert found.not_judged == (
            "10 frames of this connection from stations that --from does not name",
        )
        assert [note.text for note in found.notes["other station"].kept[:1]] == [
            "a frame of SC1, by its ids, from can0"
        ]

    def test_two_buses_are_never_one(self) -> None:
        """A pair is complete only on the bus that the receiver hears."""
        rows = pairs(5)
        parts = as_log(rows[::2]), as_log(rows[1::2]).replace(b"can0", b"can1")
        mixed = b"".join(sorted(b"".join(parts).splitlines(keepends=True)))
        found = examined(mixed)
        assert not found.is_clean
        assert found.sides[0].data_frames == 0
        assert found.notes["unknown sender"].kept[0].text == (
            "frames of SC1 come from can0 and from can1: name one with --from"
        )

    def test_two_interfaces_of_one_file(self) -> None:
        """A pcapng file tells its interfaces apart by number, as a log does by name."""

        def block(kind: int, body: bytes) -> bytes:
            body += bytes(-len(body) % 4)
            size = struct.pack("<I", 12 + len(body))
            return struct.pack("<I", kind) + size + body + size

        def packets(interface: int, each: tuple[int, int, bytes]) -> bytes:
            time_us, number, data = each
            octets = can_packet(number, data)
            head = (interface, time_us >> 32, time_us & 0xFFFFFFFF, len(octets), len(octets))
            return block(6, struct.pack("<IIIII", *head) + octets)

        head = block(0x0A0D0D0A, struct.pack("<IHHq", 0x1A2B3C4D, 1, 0, -1))
        head += 2 * block(1, struct.pack("<HHI", 227, 0, 0))
        good = [packets(1, each) for each in pairs(5)]
        assert examined(head + b"".join(good), sources={0: "can:1"}).is_clean
        split = [packets(number % 2, each) for number, each in enumerate(pairs(5))]
        found = examined(head + b"".join(split))
        assert found.sides[0].data_frames == 0
        assert found.notes["unknown sender"].kept[0].text == (
            "frames of SC1 come from can and from can:1: name one with --from"
        )

    @pytest.mark.parametrize(
        ("kind", "message"),
        [
            ("error frames of the CAN bus", "20000004#0000000000000000"),
            ("remote frames of the CAN bus, which carry no data", "111#R"),
            ("CAN messages with an identifier of 29 bits", "00000111#000000"),
            ("CAN messages of another format than the classical one (FD, XL)", "111##0000000"),
        ],
    )
    def test_what_is_none_of_these_messages_is_said_and_not_misread(
        self, kind: str, message: str
    ) -> None:
        lines = as_log(pairs(5)).decode().splitlines()
        lines.insert(4, f"({(START_US + 12_500) / 10**6:.6f}) can0 {message}")
        lines.insert(3, lines[3].split(" can0 ")[0] + f" can0 {message}")
        found = examined("\n".join(lines).encode())
        assert found.is_clean
        assert found.not_judged == (f"2 {kind}",)
        assert "what was judged is as it should be; not everything was judged" in shown(found)

    def test_where_frames_begin_is_told_by_identifiers(self) -> None:
        text_ = "^messages of en50325-5 are told by their identifiers: leave --at out$"
        with pytest.raises(UsageError, match=text_):
            examined(as_log(pairs(2)), at={0: 0})

    def test_no_message_of_the_data_object(self) -> None:
        found = examined(as_log(pairs(3, 0x113)))
        assert not found.is_clean
        assert [note.text for note in found.notes["no frames"].kept] == [
            "no frame of SC1 was found"
        ]

    def test_only_plain_messages(self) -> None:
        rows = pairs(1)[:1]
        found = examined(as_log(rows), fresh=True)
        assert found.sides[0].results == {"accepted": 1}
        assert not found.is_clean
        assert [note.text for note in found.notes["no frames"].kept] == [
            "no data of SC1 were complete and right"
        ]
        assert found.not_judged == (
            "the end of the recording: the plain message waits for its inverted one",
        )

    def test_silence_is_counted_between_pairs(self) -> None:
        """Plain messages alone keep nobody alive."""
        rows = pairs(30)
        kept = [row for at, row in enumerate(rows) if at < 6 or at > 45 or at % 2 == 0]
        found = examined(as_log(kept))
        assert found.silent_count == 1
        (silence,) = found.silent
        assert (silence.start_us - START_US, silence.end_us - START_US) == (24_400, 276_400)
        assert found.notes["rejected"].kept[0].text == (
            "watchdog: 252 ms after the last frame, watchdog 100 ms"
        )
        assert found.sides[0].longest_gap_us == 252_000
        assert ("incomplete", True) in told(found)

    def test_first_messages_that_are_too_far_apart(self) -> None:
        """The second messages are not, so no silence is longer than the watchdog between them."""
        rows = pairs(2)
        times = (0, 10_000, 100_500, 101_000)
        moved = [(START_US + time_us, *row[1:]) for time_us, row in zip(times, rows, strict=True)]
        found = examined(as_log(moved))
        assert found.notes["rejected"].kept[0].text == (
            "watchdog: the time since the pair before took 101 ms, 100 ms are allowed"
        )
        assert found.silent_count == 1

    def test_silence_at_the_end(self) -> None:
        rows = pairs(30)
        found = examined(as_log([row for at, row in enumerate(rows) if at < 20 or at % 2 == 0]))
        assert [each.start_us - START_US for each in found.silent] == [108_400]
        assert not found.is_clean

    def test_messages_that_are_longer_are_read_and_told(self) -> None:
        rows = [
            (time_us, number, data + (b"\x77" if at in (4, 5) else b""))
            for at, (time_us, number, data) in enumerate(pairs(6))
        ]
        found = examined(as_log(rows))
        assert told(found) == [("in use", False), ("longer", True), ("longer", True)]
        assert found.events[1].text == "4 data octets, 3 are mapped: the others are passed over"
        assert found.sides[0].used_frames == 6
        assert not found.is_clean

    @FORMS
    @pytest.mark.parametrize("fresh", [True, False])
    def test_where_a_recording_begins_and_ends(self, form: Any, fresh: bool) -> None:
        """Half a pair is passed over at the very edge of a recording, and nowhere else."""
        rows = pairs(5)
        begun = examined(form(rows[1:]), fresh=fresh)
        assert begun.is_clean is not fresh
        if not fresh:
            text_ = "the first frame of SC1: what it follows is not in the recording"
            assert begun.not_judged == (text_,)
        ended = examined(form(rows[:-1]), fresh=fresh)
        assert ended.is_clean
        assert ended.not_judged == (
            "the end of the recording: the plain message waits for its inverted one",
        )
        stranger = (START_US - 10, 0x7FF, b"")
        assert not examined(form([stranger, *rows[1:]]), fresh=fresh).is_clean
        late = (rows[-1][0], 0x7FF, b"")
        found = examined(form([*rows[:-1], late]), fresh=fresh)
        assert told(found)[-1] == ("incomplete", True)
        assert not found.is_clean

    def test_a_maps_contradiction_is_found_in_the_data(self) -> None:
        rows = [
            (time_us, number, bytes((data[0] ^ 0x80, *data[1:])))
            for time_us, number, data in pairs(5)
        ]
        found = examined(as_log(rows))
        assert [each.kind for each in found.oddities] == ["reserved"]

    def test_a_stray_message_between_two_wrong_ones_loses_no_history(self) -> None:
        rows = pairs(6)
        rows[5] = (rows[5][0], rows[5][1], rows[4][2])
        named = [
            Packet(at, at, time_us, number.to_bytes(2, "big") + bytes((len(data),)) + data, "SC1")
            for at, (time_us, number, data) in enumerate(rows, 1)
        ]
        stray = named[4]._replace(sender="LX")
        named.insert(5, stray)
        found = capture.examine(named, make(*ONE_WAY[0]), fresh=True)
        assert "history lost" not in found.notes
        assert found.notes["rejected"].count == 2
        assert "  LX" in shown(found)

    def test_pairs_in_one_piece(self) -> None:
        """Text and JSON may hold both messages as one frame, as ``frame build`` prints them."""
        lines = [
            f"@{12_000 * number} SC1: {second.pair_en(bytes((number, 1, 2)), 0x111, 0x112).hex()}"
            for number in range(5)
        ]
        found = examined("\n".join(lines).encode())
        assert found.is_clean, shown(found)
        assert found.sides[0].results == {"accepted": 5}
        assert found.sides[0].ones == 0x02_01_07


@pytest.mark.no_cover
class TestFlippedBits:
    """A flipped bit of any message MUST NOT leave a good recording clean."""

    @pytest.mark.parametrize("fresh", [True, False])
    def test_of_packets(self, fresh: bool) -> None:
        rows = [(time_us, can_packet(number, data)) for time_us, number, data in pairs(4)]
        assert examined(pcap(rows), fresh=fresh).is_clean
        for at, (time_us, octets) in enumerate(rows):
            for bit in range(8 * len(octets)):
                wrong = bytearray(octets)
                wrong[bit // 8] ^= 1 << bit % 8
                spoilt = pcap([*rows[:at], (time_us, bytes(wrong)), *rows[at + 1 :]])
                assert not examined(spoilt, fresh=fresh).is_clean, (at, bit)

    @pytest.mark.parametrize("fresh", [True, False])
    def test_of_padded_packets(self, fresh: bool) -> None:
        """Linux hands on 16 octets for every message: those behind the length are no message."""
        rows = [
            (time_us, can_packet(number, data + bytes(5), size=3))
            for time_us, number, data in pairs(3)
        ]
        for at, (time_us, octets) in enumerate(rows):
            for bit in range(8 * len(octets)):
                wrong = bytearray(octets)
                wrong[bit // 8] ^= 1 << bit % 8
                spoilt = pcap([*rows[:at], (time_us, bytes(wrong)), *rows[at + 1 :]])
                clean = examined(spoilt, fresh=fresh).is_clean
                assert clean is (bit >= 8 * 11), (at, bit)

    @pytest.mark.parametrize("fresh", [True, False])
    def test_of_a_log(self, fresh: bool) -> None:
        rows = pairs(3)
        for at, (time_us, number, data) in enumerate(rows):
            wrong = [(number ^ 1 << bit, data) for bit in range(11)]
            wrong += [
                (number, (int.from_bytes(data, "big") ^ 1 << bit).to_bytes(3, "big"))
                for bit in range(24)
            ]
            wrong += [(number, data[:2]), (number, data + b"\0"), (number, b"")]
            for other, octets in wrong:
                spoilt = [*rows[:at], (time_us, other, octets), *rows[at + 1 :]]
                assert not examined(as_log(spoilt), fresh=fresh).is_clean, (at, other, octets)

    @pytest.mark.parametrize("fresh", [True, False])
    def test_lost_messages_are_seen_unless_nothing_is_beside_them(self, fresh: bool) -> None:
        rows = pairs(4)
        for at in range(len(rows)):
            clean = examined(as_log(rows[:at] + rows[at + 1 :]), fresh=fresh).is_clean
            assert clean is (at == 7 or (at == 0 and not fresh)), at


@pytest.fixture
def maps(tmp_path: Path) -> list[str]:
    paths = []
    for end in make(*ONE_WAY[0]).connection.ends:
        path = tmp_path / f"{end.name.lower()}.toml"
        path.write_text(mapfile.dumps(end), encoding="utf-8")
        paths.append(str(path))
    return paths


class TestCommands:
    def test_fixtures_are_read_again(
        self, maps: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        for form in ("jsonl", "hex", "pcapng"):
            path = tmp_path / f"run.{form}"
            make_ = ["fixtures", "--set", "states", "--count", "20", "--format", form]
            assert main([*make_, "-o", str(path), *maps]) == 0
            capsys.readouterr()
            assert main(["capture", "--fresh", "--format", "json", str(path), *maps]) == 0
            read_back = json.loads(capsys.readouterr().out)
            assert read_back["clean"] is True
            assert read_back["sides"][0]["used_frames"] == 20

    def test_a_log_on_the_command_line(
        self, maps: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        path = tmp_path / "run.log"
        path.write_bytes(as_log(pairs(20)))
        assert main(["capture", str(path), *maps]) == 0
        assert "nothing wrong in this recording" in capsys.readouterr().out
        path.write_bytes(as_log(pairs(20)).replace(b"112#FF", b"112#FE", 1))
        assert main(["capture", str(path), *maps]) == 1
        out = capsys.readouterr().out
        assert "inverted: octet 0 is 0x00, its copy 0xFE and not 0xFF" in out

    def test_a_message_and_its_pair_are_explained_with_both_maps(
        self, maps: list[str], capsys: pytest.CaptureFixture[str]
    ) -> None:
        both = ["--map", maps[1], "--map", maps[0]]
        pair = second.pair_en(b"\1\2\3", 0x111, 0x112)
        explain = ["frame", "explain", "--brief", *both]
        assert main([*explain, pair.hex()]) == 0
        assert "accepted" in capsys.readouterr().out
        assert main([*explain, pair[:6].hex()]) == 1
        assert "cannot be judged, because the inverted message is not" in capsys.readouterr().out
        assert main([*explain, "--set", "plain=010203", pair[6:].hex()]) == 0
        capsys.readouterr()
        assert main([*explain, "--set", "plain=010204", pair[6:].hex()]) == 1
        assert "octet 2 is 0x04, its copy 0xFC and not 0xFB" in capsys.readouterr().out
        one_map = ["frame", "explain", "--brief", "--map", maps[1], "--set", "plain=010203"]
        assert main([*one_map, pair[6:].hex()]) == 0
        capsys.readouterr()
        assert main(["frame", "build", "--map", maps[0], "order_0=1"]) == 0
        assert capsys.readouterr().out == "01 11 03 01 00 00 01 12 03 fe ff ff\n"


@pytest.mark.oracle
class TestDissector:
    """An independent program reads the same identifiers, lengths and data."""

    FIELDS = ("can.id", "can.len", "can.flags.xtd", "can.flags.rtr", "can.flags.err", "data.data")

    def seen(self, path: Path) -> list[list[str]]:
        fields = [part for name in self.FIELDS for part in ("-e", name)]
        command = ["tshark", "-r", str(path), "-T", "fields", "-E", "separator=;", *fields]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return [line.split(";") for line in done.stdout.splitlines()]

    def test_of_what_is_written(self, tmp_path: Path) -> None:
        for case in ONE_WAY:
            link = make(*case)
            sets = [*fixtures.make(link, "states", count=40), *fixtures.make(link, "faults")]
            path = tmp_path / "run.pcapng"
            path.write_bytes(fixtures.write(sets, link, "pcapng", title="t"))
            steps = [step for each in sets for step in each.steps]
            rows = self.seen(path)
            assert len(rows) == len(steps)
            for row, step in zip(rows, steps, strict=True):
                identifier, size = int.from_bytes(step.octets[:2], "big"), step.octets[2]
                assert int(row[0], 0) == identifier
                assert int(row[1]) == size
                assert row[5].replace(":", "") == step.octets[3:].hex()

    @pytest.mark.parametrize("form", [as_log, as_pcap])
    def test_of_what_is_read(self, form: Any, tmp_path: Path) -> None:
        path = tmp_path / "run.log"
        octets = form(pairs(20))
        path.write_bytes(octets)
        found = [each for each in read(octets) if isinstance(each, Packet)]
        assert [
            (int(row[0], 0), int(row[1]), bytes.fromhex(row[5].replace(":", "")))
            for row in self.seen(path)
        ] == [
            (int.from_bytes(each.octets[:2], "big"), each.octets[2], each.octets[3:])
            for each in found
        ]

    def test_of_flags(self, tmp_path: Path) -> None:
        messages = ["00000111#00", "111#R", "20000004#0000000000000000", "111#00"]
        kinds = [("1", "0", "0"), ("0", "1", "0"), ("0", "0", "1"), ("0", "0", "0")]
        path = tmp_path / "run.log"
        path.write_bytes(log([(at, message) for at, message in enumerate(messages)]))
        rows = [
            tuple("1" if flag in ("1", "True") else "0" for flag in row[2:5])
            for row in self.seen(path)
        ]
        assert rows == kinds
        assert [bool(each.octets) for each in read(path.read_bytes())[:4]] == [  # type: ignore[union-attr]
            False,
            False,
            False,
            True,
        ]


def test_cases_of_messages_are_read_back() -> None:
    link = make(*ONE_WAY[1])
    octets = fixtures.write(fixtures.make(link, "faults"), link, "jsonl", title="t")
    file = loads(octets.decode())
    assert {case.verdict for case in file.cases} == {"accept", "repeat", "reject", "undetected"}
