"""The demo change, and its record in every state that the tests of records need."""

from __future__ import annotations

from dataclasses import replace

from safeframe import _demo as demo
from safeframe import _mapfile as mapfile
from safeframe import record
from safeframe._model import Connection
from safeframe.record import Record


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


def with_people(given: Record, **parts: object) -> Record:
    """Return a record with parts of what people entered replaced."""
    return replace(given, people=replace(given.people, **parts))  # type: ignore[arg-type]
