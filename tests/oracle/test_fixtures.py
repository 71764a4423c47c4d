"""Generated frames judged by an independent dissector (tshark 4.0) from the files we write.

The dissector knows a frame's own CRCs, not its history: it must find them right in every frame
but those whose stated check is a CRC, and right in the patterns marked undetected.
"""

from __future__ import annotations

import dataclasses
import io
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
    faults = 0
    for step, row in zip(steps, rows, strict=True):
        if step.check == "crc_1":
            assert row["opensafety.crc.valid"] != "1", step
            faults += 1
            continue
        assert (row["opensafety.crc.valid"], row["opensafety.crc2.valid"]) == ("1", "1"), step
        size = link.sent(step.side).size_octets
        assert int(row["opensafety.length"], 0) == size
        assert row["opensafety.crc.type"] == ("1" if size <= 8 else "2")
    assert faults == 1


def identified(style: str, size: int) -> Link:
    """Return an exchange whose second end sends, with the identities of the opened connection."""
    link = make("fscp-2-1", 0, size, {"format": style})
    ends = [
        dataclasses.replace(end, parameters=tuple(sorted(zip(opened.NAMES, identity, strict=True))))
        for end, identity in zip(
            link.connection.ends, (opened.ORIGINATOR, opened.TARGET), strict=True
        )
    ]
    more: dict[str, Any] = {"rollover": opened.FIRST_ROLLOVER} if style == "extended" else {}
    return link_of(Connection(first=ends[0], second=ends[1]), format=style, **more)


@pytest.mark.parametrize(
    ("style", "size"), [("base", 2), ("base", 6), ("extended", 1), ("extended", 6)]
)
def test_fscp_2_1(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, style: str, size: int) -> None:
    from dpkt import pcapng

    need_tshark()
    monkeypatch.setattr(opened, "FIRST_STAMP", 0)
    link = identified(style, size)
    read: Any = pcapng.Reader
    faults = 0
    for each in sets_of(link):
        octets = fixtures.write([each], link, "pcapng", title="oracle")
        wire = opened.opening(style == "extended")
        wire += [packet for _, packet in read(io.BytesIO(octets))]
        write_capture(tmp_path / "fixtures.pcap", wire)
        rows = dissect(tmp_path / "fixtures.pcap", [*opened.STATUS, opened.EXPERT])[2:]
        assert len(rows) == len(each.steps)
        for step, row in zip(each.steps, rows, strict=True):
            kind = f"{style}-{'short' if size <= 2 else 'long'}" if step.side else f"{style}-time"
            if style == "extended" and step.side and step.octets[-3:-1] == b"\0\0":
                continue  # version 4.0 takes a stamp of 0 for a wrap, even the first one.
            found = [row[opened.STATUS[place]] for place in opened.JUDGED[kind]]
            if step.check.startswith("crc_"):
                assert "0" in found or row[opened.EXPERT], (each.label, step)
                faults += 1
                continue
            assert set(found) == {"1"}, (each.label, step, row)
            assert not row[opened.EXPERT]
    # Corruption, insertion and addressing; an old stamp spoils the CRCs of the extended format.
    assert faults == (3 if style == "base" else 5)
