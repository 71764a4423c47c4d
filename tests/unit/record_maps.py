"""The demo change, and its record in every state that the tests of records need."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import record
from safeframe._model import Connection
from safeframe.record import Record
from safeframe.record._entries import Act, appended


def site(files: dict[str, str]) -> Connection:
    """Return the connection SC1-LX of a demo site."""
    first, second = (
        mapfile.loads(files[name], path=name) for name in ("sc1-lx.toml", "lx-sc1.toml")
    )
    return Connection(first=first, second=second)


BEFORE, AFTER = site(demo.before()), site(demo.after())
FRESH = record.new(
    BEFORE, AFTER, reason="second holding brake", asked_by="A. Berg", hazards=("load drops",)
)


def tested(given: Record) -> Record:
    """Return a record with both read-backs and every step passed."""
    for end in ("SC1", "LX"):
        given = record.fill(
            given,
            end,
            who="A. Berg",
            when="2026-03-02",
            serial=f"{end}-1001",
            checksum="4f2a 0011",
            expected="4F2A0011",
        )
    for step in given.computed.checklist:
        given = record.done(given, step.id, who="B. Chen", when="2026-03-02", result="passed")
    return given


def signed(given: Record) -> Record:
    """Return a tested record with two approvals."""
    given = record.sign(given, who="C. Dahl", role="safety engineer", when="2026-03-03")
    return record.sign(given, who="D. Evans", role="head of service", when="2026-03-03")


TESTED = tested(FRESH)
SIGNED = signed(TESTED)


def with_acts(given: Record, *acts: Act) -> Record:
    """Return a record with other entries, sealed as the tool seals them."""
    return replace(given, history=appended((), given.computed_sha256, acts))


def acts_of(given: Record) -> list[Act]:
    """Return what was entered into a record, in order."""
    return [entry.act for entry in given.history]


def data_of(given: Record) -> Any:
    """Return a record as the plain data of its file."""
    return json.loads(record.dumps(given))
