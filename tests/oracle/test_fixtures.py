"""Generated frames judged by an independent dissector (tshark 4.0) from the files we write.

The dissector knows a frame's own bits, not its history: it must find the fault where the stated
change inverts bits, or the stated check is a CRC or the mode octet, and nothing wrong in every
other frame, the patterns marked undetected included.
"""

from __future__ import annotations

import dataclasses
import io
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from safeframe import fixtures
from safeframe._link import Link, link_of
from safeframe._model import Connection
from safeframe.fixtures import FrameSet
from tests.unit.links import make

from . import test_dissector_2_1 as opened
from .capture import dissect, need_tshark, write_capture
from .test_dissector_13_1 import FIELDS

pytestmark = pytest.mark.oracle

MANAGER = "00:60:65:00:12:ab"


def sets_of(link: Link) -> list[FrameSet]:
    return [
        each
        for kind in ("identification", "states", "faults", "undetected")
        for each in fixtures.make(link, kind, seed=5)
        # The dissector does not recognise slim frames as long as this one.
        if each.label != "undetected-two-bits"
    ]


@pytest.mark.parametrize(("first", "second"), [(2, 4), (8, 1), (10, 12)])
def test_fscp_13_1(tmp_path: Path, first: int, second: int) -> None:
    need_tshark()
    link = make("fscp-13-1", first, second, {"domain": 5})
    sets = sets_of(link)
    path = tmp_path / "fixtures.pcapng"
    path.write_bytes(fixtures.write(sets, link, "pcapng", title="oracle"))
    rows = dissect(path, FIELDS, "-o", f"opensafety.scm_udid:{MANAGER}")
    steps = [step for each in sets for step in each.steps]
    assert len(rows) == len(steps)
    verdicts: Counter[tuple[str, str]] = Counter()
    for step, row in zip(steps, rows, strict=True):
        size = link.sent(step.side).size_octets
        found = row["opensafety.crc.valid"], row["opensafety.crc2.valid"]
        assert found == expected(step.change, size), step
        verdicts[found] += 1
        if found[0]:
            assert int(row["opensafety.length"], 0) == size
            assert row["opensafety.crc.type"] == ("1" if size <= 8 else "2")
    # Each sender: a bit, four fields, some bits; then the two fields of the second half.
    assert verdicts == {UNREAD: 12, SECOND: 4, RIGHT: len(steps) - 16}


RIGHT, SECOND, UNREAD = ("1", "1"), ("1", "0"), ("", "")


def expected(change: str, size: int) -> tuple[str, str]:
    """Return what the dissector says of both CRCs; with a wrong first one it sees no frame."""
    octets = [int(each) for each in re.findall(r"bit \d+ of (?:frame )?octet (\d+)", change)]
    if not octets:
        return RIGHT
    first_half = 4 + size + (1 if size <= 8 else 2)
    return UNREAD if min(octets) < first_half else SECOND


def identified(style: str, size: int) -> Link:
    """Return an exchange whose second end sends, with the identities of the opened connection.

    The end that sends begins, so its station is the one that opened the connection.
    """
    link = make("fscp-2-1", 0, size, {"format": style})
    ends = [
        dataclasses.replace(end, parameters=tuple(sorted(zip(opened.NAMES, identity, strict=True))))
        for end, identity in zip(
            link.connection.ends, (opened.TARGET, opened.ORIGINATOR), strict=True
        )
    ]
    more: dict[str, Any] = {"rollover": opened.FIRST_ROLLOVER} if style == "extended" else {}
    return link_of(Connection(first=ends[0], second=ends[1]), format=style, **more)


COMPLAINTS = {
    "crc_s1": "CRC-S1 incorrect",
    "crc_s3": "CRC-S3 incorrect",
    "crc_s5": "CRC-S5 incorrect",
    "crc_complement": "Complement CRC-S3 incorrect",
    "crc_stamp": "CRC-S1 incorrect",
    "mode_bits": "TBD bit not complemented",
}
"""What the dissector calls the failure of each check first; it knows no other check."""
UNCOUNTED = frozenset({"crc_stamp", "mode_bits"})
"""Checks that no status of a short frame counts: the message alone tells them."""


@pytest.mark.parametrize(
    ("style", "size", "spoiled"),
    [("base", 2, 8), ("base", 6, 9), ("extended", 1, 10), ("extended", 6, 11)],
)
def test_fscp_2_1(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, style: str, size: int, spoiled: int
) -> None:
    from dpkt import pcapng

    need_tshark()
    monkeypatch.setattr(opened, "FIRST_STAMP", 0)
    link = identified(style, size)
    read: Any = pcapng.Reader
    faults = 0
    sets = sets_of(link)
    # Only a new connection makes the dissector forget the rollover count of the extended format.
    wire: list[bytes] = []
    steps: dict[int, tuple[str, Any]] = {}
    for number, part in enumerate([sets] if style == "base" else [[each] for each in sets]):
        wire += opened.opening(style == "extended", sends=True, number=256 * number)
        for each in part:
            octets = fixtures.write([each], link, "pcapng", title="oracle")
            for (_, packet), step in zip(read(io.BytesIO(octets)), each.steps, strict=True):
                steps[len(wire)] = each.label, step
                wire.append(opened.renumbered(packet, 256 * number))
    write_capture(tmp_path / "fixtures.pcap", wire)
    rows = dissect(tmp_path / "fixtures.pcap", [*opened.STATUS, opened.EXPERT])
    assert len(rows) == len(wire)
    for place, (label, step) in steps.items():
        row = rows[place]
        kind = f"{style}-{'short' if size <= 2 else 'long'}" if step.side else f"{style}-time"
        if style == "extended" and step.side and step.octets[-3:-1] == b"\0\0":
            continue  # version 4.0 takes a stamp of 0 for a wrap, even the first one.
        found = [row[opened.STATUS[at]] for at in opened.JUDGED[kind]]
        if step.check in COMPLAINTS:
            assert row[opened.EXPERT].startswith(COMPLAINTS[step.check]), (label, step)
            uncounted = size <= 2 and step.check in UNCOUNTED
            assert "0" in found or uncounted, (label, step, row)
            faults += 1
            continue
        assert set(found) == {"1"}, (label, step, row)
        assert not row[opened.EXPERT]
    # Corruption, insertion, addressing, some bits, and each field with a check of its own; an old
    # stamp spoils the CRCs of the extended format as well.
    assert faults == spoiled
