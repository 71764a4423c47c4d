"""Strategies: values of a good frame for every profile, and what its receiver knows."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from safeframe import frame
from safeframe.protocols.fscp_2_1 import _frame as fscp_2_1
from safeframe.protocols.fscp_12_1 import _frame as fscp_12_1
from safeframe.protocols.fscp_13_1 import _frame as fscp_13_1

Case = tuple[str, dict[str, Any], dict[str, Any]]
"""Profile, values to build with, what the receiver knows."""

word = st.integers(0, 65535)
double = st.integers(0, (1 << 32) - 1)


def octets(sizes: st.SearchStrategy[int]) -> st.SearchStrategy[bytes]:
    return sizes.flatmap(lambda size: st.binary(min_size=size, max_size=size))


@st.composite
def values_12_1(draw: st.DrawFn) -> Case:
    command = draw(st.sampled_from(sorted(fscp_12_1.COMMANDS)))
    connection = draw(st.integers(1, 65535))
    open_ = command not in (fscp_12_1.RESET, fscp_12_1.SESSION)
    hidden = {"peer_crc0": draw(word), "sequence": draw(st.integers(1, 65535))}
    sizes = st.just(1) | st.integers(1, 32).map(lambda half: 2 * half)
    values = {
        "data": draw(octets(sizes)),
        "command": command,
        "connection_id": connection if open_ else 0,
    }
    return "fscp-12-1", values | hidden, hidden | {"connection_id": connection}


@st.composite
def values_13_1(draw: st.DrawFn) -> Case:
    identity = draw(st.sampled_from(sorted(fscp_13_1.IDS)))
    number = st.integers(1, 1023)
    known = {"domain": draw(number), "manager_id": draw(octets(st.just(6)))}
    values = {
        "data": draw(octets(st.sampled_from((0, 1, 7, 8, 9, 10, 64, 254)))),
        "id": identity,
        "address": draw(number),
        "consecutive_time": draw(word),
        "target": 0 if identity in fscp_13_1.DATA else draw(number),
        "request": draw(st.integers(0, 63)),
    }
    return "fscp-13-1", values | known, known


@st.composite
def values_en50325_5(draw: st.DrawFn) -> Case:
    first = 0xFF + 2 * draw(st.integers(1, 64))
    known = {"identifier_1": first, "identifier_2": first + 1}
    return "en50325-5", {"data": draw(st.binary(max_size=8)), **known}, known


@st.composite
def values_2_1(draw: st.DrawFn) -> Case:
    known: dict[str, Any] = {
        "format": draw(st.sampled_from(("base", "extended"))),
        "vendor_id": draw(word),
        "device_serial": draw(double),
        "connection_serial": draw(word),
    }
    values: dict[str, Any]
    if draw(st.booleans()):
        ack = fscp_2_1.ack_octet(ping_count=draw(st.integers(0, 3)), response=draw(st.booleans()))
        values = {"ack": ack, "consumer_time": draw(word)}
    else:
        if known["format"] == "extended":
            known["rollover"] = draw(word)
        mode = fscp_2_1.mode_octet(run=draw(st.booleans()), ping_count=draw(st.integers(0, 3)))
        data = draw(octets(st.sampled_from((1, 2, 3, 4, 64, 250))))
        values = {"data": data, "mode": mode, "time_stamp": draw(word)}
    return "fscp-2-1", values | known, known


@st.composite
def values_3_1(draw: st.DrawFn) -> Case:
    known = {"number": draw(st.integers(0, (1 << 24) - 1)), "parameter_crc": draw(word)}
    values = {"data": draw(octets(st.integers(0, 12))), "status": draw(st.integers(0, 255))}
    return "fscp-3-1", values | known, known


@st.composite
def values_ua(draw: st.DrawFn) -> Case:
    known = {f"spdu_id_{place}": draw(double) for place in (1, 2, 3)}
    known |= {
        "consumer_id": draw(double),
        "monitoring_number": draw(st.integers(256, (1 << 32) - 1)),
    }
    sizes = st.sampled_from((1, 2, 7, 13, 64, 1500))
    values = {"data": draw(octets(sizes)), "flags": draw(st.integers(0, 7))}
    return "opcua-safety", values | known, known


CASES: dict[str, st.SearchStrategy[Case]] = {
    "fscp-12-1": values_12_1(),
    "fscp-13-1": values_13_1(),
    "fscp-2-1": values_2_1(),
    "en50325-5": values_en50325_5(),
    "fscp-3-1": values_3_1(),
    "opcua-safety": values_ua(),
}
every_case = st.one_of(list(CASES.values()))


def built(case: Case) -> bytes:
    """Return the frame of a case."""
    return frame.build(case[0], **case[1])
