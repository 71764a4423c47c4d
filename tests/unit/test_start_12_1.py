"""The start-up of FSCP 12/1: steps, chunks, and the published exchange."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from safeframe import cases, frame
from safeframe._errors import UsageError
from safeframe.protocols.fscp_12_1 import _start as start_12_1

EXCHANGE = Path(__file__).parents[2] / "vectors" / "published" / "fscp-12-1-exchange.json"
SETTINGS: dict[str, Any] = {
    "master_octets": 8,
    "slave_octets": 12,
    "connection_id": 7,
    "slave_address": 3,
    "watchdog_ms": 100,
    "master_session": 0x2211,
    "slave_session": 0x9ABD,
}
legal_sizes = st.just(1) | st.integers(1, 8).map(lambda half: 2 * half)


def test_the_published_exchange_is_reproduced() -> None:
    """Settings in, the first eight published frames out, octet for octet."""
    making = frame.session("fscp-12-1", connection_id=7)
    steps = list(start_12_1.start_up(**SETTINGS))
    made = [making.produce(step.sender, data=step.data, command=step.command) for step in steps]
    published = cases.load(EXCHANGE).cases[:8]
    assert made == [case.octets for case in published]
    assert [step.sender for step in steps] == [case.inputs["sender"] for case in published]
    assert [step.state for step in steps[::2]] == ["Reset", "Session", "Connection", "Parameter"]


@given(legal_sizes, legal_sizes, st.binary(max_size=9))
def test_chunks(master_octets: int, slave_octets: int, application: bytes) -> None:
    """Chunks put together give what was sent, the rest of a longer frame is 0."""
    sizes = {"master_octets": master_octets, "slave_octets": slave_octets}
    steps = list(start_12_1.start_up(**SETTINGS | sizes, application=application))
    chunk = min(master_octets, slave_octets)
    counts = Counter(step.state for step in steps if step.sender == "master")
    for state, octets in (("Session", 2), ("Connection", 4), ("Parameter", 6 + len(application))):
        assert counts[state] == -(-octets // chunk)
    sent = b"".join(
        step.data[:chunk] for step in steps if (step.sender, step.state) == ("slave", "Parameter")
    )
    assert sent[: 6 + len(application)] == start_12_1.parameters(100, application)
    assert not any(sent[6 + len(application) :])
    judging = frame.session("fscp-12-1", connection_id=7)
    making = frame.session("fscp-12-1", connection_id=7)
    for step in steps:
        assert len(step.data) == sizes[f"{step.sender}_octets"]
        assert not any(step.data[chunk:])
        made = making.produce(step.sender, data=step.data, command=step.command)
        assert judging.judge(step.sender, made).result == "accepted"


def test_an_error_code_is_in_the_first_frame() -> None:
    for code in (0, 5, 255):
        first = next(start_12_1.start_up(**SETTINGS, error_code=code))
        assert first.data == bytes([code]) + bytes(7)


def test_the_smallest_settings() -> None:
    small = {"connection_id": 1, "slave_address": 0, "watchdog_ms": 1}
    sessions = {"master_session": 0, "slave_session": 0}
    steps = list(start_12_1.start_up(**SETTINGS | small | sessions))
    assert [step.data[:4].hex() for step in steps[2:5]] == ["00000000", "00000000", "01000000"]


def test_the_largest_settings() -> None:
    large = {"connection_id": 65535, "slave_address": 65535, "watchdog_ms": 65535}
    steps = list(start_12_1.start_up(**SETTINGS | large | {"application": bytes(65535)}))
    assert steps[4].data == b"\xff\xff\xff\xff" + bytes(4)
    assert start_12_1.parameters(1) == bytes([2, 0, 1, 0, 0, 0])


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"connection_id": 0}, "connection_id must be 1..65535, not 0"),
        ({"slave_address": 65536}, "slave_address must be 0..65535, not 65536"),
        ({"master_session": -1}, "master_session must be 0..65535, not -1"),
        ({"watchdog_ms": 0}, "watchdog_ms must be 1..65535, not 0"),
        ({"application": bytes(65536)}, "application must be at most 65535 octets, not 65536"),
        ({"error_code": 256}, "error_code must be 0..255, not 256"),
        ({"master_octets": 3}, "data must be 1 or an even number of octets, not 3"),
    ],
)
def test_refused_settings(change: dict[str, Any], text: str) -> None:
    with pytest.raises(UsageError) as caught:
        list(start_12_1.start_up(**SETTINGS | change))
    assert str(caught.value) == text


def test_every_command_is_legal_somewhere() -> None:
    from safeframe.protocols.fscp_12_1._frame import COMMANDS

    assert set(start_12_1.LEGAL_IN) == set(COMMANDS)
    for states in start_12_1.LEGAL_IN.values():
        assert set(states) <= set(start_12_1.STATES)
