"""Recordings that were once called clean, or were once refused: what must be said of each."""

from __future__ import annotations

import dataclasses
import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from safeframe._bits import Place
from safeframe._cli import main
from safeframe._model import Connection, Map, Reserved, Signal
from safeframe._report import text
from safeframe._report.capture import document as capture_document
from safeframe.capture import Examination, Packet, examine, link_of
from safeframe.capture._locate import Locator
from safeframe.fixtures import RunningLink

from .links import demo_connection, make

DATA = Path(__file__).parent.parent / "data" / "captures"


def said(
    capsys: pytest.CaptureFixture[str], name: str, maps: str, *more: str, lx: str = "lx"
) -> tuple[int, dict[str, Any]]:
    """Return exit code and document of ``capture`` on one of the recordings."""
    paths = [str(DATA / "maps" / maps / f"{end}.toml") for end in ("sc", lx)]
    code = main(["capture", "--fresh", "--format", "json", *more, str(DATA / name), *paths])
    return code, json.loads(capsys.readouterr().out)


def wrong(found: dict[str, Any]) -> list[str]:
    return [each["kind"] for each in found["events"]["first"] if each["wrong"]]


class TestBrokenConnections:
    """A connection that broke MUST NOT be called clean."""

    def test_the_good_one(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, found = said(capsys, "run.hex", "12")
        assert (code, found["clean"], wrong(found)) == (0, True, [])

    def test_reset_with_a_code_and_restart(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, found = said(capsys, "reset.hex", "12")
        assert (code, wrong(found)) == (1, ["restart", "reset"])
        texts = [each["text"] for each in found["events"]["first"] if each["wrong"]]
        assert texts == [
            "restart: a Reset in the state Data",
            "Reset with code 5: watchdog expired",
        ]

    @pytest.mark.parametrize(
        ("name", "maps", "more", "sender", "kinds"),
        [
            ("fs-12.hex", "12", (), "LX", ["fail-safe"]),
            ("fs-13.hex", "13", (), "LX", ["fail-safe"]),
            ("fs-2.hex", "2", ("--value", "format=base"), "SC", ["fail-safe"]),
            ("fs-3.hex", "3", (), "LX", ["CRC error", "watchdog", "fail-safe", "fail-safe"]),
            ("fs-ua.hex", "ua", (), "SC", ["fail-safe"]),
        ],
    )
    def test_fail_safe(
        self,
        capsys: pytest.CaptureFixture[str],
        name: str,
        maps: str,
        more: tuple[str, ...],
        sender: str,
        kinds: list[str],
    ) -> None:
        code, found = said(capsys, name, maps, *more)
        assert (code, wrong(found)) == (1, kinds)
        (side,) = [each for each in found["sides"] if each["name"] == sender]
        assert (side["data_frames"], side["used_frames"]) == (40, 10)

    def test_fail_safe_values_only(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, found = said(capsys, "fsv-only-ua.hex", "ua")
        assert code == 1
        assert found["sides"][0]["used_frames"] == 0
        assert found["notes"]["never used"]["count"] == 1
        assert len(found["undriven"]) == 8

    @pytest.mark.parametrize(("name", "maps"), [("foreign-13.hex", "13"), ("foreign-12.hex", "12")])
    def test_wrong_ids(self, capsys: pytest.CaptureFixture[str], name: str, maps: str) -> None:
        code, found = said(capsys, name, maps)
        assert code == 1
        assert "foreign" not in found["notes"]
        assert found["notes"]["rejected"]["count"] in (1, 2)

    def test_bits_of_a_mended_history(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, found = said(capsys, "corrupt-counted.hex", "12")
        assert code == 1
        places = {
            place
            for each in found["undriven"]
            if each["sender"] == "SC"
            for place in each["places"]
        }
        assert "0.7" in places

    def test_sizes_that_are_not_those_of_the_maps(self, capsys: pytest.CaptureFixture[str]) -> None:
        code, found = said(capsys, "run.hex", "12wide")
        assert code == 1
        assert found["notes"]["size"]["count"] == 602
        assert found["notes"]["size"]["first"][0]["text"] == (
            "SC sends 2 octets of safety data, but the map of SC has 4 and the map of LX 4"
        )
        assert [side["used_frames"] for side in found["sides"]] == [0, 0]
        assert found["difference"] is None


class TestPackets:
    @pytest.mark.parametrize("name", ["startup.pcap.gz", "two_interfaces.pcapng.gz"])
    def test_start_up_is_looked_back_for(
        self, capsys: pytest.CaptureFixture[str], name: str
    ) -> None:
        code, found = said(capsys, name, "12wide")
        assert (code, found["frames"], found["not_judged"]) == (0, 2014, [])
        assert found["events"]["first"][0]["text"].startswith("Reset with code 0")

    def test_unlike_ids_are_refused(self, capsys: pytest.CaptureFixture[str]) -> None:
        paths = [str(DATA / "maps" / "12wide" / f"{end}.toml") for end in ("sc", "lx-other-id")]
        assert main(["capture", "--fresh", str(DATA / "startup.pcap.gz"), *paths]) == 2
        err = capsys.readouterr().err
        assert "both ends must state the same connection id, but SC (" in err
        assert "states 0x107 and LX (" in err

    def test_places_without_a_station(self) -> None:
        link = make("fscp-13-1", 2, 2, {})
        steps = RunningLink(link).ticks([(b"\1\0", b"\2\0")] * 4)
        stations = "02:00:00:00:00:01", "02:00:00:00:00:02"
        rows = [
            Packet(number, number, step.time_us, step.octets, "", stations[step.side])
            for number, step in enumerate(steps, 1)
        ]
        found = examine(rows, link, at={0: 0, 1: 0}, fresh=True)
        assert found.is_clean
        alike = make("fscp-12-1", 2, 2, {})
        found = examine(rows, alike, at={0: 0, 1: 0}, fresh=True)
        assert found.frames == 0
        assert found.notes["unknown sender"].kept[0].text == (
            "both ends send frames at 0: name the station of one with --from"
        )

    @pytest.mark.parametrize("profile", ["fscp-12-1", "fscp-13-1", "opcua-safety"])
    @pytest.mark.parametrize("is_placed", [False, True])
    def test_frames_of_another_size_are_found(self, profile: str, is_placed: bool) -> None:
        """The maps have 4 octets, the frames 2: that is said, not that there is no frame."""
        sizes = (0, 2) if profile == "opcua-safety" else (2, 6)
        sent = make(profile, *sizes, {})
        link = make(profile, sizes[0] and 4, 4 if profile == "opcua-safety" else 8, {})
        steps = [
            step
            for step in RunningLink(sent).ticks([(bytes(sizes[0]), bytes(sizes[1]))] * 6)
            if step.data or profile == "opcua-safety"
        ]
        rows = [
            Packet(
                number, number, step.time_us, b"\xee" + step.octets + b"\xee", "", f"s{step.side}"
            )
            for number, step in enumerate(steps, 1)
        ]
        at = {0: 1, 1: 1} if is_placed else {}
        found = examine(rows, link, at=at, sources={0: "s0", 1: "s1"})
        assert found.notes["size"].count >= 4
        assert not found.is_clean


def recorded(connection: Connection, rows: list[tuple[bytes, bytes]], **more: Any) -> Examination:
    link = link_of(connection)
    steps = RunningLink(link).ticks(rows)
    packets = [
        Packet(number, number, step.time_us, step.octets, link.names[step.side])
        for number, step in enumerate(steps, 1)
    ]
    return examine(packets, link, fresh=True, **more)


class TestContradictions:
    """Data in use that the maps do not allow MUST be told, with the words of both ends."""

    def test_a_reserved_bit_that_moves(self) -> None:
        connection = demo_connection()
        found = recorded(
            connection, [(b"\0\0", b"\0\0"), (b"\0\x80", b"\0\0"), (b"\0\x80", b"\0\0")]
        )
        (odd,) = found.oddities
        assert (odd.kind, odd.place, odd.count, odd.words) == (
            "reserved",
            "1.7",
            2,
            ("reserved", "reserved"),
        )
        assert "a device runs an edit that these maps do not show" in odd.text
        assert not found.is_clean
        titles = [each.title for each in found.other_readings]
        assert "a signal of one bit at 1.7, reserved in the maps" in titles
        first = found.other_readings[0]
        assert (first.explained, first.as_mapped, first.frames) == (3, 1, 3)
        lines = text.render(capture_document(found), text.PLAIN)
        assert "Other readings that contradict less" in lines
        assert f"SC1: {first.title}: 3 of 3 frames without contradiction" in " ".join(lines.split())

    def test_codes_and_validity(self) -> None:
        first, second = demo_connection().ends
        entries = (
            Signal(name="ok", at=Place(0, 0)),
            Signal(name="level", at=Place(0, 1), width=7, type="uint", valid_by="ok"),
            Signal(
                name="mode", at=Place(1, 0), width=4, type="code", codes=((0, "off"), (1, "on"))
            ),
            Reserved(at=Place(1, 4), width=4),
        )
        connection = Connection(
            first=dataclasses.replace(first, sends=Map(entries=entries), relations=()),
            second=dataclasses.replace(second, receives=Map(entries=entries), relations=()),
        )
        found = recorded(connection, [(b"\x03\x01", b"\0\0"), (b"\x02\x05", b"\0\0")])
        told = [(each.kind, each.place, each.text, each.words[0]) for each in found.oddities]
        assert told == [
            ("unnamed code", "1.0 mode", "5 has no name", "5 (no such code point)"),
            (
                "not valid",
                "0.1 level",
                "ok is 0 while the value is not the safe one",
                "1",
            ),
        ]

    def test_maps_of_another_state_are_tried(self) -> None:
        """The devices run the map before the change; the recording is read with that after it."""
        connection = demo_connection()
        other = connection.first.sends
        entries = tuple(
            Signal(name=f"extra_{entry.start}", at=entry.at)
            if isinstance(entry, Reserved) and entry.width == 1
            else entry
            for entry in other.entries
        )
        also = {"before": dataclasses.replace(connection.first, sends=Map(entries=entries))}
        found = recorded(connection, [(b"\0\x80", b"\0\0")], also=also)
        assert not found.is_clean
        assert all(each.explained > each.as_mapped for each in found.other_readings)

    def test_a_map_of_another_state_is_read_as_its_end_does(self) -> None:
        """Of the sender what it sends counts, of the other end what it receives."""
        first, second = demo_connection().ends
        sends = Map(entries=(Signal(name="a", at=Place(0, 0)), Reserved(at=Place(0, 1), width=15)))
        empty = Map(entries=(Reserved(at=Place(0, 0), width=16),))
        told = Map(
            entries=(
                *(Signal(name=f"b{bit}", at=Place.at(bit)) for bit in range(9, 12)),
                *(Reserved(at=Place.at(at), width=width) for at, width in ((0, 9), (12, 4))),
            )
        )
        connection = Connection(
            first=dataclasses.replace(first, sends=sends, receives=empty, relations=()),
            second=dataclasses.replace(second, sends=empty, receives=sends, relations=()),
        )
        also = {
            "sender before": dataclasses.replace(first, sends=told, receives=empty),
            "receiver before": dataclasses.replace(second, sends=empty, receives=told),
        }
        found = recorded(connection, [(b"\0\x0e", b"\0\0"), (b"\0\x0c", b"\0\0")], also=also)
        rows = {each.title: (each.side, each.explained) for each in found.other_readings}
        assert rows["sender before"] == rows["receiver before"] == (0, 2)


class TestInterruption:
    def test_what_was_read_is_printed(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        class Pipe(io.RawIOBase):
            """A pipe whose reader presses Ctrl-C after the first lines."""

            def __init__(self) -> None:
                self.rows: Iterator[bytes] = iter(
                    (DATA / "run.hex").read_bytes().splitlines(keepends=True)[:60]
                )

            def readable(self) -> bool:
                return True

            def readinto(self, buffer: Any) -> int:
                row = next(self.rows, None)
                if row is None:
                    raise KeyboardInterrupt
                buffer[: len(row)] = row
                return len(row)

        stream = io.TextIOWrapper(io.BufferedReader(Pipe()))
        monkeypatch.setattr(sys, "stdin", stream)
        paths = [str(DATA / "maps" / "12" / f"{end}.toml") for end in ("sc", "lx")]
        assert main(["capture", "--fresh", "-", *paths]) == 130
        out = capsys.readouterr().out
        assert "reading was interrupted; this is what is known so far" in out
        assert ": Reset with code 0: local reset or acknowledge\n" in out

    def test_nothing_was_read(
        self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        class Silent(io.RawIOBase):
            def readable(self) -> bool:
                return True

            def readinto(self, buffer: Any) -> int:
                raise KeyboardInterrupt

        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BufferedReader(Silent())))
        paths = [str(DATA / "maps" / "12" / f"{end}.toml") for end in ("sc", "lx")]
        assert main(["capture", "-", *paths]) == 130
        out = capsys.readouterr().out
        assert out.startswith("SC-LX (fscp-12-1): 0 packets, 0 frames\n")
        assert "reading was interrupted; this is what is known so far" in out

    def test_what_was_held_back_is_judged(self) -> None:
        """Until both ends have a place packets wait; an interruption MUST NOT lose them."""
        link = make("fscp-13-1", 2, 4, {})
        steps = RunningLink(link).ticks([(b"\1\0", bytes(4))])

        def packets() -> Iterator[Packet]:
            for number, step in enumerate(steps, 1):
                yield Packet(number, number, step.time_us, step.octets, "", f"s{step.side}")
            raise KeyboardInterrupt

        found = examine(packets(), link, fresh=True)
        assert found.stopped
        assert [side.results for side in found.sides] == [{"accepted": 1}] * 2


def test_held_back_packets_are_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """One side alone never settles the places; memory stays bounded, order is kept."""
    monkeypatch.setattr("safeframe.capture._locate._HELD_PACKETS", 3)
    link = make("fscp-12-1", 2, 4, {})
    steps = [step for step in RunningLink(link).ticks([(b"\1\0", bytes(4))] * 8) if step.side == 0]
    locator = Locator(link, at={}, sources={})
    rows = [Packet(n, n, n, step.octets, "", "a") for n, step in enumerate(steps, 1)]
    rows.insert(4, Packet(99, 99, 99, b"", "", "a"))
    found = [each for row in rows for each in locator.find(row)]
    whole = [*found, *locator.finish()]
    order = [packet.number for packet, each in whole if each is None]
    assert order == [row.number for row in rows]
    assert len(found) < len(whole)
